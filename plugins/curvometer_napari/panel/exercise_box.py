"""The exercise at the top of the panel: which image, what is asked on it, what is missing, and handing in."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from qtpy.QtWidgets import QLineEdit, QWidget

from curvometer import ImageSheet, Purpose, Task
from curvometer_napari.exercise_desk import ExerciseDesk
from curvometer_napari.exercise_run import ExerciseRun, asked_now, missing, unfinished
from curvometer_napari.panel import saving
from curvometer_napari.panel.answer_forms import GradeForm, JudgementForm
from curvometer_napari.panel.box import StepBox
from curvometer_napari.panel.controls import Button, NumberField, caption, show_or_hide, steady
from curvometer_napari.panel.exercise_words import asked_words, case_words, progress_words
from curvometer_napari.panel.feedback_form import FeedbackForm
from curvometer_napari.panel.looks import coloured, dim, target_height
from curvometer_napari.panel.proposal_form import ProposalForm
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.steps import State, StepState

ANOTHER_IMAGE = "Another image is open: what you do on it does not belong to the exercise."


class AnswerForm(Protocol):
    """A part of the box for one task."""

    task: Task

    def show_run(self, run: ExerciseRun, done: bool) -> None:
        """Show what was answered."""

    def setVisible(self, visible: bool) -> None:  # noqa: N802 - Qt's name
        """Show or hide the part."""

    def unfold(self, unfolded: bool) -> None:
        """Show or hide its controls."""


class ExerciseBox(StepBox):
    """An exercise: its images one after another, and what is said about each beside the clicks.

    Parameters
    ----------
    desk
        What is told and changed.
    leave
        Puts the exercise away.
    """

    def __init__(self, desk: ExerciseDesk, leave: Callable[[], object]) -> None:
        super().__init__(desk.session, "Exercise")
        self.desk = desk
        self._image: ImageSheet | None = None
        self.asked, self.case_text, self.astray = Words(), Words(), Words()
        self.previous = Button(
            "Previous", "Go to the image before; your work here is kept", lambda: self._go(-1)
        )
        self.next = Button("Next", "Go to the next image; your work here is kept", lambda: self._go(1))
        self.back = Button("Back to the exercise", "Show the exercise's image again", desk.show_image)
        self.judgement, self.grade, self.plan = JudgementForm(desk), GradeForm(desk), ProposalForm(desk)
        self.forms: tuple[AnswerForm, ...] = (self.judgement, self.grade, self.plan)
        self.feedback = FeedbackForm(desk)
        self.student, self.occasion = self._student_field(), self._occasion_field()
        self.save = Button(
            "Save submission ...", "Measure everything and write the file to hand in", self._save
        )
        self.leave = Button("Close exercise", "Put it away; it is offered again at the next start", leave)
        self.said = Words()
        self._lay_out()

    def _lay_out(self) -> None:
        self.name_label = caption("Name")
        self.name_label.setBuddy(self.student)
        self.handing_in = Row(self.name_label, (self.student, 3), self.occasion, self.save, self.leave)
        parts: tuple[QWidget, ...] = (
            Row(self.previous, self.next, self.back),
            self.astray,
            self.asked,
            self.case_text,
            self.judgement,
            self.grade,
            self.plan,
            self.feedback,
            self.handing_in,
            self.said,
        )
        for widget in parts:
            self.body.addWidget(widget)

    def _student_field(self) -> QLineEdit:
        field = QLineEdit()
        field.setMaxLength(64)
        field.setMinimumWidth(90)
        field.setMinimumHeight(target_height(field))
        field.setPlaceholderText("your name in the course")
        field.setAccessibleName("Your name or pseudonym")
        field.setToolTip("The name or pseudonym that your teacher gave you; it stands in the submission")
        field.textEdited.connect(lambda _: self._name())
        return field

    def _occasion_field(self) -> NumberField:
        field = NumberField()
        field.setRange(1, 99)
        field.setDecimals(0)
        field.setPrefix("time ")
        steady(field, name="For which time", tip="1 for the first time; a repeated exercise counts on")
        field.valueChanged.connect(lambda _: self._name())
        return field

    def step(self) -> StepState:
        """How far the exercise is."""
        run = self.desk.run
        if run is None:
            return StepState(name="exercise", state=State.TODO, words="No exercise is open.")
        state = State.TODO if unfinished(run) else State.DONE
        return StepState(name="exercise", state=state, words=progress_words(run))

    def update_body(self) -> None:
        """Show the open image's task and what was answered."""
        run = self.desk.run
        if run is None:
            return
        here = self.desk.on_the_image
        if run.image is not self._image:
            self._begin(run)
        for button in (self.previous, self.next):
            button.setVisible(len(run.works) > 1)
        self.previous.setEnabled(run.at > 0)
        self.next.setEnabled(run.at < len(run.works) - 1)
        self.back.setVisible(not here)
        astray = self.session.radiograph is not None and not here and not self.session.worker.busy
        show_or_hide(self.astray, ANOTHER_IMAGE if astray else "")
        show_or_hide(self.asked, asked_words(run, lambda text: coloured(text, dim(self))))
        show_or_hide(self.case_text, case_words(run.image))
        left, asked = missing(run), asked_now(run.image, run.work)
        for form in self.forms:
            form.setVisible(form.task in asked)
            form.show_run(run, form.task not in left)
        self.feedback.setVisible(run.sheet.purpose is Purpose.PRACTICE)
        self.feedback.show_run()
        self._show_student(run)
        show_or_hide(self.said, self.desk.said)

    def _begin(self, run: ExerciseRun) -> None:
        """Open the part that comes first on a new image; the others tell their state in a line."""
        self._image = run.image
        self.grade.begin()
        left = missing(run)
        for form in self.forms:
            form.unfold(form.task is Task.ACCEPT and form.task in left)

    def _show_student(self, run: ExerciseRun) -> None:
        marked = run.sheet.purpose is Purpose.MARKED
        self.save.setVisible(marked)
        for widget in (self.name_label, self.student, self.occasion):
            widget.setVisible(marked)
        if not self.student.hasFocus() and self.student.text() != run.student:
            self.student.setText(run.student)
        if int(self.occasion.value()) != run.occasion:
            self.occasion.setValue(run.occasion)

    def _name(self) -> None:
        self.desk.name(self.student.text(), int(self.occasion.value()))

    def _go(self, by: int) -> None:
        if self.desk.run is not None:
            self.desk.go(self.desk.run.at + by)

    def _save(self) -> None:
        refusal = self.desk.refusal()
        if refusal:
            self.session.told.emit(refusal)
            if self.desk.run is not None and self.desk.run.begun:
                self.student.setFocus()
            return
        path = saving.ask_where_to_save(
            self, title="Save the submission", suffix="json", proposed=self.desk.proposed_name
        )
        if path:
            self.desk.save(path)
