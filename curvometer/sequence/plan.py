"""A plan is frozen data: ordered steps, why, and what ends it. Somebody else carries it out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from curvometer.bibliography import Reference
from curvometer.instruments import Instrument, InstrumentKind
from curvometer.mechanics import BudgetShare
from curvometer.sequence.request import PlanRequest, SequenceError

PLANNING_CAUTIONS = (
    "A planning and teaching aid, not a diagnosis: licensed judgement and the makers' instructions come first.",
    "One projection shows the least curvature: the canal may bend more out of the plane of the image.",
    "Strains and budget shares are bench-based and compare steps with each other; they never promise a life.",
)
"""What stands beside every plan."""


class StepRole(StrEnum):
    """What a step is for."""

    EXPLORE = "explore"
    PREFLARE = "preflare"
    SHAPE = "shape"
    CONFIRM = "confirm"


class PlanAdvice(StrEnum):
    """The answer as a whole."""

    PLAN = "plan"
    HAND_ONLY = "hand only"
    REFER = "refer"


@dataclass(frozen=True, kw_only=True)
class SequenceStep:
    """One instrument, once down and up again.

    Attributes
    ----------
    instrument
        A piece of the shelf.
    to_mm
        How deep its tip goes, from the reference point on the crown; the working length means to length.
    role
        What it is for; the guard looks at what the step does, not at this word.
    motion
        In words.
    speed_rpm
        Of the motor; None for a hand instrument.
    seconds
        In the canal, all strokes together; None for a hand instrument.
    pecks
        Strokes of one insertion; None for a hand instrument.
    why
        One sentence.
    strain_percent
        Largest bending strain in this canal; None where nobody computed it yet (`with_core_numbers`).
    budget_share
        Share of the design life with its range; None for a hand instrument, or where nobody computed it yet.
    check
        What is checked after it.
    if_short
        What to do where it does not advance.
    stop_when
        What ends the plan here.

    Raises
    ------
    SequenceError
        If a value is of the wrong kind. Whether the step is safe is the guard's question (`check_plan`).
    """

    instrument: Instrument
    to_mm: float
    role: StepRole
    motion: str
    speed_rpm: float | None = None
    seconds: float | None = None
    pecks: int | None = None
    why: str = ""
    strain_percent: float | None = None
    budget_share: BudgetShare | None = None
    check: str = ""
    if_short: str = ""
    stop_when: str = ""

    def __post_init__(self) -> None:
        if not isinstance(self.instrument, Instrument):
            raise SequenceError(
                f"A step needs an Instrument, found {self.instrument!r}; take one of the shelf."
            )
        try:
            object.__setattr__(self, "role", StepRole(str(self.role)))
        except ValueError:
            raise SequenceError(f"There is no role {self.role!r}; use {', '.join(StepRole)}.") from None
        for name in ("to_mm", "speed_rpm", "seconds", "pecks", "strain_percent"):
            value = _number(getattr(self, name), name, optional=name != "to_mm")
            object.__setattr__(self, name, value)
        if self.budget_share is not None and not isinstance(self.budget_share, BudgetShare):
            raise SequenceError(f"A budget share needs its range, found {self.budget_share!r}; leave it out.")
        for name in ("value", "lower", "upper", "cycles") if self.budget_share is not None else ():
            _number(getattr(self.budget_share, name), f"budget share, {name},", optional=False)
        for name in ("motion", "why", "check", "if_short", "stop_when"):
            if not isinstance(getattr(self, name), str):
                raise SequenceError(f"{name} of a step must be text, found {getattr(self, name)!r}.")

    @property
    def is_rotary(self) -> bool:
        """Whether a motor turns it."""
        return self.instrument.kind is InstrumentKind.ROTARY


@dataclass(frozen=True, kw_only=True)
class SequencePlan:
    """Steps in their order, with the reasons.

    Attributes
    ----------
    recommender
        Who made it; `ask_recommenders` puts the installed name here.
    rule
        Short name of the rule that it follows, like ``"R07"``.
    steps
        At least one.
    ends_with
        What is true when the plan has been carried out.
    reasons
        One sentence each.
    cautions
        One sentence each; the core's own `PLANNING_CAUTIONS` always stand first.
    sources
        Where the rule comes from, or that it is common practice.

    Raises
    ------
    SequenceError
        If something is of the wrong kind, or there is no step.
    """

    recommender: str
    rule: str
    steps: tuple[SequenceStep, ...]
    ends_with: str
    reasons: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    sources: tuple[Reference, ...] = ()

    def __post_init__(self) -> None:
        _check_texts(self, ("recommender", "rule", "ends_with"), ("reasons", "cautions"))
        # No recommender can leave these out.
        object.__setattr__(self, "cautions", tuple(dict.fromkeys((*PLANNING_CAUTIONS, *self.cautions))))
        object.__setattr__(self, "steps", _tuple_of(self.steps, SequenceStep, "steps"))
        object.__setattr__(self, "sources", _tuple_of(self.sources, Reference, "sources"))
        if not self.steps:
            raise SequenceError("A plan without a step is none; return a NoPlan with reasons instead.")

    @property
    def is_hand_only(self) -> bool:
        """Whether no motor is used."""
        return not any(step.is_rotary for step in self.steps)


@dataclass(frozen=True, kw_only=True)
class NoPlan:
    """A recommender's answer where it has no plan.

    Attributes
    ----------
    rule
        Short name of the rule.
    advice
        ``PlanAdvice.HAND_ONLY`` or ``PlanAdvice.REFER``.
    reasons
        At least one sentence.
    sources
        Where the rule comes from.
    """

    rule: str
    advice: PlanAdvice
    reasons: tuple[str, ...]
    sources: tuple[Reference, ...] = ()

    def __post_init__(self) -> None:
        _check_texts(self, ("rule",), ("reasons",))
        object.__setattr__(self, "sources", _tuple_of(self.sources, Reference, "sources"))
        if self.advice not in (PlanAdvice.HAND_ONLY, PlanAdvice.REFER):
            raise SequenceError(
                f"Without a plan the advice is 'hand only' or 'refer', found {self.advice!r}."
            )
        object.__setattr__(self, "advice", PlanAdvice(self.advice))
        if not self.reasons:
            raise SequenceError("An answer without a plan needs at least one reason.")


@dataclass(frozen=True, kw_only=True)
class Refusal:
    """Why the core does not show what a recommender said, or why there was nothing to show."""

    recommender: str
    reasons: tuple[str, ...]


class Recommender(Protocol):
    """Anything that turns a request into a plan; found by the entry point group ``curvometer.recommenders``."""

    def __call__(self, request: PlanRequest, /) -> SequencePlan | NoPlan:
        """Plan one canal; called with a time limit, and never trusted."""


def _number(value: object, name: str, *, optional: bool) -> float | int | None:
    """The number itself, without whatever kind it came in."""
    if value is None and optional:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise SequenceError(f"{name} of a step must be a finite number, found {value!r}.")
    return int(value) if name == "pecks" else float(value)


def _check_texts(holder: object, texts: tuple[str, ...], lists: tuple[str, ...]) -> None:
    for name in texts:
        if not isinstance(getattr(holder, name), str):
            raise SequenceError(f"{name} must be text, found {getattr(holder, name)!r}.")
    for name in lists:
        object.__setattr__(holder, name, _tuple_of(getattr(holder, name), str, name))


def _tuple_of(values: object, kind: type, name: str) -> tuple[object, ...]:
    if not isinstance(values, tuple | list) or not all(isinstance(value, kind) for value in values):
        raise SequenceError(f"{name} must be a tuple of {kind.__name__}, found {values!r:.80}.")
    return tuple(values)
