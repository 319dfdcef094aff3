"""``curvometer grade``: a measured canal, or a what-if, to difficulty grades by several criteria side by side."""

from __future__ import annotations

import json
from argparse import Namespace
from dataclasses import dataclass
from pathlib import Path

from curvometer.cli.arguments import STATED_ANSWERS, UsageError
from curvometer.cli.grade_table import grades_text
from curvometer.difficulty import (
    CURRENT_CRITERIA,
    GRADING_CAUTIONS,
    CaseFacts,
    CriteriaSet,
    DifficultyGrade,
    Operator,
    ReferralSuggestion,
    criteria_set,
    disagreement,
    grade_all,
    grade_quantities,
    grade_to_plain,
    load_criteria,
    referral_to_plain,
    schneider_of_central,
    suggest_referral,
    typed_quantities,
)
from curvometer.difficulty.quantities import ASSUMED_ANGLE_ERROR_DEG, ASSUMED_RADIUS_ERROR_MM
from curvometer.measurement import Severity

WHAT_IF = ("angle", "central_angle", "curve_start_from_foramen", "angle_interval", "radius")


@dataclass(frozen=True, kw_only=True)
class GradedCanal:
    """One canal with its grades; no name in a what-if or when the record tells none."""

    name: str | None
    grades: tuple[DifficultyGrade, ...]
    suggestion: ReferralSuggestion | None


def run(arguments: Namespace) -> int:
    """Grade and print."""
    canals = graded(arguments)
    if arguments.json:
        print(json.dumps(_plain(canals, _assumed(arguments)), allow_nan=False))
    else:
        told = [(canal.name, canal.grades, canal.suggestion) for canal in canals]
        print(grades_text(told, source=_source(arguments), assumed=_assumed(arguments)))
    return exit_code(canals)


def graded(arguments: Namespace) -> list[GradedCanal]:
    """Every canal that is meant, with its grades."""
    _check_usage(arguments)
    criteria = [_criteria(name) for name in arguments.criteria or CURRENT_CRITERIA]
    return _what_if(arguments, criteria) if arguments.record is None else _recorded(arguments, criteria)


def exit_code(canals: list[GradedCanal]) -> int:
    """Tell by the exit code whether the measurement below a grade may be trusted."""
    flags = (flag for canal in canals for grade in canal.grades for flag in grade.flags)
    return 3 if any(flag.severity is Severity.DO_NOT_TRUST for flag in flags) else 0


def _check_usage(arguments: Namespace) -> None:
    typed = [name for name in WHAT_IF if getattr(arguments, name) is not None]
    if arguments.record is None:
        if arguments.angle is None and arguments.radius is None and arguments.central_angle is None:
            raise UsageError("nothing to grade: give a record, or a what-if with --angle or --radius")
        if arguments.canal is not None:
            raise UsageError("--canal names a canal of a record: give RECORD first, or leave it out")
        _check_angle(arguments)
    elif typed:
        name = typed[0].replace("_", "-")
        raise UsageError(
            f"--{name} and a record exclude each other: the record already holds the measurement"
        )


def _check_angle(arguments: Namespace) -> None:
    option, angle, interval = "--angle", arguments.angle, arguments.angle_interval
    if arguments.central_angle is not None:
        _check_central(arguments)
        option, angle = "--central-angle", arguments.central_angle
    elif arguments.curve_start_from_foramen is not None:
        raise UsageError("--curve-start-from-foramen belongs to --central-angle: give that, or leave it out")
    if angle is not None and angle > 180.0:
        raise UsageError(f"{option} {angle:g} is no deflection: give degrees from 0 to 180, 0 is straight")
    if interval is None:
        return
    if angle is None:
        raise UsageError("--angle-interval belongs to --angle: give that, or leave it out")
    if not interval[0] <= angle <= interval[1]:
        raise UsageError(
            f"{option} {angle:g} lies outside its interval {interval[0]:g},{interval[1]:g}: correct one"
        )
    if interval[1] > 180.0:
        raise UsageError(f"--angle-interval ends at {interval[1]:g}: a deflection is at most 180 degrees")


def _check_central(arguments: Namespace) -> None:
    if arguments.angle is not None:
        raise UsageError("--angle is Schneider's and --central-angle is the arc's: give only one of them")
    for name in ("radius", "curve_start_from_foramen"):
        if getattr(arguments, name) is None:
            raise UsageError(
                f"--central-angle needs --{name.replace('_', '-')}: without it Schneider's angle cannot be derived;"
                " give it, or Schneider's angle with --angle"
            )
    if arguments.s_shape:
        raise UsageError("--central-angle holds for one arc: for an S give Schneider's angle with --angle")


def _criteria(name: str) -> CriteriaSet:
    return load_criteria(name) if name.lower().endswith(".toml") else criteria_set(name)


