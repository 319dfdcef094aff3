"""What shaping did to a canal, by formulas: how far it was moved, how well it kept its centre, how much it was straightened."""

from __future__ import annotations

import math
from dataclasses import dataclass

from numpy.typing import ArrayLike

from curvometer.comparison.polylines import ComparisonError
from curvometer.curvature import schneider_angle

NOTHING_MM = 1e-9
"""Removal below this is none: what subtracting two thicknesses leaves of rounding."""


@dataclass(frozen=True, kw_only=True)
class Transportation:
    """What was removed on both sides of a canal at one level.

    Attributes
    ----------
    outer_removed_mm, inner_removed_mm
        A1 - A2 and B1 - B2.
    transportation_mm
        T = (A1 - A2) - (B1 - B2): 0 for none, negative towards the furcation, positive away from it.
    centring_ratio
        The smaller removal over the larger: 1 is perfect, 0 is one side only. None where nothing was removed, or where a wall
        is told to have grown, which is an error of measurement.
    centre_shift_mm
        How far the middle of the canal moved, T / 2, with the sign of T.
    """

    outer_removed_mm: float
    inner_removed_mm: float
    transportation_mm: float
    centring_ratio: float | None
    centre_shift_mm: float


def canal_transportation(
    *, outer_before_mm: float, outer_after_mm: float, inner_before_mm: float, inner_after_mm: float
) -> Transportation:
    """Transportation and centring ratio from the thickness of both walls before and after (Gambill 1996).

    Parameters
    ----------
    outer_before_mm, outer_after_mm
        A1, A2: shortest distance from the root's edge away from the furcation to the canal's edge.
    inner_before_mm, inner_after_mm
        B1, B2: the same on the side of the furcation.

    Raises
    ------
    ComparisonError
        When a thickness is negative or not finite.

    Notes
    -----
    The canal's edges moved by A1 - A2 outwards and by B1 - B2 inwards, so its middle moved by half of the difference: removed
    material overstates the shift of the centre twice. The review of Fidler 2021 therefore prefers the shift.

    References
    ----------
    `curvometer.comparison.sources.GAMBILL_1996`, both formulas; `curvometer.comparison.sources.FIDLER_2021`.
    """
    walls = {
        "outer_before_mm": outer_before_mm,
        "outer_after_mm": outer_after_mm,
        "inner_before_mm": inner_before_mm,
        "inner_after_mm": inner_after_mm,
    }
    for name, value in walls.items():
        _require(name, value, least=0.0, what="a thickness of 0 mm or more")
    outer, inner = outer_before_mm - outer_after_mm, inner_before_mm - inner_after_mm
    smaller, larger = sorted((outer, inner))
    ratio = None
    if larger > NOTHING_MM and smaller > -NOTHING_MM:
        ratio = max(smaller, 0.0) / larger
    return Transportation(
        outer_removed_mm=outer,
        inner_removed_mm=inner,
        transportation_mm=outer - inner,
        centring_ratio=ratio,
        centre_shift_mm=0.5 * (outer - inner),
    )


def calhoun_montgomery_ratio(
    *, outer_removed_mm: float, inner_removed_mm: float, final_diameter_mm: float
) -> float:
    """Difference of the removals over the final diameter, 0 for perfect centring (Calhoun and Montgomery 1988).

    Parameters
    ----------
    outer_removed_mm, inner_removed_mm
        X1, X2: what was removed on both sides.
    final_diameter_mm
        D: diameter of the canal afterwards.

    Raises
    ------
    ComparisonError
        When the diameter is not positive or a number is not finite.

    Notes
    -----
    abs(X1 - X2) / D. Its polarity is opposite to that of Gambill's ratio, where 1 is perfect.

    References
    ----------
    `curvometer.comparison.sources.CALHOUN_MONTGOMERY_1988`.
    """
    for name, value in (("outer_removed_mm", outer_removed_mm), ("inner_removed_mm", inner_removed_mm)):
        _require(name, value, least=-math.inf, what="a finite number of mm")
    _require("final_diameter_mm", final_diameter_mm, least=1e-6, what="a positive diameter")
    return abs(outer_removed_mm - inner_removed_mm) / final_diameter_mm


def straightening_deg(
    axis: ArrayLike, curve_start: ArrayLike, foramen_before: ArrayLike, foramen_after: ArrayLike
) -> float:
    """Schneider's angle before less that after, with one axis and one start of the curve for both.

    Parameters
    ----------
    axis
        (2,) direction of the coronal axis before, towards the foramen.
    curve_start
        (2,) start of the curve before. Another one for the angle after would show a straightening of up to
        28.65 degrees / R for each mm that it lies elsewhere, where there was none.
    foramen_before, foramen_after
        (2,) ends of the canal, registered on each other; all in a plane of equal scale.

    Returns
    -------
    float
        Degrees; positive for a canal that is straighter afterwards.

    Raises
    ------
    DegenerateLandmarksError
        When the start of the curve coincides with a foramen or the axis has no length.

    References
    ----------
    `curvometer.bibliography.SCHNEIDER_1971`, construction.
    """
    before = float(schneider_angle(axis, curve_start, foramen_before))
    return before - float(schneider_angle(axis, curve_start, foramen_after))


def length_loss_mm(radius_mm: float, angle_deg: float) -> float:
    """Length that a canal loses when an arc becomes its chord: R (theta - 2 sin(theta / 2)).

    Parameters
    ----------
    radius_mm, angle_deg
        R and the central angle theta of the arc, up to 360 degrees.

    Returns
    -------
    float
        Millimetres: the most that straightening one bend can take from the working length, both ends of the arc kept.

    Raises
    ------
    ComparisonError
        When the radius is not positive, or the angle not between 0 and 360 degrees.

    References
    ----------
    Derived in docs/shaping.md.
    """
    _require("radius_mm", radius_mm, least=1e-6, what="a positive radius")
    _require("angle_deg", angle_deg, least=0.0, what="an angle of 0 to 360 degrees", most=360.0)
    theta = math.radians(angle_deg)
    return radius_mm * (theta - 2.0 * math.sin(0.5 * theta))


def _require(name: str, value: float, *, least: float, what: str, most: float = math.inf) -> None:
    if not (math.isfinite(value) and least <= value <= most):
        raise ComparisonError(f"{name} is {value!r}; it needs {what}: measure it again")
