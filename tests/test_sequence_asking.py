"""Asking recommenders that cannot be trusted, and the documentation of rules and recommenders as written."""

from __future__ import annotations

import json
import re
import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest
from sequence_cases import END, GOOD, HAND, SHELF, WL, piece, plan, request, step

from curvometer.instruments import Instrument, Inventory
from curvometer.sequence import (
    PLANNING_CAUTIONS,
    SAFETY_RULES,
    NoPlan,
    PlanAdvice,
    PlanRequest,
    SequenceError,
    SequenceStep,
    answer_to_plain,
    ask_recommenders,
    installed_recommenders,
    load_recommender,
    step_share,
)

# --- Asking: broken recommenders are refused, the others still answer ----------------------------------------------


def good(_):
    return GOOD


def raises(_):
    raise ValueError("no idea")


def hangs(_):
    time.sleep(60.0)


def loops_for_ever(_):
    while True:
        pass


def returns_junk(_):
    return {"steps": ["drill"]}


def returns_nothing(_):
    return None


def ends_the_program(_):
    raise SystemExit(3)


def rotates_without_exploring(asked):
    return plan(step("rotary 20/.02", asked.working_length_mm))


def lies_about_numbers(_):
    tool = step("rotary 20/.02", strain_percent=0.01)
    return plan(step(HAND), tool, step(END))


def hides_junk_in_a_plan(_):
    made = plan(step(HAND), step("rotary 10/.02"), step(END))
    object.__setattr__(made.steps[1], "to_mm", "deep")
    return made


def changes_the_request(asked):
    object.__setattr__(asked.exploration, "blocked", False)
    object.__setattr__(asked, "scale_known", True)
    return GOOD


def never_ending_steps(_):
    class Endless(tuple):
        __slots__ = ()

        def __iter__(self):
            while True:
                yield GOOD.steps[0]

    made = plan(*GOOD.steps)
    object.__setattr__(made, "steps", Endless(GOOD.steps))
    return made


class SilentError(Exception):
    def __str__(self):
        raise RuntimeError


def fails_to_speak(_):
    raise SilentError


BROKEN = {
    raises: "failed with ValueError: no idea",
    hangs: "no answer within 0.2 s",
    loops_for_ever: "no answer within 0.2 s",
    returns_junk: "returned dict instead of a plan",
    returns_nothing: "returned NoneType instead of a plan",
    ends_the_program: "failed with SystemExit: 3",
    rotates_without_exploring: "no hand file goes to 21 mm at the end",
    lies_about_numbers: "the core computes",
    hides_junk_in_a_plan: "must be a finite number, found 'deep'",
    never_ending_steps: "more than 100 steps",
    fails_to_speak: "failed with SilentError",
}


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_one_that_is_over_its_time_is_ended_even_where_the_first_try_is_lost():
    """It swallows what stops it, ten times; left alone it would fill the memory."""
    swallowed = []

    def stubborn(_):
        while True:
            try:
                while True:
                    pass
            except SystemExit:
                swallowed.append(1)
                if len(swallowed) > 10:
                    raise

    ask_recommenders(request(), recommenders={"stubborn": stubborn, "good": good}, time_limit_s=0.2)
    until = time.monotonic() + 20.0
    while any(thread.name == "recommender" for thread in threading.enumerate()):
        assert time.monotonic() < until, "the recommender still runs"
        time.sleep(0.02)
    assert len(swallowed) == 11


# The one that never ends is stopped from outside, which may find it in the middle of collecting garbage.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("broken", BROKEN, ids=lambda each: each.__name__)
def test_a_broken_recommender_is_refused_and_the_others_answer(broken):
    answer = ask_recommenders(request(), recommenders={"broken": broken, "good": good}, time_limit_s=0.2)
    assert [made.recommender for made in answer.plans] == ["good"]
    assert answer.advice is PlanAdvice.PLAN
    (refusal,) = answer.refused
    assert refusal.recommender == "broken"
    assert BROKEN[broken] in " ".join(refusal.reasons)


