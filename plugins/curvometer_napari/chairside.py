"""What may be shown at the chair: one state for each canal, read from its logs and the request in force.

A log is bound to the request that its plan answers: measured curve, scale, stated findings, shelf. The guard of the log holds
every step against that request. So a step is offered only while it is still the request in force; what was measured or stated
anew needs a plan of its own, and a log of its own. `stand_of` is the only place that lets a step through, and it keeps
nothing in mind: the same logs and the same request always give the same answer, whatever was pressed in between.

============  ===================================================================  ============================================
state         when                                                                 what may be done
============  ===================================================================  ============================================
``WAITING``   no request: no canal, one not accepted, or still being measured      nothing; logs can be read
``FREE``      no log                                                               plan, begin
``RUNNING``   the newest log's request is in force and it offers a step            record how that step ended
``RE_PLAN``   as before, and the log asks for a new plan                           plan with what the log found, take it up
``CHANGED``   the newest log's request is not in force, or the piece that its      plan, begin anew; or undo the change
              next step needs was used in another canal since
``ENDED``     the newest log's request is in force and its treatment has ended     nothing, before something is found anew
============  ===================================================================  ============================================

========================================  ==========================================================================
event                                     what it does
========================================  ==========================================================================
the trace is edited, a finding is stated  the request in force changes: `RUNNING`, `RE_PLAN`, `ENDED` become `CHANGED`
undo                                      the request is in force again: `CHANGED` becomes what it was
plan, plan again                          nothing: an answer is no log; it is of use only where it was asked for
begin, begin anew (`begun`)               in `FREE` and `CHANGED`: a further log, if the answer is to the request in force
take up (`taken_up`)                      in `RE_PLAN`: `record_plan`, if the answer is to what the log has found
tick, short by ... (`told`)               in `RUNNING`: `record_outcome`
another canal                             another row of logs; carried over are the pieces that were used
a step in another canal                   `RUNNING` becomes `CHANGED` where it took the piece that comes next here
========================================  ==========================================================================

A further log of a canal is begun with what the earlier ones leave behind (`carried`): the pieces as they were used in any
canal of the tooth; an instrument that broke blocks the canal; and after a stop, what hand files had reached before counts only
once it is stated anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from curvometer import (
    CurvometerError,
    Exploration,
    Instrument,
    NextStep,
    NextStepKind,
    Outcome,
    PlanAnswer,
    PlanRequest,
    SequencePlan,
    Treatment,
    TreatmentEntry,
    begin_log,
    record_outcome,
    record_plan,
    request_to_plain,
)
from curvometer_napari.log_reading import read
from curvometer_napari.tooth_shelf import as_left, has_left, makes, shelf_after_logs


class ChairError(CurvometerError):
    """Something that cannot be done in this state; one sentence."""


class ChairState(StrEnum):
    """Where the treatment of one canal stands; see the table above."""

    WAITING = "waiting"
    FREE = "no log yet"
    RUNNING = "running"
    RE_PLAN = "new plan needed"
    CHANGED = "changed since"
    ENDED = "ended"


@dataclass(frozen=True, kw_only=True)
class Stand:
    """What may be shown and done now.

    Attributes
    ----------
    state
        Of the canal.
    words
        One sentence.
    told
        What the log says next; None in every state in which the log does not speak for the request in force.
    ask
        What recommenders may be asked now; None where no plan would be of use.
    """

    state: ChairState
    words: str
    told: NextStep | None = None
    ask: PlanRequest | None = None

    @property
    def offered(self) -> NextStep | None:
        """The step that may be carried out now."""
        return self.told if self.state is ChairState.RUNNING else None

    @property
    def may_begin(self) -> bool:
        """Whether a log may be begun."""
        return self.state in (ChairState.FREE, ChairState.CHANGED) and self.ask is not None


@dataclass(frozen=True, kw_only=True)
class Planned:
    """An answer of the recommenders with the request that it answers."""

    request: PlanRequest
    answer: PlanAnswer

    def answers(self, request: PlanRequest | None) -> bool:
        """Whether this is the answer to a request."""
        return request is not None and same_request(self.request, request)


def same_request(one: PlanRequest, other: PlanRequest) -> bool:
    """Whether two requests tell the same: curve, findings, grades, shelf, tooth, canal."""
    return one is other or request_to_plain(one) == request_to_plain(other)


def stand_of(
    stated: PlanRequest | None, treatments: Sequence[Treatment], *, elsewhere: Sequence[Treatment] = ()
) -> Stand:
    """Where a canal stands.

    Parameters
    ----------
    stated
        The request as measurement and stated findings give it now; None while there is none.
    treatments
        The canal's logs, oldest first.
    elsewhere
        The logs of the tooth's other canals, for the pieces that they used.
    """
    if stated is None:
        return Stand(state=ChairState.WAITING, words="An accepted canal and its measurement come first.")
    if not treatments:
        words = "No treatment has begun: press Plan, then Begin."
        return Stand(state=ChairState.FREE, words=words, ask=carried(stated, (), elsewhere=elsewhere))
    newest = treatments[-1]
    anew = carried(stated, treatments, elsewhere=elsewhere)
    if not _speaks_for(newest.request, carried(stated, treatments[:-1])):
        return Stand(state=ChairState.CHANGED, words=_changed_words(newest), ask=anew)
    return _under_way(newest, anew)


def _under_way(newest: Treatment, anew: PlanRequest) -> Stand:
    """Where a canal stands whose newest log speaks for the request in force; `anew` has the shelf as all logs leave it."""
    told = read(newest).told
    if told.ends:
        words = "This treatment has ended. A new one needs something that was measured or stated anew."
        return Stand(state=ChairState.ENDED, words=words, told=told)
    if told.kind is NextStepKind.RE_PLAN:
        asked = read(newest).after
        asked = replace(asked, inventory=as_left(asked.inventory, anew.inventory))
        words = "The log asks for a new plan: press Plan again, then Take up."
        return Stand(state=ChairState.RE_PLAN, words=words, told=told, ask=asked)
    if told.step is not None and told.step.is_rotary and not has_left(anew.inventory, told.step.instrument):
        return Stand(state=ChairState.CHANGED, words=_used_words(told.step.instrument), ask=anew)
    return Stand(state=ChairState.RUNNING, words="A treatment is under way.", told=told)


def carried(
    stated: PlanRequest, earlier: Sequence[Treatment], *, elsewhere: Sequence[Treatment] = ()
) -> PlanRequest:
    """A request with what earlier logs leave behind.

    Parameters
    ----------
    stated
        As measured and stated now.
    earlier
        The canal's logs, oldest first.
    elsewhere
        Those of the tooth's other canals.

    Returns
    -------
    PlanRequest
        With the stated shelf as all logs leave it (`tooth_shelf`). A canal in which an instrument broke is
        blocked. After a stop, hand files count as if none had been tried, until something else is stated about them than
        before that stop.
    """
    found = stated.exploration
    if any(_stopped(each) and _by_hand(each.request.exploration) == _by_hand(found) for each in earlier):
        found = replace(found, reached_size=0, loose=False, forced=False, explored_mm={})
    if any(_broke(each) for each in earlier):
        found = replace(found, blocked=True)
    shelf = shelf_after_logs(stated.inventory, (*earlier, *elsewhere))
    if found == stated.exploration and shelf == stated.inventory:
        return stated
    return replace(stated, exploration=found, inventory=shelf)


def begun(
    stated: PlanRequest | None,
    treatments: Sequence[Treatment],
    planned: Planned,
    plan: SequencePlan,
    *,
    elsewhere: Sequence[Treatment] = (),
) -> Treatment:
    """A further log, empty.

    Raises
    ------
    CurvometerError
        If no log may be begun now, if the answer is to something else than the request in force, or if the guard refuses it.
    """
    stand = stand_of(stated, treatments, elsewhere=elsewhere)
    if not stand.may_begin:
        raise ChairError(f"No treatment can begin now. {stand.words}")
    _check_answer(planned, plan, stand)
    return Treatment(plan=plan, request=planned.request, log=begin_log(plan, planned.request))


def taken_up(
    stated: PlanRequest | None,
    treatments: Sequence[Treatment],
    planned: Planned,
    plan: SequencePlan | None,
    *,
    elsewhere: Sequence[Treatment] = (),
    who: str = "",
) -> Treatment:
    """The newest log with a new plan, or with the entry that there is none.

    Raises
    ------
    CurvometerError
        If the log asks for none, if the answer is to something else than what the log has found, or if the guard refuses it.
    """
    stand = stand_of(stated, treatments, elsewhere=elsewhere)
    if stand.state is not ChairState.RE_PLAN:
        raise ChairError(f"No new plan can be taken up now. {stand.words}")
    _check_answer(planned, plan, stand)
    now = treatments[-1]
    answer = planned.answer if plan is None else plan
    return replace(now, log=record_plan(now.plan, now.log, now.request, answer=answer, who=who))


def told(
    stated: PlanRequest | None,
    treatments: Sequence[Treatment],
    outcome: Outcome,
    *,
    elsewhere: Sequence[Treatment] = (),
    amount_mm: float | None = None,
    depth_mm: float | None = None,
    who: str = "",
) -> Treatment:
    """The newest log with how the offered step ended.

    Raises
    ------
    CurvometerError
        If no step is offered now, or it cannot have ended so.
    """
    stand = stand_of(stated, treatments, elsewhere=elsewhere)
    if stand.offered is None:
        raise ChairError(f"No step is offered now, so none can have ended. {stand.words}")
    now = treatments[-1]
    log = record_outcome(
        now.plan,
        now.log,
        now.request,
        outcome=outcome,
        amount_mm=amount_mm,
        depth_mm=depth_mm,
        who=who,
    )
    return replace(now, log=log)


def _check_answer(planned: Planned, plan: SequencePlan | None, stand: Stand) -> None:
    if not planned.answers(stand.ask):
        raise ChairError("That plan answers an earlier question: press Plan again.")
    if plan is None and planned.answer.plans:
        raise ChairError("There are plans: choose one of them.")
    if plan is not None and not any(plan is each for each in planned.answer.plans):
        raise ChairError("That plan is none of the answer's: choose one that is shown.")


def _changed_words(newest: Treatment) -> str:
    told = read(newest).told
    ended = f" It ended: {told.words[:1].lower()}{told.words[1:]}" if told.ends else ""
    return (
        "Measurement, scale or findings are not those that the log began with, so it offers nothing: undo the change, or plan"
        f" and begin anew.{ended}"
    )


def _used_words(piece: Instrument) -> str:
    return (
        f"{piece.name[:1].upper()}{piece.name[1:]}, {piece.length_mm} mm, comes next and has no use left, counted over all"
        " canals of the tooth: plan and begin anew, with what the shelf has left."
    )


def _speaks_for(began: PlanRequest, now: PlanRequest) -> bool:
    """Whether a log's request is in force: the same but for uses, which the offered piece itself is held against."""
    one, other = began.inventory, now.inventory
    if one.name != other.name or makes(one) != makes(other):
        return False
    any_shelf = replace(other, instruments=other.instruments[:1])  # compared above, and long
    return same_request(replace(began, inventory=any_shelf), replace(now, inventory=any_shelf))


def _by_hand(found: Exploration) -> tuple[object, ...]:
    """What is stated about hand files."""
    depths = tuple(found.explored_mm.items())
    return found.working_length_mm, found.reached_size, found.loose, found.forced, depths


def _stopped(treatment: Treatment) -> bool:
    return read(treatment).told.kind is NextStepKind.STOP


def _broke(treatment: Treatment) -> bool:
    entries = treatment.log.entries
    return any(isinstance(e, TreatmentEntry) and e.outcome is Outcome.FRACTURED for e in entries)
