"""Turning along the whole canal, the forms I, J, C, S, and classes; see `curvometer.curvature`."""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from curvometer.curvature.landmarks import DegenerateLandmarksError, as_points
from curvometer.geometry import FloatArray, arc_length, tangent_angles_deg
from curvometer.radiograph import CurvometerError

STRAIGHT_BELOW_DEG = 5.0
"""Turning below which a canal counts as straight, or a turn to one side as none. Our rule."""

C_LEAST_SPREAD = 0.6
"""Least share of the length over which the middle 80 % of the turning spreads in form C. Our rule.

One arc over the whole canal gives exactly 0.8, an arc over its apical three quarters 0.6.
"""


class CanalForm(StrEnum):
    """Form of a canal after Dobó-Nagy 1995; the numeric limits are ours, the paper's could not be read."""

    I = "I"  # noqa: E741 - the paper's letter
    """A straight canal, which turns by less than 5 degrees in all."""
    J = "J"
    """Straight, then curved in its apical part (or in another part of its length)."""
    C = "C"
    """Curved along its whole length, to one side."""
    S = "S"
    """Curved to both sides, by at least 5 degrees each."""


class SchneiderClass(StrEnum):
    """Class by Schneider's angle as restated from Schneider 1971; the original's gaps are kept as gaps."""

    STRAIGHT = "straight"
    GAP_5_10 = "in the gap between straight and moderate (5 to 10 degrees)"
    MODERATE = "moderate"
    GAP_20_25 = "in the gap between moderate and severe (20 to 25 degrees)"
    SEVERE = "severe"
    BEYOND = "severe, beyond the 70 degrees of the original"


class EstrelaClass(StrEnum):
    """Class by the three-point radius after Estrela 2008: up to 4, up to 8, above 8 mm (from memory)."""

    SEVERE = "severe"
    MODERATE = "moderate"
    MILD = "mild"


def canal_length(points: ArrayLike) -> FloatArray:
    """Length along the canal of points (..., n, 2) from orifice to foramen, mm."""
    length: FloatArray = arc_length(as_points(points))[..., -1][()]
    return length


def net_turning(points: ArrayLike) -> FloatArray:
    """Angle between the canal's directions at orifice and foramen: turns to one side less those to the other.

    Parameters
    ----------
    points
        (..., n, 2) mm, orifice first, at least three, smooth: a fitted shape or a smoothed trace.

    Returns
    -------
    FloatArray
        (...) degrees, not negative. Not wrapped at 180. 0 for a symmetric S: use `total_turning` beside it.
    """
    angles = tangent_angles_deg(_smooth_points(points))
    net: FloatArray = np.abs(angles[..., -1] - angles[..., 0])
    return net


def total_turning(points: ArrayLike) -> FloatArray:
    """Sum of all turning along the canal, both sides counted positive: the integral of absolute curvature.

    Parameters
    ----------
    points
        (..., n, 2) mm, orifice first, at least three, smooth. Every kink of a raw trace counts: points 1 mm
        apart with an error of 0.05 mm add 5.6 degrees each.

    Returns
    -------
    FloatArray
        (...) degrees.

    References
    ----------
    `curvometer.bibliography.GIALAIN_2021` adds up turning over points 1 mm apart.
    """
    angles = tangent_angles_deg(_smooth_points(points))
    total: FloatArray = np.sum(np.abs(np.diff(angles, axis=-1)), axis=-1)
    return total


def mean_curvature(points: ArrayLike) -> FloatArray:
    """Mean absolute curvature along the canal (Sonntag 2006): total turning in radians / length, per mm."""
    mean: FloatArray = np.radians(total_turning(points)) / canal_length(points)
    return mean


def canal_form(points: ArrayLike) -> CanalForm:
    """Form I, J, C or S of one canal, by where and to which side it turns (after Dobó-Nagy 1995).

    Parameters
    ----------
    points
        (n, 2) mm, orifice first, at least three, smooth.

    Returns
    -------
    CanalForm
        I below 5 degrees in all; S when it turns by at least 5 degrees to each side; C when the middle 80 %
        of the turning spreads over at least 60 % of the length; J otherwise.

    References
    ----------
    `curvometer.bibliography.DOBO_NAGY_1995` for the forms; the limits are ours.
    """
    canal = _smooth_points(points)
    turning = np.diff(tangent_angles_deg(canal))
    done = np.concatenate([[0.0], np.cumsum(np.abs(turning))])
    one_side, other_side = np.sum(np.maximum(turning, 0.0)), np.sum(np.maximum(-turning, 0.0))
    if done[-1] < STRAIGHT_BELOW_DEG:
        return CanalForm.I
    if min(one_side, other_side) >= STRAIGHT_BELOW_DEG:
        return CanalForm.S
    s = arc_length(canal)
    low, high = np.interp(np.array([0.1, 0.9]) * done[-1], done, s)
    return CanalForm.C if high - low >= C_LEAST_SPREAD * s[-1] else CanalForm.J


def schneider_class(angle_deg: float) -> SchneiderClass:
    """Class of a Schneider angle; an angle in a gap of the original is said to be in the gap.

    Parameters
    ----------
    angle_deg
        Degrees, not negative.

    Returns
    -------
    SchneiderClass
        Straight up to 5, moderate 10 to 20, severe 25 to 70, each with its ends.

    Raises
    ------
    CurvometerError
        When the angle is negative or not a number.

    References
    ----------
    `curvometer.bibliography.SCHNEIDER_1971`, classes from a secondary source.
    """
    if not angle_deg >= 0.0:
        raise CurvometerError(f"an angle of {angle_deg} degrees has no class: give a deflection from 0 up")
    if angle_deg <= 5.0:
        return SchneiderClass.STRAIGHT
    if angle_deg < 10.0:
        return SchneiderClass.GAP_5_10
    if angle_deg <= 20.0:
        return SchneiderClass.MODERATE
    if angle_deg < 25.0:
        return SchneiderClass.GAP_20_25
    return SchneiderClass.SEVERE if angle_deg <= 70.0 else SchneiderClass.BEYOND


def estrela_class(radius_mm: float) -> EstrelaClass:
    """Class of a three-point radius: severe up to 4 mm, moderate up to 8 mm, mild above.

    Parameters
    ----------
    radius_mm
        Millimetres, above zero; say with it whether it is the circumradius or the apothem.

    Raises
    ------
    CurvometerError
        When the radius is not above zero.

    References
    ----------
    `curvometer.bibliography.ESTRELA_2008`, limits from memory.
    """
    if not radius_mm > 0.0:
        raise CurvometerError(f"a radius of {radius_mm} mm has no class: give a radius above zero")
    if radius_mm <= 4.0:
        return EstrelaClass.SEVERE
    return EstrelaClass.MODERATE if radius_mm <= 8.0 else EstrelaClass.MILD


def _smooth_points(points: ArrayLike) -> FloatArray:
    """At least three points, no two neighbours equal: between equal points there is no direction."""
    canal = as_points(points, least=3)
    if np.any(np.diff(arc_length(canal), axis=-1) <= 0.0):
        raise DegenerateLandmarksError(
            "two neighbouring points of the canal are the same: remove one of them"
        )
    return canal
