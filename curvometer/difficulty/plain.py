"""Grades as plain dictionaries, the form of the command line's JSON and of a record."""

from __future__ import annotations

from typing import Any

from curvometer.difficulty.grading import DifficultyGrade, FactorResult
from curvometer.difficulty.referral import ReferralSuggestion

Plain = dict[str, Any]


def grade_to_plain(grade: DifficultyGrade) -> Plain:
    """Tell a grade with the name and edition of its set; `grade` is null where there is none, with the reason in `words`."""
    return {
        "criteria": grade.criteria.name,
        "edition": grade.criteria.edition,
        "grade": grade.grade,
        "probabilities": dict(grade.probabilities) or None,
        "words": grade.words,
        "deciding_factor": grade.deciding_factor,
        "deciding_codes": list(grade.deciding_codes),
        "boundary": grade.boundary,
        "possible": list(grade.possible),
        "doubt": grade.doubt,
        "factors": [_factor(factor, grade) for factor in grade.factors],
        "missing": [
            {"code": m.code, "what": m.what, "reason": m.reason, "best": m.best, "worst": m.worst}
            for m in grade.missing
        ],
        "best_case": grade.best_case,
        "worst_case": grade.worst_case,
        "rule": grade.criteria.rule.words,
        "source": grade.criteria.source.citation,
        "how_read": grade.criteria.source.how_read.value,
        "flags": [
            {"code": flag.code, "severity": flag.severity.value, "text": flag.text} for flag in grade.flags
        ],
    }


def referral_to_plain(suggestion: ReferralSuggestion) -> Plain:
    """Tell a suggestion with its reasons and its missing source."""
    return {
        "operator": suggestion.operator.value,
        "advice": None if suggestion.advice is None else suggestion.advice.value,
        "reasons": list(suggestion.reasons),
        "how_read": suggestion.source.how_read.value,
    }


def _factor(factor: FactorResult, grade: DifficultyGrade) -> Plain:
    return {
        "code": factor.criterion.code,
        "title": factor.criterion.title,
        "told": factor.told,
        "level": grade.criteria.classes[factor.level] if factor.counts else None,
        "at_limit": factor.at_limit,
        "limits": [
            {"value": limit.value, "in_upper": limit.in_upper, "how_read": limit.how_read.value}
            for limit in factor.criterion.limits
        ],
    }
