"""Maximum-likelihood fit of one shape: damped least squares on the distances across the chain."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from curvometer.canal_model.data import TracedPoints
from curvometer.canal_model.shapes import CanalShape
from curvometer.canal_model.start import starts

FloatArray = NDArray[np.float64]

MOST_STEPS = 30
SMALLEST_GAIN = 1e-4
"""A step that improves the misfit by less than this share is the last one."""
GAIN_WITH_NOISE = 1e-3
"""The same for points whose errors are known: a gain far below one unit of misfit changes nothing that matters."""
SHORTEST_PIECE = 0.005
"""The last piece of a shape is at least this share of the canal; shorter, a simpler shape says the same."""
MOST_TURNING = 2.0 * np.pi
"""No bend of a canal goes round in a circle: what would is a line that winds about its own noise."""
FEW = 20
RESOLUTION = 1e-8
"""Residuals below this share of the length are rounding."""


@dataclass(frozen=True, kw_only=True)
class ShapeFit:
    """One fitted shape.

    Attributes
    ----------
    shape
        Which one.
    parameters
        (p,) as `CanalShape` orders them.
    inverse_information
        (p, p) inverse of J'WJ: the covariance for the variances that the fit was given.
    residuals
        (n,) distances across, signed, in the unit of the points.
    misfit
        Sum of squared residuals over their variances.
    handicap
        Added to the misfit when shapes are weighed: this fit is one of several that share a shape.
    start_s, end_s
        Arc length at the feet of orifice and foramen.
    """

    shape: CanalShape
    parameters: FloatArray
    inverse_information: FloatArray
    residuals: FloatArray
    misfit: float
    handicap: float = 0.0
    start_s: float
    end_s: float


def fit_shape(shape: CanalShape, data: TracedPoints, variance: FloatArray) -> ShapeFit | None:
    """Best fit of a shape, or None when it leaves its own limits (a piece of negative length, arcs of one sign)."""
    # An arc at the orifice is rare: one start is enough for it.
    most = 1 if shape.pieces == "as" else 2
    found = [
        fit
        for start in starts(shape, data, most=most)
        if (fit := _descend(shape, start, data, variance)) is not None
    ]
    return min(found, key=lambda fit: fit.misfit, default=None)


def misfits(shape: CanalShape, parameters: FloatArray, data: TracedPoints) -> FloatArray:
    """Misfit of m parameter vectors (m, p), from every few points: enough to tell a canal from an impossible one."""
    every = max(1, len(data.s) // FEW)
    chosen = slice(every // 2, None, every)
    few = replace(data, points=data.points[chosen], s=data.s[chosen])
    variance = np.ones(len(few.s)) if data.variance is None else data.variance[chosen]
    _, along = _residuals(shape, parameters, few, few.s)
    across, _ = _residuals(shape, parameters, few, few.s + along)
    share = len(data.s) / len(few.s)
    return np.asarray(
        share * (across**2 / variance).sum(axis=1)
        + (_curvature_prior(shape, data) * parameters**2).sum(axis=1)
    )


def _residuals(
    shape: CanalShape, parameters: FloatArray, data: TracedPoints, feet: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Distances across (m, n) and along (m, n) from the chain's points at `feet` (n,) for m parameter vectors."""
    feet = np.broadcast_to(feet, (len(parameters), feet.shape[-1]))
    points, psi = shape.chains(parameters).at(feet)
    away = data.points - points
    sine, cosine = np.sin(psi), np.cos(psi)
    return away[..., 1] * cosine - away[..., 0] * sine, away[..., 0] * cosine + away[..., 1] * sine


def fit_with_tail(
    shape: CanalShape,
    bare: ShapeFit,
    data: TracedPoints,
    variance: FloatArray,
    *,
    tail: float,
    slack: float,
    scale: float,
) -> ShapeFit | None:
    """Fit a shape that ends in a straight tail whose length is held near a given one.

    Parameters
    ----------
    shape
        The shape with its tail, as ``sas``.
    bare
        Fit of the same shape without it, as ``sa``.
    data, variance
        The points.
    tail, slack
        Length of the tail and how far it may stray (standard deviation), in the unit of the points.
    scale
        Factor on the variances.
    """
    first = bare.parameters[bare.shape.length_slots]
    arc = bare.end_s - tail - float(first.sum())
    start = np.concatenate([bare.parameters[:2], first, [arc], bare.parameters[bare.shape.curvature_slots]])
    pull = _Pull(target=bare.end_s - tail, weight=scale / slack**2)
    return None if arc <= 0.0 else _descend(shape, start, data, variance, pull)


@dataclass(frozen=True, kw_only=True)
class _Pull:
    """Holds the sum of the lengths, where the last piece begins, near a target."""

    target: float = 0.0
    weight: float = 0.0


