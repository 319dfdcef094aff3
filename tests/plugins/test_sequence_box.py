"""The sequence box in the panel: stated, planned, begun, treated step by step, and taken up again."""

# ruff: noqa: ARG001 - fixtures set the stage by being asked for
from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from panel_at_rest import settle
from qtpy.QtCore import Qt
from qtpy.QtWidgets import QPushButton

from curvometer import (
    PLANNING_CAUTIONS,
    CanalName,
    Outcome,
    PlanAnswer,
    SequencePlan,
    ask_recommenders,
    load_treatment,
    save_treatment,
)
from curvometer_napari import case as edits
from curvometer_napari.case import Case, Tracing
from curvometer_napari.panel import CurvometerPanel, chair, saving
from curvometer_napari.panel.chair import LEAST_TARGET_PX
from curvometer_napari.panel.found_fields import SIZES
from curvometer_napari.panel.sequence_box import SequenceBox
from curvometer_napari.stated import CanalFound, Stated
from curvometer_sequences import recommend_by_table

MB = CanalName.MB


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch, solve_once: None) -> None:
    """No test waits for a canal that is solved already, nor for the pause after an entry."""
    monkeypatch.setattr(chair, "PAUSE_MS", 0)


@pytest.fixture
def box(panel: CurvometerPanel, qtbot: Any, sample: Callable[[str], Any]) -> SequenceBox:
    """The first sample with its canal traced as MB, a working length of 21 mm, and hand 8 at length."""
    one = sample("lower_molar")
    tracing = Tracing(name=MB, anchors_rc=(one.orifice_rc, one.foramen_rc), accepted=True)
    stated = Stated().with_found(MB, CanalFound(working_length_mm=21.0, reached_size=8))
    case = Case(tracings=(tracing,), selected=MB, stated=stated)
    panel.session.set_radiograph(one.radiograph, source=str(one.path), case=case)
    settle(qtbot, panel)
    return panel.sequence


@pytest.fixture
def begun(box: SequenceBox, panel: CurvometerPanel, qtbot: Any) -> SequenceBox:
    """A treatment by the first plan."""
    press(qtbot, panel, box.plan)
    press(qtbot, panel, box.begin)
    return box


def press(qtbot: Any, panel: CurvometerPanel, button: QPushButton) -> None:
    assert button.isVisible()
    assert button.isEnabled()
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    settle(qtbot, panel)


def choose_reached(box: SequenceBox, size: int | None) -> None:
    box.found.reached.setCurrentIndex(SIZES.index(size))
    box.found.reached.activated.emit(SIZES.index(size))


def offers_motor(box: SequenceBox) -> bool:
    """Whether a person could tick a motor step now."""
    told = box.chair._told
    return told is not None and told.step is not None and told.step.is_rotary and box.chair.isEnabled()


def newest_file(box: SequenceBox) -> Any:
    return load_treatment(box.logs.path(MB))


# --- stating ----------------------------------------------------------------------------------------------


def test_each_statement_is_a_step_that_can_be_undone(box, panel, qtbot):
    found = box.found
    assert panel.session.case.stated.found(MB) == CanalFound(working_length_mm=21.0, reached_size=8)
    found.fit.activated.emit(2)
    found.explored_size.setCurrentIndex(2)
    found.explored_depth.setValue(17.5)
    press(qtbot, panel, found.note)
    found.blocked.click()
    found.split.click()
    settle(qtbot, panel)
    whole = CanalFound(
        working_length_mm=21.0,
        reached_size=8,
        forced=True,
        explored_mm=((10, 17.5),),
        blocked=True,
        split=True,
    )
    assert panel.session.case.stated.found(MB) == whole
    assert found.depths.text() == "Hand files went: size 10 to 17.5 mm."
    assert panel.session.undo_text == "state splits of MB"
    for _ in range(2):
        panel.session.undo()
    settle(qtbot, panel)
    assert not found.blocked.isChecked()
    assert not found.split.isChecked()
    press(qtbot, panel, found.clear)
    assert found.depths.isHidden()
    choose_reached(box, 0)
    settle(qtbot, panel)
    assert panel.session.case.stated.found(MB) == CanalFound(working_length_mm=21.0, reached_size=0)
    assert not found.fit.isEnabled()
    found.length.setValue(found.length.minimum())
    assert panel.session.case.stated.found(MB).working_length_mm is None
    assert found.length.text() == "not measured"


def test_an_assumed_working_length_is_told_as_assumed_and_plans_no_motor(box, panel, qtbot):
    box.found.length.setValue(box.found.length.minimum())
    settle(qtbot, panel)
    assert "Assumed, about 20.9 mm" in box.assumed.text()  # 11.86 mm of canal and 9 mm of crown
    press(qtbot, panel, box.plan)
    assert "Advice: refer" in box.advice.text()
    assert box.begin.isHidden()
    assert box.view.isHidden()


