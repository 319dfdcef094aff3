"""What marking gives: points with their reasons, item by item, image by image."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class ErrorKind(StrEnum):
    """What went wrong on an image, in the words of a report's table."""

    NOT_DONE = "not done"
    IMAGE_MISJUDGED = "image misjudged"
    WRONG_IMAGE = "another image traced"
    REVERSED = "traced from foramen to orifice"
    SCALE = "scale off"
    STOPPED_SHORT = "stopped short of the foramen"
    BEYOND = "went beyond the foramen"
    WRONG_ORIFICE = "began elsewhere than at the orifice"
    CURVE_START = "curve said to start elsewhere"
    LEFT_THE_CANAL = "left the canal"
    SHAKY = "unsteady line"
    ANGLE = "angle off"
    RADIUS = "radius off"
    GRADE = "wrong class"
    ADVICE = "treat or refer misjudged"
    UNSAFE_PLAN = "plan breaks a safety rule"


@dataclass(frozen=True, kw_only=True)
class ItemMark:
    """Points for one item of the rubric.

    Attributes
    ----------
    code, title
        Of the rubric's item.
    points, out_of
        Earned and possible.
    found
        What was compared, with its unit, in words: ``"0.21 mm from the reference on average"``.
    reason
        Why these points, in a sentence that a student can learn from.
    """

    code: str
    title: str
    points: float
    out_of: float
    found: str
    reason: str


@dataclass(frozen=True, kw_only=True)
class ImageMark:
    """Points for one image.

    Attributes
    ----------
    image
        Its name.
    items
        One entry for each item of the rubric that was asked.
    cap
        Highest share of the points that the image may earn, 0 to 1; below 1 where a plan breaks a safety rule.
    cap_reason
        Why; empty without a cap.
    errors
        Kinds of error, the weightiest first.
    numbers
        What was compared, by names with units (``mean_distance_mm``, ``angle_error_deg`` ...); what could not be is missing.
    """

    image: str
    items: tuple[ItemMark, ...]
    cap: float = 1.0
    cap_reason: str = ""
    errors: tuple[ErrorKind, ...] = ()
    numbers: tuple[tuple[str, float], ...] = ()

    @property
    def out_of(self) -> float:
        """Possible points."""
        return sum(item.out_of for item in self.items)

    @property
    def points(self) -> float:
        """Earned points, after the cap."""
        return min(sum(item.points for item in self.items), self.cap * self.out_of)


@dataclass(frozen=True, kw_only=True)
class SheetMark:
    """One student's marks in one exercise.

    Attributes
    ----------
    student, exercise, occasion
        Whose, in what, and for which time: 1 is the first.
    images
        In the order of the exercise; images without an answer are there with no points.
    remarks
        What is odd about the submission, in sentences; empty when nothing is.
    """

    student: str
    exercise: str
    occasion: int
    images: tuple[ImageMark, ...]
    remarks: tuple[str, ...] = ()

    @property
    def percent(self) -> float:
        """Share of the possible points over all images, each of the same weight; 0 to 100."""
        shares = [image.points / image.out_of for image in self.images if image.out_of]
        return 100.0 * sum(shares) / len(shares) if shares else 0.0
