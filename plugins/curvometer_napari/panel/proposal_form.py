"""Where a student proposes a plan: treat or refer, and a short list of steps."""

from __future__ import annotations

from qtpy.QtCore import QSize, Qt
from qtpy.QtGui import QKeyEvent
from qtpy.QtWidgets import QAbstractItemView, QHeaderView, QSizePolicy, QTableWidget, QTableWidgetItem

from curvometer import ProposedPlan, Task
from curvometer_napari.exercise_desk import ExerciseDesk
from curvometer_napari.exercise_run import ExerciseRun
from curvometer_napari.panel.controls import Button
from curvometer_napari.panel.looks import coloured, dim, line_height
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.section import Section
from curvometer_napari.panel.text import Words
from curvometer_napari.plan_rows import COLUMNS, CellError, PlanRow, moved, next_row, row_of, with_cell
from curvometer_napari.steps import State

ROWS_SEEN = 5
HOW_TO = (
    "Type into a cell; h or r for hand or rotary, s for its seconds in the canal. Insert adds a step, Delete removes it,"
    " Alt with an arrow moves it."
)


class ProposalForm(Section):
    """Treat with these steps, or refer."""

    task = Task.PLAN

    def __init__(self, desk: ExerciseDesk) -> None:
        super().__init__("Plan")
        self._desk = desk
        self.treat = Button(
            "Treat", "Treat the canal with these steps", lambda: self._advise("treat"), toggle=True
        )
        self.refer = Button(
            "Refer",
            "Send the patient to someone more experienced",
            lambda: self._advise("refer"),
            toggle=True,
        )
        self.steps = StepTable(self)
        self.add = Button("Add step", "Add a step below; it begins as the one before it", self.add_step)
        self.remove = Button("Remove", "Remove the step", self.remove_step)
        self.up = Button("Up", "Move the step up", lambda: self.move_step(-1))
        self.down = Button("Down", "Move the step down", lambda: self.move_step(1))
        self._how = Words()
        self._for_steps = (self.steps, Row(self.add, self.remove, self.up, self.down), self._how)
        for widget in (Row(self.treat, self.refer), *self._for_steps):
            self.body.addWidget(widget)

    @property
    def rows(self) -> tuple[PlanRow, ...]:
        """The steps as they are proposed now."""
        run = self._desk.run
        plan = None if run is None else run.work.plan
        return () if plan is None else tuple(row_of(step) for step in plan.steps)

    def show_run(self, run: ExerciseRun, done: bool) -> None:
        """Show what was proposed."""
        plan = run.work.plan
        self.treat.setChecked(plan is not None and plan.advice == "treat")
        self.refer.setChecked(plan is not None and plan.advice == "refer")
        for widget in self._for_steps:
            widget.setVisible(plan is not None and plan.advice == "treat")
        self.steps.show_rows(self.rows)
        self._how.setText(coloured(HOW_TO, dim(self)))
        chosen = self.steps.currentRow()
        self.remove.setEnabled(0 <= chosen < len(self.rows))
        self.up.setEnabled(chosen > 0)
        self.down.setEnabled(0 <= chosen < len(self.rows) - 1)
        words = "" if plan is None else plan.advice
        if plan is not None and plan.advice == "treat":
            words = f"treat, {len(plan.steps)} step{'' if len(plan.steps) == 1 else 's'}"
        self.show_state(State.DONE if done else State.TODO, words)

    def show_again(self) -> None:
        """Show what is proposed now, and what can be done to the chosen step."""
        run = self._desk.run
        if run is not None:
            self.show_run(run, run.work.plan is not None)

    def _advise(self, advice: str) -> None:
        run = self._desk.run
        if run is None:
            return
        plan = run.work.plan
        if plan is not None and plan.advice == advice:
            self._desk.plan(None if not plan.steps else plan)
        else:
            steps = [] if plan is None else list(plan.steps)
            self._desk.plan(ProposedPlan(advice="refer" if advice == "refer" else "treat", steps=steps))
        self.show_again()

    def add_step(self) -> None:
        """Add a step behind the others."""
        run = self._desk.run
        if run is not None:
            row = next_row(self.rows, working_length_mm=run.image.scenario.working_length_mm)
            self._propose((*self.rows, row), chosen=len(self.rows))

    def remove_step(self) -> None:
        """Remove the chosen step."""
        rows, chosen = self.rows, self.steps.currentRow()
        if 0 <= chosen < len(rows):
            left = (*rows[:chosen], *rows[chosen + 1 :])
            self._propose(left, chosen=min(chosen, len(left) - 1))

    def move_step(self, by: int) -> None:
        """Move the chosen step up or down."""
        rows, chosen = self.rows, self.steps.currentRow()
        if moved(rows, chosen, by) != rows:
            self._propose(moved(rows, chosen, by), chosen=chosen + by)

    def typed(self, row: int, column: int, text: str) -> None:
        """Take over what was typed into a cell; what cannot be read is told, and the cell is as it was."""
        rows = self.rows
        if not 0 <= row < len(rows):
            return
        try:
            changed = with_cell(rows[row], COLUMNS[column], text)
        except CellError as error:
            self._desk.session.told.emit(str(error))
            self.steps.show_rows(rows)
            return
        self._desk.session.told.emit("")
        self._propose((*rows[:row], changed, *rows[row + 1 :]), chosen=row)

    def _propose(self, rows: tuple[PlanRow, ...], *, chosen: int) -> None:
        self._desk.plan(ProposedPlan(advice="treat", steps=[row.entry() for row in rows]))
        self.steps.show_rows(self.rows)
        if chosen != self.steps.currentRow():
            self.steps.setCurrentCell(chosen, max(self.steps.currentColumn(), 0))
        self.show_again()


