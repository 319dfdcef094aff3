"""The rubric: what each item of an image is worth, and how far from the reference it may be."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from curvometer.assessment.sheet import Task


class Item(StrEnum):
    """What can be marked; the names of a rubric's items."""

    IMAGE = "image"
    CALIBRATION = "calibration"
    MEAN_DISTANCE = "mean_distance"
    FAR_DISTANCE = "far_distance"
    HAUSDORFF = "hausdorff"
    FRECHET = "frechet"
    ENDS = "ends"
    CURVE = "curve"
    ANGLE = "angle"
    RADIUS = "radius"
    GRADE = "grade"
    PLAN = "plan"


class Scoring(StrEnum):
    """How points fall between the limits."""

    STEPS = "steps"
    """All up to the first limit, half up to the second, none beyond: as the source has it."""
    LINEAR = "linear"
    """All up to the first limit, falling evenly through half at the second to none as far beyond it."""


ITEM_UNITS: dict[Item, str] = {
    Item.CALIBRATION: "percent",
    Item.MEAN_DISTANCE: "mm",
    Item.FAR_DISTANCE: "mm",
    Item.HAUSDORFF: "mm",
    Item.FRECHET: "mm",
    Item.ENDS: "mm",
    Item.CURVE: "mm",
    Item.ANGLE: "deg",
    Item.RADIUS: "percent",
}
"""Unit of an item's limits; items that are missing here have none."""

ITEM_TASKS: dict[Item, Task] = {
    Item.IMAGE: Task.ACCEPT,
    Item.CALIBRATION: Task.CALIBRATE,
    **dict.fromkeys((item for item in ITEM_UNITS if item is not Item.CALIBRATION), Task.TRACE),
    Item.GRADE: Task.GRADE,
    Item.PLAN: Task.PLAN,
}
"""The task that an item marks; it is left out where the task is not asked."""


@dataclass(frozen=True, kw_only=True)
class RubricItem:
    """One row.

    Attributes
    ----------
    item
        What is marked.
    title
        For people.
    points
        What it is worth.
    full, half
        Largest errors for all and for half of the points, in the item's unit (`ITEM_UNITS`); None for items that are judged
        without a number.
    """

    item: Item
    title: str
    points: float
    full: float | None = None
    half: float | None = None


@dataclass(frozen=True, kw_only=True)
class Rubric:
    """Every row, and what a plan that breaks a safety rule costs.

    Attributes
    ----------
    title, source
        Of the rubric, for the report.
    items
        In the order of the report, each item once.
    scoring
        How points fall between the limits.
    unsafe_plan_percent
        Share of an image's points, in per cent, that remains possible with a plan that breaks a safety rule.
    """

    title: str
    source: str
    items: tuple[RubricItem, ...]
    scoring: Scoring = Scoring.STEPS
    unsafe_plan_percent: float = 49.0

    def row(self, item: Item) -> RubricItem | None:
        """Find an item's row; None when the rubric does not mark it."""
        return next((row for row in self.items if row.item is item), None)


@dataclass(frozen=True, kw_only=True)
class Band:
    """Limits of one item on one image: the rubric's, widened by what is not known better.

    Attributes
    ----------
    full, half
        Largest errors for all and for half of the points.
    widened_by
        Why the limit is wider than the rubric's, in words; empty when it is not.
    """

    full: float
    half: float
    widened_by: str = ""

    def share(self, error: float, scoring: Scoring) -> float:
        """Share of the points for an error; it never rises with the error.

        Parameters
        ----------
        error
            Not negative, in the unit of the limits; infinite where nothing can be compared.
        scoring
            Steps or linear.
        """
        slack = 1e-9 * max(self.full, 1.0)  # an error that is the limit itself, after rounding
        if error <= self.full + slack:
            return 1.0
        if scoring is Scoring.STEPS:
            return 0.5 if error <= self.half + slack else 0.0
        width = self.half - self.full
        return max(1.0 - 0.5 * (error - self.full) / width, 0.0) if width > 0.0 else 0.0


def band(row: RubricItem, *, spread: float = 0.0, doubt: float = 0.0) -> Band:
    """Widen a row's limits.

    Parameters
    ----------
    row
        With limits.
    spread
        How far the experts are from each other: nobody is marked down inside it, however wide it is.
    doubt
        Half of the reference's own 95 % interval. It counts up to the limit for half of the points: what is not known better
        than that still has to be traced like the reference.

    Notes
    -----
    The limit for half of the points moves outwards by as much.
    """
    full, half = row.full or 0.0, row.half or 0.0
    doubt = min(doubt, half)
    widest = max(full, spread, doubt)
    if widest <= full:
        return Band(full=full, half=half)
    why = "the experts differ by as much" if spread >= doubt else "the reference is not known better"
    return Band(full=widest, half=half + (widest - full), widened_by=why)
