"""How far plan and treatment of the selected canal are, in words."""

from __future__ import annotations

from curvometer import NextStepKind, PlanAdvice
from curvometer_napari.chairside import ChairState, Planned
from curvometer_napari.plan_words import ADVICE
from curvometer_napari.planning import Now
from curvometer_napari.session import Session
from curvometer_napari.steps import IMAGE_FIRST, State, StepState


def sequence_step(session: Session, now: Now, planned: Planned | None, *, asking: bool) -> StepState:
    """Tell how far plan and treatment of the selected canal are."""
    if session.radiograph is None:
        return StepState(name="sequence", state=State.TODO, words=IMAGE_FIRST)
    if now.name is None:
        return StepState(name="sequence", state=State.TODO, words="Trace a canal first.")
    if now.request is None:
        return _without_request(session, now)
    state, words = _told(now, planned, asking=asking)
    return StepState(name="sequence", state=state, words=f"{now.name}: {words}")


def _without_request(session: Session, now: Now) -> StepState:
    if now.problem:
        return StepState(name="sequence", state=State.PROBLEM, words=f"{now.name}: {now.problem}")
    result = None if now.name is None else session.result(now.name)
    draft = session.case.draft
    words = f"{now.name}: wait for the measurement."
    if draft is not None and draft.name == now.name:
        words = f"Accept {now.name} first."
    elif result is not None and result.problem:
        words = f"{now.name}: without a measurement there is no plan."
    return StepState(name="sequence", state=State.TODO, words=words)


def _told(now: Now, planned: Planned | None, *, asking: bool) -> tuple[State, str]:
    stand = now.stand
    if stand.state is ChairState.CHANGED:
        words = "the log offers nothing now; why stands below."
        return State.PROBLEM, words if planned is None else "the log offers nothing now; a new plan is shown."
    if stand.told is not None:
        words = f"{stand.told.words[:1].lower()}{stand.told.words[1:]}"
        ended = {
            NextStepKind.STOP: State.PROBLEM,
            NextStepKind.HAND_ONLY: State.DONE,
            NextStepKind.DONE: State.DONE,
        }
        return ended.get(stand.told.kind, State.TODO), f"next: {words}" if not stand.told.ends else words
    if asking:
        return State.TODO, "planning ..."
    if planned is None:
        return State.TODO, "state what hand files reached, then press Plan."
    advice = planned.answer.advice
    return State.PROBLEM if advice is PlanAdvice.REFER else State.DONE, f"advice: {ADVICE[advice]}"
