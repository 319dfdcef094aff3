"""The next step at the chair, from the log alone.

`next_step` reads the log from its first entry. Each entry must be an answer to what was offered at that place, so a log can
hold nothing that was never offered, and whatever is offered has passed the guard for the state that it is offered in.
"""

from __future__ import annotations

import datetime as dt

from curvometer.sequence import PlanAdvice, PlanAnswer, PlanRequest, SequencePlan, check_plan
from curvometer.treatment.log import (
    Entry,
    NextStepKind,
    Outcome,
    PlanEntry,
    TreatmentEntry,
    TreatmentError,
    TreatmentLog,
    case_id,
    member,
)
from curvometer.treatment.offering import SLACK_MM, NextStep, decide
from curvometer.treatment.situation import Situation, after_entry, after_plan, start

PATENCY_MM = 1.0
"""How far a hand file may go beyond the working length (common practice, no source)."""


def begin_log(plan: SequencePlan, request: PlanRequest) -> TreatmentLog:
    """Begin an empty log.

    Parameters
    ----------
    plan
        That will be carried out.
    request
        What its recommender was asked.

    Raises
    ------
    TreatmentError
        If the guard refuses the plan.
    """
    _check_plan(plan, request)
    return TreatmentLog(case_id=case_id(plan, request))


def next_step(plan: SequencePlan, log: TreatmentLog, request: PlanRequest) -> NextStep:
    """Tell what to do next.

    Parameters
    ----------
    plan, request
        What the log began with.
    log
        The entries so far.

    Returns
    -------
    NextStep
        Depends on the arguments only. A step that is offered has passed `curvometer.sequence.check_plan` with everything
        that the log tells: how deep hand files went, which one is at length, which pieces are used up.

    Raises
    ------
    TreatmentError
        If the log belongs to another plan, holds something that was not offered, or begins with a plan that the guard
        refuses.

    References
    ----------
    Limits of attempts, loss of length and single use: common practice, no source (`SEQUENCE_PRACTICE`).
    """
    return decide(situation_after(plan, log, request))


def request_after(plan: SequencePlan, log: TreatmentLog, request: PlanRequest) -> PlanRequest:
    """What a recommender must be asked after a log: the findings and the shelf as they are now.

    Raises
    ------
    TreatmentError
        As `next_step`.
    """
    return situation_after(plan, log, request).request_now


def plan_in_force(plan: SequencePlan, log: TreatmentLog) -> SequencePlan:
    """The last plan that was taken up."""
    taken = [entry.plan for entry in log.entries if isinstance(entry, PlanEntry) and entry.plan is not None]
    return taken[-1] if taken else plan


def record_outcome(
    plan: SequencePlan,
    log: TreatmentLog,
    request: PlanRequest,
    *,
    outcome: Outcome | str,
    amount_mm: float | None = None,
    depth_mm: float | None = None,
    who: str = "",
    time: dt.datetime | None = None,
) -> TreatmentLog:
    """Add how the next step ended.

    Parameters
    ----------
    plan, log, request
        As in `next_step`.
    outcome
        One of those that the next step offers.
    amount_mm
        How much it fell short or how much length is lost; None for the other outcomes.
    depth_mm
        How deep it went, where it bound; it may be left out.
    who
        May be empty.
    time
        Now, when not given.

    Returns
    -------
    TreatmentLog
        With one more entry; the log given stays as it is.

    Raises
    ------
    TreatmentError
        If it cannot be an outcome of the next step.
    """
    now = situation_after(plan, log, request)
    offered = decide(now)
    told = member(Outcome, outcome, "outcome")
    _check_offered(told, offered)
    to_mm = offered.to_mm or 0.0
    if told is Outcome.REACHED and depth_mm is None:
        depth_mm = to_mm
    if told is Outcome.SHORT and depth_mm is None and isinstance(amount_mm, int | float):
        depth_mm = max(0.0, to_mm - amount_mm)
    entry = TreatmentEntry(
        time=time or dt.datetime.now(dt.UTC).replace(microsecond=0),
        kind=offered.kind,
        plan_step=offered.plan_step,
        instrument=None if offered.step is None else offered.step.instrument,
        to_mm=to_mm,
        outcome=told,
        amount_mm=amount_mm,
        depth_mm=depth_mm,
        who=who,
    )
    advance(now, entry)
    return log.appended(entry)


