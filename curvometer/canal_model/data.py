"""The traced points as a fit sees them: in one square plane, thinned, each with the variance it really has."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curvometer.centreline import Centreline
from curvometer.radiograph import CurvometerError

FloatArray = NDArray[np.float64]

SHORTEST_PX, FARTHEST_PX = 1e-3, 1e7
"""Between these a centreline can lie on an image."""
MOST_STEPS = 40
"""A canal's length is told well enough by this many straight steps."""
MOST_POINTS = 400
"""Denser traces are thinned by averaging neighbours: more points carry no more information."""


CURVATURE_SD_PER_LENGTH = 4.0
"""Standard deviation of curvature times canal length: a radius of 3 mm in a canal of 12 mm. Of 1163 canals the sharpest had
75 degrees at 2 mm, one and a half of it, and 9 % bent more than 35 degrees, with radii up to 13 mm (Schaefer 2002, abstract
read). So it is wide, but a doubtful hook is not taken for a sharper one. It only matters where the trace leaves the
curvature open."""


class TracedPoints(NamedTuple):
    """Points of one canal in a square plane (x = column direction, y = row direction), in units of `unit`.

    Attributes
    ----------
    points
        (n, 2), the first one subtracted.
    first
        (2,) the first point.
    s
        (n,) arc length along the points.
    variance
        (n,) variance across the line that an *independent* point would need to carry the same information; None when
        nobody knows.
    effective
        Number of independent points that carry the same information; None when nobody knows.
    curvature_sd
        Standard deviation of curvature that canals have, 1 / unit; infinite for points that somebody else set.
    ends
        (2, 2) orifice and foramen, the first point subtracted: where the canal begins and ends, seen or not.
    """

    points: FloatArray
    first: FloatArray
    s: FloatArray
    variance: FloatArray | None
    effective: float | None
    curvature_sd: float
    ends: FloatArray


def traced_points(centreline: Centreline, spacing_rc: tuple[float, float]) -> TracedPoints:
    """Bring a centreline into the plane.

    Parameters
    ----------
    centreline
        The trace.
    spacing_rc
        Length of one row step and of one column step: millimetres, or (aspect, 1) in column pixels.
    """
    _check(centreline)
    to_plane = np.array(spacing_rc[::-1])
    ends = centreline.points_rc[[0, -1], ::-1] * to_plane
    seen = centreline.observations
    points = centreline.points_rc if seen is None else seen.points_rc
    sd = centreline.position_sd_px if seen is None else seen.sd_px
    correlation = centreline.correlation_px if seen is None else seen.correlation_px
    plane = points[:, ::-1] * to_plane
    spread = None if sd is None else np.asarray(sd, dtype=float) * spacing_rc[1]
    plane, spread = _without_repeats(plane, spread)
    plane, spread = _thinned(plane, spread)
    s = _along(plane)
    variance, effective = None, None
    if spread is not None:
        # Points closer than the correlation length share their errors: each counts for its share of that length.
        share = max(1.0, correlation * spacing_rc[1] * (len(plane) - 1) / float(s[-1]))
        variance, effective = spread**2 * share, len(plane) / share
    return TracedPoints(
        points=plane - plane[0],
        first=plane[0],
        s=s,
        variance=variance,
        effective=effective,
        curvature_sd=np.inf if seen is None else CURVATURE_SD_PER_LENGTH / float(s[-1]),
        ends=ends - plane[0],
    )


def _check(centreline: Centreline) -> None:
    """Refuse what no image has, so that the fit never meets a weight that is not a number."""
    seen = centreline.observations
    points = centreline.points_rc
    if not float(np.ptp(points, axis=0).max()) > SHORTEST_PX or float(np.abs(points).max()) > FARTHEST_PX:
        raise CurvometerError(
            "the centreline's points cannot be pixels of an image: give (row, col) in pixels"
        )
    errors = centreline.position_sd_px if seen is None else seen.sd_px
    if errors is not None and not (np.isfinite(errors).all() and np.min(errors) > 0.0):
        raise CurvometerError(
            "a standard error of the centreline is not above zero: leave it out when nobody knows it"
        )
    lengths = np.array([centreline.correlation_px, *centreline.click_sd_px])
    if not (np.isfinite(lengths).all() and lengths.min() >= 0.0):
        raise CurvometerError(
            "a click error or correlation length of the centreline is below zero: give 0 or more"
        )


def _along(plane: FloatArray) -> FloatArray:
    """(n,) length along the points, in straight steps, so that dense points do not grow longer by zigzagging."""
    steps = np.hypot(*np.diff(plane, axis=0).T)
    marks = np.linspace(0, len(plane) - 1, min(MOST_STEPS + 1, len(plane))).astype(int)
    raw = np.concatenate([[0.0], np.cumsum(steps)])
    straight = np.hypot(*np.diff(plane[marks], axis=0).T)
    walked = np.concatenate([[0.0], np.cumsum(np.maximum(straight, 1e-9 * raw[-1]))])
    return np.asarray(np.interp(raw, raw[marks], walked))


def _without_repeats(plane: FloatArray, spread: FloatArray | None) -> tuple[FloatArray, FloatArray | None]:
    moved = np.concatenate([[True], np.hypot(*np.diff(plane, axis=0).T) > 0.0])
    return plane[moved], None if spread is None else spread[moved]


def _thinned(plane: FloatArray, spread: FloatArray | None) -> tuple[FloatArray, FloatArray | None]:
    """Block means, both ends kept."""
    group = len(plane) // MOST_POINTS + 1
    if group == 1:
        return plane, spread
    starts = np.arange(1, len(plane) - 1, group)
    counts = np.diff(np.append(starts, len(plane) - 1))[:, None]
    middle = np.add.reduceat(plane[1:-1], starts - 1, axis=0) / counts
    thinned = np.vstack([plane[:1], middle, plane[-1:]])
    if spread is None:
        return thinned, None
    inner = np.add.reduceat(spread[1:-1], starts - 1) / counts[:, 0]
    return thinned, np.concatenate([spread[:1], inner, spread[-1:]])
