"""The values of a measurement without their intervals: for many canals, where only the values are compared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curvometer.calibration import Calibration
from curvometer.canal_model import (
    CanalModel,
    CanalSamples,
    best_canal,
    fit_canal,
    fit_canal_as,
    shape_of,
    with_as_many_bends,
)
from curvometer.centreline import Centreline
from curvometer.measurement.landmarks import CanalLandmarks, canal_landmarks
from curvometer.measurement.measures import angle_measures, length_measures
from curvometer.measurement.places import fitted_landmarks
from curvometer.measurement.quantity import QUANTITY_NAMES, FittedLandmarks

FloatArray = NDArray[np.float64]

LARGEST_RADIUS_MM = 1000.0
"""Radii are cut off here: beyond it no canal can be told from a straight one."""

UNITS = {"radius_quotient": "deg/mm"}
TABLE_ANGLES = (
    "schneider_angle",
    "weine_angle",
    "long_axis_angle",
    "canal_access_angle",
    "pruett_angle",
    "total_turning",
    "net_turning",
)


@dataclass(frozen=True, kw_only=True)
class CanalValues:
    """What `measure_canal` gives as best values.

    Attributes
    ----------
    quantities
        Value of each quantity that exists, by the names of `QUANTITY_NAMES`, in the same units.
    landmarks
        Where the fitted shape lies on the image.
    shape
        The fitted shape in words.
    """

    quantities: dict[str, float]
    landmarks: FittedLandmarks
    shape: str


class FittedCanal(NamedTuple):
    """One canal with its most likely shape and what that shape measures.

    Attributes
    ----------
    model
        Every shape that the trace supports.
    best, marks
        The most likely one, and its landmarks.
    measures
        (1,) each, by name.
    plane
        Length of a row step and of a column step: millimetres where `scaled`, else in column pixels.
    scaled
        Whether lengths are millimetres.
    """

    model: CanalModel
    best: CanalSamples
    marks: CanalLandmarks
    measures: dict[str, FloatArray]
    plane: tuple[float, float]
    scaled: bool


def canal_values(
    centreline: Centreline,
    calibration: Calibration | None = None,
    *,
    shape: str = "",
    windows: bool = True,
) -> CanalValues:
    """Measure one canal without intervals and flags.

    The intervals of `measure_canal` come from some hundred canals that the trace allows, which take longer than the best one;
    where thousands of tracings are held against a reference only the values count.

    Parameters
    ----------
    centreline, calibration
        As for `measure_canal`.
    shape
        The shape to read the line as, in the words of `CanalMeasurement.shape`; where the line cannot be that, the best of
        those with as many bends. Empty: the most likely one of all, which is what `measure_canal` does.
    windows
        Whether to give the long-axis angle and the three-point radius, which are constructed along the whole canal.

    Returns
    -------
    CanalValues
        The same numbers that `measure_canal` gives as values, when no shape is asked for or that one is the most likely.

    Raises
    ------
    CurvometerError
        As `measure_canal`.
    """
    scale = Calibration() if calibration is None else calibration
    canal = fitted_canal(centreline, scale, shape=shape, windows=windows)
    found = {name: value_of(name, canal.measures) for name in QUANTITY_NAMES}
    return CanalValues(
        quantities={name: value for name, value in found.items() if value is not None},
        landmarks=fitted_landmarks(canal.model, canal.best, canal.plane),
        shape=canal.model.best.shape.words,
    )


def fitted_canal(
    centreline: Centreline, calibration: Calibration, *, shape: str = "", windows: bool = True
) -> FittedCanal:
    """Fit the shapes and measure the most likely one, or the one that is asked for."""
    spacing = calibration.spacing_rc_mm if calibration.at_tooth else None
    plane = spacing if spacing is not None else (calibration.aspect_ratio, 1.0)
    model = _fitted_as(centreline, plane, shape) if shape else None
    model = fit_canal(centreline, plane) if model is None else model
    best = best_canal(model)
    marks = canal_landmarks(best)
    measures = measures_of(best, marks, scaled=spacing is not None, windows=windows)
    return FittedCanal(model, best, marks, measures, plane, spacing is not None)


def _fitted_as(centreline: Centreline, plane: tuple[float, float], words: str) -> CanalModel | None:
    wanted = shape_of(words)
    found = fit_canal_as(centreline, plane, [wanted])
    return fit_canal_as(centreline, plane, with_as_many_bends(wanted)) if found is None else found


def measures_of(
    canals: CanalSamples, marks: CanalLandmarks, *, scaled: bool, windows: bool = True
) -> dict[str, FloatArray]:
    """Every measure of a batch of canals, (m,) each; lengths only with a scale; `windows` as in `length_measures`."""
    angles = angle_measures(canals, marks)
    return angles | (length_measures(canals, marks, angles, windows=windows) if scaled else {})


def value_of(name: str, measures: dict[str, FloatArray]) -> float | None:
    """Best value of a quantity; None where it does not exist."""
    if name not in measures or not np.isfinite(measures[name][0]):
        return None
    value = float(measures[name][0])
    return min(value, LARGEST_RADIUS_MM) if unit_of(name) == "mm" else value


def unit_of(name: str) -> str:
    """Unit of a quantity when there is a scale."""
    return UNITS.get(name, "deg" if name in TABLE_ANGLES else "mm")
