"""Limits of every published criteria set: at, just below and just above each, with the source beside the number.

How read: American form 2022, levels and rule from its first page, easiest limits from a summary, the rest from
memory; the English index of 2001, introduction read, table from memory; Schneider 1971, classes in later papers
that restate them; Estrela 2008, classes in a later study. The composite is the program's own (common practice, no
source).
"""

from __future__ import annotations

import pytest

from curvometer.bibliography import HowRead
from curvometer.difficulty import (
    CURRENT_CRITERIA,
    PUBLISHED_CRITERIA,
    CaseFacts,
    criteria_set,
    grade_quantities,
)
from curvometer.measurement import Quantity

EPS = 0.001


def exact(value, unit="deg"):
    return Quantity(value=value, lower=value, upper=value, unit=unit)


def grade(criteria, angle=0.0, *, turn=0.0, radius=None, facts=None):
    quantities = {"schneider_angle": exact(angle), "opposite_turning": exact(turn)}
    if radius is not None:
        quantities |= {name: exact(radius, "mm") for name in ("three_point_radius", "minimum_radius")}
    return grade_quantities(quantities, criteria=criteria, facts=facts)


ANGLES = [  # set, limit, just below, at, just above
    ("aae-2022", 10.0, "low", "moderate", "moderate"),  # form 2022: low is "<10", so 10 is moderate
    ("aae-2022", 30.0, "moderate", "moderate", "high"),  # "10-30" moderate, ">30" high (from memory)
    ("aae-2010", 10.0, "minimal", "moderate", "moderate"),  # the same limits in older words (from memory)
    ("aae-2010", 30.0, "moderate", "moderate", "high"),
    ("rcs-2001", 15.0, "complexity 1", "complexity 2", "complexity 2"),  # "<15" is code 1 (from memory)
    ("rcs-2001", 40.0, "complexity 2", "complexity 2", "complexity 3"),  # ">40" is code 3 (from memory)
    ("schneider-1971", 5.0, "straight", "straight", "between straight and moderate"),  # up to 5 (secondary)
    ("schneider-1971", 10.0, "between straight and moderate", "moderate", "moderate"),  # 10 to 20 (secondary)
    ("schneider-1971", 20.0, "moderate", "moderate", "between moderate and severe"),
    ("schneider-1971", 25.0, "between moderate and severe", "severe", "severe"),  # 25 to 70 (secondary)
    ("curvometer-composite", 10.0, "low", "moderate", "moderate"),  # common practice, no source
    ("curvometer-composite", 30.0, "moderate", "moderate", "high"),
]


@pytest.mark.parametrize(("criteria", "limit", "below", "at", "above"), ANGLES)
def test_angle_limits(criteria, limit, below, at, above):
    found = [grade(criteria, angle).grade for angle in (limit - EPS, limit, limit + EPS)]
    assert found == [below, at, above]


@pytest.mark.parametrize(("criteria", "limit", "below", "at", "above"), ANGLES)
def test_at_a_limit_the_harder_class_is_told_as_possible(criteria, limit, below, at, above):
    """Nothing is read off an image to a thousandth of a degree: at the limit the harder side must be named."""
    del below
    told = grade(criteria, limit)
    harder = above if above != at else None
    assert told.possible == (() if harder is None else (harder,))
    assert told.boundary is (harder is not None)
    if harder is not None:
        assert told.words == f"{at}, could be {harder} (at the limit)"
        assert f"{limit:.1f} deg is a limit itself, which counts as {at}" in told.doubt


@pytest.mark.parametrize(
    ("criteria", "limit", "below", "at", "above"),
    [
        ("radius", 4.0, "severe", "severe", "moderate"),  # Estrela: r <= 4 severe, 4 < r <= 8 moderate
        ("radius", 8.0, "moderate", "moderate", "mild"),
        ("curvometer-composite", 4.0, "high", "high", "moderate"),  # common practice, no source
        ("curvometer-composite", 8.0, "moderate", "moderate", "low"),
    ],
)
def test_radius_limits(criteria, limit, below, at, above):
    """For the composite the angle of 10 degrees alone is moderate, so its "low" for a wide radius shows as moderate."""
    found = [grade(criteria, 10.0, radius=radius).grade for radius in (limit - EPS, limit, limit + EPS)]
    if criteria == "curvometer-composite":
        above = {"low": "moderate"}.get(above, above)
    assert found == [below, at, above]


