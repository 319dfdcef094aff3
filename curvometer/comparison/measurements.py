"""A student's measurement against a reference: the numbers that a teacher marks, and why the angles differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from curvometer.comparison.angle import AngleCauses, angle_causes
from curvometer.comparison.polylines import ComparisonError
from curvometer.measurement import CanalMeasurement, Quantity

COMPARED = {
    "schneider_angle": "Schneider angle",
    "curvature": "curvature",
    "curve_start_from_foramen": "start of the curve, from the foramen",
    "curve_end_from_foramen": "end of the curve, from the foramen",
    "canal_length": "canal length",
}
"""What is compared, in words. `curvature` is 1 / Pruett radius: a radius of 40 mm and one of 60 mm are both nearly straight,
2 mm and 3 mm are not alike."""


@dataclass(frozen=True, kw_only=True)
class QuantityDifference:
    """One number of a student against the reference's.

    Attributes
    ----------
    name, label
        As in `COMPARED`.
    student, reference
        Both values.
    lower, upper
        The reference's own 95 % interval.
    unit
        ``"deg"``, ``"mm"`` or ``"1/mm"``.
    """

    name: str
    label: str
    student: float
    reference: float
    lower: float
    upper: float
    unit: str

    @property
    def difference(self) -> float:
        """Student - reference."""
        return self.student - self.reference

    @property
    def relative(self) -> float | None:
        """The difference as a fraction of the reference; None where that is 0."""
        return self.difference / self.reference if self.reference != 0.0 else None

    @property
    def within_interval(self) -> bool:
        """Whether the student's value lies within the reference's own interval."""
        return self.lower <= self.student <= self.upper


@dataclass(frozen=True, kw_only=True)
class MeasurementComparison:
    """A student's measurement against a reference.

    Attributes
    ----------
    differences
        By the names of `COMPARED`, those that both have.
    missing
        For each of the others, a sentence that says who lacks it and why.
    angle_causes
        Why the Schneider angles differ; None where that cannot be told.
    """

    differences: dict[str, QuantityDifference]
    missing: dict[str, str]
    angle_causes: AngleCauses | None


@dataclass(frozen=True, kw_only=True)
class ValueBand:
    """One number as several experts measured it.

    Attributes
    ----------
    consensus
        Their mean.
    spread
        The largest distance of one expert from the mean of the others; 0 for a single expert.
    experts
        How many.
    """

    consensus: float
    spread: float
    experts: int

    def beyond(self, value: float) -> float:
        """How far a value lies outside the experts' own spread; 0 within it."""
        return max(0.0, abs(value - self.consensus) - self.spread)


def compare_measurements(
    student: CanalMeasurement, reference: CanalMeasurement, *, pixel_aspect: float = 1.0
) -> MeasurementComparison:
    """Compare what a student measured with a reference.

    Parameters
    ----------
    student, reference
        Measurements of one canal on one image, with the same scale.
    pixel_aspect
        Row spacing / column spacing of the image (`Calibration.aspect_ratio`), for the causes of an angle difference.

    Returns
    -------
    MeasurementComparison
        A straight canal has the curvature 0 and no start or end of a curve.

    Raises
    ------
    ComparisonError
        When `pixel_aspect` is not a positive number.
    """
    if not 0.0 < pixel_aspect < float("inf"):
        raise ComparisonError(
            f"pixel_aspect is {pixel_aspect!r}; it needs a positive number: row spacing over column spacing"
        )
    differences, missing = {}, {}
    for name, label in COMPARED.items():
        mine, theirs = compared_quantity(student, name), compared_quantity(reference, name)
        if mine is None or theirs is None:
            missing[name] = _why_missing(
                label, student if mine is None else None, reference if theirs is None else None
            )
            continue
        differences[name] = QuantityDifference(
            name=name,
            label=label,
            student=mine.value,
            reference=theirs.value,
            lower=theirs.lower,
            upper=theirs.upper,
            unit=theirs.unit,
        )
    return MeasurementComparison(
        differences=differences,
        missing=missing,
        angle_causes=angle_causes(student, reference, pixel_aspect=pixel_aspect),
    )


def compared_quantity(measurement: CanalMeasurement, name: str) -> Quantity | None:
    """A quantity by a name of `COMPARED`; None where the measurement lacks it."""
    if name != "curvature":
        return measurement.quantities[name]
    radius = measurement.pruett_radius
    if radius is not None:
        return Quantity(
            value=1.0 / radius.value, lower=1.0 / radius.upper, upper=1.0 / radius.lower, unit="1/mm"
        )
    if _is_straight(measurement) and measurement.canal_length is not None:
        return Quantity(value=0.0, lower=0.0, upper=0.0, unit="1/mm")
    return None


def measurement_bands(measurements: Sequence[CanalMeasurement]) -> dict[str, ValueBand]:
    """Tell consensus and spread of several experts, number by number.

    Parameters
    ----------
    measurements
        The same canal on the same image, measured from each expert's tracing.

    Returns
    -------
    dict of str to ValueBand
        By the names of `COMPARED`, those that all experts have. None of the experts lies outside any band.

    Raises
    ------
    ComparisonError
        When there are no measurements.
    """
    if not measurements:
        raise ComparisonError("no expert's measurement is given: give at least one, better three")
    found = {}
    for name in COMPARED:
        values = [compared_quantity(each, name) for each in measurements]
        known = [value.value for value in values if value is not None]
        if len(known) == len(values):
            found[name] = value_band(known)
    return found


def value_band(values: Sequence[float]) -> ValueBand:
    """Tell consensus and spread of one number from several experts.

    Notes
    -----
    With n values of mean M, a value lies n / (n - 1) times farther from the mean of the others than from M. So one that
    lies within the spread as seen by the others lies within it around the consensus as well.

    Raises
    ------
    ComparisonError
        When there are no values.
    """
    if not values:
        raise ComparisonError("no expert's value is given: give at least one, better three")
    n, mean = len(values), sum(values) / len(values)
    spread = max(abs(value - mean) for value in values) * n / (n - 1) if n > 1 else 0.0
    return ValueBand(consensus=mean, spread=spread, experts=n)


def _is_straight(measurement: CanalMeasurement) -> bool:
    return any(flag.code == "straight" for flag in measurement.flags)


def _why_missing(label: str, student: CanalMeasurement | None, reference: CanalMeasurement | None) -> str:
    reasons = [
        f"the {who} is {'straight' if _is_straight(each) else 'without it, see its flags'}"
        for who, each in (("student's canal", student), ("reference", reference))
        if each is not None
    ]
    return f"The {label} is not compared: {' and '.join(reasons)}."
