"""The whole job with mouse and keyboard in a shown window, read off the panel, against sample_images/truth.json.

Events go to the canvas's own widget as a real mouse would send them; nothing here calls the session to do a step.
"""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
from qtpy.QtCore import QPoint, Qt
from qtpy.QtGui import QGuiApplication
from qtpy.QtTest import QTest

from curvometer import CanalName, Structure
from curvometer_napari.autosave import Autosave

ANGLE_DEG = 2.0
"""How near the angle must be to the truth, as the viewer was ordered."""
FILE_CLICKS_XY = ((814, 191), (768, 453), (722, 714), (699, 845), (680, 976), (702, 1107), (763, 1218))
"""Along the file of the sample image, from the stop to the tip, as in the README; stop to tip is 21.14 mm in truth.json."""


class Hand:
    """A person's hand on mouse and keyboard."""

    def __init__(self, work, qtbot):
        self.work, self.qtbot = work, qtbot
        self.widget = work.viewer.window._qt_viewer.canvas.native

    def at(self, point_rc):
        """Where an image place is on the canvas's widget."""
        camera = (
            self.work.viewer.scene.camera if hasattr(self.work.viewer, "scene") else self.work.viewer.camera
        )
        world = np.asarray(self.work.panel.canvas.image_layer.data_to_world(point_rc))[-2:]
        row, col = (world - np.asarray(camera.center)[-2:]) * camera.zoom
        return QPoint(round(self.widget.width() / 2 + col), round(self.widget.height() / 2 + row))

    def move(self, point_rc):
        QTest.mouseMove(self.widget, self.at(point_rc))
        self.qtbot.wait(20)

    def click(self, point_rc):
        self.move(point_rc)
        QTest.mouseClick(self.widget, Qt.MouseButton.LeftButton, pos=self.at(point_rc))
        self.qtbot.wait(20)

    def drag(self, start_rc, end_rc, steps=12):
        self.move(start_rc)
        QTest.mousePress(self.widget, Qt.MouseButton.LeftButton, pos=self.at(start_rc))
        for share in np.linspace(0.0, 1.0, steps):
            place = self.at(tuple(np.add(start_rc, share * np.subtract(end_rc, start_rc))))
            QTest.mouseMove(self.widget, place)
            self.qtbot.wait(15)
        QTest.mouseRelease(self.widget, Qt.MouseButton.LeftButton, pos=self.at(end_rc))
        self.work.settle()

    def key(self, key, modifier=Qt.KeyboardModifier.NoModifier):
        self.widget.setFocus()
        QTest.keyClick(self.widget, key, modifier)
        self.work.settle()

    def copied(self):
        """The table as the panel's own button puts it on the clipboard: {label: row}."""
        self.press("Copy CSV")
        lines = QGuiApplication.clipboard().text().splitlines()
        start = next(i for i, line in enumerate(lines) if "Schneider angle" in line) - 1
        return {
            row["label"]: row
            for row in csv.DictReader(io.StringIO("\n".join(lines[start:])))
            if row.get("label")
        }

    def press(self, text):
        from qtpy.QtWidgets import QPushButton, QToolButton  # noqa: PLC0415

        for kind in (QPushButton, QToolButton):
            for button in self.work.panel.findChildren(kind):
                if text in (button.text(), button.accessibleName()):
                    assert button.isEnabled(), f"{text} cannot be pressed now"
                    QTest.mouseClick(button, Qt.MouseButton.LeftButton)
                    self.work.settle()
                    return
        raise AssertionError(f"the panel has no button {text!r}")


@pytest.fixture
def work(make_panel_viewer):
    made = make_panel_viewer(show=True)
    made.viewer.window.resize(1366, 768)
    made.settle()
    return made


@pytest.fixture
def hand(work, qtbot):
    return Hand(work, qtbot)


def opened(work, sample):
    work.session.open_image(sample.path)
    work.settle()


def trace(hand, sample):
    hand.key(Qt.Key.Key_T)
    hand.click(sample.orifice_rc)
    hand.move(tuple(np.mean([sample.orifice_rc, sample.foramen_rc], axis=0)))
    hand.click(sample.foramen_rc)
    hand.work.settle()
    hand.key(Qt.Key.Key_Return)


@pytest.mark.parametrize("name", ["lower_molar", "upper_lateral_hook", "upper_incisor", "straight_canine"])
def test_two_clicks_and_two_keys_give_the_angle(work, hand, sample, name):
    case = sample(name)
    opened(work, case)
    trace(hand, case)
    value = float(hand.copied()["Schneider angle"]["value"])
    assert value == pytest.approx(case.truth["measures"]["schneider_angle"], abs=ANGLE_DEG)


def test_the_path_follows_the_pointer(work, hand, sample):
    case = sample("lower_molar")
    opened(work, case)
    hand.key(Qt.Key.Key_T)
    hand.click(case.orifice_rc)
    hand.move((900.0, 640.0))
    first = work.session.live_path_rc((900.0, 640.0))
    assert len(first) > 10
    assert work.session.case.draft.anchors_rc[0] == pytest.approx(case.orifice_rc, abs=2.0)