def test_the_composite_counts_the_radius_from_ten_degrees_on_only():
    assert grade("curvometer-composite", 10.0 - 0.1, radius=3.0).grade == "low"
    assert grade("curvometer-composite", 10.0, radius=3.0).grade == "high"


@pytest.mark.parametrize(
    ("fact", "limit", "below", "at", "above"),
    [
        ("apex_opening_mm", 1.0, "low", "moderate", "moderate"),  # closed "<1 mm" (summary of the form)
        ("apex_opening_mm", 1.5, "moderate", "moderate", "high"),  # open ">1.5 mm" (from memory)
        ("inclination_deg", 10.0, "low", "moderate", "moderate"),  # slight "<10" (summary of the form)
        ("inclination_deg", 30.0, "moderate", "moderate", "high"),  # extreme ">30" (from memory)
        ("rotation_deg", 10.0, "low", "moderate", "moderate"),
        ("rotation_deg", 30.0, "moderate", "moderate", "high"),
        ("tooth_length_mm", 25.0, "low", "low", "high"),  # "very long, >25 mm" (from memory)
    ],
)
def test_stated_limits_of_the_american_form(fact, limit, below, at, above):
    found = [
        grade("aae-2022", facts=CaseFacts(**{fact: value})).grade
        for value in (limit - EPS, limit, limit + EPS)
    ]
    assert found == [below, at, above]
    assert grade("aae-2022", facts=CaseFacts(**{fact: limit})).boundary is (at != above)


@pytest.mark.parametrize(
    ("stated", "level"),
    [
        ({"visibility": "clear"}, "low"),
        ({"visibility": "narrowed"}, "moderate"),
        ({"visibility": "not-visible"}, "high"),
        ({"crown_axis": "moderate"}, "moderate"),
        ({"crown_axis": "significant"}, "high"),
        ({"root_form": "unusual"}, "moderate"),
        ({"root_form": "complex"}, "high"),
        ({"resorption": "minimal"}, "moderate"),
        ({"resorption": "extensive"}, "high"),
        ({"previous_treatment": "access"}, "moderate"),
        ({"previous_treatment": "complication"}, "high"),
        ({"previous_treatment": "short-filling"}, "high"),  # completed treatment
        ({"trauma": "moderate"}, "moderate"),
        ({"trauma": "severe"}, "high"),
        ({"tooth": 11}, "low"),
        ({"tooth": 25}, "low"),
        ({"tooth": 36}, "moderate"),
        ({"tooth": 47}, "high"),
        ({"s_shape": True}, "high"),
        ({"s_shape": False}, "low"),
        ({"other_moderate": 1}, "moderate"),
        ({"other_high": 1}, "high"),
    ],
)
def test_stated_answers_of_the_american_form(stated, level):
    """From memory but for the easiest answers; one factor alone on a canal of 5 degrees."""
    assert grade("aae-2022", 5.0, facts=CaseFacts(**stated)).grade == level


@pytest.mark.parametrize(
    ("moderate", "high", "found"),
    [(0, 0, "low"), (1, 0, "moderate"), (2, 0, "moderate"), (3, 0, "high"), (5, 0, "high"), (0, 1, "high"), (2, 1, "high")],
)  # fmt: skip
def test_how_the_american_form_adds_up(moderate, high, found):
    """Form of 2022, read: one or two moderate factors are moderate; three or more, or one high, are high."""
    assert grade("aae-2022", 5.0, facts=CaseFacts(other_moderate=moderate, other_high=high)).grade == found


