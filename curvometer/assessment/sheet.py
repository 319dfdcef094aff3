"""What a student is handed: images, what to do on each, and what is stated about the case; nothing of the answers."""

from __future__ import annotations

import hashlib
import json
from enum import StrEnum
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from curvometer.record import CanalName

FORMAT_VERSION: Literal[1] = 1
"""Raised whenever older files would be read differently, or could not be read."""


def _no_truth(value: Any) -> Any:
    """Refuse ``true``, which would pass for 1."""
    if isinstance(value, bool):
        raise ValueError("the version is a whole number")  # noqa: TRY004 - pydantic collects this kind
    return value


FormatVersion = Annotated[Literal[1], BeforeValidator(_no_truth)]
Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$")]
"""Name of an exercise, an image, an expert or a student's pseudonym: letters, digits, ``_ . -``, so that it can name a file."""

FileName = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,99}$")]
Tooth = Annotated[int, Field(ge=11, le=85)]
Tasks = Annotated[list["Task"], Field(min_length=1)]
Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]
HandSize = Literal[0, 6, 8, 10, 15, 20]


class Entry(BaseModel):
    """No unknown keys, no NaN, no silent conversion of types."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class Task(StrEnum):
    """What is asked on an image, in the order of the work."""

    ACCEPT = "accept"
    CALIBRATE = "calibrate"
    TRACE = "trace"
    GRADE = "grade"
    PLAN = "plan"


class Purpose(StrEnum):
    """Whether answers are marked later by a teacher, or at once by the student's own machine, which then holds them."""

    MARKED = "marked"
    PRACTICE = "practice"


class KnownLength(Entry):
    """A thing of known length in the image, by which a student calibrates.

    Attributes
    ----------
    what
        In words: ``"the steel wire beside the tooth"``, ``"file, stop to tip"``.
    length_mm
        Its length.
    tolerance_mm
        By how much that may be off.
    """

    what: str
    length_mm: Positive
    tolerance_mm: NotNegative = 0.5


class Scenario(Entry):
    """What nobody can read off the image and the plan needs: stated, invented, the same for every student.

    Attributes
    ----------
    text
        The case in a few words.
    operator
        Who would treat; the referral suggestion depends on it.
    working_length_mm
        From the reference point on the crown; None: no plan is asked.
    reached_size
        Largest hand file that reached the working length; 0: none.
    visibility
        How well canal and chamber can be seen.
    blocked, apex_opening_mm
        As `curvometer.Exploration` has them.
    facts
        Further answers for the grade, by the names of `curvometer.CaseFacts`.
    """

    text: str = ""
    operator: Literal["student", "general", "enhanced", "specialist"] = "student"
    working_length_mm: Positive | None = None
    reached_size: HandSize = 10
    visibility: Literal["clear", "narrowed", "not-visible"] = "clear"
    blocked: bool = False
    apex_opening_mm: NotNegative | None = None
    facts: dict[str, str | bool | int | float] = {}


class ImageSheet(Entry):
    """One image of an exercise and what is asked on it.

    Attributes
    ----------
    id
        Name of the image within the exercise.
    file
        File name within the hand-out's folder ``images``.
    sha256
        Hash of that file.
    tooth
        ISO 3950 number.
    canal
        The canal to trace.
    tasks
        What is asked.
    known_length
        By what to calibrate; None: the scale is stated, or there is none.
    mm_per_pixel
        Scale at the tooth, stated instead of a known length; None: to be found, or unknown.
    scenario
        What is stated about the case.
    """

    id: Identifier
    file: FileName
    sha256: Sha256
    tooth: Tooth
    canal: CanalName
    tasks: Tasks
    known_length: KnownLength | None = None
    mm_per_pixel: Positive | None = None
    scenario: Scenario = Scenario()


class ExerciseSheet(Entry):
    """The exercise as a student gets it.

    Attributes
    ----------
    format, format_version
        Tell this file from others.
    exercise
        Name of the exercise, for file names and tables.
    title
        For people.
    created
        When it was made.
    purpose
        Marked by a teacher, or practice.
    criteria
        The criteria set to grade by.
    images
        In the order in which they are shown.
    """

    format: Literal["curvometer-exercise"]
    format_version: FormatVersion
    exercise: Identifier
    title: str
    created: AwareDatetime
    purpose: Purpose
    criteria: str
    images: Annotated[list[ImageSheet], Field(min_length=1)]

    @model_validator(mode="after")
    def _distinct_images(self) -> ExerciseSheet:
        for name in ("id", "file"):
            values = [getattr(image, name) for image in self.images]
            twice = sorted({value for value in values if values.count(value) > 1})
            if twice:
                raise ValueError(f"two images have the same {name} {twice[0]!r}")
        return self

    def image(self, image_id: str) -> ImageSheet | None:
        """Find an image by its name; None when the exercise has none of that name."""
        return next((image for image in self.images if image.id == image_id), None)

    @property
    def edition(self) -> str:
        """First 16 hexadecimal digits of the hash of everything that the sheet says: one edition, one text."""
        return digest(self)[:16]


def written(entry: BaseModel) -> str:
    """Text of an entry's file: indented JSON."""
    return json.dumps(entry.model_dump(mode="json"), indent=1, allow_nan=False) + "\n"


def digest(entry: BaseModel) -> str:
    """SHA-256 of an entry's canonical JSON: sorted keys, no spaces."""
    plain = json.dumps(entry.model_dump(mode="json"), sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(plain.encode()).hexdigest()
