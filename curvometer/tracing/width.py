"""How wide the line is along a strip: cross-sections averaged over millimetres, fitted with profiles of known width.

Averaged over a few millimetres a cross-section is nearly free of grain, and what remains is a line on the dome of the
root. For each width of the bank the profile of a round line and a parabola are fitted to the same stretch of the
cross-section; the width that leaves least is the local width, and a straight taper holds the places together.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer.tracing.profiles import WIDTHS_MM, profile

FloatArray = NDArray[np.floating[Any]]

WINDOW_MM = 0.65
"""Half width of the fitted stretch: the widest canals fit into it, the walls of most roots lie outside."""
AVERAGED_MM = 1.2
"""Standard deviation of the averaging along the line."""
PLACES = 7
WIDENING_PRICE = 0.15
"""Price of widening by one width of the bank, in sums of log residuals over the places."""
SHIFTS_MM = (-0.16, -0.12, -0.08, -0.04, 0.0, 0.04, 0.08, 0.12, 0.16)
"""Where the line may lie in a cross-section while the path is still rough."""


@lru_cache(maxsize=16)
def _fits(step: float, blur: float, shifts: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
    """Unit vectors (shifts, widths, m) of line profiles cleared of any parabola, and (3, m) of the parabolas."""
    count = int(WINDOW_MM / step)
    t = np.arange(-count, count + 1) * step
    ground, _ = np.linalg.qr(np.vander(t / WINDOW_MM, 3))
    lines = np.array([[profile(t - shift, width, blur) for width in WIDTHS_MM] for shift in shifts])
    lines = lines - (lines @ ground) @ ground.T
    return lines / np.sqrt((lines**2).sum(axis=2, keepdims=True)), ground.T


def width_index(
    grey: NDArray[np.float32],
    offsets_mm: FloatArray,
    *,
    station_mm: float,
    blur_mm: float,
    dark: bool,
    centred: bool,
) -> FloatArray:
    """(stations,) index into WIDTHS_MM, as floats, of the straight taper that leaves least of the cross-sections.

    Parameters
    ----------
    grey
        (stations, offsets) straightened strip.
    offsets_mm
        (offsets,) distance across.
    station_mm
        Distance between stations.
    blur_mm
        Standard deviation of the picture's blur.
    dark
        True for a dark line.
    centred
        True once the strip lies on the line; before, the line is looked for to either side.
    """
    step = float(offsets_mm[1] - offsets_mm[0])
    lines, ground = _fits(step, blur_mm, (0.0,) if centred else SHIFTS_MM)
    half, reach = len(offsets_mm) // 2, lines.shape[2] // 2
    stations = np.arange(len(grey))
    centres = np.linspace(0.0, len(grey) - 1.0, PLACES)
    weights = np.exp(-0.5 * ((stations - centres[:, None]) * station_mm / AVERAGED_MM) ** 2)
    weights /= weights.sum(axis=1, keepdims=True)
    sections = weights @ grey[:, half - reach : half + reach + 1].astype(float)
    rest = (sections**2).sum(axis=1) - ((sections @ ground.T) ** 2).sum(axis=1)
    amplitude = np.einsum("swm,pm->spw", lines, sections) * (-1.0 if dark else 1.0)
    explained = (np.maximum(amplitude, 0.0) ** 2).max(axis=0)
    left = np.maximum(rest[:, None] - explained, 1e-3 * rest[:, None] + 1e-12)
    return _straight_taper(np.log(left), len(grey))


def _straight_taper(cost: FloatArray, stations: int) -> FloatArray:
    """Best straight line through the (places, widths) costs; canals narrow towards the foramen, so widening has a price."""
    places, widths = cost.shape
    first, last = np.meshgrid(
        np.arange(0.0, widths - 0.5, 0.5), np.arange(0.0, widths - 0.5, 0.5), indexing="ij"
    )
    allowed = (last <= first + 4.0) & (last >= first - 4.0)
    first, last = first[allowed], last[allowed]
    index = first[:, None] + (last - first)[:, None] * np.linspace(0.0, 1.0, places)
    low = np.minimum(index.astype(int), widths - 2)
    share, each = index - low, np.arange(places)
    total = ((1.0 - share) * cost[each, low] + share * cost[each, low + 1]).sum(axis=1)
    best = int(np.argmin(total + WIDENING_PRICE * np.maximum(last - first, 0.0)))
    return np.linspace(first[best], last[best], stations)
