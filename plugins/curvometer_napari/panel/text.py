"""Text that breaks its lines, and that makes the panel lay itself out anew only when its height changes."""

from __future__ import annotations

from qtpy.QtCore import QEvent, QSize, Qt
from qtpy.QtGui import QResizeEvent
from qtpy.QtWidgets import QLabel, QSizePolicy, QWidget


class Words(QWidget):
    """A label in a holder without a layout.

    A label tells its layout about every new text, and the whole column is measured again: some 30 ms, too slow while an
    anchor is dragged. The holder passes on only a change of height.
    """

    def __init__(self, text: str = "") -> None:
        super().__init__()
        self._label = QLabel(text, self)
        self._label.setWordWrap(True)
        # A style sheet's frame would indent the text at the edge that it is aligned to, the top included.
        self._label.setIndent(0)
        self._label.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self._heights: dict[int, int] = {}
        policy = QSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    def text(self) -> str:
        """What is shown, markup included."""
        return str(self._label.text())

    def setText(self, text: str) -> None:  # noqa: N802 - like a label's
        """Show another text."""
        if text == self._label.text():
            return
        before = self.heightForWidth(self.width())
        self._label.setText(text)
        self._heights.clear()
        if self.heightForWidth(self.width()) != before:
            self.updateGeometry()

    def hasHeightForWidth(self) -> bool:  # noqa: N802 - Qt's name
        """Qt asks whether narrower is higher."""
        return True

    def heightForWidth(self, width: int) -> int:  # noqa: N802 - Qt's name
        """Qt asks for the height at a width, and asks often."""
        if width not in self._heights:
            if len(self._heights) > 20:
                self._heights.clear()
            self._label.ensurePolished()
            self._heights[width] = self._label.heightForWidth(width)
        return self._heights[width]

    def sizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """A line; the height at a width is told by `heightForWidth`."""
        return QSize(1, self.fontMetrics().height())

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """As narrow as the panel wants it: one long word must not widen it."""
        return QSize(1, 1)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 - Qt's name
        """Let the label fill the holder."""
        super().resizeEvent(event)
        self._label.setGeometry(self.rect())

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802 - Qt's name
        """Measure anew in another font."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.FontChange, QEvent.Type.StyleChange):
            self._heights.clear()
            self.updateGeometry()
