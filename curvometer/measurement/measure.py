"""Centreline + calibration -> measurement."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from curvometer.calibration import Calibration
from curvometer.canal_model import CanalModel, draw_canals, percentiles
from curvometer.centreline import Centreline
from curvometer.curvature import canal_form, schneider_class
from curvometer.measurement.doubts import doubts
from curvometer.measurement.landmarks import CanalLandmarks, canal_landmarks, canal_points
from curvometer.measurement.measures import READINGS, bend_schneider
from curvometer.measurement.places import INTERVAL, curvature_profile, fitted_landmarks
from curvometer.measurement.quantity import QUANTITY_NAMES, Bend, CanalMeasurement, Quantity
from curvometer.measurement.values import (
    LARGEST_RADIUS_MM,
    fitted_canal,
    measures_of,
    unit_of,
    value_of,
)
from curvometer.measurement.words import meanings

FloatArray = NDArray[np.float64]

DRAWS = 320
"""Canals drawn for the intervals, evenly spread over what the trace allows."""

TRACE_INFLATION = 1.6
"""Factor on the fit's standard errors for traces from an image, calibrated on radiographs simulated by two unlike renderers
(docs/accuracy): it stands for the error of the error and for what no shape says."""
POINTS_INFLATION = 1.3
"""The same for points that somebody else set: Student's factor at the usual 12 to 40 points, and what a fit takes for noise
that was a bend. At 1.1 the radius of an arc before a straight part was held in 88 of 100 cases (tests/test_measurement.py)."""


def measure_canal(centreline: Centreline, calibration: Calibration | None = None) -> CanalMeasurement:
    """Measure one canal.

    Parameters
    ----------
    centreline
        The trace, orifice first.
    calibration
        The scale; without one, or with a detector's pitch only, no length is given, and a flag says why.

    Returns
    -------
    CanalMeasurement
        Every quantity with the interval that holds the projected canal's value in 95 of 100 cases: it carries the trace's
        error, the clicks at both ends, the doubt about the shape, and the scale.

    Notes
    -----
    The start of the curve comes from the maximum-likelihood shape (`curvometer.canal_model`), never from a distance
    tolerance. Intervals are percentiles over canals drawn from the weighted shapes.
    """
    calibration = Calibration() if calibration is None else calibration
    model, best, marks, values, plane, scaled = fitted_canal(centreline, calibration)
    drawn = draw_canals(
        model,
        count=DRAWS,
        end_sd=_end_sd(centreline, model, plane[1]),
        scale_sd=calibration.relative_standard_uncertainty if scaled else 0.0,
        inflation=POINTS_INFLATION if centreline.observations is None else TRACE_INFLATION,
    )
    drawn_marks = [canal_landmarks(batch) for batch in drawn]
    spread = [measures_of(batch, its, scaled=scaled) for batch, its in zip(drawn, drawn_marks, strict=True)]
    quantities = {name: _quantity(name, values, spread) for name in QUANTITY_NAMES}
    schneider_deg = float(values["schneider_angle"][0])
    return CanalMeasurement(
        **quantities,
        canal_form=str(canal_form(canal_points(best, count=200)[0])),
        bends=_bends(marks, drawn_marks, scaled),
        flags=doubts(
            centreline=centreline,
            calibration=calibration,
            model=model,
            marks=marks,
            schneider_deg=schneider_deg,
            three_point=quantities["three_point_radius"] is not None,
        ),
        schneider_class=str(schneider_class(schneider_deg)),
        shape=model.best.shape.words,
        landmarks=fitted_landmarks(model, best, plane),
        profile=curvature_profile(best, drawn, "1/mm" if scaled else "1/px"),
        meanings=meanings(quantities),
    )


def _end_sd(centreline: Centreline, model: CanalModel, spacing: float) -> tuple[float, float]:
    """Standard error of both ends along the canal: the click's, but no end is known better than the point that marks it."""
    sd = centreline.position_sd_px
    if sd is None:
        points = (np.sqrt(model.variance_scale),) * 2
    else:
        points = (float(sd[0]) * spacing, float(sd[-1]) * spacing)
    orifice, foramen = (
        max(c * spacing, float(p)) for c, p in zip(centreline.click_sd_px, points, strict=True)
    )
    return orifice, foramen


def _quantity(
    name: str, values: dict[str, FloatArray], spread: list[dict[str, FloatArray]]
) -> Quantity | None:
    value = value_of(name, values)
    if value is None:
        return None
    drawn = np.concatenate([batch[name] for batch in spread if name in batch])
    return _interval(value, drawn, unit_of(name), READINGS[name])


def _interval(value: float, drawn: FloatArray, unit: str, reading: str = "") -> Quantity:
    drawn = drawn[np.isfinite(drawn)]
    lower, upper = percentiles(drawn, INTERVAL) if len(drawn) else (value, value)
    if unit == "mm":
        value, lower, upper = (min(float(x), LARGEST_RADIUS_MM) for x in (value, lower, upper))
    return Quantity(
        value=value,
        lower=min(float(lower), value),
        upper=max(float(upper), value),
        unit=unit,
        reading=reading,
    )


def _bends(marks: CanalLandmarks, drawn: list[CanalLandmarks], scaled: bool) -> tuple[Bend, ...]:
    """Bends of the best shape; intervals from the drawn canals with as many bends."""
    alike = [its for its in drawn if len(its.arcs) == len(marks.arcs)]
    schneider, spread = bend_schneider(marks), [bend_schneider(m) for m in alike]
    return tuple(
        _bend(i, marks, alike, schneider[i], np.concatenate([s[i] for s in spread]), scaled)
        for i in range(len(marks.arcs))
    )


def _bend(
    i: int,
    marks: CanalLandmarks,
    alike: list[CanalLandmarks],
    schneider: FloatArray,
    spread: FloatArray,
    scaled: bool,
) -> Bend:
    arc = marks.arcs[i]
    turning = float(arc.turning_deg[0])
    # Angles of drawn bends keep their sign against the best one, so that a doubtful bend's interval reaches down to 0.
    angles = np.concatenate([m.arcs[i].turning_deg for m in alike]) * np.sign(turning)

    def length(name: str) -> Quantity | None:
        if not scaled:
            return None
        return _interval(
            float(getattr(arc, name)[0]), np.concatenate([getattr(m.arcs[i], name) for m in alike]), "mm"
        )

    return Bend(
        start_from_foramen=length("start_from_foramen"),
        end_from_foramen=length("end_from_foramen"),
        angle=_interval(abs(turning), np.maximum(angles, 0.0), "deg"),
        radius=length("radius"),
        schneider_angle=_interval(float(schneider[0]), spread, "deg"),
        direction="right" if turning > 0.0 else "left",
    )
