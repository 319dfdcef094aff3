"""Damped least squares on the distances across, for several shapes and starts side by side."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curvometer.canal_model.bundle import Bundle, ComplexArray, Walk, bundle, walk
from curvometer.canal_model.data import TracedPoints
from curvometer.canal_model.shapes import CanalShape

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST_STEPS = 30
"""Steps of a shape of up to three pieces; a longer one may take twice as many."""
SMALLEST_GAIN = 1e-4
"""A step that improves the misfit by less than this share is the last one."""
GAIN_WITH_NOISE = 1e-3
"""The same for points whose errors are known: a gain far below one unit of misfit changes nothing that matters."""
RESOLUTION = 1e-8
"""Residuals below this share of the length are rounding."""
LOST = -0.3
"""A piece of a length below this share of the canal does not come back."""


class Pull(NamedTuple):
    """Holds the sum of the lengths, where the last piece begins, near a target."""

    target: float = 0.0
    weight: float = 0.0


class Descents(NamedTuple):
    """Where b descents ended.

    Attributes
    ----------
    lanes
        Their shapes.
    parameters
        (b, P), not numbers where a descent left all sense.
    across
        (b, n) distances across.
    information
        (b, P, P) J'WJ with what the prior of the curvatures and the pull add.
    misfit
        (b,) sum of squared residuals over their variances, and of the prior.
    """

    lanes: Bundle
    parameters: FloatArray
    across: FloatArray
    information: FloatArray
    misfit: FloatArray


class _Goal(NamedTuple):
    """What every descent brings down: places and weights of n points; of P parameters the prior's weight and the usual size."""

    points: ComplexArray
    weight: FloatArray
    root: FloatArray
    """Square root of the weights."""
    prior: FloatArray
    size: FloatArray
    summed: FloatArray
    """(P,) 1 for the lengths."""
    length: float
    smallest: float
    enough: float


class _State(NamedTuple):
    """Where b descents are; arrays have b rows."""

    which: NDArray[np.intp]
    lanes: Bundle
    now: FloatArray
    feet: FloatArray
    at: Walk
    value: FloatArray
    damping: FloatArray
    pull: FloatArray

    def only(self, chosen: BoolArray) -> _State:
        """Leave out the others."""
        at = Walk(*(array[chosen] for array in self.at))
        arrays = (self.value[chosen], self.damping[chosen], self.pull[chosen])
        lanes = self.lanes.only(chosen)
        return _State(self.which[chosen], lanes, self.now[chosen], self.feet[chosen], at, *arrays)


def descend(
    shapes: Sequence[CanalShape],
    begins: Sequence[FloatArray],
    data: TracedPoints,
    variance: FloatArray,
    pulls: Sequence[Pull] | None = None,
) -> Descents:
    """Bring b fits down to their least misfit.

    Parameters
    ----------
    shapes, begins
        b shapes and the parameters to begin from, as `CanalShape` orders them.
    data, variance
        The points and the variances across the line that they are given.
    pulls
        One for each, or None.

    Notes
    -----
    Every descent goes its own way, as if it were alone, and leaves when it has ended.
    """
    lanes = bundle(tuple(shapes))
    goal = _goal(lanes, data, 1.0 / variance)
    most = np.array([MOST_STEPS if len(shape.pieces) < 4 else 2 * MOST_STEPS for shape in shapes])
    state, ended = _begin(lanes, begins, data, goal, pulls), []
    for taken in range(1, int(most.max()) + 1):
        state, going = _advance(state, goal)
        going &= most[state.which] > taken
        if not going.all():
            ended.append(state.only(~going))
            state = state.only(going)
            if not len(state.which):
                break
    return _ended(lanes, ended, goal)


def _goal(lanes: Bundle, data: TracedPoints, weight: FloatArray) -> _Goal:
    length, count = float(data.s[-1]), lanes.free.shape[1]
    size, prior, summed = np.full(count, length), np.zeros(count), np.zeros(count)
    size[1] = 1.0
    size[lanes.curvatures] = 1.0 / length
    # One over the variance that a curvature has before anything is seen.
    prior[lanes.curvatures] = data.curvature_sd**-2
    summed[lanes.lengths] = 1.0
    return _Goal(
        points=data.points[:, 0] + 1j * data.points[:, 1],
        weight=weight,
        root=np.sqrt(weight),
        prior=prior,
        size=size,
        summed=summed,
        length=length,
        smallest=SMALLEST_GAIN if data.variance is None else GAIN_WITH_NOISE,
        enough=float(weight.max()) * len(weight) * (RESOLUTION * length) ** 2,
    )


