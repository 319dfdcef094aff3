"""The shape of what ``grade``, ``plan`` and ``next`` print with ``--json``, for their published schemas.

Nothing is read with these models: a test holds the real outputs against the schemas, so that neither changes alone.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from curvometer.bibliography import HowRead
from curvometer.difficulty import Advice, Operator
from curvometer.instruments import InstrumentKind, Material
from curvometer.measurement import Severity
from curvometer.sequence import PlanAdvice, StepRole
from curvometer.treatment import NextStepKind, Outcome

NotNegative = Annotated[float, Field(ge=0.0)]
Positive = Annotated[float, Field(gt=0.0)]
Chance = Annotated[float, Field(ge=0.0, le=1.0)]
Degrees = Annotated[float, Field(ge=0.0, le=180.0)]
Interval = tuple[NotNegative, NotNegative]


class Output(BaseModel):
    """No unknown keys, no NaN."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


# --- grade ----------------------------------------------------------------------------------------------------


class LimitOutput(Output):
    """A limit of a criterion; `in_upper` says that the limit itself counts as the harder class."""

    value: float
    in_upper: bool
    how_read: HowRead


class FactorOutput(Output):
    """One criterion and what it says; `level` is null where it does not count."""

    code: str
    title: str
    told: str
    level: str | None
    at_limit: bool
    limits: list[LimitOutput]


class MissingOutput(Output):
    """A fact that nobody stated, and the grade with it at best and at worst."""

    code: str
    what: str
    reason: str
    best: str | None
    worst: str | None


class GradeFlagOutput(Output):
    """A doubt about the measurement below the grade."""

    code: str
    severity: Severity
    text: str


class GradeOutput(Output):
    """A grade by one set of criteria; null where there is none, with the reason in `words`."""

    canal: str | None
    criteria: str
    edition: str
    grade: str | None
    probabilities: dict[str, Chance] | None
    words: str
    deciding_factor: str
    deciding_codes: list[str]
    boundary: bool
    possible: list[str]
    doubt: str
    factors: list[FactorOutput]
    missing: list[MissingOutput]
    best_case: str | None
    worst_case: str | None
    rule: str
    source: str
    how_read: HowRead
    flags: list[GradeFlagOutput]


class SuggestionOutput(Output):
    """Treat or refer, for one operator."""

    canal: str | None
    operator: Operator
    advice: Advice | None
    reasons: list[str]
    how_read: HowRead


class DisagreementOutput(Output):
    """That sets disagree about a canal."""

    canal: str | None
    text: str


class GradesOutput(Output):
    """What ``curvometer grade --json`` prints."""

    grades: list[GradeOutput]
    not_graded: list[GradeOutput]
    suggestions: list[SuggestionOutput]
    disagreements: list[DisagreementOutput]
    assumed: list[str]
    cautions: list[str]


# --- plan -----------------------------------------------------------------------------------------------------


class ShapeOutput(Output):
    """The shape of an instrument: size in 1/100 mm at the tip, taper in mm per mm."""

    kind: InstrumentKind
    size: int
    taper: NotNegative


class PieceOutput(Output):
    """What else is known about a piece of the shelf."""

    length_mm: float
    material: Material
    speed_rpm: Interval | None
    torque_limit_n_cm: float | None
    most_uses: int | None
    uses: int
    working_part_mm: float


class InstrumentOutput(ShapeOutput, PieceOutput):
    """A whole instrument."""


class StepOutput(Output):
    """One step; depths from the reference point on the crown, `budget_share` a fraction of the design life."""

    instrument: ShapeOutput
    piece: PieceOutput
    to_mm: float
    role: StepRole
    motion: str
    speed_rpm: float | None
    seconds: float | None
    pecks: int | None
    why: str
    strain_percent: float | None
    budget_share: float | None
    budget_share_range: Interval | None
    budget_cycles: float | None
    check: str
    if_short: str
    stop_when: str


class SourceOutput(Output):
    """Where a rule comes from, and how that was read."""

    key: str
    citation: str
    how_read: HowRead
    note: str


