"""`check_plan`: the guard over every plan from any recommender.

What a plan says about itself (roles, strains, shares, reasons) decides nothing: the guard looks at instruments and depths,
and computes strain and budget with the core's mechanics.
"""

from __future__ import annotations

from collections.abc import Iterator

from curvometer.instruments import STOP_ROOM_MM, Instrument, Inventory
from curvometer.mechanics import SHARE_DROPS_STEP
from curvometer.sequence.numbers import step_share, step_strain
from curvometer.sequence.plan import SequencePlan, SequenceStep, StepRole
from curvometer.sequence.request import OPEN_APEX_MM, SHORT_RADIUS_MM, PlanRequest, SequenceError
from curvometer.sequence.rules import SAFETY_RULES, Violation

STANDARD_TAPER = 0.02
PREFLARE_ABOVE_CURVE_MM = 2.0
"""Distance of a preflare from the start of the curve (common practice, no source)."""
TO_LENGTH_WITHIN_MM = 1.0
"""A tip this close to the working length counts as to length."""
PATENCY_MM = 1.0
"""How far a hand file may go beyond (common practice, no source)."""
TOLD_AT_LEAST = 0.9
"""A told strain or share below this part of the core's is untrue; rounding is not."""
_SLACK_MM = 0.01
_SLACK_SHARE = 1e-9

Findings = Iterator[Violation]
Steps = list[tuple[int, SequenceStep]]


def check_plan(plan: SequencePlan, request: PlanRequest) -> tuple[Violation, ...]:
    """Hold a plan against every safety rule.

    Parameters
    ----------
    plan
        From any recommender.
    request
        What the recommender was asked.

    Returns
    -------
    tuple of Violation
        Empty for a plan that may be shown. Each says which of `SAFETY_RULES` is broken, at which step, and how.

    Raises
    ------
    SequenceError
        If the plan is none: something else, or a changed kind of plan.
    """
    # A subclass could answer differently each time it is asked.
    if type(plan) is not SequencePlan or any(type(step) is not SequenceStep for step in plan.steps):
        raise SequenceError(
            f"Only a SequencePlan of SequenceSteps can be checked, found {type(plan).__name__}."
        )
    steps = list(enumerate(plan.steps))
    rotary = [(i, step) for i, step in steps if step.is_rotary]
    return (
        *_shelf(steps, request.inventory),
        *_depths(steps, request),
        *_drive(steps),
        *_canal_allows_rotary(rotary, request),
        *_explored(steps, request),
        *_to_length(rotary, request),
        *_confirmed(plan.steps, rotary),
        *_tapers(steps, request),
        *_preflares(rotary, request),
        *_budgets(rotary, request),
        *_told_numbers(steps, request),
    )


def _found(code: str, step: int | None, text: str) -> Violation:
    return Violation(rule=SAFETY_RULES[code], step=step, text=text)


def _shelf(steps: Steps, inventory: Inventory) -> Findings:
    pieces = inventory.instruments
    for i, step in steps:
        piece = step.instrument
        # Mostly it is one of the very objects, which is quicker to see than an equal one.
        if not any(piece is each for each in pieces) and piece not in pieces:
            text = f"{piece.name}, {piece.length_mm} mm, is not on the shelf; use one that is"
            yield _found("on-the-shelf", i, text)
        if piece.is_spent:
            yield _found("on-the-shelf", i, f"{piece.name} was used as often as it may be; take a fresh one")
        needed = step.to_mm + STOP_ROOM_MM
        if piece.length_mm < needed - _SLACK_MM:
            text = f"{piece.name} is {piece.length_mm} mm long, {needed:.1f} mm are needed with the stop"
            yield _found("on-the-shelf", i, text)


