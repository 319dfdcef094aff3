"""What a student hands in: one file with an answer for each image."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AwareDatetime, Field

from curvometer.assessment.sheet import Entry, Identifier, NotNegative, Positive, Sha256, digest
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
        SHA-256 of all the rest (`seal_of`): tells a file that was changed after saving. No secret is in it: it shows
        accidents and clumsy changes, it proves nothing.
    """

    format: Literal["curvometer-submission"]
    format_version: Literal[1]
    exercise: Identifier
    edition: Annotated[str, Field(pattern="^[0-9a-f]{16}$")]
    student: Identifier
    occasion: Annotated[int, Field(ge=1, le=99)] = 1
    created: AwareDatetime
    software: SoftwareEntry
    answers: list[Answer]
    seal: str = ""

    def answer(self, image_id: str) -> Answer | None:
        """Find the answer to an image; None when there is none."""
        return next((answer for answer in self.answers if answer.image == image_id), None)


def seal_of(submission: Submission) -> str:
    """SHA-256 of everything in a submission but its seal."""
    return digest(submission.model_copy(update={"seal": ""}))
