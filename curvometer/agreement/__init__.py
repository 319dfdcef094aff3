"""How well examiners agree, with each other and with themselves.

Ratings of the same subjects by several raters, on one or more occasions, become the statistics that papers ask for, each
with its 95 % interval, and sentences that need no statistics. Where tracings were recorded, the disagreement about the
angle is divided among what made it: the axis, the start of the curve, the foramen.

Symbols: n subjects, k raters; a table of ratings is (n, k) and complete. The derivations are in docs/agreement.md. No
statistics library is needed.

`curvometer.agreement.icc`
    The six intraclass correlations, standard error of measurement, minimal detectable change.
`curvometer.agreement.differences`
    Bland and Altman's limits, proportional bias, Dahlberg's error.
`curvometer.agreement.concordance`, `curvometer.agreement.kappa`
    Lin's concordance; Cohen's, weighted and Fleiss' kappa.
`curvometer.agreement.parts`
    What makes two angles differ.
`curvometer.agreement.compare`
    All of it at once.
"""

from __future__ import annotations

from curvometer.agreement.compare import (
    AgreementReport,
    Comparison,
    PairAgreement,
    examiner_agreement,
)
from curvometer.agreement.concordance import Concordance, lin_concordance
from curvometer.agreement.differences import (
    LimitRule,
    LimitsOfAgreement,
    ProportionalBias,
    dahlberg_error,
    limits_of_agreement,
    proportional_bias,
)
from curvometer.agreement.estimate import AgreementError, Estimate
from curvometer.agreement.icc import (
    ICC_NAMES,
    IntraclassCorrelations,
    MeanSquares,
    intraclass_correlations,
    mean_squares,
    minimal_detectable_change,
    standard_errors_of_measurement,
)
from curvometer.agreement.kappa import (
    KappaWeights,
    cohen_kappa,
    disagreement_weights,
    fleiss_kappa,
    grade_table,
    weighted_kappa,
)
from curvometer.agreement.parts import (
    AngleLandmarks,
    AngleParts,
    divide_angle_difference,
    divide_disagreement,
)
from curvometer.agreement.picture import agreement_svg
from curvometer.agreement.plain import agreement_to_plain
from curvometer.agreement.rating_file import RatingFile, RatingRow, read_rating_file
from curvometer.agreement.ratings import Rating, RatingSheet, rating_sheet
from curvometer.agreement.sources import AGREEMENT_REFERENCES
from curvometer.agreement.words import plain_reading

__all__ = [
    "AGREEMENT_REFERENCES",
    "ICC_NAMES",
    "AgreementError",
    "AgreementReport",
    "AngleLandmarks",
    "AngleParts",
    "Comparison",
    "Concordance",
    "Estimate",
    "IntraclassCorrelations",
    "KappaWeights",
    "LimitRule",
    "LimitsOfAgreement",
    "MeanSquares",
    "PairAgreement",
    "ProportionalBias",
    "Rating",
    "RatingFile",
    "RatingRow",
    "RatingSheet",
    "agreement_svg",
    "agreement_to_plain",
    "cohen_kappa",
    "dahlberg_error",
    "disagreement_weights",
    "divide_angle_difference",
    "divide_disagreement",
    "examiner_agreement",
    "fleiss_kappa",
    "grade_table",
    "intraclass_correlations",
    "limits_of_agreement",
    "lin_concordance",
    "mean_squares",
    "minimal_detectable_change",
    "plain_reading",
    "proportional_bias",
    "rating_sheet",
    "read_rating_file",
    "standard_errors_of_measurement",
    "weighted_kappa",
]
