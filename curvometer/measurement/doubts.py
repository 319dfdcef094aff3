"""Which rows of the flag table apply to a measurement."""

from __future__ import annotations

from curvometer.calibration import Calibration, CalibrationOrigin
from curvometer.canal_model import CanalModel
from curvometer.centreline import Centreline
from curvometer.curvature import schneider_class
from curvometer.measurement.flags import (
    FEW_POINTS,
    MISFIT_RATIO,
    SHORT_ARC_MM,
    SMALL_ANGLE_DEG,
    TOO_FEW_POINTS,
    flag,
)
from curvometer.measurement.landmarks import ArcLandmarks, CanalLandmarks
from curvometer.measurement.quantity import MeasurementFlag


def doubts(
    *,
    centreline: Centreline,
    calibration: Calibration,
    model: CanalModel,
    marks: CanalLandmarks,
    schneider_deg: float,
    three_point: bool,
) -> tuple[MeasurementFlag, ...]:
    """Flags of one measurement, in the order of the table's groups: scale, shape, trace."""
    codes = [
        *_about_scale(calibration),
        *_about_shape(calibration, model, marks, schneider_deg),
        *([] if three_point or not calibration.at_tooth else ["canal_too_short"]),
        *_about_trace(centreline, len(model.data.s)),
    ]
    return tuple(flag(code) for code in codes)


def _about_scale(calibration: Calibration) -> list[str]:
    if calibration.spacing_rc_mm is None:
        return ["no_scale"]
    if not calibration.at_tooth:
        return ["scale_at_detector"]
    codes = []
    if calibration.origin in (CalibrationOrigin.GEOMETRY, CalibrationOrigin.DETECTOR_MAGNIFIED):
        codes.append("scale_estimated")
    if "objects_disagree" in calibration.flags:
        codes.append("scale_objects_disagree")
    return codes


def _about_shape(
    calibration: Calibration, model: CanalModel, marks: CanalLandmarks, schneider_deg: float
) -> list[str]:
    codes = []
    if not marks.arcs:
        codes.append("straight")
    if calibration.at_tooth and any(_arc_length(arc) < SHORT_ARC_MM for arc in marks.arcs):
        codes.append("short_arc")
    if any(abs(float(arc.turning_deg[0])) < SMALL_ANGLE_DEG for arc in marks.arcs):
        codes.append("small_angle")
    if len(marks.arcs) > 1:
        codes.append("two_bends")
    if model.misfit_ratio > MISFIT_RATIO:
        codes.append("shape_misfit")
    if "gap" in str(schneider_class(schneider_deg)):
        codes.append("in_class_gap")
    return codes


def _arc_length(arc: ArcLandmarks) -> float:
    return float(arc.start_from_foramen[0] - arc.end_from_foramen[0])


def _about_trace(centreline: Centreline, count: int) -> list[str]:
    codes = [str(code) for code in centreline.flags]
    if count < TOO_FEW_POINTS:
        codes.append("too_few_points")
    elif count < FEW_POINTS:
        codes.append("few_points")
    return codes
