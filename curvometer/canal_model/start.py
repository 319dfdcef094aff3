"""Where a fit begins: the best break points on a coarse grid, everything else fitted linearly.

For given break points the direction angle along a chain is linear in its first direction and its curvatures. Summed up along
the canal it is a displacement across, whose errors are those of the points (the angle itself would be ruled by its
noise at the ends). So a whole grid of break points is solved at once.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curvometer.canal_model.data import TracedPoints
from curvometer.canal_model.shapes import CanalShape

FloatArray = NDArray[np.float64]

KNOTS = 40
GRID = {1: 1, 2: 15, 3: 15, 4: 11, 5: 9}
"""Grid cells per number of pieces."""
RIDGE = 1e-10
"""Keeps directions that the points leave open from growing."""


@lru_cache(maxsize=16)
def _borders(pieces: int) -> NDArray[np.intp]:
    """(m, pieces + 1) ordered borders of the pieces as numbers of grid points, both ends included."""
    cells = GRID[pieces]
    return np.array([(0, *inner, cells) for inner in combinations(range(1, cells), pieces - 1)])


@lru_cache(maxsize=16)
def _mixed(shape: CanalShape) -> FloatArray:
    """(m, p, cells + 3) how offset, direction and each arc's curvature are made of the columns of `_columns`.

    What an arc has turned is what a bend from its start on has turned less what one from its end on has.
    """
    borders, rows = _borders(len(shape.pieces)), 2 + len(shape.arcs)
    mixed = np.zeros((len(borders), rows, GRID[len(shape.pieces)] + 3))
    mixed[:, 0, 0] = mixed[:, 1, 1] = 1.0
    for i, arc in enumerate(shape.arcs):
        mixed[np.arange(len(borders)), 2 + i, 2 + borders[:, arc]] = 1.0
        mixed[np.arange(len(borders)), 2 + i, 2 + borders[:, arc + 1]] = -1.0
    return mixed


class Outline(NamedTuple):
    """A canal as the starts see it, the same for every shape.

    Attributes
    ----------
    knots
        (n,) arc lengths at even distances.
    target
        (n,) displacement across at the knots, times `root`.
    root
        (n,) square root of their weights, at most 1.
    first_angle
        The direction from which angles are counted, radians.
    """

    knots: FloatArray
    target: FloatArray
    root: FloatArray
    first_angle: float


def outline_of(data: TracedPoints) -> Outline:
    """Sum up a canal's direction along it."""
    knots = np.linspace(0.0, float(data.s[-1]), min(KNOTS, len(data.s)))
    root = np.ones(len(knots)) if data.variance is None else np.interp(knots, data.s, data.variance**-0.5)
    root = root / root.max()
    return Outline(
        knots=knots, target=_displacement(knots, data) * root, root=root, first_angle=_first_angle(data)
    )


def starts(shape: CanalShape, outline: Outline, *, most: int = 2) -> FloatArray:
    """Up to `most` parameter vectors to begin a fit from, best first; shape (k, parameter_count)."""
    knots, target = outline.knots, outline.target
    length = float(knots[-1])
    cells, mixed = GRID[len(shape.pieces)], _mixed(shape)
    edges = _borders(len(shape.pieces)) / cells
    columns = _columns(knots / length, cells) * outline.root
    # Sums over the knots are the same for every choice of borders.
    half = np.matmul(mixed.reshape(-1, cells + 3), columns @ columns.T).reshape(mixed.shape)
    normal = np.matmul(half, mixed.transpose(0, 2, 1)) + RIDGE * np.eye(mixed.shape[1])
    right = np.matmul(mixed, columns @ target)
    solved = np.linalg.solve(normal, right[..., None])[..., 0]
    misfit = target @ target - (solved * (right + RIDGE * solved)).sum(axis=1)
    turns = solved[:, 2:] / length**2
    if len(shape.arcs) == 2:
        misfit = np.where(turns[:, 0] * turns[:, 1] < 0.0, misfit, np.inf)
    order = _apart(misfit, edges, 1 if shape.pieces in ("s", "a") else most)
    heading = solved[order, 1:2] / length + outline.first_angle
    return np.hstack(
        [np.zeros((len(order), 1)), heading, np.diff(edges[order], axis=1)[:, :-1] * length, turns[order]]
    )


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


def _columns(knots: FloatArray, cells: int) -> FloatArray:
    """(cells + 3, n) displacement at the knots by an offset, a direction, and a bend of curvature 1 from each grid point on."""
    beyond = np.maximum(knots - np.linspace(0.0, 1.0, cells + 1)[:, None], 0.0)
    return np.vstack([np.ones_like(knots), knots, 0.5 * beyond**2])


def _apart(misfit: FloatArray, edges: FloatArray, most: int) -> NDArray[np.intp]:
    """The best grid points, each at least two cells away from the better ones."""
    chosen: list[int] = []
    for i in np.argsort(misfit)[: 40 * most]:
        if not np.isfinite(misfit[i]) or len(chosen) == most:
            break
        if all(np.abs(edges[i] - edges[j]).max() > 0.12 for j in chosen):
            chosen.append(int(i))
    return np.array(chosen, dtype=np.intp)
