"""The state machine at the chair, walked over every sequence of events.

The walk holds each state against a second book-keeping that shares nothing with the module but the core's guard: what is
measured and stated now is written down by the test itself, and a rotary step may be offered only if a log was begun on it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import pytest

from curvometer import (
    CanalName,
    CaseContext,
    CurvometerError,
    Exploration,
    NextStepKind,
    NoPlan,
    Outcome,
    PlanAdvice,
    StepRole,
    TreatmentEntry,
    ask_recommenders,
    check_plan,
    exploration_after,
    next_step,
    request_after,
    request_from_plain,
    request_to_plain,
    what_if_request,
)
from curvometer.instruments import default_inventory, shortest_that_reaches
from curvometer_napari import chairside
from curvometer_napari.chairside import (
    ChairError,
    ChairState,
    Planned,
    begun,
    carried,
    same_request,
    stand_of,
    taken_up,
    told,
)
from curvometer_sequences import recommend_by_table, recommend_hand_files

LENGTH = 20.0
RADII = {"as traced": 6.0, "edited": 4.5}
"""Both let rotary instruments pass, with other strains: nothing but the state machine keeps an old step back."""
CANALS = (CanalName.MB, CanalName.ML)
EVENTS = (
    *("edit trace", "reached 10", "blocked", "undo", "switch canal"),
    *("plan", "begin", "take up", "tick", "short", "fracture"),
)


@dataclass(frozen=True)
class Seen:
    """What a person has measured and stated of one canal."""

    trace: str = "as traced"
    reached: int = 8
    blocked: bool = False


@dataclass(frozen=True)
class World:
    """A case at work: facts with their history, the last answer and the logs of each canal, and the canal that is shown."""

    seen: tuple[Seen, Seen] = (Seen(), Seen())
    past: tuple[tuple[Seen, Seen], ...] = ()
    planned: tuple[Planned | None, Planned | None] = (None, None)
    logs: tuple[tuple, tuple] = ((), ())
    shown: int = 0


@cache
def request_of(seen: Seen, canal: CanalName):
    """The request as the facts give it: 40 degrees, the curve starts 6 mm from the foramen, working length 20 mm."""
    return what_if_request(
        angle_deg=40.0,
        radius_mm=RADII[seen.trace],
        curve_start_from_foramen_mm=6.0,
        exploration=Exploration(working_length_mm=LENGTH, reached_size=seen.reached, blocked=seen.blocked),
        context=CaseContext(tooth=46, canal=str(canal)),
    )


_ANSWERS: dict[str, Planned] = {}


def answer_to(request) -> Planned:
    """The built-in recommenders' answer, each question asked once only."""
    key = json.dumps(request_to_plain(request), sort_keys=True)
    if key not in _ANSWERS:
        asked = {"table": recommend_by_table, "hand": recommend_hand_files}
        _ANSWERS[key] = Planned(request=request, answer=ask_recommenders(request, recommenders=asked))
    return _ANSWERS[key]


def after(world: World, event: str) -> World:
    """The world after an event; one that is refused changes nothing."""
    try:
        return _fact_changed(world, event) or _chair_changed(world, event)
    except CurvometerError:
        return world


def _fact_changed(world: World, event: str) -> World | None:
    here = world.seen[world.shown]
    changed = {
        "edit trace": replace(here, trace="edited"),
        "reached 10": replace(here, reached=10),
        "blocked": replace(here, blocked=True),
    }
    if event in changed:
        if changed[event] == here:
            return world
        return replace(
            world, seen=_put(world.seen, world.shown, changed[event]), past=(*world.past, world.seen)
        )
    if event == "undo":
        return replace(world, seen=world.past[-1], past=world.past[:-1]) if world.past else world
    if event == "switch canal":
        return replace(world, shown=1 - world.shown)
    return None


def _chair_changed(world: World, event: str) -> World:
    at, stated, logs = world.shown, force(world), world.logs[world.shown]
    others = world.logs[1 - at]
    stand, planned = stand_of(stated, logs, elsewhere=others), world.planned[at]
    if event == "plan":
        return (
            world
            if stand.ask is None
            else replace(world, planned=_put(world.planned, at, answer_to(stand.ask)))
        )
    if event in ("begin", "take up"):
        if planned is None:
            return world
        plan = next(iter(planned.answer.plans), None)
        if event == "begin":
            new = world if plan is None else (*logs, begun(stated, logs, planned, plan, elsewhere=others))
        else:
            new = (*logs[:-1], taken_up(stated, logs, planned, plan, elsewhere=others))
        return world if new is world else replace(world, logs=_put(world.logs, at, new))
    outcome = {"tick": Outcome.REACHED, "short": Outcome.SHORT, "fracture": Outcome.FRACTURED}[event]
    amount = 2.0 if outcome is Outcome.SHORT else None
    went_on = told(stated, logs, outcome, elsewhere=others, amount_mm=amount)
    return replace(world, logs=_put(world.logs, at, (*logs[:-1], went_on)))


