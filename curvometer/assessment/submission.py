"""What a student hands in: one file with an answer for each image."""

from __future__ import annotations

import hashlib
from typing import Annotated, Literal

from pydantic import AwareDatetime, Field, PrivateAttr

from curvometer.assessment.sheet import (
    Entry,
    FormatVersion,
    Identifier,
    NotNegative,
    Positive,
    Sha256,
    written,
)
from curvometer.record.models import CalibrationEntry, CanalEntry, SoftwareEntry


class StepEntry(Entry):
    """One step of a proposed plan; see `curvometer.SequenceStep`."""

    kind: Literal["hand", "rotary"]
    size: Annotated[int, Field(ge=6, le=140)]
    taper: Annotated[float, Field(ge=0.0, le=0.12)]
    to_mm: Positive
    speed_rpm: Positive | None = None
    seconds: Positive | None = None


class ProposedPlan(Entry):
    """What the student would do.

    Attributes
    ----------
    advice
        Treat, or refer.
    steps
        In their order; empty when nothing is proposed.
    """

    advice: Literal["treat", "refer"]
    steps: list[StepEntry] = Field(default_factory=list)


class ProposedGrade(Entry):
    """The class that the student gives by the sheet's criteria set, and the factors that decided, by their codes."""

    grade: str
    factors: list[str] = Field(default_factory=list)


class Answer(Entry):
    """A student's work on one image; what was not done is None.

    Attributes
    ----------
    image, sha256
        Name and hash of the image that was worked on.
    accepted
        Whether the student would use the image.
    reasons
        Why not, as codes of `curvometer.assessment.IMAGE_FAULTS`.
    calibration
        The scale that the student found.
    canal
        The tracing, with the measurement that the student saw.
    grade, plan
        The student's own.
    """

    image: Identifier
    sha256: Sha256
    accepted: bool | None = None
    reasons: list[str] = Field(default_factory=list)
    calibration: CalibrationEntry | None = None
    canal: CanalEntry | None = None
    grade: ProposedGrade | None = None
    plan: ProposedPlan | None = None
    seconds: NotNegative | None = None


class Submission(Entry):
    """One student's answers to one exercise.

    Attributes
    ----------
    format, format_version
        Tell this file from others.
    exercise, edition
        Which sheet was worked on (`ExerciseSheet.edition`).
    student
        A pseudonym that the teacher gave.
    occasion
        1 for the first time; a repeated exercise counts on.
    created
        When it was saved.
    software
        What measured.
    answers
        In the sheet's order; images that were not opened are missing.
    seal
        SHA-256 of the file's text without these digits (`seal_of`): tells a file that was changed after saving. No secret is
        in it: it shows accidents and clumsy changes, it proves nothing.
    """

    format: Literal["curvometer-submission"]
    format_version: FormatVersion
    exercise: Identifier
    edition: Annotated[str, Field(pattern="^[0-9a-f]{16}$")]
    student: Identifier
    occasion: Annotated[int, Field(ge=1, le=99)] = 1
    created: AwareDatetime
    software: SoftwareEntry
    answers: list[Answer]
    seal: str = ""
    _changed: bool = PrivateAttr(default=False)

    @property
    def changed(self) -> bool:
        """Whether the file that it was read from states a seal that does not fit the file's text."""
        return self._changed

    def hold_against(self, text: str) -> None:
        """Find out, once and right after reading, whether the seal fits the text that this was read from."""
        self._changed = bool(self.seal) and not _fits(self.seal, text)

    def answer(self, image_id: str) -> Answer | None:
        """Find the answer to an image; None when there is none."""
        return next((answer for answer in self.answers if answer.image == image_id), None)


def sealed(submission: Submission) -> tuple[Submission, str]:
    """Seal a submission; give it with the text of its file."""
    open_text = written(submission.model_copy(update={"seal": ""}))
    seal = _digest(open_text)
    before, after = open_text.rsplit(_PLACE.format(""), 1)
    return submission.model_copy(update={"seal": seal}), before + _PLACE.format(seal) + after


def seal_of(submission: Submission) -> str:
    """SHA-256 of the text of a submission's file as it is saved here, but for the seal's digits.

    A file is held against its own text (`Submission.changed`), never against this: another version may leave out a new entry,
    or write 1e-05 as 0.00001, and nobody has changed anything then.
    """
    return sealed(submission)[0].seal


_PLACE = '"seal": "{}"'


def _fits(seal: str, text: str) -> bool:
    # On the way some programs write line ends of their own system.
    text, place = text.replace("\r\n", "\n"), _PLACE.format(seal)
    return text.count(place) == 1 and _digest(text.replace(place, _PLACE.format(""))) == seal


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
