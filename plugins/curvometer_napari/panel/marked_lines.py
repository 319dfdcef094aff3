"""Sentences below each other, each behind a shape that says how grave it is."""

from __future__ import annotations

from collections.abc import Sequence

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from curvometer_napari.panel.marks import Mark, Shape
from curvometer_napari.panel.text import Words


class MarkedLines(QWidget):
    """One line for each sentence. Lines are made when more are needed than ever before, then kept.

    Parameters
    ----------
    gap_px
        Room between two lines, in pixels.
    """

    def __init__(self, gap_px: int) -> None:
        super().__init__()
        self._lines: list[MarkedLine] = []
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(gap_px)

    def show_lines(self, lines: Sequence[tuple[Shape, str]]) -> None:
        """Show pairs of a shape and a sentence (markup) in their order."""
        while len(self._lines) < len(lines):
            self._lines.append(MarkedLine())
            self._column.addWidget(self._lines[-1])
        for index, line in enumerate(self._lines):
            line.setVisible(index < len(lines))
            if index < len(lines):
                shape, words = lines[index]
                line.mark.show_shape(shape)
                line.words.setText(words)

    def sentences(self) -> list[str]:
        """What is shown."""
        return [line.words.text() for line in self._lines if not line.isHidden()]


class MarkedLine(QWidget):
    """A shape, and a sentence beside it."""

    def __init__(self) -> None:
        super().__init__()
        self.mark, self.words = Mark(), Words()
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(6)
        row.addWidget(self.mark, 0, Qt.AlignmentFlag.AlignTop)
        row.addWidget(self.words, 1)