def stand(world: World):
    return stand_of(force(world), world.logs[world.shown], elsewhere=world.logs[1 - world.shown])


def force(world: World):
    return request_of(world.seen[world.shown], CANALS[world.shown])


def _put(pair, at, value):
    return tuple(value if i == at else each for i, each in enumerate(pair))


def key_of(world: World) -> tuple:
    """What the future depends on."""
    logs = tuple(
        tuple((each.log.case_id, tuple(_entry_key(entry) for entry in each.log.entries)) for each in logs)
        for logs in world.logs
    )
    return world.seen, world.past, world.shown, tuple(map(id, world.planned)), logs


def _entry_key(entry):
    if isinstance(entry, TreatmentEntry):
        return entry.kind, entry.plan_step, str(entry.instrument), entry.to_mm, entry.outcome
    return entry.advice, None if entry.plan is None else entry.plan.rule


def walk(start: World, depth: int) -> Iterator[tuple[World, str, World]]:
    """Every world that can be reached in so many events, each once, with the step that led there."""
    known, layer = {key_of(start)}, [start]
    for _ in range(depth):
        new = []
        for world in layer:
            for event in EVENTS:
                then = after(world, event)
                yield world, event, then
                if key_of(then) not in known:
                    known.add(key_of(then))
                    new.append(then)
        layer = new


def assert_safe(world: World) -> bool:
    """Hold what is offered against facts, guard and history; tells whether a motor step was offered."""
    stated, logs = force(world), world.logs[world.shown]
    shown = stand(world)
    offered = shown.offered
    if offered is None:
        assert shown.told is None or shown.told.step is None
        return False
    now, log = world.seen[world.shown], logs[-1]
    # The log was begun on the very facts that hold now, for this canal.
    began = log.request
    assert began.radius_mm == RADII[now.trace]
    assert began.canal == str(CANALS[world.shown])
    assert offered == next_step(log.plan, log.log, began)
    if offered.step is None or not offered.step.is_rotary:
        return False
    assert began.exploration.reached_size == now.reached
    assert not now.blocked
    assert not any(
        isinstance(entry, TreatmentEntry) and entry.outcome is Outcome.FRACTURED
        for each in logs
        for entry in each.log.entries
    )
    # Each rule of the guard, for the request as facts and log give it now.
    shelf = request_after(log.plan, log.log, began).inventory
    request = replace(stated, exploration=exploration_after(stated, log.log), inventory=shelf)
    confirm = shortest_that_reaches(
        shelf, kind="hand", size=8, taper=0.02, working_length_mm=offered.step.to_mm
    )
    by_hand = replace(
        offered.step,
        instrument=confirm,
        role=StepRole.CONFIRM,
        speed_rpm=None,
        seconds=None,
        budget_share=None,
        strain_percent=None,
        pecks=None,
    )
    assert check_plan(replace(log.plan, steps=(offered.step, by_hand)), request) == ()
    # The shelf of the tests holds each make once, so whatever stands in a log of the tooth is used up.
    assert not used_before(offered.step.instrument, (*logs, *world.logs[1 - world.shown]))
    return True


_SAFE: dict[tuple, bool] = {}


def assert_safe_once(world: World) -> bool:
    """`assert_safe`, for what it depends on once only; plans and history differ among many worlds."""
    seen, _, shown, _, logs = key_of(world)
    key = (seen, shown, logs)
    if key not in _SAFE:
        _SAFE[key] = assert_safe(world)
    return _SAFE[key]


def assert_all_safe(steps: Iterator[tuple[World, str, World]]) -> None:
    for _, _, then in steps:
        assert_safe(then)


def told_of(world: World) -> tuple:
    """State and next step as the canal that is shown tells them."""
    shown = stand(world)
    return shown.state, shown.words, shown.told