# --- a plan -----------------------------------------------------------------------------------------------


def test_a_plan_stands_as_list_and_drawing_with_its_cautions_once(box, panel, qtbot):
    press(qtbot, panel, box.plan)
    plan = box.view.drawing.plan
    assert box.view.steps.count() == len(plan.steps)
    assert "central angle of the bend, 46.8°" in box.view.canal.text()
    assert "Schneider's angle of the same canal is 23.4°" in box.view.canal.text()
    shown = " ".join(
        words.text()
        for words in (box.view.cautions, box.view.shared, box.view.own, box.view.ends, box.advice)
    )
    for caution in PLANNING_CAUTIONS:
        assert shown.count(caution) == 1
    assert box.chair.isHidden()
    assert box.view.steps.item(1).text().startswith("2  rotary 10/.02 to 21.0 mm = WL, 600 rpm")


def test_list_and_drawing_select_the_same_step(box, panel, qtbot):
    press(qtbot, panel, box.plan)
    box.view.steps.setCurrentRow(3)
    assert box.view.drawing.selected == 3
    assert box.view.own.text().startswith("<b>Step 4</b>")
    box.view.drawing.chosen.emit(5)
    assert box.view.steps.currentRow() == 5


def test_no_line_of_the_list_is_cut(box, panel, qtbot):
    press(qtbot, panel, box.plan)
    steps = box.view.steps
    room = steps.viewport().width() - steps.iconSize().width() - 12
    assert steps.widest_row_px() <= room


def test_another_recommenders_plan_can_be_chosen_and_begun(box, panel, qtbot):
    press(qtbot, panel, box.plan)
    box.view.choice.setCurrentIndex(1)
    box.view.choice.activated.emit(1)
    assert box.view.drawing.plan.is_hand_only
    press(qtbot, panel, box.begin)
    assert newest_file(box).plan.is_hand_only


def test_what_changes_after_planning_takes_the_plan_away(box, panel, qtbot):
    press(qtbot, panel, box.plan)
    assert not box.view.isHidden()
    choose_reached(box, 10)
    settle(qtbot, panel)
    assert box.view.isHidden()
    assert box.begin.isHidden()
    assert box.plan.isVisible()


def test_a_refused_plan_is_told_with_its_rule(box, panel, qtbot):
    def ask(request: Any) -> PlanAnswer:
        def careless(asked: Any) -> SequencePlan:
            whole = recommend_by_table(asked)
            return replace(whole, steps=whole.steps[:2])

        return ask_recommenders(request, recommenders={"careless": careless})

    box.planner._ask = ask
    press(qtbot, panel, box.plan)
    assert box.refused.text().startswith("No plan from careless: ")
    assert "(hand-confirms)" in box.refused.text()
    assert box.begin.isHidden()


# --- at the chair -----------------------------------------------------------------------------------------


def test_targets_at_the_chair_are_large_and_stand_above_the_list(begun):
    targets = [begun.chair.reached, begun.chair.less, begun.chair.more, begun.chair.amount]
    targets += begun.chair.others.values()
    for target in targets:
        assert target.isVisible()
        assert target.height() >= LEAST_TARGET_PX
        assert target.width() >= LEAST_TARGET_PX
    assert begun.chair.y() + begun.chair.height() <= begun.view.y()
    assert begun.found.isHidden()


def test_an_entry_is_on_the_disk_at_once_and_the_next_step_follows(begun, panel, qtbot):
    assert "Hand 08/.02" in begun.chair.headline.text()
    begun.log.who.setText("AB")
    press(qtbot, panel, begun.chair.reached)
    (entry,) = newest_file(begun).log.entries
    assert (entry.outcome, entry.who) == (Outcome.REACHED, "AB")
    assert "Rotary 10/.02" in begun.chair.headline.text()
    assert offers_motor(begun)
    assert begun.view.drawing.now == 1
    assert "(done)" in begun.view.steps.item(0).text()
    assert "(next)" in begun.view.steps.item(1).text()


def test_short_by_so_much_is_planned_anew_and_taken_up(begun, panel, qtbot):
    press(qtbot, panel, begun.chair.reached)
    press(qtbot, panel, begun.chair.more)
    press(qtbot, panel, begun.chair.more)
    assert begun.chair.others[Outcome.SHORT].text() == "Short by 2.0 mm"
    press(qtbot, panel, begun.chair.others[Outcome.SHORT])
    assert "Hand 08/.02" in begun.chair.headline.text()  # goes down again first
    assert begun.chair.amount.value() == 1.0
    press(qtbot, panel, begun.chair.reached)
    assert "Ask for a new plan" in begun.chair.headline.text()
    assert not offers_motor(begun)
    assert begun.view.isHidden()  # the plan that fell short is not shown as if it went on
    press(qtbot, panel, begun.plan)
    assert begun.begin.text().startswith("Take up by-table")
    press(qtbot, panel, begun.begin)
    assert len(newest_file(begun).log.entries) == 4
    assert "used once" in begun.log.pieces.text()
    assert "put away" in begun.log.pieces.text()


