"""Strokes on the image, and how they become short pieces with dashes of constant length on the screen.

Positions are (row, col) in image pixels. Lengths and angles are drawn in square coordinates, where a row step counts
`aspect_ratio` column steps, so that a right angle is one on pixels that are not square.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer_napari.case import PointRC

FloatArray = NDArray[np.floating[Any]]
RGBA = tuple[float, float, float, float]

PIECE_PX = 4.0
"""Longest piece of a curved line, in screen pixels: shorter than the eye sees as a corner."""
MOST_PIECES = 800
"""Pieces of one stroke; a longer one gets longer pieces."""


class Role(StrEnum):
    """What a stroke is in a construction."""

    FIRST_LINE = "first line"
    """The coronal axis, the tangent at the orifice, the line from orifice to foramen."""
    SECOND_LINE = "second line"
    """The other line of an angle, or the one from which a distance is counted."""
    ANGLE = "angle"
    """The arc between two lines."""
    DISTANCE = "distance"
    """What a length is the length of."""
    CIRCLE = "circle"
    """A fitted or constructed circle."""
    RADIUS = "radius"
    """From the centre to the circle."""
    MARK = "mark"
    """A place on the canal."""
    CURSOR = "cursor"
    """The place that the plot's cursor tells."""


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """A line of a construction.

    Attributes
    ----------
    points_rc
        (n, 2) (row, col) in pixels; straight from one to the next.
    role
        What it is, which decides its colour.
    dashes
        Lengths of dashes and gaps in screen pixels; empty for a whole line.
    label
        What is written beside it; empty for nothing.
    label_share
        Where along it, as a share of its length.
    """

    points_rc: FloatArray
    role: Role
    dashes: tuple[float, ...] = ()
    label: str = ""
    label_share: float = 0.5

    @property
    def label_rc(self) -> PointRC:
        """The point of the line where the label belongs."""
        along = _along(self.points_rc)
        row, col = (
            float(np.interp(self.label_share * along[-1], along, self.points_rc[:, k])) for k in (0, 1)
        )
        return row, col


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A symbol at a place."""

    place_rc: PointRC
    symbol: str
    colour: str


@dataclass(frozen=True, kw_only=True)
class Word:
    """A word with its middle at a place."""

    place_rc: PointRC
    text: str
    colour: str


def rgba(colour: str, alpha: float = 1.0) -> RGBA:
    """Colour from #rrggbb."""
    red, green, blue = (int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return red, green, blue, alpha


def vectors(
    points_rc: FloatArray, dashes: tuple[float, ...], *, zoom: float, aspect_ratio: float
) -> FloatArray:
    """Cut a line into (m, 2, 2) pieces: where each begins, and how far it goes, (row, col) in image pixels.

    Parameters
    ----------
    points_rc
        (n, 2) the line.
    dashes
        Lengths of dashes and gaps in screen pixels; empty for a whole line.
    zoom
        Screen pixels per column of the image.
    aspect_ratio
        Row spacing / column spacing.
    """
    if len(points_rc) < 2:
        return np.empty((0, 2, 2))
    along = _along(points_rc * np.array([aspect_ratio, 1.0])) * zoom
    if not along[-1] > 0.0:
        return np.empty((0, 2, 2))
    starts, ends = _visible(
        along[-1], dashes, corners=along if len(points_rc) < 3 * MOST_PIECES else along[::3]
    )
    first, last = _at(points_rc, along, starts), _at(points_rc, along, ends)
    return np.stack([first, last - first], axis=1)


def resampled(points_rc: FloatArray, count: int) -> FloatArray:
    """Put (count, 2) points at equal distances on a line."""
    along = _along(points_rc)
    return _at(points_rc, along, np.linspace(0.0, along[-1], count))


def _visible(
    length: float, dashes: tuple[float, ...], *, corners: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Where the visible pieces begin and end, in screen pixels along the line."""
    piece = max(PIECE_PX, length / MOST_PIECES)
    cuts: list[FloatArray] = [np.array([0.0, length])]
    # A straight line needs no cuts; a dense one is cut evenly; one of a few corners is cut at them.
    if len(corners) > length / piece:
        cuts.append(np.linspace(0.0, length, int(np.ceil(length / piece)) + 1))
    else:
        cuts.append(corners)
    if dashes:
        period = max(float(sum(dashes)), length / MOST_PIECES)
        marks = np.arange(0.0, length, period)
        cuts += [marks + sum(dashes[:k]) for k in range(len(dashes))]
    places = np.unique(np.clip(np.concatenate(cuts), 0.0, length))
    starts, ends = places[:-1], places[1:]
    if not dashes:
        return starts, ends
    phase = np.mod(0.5 * (starts + ends), period)
    index = np.searchsorted(np.cumsum(dashes), phase, side="right")
    seen = index % 2 == 0  # dash and gap in turn
    return starts[seen], ends[seen]


def _along(points: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])


def _at(points: FloatArray, along: FloatArray, places: FloatArray) -> FloatArray:
    return np.column_stack([np.interp(places, along, points[:, k]) for k in (0, 1)])
