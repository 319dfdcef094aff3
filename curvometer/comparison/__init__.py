"""How two centrelines of one canal differ: a tracing against a reference, several experts, before and after shaping.

Symbols: s arc length along a line from its orifice; a *station* is one of the places at equal distances at which lines are
compared. Offsets are positive to the left for one who walks from the orifice to the foramen on the image as stored. All
definitions and proofs are in docs/comparison.md.

`curvometer.comparison.centrelines`
    Distances between two lines, what their ends do, where they part.
`curvometer.comparison.measurements`
    Differences of the numbers measured on them.
`curvometer.comparison.angle`
    Why two angles differ.
`curvometer.comparison.experts`
    Several experts' common line and their own spread.
`curvometer.comparison.transportation`
    Before and after shaping, by formulas.
`curvometer.comparison.registration`, `curvometer.comparison.shaping`
    Before and after shaping, on two images laid on each other.
"""

from __future__ import annotations

from curvometer.comparison.angle import AngleCauses, angle_causes
from curvometer.comparison.centrelines import CentrelineComparison, compare_centrelines
from curvometer.comparison.distances import OneWayDistances
from curvometer.comparison.experts import ExpertBand, expert_band
from curvometer.comparison.measurements import (
    COMPARED,
    MeasurementComparison,
    QuantityDifference,
    ValueBand,
    compare_measurements,
    measurement_bands,
    value_band,
)
from curvometer.comparison.offsets import Departure, EndDifference, OffsetProfile
from curvometer.comparison.polylines import ComparisonError
from curvometer.comparison.registration import Registration, register_on_marks
from curvometer.comparison.shaping import (
    NormalShift,
    ShapingComparison,
    compare_shaping,
)
from curvometer.comparison.sources import COMPARISON_REFERENCES
from curvometer.comparison.transportation import (
    Transportation,
    calhoun_montgomery_ratio,
    canal_transportation,
    length_loss_mm,
    straightening_deg,
)

__all__ = [
    "COMPARED",
    "COMPARISON_REFERENCES",
    "AngleCauses",
    "CentrelineComparison",
    "ComparisonError",
    "Departure",
    "EndDifference",
    "ExpertBand",
    "MeasurementComparison",
    "NormalShift",
    "OffsetProfile",
    "OneWayDistances",
    "QuantityDifference",
    "Registration",
    "ShapingComparison",
    "Transportation",
    "ValueBand",
    "angle_causes",
    "calhoun_montgomery_ratio",
    "canal_transportation",
    "compare_centrelines",
    "compare_measurements",
    "compare_shaping",
    "expert_band",
    "length_loss_mm",
    "measurement_bands",
    "register_on_marks",
    "straightening_deg",
    "value_band",
]
