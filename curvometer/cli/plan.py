"""``curvometer plan``: a measured canal, or a what-if, to guarded instrument sequences of every recommender."""

from __future__ import annotations

import json
from argparse import Namespace
from dataclasses import dataclass, replace
from pathlib import Path

from curvometer.cli.arguments import UsageError
from curvometer.cli.plan_text import plan_text
from curvometer.difficulty import (
    CURRENT_CRITERIA,
    CaseFacts,
    DifficultyGrade,
    Operator,
    criteria_set,
    grade_all,
    grade_quantities,
    schneider_of_central,
    suggest_referral,
    typed_quantities,
)
from curvometer.instruments import load_inventory
from curvometer.measurement import CanalMeasurement, Severity
from curvometer.sequence import (
    PLANNING_CAUTIONS,
    CaseContext,
    Exploration,
    PlanAnswer,
    PlanRequest,
    Recommender,
    answer_to_plain,
    ask_recommenders,
    assumed_canal_length_mm,
    assumed_working_length_mm,
    load_recommender,
    request_of_measurement,
    request_to_plain,
    what_if_request,
)

WHAT_IF = (
    *("angle", "radius", "curve_start_from_foramen", "second_angle", "canal_length"),
    *("angle_interval", "radius_interval"),
)


@dataclass(frozen=True, kw_only=True)
class PlannedCanal:
    """What was asked for one canal, what is taken for granted, and the answer; no measurement in a what-if."""

    measurement: CanalMeasurement | None
    assumed: list[str]
    request: PlanRequest
    answer: PlanAnswer


def run(arguments: Namespace) -> int:
    """Plan and print."""
    told = planned(arguments)
    if arguments.json:
        print(json.dumps(_plain(told.answer, told.request, told.assumed), allow_nan=False))
    else:
        print(plan_text(told.answer, told.request, source=_source(arguments), assumed=told.assumed))
    flags = () if told.measurement is None else told.measurement.flags
    return 3 if any(flag.severity is Severity.DO_NOT_TRUST for flag in flags) else 0


def planned(arguments: Namespace) -> PlannedCanal:
    """Ask every recommender about the canal that is meant."""
    _check_usage(arguments)
    measurement = None if arguments.record is None else measured(arguments)
    request = _what_if(arguments) if measurement is None else of_record(arguments, measurement)
    return PlannedCanal(
        measurement=measurement,
        assumed=_assumed(arguments, measurement),
        request=request,
        answer=ask_recommenders(request, recommenders=_asked(arguments), time_limit_s=arguments.time_limit),
    )


def _check_usage(arguments: Namespace) -> None:
    typed = [name for name in WHAT_IF if getattr(arguments, name) is not None]
    if arguments.record is not None:
        if typed or arguments.s_shape:
            name = (typed or ["s_shape"])[0].replace("_", "-")
            raise UsageError(
                f"--{name} and a record exclude each other: the record already holds the measurement"
            )
        return
    if arguments.canal is not None and arguments.tooth is None:
        raise UsageError("--canal without a record needs --tooth: only a tooth tells which canals there are")
    if arguments.angle is None:
        raise UsageError("nothing to plan: give a record, or a what-if with --angle")
    if arguments.angle > 180.0:  # half a turn
        raise UsageError(
            f"--angle {arguments.angle:g} is no deflection: give degrees from 0 to 180, 0 is straight"
        )
    if arguments.working_length is None:
        raise UsageError(
            "a what-if needs --working-length: millimetres from the reference point on the crown"
        )
    if arguments.angle > 0.0:
        for name in ("radius", "curve_start_from_foramen"):
            if getattr(arguments, name) is None:
                raise UsageError(
                    f"a curve needs --{name.replace('_', '-')}: give it, or --angle 0 for a straight canal"
                )
    for name in ("angle", "radius"):
        value, between = getattr(arguments, name), getattr(arguments, f"{name}_interval")
        if between is not None and (value is None or not between[0] <= value <= between[1]):
            raise UsageError(
                f"--{name}-interval {between[0]:g},{between[1]:g} does not hold --{name}: correct one"
            )


def _exploration(arguments: Namespace, working_length_mm: float | None) -> Exploration:
    return Exploration(
        working_length_mm=working_length_mm,
        reached_size=arguments.reached or 0,
        loose=arguments.loose,
        forced=arguments.forced,
        explored_mm=dict(arguments.explored),
        visibility=arguments.visibility or "clear",
        blocked=arguments.blocked,
        apex_opening_mm=arguments.apex_opening,
        split=arguments.split,
        primary_tooth=arguments.primary_tooth,
        image_rejected=arguments.image_rejected,
        operator=None if arguments.operator is None else Operator(arguments.operator),
    )


def _context(arguments: Namespace, grades: tuple[DifficultyGrade, ...]) -> CaseContext:
    context = CaseContext(
        inventory=None if arguments.inventory is None else load_inventory(arguments.inventory),
        tooth=arguments.tooth,
        canal=arguments.canal if arguments.tooth is not None else None,
        grades=tuple((g.criteria.name, g.grade) for g in grades if g.grade is not None),
    )
    if arguments.operator is None:
        return context
    suggestion = suggest_referral(grades, operator=arguments.operator)
    advice = None if suggestion.advice is None else suggestion.advice.value
    return replace(context, referral=advice, referral_reasons=suggestion.reasons)


