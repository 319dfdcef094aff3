"""Curvature along the canal against the distance from the foramen, with its error band and a cursor."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from qtpy.QtCore import QEvent, QPointF, QRectF, Qt, Signal
from qtpy.QtGui import (
    QFocusEvent,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
)

from curvometer import CurvatureProfile
from curvometer_napari.panel.looks import Ink, dim, ink, line_height, text_colour, tint
from curvometer_napari.panel.own_drawing import OwnDrawing

STEPS = 100
"""Presses of an arrow key from one end to the other."""
UP_TICKS = 4
HEIGHT = 10.5
"""Height of the whole plot, in lines of text."""
STRAIGHT_BELOW = 1.0 / 200.0
"""Curvature in 1/mm below which a radius says nothing: more than 200 mm (for the readout only)."""


@dataclass(frozen=True, kw_only=True)
class Scale:
    """From values to the widget and back, along one axis."""

    low: float
    high: float
    start: float
    end: float

    def place(self, value: float) -> float:
        """Where a value is drawn."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def value(self, place: float) -> float:
        """The value at a place, kept within the scale."""
        share = (place - self.start) / (self.end - self.start)
        return self.low + min(max(share, 0.0), 1.0) * (self.high - self.low)


class CurvaturePlot(OwnDrawing):
    """Move the mouse or press the arrow keys: the place is marked on the image, and told above the curve."""

    pointed = Signal(object)
    """Distance from the foramen in the profile's unit, or None."""

    def __init__(self) -> None:
        super().__init__(
            "Curvature along the canal",
            "Curvature (1 / radius) along the canal, with its 95 % band."
            " The mouse, or the arrow keys, mark a place on the image.",
        )
        self.profile: CurvatureProfile | None = None
        self.cursor_at: float | None = None
        self._stale = False
        self.setMouseTracking(True)

    def show_profile(self, profile: CurvatureProfile | None, *, stale: bool) -> None:
        """Show a curve; an old one dimmed."""
        if profile is not self.profile or stale != self._stale:
            self.profile, self._stale = profile, stale
            self.update()

    def show_cursor(self, from_foramen: float | None) -> None:
        """Draw the cursor at a distance from the foramen."""
        if from_foramen != self.cursor_at:
            self.cursor_at = from_foramen
            self.setAccessibleDescription(self.readout())
            self.update()

    def readout(self) -> str:
        """What the curve says at the cursor, in a line."""
        if self.profile is None:
            return ""
        if self.cursor_at is None:
            return "Point at the curve to mark the place"
        return readout(self.profile, self.cursor_at)

    def height_lines(self) -> float:
        """Readout, headline, curve and axis."""
        return HEIGHT

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802 - Qt's name
        """Point at a place."""
        if self.profile is not None:
            self.pointed.emit(self._across().value(event.position().x()))

    def leaveEvent(self, event: QEvent) -> None:  # noqa: N802 - Qt's name
        """Point no more, unless the keyboard does."""
        super().leaveEvent(event)
        if not self.hasFocus():
            self.pointed.emit(None)

    def focusOutEvent(self, event: QFocusEvent) -> None:  # noqa: N802 - Qt's name
        """Point no more."""
        super().focusOutEvent(event)
        self.pointed.emit(None)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802 - Qt's name
        """Move the cursor: arrows, with Shift ten times as far, Home and End; Escape takes it away."""
        if self.profile is None:
            super().keyPressEvent(event)
            return
        end = float(self.profile.from_foramen[-1])
        far = 10 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 1
        at = 0.0 if self.cursor_at is None else self.cursor_at
        places: dict[int, float | None] = {
            Qt.Key.Key_Left: at - far * end / STEPS,
            Qt.Key.Key_Right: at + far * end / STEPS,
            Qt.Key.Key_Home: 0.0,
            Qt.Key.Key_End: end,
            Qt.Key.Key_Escape: None,
        }
        if event.key() not in places:
            super().keyPressEvent(event)
            return
        place = places[event.key()]
        self.pointed.emit(None if place is None else min(max(place, 0.0), end))

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002 - Qt's name
        """Draw the axes, the band, the curve and the cursor."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if self.profile is not None:
            across, up = self._across(), self._up()
            self._paint_axes(painter, across, up, self.profile.unit)
            self._paint_curve(painter, across, up, self.profile)
            self._paint_cursor(painter, across, up, self.profile)
        self.paint_focus(painter)
        painter.end()

    def _across(self) -> Scale:
        line = line_height(self)
        end = 1.0 if self.profile is None else float(self.profile.from_foramen[-1])
        up = self._up()
        texts = (f"{value:g}" for value in ticks(up.low, up.high, UP_TICKS))
        room = max(QFontMetricsF(self.font()).horizontalAdvance(text) for text in texts)
        return Scale(low=0.0, high=end, start=room + 0.7 * line, end=self.width() - 0.8 * line)

    def _up(self) -> Scale:
        line = line_height(self)
        bottom, top = self.height() - 2.4 * line, 2.7 * line
        if self.profile is None:
            return Scale(low=0.0, high=1.0, start=bottom, end=top)
        low, high = _limits(self.profile)
        return Scale(low=low, high=high, start=bottom, end=top)

    def _paint_axes(self, painter: QPainter, across: Scale, up: Scale, unit: str) -> None:
        line, length = line_height(self), unit.removeprefix("1/")
        painter.setPen(QPen(dim(self), 1.0))
        painter.drawLine(QPointF(across.start, up.start), QPointF(across.end, up.start))
        painter.drawLine(QPointF(across.start, up.start), QPointF(across.start, up.end))
        zero = up.place(0.0)
        painter.drawLine(QPointF(across.start, zero), QPointF(across.end, zero))
        painter.setPen(text_colour(self))
        for value in ticks(across.low, across.high, max(2, int(across.end - across.start) // int(5 * line))):
            x = across.place(value)
            painter.drawLine(QPointF(x, up.start), QPointF(x, up.start + 0.25 * line))
            write(painter, QRectF(x - 3 * line, up.start + 0.25 * line, 6 * line, line), f"{value:g}")
        for value in ticks(up.low, up.high, UP_TICKS):
            y = up.place(value)
            painter.drawLine(QPointF(across.start - 0.25 * line, y), QPointF(across.start, y))
            place = QRectF(0.0, y - 0.6 * line, across.start - 0.4 * line, 1.2 * line)
            write(painter, place, f"{value:g}", Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        foot = QRectF(across.start, self.height() - 1.15 * line, across.end - across.start, 1.1 * line)
        write(painter, foot, f"from the foramen, {length}")
        head = QRectF(0.2 * line, 1.25 * line, self.width() - line, 1.1 * line)
        write(painter, head, f"curvature, {unit}; + to the right", Qt.AlignmentFlag.AlignLeft)

    def _paint_curve(self, painter: QPainter, across: Scale, up: Scale, profile: CurvatureProfile) -> None:
        xs = [across.place(float(value)) for value in profile.from_foramen]
        colour = dim(self) if self._stale else ink(self, Ink.CURVE)

        def line(values: np.ndarray) -> list[QPointF]:
            return [
                QPointF(x, up.place(min(max(float(v), up.low), up.high)))
                for x, v in zip(xs, values, strict=True)
            ]

        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(tint(self, colour))
        painter.drawPolygon(QPolygonF([*line(profile.upper), *reversed(line(profile.lower))]))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(colour, 2.0))
        painter.drawPolyline(QPolygonF(line(profile.curvature)))

    def _paint_cursor(self, painter: QPainter, across: Scale, up: Scale, profile: CurvatureProfile) -> None:
        painter.setPen(dim(self) if self._stale else text_colour(self))
        place = QRectF(
            0.2 * line_height(self), 0.0, self.width() - 0.4 * line_height(self), 1.2 * line_height(self)
        )
        write(painter, place, self.readout(), Qt.AlignmentFlag.AlignLeft)
        if self.cursor_at is None:
            return
        x = across.place(min(max(self.cursor_at, across.low), across.high))
        painter.setPen(QPen(text_colour(self), 1.4, Qt.PenStyle.DashLine))
        painter.drawLine(QPointF(x, up.start), QPointF(x, up.end))
        value = float(np.interp(self.cursor_at, profile.from_foramen, profile.curvature))
        painter.setBrush(text_colour(self))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.drawEllipse(QPointF(x, up.place(min(max(value, up.low), up.high))), 3.5, 3.5)


def readout(profile: CurvatureProfile, from_foramen: float) -> str:
    """Tell a place of the curve: distance, radius or straight, direction."""
    length = profile.unit.removeprefix("1/")
    value, low, high = (
        float(np.interp(from_foramen, profile.from_foramen, values))
        for values in (profile.curvature, profile.lower, profile.upper)
    )
    place = f"{from_foramen:.{1 if length == 'mm' else 0}f} {length} from the foramen"
    if low <= 0.0 <= high or (length == "mm" and abs(value) < STRAIGHT_BELOW):
        return f"{place}: perhaps straight"
    if length != "mm":
        # In pixels a radius would be a length by another name.
        return f"{place}: bends {_side(value)}"
    return f"{place}: radius {1.0 / abs(value):.1f} mm, {_side(value)}"


def ticks(low: float, high: float, count: int) -> list[float]:
    """Round values within limits, about as many as asked for."""
    raw = (high - low) / max(count, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= raw * 0.999)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(i * step, 10) + 0.0 for i in range(first, last + 1)]


def _limits(profile: CurvatureProfile) -> tuple[float, float]:
    """Room for the curve and most of its band: one wild end of the band must not flatten everything else."""
    least = 0.02 if profile.unit == "1/mm" else 0.0005
    band = np.concatenate([profile.lower, profile.upper])
    low = min(float(profile.curvature.min()), float(np.percentile(band, 3)), 0.0)
    high = max(float(profile.curvature.max()), float(np.percentile(band, 97)), 0.0)
    room = 0.08 * max(high - low, least)
    return (low - room if low < 0.0 else -room, max(high, low + least) + room)


def _side(value: float) -> str:
    return "to the right" if value > 0.0 else "to the left"


def write(
    painter: QPainter, place: QRectF, text: str, flag: Qt.AlignmentFlag = Qt.AlignmentFlag.AlignHCenter
) -> None:
    """Write a line; a long one in a large font is drawn smaller rather than cut."""
    needed = QFontMetricsF(painter.font()).horizontalAdvance(text)
    painter.save()
    if needed > place.width():
        font = painter.font()
        font.setStretch(max(60, int(100 * place.width() / needed)))
        painter.setFont(font)
    painter.drawText(place, flag | Qt.TextFlag.TextSingleLine, text)
    painter.restore()
