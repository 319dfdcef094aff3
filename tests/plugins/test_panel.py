"""The panel alone, with a session and sample images, driven by simulated mouse and keys."""

# ruff: noqa: ARG001, ARG005 - fixtures set the stage by being asked for; stand-ins take what they do not use
from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from panel_at_rest import settle, trace
from qtpy.QtCore import QEvent, QMimeData, QPoint, QPointF, Qt, QUrl
from qtpy.QtGui import QColor, QDropEvent, QGuiApplication, QPalette, QWheelEvent
from qtpy.QtTest import QTest
from qtpy.QtWidgets import QComboBox, QPushButton, QToolButton, QWidget

from curvometer import (
    QUANTITY_DEFINITIONS,
    QUANTITY_NAMES,
    CanalName,
    CurvatureProfile,
    Severity,
    Structure,
    load_radiograph,
    load_record,
)
from curvometer.measurement.flags import FLAG_TABLE, flag
from curvometer_napari import case as edits
from curvometer_napari.autosave import case_to_plain
from curvometer_napari.panel import CurvometerPanel, StepBox, saving
from curvometer_napari.panel.curvature_plot import readout, ticks
from curvometer_napari.panel.looks import MIN_TARGET_PX, READABLE_CONTRAST, Ink, contrast, faded, ink
from curvometer_napari.panel.notices import as_sentence
from curvometer_napari.panel.scale_box import length_from
from curvometer_napari.panel.text import Words
from curvometer_napari.session import Tool
from curvometer_napari.steps import State, StepState

GROUNDS = {"dark": ("#23242b", "#f0f1f2"), "light": ("#ebe7e6", "#1e1e21")}
"""Background and text of napari's two themes."""


@pytest.fixture
def molar(panel: CurvometerPanel, qtbot: Any, sample: Callable[[str], Any]) -> Any:
    """The first sample, open in the panel."""
    one = sample("lower_molar")
    panel.session.set_radiograph(one.radiograph, source=str(one.path))
    settle(qtbot, panel)
    return one


@pytest.fixture
def traced(panel: CurvometerPanel, qtbot: Any, molar: Any) -> Any:
    """The first sample with its canal traced and accepted as MB."""
    trace(qtbot, panel, molar, CanalName.MB)
    return molar


def press(qtbot: Any, panel: CurvometerPanel, button: QWidget) -> None:
    assert button.isEnabled()
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    settle(qtbot, panel)


def pretend(panel: CurvometerPanel, *codes: str) -> None:
    """Give the selected canal's outcome these flags."""
    name = panel.session.case.selected
    result = panel.session._results[name]
    measurement = replace(result.measurement, flags=tuple(flag(code) for code in codes))
    panel.session._results[name] = replace(result, measurement=measurement)
    panel.refresh()


def move_foramen(panel: CurvometerPanel) -> None:
    """Drag the foramen aside, with the numbers of the new place still to come."""
    tracing = panel.session.case.current
    anchors = (tracing.anchors_rc[0], (1150.0, 680.0))
    panel.session._preview = edits.with_tracing(panel.session.case, replace(tracing, anchors_rc=anchors))
    panel.refresh()


# --- steps ------------------------------------------------------------------------------------------------


def test_boxes_stand_in_the_order_of_the_work_and_say_what_is_to_do(panel):
    names = ["Image", "Scale", "Canal", "Measurements", "Grade", "Sequence"]
    assert [box.objectName() for box in panel.boxes] == names
    assert [box.y() for box in panel.boxes] == sorted(box.y() for box in panel.boxes)
    for box in panel.boxes:
        assert box.header.state.text() == "to do"
        assert box.header.mark.shape is State.TODO
    assert "Open a radiograph first" in panel.scale.header.words.text()
    assert not panel.canal.trace.isEnabled()
    assert not panel.scale.start.isEnabled()


def test_state_is_shown_by_shape_and_word(panel, traced):
    states = [box.header.state.text() for box in panel.boxes]
    assert states[:5] == ["done"] * 5
    assert panel.sequence.header.state.text() == "to do"  # nothing was stated yet
    pretend(panel, "trace_left_ridge")
    assert panel.measurements.header.state.text() == "problem"
    assert panel.measurements.header.mark.shape is State.PROBLEM
    assert panel.measurements.header.mark.accessibleName() == "problem"


