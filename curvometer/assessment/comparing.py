"""One tracing against what is expected: the errors that a rubric marks, each in its unit.

Distances are in millimetres of the reference's scale, whatever scale a student found: a wrong scale is one error, not six.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from curvometer.assessment.rubric import Item
from curvometer.calibration import Calibration
from curvometer.centreline import Centreline
from curvometer.comparison import CentrelineComparison, compare_centrelines
from curvometer.geometry import arc_length, project_to_polyline
from curvometer.measurement import CanalValues, canal_values

FloatArray = NDArray[np.float64]

STEP_MM = 0.1
"""Distance of the places that are compared: a tenth of what an end may be off."""
END_WINDOW_MM = 1.0
"""Length over which the direction at an end is taken, to go on beyond it."""
SLOWEST_WAVES = 6
"""Half waves along the canal that count as a bend or a shift of the line, not as unsteadiness; fewer for few points."""
LEAST_POINTS, MOST_POINTS = 10, 120
"""Fewer points do not tell an unsteady line from another course; more are laid out anew."""


@dataclass(frozen=True, kw_only=True, eq=False)
class TracedCanal:
    """One tracing and what it measures in the reference's scale.

    Attributes
    ----------
    points_rc
        (n, 2) pixels, orifice first.
    values
        The measurement.
    """

    points_rc: FloatArray
    values: CanalValues

    @property
    def angle_deg(self) -> float:
        """Schneider's angle."""
        return self.values.quantities["schneider_angle"]

    @property
    def curvature_per_mm(self) -> float:
        """Of the arc that turns most; 0 in a straight canal."""
        radius = self.values.quantities.get("pruett_radius")
        return 0.0 if radius is None else 1.0 / radius


@dataclass(frozen=True, kw_only=True, eq=False)
class ReferenceLine:
    """What a tracing is held against.

    Attributes
    ----------
    points_rc
        (n, 2) pixels, orifice first.
    spacing_rc_mm
        The reference's scale.
    angle_deg, curvature_per_mm
        As `TracedCanal`.
    start_mm, end_mm
        Where the curve starts and ends, along the line from the orifice; None in a straight canal.
    shape
        The canal's shape in words; tracings are read as that.
    """

    points_rc: FloatArray
    spacing_rc_mm: tuple[float, float]
    angle_deg: float
    curvature_per_mm: float
    start_mm: float | None
    end_mm: float | None
    shape: str = ""

    @property
    def points_mm(self) -> FloatArray:
        """(n, 2) row, column in millimetres."""
        return self.points_rc * self.spacing_rc_mm


@dataclass(frozen=True, kw_only=True, eq=False)
class Compared:
    """A tracing against a reference.

    Attributes
    ----------
    lines
        Distances, ends, and where they part.
    traced
        The tracing, turned round where it ran the other way.
    errors
        Size of the error of each item, in the item's unit.
    start_shift_mm, end_shift_mm
        How far the tracing's curve starts and ends too near to the foramen; negative: too near to the orifice. None where one
        of the two lines is straight.
    unsteady_mm
        Root mean square of what jumps from point to point; 0 where there are too few points to tell.
    reference
        What it was held against.
    """

    lines: CentrelineComparison
    traced: TracedCanal
    errors: dict[Item, float]
    start_shift_mm: float | None
    end_shift_mm: float | None
    unsteady_mm: float
    reference: ReferenceLine

    @property
    def astray_mm(self) -> float:
        """95th percentile of the distance beside the reference, where the tracing runs along it."""
        beside = np.abs(self.lines.profile.offset_mm)
        return float(np.percentile(beside, 95)) if len(beside) else self.lines.percentile95_mm

    @cached_property
    def swerve_mm(self) -> float:
        """95th percentile of the distance of the traced points from the tracing's own fitted shape: what no canal does."""
        scale = np.array(self.reference.spacing_rc_mm)
        _, gap = project_to_polyline(
            self.traced.points_rc * scale, self.traced.values.landmarks.line_rc * scale
        )
        return float(np.percentile(gap, 95))

    @property
    def angle_difference_deg(self) -> float:
        """The tracing's Schneider angle less the reference's."""
        return self.traced.angle_deg - self.reference.angle_deg

    @property
    def curvature_difference_percent(self) -> float:
        """The tracing's curvature less the reference's, in per cent of that; infinite for a straight reference."""
        expected = self.reference.curvature_per_mm
        return 100.0 * (self.traced.curvature_per_mm / expected - 1.0) if expected > 0.0 else math.inf


def traced_canal(centreline: Centreline, spacing_rc_mm: tuple[float, float], shape: str = "") -> TracedCanal:
    """Measure a tracing in a given scale.

    Parameters
    ----------
    centreline
        The tracing.
    spacing_rc_mm
        The scale.
    shape
        The reference's shape, in words. A student's line is read as that: which shape a few points by hand look most like is
        partly chance, and would be marked as if the student had set the start of the curve elsewhere.

    Raises
    ------
    CurvometerError
        When the points are no canal.
    """
    scale = Calibration(
        spacing_rc_mm=spacing_rc_mm, aspect_ratio=spacing_rc_mm[0] / spacing_rc_mm[1], at_tooth=True
    )
    return TracedCanal(
        points_rc=centreline.points_rc, values=canal_values(centreline, scale, shape=shape, windows=False)
    )


def turned_round(centreline: Centreline) -> Centreline:
    """The same tracing from its other end."""
    seen = centreline.observations
    return replace(
        centreline,
        points_rc=centreline.points_rc[::-1],
        position_sd_px=None if centreline.position_sd_px is None else centreline.position_sd_px[::-1],
        width_px=None if centreline.width_px is None else centreline.width_px[::-1],
        observations=None
        if seen is None
        else replace(seen, points_rc=seen.points_rc[::-1], sd_px=seen.sd_px[::-1]),
        click_sd_px=centreline.click_sd_px[::-1],
    )


