"""What is expected on each image, worked out once from sheet, key and rubric, and used for every student."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from curvometer.assessment.comparing import (
    Compared,
    ReferenceLine,
    TracedCanal,
    compare,
    curve_limits,
    runs_backwards,
    traced_canal,
)
from curvometer.assessment.decisions import (
    ExpectedClass,
    expected_class,
    graded,
    plan_request,
    right_advices,
)
from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.key import ExerciseKey, ImageKey, Reference
from curvometer.assessment.rubric import ITEM_TASKS, ITEM_UNITS, Band, Item, Rubric, RubricItem, band
from curvometer.assessment.rubric_file import load_rubric
from curvometer.assessment.sheet import ExerciseSheet, ImageSheet, Task
from curvometer.geometry import resample
from curvometer.measurement import CanalMeasurement, Quantity
from curvometer.radiograph import CurvometerError
from curvometer.sequence import PlanRequest

LINE_POINTS = 200
"""Points of the line between the experts'."""
NOT_RELIABLE = {
    Item.CURVE: ("straight", "small_angle"),
    Item.RADIUS: ("straight", "small_angle", "short_arc"),
}
"""Flags of the reference's measurement with which an item is not marked: what nobody can measure is not asked for."""


class CourseSpread(NamedTuple):
    """Largest differences between experts, mm: ends along the canal, 95th percentile beside it, unsteadiness, swerve."""

    foramen_mm: float = 0.0
    orifice_mm: float = 0.0
    astray_mm: float = 0.0
    unsteady_mm: float = 0.0
    swerve_mm: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class ImageExpectation:
    """What is expected on one image.

    Attributes
    ----------
    sheet, key
        Of the image.
    rows
        The rubric's rows that are marked here.
    line
        The reference; None on an image that is to be rejected.
    measurement
        Of the expert whose angle is the middle one.
    bands
        Limits of the items that have some.
    course
        How far the experts differ in what names kinds of error.
    mm_per_pixel
        The reference's scale.
    expected_class, advices, request
        What plan and grade are held against; None where nothing is asked. `advices` are the decisions that are right.
    """

    sheet: ImageSheet
    key: ImageKey
    rows: tuple[RubricItem, ...]
    line: ReferenceLine | None = None
    measurement: CanalMeasurement | None = None
    bands: Mapping[Item, Band]
    course: CourseSpread = field(default_factory=CourseSpread)
    mm_per_pixel: float | None = None
    expected_class: ExpectedClass | None = None
    advices: tuple[str, ...] = ()
    request: PlanRequest | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Expectations:
    """What is expected in one exercise: make it once, mark every student with it.

    Attributes
    ----------
    sheet, key, rubric
        What it was made from.
    images
        By name, in the sheet's order.
    """

    sheet: ExerciseSheet
    key: ExerciseKey
    rubric: Rubric
    images: Mapping[str, ImageExpectation]


def expect(sheet: ExerciseSheet, key: ExerciseKey, rubric: Rubric | None = None) -> Expectations:
    """Work out what is expected.

    Parameters
    ----------
    sheet, key
        Of one exercise and one edition.
    rubric
        Instead of the key's own.

    Returns
    -------
    Expectations
        For `mark_submission` and `mark_answer`.

    Raises
    ------
    AssessmentError
        When sheet and key do not belong together, the rubric is wrong, or an image's reference cannot be marked against.
    """
    if key.exercise != sheet.exercise or key.edition != sheet.edition:
        raise AssessmentError(
            f"the key belongs to {key.exercise} edition {key.edition}, the exercise is {sheet.exercise} edition"
            f" {sheet.edition}: give the key that was made with this hand-out"
        )
    chosen = load_rubric(key.rubric) if rubric is None else rubric
    images = {}
    for image in sheet.images:
        answers = key.image(image.id)
        if answers is None:
            raise AssessmentError(f"the key has no entry for image {image.id!r}: build the exercise again")
        try:
            images[image.id] = _image(sheet, image, answers, chosen)
        except CurvometerError as error:
            raise AssessmentError(
                f"image {image.id!r} cannot be marked ({error}): correct its reference or what is asked on it"
            ) from error
    return Expectations(sheet=sheet, key=key, rubric=chosen, images=images)


def _image(sheet: ExerciseSheet, image: ImageSheet, key: ImageKey, rubric: Rubric) -> ImageExpectation:
    asked = tuple(row for row in rubric.items if ITEM_TASKS[row.item] in image.tasks and row.points > 0.0)
    if not key.acceptable:
        return ImageExpectation(sheet=image, key=key, rows=asked, bands={})
    references = [each for each in key.references if each.exact] or key.references
    spacing = _spacing(references)
    measurements = [each.canal.to_measurement() for each in references]
    middle = _middle(measurements)
    shape = measurements[middle].shape
    canals = [traced_canal(each.canal.to_centreline(), spacing, shape) for each in references]
    _check_direction(references, canals, spacing)
    line = _between(canals, spacing)
    rows = tuple(row for row in asked if _is_reliable(row.item, measurements))
    scale = math.sqrt(spacing[0] * spacing[1])
    seen = _experts_compared(canals, line)
    bands = {
        row.item: band(
            row,
            spread=_spread(row.item, references, seen, scale),
            doubt=0.0 if references[0].exact else _doubt(row.item, references, measurements, line),
        )
        for row in rows
        if row.item in ITEM_UNITS
    }
    grades = [graded(sheet, image, each) for each in measurements]
    return ImageExpectation(
        sheet=image,
        key=key,
        rows=rows,
        line=line,
        measurement=measurements[middle],
        bands=bands,
        course=_course_spread(seen),
        mm_per_pixel=scale,
        expected_class=expected_class(key, grades) if Task.GRADE in image.tasks else None,
        advices=right_advices(key, grades, image.scenario) if Task.PLAN in image.tasks else (),
        request=plan_request(image, measurements[middle]) if Task.PLAN in image.tasks else None,
    )


