"""A plan in words: the advice, the canal that it is for, one line for each step, and what all steps share said once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from curvometer import (
    PLANNING_CAUTIONS,
    CanalMeasurement,
    PlanAdvice,
    PlanAnswer,
    PlanRequest,
    SequencePlan,
    SequenceStep,
)

ADVICE = {
    PlanAdvice.PLAN: "a plan, below.",
    PlanAdvice.HAND_ONLY: "hand files only.",
    PlanAdvice.REFER: "refer, or think again before any motor.",
}

AS_PRINTED_MM = 0.05
"""Depths closer than this look the same with one decimal."""

TEXTS = (("how", "motion"), ("check", "check"), ("if short", "if_short"), ("stop when", "stop_when"))
"""Label and attribute of each text of a step."""


@dataclass(frozen=True, kw_only=True)
class StepText:
    """One text of a step, or of several.

    Attributes
    ----------
    label
        ``"how"``, ``"check"``, ``"if short"`` or ``"stop when"``.
    text
        A sentence, or a few.
    steps
        Numbers of the steps that it belongs to, from 0.
    """

    label: str
    text: str
    steps: tuple[int, ...]


def advice_words(answer: PlanAnswer, request: PlanRequest) -> tuple[str, ...]:
    """The answer as a whole, and its reasons, a sentence each; what the grades say of a referral in one of them."""
    by_grades = set(request.referral_reasons)
    reasons = [each for each in answer.reasons if each not in by_grades]
    said = [as_end(f"{each[:1].upper()}{each[1:]}") for each in reasons]
    if len(reasons) < len(answer.reasons):
        said.append(f"By the grades: {request.referral}. Their reasons stand under Grade.")
    return (f"Advice: {ADVICE[answer.advice]}", *said)


def refused_words(answer: PlanAnswer) -> tuple[str, ...]:
    """Who has no plan, and why, as far as the reasons are not among the answer's own."""
    lines = []
    for each in answer.refused:
        said = [as_end(reason) for reason in each.reasons if reason not in answer.reasons]
        lines.append(f"No plan from {each.recommender}: {' '.join(said) or 'the reason stands above.'}")
    return tuple(lines)


def canal_words(request: PlanRequest, measurement: CanalMeasurement | None) -> str:
    """The canal as recommenders see it: the angle by its name, so that no class is held against another angle."""
    if request.angle_deg <= 0.0 and request.radius_mm is None:
        return "No bend was found: planned as a straight canal."
    angle = f"Planned with the central angle of the bend, {request.angle_deg:.1f}°{_range(request.angle_interval_deg, '°')}"
    schneider = None if measurement is None else measurement.schneider_angle
    if schneider is not None:
        angle += f"; Schneider's angle of the same canal is {schneider.value:.1f}°"
    parts = [f"{angle}."]
    if request.radius_mm is not None:
        parts.append(
            f"Smallest radius {request.radius_mm:.1f} mm{_range(request.radius_interval_mm, ' mm')}."
        )
    start = request.curve_start_mm
    if start is not None:
        parts.append(f"The curve starts {start:.1f} mm deep.")
    if request.s_shape:
        parts.append("S-shaped.")
    elif request.bends_twice:
        parts.append(f"A second bend of {request.second_angle_deg:.1f}°.")
    return " ".join(parts)


def plan_name(plan: SequencePlan) -> str:
    """Who made a plan and by which rule; a rule's own words where it has no code."""
    return f"{plan.recommender}, {plan.rule}" if plan.recommender not in plan.rule else plan.rule


def depth_words(to_mm: float, request: PlanRequest) -> str:
    """A depth; WL where it is the working length."""
    length = request.working_length_mm
    at_length = length is not None and abs(to_mm - length) < AS_PRINTED_MM
    return f"{to_mm:.1f} mm" + (" = WL" if at_length else "")


def speed_words(step: SequenceStep) -> str:
    """How it is driven."""
    return "by hand" if step.speed_rpm is None else f"{step.speed_rpm:.0f} rpm"


