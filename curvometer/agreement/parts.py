"""Which part of two tracings makes their Schneider angles differ: the axis, the start of the curve, or the foramen.

The angle follows from three things that a tracer decides. Exchanging them one by one turns one tracer's angle into the
other's; how much each exchange changes depends on the order, so the mean over all six orders is taken (Shapley's value).
The three parts add up to the whole difference exactly.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from curvometer.agreement.estimate import AgreementError, FloatArray
from curvometer.curvature import schneider_angle

PARTS = ("axis", "curve_start", "foramen")


@dataclass(frozen=True, kw_only=True)
class AngleLandmarks:
    """What Schneider's angle is drawn from; positions of equal scale along both axes (row, col).

    Attributes
    ----------
    axis_rc
        (2,) direction of the coronal axis, towards the foramen.
    curve_start_rc, foramen_rc
        (2,) positions.
    """

    axis_rc: FloatArray
    curve_start_rc: FloatArray
    foramen_rc: FloatArray

    @property
    def angle_deg(self) -> float:
        """Schneider's angle, degrees."""
        return float(schneider_angle(self.axis_rc, self.curve_start_rc, self.foramen_rc))


@dataclass(frozen=True, kw_only=True)
class AngleParts:
    """How much of the disagreement about the angle each part makes.

    Attributes
    ----------
    axis, curve_start, foramen
        Shares of the mean squared difference; they add up to 1. One below 0 makes up for part of another.
    root_mean_square_deg
        Root of the mean squared difference between two tracings, degrees.
    comparisons
        Pairs of tracings that were divided.
    """

    axis: float
    curve_start: float
    foramen: float
    root_mean_square_deg: float
    comparisons: int

    @property
    def shares(self) -> dict[str, float]:
        """The shares by name, the largest first."""
        named = {name: float(getattr(self, name)) for name in PARTS}
        return dict(sorted(named.items(), key=lambda item: -item[1]))


def divide_angle_difference(first: AngleLandmarks, second: AngleLandmarks) -> dict[str, float]:
    """Divide the difference of two tracings' angles, first - second, into its parts.

    Parameters
    ----------
    first, second
        Two tracings of one canal on one image.

    Returns
    -------
    dict of str to float
        Degrees for ``axis``, ``curve_start``, ``foramen``; their sum is the whole difference.

    Raises
    ------
    DegenerateLandmarksError
        When one tracing's start lies on the other's foramen.

    References
    ----------
    `curvometer.bibliography.SHAPLEY_1953`; the derivation is in docs/agreement.md.
    """
    parts = dict.fromkeys(PARTS, 0.0)
    orders = list(itertools.permutations(range(len(PARTS))))
    angles = {
        (axis, start, foramen): _mixed_angle(first, second, (axis, start, foramen))
        for axis, start, foramen in itertools.product((False, True), repeat=3)
    }
    for order in orders:
        taken = [False] * 3  # all of the second; one by one of the first
        for part in order:
            before = angles[(taken[0], taken[1], taken[2])]
            taken[part] = True
            parts[PARTS[part]] += (angles[(taken[0], taken[1], taken[2])] - before) / len(orders)
    return parts


def divide_disagreement(pairs: Sequence[tuple[AngleLandmarks, AngleLandmarks]]) -> AngleParts | None:
    """Divide the disagreement over many pairs of tracings into parts.

    Parameters
    ----------
    pairs
        Each two tracings of one canal on one image.

    Returns
    -------
    AngleParts or None
        None when no two angles differ.

    Raises
    ------
    AgreementError
        When there are no pairs.
    """
    if not pairs:
        raise AgreementError("no two tracings of one canal: nothing to divide; give two raters' records")
    rows = np.array([list(divide_angle_difference(*pair).values()) for pair in pairs])
    whole = rows.sum(axis=1)
    square = float((whole**2).mean())
    if square < 1e-18:
        return None
    axis, start, foramen = (float(each) for each in (rows * whole[:, None]).mean(axis=0) / square)
    return AngleParts(
        axis=axis,
        curve_start=start,
        foramen=foramen,
        root_mean_square_deg=square**0.5,
        comparisons=len(pairs),
    )


def _mixed_angle(first: AngleLandmarks, second: AngleLandmarks, from_first: tuple[bool, bool, bool]) -> float:
    axis, start, foramen = ((first if chosen else second) for chosen in from_first)
    return float(schneider_angle(axis.axis_rc, start.curve_start_rc, foramen.foramen_rc))
