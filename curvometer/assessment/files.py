"""Reading and saving keys and submissions: bounded, strict, and every refusal in one sentence."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.key import ExerciseKey
from curvometer.assessment.sheet import FORMAT_VERSION, ExerciseSheet, written
from curvometer.assessment.submission import Answer, Submission, sealed
from curvometer.record.reading import FileKind, first_fault, parsed, read_text
from curvometer.record.storage import software_entry
from curvometer.saving import PathLike, save_bytes

LARGEST_KEY_BYTES = 256 * 2**20
"""A key of a hundred images with four experts each has some 40 MB."""
LARGEST_SUBMISSION_BYTES = 64 * 2**20
"""A submission of a hundred images has some 10 MB."""
LARGEST_SHEET_BYTES = 8 * 2**20

SCORES = ("score", "scores", "points", "mark", "marks", "percent", "result", "total")
"""Keys by which a submission may try to tell its own mark."""

EXERCISE, KEY, SUBMISSION = "curvometer-exercise", "curvometer-key", "curvometer-submission"
_NAMES = {EXERCISE: "the sheet of an exercise", KEY: "the key of an exercise", SUBMISSION: "a submission"}

SHEET_FILE = FileKind(
    noun="exercise sheet",
    advice="use the hand-out as the teacher gave it",
    largest_bytes=LARGEST_SHEET_BYTES,
    error=AssessmentError,
)
KEY_FILE = FileKind(
    noun="key",
    advice="give the .key.json that 'curvometer exercise build' made",
    largest_bytes=LARGEST_KEY_BYTES,
    error=AssessmentError,
)
SUBMISSION_FILE = FileKind(
    noun="submission",
    advice="give the file that the student saved",
    largest_bytes=LARGEST_SUBMISSION_BYTES,
    error=AssessmentError,
)

_EITHER = "give a hand-out, a key or a submission"

_Document = TypeVar("_Document", ExerciseSheet, ExerciseKey, Submission)


class _Header(BaseModel):
    """What tells the three kinds of file apart."""

    model_config = ConfigDict(extra="ignore", strict=True)

    format: Any = None
    format_version: Any = None


def load_key(path: PathLike) -> ExerciseKey:
    """Read the key of an exercise.

    Raises
    ------
    AssessmentError
        When the file is missing, too large, no key, of a newer version, damaged or edited into something impossible.
    """
    path = Path(path)
    return read_document(read_text(path, KEY_FILE), path, ExerciseKey, KEY_FILE)


def load_submission(path: PathLike) -> Submission:
    """Read a student's submission.

    A file that was changed after saving is read, too, and told of where it is marked (`Submission.changed`).

    Raises
    ------
    AssessmentError
        When the file is missing, too large, no submission, of a newer version, damaged or edited into something
        impossible.
    """
    path = Path(path)
    return read_document(read_text(path, SUBMISSION_FILE), path, Submission, SUBMISSION_FILE)


def load_key_or_submission(path: PathLike) -> ExerciseKey | Submission:
    """Read whichever of the two a file is.

    Raises
    ------
    AssessmentError
        When it is neither, or not a whole one.
    """
    path = Path(path)
    text = read_text(path, replace(KEY_FILE, noun="file", advice=_EITHER))
    try:
        is_key = _Header.model_validate_json(text).format == KEY
    except ValidationError:
        is_key = False
    if is_key:
        return read_document(text, path, ExerciseKey, KEY_FILE)
    return read_document(
        text, path, Submission, replace(SUBMISSION_FILE, noun="key or submission", advice=_EITHER)
    )


def new_submission(
    sheet: ExerciseSheet,
    student: str,
    answers: Sequence[Answer],
    occasion: int = 1,
    created: dt.datetime | None = None,
) -> Submission:
    """Make a sealed submission.

    Parameters
    ----------
    sheet
        The exercise that was worked on.
    student
        The pseudonym: letters, digits, ``_ . -``.
    answers
        One for each image that was opened; they are put in the sheet's order.
    occasion
        1 for the first time.
    created
        Time with its zone; now when None.

    Raises
    ------
    AssessmentError
        When the pseudonym or the occasion cannot be, or an answer is to an image that the exercise does not have.
    """
    order = {image.id: place for place, image in enumerate(sheet.images)}
    strangers = [answer.image for answer in answers if answer.image not in order]
    if strangers:
        raise AssessmentError(
            f"the exercise {sheet.exercise} has no image {strangers[0]!r}: answer the images of its sheet"
        )
    try:
        submission = Submission(
            format="curvometer-submission",
            format_version=FORMAT_VERSION,
            exercise=sheet.exercise,
            edition=sheet.edition,
            student=student,
            occasion=occasion,
            created=created or dt.datetime.now(dt.UTC),
            software=software_entry(),
            answers=sorted(answers, key=lambda answer: order[answer.image]),
        )
    except ValidationError as error:
        raise AssessmentError(
            f"this submission cannot be made ({first_fault(error)}): give a pseudonym of letters, digits, _ . -"
        ) from error
    return sealed(submission)[0]


def save_submission(submission: Submission, path: PathLike, *, overwrite: bool = False) -> None:
    """Seal a submission and save it: the whole file or nothing.

    Raises
    ------
    SavingError
        When the file exists and `overwrite` is false, or cannot be written.
    """
    save_bytes(sealed(submission)[1].encode(), path, overwrite=overwrite)


def save_key(key: ExerciseKey, path: PathLike, *, overwrite: bool = False) -> None:
    """Save a key: the whole file or nothing.

    Raises
    ------
    SavingError
        When the file exists and `overwrite` is false, or cannot be written.
    """
    save_bytes(document_bytes(key), path, overwrite=overwrite)


def document_bytes(document: BaseModel) -> bytes:
    """Write a document as indented JSON."""
    return written(document).encode()


def read_document(text: str, path: Path, model: type[_Document], kind: FileKind) -> _Document:
    """Check a text against one of the three forms.

    Raises
    ------
    AssessmentError
        When it is another form, of a newer version, or has a wrong, unknown or missing value.
    """
    try:
        document = model.model_validate_json(text)
    except ValidationError as error:
        _check_header(text, path, model, kind)  # what is no such file at all is told first
        score = _told_score(error)
        if score:
            raise AssessmentError(
                f"{path} holds {score!r}, but a submission holds no score: marks are computed here, from the tracings; use the"
                " file as the student saved it"
            ) from error
        raise AssessmentError(
            f"{path} is damaged or was edited: {first_fault(error)}; use an undamaged copy"
        ) from error
    if isinstance(document, Submission):
        document.hold_against(text)
    return document


def _told_score(error: ValidationError) -> str:
    """Name of a key by which somebody told a mark; empty when there is none."""
    unknown = (fault["loc"][-1] for fault in error.errors() if fault["type"] == "extra_forbidden")
    return next((str(name) for name in unknown if str(name).lower() in SCORES), "")


def _check_header(text: str, path: Path, model: type[_Document], kind: FileKind) -> None:
    expected = model.model_fields["format"].annotation.__args__[0]  # type: ignore[union-attr]
    try:
        header = _Header.model_validate_json(text)
    except ValidationError as error:
        parsed(text, path, kind)  # tells where the JSON breaks off
        raise AssessmentError(f"{path} is no {kind.noun}: {kind.advice}") from error
    if header.format != expected:
        found = _NAMES.get(header.format) if isinstance(header.format, str) else None
        told = f"is {found}, no {kind.noun}" if found else f"is no {kind.noun}"
        raise AssessmentError(f"{path} {told}: {kind.advice}")
    version = header.format_version
    if isinstance(version, int) and version > FORMAT_VERSION:
        raise AssessmentError(
            f"{path} has version {version} and this program reads up to {FORMAT_VERSION}: update curvometer"
        )
    if isinstance(version, bool) or version != FORMAT_VERSION:  # True would pass for 1
        raise AssessmentError(f"{path} has the unknown version {version!r:.40}; known is {FORMAT_VERSION}")
