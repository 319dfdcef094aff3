"""Several canals of unlike shapes side by side: their points, and how each distance across changes with each parameter.

A fit of few points spends its time in starting array operations, not in arithmetic. So all shapes and all their starts are
walked at once: every shape is written as a chain of k pieces whose missing parameters are held at zero.

Symbols
-------
``k``, ``P``
    Pieces of the longest shape; its parameters: offset, heading, k - 1 lengths, k curvatures.
``z``
    A place x + i y; a direction is exp(i psi), and a quarter turn is a factor i.

Derivatives, for a point at arc length s on piece q, with its foot C, tangent t, normal n = i t and its distances
(across, along) from C. A parameter that moves C by dC and turns the chain there by dpsi changes the distance across by
-dC . n - along dpsi. Piece j begins at N_j with direction psi_j.

- offset: dC = n_0, dpsi = 0; heading: dC = i C, dpsi = 1.
- length of piece j < q: dC = t_(j+1) + kappa_j i (C - N_(j+1)) - t, dpsi = kappa_j - kappa_q.
- curvature of piece j < q of length l: dC = D_j(l) + l i (C - N_(j+1)), dpsi = l; on the piece itself D_j(a) and a, with
  D_j(a) = integral from 0 to a of u n(psi_j + kappa_j u) du.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curvometer.canal_model.shapes import CanalShape

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
BoolArray = NDArray[np.bool_]

TINY = 1e-200
MOST_ROUNDS, CLOSE = 6, 1e-8
"""Rounds in which a foot is sought, and the share of the canal at which it is found."""


class Bundle(NamedTuple):
    """b shapes side by side.

    Attributes
    ----------
    pieces
        k, pieces of the longest one.
    free
        (b, P) the parameters that a shape has; in this order they are those of `CanalShape`.
    beyond
        (b, k) the pieces that a shape does not have.
    """

    pieces: int
    free: BoolArray
    beyond: BoolArray

    @property
    def lengths(self) -> slice:
        """Where the lengths stand among the P parameters."""
        return slice(2, self.pieces + 1)

    @property
    def curvatures(self) -> slice:
        """Where the curvatures stand among the P parameters."""
        return slice(self.pieces + 1, None)

    def only(self, chosen: BoolArray) -> Bundle:
        """Leave out the others."""
        return Bundle(pieces=self.pieces, free=self.free[chosen], beyond=self.beyond[chosen])


@lru_cache(maxsize=32)
def bundle(shapes: tuple[CanalShape, ...]) -> Bundle:
    """Lay shapes side by side."""
    k = max(len(shape.pieces) for shape in shapes)
    free, beyond = np.zeros((len(shapes), 2 * k + 1), dtype=bool), np.zeros((len(shapes), k), dtype=bool)
    free[:, :2] = True
    for i, shape in enumerate(shapes):
        count = len(shape.pieces)
        free[i, 2 : count + 1] = True
        free[i, [k + 1 + arc for arc in shape.arcs]] = True
        beyond[i, count:] = True
    return Bundle(pieces=k, free=free, beyond=beyond)


class _Joints(NamedTuple):
    """Where the k pieces of b chains begin: arc length, place, direction; their curvature; (b, k) each.

    `moved` is D of every whole piece but the last, (b, k - 1).
    """

    s: FloatArray
    place: ComplexArray
    direction: ComplexArray
    kappa: FloatArray
    moved: ComplexArray


class _Foot(NamedTuple):
    """The feet of n points on b chains; (b, n) each."""

    piece: NDArray[np.intp]
    inside: FloatArray
    """Arc length from the beginning of the piece."""
    place: ComplexArray
    tangent: ComplexArray
    kappa: FloatArray
    turn: _HalfTurn


class _HalfTurn(NamedTuple):
    """Half the turn x along an arc: sine, cosine, sin(x) / x and its derivative."""

    sine: FloatArray
    cosine: FloatArray
    sinc: FloatArray
    slope: FloatArray


class Walk(NamedTuple):
    """n points against b chains.

    Attributes
    ----------
    across, along
        (b, n) distances of the points from the chain at their feet.
    slope
        (b, P, n) change of the distance across with each parameter, 0 for those that a shape does not have.
    """

    across: FloatArray
    along: FloatArray
    slope: FloatArray


def walk(lanes: Bundle, parameters: FloatArray, feet: FloatArray, points: ComplexArray) -> Walk:
    """Distances of n points from b chains, and their derivatives.

    Parameters
    ----------
    lanes
        The shapes.
    parameters
        (b, P).
    feet
        (b, n) arc lengths.
    points
        (n,) places.
    """
    joints = _joints(lanes, parameters)
    foot = _foot(joints, feet)
    back = foot.tangent.conj()
    away = (points - foot.place) * back
    along = away.real
    turn, inside = foot.turn, foot.inside
    basis = np.empty((*feet.shape, 2), dtype=complex)
    basis[..., 0] = foot.tangent
    basis[..., 1].real = (points * back).real
    basis[..., 1].imag = along * foot.kappa
    slope = np.matmul(_factors(lanes, parameters, joints), basis.view(float).transpose(0, 2, 1))
    past = foot.piece[:, None, :] > np.arange(lanes.pieces)[:, None]
    slope[:, lanes.lengths] *= past[:, :-1]
    slope[:, lanes.curvatures] *= past
    # D_j(a) . n on the piece itself, from d/dkappa of a sin(x) / x exp(i (psi_j + x)) with x = kappa a / 2.
    bent = 0.5 * inside * (turn.sinc * turn.cosine - turn.slope * turn.sine)
    row, column = np.arange(len(feet))[:, None], np.arange(feet.shape[1])
    slope[row, foot.piece + (lanes.pieces + 1), column] = -inside * (bent + along)
    slope *= lanes.free[:, :, None]
    return Walk(away.imag, along, slope)


def feet_of(lanes: Bundle, parameters: FloatArray, guess: FloatArray, points: ComplexArray) -> FloatArray:
    """(b, n) arc lengths at the feet of n points on b chains, from a guess on."""
    joints, feet = _joints(lanes, parameters), guess
    for _ in range(MOST_ROUNDS):
        foot = _foot(joints, feet)
        step = ((points - foot.place) * foot.tangent.conj()).real
        feet = feet + step
        if not (np.abs(step) > CLOSE * np.abs(feet).max()).any():
            break
    return feet


def _joints(lanes: Bundle, parameters: FloatArray) -> _Joints:
    length, kappa = parameters[:, lanes.lengths], parameters[:, lanes.curvatures]
    psi, s = np.empty(kappa.shape), np.zeros(kappa.shape)
    psi[:, 0], psi[:, 1:] = parameters[:, 1], length * kappa[:, :-1]
    half = 0.5 * psi[:, 1:]
    direction = np.exp(1j * psi.cumsum(axis=1))
    turn = _half_turn(half)
    middle = direction[:, :-1] * (turn.cosine + 1j * turn.sine)
    place = np.empty_like(direction)
    place[:, 0], place[:, 1:] = parameters[:, 0] * 1j * direction[:, 0], length * turn.sinc * middle
    s[:, 1:] = length.cumsum(axis=1)
    s[lanes.beyond] = np.inf
    moved = 0.5 * length * length * (turn.slope + 1j * turn.sinc) * middle
    return _Joints(s, place.cumsum(axis=1), direction, kappa, moved)


def _foot(joints: _Joints, feet: FloatArray) -> _Foot:
    # A joint that a step has moved before its neighbour still counts as one.
    piece = (feet[:, None, :] >= joints.s[:, 1:, None]).sum(axis=1)
    flat = piece + np.arange(0, joints.s.size, joints.s.shape[1])[:, None]
    inside, kappa = feet - joints.s.take(flat), joints.kappa.take(flat)
    turn = _half_turn(0.5 * kappa * inside)
    unit = turn.cosine + 1j * turn.sine
    middle = joints.direction.take(flat) * unit
    place = joints.place.take(flat) + inside * turn.sinc * middle
    return _Foot(piece, inside, place, middle * unit, kappa, turn)


def _factors(lanes: Bundle, parameters: FloatArray, joints: _Joints) -> FloatArray:
    """(b, P, 4) what multiplies cos psi, sin psi, the point's own place along the tangent, and along kappa_q."""
    length, kappa, k = parameters[:, lanes.lengths], joints.kappa[:, :-1], lanes.pieces
    next_place = joints.place[:, 1:]
    factor = np.zeros((len(parameters), 2 * k + 1, 2), dtype=complex)
    factor[:, 0, 0] = -joints.direction[:, 0]
    factor[:, 1, 1] = -1.0
    factor[:, lanes.lengths, 0] = 1j * joints.direction[:, 1:] + kappa * next_place
    factor[:, lanes.lengths, 1] = 1j - kappa
    factor[:, k + 1 : -1, 0] = 1j * joints.moved + length * next_place
    factor[:, k + 1 : -1, 1] = -length
    return factor.view(float)


def _half_turn(half: FloatArray) -> _HalfTurn:
    # No turn at all becomes too little to tell, so that nothing is divided by zero.
    half = half + TINY
    sine, cosine = np.sin(half), np.cos(half)
    sinc = sine / half
    return _HalfTurn(sine, cosine, sinc, (cosine - sinc) / half)
