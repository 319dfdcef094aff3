"""Plans as data, requests, and the guard: each rule alone."""

from __future__ import annotations

import json
from dataclasses import FrozenInstanceError, replace

import numpy as np
import pytest
from sequence_cases import END, GOOD, HAND, SHELF, WL, piece, plan, request, step

from curvometer.bibliography import REFERENCES, HowRead
from curvometer.instruments import Inventory
from curvometer.measurement import MeasurementFlag, Severity
from curvometer.mechanics import BudgetShare
from curvometer.radiograph import CurvometerError
from curvometer.sequence import (
    SAFETY_RULES,
    Exploration,
    SequenceError,
    SequencePlan,
    assumed_canal_length_mm,
    assumed_working_length_mm,
    check_plan,
    length_remark,
    plan_from_plain,
    plan_to_plain,
    request_from_plain,
    request_of_measurement,
    request_to_plain,
    step_share,
    step_strain,
    violation_to_plain,
    what_if_request,
    with_core_numbers,
)


def codes(*steps, **options):
    return sorted({violation.rule.code for violation in check_plan(plan(*steps), request(**options))})


# --- Values -----------------------------------------------------------------------------------------------------


def test_plan_is_frozen():
    with pytest.raises(FrozenInstanceError):
        GOOD.rule = "other"


def test_plan_survives_json_and_replays():
    full = with_core_numbers(
        replace(GOOD, sources=(REFERENCES["ajina-2022"],), reasons=("because",)), request()
    )
    again = plan_from_plain(json.loads(json.dumps(plan_to_plain(full))))
    assert again == full
    assert check_plan(again, request()) == ()


def test_a_request_of_another_angle_is_refused():
    plain = request_to_plain(request())
    assert plain["angle_kind"] == "central"
    with pytest.raises(SequenceError, match=r"'schneider'; a plan needs the central angle"):
        request_from_plain({**plain, "angle_kind": "schneider"})
    before = {
        name: value for name, value in plain.items() if name not in ("angle_kind", "schneider_angle_deg")
    }
    assert request_from_plain(before).angle_deg == plain["angle_deg"]


def test_request_survives_json():
    asked = replace(
        request(explored_mm={8: 17.5}, loose=True, operator="general"),
        grades=(("aae-2022", "high"),), referral="refer", referral_reasons=("high",),
        angle_interval_deg=(35.0, 44.0), tooth=46, canal="MB",
    )  # fmt: skip
    plain = json.loads(json.dumps(request_to_plain(asked)))
    again = request_from_plain(plain)
    assert request_to_plain(again) == plain
    assert again.exploration == asked.exploration
    assert hash(again.exploration) == hash(asked.exploration)
    assert again.inventory == asked.inventory
    np.testing.assert_array_equal(again.curve.curvature_per_mm, asked.curve.curvature_per_mm)
    assert check_plan(GOOD, again) == ()


@pytest.mark.parametrize(
    "damage",
    [
        lambda p: p.update(format=2),
        lambda p: p.pop("steps"),
        lambda p: p.update(steps=[]),
        lambda p: p.update(steps=[3]),
        lambda p: p.update(colour="blue"),
        lambda p: p["steps"][0].update(to_mm="deep"),
        lambda p: p["steps"][0].update(role="push"),
        lambda p: p["steps"][0]["instrument"].update(size=7),
        lambda p: p["steps"][0]["instrument"].update(taper=2),
        lambda p: p["steps"][0].update(instrument=None),
        lambda p: p["steps"][1].update(budget_share=0.1, budget_share_range=[1, 2, 3]),
        lambda p: p.update(sources=[{"how_read": "dreamt"}]),
    ],
)
def test_damaged_plan_is_refused_in_a_sentence(damage):
    plain = plan_to_plain(GOOD)
    damage(plain)
    with pytest.raises(CurvometerError) as caught:
        plan_from_plain(plain)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "junk", [None, [], "plan", {"format": 1}, {"format": 1, "exploration": {}, "inventory": {}}]
)
def test_damaged_request_is_refused_in_a_sentence(junk):
    with pytest.raises(SequenceError):
        request_from_plain(junk)


