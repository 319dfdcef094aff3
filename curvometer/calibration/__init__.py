"""Calibration: how many millimetres of tooth one pixel shows, how sure that is, and who says so.

Best is a file of known length in the image (`calibrate_from_known_length`, several by
`combine_calibrations`); next, what the image file states (`calibrate_from_file`), which seldom holds at the
tooth.
"""

from __future__ import annotations

from curvometer.calibration.file_statement import calibrate_from_file
from curvometer.calibration.known_length import (
    calibrate_from_known_length,
    calibrate_from_mm_per_pixel,
    combine_calibrations,
)
from curvometer.calibration.scale import Calibration, CalibrationError, CalibrationOrigin

__all__ = [
    "Calibration",
    "CalibrationError",
    "CalibrationOrigin",
    "calibrate_from_file",
    "calibrate_from_known_length",
    "calibrate_from_mm_per_pixel",
    "combine_calibrations",
]
