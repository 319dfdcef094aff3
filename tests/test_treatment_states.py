"""Every reachable state at the chair is safe: all outcomes of all offered steps, walked breadth first to the last state.

What is walked is the product of the program's own state and of `Seen`, a second book-keeping that is written here and knows
nothing of the program's: which depth each hand file reached, what every rotary piece has spent, what is owed. The rules are
checked on `Seen` alone, with the strain and the budget computed here. Two states are the same only if both agree.

The abstraction: an instrument reaches its depth, falls short by 0.3 or 2.0 mm (below and above the 0.5 mm that count as lost
length), binds, deflects, breaks, or costs 0.3 or 0.5 mm of length. Where a new plan is asked for, five answers come: a careful
planner, a bold one that takes the widest instrument as deep as the guard lets it, hand files, and none in two ways.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import deque
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from curvometer.instruments import InstrumentKind, Inventory, default_inventory
from curvometer.sequence import (
    Exploration,
    NoPlan,
    PlanRequest,
    SequencePlan,
    SequenceStep,
    check_plan,
    what_if_request,
)
from curvometer.treatment import (
    NextStepKind,
    Outcome,
    PlanEntry,
    TreatmentEntry,
    TreatmentError,
    TreatmentLog,
    begin_log,
    log_from_plain,
    log_to_plain,
    next_step,
)
from curvometer.treatment.chair import advance
from curvometer.treatment.offering import decide
from curvometer.treatment.situation import start

NOON = dt.datetime(2026, 1, 31, 12, tzinfo=dt.UTC)
OUTCOMES = (
    (Outcome.REACHED, None),
    (Outcome.SHORT, 0.3),
    (Outcome.SHORT, 2.0),
    (Outcome.BINDING, None),
    (Outcome.DEFLECTED, None),
    (Outcome.FRACTURED, None),
    (Outcome.LOST_LENGTH, 0.3),
    (Outcome.LOST_LENGTH, 0.5),
)
LENGTH = 20.0


# The second book-keeping.


@dataclass(frozen=True)
class Seen:
    """What the entries of one path tell, kept without the program."""

    hand: tuple[tuple[int, float], ...]  # size and deepest place
    owed: float | None = None  # a rotary instrument went in and no hand file has followed yet
    pieces: tuple[
        tuple[object, int, float], ...
    ] = ()  # make, uses, share of the life; only what may be used again
    failed: int = 0
    stop: bool = False  # something broke, or 0.5 mm of length are lost

    def depth(self, size: int = 0) -> float:
        return max((depth for each, depth in self.hand if each >= size), default=0.0)

    @property
    def largest(self) -> int:
        return max((size for size, depth in self.hand if depth >= LENGTH - 0.01), default=0)


def seen_at_start(request: PlanRequest) -> Seen:
    found = request.exploration
    hand = dict(found.explored_mm)
    if found.reached_size:  # one that took force counts as the next smaller one
        hand[{10: 8}[found.reached_size] if found.forced else found.reached_size] = LENGTH
    rotary = request.inventory.of(kind="rotary")
    return Seen(
        hand=_envelope(hand), pieces=tuple(sorted((make_of(item), item.uses, 0.0) for item in rotary))
    )


def seen_after(seen: Seen, entry: TreatmentEntry, request: PlanRequest, speed, seconds) -> Seen:
    good = entry.outcome is Outcome.REACHED
    seen = replace(seen, failed=seen.failed + (not good))
    lost = entry.amount_mm if entry.outcome is Outcome.LOST_LENGTH else 0.0
    piece = entry.instrument
    if piece is not None and piece.kind is InstrumentKind.HAND:
        depth = {Outcome.REACHED: entry.to_mm, Outcome.SHORT: entry.to_mm - (entry.amount_mm or 0.0)}.get(
            entry.outcome
        )
        if depth is not None:
            lost = max(lost, min(entry.to_mm, seen.depth(piece.size)) - depth)
            seen = replace(seen, hand=_envelope({**dict(seen.hand), piece.size: depth}, dict(seen.hand)))
        if good and seen.owed is not None and entry.to_mm >= seen.owed - 0.01:
            seen = replace(seen, owed=None)
    if piece is not None and piece.kind is InstrumentKind.ROTARY:
        taken = taken_of(seen, piece)
        share = round(taken[2] + own_share(piece, entry.to_mm, request, speed, seconds), 6)
        left = list(seen.pieces)
        left.remove(taken)
        if good:  # what failed is not used again
            left.append((taken[0], taken[1] + 1, share))
        seen = replace(seen, owed=min(entry.to_mm, seen.depth()), pieces=tuple(sorted(left)))
    return replace(seen, stop=seen.stop or entry.outcome is Outcome.FRACTURED or lost >= 0.5 - 1e-9)


def _envelope(hand, before=None):
    """Keep a size only where no larger one went as deep: nothing below asks for more."""
    both = {
        size: max(hand.get(size, 0.0), (before or {}).get(size, 0.0)) for size in {*hand, *(before or {})}
    }
    kept, best = [], 0.0
    for size, depth in sorted(both.items(), reverse=True):
        if depth > best:
            kept.append((size, depth))
            best = depth
    return tuple(kept)


def make_of(piece):
    return (piece.size, piece.taper, piece.length_mm)


def taken_of(seen: Seen, piece):
    """The most spent one of the pieces that this can be."""
    fitting = [each for each in seen.pieces if each[:2] == (make_of(piece), piece.uses)]
    assert fitting, "a piece that failed, or whose uses were not counted"
    return max(fitting)


def own_share(piece, to_mm, request, speed, seconds) -> float:
    """Miner's n / N_d: strain d / (2R) of the thickest part in the arcs, N50 = (0.79 / strain)^2, N_d = N50 / 3.

    Both arcs of a case have one radius and touch, so the thickest part is at their upper end.
    """
    if request.radius_mm is None:
        return 0.0
    upper = request.curve_start_from_foramen_mm + request.radius_mm * math.radians(request.second_angle_deg)
    from_tip = min(upper - (LENGTH - to_mm), piece.working_part_mm)
    if from_tip < 0.0:
        return 0.0
    strain = (piece.size / 100 + piece.taper * from_tip) / (2 * request.radius_mm)
    return (speed / 60 * max(seconds, 3.0)) / ((0.79 / strain) ** 2 / 3)


def check_offer(offered, seen: Seen, request: PlanRequest) -> None:
    """Hold what is offered against the rules, by what was seen on the way."""
    if seen.stop or seen.failed >= 5:
        assert offered.kind is NextStepKind.STOP
    if offered.kind is NextStepKind.DONE:
        assert seen.largest >= 15
        assert seen.owed is None
    assert bool(offered.outcomes) == (not offered.ends and offered.kind is not NextStepKind.RE_PLAN)
    assert offered.words
    assert offered.reasons
    step = offered.step
    if step is None:
        return
    piece = step.instrument
    assert 0.0 < step.to_mm <= LENGTH + (piece.kind is InstrumentKind.HAND)
    assert piece.length_mm >= step.to_mm + 1.0
    assert not piece.is_spent
    if piece.kind is InstrumentKind.ROTARY:
        check_rotary(step, seen, request)
    else:
        assert step.speed_rpm is None


def check_rotary(step: SequenceStep, seen: Seen, request: PlanRequest) -> None:
    piece, found, radius = step.instrument, request.exploration, request.radius_mm
    assert not any((found.blocked, found.split, found.image_rejected, found.has_open_apex))
    assert request.curve is not None
    assert step.to_mm <= seen.depth() + 0.01, "deeper than a hand file has explored"
    assert seen.owed is None, "no hand file between two rotary instruments"
    start_of_curve = LENGTH - (request.curve_start_from_foramen_mm or 0.0)
    inside = radius is not None and step.to_mm > start_of_curve + 0.01
    if inside or step.to_mm > LENGTH - 1.0 + 0.01:
        assert seen.largest >= 6, "no size 6 or 8 at length"
    if inside and (radius <= 4.0 or request.s_shape):
        assert piece.taper == 0.02
    if radius is not None and not inside and piece.taper > 0.02:
        assert step.to_mm <= start_of_curve - 2.0 + 0.01
    low, high = piece.speed_rpm
    assert low <= step.speed_rpm <= high
    assert step.seconds > 0.0
    _, _, share = taken_of(seen, piece)
    share += own_share(piece, step.to_mm, request, step.speed_rpm, step.seconds)
    assert share <= 0.5 + 1e-4, "more than half of the design life"


# Planners.


def piece(request, kind, size, taper=0.02, depth=LENGTH):
    fitting = [
        item
        for item in request.inventory.of(kind=kind, size=size, taper=taper)
        if item.length_mm >= depth + 1.0 and not item.is_spent
    ]
    return min(fitting, key=lambda item: item.length_mm, default=None)


def by_hand(request, size, depth=LENGTH, role="confirm"):
    return SequenceStep(
        instrument=piece(request, "hand", size, depth=depth), to_mm=depth, role=role, motion=""
    )


def turned(item, depth, speed, role="shape"):
    return SequenceStep(
        instrument=item, to_mm=depth, role=role, motion="pecks", speed_rpm=speed, seconds=4.0, pecks=3
    )


def plan_of(name, steps):
    return SequencePlan(recommender=name, rule="test", steps=tuple(steps), ends_with="", reasons=("Test.",))


def careful(request):
    """10/.02 and 15/.02 with a hand file after each; hand files where none is at length."""
    size = request.exploration.size_at_length
    if not size:
        return plan_of("careful", [by_hand(request, each) for each in (6, 8)])
    steps = [by_hand(request, min(size, 8))]
    for each in (10, 15):
        if (item := piece(request, "rotary", each)) is not None:
            steps += [turned(item, LENGTH, 500.0), by_hand(request, each)]
    return plan_of(
        "careful", steps if len(steps) > 1 else [*steps, by_hand(request, 10), by_hand(request, 15)]
    )


def flaring(request):
    """A preflare, then the first half of that."""
    flare = piece(request, "rotary", 10, 0.06)
    top = min(request.exploration.explored_depth_mm, LENGTH - 8.0, request.curve_start_mm - 2.0)
    return plan_of(
        "flaring",
        [turned(flare, top, 300.0, "preflare"), by_hand(request, 8), *careful(request).steps[:3]],
    )


def bold(request):
    """The widest instrument as deep as the guard lets it, then the next one."""
    deepest, start_of_curve = request.exploration.explored_depth_mm, request.curve_start_mm or LENGTH
    widest = sorted(
        request.inventory.of(kind="rotary"), key=lambda item: item.size + 1600 * item.taper, reverse=True
    )
    steps: list[SequenceStep] = []
    for item in widest:
        for depth in (deepest, min(deepest, start_of_curve), min(deepest, start_of_curve - 2.0)):
            if depth <= 0.0 or item.length_mm < depth + 1.0 or len(steps) == 4:
                continue
            more = [*steps, turned(item, depth, item.speed_rpm[1]), by_hand(request, 8, depth)]
            if not check_plan(plan_of("bold", more), request):
                steps = more
                break
    return plan_of("bold", steps) if steps else None


def hand_files(request):
    """The next two sizes by hand."""
    size = request.exploration.size_at_length
    return plan_of(
        "hand",
        [by_hand(request, each) for each in (6, 8, 10, 15) if each > size][:2] or [by_hand(request, 15)],
    )


def reckless(request):
    """Straight to length, and nothing after it."""
    return plan_of("reckless", [turned(request.inventory.of(kind="rotary")[0], LENGTH, 900.0)])


PLANNERS = (careful, bold, hand_files)


# The walk.


def case(angle, radius, start_mm, reached, *, shelf=None, **more):
    found = {"working_length_mm": LENGTH, "reached_size": reached}
    found |= {name: more.pop(name) for name in ("explored_mm", "blocked", "forced") if name in more}
    request = what_if_request(
        angle_deg=angle,
        radius_mm=radius,
        curve_start_from_foramen_mm=start_mm,
        exploration=Exploration(**found),
        **more,
    )
    return request if shelf is None else replace(request, inventory=shelf)


def reusable() -> Inventory:
    """Rotary pieces for three uses, of which half the life allows fewer; one length."""
    return Inventory(
        instruments=tuple(
            item if item.kind is InstrumentKind.HAND else replace(item, most_uses=3) for item in one_length()
        )
    )


def two_of_each() -> Inventory:
    """A second piece of everything, for a second attempt; one length."""
    return Inventory(instruments=2 * one_length())


def one_length():
    return tuple(item for item in default_inventory().instruments if item.length_mm == 21)


CASES = {
    "moderate, H 10": (case(25.0, 7.0, 5.0, 10), flaring),
    "severe, H 8": (case(40.0, 6.0, 6.0, 8), careful),
    "S, H 10": (case(30.0, 6.0, 5.0, 10, second_angle_deg=15.0, s_shape=True), careful),
    "short radius, H 8, two of each": (case(35.0, 3.5, 4.0, 8, shelf=two_of_each()), hand_files),
    "hook, H 8": (case(60.0, 2.0, 3.0, 8), hand_files),
    "straight, H 15": (case(0.0, None, None, 15), bold),
    "H 6": (case(25.0, 7.0, 5.0, 6), hand_files),
    "H 0, 8 went to 16 mm": (case(30.0, 6.0, 6.0, 0, explored_mm={8: 16.0}), bold),
    "H 10 by force": (case(20.0, 9.0, 6.0, 10, forced=True), hand_files),
    "blocked at 15 mm": (case(25.0, 7.0, 5.0, 0, explored_mm={8: 15.0}, blocked=True), hand_files),
    "pieces for three uses": (case(35.0, 3.0, 4.0, 8, shelf=reusable()), careful),
}


COUNTS = {  # states, entries on the longest path
    "moderate, H 10": (7525, 23),
    "severe, H 8": (8885, 22),
    "S, H 10": (9744, 23),
    "short radius, H 8, two of each": (5394, 20),
    "hook, H 8": (4143, 20),
    "straight, H 15": (5464, 21),
    "H 6": (6469, 22),
    "H 0, 8 went to 16 mm": (5244, 22),
    "H 10 by force": (3357, 19),
    "blocked at 15 mm": (584, 15),
    "pieces for three uses": (9100, 23),
}


def entries_for(offered, now, planners):
    """Everything that may happen in a state."""
    if offered.kind is NextStepKind.RE_PLAN:
        with pytest.raises(TreatmentError, match="refused"):
            advance(now, PlanEntry(time=NOON, plan=reckless(now.request_now), advice="plan"), offered=offered)
        for planner in planners:
            plan = planner(now.request_now)
            if isinstance(plan, SequencePlan) and not check_plan(plan, now.request_now):
                yield PlanEntry(time=NOON, plan=plan, advice="plan")
        for advice in ("hand only", "refer"):
            yield PlanEntry(time=NOON, plan=None, advice=advice)
    for outcome, amount in OUTCOMES:
        if outcome in offered.outcomes:
            yield TreatmentEntry(
                time=NOON,
                kind=offered.kind,
                plan_step=offered.plan_step,
                instrument=None if offered.step is None else offered.step.instrument,
                to_mm=offered.to_mm,
                outcome=outcome,
                amount_mm=amount,
            )


class Numbered(dict):
    """A number for each plan; equal plans have the same one. Hashing a whole plan at each step would be slow."""

    def __init__(self):
        self.by_plan = {}

    def of(self, plan):
        if id(plan) not in self:
            self[id(plan)] = (self.by_plan.setdefault(plan, len(self.by_plan)), plan)  # keeps it alive
        return self[id(plan)][0]


def key_of(now, seen, plans):
    """All that the program's state holds, without its sentences; hand depths as in `_envelope`."""
    if now.ending is not None:
        return (now.ending[0], seen.stop)
    found = now.found
    return (
        *(plans.of(now.plan), now.index, now.size_at_plan),
        *(found.reached_size, found.forced, found.loose, _envelope(dict(found.explored_mm))),
        tuple((number, p.tries, p.share, p.put_away) for number, p in enumerate(now.pieces) if p.tries),
        *(now.confirm_mm, now.again, bool(now.new_plan), now.measure, now.preflared, now.measured_at_end),
        *(now.attempts, now.failures, now.plans, seen),
    )


