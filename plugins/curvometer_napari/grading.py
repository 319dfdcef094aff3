"""From the selected canal's measurement and what is stated to grades side by side, in words.

Grades are cheap (some ms) and are kept with what they answer, so that they are made anew only when that changes.
"""

from __future__ import annotations

from dataclasses import dataclass

from curvometer import (
    CURRENT_CRITERIA,
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
    grade_all,
    load_criteria,
    suggest_referral,
)
from curvometer_napari.session import Session
from curvometer_napari.stated import Stated, facts_of
from curvometer_napari.steps import State, StepState


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
        Treat or refer; None when nobody said who would treat.
    doubt
        Why the grades must not be trusted; empty when they may be.
    problem
        Why there is no grade although there is a measurement; else empty.
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
        self._asked: tuple[CanalMeasurement, Stated, CanalName] | None = None
        self._view = GradeView(canal=None)
        self._sets: tuple[str, tuple[CriteriaSet, ...]] | None = None

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
            return _as_stale(kept)
        asked = (result.measurement, case.stated, tracing.name)
        known = self._asked
        if known is None or known[0] is not asked[0] or known[1:] != asked[1:]:
            self._asked, self._view = asked, self._graded(*asked)
        return self._view

    def _graded(self, measurement: CanalMeasurement, stated: Stated, canal: CanalName) -> GradeView:
        try:
            grades = grade_all(
                measurement, criteria=self._criteria(stated.criteria_path), facts=facts_of(stated, canal)
            )
        except CurvometerError as error:
            return GradeView(canal=canal, problem=str(error))
        operator = stated.facts.operator
        return GradeView(
            canal=canal,
            grades=grades,
            disagreement=disagreement(grades),
            suggestion=None if operator is None else suggest_referral(grades, operator=Operator(operator)),
            doubt=_doubt(measurement),
        )

    def _criteria(self, path: str) -> tuple[CriteriaSet, ...]:
        """The school's set, read once, before the published ones."""
        if self._sets is None or self._sets[0] != path:
            own = (load_criteria(path),) if path else ()
            self._sets = (path, (*own, *(criteria_set(name) for name in CURRENT_CRITERIA)))
        return self._sets[1]


def _as_stale(view: GradeView) -> GradeView:
    return GradeView(
        canal=view.canal,
        stale=True,
        grades=view.grades,
        disagreement=view.disagreement,
        suggestion=view.suggestion,
        doubt=view.doubt,
    )


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
        words = view.problem or "do not trust these grades; the reason stands below."
        return StepState(name="grade", state=State.PROBLEM, words=f"{view.canal}: {words}")
    first = next((grade for grade in view.grades if grade.grade is not None), None)
    if first is None:
        return _todo(f"{view.canal}: no set can grade what is known.")
    return StepState(
        name="grade", state=State.DONE, words=f"{view.canal}: {first.words} by {first.criteria.title}."
    )


def _todo(words: str) -> StepState:
    return StepState(name="grade", state=State.TODO, words=words)