def _facts(arguments: Namespace) -> CaseFacts:
    return CaseFacts(
        tooth=arguments.tooth,
        canal=arguments.canal if arguments.tooth is not None else None,
        visibility=arguments.visibility or "clear",
        apex_opening_mm=arguments.apex_opening,
        s_shape=arguments.s_shape or None,
        operator=None if arguments.operator is None else Operator(arguments.operator),
    )


def _what_if(arguments: Namespace) -> PlanRequest:
    facts = _facts(arguments)
    angle, interval = _for_grades(arguments)
    quantities = typed_quantities(angle_deg=angle, angle_interval_deg=interval, radius_mm=arguments.radius)
    grades = tuple(
        grade_quantities(quantities, criteria=criteria_set(name), facts=facts) for name in CURRENT_CRITERIA
    )
    return what_if_request(
        angle_deg=arguments.angle,
        radius_mm=arguments.radius,
        curve_start_from_foramen_mm=arguments.curve_start_from_foramen,
        canal_length_mm=arguments.canal_length,
        second_angle_deg=arguments.second_angle or 0.0,
        s_shape=arguments.s_shape,
        angle_interval_deg=arguments.angle_interval,
        radius_interval_mm=arguments.radius_interval,
        exploration=_exploration(arguments, arguments.working_length),
        context=_context(arguments, grades),
    )


def _for_grades(arguments: Namespace) -> tuple[float, tuple[float, float] | None]:
    """Schneider's angle, which grades look at; with a second bend the central one, which is never smaller."""
    if not arguments.angle or arguments.s_shape or arguments.second_angle:
        return arguments.angle, arguments.angle_interval
    return schneider_of_central(
        arguments.angle,
        arguments.angle_interval,
        radius_mm=arguments.radius,
        start_from_foramen_mm=arguments.curve_start_from_foramen,
    )


def measured(arguments: Namespace) -> CanalMeasurement:
    """The one canal of the record that is meant; the record's tooth stands for `--tooth`."""
    from curvometer.cli.record_tooth import take_tooth  # noqa: PLC0415
    from curvometer.record import load_record  # noqa: PLC0415

    record = load_record(arguments.record)
    take_tooth(arguments, record)
    names = [None if canal.name is None else canal.name.value for canal in record.canals]
    if not names:
        raise UsageError(f"{arguments.record} holds no measured canal: measure one and save it with --record")
    told = ", ".join(name or "one without a name" for name in names)
    if arguments.canal is None and len(names) > 1:
        raise UsageError(f"{arguments.record} holds several canals: say which with --canal: {told}")
    if arguments.canal is not None and arguments.canal not in names:
        raise UsageError(f"{arguments.record} has no canal {arguments.canal!r}: it holds {told}")
    place = 0 if arguments.canal is None else names.index(arguments.canal)
    return record.canals[place].to_measurement()


def of_record(arguments: Namespace, measurement: CanalMeasurement) -> PlanRequest:
    """Ask for a measured canal, with what the options state about it and the chair."""
    criteria = [criteria_set(name) for name in CURRENT_CRITERIA]
    grades = grade_all(measurement, criteria=criteria, facts=_facts(arguments))
    exploration = _exploration(arguments, _working_length_mm(arguments, measurement))
    return request_of_measurement(measurement, exploration, context=_context(arguments, grades))


def _working_length_mm(arguments: Namespace, measurement: CanalMeasurement) -> float | None:
    typed: float | None = arguments.working_length
    if typed is not None or measurement.canal_length is None or measurement.canal_length.unit != "mm":
        return typed
    return assumed_working_length_mm(measurement.canal_length.value)


def _asked(arguments: Namespace) -> dict[str, Recommender] | None:
    if arguments.recommender is None:
        return None
    return {name: load_recommender(name) for name in arguments.recommender}


def _source(arguments: Namespace) -> str:
    if arguments.record is not None:
        canal = "" if arguments.canal is None else f", canal {arguments.canal}"
        return f"{Path(arguments.record).name}{canal}"
    if not arguments.angle:
        return "what-if, straight canal"
    start = f"starting {arguments.curve_start_from_foramen:g} mm from the foramen"
    return f"what-if, central angle {arguments.angle:g} degrees, radius {arguments.radius:g} mm, {start}"


def _assumed(arguments: Namespace, measurement: CanalMeasurement | None) -> list[str]:
    """What is taken for granted, one sentence each."""
    told = []
    if measurement is not None and arguments.working_length is None:
        length = _working_length_mm(arguments, measurement)
        if length is not None:
            told.append(
                f"Assumed (common practice, no source): a working length of {length:.1f} mm, the measured canal and 9 mm"
                " of crown; every depth below rests on it, so measure it and give --working-length."
            )
    if measurement is None and arguments.canal_length is None:
        canal = assumed_canal_length_mm(
            arguments.working_length, curve_start_from_foramen_mm=arguments.curve_start_from_foramen or 0.0
        )
        told.append(f"Assumed (common practice, no source): a canal of {canal:.1f} mm below the crown.")
    if arguments.s_shape and not arguments.second_angle:
        told.append("Assumed: the second bend is as sharp as the first (--second-angle).")
    if arguments.reached is None:
        told.append("No hand file at working length was stated: it counts as none (--reached).")
    return told


def _plain(answer: PlanAnswer, request: PlanRequest, assumed: list[str]) -> dict[str, object]:
    return {
        **answer_to_plain(answer),
        "request": request_to_plain(request),
        "assumed": assumed,
        "cautions": list(PLANNING_CAUTIONS),
    }
