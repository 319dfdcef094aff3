"""The teacher's ``exercise.toml``, checked so that every complaint names the line."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, Literal, NoReturn

from pydantic import BaseModel, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.faults import check_faults
from curvometer.assessment.films import FilmOrder
from curvometer.assessment.sheet import (
    Entry,
    Identifier,
    KnownLength,
    Positive,
    Purpose,
    Scenario,
    Task,
    Tasks,
    Tooth,
)
from curvometer.difficulty import CaseFacts, criteria_set
from curvometer.radiograph import CurvometerError
from curvometer.record import CanalName
from curvometer.toml_lines import TomlLines, parse_toml, read_toml

FILE_NAME = "exercise.toml"
LARGEST_FILE_BYTES = 2**20
"""A thousand images need some 300 kB."""


class Order(StrEnum):
    """In which order the images are handed out."""

    SHUFFLED = "shuffled"
    AS_WRITTEN = "as-written"


class ImageRow(Entry):
    """One ``[[images]]``.

    Attributes
    ----------
    file
        A film of one's own, beside the file or in a folder below it.
    phantom
        Or a film to simulate.
    tooth, canal
        Needed with `file`; a simulated film knows its own.
    references
        Records by the experts' names; needed with `file`, unless the image is to be rejected.
    inverted
        The film is a negative.
    tasks
        What is asked; None: everything that can be asked.
    known_length, mm_per_pixel
        By what to calibrate, or the scale itself; only with `file`.
    scenario
        What is stated about the case.
    acceptable, reasons
        Whether the image may be used, and why not.
    grade, advice
        What is right; None: computed from the references.
    """

    file: str | None = None
    phantom: FilmOrder | None = None
    tooth: Tooth | None = None
    canal: CanalName | None = None
    references: dict[Identifier, str] = Field(default_factory=dict)
    inverted: bool = False
    tasks: Tasks | None = None
    known_length: KnownLength | None = None
    mm_per_pixel: Positive | None = None
    scenario: Scenario = Scenario()
    acceptable: bool = True
    reasons: list[str] = Field(default_factory=list)
    grade: str | None = None
    advice: Literal["treat", "refer"] | None = None

    @model_validator(mode="after")
    def _one_source(self) -> ImageRow:
        if (self.file is None) == (self.phantom is None):
            raise ValueError("an image needs file = ... or phantom = {...}, and not both")
        if self.phantom is not None:
            for name in ("tooth", "canal", "references", "known_length", "mm_per_pixel", "reasons"):
                if getattr(self, name):
                    raise ValueError(f"a simulated film knows its own {name}: leave that out")
            if self.inverted or not self.acceptable:
                raise ValueError("a simulated film is made unusable by phantom.fault, and never inverted")
        elif self.tooth is None or self.canal is None:
            raise ValueError('a film of your own needs tooth = ... and canal = "..."')
        elif self.acceptable and not self.references:
            raise ValueError('an image needs references = { expert = "record.json" }, or acceptable = false')
        if self.acceptable and self.reasons:
            raise ValueError("reasons belong to acceptable = false")
        if self.known_length is not None and self.mm_per_pixel is not None:
            raise ValueError("give known_length or mm_per_pixel, not both")
        return self


class ExerciseFile(Entry):
    """The whole file.

    Attributes
    ----------
    name, title
        For file names and tables, and for people (the name when left out).
    purpose
        ``"marked"``, or ``"practice"``: the hand-out then holds the answers.
    criteria
        The criteria set to grade by.
    order
        ``"shuffled"`` or ``"as-written"``; when left out, shuffled if it is to be marked.
    rubric
        A TOML file; None: the default rubric.
    images
        One row each.
    """

    name: Identifier
    title: str = ""
    purpose: Purpose = Purpose.MARKED
    criteria: str = "aae-2022"
    order: Order | None = None
    rubric: str | None = None
    images: Annotated[list[ImageRow], Field(min_length=1, max_length=1000)]


def load_exercise_file(folder: str | Path) -> ExerciseFile:
    """Read the ``exercise.toml`` of a folder.

    Raises
    ------
    AssessmentError
        With the line, what was found there, and what is needed.
    """
    path = Path(folder) / FILE_NAME
    text, document = read_toml(path, noun="exercise", largest_bytes=LARGEST_FILE_BYTES, error=AssessmentError)
    return _checked(path, text, document)


def check_exercise_text(text: str, path: Path) -> ExerciseFile:
    """Check a text that is to become an ``exercise.toml``; `path` names it in complaints. See `load_exercise_file`."""
    return _checked(path, text, parse_toml(text, path, AssessmentError))


def _checked(path: Path, text: str, document: dict[str, Any]) -> ExerciseFile:
    lines = _Lines(path, text)
    try:
        exercise = ExerciseFile.model_validate_json(json.dumps(document, default=str))
    except ValidationError as error:
        lines.refuse(error.errors(include_url=False)[0])
    _check_names(exercise, lines)
    return exercise


class _Lines:
    """Finds the line of a complaint."""

    def __init__(self, path: Path, text: str) -> None:
        self.path, self.lines = path, TomlLines(text, "images")

    def fail(self, number: int, key: str, sentence: str, item: Any = None) -> NoReturn:
        raise AssessmentError(f"{self.path}, line {self.lines.line(number, key, item)}: {sentence}")

    def refuse(self, fault: ErrorDetails) -> NoReturn:
        """Tell pydantic's first complaint in words of this file."""
        place = [part for part in fault["loc"] if part != "[key]"]
        number, keys = 0, place
        if len(place) > 1 and place[0] == "images" and isinstance(place[1], int):
            number, keys = place[1] + 1, place[2:]
        names = [str(key) for key in keys if isinstance(key, str)]
        if fault["type"] == "missing":
            # the line of the table in which it is missing; there is none for the file itself
            key, item = (names[0], None) if len(names) > 1 else ("", None)
        else:
            key, item = (names[0] if names else ""), (keys[1] if len(keys) > 1 else None)
        self.fail(number, key, _sentence(fault, names, in_image=number > 0), item)


