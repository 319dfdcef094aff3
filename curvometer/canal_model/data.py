"""The traced points as a fit sees them: in one square plane, thinned, each with the variance it really has."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from curvometer.centreline import Centreline

FloatArray = NDArray[np.float64]

MOST_POINTS = 400
"""Denser traces are thinned by averaging neighbours: more points carry no more information."""


@dataclass(frozen=True, kw_only=True)
class TracedPoints:
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
    """

    points: FloatArray
    first: FloatArray
    s: FloatArray
    variance: FloatArray | None
    effective: float | None


def traced_points(centreline: Centreline, spacing_rc: tuple[float, float]) -> TracedPoints:
    """Bring a centreline into the plane.

    Parameters
    ----------
    centreline
        The trace.
    spacing_rc
        Length of one row step and of one column step: millimetres, or (aspect, 1) in column pixels.
    """
    plane = centreline.points_rc[:, ::-1] * np.array(spacing_rc[::-1])
    sd = centreline.position_sd_px
    spread = None if sd is None else np.asarray(sd, dtype=float) * spacing_rc[1]
    plane, spread = _without_repeats(plane, spread)
    plane, spread = _thinned(plane, spread)
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(plane, axis=0).T))])
    variance, effective = None, None
    if spread is not None:
        # Points closer than the correlation length share their errors: each counts for its share of that length.
        correlation = centreline.correlation_px * spacing_rc[1]
        share = max(1.0, correlation * (len(plane) - 1) / float(s[-1]))
        variance, effective = spread**2 * share, len(plane) / share
    return TracedPoints(points=plane - plane[0], first=plane[0], s=s, variance=variance, effective=effective)


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
