"""The grade step: what is stated, grades by several criteria side by side, and a suggestion to treat or refer."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from qtpy.QtWidgets import QFileDialog

from curvometer import (
    GRADING_CAUTIONS,
    CurvometerError,
    DifficultyGrade,
    load_criteria,
    missing_words,
    source_words,
)
from curvometer_napari.grading import NO_ADVICE, Grader, GradeView, grade_step
from curvometer_napari.panel.box import StepBox
from curvometer_napari.panel.controls import Button, show_or_hide
from curvometer_napari.panel.facts_form import FactsForm
from curvometer_napari.panel.looks import Ink, coloured, dim, html, ink, text_colour
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.session import Session
from curvometer_napari.stated import Stated
from curvometer_napari.steps import StepState

DISAGREE = "The sets disagree: tell with a grade which set and edition it is by."
"""They stand side by side already, so that their classes need not be said again."""

_CELL = "<td style='padding-top: 4px'>"


class GradeBox(StepBox):
    """How difficult the selected canal is, by which set, and what that rests on."""

    def __init__(self, session: Session) -> None:
        super().__init__(session, "Grade")
        self.grader = Grader(session)
        self.form = FactsForm(self._state)
        self.doubt, self.grades, self.disagreement = Words(), Words(), Words()
        self.suggestion, self.missing, self.sources = Words(), Words(), Words()
        self.cautions = Words(html(" ".join(GRADING_CAUTIONS)))
        self.show_missing = Button(
            "Missing facts",
            "Show what nobody stated, and what each grade would become",
            self._fold,
            toggle=True,
        )
        self.show_sources = Button("Sources", "Show where each set comes from", self._fold, toggle=True)
        self.own = Button(
            "Own criteria ...", "Grade by a school's own set, a TOML file, too", self._choose_criteria
        )
        self.drop_own = Button(
            "Without own criteria", "Grade by the published sets only", self._drop_criteria
        )
        self.folds = Row(self.show_missing, self.show_sources)
        for widget in (
            *(self.form, self.doubt, self.grades, self.disagreement, self.suggestion, self.cautions),
            *(self.folds, self.missing, self.sources, Row(self.own, self.drop_own)),
        ):
            self.body.addWidget(widget)

    def step(self) -> StepState:
        """How far grading is."""
        return grade_step(self.session, self.grader.view())

    def update_body(self) -> None:
        """Show the grades of the selected canal, dimmed while newer ones are made."""
        view, stated = self.grader.view(), self.session.case.stated
        known = bool(view.grades)
        troubles = [
            self._inked(text, role)
            for text, role in ((view.doubt, Ink.STOP), (_told(view), Ink.CAUTION))
            if text
        ]
        show_or_hide(self.doubt, "<br><br>".join(troubles))
        show_or_hide(self.grades, self._table(view))
        show_or_hide(self.disagreement, DISAGREE if view.disagreement else "")
        show_or_hide(self.suggestion, self._suggested(view))
        self.cautions.setVisible(known)
        self.folds.setVisible(known)
        self.show_missing.setVisible(bool(view.missing))
        self._fold()
        self.form.setEnabled(self.session.radiograph is not None)
        self.form.show_facts(stated.facts, view.missing)
        self.own.setEnabled(self.session.radiograph is not None)
        self.drop_own.setVisible(bool(stated.criteria_path))

    # --- showing -----------------------------------------------------------------------------------------

    def _table(self, view: GradeView) -> str:
        colour, step_back = dim(self) if view.stale else text_colour(self), dim(self)
        rows, last = [], ""
        for grade in view.grades:
            by = _by(grade)
            # Most sets are decided by the same measure: it is said where it changes.
            told = coloured(html(by), step_back) if by and by != last else ""
            title = html(grade.criteria.title)
            rows.append(f"<tr>{_CELL}{title}&nbsp;&nbsp;</td>{_CELL}{_class(grade)}</td></tr>")
            rows.append(f"<tr><td colspan='2'>{told}</td></tr>" if told else "")
            last = by or last
        table = f"<table width='100%' cellspacing='0' cellpadding='0'>{''.join(rows)}</table>"
        return coloured(table, colour) if rows else ""

    def _suggested(self, view: GradeView) -> str:
        if view.grades and view.doubt:
            return coloured(html(NO_ADVICE), dim(self))
        if view.suggestion is None:
            return "Say who would treat, and a suggestion to treat or refer is made." if view.grades else ""
        # What decided each grade stands in the table.
        reasons = [reason.partition(", decided by ")[0] for reason in view.suggestion.reasons]
        told = "".join(f"<br>– {html(reason)}" for reason in reasons)
        return f"<b>{html(str(view.suggestion))}</b>{told}"

    def _inked(self, text: str, role: Ink) -> str:
        return coloured(f"<b>{html(text)}</b>", ink(self, role))

    def _fold(self) -> None:
        grades = self.grader.view().grades
        missing = [text for grade in grades if (text := missing_words(grade))]
        show_or_hide(self.missing, _paragraphs("Missing facts", missing, self.show_missing))
        sources = [source_words(grade) for grade in grades]
        show_or_hide(self.sources, _paragraphs("Sources", sources, self.show_sources))

    # --- stating -----------------------------------------------------------------------------------------

    def _state(self, name: str, value: Any) -> None:
        case = self.session.case
        try:
            stated = case.stated.with_facts(**{name: value})
        except CurvometerError as error:
            self.session.told.emit(str(error))
            self.update_body()
            return
        self._do(stated, f"stating {name.removesuffix('_mm').removesuffix('_deg').replace('_', ' ')}")

    def _do(self, stated: Stated, what: str) -> None:
        self.session.do(replace(self.session.case, stated=stated), what)

    def _choose_criteria(self) -> None:
        path, _ = QFileDialog.getOpenFileName(self, "A school's own criteria", "", "Criteria (*.toml)")
        if path:
            self.take_criteria(path)

    def take_criteria(self, path: str) -> None:
        """Grade by a school's own set, too; a file that is none is told and nothing changes.

        The file that is in use already is read anew.
        """
        try:
            load_criteria(path)
        except CurvometerError as error:
            self.session.told.emit(str(error))
            return
        self.grader.read_anew()
        stated = self.session.case.stated
        self._do(replace(stated, criteria_path=str(Path(path).absolute())), f"criteria of {Path(path).name}")

    def _drop_criteria(self) -> None:
        self._do(replace(self.session.case.stated, criteria_path=""), "published criteria only")


def _told(view: GradeView) -> str:
    """What is wrong with a set, and by which ones the grades are."""
    if not view.problem:
        return ""
    left = " The grades below are by the other sets." if view.grades else ""
    return f"{view.problem[:1].upper()}{view.problem[1:]}.{left}"


def _paragraphs(heading: str, texts: list[str], asked: Button) -> str:
    """Texts under a heading, the set that each begins with in bold; nothing when nobody asked."""
    if not texts or not asked.isChecked():
        return ""
    parted = [text.partition(": ") for text in texts]
    told = [f"<b>{html(name)}</b>{colon}{html(rest)}" for name, colon, rest in parted]
    return "<br><br>".join([f"<u>{heading}</u>", *told])


def _class(grade: DifficultyGrade) -> str:
    """The class, and what it could be."""
    if grade.grade is None:
        return html(grade.words)
    name, _, others = grade.words.partition(",")
    return f"<b>{html(name)}</b>{',' if others else ''}{html(others)}"


def _by(grade: DifficultyGrade) -> str:
    """What decided, and what makes it doubtful."""
    if grade.grade is None:
        return ""
    return f"by {grade.deciding_factor}" + (f"; {grade.doubt}" if grade.doubt else "")
