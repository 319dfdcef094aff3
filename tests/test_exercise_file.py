"""The teacher's exercise.toml: what it may say, and complaints that name the line."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curvometer.assessment import AssessmentError, Purpose, Task
from curvometer.assessment.exercise_file import Order, check_exercise_text, load_exercise_file

GOOD = """\
name = "curves-1"
title = "First curves"
purpose = "practice"
criteria = "rcs-2001"
order = "as-written"

[[images]]
phantom = { angle_deg = 30, radius_mm = 7.5, kind = "canine", film = 2 }
scenario = { operator = "general", reached_size = 15 }

[[images]]
file = "films/a.png"
tooth = 46
canal = "MB"
references = { ab = "references/a_ab.json" }
tasks = ["trace", "grade"]
mm_per_pixel = 0.02

[[images]]
file = "films/b.png"
tooth = 21
canal = "single"
acceptable = false
reasons = ["apex-cut-off"]

[images.known_length]
what = "file, stop to tip"
length_mm = 21.0
"""


def complaint(tmp_path, text):
    path = tmp_path / "exercise.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(AssessmentError) as caught:
        load_exercise_file(tmp_path)
    told = str(caught.value)
    assert told.startswith(str(path))
    assert "\n" not in told
    return told.removeprefix(str(path))


def test_everything_that_may_be_said_is_read(tmp_path):
    (tmp_path / "exercise.toml").write_text(GOOD, encoding="utf-8")
    exercise = load_exercise_file(tmp_path)
    film, own, bad = exercise.images
    assert (exercise.name, exercise.purpose, exercise.order) == (
        "curves-1",
        Purpose.PRACTICE,
        Order.AS_WRITTEN,
    )
    assert film.phantom is not None
    assert (film.phantom.angle_deg, film.phantom.kind, film.scenario.reached_size) == (30.0, "canine", 15)
    assert (own.tasks, own.references) == ([Task.TRACE, Task.GRADE], {"ab": "references/a_ab.json"})
    assert (bad.acceptable, bad.known_length.length_mm, bad.known_length.tolerance_mm) == (False, 21.0, 0.5)


def test_windows_line_ends_and_a_byte_order_mark_are_no_matter(tmp_path):
    (tmp_path / "exercise.toml").write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert len(load_exercise_file(tmp_path).images) == 3


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('name = "curves-1"', 'name = "curves 1"', 1, "letters, digits"),
        ('name = "curves-1"\n', "", 1, "name is missing"),
        ('"practice"', '"exam"', 3, "marked"),
        ('"rcs-2001"', '"rcs-1999"', 4, "there are no criteria 'rcs-1999'"),
        ("criteria =", "criterium =", 4, "'criterium' is unknown: known are name, title"),
        ("angle_deg = 30", "angle_deg = 95", 8, "angle_deg is 95"),
        ("angle_deg = 30", 'angle_deg = "steep"', 8, "valid number"),
        ("angle_deg = 30", "angle_deg = nan", 8, "angle_deg"),
        ("angle_deg = 30, ", "", 8, "angle_deg is missing"),
        ('"canine"', '"tusk"', 8, "write one of lower_molar"),
        ("film = 2", "film = 9", 8, "film is 9"),
        ("film = 2", "colour = 2", 8, "'colour' is unknown: known are angle_deg"),
        ('"general"', '"dentist"', 9, "student"),
        ("phantom = {", 'file = "c.png"\nphantom = {', 7, "file = ... or phantom"),
        ("tooth = 46\n", "", 11, "needs tooth"),
        ("tooth = 46", "tooth = 49", 13, "49"),
        ('canal = "MB"', 'canal = "P"', 14, "has no canal 'P'"),
        ('canal = "MB"', 'canal = "X"', 14, "canal is 'X'"),
        ('references = { ab = "references/a_ab.json" }\n', "", 11, "needs references"),
        ("{ ab =", '{ "a b" =', 15, "letters, digits"),
        ('"trace", "grade"', '"trace", "draw"', 16, "draw"),
        ('"trace", "grade"', '"trace", "trace"', 16, "twice"),
        ('"trace", "grade"', '"calibrate"', 16, "known length"),
        ('"trace", "grade"', '"plan"', 16, "working_length_mm"),
        ("mm_per_pixel = 0.02", "mm_per_pixel = -1", 17, "greater than 0"),
        ("mm_per_pixel = 0.02", "mm_per_pixel = true", 17, "valid number"),
        ('"apex-cut-off"', '"ugly"', 24, "no reason to reject"),
        ("acceptable = false\n", "", 19, "needs references"),
        ("length_mm = 21.0", "length_mm = 0", 28, "greater than 0"),
        ("length_mm = 21.0", "", 26, "length_mm is missing"),
        ('title = "First curves"', "title = First", 2, "not TOML"),
    ],
)  # fmt: skip
def test_a_complaint_names_the_line_and_what_is_needed(tmp_path, old, new, line, words):
    assert old in GOOD
    told = complaint(tmp_path, GOOD.replace(old, new, 1))
    assert told.startswith(f", line {line}: "), told
    assert words in told


def test_a_grade_must_be_a_class_of_the_criteria(tmp_path):
    told = complaint(tmp_path, GOOD.replace("tooth = 46", 'tooth = 46\ngrade = "extreme"'))
    assert told.startswith(", line 14: grade is 'extreme': write one of ")


def test_facts_of_the_case_are_checked(tmp_path):
    told = complaint(
        tmp_path, GOOD.replace("tooth = 46", 'tooth = 46\nscenario = { facts = { trauma = "much" } }')
    )
    assert told.startswith(", line 14: ")
    assert "none, moderate, severe" in told
    told = complaint(tmp_path, GOOD.replace("tooth = 46", "tooth = 46\nscenario = { facts = { shoe = 43 } }"))
    assert "known are tooth, canal" in told


def test_an_exercise_needs_images(tmp_path):
    assert "[[images]]" in complaint(tmp_path, 'name = "a"\n')


def test_a_missing_huge_or_binary_file_is_told(tmp_path):
    with pytest.raises(AssessmentError, match=r"cannot be read \(no such file"):
        load_exercise_file(tmp_path)
    (tmp_path / "exercise.toml").write_bytes(b"#" * (2**20 + 1))
    with pytest.raises(AssessmentError, match="larger than any exercise"):
        load_exercise_file(tmp_path)
    (tmp_path / "exercise.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(AssessmentError, match="UTF-8"):
        load_exercise_file(tmp_path)


@settings(max_examples=150, deadline=None)
@given(
    cut=st.tuples(st.integers(0, len(GOOD)), st.integers(0, 30)),
    inserted=st.text(alphabet='abc019."=[]{}\n#,-', max_size=12),
)
def test_any_edit_is_read_or_refused_in_one_sentence_with_a_line(tmp_path_factory, cut, inserted):
    start, length = cut
    text = GOOD[:start] + inserted + GOOD[start + length :]
    path = tmp_path_factory.getbasetemp() / "exercise.toml"
    told = ""
    try:
        check_exercise_text(text, path)
    except AssessmentError as error:
        told = str(error)
    if told:
        found = re.match(rf"{re.escape(str(path))}, (line (\d+)|last line): .", told)
        assert found, told
        assert int(found.group(2) or 1) <= text.count("\n") + 1
