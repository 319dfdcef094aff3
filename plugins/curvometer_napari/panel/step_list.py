"""The steps of a plan as a list: handle colour, instrument, depth, speed, strain, share of the design life."""

from __future__ import annotations

from qtpy.QtCore import QRectF, QSize, Qt, Signal
from qtpy.QtGui import QFontMetricsF, QIcon, QPainter, QPixmap
from qtpy.QtWidgets import QAbstractItemView, QListWidget, QListWidgetItem

from curvometer import PlanRequest, SequencePlan, SequenceStep
from curvometer_napari.panel.looks import line_height, target_height
from curvometer_napari.panel.plan_drawing import paint_swatch
from curvometer_napari.plan_words import row_words, step_words


class StepList(QListWidget):
    """Two lines for each step; select one to see all of it. Rows are made only when another plan is shown."""

    chosen = Signal(int)
    """Number of the step that was selected, from 0."""

    def __init__(self) -> None:
        super().__init__()
        self._plan: SequencePlan | None = None
        self._request: PlanRequest | None = None
        self._at: tuple[int | None, int | None] = (None, None)
        self._showing = False
        self.setAccessibleName("Steps of the plan")
        self.setToolTip("Select a step to see all of it, and its strain in the drawing")
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setTextElideMode(Qt.TextElideMode.ElideRight)
        self.setWordWrap(False)
        self.currentRowChanged.connect(self._tell)

    def show_plan(
        self,
        plan: SequencePlan,
        request: PlanRequest,
        *,
        selected: int,
        done: int | None = None,
        now: int | None = None,
    ) -> None:
        """Show a plan with one of its steps selected, some done, and one that is next."""
        self._showing = True
        if plan is not self._plan or request is not self._request or (done, now) != self._at:
            self._plan, self._request, self._at = plan, request, (done, now)
            self._make_rows(plan, request)
        if self.currentRow() != selected:
            self.setCurrentRow(selected)
        self._showing = False

    def _make_rows(self, plan: SequencePlan, request: PlanRequest) -> None:
        self.clear()
        done, now = self._at
        height = max(target_height(self), round(2.4 * line_height(self)))
        side = round(1.1 * line_height(self))
        self.setIconSize(QSize(side, side))
        for number, step in enumerate(plan.steps):
            state = " (done)" if number < (done or 0) else " (next)" if number == now else ""
            first, second = row_words(number, step, request).split("\n")
            item = QListWidgetItem(self._icon(step, side), f"{first}{state}\n{second}")
            item.setSizeHint(QSize(0, height))
            item.setToolTip(step_words(step, request))
            item.setData(
                Qt.ItemDataRole.AccessibleTextRole, f"{number + 1}. {step_words(step, request)}{state}"
            )
            self.addItem(item)
        self.setFixedHeight(height * len(plan.steps) + 2 * self.frameWidth() + 4)

    def _icon(self, step: SequenceStep, side: int) -> QIcon:
        ratio = self.devicePixelRatioF()
        pixmap = QPixmap(QSize(side, side) * ratio)
        pixmap.setDevicePixelRatio(ratio)
        pixmap.fill(Qt.GlobalColor.transparent)
        painter = QPainter(pixmap)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        paint_swatch(painter, step, QRectF(1.0, 1.0, side - 2.0, side - 2.0), self)
        painter.end()
        icon = QIcon()
        # The same picture in every mode: a selected row must not tint the handle's colour.
        for mode in (QIcon.Mode.Normal, QIcon.Mode.Selected, QIcon.Mode.Active):
            icon.addPixmap(pixmap, mode)
        return icon

    def widest_row_px(self) -> float:
        """Width that the longest line needs, for a test of the room."""
        metrics = QFontMetricsF(self.font())
        lines = [line for row in range(self.count()) for line in self.item(row).text().split("\n")]
        return max((metrics.horizontalAdvance(line) for line in lines), default=0.0)

    def _tell(self, row: int) -> None:
        if not self._showing and row >= 0:
            self.chosen.emit(row)
