"""The neighbourhood of a path, straightened: one row per station along the path, one column per distance across."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from curvometer.geometry import arc_length, resample

FloatArray = NDArray[np.floating[Any]]
Float32Image = NDArray[np.float32]


@dataclass(frozen=True, kw_only=True)
class Crop:
    """A float32 piece of a radiograph and where it lies.

    Attributes
    ----------
    pixels
        (rows, cols) float32 grey values.
    origin_rc
        Position of its first pixel on the radiograph.
    aspect
        Row spacing / column spacing.
    mm
        Size of a column pixel in millimetres: known, or assumed.
    """

    pixels: Float32Image
    origin_rc: tuple[int, int]
    aspect: float
    mm: float


def stations(points: FloatArray, spacing: float) -> FloatArray:
    """Points at equal distances (about `spacing`) along a polyline, ends kept, at least eight."""
    line = np.asarray(points, dtype=float)
    return resample(line, max(8, round(float(arc_length(line)[-1]) / spacing) + 1))


def normals(points: FloatArray) -> FloatArray:
    """(n, 2) unit normals of a polyline: the tangent turned by +90 degrees in (row, col) order."""
    tangent = np.gradient(points, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])


def smooth(values: FloatArray, weights: FloatArray, *, stations: float) -> FloatArray:
    """Weighted Whittaker smoothing of (n,) or (n, m) values along the first axis.

    Minimises sum w (y - z)^2 + stations^4 sum (second difference of z)^2; with unit weights a wave of wavelength
    2 pi * `stations` keeps half its height (Eilers 2003, Anal Chem 75:3631, eq. 6 with d = 2; from memory).
    """
    n = len(weights)
    matrix = stations**4 * _roughness(n, 2)
    matrix.ravel()[:: n + 1] += weights
    right = (weights * values)[:, None] if values.ndim == 1 else weights[:, None] * values
    # OpenCV's Cholesky runs on one thread: on matrices this small, waking BLAS threads costs more than the work.
    _, solved = cv2.solve(matrix, right, flags=cv2.DECOMP_CHOLESKY)
    return np.asarray(solved, dtype=float).reshape(values.shape)


def steady_curve(points: FloatArray, weights: FloatArray, *, spacing: float, change: float) -> SteadyCurve:
    """The curve nearest to points whose curvature changes slowly: the mean of a Gaussian process given the points.

    Minimises sum w |p - z|^2 + (1 / change^2) integral |z'''|^2 ds. A third derivative leaves straight lines and arcs alone,
    to the very ends; where the weights fade, the curve goes on with the curvature of its neighbours.

    Parameters
    ----------
    points
        (n, 2) points at equal distances.
    weights
        (n,) one over the variance of each, as an independent observation.
    spacing
        Distance between neighbours, in the unit of the points.
    change
        How fast curvature is expected to change: standard deviation of its growth over one unit of length.

    References
    ----------
    Wahba 1978, J R Stat Soc B 40:364 (a smoothing spline is such a mean; from memory); for its errors
    `curvometer.bibliography.WAHBA_1983`.
    """
    n = len(weights)
    matrix = _roughness(n, 3) / (change**2 * spacing**5)
    matrix.ravel()[:: n + 1] += weights
    # OpenCV's Cholesky runs on one thread: on matrices this small, waking BLAS threads costs more than the work.
    _, covariance = cv2.invert(matrix, flags=cv2.DECOMP_CHOLESKY)
    curve = covariance @ (weights[:, None] * points)
    variance = np.maximum(np.diag(covariance), 0.0)
    middle = slice(n // 4, n - n // 4)
    rows = np.clip(covariance[middle] / np.sqrt(np.outer(variance[middle], variance) + 1e-30), 0.0, 1.0)
    return SteadyCurve(
        points=curve, sd=np.sqrt(variance), correlation=float(rows.sum(axis=1).mean()) * spacing
    )


@dataclass(frozen=True, kw_only=True)
class SteadyCurve:
    """A smoothed curve (n, 2), its standard error (n,), and the area under its error's autocorrelation."""

    points: FloatArray
    sd: FloatArray
    correlation: float


@lru_cache(maxsize=64)
def _roughness(n: int, order: int) -> FloatArray:
    difference = np.diff(np.eye(n), n=order, axis=0)
    return np.asarray(difference.T @ difference)


def straighten(crop: Crop, points_sq: FloatArray, offsets_px: FloatArray) -> Float32Image:
    """Sample the picture along the normals of a line.

    Parameters
    ----------
    crop
        The picture.
    points_sq
        (n, 2) stations in square coordinates (row * aspect, col).
    offsets_px
        (m,) distances across, in column pixels.

    Returns
    -------
    array
        (n, m): the mean over the stretch between neighbouring stations, so that no pixel goes unused.
    """
    n = len(points_sq)
    spacing = float(np.hypot(*(points_sq[1] - points_sq[0])))
    sub = max(1, min(6, round(spacing)))
    fine = np.linspace(0, n - 1, (n - 1) * sub + 1)
    whole = np.arange(n)
    across = normals(points_sq)
    start = [np.interp(fine, whole, points_sq[:, k]) for k in (0, 1)]
    slope = [np.interp(fine, whole, across[:, k]) for k in (0, 1)]
    rows = np.add.outer(start[0] / crop.aspect - crop.origin_rc[0], np.zeros(len(offsets_px)))
    rows += np.multiply.outer(slope[0] / crop.aspect, offsets_px)
    cols = np.add.outer(start[1] - crop.origin_rc[1], np.zeros(len(offsets_px)))
    cols += np.multiply.outer(slope[1], offsets_px)
    sampled = cv2.remap(
        crop.pixels,
        cols.astype(np.float32),
        rows.astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(sampled if sub == 1 else cv2.blur(sampled, (1, sub))[::sub], dtype=np.float32)