def runs_backwards(points_rc: FloatArray, reference: ReferenceLine) -> bool:
    """Tell whether a tracing's ends lie nearer to the reference's once it is turned round."""
    scale = np.array(reference.spacing_rc_mm)
    ends, right = points_rc[[0, -1]] * scale, reference.points_rc[[0, -1]] * scale
    return bool(np.hypot(*(ends[::-1] - right).T).sum() < np.hypot(*(ends - right).T).sum())


def compare(reference: ReferenceLine, traced: TracedCanal) -> Compared:
    """Hold a tracing against a reference."""
    lines = compare_centrelines(
        traced.points_rc, reference.points_rc, mm_per_pixel=reference.spacing_rc_mm, step_mm=STEP_MM
    )
    start, end = curve_limits(reference, traced)
    start_shift = _shift(start, reference.start_mm)
    end_shift = _shift(end, reference.end_mm)
    shifts = [abs(shift) for shift in (start_shift, end_shift) if shift is not None]
    return Compared(
        lines=lines,
        traced=traced,
        errors={
            Item.MEAN_DISTANCE: lines.mean_mm,
            Item.FAR_DISTANCE: lines.percentile95_mm,
            Item.HAUSDORFF: lines.hausdorff_mm,
            Item.FRECHET: lines.frechet_mm,
            Item.ENDS: max(lines.orifice.distance_mm, lines.foramen.distance_mm),
            Item.CURVE: max(shifts) if len(shifts) == 2 else math.inf,
            Item.ANGLE: abs(traced.angle_deg - reference.angle_deg),
            Item.RADIUS: _percent(traced.curvature_per_mm, reference.curvature_per_mm),
        },
        start_shift_mm=start_shift,
        end_shift_mm=end_shift,
        unsteady_mm=unsteadiness(reference, traced.points_rc),
        reference=reference,
    )


def curve_limits(reference: ReferenceLine, traced: TracedCanal) -> tuple[float | None, float | None]:
    """Where a tracing's curve starts and ends, as places along the reference, mm from its orifice; None when it is straight."""
    marks = traced.values.landmarks
    if marks.curve_start_rc is None or marks.curve_end_rc is None:
        return None, None
    places = np.array([marks.curve_start_rc, marks.curve_end_rc]) * reference.spacing_rc_mm
    start, end = along_reference(reference.points_mm, places)
    return float(start), float(end)


def along_reference(line_mm: FloatArray, places_mm: FloatArray) -> FloatArray:
    """(m,) places along a line, which goes on straight beyond its ends."""
    s = arc_length(line_mm)
    length = float(s[-1])
    found, _ = project_to_polyline(places_mm, line_mm)
    window = min(END_WINDOW_MM, 0.5 * length)
    inner = np.array([[np.interp(at, s, line_mm[:, k]) for k in (0, 1)] for at in (window, length - window)])
    ahead, back = _unit(line_mm[-1] - inner[1]), _unit(line_mm[0] - inner[0])
    beyond = np.maximum((places_mm - line_mm[-1]) @ ahead, 0.0)
    before = np.maximum((places_mm - line_mm[0]) @ back, 0.0)
    slack = 1e-6 * length
    return np.asarray(
        np.where(found >= length - slack, length + beyond, np.where(found <= slack, -before, found))
    )


def unsteadiness(reference: ReferenceLine, points_rc: FloatArray) -> float:
    """What is left of the distances across when slow waves are taken off: hands tremble fast, canals bend slowly.

    Parameters
    ----------
    reference
        The line.
    points_rc
        (n, 2) pixels.

    Returns
    -------
    float
        Root mean square, mm; 0 for fewer than `LEAST_POINTS` points.
    """
    if len(points_rc) < LEAST_POINTS:
        return 0.0
    every = max(1, len(points_rc) // MOST_POINTS)
    across = _across(reference.points_mm, points_rc[::every] * reference.spacing_rc_mm)
    if len(across) < LEAST_POINTS:
        return 0.0
    slow = min(SLOWEST_WAVES, len(across) // 3)
    waves = np.cos(np.linspace(0.0, np.pi, len(across))[:, None] * np.arange(slow + 1))
    rest = across - waves @ np.linalg.lstsq(waves, across, rcond=None)[0]
    return float(np.sqrt((rest**2).sum() / (len(across) - slow - 1)))


def _across(line_mm: FloatArray, points_mm: FloatArray) -> FloatArray:
    """Signed distances of the points beside a line; those beyond its ends are left out."""
    at, gap = project_to_polyline(points_mm, line_mm)
    s = arc_length(line_mm)
    beside = (at > 0.01) & (at < s[-1] - 0.01)
    before, ahead = (
        np.column_stack([np.interp(x, s, line_mm[:, k]) for k in (0, 1)])
        for x in (np.maximum(at - 0.05, 0.0), np.minimum(at + 0.05, s[-1]))
    )
    step, away = ahead - before, points_mm - before
    side = np.where(step[:, 0] * away[:, 1] - step[:, 1] * away[:, 0] < 0.0, -1.0, 1.0)
    return np.asarray((gap * side)[beside])


def _shift(found: float | None, expected: float | None) -> float | None:
    return None if found is None or expected is None else found - expected


def _percent(found: float, expected: float) -> float:
    return 100.0 * abs(found - expected) / expected if expected > 0.0 else math.inf


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / max(float(np.hypot(*vector)), 1e-12))