BAD_EXPLORATIONS = {
    "size": {"reached_size": 7},
    "truth value": {"reached_size": True},
    "too short": {"working_length_mm": 11.9},
    "too long": {"working_length_mm": 33.1},
    "not a number": {"working_length_mm": float("nan")},
    "text": {"working_length_mm": "21"},
    "visibility": {"visibility": "foggy"},
    "explored size": {"explored_mm": {7: 12.0}},
    "explored beyond": {"explored_mm": {8: 22.0}},
    "explored list": {"explored_mm": [8, 12.0]},
    "apex": {"apex_opening_mm": -1.0},
    "blocked": {"blocked": "yes"},
    "loose by force": {"loose": True, "forced": True},
    "operator": {"operator": "wizard"},
}


@pytest.mark.parametrize("name", BAD_EXPLORATIONS)
def test_impossible_findings(name):
    with pytest.raises(SequenceError):
        Exploration(**{"working_length_mm": 21.0, "reached_size": 8, **BAD_EXPLORATIONS[name]})


@pytest.mark.parametrize(("reached", "counts"), [(0, 0), (6, 0), (8, 6), (10, 8), (15, 10), (20, 15)])
def test_a_forced_file_counts_as_the_next_smaller(reached, counts):
    found = Exploration(working_length_mm=21.0, reached_size=reached, forced=True)
    assert found.size_at_length == counts
    assert found.explored_depth_mm == (21.0 if counts else 0.0)


BAD_WHAT_IFS = {
    "angle": {"angle_deg": 181.0},
    "no radius": {"radius_mm": None},
    "no start": {"curve_start_from_foramen_mm": None},
    "start beyond": {"curve_start_from_foramen_mm": 21.0},
    "canal too short": {"canal_length_mm": 4.0},
    "canal too long": {"canal_length_mm": 23.0},
    "no length": {"exploration": Exploration()},
    "second bend without a first": {"angle_deg": 0.0, "s_shape": True},
    "interval": {"angle_interval_deg": (50.0, 30.0)},
    "negative radius": {"radius_mm": -1.0},
}


@pytest.mark.parametrize("name", BAD_WHAT_IFS)
def test_impossible_what_if(name):
    good = {
        "angle_deg": 40.0, "radius_mm": 5.0, "curve_start_from_foramen_mm": 5.0,
        "exploration": Exploration(working_length_mm=21.0),
    }  # fmt: skip
    with pytest.raises(CurvometerError):
        what_if_request(**{**good, **BAD_WHAT_IFS[name]})


def test_unknown_tooth_and_canal():
    with pytest.raises(CurvometerError, match="46 has no canal 'P'"):
        replace(request(), tooth=46, canal="P")
    with pytest.raises(CurvometerError, match="99 is no tooth"):
        replace(request(), tooth=99)


def test_unusual_length_is_asked_about():
    """Tooth 46 is 21.0 mm on average: 16.5 to 26.0."""
    assert length_remark(46, 16.5) is None
    assert "unusual for tooth 46" in length_remark(46, 26.1)
    assert length_remark(85, 30.0) is None
    assert length_remark(None, 30.0) is None


def test_what_if_arc_that_is_too_long_ends_at_the_foramen():
    """60 degrees of radius 8 are 8.4 mm; from 5 mm on only 5 fit. The strain, at the start of the curve, stays."""
    found = request((60.0, 8.0, 5.0))
    assert found.curve.curvature_per_mm.max() == pytest.approx(1 / 8)
    assert step_strain(piece("rotary 10/.02"), WL, found).value == pytest.approx(0.20 / 16)


def test_an_s_without_a_second_angle_is_as_sharp_above():
    """90 degrees of radius 2 from 4 mm on: the second arc reaches to 7.1 mm, where a 10/.02 is .243 mm thick."""
    found = what_if_request(
        angle_deg=90.0,
        radius_mm=2.0,
        curve_start_from_foramen_mm=4.0,
        canal_length_mm=12.0,
        s_shape=True,
        exploration=Exploration(working_length_mm=WL),
    )
    assert step_strain(piece("rotary 10/.02"), WL, found).percent == pytest.approx(6.07, abs=0.01)