def strain_words(step: SequenceStep) -> str:
    """The largest bending strain; empty where nobody computed one."""
    return "" if step.strain_percent is None else f"{step.strain_percent:.1f} %"


def share_words(step: SequenceStep) -> str:
    """The share of the design life with its scatter; empty for a hand file."""
    return "" if step.budget_share is None else str(step.budget_share)


def row_words(number: int, step: SequenceStep, request: PlanRequest) -> str:
    """A step in two lines of the list."""
    first = f"{number + 1}  {step.instrument.name} to {depth_words(step.to_mm, request)}, {speed_words(step)}"
    second = [f"strain {strain_words(step)}"] if strain_words(step) else []
    second += [f"share of life {share_words(step)}"] if share_words(step) else []
    return f"{first}\n     {'; '.join(second) or 'no strain is told'}"


def step_words(step: SequenceStep, request: PlanRequest) -> str:
    """A step in a line, for whoever cannot see the list."""
    name = step.instrument.name
    line = f"{name[:1].upper()}{name[1:]} to {depth_words(step.to_mm, request)}, {speed_words(step)}"
    line += f", {step.seconds:g} s in the canal" if step.seconds is not None else ""
    line += f"; strain {strain_words(step)}" if strain_words(step) else ""
    return line + (f"; share of the design life {share_words(step)}" if share_words(step) else "")


def texts_of(plan: SequencePlan) -> tuple[StepText, ...]:
    """Every text of a plan's steps, each once, with the steps that it belongs to."""
    steps_of: dict[tuple[str, str], list[int]] = {}
    for label, name in TEXTS:
        for number, step in enumerate(plan.steps):
            if text := getattr(step, name):
                steps_of.setdefault((label, text), []).append(number)
    return tuple(
        StepText(label=label, text=text, steps=tuple(steps)) for (label, text), steps in steps_of.items()
    )


def shared_words(plan: SequencePlan) -> tuple[tuple[str, str], ...]:
    """What several steps share, as (heading, text): first of the whole plan, then for each group of steps."""
    groups: dict[tuple[int, ...], list[StepText]] = {}
    for each in texts_of(plan):
        if len(each.steps) > 1:
            groups.setdefault(each.steps, []).append(each)
    whole = [as_end(text) for text in plan.cautions if text not in PLANNING_CAUTIONS]
    said = [("All steps", " ".join(whole))] if whole else []
    for steps, texts in sorted(groups.items(), key=lambda item: (-len(item[0]), item[0])):
        told = " ".join(f"{each.label.capitalize()}: {as_end(each.text)}" for each in texts)
        said.append((f"Steps {_numbers(steps)}", told))
    return tuple(said)


def own_words(plan: SequencePlan, number: int) -> tuple[str, ...]:
    """What belongs to one step alone: why, its time, and the texts that no other step has."""
    step = plan.steps[number]
    said = [f"Why: {step.why}"] if step.why else []
    if step.seconds is not None:
        pecks = "" if step.pecks is None else f", {step.pecks} strokes"
        said.append(f"Time: {step.seconds:g} s in the canal in all{pecks}.")
    said += [f"{each.label.capitalize()}: {each.text}" for each in texts_of(plan) if each.steps == (number,)]
    return tuple(said)


def as_end(text: str) -> str:
    """A text with a stop at its end."""
    return text if text[-1:] in ".!?" else f"{text}."


def _range(interval: tuple[float, float] | None, unit: str) -> str:
    return "" if interval is None else f" ({interval[0]:.1f} to {interval[1]:.1f}{unit})"


def _numbers(steps: Iterable[int]) -> str:
    """Numbers as people count them, runs shortened: ``1, 3, 5 to 7``."""
    runs: list[list[int]] = []
    for step in steps:
        if runs and step == runs[-1][-1] + 1:
            runs[-1].append(step)
        else:
            runs.append([step])
    return ", ".join(
        ", ".join(str(n + 1) for n in run) if len(run) < 3 else f"{run[0] + 1} to {run[-1] + 1}"
        for run in runs
    )
