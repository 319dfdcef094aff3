"""What a teacher keeps: reference tracings of one or several experts, what is right besides, and the rubric."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AwareDatetime, Field, model_validator

from curvometer.assessment.sheet import Entry, FormatVersion, Identifier
from curvometer.record.models import CalibrationEntry, CanalEntry


class Reference(Entry):
    """One expert's tracing of one image.

    Attributes
    ----------
    expert
        The expert's name or pseudonym; ``"truth"`` for a phantom.
    exact
        Whether it is a simulated canal's own line, known without error.
    calibration
        The expert's scale.
    canal
        The tracing with its measurement.
    """

    expert: Identifier
    exact: bool = False
    calibration: CalibrationEntry
    canal: CanalEntry


class ImageKey(Entry):
    """What is right on one image.

    Attributes
    ----------
    id
        The image's name, as in the sheet.
    acceptable
        Whether the image may be used for a measurement.
    reasons
        Why not, as codes of `curvometer.assessment.IMAGE_FAULTS`; empty for an acceptable image.
    references
        One or several experts; empty for an image that is to be rejected.
    grade
        Class by the sheet's criteria set, lower case; None: computed from the references.
    advice
        ``"treat"`` or ``"refer"``; None: computed.
    made_from
        How a phantom was simulated (never in the hand-out); None for a real film.
    """

    id: Identifier
    acceptable: bool = True
    reasons: list[str] = Field(default_factory=list)
    references: list[Reference] = Field(default_factory=list)
    grade: str | None = None
    advice: Literal["treat", "refer"] | None = None
    made_from: dict[str, str | int | float | bool | list[float] | None] | None = None

    @model_validator(mode="after")
    def _a_reference_where_one_is_needed(self) -> ImageKey:
        if self.acceptable and not self.references:
            raise ValueError(f"image {self.id!r} is acceptable and has no reference tracing")
        experts = [reference.expert for reference in self.references]
        twice = sorted({expert for expert in experts if experts.count(expert) > 1})
        if twice:
            raise ValueError(f"image {self.id!r} has two references of {twice[0]!r}")
        return self


class ExerciseKey(Entry):
    """The answers of an exercise; never leaves the teacher's hands, but in practice.

    Attributes
    ----------
    format, format_version
        Tell this file from others.
    exercise, edition
        Which sheet it belongs to (`ExerciseSheet.edition`).
    created
        When it was made.
    images
        One entry for each image of the sheet, in its order.
    rubric
        The rubric's TOML text, as the teacher wrote it; empty for the default.
    """

    format: Literal["curvometer-key"]
    format_version: FormatVersion
    exercise: Identifier
    edition: Annotated[str, Field(pattern="^[0-9a-f]{16}$")]
    created: AwareDatetime
    images: Annotated[list[ImageKey], Field(min_length=1)]
    rubric: str = ""

    def image(self, image_id: str) -> ImageKey | None:
        """Find an image's answers by its name."""
        return next((image for image in self.images if image.id == image_id), None)