def _begin(
    lanes: Bundle,
    begins: Sequence[FloatArray],
    data: TracedPoints,
    goal: _Goal,
    pulls: Sequence[Pull] | None,
) -> _State:
    now = np.zeros(lanes.free.shape)
    now[lanes.free] = np.concatenate(begins)
    pull = np.zeros((len(now), 2)) if pulls is None else np.array(pulls)
    feet = np.broadcast_to(data.s, (len(now), len(data.s)))
    # A first correction brings the feet of the points from their own arc length to the chain.
    feet = feet + walk(lanes, now, feet, goal.points).along
    at = walk(lanes, now, feet, goal.points)
    value = _value(at.across, now, pull, goal)
    return _State(np.arange(len(now)), lanes, now, feet, at, value, np.full(len(now), 1e-3), pull)


def _value(across: FloatArray, now: FloatArray, pull: FloatArray, goal: _Goal) -> FloatArray:
    """(b,) what is brought down: misfit, prior and pull."""
    strayed = now @ goal.summed - pull[:, 0]
    return np.asarray(across**2 @ goal.weight + now**2 @ goal.prior + pull[:, 1] * strayed**2)


def _advance(state: _State, goal: _Goal) -> tuple[_State, BoolArray]:
    """Try one step in every descent; where it led, and which of them go on."""
    trial, feet = state.now + _step(state, goal), state.feet + state.at.along
    at = walk(state.lanes, trial, feet, goal.points)
    value = _value(at.across, trial, state.pull, goal)
    worse = (value > state.value * (1.0 + 1e-12)) & (state.damping < 1e6)
    gain = state.value - value
    finished = ~worse & ((gain <= goal.smallest * value) | (value < goal.enough))
    lost = (trial[:, state.lanes.lengths] < LOST * goal.length).any(axis=1)
    damping = np.where(worse, state.damping * 10.0, np.maximum(state.damping * 0.1, 1e-12))
    if worse.any():
        for old, new in zip(
            (state.now, state.feet, state.value, *state.at), (trial, feet, value, *at), strict=True
        ):
            new[worse] = old[worse]
    trial[lost] = np.nan
    after = _State(state.which, state.lanes, trial, feet, at, value, damping, state.pull)
    return after, ~(finished | lost)


def _step(state: _State, goal: _Goal) -> FloatArray:
    """(b, P) the damped step of Levenberg and Marquardt."""
    size, free, count = goal.size, state.lanes.free, len(goal.size)
    slope = state.at.slope * goal.root
    slope *= size[:, None]
    normal = np.matmul(slope, slope.transpose(0, 2, 1))
    right = np.matmul(slope, (state.at.across * goal.root)[:, :, None])
    diagonal = normal.reshape(len(normal), -1)[:, :: count + 1]
    # What a shape does not have stays as it is: no slope, no prior, no pull.
    if goal.prior.any():
        right[:, :, 0] += goal.prior * state.now * size * free
        diagonal += goal.prior * size**2 * free
    if state.pull.any():
        summed = goal.summed * size * free
        right[:, :, 0] += (state.pull[:, 1] * (state.now @ goal.summed - state.pull[:, 0]))[:, None] * summed
        normal += state.pull[:, 1, None, None] * summed[:, :, None] * summed[:, None, :]
    diagonal += state.damping[:, None] * (diagonal + 1e-12)
    diagonal += ~free
    return np.asarray(np.linalg.solve(normal, right)[:, :, 0] * -size)


def _ended(lanes: Bundle, ended: Sequence[_State], goal: _Goal) -> Descents:
    """All descents that have ended, in the order in which they began."""
    order = np.argsort(np.concatenate([state.which for state in ended]))
    now, across, pull = (
        np.concatenate(rows)[order]
        for rows in zip(*((state.now, state.at.across, state.pull) for state in ended), strict=True)
    )
    slope = np.concatenate([state.at.slope for state in ended])[order]
    information = np.matmul(slope, (slope * goal.weight).transpose(0, 2, 1)) + np.diag(goal.prior)
    information += pull[:, 1, None, None] * np.outer(goal.summed, goal.summed)
    misfit = np.asarray(across**2 @ goal.weight + now**2 @ goal.prior)
    return Descents(lanes, now, across, information, misfit)