def test_all_broken_still_gives_an_answer():
    found = {each.__name__: each for each in (raises, returns_junk, lies_about_numbers)}
    answer = ask_recommenders(request(), recommenders=found)
    assert (answer.plans, answer.advice, len(answer.refused)) == ((), PlanAdvice.REFER, 3)
    assert answer.reasons


def test_a_recommender_cannot_change_what_the_guard_knows():
    answer = ask_recommenders(request(blocked=True), recommenders={"sly": changes_the_request})
    assert answer.plans == ()
    assert "blocked-canal" in answer.refused[0].reasons[0]


def test_nobody_installed_gives_an_answer():
    answer = ask_recommenders(request(), recommenders={})
    assert (answer.advice, answer.plans) == (PlanAdvice.REFER, ())
    assert "No recommender is installed" in answer.reasons[0]


def test_the_core_s_numbers_and_the_installed_name_are_shown():
    (shown,) = ask_recommenders(request(), recommenders={"mine": good}).plans
    assert shown.recommender == "mine"
    assert shown.steps[1].budget_share == step_share(
        piece("rotary 10/.02"), WL, request(), speed_rpm=500.0, seconds=4.0
    )
    assert shown.steps[0].budget_share is None
    assert shown.steps[0].strain_percent > 0.0


def test_earlier_uses_are_told():
    used = replace(piece("rotary 10/.02"), uses=2, most_uses=5)
    shelf = Inventory(instruments=(*SHELF.instruments, used))

    def takes_the_used_one(_):
        return plan(step(HAND), step("rotary 10/.02", instrument=used), step(END))

    (shown,) = ask_recommenders(request(inventory=shelf), recommenders={"a": takes_the_used_one}).plans
    assert any("rotary 10/.02 was used 2 times before" in caution for caution in shown.cautions)


def test_cautions_of_the_core_cannot_be_left_out():
    made = replace(GOOD, cautions=("Mine.",))
    assert made.cautions == (*PLANNING_CAUTIONS, "Mine.")


def test_no_plan_is_an_answer():
    def declines(_):
        return NoPlan(rule="x", advice="hand only", reasons=("Too sharp.",))

    answer = ask_recommenders(request(), recommenders={"one": declines})
    assert (answer.advice, answer.reasons) == (PlanAdvice.HAND_ONLY, ("Too sharp.",))
    assert answer_to_plain(answer)["refused"] == [{"recommender": "one", "reasons": ["Too sharp."]}]


def test_above_the_operator_s_category_referral_comes_first():
    asked = replace(request(), referral="refer", referral_reasons=("refer: high",))
    answer = ask_recommenders(asked, recommenders={"good": good})
    assert answer.advice is PlanAdvice.REFER
    assert len(answer.plans) == 1
    assert "refer: high" in answer.reasons
    considered = replace(asked, referral="consider referral")
    answer = ask_recommenders(considered, recommenders={"good": good})
    assert answer.advice is PlanAdvice.PLAN
    assert "refer: high" in answer.reasons


def test_plans_with_a_motor_come_first():
    def by_hand(_):
        return plan(step(HAND), step(END))

    answer = ask_recommenders(request(), recommenders={"a": by_hand, "b": good})
    assert [made.recommender for made in answer.plans] == ["b", "a"]
    assert ask_recommenders(request(), recommenders={"a": by_hand}).advice is PlanAdvice.HAND_ONLY


@pytest.mark.parametrize("limit", [0.0, -1.0, float("nan"), float("inf")])
def test_time_limit_is_positive(limit):
    with pytest.raises(SequenceError):
        ask_recommenders(request(), time_limit_s=limit)


