"""Templates of a line's cross-section, and their answers along a straightened strip."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]
Float32Image = NDArray[np.float32]

WIDTHS_MM = tuple(float(w) for w in np.geomspace(0.12, 1.0, 9))
"""Widths that are tried; canals are 0.15 to 0.8 mm wide (common practice, no source), with a margin."""


def profile(t: FloatArray, width: float, blur: float) -> FloatArray:
    """Shadow of a round line at distances t from its middle: chord lengths sqrt(1 - (2t / width)^2), blurred, depth 1."""
    fine = np.linspace(-0.5, 0.5, 21) * width
    chord = np.sqrt(np.clip(1.0 - (2.0 * fine / width) ** 2, 0.0, 1.0))
    blurred = np.exp(-0.5 * ((t[:, None] - fine[None, :]) / blur) ** 2) @ chord
    return np.asarray(blurred / (np.exp(-0.5 * (fine / blur) ** 2) @ chord))


@lru_cache(maxsize=64)
def template(width: float, step: float, blur: float) -> FloatArray:
    """Profile of a round line, blurred, with any parabola beneath it taken away.

    The shadow of a cylinder: its chord length, sqrt(1 - (2t / width)^2). It is made orthogonal to 1, t and t^2 over a window
    of 2.6 widths, so that the dome of a root and its slope do not count as line. All lengths in one unit.

    Returns
    -------
    array
        Odd length; symmetric; in units of the line's depth.
    """
    half = 1.3 * width + 2.0 * blur
    count = int(half / step)
    t = np.arange(-count, count + 1) * step
    line = profile(t, width, blur)
    ground = np.vander(t / half, 3)
    fit, *_ = np.linalg.lstsq(ground, line, rcond=None)
    return np.asarray(line - ground @ fit)


@lru_cache(maxsize=64)
def sharpness(width: float, step: float, blur: float) -> float:
    """Curvature of a template's own answer at its summit, per squared sample and unit of depth: sum g'^2 / sum g^2."""
    kernel = template(width, step, blur)
    slope = np.gradient(kernel)
    return float(slope @ slope) / float(kernel @ kernel)


@dataclass(frozen=True, kw_only=True)
class Answers:
    """Depth of the best-fitting line at every place of a strip, for a run of neighbouring widths.

    Attributes
    ----------
    first
        Index into WIDTHS_MM of the narrowest width.
    depth
        (widths, stations, offsets), in grey values; positive where the strip shows the line looked for.
    noise
        (widths,) robust spread of the depth beside the line.
    """

    first: int
    depth: Float32Image
    noise: FloatArray


def answers(
    strip: Float32Image,
    offsets_mm: FloatArray,
    *,
    index: FloatArray,
    blur_mm: float,
    dark: bool,
    along: float,
) -> Answers:
    """Move the templates that `index` asks for across every row of a strip, averaged along it.

    `index` holds places in WIDTHS_MM, as floats; `along` is the standard deviation of the average, in stations.
    """
    first, last = int(index.min()), min(int(index.max()) + 1, len(WIDTHS_MM) - 1)
    widths = WIDTHS_MM[first : last + 1]
    step = float(offsets_mm[1] - offsets_mm[0])
    averaged = cv2.GaussianBlur(strip, (1, 0), sigmaX=1e-6, sigmaY=along, borderType=cv2.BORDER_REFLECT)
    depth = np.empty((len(widths), *strip.shape), dtype=np.float32)
    noise = np.empty(len(widths))
    for k, width in enumerate(widths):
        kernel = template(width, step, blur_mm)
        kernel = kernel * ((-1.0 if dark else 1.0) / float(kernel @ kernel))
        cv2.filter2D(averaged, cv2.CV_32F, kernel[None, :], dst=depth[k], borderType=cv2.BORDER_REPLICATE)
        away = np.abs(offsets_mm) - 0.8 * width
        beside = depth[k][:, (away > 0.0) & (away < 0.6)].ravel()
        # Where a picture is burnt out there is no grain: what is left is rounding, and no line stands out from it.
        noise[k] = spread(beside - middle(beside)) + 1e-5 * float(np.abs(strip).max()) + 1e-12
    return Answers(first=first, depth=depth, noise=noise)


def middle(values: NDArray[np.floating[Any]]) -> float:
    """Median, the upper one of two: `numpy.median` loads masked arrays and takes several times as long."""
    half = values.size // 2
    return float(np.partition(values, half)[half])


def spread(values: NDArray[np.floating[Any]]) -> float:
    """Robust standard deviation about zero: 1.4826 times the median of the absolute values."""
    return 1.4826 * middle(np.abs(values))


def at_width(found: Answers, index: FloatArray) -> FloatArray:
    """(stations, offsets) depth at each station's own width."""
    index = index - found.first
    low = np.minimum(index.astype(int), len(found.depth) - 2)
    share = (index - low)[:, None]
    each = np.arange(len(index))
    return np.asarray((1.0 - share) * found.depth[low, each] + share * found.depth[low + 1, each])


def most_likely_line(score: FloatArray, *, stiffness: float) -> NDArray[np.intp]:
    """Offset index per station with the largest sum of scores less stiffness * (change between stations)^2."""
    stations, offsets = score.shape
    jumps = np.arange(-3, 4)
    cost = stiffness * jumps.astype(float) ** 2
    best, each = score[0].copy(), np.arange(offsets)
    came = np.empty((stations, offsets), dtype=np.intp)
    padded = np.full(offsets + 6, -1e9)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 7)
    for i in range(1, stations):
        padded[3:-3] = best
        options = windows - cost
        came[i] = np.argmax(options, axis=1)
        best = options[each, came[i]] + score[i]
    path = np.empty(stations, dtype=np.intp)
    path[-1] = int(np.argmax(best))
    for i in range(stations - 1, 0, -1):
        path[i - 1] = path[i] + jumps[came[i, path[i]]]
    return path


def summit(depth: FloatArray, at: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
    """Top of the parabola through three samples around `at`: position (in samples) and height."""
    each = np.arange(len(at))
    at = np.clip(at, 1, depth.shape[1] - 2)
    left, top, right = depth[each, at - 1], depth[each, at], depth[each, at + 1]
    sharp = 2.0 * top - left - right
    shift = np.where(sharp > 1e-12, 0.5 * (right - left) / np.maximum(sharp, 1e-12), 0.0)
    return at + np.clip(shift, -1.0, 1.0), top
