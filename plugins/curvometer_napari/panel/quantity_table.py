"""The table of every quantity: value, 95 % interval, mark; a row pointed at shows its construction on the image."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from qtpy.QtCore import (
    QAbstractTableModel,
    QEvent,
    QModelIndex,
    QPersistentModelIndex,
    QRect,
    QRectF,
    QSize,
    Qt,
    Signal,
)
from qtpy.QtGui import QColor, QMouseEvent, QPainter, QPalette, QResizeEvent
from qtpy.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
)

from curvometer import QUANTITY_DEFINITIONS, QUANTITY_NAMES, CanalMeasurement, Severity, flags_on
from curvometer_napari.export import numbers
from curvometer_napari.panel.looks import faded, html, ink, target_height
from curvometer_napari.panel.marks import INKS, draw_shape
from curvometer_napari.panel.words import explained, reason

HEADINGS = ("Measure", "Value", "95 % interval", "")
LEAST_LABEL = 5.0
"""Width of the labels, in heights of a line, below which the interval goes below the value."""
_RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
Index = QModelIndex | QPersistentModelIndex


@dataclass(frozen=True, kw_only=True)
class QuantityRow:
    """What one row shows."""

    name: str
    cells: tuple[str, str, str]
    severity: Severity | None
    present: bool


def rows_of(measurement: CanalMeasurement | None) -> tuple[QuantityRow, ...]:
    """Rows of a measurement, absent quantities with their reason; empty values without one."""
    return tuple(_row(name, measurement) for name in QUANTITY_NAMES)


def _row(name: str, measurement: CanalMeasurement | None) -> QuantityRow:
    label = QUANTITY_DEFINITIONS[name].label
    if measurement is None:
        return QuantityRow(name=name, cells=(label, "", ""), severity=None, present=False)
    quantity, flags = measurement.quantities[name], flags_on(name, measurement)
    severity = max((flag.severity for flag in flags), key=list(Severity).index, default=None)
    if quantity is None:
        return QuantityRow(name=name, cells=(label, "–", reason(flags)), severity=severity, present=False)
    return QuantityRow(name=name, cells=(label, *numbers(quantity)), severity=severity, present=True)


def _spoken(row: QuantityRow) -> str:
    return ", ".join([*row.cells, *([] if row.severity is None else [row.severity.value])])


class QuantityModel(QAbstractTableModel):
    """Rows of the selected canal's measurement."""

    def __init__(self) -> None:
        super().__init__()
        self.measurement: CanalMeasurement | None = None
        self.rows = rows_of(None)
        self.stale = False
        self.stacked = False
        """Whether the interval stands below the value, where two columns have no room."""

    def show_measurement(self, measurement: CanalMeasurement | None, *, stale: bool) -> None:
        """Show other numbers, or the same ones as old."""
        if measurement is self.measurement and stale == self.stale:
            return
        if measurement is not self.measurement:
            self.rows = rows_of(measurement)
        self.measurement, self.stale = measurement, stale
        self.dataChanged.emit(self.index(0, 0), self.index(len(self.rows) - 1, len(HEADINGS) - 1))

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: N802, B008 - Qt's name and default
        """Qt asks for the rows."""
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: N802, B008 - Qt's name and default
        """Qt asks for the columns."""
        return 0 if parent.isValid() else len(HEADINGS)

    def headerData(  # noqa: N802 - Qt's name
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """Qt asks for a heading."""
        if orientation is Qt.Orientation.Horizontal and role == Qt.ItemDataRole.DisplayRole:
            return HEADINGS[section]
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return _RIGHT if section in (1, 2) else _LEFT
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Qt asks for a cell."""
        row, column = self.rows[index.row()], index.column()
        answers: dict[int, Callable[[], Any]] = {
            Qt.ItemDataRole.DisplayRole: lambda: self._text(row, column),
            Qt.ItemDataRole.TextAlignmentRole: lambda: _RIGHT if column in (1, 2) else _LEFT,
            Qt.ItemDataRole.ToolTipRole: lambda: self._explained(row.name, markup=True),
            Qt.ItemDataRole.AccessibleTextRole: lambda: _spoken(row) if column == 0 else None,
            Qt.ItemDataRole.AccessibleDescriptionRole: lambda: self._explained(row.name, markup=False),
        }
        return answers[role]() if role in answers else None

    def _text(self, row: QuantityRow, column: int) -> str:
        if self.stacked and column == 1:
            return "\n".join(text for text in row.cells[1:] if text not in ("", "–"))
        return row.cells[column] if column < len(row.cells) else ""

    def _explained(self, name: str, *, markup: bool) -> str:
        if self.measurement is None:
            return QUANTITY_DEFINITIONS[name].definition
        pairs = explained(
            name, self.measurement.quantities[name], self.measurement, flags_on(name, self.measurement)
        )
        if markup:
            return "".join(f"<p><b>{html(head)}</b>: {html(text)}</p>" for head, text in pairs)
        return " ".join(f"{head}: {text}" for head, text in pairs)


class _Painter(QStyledItemDelegate):
    """Dims what is absent or old, and draws a row's mark in its last column."""

    def __init__(self, parent: QTableView) -> None:
        super().__init__(parent)
        self._dims: dict[tuple[int, int], QColor] = {}

    def initStyleOption(self, option: QStyleOptionViewItem, index: Index) -> None:  # noqa: N802 - Qt's name
        """Dim a cell."""
        super().initStyleOption(option, index)
        model = index.model()
        if isinstance(model, QuantityModel) and (model.stale or not model.rows[index.row()].present):
            option.palette.setColor(QPalette.ColorRole.Text, self._dimmed(option.palette))

    def _dimmed(self, palette: QPalette) -> QColor:
        text, base = palette.color(QPalette.ColorRole.Text), palette.color(QPalette.ColorRole.Base)
        key = (int(text.rgb()), int(base.rgb()))
        if key not in self._dims:
            self._dims[key] = faded(text, base)
        return self._dims[key]

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """Draw a cell."""
        super().paint(painter, option, index)
        model, view = index.model(), self.parent()
        if index.column() != len(HEADINGS) - 1 or not isinstance(model, QuantityModel):
            return
        severity = model.rows[index.row()].severity
        if severity is None or not isinstance(view, QTableView):
            return
        cell = QRectF(option.rect)
        side = min(0.62 * cell.height(), cell.width() - 4.0, 1.1 * option.fontMetrics.height())
        place = QRectF(cell.center().x() - side / 2.0, cell.center().y() - side / 2.0, side, side)
        role = INKS[severity]
        assert role is not None
        draw_shape(painter, severity, place, ink(view, role))


class QuantityTable(QTableView):
    """The table at its full height: the panel scrolls, not the table."""

    pointed = Signal(object)
    """Name of the measure that the mouse or the keyboard is on, or None."""

    def __init__(self) -> None:
        super().__init__()
        self.quantities = QuantityModel()
        self.setModel(self.quantities)
        self.setItemDelegate(_Painter(self))
        self.setAccessibleName("Measurements of the selected canal")
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setMouseTracking(True)
        self.setShowGrid(False)
        self.setTabKeyNavigation(False)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setTextElideMode(Qt.TextElideMode.ElideRight)
        self.verticalHeader().hide()
        header = self.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        header.setMinimumSectionSize(1)
        header.setHighlightSections(False)
        header.setSectionsClickable(False)
        self.entered.connect(self._point)
        self._widths: tuple[int, ...] = ()  # none before the first fit

    def show_measurement(self, measurement: CanalMeasurement | None, *, stale: bool) -> None:
        """Show numbers; `stale` ones dimmed."""
        self.quantities.show_measurement(measurement, stale=stale)
        self._fit()

    def currentChanged(self, current: Index, previous: Index) -> None:  # noqa: N802 - Qt's name
        """Point at the row that the keyboard or a click chose."""
        super().currentChanged(current, previous)
        self._point(current)

    def leaveEvent(self, event: QEvent) -> None:  # noqa: N802 - Qt's name
        """Go back to the chosen row."""
        super().leaveEvent(event)
        self._point(self.currentIndex())

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802 - Qt's name
        """Choose a row; the chosen one pressed again is chosen no more."""
        again = self.indexAt(event.position().toPoint()).row() == self.currentIndex().row()
        super().mousePressEvent(event)
        if again:
            self.clearSelection()
            self.setCurrentIndex(QModelIndex())

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 - Qt's name
        """Fit the columns to the width."""
        super().resizeEvent(event)
        self._widths = ()
        self._fit()

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802 - Qt's name
        """Fit columns and rows to another font."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.FontChange, QEvent.Type.StyleChange):
            self._widths = ()
            self._fit()

    def _point(self, index: Index) -> None:
        self.pointed.emit(self.quantities.rows[index.row()].name if index.isValid() else None)

    def _fit(self) -> None:
        """Give numbers the width that they need and labels the rest, in two lines where one is too narrow."""
        if not hasattr(self, "quantities"):
            return
        metrics, pad = self.fontMetrics(), round(0.6 * self.fontMetrics().height())
        rows = self.quantities.rows
        shown = ([HEADINGS[column], *(row.cells[column] for row in rows)] for column in (1, 2))
        needed = [max(metrics.horizontalAdvance(text) for text in texts) + pad for texts in shown]
        mark = round(1.6 * metrics.height())
        # Columns that jump while an anchor is dragged are hard to read: they only grow while the panel keeps its width.
        value, interval = (max(pair) for pair in zip(needed, self._widths[1:3] or needed, strict=True))
        room = self.viewport().width() - mark
        stacked = room - value - interval < LEAST_LABEL * metrics.height()
        label = room - max(value, interval) if stacked else room - value - interval
        widths = (label, value, interval, mark)
        if widths == self._widths:
            return
        self._widths = widths
        self.quantities.stacked = stacked
        self.setColumnHidden(2, stacked)
        for column, width in enumerate((label, max(value, interval) if stacked else value, interval, mark)):
            self.setColumnWidth(column, width)
        self._fit_rows(label - pad)

    def _fit_rows(self, width: int) -> None:
        height, line = target_height(self), self.fontMetrics().height()
        total = 0
        for row, content in enumerate(self.quantities.rows):
            place = self.fontMetrics().boundingRect(
                QRect(0, 0, max(width, 1), 10_000), Qt.TextFlag.TextWordWrap, content.cells[0]
            )
            lines = max(round(place.height() / line), 2 if self.quantities.stacked else 1)
            rows = max(height, round(lines * line + 0.3 * line))
            self.setRowHeight(row, rows)
            total += rows
        header = self.horizontalHeader()
        self.setFixedHeight(total + header.sizeHint().height() + 2 * self.frameWidth() + 2)

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """As narrow as the panel wants it."""
        return QSize(1, super().minimumSizeHint().height())
