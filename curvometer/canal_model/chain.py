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

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


class ArcChains(NamedTuple):
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
        nodes, (psi_nodes, points) = self.nodes_s, self._nodes()
        piece = np.zeros(s.shape, dtype=np.intp)
        for j in range(1, nodes.shape[1]):
            piece += s >= nodes[:, j : j + 1]
        # One flat index serves all look-ups: this is where a fit spends its time.
        piece += np.arange(len(s))[:, None] * nodes.shape[1]
        along = s - nodes.ravel()[piece]
        half_turn = 0.5 * self.kappas.ravel()[piece] * along
        psi = psi_nodes.ravel()[piece] + half_turn
        along *= _sinc(half_turn)
        where = points.reshape(-1, 2)[piece]
        where[..., 0] += along * np.cos(psi)
        where[..., 1] += along * np.sin(psi)
        psi += half_turn
        return where, psi

    def _nodes(self) -> tuple[FloatArray, FloatArray]:
        """Direction angle (m, k) and position (m, k, 2) at the beginning of each piece."""
        count, pieces = self.lengths.shape
        psi, points = np.empty((count, pieces)), np.empty((count, pieces, 2))
        psi[:, 0], points[:, 0] = self.heading, self.origin
        for j in range(1, pieces):
            length, half_turn = self.lengths[:, j - 1], 0.5 * self.lengths[:, j - 1] * self.kappas[:, j - 1]
            middle, chord = psi[:, j - 1] + half_turn, length * _sinc(half_turn)
            points[:, j, 0] = points[:, j - 1, 0] + chord * np.cos(middle)
            points[:, j, 1] = points[:, j - 1, 1] + chord * np.sin(middle)
            psi[:, j] = middle + half_turn
        return psi, points


def _sinc(x: FloatArray) -> FloatArray:
    """sin(x) / x, 1 at 0."""
    return np.divide(np.sin(x), x, out=np.ones_like(x), where=x != 0.0)