def used_before(piece, logs) -> bool:
    """Whether a single-use piece of this make stands in any of the logs already."""
    entries = [entry for each in logs for entry in each.log.entries if isinstance(entry, TreatmentEntry)]
    makes = [(e.instrument.name, e.instrument.length_mm) for e in entries if e.instrument is not None]
    return (piece.name, piece.length_mm) in makes


def test_every_sequence_of_five_events_from_an_empty_case_is_safe():
    offered = [assert_safe_once(then) for _, _, then in walk(World(), 5)]
    assert any(offered)


def under_way(*events: str) -> World:
    world = World()
    for event in ("plan", "begin", *events):
        world = after(world, event)
    return world


BEGIN_THERE = ("switch canal", "plan", "begin")


@pytest.mark.parametrize(
    "events",
    [
        (),  # a hand file is next
        ("tick",),  # a motor step is next
        ("tick", "short", "tick"),  # the log asks for a new plan
        ("tick", "edit trace", "plan", "begin", "tick"),  # begun anew
        (
            "tick",
            "tick",
            *BEGIN_THERE,
            "tick",
        ),  # a rotary step is next, and one was carried out in the other canal
        (
            "tick",
            *BEGIN_THERE,
            "tick",
            "tick",
            "switch canal",
        ),  # the piece that is next here was used there meanwhile
    ],
)
def test_every_sequence_of_three_events_from_a_treatment_under_way_is_safe(events):
    count = 0
    for before, event, then in walk(under_way(*events), 3):
        assert_safe_once(then)
        # Nothing is taken away from any log, whatever was pressed.
        for old, new in zip(before.logs, then.logs, strict=True):
            assert len(new) >= len(old)
            assert all(
                n.log.entries[: len(o.log.entries)] == o.log.entries for o, n in zip(old, new, strict=False)
            )
        # Planning alone, or planning again, offers nothing.
        if event == "plan":
            assert told_of(then) == told_of(before)
        count += 1
    assert count > 200


def test_the_walk_finds_a_step_of_an_older_log(monkeypatch):
    """The hole of an earlier attempt: a chair that does not hold the log's request against the one in force."""
    monkeypatch.setattr(chairside, "same_request", lambda _one, _other: True)
    with pytest.raises(AssertionError):
        assert_all_safe(walk(under_way("tick"), 2))


def test_the_walk_finds_a_piece_that_was_used_in_the_other_canal(monkeypatch):
    monkeypatch.setattr(chairside, "has_left", lambda _shelf, _piece: True)
    with pytest.raises(AssertionError):
        assert_all_safe(walk(under_way("tick", *BEGIN_THERE, "tick", "tick"), 1))


# --- one state after the other -----------------------------------------------------------------------------


def state(world: World) -> ChairState:
    return stand(world).state


def test_states_in_the_order_of_a_treatment():
    assert state(World()) is ChairState.FREE
    assert state(after(World(), "plan")) is ChairState.FREE
    assert state(under_way()) is ChairState.RUNNING
    assert state(under_way("edit trace")) is ChairState.CHANGED
    assert state(under_way("edit trace", "undo")) is ChairState.RUNNING
    assert state(under_way("edit trace", "plan", "plan")) is ChairState.CHANGED
    assert state(under_way("edit trace", "plan", "begin")) is ChairState.RUNNING
    assert state(under_way("switch canal")) is ChairState.FREE
    assert state(under_way("tick", "short", "tick")) is ChairState.RE_PLAN
    assert state(under_way("tick", "short", "tick", "plan", "take up")) is ChairState.RUNNING
    assert state(under_way("tick", "fracture")) is ChairState.ENDED
    assert stand_of(None, under_way().logs[0]).state is ChairState.WAITING


def test_an_old_answer_neither_begins_nor_is_taken_up():
    stated = request_of(Seen(), CanalName.MB)
    old = answer_to(stated)
    changed = request_of(Seen(trace="edited"), CanalName.MB)
    with pytest.raises(ChairError, match="press Plan again"):
        begun(changed, (), old, old.answer.plans[0])
    with pytest.raises(ChairError, match="press Plan again"):
        begun(stated, (), answer_to(changed), answer_to(changed).answer.plans[0])
    world = under_way("tick", "short", "tick")  # asks for a new plan with what was found
    with pytest.raises(ChairError, match="press Plan again"):
        taken_up(stated, world.logs[0], old, old.answer.plans[0])


