"""Widgets side by side in as many rows as they need, so that no font and no word makes the panel wider."""

from __future__ import annotations

from collections.abc import Iterator

from qtpy.QtCore import QEvent, QRect, QSize
from qtpy.QtGui import QResizeEvent
from qtpy.QtWidgets import QSizePolicy, QWidget

GAP_PX = 6


class Row(QWidget):
    """Puts each widget behind the last one, or below when the row is full; some share the room that is left.

    Parameters
    ----------
    items
        Widgets, or pairs of a widget and its share of the room that is left in its row.
    """

    def __init__(self, *items: QWidget | tuple[QWidget, int]) -> None:
        super().__init__()
        self._items = [item if isinstance(item, tuple) else (item, 0) for item in items]
        self._asked = (0, 0)
        for widget, _ in self._items:
            widget.setParent(self)
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    def hasHeightForWidth(self) -> bool:  # noqa: N802 - Qt's name
        """Qt asks whether narrower is higher."""
        return True

    def heightForWidth(self, width: int) -> int:  # noqa: N802 - Qt's name
        """Qt asks for the height at a width."""
        heights = [max(_needs(widget).height() for widget, _ in line) for line in self._lines(width)]
        return sum(heights) + GAP_PX * max(len(heights) - 1, 0)

    def sizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the size."""
        return QSize(self.minimumSizeHint().width(), self.heightForWidth(self.width()))

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """As narrow as its widest widget."""
        return QSize(max((_needs(widget).width() for widget, _ in self._shown()), default=0), 1)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 - Qt's name
        """Arrange the widgets anew."""
        super().resizeEvent(event)
        self._arrange()

    def event(self, event: QEvent) -> bool:
        """Arrange the widgets anew when one of them has changed its size, appeared or gone."""
        if event.type() == QEvent.Type.LayoutRequest:
            self._arrange()
            asked = (self.minimumSizeHint().width(), self.heightForWidth(self.width()))
            if asked != self._asked:
                self._asked = asked
                self.updateGeometry()
        return bool(super().event(event))

    def _shown(self) -> Iterator[tuple[QWidget, int]]:
        return ((widget, share) for widget, share in self._items if not widget.isHidden())

    def _lines(self, width: int) -> list[list[tuple[QWidget, int]]]:
        lines: list[list[tuple[QWidget, int]]] = []
        room = -1
        for widget, share in self._shown():
            needs = _needs(widget).width() + GAP_PX
            if needs - GAP_PX > room or not lines:
                lines.append([])
                room = width
            lines[-1].append((widget, share))
            room -= needs
        return lines

    def _arrange(self) -> None:
        top = 0
        for line in self._lines(self.width()):
            height = max(_needs(widget).height() for widget, _ in line)
            spare = self.width() - sum(_needs(widget).width() + GAP_PX for widget, _ in line) + GAP_PX
            shares, left = max(sum(share for _, share in line), 1), 0
            for widget, share in line:
                width = _needs(widget).width() + max(spare, 0) * share // shares
                widget.setGeometry(QRect(left, top, min(width, self.width()), height))
                left += width + GAP_PX
            top += height + GAP_PX


def _needs(widget: QWidget) -> QSize:
    """The least size at which a widget shows all; it is never squeezed below."""
    return widget.minimumSizeHint().expandedTo(widget.minimumSize())
