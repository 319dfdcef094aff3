"""A chain of straight pieces and circular arcs, end to end with common tangents, evaluated for many chains at once.

Symbols
-------
``s``
    Arc length from the beginning of the chain; negative before it, where the first piece goes on.
``kappa``
    Curvature of a piece (1 / length), positive when the direction angle grows.
``psi``
    Direction angle: the tangent is (cos psi, sin psi).

Shapes: a batch of m chains of k pieces has ``lengths`` and ``kappas`` of shape (m, k); the last piece goes on for ever.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class ArcChains:
    """m chains of k pieces.

    Attributes
    ----------
    origin
        (m, 2) where s = 0.
    heading
        (m,) direction angle at s = 0, radians.
    lengths
        (m, k) piece lengths; the last one is not used.
    kappas
        (m, k) signed curvatures, 0 for a straight piece.
    """

    origin: FloatArray
    heading: FloatArray
    lengths: FloatArray
    kappas: FloatArray

    @property
    def nodes_s(self) -> FloatArray:
        """(m, k) arc length at the beginning of each piece."""
        ends = np.cumsum(self.lengths[:, :-1], axis=1)
        return np.concatenate([np.zeros((len(ends), 1)), ends], axis=1)

    def at(self, s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Points (m, n, 2) and direction angles (m, n) at arc lengths s of shape (m, n)."""
        nodes = self.nodes_s
        psi_nodes, points = self._nodes()
        piece = np.zeros(s.shape, dtype=np.intp)
        for j in range(1, nodes.shape[1]):
            piece += s >= nodes[:, j : j + 1]
        rows = np.arange(len(s))[:, None]
        along = s - nodes[rows, piece]
        kappa = self.kappas[rows, piece]
        turn = kappa * along
        middle = psi_nodes[rows, piece] + 0.5 * turn
        chord = along * _sinc(0.5 * turn)
        start = points[rows, piece]
        where = np.stack(
            [start[..., 0] + chord * np.cos(middle), start[..., 1] + chord * np.sin(middle)], axis=-1
        )
        return where, psi_nodes[rows, piece] + turn

    def _nodes(self) -> tuple[FloatArray, FloatArray]:
        """Direction angle (m, k) and position (m, k, 2) at the beginning of each piece."""
        turns = self.lengths[:, :-1] * self.kappas[:, :-1]
        first = self.heading[:, None]
        psi = np.concatenate([first, first + np.cumsum(turns, axis=1)], axis=1)
        chord = self.lengths[:, :-1] * _sinc(0.5 * turns)
        middle = psi[:, :-1] + 0.5 * turns
        steps = np.stack([chord * np.cos(middle), chord * np.sin(middle)], axis=-1)
        origin = self.origin[:, None, :]
        return psi, np.concatenate([origin, origin + np.cumsum(steps, axis=1)], axis=1)


def _sinc(x: FloatArray) -> FloatArray:
    """sin(x) / x, 1 at 0."""
    return np.divide(np.sin(x), x, out=np.ones_like(x), where=x != 0.0)
