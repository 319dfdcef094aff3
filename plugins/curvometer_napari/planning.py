"""From a measured canal and what is stated about it to a request, and from that to the recommenders' answer.

The recommenders run in a background thread of their own, each under a time limit. An answer is kept with its question: it is
given only to whoever has the same question, so one that comes too late, or was asked before a change, is never shown.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

from curvometer import (
    CURRENT_CRITERIA,
    CanalMeasurement,
    CanalName,
    CaseContext,
    CriteriaSet,
    CurvometerError,
    PlanAnswer,
    PlanRequest,
    Treatment,
    ask_recommenders,
    assumed_working_length_mm,
    criteria_set,
    grade_all,
    load_criteria,
    load_inventory,
    request_of_measurement,
    suggest_referral,
)
from curvometer_napari.chairside import Planned, Stand, same_request, stand_of
from curvometer_napari.kept_logs import KeptLogs
from curvometer_napari.session import Session
from curvometer_napari.stated import Stated, exploration_of, facts_of

Ask = Callable[[PlanRequest], PlanAnswer]


def request_for(measurement: CanalMeasurement, stated: Stated, canal: CanalName) -> PlanRequest:
    """What recommenders are told of an accepted canal, as `curvometer plan` tells them.

    Parameters
    ----------
    measurement
        Of the canal.
    stated
        What a person says about tooth and canal. A working length that nobody stated stays unknown: none is assumed for a
        motor.
    canal
        Its code; left out where the tooth has no such canal.

    Raises
    ------
    CurvometerError
        If two numbers contradict each other, as a canal that is longer than the working length.
    """
    facts = facts_of(stated, canal)
    grades = grade_all(measurement, criteria=criteria_for(stated)[0], facts=facts)
    context = CaseContext(
        inventory=load_inventory(stated.inventory_path) if stated.inventory_path else None,
        tooth=facts.tooth,
        canal=facts.canal,
        grades=tuple((each.criteria.name, each.grade) for each in grades if each.grade is not None),
    )
    if facts.operator is not None:
        suggestion = suggest_referral(grades, operator=facts.operator)
        advice = None if suggestion.advice is None else suggestion.advice.value
        context = replace(context, referral=advice, referral_reasons=suggestion.reasons)
    exploration = exploration_of(stated, canal, trace_accepted=True)
    return request_of_measurement(measurement, exploration, context=context)


def criteria_for(stated: Stated) -> tuple[tuple[CriteriaSet, ...], str]:
    """The criteria that a plan's grades follow: the school's own set before the published ones.

    Returns
    -------
    sets
        The published ones alone where the school's file cannot be used.
    remark
        A sentence then, else empty.
    """
    published = tuple(criteria_set(name) for name in CURRENT_CRITERIA)
    if not stated.criteria_path:
        return published, ""
    try:
        return (load_criteria(stated.criteria_path), *published), ""
    except CurvometerError as error:
        why = str(error)
        return published, f"Planned with the published criteria only. {why[:1].upper()}{why[1:]}."


def assumed_words(measurement: CanalMeasurement, stated_mm: float | None) -> str:
    """What the working length might be where nobody stated one; empty where somebody did, or where there is no scale."""
    length = measurement.canal_length
    if stated_mm is not None or length is None or length.unit != "mm":
        return ""
    assumed = assumed_working_length_mm(length.value)
    return (
        f"Working length not stated. Assumed, about {assumed:.1f} mm: the measured canal and 9 mm of crown (common practice, no"
        " source). No motor step rests on an assumption: measure it electronically and state it."
    )


def missing_words(request: PlanRequest) -> str:
    """What stands between this canal and a plan with a motor; empty where nothing does."""
    found = request.exploration
    missing = [
        words
        for lacks, words in (
            (
                request.curve is None or not request.scale_known,
                "a scale, without which there is no radius and no strain",
            ),
            (request.working_length_mm is None, "the working length"),
            (not found.trace_accepted, "a tracing that can be trusted"),
            (found.image_rejected, "an image that can be used"),
            (found.size_at_length < 6, "a hand file at working length"),
        )
        if lacks
    ]
    stops = [
        words
        for is_so, words in (
            (found.blocked, "the canal is blocked"),
            (found.split, "the canal splits"),
            (found.has_open_apex, "the apex is open"),
            (request.is_primary, "it is a milk tooth"),
        )
        if is_so
    ]
    sentences = [f"Missing for a motor: {'; '.join(missing)}."] if missing else []
    return " ".join([*sentences, *([f"No motor, because {' and '.join(stops)}."] if stops else [])])


@dataclass(frozen=True, kw_only=True)
class Now:
    """A canal as the sequence panel sees it at one moment.

    Attributes
    ----------
    name
        The selected canal; None where there is none.
    measurement
        Of that canal, accepted and up to date; else None.
    request
        As measured and stated; None without a measurement, or where two numbers contradict each other.
    problem
        Why there is no request although there is a measurement; else empty.
    treatments, elsewhere
        The canal's logs, and those of the tooth's other canals.
    stand
        What may be done.
    remark
        What planning does without, in a sentence; else empty.
    measuring
        Whether the canal's accepted line is moved, or measured anew, at this moment.
    """

    name: CanalName | None
    measurement: CanalMeasurement | None
    request: PlanRequest | None
    problem: str
    treatments: tuple[Treatment, ...]
    stand: Stand
    elsewhere: tuple[Treatment, ...] = ()
    remark: str = ""
    measuring: bool = False


class Planner:
    """Asks for plans in the background, and knows what is in force for the selected canal.

    Parameters
    ----------
    session
        The case at work.
    logs
        The treatment logs of its image.
    changed
        Called when an answer has come.
    ask
        Makes the answer.
    """

    def __init__(
        self, session: Session, logs: KeptLogs, changed: Callable[[], object], *, ask: Ask = ask_recommenders
    ) -> None:
        self._session, self._logs, self._changed, self._ask = session, logs, changed, ask
        self._answers: dict[CanalName, Planned] = {}
        self._asking: dict[CanalName, PlanRequest] = {}
        self._made: _Made | None = None

    def now(self) -> Now:
        """The selected canal as it is now."""
        name = self._session.case.selected
        measurement = None if name is None else self._measurement(name)
        request, problem, remark = None, "", ""
        if name is not None and measurement is not None:
            made = self._request(measurement, self._session.case.stated, name)
            request, problem, remark = made.request, made.problem, made.remark
        treatments = () if name is None else self._logs.treatments(name)
        elsewhere = () if name is None else self._logs.elsewhere(name)
        stand = stand_of(request, treatments, elsewhere=elsewhere)
        return Now(
            name=name,
            measurement=measurement,
            request=request,
            problem=problem,
            treatments=treatments,
            elsewhere=elsewhere,
            stand=stand,
            remark=remark,
            measuring=measurement is None and self._is_measuring(name),
        )

    def plan(self) -> None:
        """Ask for plans for the selected canal as it is now."""
        now = self.now()
        name, request = now.name, now.stand.ask
        if name is None or request is None:
            return
        self._asking[name] = request

        def done(answer: PlanAnswer) -> None:
            self._answers[name] = Planned(request=request, answer=answer)
            self._end(name, request)

        def failed(sentence: str) -> None:
            self._session.told.emit(sentence)
            self._end(name, request)

        self._session.recommending.ask(f"plan {name}", lambda: self._ask(request), done, failed)
        self._changed()

    def planned(self, now: Now) -> Planned | None:
        """The answer to what may be asked now; None where nobody has asked, or something changed since."""
        found = None if now.name is None else self._answers.get(now.name)
        return found if found is not None and found.answers(now.stand.ask) else None

    def is_asking(self, now: Now) -> bool:
        """Whether an answer to what may be asked now is on its way."""
        asked = None if now.name is None else self._asking.get(now.name)
        return asked is not None and now.stand.ask is not None and same_request(asked, now.stand.ask)

    def forget(self) -> None:
        """Drop all answers, as for another image."""
        for name in self._asking:
            self._session.recommending.drop(f"plan {name}")
        self._answers.clear()
        self._asking.clear()
        self._made = None

    def _end(self, name: CanalName, request: PlanRequest) -> None:
        if self._asking.get(name) is request:
            del self._asking[name]
        self._changed()

    def _is_measuring(self, name: CanalName | None) -> bool:
        tracing = self._session.case.tracing(name)
        if tracing is None or not tracing.accepted or len(tracing.anchors_rc) < 2:
            return False
        return not self._session.settled or not self._session.is_fresh(tracing.name)

    def _measurement(self, name: CanalName) -> CanalMeasurement | None:
        tracing, result = self._session.case.tracing(name), self._session.result(name)
        ready = self._session.settled and tracing is not None and tracing.accepted
        if not ready or result is None or not self._session.is_fresh(name):
            return None
        return result.measurement

    def _request(self, measurement: CanalMeasurement, stated: Stated, name: CanalName) -> _Made:
        made = self._made
        if made is None or made.measurement is not measurement or (made.stated, made.name) != (stated, name):
            request, problem = None, ""
            try:
                request = request_for(measurement, stated, name)
            except CurvometerError as error:
                problem = str(error)
            remark = criteria_for(stated)[1]
            made = _Made(measurement, stated, name, request, problem, remark)
            self._made = made
        return made


class _Made(NamedTuple):
    """A request with what it was made of."""

    measurement: CanalMeasurement
    stated: Stated
    name: CanalName
    request: PlanRequest | None
    problem: str
    remark: str
