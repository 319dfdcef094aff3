"""The shape of what ``curvometer agree --json`` prints, for its published schema."""

from __future__ import annotations

from typing import Literal

from curvometer.agreement import KappaWeights
from curvometer.record.outputs import Chance, Output


class EstimateOutput(Output):
    """A statistic with its 95 % interval; an end is null where it is not defined."""

    value: float
    lower: float | None
    upper: float | None


class LimitsOutput(Output):
    """Limits of agreement."""

    bias: EstimateOutput
    lower: EstimateOutput
    upper: EstimateOutput
    sd: float
    rule: str


class BiasOutput(Output):
    """Whether differences grow with the value."""

    slope: EstimateOutput
    p_value: Chance


class _OfTwo(Output):
    """Statistics of two columns."""

    bland_altman: LimitsOutput | None
    proportional_bias: BiasOutput | None
    lin_ccc: EstimateOutput | None
    kappa: EstimateOutput | None
    weighted_kappa: EstimateOutput | None
    dahlberg: EstimateOutput | None


class PairOutput(_OfTwo):
    """Two raters, or two occasions."""

    first: str
    second: str
    subjects: int


class ComparisonOutput(_OfTwo):
    """Raters, or occasions of one rater; null where a statistic is not defined, with the reason in `notes`."""

    compared: Literal["raters", "occasions"]
    rater: str | None
    columns: list[str]
    subjects: int
    left_out: list[str]
    icc_1_1: EstimateOutput | None
    icc_1_k: EstimateOutput | None
    icc_2_1: EstimateOutput | None
    icc_2_k: EstimateOutput | None
    icc_3_1: EstimateOutput | None
    icc_3_k: EstimateOutput | None
    sem: EstimateOutput | None
    sem_consistency: EstimateOutput | None
    minimal_detectable_change: EstimateOutput | None
    fleiss_kappa: EstimateOutput | None
    pairs: list[PairOutput]
    notes: list[str]


class AnglePartsOutput(Output):
    """Where the differences of an angle come from: shares of start, axis and foramen."""

    shares: dict[str, float]
    root_mean_square_deg: float
    comparisons: int


class AgreeOutput(ComparisonOutput):
    """What ``curvometer agree --json`` prints: the main comparison at the top."""

    weights: KappaWeights
    unit: str
    occasion: str
    within_raters: list[ComparisonOutput]
    angle_parts: AnglePartsOutput | None
    reading: list[str]