def _descend(
    shape: CanalShape, start: FloatArray, data: TracedPoints, variance: FloatArray, pull: _Pull = _Pull()
) -> ShapeFit | None:
    length = float(data.s[-1])
    size = np.full(shape.parameter_count, length)
    size[1] = 1.0
    size[shape.curvature_slots] = 1.0 / length
    small = 1e-6 * size
    weight = 1.0 / variance
    smallest = SMALLEST_GAIN if data.variance is None else GAIN_WITH_NOISE
    enough = weight.max() * len(weight) * (RESOLUTION * length) ** 2
    now, feet, damping = start.copy(), data.s.copy(), 1e-3
    # A first correction brings the feet of the points from their own arc length to the chain.
    feet = feet + _residuals(shape, now[None], data, feet)[1][0]
    across, along = _residuals(shape, np.vstack([now, now + np.diag(small)]), data, feet)
    prior, summed = _curvature_prior(shape, data), np.zeros(shape.parameter_count)
    summed[shape.length_slots] = 1.0

    def total(distances: FloatArray, parameters: FloatArray) -> float:
        strayed = pull.weight * (summed @ parameters - pull.target) ** 2
        return float((distances**2 * weight).sum() + (prior * parameters**2).sum() + strayed)

    value = total(across[0], now)
    for _ in range(MOST_STEPS if len(shape.pieces) < 4 else 2 * MOST_STEPS):
        slope = (across[1:] - across[0]).T / 1e-6
        scaled = slope * weight[:, None]
        normal, right = slope.T @ scaled, -scaled.T @ across[0] - prior * now * size
        right -= pull.weight * (summed @ now - pull.target) * summed * size
        normal += np.diag(prior * size**2) + pull.weight * np.outer(summed * size, summed * size)
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-12), right) * size
        trial, trial_feet = now + step, feet + along[0]
        if (trial[shape.length_slots] < -0.3 * length).any():
            return None
        trial_across, trial_along = _residuals(
            shape, np.vstack([trial, trial + np.diag(small)]), data, trial_feet
        )
        trial_value = total(trial_across[0], trial)
        if trial_value > value * (1.0 + 1e-12) and damping < 1e6:
            damping *= 10.0
            continue
        gain, value = value - trial_value, trial_value
        now, feet, across, along, damping = (
            trial,
            trial_feet,
            trial_across,
            trial_along,
            max(damping * 0.1, 1e-12),
        )
        if gain <= smallest * value or value < enough:
            break
    return _checked(shape, now, data, across, weight, size, pull.weight * np.outer(summed, summed))


def _curvature_prior(shape: CanalShape, data: TracedPoints) -> FloatArray:
    """(p,) one over the variance that a parameter has before anything is seen; 0 for all but the curvatures."""
    prior = np.zeros(shape.parameter_count)
    prior[shape.curvature_slots] = data.curvature_sd**-2
    return prior


def _ends(shape: CanalShape, parameters: FloatArray, data: TracedPoints) -> tuple[float, float]:
    """Arc lengths at the feet of orifice and foramen."""
    feet = np.array([0.0, data.s[-1]])
    chain = shape.chains(parameters[None])
    for _ in range(6):
        points, psi = chain.at(feet[None])
        away = data.ends - points[0]
        step = away[:, 0] * np.cos(psi[0]) + away[:, 1] * np.sin(psi[0])
        feet = feet + step
        if float(np.abs(step).max()) < RESOLUTION * float(data.s[-1]):
            break
    return float(feet[0]), float(feet[1])


def turnings(shape: CanalShape, parameters: FloatArray, end_s: FloatArray | float) -> FloatArray:
    """(m, arcs) unsigned turning of every arc up to the foramen, radians."""
    lengths = parameters[:, shape.length_slots]
    last = np.broadcast_to(end_s, len(parameters)) - lengths.sum(axis=1)
    every = np.column_stack([lengths, last])[:, list(shape.arcs)]
    return np.asarray(np.abs(every * parameters[:, shape.curvature_slots]))


def _within_limits(shape: CanalShape, parameters: FloatArray, start_s: float, end_s: float) -> bool:
    """Tell whether every piece lies on the canal, no bend winds, and two bends are opposite."""
    lengths, kappas = parameters[shape.length_slots], parameters[shape.curvature_slots]
    least = SHORTEST_PIECE * (end_s - start_s)
    if least <= 0.0 or (lengths < 0.0).any() or lengths.sum() > end_s - least:
        return False
    if len(lengths) and lengths[0] < start_s + least:
        return False
    opposite = len(kappas) < 2 or kappas[0] * kappas[1] < 0.0
    return bool(opposite and (turnings(shape, parameters[None], end_s) <= MOST_TURNING).all())


def _checked(
    shape: CanalShape,
    parameters: FloatArray,
    data: TracedPoints,
    across: FloatArray,
    weight: FloatArray,
    size: FloatArray,
    pulled: FloatArray,
) -> ShapeFit | None:
    start_s, end_s = _ends(shape, parameters, data) if np.isfinite(parameters).all() else (0.0, 0.0)
    if not _within_limits(shape, parameters, start_s, end_s):
        return None
    slope = (across[1:] - across[0]).T / (1e-6 * size)
    prior = _curvature_prior(shape, data)
    information = slope.T @ (slope * weight[:, None]) + np.diag(prior) + pulled
    scale = 1.0 / np.sqrt(np.diag(information) + 1e-300)
    try:
        inverse = np.linalg.inv(information * scale[:, None] * scale) * scale[:, None] * scale
    except np.linalg.LinAlgError:
        return None
    if (np.diag(inverse) < 0.0).any():
        return None
    return ShapeFit(
        shape=shape,
        parameters=parameters,
        inverse_information=inverse,
        residuals=across[0],
        misfit=float((across[0] ** 2 * weight).sum() + (prior * parameters**2).sum()),
        start_s=start_s,
        end_s=end_s,
    )
