"""What a state of the treatment offers: one next step, held against the guard before it is told."""

from __future__ import annotations

from dataclasses import dataclass, replace

from curvometer.bibliography import SEQUENCE_PRACTICE, Reference
from curvometer.sequence import PLANNING_CAUTIONS, SequenceStep, check_plan, with_core_numbers
from curvometer.treatment.hand import confirming_size, hand_step
from curvometer.treatment.log import ENDINGS, NextStepKind, Outcome
from curvometer.treatment.pieces import PieceUse, piece_for
from curvometer.treatment.situation import MOST_ATTEMPTS, MOST_PLANS, Situation

LOOSE_ENOUGH_SIZE = 15
"""Size of the hand file at length that ends a glide path (common practice, no source)."""

SLACK_MM = 0.05
"""Depths closer than this are told as the same."""


@dataclass(frozen=True, kw_only=True)
class NextStep:
    """What to do now, in words and as data.

    Attributes
    ----------
    kind
        What sort of action; `ENDINGS` end the log.
    words
        One sentence to be read at arm's length.
    reasons
        Why, one sentence each.
    step
        Instrument, depth and how; None where nothing goes into the canal, or where length is measured.
    plan_step
        Which step of the plan in force, from 0; None for what the plan does not hold.
    to_mm
        Depth that is wanted, from the reference point; None where there is none.
    attempt
        Which attempt at this step, from 1.
    outcomes
        What may be told of it; empty at an end and where a new plan is needed.
    sources, cautions
        Where the limits come from, and what must be kept in mind.
    """

    kind: NextStepKind
    words: str
    reasons: tuple[str, ...] = ()
    step: SequenceStep | None = None
    plan_step: int | None = None
    to_mm: float | None = None
    attempt: int = 1
    outcomes: tuple[Outcome, ...] = ()
    sources: tuple[Reference, ...] = (SEQUENCE_PRACTICE,)
    cautions: tuple[str, ...] = PLANNING_CAUTIONS

    @property
    def ends(self) -> bool:
        """Whether nothing follows."""
        return self.kind in ENDINGS


def decide(now: Situation) -> NextStep:
    """What a state offers."""
    if now.ending is not None:
        return _end(*now.ending)
    if now.again is not None:
        return _hand_again(now, *now.again, why="The last attempt failed: a hand file goes down again first.")
    if now.new_plan:
        return _re_plan(now, now.new_plan)
    if now.measure:
        return _re_measure(
            now, "The coronal part has been widened, which can shorten the path to the foramen."
        )
    step = now.planned
    return _at_the_end(now) if step is None else _plan_step(now, step)


def _plan_step(now: Situation, step: SequenceStep) -> NextStep:
    """The step of the plan, if it is still safe; else the hand file that is owed, or a new plan."""
    if step.is_rotary:
        return _rotary_step(now, step)
    told = (step.why,) if step.why else ()
    return _guarded(now, (step,), told)


def _rotary_step(now: Situation, step: SequenceStep) -> NextStep:
    if now.confirm_mm is not None:
        return _confirm(now, now.confirm_mm)
    share, name = now.share_of(step), step.instrument.name
    number = piece_for(now.pieces, step.instrument, share)
    if number is None:
        return _re_plan(now, f"No {name} may be used again: its uses or half of its life are spent.")
    size = confirming_size(now.request.inventory, now.found, step.to_mm)
    after = hand_step(now.request_now, size, step.to_mm, why="confirms")
    if after is None:
        return _re_plan(now, f"No hand file is long enough to confirm {name}.")
    piece = now.pieces[number]
    told = (step.why, _spent(piece, share)) if step.why else (_spent(piece, share),)
    return _guarded(now, (replace(step, instrument=piece.now), after), told)


def _spent(piece: PieceUse, share: float) -> str:
    before = f"{100 * piece.share:.0f} % before, " if piece.tries else ""
    return f"Of this piece's design life: {before}{100 * (piece.share + share):.0f} % with this step, at most 50."


def _guarded(now: Situation, steps: tuple[SequenceStep, ...], told: tuple[str, ...]) -> NextStep:
    """The first one of some steps, once they have passed the guard as a plan of their own."""
    tried = replace(now.plan, steps=steps)
    if refused := check_plan(tried, now.request_now):
        return _re_plan(now, f"{steps[0].instrument.name} is not safe now: {refused[0].text}.")
    step = with_core_numbers(tried, now.request_now).steps[0]
    place = f"Step {now.index + 1} of {len(now.plan.steps)} of the plan."
    return _try(now, NextStepKind.PLAN_STEP, step, reasons=(place, *told), plan_step=now.index)