def test_a_later_box_can_be_added_below(panel):
    class LaterBox(StepBox):
        def step(self) -> StepState:
            return StepState(name="later", state=State.TODO, words="Measure first.")

    panel.add_box(LaterBox(panel.session, "Later"))
    panel.refresh()
    assert panel.boxes[-1].header.words.text() == "Measure first."


def test_a_box_folds_by_its_title(panel, qtbot, molar):
    press(qtbot, panel, panel.scale.header.fold)
    assert panel.scale.content.isHidden()
    press(qtbot, panel, panel.scale.header.fold)
    assert not panel.scale.content.isHidden()


def test_the_footer_says_what_it_is_not(panel):
    assert "not a diagnostic device" in panel.footer.text()


# --- image ------------------------------------------------------------------------------------------------


def test_open_loads_the_chosen_file_in_the_background(panel, qtbot, sample, monkeypatch):
    one = sample("straight_canine")
    monkeypatch.setattr(saving, "ask_for_image", lambda parent, folder: str(one.path))
    press(qtbot, panel, panel.image.open)
    qtbot.waitUntil(lambda: panel.session.radiograph is not None, timeout=30_000)
    settle(qtbot, panel)
    assert panel.image.name.text() == "straight_canine.dcm"
    assert "DICOM" in panel.image.header.words.text()
    assert panel.busy.isHidden()


def test_a_file_that_is_no_image_is_told_in_a_sentence_that_can_be_dismissed(panel, qtbot, tmp_path):
    path = tmp_path / "letter.txt"
    path.write_text("no image")
    panel.session.open_image(path)
    qtbot.waitUntil(lambda: not panel.message.isHidden(), timeout=30_000)
    assert "letter.txt" in panel.message.words.text()
    assert panel.session.radiograph is None
    press(qtbot, panel, panel.message.dismiss)
    assert panel.message.isHidden()


def test_a_dropped_file_is_opened(panel, qtbot, sample):
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(sample("straight_canine").path))])
    panel.dropEvent(
        QDropEvent(
            QPointF(9, 9),
            Qt.DropAction.CopyAction,
            data,
            Qt.MouseButton.LeftButton,
            Qt.KeyboardModifier.NoModifier,
        )
    )
    qtbot.waitUntil(lambda: panel.session.radiograph is not None, timeout=30_000)


def test_work_in_the_background_is_shown_and_can_be_given_up(panel, qtbot):
    panel.session.busy_changed.emit("opening molar.dcm")
    assert not panel.busy.isHidden()
    assert panel.busy.accessibleDescription() == "Opening molar.dcm ..."
    press(qtbot, panel, panel.busy.cancel)
    assert panel.busy.isHidden()


def test_display_buttons_change_the_view_and_can_be_undone(panel, qtbot, molar):
    for button in (panel.image.invert, panel.image.enhance, panel.image.turn, panel.image.mirror):
        press(qtbot, panel, button)
    display = panel.session.case.display
    assert (display.inverted, display.enhanced, display.quarter_turns, display.mirrored) == (
        True,
        True,
        1,
        True,
    )
    assert panel.image.enhance.isChecked()
    assert not panel.image.display_only.isHidden()
    assert "stored pixels" in panel.image.display_only.text()
    press(qtbot, panel, panel.canal.undo)
    assert not panel.session.case.display.mirrored
    assert not panel.image.mirror.isChecked()


def test_the_window_can_be_reset_once_it_was_changed(panel, qtbot, molar):
    assert panel.image.window_reset.isHidden()
    panel.session.show(replace(panel.session.case.display, window=(10.0, 20.0)), "window")
    settle(qtbot, panel)
    press(qtbot, panel, panel.image.window_reset)
    assert panel.session.case.display.window is None


# --- scale ------------------------------------------------------------------------------------------------


def test_the_file_s_own_scale_is_told_with_its_trust(panel, molar):
    assert "FIDUCIAL" in panel.scale.stated.text()
    assert "Trust: good at the depth" in panel.scale.stated.text()