def walk(request, plan, planners=PLANNERS):
    """Every reachable state, checked; returns the graph, the kinds of ends, and a few logs with what they offer."""
    begin = (start(plan, request), seen_at_start(request), ())
    plans = Numbered()
    numbers = {key_of(begin[0], begin[1], plans): 0}
    graph: list[list[int]] = []
    ends: set[NextStepKind] = set()
    samples, todo = [], deque([begin])
    while todo:
        now, seen, path = todo.popleft()
        offered = decide(now)
        check_offer(offered, seen, request)
        if len(graph) % 397 == 0:
            samples.append((path, offered))
        following = []
        for entry in entries_for(offered, now, planners):
            after, known = advance(now, entry, offered=offered), seen
            if isinstance(entry, TreatmentEntry):
                turning = (
                    (0.0, 0.0) if offered.step is None else (offered.step.speed_rpm, offered.step.seconds)
                )
                known = seen_after(seen, entry, request, *turning)
            key = key_of(after, known, plans)
            if key not in numbers:
                numbers[key] = len(numbers)
                todo.append((after, known, (path, entry)))
            following.append(numbers[key])
        assert bool(following) != offered.ends, "a dead end, or something after the end"
        if offered.ends:
            ends.add(offered.kind)
        graph.append(following)
    return graph, ends, samples