def test_assumed_lengths():
    assert assumed_canal_length_mm(21.0) == 12.0
    assert assumed_canal_length_mm(14.0) == 7.0
    assert assumed_canal_length_mm(21.0, curve_start_from_foramen_mm=15.0) == 15.0
    assert assumed_working_length_mm(12.0) == 21.0
    assert assumed_working_length_mm(2.0) == 12.0


def test_request_of_a_measurement(make_known_case):
    """One arc of 40 degrees and radius 6."""
    measurement = make_known_case().measurement
    found = request_of_measurement(measurement, Exploration(working_length_mm=25.0, reached_size=8))
    assert found.angle_deg == pytest.approx(40.0, abs=2.0)
    assert found.radius_mm == pytest.approx(6.0, abs=0.2)
    assert found.angle_interval_deg[0] <= found.angle_deg <= found.angle_interval_deg[1]
    assert found.schneider_angle_deg == measurement.schneider_angle.value
    assert found.scale_known
    assert found.curve.length_mm == pytest.approx(measurement.canal_length.value, abs=0.01)
    doubt = MeasurementFlag(code="trace_left_ridge", severity=Severity.DO_NOT_TRUST, text="Left.")
    doubted = request_of_measurement(replace(measurement, flags=(doubt,)), found.exploration)
    assert not doubted.exploration.trace_accepted


def test_request_without_a_scale(make_known_case):
    measurement = make_known_case(mm_per_pixel=None).measurement
    found = request_of_measurement(measurement, Exploration(working_length_mm=25.0, reached_size=8))
    assert found.curve is None
    assert not found.scale_known
    assert "scale-and-tracing" in {v.rule.code for v in check_plan(GOOD, found)}


# --- The guard: each rule alone ----------------------------------------------------------------------------------


def test_a_good_plan_passes():
    assert check_plan(GOOD, request()) == ()


def test_every_rule_has_sources_or_says_practice():
    for code, rule in SAFETY_RULES.items():
        assert rule.code == code
        assert rule.sources
        assert rule.words.endswith(".")
        published = [s for s in rule.sources if s.how_read is not HowRead.COMMON_PRACTICE]
        assert published or "common practice" in rule.standing


RULE_CASES = [
    ("scale-and-tracing", ["rotary 10/.02"], {"image_rejected": True}),
    ("scale-and-tracing", ["rotary 10/.02"], {"trace_accepted": False}),
    ("blocked-canal", ["rotary 10/.02"], {"blocked": True}),
    ("blocked-canal", ["rotary 10/.02"], {"split": True}),
    ("open-apex", ["rotary 10/.02"], {"apex_opening_mm": 1.01}),
    ("primary-tooth", ["rotary 10/.02"], {"primary_tooth": True}),
    ("length-after-six-or-eight", ["rotary 10/.02"], {"reached_size": 0}),
    ("length-after-six-or-eight", ["rotary 10/.02"], {"reached_size": 6, "forced": True}),
    ("small-taper", ["rotary 10/.04"], {"curve": (40.0, 4.0, 3.0)}),
    ("small-taper", ["rotary 10/.04"], {"s_shape": True}),
    ("small-taper", ["rotary 10/.04"], {"second_angle_deg": 10.0}),
    ("hand-confirms", ["rotary 10/.02", "rotary 15/.02"], {}),
]


@pytest.mark.parametrize(("code", "names", "found"), RULE_CASES)
def test_rule_alone(code, names, found):
    assert codes(step(HAND), *(step(name) for name in names), step(END), **found) == [code]


