"""Small drawings that say a state, a severity or a line style by their shape."""

from __future__ import annotations

import math

from qtpy.QtCore import QPointF, QRectF, QSize, Qt
from qtpy.QtGui import QColor, QIcon, QPainter, QPaintEvent, QPen, QPixmap, QPolygonF
from qtpy.QtWidgets import QSizePolicy, QWidget

from curvometer import Severity
from curvometer_napari.naming import LineStyle
from curvometer_napari.panel.looks import Ink, ink, line_height, text_colour
from curvometer_napari.steps import State

Shape = State | Severity | None

INKS: dict[State | Severity, Ink | None] = {
    State.TODO: None,
    State.DONE: Ink.GOOD,
    State.PROBLEM: Ink.STOP,
    Severity.NOTE: Ink.NOTE,
    Severity.CAUTION: Ink.CAUTION,
    Severity.DO_NOT_TRUST: Ink.STOP,
}


class Mark(QWidget):
    """A shape as high as a line of text: ring (to do), tick (done), triangle (problem, caution), octagon, disc."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.shape: Shape = None
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def show_shape(self, shape: Shape) -> None:
        """Draw another shape."""
        if shape is not self.shape:
            self.shape = shape
            self.setAccessibleName("" if shape is None else shape.value)
            self.update()

    def sizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the size."""
        side = math.ceil(1.15 * line_height(self))
        return QSize(side, side)

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the least size."""
        return self.sizeHint()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002 - Qt's name
        """Draw the shape."""
        if self.shape is None:
            return
        painter = QPainter(self)
        role = INKS[self.shape]
        colour = text_colour(self) if role is None else ink(self, role)
        side = min(self.width(), self.height())
        draw_shape(painter, self.shape, QRectF(0.0, (self.height() - side) / 2.0, side, side), colour)
        painter.end()


def draw_shape(painter: QPainter, shape: State | Severity, place: QRectF, colour: QColor) -> None:
    """Draw a state's or severity's shape into a square."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    side = place.width()
    inner = place.adjusted(0.12 * side, 0.12 * side, -0.12 * side, -0.12 * side)
    painter.setPen(QPen(colour, max(1.2, 0.11 * side)))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    if shape is State.DONE:
        painter.setPen(QPen(colour, max(1.6, 0.16 * side)))
        painter.drawPolyline(_polygon(inner, [(0.02, 0.55), (0.36, 0.9), (0.98, 0.12)]))
    elif shape in (State.PROBLEM, Severity.CAUTION):
        painter.drawPolygon(_polygon(inner, [(0.5, 0.02), (1.0, 0.95), (0.0, 0.95)]))
        painter.drawLine(_at(inner, 0.5, 0.4), _at(inner, 0.5, 0.62))
        painter.drawPoint(_at(inner, 0.5, 0.79))
    elif shape is Severity.DO_NOT_TRUST:
        corners = [(math.pi / 8.0 + i * math.pi / 4.0) for i in range(8)]
        outline = [(0.5 + 0.54 * math.cos(a), 0.5 + 0.54 * math.sin(a)) for a in corners]
        painter.drawPolygon(_polygon(inner, outline))
        painter.drawLine(_at(inner, 0.3, 0.3), _at(inner, 0.7, 0.7))
        painter.drawLine(_at(inner, 0.7, 0.3), _at(inner, 0.3, 0.7))
    else:
        if shape is Severity.NOTE:
            inner = inner.adjusted(0.16 * side, 0.16 * side, -0.16 * side, -0.16 * side)
            painter.setBrush(colour)
        painter.drawEllipse(inner)
    painter.restore()


def swatch(style: LineStyle, size: QSize, ratio: float) -> QIcon:
    """A canal's colour and line style on black, as on the image."""
    pixmap = QPixmap(size * ratio)
    pixmap.setDevicePixelRatio(ratio)
    pixmap.fill(QColor("black"))
    painter = QPainter(pixmap)
    pen = QPen(QColor(style.colour), 3.0)
    if style.dashes:
        pen.setDashPattern([length / 3.0 for length in style.dashes])
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
    painter.setPen(pen)
    middle = size.height() / 2.0
    painter.drawLine(QPointF(2.0, middle), QPointF(size.width() - 2.0, middle))
    painter.end()
    icon = QIcon()
    # The same picture in every mode: a selected row must not tint the canal's colour.
    for mode in (QIcon.Mode.Normal, QIcon.Mode.Selected, QIcon.Mode.Active):
        icon.addPixmap(pixmap, mode)
    return icon


def _at(place: QRectF, across: float, down: float) -> QPointF:
    return QPointF(place.x() + across * place.width(), place.y() + down * place.height())


def _polygon(place: QRectF, corners: list[tuple[float, float]]) -> QPolygonF:
    return QPolygonF([_at(place, x, y) for x, y in corners])