def test_a_fracture_is_asked_for_twice_and_stops(begun, panel, qtbot):
    press(qtbot, panel, begun.chair.reached)
    broke = begun.chair.others[Outcome.FRACTURED]
    press(qtbot, panel, broke)
    assert broke.text() == "Fractured: press again"
    assert len(newest_file(begun).log.entries) == 1
    press(qtbot, panel, broke)
    assert newest_file(begun).log.entries[-1].outcome is Outcome.FRACTURED
    assert "Stop." in begun.chair.headline.text()
    assert begun.header.state.text() == "problem"
    assert begun.chair.reached.isHidden()
    assert begun.plan.isHidden()
    assert begun.begin.isHidden()
    assert begun.view.isHidden()
    # Something else is stated: a further log is possible, and the fragment blocks the canal.
    choose_reached_through(begun, panel, qtbot, 10)
    press(qtbot, panel, begun.plan)
    assert begun.view.drawing.plan.is_hand_only


def choose_reached_through(box: SequenceBox, panel: CurvometerPanel, qtbot: Any, size: int) -> None:
    """State it although the fields are folded away while a treatment runs."""
    press(qtbot, panel, box.show_found)
    choose_reached(box, size)
    settle(qtbot, panel)


def test_the_second_press_of_a_double_click_tells_nothing_of_the_next_step(begun, panel, qtbot, monkeypatch):
    monkeypatch.setattr(chair, "PAUSE_MS", 60_000)
    qtbot.mouseClick(begun.chair.reached, Qt.MouseButton.LeftButton)
    qtbot.mouseClick(begun.chair.reached, Qt.MouseButton.LeftButton)
    begun.chair.press(Outcome.REACHED)
    settle(qtbot, panel)
    assert len(newest_file(begun).log.entries) == 1
    assert not begun.chair.reached.isEnabled()


def test_planning_again_without_beginning_releases_no_step_of_the_older_log(begun, panel, qtbot):
    press(qtbot, panel, begun.chair.reached)
    assert offers_motor(begun)
    choose_reached_through(begun, panel, qtbot, 10)
    assert not offers_motor(begun)
    assert begun.chair.reached.isHidden()
    for _ in range(2):
        press(qtbot, panel, begun.plan)
        assert not offers_motor(begun)
        begun.chair.press(Outcome.REACHED)
        assert len(newest_file(begun).log.entries) == 1
    assert "Log 1" in begun.log.entries.text()  # it can still be read
    press(qtbot, panel, begun.begin)
    assert len(begun.logs.treatments(MB)) == 2
    assert "Log 1, put aside" in begun.log.entries.text()
    assert "Hand 08/.02" in begun.chair.headline.text()


def test_undo_of_the_change_goes_on_with_the_log(begun, panel, qtbot):
    press(qtbot, panel, begun.chair.reached)
    choose_reached_through(begun, panel, qtbot, 10)
    panel.session.undo()
    settle(qtbot, panel)
    assert offers_motor(begun)


def test_while_an_anchor_is_dragged_nothing_is_offered(begun, panel, qtbot):
    press(qtbot, panel, begun.chair.reached)
    moved = edits.moved_anchor(panel.session.case.current, 1, (1150.0, 680.0))
    panel.session.preview(edits.with_tracing(panel.session.case, moved))
    panel.refresh()
    assert not offers_motor(begun)
    assert not begun.chair.reached.isEnabled()
    assert "measured anew" in begun.chair.headline.text()
    panel.session.do(edits.with_tracing(panel.session.case, moved), "move")
    settle(qtbot, panel)
    assert not offers_motor(begun)
    assert "undo the change" in begun.chair.headline.text()


def test_another_canal_has_a_log_of_its_own(begun, panel, qtbot):
    press(qtbot, panel, begun.chair.reached)
    panel.session.start_tracing(CanalName.ML)
    settle(qtbot, panel)
    assert not offers_motor(begun)
    panel.session.cancel()
    panel.session.select(MB)
    settle(qtbot, panel)
    assert offers_motor(begun)