def test_a_file_of_known_length_is_clicked_along_accepted_and_removed(panel, qtbot, molar):
    session = panel.session
    press(qtbot, panel, panel.scale.start)
    assert session.tool is Tool.SCALE
    session.click((200.0, 300.0))
    settle(qtbot, panel)
    assert panel.scale.live.text() == "1 click so far."
    assert not panel.scale.accept.isEnabled()
    session.click((1200.0, 300.0))
    settle(qtbot, panel)
    # 1000 px are 21 mm here, and 20 mm by the image's own 0.02 mm per pixel
    assert "1000 px = 21 mm" in panel.scale.live.text()
    assert "0.02100 mm per pixel" in panel.scale.live.text()
    assert "20.0 mm" in panel.scale.live.text()
    press(qtbot, panel, panel.scale.accept)
    assert len(session.case.scale_objects) == 1
    assert "from 1 file of known length: 0.02100 mm per pixel" in panel.scale.result.text()
    assert panel.scale.while_clicking.isHidden()
    press(qtbot, panel, panel.scale._objects[0].remove)
    assert session.case.scale_objects == ()
    assert panel.scale.result.isHidden()


def test_clicks_along_a_file_are_taken_back_and_given_up(panel, qtbot, molar):
    press(qtbot, panel, panel.scale.start)
    panel.session.click((200.0, 300.0))
    panel.session.click((1200.0, 300.0))
    settle(qtbot, panel)
    press(qtbot, panel, panel.scale.back)
    assert len(panel.session.case.scale_draft_rc) == 1
    press(qtbot, panel, panel.scale.cancel)
    assert panel.session.case.scale_draft_rc == ()
    assert panel.session.tool is Tool.LOOK
    assert not panel.scale.start.isChecked()


@pytest.mark.parametrize(
    ("text", "length_mm"),
    [
        ("21 mm", 21.0),
        ("19,5", 19.5),
        (" 25.25mm", 25.25),
        ("", None),
        ("long", None),
        ("0", None),
        ("-3", None),
        ("41", None),
        ("nan", None),
    ],
)
def test_lengths_are_read_as_people_type_them(text, length_mm):
    assert length_from(text) == length_mm


def test_a_typed_length_is_taken_and_a_wrong_one_told(panel, qtbot, molar):
    field = panel.scale.length
    field.setFocus()
    field.lineEdit().selectAll()
    qtbot.keyClicks(field, "18.5")
    assert panel.session.length_mm == 18.5
    assert panel.message.isHidden()
    qtbot.keyClicks(field, "x")
    assert panel.session.length_mm == 18.5
    assert "Type the length" in panel.message.words.text()
    panel.scale.tolerance.setValue(0.3)
    assert panel.session.tolerance_mm == pytest.approx(0.3)


def test_accepting_a_file_without_two_clicks_says_what_it_needs(panel, qtbot, molar):
    panel.session.start_scale()
    panel.session.accept()
    assert "two clicks or more" in panel.message.words.text()


# --- canal ------------------------------------------------------------------------------------------------


def test_trace_begins_the_canal_of_the_chosen_name_and_structure(panel, qtbot, molar):
    box = panel.canal
    box.code.setCurrentIndex(box.code.findData(CanalName.MB2))
    box.structure.setCurrentIndex(1)
    press(qtbot, panel, box.trace)
    draft = panel.session.case.draft
    assert (draft.name, draft.structure) == (CanalName.MB2, Structure.INSTRUMENT)
    assert "click the canal orifice" in box.header.words.text()
    assert not box.while_tracing.isHidden()
    assert not box.accept.isEnabled()
    assert box.code.findData(CanalName.MB2) == -1


def test_a_leg_by_hand_and_the_buttons_while_tracing(panel, qtbot, molar):
    session, box = panel.session, panel.canal
    press(qtbot, panel, box.trace)
    assert not box.hand.isEnabled()
    session.click(molar.orifice_rc)
    settle(qtbot, panel)
    press(qtbot, panel, box.hand)
    assert session.hand
    session.click(molar.foramen_rc)
    settle(qtbot, panel)
    assert session.case.draft.hand_legs == {0}
    assert "1 of 1 legs by hand" in box.canals.item(0).text()
    press(qtbot, panel, box.back)
    assert len(session.case.draft.anchors_rc) == 1
    press(qtbot, panel, box.cancel)
    assert session.case.tracings == ()
    assert box.while_tracing.isHidden()


def test_accept_finishes_the_canal_and_lists_it_with_its_angle(panel, qtbot, molar):
    session, box = panel.session, panel.canal
    session.start_tracing(CanalName.ML)
    session.click(molar.orifice_rc)
    session.click(molar.foramen_rc)
    settle(qtbot, panel)
    press(qtbot, panel, box.accept)
    assert session.case.tracing(CanalName.ML).accepted
    angle = session.result(CanalName.ML).measurement.schneider_angle.value
    assert box.canals.item(0).text() == f"ML · dash-dot · {angle:.1f}°"
    assert angle == pytest.approx(molar.truth["measures"]["schneider_angle"], abs=2.0)


