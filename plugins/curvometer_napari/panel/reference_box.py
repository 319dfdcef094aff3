"""A teacher's exercise at the top of the panel: its films one after another, and saving each expert's tracing."""

from __future__ import annotations

from collections.abc import Callable

from qtpy.QtWidgets import QComboBox, QMessageBox, QWidget

from curvometer_napari.panel.box import StepBox
from curvometer_napari.panel.controls import Button, ChoiceField, caption, show_or_hide, steady
from curvometer_napari.panel.exercise_words import length_words
from curvometer_napari.panel.looks import html
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.reference_desk import ReferenceDesk
from curvometer_napari.steps import State, StepState


class ReferenceBox(StepBox):
    """Trace a film, say as which expert, save; what is saved can be looked at."""

    def __init__(self, desk: ReferenceDesk, leave: Callable[[], object]) -> None:
        super().__init__(desk.session, "References")
        self.desk = desk
        self.previous = Button(
            "Previous", "Go to the film before; your clicks are kept", lambda: self._go(-1)
        )
        self.next = Button("Next", "Go to the next film; your clicks are kept", lambda: self._go(1))
        self.back = Button("Back to the film", "Show the exercise's film again", desk.show_image)
        self.asked, self.said = Words(), Words()
        self.experts = ChoiceField()
        self.experts.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.experts.setMinimumContentsLength(10)
        steady(self.experts, name="Expert", tip="Whose tracing it is; exercise.toml names the experts")
        self.save = Button("Save reference", "Save the traced canal as this expert's reference", self._save)
        self.show_saved = Button(
            "Show saved",
            "Draw the saved references, dashed; an expert who has yet to trace had better not see them",
            desk.changed.emit,
            toggle=True,
        )
        self.leave = Button("Close exercise", "Put the exercise away", leave)
        self._lay_out()

    def _lay_out(self) -> None:
        label = caption("As traced by")
        label.setBuddy(self.experts)
        parts: tuple[QWidget, ...] = (
            Row(self.previous, self.next, self.back),
            self.asked,
            Row(label, (self.experts, 1)),
            Row(self.save, self.show_saved, self.leave),
            self.said,
        )
        for widget in parts:
            self.body.addWidget(widget)

    @property
    def expert(self) -> str:
        """Whose tracing is to be saved."""
        return str(self.experts.currentData() or "")

    def step(self) -> StepState:
        """How many references are saved."""
        exercise = self.desk.exercise
        if exercise is None:
            return StepState(name="references", state=State.TODO, words="No exercise is open.")
        saved, count = self.desk.counts
        words = f"{exercise.title or exercise.name}: film {self.desk.at + 1} of {len(self.desk.rows)}"
        state = State.DONE if saved == count else State.TODO
        return StepState(
            name="references", state=state, words=f"{words}, {saved} of {count} references saved."
        )

    def update_body(self) -> None:
        """Show what is to be traced, and whose reference is there already."""
        row = self.desk.row
        if row is None:
            return
        self.previous.setEnabled(self.desk.at > 0)
        self.next.setEnabled(self.desk.at < len(self.desk.rows) - 1)
        self.back.setVisible(not self.desk.on_the_image and not self.session.worker.busy)
        known = row.known_length
        words = f"<b>Tooth {row.tooth}, canal {row.canal}.</b> {html(str(row.file))}"
        if known is not None:
            words += f"<br>{html(length_words(known))}"
        self.asked.setText(words)
        self._show_experts()
        show_or_hide(self.said, self.desk.said)

    def _show_experts(self) -> None:
        desk = self.desk
        texts = {name: f"{name} (saved)" if desk.is_saved(name) else name for name in desk.experts}
        if [self.experts.itemData(i) for i in range(self.experts.count())] != list(texts):
            chosen = self.expert
            self.experts.clear()
            for name in texts:
                self.experts.addItem(name, name)
            self.experts.setCurrentIndex(max(list(texts).index(chosen) if chosen in texts else 0, 0))
        for index, text in enumerate(texts.values()):
            if self.experts.itemText(index) != text:
                self.experts.setItemText(index, text)

    def _go(self, by: int) -> None:
        self.desk.go(self.desk.at + by)

    def _save(self) -> None:
        refusal = self.desk.refusal(self.expert)
        if refusal:
            self.session.told.emit(refusal)
        elif not self.desk.is_saved(self.expert) or may_replace(self, self.desk.place(self.expert).name):
            self.desk.save(self.expert)


def may_replace(parent: QWidget, name: str) -> bool:
    """Ask whether a reference that is there may be replaced."""
    answer = QMessageBox.question(parent, "Replace the reference?", f"{name} is there already. Replace it?")
    return bool(answer == QMessageBox.StandardButton.Yes)
