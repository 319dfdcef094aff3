"""Which shapes a traced canal supports, each with its weight."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curvometer.canal_model.data import TracedPoints, traced_points
from curvometer.canal_model.fit import ShapeFit, fit_shapes, fit_with_hooks, fit_with_tails, turnings
from curvometer.canal_model.percentiles import median
from curvometer.canal_model.shapes import ONE_BEND, STRAIGHT, TWO_BENDS, CanalShape
from curvometer.centreline import Centreline
from curvometer.radiograph import CurvometerError

FloatArray = NDArray[np.float64]

LEAST_WEIGHT = 0.02
"""Shapes less likely than this are left out of the intervals."""
MOST_DETOUR = 1.5
"""Way along the points over the length of the best shape, above which they go to and fro."""
DOUBLES_BACK = "the points double back on themselves: give them in order from orifice to foramen"
LEAST_SPARE = 3.0
"""Points beyond the parameters that it takes for residuals to tell the points' error."""
ASSUMED_ERROR = 0.003
"""Error of a point set by hand as a share of the canal's length, for each spare point that is missing: 0.04 mm in 12 mm
(common practice, no source)."""
TAILS = ((0.03, 0.015), (0.08, 0.025), (0.15, 0.035), (0.25, 0.05))
"""Lengths of tails that are tried, and how far each may stray, as shares of the canal."""
HOOKS = ((0.05, 0.02), (0.09, 0.03), (0.15, 0.04))
"""Lengths of bends at the foramen that are tried where the rest is nearly straight, and how far each may stray, likewise."""
MOST_BENT = 0.35
"""Turning (radians) up to which a canal is nearly straight in this sense: 20 degrees, Schneider's 10 for an arc to the end."""
WAVES, LEAST_TAKEN = 8, 12.0
EXACT = 1e-6
"""Residuals below this share of the length are rounding, not information."""


class CanalModel(NamedTuple):
    """The shapes that fit a canal, best first.

    Attributes
    ----------
    data
        The points that were fitted.
    fits
        The supported shapes, most likely first.
    weights
        Their weights, summing to 1.
    variance_scale
        Factor on the given variances that the residuals ask for, at least 1; the variance itself when none was given.
    misfit_ratio
        Root mean square residual of the best shape over what the trace's own errors explain.
    """

    data: TracedPoints
    fits: tuple[ShapeFit, ...]
    weights: FloatArray
    variance_scale: float
    misfit_ratio: float

    @property
    def best(self) -> ShapeFit:
        """The most likely shape."""
        return self.fits[0]


def fit_canal(centreline: Centreline, spacing_rc: tuple[float, float]) -> CanalModel:
    """Fit straight + arc (+ straight), or opposite arcs, and weigh the shapes by an information criterion.

    Parameters
    ----------
    centreline
        The trace.
    spacing_rc
        Length of one row step and of one column step: millimetres, or (aspect, 1) in column pixels.

    Notes
    -----
    Schwarz 1978 (Ann Stat 6:461; from memory): BIC = misfit + p ln n, with n the number of independent points; the weight of a
    shape is proportional to exp(-BIC / 2).
    """
    data = traced_points(centreline, spacing_rc)
    if len(data.s) < 3:
        raise CurvometerError(
            "two different points are a straight line, which tells of no bend: give points along the whole canal"
        )
    variance = np.ones(len(data.s)) if data.variance is None else data.variance
    fits = _all_fits(data, variance)
    scale, effective = _noise(fits, data)
    fits += _with_tails(fits, data, variance, scale) + _with_hooks(fits, data, variance, scale)
    scores = np.array([f.misfit / scale + f.handicap + _price(f.shape, effective) for f in fits])
    order = np.argsort(scores, kind="stable")
    weights = np.exp(-0.5 * (scores[order] - scores[order[0]]))
    keep = weights >= LEAST_WEIGHT
    best = fits[order[0]]
    if data.s[-1] > MOST_DETOUR * (best.end_s - best.start_s):
        raise CurvometerError(DOUBLES_BACK)
    return CanalModel(
        data=data,
        fits=tuple(fits[i] for i, kept in zip(order, keep, strict=True) if kept),
        weights=weights[keep] / weights[keep].sum(),
        variance_scale=scale,
        misfit_ratio=_misfit_ratio(best, data, effective),
    )


