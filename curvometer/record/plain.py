"""Core values as plain dictionaries of numbers, strings and lists, and back: every JSON has this shape.

The command line's ``--json`` and a saved record use the same dictionaries, so that a program that reads one
reads the other. Here (row, col) turns into ``x, y`` = column, row. Nothing is rounded: Python writes a float
with as many digits as give the same float back.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer.calibration import Calibration, CalibrationOrigin
from curvometer.centreline import Centreline, Observations, Structure, TracedBy, TraceFlag
from curvometer.measurement import (
    QUANTITY_NAMES,
    Bend,
    CanalMeasurement,
    CurvatureProfile,
    FittedLandmarks,
    MeasurementFlag,
    Quantity,
    Severity,
)
from curvometer.radiograph import Radiograph

Plain = dict[str, Any]
FloatArray = NDArray[np.float64]


def measure_output(
    radiograph: Radiograph | None,
    calibration: Calibration,
    centreline: Centreline,
    measurement: CanalMeasurement,
) -> Plain:
    """Build the object that ``curvometer measure --json`` prints.

    Parameters
    ----------
    radiograph
        The image; None when only a tracing was given.
    calibration, centreline, measurement
        What was measured with what.

    Returns
    -------
    dict
        ``image``, ``calibration``, ``centreline``, ``flags`` and ``measurement``, ready for `json.dumps`.
    """
    return {
        "image": None if radiograph is None else image_to_plain(radiograph),
        "calibration": calibration_to_plain(calibration),
        "centreline": centreline_to_plain(centreline),
        "flags": flags_to_plain(measurement.flags),
        "measurement": measurement_to_plain(measurement),
    }


def image_to_plain(radiograph: Radiograph) -> Plain:
    """Tell which image it was: its hash and form, no name and no identity."""
    rows, columns = radiograph.shape
    return {
        "sha256": radiograph.sha256,
        "format": radiograph.file_format,
        "rows": rows,
        "columns": columns,
        "bits_stored": radiograph.bits_stored,
        "inverted_on_load": radiograph.inverted_on_load,
        "notes": list(radiograph.notes),
    }


def calibration_to_plain(calibration: Calibration) -> Plain:
    """Tell the scale; `mm_per_pixel` is null unless it holds at the tooth."""
    return {
        "mm_per_pixel": calibration.mm_per_pixel,
        "standard_uncertainty": calibration.standard_uncertainty,
        "origin": calibration.origin.value,
        "at_tooth": calibration.at_tooth,
        "spacing_xy_mm": _swapped(calibration.spacing_rc_mm),
        "aspect_ratio": calibration.aspect_ratio,
        "relative_standard_uncertainty": calibration.relative_standard_uncertainty,
        "flags": list(calibration.flags),
        "notes": list(calibration.notes),
    }


def calibration_from_plain(plain: Plain) -> Calibration:
    """Undo `calibration_to_plain`."""
    return Calibration(
        spacing_rc_mm=_swapped(plain["spacing_xy_mm"]),
        aspect_ratio=plain["aspect_ratio"],
        relative_standard_uncertainty=plain["relative_standard_uncertainty"],
        origin=CalibrationOrigin(plain["origin"]),
        at_tooth=plain["at_tooth"],
        flags=tuple(plain["flags"]),
        notes=tuple(plain["notes"]),
    )


def centreline_to_plain(centreline: Centreline) -> Plain:
    """Tell the traced points in the order x, y, with all that is known about their errors."""
    return {
        "points_xy": points_to_plain(centreline.points_rc),
        "position_sd_px": _list_or_none(centreline.position_sd_px),
        "correlation_px": float(centreline.correlation_px),
        "width_px": _list_or_none(centreline.width_px),
        "observations": _observations_to_plain(centreline.observations),
        "click_sd_px": [float(sd) for sd in centreline.click_sd_px],
        "structure": centreline.structure.value,
        "traced_by": centreline.traced_by.value,
        "anchors_xy": None if centreline.anchors_rc is None else points_to_plain(centreline.anchors_rc),
        "flags": [flag.value for flag in centreline.flags],
    }


def centreline_from_plain(plain: Plain) -> Centreline:
    """Undo `centreline_to_plain`."""
    orifice_sd_px, foramen_sd_px = plain["click_sd_px"]
    return Centreline(
        points_rc=points_from_plain(plain["points_xy"]),
        position_sd_px=_array_or_none(plain["position_sd_px"]),
        correlation_px=plain["correlation_px"],
        width_px=_array_or_none(plain["width_px"]),
        observations=_observations_from_plain(plain["observations"]),
        click_sd_px=(orifice_sd_px, foramen_sd_px),
        structure=Structure(plain["structure"]),
        traced_by=TracedBy(plain["traced_by"]),
        anchors_rc=None if plain["anchors_xy"] is None else points_from_plain(plain["anchors_xy"]),
        flags=tuple(TraceFlag(flag) for flag in plain["flags"]),
    )


def _observations_to_plain(observations: Observations | None) -> Plain | None:
    if observations is None:
        return None
    return {
        "points_xy": points_to_plain(observations.points_rc),
        "sd_px": _list_or_none(observations.sd_px),
        "correlation_px": float(observations.correlation_px),
    }


def _observations_from_plain(plain: Plain | None) -> Observations | None:
    if plain is None:
        return None
    return Observations(
        points_rc=points_from_plain(plain["points_xy"]),
        sd_px=np.asarray(plain["sd_px"], dtype=float),
        correlation_px=plain["correlation_px"],
    )


def flags_to_plain(flags: Iterable[MeasurementFlag]) -> list[Plain]:
    """Tell the doubts about a measurement."""
    return [
        {
            "code": flag.code,
            "severity": flag.severity.value,
            "text": flag.text,
            "concerns": list(flag.concerns),
        }
        for flag in flags
    ]


def measurement_to_plain(measurement: CanalMeasurement) -> Plain:
    """Tell all measures of one canal, without its flags, which stand beside it."""
    quantities = {name: quantity_to_plain(quantity) for name, quantity in measurement.quantities.items()}
    return {
        **quantities,
        "canal_form": measurement.canal_form,
        "bends": [_bend_to_plain(bend) for bend in measurement.bends],
        "schneider_class": measurement.schneider_class,
        "shape": measurement.shape,
        "landmarks": _landmarks_to_plain(measurement.landmarks),
        "profile": _profile_to_plain(measurement.profile),
        "meanings": dict(measurement.meanings),
    }


def measurement_from_plain(plain: Plain, flags: Iterable[Plain]) -> CanalMeasurement:
    """Undo `measurement_to_plain` and `flags_to_plain`."""
    return CanalMeasurement(
        **{name: quantity_from_plain(plain[name]) for name in QUANTITY_NAMES},
        canal_form=plain["canal_form"],
        bends=tuple(_bend_from_plain(bend) for bend in plain["bends"]),
        flags=tuple(_flag_from_plain(flag) for flag in flags),
        schneider_class=plain["schneider_class"],
        shape=plain["shape"],
        landmarks=_landmarks_from_plain(plain["landmarks"]),
        profile=_profile_from_plain(plain["profile"]),
        meanings=dict(plain["meanings"]),
    )


def quantity_to_plain(quantity: Quantity | None) -> Plain | None:
    """Tell a value with its interval; `reading` only where a definition is ambiguous."""
    if quantity is None:
        return None
    plain: Plain = {
        "value": float(quantity.value),
        "lower": float(quantity.lower),
        "upper": float(quantity.upper),
        "unit": quantity.unit,
    }
    return plain | ({"reading": quantity.reading} if quantity.reading else {})


def quantity_from_plain(plain: Plain | None) -> Quantity | None:
    """Undo `quantity_to_plain`."""
    return None if plain is None else Quantity(**plain)


def points_to_plain(points_rc: FloatArray) -> list[list[float]]:
    """Turn (n, 2) positions (row, col) into a list of [x, y]."""
    plain: list[list[float]] = np.asarray(points_rc, dtype=float)[:, ::-1].tolist()
    return plain


def points_from_plain(points_xy: Iterable[Iterable[float]]) -> FloatArray:
    """Turn a list of [x, y] into (n, 2) positions (row, col)."""
    return np.array([list(point) for point in points_xy], dtype=float).reshape(-1, 2)[:, ::-1].copy()


def _flag_from_plain(plain: Plain) -> MeasurementFlag:
    return MeasurementFlag(
        code=plain["code"],
        severity=Severity(plain["severity"]),
        text=plain["text"],
        concerns=tuple(plain["concerns"]),
    )


_BEND_QUANTITIES = ("start_from_foramen", "end_from_foramen", "angle", "radius", "schneider_angle")


def _bend_to_plain(bend: Bend) -> Plain:
    quantities = {name: quantity_to_plain(getattr(bend, name)) for name in _BEND_QUANTITIES}
    return quantities | {"direction": bend.direction}


def _bend_from_plain(plain: Plain) -> Bend:
    quantities: Plain = {name: quantity_from_plain(plain[name]) for name in _BEND_QUANTITIES}
    return Bend(**quantities, direction=plain["direction"])


def _landmarks_to_plain(landmarks: FittedLandmarks) -> Plain:
    return {
        "orifice_xy": _point_to_plain(landmarks.orifice_rc),
        "curve_start_xy": _point_to_plain(landmarks.curve_start_rc),
        "curve_end_xy": _point_to_plain(landmarks.curve_end_rc),
        "foramen_xy": _point_to_plain(landmarks.foramen_rc),
        "axis_xy": points_to_plain(landmarks.axis_rc),
        "line_xy": points_to_plain(landmarks.line_rc),
        "arcs": [
            {"centre_xy": [float(col), float(row)], "radius_px": float(radius_px)}
            for row, col, radius_px in landmarks.arcs
        ],
    }


def _landmarks_from_plain(plain: Plain) -> FittedLandmarks:
    (orifice_rc,), (foramen_rc,) = (points_from_plain([plain[name]]) for name in ("orifice_xy", "foramen_xy"))
    return FittedLandmarks(
        orifice_rc=orifice_rc,
        foramen_rc=foramen_rc,
        curve_start_rc=_point_from_plain(plain["curve_start_xy"]),
        curve_end_rc=_point_from_plain(plain["curve_end_xy"]),
        axis_rc=points_from_plain(plain["axis_xy"]),
        line_rc=points_from_plain(plain["line_xy"]),
        arcs=tuple((arc["centre_xy"][1], arc["centre_xy"][0], arc["radius_px"]) for arc in plain["arcs"]),
    )


_PROFILE_ARRAYS = ("from_foramen", "curvature", "lower", "upper")


def _profile_to_plain(profile: CurvatureProfile) -> Plain:
    arrays: Plain = {name: _list_or_none(getattr(profile, name)) for name in _PROFILE_ARRAYS}
    return arrays | {"unit": profile.unit}


def _profile_from_plain(plain: Plain) -> CurvatureProfile:
    arrays: Plain = {name: np.array(plain[name], dtype=float) for name in _PROFILE_ARRAYS}
    return CurvatureProfile(**arrays, unit=plain["unit"])


def _point_to_plain(point_rc: FloatArray | None) -> list[float] | None:
    return None if point_rc is None else points_to_plain(np.atleast_2d(point_rc))[0]


def _point_from_plain(point_xy: list[float] | None) -> FloatArray | None:
    return None if point_xy is None else points_from_plain([point_xy])[0]


def _swapped(pair: Iterable[float] | None) -> tuple[float, float] | None:
    if pair is None:
        return None
    first, second = pair
    return (second, first)


def _list_or_none(values: FloatArray | None) -> list[float] | None:
    if values is None:
        return None
    plain: list[float] = np.asarray(values, dtype=float).tolist()
    return plain


def _array_or_none(values: list[float] | None) -> FloatArray | None:
    return None if values is None else np.array(values, dtype=float)
