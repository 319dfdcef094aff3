"""Mouse and keys: logic on a viewer without a window, then real Qt events on the canvas of a shown one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from napari.components import ViewerModel
from napari.utils.interactions import (
    mouse_double_click_callbacks,
    mouse_move_callbacks,
    mouse_press_callbacks,
    mouse_release_callbacks,
)

from curvometer import CanalName
from curvometer_napari.case import PointRC
from curvometer_napari.keys import KEYS, help_rows, key_text
from curvometer_napari.layers import Canvas
from curvometer_napari.pointer import CLICK_PX, Pointer
from curvometer_napari.session import Tool

if TYPE_CHECKING:
    from conftest import Sample, WindowlessSession


@dataclass
class Event:
    """What napari hands to mouse callbacks."""

    type: str
    position: PointRC
    pos: tuple[float, float]
    button: int | None = 1
    modifiers: tuple[str, ...] = ()
    is_dragging: bool = False
    handled: bool = False


@dataclass(kw_only=True)
class Hand:
    """A hand on the mouse of a viewer without a window."""

    viewer: Any
    session: WindowlessSession
    canvas: Canvas
    pointer: Pointer
    sample: Sample
    told: list[str] = field(default_factory=list)

    def event(self, kind: str, at: PointRC, **options: Any) -> Event:
        world = self.canvas.to_world(at)
        zoom = self.viewer.scene.camera.zoom
        return Event(kind, world, (world[1] * zoom, world[0] * zoom), **options)

    def move(self, at: PointRC) -> None:
        mouse_move_callbacks(self.viewer, self.event("mouse_move", at, button=None))

    def drag(self, *places: PointRC, **options: Any) -> list[Event]:
        """Press at the first place, move over the others, release at the last."""
        events = [self.event("mouse_press", places[0], **options)]
        mouse_press_callbacks(self.viewer, _Kept(events[0]))
        for at in places[1:]:
            events.append(self.event("mouse_move", at, is_dragging=True, **options))
            mouse_move_callbacks(self.viewer, events[-1])
        events.append(self.event("mouse_release", places[-1], **options))
        mouse_release_callbacks(self.viewer, events[-1])
        return events

    def click(self, at: PointRC, **options: Any) -> None:
        self.drag(at, **options)

    def double_click(self, at: PointRC) -> Event:
        self.click(at)
        event = self.event("mouse_double_click", at)
        mouse_double_click_callbacks(self.viewer, event)
        return event

    def key(self, key: str) -> None:
        """Run what the image layer, which is active, has for a key."""
        layer = self.viewer.layers.selection.active
        from napari.utils.key_bindings import coerce_keybinding  # noqa: PLC0415

        layer.keymap[coerce_keybinding(key)](layer)

    def trace(self, name: CanalName = CanalName.MB) -> None:
        self.session.start_tracing(name)
        self.click(self.sample.orifice_rc)
        self.click(self.sample.foramen_rc)
        self.key("Enter")
        self.session.settle()

    def near(self, at: PointRC, down_px: float, right_px: float) -> PointRC:
        """A place so many screen pixels away."""
        row, col = np.array(at) + np.array([down_px, right_px]) / self.canvas.zoom
        return float(row), float(col)

    @property
    def anchors(self) -> tuple[PointRC, ...]:
        current = self.session.case.current
        return () if current is None else current.anchors_rc


class _Kept:
    """Napari's wrapper around an event, whose content moves on while a drag goes on."""

    def __init__(self, event: Event) -> None:
        self.__dict__["__wrapped__"] = event

    def __getattr__(self, name: str) -> Any:
        return getattr(self.__dict__["__wrapped__"], name)

    def __setattr__(self, name: str, value: Any) -> None:
        if name == "__wrapped__":
            self.__dict__[name] = value
        else:
            setattr(self.__dict__["__wrapped__"], name, value)


@pytest.fixture
def hand(session: WindowlessSession, sample: Callable[[str], Sample]) -> Iterator[Hand]:
    viewer = ViewerModel()
    canvas = Canvas(viewer, session)
    pointer = Pointer(viewer, session, canvas)
    made = Hand(viewer=viewer, session=session, canvas=canvas, pointer=pointer, sample=sample("lower_molar"))
    session.told.connect(lambda sentence: made.told.append(sentence) if sentence else None)
    session.set_radiograph(made.sample.radiograph, source="lower_molar.dcm")
    yield made
    made.pointer.close()
    canvas.close()