def test_another_structure_solves_the_canal_again(panel, qtbot, traced):
    panel.canal.follows.setFocus()
    QTest.keyClick(panel.canal.follows, Qt.Key.Key_Down)
    settle(qtbot, panel)
    session = panel.session
    assert session.case.current.structure is Structure.INSTRUMENT
    assert session.result(CanalName.MB).tracing.structure is Structure.INSTRUMENT
    session.undo()
    settle(qtbot, panel)
    assert panel.canal.follows.currentText() == "canal"


def test_canals_are_renamed_deleted_and_brought_back(panel, qtbot, traced):
    session, box = panel.session, panel.canal
    menu = box.rename.menu()
    menu.aboutToShow.emit()
    texts = [action.text() for action in menu.actions()]
    assert "MB2 second mesiobuccal" in texts
    assert not any(text.startswith("MB mesio") for text in texts)
    menu.actions()[texts.index("MB2 second mesiobuccal")].trigger()
    settle(qtbot, panel)
    assert [t.name for t in session.case.tracings] == [CanalName.MB2]
    assert box.undo.accessibleName() == "Undo: rename MB to MB2"
    press(qtbot, panel, box.delete)
    assert session.case.tracings == ()
    assert box.canals.isHidden()
    press(qtbot, panel, box.undo)
    assert [t.name for t in session.case.tracings] == [CanalName.MB2]
    assert box.redo.accessibleName() == "Redo: delete canal MB2"
    press(qtbot, panel, box.redo)
    assert session.case.tracings == ()


def test_the_canal_list_selects_by_keyboard(panel, qtbot, traced):
    trace(qtbot, panel, traced, CanalName.ML)
    assert panel.session.case.selected is CanalName.ML
    panel.canal.canals.setFocus()
    QTest.keyClick(panel.canal.canals, Qt.Key.Key_Up)
    settle(qtbot, panel)
    assert panel.session.case.selected is CanalName.MB
    assert "MB:" in panel.measurements.header.words.text()


# --- measurements -----------------------------------------------------------------------------------------


def cell(panel: CurvometerPanel, name: str, column: int) -> str:
    model = panel.measurements.table.model()
    return str(model.index(QUANTITY_NAMES.index(name), column).data())


def test_headline_and_table_show_the_core_s_numbers(panel, traced):
    measurement = panel.session.result(CanalName.MB).measurement
    angle, radius = measurement.schneider_angle, measurement.pruett_radius
    assert f"{angle.value:.1f}°" in panel.measurements.headline.text()
    assert f"{radius.value:.2f} mm" in panel.measurements.headline.text()
    assert cell(panel, "schneider_angle", 1) == f"{angle.value:.1f}°"
    assert cell(panel, "schneider_angle", 2) == f"{angle.lower:.1f} to {angle.upper:.1f}"
    assert cell(panel, "three_point_radius", 1) == "–"
    assert cell(panel, "three_point_radius", 2) == "canal too short"
    assert "To the left" in panel.measurements.bends.text()


def test_without_a_scale_lengths_are_absent_with_their_reason(panel, qtbot, sample):
    one = sample("lower_molar")
    panel.session.set_radiograph(load_radiograph(one.path.with_suffix(".png")))
    trace(qtbot, panel, one, CanalName.SINGLE)
    assert cell(panel, "pruett_radius", 2) == "needs a scale"
    assert "°" in cell(panel, "schneider_angle", 1)
    assert any("click along a file of known length" in text for text in panel.measurements.flags.sentences())
    assert "mm" not in panel.measurements.headline.text()


def test_flags_are_sentences_with_a_word_and_a_shape_the_gravest_first(panel, traced):
    pretend(panel, *FLAG_TABLE)
    sentences = panel.measurements.flags.sentences()
    assert len(sentences) == len(FLAG_TABLE)
    assert sentences[0].startswith("<b>Do not trust:</b>")
    assert sentences[-1].startswith("<b>Note:</b>")
    shapes = [line.mark.shape for line in panel.measurements.flags._lines]
    assert shapes[0] is Severity.DO_NOT_TRUST
    assert shapes[-1] is Severity.NOTE
    pretend(panel, "small_angle")
    assert len(panel.measurements.flags.sentences()) == 1


