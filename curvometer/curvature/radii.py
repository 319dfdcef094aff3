"""Radii of curvature; see `curvometer.curvature` for conventions and symbols.

Each method measures another radius. On a canal that sharpens towards its foramen the tightest place can be
half of Pruett's radius and a third of Schäfer's, so no radius is shown without its method.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from curvometer.curvature.angles import schneider_angle, weine_angle
from curvometer.curvature.landmarks import (
    CanalTooShortError,
    DegenerateLandmarksError,
    as_direction,
    as_landmark,
    as_points,
    between,
    require_length,
)
from curvometer.geometry import (
    FloatArray,
    arc_length,
    chord_point,
    circumcurvature,
    distance,
    fit_circle,
    intersect_lines,
    menger_curvature,
    point_at,
)

TANGENT_MISMATCH_LIMIT = 0.15
"""Mismatch of Pruett's two tangents above which no one circle touches both lines at both points."""


def pruett_angle(coronal_direction: ArrayLike, apical_direction: ArrayLike) -> FloatArray:
    """Central angle of the circle that joins the coronal and the apical straight part (Pruett 1997).

    Parameters
    ----------
    coronal_direction, apical_direction
        (..., 2) directions of the two straight parts, towards the foramen. Without an apical straight part
        the second is only the tangent at the foramen.

    Returns
    -------
    FloatArray
        (...) degrees; the angle between the two lines.

    References
    ----------
    `curvometer.bibliography.PRUETT_1997`, construction from memory.
    """
    return weine_angle(coronal_direction, apical_direction)


def pruett_tangent_lengths(
    leaves_coronal: ArrayLike,
    coronal_direction: ArrayLike,
    leaves_apical: ArrayLike,
    apical_direction: ArrayLike,
) -> tuple[FloatArray, FloatArray]:
    """Distances from the crossing of Pruett's two lines to the points where the canal leaves them.

    Parameters
    ----------
    leaves_coronal, leaves_apical
        (..., 2) mm: the points 1 and 2 of the construction.
    coronal_direction, apical_direction
        (..., 2) directions of the two straight parts.

    Returns
    -------
    first, second
        (...) mm each: T1, T2. A circle that touches both lines in those points exists only when they are
        equal.

    Raises
    ------
    DegenerateLandmarksError
        When all pairs of lines are parallel; a single parallel pair among several gives infinity.
    """
    p, q = as_landmark(leaves_coronal, "first point"), as_landmark(leaves_apical, "second point")
    u, v = as_direction(coronal_direction, "coronal line"), as_direction(apical_direction, "apical line")
    crossing = intersect_lines(p, u, q, v)
    ok = np.isfinite(crossing).all(axis=-1)
    if not np.any(ok):
        raise DegenerateLandmarksError(
            "the coronal and the apical line are parallel, so no circle joins them: measure each bend"
            " by itself"
        )
    first, second = distance(p, crossing), distance(q, crossing)
    return np.where(ok, first, np.inf)[()], np.where(ok, second, np.inf)[()]


def tangent_mismatch(first_mm: ArrayLike, second_mm: ArrayLike) -> FloatArray:
    """Difference of Pruett's two tangents over their mean; compare with `TANGENT_MISMATCH_LIMIT`."""
    first, second = np.asarray(first_mm, dtype=float), np.asarray(second_mm, dtype=float)
    out: FloatArray = 2.0 * np.abs(first - second) / (first + second)
    return out


def pruett_radius(
    leaves_coronal: ArrayLike,
    coronal_direction: ArrayLike,
    leaves_apical: ArrayLike,
    apical_direction: ArrayLike,
) -> FloatArray:
    """Radius of the circle that joins the two straight parts (Pruett 1997), by the mean of the two tangents.

    Parameters
    ----------
    leaves_coronal, leaves_apical
        (..., 2) mm: the points where the canal leaves the two straight parts.
    coronal_direction, apical_direction
        (..., 2) directions of the two straight parts.

    Returns
    -------
    FloatArray
        (...) mm. Poorly determined below an angle of 15 degrees.

    Raises
    ------
    DegenerateLandmarksError
        When the lines are parallel.

    See Also
    --------
    pruett_radius_from_points : the reading by least squares.
    tangent_mismatch : tells whether one circle fits at all.

    References
    ----------
    `curvometer.bibliography.PRUETT_1997`; R = T / tan(theta / 2) derived from the construction.
    """
    first, second = pruett_tangent_lengths(leaves_coronal, coronal_direction, leaves_apical, apical_direction)
    half = 0.5 * np.radians(pruett_angle(coronal_direction, apical_direction))
    out: FloatArray = 0.5 * (first + second) / np.tan(half)
    return out


