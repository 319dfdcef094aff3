"""From the beam that arrives to stored grey values: quanta, blur, read-out noise, transform, bits."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from curvometer.phantom.field import Grid
from curvometer.phantom.options import PhantomOptions

_FLOOR = 2e-4  # darkest signal that the logarithm sees, as a share of the open beam
_GREY_MARGIN = 0.04


def detect(arrived: Grid, options: PhantomOptions, rng: np.random.Generator) -> Grid:
    """Turn the arriving share of the beam into a sensor signal, as a share of the open beam.

    The scintillator blurs light that has its quantum noise already, so the noise is drawn first and blurred
    with the picture: it hangs together over a few pixels as on real sensors.

    Parameters
    ----------
    arrived
        Transmission per pixel.
    options
        Dose, blur and read-out noise are taken from it.
    rng
        Source of the noise.
    """
    signal = arrived
    if not options.noise_free:
        pitch = options.mm_per_pixel * options.magnification
        open_beam = options.quanta_per_mm2 * pitch * pitch
        signal = (rng.poisson(arrived * open_beam) / open_beam).astype(np.float32)
    blur_px = options.blur_mm / options.mm_per_pixel
    if blur_px > 0.05:
        signal = np.asarray(
            cv2.GaussianBlur(signal, (0, 0), blur_px, borderType=cv2.BORDER_REFLECT), np.float32
        )
    if not options.noise_free and options.electronic_noise > 0.0:
        noise = rng.standard_normal(signal.shape, dtype=np.float32) * np.float32(options.electronic_noise)
        signal = signal + noise
    return signal


def to_grey(signal: Grid, expected: Grid, options: PhantomOptions) -> NDArray[np.uint8] | NDArray[np.uint16]:
    """Map the signal to stored grey values, bright = dense.

    Parameters
    ----------
    signal
        What the sensor read, as a share of the open beam.
    expected
        The same without noise and metal; it sets the window, so that a file does not darken the tooth.
    options
        Transform, contrast and bits.
    """
    density, shown = _transformed(signal, options), _transformed(expected, options)
    low, high = np.percentile(shown[::3, ::3], [0.3, 99.7])
    middle, half = 0.5 * (low + high), 0.5 * max(high - low, 1e-3) * (1.0 + _GREY_MARGIN) * options.contrast
    top = 2**options.bits - 1
    grey = np.clip((density - (middle - half)) / (2.0 * half), 0.0, 1.0) * top
    rounded = np.round(grey)
    return np.asarray(rounded, np.uint8) if options.bits == 8 else np.asarray(rounded, np.uint16)


def _transformed(signal: Grid, options: PhantomOptions) -> Grid:
    if options.transform == "log":
        return np.asarray(-np.log(np.maximum(signal, np.float32(_FLOOR))), np.float32)
    return np.asarray(1.0 - signal, np.float32)