def test_pointing_at_a_row_shows_its_construction(panel, qtbot, traced):
    table, session = panel.measurements.table, panel.session
    row = QUANTITY_NAMES.index("pruett_radius")
    panel.area.ensureWidgetVisible(table)
    place = table.visualRect(table.model().index(row, 0)).center()
    qtbot.mouseClick(table.viewport(), Qt.MouseButton.LeftButton, pos=place)
    assert session.quantity == "pruett_radius"
    QTest.keyClick(table, Qt.Key.Key_Down)
    assert session.quantity == "chord_radius"
    table.entered.emit(table.model().index(0, 0))
    assert session.quantity == "schneider_angle"
    table.leaveEvent(QEvent(QEvent.Type.Leave))
    assert session.quantity == "chord_radius"
    place = table.visualRect(table.model().index(row + 1, 0)).center()
    qtbot.mouseClick(table.viewport(), Qt.MouseButton.LeftButton, pos=place)
    assert session.quantity is None


def test_a_row_explains_itself(panel, traced):
    index = panel.measurements.table.model().index(QUANTITY_NAMES.index("three_point_radius"), 0)
    tip = index.data(Qt.ItemDataRole.ToolTipRole)
    for words in (
        "circle through the foramen",
        "Estrela",
        QUANTITY_DEFINITIONS["three_point_radius"].source.how_read.value,
        "blind to a short hook",
        "two 6 mm",
    ):
        assert words in tip
    first = panel.measurements.table.model().index(0, 0)
    assert "note" in first.data(Qt.ItemDataRole.AccessibleTextRole)


def test_the_curve_and_the_session_point_at_each_other(panel, qtbot, traced):
    plot, session = panel.measurements.plot, panel.session
    panel.area.ensureWidgetVisible(plot)
    end = float(plot.profile.from_foramen[-1])
    middle = (plot._across().start + plot._across().end) / 2.0
    QTest.mouseMove(plot, plot.mapFromGlobal(plot.mapToGlobal(plot.rect().center())))
    qtbot.mouseMove(plot, QPointF(middle, 60.0).toPoint())
    # The first move, which only brings the mouse over the plot, may be told before the second.
    qtbot.waitUntil(lambda: session.cursor_mm == pytest.approx(end / 2.0, abs=0.05 * end), timeout=5_000)
    session.point_at(3.0)
    assert plot.cursor_at == 3.0
    assert plot.readout().startswith("3.0 mm from the foramen: radius")
    plot.setFocus()
    QTest.keyClick(plot, Qt.Key.Key_Right)
    assert session.cursor_mm == pytest.approx(3.0 + end / 100.0)
    QTest.keyClick(plot, Qt.Key.Key_End)
    assert session.cursor_mm == pytest.approx(end)
    QTest.keyClick(plot, Qt.Key.Key_Escape)
    assert session.cursor_mm is None


def test_numbers_of_an_older_place_are_dimmed_and_said_to_be_updating(panel, traced):
    before = panel.measurements.headline.text()
    move_foramen(panel)
    assert "updating" in panel.measurements.header.words.text()
    assert "updating" in panel.canal.canals.item(0).text()
    assert panel.measurements.table.quantities.stale
    assert panel.measurements.headline.text() != before
    assert not panel.measurements.copy_text.isEnabled()


def test_copying_as_text_and_csv(panel, qtbot, traced):
    press(qtbot, panel, panel.measurements.copy_text)
    text = QGuiApplication.clipboard().text()
    assert "MB, mesiobuccal" in text
    assert "Copied MB" in panel.measurements.copied.text()
    press(qtbot, panel, panel.measurements.copy_csv)
    rows = list(csv.DictReader(io.StringIO(QGuiApplication.clipboard().text())))
    assert rows[0]["quantity"] == "schneider_angle"


def test_saving_csv_and_record(panel, qtbot, traced, tmp_path, monkeypatch):
    monkeypatch.setattr(
        saving, "ask_where_to_save", lambda parent, title, suffix, proposed: str(tmp_path / f"out.{suffix}")
    )
    press(qtbot, panel, panel.measurements.save_csv)
    assert (tmp_path / "out.csv").read_text(encoding="utf-8").startswith("canal,quantity,label")
    press(qtbot, panel, panel.measurements.save_record)
    assert [canal.name for canal in load_record(tmp_path / "out.json").canals] == [CanalName.MB]
    assert "Saved out.json" in panel.measurements.copied.text()
    assert panel.message.isHidden()


