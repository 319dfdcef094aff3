"""How difficult a case is: criteria as objects, a grade with its probabilities, and a suggestion to treat or refer.

A planning and teaching aid. Published systems disagree, so a grade always names its set and edition; the interval of
the measurement counts, so a grade tells what else it could be.
"""

from curvometer.difficulty.criteria import (
    AggregationRule,
    Answer,
    Condition,
    CriteriaError,
    CriteriaSet,
    DifficultyCriterion,
    Limit,
)
from curvometer.difficulty.facts import FACT_ANSWERS, FACT_NUMBERS, FACT_WORDS, CaseFacts, Operator
from curvometer.difficulty.grading import (
    DifficultyGrade,
    FactorResult,
    MissingFact,
    grade_all,
    grade_difficulty,
    grade_quantities,
)
from curvometer.difficulty.plain import grade_to_plain, referral_to_plain
from curvometer.difficulty.published import CURRENT_CRITERIA, PUBLISHED_CRITERIA, criteria_set
from curvometer.difficulty.quantities import measured_quantities, schneider_of_central, typed_quantities
from curvometer.difficulty.referral import OPERATOR_WORDS, Advice, ReferralSuggestion, suggest_referral
from curvometer.difficulty.school import load_criteria
from curvometer.difficulty.teeth import canals_of_tooth, check_canal, check_tooth
from curvometer.difficulty.words import GRADING_CAUTIONS, disagreement, missing_words, source_words

__all__ = [
    "CURRENT_CRITERIA",
    "FACT_ANSWERS",
    "FACT_NUMBERS",
    "FACT_WORDS",
    "GRADING_CAUTIONS",
    "OPERATOR_WORDS",
    "PUBLISHED_CRITERIA",
    "Advice",
    "AggregationRule",
    "Answer",
    "CaseFacts",
    "Condition",
    "CriteriaError",
    "CriteriaSet",
    "DifficultyCriterion",
    "DifficultyGrade",
    "FactorResult",
    "Limit",
    "MissingFact",
    "Operator",
    "ReferralSuggestion",
    "canals_of_tooth",
    "check_canal",
    "check_tooth",
    "criteria_set",
    "disagreement",
    "grade_all",
    "grade_difficulty",
    "grade_quantities",
    "grade_to_plain",
    "load_criteria",
    "measured_quantities",
    "missing_words",
    "referral_to_plain",
    "schneider_of_central",
    "source_words",
    "suggest_referral",
    "typed_quantities",
]
