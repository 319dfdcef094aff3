"""The grade box, driven by mouse and keys."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from panel_at_rest import settle, trace
from qtpy.QtCore import Qt
from qtpy.QtGui import QGuiApplication
from qtpy.QtWidgets import QComboBox, QWidget

from curvometer import FACT_ANSWERS, FACT_NUMBERS, GRADING_CAUTIONS, CanalName, Operator, load_radiograph
from curvometer.measurement.flags import flag
from curvometer_napari.grading import NO_ADVICE
from curvometer_napari.panel import CurvometerPanel
from curvometer_napari.panel.looks import MIN_TARGET_PX
from curvometer_napari.steps import State

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
limits = [12, 20]
essential = true
"""
"""Invented: the sample's 23 degrees are hard by it."""


@pytest.fixture
def graded(panel, qtbot, sample):
    """The first sample with its canal traced and accepted as MB."""
    one = sample("lower_molar")
    panel.session.set_radiograph(one.radiograph, source=str(one.path))
    trace(qtbot, panel, one)
    return panel.grade


def choose(qtbot: Any, panel: CurvometerPanel, field: QComboBox, text: str) -> None:
    """Choose by the keyboard: focus, and down to the text."""
    field.setFocus()
    for _ in range(abs(field.findText(text) - field.currentIndex())):
        down = field.findText(text) > field.currentIndex()
        qtbot.keyClick(field, Qt.Key.Key_Down if down else Qt.Key.Key_Up)
    settle(qtbot, panel)
    assert field.currentText() == text


def test_before_a_canal_is_traced_the_box_says_what_to_do(panel):
    assert panel.grade.header.state.text() == "to do"
    assert not panel.grade.form.isEnabled()
    assert panel.grade.grades.isHidden()


def test_a_grade_names_its_set_its_class_and_what_decided(graded):
    assert graded.header.mark.shape is State.DONE
    text = graded.grades.text()
    assert "American endodontists' form, 2022" in text
    assert "<b>moderate</b>" in text
    assert "canal curvature (Schneider angle) 23." in text
    assert "2022 (2022)" not in text
    assert all(caution in graded.cautions.text() for caution in GRADING_CAUTIONS)
    assert graded.disagreement.text().startswith("The sets disagree")


def test_an_answer_changes_the_grade_and_can_be_undone(graded, panel, qtbot):
    choose(qtbot, panel, graded.form.field("visibility"), "not visible")
    assert "<b>high</b>" in graded.grades.text()
    panel.session.undo()
    panel.session.undo()  # a step of its own for each answer on the way
    panel.session.undo()
    settle(qtbot, panel)
    assert "<b>high</b>" not in graded.grades.text()
    assert graded.form.field("visibility").currentText() == "not stated"


def test_who_would_treat_brings_a_suggestion_with_reasons(graded, panel, qtbot):
    assert graded.suggestion.text().startswith("Say who would treat")
    choose(qtbot, panel, graded.form.field("operator"), "a student under supervision")
    assert panel.session.case.stated.facts.operator is Operator.STUDENT
    assert "refer" in graded.suggestion.text()
    assert "– refer: moderate by American" in graded.suggestion.text()
    assert "decided by" not in graded.suggestion.text()  # it stands in the table


def test_a_number_is_stated_and_taken_back(graded, panel, qtbot):
    field = graded.form.field("apex_opening_mm")
    assert field.text() == "not stated"
    field.setValue(1.6)
    settle(qtbot, panel)
    assert panel.session.case.stated.facts.apex_opening_mm == 1.6
    assert "<b>high</b>" in graded.grades.text()  # above 1.5 mm (American form; from memory)
    field.setValue(field.minimum())
    settle(qtbot, panel)
    assert panel.session.case.stated.facts.apex_opening_mm is None


def test_missing_facts_are_marked_and_told(graded, panel, qtbot):
    label = graded.form._rows["visibility"][0]
    assert label.text().endswith("•")
    assert "A grade lacks it" in label.toolTip()
    assert "not known to a grade" in graded.form.field("visibility").accessibleName()
    choose(qtbot, panel, graded.form.field("visibility"), "clear")
    assert not label.text().endswith("•")
    assert graded.missing.isHidden()
    qtbot.mouseClick(graded.show_missing, Qt.MouseButton.LeftButton)
    assert "moderate at best, high at worst" in graded.missing.text()


def test_sources_are_shown_on_request(graded, qtbot):
    assert graded.sources.isHidden()
    qtbot.mouseClick(graded.show_sources, Qt.MouseButton.LeftButton)
    assert "from memory" in graded.sources.text()


def test_every_fact_has_a_named_field_that_is_high_enough(graded, qtbot):
    qtbot.mouseClick(graded.form.more, Qt.MouseButton.LeftButton)
    names = {"tooth", "operator", *FACT_ANSWERS, *FACT_NUMBERS} - {"position"}
    for name in names:
        field = graded.form.field(name)
        assert field.isVisible(), name
        assert field.accessibleName()
        assert field.height() >= MIN_TARGET_PX
        assert field.focusPolicy() & Qt.FocusPolicy.TabFocus


