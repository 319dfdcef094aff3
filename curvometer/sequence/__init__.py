"""Which instruments may follow the bend, how deep and how fast: plans as data, the guard over them, asking recommenders.

A plan comes from any recommender, also a stranger's. `check_plan` guards every one of them with the core's own mechanics.
"""

from curvometer.sequence.asking import (
    ENTRY_POINT_GROUP,
    TIME_LIMIT_S,
    InstalledRecommender,
    PlanAnswer,
    answer_to_plain,
    ask_recommenders,
    installed_recommenders,
    load_recommender,
)
from curvometer.sequence.building import (
    CROWN_MM,
    CaseContext,
    assumed_canal_length_mm,
    assumed_working_length_mm,
    request_of_measurement,
    what_if_request,
)
from curvometer.sequence.guard import check_plan
from curvometer.sequence.lengths import length_remark, usual_length_mm
from curvometer.sequence.numbers import LEAST_SECONDS, step_share, step_strain, with_core_numbers
from curvometer.sequence.plain import (
    instrument_from_plain,
    instrument_to_plain,
    plan_from_plain,
    plan_to_plain,
    request_from_plain,
    request_to_plain,
    step_to_plain,
    violation_to_plain,
)
from curvometer.sequence.plan import (
    PLANNING_CAUTIONS,
    NoPlan,
    PlanAdvice,
    Recommender,
    Refusal,
    SequencePlan,
    SequenceStep,
    StepRole,
)
from curvometer.sequence.request import REACHED_SIZES, Exploration, PlanRequest, SequenceError
from curvometer.sequence.rules import SAFETY_RULES, SafetyRule, Violation

__all__ = [
    "CROWN_MM",
    "ENTRY_POINT_GROUP",
    "LEAST_SECONDS",
    "PLANNING_CAUTIONS",
    "REACHED_SIZES",
    "SAFETY_RULES",
    "TIME_LIMIT_S",
    "CaseContext",
    "Exploration",
    "InstalledRecommender",
    "NoPlan",
    "PlanAdvice",
    "PlanAnswer",
    "PlanRequest",
    "Recommender",
    "Refusal",
    "SafetyRule",
    "SequenceError",
    "SequencePlan",
    "SequenceStep",
    "StepRole",
    "Violation",
    "answer_to_plain",
    "ask_recommenders",
    "assumed_canal_length_mm",
    "assumed_working_length_mm",
    "check_plan",
    "installed_recommenders",
    "instrument_from_plain",
    "instrument_to_plain",
    "length_remark",
    "load_recommender",
    "plan_from_plain",
    "plan_to_plain",
    "request_from_plain",
    "request_of_measurement",
    "request_to_plain",
    "step_share",
    "step_strain",
    "step_to_plain",
    "usual_length_mm",
    "violation_to_plain",
    "what_if_request",
    "with_core_numbers",
]