def test_two_clicks_and_enter_make_a_canal(hand: Hand) -> None:
    hand.trace()
    assert hand.session.case.current is not None
    assert hand.session.case.current.accepted
    np.testing.assert_allclose(hand.anchors, [hand.sample.orifice_rc, hand.sample.foramen_rc], atol=1e-6)
    result = hand.session.result(CanalName.MB)
    assert result is not None
    assert result.measurement is not None
    assert result.measurement.schneider_angle is not None
    assert (
        abs(result.measurement.schneider_angle.value - hand.sample.truth["measures"]["schneider_angle"]) < 2.0
    )


def test_a_press_that_moves_pans_and_does_not_click(hand: Hand) -> None:
    hand.session.start_tracing(CanalName.MB)
    start = hand.sample.orifice_rc
    events = hand.drag(start, hand.near(start, CLICK_PX + 1.0, 0.0), start)  # back to where it began
    assert hand.anchors == ()
    assert not any(event.handled for event in events)
    hand.drag(start, hand.near(start, CLICK_PX - 1.0, 0.0))
    np.testing.assert_allclose(hand.anchors, [start], atol=1e-6)


def test_double_click_on_the_last_place_accepts_and_does_not_zoom(hand: Hand) -> None:
    hand.session.start_tracing(CanalName.MB)
    zoom = hand.viewer.scene.camera.zoom
    hand.click(hand.sample.orifice_rc)
    assert hand.double_click(hand.sample.foramen_rc).handled
    assert hand.session.case.current is not None
    assert hand.session.case.current.accepted
    assert hand.viewer.scene.camera.zoom == zoom
    hand.double_click((100.0, 100.0))
    assert hand.viewer.scene.camera.zoom == pytest.approx(2.0 * zoom)


def test_double_click_on_the_last_anchor_adds_none_beside_it(hand: Hand) -> None:
    hand.session.start_tracing(CanalName.MB)
    hand.click(hand.sample.orifice_rc)
    hand.click(hand.sample.foramen_rc)
    hand.double_click(hand.near(hand.sample.foramen_rc, 3.0, 2.0))
    assert len(hand.anchors) == 2
    assert hand.session.tool is Tool.LOOK


def test_live_path_goes_with_the_anchor_it_began_at(hand: Hand) -> None:
    hand.session.start_tracing(CanalName.MB)
    hand.click(hand.sample.orifice_rc)
    hand.move((900.0, 640.0))
    hand.key("Backspace")
    layer = hand.viewer.layers["path to the pointer"]
    assert not (layer.edge_color[:, 3] > 0.0).any()


def test_live_path_follows_the_pointer(hand: Hand) -> None:
    hand.session.start_tracing(CanalName.MB)
    hand.click(hand.sample.orifice_rc)
    layer = hand.viewer.layers["path to the pointer"]
    ends = []
    for end in (hand.sample.foramen_rc, (900.0, 640.0)):
        hand.move(end)
        pieces = layer.data[layer.edge_color[:, 3] > 0.0]
        ends.append(pieces[-1].sum(axis=0))
        np.testing.assert_allclose(pieces[0, 0], hand.sample.orifice_rc, atol=3.0)
    np.testing.assert_allclose(ends, [hand.sample.foramen_rc, (900.0, 640.0)], atol=3.0)


def test_dragging_an_anchor_previews_and_is_one_step(hand: Hand) -> None:
    hand.trace()
    before, previews = hand.anchors, []
    hand.session.case_changed.connect(lambda: previews.append(hand.session.settled))
    grabbed = hand.near(before[1], 3.0, -2.0)
    way = [grabbed, hand.near(grabbed, -10.0, 4.0), hand.near(grabbed, -20.0, 8.0)]
    events = hand.drag(*way)
    assert all(event.handled for event in events)
    assert previews == [False, False, True]
    # What was grabbed beside the anchor's middle stays beside it.
    np.testing.assert_allclose(hand.anchors[1], hand.near(before[1], -20.0, 8.0), atol=1e-6)
    assert hand.session.undo_text == "move an anchor of canal MB"
    hand.session.undo()
    assert hand.anchors == before


