"""``curvometer next``: what to do next at the chair, and writing down how the last step ended."""

from __future__ import annotations

import json
import re
from argparse import Namespace
from dataclasses import replace
from pathlib import Path
from typing import Any

from curvometer.cli import plan as planning
from curvometer.cli.arguments import UsageError
from curvometer.cli.next_text import treatment_text
from curvometer.instruments import load_inventory
from curvometer.radiograph import CurvometerError
from curvometer.sequence import (
    PlanAnswer,
    PlanRequest,
    Recommender,
    SequencePlan,
    ask_recommenders,
    instrument_to_plain,
    load_recommender,
    plan_from_plain,
    request_from_plain,
    request_of_measurement,
)
from curvometer.treatment import (
    NextStepKind,
    Outcome,
    Treatment,
    TreatmentError,
    begin_log,
    case_id,
    load_treatment,
    log_to_plain,
    next_step,
    next_step_to_plain,
    record_outcome,
    record_plan,
    request_after,
    save_treatment,
)
from curvometer.treatment.plain import read_json

RE_PLAN = "re-plan"
_WORDS = {
    "reached": Outcome.REACHED,
    "kept": Outcome.REACHED,  # what one says of a length that was measured again
    "short": Outcome.SHORT,
    "binding": Outcome.BINDING,
    "deflected": Outcome.DEFLECTED,
    "fractured": Outcome.FRACTURED,
    "lost": Outcome.LOST_LENGTH,
    "lost length": Outcome.LOST_LENGTH,
}
_SAID = re.compile(r"(?P<word>lost length|[a-z]+)(?:\s*(?:\bby\b)?\s*(?P<mm>-?[\d.]+)\s*(?:mm)?)?")


def run(arguments: Namespace) -> int:
    """Tell the next step; with ``--did`` write down the last one first."""
    path = Path(arguments.log)
    treatment = _opened(arguments, path) if path.exists() else _begun(arguments, path)
    if arguments.did is not None:
        treatment = _after(arguments, treatment)
        save_treatment(treatment, path, overwrite=True)
    if arguments.json:
        print(json.dumps(_plain(treatment), allow_nan=False))
    else:
        print(treatment_text(treatment, log=arguments.log))
    return 0 if treatment.request.exploration.trace_accepted else 3


def _check_said(arguments: Namespace, request: PlanRequest) -> None:
    """What was found at the chair counts when a log begins; later it would be ignored without a word."""
    for name, began in _began_with(request, with_canal=arguments.record is None).items():
        said = dict(arguments.explored) if name == "explored" else getattr(arguments, name)
        stated = said is not None and said is not False and said != {}  # 0 is a size that may be stated
        if not stated or said == began:
            continue
        typed = "" if said is True or name == "explored" else f" {_shown(said)}"
        raise UsageError(
            f"--{name.replace('_', '-')}{typed} is not what the log began with ({_shown(began)}): leave it out and"
            " tell with --did what happened, or begin another log"
        )
    if arguments.inventory is not None and load_inventory(arguments.inventory) != request.inventory:
        raise UsageError(
            f"--inventory {arguments.inventory} is not the shelf that the log began with: leave it out, or begin another log"
        )


def _began_with(request: PlanRequest, *, with_canal: bool) -> dict[str, object]:
    """By option, what a request holds; the canal of a record is compared by its curve."""
    found = request.exploration
    return {
        "working_length": found.working_length_mm,
        "reached": found.reached_size,
        "loose": found.loose,
        "forced": found.forced,
        "explored": dict(found.explored_mm),
        "visibility": found.visibility,
        "blocked": found.blocked,
        "apex_opening": found.apex_opening_mm,
        "split": found.split,
        "primary_tooth": found.primary_tooth,
        "image_rejected": found.image_rejected,
        "tooth": request.tooth,
        "operator": None if found.operator is None else str(found.operator),
        **({"canal": request.canal} if with_canal else {}),
    }


