"""What the methods accept: landmarks, directions and points, checked once with a sentence for the reader."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from curvometer.geometry import FloatArray, distance
from curvometer.radiograph import CurvometerError


class PointsError(CurvometerError):
    """Points or landmarks that are not pairs of finite coordinates, or too few of them."""


class DegenerateLandmarksError(CurvometerError):
    """Landmarks between which a method cannot draw its lines: two of them coincide."""


class CanalTooShortError(CurvometerError):
    """A canal shorter than the pieces that a method lays on it."""


def as_landmark(value: ArrayLike, name: str) -> FloatArray:
    """Return a landmark or direction as floats of shape (..., 2)."""
    array = np.asarray(value, dtype=float)
    if array.ndim < 1 or array.shape[-1] != 2:
        raise PointsError(
            f"the {name} needs two coordinates, found shape {array.shape}: give one pair per canal"
        )
    if not np.isfinite(array).all():
        raise PointsError(f"the {name} has a coordinate that is not a finite number: correct it")
    return array


def as_points(value: ArrayLike, *, least: int = 2) -> FloatArray:
    """Return the points of one canal or of several as floats of shape (..., n, 2)."""
    array = np.asarray(value, dtype=float)
    if array.ndim < 2 or array.shape[-1] != 2 or array.shape[-2] < least:
        raise PointsError(
            f"the canal needs at least {least} points of two coordinates, found shape {array.shape}:"
            " give points from the orifice to the foramen"
        )
    if not np.isfinite(array).all():
        raise PointsError("a point of the canal is not a finite number: correct or remove it")
    return array


def as_direction(value: ArrayLike, name: str) -> FloatArray:
    """Return a direction as floats of shape (..., 2); its length does not matter but is not zero."""
    array = as_landmark(value, name)
    if np.any(np.hypot(array[..., 0], array[..., 1]) == 0.0):
        raise DegenerateLandmarksError(f"the {name} has no length: give two different points for it")
    return array


def between(start: ArrayLike, end: ArrayLike, start_name: str, end_name: str) -> FloatArray:
    """Return the vector between two landmarks that must differ."""
    p, q = as_landmark(start, start_name), as_landmark(end, end_name)
    if np.any(distance(p, q) == 0.0):
        raise DegenerateLandmarksError(
            f"the {start_name} and the {end_name} are the same point: no line goes through them; move one"
        )
    return q - p


def require_length(found_mm: FloatArray, needed_mm: float, what: str) -> None:
    """Refuse canals shorter than a method's pieces."""
    shortest = float(np.min(found_mm))
    if not shortest >= needed_mm * (1.0 - 1e-9):
        raise CanalTooShortError(
            f"the canal is {shortest:.2f} mm long, {what} needs {needed_mm:g} mm: trace the whole canal or"
            " use another measure"
        )