def test_escape_while_dragging_puts_the_anchor_back(hand: Hand) -> None:
    hand.trace()
    before = hand.anchors
    press = _Kept(hand.event("mouse_press", before[1]))
    mouse_press_callbacks(hand.viewer, press)
    mouse_move_callbacks(hand.viewer, hand.event("mouse_move", (900.0, 600.0), is_dragging=True))
    assert hand.anchors != before
    hand.key("Escape")
    assert hand.anchors == before
    mouse_move_callbacks(hand.viewer, hand.event("mouse_move", (910.0, 600.0), is_dragging=True))
    mouse_release_callbacks(hand.viewer, hand.event("mouse_release", (910.0, 600.0)))
    assert hand.anchors == before
    assert hand.session.undo_text == "accept canal MB"


def test_an_anchor_cannot_be_dragged_off_the_image(hand: Hand) -> None:
    hand.trace()
    hand.drag(hand.anchors[1], (5000.0, -300.0))
    assert hand.anchors[1] == (hand.sample.radiograph.shape[0] - 1.0, 0.0)


def test_right_drag_changes_the_window_as_one_step(hand: Hand) -> None:
    image = hand.canvas.image_layer
    assert image is not None
    low, high = image.contrast_limits
    start = (600.0, 600.0)
    events = hand.drag(start, hand.near(start, 0.0, 50.0), hand.near(start, 0.0, 100.0), button=2)
    assert all(event.handled for event in events)
    assert image.contrast_limits[1] - image.contrast_limits[0] == pytest.approx((high - low) * np.exp(0.25))
    assert sum(image.contrast_limits) == pytest.approx(low + high)
    hand.drag(start, hand.near(start, 40.0, 0.0), button=2)
    assert sum(image.contrast_limits) > low + high
    hand.session.undo()
    hand.session.undo()
    assert tuple(image.contrast_limits) == (low, high)


@pytest.mark.parametrize("modifier", ["Control", "Alt"])
def test_modified_clicks_insert_and_remove_a_waypoint(hand: Hand, modifier: str) -> None:
    hand.trace()
    middle = tuple(hand.canvas._scene.line_rc(CanalName.MB)[60])
    hand.click(middle, modifiers=(modifier,))
    assert len(hand.anchors) == 3
    np.testing.assert_allclose(hand.anchors[1], middle, atol=1e-6)
    hand.click(hand.anchors[1], modifiers=(modifier,))
    assert len(hand.anchors) == 2
    hand.click(hand.anchors[0], modifiers=(modifier,))
    assert len(hand.anchors) == 2
    assert "cannot be removed" in hand.told[-1]
    hand.click((80.0, 80.0), modifiers=(modifier,))
    assert "Ctrl-click" in hand.told[-1]


def test_hovering_sets_the_plots_cursor_and_leaves_another_alone(hand: Hand) -> None:
    hand.trace()
    hand.session.point_at(2.0)
    hand.move((60.0, 60.0))
    assert hand.session.cursor_mm == 2.0  # the plot set it
    hand.move(hand.sample.foramen_rc)
    assert hand.session.cursor_mm == pytest.approx(0.0, abs=0.1)
    hand.move((60.0, 60.0))
    assert hand.session.cursor_mm is None


def test_click_on_another_canal_selects_it(hand: Hand) -> None:
    hand.trace(CanalName.MB)
    row, col = hand.sample.orifice_rc
    hand.session.start_tracing(CanalName.ML)
    hand.session.choose(Tool.TRACE, hand=True)
    hand.click((row, col + 200.0))
    hand.click((row + 300.0, col + 220.0))
    hand.key("Enter")
    hand.session.settle()
    assert hand.session.case.selected == CanalName.ML
    hand.click(tuple(hand.canvas._scene.line_rc(CanalName.MB)[60]))
    assert hand.session.case.selected == CanalName.MB
    hand.key("N")
    assert hand.session.case.selected == CanalName.ML
    hand.key("Delete")
    assert [t.name for t in hand.session.case.tracings] == [CanalName.MB]
    hand.key("Control-Z")
    assert len(hand.session.case.tracings) == 2