@pytest.mark.parametrize(
    ("names", "found"),
    [
        (["rotary 10/.02"], {"apex_opening_mm": 1.0}),
        (["rotary 10/.02"], {"reached_size": 6}),
        (["rotary 10/.04"], {"curve": (40.0, 4.01, 3.0)}),
        (["rotary 10/.04"], {"second_angle_deg": 9.9, "curve": (40.0, 8.0, 3.0)}),
        (["rotary 10/.02", "hand 10/.02", "rotary 15/.02"], {}),
        (
            ["hand 10/.02"],
            {"blocked": True, "image_rejected": True, "apex_opening_mm": 3.0, "primary_tooth": True},
        ),
    ],
)
def test_at_the_limit_and_by_hand_it_passes(names, found):
    assert codes(step(HAND), *(step(name) for name in names), step(END), **found) == []


def test_deeper_than_explored():
    """Size 8 went 15 mm: a rotary instrument may go there, not 0.1 mm further; a hand step before it counts."""
    found = {"reached_size": 0, "explored_mm": {8: 15.0}}
    assert codes(step("rotary 10/.02", 15.0), step(HAND, 15.0), **found) == []
    assert codes(step("rotary 10/.02", 15.1), step(HAND, 15.1), **found) == ["hand-first"]
    assert codes(step(HAND, 15.1), step("rotary 10/.02", 15.1), step(HAND, 15.1), **found) == []


def test_into_the_curve_only_after_length():
    """The curve starts at 16 mm: explored or not, nothing rotates in it before size 6 or 8 is at length."""
    found = {"reached_size": 0, "explored_mm": {8: 20.0}}
    assert codes(step("rotary 10/.02", 16.0), step(HAND, 16.0), **found) == []
    assert codes(step("rotary 10/.02", 16.1), step(HAND, 16.1), **found) == ["length-after-six-or-eight"]


def test_hand_file_at_the_end_and_as_deep():
    assert codes(step(HAND), step("rotary 10/.02")) == ["hand-confirms"]
    assert codes(step(HAND), step("rotary 10/.02"), step(END, 20.0)) == ["hand-confirms"]
    assert codes(step(HAND), step("rotary 10/.02"), step(END), step(HAND, 15.0)) == ["hand-confirms"]


def test_preflare_is_what_a_step_does():
    """The curve starts at 16 mm: a taper .06 stops at 14, whatever the plan calls it."""
    for role in ("preflare", "shape", "confirm"):
        assert codes(step(HAND), step("rotary 10/.06", 14.0, role=role), step(END)) == []
        assert codes(step(HAND), step("rotary 10/.06", 14.1, role=role), step(END)) == ["preflare-distance"]
    assert codes(step(HAND), step("rotary 10/.02", 15.0), step(END)) == []


def test_a_tip_at_length_is_no_preflare():
    """The curve starts 0.001 mm from the foramen: a taper .04 to length is as deep as it goes."""
    assert codes(step(HAND), step("rotary 10/.04"), step(END), curve=(20.0, 50.0, 0.001)) == []


def test_budget_is_computed_by_the_core():
    """20/.02 in 90 degrees of radius 2: 50 turns of 42 design cycles, 120 %; told as 1 % it is untrue as well."""
    told = BudgetShare(value=0.01, lower=0.0, upper=0.02, cycles=50.0)
    sharp = {"curve": (90.0, 2.0, 4.142)}
    tool = {"speed_rpm": 600.0, "seconds": 5.0}
    honest = (step(HAND), step("rotary 20/.02", **tool), step(END))
    assert codes(*honest, **sharp) == ["budget-share"]
    lying = (step(HAND), step("rotary 20/.02", budget_share=told, strain_percent=0.1, **tool), step(END))
    assert codes(*lying, **sharp) == ["budget-share", "true-numbers"]
    share = step_share(piece("rotary 20/.02"), WL, request(**sharp), speed_rpm=600.0, seconds=5.0)
    assert 100 * share.value == pytest.approx(120.0, abs=0.5)


def test_time_near_zero_is_charged_as_three_seconds():
    """Same case: 3 s are 30 turns of 42."""
    hasty = step("rotary 20/.02", speed_rpm=600.0, seconds=0.01)
    assert codes(step(HAND), hasty, step(END), curve=(90.0, 2.0, 4.142)) == ["budget-share"]


