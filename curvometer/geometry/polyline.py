"""Polylines: arc length, windows, turning, curvature at a distance, chords; see `curvometer.geometry`."""

from __future__ import annotations

import numpy as np

from curvometer.geometry.plane import FloatArray, circumcurvature, cross, distance, dot


def arc_length(points: FloatArray) -> FloatArray:
    """Distance along a polyline from its first point to each of its points.

    Parameters
    ----------
    points
        Shape (..., n, 2).

    Returns
    -------
    FloatArray
        Shape (..., n), 0 first.
    """
    steps = distance(points[..., :-1, :], points[..., 1:, :])
    first = np.zeros((*steps.shape[:-1], 1))
    out: FloatArray = np.concatenate([first, np.cumsum(steps, axis=-1)], axis=-1)
    return out


def point_at(points: FloatArray, s: FloatArray | float, *, along: FloatArray | None = None) -> FloatArray:
    """Points of a polyline at given distances along it, on the straight pieces between its points.

    Parameters
    ----------
    points
        Shape (..., n, 2).
    s
        Distances of shape (k,) or (..., k), or one number for all; clipped to the polyline.
    along
        `arc_length` of the points where it is known.

    Returns
    -------
    FloatArray
        Shape (..., k, 2), or (..., 2) for one number.
    """
    along = arc_length(points) if along is None else along
    wanted = np.atleast_1d(np.asarray(s, dtype=float))
    wanted = np.broadcast_to(wanted, (*along.shape[:-1], wanted.shape[-1]))
    found = _interpolate(along, points, np.clip(wanted, 0.0, along[..., -1:]))
    return found[..., 0, :] if np.ndim(s) == 0 else found


def _interpolate(along: FloatArray, points: FloatArray, wanted: FloatArray) -> FloatArray:
    """Linear interpolation row by row: one search for all rows, each shifted above the one before."""
    n, k = along.shape[-1], wanted.shape[-1]
    table, queries, rows = along.reshape(-1, n), wanted.reshape(-1, k), points.reshape(-1, n, 2)
    shift = np.arange(len(table))[:, None] * (float(table[:, -1].max()) + 1.0)
    index = np.searchsorted((table + shift).ravel(), (queries + shift).ravel(), side="right").reshape(-1, k)
    left = np.clip(index - 1 - np.arange(len(table))[:, None] * n, 0, n - 2)
    row = np.arange(len(table))[:, None]
    start, step = table[row, left], table[row, left + 1] - table[row, left]
    share = np.divide(queries - start, step, out=np.zeros_like(start), where=step > 0.0)
    share = np.clip(share, 0.0, 1.0)[..., None]
    out = rows[row, left] * (1.0 - share) + rows[row, left + 1] * share
    found: FloatArray = out.reshape(*wanted.shape, 2)
    return found


def window(points: FloatArray, start: FloatArray | float, stop: FloatArray | float) -> FloatArray:
    """Part of a polyline between two distances along it, with exact ends.

    Points outside move to the nearer end of the window, so the shape (..., n, 2) is kept and every
    leading axis may have its own window; they carry no length (`trapezoid_weights`).
    """
    along = arc_length(points)
    low, high = np.asarray(start, dtype=float)[..., None], np.asarray(stop, dtype=float)[..., None]
    return _interpolate(along, points, np.clip(np.clip(along, low, high), 0.0, along[..., -1:]))


def trapezoid_weights(points: FloatArray) -> FloatArray:
    """Length of curve that each point of a polyline stands for: half of the two steps beside it."""
    steps = distance(points[..., :-1, :], points[..., 1:, :])
    weights = np.zeros(points.shape[:-1])
    weights[..., :-1] += 0.5 * steps
    weights[..., 1:] += 0.5 * steps
    return weights


def resample(points: FloatArray, count: int) -> FloatArray:
    """Points at equal distances along a polyline, both ends kept.

    Parameters
    ----------
    points
        Shape (..., n, 2).
    count
        Number of points wanted, at least 2.

    Raises
    ------
    ValueError
        When `count` is below 2.
    """
    if count < 2:
        raise ValueError(f"a polyline needs at least two points, {count} wanted")
    along = arc_length(points)
    return _interpolate(along, points, along[..., -1:] * np.linspace(0.0, 1.0, count))


def vertex_turning_deg(points: FloatArray) -> FloatArray:
    """Signed angle by which a polyline turns at each inner point; shape (..., n - 2)."""
    steps = np.diff(points, axis=-2)
    before, after = steps[..., :-1, :], steps[..., 1:, :]
    out: FloatArray = np.degrees(np.arctan2(cross(before, after), dot(before, after)))
    return out


