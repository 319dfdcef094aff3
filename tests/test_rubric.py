"""The rubric: the default's numbers, a teacher's own file, complaints with their line, bands that never rise."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.rubric import ITEM_UNITS, Band, Item, RubricItem, Scoring, band
from curvometer.assessment.rubric_file import DEFAULT_RUBRIC, DEFAULT_RUBRIC_TEXT, load_rubric

OWN = """\
title = "Second year"
scoring = "linear"

[[items]]
item = "angle"
points = 60
full_deg = 4
half_deg = 8

[[items]]
item = "mean_distance"
points = 40
"""


def test_the_default_has_the_weights_and_limits_of_the_plan():
    """Weights 10, 10, 20, 10, 10, 15, 10, 10, 5 and limits: the project's proposal, common practice without a source."""
    told = [(row.item.value, row.points, row.full, row.half) for row in DEFAULT_RUBRIC.items]
    assert told == [
        ("image", 10, None, None),
        ("calibration", 10, 2, 5),
        ("mean_distance", 20, 0.15, 0.30),
        ("far_distance", 10, 0.30, 0.60),
        ("curve", 10, 1, 2),
        ("angle", 15, 3, 6),
        ("radius", 10, 15, 30),
        ("grade", 10, None, None),
        ("plan", 5, None, None),
    ]
    assert sum(row.points for row in DEFAULT_RUBRIC.items) == 100
    assert DEFAULT_RUBRIC.unsafe_plan_percent == 49
    assert DEFAULT_RUBRIC.scoring is Scoring.STEPS


def test_the_default_is_what_its_text_says_and_stands_for_an_empty_one(tmp_path):
    path = tmp_path / "rubric.toml"
    path.write_text(DEFAULT_RUBRIC_TEXT)
    assert load_rubric(path) == load_rubric(str(path)) == load_rubric("") == DEFAULT_RUBRIC
    assert load_rubric(DEFAULT_RUBRIC_TEXT) == DEFAULT_RUBRIC


def test_a_file_of_ones_own():
    rubric = load_rubric(OWN)
    assert rubric.title == "Second year"
    assert rubric.source == "the teacher"
    assert rubric.scoring is Scoring.LINEAR
    angle, mean = rubric.items
    assert (angle.full, angle.half) == (4, 8)
    assert (mean.full, mean.half, mean.title) == (0.15, 0.30, "Centreline, mean distance")  # the default's


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("points = 60", 'points = "many"', 6, "write a number"),
        ("points = 60", "points = -1", 6, "from 0 to 1000"),
        ("points = 60", "points = true", 6, "write a number"),
        ("points = 60", "points = nan", 6, "write a number"),
        ("points = 60\n", "", 4, "points is missing: add points = ..."),
        ('"angle"', '"angel"', 5, "the item 'angel' is unknown: write one of image, calibration"),
        ('"mean_distance"', '"angle"', 11, "stands twice"),
        ("full_deg = 4", "full_mm = 4", 7, "the key 'full_mm' is unknown here"),
        ("full_deg = 4", "full_deg = 9", 8, "half_deg = 8 is below full_deg = 9"),
        ("full_deg = 4", "full_deg = 0", 7, "nobody traces without any error"),
        ("full_deg = 4\n", "", 4, "needs full_deg"),
        ('"linear"', '"curved"', 2, 'write "steps" or "linear"'),
        ('title = "Second year"', "title = 3", 1, "write one in quotation marks"),
        ('title = "Second year"', "score = 3", 1, "the key 'score' is unknown here"),
        ("points = 40", "points =", 12, "this is not TOML"),
    ],
)
def test_every_complaint_names_its_line(old, new, line, words):
    assert old in OWN
    with pytest.raises(AssessmentError, match=re.escape(words)) as error:
        load_rubric(OWN.replace(old, new, 1))
    assert f"line {line}: " in str(error.value)


def test_files_that_are_none(tmp_path):
    with pytest.raises(AssessmentError, match="no such file"):
        load_rubric(tmp_path / "absent.toml")
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(AssessmentError, match="not a text in UTF-8"):
        load_rubric(tmp_path / "binary.toml")
    (tmp_path / "large.toml").write_bytes(b"#" * 2**17)
    with pytest.raises(AssessmentError, match="larger than any rubric"):
        load_rubric(tmp_path / "large.toml")
    with pytest.raises(AssessmentError, match="there are no items"):
        load_rubric('title = "empty"\n')
    with pytest.raises(AssessmentError, match="worth any points"):
        load_rubric('[[items]]\nitem = "image"\npoints = 0\n')


def test_every_item_has_limits_in_its_unit():
    for item in Item:
        keys = f"full_{ITEM_UNITS[item]} = 1\nhalf_{ITEM_UNITS[item]} = 2\n" if item in ITEM_UNITS else ""
        row = load_rubric(f'[[items]]\nitem = "{item}"\npoints = 1\n{keys}').items[0]
        assert (row.full is not None) == (item in ITEM_UNITS)
        assert row.title


@pytest.mark.parametrize(
    ("error", "steps", "linear"),
    [(0.0, 1, 1), (3.0, 1, 1), (4.5, 0.5, 0.75), (6.0, 0.5, 0.5), (7.5, 0, 0.25), (9.0, 0, 0), (1e9, 0, 0)],
)
def test_points_between_the_limits(error, steps, linear):
    limits = Band(full=3.0, half=6.0)
    assert limits.share(error, Scoring.STEPS) == steps
    assert limits.share(error, Scoring.LINEAR) == pytest.approx(linear)


@given(
    st.floats(0.01, 10),
    st.floats(0, 10),
    st.floats(0, 20),
    st.floats(0, 20),
    st.floats(0, 60),
    st.floats(0, 60),
    st.sampled_from(list(Scoring)),
)
def test_a_larger_error_never_earns_more_and_a_spread_never_less(
    full, more, spread, doubt, error, further, scoring
):
    row = RubricItem(item=Item.ANGLE, title="", points=1, full=full, half=full + more)
    narrow, wide = band(row), band(row, spread=spread, doubt=doubt)
    assert wide.share(error + further, scoring) <= wide.share(error, scoring)
    assert wide.share(error, scoring) >= narrow.share(error, scoring)
    assert wide.share(min(error, spread), scoring) == 1.0  # nobody is marked down inside the experts' spread


def test_why_a_limit_is_wider():
    row = RubricItem(item=Item.ANGLE, title="", points=1, full=3.0, half=6.0)
    assert band(row, spread=2.0) == Band(full=3.0, half=6.0)
    assert band(row, spread=8.0) == Band(full=8.0, half=11.0, widened_by="the experts differ by as much")
    # The reference's own doubt counts up to the limit for half of the points.
    assert band(row, doubt=15.0) == Band(full=6.0, half=9.0, widened_by="the reference is not known better")
