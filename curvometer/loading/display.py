"""Grey values for the eye: eight bits through the display window. Nothing is ever measured on these."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from curvometer.radiograph import DisplayWindow, Radiograph

PERCENTILES = (0.5, 99.5)
"""Share of the darkest and brightest pixels, in per cent, that a window from the grey values saturates."""
_SAMPLES = 250_000


def display_pixels(radiograph: Radiograph) -> NDArray[np.uint8]:
    """Map a radiograph to 0 (black) ... 255 (white) through its window.

    Parameters
    ----------
    radiograph
        Without a window, one is taken from its grey values (`percentile_window`).

    Returns
    -------
    numpy.ndarray
        (rows, columns), uint8, bright = dense. For looking at only.
    """
    pixels = radiograph.pixels
    window = radiograph.window or percentile_window(pixels)
    if pixels.dtype.kind in "iu" and pixels.dtype.itemsize <= 2:
        info = np.iinfo(str(pixels.dtype))
        # A table over all 256 or 65536 values costs less than arithmetic on a million pixels.
        table = _through(np.arange(int(info.min), int(info.max) + 1, dtype=np.float32), window)
        unsigned = pixels.astype(np.int32) - int(info.min)
        return np.asarray(table[unsigned])
    return _through(pixels.astype(np.float64), window)


def percentile_window(pixels: NDArray[np.generic]) -> DisplayWindow:
    """Take a window from the grey values: `PERCENTILES` of a regular sample of finite pixels."""
    step = max(1, int((pixels.size / _SAMPLES) ** 0.5))
    sample = pixels[::step, ::step].astype(np.float64)
    sample = sample[np.isfinite(sample)]
    if sample.size == 0:
        return DisplayWindow(black=0.0, white=1.0)
    black, white = (float(value) for value in np.percentile(sample, PERCENTILES))
    if not white > black:
        black, white = float(sample.min()), float(sample.max())
    return DisplayWindow(black=black, white=white if white > black else black + 1.0)


def _through(values: NDArray[np.floating], window: DisplayWindow) -> NDArray[np.uint8]:
    width = window.white - window.black
    share = np.nan_to_num((values - window.black) / (width or 1.0))
    return np.asarray((np.clip(share, 0.0, 1.0) * 255.0 + 0.5).astype(np.uint8))
