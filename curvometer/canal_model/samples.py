"""Canals that the trace does not rule out: the fitted shapes, redrawn with every error that the measurement carries."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curvometer.canal_model.chain import ArcChains
from curvometer.canal_model.data import TracedPoints
from curvometer.canal_model.fit import MOST_TURNING, SHORTEST_PIECE, ShapeFit, misfits, turnings
from curvometer.canal_model.selection import CanalModel
from curvometer.canal_model.shapes import CanalShape

FloatArray = NDArray[np.float64]

LARGEST_LOG_WEIGHT = 2.0
"""No single canal counts for more than some seven others."""
MOST_WORSE = 40.0
"""Misfit beyond that of the fit, over the variance, above which the trace rules a canal out: chi-square of nine parameters
exceeds it once in a hundred thousand."""
PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43)


class CanalSamples(NamedTuple):
    """m canals of one shape; lengths in the unit of the model times `scale`.

    Attributes
    ----------
    shape
        Their shape.
    chains
        The chains, in the model's unit.
    orifice_s, foramen_s
        (m,) where each canal begins and ends along its chain.
    scale
        (m,) true length of one unit: 1 with an exact scale.
    """

    shape: CanalShape
    chains: ArcChains
    orifice_s: FloatArray
    foramen_s: FloatArray
    scale: FloatArray

    def piece_limits(self) -> FloatArray:
        """(m, k + 1) arc length at the borders of the pieces, kept between orifice and foramen."""
        nodes = np.concatenate([self.chains.nodes_s, self.foramen_s[:, None]], axis=1)
        nodes[:, 0] = self.orifice_s
        return np.asarray(np.clip(nodes, self.orifice_s[:, None], self.foramen_s[:, None]))


def best_canal(model: CanalModel) -> CanalSamples:
    """The most likely canal, as a batch of one."""
    fit = model.best
    return CanalSamples(
        shape=fit.shape,
        chains=fit.shape.chains(fit.parameters[None]),
        orifice_s=np.array([fit.start_s]),
        foramen_s=np.array([fit.end_s]),
        scale=np.ones(1),
    )


def draw_canals(
    model: CanalModel,
    *,
    count: int,
    end_sd: tuple[float, float],
    scale_sd: float,
    inflation: float = 1.0,
) -> list[CanalSamples]:
    """Draw canals from the weighted shapes: their parameters, both end clicks and the scale.

    Parameters
    ----------
    model
        The fitted shapes.
    count
        How many canals in all, shared by weight.
    end_sd
        Standard error of orifice and foramen along the canal, in the model's unit.
    scale_sd
        Relative standard uncertainty of the scale.
    inflation
        Factor on the standard errors of the fit.

    Notes
    -----
    The draws are evenly spread (`normal_draws`), so the same trace gives the same interval, and an interval settles with a
    few hundred canals.
    """
    shares = np.maximum(np.round(model.weights * count).astype(int), 8)
    drawn: dict[str, list[CanalSamples]] = {}
    for fit, share in zip(model.fits, shares, strict=True):
        batch = _draw(fit, model.data, int(share), model.variance_scale * inflation**2, end_sd, scale_sd)
        drawn.setdefault(fit.shape.pieces, []).append(batch)
    return [_joined(batches) for batches in drawn.values()]


def _joined(batches: list[CanalSamples]) -> CanalSamples:
    """Batches of one shape as one."""
    if len(batches) == 1:
        return batches[0]

    def joined(name: str) -> FloatArray:
        return np.concatenate([getattr(batch.chains, name) for batch in batches])

    return CanalSamples(
        shape=batches[0].shape,
        chains=ArcChains(
            origin=joined("origin"),
            heading=joined("heading"),
            lengths=joined("lengths"),
            kappas=joined("kappas"),
        ),
        orifice_s=np.concatenate([batch.orifice_s for batch in batches]),
        foramen_s=np.concatenate([batch.foramen_s for batch in batches]),
        scale=np.concatenate([batch.scale for batch in batches]),
    )


def _draw(
    fit: ShapeFit,
    data: TracedPoints,
    count: int,
    variance: float,
    end_sd: tuple[float, float],
    scale_sd: float,
) -> CanalSamples:
    shape, size = fit.shape, np.sqrt(np.diag(fit.inverse_information)) + 1e-150
    values, vectors = np.linalg.eigh(fit.inverse_information / np.outer(size, size))
    root = vectors * np.sqrt(np.maximum(values, 0.0) * variance)
    # Twice as many as asked for: spare ones make up for those outside limits.
    normal = normal_draws(max(2 * count, 64), len(size) + 2)
    parameters = fit.parameters + (normal[:, 2:] @ root.T) * size
    ends = normal[:, :2] * np.array(end_sd)
    quarter = 0.25 * (fit.end_s - fit.start_s)
    orifice = np.minimum(fit.start_s + ends[:, 0], fit.start_s + quarter)
    foramen = np.maximum(fit.end_s + ends[:, 1], fit.end_s - quarter)
    chosen = _within_limits(shape, parameters, orifice, foramen)
    if len(chosen):
        worse = _worse(fit, data, parameters[chosen]) / variance
        # Where a fit leaves a parameter open, its covariance reaches canals that have nothing to do with the trace.
        chosen, worse = chosen[worse <= MOST_WORSE], worse[worse <= MOST_WORSE]
    if len(chosen):
        chosen = chosen[_resampled(_log_weights(normal[chosen, 2:], worse), count)]
    if len(chosen) == 0:
        # The fit itself stands at its limits.
        parameters, orifice, foramen = fit.parameters[None], np.array([fit.start_s]), np.array([fit.end_s])
        chosen = np.zeros(1, dtype=np.intp)
    return CanalSamples(
        shape=shape,
        chains=shape.chains(parameters[chosen]),
        orifice_s=orifice[chosen],
        foramen_s=foramen[chosen],
        scale=np.exp(scale_sd * _even_normals(len(chosen))),
    )


@lru_cache(maxsize=64)
def normal_draws(count: int, dimensions: int) -> FloatArray:
    """(count, dimensions) standard normal draws, evenly spread and always the same.

    Points i * sqrt(prime) mod 1 fill the unit cube evenly (Niederreiter 1978, Bull Am Math Soc 84:957, section 3; from memory);
    pairs of coordinates become pairs of normals (Box and Muller 1958, Ann Math Stat 29:610; from memory). No random numbers
    also means that a saved trace is measured without loading a generator.
    """
    pairs = (dimensions + 1) // 2
    steps = np.arange(1, count // 2 + 1)[:, None]
    uniform = (steps * np.sqrt(np.array(PRIMES[: 2 * pairs], dtype=float)) + 0.5) % 1.0
    radius = np.sqrt(-2.0 * np.log(1.0 - uniform[:, 0::2]))
    angle = 2.0 * np.pi * uniform[:, 1::2]
    half = np.concatenate([radius * np.cos(angle), radius * np.sin(angle)], axis=1)[:, :dimensions]
    # Every draw with its opposite, made exactly uncorrelated: mean and covariance are then right at any count.
    half = half @ np.linalg.inv(np.linalg.cholesky(half.T @ half / len(half))).T
    normal = np.stack([half, -half], axis=1).reshape(-1, dimensions)
    normal.setflags(write=False)
    return np.asarray(normal)


def _even_normals(count: int) -> FloatArray:
    """(count,) standard normal quantiles of golden-ratio steps: their percentiles are right at any count.

    Quantiles by Hastings's approximation, to 4.5e-4 (Abramowitz and Stegun 1964, 26.2.23; from memory).
    """
    level = (np.arange(count) * 0.6180339887498949 + 0.5) % 1.0
    tail = np.clip(np.minimum(level, 1.0 - level), 1e-9, 0.5)
    t = np.sqrt(-2.0 * np.log(tail))
    size = t - (2.515517 + t * (0.802853 + t * 0.010328)) / (
        1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308))
    )
    return np.asarray(np.where(level < 0.5, -size, size))


def _within_limits(
    shape: CanalShape, parameters: FloatArray, orifice: FloatArray, foramen: FloatArray
) -> NDArray[np.intp]:
    """Indices of the draws that keep to their shape: no negative length, no winding, the last piece inside."""
    lengths = parameters[:, shape.length_slots]
    least = SHORTEST_PIECE * (foramen - orifice)
    fits = (lengths >= 0.0).all(axis=1) & (lengths.sum(axis=1) <= foramen - least)
    fits &= (turnings(shape, parameters, foramen) <= MOST_TURNING).all(axis=1)
    if lengths.shape[1]:
        fits &= (lengths[:, 0] >= 0.0) & (lengths.sum(axis=1) >= orifice)
    return np.flatnonzero(fits)


def _worse(fit: ShapeFit, data: TracedPoints, parameters: FloatArray) -> FloatArray:
    """(m,) misfit of canals beyond that of the fit."""
    found = misfits(fit.shape, np.vstack([fit.parameters, parameters]), data)
    return np.asarray(found[1:] - found[0])


def _log_weights(normal: FloatArray, worse: FloatArray) -> FloatArray:
    """Logarithm of likelihood over the normal density that the canals were drawn from.

    The covariance of a fit describes a canal near the best one; far out, where an arc curls up, the trace itself says that
    the canal is impossible (importance sampling; Kloek and van Dijk 1978, Econometrica 46:1; from memory).
    """
    drawn = (normal**2).sum(axis=1)
    return np.asarray(np.minimum(0.5 * (drawn - worse), LARGEST_LOG_WEIGHT))


def _resampled(log_weights: FloatArray, count: int) -> NDArray[np.intp]:
    """`count` indices in proportion to the weights, evenly spread."""
    weights = np.exp(log_weights - log_weights.max())
    heights = np.cumsum(weights) / weights.sum()
    return np.searchsorted(heights, (np.arange(count) + 0.5) / count).clip(0, len(weights) - 1)