def longest_path(graph) -> int:
    """Entries on the longest path; fails where a path could go round."""
    entering = [0] * len(graph)
    for following in graph:
        for number in following:
            entering[number] += 1
    length, ready, done = [0] * len(graph), [n for n, count in enumerate(entering) if count == 0], 0
    while ready:
        state = ready.pop()
        done += 1
        for number in graph[state]:
            length[number] = max(length[number], length[state] + 1)
            entering[number] -= 1
            if entering[number] == 0:
                ready.append(number)
    assert done == len(graph), "a loop"
    return max(length)


def log_of(path, plan, request) -> TreatmentLog:
    entries = []
    while path:
        path, entry = path
        entries.append(entry)
    log = begin_log(plan, request)
    for entry in reversed(entries):
        log = log.appended(entry)
    return log


@pytest.mark.parametrize("name", CASES)
def test_every_reachable_state_is_safe(name):
    request, planner = CASES[name]
    plan = planner(request)
    graph, ends, samples = walk(request, plan)
    told = f"{name}: {len(graph)} states, {sum(map(len, graph))} steps, at most {longest_path(graph)} entries"
    print(told)
    # Walked once and written down: a change of the rules must show here.
    assert (len(graph), longest_path(graph)) == COUNTS[name], told
    assert ends == {NextStepKind.STOP, NextStepKind.HAND_ONLY, NextStepKind.DONE}
    for path, offered in samples:
        log = log_of(path, plan, request)
        assert next_step(plan, log, request) == offered
        assert log_from_plain(log_to_plain(log)) == log


def test_the_built_in_recommenders_are_safe_too():
    """The same walk with the plans of the package, where it is installed; its numbers of states are not fixed."""
    table = pytest.importorskip("curvometer_sequences.by_table").recommend_by_table
    by_hand_only = pytest.importorskip("curvometer_sequences.hand_files").recommend_hand_files
    request = case(40.0, 6.0, 6.0, 8)
    plan = table(request)
    assert not isinstance(plan, NoPlan)
    graph, ends, _ = walk(request, plan, (table, by_hand_only))
    assert len(graph) > 1000
    assert longest_path(graph) < 40
    assert NextStepKind.DONE in ends


def test_the_page_tells_these_numbers():
    page = (Path(__file__).parents[1] / "docs" / "treatment.md").read_text(encoding="utf-8")
    for name, (states, entries) in COUNTS.items():
        assert f"| {name} | {states} | {entries} |" in page
    assert f"| together | {sum(states for states, _ in COUNTS.values())} | |" in page
