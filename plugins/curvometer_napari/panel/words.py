"""What a scale is worth, what a flag means and what a measure is, in words; no Qt."""

from __future__ import annotations

from curvometer import (
    QUANTITY_DEFINITIONS,
    Calibration,
    CalibrationOrigin,
    CanalMeasurement,
    MeasurementFlag,
    Quantity,
    absence_words,
)
from curvometer_napari.case import ScaleObject

TRUST = {
    CalibrationOrigin.KNOWN_LENGTH: "good, measured on a file in this image",
    CalibrationOrigin.STATED: "as good as the number that was given",
    CalibrationOrigin.FIDUCIAL: "good at the depth of the object that was measured",
    CalibrationOrigin.GEOMETRY: "fair, the magnification is assumed",
    CalibrationOrigin.DETECTOR_MAGNIFIED: "fair, the magnification is assumed",
    CalibrationOrigin.DETECTOR: "not at the tooth, only at the detector",
    CalibrationOrigin.UNDETERMINED: "none, nothing says what it refers to",
    CalibrationOrigin.PICTURE_PITCH: "none, at best the sensor's pitch",
    CalibrationOrigin.NONE: "none",
}
"""How far a scale of each origin may be trusted."""


def file_words(calibration: Calibration) -> str:
    """Tell what the image file says about its scale, and how far that may be trusted."""
    if calibration.origin is CalibrationOrigin.NONE:
        return "The file says nothing about its scale."
    if calibration.origin is CalibrationOrigin.STATED:
        return f"The scale is stated: {calibration.mm_per_pixel:g} mm per pixel."
    return f"The file says: {calibration.origin.value}. Trust: {TRUST[calibration.origin]}."


def object_words(item: ScaleObject) -> str:
    """Tell one file of known length."""
    return f"{item.length_mm:g} mm ± {item.tolerance_mm:g}, {len(item.clicks_rc)} clicks"


def reason(flags: tuple[MeasurementFlag, ...]) -> str:
    """Why a measure is absent."""
    return absence_words(flags) or "not given"


def explained(
    name: str, quantity: Quantity | None, measurement: CanalMeasurement, flags: tuple[MeasurementFlag, ...]
) -> list[tuple[str, str]]:
    """Everything to know about a measure, as pairs of a heading and a sentence."""
    row = QUANTITY_DEFINITIONS[name]
    pairs = [(row.label, row.definition)]
    if name in measurement.meanings:
        pairs.append(("In short", f"{measurement.meanings[name]}."))
    if quantity is not None and quantity.reading:
        pairs.append(("Reading", f"{quantity.reading}."))
    pairs.append(("Source", f"{row.source.citation} ({row.source.how_read.value})."))
    pairs += [("Mind", caveat) for caveat in row.caveats]
    pairs += [(flag.severity.value.capitalize(), flag.text) for flag in flags]
    return pairs