def pruett_radius_from_points(points: ArrayLike) -> float:
    """Radius of the circle that fits best the canal between Pruett's two points, by least squares.

    Parameters
    ----------
    points
        (n, 2) mm, at least three, between the points where the canal leaves its straight parts.

    Returns
    -------
    float
        mm; infinite for points in line.

    References
    ----------
    `curvometer.bibliography.PRUETT_1997`; the reading by least squares is ours.
    """
    return float(fit_circle(as_points(points, least=3)).radius)


def chord_radius(axis: ArrayLike, start: ArrayLike, foramen: ArrayLike) -> FloatArray:
    """Radius of the circle that touches the coronal axis in B and goes through the foramen (Schäfer 2002).

    The angle in the formula is Schneider's. It is computed here from the landmarks so that no other angle
    can take its place: Weine's would give about half of the radius.

    Parameters
    ----------
    axis, start, foramen
        (..., 2) as for `curvometer.curvature.schneider_angle`, mm.

    Returns
    -------
    FloatArray
        (...) mm; infinite for a straight canal. Equals the radius of the bend only when the canal ends on it.

    Raises
    ------
    DegenerateLandmarksError
        When start and foramen coincide or the axis has no length.

    References
    ----------
    `curvometer.bibliography.SCHAEFER_2002`, r = BC / (2 sin S).
    """
    chord = _chord(start, foramen)
    with np.errstate(divide="ignore"):
        radius: FloatArray = chord / (2.0 * np.sin(np.radians(schneider_angle(axis, start, foramen))))  # r
    return radius


def chord_curve_length(axis: ArrayLike, start: ArrayLike, foramen: ArrayLike) -> FloatArray:
    """Length of the curved part: the arc of `chord_radius` from B to the foramen (Schäfer 2002).

    Parameters
    ----------
    axis, start, foramen
        (..., 2) as for `curvometer.curvature.schneider_angle`, mm.

    Returns
    -------
    FloatArray
        (...) mm, 2 r S with S in radians; the chord itself for a straight canal.

    Raises
    ------
    DegenerateLandmarksError
        When start and foramen coincide or the axis has no length.

    References
    ----------
    `curvometer.bibliography.SCHAEFER_2002`.
    """
    angle = np.radians(schneider_angle(axis, start, foramen))
    length: FloatArray = _chord(start, foramen) / np.sinc(angle / np.pi)  # 2 r S = BC S / sin S
    return length


def _chord(start: ArrayLike, foramen: ArrayLike) -> FloatArray:
    line = between(start, foramen, "start of the curve", "foramen")
    chord: FloatArray = np.hypot(line[..., 0], line[..., 1])
    return chord


def radius_quotient(schneider_angle_deg: ArrayLike, radius_mm: ArrayLike) -> FloatArray:
    """Angle divided by radius (Backman 1992).

    Parameters
    ----------
    schneider_angle_deg
        (...) degrees. With the central angle of the bend instead the quotient doubles; the source does not
        settle which is meant, and this package uses Schneider's.
    radius_mm
        (...) mm, above zero; infinite for a straight canal.

    Returns
    -------
    FloatArray
        (...) degrees per millimetre.

    Raises
    ------
    DegenerateLandmarksError
        When a radius is zero or negative.

    References
    ----------
    `curvometer.bibliography.BACKMAN_1992`, from memory.
    """
    angle, radius = np.asarray(schneider_angle_deg, dtype=float), np.asarray(radius_mm, dtype=float)
    if not np.all(radius > 0.0):
        raise DegenerateLandmarksError("a radius of curvature is above zero: give the radius in millimetres")
    quotient: FloatArray = angle / radius
    return quotient


