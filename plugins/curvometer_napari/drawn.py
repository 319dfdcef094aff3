"""Napari layers that are written in place: lines, marks and words, each of constant size on the screen.

Setting a layer's data makes napari look at every layer's extent, about 8 ms; writing into the arrays that it holds and
refreshing it costs half a millisecond. So each layer has room from the start, and what is not in use is transparent.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Any

import numpy as np
from napari.layers import Image, Layer, Points, Vectors
from numpy.typing import NDArray

from curvometer import Radiograph
from curvometer_napari.case import PointRC
from curvometer_napari.placing import Placing
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

ANCHOR_PX = 15.0
"""Size of an anchor's symbol on the screen."""
LOOK_AT_ALL = "_on_layers_change"
"""What napari's viewer calls when one of its layers is moved."""
UNITS = {"mm": "millimeter", "pixel": "pixel"}
"""Napari's names of the units of `Placing`."""


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
        self._used = 0
        # Made small, then given its room: napari draws a thumbnail of all pieces at once, which takes longer than the rest.
        self.layer = Vectors(self._parked(2), name=name, vector_style="line", edge_width=1.0)
        # A thumbnail of lines says nothing, and drawing it is a loop over all of them.
        self.layer._max_vectors_thumbnail = 1
        self._grow(room)

    def draw(self, parts: Sequence[tuple[FloatArray, RGBA]], *, width: float) -> None:
        """Show (m, 2, 2) pieces with their colours, all of one width in column pixels."""
        count = sum(len(pieces) for pieces, _ in parts)
        if count == 0 and self._used == 0:
            return
        if count >= len(self.layer.data):
            self._grow(2 * count)
        data, colours = self.layer.data, self.layer.edge_color
        last = 0
        for pieces, colour in parts:
            data[last : last + len(pieces)] = pieces
            colours[last : last + len(pieces)] = colour
            last += len(pieces)
        self._clear(count)
        if abs(width - self.layer.edge_width) > 1e-3 * width:
            with self.layer._block_refresh():
                self.layer.edge_width = width
        self.layer.refresh(extent=False, thumbnail=False)

    def begin(self, corner_rc: PointRC) -> None:
        """Take all lines away, for an image with another far corner."""
        self._corner = np.array(corner_rc)
        self._clear(0)
        self.layer.data[-1, 1] = self._corner
        self.layer.refresh(thumbnail=False)

    def _clear(self, first: int) -> None:
        """Take away the pieces from the first one on."""
        last = max(first, self._used)
        self.layer.edge_color[first:last, 3] = 0.0
        self.layer.data[first:last] = 0.0
        self._used = first

    def _grow(self, room: int) -> None:
        self.layer.data = self._parked(room)
        self.layer.edge_color = np.zeros((room, 4))

    def _parked(self, room: int) -> FloatArray:
        """Pieces that are not in use: of no length, for a renderer fills what is transparent, too; the last has the extent."""
        pieces = np.zeros((room, 2, 2))
        pieces[-1, 1] = self._corner
        return pieces


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
        self._size = 1.0

    def draw(self, marks: Sequence[Mark], *, zoom: float) -> None:
        """Show these and no others, at so many screen pixels per column."""
        places = np.array([mark.place_rc for mark in marks], dtype=float).reshape(-1, 2)
        looks, size = [(mark.symbol, mark.colour) for mark in marks], self._size_px / zoom
        if looks == self._looks and size == self._size:
            self.layer.data[:] = places
            self.layer.refresh(extent=False, thumbnail=False)
            return
        # Napari would show each of these changes alone, and look at all layers for the first.
        with self.layer.events.blocker_all():
            self._move(places)
            with self.layer._block_refresh():
                self._change(looks, size)
        self._looks, self._size = looks, size
        self.layer.refresh(thumbnail=False)

    def _move(self, places: FloatArray) -> None:
        if len(places) == len(self._looks):
            self.layer.data[:] = places
        else:
            self.layer.selected_data = set()
            self.layer.data = places

    def _change(self, looks: list[tuple[str, str]], size: float) -> None:
        if not looks:
            return
        self.layer.size = size
        if looks != self._looks:
            self.layer.symbol = [symbol for symbol, _ in looks]
            self.layer.border_color = np.array([rgba(colour) for _, colour in looks])
            self.layer.face_color = np.zeros((len(looks), 4))
            self.layer.border_width = BORDER


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
            with self.layer.events.blocker_all():
                self.layer.text = {"string": {"constant": ""}}
                self.layer.data = np.array(places).reshape(-1, 2)
        if looks and looks != self._looks:
            self.layer.text = {
                "string": [text for text, _ in looks],
                "color": np.array([rgba(colour) for _, colour in looks]),
                "size": WORD_SIZE,
                "anchor": "center",
            }
        if looks or self._looks:
            self.layer.refresh(extent=len(looks) != len(self._looks), thumbnail=False)
        self._looks = looks


