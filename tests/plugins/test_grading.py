"""Grades of the selected canal, made anew when what they answer changes and only then."""

from __future__ import annotations

from dataclasses import replace

import pytest

from curvometer import CanalName, Operator, Severity
from curvometer.measurement.flags import flag
from curvometer_napari import grading
from curvometer_napari.grading import Grader, grade_step
from curvometer_napari.steps import State


@pytest.fixture
def traced(session, sample):
    """The first sample with its canal traced as MB."""
    one = sample("lower_molar")
    session.set_radiograph(one.radiograph, source=str(one.path))
    session.start_tracing(CanalName.MB)
    session.click(one.orifice_rc)
    session.click(one.foramen_rc)
    session.settle()
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
    made = grading.grade_all
    monkeypatch.setattr(grading, "grade_all", lambda *a, **k: calls.append(1) or made(*a, **k))
    grader = Grader(accepted(traced))
    assert grader.view() is grader.view()
    state(traced, tooth=36)
    assert grader.view() is grader.view()
    assert len(calls) == 2


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


def test_a_measurement_not_to_be_trusted_makes_such_a_grade(traced):
    accepted(traced)
    result = traced._results[CanalName.MB]
    doubted = replace(result.measurement, flags=(flag("trace_left_ridge"),))
    assert doubted.flags[0].severity is Severity.DO_NOT_TRUST
    traced._results[CanalName.MB] = replace(result, measurement=doubted)
    view = Grader(traced).view()
    assert view.doubt.startswith("Do not trust these grades: ")
    assert grade_step(traced, view).state is State.PROBLEM


def test_a_criteria_file_that_went_away_is_told(traced, tmp_path):
    accepted(traced)
    stated = replace(traced.case.stated, criteria_path=str(tmp_path / "gone.toml"))
    traced.do(replace(traced.case, stated=stated), "own criteria")
    view = Grader(traced).view()
    assert "gone.toml" in view.problem
    assert grade_step(traced, view).state is State.PROBLEM
