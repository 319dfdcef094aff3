"""A plan and a log in words: nothing twice, every angle by its name, uses and shares added up."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import pytest

from curvometer import (
    PLANNING_CAUTIONS,
    CaseContext,
    Exploration,
    NextStepKind,
    Outcome,
    PlanAdvice,
    PlanEntry,
    Refusal,
    Treatment,
    ask_recommenders,
    begin_log,
    next_step,
    record_outcome,
    record_plan,
    request_after,
    step_share,
    what_if_request,
)
from curvometer_napari.log_words import (
    entry_words,
    glance_words,
    next_words,
    outcome_words,
    pieces_used,
    steps_done,
)
from curvometer_napari.plan_words import (
    advice_words,
    canal_words,
    own_words,
    plan_name,
    refused_words,
    row_words,
    shared_words,
    step_words,
    texts_of,
)
from curvometer_sequences import recommend_by_table, recommend_hand_files

NOON = dt.datetime(2026, 1, 31, 12, tzinfo=dt.UTC)


def request_of(angle=40.0, *, length=20.0, reached=8, **options):
    curve = {"radius_mm": 6.0, "curve_start_from_foramen_mm": 6.0} if angle else {}
    return what_if_request(
        angle_deg=angle,
        exploration=Exploration(working_length_mm=length, reached_size=reached),
        context=CaseContext(tooth=46, canal="MB"),
        **curve,
        **options,
    )


REQUEST = request_of()
ANSWER = ask_recommenders(REQUEST, recommenders={"table": recommend_by_table, "hand": recommend_hand_files})
PLAN = ANSWER.plans[0]


def treatment(*told: tuple[Outcome, float | None]) -> Treatment:
    log = begin_log(PLAN, REQUEST)
    for outcome, amount in told:
        log = record_outcome(PLAN, log, REQUEST, outcome=outcome, amount_mm=amount, who="AB", time=NOON)
    return Treatment(plan=PLAN, request=REQUEST, log=log)


TICK, SHORT, BROKE = (Outcome.REACHED, None), (Outcome.SHORT, 2.0), (Outcome.FRACTURED, None)


def test_the_angle_is_told_by_its_name_beside_the_other_one():
    """A plan says "above 30 degrees" of a canal whose Schneider angle is 23.4: both must be there, by name."""
    measured = SimpleNamespace(schneider_angle=SimpleNamespace(value=23.4))
    words = canal_words(replace(REQUEST, angle_interval_deg=(35.2, 44.8)), measured)
    assert words.startswith(
        "Planned with the central angle of the bend, 40.0° (35.2 to 44.8°); Schneider's angle"
    )
    assert "Schneider's angle of the same canal is 23.4°" in words
    assert "Smallest radius 6.0 mm." in words
    assert "The curve starts 14.0 mm deep." in words  # 20 - 6
    assert "Schneider" not in canal_words(REQUEST, None)


def test_straight_and_doubly_bent_canals_are_told_as_such():
    assert canal_words(request_of(0.0), None) == "No bend was found: planned as a straight canal."
    assert canal_words(request_of(s_shape=True), None).endswith("S-shaped.")
    assert canal_words(request_of(second_angle_deg=15.0), None).endswith("A second bend of 15.0°.")


def test_every_text_of_the_plan_is_told_and_none_twice():
    shared = dict(shared_words(PLAN))
    own = [own_words(PLAN, number) for number in range(len(PLAN.steps))]
    said = " ".join([*shared.values(), *(line for lines in own for line in lines)])
    assert next(iter(shared)) == "All steps"
    for text in PLAN.cautions:
        assert said.count(text) == (0 if text in PLANNING_CAUTIONS else 1)  # those stand above the plan, once
    for label, texts in (
        ("How", {step.motion for step in PLAN.steps}),
        ("Check", {step.check for step in PLAN.steps}),
    ):
        assert all(said.count(f"{label}: {text}") == 1 for text in texts)
        assert said.count(f"{label}: ") == len(texts)


def test_numbers_of_steps_are_counted_from_one_with_runs_shortened():
    assert [step.is_rotary for step in PLAN.steps] == [False, True, False, True, False, True, False]
    shared = dict(shared_words(PLAN))
    assert shared["Steps 1, 3, 5, 7"].startswith("How: pre-curved")
    assert shared["Steps 2, 4, 6"].startswith("How: 2 or 3 gentle strokes")
    assert "Steps 1 to 3" in dict(shared_words(ANSWER.plans[1]))
    assert all(len(each.steps) == len(set(each.steps)) for each in texts_of(PLAN))


def test_a_row_tells_depth_speed_strain_and_share():
    """By hand: 0.22 mm thick 6 mm from the tip in a radius of 6 mm, 0.22 / 12 = 1.8 %."""
    first, second = row_words(1, PLAN.steps[1], REQUEST).split("\n")
    assert first == "2  rotary 10/.02 to 20.0 mm = WL, 600 rpm"
    assert second.strip().startswith("strain 1.8 %; share of life ")
    assert second.endswith(str(PLAN.steps[1].budget_share))
    hand = row_words(0, PLAN.steps[0], REQUEST)
    assert "by hand" in hand
    assert "share" not in hand
    assert step_words(PLAN.steps[1], REQUEST).startswith(
        "Rotary 10/.02 to 20.0 mm = WL, 600 rpm, 5 s in the canal; strain"
    )


def test_advice_and_names():
    advice, *reasons = advice_words(ANSWER, REQUEST)
    assert advice == "Advice: a plan, below."
    assert reasons[0].startswith("R07")
    refer = replace(ANSWER, plans=(), advice=PlanAdvice.REFER, reasons=("too sharp",))
    assert advice_words(refer, REQUEST) == ("Advice: refer, or think again before any motor.", "Too sharp.")
    assert plan_name(PLAN) == "table, R07"


def test_reasons_of_the_grades_stand_in_one_sentence():
    """The panel tells them in full just above."""
    graded = replace(REQUEST, referral="consider referral", referral_reasons=("moderate by x", "hard by y"))
    answer = ask_recommenders(graded, recommenders={"table": recommend_by_table})
    assert set(graded.referral_reasons) <= set(answer.reasons)
    words = advice_words(answer, graded)
    assert words[-1] == "By the grades: consider referral. Their reasons stand under Grade."
    assert not any("by y" in each for each in words)
    assert len(words) == len(advice_words(ANSWER, REQUEST)) + 1


def test_who_has_no_plan_and_why_once():
    refused = (
        Refusal(recommender="a", reasons=("Too sharp.",)),
        Refusal(recommender="b", reasons=("it hangs",)),
    )
    answer = replace(ANSWER, plans=(), refused=refused, advice=PlanAdvice.REFER, reasons=("Too sharp.",))
    assert refused_words(answer) == ("No plan from a: the reason stands above.", "No plan from b: it hangs.")


def test_the_next_step_has_its_numbers():
    log = treatment(TICK)
    told = next_step(log.plan, log.log, log.request)
    assert (
        glance_words(told)
        == f"21 mm long, 5 s in the canal, strain 1.8 %, {told.step.budget_share} of its design life."
    )
    lines = next_words(told)
    assert any(line.startswith("How: 2 or 3 gentle strokes") for line in lines)
    assert any(line.startswith("Stop when: It binds") for line in lines)
    measure = treatment(TICK, TICK, TICK, TICK, TICK, TICK, TICK)
    told = next_step(measure.plan, measure.log, measure.request)
    assert told.kind is NextStepKind.RE_MEASURE
    assert (glance_words(told), next_words(told)) == ("", told.reasons)


def test_entries_in_a_line():
    log = treatment(TICK, SHORT).log
    assert entry_words(log.entries[0]).endswith("hand 08/.02 to 20.0 mm: reached, AB")
    assert entry_words(log.entries[1]).endswith("rotary 10/.02 to 20.0 mm: short by 2.0 mm, AB")
    none = PlanEntry(time=NOON, plan=None, advice=PlanAdvice.REFER, reasons=("Too sharp.",))
    assert entry_words(none).endswith("no new plan: refer")
    new = PlanEntry(time=NOON, plan=PLAN, advice=PlanAdvice.PLAN)
    assert entry_words(new).endswith("new plan, table, R07")


def test_words_on_the_buttons():
    kind = NextStepKind.PLAN_STEP
    assert outcome_words(Outcome.SHORT, kind, 1.5) == "Short by 1.5 mm"
    assert outcome_words(Outcome.REACHED, kind, 1.5) == "Reached"
    assert outcome_words(Outcome.REACHED, NextStepKind.RE_MEASURE, 1.5) == "Length is kept"
    assert outcome_words(Outcome.LOST_LENGTH, NextStepKind.RE_MEASURE, 0.5) == "Lost length, 0.5 mm"
    assert outcome_words(Outcome.FRACTURED, kind, 1.5) == "Fractured"


def test_uses_and_shares_add_up_per_instrument_over_all_logs():
    """By hand: two tries of the 10/.02 at length spend twice the share of one; a hand file is not counted."""
    one = treatment(TICK, TICK, TICK)
    step = PLAN.steps[1]
    share = step_share(step.instrument, step.to_mm, REQUEST, speed_rpm=600.0, seconds=5.0).value
    (used,) = pieces_used([one])
    assert (used.tries, used.failed) == (1, False)
    assert used.share == pytest.approx(share)
    assert str(used) == f"rotary 10/.02, 21 mm: used once, {100 * share:.1f} % of its design life"
    (twice,) = pieces_used([one, treatment(TICK, SHORT)])
    assert (twice.tries, twice.failed) == (2, True)
    assert twice.share == pytest.approx(2.0 * share)
    assert str(twice).endswith(", put away")
    assert pieces_used([treatment(TICK)]) == ()


def test_steps_done_are_those_of_the_plan_in_force():
    assert steps_done(treatment()) == 0
    assert steps_done(treatment(TICK, TICK, TICK)) == 3
    short = treatment(TICK, SHORT, TICK)  # the hand file that goes down again is none of the plan's steps
    assert steps_done(short) == 1
    asked = request_after(short.plan, short.log, short.request)
    answer = ask_recommenders(asked, recommenders={"hand": recommend_hand_files})
    log = record_plan(short.plan, short.log, short.request, answer=answer, time=NOON)
    assert steps_done(replace(short, log=log)) == 0