def _sentence(fault: ErrorDetails, names: list[str], *, in_image: bool) -> str:
    name = names[-1] if names else "the image"
    if fault["type"] == "missing":
        if name == "images":
            return "there are no images: write each one below a line [[images]]"
        return f"{name} is missing: add {name} = ..."
    if fault["type"] == "extra_forbidden":
        return f"the key {name!r} is unknown: known are {', '.join(_known(names, in_image=in_image))}"
    told = fault["msg"].removeprefix("Value error, ").replace("Input should be ", "it must be ")
    if fault["type"] == "value_error" and not names:
        return told
    if fault["type"] == "string_pattern_mismatch":
        told = "write letters, digits, _ . and - only, at most 64"
    found = f"{fault['input']!r}"
    found = found if len(found) <= 60 else f"{found[:57]}..."
    return f"{name} is {found}: {told[:1].lower()}{told[1:]}"


_TABLES: dict[str, type[BaseModel]] = {
    "phantom": FilmOrder,
    "known_length": KnownLength,
    "scenario": Scenario,
}


def _known(names: list[str], *, in_image: bool) -> list[str]:
    """Keys of the table in which the last name stands."""
    above = [_TABLES[name] for name in names[:-1] if name in _TABLES]
    table = above[-1] if above else ImageRow if in_image else ExerciseFile
    return list(table.model_fields)


def _check_names(exercise: ExerciseFile, lines: _Lines) -> None:
    """What the models cannot know: criteria, faults, canals of a tooth, facts of a case."""
    try:
        criteria_set(exercise.criteria)
    except CurvometerError as error:
        lines.fail(0, "criteria", f"{error}")
    for number, row in enumerate(exercise.images, 1):
        _check_row(exercise, row, number, lines)


def _check_row(exercise: ExerciseFile, row: ImageRow, number: int, lines: _Lines) -> None:
    classes = criteria_set(exercise.criteria).classes
    if row.grade is not None and row.grade not in classes:
        lines.fail(number, "grade", f"grade is {row.grade!r}: write one of {', '.join(classes)}")
    tooth, canal = row.tooth, None if row.canal is None else row.canal.value
    checks: tuple[tuple[str, Callable[[], object]], ...] = (
        ("reasons", lambda: check_faults(row.reasons)),
        ("tooth", lambda: CaseFacts(tooth=tooth)),
        ("canal", lambda: None if tooth is None else CaseFacts(tooth=tooth, canal=canal)),
        ("scenario", lambda: CaseFacts(**{"tooth": tooth, **row.scenario.facts})),  # type: ignore[arg-type]
    )
    for key, check in checks:
        try:
            check()
        except CurvometerError as error:
            lines.fail(number, key, f"{error}")
        except TypeError:
            known = ", ".join(field.name for field in fields(CaseFacts))
            lines.fail(number, key, f"the scenario has a fact that is unknown: known are {known}")
    if row.tasks is not None:
        _check_tasks(row, row.tasks, number, lines)


def _check_tasks(row: ImageRow, tasks: list[Task], number: int, lines: _Lines) -> None:
    if len(set(tasks)) < len(tasks):
        lines.fail(number, "tasks", "a task stands twice: keep one")
    has_object = row.known_length is not None or (
        row.phantom is not None and row.phantom.known_object != "none"
    )
    if Task.CALIBRATE in tasks and not has_object:
        lines.fail(
            number,
            "tasks",
            "nobody can calibrate without a thing of known length: add known_length",
            "calibrate",
        )
    if Task.PLAN in tasks and row.phantom is None and row.scenario.working_length_mm is None:
        lines.fail(
            number, "tasks", "a plan needs scenario.working_length_mm: add it, or leave out the plan", "plan"
        )
