"""Ask every installed recommender, guard what each one says, and always give an answer.

Each runs in a thread of its own with a time limit, on a copy of the request. A thread costs nothing, where a process would take
longer to start than any plan takes to make. What still runs at the limit is told to stop and left behind: it holds a copy, so
nothing that it does later changes an answer. A recommender that stops Python as a whole (in compiled code, or by ending the
process) is not caught; installing one is as much trust as installing any package.
"""

from __future__ import annotations

import ctypes
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from importlib.metadata import entry_points
from itertools import islice
from typing import Any

from curvometer.bibliography import Reference
from curvometer.sequence.guard import check_plan
from curvometer.sequence.lengths import length_remark
from curvometer.sequence.numbers import with_core_numbers
from curvometer.sequence.plain import (
    Plain,
    plan_from_plain,
    plan_to_plain,
    request_from_plain,
    request_to_plain,
)
from curvometer.sequence.plan import NoPlan, PlanAdvice, Recommender, Refusal, SequencePlan
from curvometer.sequence.request import PlanRequest, SequenceError
from curvometer.sequence.rules import Violation

ENTRY_POINT_GROUP = "curvometer.recommenders"
TIME_LIMIT_S = 5.0
"""A plan takes milliseconds; whoever needs longer hangs."""


MOST_STEPS = 100
"""Steps of a plan; more are a loop that went wrong."""
INSIST_S = 0.02
"""Pause between two tries to end a recommender that is over its time."""


@dataclass(frozen=True, kw_only=True)
class InstalledRecommender:
    """One entry of the group ``curvometer.recommenders``: its name, what it names, and the package it came with."""

    name: str
    target: str
    package: str
    load: Callable[[], Recommender]


@dataclass(frozen=True, kw_only=True)
class PlanAnswer:
    """What all recommenders together say.

    Attributes
    ----------
    plans
        Guarded plans with the core's numbers, in the order of the recommenders' names, those with a motor first.
    refused
        Whoever has no plan to show, with the reasons.
    advice
        ``"plan"``, ``"hand only"`` or ``"refer"``. Where the operator's category is below the grade it is ``"refer"``, and
        the plans stand second.
    reasons
        At least one sentence.
    """

    plans: tuple[SequencePlan, ...]
    refused: tuple[Refusal, ...]
    advice: PlanAdvice
    reasons: tuple[str, ...]


def installed_recommenders() -> tuple[InstalledRecommender, ...]:
    """Every recommender that is installed, by name; nothing is imported yet."""
    found = {}
    for entry in sorted(entry_points(group=ENTRY_POINT_GROUP), key=lambda entry: (entry.name, entry.value)):
        package = "" if entry.dist is None else f"{entry.dist.name} {entry.dist.version}"
        found[entry.name, entry.value] = InstalledRecommender(
            name=entry.name, target=entry.value, package=package, load=entry.load
        )
    return tuple(found.values())


def ask_recommenders(
    request: PlanRequest,
    *,
    recommenders: Mapping[str, Recommender] | None = None,
    time_limit_s: float = TIME_LIMIT_S,
) -> PlanAnswer:
    """Ask every recommender for a plan.

    Parameters
    ----------
    request
        The canal and what was found.
    recommenders
        By name; all installed ones when not given.
    time_limit_s
        For each of them.

    Returns
    -------
    PlanAnswer
        Always one: a recommender that raises, hangs or returns something else is refused with a sentence, and the others
        still answer.

    Raises
    ------
    SequenceError
        If the time limit is no positive number.
    """
    if not 0.0 < time_limit_s < 3600.0:
        raise SequenceError(f"The time limit must be between 0 and 3600 s, found {time_limit_s!r}.")
    if recommenders is None:
        loaders = [(each.name, each.load) for each in installed_recommenders()]
    else:
        loaders = [(name, _as_loader(each)) for name, each in recommenders.items()]
    plans, refused, without = [], [], []
    for name, load in loaders:
        said = _within(time_limit_s, partial(_said_by, load, request))
        result = _judged(name, said, request)
        if isinstance(result, SequencePlan):
            plans.append(result)
            continue
        refused.append(result)
        if isinstance(said, NoPlan):
            without.append(said)
    plans.sort(key=lambda plan: plan.is_hand_only)
    advice, reasons = _advice(plans, without, refused, request)
    return PlanAnswer(plans=tuple(plans), refused=tuple(refused), advice=advice, reasons=reasons)


def answer_to_plain(answer: PlanAnswer) -> Plain:
    """Tell an answer as the command line's JSON; `to_mm` is the depth from the reference point, shares are fractions."""
    return {
        "plans": [plan_to_plain(plan) for plan in answer.plans],
        "refused": [{"recommender": r.recommender, "reasons": list(r.reasons)} for r in answer.refused],
        "advice": answer.advice.value,
        "reasons": list(answer.reasons),
    }


def _as_loader(recommender: Recommender) -> Callable[[], Recommender]:
    return lambda: recommender


@dataclass(frozen=True)
class _Failure:
    sentence: str