def test_what_cannot_be_saved_is_told(panel, qtbot, traced, tmp_path, monkeypatch):
    monkeypatch.setattr(
        saving,
        "ask_where_to_save",
        lambda parent, title, suffix, proposed: str(tmp_path / "no" / f"out.{suffix}"),
    )
    for button in (panel.measurements.save_csv, panel.measurements.save_record):
        panel.session.told.emit("")
        press(qtbot, panel, button)
        assert not panel.message.isHidden()
        assert panel.measurements.copied.isHidden()
    assert list(tmp_path.glob("**/out.*")) == []


def test_saving_asks_for_a_name_beside_the_image(panel, qtbot, traced, monkeypatch):
    asked: dict[str, str] = {}
    monkeypatch.setattr(
        saving, "ask_where_to_save", lambda parent, **asked_for: asked.update(asked_for) or ""
    )
    press(qtbot, panel, panel.measurements.save_record)
    assert asked["proposed"].endswith("lower_molar.json")


# --- unfinished work --------------------------------------------------------------------------------------


def leave(folder: Path, one: Any, *, sha256: str = "") -> Path:
    """Leave a file as a window does that no longer runs."""
    tracing = edits.Tracing(name=CanalName.P, anchors_rc=(one.orifice_rc,))
    document = {
        "version": 1,
        "saved": dt.datetime(2031, 5, 6, 7, 8, tzinfo=dt.UTC).isoformat(),
        "source": str(one.path),
        "sha256": sha256 or one.radiograph.sha256,
        "process": {"number": 2**22 + 1, "started": 0.0},
        "case": case_to_plain(edits.Case(tracings=(tracing,), selected=CanalName.P)),
    }
    path = folder / "tracings" / "left.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(document))
    return path


@pytest.fixture
def offered(qtbot: Any, state_folder: Path, sample: Callable[[str], Any]) -> Iterator[Callable[..., Any]]:
    """Make a panel after another window left something."""
    made: list[CurvometerPanel] = []

    def make(**options: Any) -> tuple[CurvometerPanel, Path]:
        path = leave(state_folder, sample("lower_molar"), **options)
        panel = CurvometerPanel(None, canvas=False)
        made.append(panel)
        qtbot.addWidget(panel)
        panel.show()
        qtbot.waitUntil(lambda: panel.autosave is not None, timeout=5_000)
        return panel, path

    yield make
    for panel in made:
        panel.shut()


def test_unfinished_work_is_offered_and_continued(offered, qtbot):
    panel, path = offered()
    assert not panel.offer.isHidden()
    assert "canal P" in panel.offer.words.text()
    press(qtbot, panel, panel.offer.go_on)
    qtbot.waitUntil(lambda: panel.session.radiograph is not None, timeout=30_000)
    assert panel.session.case.draft.name is CanalName.P
    assert panel.session.tool is Tool.TRACE
    assert panel.offer.isHidden()
    assert not path.exists()
    # Kept anew for the next start: one file, this window's.
    assert len(list(path.parent.glob("*.json"))) == 1


def test_unfinished_work_is_discarded(offered, qtbot):
    panel, path = offered()
    press(qtbot, panel, panel.offer.discard)
    assert panel.offer.isHidden()
    assert not path.exists()


def test_unfinished_work_on_another_image_is_not_put_on_this_one(offered, qtbot):
    panel, path = offered(sha256="0" * 64)
    press(qtbot, panel, panel.offer.go_on)
    qtbot.waitUntil(lambda: not panel.message.isHidden(), timeout=30_000)
    assert "another image" in panel.message.words.text()
    assert panel.session.radiograph is None
    assert path.exists()


def test_new_work_puts_the_offer_off_without_deleting_what_was_left(offered, qtbot, sample):
    panel, path = offered()
    panel.session.set_radiograph(sample("straight_canine").radiograph)
    settle(qtbot, panel)
    assert not panel.offer.isHidden()
    panel.session.start_tracing(CanalName.D)
    settle(qtbot, panel)
    assert panel.offer.isHidden()
    assert path.exists()


