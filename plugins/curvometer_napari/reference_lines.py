"""Finished tracings drawn over the image as a layer of their own: references dashed, a student's line whole."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from curvometer_napari.drawn import Lines, place
from curvometer_napari.layers import LINE_PX, ZOOM_STEP, Canvas, Defer
from curvometer_napari.naming import GREEN, PURPLE, SKY_BLUE, YELLOW
from curvometer_napari.placing import placing
from curvometer_napari.session import Session
from curvometer_napari.strokes import FloatArray, rgba, vectors

REFERENCE, DASHES = "reference (dashed)", (7.0, 5.0)
REFERENCE_COLOURS = ("#ffffff", YELLOW, PURPLE, GREEN)
"""One for each expert, then again from the first."""
MOST_TURNS = 500
"""So often it is looked whether the image is there: some seconds, on the slowest machine."""
STUDENT, STUDENT_COLOURS = "student's tracing", (SKY_BLUE,)


class ReferenceLines:
    """Shows lines on the canvas, in step with how the image is turned and how near it is seen.

    Parameters
    ----------
    viewer, session, canvas
        Of the panel.
    name
        Of the layer.
    dashes
        Lengths of dashes and gaps in screen pixels; empty for whole lines.
    colours
        One for each line, then again from the first.
    defer
        Runs a function in a later turn of the window's loop: a layer is never added while napari adds another, as the
        image that these lines belong to. Without a window, calling it where it is will do.
    """

    def __init__(
        self,
        viewer: Any,
        session: Session,
        canvas: Canvas,
        *,
        name: str = REFERENCE,
        dashes: tuple[float, ...] = DASHES,
        colours: tuple[str, ...] = REFERENCE_COLOURS,
        defer: Defer | None = None,
    ) -> None:
        self._viewer, self._session, self._canvas = viewer, session, canvas
        self._name, self._dashes, self._colours = name, dashes, colours
        self._defer: Defer = defer or (lambda turn: turn())
        self._turns_left = 0
        self._lines: Lines | None = None
        self._shown: tuple[FloatArray, ...] = ()
        self._drawn: object = None
        session.case_changed.connect(self._follow)
        viewer.scene.camera.events.zoom.connect(self._follow)

    def close(self) -> None:
        """Take the layer away, and follow nothing more."""
        self.show(())
        self._session.case_changed.disconnect(self._follow)
        self._viewer.scene.camera.events.zoom.disconnect(self._follow)

    @property
    def shown(self) -> tuple[FloatArray, ...]:
        """(n, 2) the lines that are shown, (row, col) in image pixels."""
        return self._shown

    def show(self, lines_rc: Sequence[FloatArray]) -> None:
        """Show these (n, 2) lines and no others."""
        if len(lines_rc) == len(self._shown) and all(map(np.array_equal, lines_rc, self._shown)):
            return
        self._shown, self._drawn = tuple(lines_rc), None
        if not self._shown:
            self._take_away()
            return
        self._begin_turns()

    def _take_away(self) -> None:
        if self._lines is not None and self._lines.layer in self._viewer.layers:
            self._viewer.layers.remove(self._lines.layer)
        self._lines = None

    def _begin_turns(self) -> None:
        """Draw soon, once the image is there."""
        waiting, self._turns_left = self._turns_left > 0, MOST_TURNS
        if not waiting:
            self._defer(self._take_turn)

    def _take_turn(self) -> None:
        self._turns_left -= 1
        if not self._shown:
            self._turns_left = 0
        elif self._canvas.image_layer in self._viewer.layers:
            self._turns_left = 0
            self._draw()
        elif self._turns_left > 0:
            self._defer(self._take_turn)

    def _follow(self, _: Any = None) -> None:
        if self._lines is not None and self._lines.layer in self._viewer.layers:
            self._draw()

    def _draw(self) -> None:
        session, image = self._session, self._canvas.image_layer
        if session.radiograph is None or session.calibration is None or image not in self._viewer.layers:
            return
        where = placing(session.calibration, session.case.display)
        zoom = self._canvas.zoom
        if self._lines is None:
            rows, cols = session.radiograph.shape
            self._lines = Lines(self._name, room=512, corner_rc=(rows - 1.0, cols - 1.0))
        elif self._drawn is not None and _same(self._drawn, (where, zoom)):
            return
        self._drawn = (where, zoom)
        place(self._viewer, [self._lines.layer], where)
        if self._lines.layer not in self._viewer.layers:
            self._insert(self._lines.layer, image)
        ratio = session.calibration.aspect_ratio
        parts = [
            (
                vectors(line, self._dashes, zoom=zoom, aspect_ratio=ratio),
                rgba(self._colours[index % len(self._colours)]),
            )
            for index, line in enumerate(self._shown)
        ]
        self._lines.draw(parts, width=LINE_PX / zoom)

    def _insert(self, layer: Any, image: Any) -> None:
        """Put the layer over what was traced and under the anchors; the image stays the active layer, for its keys."""
        layers = self._viewer.layers
        above = [one for one in self._canvas.layers[-2:] if one in layers]
        layers.insert(layers.index(above[0]) if above else len(layers), layer)
        layers.selection.active = image


def _same(drawn: Any, now: Any) -> bool:
    """Whether a new drawing would look like the last: little changes of zoom are not seen."""
    change = now[1] / drawn[1]
    return bool(drawn[0] == now[0] and 1.0 / ZOOM_STEP < change < ZOOM_STEP)
