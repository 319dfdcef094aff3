"""Measure the curvature of a root canal on a periapical radiograph, with intervals.

The public names, in the order of the flow:

image file -> `Radiograph` -> `Calibration` -> `Centreline` -> `CanalMeasurement` -> `CaseRecord`

They are loaded when first used, so that ``import curvometer`` and ``curvometer --help`` stay quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from curvometer.calibration import (
        Calibration,
        CalibrationOrigin,
        calibrate_from_file,
        calibrate_from_known_length,
        calibrate_from_mm_per_pixel,
        combine_calibrations,
    )
    from curvometer.centreline import Centreline, Structure, TraceFlag
    from curvometer.loading import LoadError, display_pixels, load_radiograph
    from curvometer.measurement import (
        QUANTITY_DEFINITIONS,
        QUANTITY_NAMES,
        Bend,
        CanalMeasurement,
        CurvatureProfile,
        FittedLandmarks,
        MeasurementFlag,
        Quantity,
        QuantityDefinition,
        Severity,
        measure_canal,
    )
    from curvometer.overlay import draw_overlay
    from curvometer.phantom import CanalShape, PhantomOptions, simulate_radiograph
    from curvometer.radiograph import CurvometerError, Radiograph
    from curvometer.record import (
        CanalEntry,
        CanalName,
        CaseRecord,
        canal_entry,
        load_record,
        new_record,
        save_record,
    )
    from curvometer.tracing import (
        LiveTracer,
        TracingError,
        centreline_from_points,
        trace_centreline,
        trace_partly_by_hand,
    )

__version__ = "0.1.0"

_HOMES = {
    "radiograph": ("Radiograph", "CurvometerError"),
    "loading": ("load_radiograph", "display_pixels", "LoadError"),
    "calibration": (
        "Calibration",
        "CalibrationOrigin",
        "calibrate_from_file",
        "calibrate_from_known_length",
        "calibrate_from_mm_per_pixel",
        "combine_calibrations",
    ),
    "centreline": ("Centreline", "Structure", "TraceFlag"),
    "tracing": (
        "trace_centreline",
        "trace_partly_by_hand",
        "centreline_from_points",
        "LiveTracer",
        "TracingError",
    ),
    "measurement": (
        "measure_canal",
        "CanalMeasurement",
        "QUANTITY_NAMES",
        "QUANTITY_DEFINITIONS",
        "QuantityDefinition",
        "Quantity",
        "Bend",
        "CurvatureProfile",
        "FittedLandmarks",
        "MeasurementFlag",
        "Severity",
    ),
    "record": (
        "CaseRecord",
        "CanalEntry",
        "CanalName",
        "canal_entry",
        "new_record",
        "save_record",
        "load_record",
    ),
    "overlay": ("draw_overlay",),
    "phantom": ("simulate_radiograph", "CanalShape", "PhantomOptions"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

__all__ = [
    "Bend",
    "Calibration",
    "CalibrationOrigin",
    "CanalEntry",
    "CanalMeasurement",
    "CanalName",
    "CanalShape",
    "CaseRecord",
    "Centreline",
    "CurvatureProfile",
    "CurvometerError",
    "FittedLandmarks",
    "LiveTracer",
    "LoadError",
    "MeasurementFlag",
    "PhantomOptions",
    "QUANTITY_DEFINITIONS",
    "QUANTITY_NAMES",
    "Quantity",
    "QuantityDefinition",
    "Radiograph",
    "Severity",
    "Structure",
    "TraceFlag",
    "TracingError",
    "calibrate_from_file",
    "calibrate_from_known_length",
    "calibrate_from_mm_per_pixel",
    "canal_entry",
    "centreline_from_points",
    "combine_calibrations",
    "display_pixels",
    "draw_overlay",
    "load_radiograph",
    "load_record",
    "measure_canal",
    "new_record",
    "save_record",
    "simulate_radiograph",
    "trace_centreline",
    "trace_partly_by_hand",
]


def __getattr__(name: str) -> Any:
    """Load a public name's module when the name is first used."""
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
