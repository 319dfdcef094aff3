"""The session on napari's canvas: the image and a few layers over it, all made with the image and then written in place."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from functools import partial
from importlib import import_module
from itertools import pairwise
from string import ascii_letters
from typing import Any

import numpy as np
from napari.layers import Image, Layer
from numpy.typing import NDArray

from curvometer import CanalName, Radiograph
from curvometer_napari.case import Display, PointRC
from curvometer_napari.drawn import Stack, new_stack, place, stack_again
from curvometer_napari.placing import Placing, placing
from curvometer_napari.scene import Same, Scene, Seen, grey_window, local_contrast
from curvometer_napari.session import Session, Tool
from curvometer_napari.strokes import FloatArray, Stroke

LINE_PX = 2.4
"""Width of every line on the screen: to be seen, and narrow enough to see the canal on both its sides."""
ZOOM_STEP = 1.08
"""Change of zoom after which line widths and dashes are made anew; less is not seen."""
MARGIN = 0.03
BAR_LETTERS = "0123456789.mpixel"
OTHER_LETTERS = "".join(sorted(set(ascii_letters + "±°–-−,:;/()<>=%") - set(BAR_LETTERS)))
LETTERS_A_TURN = 4
"""A letter that is drawn for the first time takes napari about 10 ms."""
ENHANCED_TEXT = "Local contrast raised for looking only: measured on the stored grey values"


Defer = Callable[[Callable[[], None]], object]


class Canvas:
    """Keep napari's layers in step with a session.

    Parameters
    ----------
    viewer
        A napari viewer, its model, or the proxy that a plugin gets.
    session
        What is shown.
    defer
        Runs a function in a later turn of the window's loop. Each layer is shown in a turn of its own, the image at once,
        so that the window answers in between; without a window, calling it where it is will do.
    """

    def __init__(self, viewer: Any, session: Session, *, defer: Defer | None = None) -> None:
        self._viewer, self._session = viewer, session
        self._defer: Defer = defer or (lambda turn: turn())
        self._layers: Stack | None = None
        self._shown: list[Layer] = []
        self._turns: list[Callable[[], None]] = []
        self._turn_asked = False
        self._lines_wanted = True
        self._letters: set[str] = set()
        self._placing = Placing()
        self._scene = Scene(session)
        self._strokes: tuple[Stroke, ...] = ()
        self._adopted: Image | None = None
        self._foreign: Image | None = None
        self._busy = False
        self._lost = False
        self._live_from: PointRC | None = None
        self._enhanced_of: Radiograph | None = None
        self._last: dict[str, object] = {}
        self.on_layers: list[Callable[[Layer], None]] = []
        """Told of every layer that is made or adopted, for example to bind keys."""
        self._slots = [
            (session.radiograph_changed, self._new_image),
            (session.case_changed, self._case_changed),
            (session.results_changed, self.redraw),
            (session.emphasis_changed, self.redraw),
            (session.tool_changed, self._tool_changed),
        ]
        for signal, slot in self._slots:
            signal.connect(slot)
        viewer.layers.events.inserted.connect(self._inserted, position="last")
        viewer.layers.events.removed.connect(self._removed, position="last")
        viewer.scene.camera.events.zoom.connect(self._zoomed)
        if session.radiograph is not None:
            self._new_image()
        else:
            any(self.adopt(layer) for layer in list(viewer.layers))

    def close(self) -> None:
        """Follow the session and the viewer no more; the layers stay."""
        self._turns.clear()
        for signal, slot in self._slots:
            signal.disconnect(slot)
        self._viewer.layers.events.inserted.disconnect(self._inserted)
        self._viewer.layers.events.removed.disconnect(self._removed)
        self._viewer.scene.camera.events.zoom.disconnect(self._zoomed)

    # --- the image ---------------------------------------------------------------------------------------

    @property
    def image_layer(self) -> Image | None:
        """The radiograph's layer; None before an image is open."""
        return None if self._layers is None else self._layers.image

    @property
    def layers(self) -> list[Layer]:
        """All layers of the session, from below."""
        return [] if self._layers is None else self._layers.all

    @property
    def arriving(self) -> bool:
        """Whether something of the image still waits for its turn to be shown."""
        return bool(self._turns)

    def adopt(self, layer: Any) -> bool:
        """Take an image that came into the viewer some other way: by drag and drop, or through another reader."""
        known = layer.metadata.get("curvometer", {}) if isinstance(layer, Image) else {}
        if isinstance(known.get("radiograph"), Radiograph):
            self._adopted = layer
            self._session.set_radiograph(known["radiograph"], source=str(known.get("source", "")))
            return True
        if isinstance(layer, Image) and layer.ndim == 2 and layer.source.path:
            self._foreign = layer
            self._session.open_image(layer.source.path)
            return True
        return False

    def fit_view(self) -> None:
        """Show the whole image."""
        if self._layers is not None and self._layers.image in self._viewer.layers:
            self._viewer.reset_view(margin=MARGIN, layers=[self._layers.image])

    def to_rc(self, world: Any) -> PointRC:
        """Image position of a world position, as mouse events give it."""
        if self._layers is None:
            return 0.0, 0.0
        row, col = self._layers.image.world_to_data(tuple(world)[-2:])
        return float(row), float(col)

    def to_world(self, point_rc: PointRC) -> PointRC:
        """World position of an image position."""
        row, col = self._placing.world(np.array(point_rc))
        return float(row), float(col)

    @property
    def aspect_ratio(self) -> float:
        """Row spacing / column spacing of the image."""
        return self._placing.aspect_ratio

    @property
    def zoom(self) -> float:
        """Screen pixels per column of the image."""
        return float(self._viewer.scene.camera.zoom) * self._placing.scale_rc[1]

    def zoom_by(self, factor: float) -> None:
        """Enlarge what is seen."""
        self._viewer.scene.camera.zoom *= factor

    @property
    def centre_rc(self) -> PointRC:
        """The place in the middle of the view."""
        return self.to_rc(self._viewer.scene.camera.center)

    def step_rc(self, down_right: PointRC) -> PointRC:
        """Find what a step on the screen, counted in columns, is on the image."""
        row, col = self._placing.step_rc(down_right)
        return float(row), float(col)

    def reveal(self, point_rc: PointRC) -> None:
        """Move the view only if a place is not in it."""
        camera, world = self._viewer.scene.camera, np.array(self.to_world(point_rc))
        gap = np.abs(world - np.array(camera.center[-2:])) * camera.zoom
        if (gap > 0.48 * np.array(self._viewer.canvas.size)).any():
            camera.center = (0.0, *world)

    def _new_image(self) -> None:
        session, adopted = self._session, self._adopted
        self._adopted = None
        self._busy = True
        try:
            kept = self._layers if self._all_there() and session.radiograph is not None else None
            self._remove([self._foreign] if kept else [*self.layers, self._foreign], but=adopted)
            self._foreign, self._layers = None, None
            self._scene.forget()
            self._last.clear()
            self._enhanced_of, self._strokes = None, ()
            if session.radiograph is None or session.calibration is None:
                return
            self._placing = placing(session.calibration, session.case.display)
            if kept is None:
                self._layers, self._shown = new_stack(session.radiograph, adopted), []
            else:
                self._remove([kept.image] if adopted is not None else [], but=adopted)
                self._layers = stack_again(kept, session.radiograph, adopted)
            if adopted is not None:
                self._viewer.layers.move(self._viewer.layers.index(adopted), 0)
            place(self._viewer, self._layers.all, self._placing)
        finally:
            self._busy = False
        for layer in self._layers.all:
            for tell in self.on_layers:
                tell(layer)
        self._begin_turns(self._layers)
        # What the first turn and the first raised contrast would wait for.
        self._session.worker.ask("warm up", _load_libraries, lambda _: None, lambda _: None)

    def _begin_turns(self, layers: Stack) -> None:
        """Show the image, at once when there is one already, then the scale bar and the layers that are not shown yet."""
        self._shown = [layer for layer in layers.all if layer in self._viewer.layers]
        others = [layer for layer in layers.all[1:] if layer not in self._shown]
        bar, words = self._new_letters(BAR_LETTERS), self._new_letters(OTHER_LETTERS)
        inserts = [turn for layer in others for turn in self._inserts(layer)]
        self._turns = [*bar, self._show_scale_bar, *inserts, self._blank_copy, *words]
        if layers.image in self._shown:
            self._show_image()
        else:
            self._turns[:0] = [*self._inserts(layers.image)[:1], self._show_image]
        self._ask_turn()

    def _show_image(self) -> None:
        assert self._layers is not None
        self._layers.image.visible = True
        self._viewer.layers.selection.active = self._layers.image
        self.fit_view()
        self._case_changed()

    def _inserts(self, layer: Layer) -> list[Callable[[], None]]:
        """Put a layer into the viewer in one turn, and let it be painted for the first time in another."""

        def insert() -> None:
            layer.visible = False
            self._insert(layer)

        def show() -> None:
            layer.visible = self.lines_shown

        enhanced = self._layers is not None and layer is self._layers.enhanced
        return [partial(self._insert, layer)] if enhanced else [insert, show]

    def _blank_copy(self) -> None:
        """Take the copy of raised contrast of the image before away; it is out of sight."""
        layers, radiograph = self._layers, self._session.radiograph
        if layers is not None and radiograph is not None and self._enhanced_of is None:
            layers.enhanced.data = np.zeros(radiograph.shape, dtype=np.uint8)

    def _show_scale_bar(self) -> None:
        self._viewer.canvas.overlays.scale_bar.visible = True

    def _new_letters(self, letters: str) -> list[Callable[[], None]]:
        """Turns in which letters are drawn unseen, so that the first word that has many new ones does not take long."""
        if self._letters.issuperset(letters):
            return []
        # The first alone: with it comes all that draws letters.
        starts = [0, *range(1, len(letters), LETTERS_A_TURN), len(letters)]
        parts = [letters[a:b] for a, b in pairwise(starts)]
        return [*(partial(self._draw_letters, part) for part in parts), partial(self._draw_letters, "")]

    def _draw_letters(self, letters: str) -> None:
        text = self._viewer.canvas.overlays.text
        if text.visible and text.opacity > 0.0:
            return  # it says something
        self._letters.update(letters)
        text.box = not letters  # which is seen even at no opacity
        text.opacity, text.text, text.visible = (0.0, letters, True) if letters else (1.0, "", False)

    def _ask_turn(self) -> None:
        if self._turns and not self._turn_asked:
            self._turn_asked = True
            self._defer(self._take_turn)

    def _take_turn(self) -> None:
        self._turn_asked = False
        if self._shown and not any(layer in self._viewer.layers for layer in self._shown):
            self._turns.clear()  # the window closes
        if self._turns:
            self._turns.pop(0)()
            self._ask_turn()

    def _insert(self, layer: Layer, index: int | None = None) -> None:
        """Put a layer into the viewer; if the image is the active one it stays so, and nobody is told of a change."""
        busy, self._busy = self._busy, True
        shown, selection = self._viewer.layers, self._viewer.layers.selection
        active = selection.active
        try:
            with ExitStack() as quiet:
                if active is not None and active is self.image_layer:
                    quiet.enter_context(selection.events.blocker_all())
                shown.insert(len(shown) if index is None else min(index, len(shown)), layer)
                selection.active = self.image_layer if self.image_layer in shown else active
        finally:
            self._busy = busy
        if layer not in self._shown:
            self._shown.append(layer)

    def _all_there(self) -> bool:
        """Whether the layers can be used again: those that had their turn are still there."""
        return bool(self._shown) and all(layer in self._viewer.layers for layer in self._shown)

    def _remove(self, layers: list[Any], *, but: Layer | None) -> None:
        for layer in layers:
            if layer is not None and layer is not but and layer in self._viewer.layers:
                self._viewer.layers.remove(layer)

    def _inserted(self, event: Any) -> None:
        if not self._busy and event.value not in self.layers:
            self.adopt(event.value)

    def _removed(self, event: Any) -> None:
        """See that a layer was taken away; it comes back with the next drawing, for a window that closes takes all."""
        if not self._busy and event.value in self.layers:
            self._lost = True

    def _restore(self) -> None:
        """Put back a layer that someone deleted: without it, the session would be at work unseen."""
        layers, self._lost = self.layers, False
        if not any(layer in self._viewer.layers for layer in layers):
            self._turns.clear()
            self._layers = None  # all were taken away together, as when the window closes
            return
        for index, layer in enumerate(layers):
            if layer in self._shown and layer not in self._viewer.layers:
                self._insert(layer, index)
        self._viewer.layers.selection.active = self.image_layer

    # --- following the session ---------------------------------------------------------------------------

    def _case_changed(self) -> None:
        if self._layers is None or self._session.calibration is None:
            return
        wanted = placing(self._session.calibration, self._session.case.display)
        if wanted != self._placing:
            self._replace(wanted)
        self._show(self._layers, self._session.case.display)
        draft = self._session.case.draft
        last = draft.anchors_rc[-1] if draft is not None and draft.anchors_rc else None
        if last != self._live_from:  # the live path began at another anchor
            self._live_from = last
            self.show_live(np.empty((0, 2)))
        self.redraw()

    def _replace(self, wanted: Placing) -> None:
        """Place all layers anew, and keep what is seen: the same place in the middle, the same size."""
        assert self._layers is not None
        camera, before = self._viewer.scene.camera, self._placing
        middle_rc, turned = self.centre_rc, wanted.quarter_turns % 2 != before.quarter_turns % 2
        zoom = camera.zoom * before.scale_rc[1] / wanted.scale_rc[1]
        self._placing = wanted
        place(self._viewer, self._layers.all, wanted)
        if turned:
            self.fit_view()
            return
        camera.zoom = zoom
        camera.center = (0.0, *self.to_world(middle_rc))

    def _show(self, layers: Stack, display: Display) -> None:
        radiograph = self._session.radiograph
        assert radiograph is not None
        base = grey_window(radiograph)
        window = display.window or base
        limits = (window[0], max(window[1], window[0] + 1e-6 * (base[1] - base[0])))
        colours = "gray_r" if display.inverted else "gray"
        share = tuple(255.0 * (value - base[0]) / (base[1] - base[0]) for value in limits)
        for layer, wanted in ((layers.image, limits), (layers.enhanced, share)):
            if tuple(layer.contrast_limits) != wanted:
                layer.contrast_limits = wanted
            if layer.colormap.name != colours:
                layer.colormap = colours
        ready = self._enhanced_of is radiograph
        if layers.enhanced.visible != (display.enhanced and ready):
            layers.enhanced.visible = display.enhanced and ready
        text = self._viewer.canvas.overlays.text
        text.text, text.visible, text.opacity = ENHANCED_TEXT, layers.enhanced.visible, 1.0
        text.box = True
        text.position = "top_left"
        if display.enhanced and not ready:
            self._enhance(radiograph, layers)

    def _enhance(self, radiograph: Radiograph, layers: Stack) -> None:
        def done(pixels: NDArray[np.uint8]) -> None:
            if self._layers is layers:
                layers.enhanced.data = pixels
                self._enhanced_of = radiograph
                self._case_changed()

        self._session.worker.ask("enhance", lambda: local_contrast(radiograph), done, self._session.told.emit)

    def _tool_changed(self) -> None:
        self.show_live(np.empty((0, 2)))
        if self._layers is not None:
            self._layers.image.cursor = "standard" if self._session.tool is Tool.LOOK else "cross"
        self.redraw()

    def _zoomed(self, _: Any = None) -> None:
        change = self.zoom / self._scene.seen.zoom
        if self._layers is not None and not _little(change):
            self.redraw()

    # --- drawing -----------------------------------------------------------------------------------------

    def redraw(self) -> None:
        """Draw whatever changed since the last time."""
        if self._lost:
            self._restore()
        layers, session, scene = self._layers, self._session, self._scene
        if layers is None or session.radiograph is None:
            return
        self._look()
        case, seen = session.case, (scene.seen.placing, scene.seen.camera_zoom)
        lines = tuple((Same(scene.line_rc(t.name)), t.name, t.hand_legs) for t in case.tracings)
        file = (case.scale_objects, case.scale_draft_rc, seen)
        self._once("file", file, lambda: layers.file.draw(scene.file_parts(), width=self._width))
        canals = (lines, case.selected, session.quantity is None, seen)
        self._once("canals", canals, lambda: layers.canals.draw(scene.canal_parts(), width=self._width))
        shown = (session.quantity, session.cursor_mm, scene.crosshair_rc)
        construction = (Same(session.result(case.selected)), case.selected, shown, seen)
        self._once("construction", construction, lambda: self._draw_construction(layers))
        marks = scene.marks()
        zoom = scene.seen.zoom
        self._once("anchors", (*marks, zoom), lambda: layers.anchors.draw(marks, zoom=zoom))
        words = scene.words(self._strokes)
        down, right = scene.pixel_steps()
        self._once("words", (*words, seen), lambda: layers.words.draw(words, down_rc=down, right_rc=right))

    def show_live(self, path_rc: FloatArray) -> None:
        """Draw the way from the last anchor to the pointer; an empty path takes it away."""
        if self._layers is not None:
            self._layers.live.draw(self._scene.live_parts(path_rc), width=self._width)

    def show_crosshair(self, point_rc: PointRC | None) -> None:
        """Show where the keys would click; None takes the crosshair away."""
        self._scene.crosshair_rc = point_rc
        self.redraw()

    @property
    def lines_shown(self) -> bool:
        """Whether anything is drawn over the image."""
        return self._layers is not None and self._lines_wanted

    def show_lines(self, shown: bool) -> None:
        """Hide what is drawn, to see the bare image, or show it again."""
        self._lines_wanted = shown
        for layer in self.layers[2:]:
            layer.visible = shown

    def anchor_at(self, point_rc: PointRC) -> tuple[CanalName, int] | None:
        """The selected canal's anchor under a place, and its index."""
        return self._scene.anchor_at(point_rc)

    def leg_at(self, point_rc: PointRC) -> tuple[CanalName, int] | None:
        """The canal whose line is under a place, and which leg of it."""
        return self._scene.leg_at(point_rc)

    def _once(self, what: str, key: object, draw: Callable[[], None]) -> None:
        if self._last.get(what) != key:
            self._last[what] = key
            draw()

    def _draw_construction(self, layers: Stack) -> None:
        self._strokes = self._scene.strokes()
        layers.construction.draw(self._scene.construction_parts(self._strokes), width=self._width)

    @property
    def _width(self) -> float:
        return LINE_PX / self._scene.seen.zoom

    def _look(self) -> None:
        """Tell the scene what is seen; a small change of zoom does not count, for it would draw everything anew."""
        camera, before = self._viewer.scene.camera, self._scene.seen
        change = self.zoom / before.zoom
        zoom = before.camera_zoom if before.placing == self._placing and _little(change) else camera.zoom
        row, col = (float(value) for value in camera.center[-2:])
        height, width = self._viewer.canvas.size
        self._scene.seen = Seen(
            placing=self._placing, camera_zoom=float(zoom), centre=(row, col), size=(int(height), int(width))
        )


def _little(change: float) -> bool:
    return 1.0 / ZOOM_STEP < change < ZOOM_STEP


def _load_libraries() -> None:
    import_module("cv2")
    import_module("scipy.linalg")  # napari takes an affine apart with it
