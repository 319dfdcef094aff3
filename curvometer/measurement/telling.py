"""What every print of a measurement says in the same words: the form, the doubts in their order, the caution."""

from __future__ import annotations

from curvometer.measurement.definitions import CANAL_FORMS
from curvometer.measurement.quantity import CanalMeasurement, MeasurementFlag, Severity

MEASURING_CAUTION = (
    "One projection shows only part of a curve in space. Intervals are 95 % and hold for the projected canal."
    " A planning and teaching aid, not a diagnostic device."
)
"""What stands beside every measurement."""


def form_words(measurement: CanalMeasurement, *, before_shape: str = "") -> str:
    """The form with its meaning, the fitted shape, and the class of Schneider's angle.

    Parameters
    ----------
    measurement
        One measured canal.
    before_shape
        What names the shape where the place does not.

    Returns
    -------
    str
        Like ``"J (curved near its end); straight, arc; Schneider class: severe"``; without the class where there is none.
    """
    meaning = CANAL_FORMS.get(measurement.canal_form, "")
    angle_class = f"; Schneider class: {measurement.schneider_class}" if measurement.schneider_class else ""
    return f"{measurement.canal_form} ({meaning}); {before_shape}{measurement.shape}{angle_class}"


def definition_readings(measurement: CanalMeasurement) -> dict[str, str]:
    """By quantity, how its definition is read, for those that the literature reads in more than one way."""
    return {
        name: quantity.reading
        for name, quantity in measurement.quantities.items()
        if quantity is not None and quantity.reading
    }


def sorted_flags(measurement: CanalMeasurement) -> tuple[MeasurementFlag, ...]:
    """The flags, the gravest first."""
    order = list(reversed(Severity))
    return tuple(sorted(measurement.flags, key=lambda flag: order.index(flag.severity)))


def flags_on(name: str, measurement: CanalMeasurement) -> tuple[MeasurementFlag, ...]:
    """The flags that bear on a quantity, those that name it before the general ones."""
    named = [flag for flag in measurement.flags if name in flag.concerns]
    general = [flag for flag in measurement.flags if not flag.concerns]
    return (*named, *general)
