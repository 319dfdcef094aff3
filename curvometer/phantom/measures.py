"""The true measures of a simulated canal, from closed forms of its shape, never from drawn points.

Symbols: straight coronal piece ``a``, arc of radius ``R`` and angle ``theta``, straight tail ``b``. The
orifice O is the origin, B = (a, 0) the point where the canal leaves its coronal axis, P = (u_P, v_P) the
foramen. The names are those of the measurement record, so that a benchmark compares like with like.
"""

from __future__ import annotations

import math
from typing import Any

from curvometer.phantom.shape import CanalShape, SegmentFrame

_FORM_STRAIGHT_DEG = 5.0
_C_FORM_SHARE = 0.8


def true_measures(shape: CanalShape) -> dict[str, Any]:
    """Every measure that the shape defines, by its name in the measurement record.

    Parameters
    ----------
    shape
        The canal in its own plane.

    Returns
    -------
    dict
        Angles in degrees, lengths and radii in mm, ``canal_form`` a letter, ``bends`` a list with start and
        end (distance from the foramen), angle, radius and direction. What the shape does not define is
        ``None`` (a radius of a straight canal, one Pruett arc of an S).
    """
    frames = shape.frames()
    arcs = [f for f in frames if f.length_mm > 0.0 and not math.isinf(f.radius_mm)]
    end = frames[-1]
    total = math.fsum(abs(_turn_deg(f)) for f in arcs)
    net = math.degrees(end.heading)
    measures: dict[str, Any] = {
        "canal_length": shape.length_mm,
        "weine_angle": abs(net),
        "net_turning": abs(net),
        "total_turning": total,
        "canal_form": canal_form(shape),
        "bends": [_bend(f, shape.length_mm) for f in arcs],
    }
    measures |= _triangle_measures(arcs, end)
    measures |= _arc_measures(arcs, shape.length_mm)
    radius, angle = measures["pruett_radius"], measures["schneider_angle"]
    # Backman 1992: RQ = angle / radius, read here with the Schneider angle.
    measures["radius_quotient"] = None if radius is None else angle / radius
    return measures


def canal_form(shape: CanalShape) -> str:
    """Letter of the canal's form: I straight, J curved in a part, C curved all along, S curved both ways.

    I when the canal turns by less than 5 degrees altogether; S when it turns by more than 5 degrees to either
    side; C when at least 80 % of the length lies between the 10 % and the 90 % quantile of the turning; else
    J.
    """
    arcs = [f for f in shape.frames() if f.length_mm > 0.0 and not math.isinf(f.radius_mm)]
    left = math.fsum(t for f in arcs if (t := _turn_deg(f)) > 0.0)
    right = math.fsum(-t for f in arcs if (t := _turn_deg(f)) < 0.0)
    if left + right < _FORM_STRAIGHT_DEG:
        return "I"
    if min(left, right) > _FORM_STRAIGHT_DEG:
        return "S"
    inner = _turning_quantile(arcs, 0.9) - _turning_quantile(arcs, 0.1)
    return "C" if inner >= _C_FORM_SHARE * shape.length_mm - 1e-9 else "J"


def _triangle_measures(arcs: list[SegmentFrame], end: SegmentFrame) -> dict[str, float | None]:
    """Measures from the triangle O, B, P; a straight canal has no B and its angles are 0."""
    access = math.degrees(math.atan2(abs(end.v_mm), end.u_mm))
    if not arcs:
        none = dict.fromkeys(("curvature_height", "curvature_distance", "chord_radius"))
        return {"schneider_angle": 0.0, "canal_access_angle": access, **none}
    a = arcs[0].s_mm
    schneider = math.atan2(abs(end.v_mm), end.u_mm - a)  # the coronal axis is the u axis
    chord = math.hypot(end.u_mm - a, end.v_mm)
    return {
        "schneider_angle": math.degrees(schneider),
        "canal_access_angle": access,
        "curvature_height": a * math.sin(math.radians(access)),  # Günday 2005: x = a sin CAA
        "curvature_distance": a * math.cos(math.radians(access)),  # Günday 2005: y = a cos CAA
        "chord_radius": chord / (2.0 * math.sin(schneider)) if schneider > 0.0 else None,  # Schäfer 2002
    }


def _arc_measures(arcs: list[SegmentFrame], length_mm: float) -> dict[str, float | None]:
    names = ("pruett_angle", "pruett_radius", "minimum_radius", "minimum_radius_from_foramen")
    measures: dict[str, float | None] = dict.fromkeys((*names, "curve_start_from_foramen"))
    measures["curve_end_from_foramen"] = None
    if arcs:
        measures["minimum_radius"] = min(abs(f.radius_mm) for f in arcs)
        measures["curve_start_from_foramen"] = length_mm - arcs[0].s_mm
        measures["curve_end_from_foramen"] = length_mm - (arcs[-1].s_mm + arcs[-1].length_mm)
    if len(arcs) == 1:
        measures["pruett_angle"] = abs(_turn_deg(arcs[0]))
        measures["pruett_radius"] = abs(arcs[0].radius_mm)
    if arcs:
        sharpest = min(arcs, key=lambda f: abs(f.radius_mm))
        middle = sharpest.s_mm + 0.5 * sharpest.length_mm
        measures["minimum_radius_from_foramen"] = length_mm - middle
    return measures


def _turn_deg(frame: SegmentFrame) -> float:
    return math.degrees(frame.length_mm / frame.radius_mm)


def _bend(frame: SegmentFrame, length_mm: float) -> dict[str, Any]:
    return {
        "start_from_foramen": length_mm - frame.s_mm,
        "end_from_foramen": length_mm - (frame.s_mm + frame.length_mm),
        "angle": abs(_turn_deg(frame)),
        "radius": abs(frame.radius_mm),
        "direction": 1 if frame.radius_mm > 0.0 else -1,
    }


def _turning_quantile(arcs: list[SegmentFrame], share: float) -> float:
    """Arc length at which a share of the total absolute turning has happened."""
    left = share * math.fsum(abs(_turn_deg(f)) for f in arcs)
    for frame in arcs:
        turn = abs(_turn_deg(frame))
        if left <= turn:
            return frame.s_mm + frame.length_mm * left / turn
        left -= turn
    return arcs[-1].s_mm + arcs[-1].length_mm
