"""The built-in recommenders: every row of the decision table, its edges, the shelf, and an exhaustive grid."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest
from sequence_cases import END, HAND, plan, step
from sequence_recheck import Canal, faults, share

from curvometer.bibliography import HowRead
from curvometer.instruments import Instrument, Inventory, default_inventory
from curvometer.mechanics import curve_of_arcs, curve_of_one_arc
from curvometer.sequence import (
    CaseContext,
    Exploration,
    NoPlan,
    PlanAdvice,
    PlanRequest,
    SequencePlan,
    check_plan,
    what_if_request,
    with_core_numbers,
)
from curvometer_sequences import recommend_by_table, recommend_hand_files
from curvometer_sequences.rows import SAFEST_FIRST, is_kink, row_near_by, row_of

FOUND = (
    "working_length_mm",
    "reached_size",
    "loose",
    "forced",
    "visibility",
    "blocked",
    "apex_opening_mm",
    "split",
)
FOUND += ("primary_tooth", "image_rejected", "trace_accepted", "explored_mm")
SHELF = default_inventory()


def case(inventory=SHELF, **options):
    """Size 8 at 21 mm in a canal of 12 mm; a curve starts 5 mm from the foramen unless said otherwise."""
    found = {name: options.pop(name) for name in FOUND if name in options}
    found = {"working_length_mm": 21.0, "reached_size": 8, **found}
    options = {"curve_start_from_foramen_mm": 5.0, "canal_length_mm": 12.0, **options}
    return what_if_request(
        exploration=Exploration(**found), context=CaseContext(inventory=inventory), **options
    )


def told(plan):
    """(name, depth, speed) of each step."""
    return [(step.instrument.name, step.to_mm, step.speed_rpm) for step in plan.steps]


def rotary(plan):
    return [step.instrument.name.removeprefix("rotary ") for step in plan.steps if step.is_rotary]


def without(*shapes, inventory=SHELF):
    """The shelf without some (kind, size, taper)."""
    kept = [i for i in inventory.instruments if (str(i.kind), i.size, i.taper) not in shapes]
    return Inventory(instruments=tuple(kept))


# --- The two rows that are stated as common practice --------------------------------------------------------


def test_severe_curve_with_wide_radius_comes_out_exactly():
    """45 degrees, radius 5, 1 mm straight below: hand 8, rotary 10, 15, 20 of taper .02 at 600 rpm, hand between, hand 15.

    Strains and shares as derived by hand: d = D0 + .02 (1 + 5 pi/4), d/10, 50 turns over (0.79/strain)^2 / 3.
    """
    request = case(angle_deg=45, radius_mm=5.0, curve_start_from_foramen_mm=4.927)
    plan = recommend_by_table(request)
    assert plan.rule == "R07"
    assert told(plan) == [
        ("hand 08/.02", 21.0, None),
        ("rotary 10/.02", 21.0, 600.0),
        ("hand 10/.02", 21.0, None),
        ("rotary 15/.02", 21.0, 600.0),
        ("hand 10/.02", 21.0, None),
        ("rotary 20/.02", 21.0, 600.0),
        ("hand 15/.02", 21.0, None),
    ]
    numbered = with_core_numbers(plan, request)
    shares = [100 * step.budget_share.value for step in numbered.steps if step.is_rotary]
    assert shares == pytest.approx([9.5, 14.8, 21.4], abs=0.06)
    assert [step.strain_percent for step in numbered.steps if step.is_rotary] == pytest.approx(
        [1.985, 2.485, 2.985], abs=0.001
    )
    assert "stop at rotary 15/.02" in plan.steps[5].stop_when
    assert check_plan(plan, request) == ()


def test_size_20_is_left_out_above_a_quarter_of_its_budget():
    """Radius 4.4: d at 4.9 mm is .298, strain 3.39 %, 50 turns of 181: 27.6 %, above 25 but below 50."""
    plan = recommend_by_table(case(angle_deg=45, radius_mm=4.4, curve_start_from_foramen_mm=4.9))
    assert plan.rule == "R07"
    assert rotary(plan) == ["10/.02", "15/.02"]
    assert told(plan)[-1] == ("hand 15/.02", 21.0, None)
    assert any("rotary 20/.02 is left out" in reason for reason in plan.reasons)


def test_narrow_and_gentle_canal_comes_out_exactly():
    """15 degrees, radius 14, 2 mm straight below: hand 8, rotary 10/.02 and 10/.04 at 900 rpm, hand 15; 3.3 and 7.8 %."""
    request = case(angle_deg=15, radius_mm=14.0, curve_start_from_foramen_mm=5.665)
    plan = recommend_by_table(request)
    assert plan.rule == "R05"
    assert told(plan) == [
        ("hand 08/.02", 21.0, None),
        ("rotary 10/.02", 21.0, 900.0),
        ("hand 10/.02", 21.0, None),
        ("rotary 10/.04", 21.0, 900.0),
        ("hand 15/.02", 21.0, None),
    ]
    shares = [100 * s.budget_share.value for s in with_core_numbers(plan, request).steps if s.is_rotary]
    assert shares == pytest.approx([3.3, 7.8], abs=0.06)
    assert "1.25 mm short" in plan.steps[-1].if_short
    assert "rotary 15/.02 step at 600 rpm" in plan.steps[-1].if_short
    assert "1 to 2 mm" in plan.steps[1].motion
    assert check_plan(plan, request) == ()


@pytest.mark.parametrize(
    "options", [{"angle_deg": 45, "radius_mm": 5.0}, {"angle_deg": 15, "radius_mm": 14.0}], ids=["R07", "R05"]
)
def test_practice_is_marked_as_practice(options):
    plan = recommend_by_table(case(**options))
    assert plan.sources[0].how_read is HowRead.COMMON_PRACTICE
    assert "common practice, no source" in plan.reasons[0]
    assert any("Flutes are wiped" in c and "used once" in c for c in plan.cautions)
    assert any("500 rpm" in c and "6 or 8 hand file reaches length" in c for c in plan.cautions)


# --- Every row, at, below and above each limit ----------------------------------------------------------------

ROW_CASES = [
    ("R18", {"angle_deg": 20, "radius_mm": 6, "image_rejected": True}),
    ("R18", {"angle_deg": 20, "radius_mm": 6, "trace_accepted": False}),
    ("R18", {"angle_deg": 20, "radius_mm": 6, "primary_tooth": True}),
    ("R15", {"angle_deg": 20, "radius_mm": 6, "apex_opening_mm": 1.01, "blocked": True}),
    ("R13", {"angle_deg": 20, "radius_mm": 6, "apex_opening_mm": 1.0, "blocked": True, "reached_size": 0}),
    ("R14", {"angle_deg": 20, "radius_mm": 6, "reached_size": 0, "split": True}),
    ("R14", {"angle_deg": 20, "radius_mm": 6, "reached_size": 6, "forced": True}),
    ("R17", {"angle_deg": 20, "radius_mm": 6, "reached_size": 6, "split": True}),
    ("R17", {"angle_deg": 20, "radius_mm": 6, "reached_size": 8, "forced": True}),
    ("R16", {"angle_deg": 20, "radius_mm": 2, "split": True}),
    ("R09", {"angle_deg": 20, "radius_mm": 2.49, "s_shape": True}),
    ("R08", {"angle_deg": 20, "radius_mm": 2.5}),
    ("R08", {"angle_deg": 19.9, "radius_mm": 2.4}),
    ("R10", {"angle_deg": 30, "radius_mm": 4.5, "s_shape": True}),
    ("R10", {"angle_deg": 30, "radius_mm": 4.5, "second_angle_deg": 10}),
    ("R06", {"angle_deg": 30, "radius_mm": 4.5, "second_angle_deg": 9.9}),
    ("R08", {"angle_deg": 40, "radius_mm": 4.0}),
    ("R07", {"angle_deg": 40, "radius_mm": 4.01}),
    ("R08", {"angle_deg": 10, "radius_mm": 4.0}),
    ("R05", {"angle_deg": 9.9, "radius_mm": 4.0}),
    ("R11", {"angle_deg": 25, "radius_mm": 8.1, "curve_start_from_foramen_mm": 8.1}),
    ("R06", {"angle_deg": 25, "radius_mm": 8.1, "curve_start_from_foramen_mm": 7.9}),
    ("R12", {"angle_deg": 50, "radius_mm": 4.1, "reached_size": 20, "loose": True}),
    ("R07", {"angle_deg": 50, "radius_mm": 4.1, "reached_size": 20}),
    ("R08", {"angle_deg": 50, "radius_mm": 4.0, "reached_size": 20, "loose": True}),
    ("R07", {"angle_deg": 30.1, "radius_mm": 20, "reached_size": 10}),
    ("R07", {"angle_deg": 30.1, "radius_mm": 20, "visibility": "narrowed", "reached_size": 15}),
    ("R06", {"angle_deg": 30, "radius_mm": 20}),
    ("R03", {"angle_deg": 30, "radius_mm": 20, "reached_size": 10}),
    ("R05", {"angle_deg": 19.9, "radius_mm": 8.1}),
    ("R06", {"angle_deg": 20, "radius_mm": 8.1}),
    ("R06", {"angle_deg": 19.9, "radius_mm": 8.0}),
    ("R05", {"angle_deg": 9.9, "radius_mm": 6}),
    ("R05", {"angle_deg": 15, "radius_mm": 12, "visibility": "not-visible", "reached_size": 15}),
    ("R04", {"angle_deg": 15, "radius_mm": 8.0, "reached_size": 10}),
    ("R03", {"angle_deg": 15, "radius_mm": 8.1, "reached_size": 10}),
    ("R04", {"angle_deg": 10, "radius_mm": 5, "reached_size": 10}),
    ("R02", {"angle_deg": 9.9, "radius_mm": 5, "reached_size": 10}),
    ("R02", {"angle_deg": 0, "reached_size": 10}),
    ("R01", {"angle_deg": 0, "reached_size": 15}),
    ("R05", {"angle_deg": 0, "reached_size": 8}),
]


@pytest.mark.parametrize(
    ("row", "options"), ROW_CASES, ids=[f"{r}-{i}" for i, (r, _) in enumerate(ROW_CASES)]
)
def test_row(row, options):
    assert row_of(case(**options)) == row


def test_every_row_has_a_case():
    assert {row for row, _ in ROW_CASES} == set(SAFEST_FIRST)


PLAN_CASES = {
    "R08": ({"angle_deg": 40, "radius_mm": 3.5}, ["10/.06", "10/.02", "15/.02"], 500.0),
    "R10": ({"angle_deg": 30, "radius_mm": 4.5, "s_shape": True}, ["10/.06", "10/.02", "15/.02"], 400.0),
    "R11": (
        {"angle_deg": 25, "radius_mm": 8, "curve_start_from_foramen_mm": 9.0}, ["10/.02", "15/.02"], 500.0,
    ),
    "R06": ({"angle_deg": 25, "radius_mm": 6}, ["10/.06", "10/.02", "15/.02"], 600.0),
    "R04": ({"angle_deg": 25, "radius_mm": 6, "reached_size": 10}, ["10/.06", "10/.02", "15/.02"], 600.0),
    "R03": ({"angle_deg": 25, "radius_mm": 9, "reached_size": 10}, ["10/.06", "10/.04", "15/.02"], 600.0),
    "R02": ({"angle_deg": 0, "reached_size": 10}, ["10/.06", "15/.02"], 300.0),
}  # fmt: skip


@pytest.mark.parametrize("row", PLAN_CASES)
def test_row_gives_its_instruments(row):
    options, instruments, speed = PLAN_CASES[row]
    request = case(**options)
    plan = recommend_by_table(request)
    assert plan.rule == row
    assert rotary(plan) == instruments
    assert plan.steps[-1].instrument.name == "hand 15/.02"
    assert {s.speed_rpm for s in plan.steps if s.is_rotary and s.role == "shape"} == {speed}
    assert check_plan(plan, request) == ()


def test_hook_is_rotary_down_to_the_curve_only():
    request = case(angle_deg=60, radius_mm=2.0, curve_start_from_foramen_mm=4.0)
    plan = recommend_by_table(request)
    assert plan.rule == "R09"
    assert [s.to_mm for s in plan.steps if s.is_rotary] == [12.9, 17.0, 17.0]
    assert told(plan)[-3:] == [
        ("hand 08/.02", 21.0, None),
        ("hand 10/.02", 21.0, None),
        ("hand 15/.02", 21.0, None),
    ]
    assert check_plan(plan, request) == ()


def test_wide_canal_needs_no_motor():
    request = case(angle_deg=40, radius_mm=6, reached_size=20, loose=True)
    plan = recommend_by_table(request)
    assert (plan.rule, [name for name, *_ in told(plan)]) == ("R12", ["hand 20/.02", "hand 15/.02"])


WIDE = {
    "R12": {"radius_mm": 6, "reached_size": 20, "loose": True},
    "R01": {"reached_size": 15},
}


@pytest.mark.parametrize(
    ("row", "options", "limited"),
    [
        ("R12", {"angle_deg": 40}, True),
        ("R12", {"angle_deg": 30.1}, True),
        ("R12", {"angle_deg": 30}, False),
        ("R12", {"angle_deg": 28, "angle_interval_deg": (25, 31)}, True),
        ("R01", {"angle_deg": 0}, False),
    ],
)
def test_wide_canal_says_that_shaping_is_the_clinicians_choice(row, options, limited):
    """The table ends these rows in a flare and the main system, taper .04 at most above 30 degrees, strain checked."""
    plan = recommend_by_table(case(**WIDE[row], **options))
    said = " ".join(plan.reasons)
    assert plan.rule == row
    assert rotary(plan) == []
    assert "The glide path is complete once the hand file is loose" in said
    assert "the clinician's choice by its maker's instructions" in said
    assert "Check the strain and the budget share" in said
    assert (".04 at most" in said) is limited
    assert ("coronal flare" in said) is (row == "R12")
    assert ("refer where" in said) is (row == "R12")


# --- R08: one more size as an offer ---------------------------------------------------------------------------
#
# 40 degrees at radius 4 that start 4 mm from the foramen: d = .20 + .02 * 4 = .28, strain .28 / 8 = 3.5 %, design life
# (.79 / .035)^2 / 3 = 169.8 turns, of which 500 / 60 * 4 = 33.3 are spent: 19.6 %. With the start at 4.5 mm and radius 3.7:
# d = .29, 3.919 %, 135.5 turns: 24.6 %; at 3.65 mm 3.973 %, 131.8 turns: 25.3 %.

OFFERED = {"angle_deg": 40, "radius_mm": 4.0, "curve_start_from_foramen_mm": 4.0}


def test_short_radius_offers_size_20_between_two_loose_hand_files():
    request = case(**OFFERED)
    plan = recommend_by_table(request)
    assert (plan.rule, plan.ends_with) == ("R08", "hand 15/.02 loose at working length")
    assert told(plan)[-6:] == [
        ("rotary 10/.02", 21.0, 500.0),
        ("hand 10/.02", 21.0, None),
        ("rotary 15/.02", 21.0, 500.0),
        ("hand 15/.02", 21.0, None),
        ("rotary 20/.02", 21.0, 500.0),
        ("hand 15/.02", 21.0, None),
    ]
    offer = with_core_numbers(plan, request).steps[-2]
    assert offer.budget_share.value == pytest.approx(0.1963, abs=5e-4)
    assert "an offer that may be left out" in offer.motion
    assert "leave it out" in offer.stop_when
    assert offer.why.startswith("An offer: the glide path is complete.")
    assert "loose" in plan.steps[-3].check
    assert any("rotary 20/.02 is an offer" in reason for reason in plan.reasons)
    assert check_plan(plan, request) == ()


@pytest.mark.parametrize(("radius", "offered"), [(3.7, True), (3.65, False)])
def test_the_offer_ends_at_a_quarter_of_the_budget(radius, offered):
    plan = recommend_by_table(case(angle_deg=60, radius_mm=radius, curve_start_from_foramen_mm=4.5))
    assert plan.rule == "R08"
    assert ("20/.02" in rotary(plan)) is offered
    assert any("rotary 20/.02 is not offered: it would spend 25 %" in r for r in plan.reasons) is not offered
    assert told(plan)[-1] == ("hand 15/.02", 21.0, None)


NOTHING_OFFERED = {
    "not on the shelf": {"inventory": without(("rotary", 20, 0.02))},
    "the row's own end is missing": {"inventory": without(("rotary", 15, 0.02))},
    "15 is loose already": {"reached_size": 15, "loose": True},
    "S": {"s_shape": True},
}


@pytest.mark.parametrize("name", NOTHING_OFFERED)
def test_nothing_is_offered(name):
    request = case(**OFFERED, **NOTHING_OFFERED[name])
    plan = recommend_by_table(request)
    assert "20/.02" not in rotary(plan)
    assert plan.steps[-1].instrument.name == "hand 15/.02"
    assert check_plan(plan, request) == ()


def test_an_offer_that_no_shelf_serves_is_told():
    plan = recommend_by_table(case(without(("rotary", 20, 0.02)), **OFFERED))
    assert any("rotary 20/.02 is not offered: none on the shelf" in reason for reason in plan.reasons)


def test_preflare_stays_above_curve_orifice_and_exploration():
    """Canal 12 of 21 mm: its coronal third ends at 13 mm; a curve 6.5 mm from the foramen starts at 14.5, so 12.5."""
    plan = recommend_by_table(case(angle_deg=25, radius_mm=6, curve_start_from_foramen_mm=6.5))
    preflare = next(step for step in plan.steps if step.role == "preflare")
    assert 12.3 <= preflare.to_mm <= 12.5
    # m7: a curve that starts 10.5 mm from the foramen leaves 1.5 mm below the orifice: no preflare.
    assert "10/.06" not in rotary(
        recommend_by_table(case(angle_deg=25, radius_mm=3, curve_start_from_foramen_mm=10.5))
    )


def test_kink_is_not_taken_for_an_arc():
    """12 degrees at radius 4 are 0.84 mm of arc."""
    request = case(angle_deg=12, radius_mm=4.0)
    assert is_kink(request)
    said = recommend_by_table(request)
    assert (said.advice, "kink" in said.reasons[0]) == (PlanAdvice.HAND_ONLY, True)
    assert not is_kink(case(angle_deg=15, radius_mm=4.0))


def test_loose_hand_file_makes_rotary_needless():
    plan = recommend_by_table(case(angle_deg=25, radius_mm=6, reached_size=15, loose=True))
    assert (rotary(plan), told(plan)) == ([], [("hand 15/.02", 21.0, None)])
    assert rotary(recommend_by_table(case(angle_deg=45, radius_mm=6, reached_size=15, loose=True))) == [
        "20/.02"
    ]


def test_interval_over_a_limit_takes_the_cautious_row():
    request = case(angle_deg=35, radius_mm=4.6)
    assert row_of(request) == "R07"
    assert row_near_by(request) == "R08"
    assert any("R08" in caution for caution in recommend_by_table(request).cautions)
    assert row_of(replace(request, radius_interval_mm=(3.9, 5.4))) == "R08"
    # Gentle or not: R06 asks less of the canal than R05.
    assert row_of(case(angle_deg=18, radius_mm=12, angle_interval_deg=(15, 21))) == "R06"
    # At exactly 1 mm or 5 degrees a typed value keeps its row without a warning.
    assert row_near_by(case(angle_deg=45, radius_mm=5.0)) is None
    assert row_near_by(case(angle_deg=15, radius_mm=14.0)) is None


# --- The shelf --------------------------------------------------------------------------------------------------


def test_missing_first_instrument_is_replaced_by_the_shortest_chain():
    own = Instrument(
        kind="rotary", size=12, taper=0.02, length_mm=25, material="nickel-titanium", speed_rpm=(300.0, 700.0)
    )
    shelf = without(("rotary", 10, 0.02))
    shelf = replace(shelf, instruments=(*shelf.instruments, own))
    plan = recommend_by_table(case(shelf, angle_deg=25, radius_mm=6))
    assert rotary(plan) == ["10/.06", "12/.02"]
    assert any("shortest safe chain" in reason for reason in plan.reasons)


def test_missing_last_instrument_stops_before_it():
    plan = recommend_by_table(case(without(("rotary", 15, 0.02)), angle_deg=25, radius_mm=6))
    assert rotary(plan) == ["10/.06", "10/.02"]


def test_no_chain_without_too_large_a_jump():
    """From hand 8 a rotary 15 would be a jump of 88 %."""
    said = recommend_by_table(case(without(("rotary", 10, 0.02)), angle_deg=25, radius_mm=6))
    assert (type(said), said.advice) == (NoPlan, PlanAdvice.HAND_ONLY)


def test_maker_s_limit_comes_first():
    slow = [replace(i, speed_rpm=(250.0, 350.0)) if i.kind == "rotary" else i for i in SHELF.instruments]
    plan = recommend_by_table(case(Inventory(instruments=tuple(slow)), angle_deg=45, radius_mm=6))
    assert {s.speed_rpm for s in plan.steps if s.is_rotary} == {300.0}


def test_no_file_long_enough():
    said = recommend_by_table(case(angle_deg=25, radius_mm=6, working_length_mm=30.5, canal_length_mm=20.0))
    assert (said.advice, "hand file 15/.02 for 30.5 mm" in said.reasons[0]) == (PlanAdvice.REFER, True)


def test_shortest_file_that_reaches_is_taken():
    plan = recommend_by_table(case(angle_deg=45, radius_mm=6, working_length_mm=19.5))
    assert {step.instrument.length_mm for step in plan.steps} == {21}


# --- Hand files only --------------------------------------------------------------------------------------------

HAND_CASES = {
    "from 8": ({"angle_deg": 60, "radius_mm": 1.2}, ["08", "10", "15"], 21.0),
    "none reached": ({"angle_deg": 20, "radius_mm": 6, "reached_size": 0}, ["06", "08", "10"], 21.0),
    "6 reached": ({"angle_deg": 20, "radius_mm": 6, "reached_size": 6}, ["06", "08", "10"], 21.0),
    "split": ({"angle_deg": 20, "radius_mm": 6, "split": True}, ["08", "10", "15"], 21.0),
    "blocked": (
        {"angle_deg": 20, "radius_mm": 6, "blocked": True, "reached_size": 0, "explored_mm": {8: 17.5}}, ["08", "10"], 17.5,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", HAND_CASES)
def test_hand_files(name):
    options, sizes, depth = HAND_CASES[name]
    request = case(**options)
    plan = recommend_hand_files(request)
    assert [step.instrument.name for step in plan.steps] == [f"hand {size}/.02" for size in sizes]
    assert {step.to_mm for step in plan.steps} == {depth}
    assert check_plan(plan, request) == ()


@pytest.mark.parametrize(
    "options",
    [
        {"image_rejected": True},
        {"primary_tooth": True},
        {"apex_opening_mm": 1.6},
        {"blocked": True, "reached_size": 0},
    ],
)
def test_no_hand_plan(options):
    assert isinstance(recommend_hand_files(case(angle_deg=20, radius_mm=6, **options)), NoPlan)


def test_hand_files_need_no_gap():
    assert isinstance(
        recommend_hand_files(case(without(("hand", 10, 0.02)), angle_deg=20, radius_mm=6)), NoPlan
    )


# --- Everything at once -----------------------------------------------------------------------------------------

ANGLES = (8.0, 15.0, 25.0, 35.0, 45.0, 60.0, 90.0)
RADII = (1.5, 2.2, 3.0, 4.0, 4.5, 7.0, 12.0)
STARTS = (3.0, 6.0, 9.0, 11.0)
REACHED = ((0, False), (6, False), (8, False), (10, True), (15, False), (15, True), (20, False), (20, True))
HAND_ONLY_SHELF = Inventory(instruments=tuple(i for i in SHELF.instruments if i.kind == "hand"))
ODD_SHELF = Inventory(
    instruments=(
        *(
            i
            for i in SHELF.instruments
            if (i.size, i.taper) not in ((15, 0.02), (10, 0.06)) or i.kind == "hand"
        ),
        Instrument(
            kind="rotary",
            size=12,
            taper=0.02,
            length_mm=25,
            material="nickel-titanium",
            speed_rpm=(300.0, 400.0),
        ),
        Instrument(
            kind="rotary",
            size=15,
            taper=0.04,
            length_mm=25,
            material="nickel-titanium",
            speed_rpm=(300.0, 900.0),
        ),
    )
)


def grid_curves():
    """(curve, arcs, options of the request) for each shape; an S has a second arc of the same radius above the first."""
    straight = curve_of_one_arc(angle_deg=0, radius_mm=1e3, end_from_foramen_mm=0.0, canal_length_mm=12.0)
    yield straight, (), {"angle_deg": 0.0}
    for angle, radius, start, s_shape in product(ANGLES, RADII, STARTS, (False, True)):
        end = max(0.0, start - radius * angle * 0.017453292519943295)
        arcs = [(start, end, radius), *([(12.0, start, radius)] if s_shape else [])]
        options = {
            "angle_deg": angle,
            "radius_mm": radius,
            "curve_start_from_foramen_mm": start,
            "s_shape": s_shape,
        }
        yield curve_of_arcs(arcs, canal_length_mm=12.0), tuple((a, r) for a, _, r in arcs), options


def grid_findings():
    for (reached, loose), visibility, blocked, apex, split in product(
        REACHED, ("clear", "narrowed", "not-visible"), (False, True), (0.5, 1.2), (False, True)
    ):
        yield Exploration(
            working_length_mm=21.0, reached_size=reached, loose=loose and reached > 0, visibility=visibility,
            blocked=blocked, apex_opening_mm=apex, split=split,
        )  # fmt: skip


HOSTILE = [
    plan(*steps)
    for steps in (
        [step("rotary 20/.02")],
        [step(HAND), step("rotary 10/.02")],
        [step(HAND), step("rotary 10/.04"), step(END)],
        [step(HAND), step("rotary 10/.02"), step("rotary 15/.02"), step(END)],
        [step(HAND), step("rotary 10/.06", 14.5), step(END)],
        [step(HAND), step("rotary 20/.02", speed_rpm=900.0, seconds=20.0), step(END)],
        [step(HAND, 15.0), step("rotary 10/.02", 18.0), step(END)],
        [step(HAND), step("rotary 25/.04"), step(END)],
        [step(HAND), step("rotary 10/.02"), step(END)],
    )
]
"""What a third party could come up with; the last one is good wherever the canal allows it."""


def test_every_input_gets_a_safe_answer():
    """Every plan passes the guard and the independent re-check, every other answer has a reason, and many plans appear.

    On the default shelf a plan of a third party comes with each input: what the re-check finds wrong, the guard refuses.
    """
    inputs = plans = with_motor = refused = let_pass = offers = 0
    rows = set()
    findings = list(grid_findings())
    for curve, arcs, options in grid_curves():
        for found, shelf in product(findings, (SHELF, HAND_ONLY_SHELF, ODD_SHELF)):
            request = PlanRequest(curve=curve, exploration=found, inventory=shelf, **options)
            canal = Canal(
                21.0, arcs, options.get("s_shape", False), found.reached_size, 0.0,
                found.blocked, found.apex_opening_mm, found.split,
            )  # fmt: skip
            inputs += 1
            if shelf is SHELF:
                hostile = HOSTILE[inputs % len(HOSTILE)]
                violations = check_plan(hostile, request)
                assert violations or not faults(hostile, canal, shelf)
                refused += bool(violations)
                let_pass += not violations
            for recommend in (recommend_by_table, recommend_hand_files):
                said = recommend(request)
                rows |= {said.rule} & set(SAFEST_FIRST)
                if type(said) is NoPlan:
                    assert said.reasons
                    assert said.advice in (PlanAdvice.HAND_ONLY, PlanAdvice.REFER)
                    continue
                assert type(said) is SequencePlan
                plans += 1
                with_motor += not said.is_hand_only
                assert check_plan(said, request) == ()
                assert faults(said, canal, shelf) == set()
                if said.rule == "R08" and "20/.02" in rotary(said):
                    offers += 1
                    assert share(said.steps[-2], canal) <= 0.25 + 1e-6
                if not said.is_hand_only:
                    assert said.steps[-1].instrument.name == "hand 15/.02"
                    assert said.steps[-1].to_mm == 21.0
    assert inputs >= 200_000
    assert plans > 50_000
    assert with_motor > 5_000
    assert offers > 50
    assert refused > 60_000
    assert let_pass > 500
    assert rows == set(SAFEST_FIRST) - {"R18"}