def _depths(steps: Steps, request: PlanRequest) -> Findings:
    length = request.working_length_mm
    for i, step in steps:
        if step.to_mm <= 0.0:
            yield _found("within-the-canal", i, f"a depth of {step.to_mm:g} mm is none; give one above 0")
        if length is None:
            continue
        most = length if step.is_rotary else length + PATENCY_MM
        if step.to_mm > most + _SLACK_MM:
            text = f"{step.instrument.name} to {step.to_mm:g} mm; at most {most:g} mm are allowed"
            yield _found("within-the-canal", i, text)


def _drive(steps: Steps) -> Findings:
    for i, step in steps:
        limits, speed = step.instrument.speed_rpm, step.speed_rpm
        name = step.instrument.name
        if not step.is_rotary:
            if speed is not None:
                yield _found("speed-limits", i, f"{name} is used by hand and has no speed; leave it out")
            continue
        if limits is None or speed is None or not limits[0] <= speed <= limits[1]:
            allowed = "unknown" if limits is None else f"{limits[0]:g} to {limits[1]:g} rpm"
            told = "none" if speed is None else f"{speed:g} rpm"
            yield _found("speed-limits", i, f"{name} at {told}; the maker allows {allowed}")
        if step.seconds is None or step.seconds <= 0.0:
            yield _found("speed-limits", i, f"{name} needs its time in the canal in seconds, above 0")


def _canal_allows_rotary(rotary: Steps, request: PlanRequest) -> Findings:
    if not rotary:
        return
    found, first = request.exploration, rotary[0][0]
    for missing, what in (
        (request.curve is None or not request.scale_known, "there is no scale, so no radius and no strain"),
        (found.image_rejected, "the image was rejected"),
        (not found.trace_accepted, "nobody accepted the traced canal"),
        (request.working_length_mm is None, "the working length is not known"),
    ):
        if missing:
            yield _found("scale-and-tracing", first, f"{what}; plan no rotary instrument")
    if found.blocked or found.split:
        what = "is blocked" if found.blocked else "splits"
        yield _found("blocked-canal", first, f"the canal {what}; plan no rotary instrument")
    if found.has_open_apex:
        text = f"the apex is open by {found.apex_opening_mm:g} mm, more than {OPEN_APEX_MM:g}; plan no rotary instrument"
        yield _found("open-apex", first, text)
    if request.is_primary:
        yield _found("primary-tooth", first, "this is a milk tooth; plan no rotary instrument")


def _explored(steps: Steps, request: PlanRequest) -> Findings:
    deepest = request.exploration.explored_depth_mm
    for i, step in steps:
        if not step.is_rotary:
            deepest = max(deepest, step.to_mm)
        elif step.to_mm > deepest + _SLACK_MM:
            text = (
                f"{step.instrument.name} to {step.to_mm:g} mm where hand files went {deepest:g} mm;"
                " explore by hand first"
            )
            yield _found("hand-first", i, text)


def _to_length(rotary: Steps, request: PlanRequest) -> Findings:
    # Only what was found at the chair counts here: a hand step of the plan may fail.
    if request.exploration.size_at_length >= 6 or request.working_length_mm is None:
        return
    start = request.curve_start_mm
    limit = request.working_length_mm - TO_LENGTH_WITHIN_MM
    limit = limit if start is None else min(limit, start)
    for i, step in rotary:
        if step.to_mm > limit + _SLACK_MM:
            text = (
                f"{step.instrument.name} to {step.to_mm:g} mm although no size 6 or 8 has reached length;"
                " negotiate by hand, or refer"
            )
            yield _found("length-after-six-or-eight", i, text)


def _confirmed(steps: tuple[SequenceStep, ...], rotary: Steps) -> Findings:
    for number, (i, step) in enumerate(rotary):
        last = number + 1 == len(rotary)
        until = len(steps) if last else rotary[number + 1][0]
        by_hand = [each for each in steps[i + 1 : until] if each.to_mm >= step.to_mm - _SLACK_MM]
        if not by_hand:
            where = "at the end" if last else "before the next rotary step"
            text = f"no hand file goes to {step.to_mm:g} mm {where} to confirm {step.instrument.name}"
            yield _found("hand-confirms", i, text)
    if rotary and len(steps) > 1 and steps[-1].to_mm < max(step.to_mm for _, step in rotary) - _SLACK_MM:
        yield _found(
            "hand-confirms", len(steps) - 1, "the last hand file stops short of the deepest rotary step"
        )