def _confirm(now: Situation, depth_mm: float) -> NextStep:
    size = confirming_size(now.request.inventory, now.found, depth_mm)
    return _hand_again(now, size, depth_mm, why="A hand file confirms the depth before anything is rotated.")


def _hand_again(now: Situation, size: int, depth_mm: float, *, why: str) -> NextStep:
    step = hand_step(now.request_now, size, depth_mm, why=why)
    if step is None:
        return _end(NextStepKind.STOP, f"No hand file on the shelf is long enough for {depth_mm:g} mm.")
    if refused := check_plan(replace(now.plan, steps=(step,)), now.request_now):
        return _end(NextStepKind.STOP, f"{step.instrument.name} is not safe now: {refused[0].text}.")
    return _try(now, NextStepKind.HAND_AGAIN, step, reasons=(why,))


def _try(
    now: Situation,
    kind: NextStepKind,
    step: SequenceStep,
    *,
    reasons: tuple[str, ...],
    plan_step: int | None = None,
) -> NextStep:
    if now.attempts:
        reasons += (f"Attempt {now.attempts + 1} of at most {MOST_ATTEMPTS}.",)
    return NextStep(
        kind=kind,
        words=_words(step, now.request.working_length_mm),
        reasons=reasons,
        step=step,
        plan_step=plan_step,
        to_mm=step.to_mm,
        attempt=now.attempts + 1,
        outcomes=tuple(Outcome),
    )


def _words(step: SequenceStep, length_mm: float | None) -> str:
    if length_mm is None or step.to_mm < length_mm - SLACK_MM:
        depth = f"to {step.to_mm:.1f} mm"
    elif step.to_mm > length_mm + SLACK_MM:
        depth = f"to {step.to_mm:.1f} mm, {step.to_mm - length_mm:.1f} mm beyond the working length"
    else:
        depth = f"to the working length, {step.to_mm:.1f} mm"
    speed = "" if step.speed_rpm is None else f" at {step.speed_rpm:.0f} rpm"
    name = step.instrument.name
    return f"{name[0].upper()}{name[1:]} {depth}{speed}."


def _re_measure(now: Situation, why: str) -> NextStep:
    length = now.request.working_length_mm or 0.0
    return NextStep(
        kind=NextStepKind.RE_MEASURE,
        words=f"Measure the working length again; it was {length:.1f} mm.",
        reasons=(why, "A loss of 0.5 mm or more stops the treatment."),
        to_mm=length,
        outcomes=(Outcome.REACHED, Outcome.LOST_LENGTH),
    )


def _re_plan(now: Situation, reason: str) -> NextStep:
    if now.plans >= MOST_PLANS:
        return _end(NextStepKind.STOP, f"{reason} {MOST_PLANS} new plans did not get there: refer.")
    return NextStep(
        kind=NextStepKind.RE_PLAN, words="Ask for a new plan with what was found.", reasons=(reason,)
    )


def _at_the_end(now: Situation) -> NextStep:
    size = now.found.size_at_length
    if now.confirm_mm is not None:
        return _confirm(now, now.confirm_mm)
    if now.request.working_length_mm is not None and size > 0 and not now.measured_at_end:
        return _re_measure(now, "All steps are carried out; the length is measured at the end.")
    if size >= LOOSE_ENOUGH_SIZE:
        return _end(NextStepKind.DONE, f"The plan is carried out and hand size {size} is at working length.")
    if size > now.size_at_plan and now.plans < MOST_PLANS:
        return _re_plan(now, f"Hand size {size} is at working length now, more than when the plan was made.")
    if size == 0:
        return _end(NextStepKind.STOP, "The plan is carried out and no hand file has reached working length.")
    return _end(
        NextStepKind.HAND_ONLY, f"The plan is carried out; hand size {size} is the largest at working length."
    )


_END_WORDS = {
    NextStepKind.STOP: "Stop. Take a radiograph, think again, refer.",
    NextStepKind.HAND_ONLY: "Go on by hand only; rotate nothing.",
    NextStepKind.DONE: "Done: the glide path is there.",
}


def _end(kind: NextStepKind, reason: str) -> NextStep:
    return NextStep(kind=kind, words=_END_WORDS[kind], reasons=(reason,))
