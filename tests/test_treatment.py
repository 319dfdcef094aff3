"""The log at the chair and the next step: named cases, properties, and everything that cannot have happened."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import threading
from dataclasses import FrozenInstanceError, replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curvometer.instruments import Inventory, default_inventory
from curvometer.saving import SavingError, alone_with
from curvometer.sequence import (
    Exploration,
    PlanAdvice,
    PlanAnswer,
    SequencePlan,
    SequenceStep,
    check_plan,
    request_from_plain,
    request_to_plain,
    what_if_request,
)
from curvometer.treatment import (
    MOST_PLANS,
    NextStepKind,
    Outcome,
    PlanEntry,
    Treatment,
    TreatmentEntry,
    TreatmentError,
    TreatmentLog,
    begin_log,
    case_id,
    exploration_after,
    load_treatment,
    log_from_plain,
    log_to_plain,
    next_step,
    next_step_to_plain,
    plain,
    plan_in_force,
    record_outcome,
    record_plan,
    request_after,
    save_treatment,
    treatment_from_plain,
    treatment_to_plain,
)
from curvometer.treatment.findings import deepest_of
from curvometer.treatment.offering import decide
from curvometer.treatment.pieces import PieceUse
from curvometer.treatment.situation import start

NOON = dt.datetime(2026, 1, 31, 12, tzinfo=dt.UTC)
SHELF = default_inventory()


def shelf_piece(kind, size, taper=0.02, length=21):
    return next(item for item in SHELF.of(kind=kind, size=size, taper=taper) if item.length_mm == length)


def hand(size, depth=20.0):
    return SequenceStep(
        instrument=shelf_piece("hand", size), to_mm=depth, role="confirm", motion="", why="Because."
    )


def turned(size, depth=20.0, taper=0.02, role="shape", rpm=500.0):
    return SequenceStep(
        instrument=shelf_piece("rotary", size, taper),
        to_mm=depth,
        role=role,
        motion="",
        speed_rpm=rpm,
        seconds=4.0,
    )


def plan_of(*steps):
    return SequencePlan(recommender="test", rule="T1", steps=steps, ends_with="")


def request_of(reached=8, *, shelf=None, **found):
    """40 degrees, radius 6 mm, from 6 mm above the foramen, working length 20 mm."""
    request = what_if_request(
        angle_deg=40.0,
        radius_mm=6.0,
        curve_start_from_foramen_mm=6.0,
        exploration=Exploration(working_length_mm=20.0, reached_size=reached, **found),
    )
    return request if shelf is None else replace(request, inventory=shelf)


PLAN = plan_of(hand(8), turned(10), hand(10), turned(15), hand(15))
REQUEST = request_of()


def log_of(*told, plan=PLAN, request=REQUEST):
    """A log after outcomes like ``"reached"``, ``("short", 1.5)``, a plan, or advice without one."""
    log = begin_log(plan, request)
    for each in told:
        if isinstance(each, SequencePlan | PlanAnswer):
            log = record_plan(plan, log, request, answer=each, time=NOON)
        else:
            outcome, amount = (each, None) if isinstance(each, str) else each
            log = record_outcome(plan, log, request, outcome=outcome, amount_mm=amount, who="AB", time=NOON)
    return log


def after(*told, plan=PLAN, request=REQUEST):
    return next_step(plan, log_of(*told, plan=plan, request=request), request)


# What follows what.


def test_the_plan_is_offered_step_by_step_and_ends_with_a_measurement():
    told, offered = [], after()
    while not offered.ends:
        told.append((offered.kind.value, None if offered.step is None else offered.step.instrument.name))
        offered = after(*["reached"] * len(told))
    assert told == [
        ("step of the plan", "hand 08/.02"),
        ("step of the plan", "rotary 10/.02"),
        ("step of the plan", "hand 10/.02"),
        ("step of the plan", "rotary 15/.02"),
        ("step of the plan", "hand 15/.02"),
        ("re-measure", None),
    ]
    assert offered.kind is NextStepKind.DONE
    assert offered.reasons == ("The plan is carried out and hand size 15 is at working length.",)


def test_words_and_numbers_of_an_offered_step():
    offered = after("reached")
    assert offered.words == "Rotary 10/.02 to the working length, 20.0 mm at 500 rpm."
    assert offered.plan_step == 1
    assert offered.to_mm == 20.0
    assert offered.outcomes == tuple(Outcome)
    # Thickest part at the upper end of the arc, 6 mm from the tip: 0.22 / 12 = 1.83 %.
    assert offered.step.strain_percent == pytest.approx(1.83, abs=0.01)
    # N_d = (0.79 / 0.01833)^2 / 3 = 619 turns, 500 / 60 * 4 = 33.3: 5.4 %.
    assert offered.step.budget_share.value == pytest.approx(0.0538, abs=0.0005)
    assert "Of this piece's design life: 5 % with this step, at most 50." in offered.reasons
    assert after().words == "Hand 08/.02 to the working length, 20.0 mm."
    assert after(plan=plan_of(hand(8, 15.0))).words == "Hand 08/.02 to 15.0 mm."
    beyond = after(plan=plan_of(replace(hand(8, 20.5), instrument=shelf_piece("hand", 8, length=25))))
    assert beyond.words == "Hand 08/.02 to 20.5 mm, 0.5 mm beyond the working length."


@pytest.mark.parametrize(
    ("told", "kind", "words"),
    [
        (["fractured"], "stop and refer", "Stop."),
        ([("lost length", 0.5)], "stop and refer", "Stop."),
        ([("lost length", 0.49)], "hand file again", "Hand 06/.02"),
        # A size 8 was at length before, so falling short by 0.5 mm is lost length; by 0.4 mm it may be tried again.
        ([("short", 0.5)], "stop and refer", "Stop."),
        ([("short", 0.4)], "hand file again", "Hand 06/.02"),
        (["binding"], "hand file again", "Hand 06/.02"),
        (["deflected"], "hand file again", "Hand 06/.02"),
        (["deflected", "reached"], "step of the plan", "Hand 08/.02"),
        (["deflected", "deflected"], "hand file again", "Hand 06/.02"),
        (["deflected", "deflected", "deflected"], "stop and refer", "Stop."),
        (["deflected", "reached", "deflected", "reached", "deflected"], "stop and refer", "Stop."),
        # A rotary instrument that failed: the hand file, then a new plan where it fell short.
        (["reached", ("short", 2.0)], "hand file again", "Hand 08/.02"),
        (["reached", ("short", 2.0), "reached"], "re-plan", "Ask for a new plan"),
        (["reached", "binding", "reached"], "re-plan", "Ask for a new plan"),
        (["reached", "fractured"], "stop and refer", "Stop."),
        # Size 10 had never been at length: falling short is no loss.
        (["reached", "reached", ("short", 3.0)], "hand file again", "Hand 08/.02"),
        (["reached", "reached", ("short", 3.0), "reached", ("short", 3.0)], "re-plan", "Ask for a new plan"),
        (["reached", "reached", ("short", 3.0), "reached", ("short", 2.7)], "re-plan", "Ask for a new plan"),
        (["reached"] * 5 + [("lost length", 0.6)], "stop and refer", "Stop."),
        (["reached"] * 5 + [("lost length", 0.3)], "hand file again", "Hand 10/.02"),
        (["reached"] * 5 + [("lost length", 0.3), "reached"], "done", "Done"),
    ],
)
def test_what_follows(told, kind, words):
    offered = after(*told)
    assert (offered.kind.value, offered.words[: len(words)]) == (kind, words)


def test_a_rotary_piece_that_failed_is_put_away_and_a_fresh_one_taken():
    two_each = request_of(shelf=Inventory(instruments=2 * SHELF.instruments))
    offered = after("reached", "deflected", "reached", request=two_each)
    assert offered.step.instrument == shelf_piece("rotary", 10)
    assert offered.reasons[-1] == "Attempt 2 of at most 3."
    told = ["reached", "deflected", "reached", "deflected", "reached"]
    assert after(*told, request=two_each).kind is NextStepKind.RE_PLAN
    offered = after("reached", "deflected", "reached")  # the other pieces are longer: not of the same make
    assert offered.kind is NextStepKind.RE_PLAN
    assert "No rotary 10/.02 may be used again" in offered.reasons[0]


def test_a_hand_file_confirms_before_anything_else_is_rotated():
    """After a new plan that begins with a motor, while a hand file is still owed."""
    short_twice = ["reached", "reached", ("short", 2.0), ("short", 0.3), ("short", 0.3)]
    log = log_of(*short_twice[:3])
    assert next_step(PLAN, log, REQUEST).kind is NextStepKind.HAND_AGAIN
    told = ["reached", "reached", ("short", 2.0), ("short", 0.3)]
    assert after(*told).kind is NextStepKind.RE_PLAN
    new = plan_of(replace(turned(10), instrument=shelf_piece("rotary", 10, length=25)), hand(10))
    offered = after(*told, new)
    assert offered.kind is NextStepKind.HAND_AGAIN
    assert offered.reasons[0] == "A hand file confirms the depth before anything is rotated."
    assert after(*told, new, "reached").step.instrument.name == "rotary 10/.02"


def test_the_length_is_measured_after_a_preflare():
    plan = plan_of(turned(10, 11.0, 0.06, "preflare", 300.0), hand(8), hand(10))
    assert after("reached", plan=plan).kind is NextStepKind.PLAN_STEP
    offered = after("reached", "reached", plan=plan)
    assert offered.kind is NextStepKind.RE_MEASURE
    assert offered.outcomes == (Outcome.REACHED, Outcome.LOST_LENGTH)
    assert after("reached", "reached", "reached", plan=plan).step.instrument.name == "hand 10/.02"


def test_an_end_without_a_size_15():
    by_hand = plan_of(hand(8))
    assert after("reached", "reached", plan=by_hand).kind is NextStepKind.HAND_ONLY
    more = plan_of(hand(8), hand(10))
    assert after(*["reached"] * 3, plan=more).kind is NextStepKind.RE_PLAN
    none = request_of(0, explored_mm={8: 14.0})
    nowhere = plan_of(hand(8, 14.0))
    offered = after("reached", plan=nowhere, request=none)
    assert offered.kind is NextStepKind.STOP
    assert offered.reasons == ("The plan is carried out and no hand file has reached working length.",)


def test_a_new_plan_is_guarded_with_what_was_found():
    told = ["reached", ("short", 2.0), "reached"]
    with pytest.raises(TreatmentError, match=r"The plan is refused: .*\(on-the-shelf\)"):
        log_of(*told, PLAN)  # its rotary 10/.02 of 21 mm is put away
    new = plan_of(hand(8), hand(10), hand(15))
    log = log_of(*told, new)
    assert plan_in_force(PLAN, log) == new
    assert next_step(PLAN, log, REQUEST).words.startswith("Hand 08/.02")
    assert isinstance(log.entries[-1], PlanEntry)


def test_too_many_new_plans_end():
    one_file = plan_of(hand(8), turned(10), hand(8))
    told = ["reached", ("short", 2.0), "reached"]
    long = replace(turned(10), instrument=shelf_piece("rotary", 10, length=25))
    longest = replace(turned(10), instrument=shelf_piece("rotary", 10, length=31))
    for piece in (long, longest):
        told += [plan_of(piece, hand(8)), ("short", 2.0), "reached"]
    offered = after(*told, plan=one_file)
    assert offered.kind is NextStepKind.STOP
    assert f"{MOST_PLANS} new plans did not get there" in offered.reasons[0]


def test_five_failures_in_one_canal_end():
    hand_files = plan_of(hand(8), hand(10), hand(15))
    first_file, motor = ["deflected", "reached"] * 2 + ["reached"], ["binding", "reached"]
    told = [*first_file, *motor, hand_files, "deflected", "reached"]
    assert after(*told).kind is NextStepKind.PLAN_STEP
    offered = after(*told, "deflected")
    assert offered.reasons == ("5 attempts in this canal failed: take a radiograph and refer.",)


def test_the_guard_stands_before_every_offer():
    """No log leads there (the walk through all states shows it), so the state is made by hand."""
    begun = start(PLAN, REQUEST)
    lost = replace(begun, index=1, found=replace(REQUEST.exploration, reached_size=0))
    assert decide(lost).kind is NextStepKind.RE_PLAN
    assert decide(lost).reasons[0].startswith("rotary 10/.02 is not safe now: ")
    blocked = replace(begun, index=1, found=replace(REQUEST.exploration, blocked=True))
    assert decide(blocked).kind is NextStepKind.RE_PLAN
    assert decide(replace(begun, index=1)).kind is NextStepKind.PLAN_STEP


@pytest.mark.parametrize(
    ("advice", "kind"), [(PlanAdvice.HAND_ONLY, "hand only"), (PlanAdvice.REFER, "stop and refer")]
)
def test_no_new_plan_ends(advice, kind):
    answer = PlanAnswer(plans=(), refused=(), advice=advice, reasons=("Nothing fits.",))
    offered = after("reached", ("short", 2.0), "reached", answer)
    assert (offered.kind.value, offered.reasons, offered.outcomes) == (kind, ("Nothing fits.",), ())


# What the log tells.


def test_findings_grow_with_hand_files_only():
    request = request_of(0, explored_mm={8: 15.0})
    plan = plan_of(hand(6), hand(8), hand(10))
    found = exploration_after(request, log_of(("short", 1.0), plan=plan, request=request))
    assert dict(found.explored_mm) == {6: 19.0, 8: 15.0}
    assert found.size_at_length == 0
    found = exploration_after(
        request, log_of("reached", "reached", ("short", 2.0), plan=plan, request=request)
    )
    assert found.size_at_length == 8
    assert dict(found.explored_mm) == {6: 20.0, 8: 20.0, 10: 18.0}
    assert deepest_of(found, size=10) == 18.0
    rotated = exploration_after(REQUEST, log_of("reached", "reached"))
    assert rotated.size_at_length == 8


def test_binding_explores_as_deep_as_it_is_told_and_deflection_nothing():
    request, plan = request_of(0), plan_of(hand(8))
    log = begin_log(plan, request)
    bound = record_outcome(plan, log, request, outcome="binding", depth_mm=17.0, time=NOON)
    assert exploration_after(request, bound).explored_depth_mm == 17.0
    bent = record_outcome(plan, log, request, outcome="deflected", depth_mm=17.0, time=NOON)
    assert exploration_after(request, bent).explored_depth_mm == 0.0


def test_force_and_looseness_do_not_outlast_a_larger_file():
    request = request_of(10, forced=True)
    assert request.exploration.size_at_length == 8
    plan = plan_of(hand(10), hand(15))
    found = exploration_after(request, log_of("reached", plan=plan, request=request))
    assert (found.size_at_length, found.forced) == (10, False)
    loose = request_of(10, loose=True)
    assert exploration_after(loose, log_of("reached", plan=plan, request=loose)).loose
    assert not exploration_after(loose, log_of("reached", "reached", plan=plan, request=loose)).loose


def test_the_shelf_counts_uses():
    shelf = request_after(PLAN, log_of("reached", "reached"), REQUEST).inventory
    used = [item for item in shelf.of(kind="rotary", size=10, taper=0.02) if item.uses]
    assert [(item.length_mm, item.uses, item.is_spent) for item in used] == [(21, 1, True)]
    assert all(not item.uses for item in shelf.of(kind="hand"))


def test_shares_of_one_piece_add_up_and_half_is_the_end():
    piece = PieceUse(instrument=replace(shelf_piece("rotary", 10), most_uses=None))
    once = piece.used(0.3, put_away=False)
    assert once.can_take(0.2)
    assert not once.can_take(0.21)
    assert (once.now.uses, once.now.is_spent) == (1, False)
    assert once.used(0.21, put_away=False).now.is_spent
    assert piece.used(0.1, put_away=True).now.is_spent


# What cannot have happened.


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"outcome": "slipped"}, "There is no outcome 'slipped'; it is one of reached"),
        ({"outcome": "short"}, "Say how much it fell short, above 0 and at most 20 mm, found None"),
        ({"outcome": "short", "amount_mm": -1.0}, "must be a number of mm from 0 on, found -1.0"),
        ({"outcome": "short", "amount_mm": 21.0}, "above 0 and at most 20 mm, found 21.0"),
        ({"outcome": "short", "amount_mm": float("nan")}, "must be a number of mm from 0 on, found nan"),
        ({"outcome": "short", "amount_mm": "1"}, "must be a number of mm from 0 on, found '1'"),
        (
            {"outcome": "short", "amount_mm": 1.0, "depth_mm": 17.0},
            "Short by 1 mm of 20 mm is not 17 mm deep",
        ),
        ({"outcome": "lost length", "amount_mm": 0.0}, "Say how much length was lost, above 0"),
        ({"outcome": "reached", "amount_mm": 1.0}, "Reached takes no number of mm"),
        ({"outcome": "reached", "depth_mm": 18.0}, "At 18 mm it is 2 mm short; say short"),
        ({"outcome": "binding", "depth_mm": -2.0}, "The depth must be a number of mm from 0 on, found -2.0"),
        ({"outcome": "binding", "depth_mm": 20.5}, "deeper than the 20 mm that were wanted"),
        ({"outcome": "binding", "depth_mm": 25.0}, "deeper than the working length of 20 mm"),
        ({"outcome": "reached", "time": dt.datetime(2026, 1, 31)}, "needs its time with the time zone"),
        ({"outcome": "reached", "who": 7}, "Who did it must be text, found 7"),
    ],
)
def test_impossible_outcomes_are_one_sentence(options, sentence):
    log = begin_log(PLAN, REQUEST)
    with pytest.raises(TreatmentError) as caught:
        record_outcome(PLAN, log, REQUEST, **options)
    assert sentence in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_outcome_that_is_not_offered():
    with pytest.raises(
        TreatmentError, match=r"binding does not fit.*Measure the working length again.*reached, lost length"
    ):
        log_of(*["reached"] * 5, "binding")
    with pytest.raises(TreatmentError, match="nothing is tried now"):
        log_of("fractured", "reached")
    with pytest.raises(TreatmentError, match="A new plan was not asked for"):
        log_of(PLAN)


def test_a_log_of_another_plan():
    log = log_of("reached")
    other = plan_of(hand(8))
    with pytest.raises(TreatmentError, match="belongs to another plan"):
        next_step(other, log, REQUEST)
    with pytest.raises(TreatmentError, match="belongs to another plan"):
        next_step(PLAN, log, request_of(10))
    assert next_step(PLAN, log, request_from_plain(request_to_plain(REQUEST))) == next_step(
        PLAN, log, REQUEST
    )


def test_a_plan_that_the_guard_refuses_does_not_begin():
    unsafe = plan_of(turned(10))
    assert check_plan(unsafe, REQUEST)
    with pytest.raises(TreatmentError, match=r"The plan is refused: .*hand-confirms"):
        begin_log(unsafe, REQUEST)
    with pytest.raises(TreatmentError, match="The plan is refused"):
        next_step(unsafe, TreatmentLog(case_id=case_id(unsafe, REQUEST)), REQUEST)


def test_an_entry_that_was_never_offered_is_found():
    log = log_of("reached")
    skipped = TreatmentEntry(
        time=NOON,
        kind=NextStepKind.PLAN_STEP,
        plan_step=3,
        instrument=shelf_piece("rotary", 15),
        to_mm=20.0,
        outcome=Outcome.REACHED,
    )
    with pytest.raises(TreatmentError, match=r"Entry 2 of the log: rotary 15/.02 to 20 mm was not offered"):
        next_step(PLAN, log.appended(skipped), REQUEST)


@pytest.mark.parametrize(
    ("kind", "options"),
    [
        (TreatmentEntry, {"kind": "jump"}),
        (TreatmentEntry, {"to_mm": 0.0}),
        (TreatmentEntry, {"plan_step": -1}),
        (TreatmentEntry, {"instrument": "file"}),
        (PlanEntry, {"plan": None, "advice": "plan"}),
        (PlanEntry, {"plan": "R07", "advice": "plan"}),
        (PlanEntry, {"plan": None, "advice": "go on"}),
        (PlanEntry, {"plan": None, "advice": "refer", "reasons": "because"}),
        (TreatmentLog, {"case_id": "", "entries": ("reached",)}),
    ],
)
def test_entries_that_cannot_be(kind, options):
    tried = {
        "kind": "step of the plan",
        "plan_step": 0,
        "instrument": None,
        "to_mm": 20.0,
        "outcome": "reached",
    }
    base = {TreatmentEntry: {"time": NOON, **tried}, PlanEntry: {"time": NOON}, TreatmentLog: {}}[kind]
    with pytest.raises(TreatmentError):
        kind(**{**base, **options})


# JSON and files.


def treatment_of(*told):
    return Treatment(plan=PLAN, request=REQUEST, log=log_of(*told))


def test_a_file_holds_the_whole_treatment(tmp_path):
    new = plan_of(hand(8), hand(10), hand(15))
    treatment = treatment_of("reached", ("short", 2.0), "reached", new, "reached")
    save_treatment(treatment, tmp_path / "log.json")
    again = load_treatment(tmp_path / "log.json")
    assert again.log == treatment.log
    assert again.plan == PLAN
    assert next_step(again.plan, again.log, again.request) == next_step(PLAN, treatment.log, REQUEST)


def test_nothing_is_ever_taken_away_from_a_file(tmp_path):
    path = tmp_path / "log.json"
    save_treatment(treatment_of("reached"), path)
    save_treatment(treatment_of("reached", "reached"), path, overwrite=True)
    before = path.read_bytes()
    with pytest.raises(TreatmentError, match="none is ever taken away"):
        save_treatment(treatment_of("reached"), path, overwrite=True)
    with pytest.raises(TreatmentError, match="none is ever taken away"):
        save_treatment(treatment_of("reached", "deflected"), path, overwrite=True)
    other = plan_of(hand(8))
    with pytest.raises(TreatmentError, match="another treatment"):
        save_treatment(
            Treatment(plan=other, request=REQUEST, log=begin_log(other, REQUEST)), path, overwrite=True
        )
    assert path.read_bytes() == before
    assert [each.name for each in tmp_path.iterdir() if each.suffix != ".lock"] == ["log.json"]


def test_two_that_add_at_the_same_moment(tmp_path, monkeypatch):
    """B comes between A's look at the file and A's writing: it has to wait, and is then refused instead of lost."""
    path = tmp_path / "log.json"
    save_treatment(treatment_of("reached"), path)
    look = plain._check_goes_on
    refused, threads = [], []

    def save_b():
        try:
            save_treatment(treatment_of("reached", "deflected"), path, overwrite=True)
        except TreatmentError as error:
            refused.append(str(error))

    def look_and_let_b_come(*told):
        look(*told)
        if not threads:
            threads.append(threading.Thread(target=save_b))
            threads[0].start()
            threads[0].join(0.3)  # without a lock B would be done long before

    monkeypatch.setattr(plain, "_check_goes_on", look_and_let_b_come)
    save_treatment(treatment_of("reached", "reached"), path, overwrite=True)
    threads[0].join(30.0)
    assert "none is ever taken away" in refused[0]
    assert load_treatment(path).log == log_of("reached", "reached")


def test_a_file_that_another_program_holds(tmp_path, monkeypatch):
    path = tmp_path / "log.json"
    save_treatment(treatment_of("reached"), path)
    before = path.read_bytes()
    monkeypatch.setattr("curvometer.saving.LOCK_SECONDS", 0.05)
    with alone_with(path), pytest.raises(SavingError, match="held by another program"):
        save_treatment(treatment_of("reached", "reached"), path, overwrite=True)
    assert path.read_bytes() == before
    save_treatment(treatment_of("reached", "reached"), path, overwrite=True)


def _broken(change):
    plain = json.loads(json.dumps(log_to_plain(log_of("reached", ("short", 2.0)))))
    change(plain)
    return plain


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            lambda p: p.update(version=2),
            "has version 2, this program understands up to 1; update the program",
        ),
        (lambda p: p.update(version="1"), "has the version '1', which is none"),
        (lambda p: p.pop("version"), "has the version None"),
        (lambda p: p.update(entries={}), "no case_id or no entries"),
        (lambda p: p["entries"].insert(0, 7), "Entry 1 of the log: The entry must be an object, found 7"),
        (lambda p: p["entries"][1].update(time="noon"), "Entry 2 of the log: 'noon' is no time"),
        (lambda p: p["entries"][1].update(time="2026-01-31T12:00:00"), "needs its time with the time zone"),
        (lambda p: p["entries"][1].update(outcome="fine"), "There is no outcome 'fine'"),
        (lambda p: p["entries"][1].update(kind="jump"), "There is no action 'jump'"),
        (lambda p: p["entries"][1].update(extra=1), "Entry 2 of the log: It is no entry of this program"),
        (lambda p: p["entries"][1].update(instrument=3), "The instrument must be an object"),
        (
            lambda p: p["entries"][1].update(depth_mm=-1),
            "The depth must be a number of mm from 0 on, found -1",
        ),
        (lambda p: p["entries"][0].pop("to_mm"), "Entry 1 of the log: It is no entry of this program"),
    ],
)
def test_damaged_logs_are_one_sentence(change, sentence):
    with pytest.raises(TreatmentError) as caught:
        log_from_plain(_broken(change))
    assert sentence in str(caught.value)


@pytest.mark.parametrize("content", [b"", b"[]", b"{}", b"\xff\xfe", b'{"plan": NaN}', b"[" * 100_000])
def test_other_files_are_one_sentence(tmp_path, content):
    path = tmp_path / "log.json"
    path.write_bytes(content)
    with pytest.raises(TreatmentError, match=r"log\.json: "):
        load_treatment(path)
    with pytest.raises(TreatmentError, match="cannot be read"):
        load_treatment(tmp_path / "none.json")


def test_a_next_step_for_programs():
    plain = json.loads(json.dumps(next_step_to_plain(after("reached")), allow_nan=False))
    assert plain["kind"] == "step of the plan"
    assert plain["step"]["instrument"]["size"] == 10
    assert plain["outcomes"] == ["reached", "short", "binding", "deflected", "fractured", "lost length"]
    assert plain["sources"][0]["how_read"] == "common practice, no source"
    assert next_step_to_plain(after("fractured"))["ends"]


# Properties.

SAID = st.sampled_from(
    [
        *["reached"] * 3,
        "binding",
        "deflected",
        "fractured",
        *[("short", mm) for mm in (0.2, 1.5)],
        ("lost length", 0.2),
        ("lost length", 0.9),
    ]
)
BY_HAND = plan_of(hand(8), hand(10), hand(15))


def played(said):
    """A log of whatever fits, each outcome in its turn."""
    log = begin_log(PLAN, REQUEST)
    for each in said:
        offered = next_step(PLAN, log, REQUEST)
        if offered.kind is NextStepKind.RE_PLAN:
            log = record_plan(PLAN, log, REQUEST, answer=BY_HAND, time=NOON)
            continue
        outcome, amount = (each, None) if isinstance(each, str) else each
        if outcome in offered.outcomes:
            log = record_outcome(PLAN, log, REQUEST, outcome=outcome, amount_mm=amount, who="ä", time=NOON)
    return log


@settings(max_examples=60, deadline=None)
@given(st.lists(SAID, max_size=12))
def test_a_log_survives_json(said):
    log = played(said)
    assert log_from_plain(json.loads(json.dumps(log_to_plain(log), allow_nan=False))) == log


@settings(max_examples=40, deadline=None)
@given(st.lists(SAID, max_size=10), SAID)
def test_appending_never_changes_what_is_there(said, more):
    log = played(said)
    before, told = log.entries, json.dumps(log_to_plain(log))
    longer = played([*said, more])
    assert longer.entries[: len(before)] == before
    assert json.dumps(log_to_plain(log)) == told
    with pytest.raises(FrozenInstanceError):
        log.entries = ()
    with pytest.raises(TypeError):
        log.entries[0:1] = ()


@settings(max_examples=40, deadline=None)
@given(st.lists(SAID, max_size=10))
def test_the_next_step_depends_on_its_arguments_only(said):
    log = played(said)
    first = next_step(PLAN, log, REQUEST)
    next_step(PLAN, played([*said, "fractured"]), REQUEST)  # something else in between
    assert next_step(PLAN, log_from_plain(log_to_plain(log)), request_of()) == first


@settings(max_examples=60, deadline=None)
@given(st.lists(SAID, max_size=12))
def test_findings_never_fall(said):
    log = played(said)
    depths = [
        exploration_after(REQUEST, TreatmentLog(case_id=log.case_id, entries=log.entries[:n]))
        for n in range(len(log.entries) + 1)
    ]
    for one, other in pairwise(depths):
        assert other.explored_depth_mm >= one.explored_depth_mm
        assert other.size_at_length >= one.size_at_length


def test_a_log_from_before_the_request_named_its_angle_still_opens():
    """Such a log has a fingerprint of the plan and of a request without the kind of its angle and without Schneider's."""
    plain = treatment_to_plain(Treatment(plan=PLAN, request=REQUEST, log=begin_log(PLAN, REQUEST)))
    for name in ("angle_kind", "schneider_angle_deg"):
        plain["request"].pop(name)
    told = json.dumps([plain["plan"], plain["request"]], sort_keys=True)
    plain["log"]["case_id"] = hashlib.sha256(told.encode()).hexdigest()[:16]
    opened = treatment_from_plain(plain)
    assert opened.request.angle_deg == REQUEST.angle_deg
    assert opened.request.schneider_angle_deg is None
