"""Angles between lines on the canal; see `curvometer.curvature` for conventions and symbols."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from curvometer.curvature.landmarks import (
    CanalTooShortError,
    as_direction,
    as_landmark,
    as_points,
    between,
    require_length,
)
from curvometer.geometry import (
    FloatArray,
    angle_between_deg,
    arc_length,
    distance,
    distance_to_line,
    dot,
    line_direction,
    point_at,
    trapezoid_weights,
    window,
)

LineReading = Literal["best_fit", "chord"]


def coronal_axis(points: ArrayLike, curve_start_mm: ArrayLike) -> FloatArray:
    """Direction of the coronal axis: line of least squares through the canal up to its curve.

    Parameters
    ----------
    points
        (..., n, 2) mm, orifice first.
    curve_start_mm
        Distance along the canal from orifice to start of the curve, mm; shape (...).

    Returns
    -------
    FloatArray
        (..., 2) unit vectors towards the foramen.

    Raises
    ------
    CanalTooShortError
        When a canal has no part before its curve.
    """
    canal, stop = as_points(points), np.asarray(curve_start_mm, dtype=float)
    if not np.all(stop > 0.0):
        raise CanalTooShortError(
            "the canal curves from its orifice on, so no coronal axis can be drawn through it: give the axis"
        )
    part = window(canal, np.zeros(()), stop)
    return line_direction(part, weights=trapezoid_weights(part))


def schneider_angle(axis: ArrayLike, start: ArrayLike, foramen: ArrayLike) -> FloatArray:
    """Angle between the coronal axis and the line from the curve's start to the foramen (Schneider 1971).

    Parameters
    ----------
    axis
        (..., 2) direction of the coronal axis, towards the foramen (`coronal_axis`).
    start
        (..., 2) mm, B, where the canal leaves the coronal axis. It decides the result: moved along the canal
        by 1 mm it changes the angle by 28.6 degrees / R.
    foramen
        (..., 2) mm, C. The radiographic apex is not the foramen.

    Returns
    -------
    FloatArray
        (...) degrees, 0 to 180: the deflection, not the acute angle, so a hook beyond 90 degrees stays one.

    Raises
    ------
    DegenerateLandmarksError
        When start and foramen coincide or the axis has no length.

    Notes
    -----
    For a straight part, an arc (R, theta) and no straight part behind it, S = theta / 2 exactly.

    References
    ----------
    `curvometer.bibliography.SCHNEIDER_1971`, construction.
    """
    line = between(start, foramen, "start of the curve", "foramen")
    return angle_between_deg(as_direction(axis, "coronal axis"), line)


def schneider_angle_of_arc(
    *, central_angle_deg: float, radius_mm: float, start_from_foramen_mm: float
) -> float:
    """Schneider's angle of one arc behind a straight part, from the arc's own numbers.

    Parameters
    ----------
    central_angle_deg
        theta, 0 to 180 degrees. An arc that is longer than its place ends at the foramen.
    radius_mm
        R, above 0.
    start_from_foramen_mm
        Along the canal from the start of the arc to the foramen, above 0; what the arc leaves of it is straight.

    Returns
    -------
    float
        Degrees: theta / 2 where the arc ends at the foramen, more where a straight part follows, always below theta.

    Notes
    -----
    From B along the coronal axis the foramen lies at u = R sin theta + b cos theta, and beside it at
    v = R (1 - cos theta) + b sin theta; S = atan2(v, u) (derived here). It grows with theta.
    """
    theta = min(math.radians(central_angle_deg), start_from_foramen_mm / radius_mm)
    straight = max(start_from_foramen_mm - radius_mm * theta, 0.0)
    along = radius_mm * math.sin(theta) + straight * math.cos(theta)
    beside = radius_mm * (1.0 - math.cos(theta)) + straight * math.sin(theta)
    return math.degrees(math.atan2(beside, along))


def secondary_schneider_angle(tangent: ArrayLike, start: ArrayLike, foramen: ArrayLike) -> FloatArray:
    """Schneider's angle of the second bend of an S-shaped canal (after Cunningham & Senia 1992).

    Parameters
    ----------
    tangent
        (..., 2) direction of the canal where the second bend begins. The line from the first bend's start to
        this point must not take its place: with it a symmetric S would measure 0.
    start
        (..., 2) mm, where the second bend begins; where a straight part joins the bends, its apical end.
    foramen
        (..., 2) mm.

    Returns
    -------
    FloatArray
        (...) degrees, 0 to 180.

    Raises
    ------
    DegenerateLandmarksError
        When start and foramen coincide or the tangent has no length.

    References
    ----------
    `curvometer.bibliography.CUNNINGHAM_SENIA_1992`; the reference line is derived (documentation, S-shaped
    canals).
    """
    line = between(start, foramen, "start of the second bend", "foramen")
    return angle_between_deg(as_direction(tangent, "tangent at the second bend"), line)


def weine_angle(coronal_direction: ArrayLike, apical_direction: ArrayLike) -> FloatArray:
    """Angle between the lines along the coronal and the apical part of the curve (Weine 1982).

    Parameters
    ----------
    coronal_direction, apical_direction
        (..., 2) directions towards the foramen. With the tangents at orifice and foramen the angle of one
        bend is its full turning theta.

    Returns
    -------
    FloatArray
        (...) degrees, 0 to 180.

    Raises
    ------
    DegenerateLandmarksError
        When a direction has no length.

    References
    ----------
    `curvometer.bibliography.WEINE_1982`, construction; the tangent reading is derived.
    """
    coronal = as_direction(coronal_direction, "coronal line")
    return angle_between_deg(coronal, as_direction(apical_direction, "apical line"))


def weine_angle_from_chords(points: ArrayLike, *, coronal_mm: float, apical_mm: float) -> FloatArray:
    """Weine's angle with lines laid through the ends of two windows of the canal.

    Parameters
    ----------
    points
        (..., n, 2) mm, orifice first.
    coronal_mm, apical_mm
        Length along the canal of the first and the last window. On an arc the result falls short of the
        tangent reading by 28.6 degrees x apical_mm / R.

    Returns
    -------
    FloatArray
        (...) degrees.

    Raises
    ------
    CanalTooShortError
        When a canal is shorter than either window.

    References
    ----------
    `curvometer.bibliography.WEINE_1982`.
    """
    canal = as_points(points)
    length = arc_length(canal)[..., -1]
    require_length(length, max(coronal_mm, apical_mm), "the longer window")
    coronal = point_at(canal, coronal_mm) - canal[..., 0, :]
    return weine_angle(coronal, _apical_line(canal, length, apical_mm, "chord"))


def long_axis_angle(
    axis: ArrayLike, points: ArrayLike, *, apical_mm: float = 3.0, line: LineReading = "best_fit"
) -> FloatArray:
    """Angle between the long axes of the coronal and the apical part (Hankins & ElDeeb 1996; Günday 2005).

    Parameters
    ----------
    axis
        (..., 2) direction of the coronal part (`coronal_axis`).
    points
        (..., n, 2) mm, orifice first.
    apical_mm
        Length along the canal of the apical part. The papers do not say it; the result depends on it: theta
        less 28.6 degrees x apical_mm / R on an arc.
    line
        ``"best_fit"``: line of least squares through the apical part; ``"chord"``: line through its two
        ends. Equal when the apical part is one arc or straight.

    Returns
    -------
    FloatArray
        (...) degrees.

    Raises
    ------
    CanalTooShortError
        When a canal is shorter than the apical part.

    References
    ----------
    `curvometer.bibliography.HANKINS_ELDEEB_1996`, `curvometer.bibliography.GUNDAY_2005`.
    """
    canal = as_points(points)
    length = arc_length(canal)[..., -1]
    require_length(length, apical_mm, "the apical part")
    return angle_between_deg(as_direction(axis, "coronal axis"), _apical_line(canal, length, apical_mm, line))


def _apical_line(canal: FloatArray, length: FloatArray, apical_mm: float, line: LineReading) -> FloatArray:
    """Direction of the last millimetres of the canal, through their ends or through all of them."""
    part = window(canal, length - apical_mm, length)
    if line == "chord":
        chord: FloatArray = part[..., -1, :] - part[..., 0, :]
        return chord
    return line_direction(part, weights=trapezoid_weights(part))


def luiten_points(points: ArrayLike, *, coronal_mm: float = 2.0, apical_mm: float = 1.0) -> FloatArray:
    """Four landmarks of Luiten 1995: orifice, a point below it, a point short of the foramen, foramen.

    Parameters
    ----------
    points
        (..., n, 2) mm, orifice first.
    coronal_mm, apical_mm
        Distances along the canal of the inner points from the ends.

    Returns
    -------
    FloatArray
        (..., 4, 2) mm.

    Raises
    ------
    CanalTooShortError
        When a canal is shorter than both distances together.
    """
    canal = as_points(points)
    length = arc_length(canal)[..., -1:]
    require_length(length, coronal_mm + apical_mm, "Luiten's construction")
    places = np.concatenate([0.0 * length, 0.0 * length + coronal_mm, length - apical_mm, length], axis=-1)
    return point_at(canal, places)


def luiten_angle(
    orifice: ArrayLike, below_orifice: ArrayLike, short_of_foramen: ArrayLike, foramen: ArrayLike
) -> FloatArray:
    """Angle between the first 2 mm and the last 1 mm of the canal (Luiten 1995).

    Parameters
    ----------
    orifice, below_orifice, short_of_foramen, foramen
        (..., 2) mm (`luiten_points`). The apical line is 1 mm long: points 0.05 mm off change the angle by 4
        degrees.

    Returns
    -------
    FloatArray
        (...) degrees.

    Raises
    ------
    DegenerateLandmarksError
        When the points of one line coincide.

    References
    ----------
    `curvometer.bibliography.LUITEN_1995`.
    """
    coronal = between(orifice, below_orifice, "orifice", "point below the orifice")
    apical = between(short_of_foramen, foramen, "point short of the foramen", "foramen")
    return angle_between_deg(coronal, apical)


def canal_access_angle(
    orifice: ArrayLike, start: ArrayLike, foramen: ArrayLike, *, axis: ArrayLike | None = None
) -> FloatArray:
    """Angle at the orifice between the coronal axis and the line to the foramen (Günday 2005).

    Parameters
    ----------
    orifice, start, foramen
        (..., 2) mm: A, B, C.
    axis
        (..., 2) direction of the coronal axis; the line AB when absent. Needed when the canal curves from its
        orifice on, where A and B coincide.

    Returns
    -------
    FloatArray
        (...) degrees. Schneider's angle is this angle plus the one at C (exterior angle of the triangle ABC).

    Raises
    ------
    DegenerateLandmarksError
        When orifice and foramen coincide, or orifice and start without an axis.

    References
    ----------
    `curvometer.bibliography.GUNDAY_2005`.
    """
    if axis is None:
        coronal = between(orifice, start, "orifice", "start of the curve")
    else:
        coronal = as_direction(axis, "coronal axis")
    return angle_between_deg(coronal, between(orifice, foramen, "orifice", "foramen"))


def curvature_height(orifice: ArrayLike, start: ArrayLike, foramen: ArrayLike) -> FloatArray:
    """Distance of the start of the curve from the line orifice to foramen: x of Günday 2005.

    Parameters
    ----------
    orifice, start, foramen
        (..., 2) mm: A, B, C.

    Returns
    -------
    FloatArray
        (...) mm, not negative. `maximum_curvature_height` is the greatest distance of the canal from that
        line.

    Raises
    ------
    DegenerateLandmarksError
        When orifice and foramen coincide.

    References
    ----------
    `curvometer.bibliography.GUNDAY_2005`.
    """
    line = between(orifice, foramen, "orifice", "foramen")
    b, a = as_landmark(start, "start of the curve"), as_landmark(orifice, "orifice")
    height: FloatArray = np.abs(distance_to_line(b, a, line))
    return height


def curvature_distance(
    orifice: ArrayLike,
    start: ArrayLike,
    foramen: ArrayLike,
    *,
    measured_from: Literal["orifice", "foramen"] = "orifice",
) -> FloatArray:
    """Distance along the line orifice to foramen to the foot of the height x: y of Günday 2005.

    Parameters
    ----------
    orifice, start, foramen
        (..., 2) mm: A, B, C.
    measured_from
        ``"orifice"`` (y_A, which fits the name "curvature starting distance" used later) or ``"foramen"``
        (y_C). The two add up to the distance from orifice to foramen.

    Returns
    -------
    FloatArray
        (...) mm.

    Raises
    ------
    DegenerateLandmarksError
        When orifice and foramen coincide.

    References
    ----------
    `curvometer.bibliography.GUNDAY_2005`, `curvometer.bibliography.SADEGHI_PORYOUSEF_2009` for the name.
    """
    line = between(orifice, foramen, "orifice", "foramen")
    a, b = as_landmark(orifice, "orifice"), as_landmark(start, "start of the curve")
    length = distance(a, a + line)
    from_orifice: FloatArray = dot(b - a, line) / length
    return from_orifice if measured_from == "orifice" else length - from_orifice


def maximum_curvature_height(points: ArrayLike) -> FloatArray:
    """Greatest distance of the canal from the line orifice to foramen: the other reading of x of Günday 2005.

    Parameters
    ----------
    points
        (..., n, 2) mm, orifice first.

    Returns
    -------
    FloatArray
        (...) mm; at least the height of the start of the curve.

    Raises
    ------
    DegenerateLandmarksError
        When orifice and foramen coincide.

    References
    ----------
    `curvometer.bibliography.GUNDAY_2005`.
    """
    canal = as_points(points)
    line = between(canal[..., 0, :], canal[..., -1, :], "orifice", "foramen")
    gap = distance_to_line(canal, canal[..., :1, :], line[..., None, :])
    height: FloatArray = np.abs(gap).max(axis=-1)
    return height
