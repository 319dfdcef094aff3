"""A treatment as a versioned JSON file, complete in itself: the first plan, its request, and the log."""

from __future__ import annotations

import datetime as dt
import json
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from curvometer.radiograph import CurvometerError
from curvometer.saving import PathLike, alone_with, save_bytes
from curvometer.sequence import (
    PlanRequest,
    SequencePlan,
    instrument_from_plain,
    instrument_to_plain,
    plan_from_plain,
    plan_to_plain,
    request_from_plain,
    request_to_plain,
    step_to_plain,
)
from curvometer.treatment.chair import situation_after
from curvometer.treatment.log import (
    Entry,
    NextStepKind,
    PlanEntry,
    TreatmentEntry,
    TreatmentError,
    TreatmentLog,
    member,
)
from curvometer.treatment.offering import NextStep

Plain = dict[str, Any]

LOG_VERSION = 1
"""Version of a log's JSON; a file of a newer one is refused."""

LARGEST_LOG_BYTES = 16 * 2**20
"""Far above any log of one canal; keeps a wrong file from filling the memory."""


@dataclass(frozen=True, kw_only=True)
class Treatment:
    """One canal under treatment: what `next_step` needs, together.

    Attributes
    ----------
    plan, request
        What the log began with.
    log
        The entries.

    Raises
    ------
    TreatmentError
        If the log does not belong to the plan, or holds something that was not offered.
    """

    plan: SequencePlan
    request: PlanRequest
    log: TreatmentLog

    def __post_init__(self) -> None:
        situation_after(self.plan, self.log, self.request)


def log_to_plain(log: TreatmentLog) -> Plain:
    """Tell a log, complete."""
    return {
        "version": LOG_VERSION,
        "case_id": log.case_id,
        "entries": [_entry_to_plain(entry) for entry in log.entries],
    }


def log_from_plain(plain: object) -> TreatmentLog:
    """Make a log again.

    Raises
    ------
    TreatmentError
        If this is no log, or one of a newer version.
    """
    told = _object(plain, "log")
    _check_version(told.get("version"))
    entries = told.get("entries")
    if not isinstance(entries, list) or not isinstance(told.get("case_id"), str):
        raise TreatmentError("The log has no case_id or no entries; open the file that this program wrote.")
    return TreatmentLog(
        case_id=told["case_id"], entries=tuple(_numbered(n, e) for n, e in enumerate(entries))
    )


def treatment_to_plain(treatment: Treatment) -> Plain:
    """Tell a treatment, complete."""
    return {
        "plan": plan_to_plain(treatment.plan),
        "request": request_to_plain(treatment.request),
        "log": log_to_plain(treatment.log),
    }


def treatment_from_plain(plain: object) -> Treatment:
    """Make a treatment again, its log read from the first entry.

    Raises
    ------
    CurvometerError
        If this is none, of a newer version, or changed by hand.
    """
    told = _object(plain, "treatment")
    if missing := {"plan", "request", "log"} - set(told):
        raise TreatmentError(f"The treatment has no {min(missing)}; open the file that this program wrote.")
    log = log_from_plain(told["log"])
    return Treatment(plan=plan_from_plain(told["plan"]), request=request_from_plain(told["request"]), log=log)


def save_treatment(treatment: Treatment, path: PathLike, *, overwrite: bool = False) -> None:
    """Write a treatment, complete or not at all.

    Parameters
    ----------
    treatment
        What to write.
    path
        Its folder must exist.
    overwrite
        Whether an existing file may be replaced; only by a log that goes on where that one ends.

    Raises
    ------
    TreatmentError
        If the file holds another treatment, or entries that this log does not have: nothing is ever taken away. So of two
        programs that add to one log at the same moment the second is refused, and must open it again.
    SavingError
        If it exists and `overwrite` is false, or cannot be written.
    """
    text = json.dumps(treatment_to_plain(treatment), indent=1, allow_nan=False, ensure_ascii=False)
    with alone_with(path) if overwrite else nullcontext():  # a new name is taken in one go as it is
        if overwrite and Path(path).exists():
            _check_goes_on(load_treatment(path).log, treatment.log, path)
        save_bytes(f"{text}\n".encode(), path, overwrite=overwrite)


def load_treatment(path: PathLike) -> Treatment:
    """Read a treatment.

    Raises
    ------
    CurvometerError
        If the file cannot be read or is no treatment; one sentence.
    """
    try:
        return treatment_from_plain(read_json(path))
    except CurvometerError as error:
        raise TreatmentError(f"{path}: {error}") from None