def test_an_anchor_is_dragged_undone_and_done_again(work, hand, sample):
    case = sample("lower_molar")
    opened(work, case)
    trace(hand, case)
    before = hand.copied()
    name = work.session.case.selected
    anchor = work.session.case.current.anchors_rc[-1]
    hand.drag(anchor, (anchor[0] - 120.0, anchor[1] - 25.0))
    moved = hand.copied()
    assert float(moved["Canal length"]["value"]) < float(before["Canal length"]["value"]) - 1.0
    hand.key(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert hand.copied() == before
    hand.key(Qt.Key.Key_Y, Qt.KeyboardModifier.ControlModifier)
    assert hand.copied() == moved
    assert work.session.case.selected == name


def test_a_file_of_known_length_sets_the_scale(work, hand, sample):
    case = sample("file_in_canal")
    opened(work, case)
    hand.key(Qt.Key.Key_F)
    for x, y in FILE_CLICKS_XY:
        hand.click((float(y), float(x)))
    work.session.length_mm = 21.14
    hand.key(Qt.Key.Key_Return)
    assert work.session.calibration.mm_per_pixel == pytest.approx(case.truth["mm_per_pixel"], rel=0.03)


def test_the_instrument_is_followed_instead_of_the_canal(work, hand, sample):
    case = sample("file_in_canal")
    opened(work, case)
    work.session.start_tracing(CanalName.D, Structure.INSTRUMENT)
    hand.click(case.orifice_rc)
    hand.click(case.foramen_rc)
    hand.key(Qt.Key.Key_Return)
    value = float(hand.copied()["Schneider angle"]["value"])
    assert value == pytest.approx(case.truth["measures"]["schneider_angle"], abs=ANGLE_DEG)


def test_a_second_canal_stands_beside_the_first(work, hand, sample):
    case = sample("lower_molar")
    opened(work, case)
    trace(hand, case)
    first = work.session.case.selected
    trace(hand, case)
    assert [t.name for t in work.session.case.tracings] == [first, work.session.case.selected]
    assert work.session.case.selected != first


def test_a_file_that_is_no_image_is_one_sentence_in_the_panel(work, sample, tmp_path):
    opened(work, sample("lower_molar"))
    letter = tmp_path / "letter.dcm"
    letter.write_text("Dear colleague, please find enclosed ...")
    heard = []
    work.session.told.connect(heard.append)
    work.session.open_image(letter)
    work.settle()
    assert "letter.dcm" in heard[-1]
    from qtpy.QtWidgets import QLabel  # noqa: PLC0415

    shown = [label.text() for label in work.panel.findChildren(QLabel) if label.isVisible()]
    assert any("letter.dcm" in text for text in shown)
    assert work.session.radiograph is not None


def test_closing_mid_trace_loses_nothing(make_panel_viewer, qtbot, sample, state_folder):
    case = sample("lower_molar")
    first = make_panel_viewer(show=True)
    opened(first, case)
    hand = Hand(first, qtbot)
    hand.key(Qt.Key.Key_T)
    hand.click(case.orifice_rc)
    left = first.session.case
    first.viewer.close()
    qtbot.wait(50)
    saved = Autosave(state_folder / "tracings").pending()
    assert [s.case for s in saved] == [left]
    second = make_panel_viewer(show=True)
    second.settle()
    Hand(second, qtbot).press("Continue")
    assert second.session.case == left
    hand = Hand(second, qtbot)
    hand.click(case.foramen_rc)
    hand.key(Qt.Key.Key_Return)
    value = float(hand.copied()["Schneider angle"]["value"])
    assert value == pytest.approx(case.truth["measures"]["schneider_angle"], abs=ANGLE_DEG)


def test_after_pressing_trace_in_the_panel_the_keys_work(work, hand, sample):
    """Whoever presses the button has the keyboard in the panel; Enter must still accept."""
    case = sample("lower_molar")
    opened(work, case)
    hand.press("Trace")
    hand.click(case.orifice_rc)
    hand.click(case.foramen_rc)
    work.settle()
    QTest.keyClick(work.panel.canal, Qt.Key.Key_Return)
    work.settle()
    assert work.session.case.current.accepted
    QTest.keyClick(work.panel.canal, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    work.settle()
    assert not work.session.case.current.accepted


def test_the_keyboard_alone_can_do_it(work, hand, sample):
    """The crosshair starts somewhere; its steps are counted in image pixels until it is there."""
    case = sample("lower_molar")
    opened(work, case)
    hand.key(Qt.Key.Key_T)
    for target in (case.orifice_rc, case.foramen_rc):
        _walk(hand, target)
        hand.key(Qt.Key.Key_P)
    hand.key(Qt.Key.Key_Return)
    value = float(hand.copied()["Schneider angle"]["value"])
    assert value == pytest.approx(case.truth["measures"]["schneider_angle"], abs=ANGLE_DEG)


def _walk(hand, target_rc):
    pointer = hand.work.panel.pointer
    QTest.keyClick(hand.widget, Qt.Key.Key_Up)
    place = np.asarray(pointer._crosshair)
    for axis, forth, back in ((0, Qt.Key.Key_Down, Qt.Key.Key_Up), (1, Qt.Key.Key_Right, Qt.Key.Key_Left)):
        distance = target_rc[axis] - place[axis]
        key = forth if distance > 0 else back
        for _ in range(int(abs(distance) // 10)):
            QTest.keyClick(hand.widget, key, Qt.KeyboardModifier.ShiftModifier)
        for _ in range(round(abs(distance) % 10)):
            QTest.keyClick(hand.widget, key)
    hand.work.settle()
