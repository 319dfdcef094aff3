"""The clicks that start a trace: checked, and the working scale that goes with them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer.calibration import Calibration, calibrate_from_file
from curvometer.radiograph import CurvometerError, Radiograph

FloatArray = NDArray[np.floating[Any]]

ASSUMED_CANAL_MM = 12.0
"""Distance from orifice to foramen when nothing else gives a scale: teeth are 19 to 26 mm long, canals 8 to 18 mm
(common practice, no source). It only chooses filter widths; no length is ever reported from it."""

SMALLEST_DISTANCE_PX = 12.0
"""Clicks closer than this leave no canal to trace between them."""


class TracingError(CurvometerError):
    """Clicks or options from which no canal can be traced."""


def check_click(radiograph: Radiograph, point_rc: Sequence[float] | FloatArray) -> None:
    """Raise `TracingError` unless the click (row, col) lies on the image."""
    row, col = float(point_rc[0]), float(point_rc[1])
    rows, cols = radiograph.shape
    if not radiograph.contains((row, col)):
        raise TracingError(
            f"the click x={col:g}, y={row:g} is outside the image, which is {cols} wide and {rows} high:"
            " click on the image"
        )


def check_clicks(radiograph: Radiograph, anchors_rc: Sequence[Sequence[float]] | FloatArray) -> FloatArray:
    """Clicks as a (k, 2) array.

    Raises
    ------
    TracingError
        Fewer than two clicks, not finite, outside the image, or two neighbours (nearly) in one place.
    """
    try:
        anchors = np.asarray(anchors_rc, dtype=float)
    except (TypeError, ValueError) as error:
        raise TracingError("the clicks are not pairs of numbers: give each as (row, col)") from error
    if anchors.ndim != 2 or anchors.shape[1:] != (2,) or len(anchors) < 2:
        raise TracingError(
            f"a trace needs at least two clicks, orifice and foramen; found {len(anchors)}: click both ends"
        )
    if not np.isfinite(anchors).all():
        raise TracingError("a click is not a finite number: give every click as two numbers")
    for anchor in anchors:
        check_click(radiograph, anchor)
    steps = np.hypot(*np.diff(anchors, axis=0).T)
    if float(steps.min()) < 1.0:
        raise TracingError("two neighbouring clicks are in the same place: click orifice and foramen apart")
    if float(np.hypot(*(anchors[-1] - anchors[0]))) < SMALLEST_DISTANCE_PX and len(anchors) == 2:
        raise TracingError(
            f"orifice and foramen are {float(steps[0]):.0f} px apart, at least {SMALLEST_DISTANCE_PX:.0f} are needed:"
            " click the two ends of the canal"
        )
    return anchors


def working_scale(
    radiograph: Radiograph, calibration: Calibration | None, anchors_rc: FloatArray
) -> tuple[float, float]:
    """Millimetres per column pixel and aspect ratio (row / column spacing) to choose filter widths by.

    The best known scale is good enough here, a detector's pitch too. Without any, the canal is assumed to be
    `ASSUMED_CANAL_MM` long.
    """
    for known in (calibration, calibrate_from_file(radiograph)):
        if known is not None and known.spacing_rc_mm is not None:
            row_mm, col_mm = known.spacing_rc_mm
            return col_mm, row_mm / col_mm
    aspect = calibration.aspect_ratio if calibration is not None else radiograph.spacing.pixel_aspect_ratio
    square = anchors_rc * np.array([aspect, 1.0])
    length = float(np.hypot(*np.diff(square, axis=0).T).sum())
    return ASSUMED_CANAL_MM / length, aspect
