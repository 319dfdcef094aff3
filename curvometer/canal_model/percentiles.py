"""Percentiles of drawn values.

As `numpy.percentile` gives them, to the last digit. That one looks for masked arrays, and the first look loads their module,
which takes as long as measuring a canal.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def percentiles(values: FloatArray, levels: Sequence[float]) -> list[FloatArray]:
    """Percentiles along the first axis, linear between neighbours (Hyndman and Fan 1996, Am Stat 50:361, type 7; from memory).

    Parameters
    ----------
    values
        (n, ...), n at least 1, all finite.
    levels
        0 to 100.

    Returns
    -------
    list of FloatArray
        One (...) for each level.
    """
    ordered = np.sort(values, axis=0)
    return [_between(ordered, (len(ordered) - 1) * level / 100.0) for level in levels]


def median(values: FloatArray) -> float:
    """The middle value."""
    return float(percentiles(values, [50.0])[0])


def _between(ordered: FloatArray, place: float) -> FloatArray:
    below = min(int(place), len(ordered) - 1)
    low, high, share = ordered[below], ordered[min(below + 1, len(ordered) - 1)], place - below
    step = high - low
    # From the nearer neighbour, as numpy does.
    return np.asarray(low + step * share if share < 0.5 else high - step * (1.0 - share))