def test_what_was_used_in_another_canal_is_planned_around(begun, panel, qtbot):
    """MB's next step is rotary 10/.02 of 25 mm; ML, as long, uses it first."""
    press(qtbot, panel, begun.chair.reached)
    session = panel.session
    ML = CanalName.ML
    other = replace(session.case.current, name=ML)
    found = session.case.stated.with_found(ML, session.case.stated.found(MB))
    session.do(replace(session.case, tracings=(*session.case.tracings, other), stated=found), "trace ML")
    session.select(ML)
    settle(qtbot, panel)
    press(qtbot, panel, begun.plan)
    press(qtbot, panel, begun.begin)
    press(qtbot, panel, begun.chair.reached)
    assert offers_motor(begun)
    press(qtbot, panel, begun.chair.reached)
    session.select(MB)
    settle(qtbot, panel)
    assert not offers_motor(begun)
    assert "has no use left" in begun.chair.headline.text()
    press(qtbot, panel, begun.plan)
    press(qtbot, panel, begun.begin)
    press(qtbot, panel, begun.chair.reached)
    assert offers_motor(begun)
    assert "31 mm" in begun.chair.glance.text()


def test_criteria_that_cannot_be_read_are_told_beside_what_is_missing(box, panel, qtbot):
    stated = replace(panel.session.case.stated, criteria_path="nowhere.toml")
    panel.session.do(replace(panel.session.case, stated=stated), "criteria")
    settle(qtbot, panel)
    assert box.missing.text().startswith("Planned with the published criteria only.")
    press(qtbot, panel, box.plan)
    assert "Advice: a plan" in box.advice.text()


# --- files ------------------------------------------------------------------------------------------------


def test_work_that_is_gone_on_with_brings_its_log(begun, panel, qtbot, sample):
    press(qtbot, panel, begun.chair.reached)
    case, one = panel.session.case, sample("lower_molar")
    panel.session.set_radiograph(sample("upper_molar").radiograph, source="other.dcm")
    settle(qtbot, panel)
    assert begun.logs.treatments(MB) == ()
    panel.session.set_radiograph(one.radiograph, source=str(one.path), case=case)
    settle(qtbot, panel)
    assert len(begun.logs.treatments(MB)[0].log.entries) == 1
    assert offers_motor(begun)


def test_an_image_that_is_opened_again_offers_its_kept_log(begun, panel, qtbot, sample):
    press(qtbot, panel, begun.chair.reached)
    case, one = panel.session.case, sample("lower_molar")
    panel.session.set_radiograph(one.radiograph, source=str(one.path))
    panel.session.do(case, "the same canal again")
    settle(qtbot, panel)
    assert "was kept on this computer" in begun.kept.text()
    assert begun.chair.isHidden()
    press(qtbot, panel, begun.plan)
    assert begun.begin.text() == "Begin without the kept log"
    press(qtbot, panel, begun.take_kept)
    assert offers_motor(begun)
    assert begun.kept.isHidden()


def test_a_log_is_saved_elsewhere_and_opened_again(begun, panel, qtbot, tmp_path, monkeypatch, sample):
    press(qtbot, panel, begun.chair.reached)
    path = tmp_path / "log.json"
    monkeypatch.setattr(saving, "ask_where_to_save", lambda *_args, **_options: str(path))
    monkeypatch.setattr(saving, "ask_for_log", lambda _parent: str(path))
    press(qtbot, panel, begun.log.save)
    assert load_treatment(path).log.entries == newest_file(begun).log.entries
    begun.logs.open_image("cd" * 32, take_up=False)
    begun.refresh()
    assert begun.chair.isHidden()
    press(qtbot, panel, begun.log.load)
    assert offers_motor(begun)


def test_a_log_is_not_opened_over_another_one(begun, monkeypatch, tmp_path):
    """An older copy must not take the place of a log that has gone on."""
    path = tmp_path / "early.json"
    save_treatment(begun.logs.treatments(MB)[0], path)
    monkeypatch.setattr(saving, "ask_for_log", lambda _parent: str(path))
    assert begun.log.load.isHidden()
    begun._open()
    assert len(begun.logs.treatments(MB)) == 1


def test_files_that_cannot_be_used_are_told(box, panel, qtbot, tmp_path, monkeypatch):
    path = tmp_path / "log.json"
    path.write_text("{}")
    monkeypatch.setattr(saving, "ask_for_log", lambda _parent: str(path))
    press(qtbot, panel, box.log.load)
    assert "log.json" in panel.message.words.text()


def test_what_cannot_be_kept_is_told_beside_the_step(box, panel, qtbot, caplog):
    caplog.set_level("CRITICAL", logger="curvometer_napari")
    box.logs.folder.parent.mkdir(parents=True, exist_ok=True)
    box.logs.folder.write_text("a file where the folder should be")
    press(qtbot, panel, box.plan)
    press(qtbot, panel, box.begin)
    assert "in this window only" in box.unsaved.text()
    press(qtbot, panel, box.chair.reached)
    assert offers_motor(box)