def test_a_plan_from_elsewhere_is_not_begun():
    stated = request_of(Seen(), CanalName.MB)
    planned = answer_to(stated)
    foreign = replace(planned.answer.plans[0], rule="other")
    with pytest.raises(ChairError, match="none of the answer's"):
        begun(stated, (), planned, foreign)


def test_nothing_is_told_of_a_step_that_is_not_offered():
    world = under_way("tick", "edit trace")
    with pytest.raises(ChairError, match="No step is offered now"):
        told(force(world), world.logs[0], Outcome.REACHED)
    with pytest.raises(ChairError, match="No treatment can begin now"):
        begun(None, (), answer_to(force(world)), answer_to(force(world)).answer.plans[0])


def test_a_new_plan_is_asked_for_with_what_the_log_found_and_within_its_guard():
    world = under_way("tick", "short", "tick")
    stand = stand_of(force(world), world.logs[0])
    assert stand.told.kind is NextStepKind.RE_PLAN
    spent = [p for p in stand.ask.inventory.instruments if p.name == "rotary 10/.02" and p.is_spent]
    assert len(spent) == 1
    assert stand.ask.curve.length_mm == force(world).curve.length_mm
    planned = answer_to(stand.ask)
    new = taken_up(force(world), world.logs[0], planned, planned.answer.plans[0], who="AB")
    assert new.log.entries[:-1] == world.logs[0][-1].log.entries
    assert new.log.entries[-1].plan is planned.answer.plans[0]


def test_that_there_is_no_new_plan_is_written_down_too():
    world = under_way("tick", "short", "tick")
    ask = stand_of(force(world), world.logs[0]).ask

    def none(_request):
        return NoPlan(rule="none", advice=PlanAdvice.REFER, reasons=("Too sharp.",))

    planned = Planned(request=ask, answer=ask_recommenders(ask, recommenders={"none": none}))
    new = taken_up(force(world), world.logs[0], planned, None)
    stand = stand_of(force(world), (*world.logs[0][:-1], new))
    assert stand.state is ChairState.ENDED
    assert stand.told.kind is NextStepKind.STOP
    assert stand.told.reasons == ("Too sharp.",)
    with pytest.raises(ChairError, match="choose one of them"):
        taken_up(force(world), world.logs[0], answer_to(ask), None)


# --- what earlier logs leave behind ------------------------------------------------------------------------


def test_a_further_log_has_the_pieces_as_they_were_used():
    """One rotary 10/.02 of 21 mm is used and put away by the first log; the shelf has those of 25 and 31 mm left."""
    world = under_way("tick", "tick", "tick", "edit trace")
    before = force(world).inventory.of(kind="rotary", size=10, taper=0.02)
    now = carried(force(world), world.logs[0]).inventory.of(kind="rotary", size=10, taper=0.02)
    assert [piece.uses for piece in before] == [0, 0, 0]
    assert sorted(piece.uses for piece in now) == [0, 0, 1]


def test_a_broken_instrument_blocks_the_canal_for_every_further_log():
    world = under_way("tick", "fracture", "reached 10", "plan")
    assert carried(force(world), world.logs[0]).exploration.blocked
    assert all(plan.is_hand_only for plan in world.planned[0].answer.plans)
    assert stand_of(force(world), world.logs[0]).state is ChairState.CHANGED


def test_after_a_stop_hand_files_count_only_once_they_are_stated_anew():
    world = under_way("tick")
    lost = told(force(world), world.logs[0], Outcome.LOST_LENGTH, amount_mm=1.0)
    logs = (lost,)
    assert stand_of(force(world), logs).state is ChairState.ENDED
    other_trace = request_of(Seen(trace="edited"), CanalName.MB)
    assert carried(other_trace, logs).exploration.reached_size == 0
    assert carried(request_of(Seen(reached=10), CanalName.MB), logs).exploration.reached_size == 10
    # A second log in between does not make the old statement new.
    planned = answer_to(stand_of(other_trace, logs).ask)
    second = begun(other_trace, logs, planned, planned.answer.plans[0])
    assert carried(force(world), (*logs, second)).exploration.reached_size == 0


def test_requests_are_the_same_by_what_they_tell():
    one = request_of(Seen(), CanalName.MB)
    assert same_request(one, request_from_plain(request_to_plain(one)))
    assert not same_request(one, request_of(Seen(), CanalName.ML))
    assert not same_request(one, replace(one, grades=(("some set", "hard"),)))
    assert not same_request(one, replace(one, inventory=replace(default_inventory(), name="other")))
