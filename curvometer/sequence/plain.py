"""Plans and requests as plain dictionaries and back, so that a plan can be kept and replayed.

Depths stay depths from the reference point; nothing here is a position on an image.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, fields
from typing import Any, TypeVar

from curvometer.bibliography import HowRead, Reference
from curvometer.instruments import Instrument, Inventory
from curvometer.mechanics import BudgetShare, CanalCurve
from curvometer.radiograph import CurvometerError
from curvometer.sequence.plan import SequencePlan, SequenceStep
from curvometer.sequence.request import Exploration, PlanRequest, SequenceError
from curvometer.sequence.rules import Violation

Plain = dict[str, Any]
Made = TypeVar("Made")
_SHAPE = ("kind", "size", "taper")
FORMAT = 1
"""Version of these dictionaries."""
ANGLE_KIND = "central"
"""Which angle `angle_deg` of a request is: that of the arc, which an instrument is bent round; not Schneider's."""


def instrument_to_plain(instrument: Instrument) -> Plain:
    """Tell every field of an instrument."""
    told = {field.name: getattr(instrument, field.name) for field in fields(instrument)}
    speed = instrument.speed_rpm
    return {
        **told,
        "kind": str(instrument.kind),
        "material": str(instrument.material),
        "speed_rpm": None if speed is None else list(speed),
    }


def instrument_from_plain(plain: Plain) -> Instrument:
    """Make an instrument again.

    Raises
    ------
    SequenceError
        If a field is missing, unknown or impossible.
    """
    return _make(Instrument, plain, "instrument")


def step_to_plain(step: SequenceStep) -> Plain:
    """Tell a step; `budget_share` is a fraction, its range and the turns stand beside it.

    `instrument` holds the shape, `piece` what else is known about the piece of the shelf.
    """
    share = step.budget_share
    whole = instrument_to_plain(step.instrument)
    return {
        "instrument": {name: whole.pop(name) for name in _SHAPE},
        "piece": whole,
        "to_mm": step.to_mm,
        "role": str(step.role),
        "motion": step.motion,
        "speed_rpm": step.speed_rpm,
        "seconds": step.seconds,
        "pecks": step.pecks,
        "why": step.why,
        "strain_percent": step.strain_percent,
        "budget_share": None if share is None else share.value,
        "budget_share_range": None if share is None else [share.lower, share.upper],
        "budget_cycles": None if share is None else share.cycles,
        "check": step.check,
        "if_short": step.if_short,
        "stop_when": step.stop_when,
    }


def plan_to_plain(plan: SequencePlan) -> Plain:
    """Tell a plan, complete."""
    return {
        "format": FORMAT,
        "recommender": plan.recommender,
        "rule": plan.rule,
        "steps": [step_to_plain(step) for step in plan.steps],
        "ends_with": plan.ends_with,
        "reasons": list(plan.reasons),
        "cautions": list(plan.cautions),
        "sources": [{**asdict(source), "how_read": source.how_read.value} for source in plan.sources],
    }


def plan_from_plain(plain: Plain) -> SequencePlan:
    """Make a plan again, to replay it.

    Raises
    ------
    SequenceError
        If the dictionary is no plan of this format.
    """
    told = _checked(plain, "plan")
    steps = _list(told.pop("steps", None), "steps")
    sources = [_reference(source) for source in _list(told.pop("sources", []), "sources")]
    return _make(
        SequencePlan,
        {**told, "steps": tuple(_step(step) for step in steps), "sources": tuple(sources)},
        "plan",
    )


def request_to_plain(request: PlanRequest) -> Plain:
    """Tell a request, complete, with the shelf and the curve."""
    told = {field.name: getattr(request, field.name) for field in fields(request)}
    found = {field.name: getattr(request.exploration, field.name) for field in fields(Exploration)}
    found["explored_mm"] = {str(size): depth for size, depth in request.exploration.explored_mm.items()}
    found["operator"] = None if found["operator"] is None else str(found["operator"])
    curve, shelf = request.curve, request.inventory
    if told["schneider_angle_deg"] is None:
        del told["schneider_angle_deg"]  # a request without it is told as before there was one
    return {
        "format": FORMAT,
        "angle_kind": ANGLE_KIND,
        **told,
        "curve": None
        if curve is None
        else {name: getattr(curve, name).tolist() for name in (field.name for field in fields(curve))},
        "exploration": found,
        "grades": [list(grade) for grade in request.grades],
        "referral_reasons": list(request.referral_reasons),
        "angle_interval_deg": _pair(request.angle_interval_deg),
        "radius_interval_mm": _pair(request.radius_interval_mm),
        "inventory": {"name": shelf.name, "instruments": [instrument_to_plain(i) for i in shelf.instruments]},
    }


