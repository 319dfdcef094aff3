"""A part of a box that folds: a shape and a line that say how far it is, and its controls below."""

from __future__ import annotations

from qtpy.QtCore import QEvent, QSize, Qt
from qtpy.QtWidgets import (
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from curvometer_napari.panel.looks import line_height, target_height
from curvometer_napari.panel.marks import Mark
from curvometer_napari.panel.rows import GAP_PX
from curvometer_napari.steps import State


class Section(QWidget):
    """Controls under a line that folds them.

    Parameters
    ----------
    title
        What the part is for, in a word or two.
    """

    def __init__(self, title: str) -> None:
        super().__init__()
        self.title = title
        self.mark, self.fold = Mark(), _fold(title)
        self.content = QWidget()
        self.body = QVBoxLayout(self.content)
        self.body.setContentsMargins(4, 2, 0, 4)
        self.body.setSpacing(4)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        line = QHBoxLayout()
        line.setSpacing(GAP_PX)
        line.addWidget(self.mark)
        line.addWidget(self.fold, 1)
        column.addLayout(line)
        column.addWidget(self.content)
        self.fold.toggled.connect(self._unfold)
        self._unfold(False)

    def show_state(self, state: State, words: str) -> None:
        """Say how far this part is, in a shape and in words that stand even while it is folded."""
        self.mark.show_shape(state)
        text = f"{self.title}: {words}" if words else self.title
        if text != self.fold.toolTip():
            self.fold.setToolTip(text)
            self.fold.setAccessibleName(f"{text}. {state.value}")
            self._shorten()

    def unfold(self, unfolded: bool) -> None:
        """Show or hide the controls."""
        self.fold.setChecked(unfolded)

    def event(self, event: QEvent) -> bool:
        """Shorten the line anew when the width changes."""
        if event.type() in (QEvent.Type.Resize, QEvent.Type.LayoutRequest):
            self._shorten()
        return bool(super().event(event))

    def _shorten(self) -> None:
        room = self.width() - self.mark.sizeHint().width() - round(2.5 * line_height(self.fold))
        text = self.fold.toolTip() or self.title
        shown = self.fold.fontMetrics().elidedText(text, Qt.TextElideMode.ElideRight, max(room, 40))
        if shown != self.fold.text():
            self.fold.setText(shown)

    def _unfold(self, unfolded: bool) -> None:
        self.content.setVisible(unfolded)
        self.fold.setArrowType(Qt.ArrowType.DownArrow if unfolded else Qt.ArrowType.RightArrow)


class CheckList(QListWidget):
    """Things to tick, each with a code; the arrow keys go through them and space ticks.

    Parameters
    ----------
    name
        For who cannot see it.
    rows
        So many are seen at once; the others are scrolled to.
    """

    def __init__(self, name: str, *, rows: int) -> None:
        super().__init__()
        self._rows, self._codes = rows, list[str]()
        self.setAccessibleName(name)
        self.setWordWrap(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        # Said by a line, for the viewer's own sheet leaves an empty box in the colour of what is behind it.
        self.setStyleSheet("QListWidget::indicator { border: 1px solid #9a9a9a; }")
        self.setVerticalScrollMode(QListWidget.ScrollMode.ScrollPerPixel)

    def offer(self, things: dict[str, str]) -> None:
        """Show other things, by their codes; none is ticked."""
        if list(things) == self._codes:
            return
        self.blockSignals(True)
        self.clear()
        for words in things.values():
            item = QListWidgetItem(words)
            item.setFlags(
                Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsUserCheckable | Qt.ItemFlag.ItemIsSelectable
            )
            item.setCheckState(Qt.CheckState.Unchecked)
            item.setToolTip(words)
            item.setSizeHint(QSize(0, self._line))
            self.addItem(item)
        self._codes = list(things)
        self.blockSignals(False)
        seen = min(self._rows, max(len(things), 1))
        self.setFixedHeight(seen * self._line + 2 * self.frameWidth() + 6)

    @property
    def _line(self) -> int:
        return round(0.9 * target_height(self))

    def tick(self, codes: tuple[str, ...]) -> None:
        """Tick these and no others."""
        self.blockSignals(True)
        for code, row in zip(self._codes, range(self.count()), strict=True):
            wanted = Qt.CheckState.Checked if code in codes else Qt.CheckState.Unchecked
            if self.item(row).checkState() != wanted:
                self.item(row).setCheckState(wanted)
        self.blockSignals(False)

    def ticked(self) -> tuple[str, ...]:
        """Codes of what is ticked, in their order."""
        checked = Qt.CheckState.Checked
        rows = zip(self._codes, range(self.count()), strict=True)
        return tuple(code for code, row in rows if self.item(row).checkState() == checked)

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the least size: a long fault must not widen the panel."""
        return QSize(1, super().minimumSizeHint().height())


def _fold(title: str) -> QToolButton:
    fold = QToolButton()
    fold.setText(title)
    fold.setCheckable(True)
    fold.setAutoRaise(True)
    fold.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
    fold.setMinimumHeight(target_height(fold))
    fold.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
    fold.setStyleSheet("QToolButton { text-align: left; border: none; background: transparent; }")
    return fold
