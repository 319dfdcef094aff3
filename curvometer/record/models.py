"""The shape of a record and of the command line's JSON, checked strictly by pydantic."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, field_validator, model_validator

from curvometer.calibration import Calibration, CalibrationOrigin
from curvometer.centreline import Centreline, Structure, TracedBy, TraceFlag
from curvometer.difficulty import check_canal, check_tooth
from curvometer.measurement import CanalMeasurement, Severity
from curvometer.record import plain

SCHEMA_VERSION: Literal[1] = 1
"""Raised whenever a record that older programs wrote would be read differently, or could not be read."""

PointXY = tuple[float, float]
Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]


class CanalName(StrEnum):
    """A canal's code as dentists write it (common practice, no source)."""

    SINGLE = "single"
    MB = "MB"
    MB2 = "MB2"
    MM = "MM"
    ML = "ML"
    DB = "DB"
    DL = "DL"
    D = "D"
    P = "P"
    B = "B"
    L = "L"


class _Entry(BaseModel):
    """No unknown keys, no NaN, no silent conversion of types."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class ImageEntry(_Entry):
    """Which image it was: no file name and nothing that identifies a person."""

    sha256: Annotated[str, Field(pattern="^([0-9a-f]{64})?$")]
    format: str
    rows: Annotated[int, Field(ge=1)]
    columns: Annotated[int, Field(ge=1)]
    bits_stored: int | None
    inverted_on_load: bool
    notes: list[str]


class CalibrationEntry(_Entry):
    """Millimetres per pixel; null unless the scale holds at the tooth."""

    mm_per_pixel: Positive | None
    standard_uncertainty: NotNegative | None
    origin: CalibrationOrigin
    at_tooth: bool
    spacing_xy_mm: tuple[Positive, Positive] | None
    aspect_ratio: Positive
    relative_standard_uncertainty: NotNegative
    flags: list[str]
    notes: list[str]


class ObservationsEntry(_Entry):
    """The unsmoothed places that a shape is fitted to, x, y in pixels."""

    points_xy: Annotated[list[PointXY], Field(min_length=2)]
    sd_px: list[NotNegative]
    correlation_px: NotNegative


class CentrelineEntry(_Entry):
    """The traced points, x, y in pixels, from the canal orifice to the apical foramen."""

    points_xy: Annotated[list[PointXY], Field(min_length=2)]
    position_sd_px: list[NotNegative] | None
    correlation_px: NotNegative
    width_px: list[NotNegative] | None
    observations: ObservationsEntry | None
    click_sd_px: tuple[NotNegative, NotNegative]
    structure: Structure
    traced_by: TracedBy
    anchors_xy: list[PointXY] | None
    flags: list[TraceFlag]


class FlagEntry(_Entry):
    """A doubt about a measurement; it concerns every quantity when `concerns` is empty."""

    code: str
    severity: Severity
    text: str
    concerns: list[str]


class QuantityEntry(_Entry):
    """A value with its 95 % interval."""

    value: float
    lower: float
    upper: float
    unit: str
    reading: str = ""


class BendEntry(_Entry):
    """One bend; positions are distances from the foramen."""

    start_from_foramen: QuantityEntry | None
    end_from_foramen: QuantityEntry | None
    angle: QuantityEntry
    radius: QuantityEntry | None
    schneider_angle: QuantityEntry
    direction: Literal["left", "right"]


class ArcEntry(_Entry):
    """One fitted arc as a circle on the image."""

    centre_xy: PointXY
    radius_px: Positive


class LandmarksEntry(_Entry):
    """Where the fitted shape lies on the image."""

    orifice_xy: PointXY
    curve_start_xy: PointXY | None
    curve_end_xy: PointXY | None
    foramen_xy: PointXY
    axis_xy: tuple[PointXY, PointXY]
    line_xy: list[PointXY]
    arcs: list[ArcEntry]


class ProfileEntry(_Entry):
    """Curvature against the distance from the foramen."""

    from_foramen: list[float]
    curvature: list[float]
    lower: list[float]
    upper: list[float]
    unit: str


class MeasurementEntry(_Entry):
    """All measures of one canal; null where absent, with the reason in the flags beside it."""

    schneider_angle: QuantityEntry | None
    weine_angle: QuantityEntry | None
    long_axis_angle: QuantityEntry | None
    canal_access_angle: QuantityEntry | None
    curvature_height: QuantityEntry | None
    curvature_distance: QuantityEntry | None
    pruett_angle: QuantityEntry | None
    pruett_radius: QuantityEntry | None
    chord_radius: QuantityEntry | None
    three_point_radius: QuantityEntry | None
    radius_quotient: QuantityEntry | None
    minimum_radius: QuantityEntry | None
    minimum_radius_from_foramen: QuantityEntry | None
    total_turning: QuantityEntry | None
    net_turning: QuantityEntry | None
    canal_length: QuantityEntry | None
    curve_start_from_foramen: QuantityEntry | None
    curve_end_from_foramen: QuantityEntry | None
    canal_form: Literal["I", "J", "C", "S"]
    bends: list[BendEntry]
    schneider_class: str
    shape: str
    landmarks: LandmarksEntry
    profile: ProfileEntry
    meanings: dict[str, str]


class _MeasuredCanal(_Entry):
    centreline: CentrelineEntry
    flags: list[FlagEntry]
    measurement: MeasurementEntry

    @model_validator(mode="after")
    def _one_value_per_point(self) -> _MeasuredCanal:
        points = len(self.centreline.points_xy)
        for name in ("position_sd_px", "width_px"):
            values = getattr(self.centreline, name)
            if values is not None and len(values) != points:
                raise ValueError(f"{name} has {len(values)} values for {points} points")
        return self

    def to_centreline(self) -> Centreline:
        """Give the tracing back as the core's value."""
        return plain.centreline_from_plain(self.centreline.model_dump(mode="json"))

    def to_measurement(self) -> CanalMeasurement:
        """Give the measurement back as the core's value."""
        flags = [flag.model_dump(mode="json") for flag in self.flags]
        return plain.measurement_from_plain(self.measurement.model_dump(mode="json"), flags)