def request_from_plain(plain: Plain) -> PlanRequest:
    """Make a request again.

    Raises
    ------
    SequenceError
        If the dictionary is no request of this format.
    """
    told = _checked(plain, "request")
    if (kind := told.pop("angle_kind", ANGLE_KIND)) != ANGLE_KIND:
        raise SequenceError(
            f"The angle of this request is of the kind {kind!r:.60}; a plan needs the central angle of the arc, so measure it"
            " or convert it."
        )
    found = _dict(told.pop("exploration", None), "exploration")
    shelf = _dict(told.pop("inventory", None), "inventory")
    curve = told.pop("curve", None)
    pieces = _list(shelf.get("instruments"), "instruments")
    depths = _dict(found.get("explored_mm", {}), "explored_mm")
    found["explored_mm"] = {_size(size): depth for size, depth in depths.items()}
    for name in ("angle_interval_deg", "radius_interval_mm"):
        told[name] = None if told.get(name) is None else tuple(_list(told[name], name))
    told["grades"] = tuple(tuple(_list(grade, "grades")) for grade in _list(told.get("grades", []), "grades"))
    inventory = {
        "name": shelf.get("name", ""),
        "instruments": tuple(instrument_from_plain(i) for i in pieces),
    }
    return _make(
        PlanRequest,
        {
            **told,
            "curve": None if curve is None else _make(CanalCurve, _dict(curve, "curve"), "curve"),
            "exploration": _make(Exploration, found, "exploration"),
            "inventory": _make(Inventory, inventory, "inventory"),
        },
        "request",
    )


def violation_to_plain(violation: Violation) -> Plain:
    """Tell a violation with the standing of its rule."""
    return {
        "rule": violation.rule.code,
        "step": violation.step,
        "text": violation.text,
        "sources": [source.citation for source in violation.rule.sources],
        "how_read": [source.how_read.value for source in violation.rule.sources],
    }


def _step(plain: object) -> SequenceStep:
    told = _dict(plain, "step")
    share, between = told.pop("budget_share", None), told.pop("budget_share_range", None)
    cycles = told.pop("budget_cycles", None)
    if share is not None:
        low, high = _ends(between) if between is not None else (share, share)
        told["budget_share"] = _make(
            BudgetShare,
            {"value": share, "lower": low, "upper": high, "cycles": cycles or 0.0},
            "budget share",
        )
    piece = _dict(told.pop("piece", {}), "piece")
    told["instrument"] = instrument_from_plain(_dict(told.get("instrument"), "instrument") | piece)
    return _make(SequenceStep, told, "step")


def _ends(between: object) -> tuple[object, object]:
    listed = _list(between, "budget_share_range")
    if len(listed) != 2:  # a lower and an upper end
        raise SequenceError(f"budget_share_range has a lower and an upper end, found {listed!r:.60}.")
    return listed[0], listed[1]


def _reference(plain: object) -> Reference:
    told = _dict(plain, "source")
    try:
        told["how_read"] = HowRead(str(told.get("how_read")))
    except ValueError:
        raise SequenceError(
            f"No source was read like {told.get('how_read')!r}; the dictionary is damaged."
        ) from None
    return _make(Reference, told, "source")


def _make(kind: Callable[..., Made], told: Plain, what: str) -> Made:
    try:
        return kind(**told)
    except CurvometerError:
        raise
    except (TypeError, ValueError, AttributeError) as error:
        raise SequenceError(
            f"This is no {what} of this program: {error}; write it with this program."
        ) from None


def _checked(plain: object, what: str) -> Plain:
    told = _dict(plain, what)
    if (found := told.pop("format", None)) != FORMAT:
        raise SequenceError(f"This {what} has the format {found!r}; only format {FORMAT} is understood.")
    return told


def _dict(value: object, what: str) -> Plain:
    if not isinstance(value, dict):
        raise SequenceError(f"The {what} must be an object, found {value!r:.60}; write it with this program.")
    return dict(value)


def _list(value: object, what: str) -> list[Any]:
    if not isinstance(value, list | tuple):
        raise SequenceError(f"{what} must be a list, found {value!r:.60}; write it with this program.")
    return list(value)


def _size(text: object) -> int:
    try:
        return int(str(text))
    except ValueError:
        raise SequenceError(f"There is no hand size {text!r}; sizes are 6, 8, 10, 15 and 20.") from None


def _pair(interval: tuple[float, float] | None) -> list[float] | None:
    return None if interval is None else list(interval)
