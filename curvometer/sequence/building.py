"""Requests from a measurement, or from typed numbers for a what-if."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from curvometer.curvature import schneider_angle_of_arc
from curvometer.instruments import Inventory, default_inventory
from curvometer.measurement import Bend, CanalMeasurement, Quantity, Severity
from curvometer.mechanics import CanalCurve, curve_of_arcs, curve_of_measurement, curve_of_one_arc
from curvometer.sequence.request import (
    LONGEST_WORKING_LENGTH_MM,
    SHORTEST_WORKING_LENGTH_MM,
    Exploration,
    PlanRequest,
    SequenceError,
)

CROWN_MM = 9.0
"""From the reference point on the crown to the canal orifice where nobody measured it (common practice, no source)."""

SHORTEST_ARC_MM = 1e-6
"""Below this there is no arc."""

STRAIGHT_RADIUS_MM = 1e3
"""Nothing is bent by a radius from here on."""


@dataclass(frozen=True, kw_only=True)
class CaseContext:
    """What a request holds besides curve and exploration; the fields are those of `PlanRequest`."""

    inventory: Inventory | None = None
    tooth: int | None = None
    canal: str | None = None
    grades: tuple[tuple[str, str], ...] = ()
    referral: str | None = None
    referral_reasons: tuple[str, ...] = ()

    @property
    def shelf(self) -> Inventory:
        """The clinic's own, else the default one."""
        return default_inventory() if self.inventory is None else self.inventory


def assumed_canal_length_mm(working_length_mm: float, *, curve_start_from_foramen_mm: float = 0.0) -> float:
    """Length of the canal from a working length: less `CROWN_MM`, at least half of it, and at least the curve."""
    least = max(0.5 * working_length_mm, curve_start_from_foramen_mm)
    return min(max(working_length_mm - CROWN_MM, least), working_length_mm)


def assumed_working_length_mm(canal_length_mm: float) -> float:
    """Working length from the measured length of the canal: with `CROWN_MM`, to 0.1 mm, within what a tooth can have."""
    whole = round(canal_length_mm + CROWN_MM, 1)
    return min(max(whole, SHORTEST_WORKING_LENGTH_MM), LONGEST_WORKING_LENGTH_MM)


def what_if_request(
    *,
    angle_deg: float,
    exploration: Exploration,
    radius_mm: float | None = None,
    curve_start_from_foramen_mm: float | None = None,
    canal_length_mm: float | None = None,
    second_angle_deg: float = 0.0,
    s_shape: bool = False,
    angle_interval_deg: tuple[float, float] | None = None,
    radius_interval_mm: tuple[float, float] | None = None,
    context: CaseContext | None = None,
) -> PlanRequest:
    """A request from typed numbers.

    Parameters
    ----------
    angle_deg
        Central angle of the curve; 0 is straight.
    exploration
        With the working length.
    radius_mm
        Needed for a curve.
    curve_start_from_foramen_mm
        Needed for a curve. An arc that would be longer than its place ends at the foramen: its radius, and with it the
        strain, stays as typed.
    canal_length_mm
        `assumed_canal_length_mm` when not given.
    second_angle_deg, s_shape, angle_interval_deg, radius_interval_mm
        As in `PlanRequest`. A second bend has the same radius and the place above the first one's start, or as much of it
        as the canal holds; in an S whose second angle is not given it is as sharp as the first.
    context
        Shelf, tooth, grades.

    Returns
    -------
    PlanRequest

    Raises
    ------
    SequenceError
        If a number is missing or impossible.
    """
    case = context or CaseContext()
    length = exploration.working_length_mm
    if length is None:
        raise SequenceError("A what-if needs the working length; give it in mm from the reference point.")
    if not (isinstance(angle_deg, int | float) and 0.0 <= angle_deg <= 180.0):
        raise SequenceError(f"An angle of {angle_deg!r} is no deflection; give degrees from 0 to 180.")
    curved = angle_deg > 0.0
    if curved and (radius_mm is None or curve_start_from_foramen_mm is None):
        raise SequenceError(
            "A curve needs its radius and where it starts, both in mm; give them, or an angle of 0 for a straight canal."
        )
    if not curved and (s_shape or second_angle_deg > 0.0):
        raise SequenceError("A second bend needs a first one; give the angle of the apical curve, above 0.")
    # An S whose second bend nobody measured must not be strained less for that.
    second_angle_deg = angle_deg if s_shape and second_angle_deg == 0.0 else second_angle_deg
    start = curve_start_from_foramen_mm if curved else None
    if start is not None and not 0.0 < start < length:
        raise SequenceError(
            f"A curve that starts {start:g} mm from the foramen does not fit in a working length of {length:g} mm;"
            " measure one of them again."
        )
    canal = canal_length_mm or assumed_canal_length_mm(length, curve_start_from_foramen_mm=start or 0.0)
    if start is not None and canal < start:
        raise SequenceError(
            f"The curve starts {start:g} mm from the foramen in a canal of {canal:g} mm; measure one of them again."
        )
    return PlanRequest(
        curve=_typed_curve(angle_deg, radius_mm, start, canal, second_angle_deg),
        exploration=exploration,
        angle_deg=float(angle_deg),
        radius_mm=radius_mm if curved else None,
        curve_start_from_foramen_mm=start,
        angle_interval_deg=angle_interval_deg,
        radius_interval_mm=radius_interval_mm,
        s_shape=s_shape,
        second_angle_deg=second_angle_deg,
        grades=case.grades,
        referral=case.referral,
        referral_reasons=case.referral_reasons,
        inventory=case.shelf,
        tooth=case.tooth,
        canal=case.canal,
        schneider_angle_deg=_typed_schneider(angle_deg, radius_mm, start, second_angle_deg),
    )