def test_moderate_factors_of_different_kinds_add_up_and_are_all_named():
    told = grade("aae-2022", 20.0, facts=CaseFacts(visibility="narrowed", inclination_deg=15.0))
    assert told.grade == "high"
    assert told.deciding_codes == ("curvature", "visibility", "inclination")
    assert told.deciding_factor.startswith("several factors that are moderate: canal curvature")


@pytest.mark.parametrize(
    ("stated", "code"),
    [
        ({"negotiable": True}, 1),
        ({"negotiable": False}, 3),
        ({"root_development": "incomplete"}, 2),
        ({"previous_treatment": "poor-filling"}, 1),
        ({"previous_treatment": "short-filling"}, 2),
        ({"previous_treatment": "full-filling"}, 3),
        ({"previous_treatment": "complication"}, 3),
        ({"resorption": "minimal"}, 3),
        ({"modifying_factors": True}, 2),
        ({"modifying_factors": True, "root_development": "incomplete"}, 3),
        ({"modifying_factors": True, "negotiable": False}, 3),
    ],
)
def test_stated_answers_of_the_english_index(stated, code):
    """Introduction read: a modifying factor raises by one code at most, and there is none above 3."""
    assert grade("rcs-2001", 5.0, facts=CaseFacts(**stated)).grade == f"complexity {code}"


def test_modifying_factor_is_named_beside_what_it_raised():
    told = grade("rcs-2001", 20.0, facts=CaseFacts(modifying_factors=True))
    assert told.grade == "complexity 3"
    assert told.deciding_codes == ("curvature", "modifying")
    assert told.deciding_factor.endswith("raised by modifying factors")


def test_beyond_the_original_classes_is_told():
    codes = [[flag.code for flag in grade("schneider-1971", angle).flags] for angle in (70.0, 70.1)]
    assert codes == [[], ["beyond_original"]]


def test_systems_disagree_on_35_degrees():
    """Above 30 is high in the American form, up to 40 is the middle code of the English index."""
    assert [grade(name, 35.0).grade for name in ("aae-2022", "rcs-2001")] == ["high", "complexity 2"]


def test_an_s_is_an_s_from_five_degrees_on():
    """Our limit, that of the forms I, J, C, S."""
    assert [grade("aae-2022", 5.0, turn=turn).grade for turn in (4.999, 5.0, 5.001)] == [
        "low",
        "high",
        "high",
    ]


@pytest.mark.parametrize(
    ("stated", "found"),
    [
        ({"visibility": "narrowed"}, "moderate"),
        ({"visibility": "not-visible"}, "high"),
        ({"curve_location": "coronal"}, "moderate"),
        ({"s_shape": True}, "high"),
    ],
)
def test_answers_of_the_composite(stated, found):
    assert grade("curvometer-composite", 12.0, radius=20.0, facts=CaseFacts(**stated)).grade == found


def test_every_set_names_its_source_its_edition_and_how_it_was_read():
    assert set(CURRENT_CRITERIA) == set(PUBLISHED_CRITERIA) - {"aae-2010"}
    for criteria in PUBLISHED_CRITERIA.values():
        assert criteria.source.citation
        assert criteria.edition
        for criterion in criteria.criteria:
            assert criterion.source is criteria.source
            assert criterion.edition == criteria.edition
            assert all(isinstance(part.how_read, HowRead) for part in (*criterion.limits, *criterion.answers))


def test_the_own_composite_says_that_it_has_no_source():
    composite = criteria_set("curvometer-composite")
    assert "own" in composite.title
    assert composite.source.how_read is HowRead.COMMON_PRACTICE
    assert {limit.how_read for c in composite.criteria[:2] for limit in c.limits} == {HowRead.COMMON_PRACTICE}


def test_what_was_not_read_is_not_claimed():
    """30 degrees of the American form and the English table are from memory and say so."""
    american = criteria_set("aae-2022").criterion("curvature").limits
    assert [limit.how_read for limit in american] == [HowRead.SECONDARY, HowRead.MEMORY]
    english = criteria_set("rcs-2001").criterion("curvature").limits
    assert {limit.how_read for limit in english} == {HowRead.MEMORY}