def record_plan(
    plan: SequencePlan,
    log: TreatmentLog,
    request: PlanRequest,
    *,
    answer: PlanAnswer | SequencePlan,
    who: str = "",
    time: dt.datetime | None = None,
) -> TreatmentLog:
    """Add a new plan, or that there is none, where `next_step` asks for one.

    Parameters
    ----------
    plan, log, request
        As in `next_step`.
    answer
        What `curvometer.sequence.ask_recommenders` said to `request_after`, of which the first plan is taken; or the plan
        that a person chose.
    who, time
        As in `record_outcome`.

    Raises
    ------
    TreatmentError
        If no new plan is needed, or the guard refuses this one.
    """
    taken = answer if isinstance(answer, SequencePlan) else next(iter(answer.plans), None)
    advice, reasons = PlanAdvice.PLAN, () if taken is None else taken.reasons
    if not isinstance(answer, SequencePlan) and taken is None:
        advice = PlanAdvice.HAND_ONLY if answer.advice is PlanAdvice.HAND_ONLY else PlanAdvice.REFER
        reasons = answer.reasons
    entry = PlanEntry(
        time=time or dt.datetime.now(dt.UTC).replace(microsecond=0),
        plan=taken,
        advice=advice,
        reasons=reasons,
        who=who,
    )
    advance(situation_after(plan, log, request), entry)
    return log.appended(entry)


def situation_after(plan: SequencePlan, log: TreatmentLog, request: PlanRequest) -> Situation:
    """Read a log from its first entry; raises as `next_step`."""
    if log.case_id != case_id(plan, request):
        raise TreatmentError(
            "The log belongs to another plan, or to another request; open the plan that it began with, or begin a new log."
        )
    _check_plan(plan, request)
    now = start(plan, request)
    for number, entry in enumerate(log.entries):
        try:
            now = advance(now, entry)
        except TreatmentError as error:
            raise TreatmentError(f"Entry {number + 1} of the log: {error}") from None
    return now


def advance(now: Situation, entry: Entry, *, offered: NextStep | None = None) -> Situation:
    """The state after one more entry.

    Parameters
    ----------
    now, entry
        The state and what happened.
    offered
        ``decide(now)`` where it is known already.

    Raises
    ------
    TreatmentError
        If the entry is no answer to what is offered in this state.
    """
    offered = offered or decide(now)
    if isinstance(entry, TreatmentEntry):
        _check_entry(entry, offered, now.request)
        return after_entry(now, entry)
    if offered.kind is not NextStepKind.RE_PLAN:
        raise TreatmentError(f"A new plan was not asked for; the next step is: {offered.words}")
    if entry.plan is not None:
        _check_plan(entry.plan, now.request_now)
    return after_plan(now, entry)


def _check_plan(plan: SequencePlan, request: PlanRequest) -> None:
    if violations := check_plan(plan, request):
        raise TreatmentError(
            f"The plan is refused: {violations[0]}; ask for another plan, or correct what was found."
        )


def _check_offered(outcome: Outcome, offered: NextStep) -> None:
    if outcome not in offered.outcomes:
        may = f"say one of {', '.join(offered.outcomes)}" if offered.outcomes else "nothing is tried now"
        raise TreatmentError(
            f"The outcome {outcome!s} does not fit, because the next step is: {offered.words} So {may}."
        )


def _check_entry(entry: TreatmentEntry, offered: NextStep, request: PlanRequest) -> None:
    _check_offered(entry.outcome, offered)
    instrument = None if offered.step is None else offered.step.instrument
    same = (entry.kind, entry.plan_step, entry.instrument) == (offered.kind, offered.plan_step, instrument)
    if not same or abs(entry.to_mm - (offered.to_mm or 0.0)) > SLACK_MM:
        what = "a measurement" if entry.instrument is None else entry.instrument.name
        raise TreatmentError(
            f"{what} to {entry.to_mm:g} mm was not offered; the next step was: {offered.words}"
        )
    _check_depth(entry, request.working_length_mm)


def _check_depth(entry: TreatmentEntry, length_mm: float | None) -> None:
    depth = entry.depth_mm
    if depth is None:
        return
    if length_mm is not None and depth > length_mm + PATENCY_MM + SLACK_MM:
        raise TreatmentError(
            f"A depth of {depth:g} mm is deeper than the working length of {length_mm:g} mm; measure it again."
        )
    if depth > entry.to_mm + SLACK_MM:
        raise TreatmentError(
            f"A depth of {depth:g} mm is deeper than the {entry.to_mm:g} mm that were wanted; measure it again."
        )
    if entry.outcome is Outcome.REACHED and depth < entry.to_mm - SLACK_MM:
        raise TreatmentError(
            f"At {depth:g} mm it is {entry.to_mm - depth:g} mm short; say short, or leave the depth out."
        )
    if entry.outcome is Outcome.SHORT and abs(entry.to_mm - (entry.amount_mm or 0.0) - depth) > SLACK_MM:
        raise TreatmentError(
            f"Short by {entry.amount_mm:g} mm of {entry.to_mm:g} mm is not {depth:g} mm deep; give one of the two."
        )
