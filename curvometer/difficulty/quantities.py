"""The numbers that criteria look at: measured ones, two derived from the bends, and those that a person states."""

from __future__ import annotations

import math
from collections.abc import Mapping

from curvometer.curvature import schneider_angle_of_arc
from curvometer.curvature.form import STRAIGHT_BELOW_DEG
from curvometer.difficulty.facts import FACT_NUMBERS
from curvometer.measurement import QUANTITY_NAMES, Bend, CanalMeasurement, Quantity

OPPOSITE_TURNING = "opposite_turning"
CURVE_START_SHARE = "curve_start_share"
GRADABLE = (*QUANTITY_NAMES, OPPOSITE_TURNING, CURVE_START_SHARE, *FACT_NUMBERS)
"""Every quantity that a criterion may name."""

FLAG_NAMES: Mapping[str, tuple[str, ...]] = {
    OPPOSITE_TURNING: (),
    CURVE_START_SHARE: ("curve_start_from_foramen", "canal_length"),
}
"""Names under which the measurement's flags speak of a derived quantity."""

ASSUMED_ANGLE_ERROR_DEG = 5.0
"""Half of the 95 % interval of an angle that is typed in without one (common practice, no source)."""
ASSUMED_RADIUS_ERROR_MM = 1.0
"""The same for a radius."""


def measured_quantities(measurement: CanalMeasurement) -> dict[str, Quantity]:
    """Everything of a measurement that a criterion may look at; what is absent there is absent here.

    Parameters
    ----------
    measurement
        One measured canal.

    Returns
    -------
    dict
        The quantities of `QUANTITY_NAMES` that were given, and

        ``opposite_turning``
            degrees that the canal turns to the side to which it turns less: an S-shape by its amount;
        ``curve_start_share``
            start of the curve over length of the canal, both from the foramen: 1 is at the orifice.
    """
    found = {name: quantity for name, quantity in measurement.quantities.items() if quantity is not None}
    found[OPPOSITE_TURNING] = _opposite_turning(measurement)
    start, length = measurement.curve_start_from_foramen, measurement.canal_length
    if start is not None and length is not None and length.value > 0.0:
        # The scale cancels in the share; the start's own error is what is left of the interval.
        share = (min(max(x / length.value, 0.0), 1.0) for x in (start.value, start.lower, start.upper))
        value, lower, upper = share
        found[CURVE_START_SHARE] = Quantity(value=value, lower=lower, upper=upper, unit="")
    return found


def typed_quantities(
    *,
    angle_deg: float | None = None,
    angle_interval_deg: tuple[float, float] | None = None,
    radius_mm: float | None = None,
) -> dict[str, Quantity]:
    """Quantities of a what-if: numbers that somebody typed, one bend.

    Parameters
    ----------
    angle_deg
        Schneider's angle.
    angle_interval_deg
        Its 95 % interval; `ASSUMED_ANGLE_ERROR_DEG` to each side when None.
    radius_mm
        Taken as the radius that each set means, `ASSUMED_RADIUS_ERROR_MM` to each side.

    Returns
    -------
    dict
        Quantities by the names that criteria use.
    """
    found: dict[str, Quantity] = {}
    if angle_deg is not None:
        error = ASSUMED_ANGLE_ERROR_DEG
        lower, upper = angle_interval_deg or (max(angle_deg - error, 0.0), angle_deg + error)
        found["schneider_angle"] = Quantity(value=angle_deg, lower=lower, upper=upper, unit="deg")
        found[OPPOSITE_TURNING] = Quantity(value=0.0, lower=0.0, upper=0.0, unit="deg")
    if radius_mm is not None:
        lower, upper = (
            max(radius_mm - ASSUMED_RADIUS_ERROR_MM, 0.5 * radius_mm),
            radius_mm + ASSUMED_RADIUS_ERROR_MM,
        )
        radius = Quantity(value=radius_mm, lower=lower, upper=upper, unit="mm")
        found |= {"minimum_radius": radius, "three_point_radius": radius}
    return found


def schneider_of_central(
    angle_deg: float,
    interval_deg: tuple[float, float] | None = None,
    *,
    radius_mm: float,
    start_from_foramen_mm: float,
) -> tuple[float, tuple[float, float] | None]:
    """Schneider's angle and its interval for a typed arc: criteria look at Schneider's, instruments feel the central one.

    Parameters
    ----------
    angle_deg, interval_deg
        Central angle of the arc; its 95 % interval, None where nobody said.
    radius_mm, start_from_foramen_mm
        As in `curvometer.curvature.schneider_angle_of_arc`.
    """
    angle, *ends = (
        schneider_angle_of_arc(
            central_angle_deg=each, radius_mm=radius_mm, start_from_foramen_mm=start_from_foramen_mm
        )
        for each in (angle_deg, *(interval_deg or ()))
    )
    return angle, (ends[0], ends[1]) if ends else None


def _opposite_turning(measurement: CanalMeasurement) -> Quantity:
    sides = {
        side: _sum_of_angles([bend for bend in measurement.bends if bend.direction == side])
        for side in ("left", "right")
    }
    lesser = min(sides.values(), key=lambda quantity: quantity.value)
    if measurement.canal_form == "S" and lesser.value < STRAIGHT_BELOW_DEG:
        # The form says S although no two bends are told: the canal turns by at least the form's limit.
        limit = STRAIGHT_BELOW_DEG
        return Quantity(value=limit, lower=limit, upper=max(limit, lesser.upper), unit="deg")
    return lesser


def _sum_of_angles(bends: list[Bend]) -> Quantity:
    """Add bends; their errors are taken as independent."""
    value = math.fsum(bend.angle.value for bend in bends)
    down = math.hypot(*(bend.angle.value - bend.angle.lower for bend in bends))
    up = math.hypot(*(bend.angle.upper - bend.angle.value for bend in bends))
    return Quantity(value=value, lower=max(value - down, 0.0), upper=value + up, unit="deg")
