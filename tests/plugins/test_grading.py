"""Grades of the selected canal, made anew when what they answer changes and only then."""

from __future__ import annotations

import os
from dataclasses import replace

import pytest

from curvometer import GRADING_CAUTIONS, CanalName, Operator, Severity
from curvometer.measurement.flags import flag
from curvometer_napari import grading
from curvometer_napari.grading import Grader, GradeView, grade_step, grade_text
from curvometer_napari.steps import State

PUBLISHED = 5
"""Sets that come with the program: American form, English index, Schneider's and the radius classes, its own composite."""
SCHOOL = """
name = "our-school-2026"
title = "our school, 2026"
edition = "2026"
source = "Course notes of our school, 2026"
classes = ["easy", "fair", "hard"]

[[criteria]]
code = "curvature"
title = "bend of the canal"
quantity = "schneider_angle"
limits = [12, {harder}]
essential = true
"""
"""Invented. The sample's angle of 23.4 degrees is hard by a limit of 20 and fair by one of 40."""


@pytest.fixture
def traced(session, sample):
    """The first sample with its canal traced as MB."""
    session.trace(sample("lower_molar"))
    return session


def accepted(session):
    session.accept()
    session.settle()
    return session


def state(session, **facts):
    session.do(replace(session.case, stated=session.case.stated.with_facts(**facts)), "stating facts")


def by_name(view):
    return {grade.criteria.name: grade for grade in view.grades}


def test_a_canal_that_is_not_accepted_has_no_grade(traced):
    grader = Grader(traced)
    assert grader.view().grades == ()
    assert "accept" in grade_step(traced, grader.view()).words
    assert by_name(Grader(accepted(traced)).view())["aae-2022"].grade == "moderate"


def test_the_sample_is_moderate_and_a_narrow_canal_decides(traced):
    """Schneider's angle of the sample is 23.4 degrees: 10 to 30 is moderate (American form); not visible is high."""
    grader = Grader(accepted(traced))
    assert by_name(grader.view())["aae-2022"].words.startswith("moderate")
    state(traced, visibility="not-visible")
    grade = by_name(grader.view())["aae-2022"]
    assert grade.grade == "high"
    assert "not-visible" in grade.deciding_factor
    traced.undo()
    assert by_name(grader.view())["aae-2022"].grade == "moderate"


def test_a_suggestion_needs_somebody_who_would_treat(traced):
    grader = Grader(accepted(traced))
    assert grader.view().suggestion is None
    state(traced, operator=Operator.STUDENT)
    assert str(grader.view().suggestion.advice) == "refer"
    state(traced, operator=Operator.SPECIALIST)
    assert str(grader.view().suggestion.advice) == "treat"


def test_grades_are_made_once_per_question(traced, monkeypatch):
    calls = []
    made = grading.grade_difficulty
    monkeypatch.setattr(grading, "grade_difficulty", lambda *a, **k: calls.append(1) or made(*a, **k))
    grader = Grader(accepted(traced))
    assert grader.view() is grader.view()
    state(traced, tooth=36)
    assert grader.view() is grader.view()
    assert len(calls) == 2 * PUBLISHED


def test_while_a_canal_is_measured_anew_the_old_grade_is_told_as_old(traced, sample):
    grader = Grader(accepted(traced))
    before = grader.view()
    anchors = (sample("lower_molar").orifice_rc, (1150.0, 680.0))
    tracing = replace(traced.case.current, anchors_rc=anchors)
    traced.preview(replace(traced.case, tracings=(tracing,)))
    view = grader.view()
    assert view.stale
    assert view.grades == before.grades
    assert "updating" in grade_step(traced, view).words


def doubt(session):
    """Put a flag on the canal's measurement that says not to trust it."""
    result = session._results[CanalName.MB]
    doubted = replace(result.measurement, flags=(flag("trace_left_ridge"),))
    assert doubted.flags[0].severity is Severity.DO_NOT_TRUST
    session._results[CanalName.MB] = replace(result, measurement=doubted)


def test_a_measurement_not_to_be_trusted_makes_such_a_grade(traced):
    doubt(accepted(traced))
    view = Grader(traced).view()
    assert view.doubt.startswith("Do not trust these grades: ")
    assert grade_step(traced, view).state is State.PROBLEM


