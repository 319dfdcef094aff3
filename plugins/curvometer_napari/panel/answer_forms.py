"""Where a student says whether an image can be used, and which class the canal has."""

from __future__ import annotations

from qtpy.QtWidgets import QComboBox

from curvometer import IMAGE_FAULTS, CurvometerError, ProposedGrade, Task, criteria_set
from curvometer_napari.exercise_desk import ExerciseDesk
from curvometer_napari.exercise_run import ExerciseRun
from curvometer_napari.panel.controls import Button, ChoiceField, caption, steady
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.section import CheckList, Section
from curvometer_napari.panel.text import Words
from curvometer_napari.steps import State

NOT_CHOSEN = "choose ..."


class JudgementForm(Section):
    """Would you use this image, and if not, why not."""

    task = Task.ACCEPT

    def __init__(self, desk: ExerciseDesk) -> None:
        super().__init__("Image quality")
        self._desk = desk
        self.use = Button("I would use it", "The image can be measured", lambda: self._say(True), toggle=True)
        self.reject = Button(
            "I reject it", "The image cannot be used: say why", lambda: self._say(False), toggle=True
        )
        self.faults = CheckList("Why the image cannot be used", rows=5)
        self.faults.offer(dict(IMAGE_FAULTS))
        self.faults.itemChanged.connect(lambda _: desk.judge(False, self.faults.ticked()))
        self.body.addWidget(Row(self.use, self.reject))
        self.body.addWidget(self.faults)

    def show_run(self, run: ExerciseRun, done: bool) -> None:
        """Show what was said."""
        accepted, reasons = run.work.accepted, run.work.reasons
        self.use.setChecked(accepted is True)
        self.reject.setChecked(accepted is False)
        self.faults.setVisible(accepted is False)
        self.faults.tick(reasons)
        words = "can it be used?"
        if accepted is True:
            words = "can be used"
        elif accepted is False:
            words = "; ".join(IMAGE_FAULTS.get(code, code) for code in reasons)
            words = f"rejected: {words}" if words else "rejected: tick why"
        self.show_state(State.DONE if done else State.TODO, words)

    def _say(self, accepted: bool) -> None:
        run = self._desk.run
        if run is None:
            return
        self._desk.judge(None if run.work.accepted is accepted else accepted, self.faults.ticked())
        self.show_run(run if self._desk.run is None else self._desk.run, False)


class GradeForm(Section):
    """A class of the exercise's criteria set, and the factors that decided."""

    task = Task.GRADE

    def __init__(self, desk: ExerciseDesk) -> None:
        super().__init__("Grade")
        self._desk, self._criteria = desk, ""
        self.system = Words()
        self.classes = ChoiceField()
        self.classes.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.classes.setMinimumContentsLength(12)
        steady(self.classes, name="Class", tip="The class that you give the canal")
        self.classes.activated.connect(lambda _: self._say())
        self.factors = CheckList("Factors that decided", rows=5)
        self.factors.itemChanged.connect(lambda _: self._say())
        label = caption("Class")
        label.setBuddy(self.classes)
        for widget in (self.system, Row(label, (self.classes, 1)), Words("What decided it:"), self.factors):
            self.body.addWidget(widget)

    def show_run(self, run: ExerciseRun, done: bool) -> None:
        """Show the class that was given."""
        self._show_criteria(run.sheet.criteria)
        grade = run.work.grade
        self.classes.setCurrentIndex(0 if grade is None else max(self.classes.findText(grade.grade), 0))
        if grade is not None:
            self.factors.tick(tuple(grade.factors))
        self.show_state(State.DONE if done else State.TODO, "" if grade is None else grade.grade)

    def begin(self) -> None:
        """Forget what was ticked on another image."""
        self.factors.tick(())

    def _show_criteria(self, name: str) -> None:
        if name == self._criteria:
            return
        self._criteria = name
        self.classes.clear()
        self.classes.addItem(NOT_CHOSEN)
        try:
            chosen = criteria_set(name)
        except CurvometerError as error:
            self.system.setText(f"{error}")
            return
        self.system.setText(f"By {chosen.title}.")
        self.classes.addItems(list(chosen.classes))
        self.factors.offer({criterion.code: criterion.title for criterion in chosen.criteria})

    def _say(self) -> None:
        index = self.classes.currentIndex()
        grade = None
        if index > 0:
            grade = ProposedGrade(grade=self.classes.itemText(index), factors=list(self.factors.ticked()))
        self._desk.grade(grade)
