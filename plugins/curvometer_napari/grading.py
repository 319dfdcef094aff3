"""From the selected canal's measurement and what is stated to grades side by side, in words.

Grades are cheap (some ms) and are kept with what they answer, so that they are made anew only when that changes: the
measurement, what is stated, or the school's file.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from curvometer import (
    CURRENT_CRITERIA,
    GRADING_CAUTIONS,
    CanalMeasurement,
    CanalName,
    CriteriaSet,
    CurvometerError,
    DifficultyGrade,
    Operator,
    ReferralSuggestion,
    Severity,
    criteria_set,
    disagreement,
    grade_difficulty,
    load_criteria,
    suggest_referral,
)
from curvometer_napari.session import Session
from curvometer_napari.stated import Stated, facts_of
from curvometer_napari.steps import State, StepState

NO_ADVICE = "No advice follows from grades that must not be trusted."
_WIDTH = 92
"""Of a line that is copied, as of a copied measurement."""

Stamp = tuple[int, int] | None
"""When a file was changed, in ns, and its size; None when there is none."""


@dataclass(frozen=True, kw_only=True)
class GradeView:
    """What the grade panel shows of one canal.

    Attributes
    ----------
    canal
        Its code; None when there is no measured canal.
    stale
        Whether a newer measurement is being made.
    grades
        One per criteria set, those of the school first.
    disagreement
        In a sentence; empty when the sets agree.
    suggestion
        Treat or refer; None when nobody said who would treat, and when the grades must not be trusted.
    doubt
        Why the grades must not be trusted; empty when they may be.
    problem
        Why a set, such as a school's own, gives no grade although there is a measurement; else empty.
    """

    canal: CanalName | None
    stale: bool = False
    grades: tuple[DifficultyGrade, ...] = ()
    disagreement: str = ""
    suggestion: ReferralSuggestion | None = None
    doubt: str = ""
    problem: str = ""

    @property
    def missing(self) -> frozenset[str]:
        """Facts that would change or confirm a grade, in the words of `FACT_WORDS`."""
        return frozenset(fact.what for grade in self.grades for fact in grade.missing)


class Grader:
    """Grades the selected canal of a session, and keeps the newest answer with its question."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._asked: tuple[CanalMeasurement, Stated, CanalName, Stamp] | None = None
        self._view = GradeView(canal=None)
        self._own: tuple[str, Stamp, CriteriaSet] | None = None

    def view(self) -> GradeView:
        """What can be said of the selected canal now."""
        case = self._session.case
        tracing = case.current
        result = None if tracing is None or not tracing.accepted else self._session.result(tracing.name)
        if tracing is None or result is None or result.measurement is None:
            return GradeView(canal=None)
        if not self._session.is_fresh(tracing.name):
            # The last grades stay in sight, dimmed, as the numbers do.
            kept = self._view if self._view.canal == tracing.name else GradeView(canal=tracing.name)
            return replace(kept, stale=True)
        asked = (result.measurement, case.stated, tracing.name, _stamp(case.stated.criteria_path))
        known = self._asked
        if known is None or known[0] is not asked[0] or known[1:] != asked[1:]:
            self._asked, self._view = asked, self._graded(*asked)
        return self._view

    def read_anew(self) -> None:
        """Read the school's file again, whatever its time says."""
        self._asked = self._own = None

    def _graded(
        self, measurement: CanalMeasurement, stated: Stated, canal: CanalName, stamp: Stamp
    ) -> GradeView:
        sets, problem = self._sets(stated.criteria_path, stamp)
        facts, grades, problems = facts_of(stated, canal), [], [problem] if problem else []
        for each in sets:
            try:
                grades.append(grade_difficulty(measurement, criteria=each, facts=facts))
            except CurvometerError as error:
                problems.append(str(error))
        operator, doubt = stated.facts.operator, _doubt(measurement)
        suggestion = None
        if operator is not None and grades and not doubt:
            suggestion = suggest_referral(grades, operator=Operator(operator))
        return GradeView(
            canal=canal,
            grades=tuple(grades),
            disagreement=disagreement(grades),
            suggestion=suggestion,
            doubt=doubt,
            problem=" ".join(problems),
        )

    def _sets(self, path: str, stamp: Stamp) -> tuple[tuple[CriteriaSet, ...], str]:
        """The school's set before the published ones, and what is wrong with its file: that takes no other set along."""
        published = tuple(criteria_set(name) for name in CURRENT_CRITERIA)
        if not path:
            return published, ""
        if self._own is None or self._own[:2] != (path, stamp):
            try:
                self._own = (path, stamp, load_criteria(path))
            except CurvometerError as error:
                return published, str(error)
        return (self._own[2], *published), ""


def _stamp(path: str) -> Stamp:
    try:
        found = Path(path).stat() if path else None
    except (OSError, ValueError):  # gone, or no name of a file: reading it will tell
        return None
    return None if found is None else (found.st_mtime_ns, found.st_size)


def _doubt(measurement: CanalMeasurement) -> str:
    told = [flag.text for flag in measurement.flags if flag.severity is Severity.DO_NOT_TRUST]
    return f"Do not trust these grades: {' '.join(told)}" if told else ""


def grade_step(session: Session, view: GradeView) -> StepState:
    """Tell how far grading is."""
    if session.radiograph is None:
        return _todo("Open a radiograph first.")
    if view.canal is None:
        return _todo("Trace and accept a canal first.")
    if view.stale:
        return _todo(f"{view.canal}: updating ...")
    if view.problem or view.doubt:
        said = "do not trust these grades" if view.doubt else "a set gives no grade"
        words = f"{said}; the reason stands below."
        return StepState(name="grade", state=State.PROBLEM, words=f"{view.canal}: {words}")
    first = next((grade for grade in view.grades if grade.grade is not None), None)
    if first is None:
        return _todo(f"{view.canal}: no set can grade what is known.")
    return StepState(
        name="grade", state=State.DONE, words=f"{view.canal}: {first.words} by {first.criteria.title}."
    )


def grade_text(view: GradeView) -> str:
    """Tell the grades of one canal in lines to be copied; empty when there is none.

    Parameters
    ----------
    view
        What the grade panel shows.

    Returns
    -------
    str
        A line for each set with what decided below it, the suggestion and, once, the cautions.
    """
    if not view.grades:
        return ""
    lines = [f"Difficulty: {view.canal}", *_wrapped(view.doubt)]
    for grade in view.grades:
        lines += _wrapped(f"{grade.criteria.title}: {grade.words}", "  ")
        if grade.grade is not None:
            lines += _wrapped(f"decided by {grade.deciding_factor}", "    ")
    if view.suggestion is not None:
        lines += _wrapped(f"{view.suggestion}.")
    lines += [line for text in (view.problem, *GRADING_CAUTIONS) for line in _wrapped(text)]
    return "\n".join(lines) + "\n"


def _wrapped(text: str, indent: str = "") -> Iterator[str]:
    yield from textwrap.wrap(text, _WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  ")


def _todo(words: str) -> StepState:
    return StepState(name="grade", state=State.TODO, words=words)
