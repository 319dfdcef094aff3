"""A smoothing spline through a noisy plane curve: its course, its curvature, and the curvature's error.

Both coordinates are cubic B-splines of the distance along the polyline, with a penalty on the third
difference of the coefficients: what costs is a *change* of curvature, so neither a straight line nor a
wide arc is flattened. The weight of the penalty is the one that makes the data most likely (restricted
maximum likelihood), with the position error given or estimated. The standard error of the curvature
comes from the posterior covariance of the spline; on average along the curve it covers the smoothing's
own bias (Wahba 1983), but not at a sudden change, where a spline rounds the corner of the curvature.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from curvometer.geometry.plane import FloatArray, dot
from curvometer.geometry.polyline import arc_length, project_to_polyline

_COARSE_STRETCHES = 40
_MOST_BINS = 240
_MOST_PIECES = 60
_PENALTIES = np.logspace(-10.0, 12.0, 111)


@dataclass(frozen=True, kw_only=True)
class SmoothCurve:
    """A smoothed curve, evaluated at m places.

    Attributes
    ----------
    s
        (m,) distance along the smoothed curve.
    points
        (m, 2).
    tangent
        (m, 2) unit vectors.
    curvature
        (m,) signed, positive from the first axis towards the second; 1 / unit of the points.
    curvature_sd
        (m,) its standard error.
    position_sd
        Standard error of one averaged point across the curve: given, or estimated from the residuals.
    """

    s: FloatArray
    points: FloatArray
    tangent: FloatArray
    curvature: FloatArray
    curvature_sd: FloatArray
    position_sd: float


def smooth_curve(
    points: FloatArray,
    *,
    position_sd: FloatArray | None = None,
    correlation: float = 0.0,
    count: int = 200,
) -> SmoothCurve:
    """Smooth a noisy polyline and give its curvature with an error.

    Parameters
    ----------
    points
        Shape (n, 2), n at least 8, no two neighbours equal.
    position_sd
        Shape (n,), standard error of each point, in the unit of the points; estimated when absent.
    correlation
        Length along the curve over which errors of neighbours hang together (area under their
        autocorrelation function); points are averaged over it, so that the averages can be taken as
        independent.
    count
        Number of places at which the result is wanted, equally spaced.

    Raises
    ------
    ValueError
        With fewer than eight points.

    References
    ----------
    `curvometer.bibliography.EILERS_MARX_1996`, `curvometer.bibliography.WAHBA_1983`.
    """
    if len(points) < 8:
        raise ValueError(f"smoothing needs at least eight points, found {len(points)}")
    t, length = _parameter(points, correlation)
    t, data, weight = _averages(t, points, position_sd, correlation / length)
    pieces = int(np.clip(len(t) // 2, 4, _MOST_PIECES))
    middle = data.mean(axis=0)
    design = _basis(t, pieces, 0)
    coefficients, covariance, sd = _fit(design, data - middle, weight, known=position_sd is not None)
    place = np.linspace(0.0, 1.0, count)
    zeroth, first, second = (_basis(place, pieces, order) for order in (0, 1, 2))
    curve = zeroth @ coefficients + middle
    velocity, acceleration = first @ coefficients, second @ coefficients
    curvature, curvature_sd = _curvature(velocity, acceleration, first, second, covariance)
    return SmoothCurve(
        s=arc_length(curve),
        points=curve,
        tangent=velocity / np.hypot(velocity[:, :1], velocity[:, 1:]),
        curvature=curvature,
        curvature_sd=curvature_sd,
        position_sd=sd,
    )


def _parameter(points: FloatArray, correlation: float) -> tuple[FloatArray, float]:
    """Place of each point along a coarse mean course, 0 to 1, and the length of that course.

    Distances along the noisy points themselves would grow with the noise and carry its sum: projected on the
    means of longer stretches, only the error across the curve is left.
    """
    along = arc_length(points)
    width = max(correlation, float(along[-1]) / _COARSE_STRETCHES)
    _, label, members = np.unique((along / width).astype(int), return_inverse=True, return_counts=True)
    means = np.column_stack([np.bincount(label, values) / members for values in points.T])
    course = np.concatenate([points[:1], means[1:-1], points[-1:]])
    s, _ = project_to_polyline(points, course)
    length = float(arc_length(course)[-1])
    return s / length, length


def _averages(
    t: FloatArray, points: FloatArray, position_sd: FloatArray | None, correlation: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Average points over stretches as long as their errors hang together; parameter, point, 1 / variance."""
    share = np.ones(len(t)) if position_sd is None else 1.0 / np.square(position_sd)
    # At least eight stretches, or there is no shape left to smooth.
    width = min(max(correlation, 1.0 / _MOST_BINS), 1.0 / 8.0)
    label = np.minimum((t / width).astype(int), int(np.ceil(1.0 / width)) - 1)
    _, label, members = np.unique(label, return_inverse=True, return_counts=True)
    mass = np.bincount(label, share)
    columns = [np.bincount(label, share * values) / mass for values in (t, *points.T)]
    # The mean of m points that hang together over the length c of a stretch b has variance max(1/m,
    # min(1, c/b)).
    reduction = np.maximum(1.0 / members, min(1.0, correlation / width))
    return columns[0], np.column_stack(columns[1:]), mass / members / reduction


