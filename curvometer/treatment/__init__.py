"""At the chair: what was tried and how far it went, and the one next step that follows from it.

Every step that is offered has passed the guard of `curvometer.sequence` for the state that it is offered in; a test walks
through every state that can be reached.
"""

from curvometer.treatment.chair import (
    begin_log,
    next_step,
    plan_in_force,
    record_outcome,
    record_plan,
    request_after,
)
from curvometer.treatment.findings import LOST_LENGTH_STOPS_MM, exploration_after
from curvometer.treatment.log import (
    ENDINGS,
    Entry,
    NextStepKind,
    Outcome,
    PlanEntry,
    TreatmentEntry,
    TreatmentError,
    TreatmentLog,
    case_id,
)
from curvometer.treatment.offering import NextStep
from curvometer.treatment.plain import (
    LOG_VERSION,
    Treatment,
    load_treatment,
    log_from_plain,
    log_to_plain,
    next_step_to_plain,
    save_treatment,
    treatment_from_plain,
    treatment_to_plain,
)
from curvometer.treatment.situation import MOST_ATTEMPTS, MOST_FAILURES, MOST_PLANS

__all__ = [
    "ENDINGS",
    "LOG_VERSION",
    "LOST_LENGTH_STOPS_MM",
    "MOST_ATTEMPTS",
    "MOST_FAILURES",
    "MOST_PLANS",
    "Entry",
    "NextStep",
    "NextStepKind",
    "Outcome",
    "PlanEntry",
    "Treatment",
    "TreatmentEntry",
    "TreatmentError",
    "TreatmentLog",
    "begin_log",
    "case_id",
    "exploration_after",
    "load_treatment",
    "log_from_plain",
    "log_to_plain",
    "next_step",
    "next_step_to_plain",
    "plan_in_force",
    "record_outcome",
    "record_plan",
    "request_after",
    "save_treatment",
    "treatment_from_plain",
    "treatment_to_plain",
]