def test_mirror_is_left_and_right_as_seen_also_when_turned(hand: Hand) -> None:
    """Before and after M a place keeps its height on the screen and swaps its side, about the image's middle."""
    hand.key("R")
    corners = [(0.0, 0.0), (0.0, 1699.0), (1299.0, 0.0), (1299.0, 1699.0)]
    before = np.array([hand.canvas.to_world(c) for c in corners])
    hand.key("M")
    after = np.array([hand.canvas.to_world(c) for c in corners])
    before, after = before - before.mean(axis=0), after - after.mean(axis=0)
    np.testing.assert_allclose(after, before * np.array([1.0, -1.0]), atol=1e-9)


def test_clicks_on_a_turned_and_mirrored_image_measure_the_same(hand: Hand) -> None:
    hand.key("R")
    hand.key("M")
    hand.trace()
    np.testing.assert_allclose(hand.anchors, [hand.sample.orifice_rc, hand.sample.foramen_rc], atol=1e-6)


def test_keyboard_alone_traces_a_canal_and_moves_an_anchor(hand: Hand) -> None:
    def go_to(at: PointRC) -> None:
        assert hand.pointer._crosshair is not None
        down, right = np.round(np.array(at) - np.array(hand.pointer._crosshair)).astype(int)
        for steps, far, near in ((down, "Shift-Down", "Down"), (right, "Shift-Right", "Right")):
            back = {"Shift-Down": "Shift-Up", "Down": "Up", "Shift-Right": "Shift-Left", "Right": "Left"}
            for _ in range(abs(steps) // 10):
                hand.key(far if steps > 0 else back[far])
            for _ in range(abs(steps) % 10):
                hand.key(near if steps > 0 else back[near])

    hand.key("P")
    assert "arrow keys" in hand.told[-1]
    hand.key("T")
    hand.key("Down")  # shows the crosshair in the middle
    go_to(hand.sample.orifice_rc)
    hand.key("P")
    go_to(hand.sample.foramen_rc)
    hand.key("P")
    hand.key("Enter")
    hand.session.settle()
    np.testing.assert_allclose(hand.anchors, [hand.sample.orifice_rc, hand.sample.foramen_rc], atol=1.0)
    before = hand.anchors
    hand.key("P")  # picks the foramen up
    hand.key("Shift-Up")
    assert not hand.session.settled
    hand.key("Escape")
    assert hand.anchors == before
    hand.key("P")
    hand.key("P")
    go_to(before[1])
    hand.key("P")
    hand.key("Shift-Up")
    hand.key("P")
    assert hand.session.settled
    assert hand.anchors[1][0] == pytest.approx(before[1][0] - 10.0, abs=1.0)


def test_hand_key_needs_a_canal_in_hand(hand: Hand) -> None:
    hand.key("H")
    assert "press T first" in hand.told[-1]
    hand.key("T")
    hand.key("H")
    assert hand.session.hand
    hand.key("H")
    assert not hand.session.hand


def test_display_keys(hand: Hand) -> None:
    for key in ("R", "I", "E"):
        hand.key(key)
    display = hand.session.case.display
    assert (display.quarter_turns, display.inverted, display.enhanced) == (1, True, True)
    hand.key("V")
    assert not hand.viewer.layers["canals"].visible
    assert hand.viewer.layers["radiograph"].visible
    hand.key("V")
    assert hand.viewer.layers["canals"].visible


def test_every_key_has_an_action_and_a_row_of_help(hand: Hand) -> None:
    assert len({key.key for key in KEYS}) == len(KEYS)
    for key in KEYS:
        assert key.action in hand.pointer._actions
    assert ("Ctrl+Shift+Z, Ctrl+Y", "redo") in help_rows()
    assert key_text("Shift-Left") == "Shift+Left"
    assert key_text("-") == "-"


def test_keys_are_on_the_viewer_and_on_every_layer_until_closed(hand: Hand) -> None:
    for provider in (hand.viewer, *hand.viewer.layers):
        assert len(provider.keymap) >= len(KEYS)
    hand.pointer.close()
    for provider in (hand.viewer, *hand.viewer.layers):
        assert len(provider.keymap) == 0
    assert hand.viewer.mouse_double_click_callbacks[0].__name__ == "double_click_to_zoom"
    hand.pointer = Pointer(hand.viewer, hand.session, hand.canvas)
    assert len(hand.viewer.keymap) >= len(KEYS)


# --- real events -----------------------------------------------------------------------------------------


def test_real_mouse_and_keys_in_a_shown_viewer(
    make_napari_viewer: Callable[..., Any],
    session: WindowlessSession,
    sample: Callable[[str], Sample],
    qtbot: Any,
) -> None:
    """Trace, accept by the Enter key, drag an anchor, undo and redo by keys: all through Qt."""
    from qtpy.QtCore import QPoint, Qt  # noqa: PLC0415 - the logic tests need no Qt
    from qtpy.QtTest import QTest  # noqa: PLC0415

    viewer = make_napari_viewer(show=True)
    canvas = Canvas(viewer, session)
    pointer = Pointer(viewer, session, canvas)
    lower = sample("lower_molar")
    session.set_radiograph(lower.radiograph, source="lower_molar.dcm")
    native = viewer.window._qt_viewer.canvas.native
    native.setFocus()
    qtbot.wait(50)
    canvas.fit_view()

    def at(point_rc: PointRC) -> QPoint:
        camera, (height, width) = viewer.scene.camera, viewer.canvas.size
        down, right = (np.array(canvas.to_world(point_rc)) - np.array(camera.center[-2:])) * camera.zoom
        return QPoint(round(right + width / 2.0), round(down + height / 2.0))

    def press(key: Any, modifier: Any = Qt.KeyboardModifier.NoModifier) -> None:
        QTest.keyClick(native, key, modifier)

    def move(point: QPoint) -> None:
        qtbot.wait(15)  # vispy drops moves that follow each other too fast
        QTest.mouseMove(native, point)
        qtbot.wait(15)

    left, none = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    press(Qt.Key.Key_T)
    assert session.tool is Tool.TRACE
    QTest.mouseClick(native, left, none, at(lower.orifice_rc))
    move(at(lower.foramen_rc))
    QTest.mouseClick(native, left, none, at(lower.foramen_rc))
    pixel = 1.5 / canvas.zoom
    assert session.case.current is not None
    np.testing.assert_allclose(
        session.case.current.anchors_rc, [lower.orifice_rc, lower.foramen_rc], atol=pixel
    )
    press(Qt.Key.Key_Return)
    assert session.tool is Tool.LOOK
    session.settle()
    before, centre = session.case.current.anchors_rc, viewer.scene.camera.center
    QTest.mousePress(native, left, none, at(before[1]))
    for shift in (-6, -12, -24):
        move(at(before[1]) + QPoint(0, shift))
    QTest.mouseRelease(native, left, none, at(before[1]) + QPoint(0, -24))
    moved = session.case.current.anchors_rc[1]
    assert (before[1][0] - moved[0]) * canvas.zoom == pytest.approx(24.0, abs=2.0)
    np.testing.assert_allclose(viewer.scene.camera.center, centre)  # the image did not pan
    press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert session.case.current.anchors_rc == before
    press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier)
    assert session.case.current.anchors_rc[1] == moved
    press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    press(Qt.Key.Key_Y, Qt.KeyboardModifier.ControlModifier)
    assert session.case.current.anchors_rc[1] == moved
    for key, field_name in ((Qt.Key.Key_I, "inverted"), (Qt.Key.Key_M, "mirrored")):
        press(key)
        assert getattr(session.case.display, field_name)
    press(Qt.Key.Key_Down)
    press(Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert pointer._crosshair is not None
    zoom = canvas.zoom
    press(Qt.Key.Key_Plus, Qt.KeyboardModifier.ShiftModifier)
    assert canvas.zoom > zoom
    press(Qt.Key.Key_Minus)
    assert canvas.zoom == pytest.approx(zoom)
    viewer.layers.selection.active = viewer.layers["anchors"]
    press(Qt.Key.Key_Delete)
    assert session.case.tracings == ()
    assert len(viewer.layers["anchors"].data) == 0
    viewer.layers.selection.active = None
    press(Qt.Key.Key_F)
    assert session.tool is Tool.SCALE
    press(Qt.Key.Key_Escape)
    assert session.tool is Tool.LOOK
    session.settle()
    pointer.close()
    canvas.close()
