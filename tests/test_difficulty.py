"""Grades: probabilities from the interval, what decided, what is missing, a school's own criteria, the suggestion."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curvometer.bibliography import HowRead, Reference
from curvometer.difficulty import (
    CURRENT_CRITERIA,
    PUBLISHED_CRITERIA,
    Advice,
    AggregationRule,
    CaseFacts,
    CriteriaError,
    CriteriaSet,
    DifficultyCriterion,
    Limit,
    Operator,
    canals_of_tooth,
    check_tooth,
    disagreement,
    grade_all,
    grade_difficulty,
    grade_quantities,
    grade_to_plain,
    load_criteria,
    measured_quantities,
    missing_words,
    referral_to_plain,
    suggest_referral,
    typed_quantities,
)
from curvometer.difficulty.chance import below, cell_probabilities
from curvometer.difficulty.facts import FACT_ANSWERS, FACT_NUMBERS, FACT_WORDS
from curvometer.difficulty.words import percent
from curvometer.measurement import MeasurementFlag, Quantity, Severity
from curvometer.measurement.flags import flag
from curvometer.radiograph import CurvometerError

THIRTY = Limit(value=30.0, in_upper=False)


def quantity(value, lower=None, upper=None, unit="deg"):
    lower, upper = value if lower is None else lower, value if upper is None else upper
    return Quantity(value=value, lower=lower, upper=upper, unit=unit)


def grade(criteria="aae-2022", angle=None, *, turn=None, radius=None, facts=None, flags=()):
    known = {"opposite_turning": turn or quantity(0.0)}
    if angle is not None:
        known["schneider_angle"] = angle
    if radius is not None:
        known |= {"three_point_radius": radius, "minimum_radius": radius}
    return grade_quantities(known, criteria=criteria, facts=facts, flags=flags)


# --- Probabilities ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("limit", "probability"), [(25.0, 0.025), (28.0, 0.5), (32.0, 0.975), (26.5, 0.1635), (30.0, 0.8365)]
)
def test_the_interval_is_met_at_its_ends_and_the_value_is_the_median(limit, probability):
    """28 (25 to 32): 2.5, 50 and 97.5 % by construction; half of a side is 0.98 sd: Phi(-0.98) = 0.1635."""
    assert below(quantity(28.0, 25.0, 32.0), Limit(value=limit, in_upper=True)) == pytest.approx(
        probability, abs=5e-5
    )


@pytest.mark.parametrize(
    ("lower", "upper", "in_upper", "probability"),
    [
        (30.0, 30.0, True, 0.0),  # a point on the limit goes where the limit says
        (30.0, 30.0, False, 1.0),
        (28.0, 30.0, True, 0.5),  # half below, half on the value itself
        (28.0, 30.0, False, 1.0),
        (30.0, 32.0, True, 0.0),
        (30.0, 32.0, False, 0.5),
    ],
)
def test_a_side_without_spread_puts_its_half_on_the_value(lower, upper, in_upper, probability):
    limit = Limit(value=30.0, in_upper=in_upper)
    assert below(quantity(30.0, lower, upper), limit) == probability


def test_a_wrong_sided_point_mass_off_the_limit():
    assert below(quantity(28.0), THIRTY) == 1.0
    assert below(quantity(31.0), THIRTY) == 0.0
    assert below(quantity(31.0, 31.0, 40.0), THIRTY) == 0.0
    assert below(quantity(28.0, 20.0, 28.0), THIRTY) == 1.0


def test_moderate_could_be_high():
    """Upper sd (31.2 - 28) / 1.96 = 1.633; (30 - 28) / 1.633 = 1.225; 1 - Phi(1.225) = 0.1103."""
    told = grade(angle=quantity(28.0, 25.0, 31.2))
    assert told.probabilities["high"] == pytest.approx(0.1103, abs=1e-4)
    assert told.words == "moderate, could be high (11 %)"
    assert told.boundary
    assert told.possible == ("high",)
    assert (
        told.doubt == "high is possible: canal curvature (Schneider angle) 28.0 deg (25.0 to 31.2), limit 30"
    )
    assert str(told) == "aae-2022: moderate, could be high (11 %)"


def test_asymmetry_counts():
    """The same width, leaning the other way, makes high less probable."""
    leaning_up, leaning_down = (
        grade(angle=quantity(28.0, 27.0, 32.0)),
        grade(angle=quantity(28.0, 24.0, 29.0)),
    )
    assert leaning_up.probabilities["high"] > 0.1
    assert leaning_down.probabilities["high"] < 0.001
    assert leaning_down.words == "moderate"


def test_two_independent_quantities_multiply():
    """Angle above 30 in 50 %, second turn from 5 degrees on in 50 %: high in 1 - 0.25 = 75 %."""
    told = grade(angle=quantity(30.0, 28.0, 32.0), turn=quantity(5.0, 3.0, 7.0))
    assert told.probabilities["high"] == pytest.approx(0.75)
    assert told.probabilities["low"] == pytest.approx(0.0, abs=1e-12)


def test_a_radius_counts_only_with_the_angle_that_goes_with_it():
    """Angle from 10 on in 50 %; radius 3 mm is surely high then: high 50 %, low 50 %, nothing between."""
    told = grade("curvometer-composite", quantity(10.0, 8.0, 12.0), radius=quantity(3.0, unit="mm"))
    assert told.probabilities == pytest.approx({"low": 0.5, "moderate": 0.0, "high": 0.5})


def test_an_angle_that_reads_as_the_limit_lets_the_radius_count_as_possible():
    """9.96 prints as 10.0, the angle from which the radius of 3 mm counts."""
    told = grade("curvometer-composite", quantity(9.96), radius=quantity(3.0, unit="mm"))
    assert told.words == "low, could be high (at the limit)"


def test_counts_of_uncertain_factors():
    """Two stated moderate factors and an angle that is moderate in 50 %: high (three of them) in 50 %."""
    facts = CaseFacts(visibility="narrowed", inclination_deg=20.0)
    told = grade(angle=quantity(10.0, 8.0, 12.0), facts=facts)
    assert told.probabilities == pytest.approx({"low": 0.0, "moderate": 0.5, "high": 0.5})


def test_probabilities_agree_with_drawn_canals():
    """An independent way: draw the two half normals, grade each draw as a point."""
    rng = np.random.default_rng(7)
    known = {
        "schneider_angle": (11.0, 8.0, 16.0),
        "minimum_radius": (7.0, 5.5, 9.5),
        "opposite_turning": (3.0, 1.0, 6.0),
    }

    def draw(value, lower, upper):
        z = rng.standard_normal(4000) / 1.959964
        return np.where(z < 0.0, value + z * (value - lower), value + z * (upper - value))

    drawn = {name: draw(*numbers) for name, numbers in known.items()}
    level = np.digitize(drawn["schneider_angle"], [10.0, 30.0])
    radius = np.where(
        drawn["schneider_angle"] >= 10.0, 2 - np.digitize(drawn["minimum_radius"], [4.0, 8.0]), 0
    )
    found = np.maximum.reduce([level, radius, 2 * (drawn["opposite_turning"] >= 5.0)])
    shares = np.bincount(found, minlength=3) / len(found)
    told = grade_quantities(
        {name: quantity(*numbers) for name, numbers in known.items()}, criteria="curvometer-composite"
    )
    assert list(told.probabilities.values()) == pytest.approx(list(shares), abs=0.03)


values = st.floats(0.0, 90.0, allow_nan=False)
widths = st.floats(0.0, 20.0, allow_nan=False)
facts_given = st.builds(
    CaseFacts,
    visibility=st.sampled_from([None, *FACT_ANSWERS["visibility"]]),
    inclination_deg=st.sampled_from([None, 5.0, 10.0, 40.0]),
    previous_treatment=st.sampled_from([None, *FACT_ANSWERS["previous_treatment"]]),
    modifying_factors=st.sampled_from([None, True, False]),
    s_shape=st.sampled_from([None, True, False]),
)


@settings(max_examples=150, deadline=None)
@given(name=st.sampled_from(sorted(PUBLISHED_CRITERIA)), angle=values, down=widths, up=widths, turn=values,
       radius=st.floats(0.5, 40.0), facts=facts_given)  # fmt: skip
def test_every_grade_is_whole(name, angle, down, up, turn, radius, facts):
    told = grade(
        name, quantity(angle, max(angle - down, 0.0), angle + up), turn=quantity(turn, turn * 0.8, turn * 1.3),
        radius=quantity(radius, radius * 0.9, radius * 1.2, unit="mm"), facts=facts,
    )  # fmt: skip
    classes = told.criteria.classes
    assert sum(told.probabilities.values()) == pytest.approx(1.0, abs=1e-12)
    assert all(0.0 <= p <= 1.0 for p in told.probabilities.values())
    assert told.grade in classes
    assert told.words.startswith(told.grade)
    assert told.deciding_codes
    assert told.deciding_factor
    assert classes.index(told.best_case) <= classes.index(told.worst_case)
    assert {f.criterion.code for f in told.factors} | {m.code for m in told.missing} <= {
        c.code for c in told.criteria.criteria
    }
    assert all(classes.index(m.worst) >= classes.index(m.best) for m in told.missing)
    for factor in told.factors:
        assert sum(factor.probabilities) == pytest.approx(1.0, abs=1e-12)
    plain = grade_to_plain(told)
    json.dumps(plain, allow_nan=False)
    assert all(limit["how_read"] for factor in plain["factors"] for limit in factor["limits"])


@settings(max_examples=100, deadline=None)
@given(name=st.sampled_from(["aae-2022", "rcs-2001", "schneider-1971", "curvometer-composite"]), angle=values,
       more=widths, down=widths, up=widths, radius=st.floats(0.5, 40.0), facts=facts_given)  # fmt: skip
def test_a_larger_angle_never_makes_a_case_easier(name, angle, more, down, up, radius, facts):
    """Shift value and interval together: no class and harder becomes less probable."""
    radius_mm = quantity(radius, 0.8 * radius, 1.2 * radius, unit="mm")
    found = [
        list(grade(name, quantity(a, a - down, a + up), radius=radius_mm, facts=facts).probabilities.values())
        for a in (angle, angle + more)
    ]
    easier, harder = (np.cumsum(chances[::-1]) for chances in found)
    assert np.all(harder >= easier - 1e-9)


@settings(max_examples=60, deadline=None)
@given(value=values, down=widths, up=widths, cuts=st.lists(values, max_size=5, unique=True))
def test_cells_add_up_to_one(value, down, up, cuts):
    limits = [Limit(value=cut, in_upper=True) for cut in sorted(cuts)]
    cells = cell_probabilities(quantity(value, value - down, value + up), limits)
    assert len(cells) == len(cuts) + 1
    assert sum(cells) == pytest.approx(1.0, abs=1e-12)


def test_the_same_grade_gives_the_same_words():
    first, second = (grade_to_plain(grade(angle=quantity(28.0, 25.0, 31.2))) for _ in range(2))
    assert json.dumps(first) == json.dumps(second)


@pytest.mark.parametrize(
    ("chance", "words"), [(0.004, "below 1 %"), (0.01, "1 %"), (0.124, "12 %"), (0.995, "above 99 %")]
)
def test_a_percentage_never_claims_certainty(chance, words):
    assert percent(chance) == words


def test_several_other_classes_are_named_the_likeliest_first():
    told = grade("schneider-1971", quantity(25.0, 20.0, 30.0))
    assert told.words == "severe, could be between moderate and severe (48 %) or moderate (2 %)"


# --- What was measured ------------------------------------------------------------------------------------


def test_a_measured_canal_is_graded_by_its_schneider_angle(make_known_case):
    """Arc of 40 degrees: Schneider's angle is half of it, 20 degrees; Pruett's 40 would be high."""
    told = grade_difficulty(make_known_case().measurement)
    assert told.grade == "moderate"
    assert told.deciding_factor == "canal curvature (Schneider angle) 20.0 deg (18.5 to 21.5)"
    assert {m.code for m in told.missing} == {c.code for c in told.criteria.criteria} - {
        "curvature",
        "s_shape",
    }
    assert (told.best_case, told.worst_case) == ("moderate", "high")


def test_an_s_is_seen_in_the_bends(make_known_case):
    measurement = make_known_case(angles_deg=(30.0, -25.0)).measurement
    turn = measured_quantities(measurement)["opposite_turning"]
    assert (turn.value, turn.lower, turn.upper) == pytest.approx((25.0, 23.5, 26.5))
    told = grade_difficulty(measurement)
    assert told.grade == "high"
    assert told.deciding_codes == ("s_shape",)
    assert "with a second turn of 25.0 deg" in told.deciding_factor


def test_bends_to_the_lesser_side_add_up_with_independent_errors(make_known_case):
    """10 + 12 degrees, each 1.5 to either side: 1.5 sqrt(2) = 2.12."""
    measurement = make_known_case(angles_deg=(30.0, -25.0)).measurement
    (left, right) = measurement.bends
    two = tuple(replace(right, angle=quantity(a, a - 1.5, a + 1.5)) for a in (10.0, 12.0))
    turn = measured_quantities(replace(measurement, bends=(two[0], left, two[1])))["opposite_turning"]
    assert (turn.value, turn.lower, turn.upper) == pytest.approx((22.0, 19.8787, 24.1213), abs=1e-4)


def test_two_bends_to_one_side_are_no_s(make_known_case):
    measurement = replace(make_known_case(angles_deg=(30.0, 10.0)).measurement, canal_form="C")
    assert measured_quantities(measurement)["opposite_turning"].value == 0.0


def test_a_form_s_without_bends_is_an_s_all_the_same(make_known_case):
    measurement = replace(make_known_case().measurement, canal_form="S")
    assert measured_quantities(measurement)["opposite_turning"].value == 5.0
    assert grade_difficulty(measurement).grade == "high"


def test_a_statement_never_hides_what_was_measured(make_known_case):
    measurement = make_known_case(angles_deg=(30.0, -25.0)).measurement
    assert grade_difficulty(measurement, facts=CaseFacts(s_shape=False)).grade == "high"
    single = make_known_case().measurement
    stated = grade_difficulty(single, facts=CaseFacts(s_shape=True))
    assert (stated.grade, stated.words) == ("high", "high")
    assert stated.probabilities["high"] == pytest.approx(1.0)


def test_without_a_scale_there_is_no_radius_class_and_it_says_why(make_known_case):
    measurement = make_known_case(mm_per_pixel=None).measurement
    told = grade_difficulty(measurement, criteria="radius")
    assert told.grade is None
    assert told.level is None
    assert told.probabilities == {}
    assert told.words == "no grade: radius (three points) is not known"
    assert told.missing[0].reason == "not measured: needs a scale"
    assert [flag.code for flag in told.flags] == ["no_scale"]
    composite = grade_difficulty(measurement, criteria="curvometer-composite")
    assert composite.grade == "moderate"
    assert {m.code: m.worst for m in composite.missing}["radius"] == "high"


@pytest.mark.parametrize(
    ("codes", "reason"),
    [
        (("canal_too_short",), "not measured: canal too short"),
        (("short_arc", "no_scale"), "not measured: needs a scale"),  # a doubt leaves no measure out
        (("too_few_points", "canal_too_short"), "not measured: canal too short"),  # the one that names it
        (("too_few_points",), "not measured: too few points"),
        ((), "not measured"),
    ],
)
def test_why_a_measure_is_missing_is_told_in_words(codes, reason):
    told = grade_quantities({}, criteria="radius", flags=[flag(code) for code in codes])
    assert told.missing[0].reason == reason


def test_a_fact_that_nobody_stated_is_not_laid_to_the_trace():
    told = grade_quantities({}, flags=[flag("trace_left_ridge")])
    reasons = {fact.what: fact.reason for fact in told.missing}
    assert reasons["opening of the apex"] == "not stated"
    assert reasons["how well canal and chamber can be seen"] == "not stated"


def test_a_missing_measure_stands_in_one_phrase():
    told = grade_quantities({}, criteria="radius", flags=[flag("canal_too_short")])
    assert "radius (three points), not measured: canal too short" in missing_words(told)


def test_a_straight_canal_lacks_no_radius():
    straight = MeasurementFlag(
        code="straight", severity=Severity.NOTE, text="straight", concerns=("minimum_radius",)
    )
    told = grade("radius", quantity(1.0), flags=(straight,))
    assert (told.grade, told.deciding_factor) == (
        "mild",
        "radius (three points) no bend found; no known factor above mild",
    )


def test_the_place_of_the_curve_counts_for_the_composite(make_known_case):
    case = make_known_case().measurement
    near = replace(
        case,
        minimum_radius=quantity(20.0, unit="mm"),
        schneider_angle=quantity(12.0),
        canal_length=quantity(12.0, unit="mm"),
        curve_start_from_foramen=quantity(9.0, 8.5, 9.5, unit="mm"),
    )
    share = measured_quantities(near)["curve_start_share"]
    assert share.value == pytest.approx(0.75)
    told = grade_difficulty(near, criteria="curvometer-composite")
    assert {f.criterion.code: f.level for f in told.factors}["location"] == 1
    assert "starts at 75 % of the length" in next(
        f.told for f in told.factors if f.criterion.code == "location"
    )


def test_flags_that_bear_on_the_grade_are_kept_and_no_others():
    flags = tuple(
        MeasurementFlag(code=code, severity=Severity.CAUTION, text=code, concerns=concerns)
        for code, concerns in (
            ("about_angle", ("schneider_angle",)),
            ("about_radius", ("minimum_radius",)),
            ("all", ()),
        )
    )
    assert [flag.code for flag in grade(angle=quantity(20.0), flags=flags).flags] == ["about_angle", "all"]


# --- Missing facts ----------------------------------------------------------------------------------------


def test_missing_facts_say_what_the_grade_would_become():
    told = grade(angle=quantity(5.0))
    by_code = {fact.code: fact for fact in told.missing}
    assert (by_code["visibility"].best, by_code["visibility"].worst) == ("low", "high")
    assert by_code["visibility"].reason == "not stated"
    assert by_code["other_moderate"].worst == "moderate"
    assert (told.best_case, told.worst_case) == ("low", "high")


def test_a_stated_fact_is_no_longer_missing():
    told = grade(angle=quantity(5.0), facts=CaseFacts(visibility="clear", apex_opening_mm=0.3))
    assert not {"visibility", "apex"} & {fact.code for fact in told.missing}


def test_without_an_angle_there_is_no_grade_unless_a_fact_settles_it():
    assert grade(facts=CaseFacts(visibility="clear")).grade is None
    settled = grade(facts=CaseFacts(visibility="not-visible"))
    assert (settled.grade, settled.deciding_codes) == ("high", ("visibility",))
    assert settled.probabilities["high"] == pytest.approx(1.0)


def test_a_radius_at_a_small_angle_is_not_missed():
    told = grade("curvometer-composite", quantity(6.0))
    assert "radius" not in {fact.code for fact in told.missing}


def test_every_fact_has_words_for_people():
    assert set(FACT_WORDS) == set(FACT_ANSWERS) | set(FACT_NUMBERS)


# --- Stated facts -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stated", "words"),
    [
        ({"visibility": "good"}, "visibility is 'good': state one of clear, narrowed, not-visible"),
        ({"s_shape": "yes"}, "state True or False"),
        ({"apex_opening_mm": -1.0}, "a number from 0 to 10 mm"),
        ({"apex_opening_mm": float("nan")}, "a number from 0 to 10 mm"),
        ({"rotation_deg": 400.0}, "from 0 to 180 deg"),
        ({"other_high": True}, "from 0 to 20"),
        ({"other_moderate": 1.5}, "whole number"),
        ({"operator": "friend"}, "student, general, enhanced, specialist"),
        ({"tooth": 19}, "19 is no tooth number"),
        ({"tooth": 0}, "no tooth number"),
        ({"tooth": 56}, "no tooth number"),
        ({"tooth": 46, "canal": "P"}, "tooth 46 has no canal 'P': give one of MB, MM, ML"),
        ({"tooth": 11, "canal": "MB"}, "give one of single"),
    ],
)
def test_impossible_facts_are_refused_in_a_sentence(stated, words):
    with pytest.raises(CurvometerError, match=words):
        CaseFacts(**stated)


def test_the_tooth_tells_its_place_and_its_canals():
    assert [CaseFacts(tooth=tooth).position for tooth in (13, 24, 36, 48)] == [
        "anterior", "premolar", "first-molar", "second-or-third-molar",
    ]  # fmt: skip
    assert CaseFacts().position is None
    assert "MB2" in canals_of_tooth(16)
    assert canals_of_tooth(26) == canals_of_tooth(16)
    assert canals_of_tooth(36) == canals_of_tooth(46)
    assert canals_of_tooth(75) == ()
    check_tooth(85)


def test_a_primary_tooth_is_flagged():
    assert "primary_tooth" in [
        flag.code for flag in grade(angle=quantity(5.0), facts=CaseFacts(tooth=75)).flags
    ]


# --- Several sets, and who treats -------------------------------------------------------------------------


def test_sets_that_disagree_are_told_side_by_side(make_known_case):
    measurement = replace(make_known_case().measurement, schneider_angle=quantity(35.0))
    grades = grade_all(measurement)
    assert [g.criteria.name for g in grades] == list(CURRENT_CRITERIA)
    told = disagreement(grades[:2])
    assert told.startswith(
        "The sets disagree: high by American endodontists' form, 2022; complexity 2 by English"
    )
    assert disagreement(grades[:1]) == ""


@pytest.mark.parametrize(
    ("operator", "angle", "advice"),
    [
        ("student", 5.0, Advice.TREAT),
        ("student", 20.0, Advice.REFER),
        ("general", 5.0, Advice.TREAT),
        ("general", 20.0, Advice.CONSIDER_REFERRAL),
        ("general", 35.0, Advice.REFER),
        ("enhanced", 20.0, Advice.TREAT),
        ("enhanced", 35.0, Advice.CONSIDER_REFERRAL),
        ("specialist", 60.0, Advice.TREAT),
    ],
)
def test_treat_or_refer(operator, angle, advice):
    """Common practice, no source."""
    told = suggest_referral([grade(angle=quantity(angle))], operator=operator)
    assert told.advice is advice
    assert "common practice, no source" in str(told)
    assert told.source.how_read is HowRead.COMMON_PRACTICE
    assert told.reasons[0].startswith(f"{advice}: ")
    assert referral_to_plain(told)["advice"] == advice.value


def test_a_possible_harder_class_asks_to_consider_referral():
    doubtful = suggest_referral([grade(angle=quantity(9.0, 7.0, 11.0))], operator=Operator.STUDENT)
    assert doubtful.advice is Advice.CONSIDER_REFERRAL


def test_the_most_cautious_system_counts_and_shape_classes_do_not():
    grades = [grade(name, quantity(35.0)) for name in ("rcs-2001", "schneider-1971", "aae-2022")]
    told = suggest_referral(grades, operator="general")
    assert told.advice is Advice.REFER
    assert not any("Schneider's classes" in reason for reason in told.reasons)


@pytest.mark.parametrize(
    ("angle", "advice"), [(3.0, Advice.TREAT), (7.0, Advice.CONSIDER_REFERRAL), (22.0, Advice.REFER)]
)
def test_shape_classes_alone_are_placed_on_the_harder_side(angle, advice):
    """Five classes on three places: the gaps count with the class above them."""
    assert suggest_referral([grade("schneider-1971", quantity(angle))], operator="general").advice is advice


def test_without_a_grade_there_is_no_suggestion():
    told = suggest_referral([grade()], operator="general")
    assert told.advice is None
    assert told.reasons == ("no grade by American endodontists' form, 2022",)


# --- Criteria as objects ----------------------------------------------------------------------------------

SOURCE = Reference(key="test", citation="test", how_read=HowRead.COMMON_PRACTICE)


def criterion(**changes):
    options = {"code": "a", "title": "a", "source": SOURCE, "edition": "1", "quantity": "schneider_angle"}
    return DifficultyCriterion(**(options | {"limits": (THIRTY,), "levels": (0, 1)} | changes))


@pytest.mark.parametrize(
    "changes",
    [
        {"quantity": "", "limits": (), "levels": ()},
        {"limits": ()},
        {"limits": (THIRTY, THIRTY), "levels": (0, 1, 2)},
        {"levels": (0, 1, 2)},
        {"fact": "visibility"},
    ],
)
def test_a_criterion_that_makes_no_sense_is_refused(changes):
    with pytest.raises(CriteriaError, match="criterion 'a'"):
        criterion(**changes)


@pytest.mark.parametrize(
    "changes", [{"classes": ("one",)}, {"criteria": ()}, {"criteria": (criterion(levels=(0, 5)),)}]
)
def test_a_set_that_makes_no_sense_is_refused(changes):
    options = {"name": "s", "title": "s", "edition": "1", "classes": ("a", "b"), "criteria": (criterion(),)}
    with pytest.raises(CriteriaError):
        CriteriaSet(**(options | {"rule": AggregationRule(words=""), "source": SOURCE} | changes))


def test_unknown_criteria_are_refused_with_the_known_names():
    with pytest.raises(CriteriaError, match="name one of aae-2022, aae-2010, rcs-2001"):
        grade("aae-1999", quantity(5.0))
    with pytest.raises(CriteriaError, match="no criterion 'x'"):
        PUBLISHED_CRITERIA["radius"].criterion("x")


# --- A school's own criteria ------------------------------------------------------------------------------

SCHOOL = """\
# Our school
name = "our-school-2026"
title = "our school, 2026"
edition = "2026"
source = "Course notes, 2026"
classes = ["easy", "fair", "hard"]
rule = "count"
several = 2