def request_of_measurement(
    measurement: CanalMeasurement, exploration: Exploration, *, context: CaseContext | None = None
) -> PlanRequest:
    """A request from a measured canal.

    Parameters
    ----------
    measurement
        Without a scale the request has no curve, and no rotary plan will pass.
    exploration
        The findings at the chair. A flag that says not to trust the measurement counts as a tracing that nobody accepted.
    context
        Shelf, tooth, grades.

    Returns
    -------
    PlanRequest
        The angle is the greater one of the sharpest bend and Pruett's; the intervals are the measurement's own.
    """
    case = context or CaseContext()
    scaled = measurement.profile.unit == "1/mm" and measurement.canal_length is not None
    doubted = any(flag.severity is Severity.DO_NOT_TRUST for flag in measurement.flags)
    bends = sorted(measurement.bends, key=lambda bend: bend.angle.value, reverse=True)
    angle = _angle(measurement, bends)
    radius = measurement.minimum_radius if scaled and bends else None
    start = _start(bends) if scaled else None
    return PlanRequest(
        curve=curve_of_measurement(measurement) if scaled else None,
        exploration=_with_trace(exploration, accepted=exploration.trace_accepted and not doubted),
        angle_deg=0.0 if angle is None else min(max(angle.value, 0.0), 180.0),
        radius_mm=None if radius is None else radius.value,
        curve_start_from_foramen_mm=start,
        angle_interval_deg=_interval(angle),
        radius_interval_mm=_interval(radius),
        s_shape=measurement.canal_form == "S",
        second_angle_deg=bends[1].angle.value if len(bends) > 1 else 0.0,
        grades=case.grades,
        referral=case.referral,
        referral_reasons=case.referral_reasons,
        inventory=case.shelf,
        tooth=case.tooth,
        canal=case.canal,
        scale_known=scaled,
        schneider_angle_deg=_measured_schneider(measurement, bends),
    )


def _typed_curve(
    angle: float, radius: float | None, start: float | None, canal: float, second: float
) -> CanalCurve:
    if radius is None or start is None:
        return curve_of_one_arc(
            angle_deg=0.0, radius_mm=STRAIGHT_RADIUS_MM, end_from_foramen_mm=0.0, canal_length_mm=canal
        )
    end = max(0.0, start - radius * math.radians(angle))
    arcs = [(start, end, radius)] if start - end > SHORTEST_ARC_MM else []
    top = min(start + radius * math.radians(second), canal)
    if top - start > SHORTEST_ARC_MM:
        arcs.append((top, start, radius))
    return curve_of_arcs(arcs, canal_length_mm=canal)


def _angle(measurement: CanalMeasurement, bends: list[Bend]) -> Quantity | None:
    """The sharpest bend, or Pruett's angle where it is greater."""
    found = [bend.angle for bend in bends[:1]]
    found += [quantity for quantity in (measurement.pruett_angle,) if quantity is not None]
    return max(found, key=lambda quantity: quantity.value, default=None)


def _typed_schneider(angle: float, radius: float | None, start: float | None, second: float) -> float | None:
    """Derived from the arc; None with a second bend, which has no such angle of its own here."""
    if radius is None or start is None or second > 0.0:
        return None
    return schneider_angle_of_arc(central_angle_deg=angle, radius_mm=radius, start_from_foramen_mm=start)


def _measured_schneider(measurement: CanalMeasurement, bends: list[Bend]) -> float | None:
    """Of the bend that the central angle belongs to."""
    found = bends[0].schneider_angle if len(bends) > 1 else measurement.schneider_angle
    return None if found is None or not bends else min(max(found.value, 0.0), 180.0)


def _start(bends: list[Bend]) -> float | None:
    starts = [bend.start_from_foramen.value for bend in bends if bend.start_from_foramen is not None]
    return max((start for start in starts if start > 0.0), default=None)


def _interval(quantity: Quantity | None) -> tuple[float, float] | None:
    if quantity is None or not quantity.lower <= quantity.upper:
        return None
    return max(quantity.lower, 0.0), max(quantity.upper, 0.0)


def _with_trace(exploration: Exploration, *, accepted: bool) -> Exploration:
    return (
        exploration
        if accepted == exploration.trace_accepted
        else replace(exploration, trace_accepted=accepted)
    )