def read_json(path: PathLike) -> object:
    """Whatever a JSON file holds, with the size limit and the errors of a log."""
    try:
        with Path(path).open("rb") as stream:
            content = stream.read(LARGEST_LOG_BYTES + 1)
    except OSError as error:
        reason = (error.strerror or "unreadable").lower()
        raise TreatmentError(f"It cannot be read ({reason}); check the name.") from None
    if len(content) > LARGEST_LOG_BYTES:
        raise TreatmentError("It is far too large; open a file that this program wrote.")
    try:
        return json.loads(content.decode("utf-8"), parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise TreatmentError("It is not JSON; open a file that this program wrote.") from None


def next_step_to_plain(told: NextStep) -> Plain:
    """Tell a next step for programs."""
    return {
        "kind": str(told.kind),
        "words": told.words,
        "reasons": list(told.reasons),
        "step": None if told.step is None else step_to_plain(told.step),
        "plan_step": told.plan_step,
        "to_mm": told.to_mm,
        "attempt": told.attempt,
        "outcomes": [str(outcome) for outcome in told.outcomes],
        "ends": told.ends,
        "sources": [
            {"citation": source.citation, "how_read": source.how_read.value} for source in told.sources
        ],
        "cautions": list(told.cautions),
    }


def _check_goes_on(there: TreatmentLog, new: TreatmentLog, path: PathLike) -> None:
    if there.case_id != new.case_id:
        raise TreatmentError(f"{path} holds another treatment; give another name.")
    if new.entries[: len(there.entries)] != there.entries:
        raise TreatmentError(
            f"{path} holds entries that are not in this log, and none is ever taken away; open it again."
        )


def _entry_to_plain(entry: Entry) -> Plain:
    if isinstance(entry, PlanEntry):
        return {
            "kind": str(NextStepKind.RE_PLAN),
            "time": entry.time.isoformat(),
            "plan": None if entry.plan is None else plan_to_plain(entry.plan),
            "advice": str(entry.advice),
            "reasons": list(entry.reasons),
            "who": entry.who,
        }
    return {
        "kind": str(entry.kind),
        "time": entry.time.isoformat(),
        "plan_step": entry.plan_step,
        "instrument": None if entry.instrument is None else instrument_to_plain(entry.instrument),
        "to_mm": entry.to_mm,
        "outcome": str(entry.outcome),
        "amount_mm": entry.amount_mm,
        "depth_mm": entry.depth_mm,
        "who": entry.who,
    }


def _numbered(number: int, plain: object) -> Entry:
    try:
        return _entry(_object(plain, "entry"))
    except CurvometerError as error:
        raise TreatmentError(f"Entry {number + 1} of the log: {error}") from None


def _entry(told: Plain) -> Entry:
    kind = member(NextStepKind, told.pop("kind", None), "action")
    told["time"] = _time(told.get("time"))
    try:
        if kind is NextStepKind.RE_PLAN:
            plan = told.pop("plan", None)
            reasons = told.pop("reasons", [])
            if not isinstance(reasons, list):
                raise TreatmentError("The reasons must be a list of sentences.")
            made = None if plan is None else plan_from_plain(plan)
            return PlanEntry(plan=made, reasons=tuple(reasons), **told)
        piece = told.pop("instrument", None)
        made_of = None if piece is None else instrument_from_plain(_object(piece, "instrument"))
        return TreatmentEntry(kind=kind, instrument=made_of, **told)
    except TypeError as error:
        raise TreatmentError(f"It is no entry of this program ({error}).") from None


def _time(text: object) -> dt.datetime:
    try:
        return dt.datetime.fromisoformat(str(text))
    except ValueError:
        raise TreatmentError(f"{text!r:.60} is no time; times look like 2026-01-31T10:15:00+00:00.") from None


def _check_version(version: object) -> None:
    if type(version) is not int or version < 1:
        raise TreatmentError(
            f"The log has the version {version!r:.60}, which is none; it may be another file."
        )
    if version > LOG_VERSION:
        raise TreatmentError(
            f"The log has version {version}, this program understands up to {LOG_VERSION}; update the program."
        )


def _object(value: object, what: str) -> Plain:
    if not isinstance(value, dict):
        raise TreatmentError(
            f"The {what} must be an object, found {value!r:.60}; open a file of this program."
        )
    return dict(value)


def _no_constant(text: str) -> float:
    raise ValueError(text)
