"""The table of flags: every doubt that a measurement can carry, how much it matters and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from curvometer.measurement.quantity import MeasurementFlag, Severity

SHORT_ARC_MM = 2.5
"""Arcs shorter than this leave the radius undetermined at usual trace noise (Monte Carlo in docs/accuracy)."""
SMALL_ANGLE_DEG = 10.0
"""Bends smaller than this leave the radius undetermined (Monte Carlo in docs/accuracy)."""
FEW_POINTS = 10
TOO_FEW_POINTS = 5
MISFIT_RATIO = 1.6
"""Residuals of the fitted shape over the trace's own error above which the canal is not made of arcs."""

RADII = ("pruett_radius", "chord_radius", "radius_quotient", "minimum_radius")
LENGTHS = (
    "curvature_height",
    "curvature_distance",
    "pruett_radius",
    "chord_radius",
    "three_point_radius",
    "radius_quotient",
    "minimum_radius",
    "minimum_radius_from_foramen",
    "canal_length",
    "curve_start_from_foramen",
    "curve_end_from_foramen",
)


class FlagRule(NamedTuple):
    """One row of the table: severity, the sentence, and the quantities it bears on (empty: all)."""

    severity: Severity
    text: str
    concerns: tuple[str, ...] = ()


_NOTE, _CAUTION, _STOP = Severity.NOTE, Severity.CAUTION, Severity.DO_NOT_TRUST

FLAG_TABLE: dict[str, FlagRule] = {
    "no_scale": FlagRule(
        severity=_CAUTION,
        text="There is no length scale, so no length or radius is given: click along a file of known length.",
        concerns=(*LENGTHS, "long_axis_angle"),
    ),
    "scale_at_detector": FlagRule(
        severity=_CAUTION,
        text="The file gives only the detector's pixel size; the tooth is magnified by an unknown factor, so no length or"
        " radius is given: click along a file of known length.",
        concerns=(*LENGTHS, "long_axis_angle"),
    ),
    "scale_estimated": FlagRule(
        severity=_NOTE,
        text="The scale rests on an assumed or estimated magnification: check it with a file of known length.",
        concerns=LENGTHS,
    ),
    "scale_objects_disagree": FlagRule(
        severity=_CAUTION,
        text="The calibration objects disagree by more than their errors: check the lengths and the clicks.",
        concerns=LENGTHS,
    ),
    "short_arc": FlagRule(
        severity=_CAUTION,
        text=f"The arc is shorter than {SHORT_ARC_MM} mm: its radius is not reliable, use the angle.",
        concerns=RADII,
    ),
    "small_angle": FlagRule(
        severity=_CAUTION,
        text=f"The bend is below {SMALL_ANGLE_DEG:.0f} degrees: its radius is not reliable.",
        concerns=RADII,
    ),
    "straight": FlagRule(
        severity=_NOTE,
        text="No bend is found within the errors, so there is no curve start and no radius.",
        concerns=(
            *RADII,
            "curvature_height",
            "curvature_distance",
            "minimum_radius_from_foramen",
            "curve_start_from_foramen",
            "curve_end_from_foramen",
        ),
    ),
    "two_bends": FlagRule(
        severity=_CAUTION,
        text="The canal has two opposite bends: one angle does not describe it, read the bends one by one.",
        concerns=("schneider_angle", "weine_angle", "net_turning", "pruett_angle", "chord_radius"),
    ),
    "shape_misfit": FlagRule(
        severity=_CAUTION,
        text="The canal is not made of straight parts and arcs: radius and start of the curve belong to the"
        " best-fitting arc.",
        concerns=(*RADII, "curve_start_from_foramen", "curve_end_from_foramen", "schneider_angle"),
    ),
    "canal_too_short": FlagRule(
        severity=_NOTE,
        text="The canal is shorter than the two 6 mm segments of the three-point radius, so that is not given.",
        concerns=("three_point_radius",),
    ),
    "in_class_gap": FlagRule(
        severity=_NOTE,
        text="The Schneider angle lies in a gap between the published classes (5 to 10 or 20 to 25 degrees).",
        concerns=("schneider_angle",),
    ),
    "trace_left_ridge": FlagRule(
        severity=_STOP,
        text="The trace does not follow a visible canal inside the root for much of its length: add a waypoint or trace it"
        " by hand.",
    ),
    "canal_faded": FlagRule(
        severity=_CAUTION,
        text="The canal fades from view on a part of its length, where the trace is a guess between its neighbours.",
    ),
    "orifice_not_visible": FlagRule(
        severity=_CAUTION,
        text="The canal is not visible near the orifice: the coronal axis is uncertain.",
        concerns=("schneider_angle", "canal_access_angle", "canal_length"),
    ),
    "foramen_not_visible": FlagRule(
        severity=_CAUTION,
        text="The canal is not visible near the foramen: angle and length end where you clicked.",
        concerns=("schneider_angle", "canal_length", "curve_start_from_foramen", "curve_end_from_foramen"),
    ),
    "near_border": FlagRule(
        severity=_CAUTION,
        text="The canal runs close to the border of the image, where it may be cut off.",
    ),
    "ends_may_be_swapped": FlagRule(
        severity=_CAUTION,
        text="The canal is wider at the foramen than at the orifice: check that the two ends are not swapped.",
    ),
    "drawn_by_hand": FlagRule(
        severity=_CAUTION,
        text="A part of the canal was drawn by hand, in straight lines: a bend there is not measured.",
    ),
    "few_points": FlagRule(
        severity=_CAUTION,
        text=f"There are fewer than {FEW_POINTS} points: the start of the curve is uncertain.",
    ),
    "too_few_points": FlagRule(
        severity=_STOP,
        text=f"There are fewer than {TOO_FEW_POINTS} points, too few to tell a bend: give points along the whole canal.",
    ),
}

_ABSENCE = {
    "no_scale": "needs a scale",
    "scale_at_detector": "needs a scale",
    "straight": "no bend found",
    "canal_too_short": "canal too short",
    "trace_left_ridge": "trace is off the canal",
    "too_few_points": "too few points",
}
"""The flags that leave a measure out; any other only doubts one that is given."""


def absence_words(flags: Iterable[MeasurementFlag]) -> str:
    """Tell why a measure is absent, short enough for a table's cell.

    Parameters
    ----------
    flags
        Those that bear on the measure, the ones that name it first.

    Returns
    -------
    str
        Like ``"canal too short"``; empty when none of them leaves a measure out.
    """
    return next((_ABSENCE[flag.code] for flag in flags if flag.code in _ABSENCE), "")


def flag(code: str) -> MeasurementFlag:
    """The flag of a table row."""
    rule = FLAG_TABLE[code]
    return MeasurementFlag(code=code, severity=rule.severity, text=rule.text, concerns=rule.concerns)
