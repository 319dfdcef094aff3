"""The printed treatment: what was done, the next step in large plain words, and what may be said of it."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterator

from curvometer.treatment import (
    Entry,
    NextStep,
    NextStepKind,
    Outcome,
    PlanEntry,
    Treatment,
    next_step,
    plan_in_force,
)

_NARROWEST, _WIDEST = 72, 110
_SAY = {
    Outcome.REACHED: '"reached"',
    Outcome.SHORT: '"short 1.5"',
    Outcome.BINDING: '"binding"',
    Outcome.DEFLECTED: '"deflected"',
    Outcome.FRACTURED: '"fractured"',
    Outcome.LOST_LENGTH: '"lost 0.5"',
}


def treatment_text(treatment: Treatment, *, log: str) -> str:
    """Tell a treatment so that it can be read at arm's length.

    Parameters
    ----------
    treatment
        The plan, its request and the log.
    log
        Name of its file, for the command that follows.

    Returns
    -------
    str
        Several lines, no line break at the end.
    """
    width = min(max(shutil.get_terminal_size((100, 24)).columns, _NARROWEST), _WIDEST)
    told = next_step(treatment.plan, treatment.log, treatment.request)
    lines = [
        *_heading(treatment),
        *_history(treatment, width),
        "",
        "=" * width,
        *textwrap.wrap(f"NEXT: {told.words.upper()}" if not told.ends else told.words.upper(), width),
        "=" * width,
        *_details(told, width),
        "",
        *_saying(told, log),
        *textwrap.wrap(" ".join(told.cautions), width),
    ]
    return "\n".join(line.rstrip() for line in lines)


def _heading(treatment: Treatment) -> Iterator[str]:
    request = treatment.request
    tooth = "" if request.tooth is None else f" of tooth {request.tooth}"
    canal = "canal" if request.canal is None else f"canal {request.canal}"
    length = request.working_length_mm
    measured = "no working length" if length is None else f"working length {length:.1f} mm"
    plan = plan_in_force(treatment.plan, treatment.log)
    yield f"Treatment: {canal}{tooth}, {measured}; plan of {plan.recommender}, rule {plan.rule}"


def _history(treatment: Treatment, width: int) -> Iterator[str]:
    if not treatment.log.entries:
        yield "Nothing has been tried yet."
    for number, entry in enumerate(treatment.log.entries, start=1):
        text = f"{number:>3}  {entry.time.astimezone():%H:%M}  {_told(entry)}{f', {entry.who}' if entry.who else ''}"
        yield textwrap.shorten(text, width, placeholder=" ...") if len(text) > width else text


def _told(entry: Entry) -> str:
    if isinstance(entry, PlanEntry):
        if entry.plan is None:
            return f"no new plan: {entry.advice}"
        return f"new plan of {entry.plan.recommender}, rule {entry.plan.rule}"
    name = "length measured" if entry.instrument is None else entry.instrument.name
    ended = str(entry.outcome)
    if entry.amount_mm is not None:
        ended += (
            f" by {entry.amount_mm:.1f} mm"
            if entry.outcome is Outcome.SHORT
            else f" {entry.amount_mm:.1f} mm"
        )
    elif entry.instrument is None:
        ended = "kept"
    return f"{name:<16} to {entry.to_mm:>4.1f} mm  {ended}"


def _details(told: NextStep, width: int) -> Iterator[str]:
    rows = [("Why", reason) for reason in told.reasons]
    if (step := told.step) is not None:
        share = step.budget_share
        bent = "" if not step.strain_percent else f"Strain {step.strain_percent:.1f} %"
        spent = "" if share is None else f", {share} of its design life"
        turned = "" if step.seconds is None else f", {step.seconds:.0f} s in the canal"
        rows += [
            ("How", f"{step.instrument.length_mm} mm long, {step.motion}{turned}"),
            ("Bent", bent + spent),
        ]
        rows += [("Check", step.check), ("If short", step.if_short), ("Stop when", step.stop_when)]
    last = ""
    for label, text in rows:
        if text:
            shown = "" if label == last else label
            yield from textwrap.wrap(
                text, width, initial_indent=f"{shown:<11}", subsequent_indent=" " * 11, break_long_words=False
            )
            last = label


def _saying(told: NextStep, log: str) -> Iterator[str]:
    """How to tell what happened."""
    if told.ends:
        return
    words = [_SAY[outcome] for outcome in told.outcomes]
    if told.kind is NextStepKind.RE_PLAN:
        words = ['"re-plan"']
    if told.kind is NextStepKind.RE_MEASURE:
        words[0] = '"kept"'
    yield f"Then say:  curvometer next --log {log} --did {words[0]}"
    if len(words) > 1:
        yield f"{'or':<11}{', '.join(words[1:])}"
    yield ""
