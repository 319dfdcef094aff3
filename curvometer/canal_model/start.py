"""Where a fit begins: the best break points on a coarse grid, with the direction angle fitted linearly.

For given break points the direction angle along a chain is linear in its first direction and its curvatures, so a
whole grid of break points is solved at once.
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
def _breaks(pieces: int) -> FloatArray:
    """(m, pieces - 1) ordered break points as shares of the length."""
    cells = GRID[pieces]
    inner = [np.array(c) / cells for c in combinations(range(1, cells), pieces - 1)]
    return np.array(inner).reshape(len(inner), pieces - 1)


def starts(shape: CanalShape, data: TracedPoints, *, most: int = 2) -> FloatArray:
    """Up to `most` parameter vectors to begin a fit from, best first; shape (k, parameter_count)."""
    length = float(data.s[-1])
    knots = np.linspace(0.0, length, min(KNOTS, len(data.s)))
    line = np.column_stack([np.interp(knots, data.s, data.points[:, k]) for k in (0, 1)])
    steps = np.diff(line, axis=0)
    psi = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    middle = 0.5 * (knots[1:] + knots[:-1])
    breaks = _breaks(len(shape.pieces)) * length
    edges = np.hstack([np.zeros((len(breaks), 1)), breaks, np.full((len(breaks), 1), length)])
    basis = [np.ones((len(breaks), len(middle)))]
    for arc in shape.arcs:
        basis.append(np.clip(middle[None, :] - edges[:, arc : arc + 1], 0.0, np.diff(edges, axis=1)[:, arc : arc + 1]))
    design = np.stack(basis, axis=2)
    normal = np.einsum("mnp,mnq->mpq", design, design) + 1e-9 * np.eye(design.shape[2])
    right = np.einsum("mnp,n->mp", design, psi)
    solved = np.linalg.solve(normal, right[..., None])[..., 0]
    misfit = ((psi - np.einsum("mnp,mp->mn", design, solved)) ** 2).sum(axis=1)
    if len(shape.arcs) == 2:
        misfit = np.where(solved[:, 1] * solved[:, 2] < 0.0, misfit, np.inf)
    order = np.argsort(misfit)[: 1 if shape.pieces in ("s", "a") else most]
    order = order[np.isfinite(misfit[order])]
    offset = np.zeros((len(order), 1))
    return np.hstack([offset, solved[order, :1], np.diff(edges, axis=1)[order, :-1], solved[order, 1:]])
