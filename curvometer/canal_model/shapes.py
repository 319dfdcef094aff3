"""The shapes that a canal is compared with, and how their parameters make a chain.

Every shape is a sequence of straight pieces and arcs. The parameters of a shape are: offset of the beginning across the
first direction, direction angle, then, piece by piece, the length of every piece but the last and the curvature of every
arc.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curvometer.canal_model.chain import ArcChains
from curvometer.radiograph import CurvometerError

FloatArray = NDArray[np.float64]


class CanalShape(NamedTuple):
    """One shape: ``pieces`` is a string of ``s`` (straight) and ``a`` (arc), from orifice to foramen."""

    pieces: str

    @property
    def words(self) -> str:
        """The shape in words, as ``straight, arc, straight``."""
        return ", ".join("arc" if piece == "a" else "straight" for piece in self.pieces)

    @property
    def arcs(self) -> tuple[int, ...]:
        """Indices of the arcs among the pieces."""
        return tuple(i for i, piece in enumerate(self.pieces) if piece == "a")

    @property
    def parameter_count(self) -> int:
        """Offset, direction, lengths of all but the last piece, curvature of each arc."""
        return 2 + len(self.pieces) - 1 + len(self.arcs)

    @property
    def length_slots(self) -> slice:
        """Where the lengths stand among the parameters."""
        return slice(2, 2 + len(self.pieces) - 1)

    @property
    def curvature_slots(self) -> slice:
        """Where the curvatures stand among the parameters."""
        return slice(2 + len(self.pieces) - 1, self.parameter_count)

    def chains(self, parameters: FloatArray) -> ArcChains:
        """Chains for parameters of shape (m, parameter_count)."""
        count, pieces = len(parameters), len(self.pieces)
        heading = parameters[:, 1]
        normal = np.stack([-np.sin(heading), np.cos(heading)], axis=-1)
        lengths, kappas = np.zeros((count, pieces)), np.zeros((count, pieces))
        lengths[:, :-1] = parameters[:, self.length_slots]
        kappas[:, list(self.arcs)] = parameters[:, self.curvature_slots]
        return ArcChains(origin=parameters[:, :1] * normal, heading=heading, lengths=lengths, kappas=kappas)


STRAIGHT = CanalShape(pieces="s")
ONE_BEND = tuple(CanalShape(pieces=p) for p in ("a", "sa", "as", "sas"))
TWO_BENDS = tuple(CanalShape(pieces=p) for p in ("aa", "saa", "aas", "saas", "sasa", "sasas"))
"""Opposite arcs, joined directly or by a straight piece."""


def shape_of(words: str) -> CanalShape:
    """The shape that `CanalShape.words` tells, as ``straight, arc``.

    Raises
    ------
    CurvometerError
        When there is no such shape.
    """
    for shape in (STRAIGHT, *ONE_BEND, *TWO_BENDS):
        if shape.words == words:
            return shape
    raise CurvometerError(f"a canal of the shape {words!r} is unknown: give one like 'straight, arc'")


def with_as_many_bends(shape: CanalShape) -> tuple[CanalShape, ...]:
    """Every shape with the same number of arcs."""
    return tuple(s for s in (STRAIGHT, *ONE_BEND, *TWO_BENDS) if len(s.arcs) == len(shape.arcs))
