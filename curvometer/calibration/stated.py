"""Scale as the user states it: plain millimetres per pixel.

By itself, because a saved trace usually comes with its scale and should not wait for the rest.
"""

from __future__ import annotations

import math

from curvometer.calibration.scale import Calibration, CalibrationError, CalibrationOrigin

SMALLEST_PITCH_MM, LARGEST_PITCH_MM = 0.002, 1.0
"""Tooth per pixel, in mm, that an enlarged or reduced radiograph can have: assumption, no source."""


def calibrate_from_mm_per_pixel(
    mm_per_pixel: float, *, relative_standard_uncertainty: float = 0.0, aspect_ratio: float = 1.0
) -> Calibration:
    """Take the scale as the user states it.

    Parameters
    ----------
    mm_per_pixel
        Millimetres of tooth per pixel (geometric mean of rows and columns when they differ).
    relative_standard_uncertainty
        As a fraction of the scale, below 0.5.
    aspect_ratio
        Row spacing / column spacing.

    Returns
    -------
    Calibration

    Raises
    ------
    CalibrationError
        For a scale, an uncertainty or an aspect ratio that cannot be.
    """
    if not is_number(mm_per_pixel) or not SMALLEST_PITCH_MM <= mm_per_pixel <= LARGEST_PITCH_MM:
        raise CalibrationError(
            f"the scale is {mm_per_pixel} mm per pixel; it must be {SMALLEST_PITCH_MM:g} to"
            f" {LARGEST_PITCH_MM:g}: give millimetres (20 micrometres are 0.02)"
        )
    if not is_number(relative_standard_uncertainty) or not 0.0 <= relative_standard_uncertainty < 0.5:
        raise CalibrationError(
            f"the scale's uncertainty is {relative_standard_uncertainty}; it must be a fraction from 0 to"
            " 0.5: give 0.01 for one per cent"
        )
    check_positive("the aspect ratio", aspect_ratio, unit="(row / column spacing)", least=0.1, most=10.0)
    exact = relative_standard_uncertainty == 0.0
    return Calibration(
        spacing_rc_mm=(mm_per_pixel * math.sqrt(aspect_ratio), mm_per_pixel / math.sqrt(aspect_ratio)),
        aspect_ratio=float(aspect_ratio),
        relative_standard_uncertainty=float(relative_standard_uncertainty),
        origin=CalibrationOrigin.STATED,
        at_tooth=True,
        notes=("The scale was given without an uncertainty, so intervals leave it out.",) if exact else (),
    )


def check_positive(
    what: str, value: float, *, unit: str, zero_ok: bool = False, least: float = 0.0, most: float
) -> None:
    """Refuse what is no number between the limits."""
    if is_number(value) and (value > 0.0 or (zero_ok and value == 0.0)) and least <= value <= most:
        return
    lowest = "at least 0" if zero_ok else f"above {least:g}"
    raise CalibrationError(f"{what} is {value} {unit}; it must be {lowest} and at most {most:g}: correct it")


def is_number(value: object) -> bool:
    """Tell a finite number from everything else; True is none."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
