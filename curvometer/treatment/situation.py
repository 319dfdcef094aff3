"""Where a treatment stands: everything that the next step depends on, and how one entry changes it.

The state machine of `curvometer.treatment.next_step`. A test walks through every state that can be reached.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from curvometer.instruments import InstrumentKind
from curvometer.sequence import (
    Exploration,
    PlanAdvice,
    PlanRequest,
    SequencePlan,
    SequenceStep,
    StepRole,
    step_share,
)
from curvometer.treatment.findings import (
    LOST_LENGTH_STOPS_MM,
    SAME_DEPTH_MM,
    found_after,
    is_lost_length,
    lost_length_mm,
)
from curvometer.treatment.hand import confirming_size, smaller_size
from curvometer.treatment.log import NextStepKind, Outcome, PlanEntry, TreatmentEntry
from curvometer.treatment.pieces import Pieces, piece_for, pieces_of, shelf_after

MOST_ATTEMPTS = 3
"""Attempts at one step before the treatment stops (2 to 3 are taught; common practice, no source)."""

MOST_FAILURES = 5
"""Failed attempts in one canal before the treatment stops (a limit of this program; common practice, no source)."""

MOST_PLANS = 2
"""New plans for one canal before the treatment stops (a limit of this program; common practice, no source)."""

SHORT_BY_HAND = 2
"""Falling short this often with a hand file asks for a new plan (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Situation:
    """State after some entries.

    Attributes
    ----------
    request
        What the log began with.
    plan, index
        The plan in force and its next step.
    found
        Findings so far.
    pieces
        Rotary pieces with their uses.
    confirm_mm
        Depth that a hand file must reach before anything is rotated; None when none is owed.
    again
        (size, depth in mm) of the hand file that comes next in any case; None when none does.
    new_plan
        Why a new plan is needed; empty when it is not.
    measure
        Whether the working length is measured next.
    preflared
        Whether it will be, once a hand file has confirmed.
    measured_at_end
        Whether it was measured after the last step.
    attempts, failures, plans
        Failed attempts at this step, in this canal, and new plans so far.
    size_at_plan
        Largest hand file at length when the plan in force was made.
    ending
        Kind and reason of the end; None while it goes on.
    """

    request: PlanRequest
    plan: SequencePlan
    found: Exploration
    pieces: Pieces
    size_at_plan: int
    index: int = 0
    confirm_mm: float | None = None
    again: tuple[int, float] | None = None
    new_plan: str = ""
    measure: bool = False
    preflared: bool = False
    measured_at_end: bool = False
    attempts: int = 0
    failures: int = 0
    plans: int = 0
    ending: tuple[NextStepKind, str] | None = None

    @cached_property
    def request_now(self) -> PlanRequest:
        """What a recommender, and the guard, would be told now."""
        shelf = shelf_after(self.request.inventory, self.pieces)
        return replace(self.request, exploration=self.found, inventory=shelf)

    @property
    def planned(self) -> SequenceStep | None:
        """The next step of the plan; None at its end."""
        return self.plan.steps[self.index] if self.index < len(self.plan.steps) else None

    def share_of(self, step: SequenceStep) -> float:
        """Share of the life that a rotary step spends; 0 without a curve, where the guard lets nothing rotate."""
        share = step_share(
            step.instrument,
            step.to_mm,
            self.request,
            speed_rpm=step.speed_rpm or 1.0,
            seconds=step.seconds or 0.0,
        )
        return 0.0 if share is None else share.value


def start(plan: SequencePlan, request: PlanRequest) -> Situation:
    """Where a plan begins."""
    found = request.exploration
    return Situation(
        request=request,
        plan=plan,
        found=found,
        pieces=pieces_of(request.inventory),
        size_at_plan=found.size_at_length,
    )


def after_plan(now: Situation, entry: PlanEntry) -> Situation:
    """Take up a new plan, or end without one."""
    if entry.plan is None:
        kind = NextStepKind.HAND_ONLY if entry.advice is PlanAdvice.HAND_ONLY else NextStepKind.STOP
        reason = " ".join(entry.reasons) or "No recommender has a plan that may be shown."
        return replace(now, ending=(kind, reason), new_plan="")
    return replace(
        now,
        plan=entry.plan,
        index=0,
        new_plan="",
        attempts=0,
        plans=now.plans + 1,
        measured_at_end=False,
        size_at_plan=now.found.size_at_length,
    )


def after_entry(now: Situation, entry: TreatmentEntry) -> Situation:
    """The state after something was tried; the entry must be what had been offered."""
    was, found = now.found, found_after(now.found, entry)
    now = _charged(now if found is was else replace(now, found=found), entry)
    if entry.outcome is Outcome.FRACTURED:
        return _ended(now, "An instrument broke: stop here, take a radiograph, tell the patient and refer.")
    if is_lost_length(was, entry):
        lost = lost_length_mm(was, entry)
        return _ended(
            now,
            f"{lost:.1f} mm of length are lost, {LOST_LENGTH_STOPS_MM:g} mm or more stop the treatment:"
            " take a radiograph with the file in place and think again.",
        )
    if entry.outcome is Outcome.REACHED:
        return _after_success(now, entry)
    return _after_failure(now, entry)


def _ended(now: Situation, reason: str) -> Situation:
    return replace(now, ending=(NextStepKind.STOP, reason), again=None, new_plan="", measure=False)


def _charged(now: Situation, entry: TreatmentEntry) -> Situation:
    """Count the use of a rotary piece and what it spent, reached or not."""
    step, piece = now.planned, entry.instrument
    if piece is None or step is None or piece.kind is InstrumentKind.HAND:
        return now
    share = now.share_of(step)
    number = piece_for(now.pieces, step.instrument, share)
    if number is None:
        return now
    used = now.pieces[number].used(share, put_away=entry.outcome is not Outcome.REACHED)
    return replace(now, pieces=(*now.pieces[:number], used, *now.pieces[number + 1 :]))


def _after_success(now: Situation, entry: TreatmentEntry) -> Situation:
    if entry.kind is NextStepKind.RE_MEASURE:
        return replace(now, measure=False, measured_at_end=now.planned is None)
    rotary = entry.instrument is not None and entry.instrument.kind is InstrumentKind.ROTARY
    if entry.kind is NextStepKind.PLAN_STEP:
        step = now.planned
        flared = rotary and step is not None and step.role is StepRole.PREFLARE
        now = replace(now, index=now.index + 1, attempts=0, preflared=now.preflared or flared)
    if rotary:
        return replace(now, confirm_mm=max(entry.to_mm, now.confirm_mm or 0.0))
    return _confirmed(replace(now, again=None), entry.to_mm)


def _confirmed(now: Situation, depth_mm: float) -> Situation:
    if now.confirm_mm is None or depth_mm < now.confirm_mm - SAME_DEPTH_MM:
        return now
    measure = now.measure or (now.preflared and now.found.size_at_length > 0)
    return replace(now, confirm_mm=None, preflared=False, measure=measure)


def _after_failure(now: Situation, entry: TreatmentEntry) -> Situation:
    now = replace(now, attempts=now.attempts + 1, failures=now.failures + 1)
    if entry.kind is NextStepKind.RE_MEASURE:
        now = replace(now, measure=False, measured_at_end=now.planned is None)
    elif now.attempts >= MOST_ATTEMPTS:
        return _ended(now, f"{MOST_ATTEMPTS} attempts at one step failed: take a radiograph and refer.")
    if now.failures >= MOST_FAILURES:
        return _ended(now, f"{MOST_FAILURES} attempts in this canal failed: take a radiograph and refer.")
    deepest = now.found.explored_depth_mm
    # Whatever stopped an instrument may stop the next one: a hand file goes first.
    owed = deepest if entry.outcome is Outcome.LOST_LENGTH else min(entry.to_mm, deepest)
    owed = max(owed, now.confirm_mm or 0.0)
    now = replace(now, confirm_mm=owed if owed > 0.0 else None)
    by_hand = entry.instrument is not None and entry.instrument.kind is InstrumentKind.HAND
    return _hand_failed(now, entry) if by_hand else _others_failed(now, entry, owed)


def _hand_failed(now: Situation, entry: TreatmentEntry) -> Situation:
    """A smaller file, freshly pre-curved, to the same depth; a new plan where that has been tried."""
    piece = entry.instrument
    if piece is None:
        return now
    if entry.outcome is Outcome.SHORT and now.attempts >= SHORT_BY_HAND:
        reason = f"{piece.name} fell short again; the plan must follow what the hand files have found."
        return replace(now, again=None, new_plan=reason)
    return replace(now, again=(smaller_size(now.request.inventory, piece.size, entry.to_mm), entry.to_mm))


def _others_failed(now: Situation, entry: TreatmentEntry, owed_mm: float) -> Situation:
    """A rotary instrument is put away and a hand file goes down; falling short asks for a new plan as well."""
    again = None
    if owed_mm > 0.0:
        again = (confirming_size(now.request.inventory, now.found, owed_mm), owed_mm)
    reason = ""
    if entry.outcome is Outcome.SHORT and entry.instrument is not None:
        reason = f"{entry.instrument.name} fell short by {entry.amount_mm:g} mm and is put away."
    return replace(now, again=again, new_plan=reason)