def test_filling_in_the_form_is_new_work_too(offered, qtbot, sample):
    panel, path = offered()
    panel.session.set_radiograph(sample("straight_canine").radiograph)
    settle(qtbot, panel)
    assert not panel.offer.isHidden()
    tooth = panel.grade.form.field("tooth")
    tooth.setCurrentIndex(tooth.findText("13"))
    settle(qtbot, panel)
    assert panel.offer.isHidden()
    assert path.exists()


def test_every_settled_step_is_kept(panel, qtbot, molar, state_folder):
    panel.session.start_tracing(CanalName.MB)
    panel.session.click(molar.orifice_rc)
    settle(qtbot, panel)
    (path,) = (state_folder / "tracings").glob("*.json")
    assert json.loads(path.read_text())["case"]["tracings"][0]["name"] == "MB"


# --- look and feel ----------------------------------------------------------------------------------------


def controls(panel: CurvometerPanel) -> list[QWidget]:
    kinds = (QPushButton, QToolButton, QComboBox)
    return [widget for kind in kinds for widget in panel.findChildren(kind)]


def test_every_control_is_named_explained_and_high_enough(panel, traced):
    for widget in controls(panel):
        assert widget.accessibleName(), widget
        assert widget.toolTip(), widget.accessibleName()
        if widget.isVisible():
            assert widget.height() >= MIN_TARGET_PX, widget.accessibleName()
    assert panel.scale.tolerance.height() >= MIN_TARGET_PX
    assert all(panel.measurements.table.rowHeight(i) >= MIN_TARGET_PX for i in range(len(QUANTITY_NAMES)))


def test_keys_are_told_in_the_tooltips(panel):
    assert "(key on the image: T)" in panel.canal.trace.toolTip()
    assert "Enter" in panel.canal.accept.toolTip()
    assert "Ctrl+Z" in panel.canal.undo.toolTip()


@pytest.mark.parametrize("points", [9, 14, 18])
def test_nothing_is_wider_than_the_panel_in_any_font(panel, qtbot, traced, points):
    font = panel.font()
    font.setPointSize(points)
    panel.setFont(font)
    panel.setStyleSheet(f"* {{ font-size: {points}pt; }}")
    panel.resize(360, 700)
    pretend(panel, *FLAG_TABLE)
    panel.session.start_tracing(CanalName.ML)
    settle(qtbot, panel)
    qtbot.wait(50)
    inside = panel.area.viewport().width()
    assert panel.area.widget().minimumSizeHint().width() <= inside
    for box in panel.boxes:
        for child in box.findChildren(QPushButton):
            if child.isVisible():
                assert child.mapTo(panel, child.rect().topRight()).x() <= inside, child.text()
                assert child.fontMetrics().horizontalAdvance(child.text()) <= child.width(), child.text()


def test_every_sentence_has_its_room_as_soon_as_it_is_shown(panel, qtbot, molar):
    panel.session.start_tracing(CanalName.MB2)
    panel.session.click(molar.orifice_rc)
    panel.refresh()
    words = [words for words in panel.area.findChildren(Words) if words.isVisible()]
    assert len(words) > 3
    assert all(one.height() >= one.heightForWidth(one.width()) for one in words)
    assert any(one.height() >= 2 * one.fontMetrics().height() for one in words)


@pytest.mark.parametrize("points", [9, 14, 18])
def test_the_table_shows_all_its_numbers_in_any_font(panel, qtbot, traced, points):
    panel.setStyleSheet(f"* {{ font-size: {points}pt; }}")
    panel.resize(360, 700)
    settle(qtbot, panel)
    table = panel.measurements.table
    shown = [column for column in range(4) if not table.isColumnHidden(column)]
    assert sum(table.columnWidth(column) for column in shown) <= table.viewport().width()
    for row in range(len(QUANTITY_NAMES)):
        for column in (column for column in shown if column in (1, 2)):
            for line in str(table.model().index(row, column).data()).split("\n"):
                assert table.fontMetrics().horizontalAdvance(line) < table.columnWidth(column)
    low = panel.session.result(CanalName.MB).measurement.schneider_angle.lower
    assert any(f"{low:.1f} to" in cell(panel, "schneider_angle", column) for column in shown)