def three_point_landmarks(points: ArrayLike, *, segment_mm: float = 6.0) -> FloatArray:
    """Three points of Estrela 2008: two equal segments laid on the canal, chord after chord from the foramen.

    Parameters
    ----------
    points
        (..., n, 2) mm, orifice first.
    segment_mm
        Straight length of each segment, 6 mm in the paper.

    Returns
    -------
    FloatArray
        (..., 3, 2) mm: foramen, joint of the segments, coronal end. Not numbers for a canal among several
        that is too short.

    Raises
    ------
    CanalTooShortError
        When no canal is long enough for both segments.
    """
    canal = as_points(points)
    along = arc_length(canal)
    length = along[..., -1]
    joint = chord_point(canal, length, segment_mm, along=along)
    end = chord_point(canal, np.where(np.isnan(joint), 0.0, joint), segment_mm, along=along)
    fits = np.isfinite(joint) & np.isfinite(end)
    if not np.any(fits):
        raise CanalTooShortError(
            f"the canal is {float(np.max(length)):.2f} mm long; two segments of {segment_mm:g} mm do not fit"
            " on it, so the three-point radius does not exist"
        )
    places = np.stack([length, np.where(fits, joint, 0.0), np.where(fits, end, 0.0)], axis=-1)
    landmarks: FloatArray = np.where(fits[..., None, None], point_at(canal, places, along=along), np.nan)
    return landmarks


def three_point_radius(
    points: ArrayLike,
    *,
    segment_mm: float = 6.0,
    reading: Literal["circumradius", "apothem"] = "circumradius",
) -> FloatArray:
    """Radius from the circumcentre of two segments laid on the canal (Estrela 2008).

    Parameters
    ----------
    points
        (..., n, 2) mm, orifice first.
    segment_mm
        Straight length of each segment, 6 mm in the paper; the result is an average over both.
    reading
        ``"circumradius"``: from the centre to the ends of the segments; ``"apothem"``: from the centre to
        their midpoints, h^2 = r^2 - (segment / 2)^2. A class can differ between the two.

    Returns
    -------
    FloatArray
        (...) mm; infinite for a straight canal, not a number for a canal among several that is too short.

    Raises
    ------
    CanalTooShortError
        When no canal is long enough for both segments.

    References
    ----------
    `curvometer.bibliography.ESTRELA_2008`.
    """
    p, q, r = np.moveaxis(three_point_landmarks(points, segment_mm=segment_mm), -2, 0)
    with np.errstate(divide="ignore"):
        radius: FloatArray = 1.0 / np.abs(circumcurvature(p, q, r))
    if reading == "apothem":
        radius = np.sqrt(np.maximum(radius**2 - (0.5 * segment_mm) ** 2, 0.0))
    return radius


class TightestPlace(NamedTuple):
    """Where a canal bends most: radius (...) mm, and distance from the foramen along the canal (...) mm."""

    radius_mm: FloatArray
    from_foramen_mm: FloatArray


def minimum_radius(points: ArrayLike, *, window_mm: float = 1.0) -> TightestPlace:
    """Smallest radius along the canal, by the circle through three points `window_mm` apart along it.

    Parameters
    ----------
    points
        (..., n, 2) mm, orifice first. Noise e of the points gives a curvature error of about 2.4 e /
        window_mm^2.
    window_mm
        Distance along the canal from the middle point to each outer point. A bend shorter than twice this is
        measured too wide; so is a place nearer to an end than this.

    Returns
    -------
    TightestPlace
        Radius (infinite for a straight canal) and place; of equal radii, the most coronal place.

    Raises
    ------
    CanalTooShortError
        When a canal is shorter than twice `window_mm`.

    References
    ----------
    `curvometer.bibliography.SONNTAG_2006` for reporting maximum curvature and its distance from the foramen.
    """
    canal = as_points(points)
    length = arc_length(canal)[..., -1]
    require_length(length, 2.0 * window_mm, "twice the window")
    s, curvature = menger_curvature(canal, window_mm)
    bend = np.abs(curvature)
    # The first place that reaches the maximum but for rounding, or an even arc would name a place by chance.
    tightest = np.argmax(bend >= bend.max(axis=-1, keepdims=True) * (1.0 - 1e-6), axis=-1)[..., None]
    most = bend.max(axis=-1)
    with np.errstate(divide="ignore"):
        radius: FloatArray = 1.0 / most
    return TightestPlace(radius, length - np.take_along_axis(s, tightest, axis=-1)[..., 0])
