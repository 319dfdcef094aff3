"""Mouse and keys on the canvas, turned into calls of the session."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from curvometer import CanalName, Structure
from curvometer_napari import case as edits
from curvometer_napari.case import Case, PointRC, Tracing
from curvometer_napari.constructions import distance_from_foramen
from curvometer_napari.keys import bind, unbind
from curvometer_napari.layers import Canvas
from curvometer_napari.naming import free_names
from curvometer_napari.session import Session, Tool

CLICK_PX = 3.0
"""A press that moves no further than this on the screen is a click."""
HOVER_PX = 14.0
"""How near the pointer must come to a canal for the plot's cursor to follow."""
WINDOW_PX = 400.0
"""Drag on the screen that changes the window by its own width."""
ZOOM = 1.25
FAR = 10.0
"""Pixels of a step with Shift."""
LEFT, RIGHT = 1, 2
ARROWS = {"left": (0.0, -1.0), "right": (0.0, 1.0), "up": (-1.0, 0.0), "down": (1.0, 0.0)}

Drag = Iterator[None]


class Pointer:
    """Let a person work on the canvas with mouse and keys.

    Parameters
    ----------
    viewer
        A napari viewer, its model, or the proxy that a plugin gets.
    session
        What the mouse and the keys act on.
    canvas
        Tells what lies under the pointer, and draws the live path.

    Attributes
    ----------
    next_trace
        Names the canal that the key T begins, and what is traced; the first free code unless the panel sets it.
    """

    def __init__(self, viewer: Any, session: Session, canvas: Canvas) -> None:
        self._viewer, self._session, self._canvas = viewer, session, canvas
        self.next_trace: Callable[[], tuple[CanalName, Structure]] = self._first_free
        self._crosshair: PointRC | None = None
        self._held: tuple[Case, Tracing, int] | None = None
        self._moving: Case | None = None
        self._pointing = False
        self._actions = self._named_actions()
        viewer.mouse_move_callbacks.append(self._moved)
        viewer.mouse_drag_callbacks.append(self._dragged)
        # Napari's zoom by double click would move the image away under whoever accepts with one.
        self._double = list(viewer.mouse_double_click_callbacks)
        viewer.mouse_double_click_callbacks[:] = [self._double_clicked]
        bind(viewer, self.act)
        canvas.on_layers.append(self._bind)
        for layer in canvas.layers:
            self._bind(layer)
        session.radiograph_changed.connect(self._forget)

    def close(self) -> None:
        """Leave the mouse and the keys to napari."""
        self._session.radiograph_changed.disconnect(self._forget)
        self._viewer.mouse_move_callbacks.remove(self._moved)
        self._viewer.mouse_drag_callbacks.remove(self._dragged)
        self._viewer.mouse_double_click_callbacks[:] = self._double
        self._canvas.on_layers.remove(self._bind)
        for provider in (self._viewer, *self._canvas.layers):
            unbind(provider)

    def _bind(self, layer: Any) -> None:
        bind(layer, self.act)

    def _forget(self) -> None:
        self._crosshair, self._held, self._moving, self._pointing = None, None, None, False

    def _first_free(self) -> tuple[CanalName, Structure]:
        taken = {tracing.name for tracing in self._session.case.tracings}
        return (free_names(taken) or [CanalName.SINGLE])[0], Structure.CANAL

    # --- the mouse ---------------------------------------------------------------------------------------

    def _moved(self, _: Any, event: Any) -> None:
        if self._session.radiograph is None:
            return
        if self._crosshair is not None and self._held is None:
            self._crosshair = None  # the mouse is in hand again
            self._canvas.show_crosshair(None)
        self._follow(self._canvas.to_rc(event.position))

    def _follow(self, point_rc: PointRC) -> None:
        """Let the live path or the plot's cursor follow."""
        if self._session.tool is Tool.TRACE:
            self._canvas.show_live(self._session.live_path_rc(point_rc))
        elif self._session.tool is Tool.LOOK:
            self._hover(point_rc)

    def _hover(self, point_rc: PointRC) -> None:
        result = self._session.result(self._session.case.selected)
        if result is not None and result.measurement is not None:
            place, gap = distance_from_foramen(
                result.measurement, point_rc, aspect_ratio=self._canvas.aspect_ratio
            )
            if gap * self._canvas.zoom <= HOVER_PX:
                self._pointing = True
                self._session.point_at(place)
                return
        if self._pointing:  # leaves alone the cursor that the plot set
            self._pointing = False
            self._session.point_at(None)

    def _double_clicked(self, viewer: Any, event: Any) -> None:
        if self._session.tool is Tool.LOOK:
            for zoom in self._double:
                zoom(viewer, event)
        else:
            event.handled = True
            if event.button == LEFT:
                self._accept()

    def _dragged(self, _: Any, event: Any) -> Drag:
        """From press to release; napari advances this at every move."""
        if self._session.radiograph is None:
            return
        if event.button == RIGHT:
            yield from self._window(event)
        elif event.button == LEFT and self._held is None:
            point_rc = self._canvas.to_rc(event.position)
            edit = bool({"Control", "Alt"} & {str(getattr(m, "name", m)) for m in event.modifiers})
            anchor = None if self._session.tool is Tool.SCALE else self._canvas.anchor_at(point_rc)
            if anchor is not None and not edit:
                yield from self._anchor(event, anchor[1], point_rc)
            else:
                yield from self._click(event, point_rc, edit=edit)

    def _click(self, event: Any, point_rc: PointRC, *, edit: bool) -> Drag:
        """Pan, unless the pointer stays where it was."""
        press, far = np.array(event.pos, dtype=float), 0.0
        yield
        while event.type == "mouse_move":
            far = max(far, _distance(event.pos, press))
            yield
        if max(far, _distance(event.pos, press)) >= CLICK_PX:
            return
        if edit:
            self._waypoint(point_rc)
        elif self._session.tool is not Tool.LOOK:
            self._place(point_rc)
        else:
            self._select_at(point_rc)

    def _anchor(self, event: Any, index: int, point_rc: PointRC) -> Drag:
        """Move an anchor with the pointer; what was grabbed beside its middle stays beside it."""
        case, tracing = self._session.case, self._session.case.current
        assert tracing is not None
        press, moved = np.array(event.pos, dtype=float), False
        offset = np.array(tracing.anchors_rc[index]) - np.array(point_rc)
        event.handled = True
        self._moving = case
        yield
        while event.type == "mouse_move":
            event.handled = True
            moved = moved or _distance(event.pos, press) >= CLICK_PX
            if moved and self._moving is case:
                self._move_anchor(case, tracing, index, self._canvas.to_rc(event.position) + offset)
            yield
        event.handled = True
        if not moved:
            if self._session.tool is Tool.TRACE:
                # Exactly on the anchor, so that the first click of a double click adds no other beside it.
                self._place(tracing.anchors_rc[index])
        elif self._moving is case:
            self._session.do(self._session.case, f"move an anchor of canal {tracing.name}")
        self._moving = None

    def _move_anchor(self, case: Case, tracing: Tracing, index: int, place: Any) -> None:
        rows, cols = self._session.radiograph.shape if self._session.radiograph is not None else (1, 1)
        row, col = np.clip(place, 0.0, (rows - 1.0, cols - 1.0))
        moved = edits.moved_anchor(tracing, index, (float(row), float(col)))
        self._session.preview(edits.with_tracing(case, moved))

    def _window(self, event: Any) -> Drag:
        """Across changes the window's width, along changes its level; shown while dragging, kept at the end."""
        layer = self._canvas.image_layer
        if layer is None:
            return
        case, press = self._session.case, np.array(event.pos, dtype=float)
        low, high = (float(value) for value in layer.contrast_limits)
        event.handled = True
        yield
        while event.type == "mouse_move":
            event.handled = True
            right, down = (np.array(event.pos, dtype=float) - press) / WINDOW_PX
            width = (high - low) * float(np.exp(right))
            level = 0.5 * (low + high) + (high - low) * float(down)
            window = (level - 0.5 * width, level + 0.5 * width)
            self._session.preview(replace(case, display=replace(case.display, window=window)))
            yield
        event.handled = True
        if not self._session.settled:
            self._session.show(self._session.case.display, "change the window")

    # --- what a click does -------------------------------------------------------------------------------

    def _place(self, point_rc: PointRC) -> None:
        self._session.click(point_rc)
        self._canvas.show_live(self._session.live_path_rc(point_rc))

    def _accept(self) -> None:
        self._session.accept()
        if self._session.tool is Tool.LOOK:
            self._canvas.show_live(np.empty((0, 2)))

    def _select_at(self, point_rc: PointRC) -> None:
        leg = self._canvas.leg_at(point_rc)
        if leg is not None:
            self._session.select(leg[0])

    def _waypoint(self, point_rc: PointRC) -> None:
        """Insert a waypoint into the line under a place, or remove the one that is there."""
        session, case = self._session, self._session.case
        anchor, leg = self._canvas.anchor_at(point_rc), self._canvas.leg_at(point_rc)
        tracing = case.tracing(anchor[0] if anchor is not None else leg[0] if leg is not None else None)
        if tracing is None or not tracing.accepted:
            session.told.emit("Ctrl-click on the line of an accepted canal to insert a waypoint there.")
        elif anchor is not None and not 0 < anchor[1] < len(tracing.anchors_rc) - 1:
            session.told.emit("The orifice and the foramen cannot be removed: drag them to another place.")
        elif anchor is not None:
            fewer = edits.removed_anchor(tracing, anchor[1])
            session.do(edits.with_tracing(case, fewer), f"remove a waypoint of canal {tracing.name}")
        elif leg is not None:
            more = edits.inserted_anchor(tracing, leg[1], point_rc)
            session.do(edits.with_tracing(case, more), f"insert a waypoint into canal {tracing.name}")

    # --- the keys ----------------------------------------------------------------------------------------

    def act(self, action: str) -> None:
        """Run the action of a key by its name in `keys.KEYS`."""
        self._actions[action]()

    def _named_actions(self) -> dict[str, Callable[[], None]]:
        session, canvas = self._session, self._canvas
        actions: dict[str, Callable[[], None]] = {
            "trace": self._trace,
            "scale": session.start_scale,
            "accept": self._key_accept,
            "take_back": self._take_back,
            "cancel": self._cancel,
            "hand": self._hand,
            "undo": self._undo,
            "redo": self._redo,
            "next_canal": self._next_canal,
            "delete_canal": self._delete_canal,
            "place": self._key_place,
            "waypoint": self._key_waypoint,
            "zoom_in": lambda: canvas.zoom_by(ZOOM),
            "zoom_out": lambda: canvas.zoom_by(1.0 / ZOOM),
            "fit_view": canvas.fit_view,
            "rotate": self._rotate,
            "mirror": self._mirror,
            "invert": self._invert,
            "enhance": self._enhance,
            "show_lines": lambda: canvas.show_lines(not canvas.lines_shown),
        }
        for name, (down, right) in ARROWS.items():
            actions[name] = self._stepping(down, right)
            actions[f"far_{name}"] = self._stepping(FAR * down, FAR * right)
        return actions

    def _trace(self) -> None:
        draft = self._session.case.draft
        if draft is not None:
            self._session.start_tracing(draft.name, draft.structure)
        else:
            self._session.start_tracing(*self.next_trace())

    def _key_accept(self) -> None:
        if self._held is not None:
            self._put_down()
        else:
            self._accept()

    def _take_back(self) -> None:
        self._session.take_back()
        self._canvas.show_live(np.empty((0, 2)))

    def _cancel(self) -> None:
        """Give up the anchor that is being moved, else what the tool has done, else the crosshair."""
        if self._moving is not None:
            self._drop_move()
        elif self._session.tool is Tool.LOOK:
            self._crosshair = None
            self._canvas.show_crosshair(None)
        else:
            self._session.cancel()

    def _drop_move(self) -> None:
        """Let a moved anchor go back; the case from before is the newest step already, so that none is added."""
        before, self._held, self._moving = self._moving, None, None
        if before is not None:
            self._session.do(before, "")

    def _undo(self) -> None:
        self._held, self._moving = None, None
        self._session.undo()

    def _redo(self) -> None:
        self._held, self._moving = None, None
        self._session.redo()

    def _hand(self) -> None:
        session = self._session
        if session.tool is not Tool.TRACE:
            session.told.emit("Drawing by hand is for a canal that is being traced: press T first.")
        else:
            session.choose(Tool.TRACE, hand=not session.hand)

    def _next_canal(self) -> None:
        case = self._session.case
        names = [tracing.name for tracing in case.tracings]
        if names:
            here = names.index(case.selected) if case.selected in names else -1
            self._session.select(names[(here + 1) % len(names)])

    def _delete_canal(self) -> None:
        session, case = self._session, self._session.case
        if case.selected is None:
            return
        if case.draft is not None and case.draft.name == case.selected:
            session.cancel()
        else:
            session.do(edits.without_tracing(case, case.selected), f"delete canal {case.selected}")

    def _rotate(self) -> None:
        display = self._session.case.display
        self._session.show(replace(display, quarter_turns=(display.quarter_turns + 1) % 4), "rotate")

    def _mirror(self) -> None:
        """Swap left and right as seen: a mirror behind a turn is one before it, turned the other way."""
        display = self._session.case.display
        turns = -display.quarter_turns % 4
        self._session.show(replace(display, quarter_turns=turns, mirrored=not display.mirrored), "mirror")

    def _invert(self) -> None:
        display = self._session.case.display
        self._session.show(replace(display, inverted=not display.inverted), "invert")

    def _enhance(self) -> None:
        display = self._session.case.display
        self._session.show(replace(display, enhanced=not display.enhanced), "local contrast")

    # --- the crosshair -----------------------------------------------------------------------------------

    def _stepping(self, down: float, right: float) -> Callable[[], None]:
        return lambda: self._step(down, right)

    def _step(self, down: float, right: float) -> None:
        """Move the crosshair as seen; at first it appears in the middle of the view."""
        radiograph = self._session.radiograph
        if radiograph is None:
            return
        if self._crosshair is None:
            place = np.array(self._canvas.centre_rc)
        else:
            place = np.array(self._crosshair) + np.array(self._canvas.step_rc((down, right)))
        rows, cols = radiograph.shape
        row, col = np.clip(place, 0.0, (rows - 1.0, cols - 1.0))
        self._crosshair = (float(row), float(col))
        self._canvas.reveal(self._crosshair)
        self._canvas.show_crosshair(self._crosshair)
        if self._held is not None:
            self._move_anchor(*self._held, self._crosshair)
        else:
            self._follow(self._crosshair)

    def _key_place(self) -> None:
        if self._crosshair is None:
            self._session.told.emit("Move the crosshair to a place with the arrow keys first.")
        elif self._held is not None:
            self._put_down()
        elif self._session.tool is not Tool.LOOK:
            self._place(self._crosshair)
        else:
            self._pick_up(self._crosshair)

    def _pick_up(self, place: PointRC) -> None:
        anchor, case = self._canvas.anchor_at(place), self._session.case
        tracing = case.current
        if anchor is None or tracing is None:
            self._select_at(place)
            return
        self._held, self._moving = (case, tracing, anchor[1]), case
        self._session.told.emit("The anchor follows the crosshair: P puts it down, Escape puts it back.")

    def _put_down(self) -> None:
        assert self._held is not None
        name = self._held[1].name
        self._held, self._moving = None, None
        self._session.do(self._session.case, f"move an anchor of canal {name}")

    def _key_waypoint(self) -> None:
        if self._crosshair is None:
            self._session.told.emit("Move the crosshair to a place with the arrow keys first.")
        else:
            self._waypoint(self._crosshair)


def _distance(pos: Any, press: Any) -> float:
    return float(np.hypot(*(np.array(pos, dtype=float) - press)))
