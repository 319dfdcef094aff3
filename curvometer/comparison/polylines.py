"""Two lines made comparable: checked, in millimetres, with stations at equal distances along each."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from curvometer.geometry import FloatArray, arc_length, distance, project_to_polyline
from curvometer.radiograph import CurvometerError

STEP_MM = 0.05
"""Distance of the stations: a third of the smallest displacement that is told (common practice, no source)."""
MOST_STATIONS = 1000
"""However long a line is, no more stations than these; the step that results is told."""
FEWEST_STATIONS = 33

Scale = float | tuple[float, float]


class ComparisonError(CurvometerError):
    """Lines or measurements that cannot be compared."""


@dataclass(frozen=True, kw_only=True)
class Curve:
    """One line in millimetres.

    Attributes
    ----------
    points
        (n, 2) mm in the order (row, col), no two neighbours equal.
    along
        (n,) distance of each from the first.
    s, at
        (k,) and (k, 2): stations at equal distances along the line, both ends among them.
    """

    points: FloatArray
    along: FloatArray
    s: FloatArray
    at: FloatArray

    @property
    def length(self) -> float:
        """Length, mm."""
        return float(self.along[-1])

    @property
    def step(self) -> float:
        """Distance between stations, mm."""
        return float(self.s[1])

    @cached_property
    def directions(self) -> FloatArray:
        """(k, 2) direction at each station towards the end, not of unit length."""
        found = np.empty_like(self.at)
        found[1:-1] = self.at[2:] - self.at[:-2]
        found[0], found[-1] = self.at[1] - self.at[0], self.at[-1] - self.at[-2]
        return found

    def place(self, s: FloatArray) -> FloatArray:
        """Points at distances along the line, shape (m, 2)."""
        return _places(self.points, self.along, s)

    def nearest(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Distance along the line of the place nearest to each point, and how far it is."""
        return project_to_polyline(points, self.points)

    def reversed(self) -> Curve:
        """The same line run the other way."""
        return Curve(
            points=self.points[::-1],
            along=self.length - self.along[::-1],
            s=self.s,
            at=self.at[::-1],
        )


def _places(points: FloatArray, along: FloatArray, s: FloatArray) -> FloatArray:
    found = np.empty((len(s), 2))
    found[:, 0], found[:, 1] = np.interp(s, along, points[:, 0]), np.interp(s, along, points[:, 1])
    return found


def scale_of(mm_per_pixel: Scale) -> FloatArray:
    """(2,) millimetres per row and per column.

    Raises
    ------
    ComparisonError
        When it is not one or two positive numbers.
    """
    scale = np.asarray(mm_per_pixel, dtype=float)
    if scale.shape not in ((), (2,)) or not (np.isfinite(scale).all() and (scale > 0.0).all()):
        raise ComparisonError(
            f"the scale {mm_per_pixel!r} is not a positive number of mm per pixel: give one, or one for rows and one for"
            " columns; 1 for lines in mm"
        )
    return np.broadcast_to(scale, (2,))


def curve_of(points_rc: ArrayLike, scale: FloatArray, name: str, step_mm: float = STEP_MM) -> Curve:
    """Check one line and lay its stations.

    Raises
    ------
    ComparisonError
        When it has fewer than two different points, or a coordinate that is not finite.
    """
    points = np.asarray(points_rc, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 2:
        raise ComparisonError(
            f"the {name} needs at least two points of two coordinates, found shape {points.shape}: give points from"
            " the orifice to the foramen"
        )
    if not np.isfinite(points).all():
        raise ComparisonError(f"a point of the {name} is not a finite number: correct or remove it")
    points = points * scale
    moved = np.concatenate([[True], distance(points[:-1], points[1:]) > 0.0])
    points = points[moved]
    if len(points) < 2:
        raise ComparisonError(f"all points of the {name} are the same: give points along the canal")
    along = arc_length(points)
    # The share of a step taken off keeps a length that is a whole number of steps one, whatever it is rounded to.
    count = min(max(math.ceil(along[-1] / step_mm - 1e-6) + 1, FEWEST_STATIONS), MOST_STATIONS)
    s = np.linspace(0.0, along[-1], count)
    return Curve(points=points, along=along, s=s, at=_places(points, along, s))
