"""A student's plan held against the safety rules, in the canal as the reference measures it."""

from __future__ import annotations

from typing import NamedTuple

from curvometer.assessment.submission import ProposedPlan, StepEntry
from curvometer.instruments import InstrumentError, InstrumentKind, Inventory, shortest_that_reaches
from curvometer.instruments.iso import Instrument
from curvometer.sequence import (
    PlanRequest,
    SequenceError,
    SequencePlan,
    SequenceStep,
    StepRole,
    check_plan,
)

MOST_STEPS = 100
"""More steps are a slip of the file, not a plan."""


class PlanFindings(NamedTuple):
    """What is wrong with a plan.

    Attributes
    ----------
    violations
        One sentence for each broken rule and step; empty for a safe plan, or one without a step.
    rules
        The broken rules in words, each once.
    """

    violations: tuple[str, ...] = ()
    rules: tuple[str, ...] = ()


def check_proposal(proposal: ProposedPlan, request: PlanRequest) -> PlanFindings:
    """Check a student's steps.

    Parameters
    ----------
    proposal
        The student's.
    request
        The canal by the reference's measurement, the findings that the exercise states, and the shelf.

    Returns
    -------
    PlanFindings
        A step with an instrument that is not on the shelf breaks a rule; the others are still checked.
    """
    if not proposal.steps:
        return PlanFindings()
    if len(proposal.steps) > MOST_STEPS:
        return PlanFindings(
            violations=(f"{len(proposal.steps)} steps are no plan",), rules=("A plan has few steps.",)
        )
    absent, steps = [], []
    for number, entry in enumerate(proposal.steps, 1):
        try:
            piece = _piece(entry, request.inventory)
        except InstrumentError as error:
            piece = None
            absent.append(f"step {number}: {error}")
        if piece is None:
            absent.append(f"step {number}: {_name(entry)} is not on the shelf")
        else:
            steps.append((number, _step(entry, piece)))
    found = [] if not steps else _violations(steps, request)
    rules = [*(["Every instrument is on the shelf."] if absent else []), *(rule for _, rule in found)]
    return PlanFindings(violations=(*absent, *(text for text, _ in found)), rules=tuple(dict.fromkeys(rules)))


def _violations(steps: list[tuple[int, SequenceStep]], request: PlanRequest) -> list[tuple[str, str]]:
    plan = SequencePlan(
        recommender="student", rule="", steps=tuple(step for _, step in steps), ends_with="as proposed"
    )
    try:
        found = check_plan(plan, request)
    except SequenceError as error:
        return [(str(error), "A plan can be carried out.")]
    return [
        (
            violation.text
            if violation.step is None
            else f"step {steps[violation.step][0]}: {violation.text}",
            violation.rule.words,
        )
        for violation in found
    ]


def _piece(entry: StepEntry, shelf: Inventory) -> Instrument | None:
    """The shortest piece that is long enough; where none is, the longest, so that the guard says what is lacking."""
    kind = InstrumentKind(entry.kind)
    found = shortest_that_reaches(
        shelf, kind=kind, size=entry.size, taper=entry.taper, working_length_mm=entry.to_mm
    )
    if found is not None:
        return found
    pieces = shelf.of(kind=kind, size=entry.size, taper=entry.taper)
    return max(pieces, key=lambda piece: piece.length_mm, default=None)


def _step(entry: StepEntry, piece: Instrument) -> SequenceStep:
    return SequenceStep(
        instrument=piece,
        to_mm=entry.to_mm,
        role=StepRole.EXPLORE if entry.kind == "hand" else StepRole.SHAPE,
        motion="",
        speed_rpm=entry.speed_rpm,
        seconds=entry.seconds,
    )


def _name(entry: StepEntry) -> str:
    return f"{entry.kind} instrument {entry.size}/.{round(100 * entry.taper):02d}"
