"""The decision table: which row holds for a canal. Common practice, no source; safety first, the first match wins."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product

from curvometer import PlanRequest

Shape = tuple[int, float]

NEAR_LIMIT_DEG, NEAR_LIMIT_MM = 5.0, 1.0
"""A value closer than this to a limit may belong to the other side (modifier m4)."""

SHORTEST_ARC_MM = 1.0
"""A bend shorter than this is a kink, for which d / (2R) says nothing (modifier m3)."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row with rotary steps.

    Attributes
    ----------
    when
        In words.
    rotary
        (size, taper) in their order.
    speed_rpm
        Where the maker allows it.
    seconds
        Of each step.
    hand_first
        Hand sizes that go to length first, as far as they reached it.
    preflare
        Whether the coronal third is widened first.
    to_curve_start
        Rotary down to the start of the curve only.
    most_share
        (size, taper, share) above which an instrument is left out; half of the budget for all others.
    offered
        (size, taper, share) of an enlargement that may follow where every instrument of the row does, and that spends no more.
    """

    when: str
    rotary: tuple[Shape, ...]
    speed_rpm: float
    seconds: float
    hand_first: tuple[int, ...] = (8, 10)
    preflare: bool = True
    to_curve_start: bool = False
    most_share: tuple[int, float, float] | None = None
    offered: tuple[int, float, float] | None = None


_TWO = ((10, 0.02), (15, 0.02))
ROWS: dict[str, Row] = {
    "R09": Row(
        when="hook: radius below 2.5 mm with a central angle of 20 degrees or more",
        rotary=_TWO, speed_rpm=500.0, seconds=4.0, hand_first=(8,), to_curve_start=True,
    ),
    "R10": Row(when="S-shape, or a second bend of 10 degrees or more", rotary=_TWO, speed_rpm=400.0, seconds=4.0),
    "R08": Row(
        when="short radius: 4 mm or less with a central angle of 10 degrees or more", rotary=_TWO, speed_rpm=500.0, seconds=4.0,
        offered=(20, 0.02, 0.25),
    ),
    "R11": Row(
        when="the curve starts in the coronal third", rotary=_TWO, speed_rpm=500.0, seconds=4.0, preflare=False
    ),
    "R07": Row(
        when="severe: central angle above 30 degrees, radius above 4 mm",
        rotary=(*_TWO, (20, 0.02)), speed_rpm=600.0, seconds=5.0, hand_first=(8,), preflare=False,
        most_share=(20, 0.02, 0.25),
    ),
    "R05": Row(
        when="narrow and gentle: central angle below 20 degrees with a radius above 8 mm, or below 10 degrees",
        rotary=((10, 0.02), (10, 0.04)), speed_rpm=900.0, seconds=8.0, hand_first=(8,), preflare=False,
    ),
    "R06": Row(
        when="narrow, central angle of 10 to 30 degrees, otherwise",
        rotary=_TWO, speed_rpm=600.0, seconds=5.0, hand_first=(8,),
    ),
    "R04": Row(
        when="moderate: central angle of 10 to 30 degrees, radius above 4 to 8 mm",
        rotary=_TWO, speed_rpm=600.0, seconds=5.0,
    ),
    "R03": Row(
        when="moderate and sweeping: central angle of 10 to 30 degrees, radius above 8 mm",
        rotary=((10, 0.04), (15, 0.02)), speed_rpm=600.0, seconds=5.0,
    ),
    "R02": Row(
        when="central angle below 10 degrees, size 10 at length",
        rotary=((15, 0.02),), speed_rpm=300.0, seconds=5.0, hand_first=(10,),
    ),
}  # fmt: skip

WITHOUT_ROTARY: dict[str, str] = {
    "R18": "image rejected, no scale, no accepted tracing, no working length, or a milk tooth",
    "R15": "the apex is open by more than 1 mm",
    "R13": "the canal is blocked: ledge, obstruction, old filling or fragment",
    "R14": "neither size 6 nor size 8 reaches working length",
    "R17": "size 6 only reaches working length",
    "R16": "sudden split or deep confluence",
    "R12": "wide: size 20 is loose at working length, radius above 4 mm",
    "R01": "wide and straight: central angle below 10 degrees, size 15 or more at length",
}
SAFEST_FIRST = (
    *("R18", "R15", "R13", "R14", "R17", "R16", "R09", "R10", "R08", "R11", "R12", "R07"),
    *("R06", "R05", "R04", "R03", "R01", "R02"),
)
"""Rows by caution. In the table R05 is looked at before R06, but R06 asks less of the canal."""


def row_of(request: PlanRequest) -> str:
    """The row that holds; with intervals, the most cautious row that they reach (modifier m4)."""
    if row := _row_by_findings(request):
        return row
    corners = product(
        _values(request.angle_deg, request.angle_interval_deg),
        _values(_radius(request), request.radius_interval_mm),
    )
    return min((_row_by_curve(angle, radius, request) for angle, radius in corners), key=SAFEST_FIRST.index)


def row_near_by(request: PlanRequest) -> str | None:
    """A more cautious row that a typed value's reading error would reach; None where there is none, or with intervals."""
    row = row_of(request)
    if _row_by_findings(request):
        return None
    angle, radius = request.angle_deg, _radius(request)
    # Strictly closer than the error: at exactly 5 degrees or 1 mm the value keeps its row.
    errors = (NEAR_LIMIT_DEG - 1e-9, NEAR_LIMIT_MM - 1e-9)
    angles = (
        [angle] if request.angle_interval_deg else [max(angle - errors[0], 0.0), angle, angle + errors[0]]
    )
    radii = (
        [radius]
        if request.radius_interval_mm
        else [max(radius - errors[1], 1e-3), radius, radius + errors[1]]
    )
    found = min((_row_by_curve(a, r, request) for a, r in product(angles, radii)), key=SAFEST_FIRST.index)
    return found if SAFEST_FIRST.index(found) < SAFEST_FIRST.index(row) else None