def _shown(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{size}:{depth:g}" for size, depth in value.items()) or "nothing stated"
    if value is None or isinstance(value, bool):
        return "yes" if value else "not stated"
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _opened(arguments: Namespace, path: Path) -> Treatment:
    """Read a log, and check that it belongs to what is given beside it."""
    treatment = load_treatment(path)
    _check_said(arguments, treatment.request)
    other = f"{path} belongs to another plan: give the one it began with, or another --log"
    if arguments.plan is not None:
        plan, request = _of_plan_file(arguments)
        if case_id(plan, request) != treatment.log.case_id:
            raise UsageError(other)
    if arguments.record is not None:
        request = treatment.request
        now = request_of_measurement(_measured(arguments), request.exploration)
        same_curve = (now.curve is None) == (request.curve is None)
        if request.tooth is not None and arguments.tooth not in (None, request.tooth):
            raise UsageError(
                f"{path} is of tooth {request.tooth} and {arguments.record} of {arguments.tooth}: give another --log"
            )
        if not same_curve or (now.angle_deg, now.radius_mm) != (request.angle_deg, request.radius_mm):
            raise UsageError(f"{path} belongs to another canal than {arguments.record}: give another --log")
    return treatment


def _begun(arguments: Namespace, path: Path) -> Treatment:
    if (arguments.record is None) == (arguments.plan is None):
        raise UsageError(
            f"{path} does not exist: to begin it give a record, or --plan with what 'plan --json' printed"
        )
    plan, request = _of_plan_file(arguments) if arguments.plan is not None else _of_record(arguments)
    _check_said(arguments, request)
    treatment = Treatment(plan=plan, request=request, log=begin_log(plan, request))
    save_treatment(treatment, path)
    return treatment


def _after(arguments: Namespace, treatment: Treatment) -> Treatment:
    """The treatment with one more entry."""
    plan, log, request = treatment.plan, treatment.log, treatment.request
    who = arguments.who or ""
    if arguments.did.strip().lower() == RE_PLAN:
        told = next_step(plan, log, request)
        if told.kind is not NextStepKind.RE_PLAN:
            raise UsageError(f"no new plan is needed now, the next step is: {told.words}")
        answer = _asked(arguments, request_after(plan, log, request))
        log = record_plan(plan, log, request, answer=answer, who=who)
    else:
        outcome, number = read_outcome(arguments.did)
        name = "depth_mm" if outcome is Outcome.BINDING else "amount_mm"
        log = record_outcome(plan, log, request, outcome=outcome, who=who, **{name: number})  # type: ignore[arg-type]
    return replace(treatment, log=log)


def read_outcome(text: str) -> tuple[Outcome, float | None]:
    """Read what was done, like ``short 1.5``, as an outcome and its number of mm."""
    match = _SAID.fullmatch(" ".join(text.lower().split()))
    outcome = None if match is None else _WORDS.get(match["word"])
    if match is None or outcome is None:
        raise UsageError(
            f"--did {text!r} is not understood: say reached, short MM, binding, deflected, fractured, lost MM, or {RE_PLAN}"
        )
    if match["mm"] is None:
        if outcome in (Outcome.SHORT, Outcome.LOST_LENGTH):
            raise UsageError(f"--did {text!r} needs a number of mm: say it like '{match['word']} 1.5'")
        return outcome, None
    try:
        return outcome, float(match["mm"])
    except ValueError:
        raise UsageError(f"{match['mm']!r} is no number of mm: say it like 1.5") from None


def _of_plan_file(arguments: Namespace) -> tuple[SequencePlan, PlanRequest]:
    """The plan and its request from what ``plan --json`` printed, or from a file with ``plan`` and ``request``."""
    try:
        return _plan_and_request(read_json(arguments.plan), arguments.recommender)
    except CurvometerError as error:
        raise TreatmentError(f"{arguments.plan}: {error}") from None


def _plan_and_request(told: object, recommender: str | None) -> tuple[SequencePlan, PlanRequest]:
    if not isinstance(told, dict) or not isinstance(told.get("request"), dict):
        raise TreatmentError("It holds no plan with its request; write it with 'curvometer plan --json'.")
    request = request_from_plain(told["request"])
    printed = told["plans"] if isinstance(told.get("plans"), list) else [told.get("plan")]
    plans: list[dict[str, Any]] = [plan for plan in printed if isinstance(plan, dict)]
    names = ", ".join(str(plan.get("recommender")) for plan in plans) or "none"
    chosen = [plan for plan in plans if recommender in (None, plan.get("recommender"))]
    if not chosen:
        raise TreatmentError(f"It holds no plan that could begin; it has plans of: {names}.")
    return plan_from_plain(_with_whole_instruments(chosen[0], request)), request


def _with_whole_instruments(plan: dict[str, Any], request: PlanRequest) -> dict[str, Any]:
    """Put the shelf's instruments where a printed plan tells only their kind, size, taper and length."""
    steps = plan.get("steps")
    if not isinstance(steps, list) or not all(isinstance(step, dict) for step in steps):
        raise TreatmentError("The steps of its plan are no list; write it with 'curvometer plan --json'.")
    return {
        **plan,
        "steps": [{**step, "instrument": _whole(step.get("instrument"), request)} for step in steps],
    }


def _whole(told: object, request: PlanRequest) -> object:
    if not isinstance(told, dict):
        return told
    pieces = sorted(request.inventory.instruments, key=lambda item: (item.is_spent, item.uses))
    for item in map(instrument_to_plain, pieces):
        if all(item.get(name) == value for name, value in told.items()):
            return item
    return told


def _measured(arguments: Namespace) -> Any:
    # The options of `plan` and `next` that tell which canal have the same names.
    return planning.measured(arguments)


def _of_record(arguments: Namespace) -> tuple[SequencePlan, PlanRequest]:
    if arguments.working_length is None or arguments.reached is None:
        raise UsageError(
            "to begin from a record give --working-length MM and --reached SIZE, as they are at the chair"
        )
    arguments.s_shape = False
    request = planning.of_record(arguments, _measured(arguments))
    answer = _asked(arguments, request)
    if not answer.plans:
        raise UsageError(
            f"there is no plan to begin, the advice is {answer.advice}: {' '.join(answer.reasons)}"
        )
    return answer.plans[0], request


def _asked(arguments: Namespace, request: PlanRequest) -> PlanAnswer:
    chosen: dict[str, Recommender] | None = None
    if arguments.recommender is not None:
        chosen = {arguments.recommender: load_recommender(arguments.recommender)}
    return ask_recommenders(request, recommenders=chosen)


def _plain(treatment: Treatment) -> dict[str, object]:
    told = next_step(treatment.plan, treatment.log, treatment.request)
    return {"next": next_step_to_plain(told), "log": log_to_plain(treatment.log)}