class CanalEntry(_MeasuredCanal):
    """One canal of a record: its name, how it was traced, what was measured, and the doubts."""

    name: CanalName | None = None


class MeasureOutput(_MeasuredCanal):
    """What ``curvometer measure --json`` prints."""

    image: ImageEntry | None
    calibration: CalibrationEntry


class SoftwareEntry(_Entry):
    """What measured: the program's version, and that of each method whose change would move a result."""

    name: str
    version: str
    methods: dict[str, str]


class CaseRecord(_Entry):
    """Everything known about one tooth on one image: image, scale, canals; versioned, saved as JSON.

    Attributes
    ----------
    schema_version
        Version of this file format.
    created
        When the record was made, with its time zone.
    software
        Program and method versions.
    image
        Hash and form of the image; None when only a tracing was given.
    calibration
        The scale of the image.
    canals
        One entry per canal.
    tooth
        Number by ISO 3950, like 46, which then has the canals' names; None when nobody said. A record without it is written
        as before there was one.
    """

    schema_version: Literal[1]
    created: AwareDatetime
    software: SoftwareEntry
    image: ImageEntry | None
    calibration: CalibrationEntry
    canals: list[CanalEntry]
    tooth: int | None = None

    @field_validator("tooth")
    @classmethod
    def _is_a_tooth(cls, tooth: int | None) -> int | None:
        if tooth is not None:
            check_tooth(tooth)
        return tooth

    @model_validator(mode="after")
    def _has_these_canals(self) -> CaseRecord:
        for canal in self.canals:
            if self.tooth is not None and canal.name is not None:
                check_canal(self.tooth, canal.name.value)
        return self

    def to_calibration(self) -> Calibration:
        """Give the scale back as the core's value."""
        return plain.calibration_from_plain(self.calibration.model_dump(mode="json"))