def test_no_advice_follows_from_grades_that_must_not_be_trusted(traced):
    state(accepted(traced), operator=Operator.SPECIALIST)
    assert str(Grader(traced).view().suggestion.advice) == "treat"
    doubt(traced)
    view = Grader(traced).view()
    assert len(view.grades) == PUBLISHED
    assert view.suggestion is None
    assert "Suggestion" not in grade_text(view)


# --- a school's own criteria ----------------------------------------------------------------------------------


@pytest.fixture
def school(traced, tmp_path):
    """The sample graded by a school's file, too; its classes can be written anew."""
    path = tmp_path / "school.toml"
    path.write_text(SCHOOL.format(harder=20), encoding="utf-8")
    stated = replace(accepted(traced).case.stated, criteria_path=str(path))
    traced.do(replace(traced.case, stated=stated), "own criteria")
    return path


def test_a_schools_set_stands_first(traced, school):  # noqa: ARG001 - chosen there
    first, *others = Grader(traced).view().grades
    assert (first.criteria.name, first.grade) == ("our-school-2026", "hard")
    assert len(others) == PUBLISHED


@pytest.mark.parametrize("damage", ["gone", "no_toml", "no_criteria", "a_folder"])
def test_what_is_wrong_with_the_schools_file_takes_no_published_grade_along(traced, school, damage):
    grader = Grader(traced)
    assert grader.view().problem == ""
    school.unlink()
    if damage == "a_folder":
        school.mkdir()
    elif damage != "gone":
        told = {"no_toml": "name = ", "no_criteria": SCHOOL.partition("[[")[0]}[damage]
        school.write_text(told, encoding="utf-8")
    for each in (grader, Grader(traced)):  # while at work, and when taken up again
        view = each.view()
        assert "school.toml" in view.problem
        assert len(view.grades) == PUBLISHED
        assert view.grades[0].criteria.name == "aae-2022"
        assert grade_step(traced, view).state is State.PROBLEM
        assert "school.toml" in grade_text(view)


def test_a_file_that_is_back_counts_again(traced, school):
    grader, text = Grader(traced), school.read_text(encoding="utf-8")
    school.unlink()
    assert len(grader.view().grades) == PUBLISHED
    school.write_text(text, encoding="utf-8")
    assert grader.view().grades[0].grade == "hard"
    assert grader.view().problem == ""


def test_a_file_that_was_changed_is_read_anew(traced, school):
    grader = Grader(traced)
    assert grader.view().grades[0].grade == "hard"
    before = school.stat()
    school.write_text(SCHOOL.format(harder=40), encoding="utf-8")
    os.utime(school, ns=(before.st_atime_ns, before.st_mtime_ns + 1_000_000_000))
    assert grader.view().grades[0].grade == "fair"


def test_a_file_that_looks_unchanged_is_read_anew_on_request(traced, school):
    """A copy may keep its time, and both texts have the same length."""
    grader = Grader(traced)
    assert grader.view().grades[0].grade == "hard"
    before = school.stat()
    school.write_text(SCHOOL.format(harder=40), encoding="utf-8")
    os.utime(school, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert grader.view().grades[0].grade == "hard"
    grader.read_anew()
    assert grader.view().grades[0].grade == "fair"


# --- as text --------------------------------------------------------------------------------------------------


def test_the_text_names_each_set_with_class_and_what_decided_and_cautions_once(traced):
    state(accepted(traced), operator=Operator.GENERAL)
    view = Grader(traced).view()
    text = " ".join(grade_text(view).split())
    for grade in view.grades:
        assert f"{grade.criteria.title}: {grade.words}" in text
        assert grade.grade is None or f"decided by {grade.deciding_factor}" in text
    assert str(view.suggestion) in text
    assert all(text.count(caution) == 1 for caution in GRADING_CAUTIONS)
    assert max(len(line) for line in grade_text(view).splitlines()) <= 92


def test_the_text_begins_with_why_grades_must_not_be_trusted(traced):
    doubt(accepted(traced))
    lines = grade_text(Grader(traced).view()).splitlines()
    assert lines[0] == "Difficulty: MB"
    assert lines[1].startswith("Do not trust these grades: ")


def test_without_a_grade_there_is_no_text():
    assert grade_text(GradeView(canal=None)) == ""
