"""Adversarial plans: whatever a third party puts together, what the guard lets pass also passes the independent re-check."""

from __future__ import annotations

import json
import math

from hypothesis import given, settings
from hypothesis import strategies as st
from sequence_recheck import Canal, faults, share, strain

from curvometer.instruments import Instrument, Inventory, default_inventory
from curvometer.mechanics import curve_of_arcs
from curvometer.sequence import (
    CaseContext,
    Exploration,
    NoPlan,
    PlanRequest,
    SequencePlan,
    SequenceStep,
    StepRole,
    answer_to_plain,
    ask_recommenders,
    check_plan,
    plan_from_plain,
    plan_to_plain,
    request_from_plain,
    request_to_plain,
    step_share,
    step_strain,
    what_if_request,
)
from curvometer_sequences import recommend_by_table, recommend_hand_files
from curvometer_sequences.rows import SAFEST_FIRST, row_of

STRANGERS = (
    Instrument(
        kind="rotary", size=30, taper=0.06, length_mm=25, material="nickel-titanium", speed_rpm=(100.0, 9e3)
    ),
    Instrument(
        kind="rotary", size=10, taper=0.02, length_mm=31, material="nickel-titanium", speed_rpm=(10.0, 9e3)
    ),
)
USED = Instrument(
    kind="rotary",
    size=10,
    taper=0.02,
    length_mm=25,
    material="nickel-titanium",
    speed_rpm=(250.0, 900.0),
    uses=1,
)
SHELF = Inventory(instruments=(*default_inventory().instruments, USED))
TOOLS = (*SHELF.instruments, *STRANGERS)
WL = 21.0

depths = st.one_of(st.sampled_from((WL, 20.0, 16.0, 14.0, 13.0, 12.0)), st.floats(-1.0, 24.0))


@st.composite
def inputs(draw, *, forbidden=True):
    """(request, canal): one arc or two; findings of all kinds, or only those that do not forbid every motor."""

    def rarely():
        return forbidden and draw(st.integers(0, 9)) == 0

    radius = draw(st.sampled_from((1.5, 2.5, 3.9, 4.0, 4.1, 6.0, 9.0, 20.0)))
    start = draw(st.floats(0.5, 11.5))
    angle = draw(st.floats(1.0, 120.0))
    s_shape = draw(st.booleans())
    arcs = [(start, max(0.0, start - radius * math.radians(angle)), radius)]
    if s_shape:
        arcs.append((12.0, start, draw(st.sampled_from((3.0, 5.0, 12.0)))))
    found = Exploration(
        working_length_mm=WL,
        reached_size=draw(st.sampled_from((0, 0, 6, 8, 8, 8, 10, 15, 20))),
        explored_mm={8: draw(st.floats(0.0, WL))} if draw(st.booleans()) else {},
        visibility=draw(st.sampled_from(("clear", "narrowed", "not-visible"))),
        blocked=rarely(),
        split=rarely(),
        apex_opening_mm=draw(st.sampled_from((None, 0.5, 1.0, *((1.1,) if forbidden else ())))),
        trace_accepted=not rarely(),
        primary_tooth=rarely(),
    )
    request = PlanRequest(
        curve=curve_of_arcs(arcs, canal_length_mm=12.0), exploration=found, angle_deg=angle,
        radius_mm=min(r for *_, r in arcs), curve_start_from_foramen_mm=max(s for s, *_ in arcs), s_shape=s_shape,
        inventory=SHELF, scale_known=not rarely(),
    )  # fmt: skip
    canal = Canal(
        WL, tuple((s, r) for s, _, r in arcs), s_shape, found.reached_size, max(found.explored_mm.values(), default=0.0),
        found.blocked, found.apex_opening_mm, found.split, request.scale_known, found.trace_accepted, found.primary_tooth,
    )  # fmt: skip
    return request, canal


@st.composite
def steps(draw):
    tool = draw(st.sampled_from(TOOLS))
    rotary = tool.kind == "rotary"
    return SequenceStep(
        instrument=tool,
        to_mm=draw(depths),
        role=draw(st.sampled_from(StepRole)),
        motion="",
        speed_rpm=draw(st.sampled_from((300.0, 500.0, 900.0, 901.0, 5000.0, -1.0, None)))
        if rotary
        else draw(st.sampled_from((None, None, None, 300.0))),
        seconds=draw(st.sampled_from((4.0, 5.0, 8.0, 60.0, 1e-9, 0.0, -3.0, None))) if rotary else None,
        strain_percent=draw(st.sampled_from((None, None, 0.0, 1e9))),
    )


@st.composite
def plausible_steps(draw):
    """What a recommender would build, with little wrong or nothing: these reach deep into the guard."""
    by_hand = [t for t in SHELF.instruments if t.kind == "hand" and t.length_mm == 25 and t.size <= 15]
    turned = [t for t in SHELF.instruments if t.kind == "rotary" and t.length_mm == 25 and t is not USED]
    made = []
    if draw(st.integers(0, 3)):
        to_mm = draw(st.sampled_from((WL, WL, 18.0, 14.0)))
        made.append(
            SequenceStep(instrument=draw(st.sampled_from(by_hand)), to_mm=to_mm, role="explore", motion="")
        )
    for _ in range(draw(st.integers(1, 3))):
        tool = draw(st.sampled_from(turned))
        made.append(
            SequenceStep(
                instrument=tool,
                to_mm=draw(st.sampled_from((WL, WL, 20.5, 18.0, 15.0, 13.0, 11.0))),
                role=draw(st.sampled_from(("shape", "preflare"))),
                motion="",
                speed_rpm=draw(st.sampled_from((250.0, 500.0))),
                seconds=draw(st.sampled_from((3.0, 5.0, 15.0))),
            )
        )
        if draw(st.integers(0, 5)):
            hand = draw(st.sampled_from(by_hand))
            made.append(SequenceStep(instrument=hand, to_mm=WL, role="confirm", motion=""))
    return made


