"""Every published measure of one canal with its 95 % interval, the bends one by one, and the doubts."""

from curvometer.measurement.definitions import CANAL_FORMS, QUANTITY_DEFINITIONS, QuantityDefinition
from curvometer.measurement.flags import FLAG_TABLE, FlagRule, absence_words
from curvometer.measurement.measure import measure_canal
from curvometer.measurement.quantity import (
    QUANTITY_NAMES,
    Bend,
    CanalMeasurement,
    CurvatureProfile,
    FittedLandmarks,
    MeasurementFlag,
    Quantity,
    Severity,
)
from curvometer.measurement.telling import (
    MEASURING_CAUTION,
    definition_readings,
    flags_on,
    form_words,
    sorted_flags,
)

__all__ = [
    "CANAL_FORMS",
    "FLAG_TABLE",
    "MEASURING_CAUTION",
    "QUANTITY_DEFINITIONS",
    "QUANTITY_NAMES",
    "Bend",
    "CanalMeasurement",
    "CurvatureProfile",
    "FittedLandmarks",
    "FlagRule",
    "MeasurementFlag",
    "Quantity",
    "QuantityDefinition",
    "Severity",
    "absence_words",
    "definition_readings",
    "flags_on",
    "form_words",
    "measure_canal",
    "sorted_flags",
]
