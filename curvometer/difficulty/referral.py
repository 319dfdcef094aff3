"""Treat or refer: the grade against the operator's category, as a suggestion with its reasons.

No published source maps classes to operators. The American form says in words whom each level may challenge, and the
Nordic form places tooth and practitioner into categories; the table here is common practice and says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from curvometer.bibliography import OPERATOR_RULE, Reference
from curvometer.difficulty.facts import Operator
from curvometer.difficulty.grading import DifficultyGrade


class Advice(StrEnum):
    """What is suggested, from the least to the most cautious."""

    TREAT = "treat"
    CONSIDER_REFERRAL = "consider referral"
    REFER = "refer"


_ORDER = tuple(Advice)
OPERATOR_TABLE: dict[Operator, tuple[Advice, Advice, Advice]] = {
    Operator.STUDENT: (Advice.TREAT, Advice.REFER, Advice.REFER),
    Operator.GENERAL: (Advice.TREAT, Advice.CONSIDER_REFERRAL, Advice.REFER),
    Operator.ENHANCED: (Advice.TREAT, Advice.TREAT, Advice.CONSIDER_REFERRAL),
    Operator.SPECIALIST: (Advice.TREAT, Advice.TREAT, Advice.TREAT),
}
"""Advice for an easy, a middle and a hard case (common practice, no source). A student treats under supervision."""

OPERATOR_WORDS = {
    Operator.STUDENT: "a student under supervision",
    Operator.GENERAL: "a general dentist",
    Operator.ENHANCED: "a dentist with enhanced skills",
    Operator.SPECIALIST: "a specialist",
}


@dataclass(frozen=True, kw_only=True)
class ReferralSuggestion:
    """A suggestion, never a decision.

    Attributes
    ----------
    operator
        For whom it is meant.
    advice
        The most cautious that any named system suggests; None when no set gave a grade.
    reasons
        One sentence for each system, and for what is missing or not sure.
    source
        Of the table: common practice.
    """

    operator: Operator
    advice: Advice | None
    reasons: tuple[str, ...]
    source: Reference = OPERATOR_RULE

    def __str__(self) -> str:
        """The suggestion in one line."""
        told = "none without a grade" if self.advice is None else str(self.advice)
        return f"Suggestion for {OPERATOR_WORDS[self.operator]} (common practice, no source): {told}"


def suggest_referral(grades: Sequence[DifficultyGrade], *, operator: Operator | str) -> ReferralSuggestion:
    """Hold grades against the operator's category.

    Parameters
    ----------
    grades
        Of one canal; sets that only describe a shape are left out, unless there are no others.
    operator
        Who would treat.

    Returns
    -------
    ReferralSuggestion
        The most cautious advice of all systems. Where a harder class is possible and would lead to a more cautious
        advice, at least `Advice.CONSIDER_REFERRAL`.
    """
    who = Operator(operator)
    made_for_it = [grade for grade in grades if grade.criteria.for_referral]
    asked = [grade for grade in made_for_it or grades if grade.grade is not None]
    found = [(grade, _advice(grade, who)) for grade in asked]
    advice = max((each for _, each in found), key=_ORDER.index, default=None)
    reasons = [_reason(grade, each) for grade, each in found]
    ungraded = [grade.criteria.title for grade in made_for_it if grade.grade is None]
    if ungraded:
        reasons.append(f"no grade by {', '.join(ungraded)}")
    if any(grade.worst_case != grade.grade for grade in asked):
        reasons.append("facts that are not stated could make the case harder")
    return ReferralSuggestion(operator=who, advice=advice, reasons=tuple(reasons))


def _advice(grade: DifficultyGrade, operator: Operator) -> Advice:
    table = OPERATOR_TABLE[operator]
    sure = table[_place(grade, grade.grade or "")]
    worst = max((table[_place(grade, name)] for name in grade.possible), key=_ORDER.index, default=sure)
    if _ORDER.index(worst) > _ORDER.index(sure):
        return max(sure, Advice.CONSIDER_REFERRAL, key=_ORDER.index)
    return sure


def _place(grade: DifficultyGrade, name: str) -> int:
    """Easy 0, middle 1, hard 2, whatever the number of classes; in doubt the harder."""
    level, top = grade.criteria.classes.index(name), grade.criteria.top
    return -(-2 * level // top)  # rounded up


def _reason(grade: DifficultyGrade, advice: Advice) -> str:
    return f"{advice}: {grade.words} by {grade.criteria.title}, decided by {grade.deciding_factor}"