# --- the line


def _spacing(references: Sequence[Reference]) -> tuple[float, float]:
    found = [each.calibration.spacing_xy_mm for each in references if each.calibration.at_tooth]
    spacings = [(xy[1], xy[0]) for xy in found if xy is not None]
    if len(spacings) < len(references):
        raise AssessmentError("a reference has no scale at the tooth, so no distance can be judged")
    row, column = np.exp(np.mean(np.log(spacings), axis=0))
    return float(row), float(column)


def _check_direction(
    references: Sequence[Reference], canals: Sequence[TracedCanal], spacing: tuple[float, float]
) -> None:
    first = _between(canals[:1], spacing)
    for each, canal in zip(references, canals, strict=True):
        if runs_backwards(canal.points_rc, first):
            raise AssessmentError(
                f"{each.expert} traced from the foramen to the orifice, or {references[0].expert} did; turn it round"
            )


def _between(canals: Sequence[TracedCanal], spacing: tuple[float, float]) -> ReferenceLine:
    """The mean of several experts' lines and measurements."""
    if len(canals) == 1:
        points = canals[0].points_rc
    else:
        scale = np.array(spacing)
        laid = [resample(canal.points_rc * scale, LINE_POINTS) for canal in canals]
        points = np.mean(laid, axis=0) / scale
    bare = ReferenceLine(
        points_rc=points,
        spacing_rc_mm=spacing,
        angle_deg=float(np.mean([canal.angle_deg for canal in canals])),
        curvature_per_mm=float(np.mean([canal.curvature_per_mm for canal in canals])),
        start_mm=None,
        end_mm=None,
        shape=canals[0].values.shape,
    )
    limits = [curve_limits(bare, canal) for canal in canals]
    starts, ends = ([x for x in which if x is not None] for which in zip(*limits, strict=True))
    if not starts:
        return bare
    return replace(bare, start_mm=float(np.mean(starts)), end_mm=float(np.mean(ends)))


# --- the bands


def _is_reliable(item: Item, measurements: Sequence[CanalMeasurement]) -> bool:
    """Whether most experts' measurements allow an item to be marked."""
    doubts = NOT_RELIABLE.get(item, ())
    doubted = [any(flag.code in doubts for flag in each.flags) for each in measurements]
    return 2 * sum(doubted) < len(doubted)


def _experts_compared(canals: Sequence[TracedCanal], line: ReferenceLine) -> list[Compared]:
    """Every expert against all together and against the others alone; none for a single one."""
    if len(canals) < 2:
        return []
    others = [_between([*canals[:i], *canals[i + 1 :]], line.spacing_rc_mm) for i in range(len(canals))]
    return [
        compare(view, canal)
        for views in ([line] * len(canals), others)
        for view, canal in zip(views, canals, strict=True)
    ]


def _spread(item: Item, references: Sequence[Reference], seen: Sequence[Compared], scale: float) -> float:
    """Largest error of any expert."""
    if item is Item.CALIBRATION:
        return max(100.0 * abs((each.calibration.mm_per_pixel or scale) / scale - 1.0) for each in references)
    errors = [compared.errors[item] for compared in seen]
    return max((error for error in errors if math.isfinite(error)), default=0.0)


def _course_spread(seen: Sequence[Compared]) -> CourseSpread:
    return CourseSpread(
        foramen_mm=max((abs(each.lines.foramen.along_mm) for each in seen), default=0.0),
        orifice_mm=max((abs(each.lines.orifice.along_mm) for each in seen), default=0.0),
        astray_mm=max((each.astray_mm for each in seen), default=0.0),
        unsteady_mm=max((each.unsteady_mm for each in seen), default=0.0),
        swerve_mm=max((each.swerve_mm for each in seen), default=0.0),
    )


def _doubt(
    item: Item,
    references: Sequence[Reference],
    measurements: Sequence[CanalMeasurement],
    line: ReferenceLine,
) -> float:
    """Half of the reference's own 95 % interval, in the item's unit; the smallest among the experts."""
    if item is Item.CALIBRATION:
        return min(196.0 * each.calibration.relative_standard_uncertainty for each in references)
    if item is Item.ANGLE:
        return min(_half(each.schneider_angle) for each in measurements)
    if item is Item.CURVE:
        return min(_half(each.curve_start_from_foramen) for each in measurements)
    if item is Item.RADIUS and line.curvature_per_mm > 0.0:
        return min(_half_of_curvature(each.pruett_radius) for each in measurements)
    return 0.0


def _half(quantity: Quantity | None) -> float:
    return 0.0 if quantity is None else 0.5 * (quantity.upper - quantity.lower)


def _half_of_curvature(radius: Quantity | None) -> float:
    if radius is None or radius.lower <= 0.0:
        return 0.0
    return 50.0 * (1.0 / radius.lower - 1.0 / radius.upper) * radius.value


def _middle(measurements: Sequence[CanalMeasurement]) -> int:
    """The expert whose angle is the middle one."""
    angles = [each.schneider_angle.value if each.schneider_angle else 0.0 for each in measurements]
    return int(np.argsort(angles, kind="stable")[(len(angles) - 1) // 2])
