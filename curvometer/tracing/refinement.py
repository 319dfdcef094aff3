"""From a rough path to the centre of the line: sub-pixel position, local width and local error.

The neighbourhood of the path is straightened into a strip, one row per station along the path. A template of the
line's profile, as wide as the line is there, is moved across every row; where it answers most is the centre. Each
station is thus an observation with its own error, told by what the same template makes of the picture beside the
line. The curve is the mean of all curves of slowly changing curvature, given the observations: a faded part is
carried by its neighbours and gets a larger error instead of a made-up position.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer.tracing.observation import Observed, Strip, shared_stations, strip_along
from curvometer.tracing.pinning import Pins, doubt, pinned
from curvometer.tracing.strips import Crop, SteadyCurve, normals, stations, steady_curve

FloatArray = NDArray[np.floating[Any]]

STATION_MM = 0.1
CHANGE = 0.12
"""How fast the curvature of a canal changes, in 1/mm per sqrt(mm)."""
LOOSE_CHANGE = 0.25
"""The same while the centre is still looked for, so that a sharp hook is followed before it is smoothed."""
ROUGH_SD_MM = 0.12
"""Error of the rough path, as an independent observation at every station."""
STEPS = 2
BEYOND = 4
"""Stations beyond each click that are averaged in but not observed: without them the ends would be averaged one-sidedly."""
WIDEST_ERROR_MM = 0.4
"""Error where nothing is seen: as wide as a canal."""


@dataclass(frozen=True, kw_only=True)
class RefinedLine:
    """A refined line, all lengths in column pixels.

    Attributes
    ----------
    points_sq
        (n, 2) square coordinates (row * aspect, col).
    sd, width
        (n,) standard error across the line, and its width.
    strength
        (n,) depth of the line over the spread of the same template's answers beside it.
    lopsided
        (n,) difference of the two shoulders over the line's depth: large on an edge.
    correlation
        Area under the autocorrelation of the position error along the line.
    observed_sq, observed_sd, observed_correlation
        The same before the last smoothing: where each station saw the centre.
    """

    points_sq: FloatArray
    sd: FloatArray
    width: FloatArray
    strength: FloatArray
    lopsided: FloatArray
    correlation: float
    observed_sq: FloatArray
    observed_sd: FloatArray
    observed_correlation: float


def refine(
    crop: Crop, path_sq: FloatArray, pins: Pins, *, dark: bool, steps: int | None = None
) -> RefinedLine:
    """Refine a rough path on a picture.

    Parameters
    ----------
    crop
        The picture around the path.
    path_sq
        (n, 2) rough path in square coordinates.
    pins
        The clicks and their error.
    dark
        True for a dark line.
    steps
        How often the strip is laid anew along the improved line.
    """
    points = stations(path_sq, STATION_MM / crop.mm)
    line = _steady(points, np.full(len(points), ROUGH_SD_MM**-2), crop)
    line = _steady(_lengthened(line.points), _inner(len(points), ROUGH_SD_MM**-2), crop)
    strip = strip_along(crop, line.points, station_mm=STATION_MM, dark=dark, centred=False)
    seen = strip.search().within(BEYOND)
    doubted = doubt(seen, line.points, pins, mm=crop.mm, station_mm=STATION_MM)
    seen = pinned(seen, line.points, pins, mm=crop.mm, doubted=doubted)
    for _ in range(STEPS if steps is None else steps):
        line = _steady(_moved(line.points, seen, crop), seen.weight, crop, change=LOOSE_CHANGE)
        strip = strip_along(crop, line.points, station_mm=STATION_MM, dark=dark)
        seen = pinned(strip.step().within(BEYOND), line.points, pins, mm=crop.mm, doubted=doubted)
    observed = _moved(line.points, seen, crop)
    line = _steady(observed, seen.weight, crop)
    return _refined(line, strip, seen, crop, observed)


def _lengthened(points: FloatArray) -> FloatArray:
    """BEYOND more stations at each end, straight on."""
    more = np.arange(1, BEYOND + 1)[:, None]
    before = points[0] + (points[0] - points[1]) * more[::-1]
    after = points[-1] + (points[-1] - points[-2]) * more
    return np.vstack([before, points, after])


def _inner(count: int, weight: float) -> FloatArray:
    return np.concatenate(
        [np.full(BEYOND, 1e-3 * weight), np.full(count, weight), np.full(BEYOND, 1e-3 * weight)]
    )


def _moved(points: FloatArray, seen: Observed, crop: Crop) -> FloatArray:
    return points + (seen.offset_mm / crop.mm)[:, None] * normals(points)


def _steady(points: FloatArray, weights: FloatArray, crop: Crop, *, change: float = CHANGE) -> SteadyCurve:
    """Smooth in millimetres; points come back in pixels, errors and correlation in millimetres."""
    curve = steady_curve(points * crop.mm, weights, spacing=STATION_MM, change=change)
    return SteadyCurve(points=curve.points / crop.mm, sd=curve.sd, correlation=curve.correlation)


def _refined(
    line: SteadyCurve,
    strip: Strip,
    seen: Observed,
    crop: Crop,
    observed: FloatArray,
) -> RefinedLine:
    inner = slice(BEYOND, len(line.points) - BEYOND)
    shared = shared_stations(STATION_MM)
    return RefinedLine(
        points_sq=line.points[inner],
        sd=np.clip(line.sd[inner], 1e-4, WIDEST_ERROR_MM) / crop.mm,
        width=strip.widths_mm[inner] / crop.mm,
        strength=seen.strength[inner],
        lopsided=strip.lopsided()[inner],
        correlation=line.correlation / crop.mm,
        observed_sq=observed[inner],
        observed_sd=1.0 / np.sqrt(seen.weight[inner] * shared) / crop.mm,
        observed_correlation=shared * STATION_MM / crop.mm,
    )
