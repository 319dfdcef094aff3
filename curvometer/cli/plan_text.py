"""The printed plan: the advice, a readable list of steps for each plan, who was refused and why, and the cautions."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterator, Sequence

from curvometer.sequence import PLANNING_CAUTIONS, PlanAnswer, PlanRequest, SequencePlan, SequenceStep

_NARROWEST, _WIDEST = 72, 110
_ADVICE = {
    "plan": "plan, see below",
    "hand only": "hand files only",
    "refer": "refer, or think again before any motor",
}


def plan_text(answer: PlanAnswer, request: PlanRequest, *, source: str, assumed: Sequence[str] = ()) -> str:
    """Tell an answer in words that a clinician reads at the chair.

    Parameters
    ----------
    answer
        Of all recommenders.
    request
        What they were asked.
    source
        The record's name, or the what-if in words.
    assumed
        What is taken for granted, one sentence each.

    Returns
    -------
    str
        Several lines, no line break at the end.
    """
    width = min(max(shutil.get_terminal_size((100, 24)).columns, _NARROWEST), _WIDEST)
    lines = textwrap.wrap(f"Instrument sequence: {source}", width, break_long_words=False)
    lines.append(f"Advice: {_ADVICE[answer.advice.value]}")
    if answer.plans and (length := request.working_length_mm) is not None:
        lines.append(f"WL, the working length, is {length:.1f} mm from the reference point")
    lines += [line for reason in (*answer.reasons, *assumed) for line in _item(reason, width)]
    for plan in answer.plans:
        lines += ["", *_plan(plan, request, width, told=answer.reasons)]
    if answer.refused:
        lines += ["", "No plan from"]
        lines += [
            line for r in answer.refused for line in _item(f"{r.recommender}: {' '.join(r.reasons)}", width)
        ]
    lines += ["", *textwrap.wrap(" ".join(PLANNING_CAUTIONS), width)]
    return "\n".join(line.rstrip() for line in lines)


def _plan(plan: SequencePlan, request: PlanRequest, width: int, told: Sequence[str]) -> Iterator[str]:
    yield f"Plan of {plan.recommender}, rule {plan.rule}; ends with {plan.ends_with}"
    yield "-" * width
    yield f"{'':>3} {'instrument':<15} {'to':>12} {'speed':>8} {'strain':>7}  share of design life (range)"
    for number, step in enumerate(plan.steps, start=1):
        yield _step(number, step, request)
        for label, text in _notes(step, plan.steps[: number - 1]):
            yield from textwrap.wrap(
                f"{label}: {text}", width, initial_indent="      ", subsequent_indent="        "
            )
    yield "-" * width
    for text in (*plan.reasons, *plan.cautions):
        if text not in PLANNING_CAUTIONS and text not in told:
            yield from _item(text, width)
    sources = "; ".join(f"{source.citation} ({source.how_read.value})" for source in plan.sources)
    yield from _item(f"Sources: {sources or 'none told'}", width)


def _step(number: int, step: SequenceStep, request: PlanRequest) -> str:
    length = request.working_length_mm
    to_length = length is not None and abs(step.to_mm - length) < 0.05  # as printed
    depth = f"{step.to_mm:.1f} mm" + (" = WL" if to_length else "")
    speed = "by hand" if step.speed_rpm is None else f"{step.speed_rpm:.0f} rpm"
    strain = "" if step.strain_percent is None else f"{step.strain_percent:.1f} %"
    share = "" if step.budget_share is None else str(step.budget_share)
    return f"{number:>3} {step.instrument.name:<15} {depth:>12} {speed:>8} {strain:>7}  {share}"


def _notes(step: SequenceStep, before: Sequence[SequenceStep]) -> Iterator[tuple[str, str]]:
    """Words of a step; what an earlier step has told in the same words is not repeated."""
    time = "" if step.seconds is None else f", {step.seconds:g} s in all"
    for label, text, name in (
        ("how", step.motion + time, "motion"),
        ("check", step.check, "check"),
        ("if short", step.if_short, "if_short"),
        ("stop", step.stop_when, "stop_when"),
    ):
        told = any(
            getattr(each, name) == getattr(step, name) and each.seconds == step.seconds for each in before
        )
        if text and not told:
            yield label, text


def _item(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, initial_indent="  - ", subsequent_indent="    ")