@pytest.mark.parametrize("theme", GROUNDS)
def test_colours_can_be_read_in_both_themes(qtbot, theme):
    behind, text = (QColor(name) for name in GROUNDS[theme])
    widget = QWidget()
    qtbot.addWidget(widget)
    palette = widget.palette()
    palette.setColor(QPalette.ColorRole.Window, behind)
    palette.setColor(QPalette.ColorRole.WindowText, text)
    widget.setPalette(palette)
    assert contrast(QColor("white"), QColor("black")) == pytest.approx(21.0)
    assert all(contrast(ink(widget, role), behind) >= READABLE_CONTRAST for role in Ink)
    assert READABLE_CONTRAST <= contrast(faded(text, behind), behind) < contrast(text, behind)


def test_tab_goes_through_the_steps_in_their_order(panel, traced):
    owners = []
    widget = panel.image.open
    for _ in range(200):
        box = next((box for box in panel.boxes if box.isAncestorOf(widget)), None)
        if box is not None and widget.focusPolicy() & Qt.FocusPolicy.TabFocus:
            owners.append(panel.boxes.index(box))
        widget = widget.nextInFocusChain()
        if widget is panel.image.open:
            break
    # The header of the image box comes last in the ring, before its first button again.
    last = len(panel.boxes) - 1
    steps = owners[: owners.index(last) + 1]
    assert steps == sorted(steps)
    assert set(owners) == set(range(last + 1))


def test_updates_make_no_widgets_and_no_new_layout(panel, qtbot, traced):
    before = len(panel.findChildren(QWidget))
    heights = [box.height() for box in panel.boxes]
    for _ in range(5):
        move_foramen(panel)
        panel.session._preview = None
        panel.refresh()
    settle(qtbot, panel)
    assert len(panel.findChildren(QWidget)) == before
    assert [box.height() for box in panel.boxes] == heights


def test_signals_that_come_together_are_answered_once(panel, qtbot, molar, monkeypatch):
    calls: list[int] = []
    monkeypatch.setattr(panel.scale, "refresh", lambda: calls.append(1))
    for _ in range(30):
        panel.session.case_changed.emit()
        panel.session.results_changed.emit()
    qtbot.waitUntil(lambda: bool(calls), timeout=5_000)
    assert len(calls) == 1


def test_the_wheel_over_a_field_scrolls_the_panel_instead_of_changing_a_number(panel, qtbot, molar):
    panel.image.open.setFocus()
    field = panel.scale.tolerance
    before = field.value()
    event = QWheelEvent(
        QPointF(5, 5),
        QPointF(field.mapToGlobal(QPoint(5, 5))),
        QPoint(0, 0),
        QPoint(0, 120),
        Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    QGuiApplication.sendEvent(field, event)
    assert field.value() == before


def test_a_closed_panel_lets_go_of_its_session(panel, qtbot, molar):
    panel.shut()
    panel.shut()
    assert not panel.session.worker.busy


# --- words and scales -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", ""),
        ("a.txt is none", "a.txt is none."),
        ("click again", "Click again."),
        ("Ready.", "Ready."),
        ("Sure?", "Sure?"),
    ],
)
def test_messages_begin_and_end_as_sentences(text, sentence):
    assert as_sentence(text) == sentence


@pytest.mark.parametrize(
    ("low", "high", "count", "values"),
    [
        (0.0, 11.9, 4, [0.0, 5.0, 10.0]),
        (-0.13, 0.01, 4, [-0.1, -0.05, 0.0]),
        (0.0, 1.0, 5, [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]),
    ],
)
def test_ticks_are_round(low, high, count, values):
    assert ticks(low, high, count) == pytest.approx(values)


def profile(unit: str, curvature: float, half_width: float) -> CurvatureProfile:
    flat = np.full(3, curvature)
    return CurvatureProfile(
        from_foramen=np.array([0.0, 5.0, 10.0]),
        curvature=flat,
        lower=flat - half_width,
        upper=flat + half_width,
        unit=unit,
    )


@pytest.mark.parametrize(
    ("unit", "curvature", "half_width", "words"),
    [
        ("1/mm", 0.125, 0.01, "4.0 mm from the foramen: radius 8.0 mm, to the right"),
        ("1/mm", -0.125, 0.01, "4.0 mm from the foramen: radius 8.0 mm, to the left"),
        ("1/mm", 0.02, 0.03, "4.0 mm from the foramen: perhaps straight"),
        ("1/px", 0.002, 0.001, "4 px from the foramen: bends to the right"),
    ],
)
def test_the_curve_tells_a_radius_only_where_there_is_one_and_never_in_pixels(
    unit, curvature, half_width, words
):
    assert readout(profile(unit, curvature, half_width), 4.0) == words