def tangent_angles_deg(points: FloatArray) -> FloatArray:
    """Direction of a smooth curve at each of its points, in degrees, unwrapped.

    A chord of an arc is parallel to the tangent at its middle. From there the direction is carried on to
    the point with the turning rate of the next point, from the side on which that rate changes less. For
    equal steps this is exact on arcs and straight pieces that meet at points of the polyline, ends and
    changes of sign included, where adding up the turns at the points would lose half a step.

    Parameters
    ----------
    points
        Shape (..., n, 2), n at least 3, no two neighbours equal.

    Returns
    -------
    FloatArray
        Shape (..., n).
    """
    steps = np.diff(points, axis=-2)
    lengths = np.hypot(steps[..., 0], steps[..., 1])
    turning = vertex_turning_deg(points)
    first = np.degrees(np.arctan2(steps[..., :1, 1], steps[..., :1, 0]))
    chord = np.concatenate([first, first + np.cumsum(turning, axis=-1)], axis=-1)
    half_rate = turning / (lengths[..., :-1] + lengths[..., 1:])
    # Entry j of both comes from the rate at point j + 1; it tells the direction at point j + 2 and at
    # point j.
    from_left = chord[..., 1:] + lengths[..., 1:] * half_rate
    from_right = chord[..., :-1] - lengths[..., :-1] * half_rate
    return _choose_side(from_left, from_right, half_rate)


def _choose_side(from_left: FloatArray, from_right: FloatArray, rate: FloatArray) -> FloatArray:
    """Merge the directions carried on from both sides; of two, the one whose rate changes less behind it."""
    n = rate.shape[-1] + 2
    angles = np.empty((*rate.shape[:-1], n))
    angles[..., 0], angles[..., -1] = from_right[..., 0], from_left[..., -1]
    if n == 3:
        angles[..., 1] = 0.5 * (angles[..., 0] + angles[..., 2])
        return angles
    jump = np.abs(np.diff(rate, axis=-1))
    none = np.zeros((*rate.shape[:-1], 1))
    rough_left, rough_right = np.concatenate([none, jump], axis=-1), np.concatenate([jump, none], axis=-1)
    left_is_smoother = rough_left[..., :-2] <= rough_right[..., 2:]
    angles[..., 1], angles[..., -2] = from_right[..., 1], from_left[..., -2]
    angles[..., 2:-2] = np.where(left_is_smoother, from_left[..., :-2], from_right[..., 2:])
    return angles


def menger_curvature(points: FloatArray, reach: float) -> tuple[FloatArray, FloatArray]:
    """Signed curvature from three points, the outer two at a given distance along the curve.

    Parameters
    ----------
    points
        Shape (..., n, 2).
    reach
        Distance along the curve from the middle point to each outer point.

    Returns
    -------
    s, curvature
        Shapes (..., n): the distance along the curve of the middle point, and the curvature there.
        Points nearer to an end than `reach` take the values at `reach` from that end.

    Raises
    ------
    ValueError
        When a curve is shorter than twice `reach`, or `reach` is not positive.
    """
    along = arc_length(points)
    if not 0.0 < 2.0 * reach <= float(along[..., -1].min()) * (1.0 + 1e-12):
        raise ValueError(f"the curve is shorter than twice the reach of {reach:g}")
    s = np.clip(along, reach, np.maximum(along[..., -1:] - reach, reach))
    before, middle, after = (_interpolate(along, points, s + shift) for shift in (-reach, 0.0, reach))
    return s, circumcurvature(before, middle, after)


def chord_point(
    points: FloatArray, s: FloatArray | float, chord: float, *, along: FloatArray | None = None
) -> FloatArray:
    """Distance along a polyline at which, going back, it leaves a circle around one of its points.

    Parameters
    ----------
    points
        Shape (..., n, 2).
    s
        Distance along the polyline of the circle's centre; shape (...).
    chord
        Radius of the circle: the straight distance wanted.
    along
        `arc_length` of the points where it is known.

    Returns
    -------
    FloatArray
        Shape (...): distance along the polyline of the point wanted, the first one met on the way back
        to the beginning; not a number where the polyline begins inside the circle.
    """
    along = arc_length(points) if along is None else along
    middle = np.broadcast_to(np.asarray(s, dtype=float), along.shape[:-1])[..., None]
    centre = _interpolate(along, points, middle)
    # A curve exactly as long as the chords laid on it must not fall short by rounding.
    away = points - centre
    outside = (dot(away, away) >= (chord * (1.0 - 1e-12)) ** 2) & (along < middle)
    left = np.where(outside, np.arange(points.shape[-2]), -1).max(axis=-1)
    pick = np.clip(left, 0, points.shape[-2] - 2)[..., None]
    p = np.take_along_axis(points, pick[..., None], axis=-2) - centre
    step = np.take_along_axis(points, pick[..., None] + 1, axis=-2) - centre - p
    # |p + t step| = chord, the larger root: the crossing nearest to the inner end of the piece.
    a, b, c = dot(step, step), dot(p, step), dot(p, p) - chord**2
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (-b - np.sqrt(np.maximum(b * b - a * c, 0.0))) / a
    start = np.take_along_axis(along, pick, axis=-1)
    out: FloatArray = np.where(left >= 0, (start + t * np.sqrt(a))[..., 0], np.nan)
    return out
