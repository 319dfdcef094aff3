"""Scale from what the image file states: the ladder of DICOM PS3.3 section 10.7.1, best rung first.

A detector pitch is never passed off as millimetres of tooth, and PixelSpacing without a calibration type is
taken for what it most often is in intra-oral files: nothing certain.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from curvometer.bibliography import HowRead, Reference
from curvometer.calibration.scale import Calibration, CalibrationOrigin
from curvometer.radiograph import Radiograph, StatedSpacing

Pair = tuple[float, float]

SPACING_RULE = Reference(
    key="dicom-ps3.3-10.7.1",
    citation="DICOM PS3.3 2024d, section 10.7.1, Basic Pixel Spacing Calibration Macro",
    how_read=HowRead.SOURCE,
    note="Which attribute is at the detector, which in the patient, and what their equality means.",
)
MAGNIFICATION_RULE = Reference(
    key="dicom-ps3.3-c.8.7.6",
    citation="DICOM PS3.3, C.8.7.6: EstimatedRadiographicMagnificationFactor = SID / SOD",
    how_read=HowRead.SOURCE,
)


@dataclass(frozen=True, kw_only=True)
class AssumedUncertainty:
    """A relative standard uncertainty that no file states, and why it is what it is."""

    relative: float
    reference: Reference


FIDUCIAL = AssumedUncertainty(
    relative=0.016,
    reference=Reference(
        key="assumed-fiducial",
        citation="assumption, no source: the object was a file of 21 mm at most 5 mm nearer or farther",
        how_read=HowRead.DERIVED,
        note="0.5 / 21 / sqrt(3) = 1.375 % and 5 / 386 / sqrt(3) = 0.75 % (16 inch cone), together 1.57 %.",
    ),
)
MAGNIFICATION = AssumedUncertainty(
    relative=0.04,
    reference=Reference(
        key="assumed-magnification",
        citation="assumption, no source: the true magnification lies anywhere from 1.025 to 1.173",
        how_read=HowRead.DERIVED,
        note=(
            "M = D / (D - d), source to receptor D 203 to 406 mm (8 to 16 inch), tooth to receptor d 10 to"
            " 30 mm: half-width 6.7 % / sqrt(3) = 3.9 %."
        ),
    ),
)
UNTYPED = AssumedUncertainty(
    relative=0.05,
    reference=Reference(
        key="assumed-untyped-correction",
        citation="assumption, no source: an unnamed correction is worse than an estimated magnification",
        how_read=HowRead.COMMON_PRACTICE,
    ),
)

EQUAL_WITHIN = 0.005
"""Spacings this close are the same number rounded twice; the least magnification in use is 1.025."""
LARGEST_MAGNIFICATION = 2.0
"""Intra-oral magnification is 1.0 to 1.2; a file is believed from 1 to this (assumption, no source)."""
SENSOR_PITCH_MM = (0.010, 0.080)
"""Pitch of an intra-oral sensor or scanned plate: 12.5 to 64 micrometres (from memory), with a margin."""

_CLICK_A_FILE = "click along a file of known length to measure millimetres"


def calibrate_from_file(radiograph: Radiograph) -> Calibration:
    """Find the best scale that the image file states, and say what it is worth.

    The rungs, best first: PixelSpacing calibrated by an object in the image (FIDUCIAL); by an assumed
    geometry (GEOMETRY); ImagerPixelSpacing over a stated magnification; PixelSpacing that differs from
    ImagerPixelSpacing without saying why; the detector pitch alone; PixelSpacing alone, which cannot be
    known; a picture's resolution when a sensor can have it; nothing. Down to the untyped correction a scale
    holds at the tooth; below, it only gives the aspect ratio of a pixel, which angles need.

    Parameters
    ----------
    radiograph
        As loaded; only `Radiograph.spacing` is read.

    Returns
    -------
    Calibration
        With a note that says what to do. Flags: ``"magnification_assumed"``, ``"calibration_type_missing"``,
        ``"spacing_contradicts_magnification"``, ``"detector_pitch_only"``, ``"spacing_undetermined"``,
        ``"picture_resolution_only"``, ``"no_scale"``.

    References
    ----------
    `SPACING_RULE`, `MAGNIFICATION_RULE`; uncertainties: `FIDUCIAL`, `MAGNIFICATION`, `UNTYPED`.
    """
    stated = _usable(radiograph.spacing)
    for rung in _LADDER:
        calibration = rung(stated)
        if calibration is not None:
            return calibration
    return Calibration(
        aspect_ratio=_aspect_ratio(stated),
        flags=("no_scale",),
        notes=(f"The file states no usable scale: angles can be measured; {_CLICK_A_FILE}.",),
    )


def _fiducial(stated: StatedSpacing) -> Calibration | None:
    if stated.pixel_spacing_mm is None or stated.calibration_type != "FIDUCIAL":
        return None
    return _at_tooth(
        stated.pixel_spacing_mm,
        CalibrationOrigin.FIDUCIAL,
        FIDUCIAL,
        note=(
            "The file's scale was set from an object of known size in the image; it holds at that object's"
            f" depth, and its uncertainty of {100 * FIDUCIAL.relative:g} % is assumed."
        ),
    )


def _geometry(stated: StatedSpacing) -> Calibration | None:
    if stated.pixel_spacing_mm is None or stated.calibration_type != "GEOMETRY":
        return None
    return _at_tooth(
        stated.pixel_spacing_mm,
        CalibrationOrigin.GEOMETRY,
        MAGNIFICATION,
        flag="magnification_assumed",
        note=(
            "The file's scale rests on an assumed magnification at some depth, uncertain by about"
            f" {100 * MAGNIFICATION.relative:g} %: {_CLICK_A_FILE} more surely."
        ),
    )


def _magnified(stated: StatedSpacing) -> Calibration | None:
    detector, magnification = _detector(stated), _magnification(stated)
    if detector is None or magnification is None:
        return None
    at_tooth = (detector[0] / magnification, detector[1] / magnification)
    calibration = _at_tooth(
        at_tooth,
        CalibrationOrigin.DETECTOR_MAGNIFIED,
        MAGNIFICATION,
        flag="magnification_assumed",
        note=(
            "Scale estimated: the detector's pitch divided by the stated magnification of"
            f" {magnification:.3f}, uncertain by about {100 * MAGNIFICATION.relative:g} %: {_CLICK_A_FILE}"
            " more surely."
        ),
    )
    patient = stated.pixel_spacing_mm
    if patient is None or _equal(patient, detector) or _equal(patient, at_tooth, within=0.02):
        return calibration
    return replace(
        calibration,
        flags=(*calibration.flags, "spacing_contradicts_magnification"),
        notes=(
            *calibration.notes,
            f"The file also states {patient[0]:.4g} mm per pixel in the patient, which does not fit:"
            f" {_CLICK_A_FILE}.",
        ),
    )


def _corrected(stated: StatedSpacing) -> Calibration | None:
    detector, patient = _detector(stated), stated.pixel_spacing_mm
    if detector is None or patient is None or _equal(patient, detector):
        return None
    magnification = math.sqrt(detector[0] * detector[1] / (patient[0] * patient[1]))
    if not 1.0 <= magnification <= LARGEST_MAGNIFICATION:
        return _at_detector(
            patient,
            CalibrationOrigin.UNDETERMINED,
            flag="spacing_undetermined",
            note=(
                f"The file's two spacings would mean a magnification of {magnification:.3g}, which cannot"
                f" be, so no millimetres are given: {_CLICK_A_FILE}."
            ),
        )
    return _at_tooth(
        patient,
        CalibrationOrigin.GEOMETRY,
        UNTYPED,
        flag="calibration_type_missing",
        note=(
            f"The file corrects its detector pitch by a factor of {magnification:.3f} without saying how,"
            f" so the scale is taken as uncertain by {100 * UNTYPED.relative:g} %: {_CLICK_A_FILE} more"
            " surely."
        ),
    )


def _detector_only(stated: StatedSpacing) -> Calibration | None:
    detector = _detector(stated)
    if detector is None:
        return None
    return _at_detector(
        detector,
        CalibrationOrigin.DETECTOR,
        flag="detector_pitch_only",
        note=(
            "The file states the detector's pitch only and the tooth is magnified by an unknown factor, so no"
            f" millimetres are given: {_CLICK_A_FILE}."
        ),
    )


def _undetermined(stated: StatedSpacing) -> Calibration | None:
    if stated.pixel_spacing_mm is None:
        return None
    return _at_detector(
        stated.pixel_spacing_mm,
        CalibrationOrigin.UNDETERMINED,
        flag="spacing_undetermined",
        note=(
            "The file states a pixel spacing without saying whether it was calibrated (most often it is the"
            f" detector's pitch), so no millimetres are given: {_CLICK_A_FILE}."
        ),
    )


def _picture_pitch(stated: StatedSpacing) -> Calibration | None:
    pitch = stated.png_pitch_mm
    if pitch is None or not _sensor_pitch(pitch):
        return None
    return _at_detector(
        pitch,
        CalibrationOrigin.PICTURE_PITCH,
        flag="picture_resolution_only",
        note=(
            f"The picture states {1000 * pitch[0]:.3g} micrometres per pixel, at best the sensor's pitch,"
            f" so no millimetres are given: {_CLICK_A_FILE}."
        ),
    )


_LADDER: tuple[Callable[[StatedSpacing], Calibration | None], ...] = (
    _fiducial,
    _geometry,
    _magnified,
    _corrected,
    _detector_only,
    _undetermined,
    _picture_pitch,
)


def _at_tooth(
    spacing: Pair, origin: CalibrationOrigin, uncertainty: AssumedUncertainty, *, note: str, flag: str = ""
) -> Calibration:
    return Calibration(
        spacing_rc_mm=spacing,
        aspect_ratio=spacing[0] / spacing[1],
        relative_standard_uncertainty=uncertainty.relative,
        origin=origin,
        at_tooth=True,
        flags=(flag,) if flag else (),
        notes=(note,),
    )


def _at_detector(spacing: Pair, origin: CalibrationOrigin, *, flag: str, note: str) -> Calibration:
    return Calibration(
        spacing_rc_mm=spacing,
        aspect_ratio=spacing[0] / spacing[1],
        origin=origin,
        flags=(flag,),
        notes=(note,),
    )


def _usable(stated: StatedSpacing) -> StatedSpacing:
    """Drop pairs that no image can have, so that every rung may trust what is left."""
    return replace(
        stated,
        pixel_spacing_mm=_possible(stated.pixel_spacing_mm),
        imager_pixel_spacing_mm=_possible(stated.imager_pixel_spacing_mm),
        nominal_scanned_spacing_mm=_possible(stated.nominal_scanned_spacing_mm),
        png_pitch_mm=_possible(stated.png_pitch_mm),
    )


def _possible(pair: Pair | None) -> Pair | None:
    if pair is None or not all(math.isfinite(value) and 0.0001 < value < 10.0 for value in pair):
        return None
    return pair if 0.1 <= pair[0] / pair[1] <= 10.0 else None


def _detector(stated: StatedSpacing) -> Pair | None:
    return stated.imager_pixel_spacing_mm or stated.nominal_scanned_spacing_mm


def _magnification(stated: StatedSpacing) -> float | None:
    """Stated magnification, else source to detector over source to patient; None unless from 1 to 2."""
    candidates = [stated.magnification]
    if stated.source_to_detector_mm and stated.source_to_patient_mm:
        candidates.append(stated.source_to_detector_mm / stated.source_to_patient_mm)
    believable = [m for m in candidates if m is not None and 1.0 <= m <= LARGEST_MAGNIFICATION]
    return believable[0] if believable else None


def _equal(first: Pair, second: Pair, *, within: float = EQUAL_WITHIN) -> bool:
    return all(abs(a - b) <= within * b for a, b in zip(first, second, strict=True))


def _sensor_pitch(pitch: Pair) -> bool:
    return all(SENSOR_PITCH_MM[0] <= value <= SENSOR_PITCH_MM[1] for value in pitch)


def _aspect_ratio(stated: StatedSpacing) -> float:
    """Row over column spacing where no rung knew a scale: the stated ratio of a pixel's sides."""
    ratio = stated.pixel_aspect_ratio
    return ratio if math.isfinite(ratio) and 0.1 <= ratio <= 10.0 else 1.0
