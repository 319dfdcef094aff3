"""Where a fit begins: the best break points on a coarse grid, everything else fitted linearly.

For given break points the direction angle along a chain is linear in its first direction and its curvatures. Summed up along
the canal it is a displacement across, whose errors are those of the points (the angle itself would be ruled by its
noise at the ends). So a whole grid of break points is solved at once.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from curvometer.canal_model.data import TracedPoints
from curvometer.canal_model.shapes import CanalShape

FloatArray = NDArray[np.float64]

KNOTS = 40
GRID = {1: 1, 2: 15, 3: 15, 4: 11, 5: 9}
"""Grid cells per number of pieces."""


@lru_cache(maxsize=16)
def _edges(pieces: int) -> FloatArray:
    """(m, pieces + 1) ordered borders of the pieces as shares of the length, 0 and 1 included."""
    cells = GRID[pieces]
    inner = [(0.0, *(i / cells for i in chosen), 1.0) for chosen in combinations(range(1, cells), pieces - 1)]
    return np.array(inner)


def starts(shape: CanalShape, data: TracedPoints, *, most: int = 2) -> FloatArray:
    """Up to `most` parameter vectors to begin a fit from, best first; shape (k, parameter_count)."""
    length = float(data.s[-1])
    knots = np.linspace(0.0, length, min(KNOTS, len(data.s)))
    target = _displacement(knots, data)
    edges = _edges(len(shape.pieces)) * length
    design = np.stack(
        [np.ones((len(edges), len(knots))), np.broadcast_to(knots / length, (len(edges), len(knots)))]
        + [_summed_turn(knots, edges[:, arc], edges[:, arc + 1]) / length**2 for arc in shape.arcs],
        axis=2,
    )
    root = np.ones(len(knots)) if data.variance is None else np.interp(knots, data.s, data.variance**-0.5)
    design, target = design * (root / root.max())[:, None], target * root / root.max()
    normal = np.einsum("mnp,mnq->mpq", design, design) + 1e-10 * np.eye(design.shape[2])
    solved = np.linalg.solve(normal, np.einsum("mnp,n->mp", design, target)[..., None])[..., 0]
    misfit = ((target - np.einsum("mnp,mp->mn", design, solved)) ** 2).sum(axis=1)
    turns = solved[:, 2:] / length**2
    if len(shape.arcs) == 2:
        misfit = np.where(turns[:, 0] * turns[:, 1] < 0.0, misfit, np.inf)
    order = _apart(misfit, edges / length, 1 if shape.pieces in ("s", "a") else most)
    heading = solved[order, 1:2] / length + _first_angle(data)
    return np.hstack([np.zeros((len(order), 1)), heading, np.diff(edges, axis=1)[order, :-1], turns[order]])


def _displacement(knots: FloatArray, data: TracedPoints) -> FloatArray:
    """Direction angle against the first one, summed up along the canal."""
    line = np.column_stack([np.interp(knots, data.s, data.points[:, k]) for k in (0, 1)])
    steps = np.diff(line, axis=0)
    psi = np.unwrap(np.concatenate([[_first_angle(data)], np.arctan2(steps[:, 1], steps[:, 0])]))[1:]
    return np.concatenate([[0.0], np.cumsum((psi - _first_angle(data)) * np.diff(knots))])


def _first_angle(data: TracedPoints) -> float:
    """Direction of the first quarter, against which angles are counted."""
    chord = data.points[max(1, len(data.points) // 4)]
    return float(np.arctan2(chord[1], chord[0]))


def _summed_turn(knots: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """(m, n) integral over s of how far an arc of curvature 1 from `start` to `end` has turned at s."""
    inside = np.clip(knots[None, :] - start[:, None], 0.0, (end - start)[:, None])
    beyond = np.maximum(knots[None, :] - end[:, None], 0.0)
    return np.asarray(0.5 * inside**2 + beyond * (end - start)[:, None])


def _apart(misfit: FloatArray, edges: FloatArray, most: int) -> NDArray[np.intp]:
    """The best grid points, each at least two cells away from the better ones."""
    chosen: list[int] = []
    for i in np.argsort(misfit)[: 40 * most]:
        if not np.isfinite(misfit[i]) or len(chosen) == most:
            break
        if all(np.abs(edges[i] - edges[j]).max() > 0.12 for j in chosen):
            chosen.append(int(i))
    return np.array(chosen, dtype=np.intp)
