"""What was tried in one canal and how far it went: entries are added, never changed or taken away."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import TypeVar

from curvometer.instruments import Instrument
from curvometer.radiograph import CurvometerError
from curvometer.sequence import PlanAdvice, PlanRequest, SequencePlan, plan_to_plain, request_to_plain

Kind = TypeVar("Kind", bound=StrEnum)


class TreatmentError(CurvometerError):
    """A log that does not fit its plan, or something that cannot have happened; one sentence."""


class Outcome(StrEnum):
    """How a step ended."""

    REACHED = "reached"
    SHORT = "short"
    BINDING = "binding"
    DEFLECTED = "deflected"
    FRACTURED = "fractured"
    LOST_LENGTH = "lost length"


AMOUNTS = {Outcome.SHORT: "how much it fell short", Outcome.LOST_LENGTH: "how much length was lost"}
"""Outcomes that need a number of mm, and what it tells."""


class NextStepKind(StrEnum):
    """What to do next; the last three end the log."""

    PLAN_STEP = "step of the plan"
    HAND_AGAIN = "hand file again"
    RE_MEASURE = "re-measure"
    RE_PLAN = "re-plan"
    STOP = "stop and refer"
    HAND_ONLY = "hand only"
    DONE = "done"


ENDINGS = (NextStepKind.STOP, NextStepKind.HAND_ONLY, NextStepKind.DONE)
"""Nothing follows one of these."""


@dataclass(frozen=True, kw_only=True)
class TreatmentEntry:
    """One instrument that was tried, or one measurement of the working length.

    Attributes
    ----------
    time
        With its time zone.
    kind
        What had been offered: a step of the plan, the hand file again, or to measure again.
    plan_step
        Which step of the plan in force, from 0; None for what the plan does not hold.
    instrument
        The piece; None where the length was measured.
    to_mm
        Depth that was wanted, from the reference point.
    outcome
        How it ended.
    amount_mm
        How much it fell short, or how much length was lost against the working length of the request; else None.
    depth_mm
        How deep the tip went, from the reference point; None where nobody said.
    who
        May be empty.

    Raises
    ------
    TreatmentError
        If something in it cannot be.
    """

    time: dt.datetime
    kind: NextStepKind
    plan_step: int | None
    instrument: Instrument | None
    to_mm: float
    outcome: Outcome
    amount_mm: float | None = None
    depth_mm: float | None = None
    who: str = ""

    def __post_init__(self) -> None:
        _check_time(self.time)
        object.__setattr__(self, "kind", member(NextStepKind, self.kind, "action"))
        object.__setattr__(self, "outcome", member(Outcome, self.outcome, "outcome"))
        if not isinstance(self.who, str):
            raise TreatmentError(f"Who did it must be text, found {self.who!r}.")
        if self.instrument is not None and not isinstance(self.instrument, Instrument):
            raise TreatmentError(f"An entry needs an Instrument, found {self.instrument!r:.60}.")
        if self.plan_step is not None and (type(self.plan_step) is not int or self.plan_step < 0):
            raise TreatmentError(
                f"The step of a plan is a whole number from 0 on, found {self.plan_step!r:.60}."
            )
        _check_depths(self)


@dataclass(frozen=True, kw_only=True)
class PlanEntry:
    """A new plan that was taken up, or that there is none.

    Attributes
    ----------
    time
        With its time zone.
    plan
        The new plan; None where no recommender has one.
    advice
        ``PlanAdvice.PLAN`` with a plan, else ``HAND_ONLY`` or ``REFER``.
    reasons
        Why there is none, or why this one.
    who
        May be empty.

    Raises
    ------
    TreatmentError
        If something in it cannot be.
    """

    time: dt.datetime
    plan: SequencePlan | None
    advice: PlanAdvice
    reasons: tuple[str, ...] = ()
    who: str = ""

    def __post_init__(self) -> None:
        _check_time(self.time)
        object.__setattr__(self, "advice", member(PlanAdvice, self.advice, "advice"))
        if not isinstance(self.who, str) or isinstance(self.reasons, str):
            raise TreatmentError("Who took up a plan must be text, and the reasons a list of sentences.")
        object.__setattr__(self, "reasons", tuple(map(str, self.reasons)))
        if (self.plan is not None) != (self.advice is PlanAdvice.PLAN):
            raise TreatmentError(
                f"The advice {self.advice!s} does not fit {'no plan' if self.plan is None else 'a plan'};"
                " give both or neither."
            )
        if self.plan is not None and not isinstance(self.plan, SequencePlan):
            raise TreatmentError(f"A new plan must be a SequencePlan, found {self.plan!r:.60}.")


Entry = TreatmentEntry | PlanEntry


@dataclass(frozen=True, kw_only=True)
class TreatmentLog:
    """Entries of one canal in their order, bound to the plan and the request that it began with.

    Attributes
    ----------
    case_id
        `case_id` of the first plan and its request.
    entries
        Oldest first.
    """

    case_id: str
    entries: tuple[Entry, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "entries", tuple(self.entries))
        for entry in self.entries:
            if not isinstance(entry, TreatmentEntry | PlanEntry):
                raise TreatmentError(f"A log holds entries only, found {entry!r:.60}.")

    def appended(self, entry: Entry) -> TreatmentLog:
        """A log with one more entry; this one stays as it is."""
        return TreatmentLog(case_id=self.case_id, entries=(*self.entries, entry))


@lru_cache(maxsize=256)
def case_id(plan: SequencePlan, request: PlanRequest) -> str:
    """Fingerprint of a plan with its request; a log carries it, so that it is never read with another plan."""
    asked = request_to_plain(request)
    del asked[
        "angle_kind"
    ]  # the same for all, and said since later than the first logs: they keep their fingerprint
    told = json.dumps([plan_to_plain(plan), asked], sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()[:16]


def member(kind: type[Kind], value: object, what: str) -> Kind:
    """A word as a member of its kind, or a sentence that names the words there are."""
    try:
        return kind(str(value))
    except ValueError:
        raise TreatmentError(
            f"There is no {what} {str(value)!r:.60}; it is one of {', '.join(kind)}."
        ) from None


def _check_time(time: object) -> None:
    if not isinstance(time, dt.datetime) or time.utcoffset() is None:
        raise TreatmentError(f"An entry needs its time with the time zone, found {time!s:.60}.")


def _check_depths(entry: TreatmentEntry) -> None:
    for name in ("to_mm", "amount_mm", "depth_mm"):
        value = getattr(entry, name)
        if value is not None:
            object.__setattr__(entry, name, _millimetres(value, name))
    if entry.to_mm is None or entry.to_mm <= 0.0:
        raise TreatmentError(f"The depth that was wanted must be above 0 mm, found {entry.to_mm!r}.")
    if (told := AMOUNTS.get(entry.outcome)) is None:
        if entry.amount_mm is not None:
            raise TreatmentError(f"{entry.outcome.capitalize()} takes no number of mm; leave it out.")
    elif entry.amount_mm is None or not 0.0 < entry.amount_mm <= entry.to_mm:
        raise TreatmentError(
            f"Say {told}, above 0 and at most {entry.to_mm:g} mm, found {entry.amount_mm!r}; measure it again."
        )


def _millimetres(value: object, name: str) -> float:
    good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if not good or value < 0.0:  # type: ignore[operator]  # `good` says that it is a number
        what = {"to_mm": "depth that was wanted", "amount_mm": "number of mm", "depth_mm": "depth"}[name]
        raise TreatmentError(
            f"The {what} must be a number of mm from 0 on, found {value!r}; measure it again."
        )
    return float(value)  # type: ignore[arg-type]