class StepTable(QTableWidget):
    """The steps, a row each; every cell can be typed into."""

    def __init__(self, form: ProposalForm) -> None:
        super().__init__(0, len(COLUMNS))
        self._form, self._shown = form, tuple[PlanRow, ...]()
        self.setAccessibleName("Steps of the plan")
        self.setHorizontalHeaderLabels(list(COLUMNS))
        header = self.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        header.setHighlightSections(False)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        every = QAbstractItemView.EditTrigger
        self.setEditTriggers(every.AnyKeyPressed | every.DoubleClicked | every.EditKeyPressed)
        # Tab leaves the table: who goes through the panel by keyboard must not be caught in it.
        self.setTabKeyNavigation(False)
        self._fit()
        self.cellChanged.connect(self._typed)
        self.currentCellChanged.connect(self._chosen)

    def show_rows(self, rows: tuple[PlanRow, ...]) -> None:
        """Show these steps; cells that are as they were are left alone, the one that is being typed into included."""
        self.blockSignals(True)
        self.setRowCount(len(rows))
        for index, row in enumerate(rows):
            for column, text in enumerate(row.cells()):
                item = self.item(index, column)
                if item is None:
                    item = QTableWidgetItem()
                    item.setTextAlignment(Qt.AlignmentFlag.AlignCenter)
                    self.setItem(index, column, item)
                if item.text() != text:
                    item.setText(text)
        self.blockSignals(False)
        if len(rows) != len(self._shown):
            self.setVerticalHeaderLabels([str(number) for number in range(1, len(rows) + 1)])
            self._shown = rows
            self._fit()
        self._shown = rows

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802 - Qt's name
        """Add, remove and move steps by keys; everything else goes to the cell."""
        key, alt = event.key(), event.modifiers() == Qt.KeyboardModifier.AltModifier
        if key == Qt.Key.Key_Insert:
            self._form.add_step()
        elif key == Qt.Key.Key_Delete:
            self._form.remove_step()
        elif alt and key in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            self._form.move_step(-1 if key == Qt.Key.Key_Up else 1)
        else:
            super().keyPressEvent(event)

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the least size: the columns share the panel's width."""
        return QSize(1, super().minimumSizeHint().height())

    def _typed(self, row: int, column: int) -> None:
        item = self.item(row, column)
        if item is not None:
            self._form.typed(row, column, item.text())

    def _chosen(self, row: int, _column: int, before: int, _before_column: int) -> None:
        if row != before:
            self._form.show_again()

    def _fit(self) -> None:
        line = round(1.7 * line_height(self))
        self.verticalHeader().setDefaultSectionSize(line)
        seen = min(max(self.rowCount(), 1), ROWS_SEEN)
        header = self.horizontalHeader().sizeHint().height()
        self.setFixedHeight(header + seen * line + 2 * self.frameWidth() + 2)