[[criteria]]
code = "curvature"
title = "bend"
quantity = "schneider_angle"
limits = [12, 28.5]
at_limit = ["fair", "fair"]
essential = true

[[criteria]]
code = "seen"
fact = "visibility"

[criteria.answers]
clear = "easy"
narrowed = "fair"
not-visible = "hard"

[[criteria]]
code = "radius"
quantity = "minimum_radius"
limits = [
  3,
  6,
]
levels = ["hard", "fair", "easy"]
"""


@pytest.fixture
def write(tmp_path):
    def save(text):
        path = tmp_path / "school.toml"
        path.write_bytes(text.encode("utf-8") if isinstance(text, str) else text)
        return path

    return save


def test_a_school_adds_its_own_set(write):
    school = load_criteria(write(SCHOOL))
    found = [
        grade(school, quantity(angle), radius=quantity(9.0, unit="mm")).grade
        for angle in (11.9, 12.0, 28.5, 28.6)
    ]
    assert found == ["easy", "fair", "fair", "hard"]
    assert grade(school, quantity(20.0), radius=quantity(5.0, unit="mm")).grade == "hard", "two fair ones"
    at_six = grade(school, quantity(5.0), radius=quantity(6.0, unit="mm"))
    assert at_six.grade == "fair", "an unstated limit belongs to the harder class"
    assert school.source.citation == "Course notes, 2026"


def test_windows_line_ends_and_a_byte_order_mark_are_read(write):
    assert (
        load_criteria(write(b"\xef\xbb\xbf" + SCHOOL.replace("\n", "\r\n").encode())).name
        == "our-school-2026"
    )


PAGES = Path(__file__).parents[1] / "docs" / "difficulty"


def test_the_example_on_the_page_is_loaded(write):
    page = (PAGES / "own_criteria.md").read_text(encoding="utf-8")
    school = load_criteria(write(page.split("```toml\n")[1].split("```")[0]))
    assert [c.code for c in school.criteria] == ["curvature", "radius", "visibility"]


def test_the_page_lists_every_fact_with_its_answers_and_every_number():
    page = (PAGES / "own_criteria.md").read_text(encoding="utf-8")
    for name, answers in FACT_ANSWERS.items():
        told = ", ".join(f"`{answer}`" for answer in answers)
        assert f"| `{name}` | {FACT_WORDS[name]} | {told} |" in page
    assert all(f"| `{name}` | {FACT_WORDS[name]} |" in page for name in FACT_NUMBERS)


def test_every_set_stands_in_the_table_of_the_pages():
    page = (PAGES / "index.md").read_text(encoding="utf-8")
    assert all(f"`{name}`" in page for name in PUBLISHED_CRITERIA)


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("[12, 28.5]", '["abc", 28.5]', 14, "limit 'abc' is not a number: write one like 30"),
        ("[12, 28.5]", "[12, nan]", 14, "limit nan is not a number"),
        ("[12, 28.5]", "[12, true]", 14, "limit True is not a number"),
        ("[12, 28.5]", "[-1, 28.5]", 14, "must be above 0"),
        ("[12, 28.5]", "[28.5, 12]", 14, "limit 12 does not rise above 28.5"),
        ("[12, 28.5]", "[12]", 14, "1 limits need 2 levels, there are 3"),
        ("[12, 28.5]", "30", 14, "limits must be a list"),
        ('["fair", "fair"]', '["fair", "nice"]', 15, "'nice' is none of the classes easy, fair, hard"),
        (
            '["fair", "fair"]',
            '["hard", "fair"]',
            15,
            "a limit cannot belong to 'hard': write 'easy' or 'fair'",
        ),
        ('["fair", "fair"]', '["fair"]', 15, "names 1 classes for 2 limits"),
        ("essential = true", 'essential = "yes"', 16, "write true or false"),
        ("essential = true", "esential = true", 16, "the key 'esential' is unknown"),
        ('"schneider_angle"', '"angle"', 13, "the quantity 'angle' is unknown"),
        ('code = "seen"', 'code = "curvature"', 19, "the code 'curvature' stands twice"),
        ('"visibility"', '"sight"', 20, "the fact 'sight' is unknown"),
        ('fact = "visibility"', 'title = "seen"', 18, "looks at nothing"),
        ("not-visible =", "invisible =", 25, "'invisible' is no answer to 'visibility'"),
        ('not-visible = "hard"\n', "", 22, "lack not-visible"),
        ('narrowed = "fair"', 'narrowed = "so-so"', 24, "'so-so' is none of the classes"),
        ("  6,\n", '  "six",\n', 32, "limit 'six' is not a number"),
        ('"fair", "easy"]', '"easy"]', 34, "2 limits need 3 levels, there are 2"),
        ('rule = "count"', 'rule = "sum"', 7, "the rule 'sum' is unknown"),
        ("several = 2", "several = 1", 8, "a whole number from 2 to 20"),
        ('rule = "count"\n', "", 7, "several belongs to rule"),
        ('"our-school-2026"', '"Our School"', 2, "small letters"),
        ('"our-school-2026"', '"aae-2022"', 2, "that of a set of this program"),
        ('title = "our school, 2026"', "title = 7", 3, "title 7 is not a text"),
        ('["easy", "fair", "hard"]', '["easy"]', 6, "there are 1 classes"),
        ('["easy", "fair", "hard"]', '["easy", 2, "hard"]', 6, "class 2 is not a name"),
        ('source = "Course notes, 2026"\n', "", 1, "source is missing"),
        ("limits = [12, 28.5]", "limits = [12, 28.5", 15, "this is not TOML"),
    ],
)
def test_complaints_about_a_file_name_the_line(write, old, new, line, words):
    assert old in SCHOOL
    path = write(SCHOOL.replace(old, new, 1))
    with pytest.raises(CriteriaError) as caught:
        load_criteria(path)
    assert f"school.toml, line {line}: " in str(caught.value)
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"\xff\xfe\x00", "not a text in UTF-8"),
        (b"#" * (2**20 + 1), "larger than any criteria"),
        ("", "the key|name is missing"),
        ('name = "a"\nclasses = ["a", "b"]\nsource = "s"\n', "there are no criteria"),
        ('name = "a"\nclasses = ["a", "b"]\nsource = "s"\ncriteria = [{ code = "c" }]\n', "of its own"),
    ],
)
def test_other_files_are_refused(write, text, words):
    with pytest.raises(CriteriaError, match=words):
        load_criteria(write(text))


def test_a_file_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(CriteriaError, match="cannot be read"):
        load_criteria(tmp_path / "none.toml")


def test_a_key_inside_a_long_text_is_no_key(write):
    """Lines of a text in triple quotes may look like keys; the line of the real one is told."""
    text = SCHOOL.replace('"Course notes, 2026"', '"""\nnotes\nclasses = none\n"""').replace(
        "several = 2", "several = 0"
    )
    with pytest.raises(CriteriaError, match="line 11: several is 0"):
        load_criteria(write(text))


@settings(max_examples=60, deadline=None)
@given(noise=st.text(max_size=60), place=st.integers(0, len(SCHOOL)))
def test_no_text_gives_anything_but_a_set_or_a_sentence(tmp_path_factory, noise, place):
    path = tmp_path_factory.mktemp("toml") / "noise.toml"
    path.write_bytes((SCHOOL[:place] + noise + SCHOOL[place:]).encode("utf-8", errors="replace"))
    try:
        complaint = "noise.toml" if load_criteria(path).criteria else ""
    except CriteriaError as error:
        complaint = str(error)
    assert "noise.toml" in complaint


def test_typed_numbers_get_the_error_of_reading_by_hand():
    """5 degrees and 1 mm to each side (common practice, no source); a radius stays above zero."""
    typed = typed_quantities(angle_deg=3.0, radius_mm=1.0)
    assert (typed["schneider_angle"].lower, typed["schneider_angle"].upper) == (0.0, 8.0)
    assert (typed["minimum_radius"].lower, typed["minimum_radius"].upper) == (0.5, 2.0)
    assert typed_quantities(angle_deg=3.0, angle_interval_deg=(2.0, 5.0))["schneider_angle"].upper == 5.0