def _facts(arguments: Namespace, canal: str | None) -> CaseFacts:
    answers = {name: getattr(arguments, name) for name in STATED_ANSWERS}
    return CaseFacts(
        tooth=arguments.tooth,
        canal=canal,
        operator=None if arguments.operator is None else Operator(arguments.operator),
        s_shape=arguments.s_shape,
        negotiable=arguments.negotiable,
        modifying_factors=arguments.modifying_factors,
        apex_opening_mm=arguments.apex_opening,
        inclination_deg=arguments.inclination,
        rotation_deg=arguments.rotation,
        tooth_length_mm=arguments.tooth_length,
        other_moderate=arguments.other_moderate,
        other_high=arguments.other_high,
        **answers,
    )


def _what_if(arguments: Namespace, criteria: list[CriteriaSet]) -> list[GradedCanal]:
    facts = _facts(arguments, None)
    angle, interval = _schneider(arguments)
    quantities = typed_quantities(angle_deg=angle, angle_interval_deg=interval, radius_mm=arguments.radius)
    grades = tuple(grade_quantities(quantities, criteria=each, facts=facts) for each in criteria)
    return [_graded(None, grades, facts)]


def _schneider(arguments: Namespace) -> tuple[float | None, tuple[float, float] | None]:
    """Schneider's angle as typed, or derived from a typed arc."""
    if arguments.central_angle is None:
        return arguments.angle, arguments.angle_interval
    return schneider_of_central(
        arguments.central_angle,
        arguments.angle_interval,
        radius_mm=arguments.radius,
        start_from_foramen_mm=arguments.curve_start_from_foramen,
    )


def _recorded(arguments: Namespace, criteria: list[CriteriaSet]) -> list[GradedCanal]:
    from curvometer.cli.record_tooth import take_tooth  # noqa: PLC0415
    from curvometer.record import load_record  # noqa: PLC0415

    record = load_record(arguments.record)
    take_tooth(arguments, record)
    names = [None if canal.name is None else canal.name.value for canal in record.canals]
    if arguments.canal is not None and arguments.canal not in names:
        told = ", ".join(name or "one without a name" for name in names) or "none"
        raise UsageError(f"{arguments.record} has no canal {arguments.canal!r}: it holds {told}")
    if not names:
        raise UsageError(f"{arguments.record} holds no measured canal: measure one and save it with --record")
    found = []
    for name, canal in zip(names, record.canals, strict=True):
        if arguments.canal in (None, name):
            facts = _facts(arguments, name)
            found.append(
                _graded(name, grade_all(canal.to_measurement(), criteria=criteria, facts=facts), facts)
            )
    return found


def _graded(name: str | None, grades: tuple[DifficultyGrade, ...], facts: CaseFacts) -> GradedCanal:
    suggestion = None if facts.operator is None else suggest_referral(grades, operator=facts.operator)
    return GradedCanal(name=name, grades=grades, suggestion=suggestion)


def _source(arguments: Namespace) -> str:
    if arguments.record is not None:
        return Path(arguments.record).name
    angle, _ = _schneider(arguments)
    typed = [] if angle is None else [f"Schneider angle {round(angle, 1):g} deg"]
    typed += [f"radius {arguments.radius:g} mm"] if arguments.radius is not None else []
    return f"what-if, {', '.join(typed)}"


def _assumed(arguments: Namespace) -> list[str]:
    """Tell what a what-if takes for granted."""
    if arguments.record is not None:
        return []
    told = []
    angle, interval = _schneider(arguments)
    if angle is not None and interval is None:
        told.append(f"{ASSUMED_ANGLE_ERROR_DEG:g} degrees to each side of Schneider's angle")
    if arguments.radius is not None:
        told.append(f"{ASSUMED_RADIUS_ERROR_MM:g} mm to each side of the radius, whatever its method")
    if not arguments.s_shape:
        told.append("one bend only")
    sentences = [f"Assumed (common practice, no source): {', '.join(told)}."] if told else []
    if arguments.central_angle is not None and angle is not None:
        arc = f"{arguments.central_angle:g} degrees, radius {arguments.radius:g} mm"
        start = f"starts {arguments.curve_start_from_foramen:g} mm from the foramen"
        derived = f"Schneider's angle {angle:.1f} degrees is derived from an arc of central angle {arc}, that {start}."
        sentences.insert(0, derived)
    return sentences


def _plain(canals: list[GradedCanal], assumed: list[str]) -> dict[str, object]:
    """Put what has a grade into `grades`, what has none, with the reason, into `not_graded`."""
    told = [(canal, grade) for canal in canals for grade in canal.grades]
    return {
        "grades": [{"canal": c.name, **grade_to_plain(g)} for c, g in told if g.grade is not None],
        "not_graded": [{"canal": c.name, **grade_to_plain(g)} for c, g in told if g.grade is None],
        "suggestions": [
            {"canal": c.name, **referral_to_plain(c.suggestion)} for c in canals if c.suggestion is not None
        ],
        "disagreements": [
            {"canal": c.name, "text": disagreement(c.grades)} for c in canals if disagreement(c.grades)
        ],
        "assumed": assumed,
        "cautions": list(GRADING_CAUTIONS),
    }