class PlanOutput(Output):
    """One plan that every safety rule let pass."""

    format: Literal[1]
    recommender: str
    rule: str
    steps: Annotated[list[StepOutput], Field(min_length=1)]
    ends_with: str
    reasons: list[str]
    cautions: list[str]
    sources: list[SourceOutput]


class RefusalOutput(Output):
    """Who has no plan to show, and why."""

    recommender: str
    reasons: list[str]


class ExplorationOutput(Output):
    """What was found at the chair; `explored_mm` is the depth by hand size."""

    working_length_mm: float | None
    reached_size: Literal[0, 6, 8, 10, 15, 20]
    loose: bool
    forced: bool
    explored_mm: dict[str, NotNegative]
    visibility: Literal["clear", "narrowed", "not-visible"]
    blocked: bool
    apex_opening_mm: NotNegative | None
    split: bool
    primary_tooth: bool
    image_rejected: bool
    trace_accepted: bool
    operator: Operator | None


class CurveOutput(Output):
    """Curvature along the canal, at distances from the foramen."""

    from_foramen_mm: list[float]
    curvature_per_mm: list[float]
    lower_per_mm: list[float]
    upper_per_mm: list[float]


class InventoryOutput(Output):
    """The shelf."""

    name: str
    instruments: list[InstrumentOutput]


class RequestOutput(Output):
    """What the recommenders were asked. `angle_deg` is the arc's central angle; Schneider's stands beside it where known."""

    format: Literal[1]
    angle_kind: Literal["central"]
    curve: CurveOutput | None
    exploration: ExplorationOutput
    angle_deg: Degrees
    schneider_angle_deg: Degrees | None = None
    radius_mm: Positive | None
    curve_start_from_foramen_mm: Positive | None
    angle_interval_deg: Interval | None
    radius_interval_mm: Interval | None
    s_shape: bool
    second_angle_deg: Degrees
    grades: list[tuple[str, str]]
    referral: str | None
    referral_reasons: list[str]
    inventory: InventoryOutput
    tooth: int | None
    canal: str | None
    scale_known: bool


class PlansOutput(Output):
    """What ``curvometer plan --json`` prints."""

    plans: list[PlanOutput]
    refused: list[RefusalOutput]
    advice: PlanAdvice
    reasons: list[str]
    request: RequestOutput
    assumed: list[str]
    cautions: list[str]


# --- next -----------------------------------------------------------------------------------------------------


class ReadSourceOutput(Output):
    """A source in short."""

    citation: str
    how_read: HowRead


class NextStepOutput(Output):
    """What to do now; `outcomes` are what may be told of it, empty at an end."""

    kind: NextStepKind
    words: str
    reasons: list[str]
    step: StepOutput | None
    plan_step: int | None
    to_mm: float | None
    attempt: int
    outcomes: list[Outcome]
    ends: bool
    sources: list[ReadSourceOutput]
    cautions: list[str]


class TriedOutput(Output):
    """An instrument that was tried, or a length that was measured."""

    kind: Literal[NextStepKind.PLAN_STEP, NextStepKind.HAND_AGAIN, NextStepKind.RE_MEASURE]
    time: AwareDatetime
    plan_step: int | None
    instrument: InstrumentOutput | None
    to_mm: Positive
    outcome: Outcome
    amount_mm: NotNegative | None
    depth_mm: NotNegative | None
    who: str


class NewPlanOutput(Output):
    """A new plan that was taken up, or that there is none."""

    kind: Literal[NextStepKind.RE_PLAN]
    time: AwareDatetime
    plan: PlanOutput | None
    advice: PlanAdvice
    reasons: list[str]
    who: str


class LogOutput(Output):
    """The entries of one canal, oldest first."""

    version: Literal[1]
    case_id: str
    entries: list[TriedOutput | NewPlanOutput]


class NextOutput(Output):
    """What ``curvometer next --json`` prints."""

    next: NextStepOutput
    log: LogOutput