def test_one_piece_used_twice_adds_up():
    """Two steps of 30 % each in one piece: 60 %; with two pieces on the shelf, 30 % each."""
    tool = {"speed_rpm": 500.0, "seconds": 8.0}
    sharp = (40.0, 3.5, 3.44)
    twice = [step(HAND), step("rotary 15/.02", **tool), step(HAND), step("rotary 15/.02", **tool), step(END)]
    assert codes(*twice, curve=sharp) == ["budget-share"]
    more = Inventory(instruments=(*SHELF.instruments, piece("rotary 15/.02")))
    assert codes(*twice, curve=sharp, inventory=more) == []


@pytest.mark.parametrize("speed", [None, 249.0, 901.0, -300.0, 1e9])
def test_speed_outside_the_maker_s_limits(speed):
    assert "speed-limits" in codes(step(HAND), step("rotary 10/.02", speed_rpm=speed), step(END))


@pytest.mark.parametrize("seconds", [None, 0.0, -5.0])
def test_time_is_needed(seconds):
    assert "speed-limits" in codes(step(HAND), step("rotary 10/.02", seconds=seconds), step(END))


def test_hand_file_has_no_speed():
    assert codes(step(HAND, speed_rpm=300.0), step(END)) == ["speed-limits"]


def test_shelf():
    stranger = replace(piece("rotary 10/.02"), speed_rpm=(100.0, 5000.0))
    assert codes(step(HAND), step("rotary 10/.02", instrument=stranger), step(END)) == ["on-the-shelf"]
    used = replace(piece("rotary 10/.02"), uses=1)
    spent = Inventory(instruments=(*SHELF.instruments, used))
    assert codes(step(HAND), step("rotary 10/.02", instrument=used), step(END), inventory=spent) == [
        "on-the-shelf"
    ]
    short = piece(HAND, length=19.0)
    assert short.length_mm == 21
    assert codes(step(HAND, instrument=short), step(END)) == ["on-the-shelf"]
    assert codes(step(HAND, 20.0, instrument=short), step(END)) == []


def test_beyond_the_working_length():
    assert codes(step(HAND, 21.9), step(END)) == []
    assert codes(step(HAND, 22.1), step(END)) == ["within-the-canal"]
    assert "within-the-canal" in codes(step(HAND), step("rotary 10/.02", 21.1), step(END, 21.1))
    assert codes(step(HAND, 0.0), step(END)) == ["within-the-canal"]


def test_numbers_that_are_told_must_not_be_smaller():
    true = with_core_numbers(GOOD, request()).steps[1]
    assert codes(step(HAND), true, step(END)) == []
    flattered = replace(true, strain_percent=0.5 * true.strain_percent)
    assert codes(step(HAND), flattered, step(END)) == ["true-numbers"]
    wary = replace(true, strain_percent=2.0 * true.strain_percent)
    assert codes(step(HAND), wary, step(END)) == []


def test_radius_told_smaller_than_the_curve_counts_and_the_other_way_round():
    kind = request((40.0, 8.0, 3.0))
    told = plan(step(HAND), step("rotary 10/.04"), step(END))
    assert check_plan(told, kind) == ()
    assert {v.rule.code for v in check_plan(told, replace(kind, radius_mm=4.0))} == {"small-taper"}
    flattered = replace(request((40.0, 4.0, 3.0)), radius_mm=20.0)
    assert {v.rule.code for v in check_plan(told, flattered)} == {"small-taper"}


def test_only_true_plans_are_checked():
    class Trojan(SequencePlan):
        pass

    trojan = Trojan(recommender="x", rule="x", steps=GOOD.steps, ends_with="")
    for junk in (None, "plan", {"steps": []}, trojan):
        with pytest.raises(SequenceError):
            check_plan(junk, request())


def test_violation_speaks_and_goes_to_json():
    (found,) = check_plan(plan(step(HAND), step("rotary 10/.02"), step(END)), request(blocked=True))
    assert str(found) == "step 2: the canal is blocked; plan no rotary instrument (blocked-canal)"
    plain = json.loads(json.dumps(violation_to_plain(found)))
    assert plain["how_read"] == ["common practice, no source"]
