"""A treatment log in words: what was tried, what comes next, and what each instrument has been through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from curvometer import (
    Instrument,
    InstrumentKind,
    NextStep,
    NextStepKind,
    Outcome,
    PlanEntry,
    SequencePlan,
    Treatment,
    TreatmentEntry,
    plan_in_force,
    step_share,
)
from curvometer_napari.plan_words import TEXTS, as_end, plan_name, share_words, strain_words


@dataclass(frozen=True, kw_only=True)
class PieceUsed:
    """A rotary piece with what the logs of a canal have put it through.

    Attributes
    ----------
    instrument
        As it was when the first log began.
    tries
        How often it was used.
    share
        Of its design life, the tries added up.
    failed
        Whether it fell short, bound, deflected or broke, and is put away.
    """

    instrument: Instrument
    tries: int
    share: float
    failed: bool

    def __str__(self) -> str:
        """In a line."""
        often = "once" if self.tries == 1 else f"{self.tries} times"
        away = ", put away" if self.failed else ""
        piece = self.instrument
        return f"{piece.name}, {piece.length_mm} mm: used {often}, {100.0 * self.share:.1f} % of its design life{away}"


def pieces_used(treatments: Sequence[Treatment]) -> tuple[PieceUsed, ...]:
    """Every rotary make that was used, with its uses and shares added up, in the order of the first use."""
    used: dict[tuple[object, ...], PieceUsed] = {}
    for treatment in treatments:
        plan = treatment.plan
        for entry in treatment.log.entries:
            if isinstance(entry, PlanEntry):
                plan = entry.plan or plan
            elif entry.instrument is not None and entry.instrument.kind is InstrumentKind.ROTARY:
                piece = entry.instrument
                key = (piece.size, piece.taper, piece.length_mm)
                before = used.get(key) or PieceUsed(instrument=piece, tries=0, share=0.0, failed=False)
                used[key] = PieceUsed(
                    instrument=before.instrument,
                    tries=before.tries + 1,
                    share=before.share + _share(entry, plan, treatment),
                    failed=before.failed or entry.outcome is not Outcome.REACHED,
                )
    return tuple(used.values())


def _share(entry: TreatmentEntry, plan: SequencePlan, treatment: Treatment) -> float:
    if entry.plan_step is None or entry.instrument is None:
        return 0.0
    step = plan.steps[entry.plan_step]
    share = step_share(
        entry.instrument,
        entry.to_mm,
        treatment.request,
        speed_rpm=step.speed_rpm or 1.0,
        seconds=step.seconds or 0.0,
    )
    return 0.0 if share is None else share.value


def steps_done(treatment: Treatment) -> int:
    """How many steps of the plan in force have been carried out."""
    done = 0
    for entry in treatment.log.entries:
        if isinstance(entry, PlanEntry):
            done = 0 if entry.plan is not None else done
        elif entry.kind is NextStepKind.PLAN_STEP and entry.outcome is Outcome.REACHED:
            done += 1
    return min(done, len(plan_in_force(treatment.plan, treatment.log).steps))


def glance_words(told: NextStep) -> str:
    """The numbers of the offered step, in a line; empty where nothing goes into the canal."""
    step = told.step
    if step is None:
        return ""
    numbers = [f"{step.instrument.length_mm} mm long"]
    if step.seconds is not None:
        numbers.append(f"{step.seconds:g} s in the canal")
    if step.strain_percent:
        numbers.append(f"strain {strain_words(step)}")
    if step.budget_share is not None:
        numbers.append(f"{share_words(step)} of its design life")
    return f"{', '.join(numbers)}."


def next_words(told: NextStep) -> tuple[str, ...]:
    """Why the step comes next, and how it is done, in its own words."""
    step = told.step
    if step is None:
        return told.reasons
    said = [(label, getattr(step, name)) for label, name in TEXTS if getattr(step, name)]
    return (*told.reasons, *(f"{label.capitalize()}: {as_end(text)}" for label, text in said))


def entry_words(entry: TreatmentEntry | PlanEntry) -> str:
    """An entry of the log in a line."""
    who = f", {entry.who}" if entry.who else ""
    when = f"{entry.time.astimezone():%H:%M}"
    if isinstance(entry, PlanEntry):
        plan = f"no new plan: {entry.advice}" if entry.plan is None else f"new plan, {plan_name(entry.plan)}"
        return f"{when}  {plan}{who}"
    name = "length measured" if entry.instrument is None else entry.instrument.name
    return f"{when}  {name} to {entry.to_mm:.1f} mm: {_ended(entry)}{who}"


def outcome_words(outcome: Outcome, kind: NextStepKind, amount_mm: float) -> str:
    """The words on a button."""
    if kind is NextStepKind.RE_MEASURE and outcome is Outcome.REACHED:
        return "Length is kept"
    return {
        Outcome.SHORT: f"Short by {amount_mm:.1f} mm",
        Outcome.LOST_LENGTH: f"Lost length, {amount_mm:.1f} mm",
    }.get(outcome, outcome.value.capitalize())


def _ended(entry: TreatmentEntry) -> str:
    if entry.amount_mm is None:
        kept = entry.instrument is None and entry.outcome is Outcome.REACHED
        deep = (
            ""
            if entry.depth_mm is None or entry.outcome is Outcome.REACHED
            else f" at {entry.depth_mm:.1f} mm"
        )
        return ("kept" if kept else str(entry.outcome)) + deep
    return f"{entry.outcome}{' by' if entry.outcome is Outcome.SHORT else ''} {entry.amount_mm:.1f} mm"
