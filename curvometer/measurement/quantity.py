"""What is told about one canal: every published measure with its 95 % interval, the bends, and the doubts."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """A value with its 95 % interval.

    Attributes
    ----------
    value, lower, upper
        Best value and the interval that holds the true one in 95 of 100 canals, for the projected canal.
    unit
        ``"deg"``, ``"mm"``, ``"deg/mm"``.
    reading
        Which reading of an ambiguous definition the value follows; empty when there is only one.
    """

    value: float
    lower: float
    upper: float
    unit: str
    reading: str = ""

    def __str__(self) -> str:
        """Value, unit and interval, as ``31.4 deg (29.8 to 33.0)``."""
        digits = 1 if self.unit == "deg" else 2
        return f"{self.value:.{digits}f} {self.unit} ({self.lower:.{digits}f} to {self.upper:.{digits}f})"


class Severity(StrEnum):
    """How much a flag matters to the reader."""

    NOTE = "note"
    CAUTION = "caution"
    DO_NOT_TRUST = "do not trust"


@dataclass(frozen=True, kw_only=True)
class MeasurementFlag:
    """A doubt about a measurement.

    Attributes
    ----------
    code
        Stable name, for example ``"no_scale"``.
    severity
        `Severity.DO_NOT_TRUST` makes the command line exit with 3.
    text
        One sentence: what, and what to do.
    concerns
        Names of the quantities it bears on; empty for all.
    """

    code: str
    severity: Severity
    text: str
    concerns: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Bend:
    """One bend of the canal, from the fitted shape; positions are distances along the canal from the foramen."""

    start_from_foramen: Quantity | None
    end_from_foramen: Quantity | None
    angle: Quantity
    radius: Quantity | None
    schneider_angle: Quantity
    direction: str
    """``"left"`` or ``"right"`` as seen walking from the orifice to the foramen on the image as stored."""


@dataclass(frozen=True, kw_only=True)
class FittedLandmarks:
    """Where the fitted shape lies on the image, for drawing; all (row, col) in pixels.

    Attributes
    ----------
    orifice_rc, curve_start_rc, curve_end_rc, foramen_rc
        Landmarks on the fitted line; the curve's two are None for a straight canal.
    axis_rc
        (2, 2) the coronal straight line (first Schneider line), orifice side first.
    line_rc
        (n, 2) the fitted line, dense.
    arcs
        One (row, col, radius_px) per fitted arc.
    """

    orifice_rc: FloatArray
    foramen_rc: FloatArray
    curve_start_rc: FloatArray | None
    curve_end_rc: FloatArray | None
    axis_rc: FloatArray
    line_rc: FloatArray
    arcs: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True, kw_only=True)
class CurvatureProfile:
    """Curvature along the canal: arrays of equal length against the distance from the foramen."""

    from_foramen: FloatArray
    curvature: FloatArray
    lower: FloatArray
    upper: FloatArray
    unit: str
    """``"1/mm"`` with positions in mm; ``"1/px"`` with positions in px when no scale is known."""


@dataclass(frozen=True, kw_only=True)
class CanalMeasurement:
    """All measures of one canal, by the names of the JSON output; None where absent, with the reason in `flags`."""

    schneider_angle: Quantity | None
    weine_angle: Quantity | None
    long_axis_angle: Quantity | None
    canal_access_angle: Quantity | None
    curvature_height: Quantity | None
    curvature_distance: Quantity | None
    pruett_angle: Quantity | None
    pruett_radius: Quantity | None
    chord_radius: Quantity | None
    three_point_radius: Quantity | None
    radius_quotient: Quantity | None
    minimum_radius: Quantity | None
    minimum_radius_from_foramen: Quantity | None
    total_turning: Quantity | None
    net_turning: Quantity | None
    canal_length: Quantity | None
    curve_start_from_foramen: Quantity | None
    curve_end_from_foramen: Quantity | None
    canal_form: str
    """``"I"``, ``"J"``, ``"C"`` or ``"S"``."""
    bends: tuple[Bend, ...]
    flags: tuple[MeasurementFlag, ...]
    schneider_class: str
    """``"straight"``, ``"moderate"``, ``"severe"``, or in words that the angle lies in one of the gaps."""
    shape: str
    """The fitted shape in words, for example ``"straight, arc"``."""
    landmarks: FittedLandmarks
    profile: CurvatureProfile
    meanings: dict[str, str] = field(default_factory=dict)
    """A few plain words for each quantity, for the printed table."""

    @property
    def quantities(self) -> dict[str, Quantity | None]:
        """Every named quantity, in the order in which people read them."""
        return {name: getattr(self, name) for name in QUANTITY_NAMES}


QUANTITY_NAMES = (
    "schneider_angle",
    "weine_angle",
    "long_axis_angle",
    "canal_access_angle",
    "curvature_height",
    "curvature_distance",
    "pruett_angle",
    "pruett_radius",
    "chord_radius",
    "three_point_radius",
    "radius_quotient",
    "minimum_radius",
    "minimum_radius_from_foramen",
    "total_turning",
    "net_turning",
    "canal_length",
    "curve_start_from_foramen",
    "curve_end_from_foramen",
)
