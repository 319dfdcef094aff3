"""Calibration: how many millimetres of tooth one pixel shows, how sure that is, and who says so.

Best is a file of known length in the image (`calibrate_from_known_length`, several by
`combine_calibrations`); next, what the image file states (`calibrate_from_file`), which seldom holds at the
tooth.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from curvometer.calibration.scale import Calibration, CalibrationError, CalibrationOrigin
from curvometer.calibration.stated import calibrate_from_mm_per_pixel

if TYPE_CHECKING:
    from curvometer.calibration.file_statement import calibrate_from_file
    from curvometer.calibration.known_length import calibrate_from_known_length, combine_calibrations

__all__ = [
    "Calibration",
    "CalibrationError",
    "CalibrationOrigin",
    "calibrate_from_file",
    "calibrate_from_known_length",
    "calibrate_from_mm_per_pixel",
    "combine_calibrations",
]

# Loaded when first used: a saved trace that brings its scale needs none of them.
_HOME_OF = {
    "calibrate_from_file": "file_statement",
    "calibrate_from_known_length": "known_length",
    "combine_calibrations": "known_length",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