@dataclass
class Stack:
    """What is on the canvas for one image, from below."""

    image: Image
    enhanced: Image
    file: Lines
    canals: Lines
    live: Lines
    construction: Lines
    anchors: Marks
    words: Words

    @property
    def all(self) -> list[Layer]:
        """All layers, from below."""
        drawn = (self.file, self.canals, self.live, self.construction, self.anchors, self.words)
        return [self.image, self.enhanced, *(one.layer for one in drawn)]


def new_stack(radiograph: Radiograph, adopted: Image | None) -> Stack:
    """All layers of an image; those that are empty now, too, so that no click has to wait for one."""
    rows, cols = radiograph.shape
    corner = (rows - 1.0, cols - 1.0)
    image = adopted or Image(radiograph.pixels, name="radiograph")
    image.name = "radiograph"
    enhanced = Image(
        np.zeros(radiograph.shape, dtype=np.uint8),
        name="local contrast (display only)",
        contrast_limits=(0, 255),
        visible=False,
    )
    return Stack(
        image=image,
        enhanced=enhanced,
        file=Lines("file of known length", room=256, corner_rc=corner),
        canals=Lines("canals", room=1024, corner_rc=corner),
        live=Lines("path to the pointer", room=128, corner_rc=corner),
        construction=Lines("construction", room=1024, corner_rc=corner),
        anchors=Marks("anchors", size_px=ANCHOR_PX),
        words=Words("words"),
    )


def stack_again(layers: Stack, radiograph: Radiograph, adopted: Image | None) -> Stack:
    """Use the layers for another image: to make new ones takes napari several times as long."""
    rows, cols = radiograph.shape
    if adopted is None:
        layers.image.data = radiograph.pixels
    else:
        adopted.name = layers.image.name
        layers.image = adopted
    layers.enhanced.visible = False
    for lines in (layers.file, layers.canals, layers.live, layers.construction):
        lines.begin((rows - 1.0, cols - 1.0))
    return layers


def place(viewer: Any, layers: Sequence[Layer], placing: Placing) -> None:
    """Place layers in the world; the viewer looks at them once, when all are placed.

    For each change of one layer alone, napari would slice that layer anew and look at the extents of all. Units come last:
    while some layers have others, napari draws a frame a thousand times too large.
    """
    changed = [layer for layer in layers if _put(layer, placing)]
    for layer in changed:
        layer.events.extent()
        affine = layer.events.affine
        with ExitStack() as quiet:
            for callback in affine.callbacks:
                if isinstance(callback, tuple) and callback[1] == LOOK_AT_ALL:
                    quiet.enter_context(affine.blocker(getattr(callback[0](), LOOK_AT_ALL)))
            affine()
    if any(layer in viewer.layers for layer in changed):
        # No slider moves and nothing is cut anew: where a flat image lies changes nothing of it.
        with viewer.dims.events.blocker_all():
            viewer.layers.events.units(value=viewer.layers.units)


def _put(layer: Layer, placing: Placing) -> bool:
    """Place one layer without telling anybody, and tell whether that changed it."""
    wrong_scale = tuple(layer.scale) != placing.scale_rc
    wrong_units = {str(unit) for unit in layer.units} != {UNITS[placing.unit]}
    wrong_affine = not np.array_equal(layer.affine.affine_matrix, placing.affine)
    with layer.events.blocker_all(), layer._block_refresh():
        if wrong_scale:
            layer.scale = placing.scale_rc
        if wrong_units:
            layer.units = (placing.unit,) * 2
        if wrong_affine:
            layer.affine = placing.affine
    return wrong_scale or wrong_units or wrong_affine