def test_answer_goes_to_json():
    plain = json.loads(
        json.dumps(answer_to_plain(ask_recommenders(request(), recommenders={"a": good, "b": raises})))
    )
    assert set(plain) == {"plans", "refused", "advice", "reasons"}
    first = plain["plans"][0]["steps"][1]
    assert first["instrument"] == {"kind": "rotary", "size": 10, "taper": 0.02}
    assert (first["to_mm"], first["speed_rpm"]) == (21.0, 500.0)
    assert 0.0 < first["budget_share"] < 0.5
    assert first["budget_share_range"][0] < first["budget_share"] < first["budget_share_range"][1]


def test_built_in_recommenders_are_installed():
    names = {each.name for each in installed_recommenders()}
    assert {"by-table", "hand-files"} <= names
    answer = ask_recommenders(request())
    assert {made.recommender for made in answer.plans} >= {"by-table", "hand-files"}
    assert load_recommender("by-table")(request()).rule == "R07"
    with pytest.raises(SequenceError, match="There is no recommender 'nobody'"):
        load_recommender("nobody")


def test_an_entry_point_that_cannot_be_imported_is_refused(monkeypatch, tmp_path):
    folder = tmp_path / "broken-1.0.dist-info"
    folder.mkdir()
    (folder / "METADATA").write_text("Metadata-Version: 2.1\nName: broken\nVersion: 1.0\n")
    (folder / "entry_points.txt").write_text("[curvometer.recommenders]\naa-broken = nowhere_at_all:plan\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    answer = ask_recommenders(request())
    (refusal,) = [r for r in answer.refused if r.recommender == "aa-broken"]
    assert "ModuleNotFoundError" in refusal.reasons[0]
    assert answer.advice is PlanAdvice.PLAN


def test_step_refuses_what_is_no_number():
    for junk in ({"to_mm": float("nan")}, {"to_mm": True}, {"seconds": "5"}, {"budget_share": 0.3}):
        with pytest.raises(SequenceError):
            step("rotary 10/.02", **junk)
    with pytest.raises(SequenceError):
        SequenceStep(instrument="file", to_mm=1.0, role="shape", motion="")


def test_plan_needs_steps_and_no_plan_needs_reasons():
    with pytest.raises(SequenceError):
        plan()
    with pytest.raises(SequenceError):
        NoPlan(rule="x", advice="refer", reasons=())
    with pytest.raises(SequenceError):
        NoPlan(rule="x", advice="plan", reasons=("x",))


def test_instrument_of_the_shelf_is_needed_whole():
    assert isinstance(piece(HAND), Instrument)
    assert isinstance(request(), PlanRequest)


# --- Documentation ----------------------------------------------------------------------------------------------

DOCS = Path(__file__).parents[1] / "docs" / "sequence"


@pytest.mark.parametrize("code", SAFETY_RULES)
def test_every_rule_has_a_page_with_its_words_and_sources(code):
    page = (DOCS / "rules" / f"{code}.md").read_text(encoding="utf-8")
    rule = SAFETY_RULES[code]
    assert rule.words in page
    for source in rule.sources:
        assert f"{source.citation}: **{source.how_read.value}**" in page
    assert f"rules/{code}.md" in (DOCS / "index.md").read_text(encoding="utf-8")


def test_there_is_no_page_without_a_rule():
    assert {page.stem for page in (DOCS / "rules").glob("*.md")} == set(SAFETY_RULES)


def test_recommender_in_a_dozen_lines_runs_as_written():
    page = (DOCS / "write_a_recommender.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"^```python\n(.*?)^```", page, flags=re.DOTALL | re.MULTILINE)
    body = [line for line in code.splitlines() if line.strip() and "import" not in line]
    assert len(body) <= 13
    names = {}
    exec(code, names)
    (made,) = ask_recommenders(request(), recommenders={"documented": names["ten_and_fifteen"]}).plans
    assert [each.instrument.name for each in made.steps] == ["hand 10/.02", "hand 15/.02"]
    bare = request(inventory=Inventory(instruments=(piece("rotary 10/.02"),)))
    assert ask_recommenders(bare, recommenders={"documented": names["ten_and_fifteen"]}).plans == ()
