"""Maximum-likelihood fits of shapes: the best of a few descents each, within the limits of what is a canal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curvometer.canal_model.bundle import feet_of
from curvometer.canal_model.data import TracedPoints
from curvometer.canal_model.descent import Descents, Pull, descend
from curvometer.canal_model.shapes import CanalShape
from curvometer.canal_model.start import outline_of, starts

FloatArray = NDArray[np.float64]

SHORTEST_PIECE = 0.005
"""The last piece of a shape is at least this share of the canal; shorter, a simpler shape says the same."""
MOST_TURNING = 2.0 * np.pi
"""No bend of a canal goes round in a circle: what would is a line that winds about its own noise."""
HOOK = CanalShape(pieces="sa")
FEW = 20
MOST_OPEN = 1e12
"""A parameter's variance over what it would be if all others were known, above which the points leave it open."""


class ShapeFit(NamedTuple):
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
    start_s: float
    end_s: float
    handicap: float = 0.0


def fit_shapes(shapes: Sequence[CanalShape], data: TracedPoints, variance: FloatArray) -> list[ShapeFit]:
    """Best fit of each shape, without those that leave their own limits (a piece of negative length, arcs of one sign)."""
    outline = outline_of(data)
    # An arc at the orifice is rare: one start is enough for it.
    begins = [starts(shape, outline, most=1 if shape.pieces == "as" else 2) for shape in shapes]
    every = [shape for shape, some in zip(shapes, begins, strict=True) for _ in some]
    if not every:
        return []
    ended = descend(every, [begin for some in begins for begin in some], data, variance)
    return _best_of_each(every, ended, data)


def misfits(shape: CanalShape, parameters: FloatArray, data: TracedPoints) -> FloatArray:
    """Misfit of m parameter vectors (m, p), from every few points: enough to tell a canal from an impossible one."""
    every = max(1, len(data.s) // FEW)
    chosen = slice(every // 2, None, every)
    few = data._replace(points=data.points[chosen], s=data.s[chosen])
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


def fit_with_tails(
    shape: CanalShape,
    bare: ShapeFit,
    data: TracedPoints,
    variance: FloatArray,
    *,
    tails: Sequence[tuple[float, float]],
    scale: float,
) -> list[ShapeFit]:
    """Fit a shape that ends in a straight tail whose length is held near given ones.

    Parameters
    ----------
    shape
        The shape with its tail, as ``sas``.
    bare
        Fit of the same shape without it, as ``sa``.
    data, variance
        The points.
    tails
        Lengths of the tail, each with how far it may stray (standard deviation), in the unit of the points.
    scale
        Factor on the variances.
    """
    first = bare.parameters[bare.shape.length_slots]
    arcs = [bare.end_s - tail - float(first.sum()) for tail, _ in tails]
    tried = [(arc, tail, slack) for arc, (tail, slack) in zip(arcs, tails, strict=True) if arc > 0.0]
    if not tried:
        return []
    bends = bare.parameters[bare.shape.curvature_slots]
    begins = [np.concatenate([bare.parameters[:2], first, [arc], bends]) for arc, _, _ in tried]
    pulls = [Pull(target=bare.end_s - tail, weight=scale / slack**2) for _, tail, slack in tried]
    return _held(shape, begins, pulls, data, variance)


def fit_with_hooks(
    straight: ShapeFit,
    data: TracedPoints,
    variance: FloatArray,
    *,
    hooks: Sequence[tuple[float, float]],
    scale: float,
) -> list[ShapeFit]:
    """Fit a straight canal that bends only in its last stretch, whose length is held near given ones.

    Parameters
    ----------
    straight
        Fit of the straight shape.
    data, variance
        The points.
    hooks
        Lengths of the arc at the foramen, each with how far it may stray (standard deviation), in the unit of the points.
    scale
        Factor on the variances.
    """
    pulls = [Pull(target=straight.end_s - hook, weight=scale / slack**2) for hook, slack in hooks]
    begins = [np.concatenate([straight.parameters, [pull.target, 0.0]]) for pull in pulls]
    return _held(HOOK, begins, pulls, data, variance)


def _held(
    shape: CanalShape,
    begins: Sequence[FloatArray],
    pulls: Sequence[Pull],
    data: TracedPoints,
    variance: FloatArray,
) -> list[ShapeFit]:
    ended = descend([shape] * len(begins), begins, data, variance, pulls)
    ends = _ends(ended, data)
    found = (_checked(shape, i, ended, ends) for i in range(len(begins)))
    return [fit for fit in found if fit is not None]


def _best_of_each(shapes: Sequence[CanalShape], ended: Descents, data: TracedPoints) -> list[ShapeFit]:
    """The lowest descent of each shape that keeps to its limits."""
    ends = _ends(ended, data)
    best: dict[CanalShape, ShapeFit | None] = dict.fromkeys(shapes)
    for i in np.argsort(ended.misfit, kind="stable"):
        if best[shapes[i]] is None:
            best[shapes[i]] = _checked(shapes[i], int(i), ended, ends)
    return [fit for fit in best.values() if fit is not None]


def _curvature_prior(shape: CanalShape, data: TracedPoints) -> FloatArray:
    """(p,) one over the variance that a parameter has before anything is seen; 0 for all but the curvatures."""
    prior = np.zeros(shape.parameter_count)
    prior[shape.curvature_slots] = data.curvature_sd**-2
    return prior


def _ends(ended: Descents, data: TracedPoints) -> FloatArray:
    """(b, 2) arc lengths at the feet of orifice and foramen."""
    guess = np.broadcast_to([0.0, data.s[-1]], (len(ended.parameters), 2))
    return feet_of(ended.lanes, ended.parameters, guess, data.ends[:, 0] + 1j * data.ends[:, 1])


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


def _checked(shape: CanalShape, i: int, ended: Descents, ends: FloatArray) -> ShapeFit | None:
    """Fit that a descent ended in; None when it lies outside the limits or leaves a parameter open."""
    free = ended.lanes.free[i]
    parameters, (start_s, end_s) = ended.parameters[i, free], ends[i].tolist()
    if not np.isfinite(parameters).all() or not _within_limits(shape, parameters, start_s, end_s):
        return None
    information = ended.information[i][np.ix_(free, free)]
    scale = 1.0 / np.sqrt(information.diagonal() + 1e-300)
    try:
        relative = np.linalg.inv(information * scale[:, None] * scale)
    except np.linalg.LinAlgError:
        return None
    # A single point in an arc does not tell its length from its curvature: the sign of what rounding leaves is chance.
    if (relative.diagonal() < 0.0).any() or relative.diagonal().max() > MOST_OPEN:
        return None
    return ShapeFit(
        shape=shape,
        parameters=parameters,
        inverse_information=relative * scale[:, None] * scale,
        residuals=ended.across[i],
        misfit=float(ended.misfit[i]),
        start_s=start_s,
        end_s=end_s,
    )