def fit_canal_as(
    centreline: Centreline, spacing_rc: tuple[float, float], shapes: Sequence[CanalShape]
) -> CanalModel | None:
    """Fit the best of some shapes only: for lines of one canal that are to be read alike.

    Which shape wins is the least certain part of a fit of few points. Where several tracings of one canal are compared, a
    shape that wins by chance would count as a difference between them.

    Parameters
    ----------
    centreline, spacing_rc
        As for `fit_canal`.
    shapes
        At least one.

    Returns
    -------
    CanalModel or None
        With one fit; None where none of the shapes is within its limits.
    """
    data = traced_points(centreline, spacing_rc)
    if len(data.s) < max(3, min(shape.parameter_count for shape in shapes)):
        return None
    variance = np.ones(len(data.s)) if data.variance is None else data.variance
    fits = fit_shapes([shape for shape in shapes if shape.parameter_count <= len(data.s)], data, variance)
    if not fits:
        return None
    scale, effective = _noise(fits, data)
    best = min(fits, key=lambda fit: fit.misfit / scale + _price(fit.shape, effective))
    if data.s[-1] > MOST_DETOUR * (best.end_s - best.start_s):
        raise CurvometerError(DOUBLES_BACK)
    ratio = _misfit_ratio(best, data, effective)
    return CanalModel(data=data, fits=(best,), weights=np.ones(1), variance_scale=scale, misfit_ratio=ratio)


def _with_tails(
    fits: list[ShapeFit], data: TracedPoints, variance: FloatArray, scale: float
) -> list[ShapeFit]:
    """Short straight tails that the trace allows where the free fit wants none.

    A bend that seems to run to the foramen may still end a little before it, with a smaller radius. At the limit of no tail
    the covariance knows nothing of that, so tails of a few lengths are fitted and share the weight of their shape.
    """
    found = {fit.shape.pieces: fit for fit in fits}
    bare = next((found[p] for p in ("sa", "a") if p in found and p + "s" not in found), None)
    if bare is None or bare.misfit > min(fit.misfit for fit in fits) + 20.0 * scale or len(data.s) < 8:
        return []
    shape, length = CanalShape(pieces=bare.shape.pieces + "s"), bare.end_s - bare.start_s
    tails = [(tail * length, slack * length) for tail, slack in TAILS]
    held = fit_with_tails(shape, bare, data, variance, tails=tails, scale=scale)
    return _sharing(held, scale)


def _with_hooks(
    fits: list[ShapeFit], data: TracedPoints, variance: FloatArray, scale: float
) -> list[ShapeFit]:
    """Short bends at the foramen that the trace of a nearly straight canal allows.

    The free fit stands at one optimum, often a gentle arc along the whole canal; that the last millimetre bends more is
    another one, which a trace that fades towards the foramen may explain as well.
    """
    straight = next((fit for fit in fits if fit.shape is STRAIGHT), None)
    if straight is None or data.variance is None or len(data.s) < 8 or _bend(fits) > MOST_BENT:
        return []
    length = straight.end_s - straight.start_s
    hooks = [(hook * length, slack * length) for hook, slack in HOOKS]
    held = fit_with_hooks(straight, data, variance, hooks=hooks, scale=scale)
    return _sharing(held, scale)


def _bend(fits: list[ShapeFit]) -> float:
    """Turning of the best fit of at most one bend, radians."""
    best = min((fit for fit in fits if len(fit.shape.arcs) < 2), key=lambda fit: fit.misfit)
    return float(turnings(best.shape, best.parameters[None], best.end_s).sum()) if best.shape.arcs else 0.0