def is_kink(request: PlanRequest) -> bool:
    """Whether the bend is shorter than an arc can be told from (modifier m3)."""
    radius = request.smallest_radius_mm
    if radius is None or request.angle_deg < 10.0:
        return False
    return radius * math.radians(request.angle_deg) < SHORTEST_ARC_MM


def _row_by_findings(request: PlanRequest) -> str | None:
    """Rows that no angle and no radius can change."""
    found, size = request.exploration, request.exploration.size_at_length
    unknown = request.curve is None or not request.scale_known or request.working_length_mm is None
    for row, holds in (
        ("R18", unknown or found.image_rejected or not found.trace_accepted or request.is_primary),
        ("R15", found.has_open_apex),
        ("R13", found.blocked),
        ("R14", size == 0),
        ("R17", size == 6),
        ("R16", found.split),
    ):
        if holds:
            return row
    return None


def _row_by_curve(angle: float, radius: float, request: PlanRequest) -> str:
    found, size = request.exploration, request.exploration.size_at_length
    narrow = found.is_narrow
    gentle = (angle < 20.0 and radius > 8.0) or angle < 10.0
    for row, holds in (
        ("R09", angle >= 20.0 and radius < 2.5),
        ("R10", request.bends_twice),
        ("R08", angle >= 10.0 and radius <= 4.0),
        ("R11", angle >= 10.0 and starts_coronally(request)),
        ("R12", size >= 20 and found.loose and radius > 4.0),
        ("R07", angle > 30.0),
        ("R05", narrow and gentle),
        ("R06", narrow),
        ("R04", angle >= 10.0 and radius <= 8.0),
        ("R03", angle >= 10.0),
        ("R01", size >= 15),
    ):
        if holds:
            return row
    return "R02"


def starts_coronally(request: PlanRequest) -> bool:
    """Whether the curve starts in the coronal third of the canal."""
    start, length, canal = request.curve_start_mm, request.working_length_mm, request.canal_length_mm
    if start is None or length is None or canal is None:
        return False
    return length - start > 2.0 / 3.0 * canal


def _radius(request: PlanRequest) -> float:
    radius = request.smallest_radius_mm
    return math.inf if radius is None else radius


def _values(value: float, interval: tuple[float, float] | None) -> tuple[float, ...]:
    return (value,) if interval is None else (interval[0], value, interval[1])
