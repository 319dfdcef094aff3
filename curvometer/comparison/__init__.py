"""How two centrelines of one canal differ: a tracing against a reference, several experts against each other.

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
from curvometer.comparison.sources import COMPARISON_REFERENCES

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
    "OffsetProfile",
    "OneWayDistances",
    "QuantityDifference",
    "ValueBand",
    "angle_causes",
    "compare_centrelines",
    "compare_measurements",
    "expert_band",
    "measurement_bands",
    "value_band",
]
