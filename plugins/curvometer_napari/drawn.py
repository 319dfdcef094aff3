"""Napari layers that are written in place: lines, marks and words, each of constant size on the screen.

Setting a layer's data makes napari look at every layer's extent, about 8 ms; writing into the arrays that it holds and
refreshing it costs half a millisecond. So each layer has room from the start, and what is not in use is transparent.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from napari.layers import Points, Vectors
from numpy.typing import NDArray

from curvometer_napari.case import PointRC
from curvometer_napari.strokes import RGBA, Mark, Word, rgba

FloatArray = NDArray[np.floating[Any]]

HALO = "#101010"
HALO_PX = 1.4
"""How far the dark copies of a word lie from it, in screen pixels."""
HALO_STEPS = (
    (-1.0, 0.0),
    (1.0, 0.0),
    (0.0, -1.0),
    (0.0, 1.0),
    (0.7, 0.7),
    (-0.7, -0.7),
    (0.7, -0.7),
    (-0.7, 0.7),
)
WORD_SIZE = 10
BORDER = 0.12
"""Width of a symbol's outline as a share of its size: the place itself must stay visible."""


class Lines:
    """Short pieces of lines in one `Vectors` layer.

    Parameters
    ----------
    name
        The layer's name.
    room
        Pieces that it holds before it must grow.
    corner_rc
        The far corner of the image: the layer's extent is always the image's, so that no line moves the view.
    """

    def __init__(self, name: str, *, room: int, corner_rc: PointRC) -> None:
        self._corner = np.array(corner_rc)
        self.layer = Vectors(self._parked(room), name=name, vector_style="line", edge_width=1.0)
        # A thumbnail of lines says nothing, and drawing it is a loop over all of them.
        self.layer._max_vectors_thumbnail = 1
        self.layer.edge_color = np.zeros((room, 4))
        self._used = 0

    def draw(self, parts: Sequence[tuple[FloatArray, RGBA]], *, width: float) -> None:
        """Show (m, 2, 2) pieces with their colours, all of one width in column pixels."""
        count = sum(len(pieces) for pieces, _ in parts)
        if count == 0 and self._used == 0:
            return
        if count > len(self.layer.data):
            self._grow(2 * count)
        data, colours = self.layer.data, self.layer.edge_color
        last = 0
        for pieces, colour in parts:
            data[last : last + len(pieces)] = pieces
            colours[last : last + len(pieces)] = colour
            last += len(pieces)
        colours[count:, 3] = 0.0
        data[count : max(count, self._used)] = self._parked(1)
        self._used = count
        if abs(width - self.layer.edge_width) > 1e-3 * width:
            self.layer.edge_width = width  # refreshes, too
        else:
            self.layer.refresh(extent=False, thumbnail=False)

    def begin(self, corner_rc: PointRC) -> None:
        """Take all lines away, for an image with another far corner."""
        self._corner, self._used = np.array(corner_rc), 0
        self._grow(len(self.layer.data))

    def _grow(self, room: int) -> None:
        self.layer.data = self._parked(room)
        self.layer.edge_color = np.zeros((room, 4))

    def _parked(self, room: int) -> FloatArray:
        return np.repeat(np.array([[[0.0, 0.0], self._corner]]), room, axis=0)


class Marks:
    """Hollow symbols in one `Points` layer."""

    def __init__(self, name: str, *, size_px: float) -> None:
        self._size_px = size_px
        self.layer = Points(
            np.empty((0, 2)),
            ndim=2,
            name=name,
            size=1.0,
            face_color="transparent",
            border_width=BORDER,
            # Wide enough for a change of zoom between two draws; at the lower limit napari fattens the outline.
            canvas_size_limits=(round(0.7 * size_px), round(1.4 * size_px)),
        )
        self._looks: list[tuple[str, str]] = []

    def draw(self, marks: Sequence[Mark], *, zoom: float) -> None:
        """Show these and no others, at so many screen pixels per column."""
        places = np.array([mark.place_rc for mark in marks], dtype=float).reshape(-1, 2)
        looks = [(mark.symbol, mark.colour) for mark in marks]
        if len(looks) == len(self._looks):
            self.layer.data[:] = places
        else:
            self.layer.selected_data = set()
            self.layer.data = places
        if looks and looks != self._looks:
            self.layer.symbol = [symbol for symbol, _ in looks]
            self.layer.border_color = np.array([rgba(colour) for _, colour in looks])
            self.layer.face_color = np.zeros((len(looks), 4))
            self.layer.border_width = BORDER
        if looks:
            self.layer.size = self._size_px / zoom
            self.layer.refresh(extent=False, thumbnail=False)
        self._looks = looks


class Words:
    """Words with a dark edge, readable on enamel and on air, in one `Points` layer without symbols."""

    def __init__(self, name: str) -> None:
        self.layer = Points(
            np.empty((0, 2)), ndim=2, name=name, size=1.0, face_color="transparent", border_width=0.0
        )
        self._looks: list[tuple[str, str]] = []

    def draw(self, words: Sequence[Word], *, down_rc: FloatArray, right_rc: FloatArray) -> None:
        """Show these and no others; one screen pixel down and to the right is that much on the image."""
        steps = [HALO_PX * (down * down_rc + right * right_rc) for down, right in HALO_STEPS]
        places = [np.array(word.place_rc) + step for word in words for step in (*steps, 0.0 * down_rc)]
        looks = [(word.text, colour) for word in words for colour in (*(HALO for _ in steps), word.colour)]
        if len(looks) == len(self._looks):
            self.layer.data[:] = np.array(places).reshape(-1, 2)
        else:
            self.layer.text = {"string": {"constant": ""}}
            self.layer.data = np.array(places).reshape(-1, 2)
        if looks and looks != self._looks:
            self.layer.text = {
                "string": [text for text, _ in looks],
                "color": np.array([rgba(colour) for _, colour in looks]),
                "size": WORD_SIZE,
                "anchor": "center",
            }
        if looks:
            self.layer.refresh(extent=False, thumbnail=False)
        self._looks = looks
