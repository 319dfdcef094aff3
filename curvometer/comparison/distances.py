"""How far two lines lie apart: one way, both ways, and walked together (Fréchet)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from curvometer.comparison.polylines import Curve
from curvometer.geometry import FloatArray, distance


@dataclass(frozen=True, kw_only=True)
class OneWayDistances:
    """Distances of all places of one line from the nearest place of the other.

    Attributes
    ----------
    mean_mm
        Mean over the length of the first line.
    percentile95_mm
        95 of 100 parts of its length lie no farther away.
    largest_mm
        The largest one: the one-way Hausdorff distance.
    """

    mean_mm: float
    percentile95_mm: float
    largest_mm: float


class Frechet(NamedTuple):
    """The Fréchet distance between proven limits, mm."""

    lower: float
    upper: float


def one_way(gaps: FloatArray) -> OneWayDistances:
    """Sum up the distances at stations of equal spacing; the two ends stand for half a step."""
    mean = (gaps.sum() - 0.5 * (gaps[0] + gaps[-1])) / (len(gaps) - 1)
    # The 95th percentile by numpy's own rule, without the cost of its general case.
    rank = 0.95 * (len(gaps) - 1)
    below = int(rank)
    above = min(below + 1, len(gaps) - 1)
    ordered = np.partition(gaps, (below, above))
    share = rank - below
    percentile = (1.0 - share) * ordered[below] + share * ordered[above]
    return OneWayDistances(
        mean_mm=float(mean), percentile95_mm=float(percentile), largest_mm=float(gaps.max())
    )


def frechet_distance(first: Curve, second: Curve, nearest_s: FloatArray, hausdorff_mm: float) -> Frechet:
    """Fréchet distance of two lines: the shortest leash of two who walk them without turning back.

    Parameters
    ----------
    first, second
        The lines, run in the same direction.
    nearest_s
        Distance along the second of the place nearest to each station of the first.
    hausdorff_mm
        A proven lower limit: the Hausdorff distance at the stations.

    Returns
    -------
    Frechet
        Limits no farther apart than the step of the stations.

    Notes
    -----
    Below: no leash is shorter than the Hausdorff distance or than either pair of ends. Above: any walk is long enough;
    the one that keeps to the nearest place mostly meets the lower limit, and then both are exact. Where it does not, the
    discrete Fréchet distance decides (`discrete_frechet`). Derived in docs/comparison.md.
    """
    ends = distance(first.at[[0, -1]], second.at[[0, -1]])
    lower = max(hausdorff_mm, float(ends.max()))
    upper = _leash_of_walk(first, second, nearest_s)
    longest = max(first.step, second.step)
    if upper - lower <= longest:
        return Frechet(lower, max(upper, lower))
    discrete = discrete_frechet(_with_corners(first), _with_corners(second))
    lower = max(lower, discrete - longest)
    return Frechet(lower, max(min(upper, discrete), lower))


def _leash_of_walk(first: Curve, second: Curve, nearest_s: FloatArray) -> float:
    """Leash of the walk that keeps near the nearest place without ever going back.

    Both walk in straight lines between the stations and corners of either, so the leash is longest at one of these. What
    the second line has before the first partner and after the last one, it walks while the other waits.
    """
    forward = np.maximum.accumulate(nearest_s)
    backward = np.minimum.accumulate(nearest_s[::-1])[::-1]
    partner = 0.5 * (forward + backward)
    at_corners = np.interp(first.along, first.s, partner)
    when_second_turns = np.interp(second.along, partner, first.s)
    walked = first.place(np.concatenate([first.s, first.along, when_second_turns]))
    other = second.place(np.concatenate([partner, at_corners, second.along]))
    return float(distance(walked, other).max())


def _with_corners(curve: Curve) -> FloatArray:
    """Stations and corners in one chain, which is the line itself in pieces no longer than a step."""
    return curve.place(np.union1d(curve.s, curve.along))


def discrete_frechet(first: FloatArray, second: FloatArray) -> float:
    """Discrete Fréchet distance of two chains of points, (n, 2) and (m, 2).

    The lines' own distance is at most this, and at least this less the longest piece of either chain
    (Eiter and Mannila 1994). Memory grows with n, time with n times m.

    References
    ----------
    `curvometer.comparison.sources.EITER_MANNILA_1994`, recurrence.
    """
    n, m = len(first), len(second)
    before, last = np.full(n + 1, np.inf), np.full(n + 1, np.inf)
    last[1] = float(distance(first[0], second[0]))
    for diagonal in range(1, n + m - 1):
        i = np.arange(max(0, diagonal - m + 1), min(n - 1, diagonal) + 1)
        gap = distance(first[i], second[diagonal - i])
        # c(i, j) = max(d(i, j), min(c(i - 1, j), c(i - 1, j - 1), c(i, j - 1))); entry i + 1 holds row i.
        reached = np.minimum(np.minimum(last[i], before[i]), last[i + 1])
        before, last = last, np.full(n + 1, np.inf)
        last[i + 1] = np.maximum(gap, reached)
    return float(last[n])