def _tapers(steps: Steps, request: PlanRequest) -> Findings:
    radius = request.smallest_radius_mm
    short = radius is not None and radius <= SHORT_RADIUS_MM
    if not short and not request.bends_twice:
        return
    start = request.curve_start_mm
    where = "an S-shaped canal" if request.bends_twice else f"a curve of radius {radius:g} mm"
    for i, step in steps:
        inside = start is None or step.to_mm > start + _SLACK_MM
        if inside and step.instrument.taper > STANDARD_TAPER + 1e-9:
            yield _found("small-taper", i, f"{step.instrument.name} goes into {where}; use taper .02 there")


def _preflares(rotary: Steps, request: PlanRequest) -> Findings:
    start = request.curve_start_mm
    if start is None:
        return
    limit = start - PREFLARE_ABOVE_CURVE_MM
    # A tip at length is no preflare, even where the curve starts within the slack of it.
    top = min(start, (request.working_length_mm or start) - 2.0 * _SLACK_MM)
    for i, step in rotary:
        # A wide taper that stops above the curve is a preflare, whatever the plan calls it.
        is_wide = step.instrument.taper > STANDARD_TAPER + 1e-9
        preflares = step.role is StepRole.PREFLARE or (is_wide and step.to_mm <= top + _SLACK_MM)
        if preflares and step.to_mm > limit + _SLACK_MM:
            text = f"{step.instrument.name} to {step.to_mm:.1f} mm; the curve starts at {start:.1f} mm, stop at {limit:.1f}"
            yield _found("preflare-distance", i, text)


def _budgets(rotary: Steps, request: PlanRequest) -> Findings:
    spent: dict[Instrument, list[float]] = {}
    for i, step in rotary:
        if not step.speed_rpm or step.speed_rpm < 0.0 or step.seconds is None or request.curve is None:
            continue  # refused by other rules
        share = step_share(
            step.instrument, step.to_mm, request, speed_rpm=step.speed_rpm, seconds=step.seconds
        )
        if share is None:
            continue
        uses = spent.setdefault(step.instrument, [])
        uses.append(share.value)
        together = share.value if len(uses) == 1 else _in_one_piece(uses, request.inventory, step.instrument)
        if together > SHARE_DROPS_STEP + _SLACK_SHARE:
            text = f"{step.instrument.name} would spend {100 * together:.0f} % of its budget; at most 50 % are allowed"
            yield _found("budget-share", i, text)


def _in_one_piece(shares: list[float], inventory: Inventory, piece: Instrument) -> float:
    """With fewer pieces than steps the largest shares may meet in one of them."""
    pieces = max(1, inventory.instruments.count(piece))
    return sum(sorted(shares)[pieces - 1 :]) if len(shares) > pieces else shares[-1]


def _told_numbers(steps: Steps, request: PlanRequest) -> Findings:
    for i, step in steps:
        strain = step_strain(step.instrument, step.to_mm, request)
        if strain is not None and step.strain_percent is not None:
            yield from _told(i, "strain", step.strain_percent, strain.percent)
        if step.budget_share is None or not step.is_rotary or not step.speed_rpm or step.speed_rpm < 0.0:
            continue
        share = step_share(
            step.instrument, step.to_mm, request, speed_rpm=step.speed_rpm, seconds=step.seconds or 0.0
        )
        if share is not None:
            yield from _told(i, "budget share", 100.0 * step.budget_share.value, 100.0 * share.value)


def _told(step: int, what: str, told: float, true: float) -> Findings:
    if not told >= TOLD_AT_LEAST * true - 1e-6:
        text = f"the plan tells a {what} of {told:.2f} %, the core computes {true:.2f} %; leave it out"
        yield _found("true-numbers", step, text)