def plan_of(made):
    return SequencePlan(recommender="third party", rule="none", steps=tuple(made), ends_with="")


@settings(max_examples=300, deadline=None)
@given(inputs(), st.lists(steps(), min_size=1, max_size=6))
def test_no_heap_of_steps_slips_through(case, made):
    request, canal = case
    wrong = faults(plan_of(made), canal, SHELF)
    if wrong:
        assert check_plan(plan_of(made), request), f"the guard let pass: {wrong}"


@settings(max_examples=700, deadline=None)
@given(inputs(forbidden=False), plausible_steps())
def test_what_the_guard_lets_pass_is_safe(case, made):
    request, canal = case
    plan = plan_of(made)
    wrong = faults(plan, canal, SHELF)
    violations = check_plan(plan, request)
    if wrong:
        assert violations, f"the guard let pass: {wrong}"


@settings(max_examples=200, deadline=None)
@given(inputs(forbidden=False), plausible_steps())
def test_the_guard_does_not_refuse_more_than_its_rules_say(case, made):
    """Where the re-check finds nothing the guard finds nothing but its two stricter readings: into the curve, and sums."""
    request, canal = case
    plan = plan_of(made)
    if not faults(plan, canal, SHELF):
        stricter = {"length-after-six-or-eight", "budget-share", "hand-confirms"}
        assert {violation.rule.code for violation in check_plan(plan, request)} <= stricter


@settings(max_examples=150, deadline=None)
@given(inputs(), st.sampled_from(TOOLS), st.floats(0.0, WL), st.floats(100.0, 1000.0), st.floats(0.0, 60.0))
def test_strain_and_share_agree_with_the_formula(case, tool, to_mm, speed, seconds):
    request, canal = case
    found = step_strain(tool, to_mm, request)
    assert math.isclose(found.value, strain(tool, to_mm, canal), rel_tol=1e-6, abs_tol=1e-9)
    if tool.kind == "rotary":
        spent = step_share(tool, to_mm, request, speed_rpm=speed, seconds=seconds)
        step = SequenceStep(
            instrument=tool, to_mm=to_mm, role="shape", motion="", speed_rpm=speed, seconds=seconds
        )
        assert math.isclose(spent.value, share(step, canal), rel_tol=1e-6, abs_tol=1e-9)


@settings(max_examples=200, deadline=None)
@given(inputs())
def test_built_in_recommenders_always_answer_and_are_safe(case):
    request, canal = case
    for recommend in (recommend_by_table, recommend_hand_files):
        said = recommend(request)
        if isinstance(said, NoPlan):
            assert said.reasons
            continue
        assert check_plan(said, request) == ()
        assert faults(said, canal, SHELF) == set()


@settings(max_examples=25, deadline=None)
@given(inputs(), st.lists(steps(), min_size=1, max_size=4))
def test_asking_never_fails_and_never_shows_an_unsafe_plan(case, made):
    request, canal = case
    answer = ask_recommenders(
        request, recommenders={"third": lambda _: plan_of(made), "own": recommend_by_table}, time_limit_s=30.0
    )
    assert answer.reasons
    for plan in answer.plans:
        assert faults(plan, canal, SHELF) == set()
    json.dumps(answer_to_plain(answer), allow_nan=False)


@settings(max_examples=60, deadline=None)
@given(inputs(), st.lists(steps(), min_size=1, max_size=4))
def test_plans_and_requests_survive_json(case, made):
    request, _ = case
    plan = plan_of(made)
    again = plan_from_plain(json.loads(json.dumps(plan_to_plain(plan))))
    asked = request_from_plain(json.loads(json.dumps(request_to_plain(request))))
    assert again == plan
    assert check_plan(again, asked) == check_plan(plan, request)


@settings(max_examples=200, deadline=None)
@given(
    angle=st.floats(0.0, 100.0), radius=st.floats(1.0, 25.0), grows=st.floats(0.0, 20.0), narrows=st.floats(0.0, 5.0),
    start=st.floats(0.5, 7.9), reached=st.sampled_from((8, 10, 15)), visibility=st.sampled_from(("clear", "narrowed")),
)  # fmt: skip
def test_an_interval_never_leads_to_a_less_cautious_row(
    angle, radius, grows, narrows, start, reached, visibility
):
    options = {
        "radius_mm": radius, "curve_start_from_foramen_mm": start, "canal_length_mm": 12.0,
        "exploration": Exploration(working_length_mm=WL, reached_size=reached, visibility=visibility),
        "context": CaseContext(inventory=SHELF),
    }  # fmt: skip
    plain = row_of(what_if_request(angle_deg=angle, **options))
    doubted = row_of(
        what_if_request(
            angle_deg=angle,
            angle_interval_deg=(max(angle - grows, 0.0), angle + grows),
            radius_interval_mm=(max(radius - narrows, 0.5), radius + narrows),
            **options,
        )
    )
    assert SAFEST_FIRST.index(doubted) <= SAFEST_FIRST.index(plain)