def test_folded_facts_keep_their_answers(graded, panel, qtbot):
    qtbot.mouseClick(graded.form.more, Qt.MouseButton.LeftButton)
    choose(qtbot, panel, graded.form.field("trauma"), "severe")
    qtbot.mouseClick(graded.form.more, Qt.MouseButton.LeftButton)
    assert graded.form.field("trauma").isHidden()
    assert panel.session.case.stated.facts.trauma == "severe"


def test_a_schools_file_that_is_none_is_told_and_changes_nothing(graded, panel, tmp_path):
    path = tmp_path / "school.toml"
    path.write_text(SCHOOL.replace("limits", "limit"), encoding="utf-8")
    before = panel.session.case
    graded.take_criteria(str(path))
    assert "school.toml" in panel.message.words.text()
    assert panel.session.case == before
    assert graded.drop_own.isHidden()


def test_a_schools_set_stands_first_and_can_be_left(graded, panel, qtbot, tmp_path):
    path = tmp_path / "school.toml"
    path.write_text(SCHOOL, encoding="utf-8")
    graded.take_criteria(str(path))
    settle(qtbot, panel)
    assert graded.grader.view().grades[0].criteria.name == "our-school-2026"
    assert graded.grader.view().grades[0].grade == "hard"
    qtbot.mouseClick(graded.drop_own, Qt.MouseButton.LeftButton)
    settle(qtbot, panel)
    assert "our school" not in graded.grades.text()


def test_the_file_in_use_is_read_anew_when_it_is_chosen_again(graded, panel, qtbot, tmp_path):
    path = tmp_path / "school.toml"
    path.write_text(SCHOOL, encoding="utf-8")
    graded.take_criteria(str(path))
    settle(qtbot, panel)
    step = panel.session.undo_text
    path.write_text(SCHOOL.replace("20]", "40]"), encoding="utf-8")
    graded.take_criteria(str(path))
    settle(qtbot, panel)
    assert "<b>fair</b>" in graded.grades.text()
    assert panel.session.undo_text == step  # nothing else was stated
    panel.session.undo()
    assert panel.session.case.stated.criteria_path == ""


def test_published_grades_stay_in_sight_beside_a_file_that_is_gone(graded, panel, qtbot, tmp_path):
    path = tmp_path / "school.toml"
    path.write_text(SCHOOL, encoding="utf-8")
    graded.take_criteria(str(path))
    path.unlink()
    settle(qtbot, panel)
    assert "school.toml" in graded.doubt.text()
    assert "<b>moderate</b>" in graded.grades.text()
    assert graded.header.mark.shape is State.PROBLEM
    assert graded.drop_own.isVisible()


def test_a_warning_leaves_no_advice_below_it(graded, panel, qtbot):
    choose(qtbot, panel, graded.form.field("operator"), "a specialist")
    assert "treat" in graded.suggestion.text()
    result = panel.session.result(CanalName.MB)
    flags = (flag("trace_left_ridge"),)
    panel.session._results[CanalName.MB] = replace(
        result, measurement=replace(result.measurement, flags=flags)
    )
    panel.refresh()
    assert "Do not trust these grades" in graded.doubt.text()
    assert NO_ADVICE in graded.suggestion.text()
    assert "treat" not in graded.suggestion.text()


@pytest.mark.usefixtures("graded")
def test_the_copied_text_has_the_grade_and_no_grade_when_there_is_none(panel, qtbot):
    clipboard = QGuiApplication.clipboard()
    qtbot.mouseClick(panel.measurements.copy_text, Qt.MouseButton.LeftButton)
    told = clipboard.text()
    assert told.startswith("Root canal curvature: MB")
    assert "Difficulty: MB" in told
    assert "American endodontists' form, 2022: moderate" in told
    draft = replace(panel.session.case.current, accepted=False)
    panel.session.do(replace(panel.session.case, tracings=(draft,)), "not accepted")
    settle(qtbot, panel)
    qtbot.mouseClick(panel.measurements.copy_text, Qt.MouseButton.LeftButton)
    assert "Difficulty" not in clipboard.text()


def test_a_missing_measure_is_told_in_words(panel, qtbot, sample):
    """Without a scale there is no radius; codes of flags are for programs."""
    one = sample("lower_molar")
    panel.session.set_radiograph(load_radiograph(one.path.with_suffix(".png")))
    panel.session.start_tracing(CanalName.MB)
    panel.session.click(one.orifice_rc)
    panel.session.click(one.foramen_rc)
    settle(qtbot, panel)
    panel.session.accept()
    settle(qtbot, panel)
    qtbot.mouseClick(panel.grade.show_missing, Qt.MouseButton.LeftButton)
    assert "radius (three points), not measured: needs a scale" in panel.grade.missing.text()


def test_the_box_is_no_wider_than_the_panel(graded, panel, qtbot):
    qtbot.mouseClick(graded.form.more, Qt.MouseButton.LeftButton)
    qtbot.mouseClick(graded.show_sources, Qt.MouseButton.LeftButton)
    qtbot.wait(50)
    room = panel.area.viewport().width()
    for widget in graded.findChildren(QWidget):
        if widget.isVisible() and widget.parentWidget() is graded.content:
            assert widget.width() <= room