def _said_by(load: Callable[[], Recommender], request: PlanRequest) -> SequencePlan | NoPlan | _Failure:
    """What a recommender says, made anew from plain values: nothing of a stranger's objects goes on."""
    said = load()(request_from_plain(request_to_plain(request)))
    if isinstance(said, NoPlan):
        sources = tuple(source for source in said.sources if isinstance(source, Reference))
        return NoPlan(
            rule=str(said.rule), advice=said.advice, reasons=tuple(map(str, said.reasons)), sources=sources
        )
    if isinstance(said, SequencePlan):
        if len(list(islice(said.steps, MOST_STEPS + 1))) > MOST_STEPS:
            return _Failure(f"its plan has more than {MOST_STEPS} steps; tell its author")
        return plan_from_plain(plan_to_plain(said))
    return _Failure(f"it returned {type(said).__name__} instead of a plan; tell its author")


def _within(time_limit_s: float, call: Callable[[], Any]) -> Any:
    """What a call returns, or a failure in a sentence."""
    said: list[Any] = []

    def ask() -> None:
        try:
            said.append(call())
        except BaseException as error:  # also SystemExit: a stranger's code must not end the program
            said.append(_Failure(f"it failed with {_told(error)}; tell its author"))

    thread = threading.Thread(target=ask, name="recommender", daemon=True)
    thread.start()
    thread.join(time_limit_s)
    if said:
        return said[0]
    _stop(thread)
    return _Failure(f"it gave no answer within {time_limit_s:g} s; tell its author")


def _stop(thread: threading.Thread) -> None:
    """Raise SystemExit in a thread until it has ended: a loop in Python at its next step, a wait when it returns.

    Once is not enough: an exception that meets a destructor or a callback of the garbage collector is lost there, and a loop
    that goes on may fill the memory.
    """

    def insist() -> None:
        while thread.is_alive() and thread.ident is not None:
            ctypes.pythonapi.PyThreadState_SetAsyncExc(
                ctypes.c_ulong(thread.ident), ctypes.py_object(SystemExit)
            )
            thread.join(INSIST_S)

    threading.Thread(target=insist, name="recommender's end", daemon=True).start()


def _told(error: BaseException) -> str:
    try:
        text = " ".join(str(error).split())[:200]
    except BaseException:  # a stranger's error may fail to speak
        text = ""
    return f"{type(error).__name__}: {text}" if text else type(error).__name__


def _judged(
    name: str, said: SequencePlan | NoPlan | _Failure, request: PlanRequest
) -> SequencePlan | Refusal:
    """A plan that may be shown, or why there is none."""
    if isinstance(said, _Failure):
        return Refusal(recommender=name, reasons=(said.sentence,))
    if isinstance(said, NoPlan):
        return Refusal(recommender=name, reasons=said.reasons)
    if violations := check_plan(said, request):
        return Refusal(recommender=name, reasons=_sentences(violations))
    cautions = (*said.cautions, *_used_before(said))
    return with_core_numbers(replace(said, recommender=name, cautions=cautions), request)


def _used_before(plan: SequencePlan) -> list[str]:
    """Earlier uses have spent a share that nobody told."""
    used = {step.instrument for step in plan.steps if step.is_rotary and step.instrument.uses > 0}
    return [
        f"{piece.name} was used {piece.uses} times before: its share here is of a fresh instrument's life."
        for piece in sorted(used, key=lambda piece: piece.name)
    ]


def _sentences(violations: tuple[Violation, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(str(violation) for violation in violations))


def _advice(
    plans: list[SequencePlan], without: list[NoPlan], refused: list[Refusal], request: PlanRequest
) -> tuple[PlanAdvice, tuple[str, ...]]:
    told = tuple(reason for each in without for reason in each.reasons)
    if any(not plan.is_hand_only for plan in plans):
        advice, reasons = PlanAdvice.PLAN, plans[0].reasons
    elif plans:
        advice = PlanAdvice.HAND_ONLY
        reasons = (*told, *(reason for plan in plans for reason in plan.reasons))
    elif any(each.advice is PlanAdvice.HAND_ONLY for each in without):
        advice, reasons = PlanAdvice.HAND_ONLY, told
    elif without:
        advice, reasons = PlanAdvice.REFER, told
    elif refused:
        advice, reasons = (
            PlanAdvice.REFER,
            ("No recommender gave a plan that may be shown; see why each was refused.",),
        )
    else:
        advice, reasons = PlanAdvice.REFER, ("No recommender is installed; install one or plan by hand.",)
    if request.referral == "refer":
        grade = "The grade is above the operator's category: consider referral first, the plans stand second."
        return PlanAdvice.REFER, tuple(dict.fromkeys((grade, *request.referral_reasons, *reasons)))
    extra = request.referral_reasons if request.referral == "consider referral" else ()
    remark = length_remark(request.tooth, request.working_length_mm)
    final = tuple(dict.fromkeys((*([remark] if remark else []), *reasons, *extra))) or (
        "See the steps of the plan.",
    )
    return advice, final


def load_recommender(name: str) -> Recommender:
    """Load one installed recommender by name.

    Raises
    ------
    SequenceError
        If there is none of this name.
    """
    for each in installed_recommenders():
        if each.name == name:
            return each.load()
    known = ", ".join(each.name for each in installed_recommenders()) or "none"
    raise SequenceError(f"There is no recommender {name!r}; installed: {known}.")