def _basis(t: FloatArray, pieces: int, order: int) -> FloatArray:
    """Values (or derivatives) of the cubic B-splines on [0, 1] with equal pieces, one column each."""
    piece = np.clip((t * pieces).astype(int), 0, pieces - 1)
    u = t * pieces - piece
    rows: tuple[tuple[FloatArray | float, ...], ...] = (
        ((1 - u) ** 3 / 6, (3 * u**3 - 6 * u**2 + 4) / 6, (-3 * u**3 + 3 * u**2 + 3 * u + 1) / 6, u**3 / 6),
        (-((1 - u) ** 2) / 2, (3 * u**2 - 4 * u) / 2, (-3 * u**2 + 2 * u + 1) / 2, u**2 / 2),
        (1 - u, 3 * u - 2, 1 - 3 * u, u),
    )
    basis = np.zeros((len(t), pieces + 3))
    for shift, values in enumerate(rows[order]):
        basis[np.arange(len(t)), piece + shift] = values * float(pieces) ** order
    return basis


def _fit(
    design: FloatArray, data: FloatArray, weight: FloatArray, *, known: bool
) -> tuple[FloatArray, FloatArray, float]:
    """Penalised least squares; coefficients, their covariance, standard error of a mean point."""
    size = design.shape[1]
    difference = np.diff(np.eye(size), n=3, axis=0)
    penalty = difference.T @ difference
    gram = design.T @ (design * weight[:, None])
    gram += 1e-10 * np.trace(gram) / size * (penalty + 1e-4 * np.eye(size))
    # In the basis that makes the data's matrix the identity and the penalty diagonal, each penalty costs
    # O(size).
    root = np.linalg.inv(np.linalg.cholesky(gram))
    values, vectors = np.linalg.eigh(root @ penalty @ root.T)
    to_coefficients = root.T @ vectors
    z = to_coefficients.T @ (design.T @ (data * weight[:, None]))
    best, variance = _best_penalty(values, z, data, weight, known=known)
    shrink = 1.0 / (1.0 + best * np.maximum(values, 0.0))
    coefficients = to_coefficients @ (z * shrink[:, None])
    covariance = variance * (to_coefficients * shrink) @ to_coefficients.T
    return coefficients, covariance, float(np.sqrt(variance / np.mean(weight)))


def _best_penalty(
    values: FloatArray, z: FloatArray, data: FloatArray, weight: FloatArray, *, known: bool
) -> tuple[float, float]:
    """Penalty weight of greatest restricted likelihood, and the variance factor of the data."""
    penalised = np.sort(values)[3:]
    grid = _PENALTIES / np.median(penalised)
    strength = np.sum(z**2, axis=1)
    explained = np.sum(strength / (1.0 + grid[:, None] * np.maximum(values, 0.0)), axis=1)
    total = float(np.sum(data**2 * weight[:, None]))
    misfit = np.maximum(total - explained, 1e-14 * total)
    # Errors lie across the curve only, so the two coordinates share one set of errors.
    log_terms = np.sum(np.log1p(1.0 / (grid[:, None] * penalised)), axis=1)
    free = float(len(data) - 3)
    if known:
        best = int(np.argmin(misfit + log_terms))
        return float(grid[best]), 1.0
    best = int(np.argmin(free * np.log(misfit) + log_terms))
    return float(grid[best]), float(misfit[best] / free)


def _curvature(
    velocity: FloatArray,
    acceleration: FloatArray,
    first: FloatArray,
    second: FloatArray,
    covariance: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Curvature (x'y'' - y'x'') / |r'|^3 and its standard error by the derivatives of that formula."""
    speed = np.sqrt(dot(velocity, velocity))
    curvature = (velocity[:, 0] * acceleration[:, 1] - velocity[:, 1] * acceleration[:, 0]) / speed**3
    variance = np.zeros(len(speed))
    for axis, sign in ((0, 1.0), (1, -1.0)):
        by_first = (
            sign * acceleration[:, 1 - axis] / speed**3 - 3.0 * curvature * velocity[:, axis] / speed**2
        )
        by_second = -sign * velocity[:, 1 - axis] / speed**3
        row = first * by_first[:, None] + second * by_second[:, None]
        variance += np.einsum("ij,jk,ik->i", row, covariance, row)
    return curvature, np.sqrt(np.maximum(variance, 0.0))
