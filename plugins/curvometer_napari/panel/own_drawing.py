"""What drawings of the panel's own have in common: their room, the keyboard's focus, and how both are told."""

from __future__ import annotations

from qtpy.QtCore import QSize, Qt
from qtpy.QtGui import QPainter, QPen
from qtpy.QtWidgets import QSizePolicy, QWidget

from curvometer_napari.panel.looks import line_height, text_colour

WIDTH = 14
"""Width that a drawing would like, in lines of text."""


class OwnDrawing(QWidget):
    """A drawing as wide as the panel and a number of text lines high, which takes the keyboard's focus.

    Parameters
    ----------
    name
        What it is, for a screen reader.
    tip
        What it shows, and what the mouse and the keys do.
    """

    def __init__(self, name: str, tip: str) -> None:
        super().__init__()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName(name)
        self.setToolTip(tip)

    def height_lines(self) -> float:
        """Height, in lines of text."""
        raise NotImplementedError

    def sizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the size."""
        line = line_height(self)
        return QSize(round(WIDTH * line), round(self.height_lines() * line))

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """As narrow as the panel wants it."""
        return QSize(1, self.sizeHint().height())

    def paint_focus(self, painter: QPainter) -> None:
        """Draw a dotted frame while the keys go here."""
        if self.hasFocus():
            painter.setPen(QPen(text_colour(self), 1.0, Qt.PenStyle.DotLine))
            painter.drawRect(self.rect().adjusted(0, 0, -1, -1))