def _sharing(held: list[ShapeFit], scale: float) -> list[ShapeFit]:
    """Let fits of one shape share the weight that the best of them would have alone."""
    if not held:
        return []
    least = min(fit.misfit for fit in held)
    shared = 2.0 * float(np.log(sum(np.exp(-0.5 * (fit.misfit - least) / scale) for fit in held)))
    return [fit._replace(handicap=shared) for fit in held]


def _price(shape: CanalShape, effective: float) -> float:
    per_parameter = 2.0 if len(shape.arcs) < 2 else max(2.0, float(np.log(max(effective, 2.0))))
    return shape.parameter_count * per_parameter


def _all_fits(data: TracedPoints, variance: FloatArray) -> list[ShapeFit]:
    most = len(data.s)
    simple = [STRAIGHT, *(shape for shape in ONE_BEND if shape.parameter_count <= most)]
    fits = fit_shapes(simple, data, variance)
    if not fits:
        raise CurvometerError(DOUBLES_BACK)
    if _something_left(min(fits, key=lambda fit: fit.misfit), data, variance):
        richer = [shape for shape in TWO_BENDS if shape.parameter_count <= most]
        fits += fit_shapes(richer, data, variance)
    return fits


def _something_left(fit: ShapeFit, data: TracedPoints, variance: FloatArray) -> bool:
    """Tell whether the residuals of one bend swing slowly enough for a second bend to explain them.

    A second bend leaves a pattern of a few half waves. Where eight cosines take less off the misfit than the criterion asks for
    two more parameters, no second bend can win, and the six costly fits are spared.
    """
    weight = 1.0 / variance
    waves = np.cos(np.pi * np.arange(WAVES)[:, None] * data.s / data.s[-1])
    scaled = waves * weight
    amplitude = np.linalg.solve(scaled @ waves.T + 1e-12 * np.eye(WAVES), scaled @ fit.residuals)
    rest = fit.residuals - amplitude @ waves
    taken = fit.misfit - float((rest**2 * weight).sum())
    if data.variance is None:
        taken *= len(data.s) / (float(rest @ rest) + len(data.s) * (EXACT * float(data.s[-1])) ** 2)
    return taken > LEAST_TAKEN


def _noise(fits: list[ShapeFit], data: TracedPoints) -> tuple[float, float]:
    """Factor on the variances, and number of independent points."""
    floor = (EXACT * float(data.s[-1])) ** 2
    rich = min(fits, key=lambda fit: fit.misfit)
    if data.effective is not None:
        free = max(data.effective - rich.shape.parameter_count, 1.0)
        return max(1.0, rich.misfit / free), data.effective
    effective = len(data.s) / _correlation(rich.residuals)
    spare = max(effective - rich.shape.parameter_count, 0.0)
    missing = max(LEAST_SPARE - spare, 0.0)
    squares = rich.misfit + missing * (ASSUMED_ERROR * float(data.s[-1])) ** 2
    # Unit variances were used, so the misfit is a plain sum of squares; correlated points count for fewer.
    return max(squares / (spare + missing), floor * len(data.s) / effective), effective


def _correlation(residuals: FloatArray) -> float:
    """Area under the residuals' autocorrelation, in points, at least 1."""
    power = float(residuals @ residuals) + 1e-300
    area = 1.0
    for lag in range(1, len(residuals) // 3):
        rho = float(residuals[lag:] @ residuals[:-lag]) / power
        if rho <= 0.05:
            break
        area += 2.0 * rho
    return area


def _misfit_ratio(best: ShapeFit, data: TracedPoints, effective: float) -> float:
    if data.variance is not None:
        return float(np.sqrt(best.misfit / max(effective - best.shape.parameter_count, 1.0)))
    if len(data.s) - best.shape.parameter_count < LEAST_SPARE:
        return 1.0
    # Nobody knows the error: what jumps from point to point is noise, what swings slowly is misfit.
    jumps = np.diff(best.residuals, n=2)
    noise = 1.4826 * median(np.abs(jumps)) / np.sqrt(6.0)
    floor = EXACT * float(data.s[-1])
    return float(np.sqrt(np.mean(best.residuals**2))) / float(max(noise, floor))
