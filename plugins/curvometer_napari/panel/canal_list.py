"""The canals of the image: colour and line style, name, angle."""

from __future__ import annotations

from qtpy.QtCore import QSize, Qt
from qtpy.QtWidgets import QAbstractItemView, QListWidget, QListWidgetItem

from curvometer import CanalName
from curvometer_napari.case import Tracing
from curvometer_napari.export import numbers
from curvometer_napari.naming import STYLES
from curvometer_napari.panel.looks import line_height, target_height
from curvometer_napari.panel.marks import swatch
from curvometer_napari.session import Session
from curvometer_napari.steps import leg_words


class CanalList(QListWidget):
    """One row per canal; the selected one is what the measurements are about."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self._session = session
        self._names: list[CanalName] = []
        self._showing = False
        self.setAccessibleName("Canals")
        self.setToolTip("Select the canal whose measurements are shown")
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setTextElideMode(Qt.TextElideMode.ElideRight)
        self.currentRowChanged.connect(self._select)
        self.hide()

    def show_canals(self) -> None:
        """Show the canals of the session; rows are made only when their names change."""
        case = self._session.case
        self._showing = True
        names = [tracing.name for tracing in case.tracings]
        if names != self._names:
            self._make_rows(names)
        for row, tracing in enumerate(case.tracings):
            text = self._text(tracing)
            item = self.item(row)
            if item.text() != text:
                item.setText(text)
                item.setToolTip(text)
        selected = names.index(case.selected) if case.selected in names else -1
        if selected != self.currentRow():
            self.setCurrentRow(selected)
        self._showing = False

    def _make_rows(self, names: list[CanalName]) -> None:
        self._names = names
        self.clear()
        height = target_height(self)
        size = QSize(round(2.6 * line_height(self)), round(line_height(self)))
        self.setIconSize(size)
        for name in names:
            item = QListWidgetItem(swatch(STYLES[name], size, self.devicePixelRatioF()), "")
            item.setSizeHint(QSize(0, height))
            self.addItem(item)
        self.setFixedHeight(height * len(names) + 2 * self.frameWidth() + 4)
        self.setVisible(bool(names))

    def _text(self, tracing: Tracing) -> str:
        result = self._session.result(tracing.name)
        parts = [str(tracing.name), STYLES[tracing.name].words]
        if not tracing.accepted:
            parts.append("being traced")
        if result is not None and result.measurement is not None and result.measurement.schneider_angle:
            parts.append(numbers(result.measurement.schneider_angle)[0])
        elif result is not None and result.problem:
            parts.append("problem")
        if not self._session.is_fresh(tracing.name) and len(tracing.anchors_rc) > 1:
            parts.append("updating")
        if leg_words(tracing):
            parts.append(leg_words(tracing))
        return " · ".join(parts)

    def _select(self, row: int) -> None:
        if not self._showing and 0 <= row < len(self._names):
            self._session.select(self._names[row])
