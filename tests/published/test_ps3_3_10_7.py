"""DICOM PS3.3 2024d, section 10.7.1 (source read): what each statement of size in a file is worth.

The rule, in own words. ImagerPixelSpacing is at the detector's front plane. PixelSpacing is in the patient;
equal to ImagerPixelSpacing nothing was corrected; different, it was corrected or calibrated; with neither
calibration type nor detector spacing it cannot be known. FIDUCIAL: against an object of known size in the
image; GEOMETRY: an assumed magnification. Row spacing comes first (10.7.1.3).
EstimatedRadiographicMagnificationFactor = SID / SOD (C.8.7.6).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from curvometer.calibration import CalibrationOrigin, calibrate_from_file
from curvometer.calibration.file_statement import FIDUCIAL, MAGNIFICATION, UNTYPED
from curvometer.radiograph import Radiograph, StatedSpacing

O = CalibrationOrigin  # noqa: E741 - a table's column
PIXEL, IMAGER = (0.019, 0.019), (0.020, 0.020)

# name: (statement, origin, holds at the tooth, spacing, flags)
LADDER = {
    "fiducial": (
        {"pixel_spacing_mm": PIXEL, "calibration_type": "FIDUCIAL"},
        (O.FIDUCIAL, True, PIXEL, ()),
    ),
    "fiducial, equal to the detector's": (
        {"pixel_spacing_mm": IMAGER, "imager_pixel_spacing_mm": IMAGER, "calibration_type": "FIDUCIAL"},
        (O.FIDUCIAL, True, IMAGER, ()),
    ),
    "geometry": (
        {"pixel_spacing_mm": PIXEL, "imager_pixel_spacing_mm": IMAGER, "calibration_type": "GEOMETRY"},
        (O.GEOMETRY, True, PIXEL, ("magnification_assumed",)),
    ),
    "fiducial before magnification": (
        {
            "pixel_spacing_mm": PIXEL,
            "imager_pixel_spacing_mm": IMAGER,
            "calibration_type": "FIDUCIAL",
            "magnification": 1.25,
        },
        (O.FIDUCIAL, True, PIXEL, ()),
    ),
    "geometry before magnification": (
        {
            "pixel_spacing_mm": PIXEL,
            "imager_pixel_spacing_mm": IMAGER,
            "calibration_type": "GEOMETRY",
            "magnification": 1.25,
        },
        (O.GEOMETRY, True, PIXEL, ("magnification_assumed",)),
    ),
    "imager with magnification": (
        {"imager_pixel_spacing_mm": (0.021, 0.021), "magnification": 1.05},
        (O.DETECTOR_MAGNIFIED, True, (0.020, 0.020), ("magnification_assumed",)),
    ),
    "imager with distances, 406 / 386 = 1.0518": (
        {"imager_pixel_spacing_mm": IMAGER, "source_to_detector_mm": 406.0, "source_to_patient_mm": 386.0},
        (O.DETECTOR_MAGNIFIED, True, (0.020 * 386 / 406,) * 2, ("magnification_assumed",)),
    ),
    "magnification before distances": (
        {
            "imager_pixel_spacing_mm": IMAGER,
            "magnification": 1.25,
            "source_to_detector_mm": 406.0,
            "source_to_patient_mm": 386.0,
        },
        (O.DETECTOR_MAGNIFIED, True, (0.016, 0.016), ("magnification_assumed",)),
    ),
    "magnification and a spacing that fits it": (
        {"pixel_spacing_mm": PIXEL, "imager_pixel_spacing_mm": IMAGER, "magnification": 20 / 19},
        (O.DETECTOR_MAGNIFIED, True, PIXEL, ("magnification_assumed",)),
    ),
    "magnification and a spacing that does not": (
        {"pixel_spacing_mm": (0.015, 0.015), "imager_pixel_spacing_mm": IMAGER, "magnification": 1.25},
        (
            O.DETECTOR_MAGNIFIED,
            True,
            (0.016, 0.016),
            ("magnification_assumed", "spacing_contradicts_magnification"),
        ),
    ),
    "impossible magnification is not believed": (
        {"imager_pixel_spacing_mm": IMAGER, "magnification": 0.5},
        (O.DETECTOR, False, IMAGER, ("detector_pitch_only",)),
    ),
    "both, different, no type": (
        {"pixel_spacing_mm": PIXEL, "imager_pixel_spacing_mm": IMAGER},
        (O.GEOMETRY, True, PIXEL, ("calibration_type_missing",)),
    ),
    "both, different, patient larger than detector": (
        {"pixel_spacing_mm": (0.03, 0.03), "imager_pixel_spacing_mm": IMAGER},
        (O.UNDETERMINED, False, (0.03, 0.03), ("spacing_undetermined",)),
    ),
    "both, equal": (
        {"pixel_spacing_mm": IMAGER, "imager_pixel_spacing_mm": IMAGER},
        (O.DETECTOR, False, IMAGER, ("detector_pitch_only",)),
    ),
    "both, equal but for rounding": (
        {"pixel_spacing_mm": (0.02005, 0.02005), "imager_pixel_spacing_mm": IMAGER},
        (O.DETECTOR, False, IMAGER, ("detector_pitch_only",)),
    ),
    "imager alone": (
        {"imager_pixel_spacing_mm": IMAGER},
        (O.DETECTOR, False, IMAGER, ("detector_pitch_only",)),
    ),
    "nominal scanned alone": (
        {"nominal_scanned_spacing_mm": (0.04, 0.04)},
        (O.DETECTOR, False, (0.04, 0.04), ("detector_pitch_only",)),
    ),
    "pixel spacing alone": (
        {"pixel_spacing_mm": (0.0296, 0.0296)},
        (O.UNDETERMINED, False, (0.0296, 0.0296), ("spacing_undetermined",)),
    ),
    "type without a spacing": (
        {"calibration_type": "FIDUCIAL"},
        (O.NONE, False, None, ("no_scale",)),
    ),
    "picture with a sensor's pitch": (
        {"png_pitch_mm": (0.030, 0.030)},
        (O.PICTURE_PITCH, False, (0.030, 0.030), ("picture_resolution_only",)),
    ),
    "picture of 72 dpi": ({"png_pitch_mm": (0.3528, 0.3528)}, (O.NONE, False, None, ("no_scale",))),
    "picture of 96 dpi": ({"png_pitch_mm": (0.2646, 0.2646)}, (O.NONE, False, None, ("no_scale",))),
    "picture of 300 dpi": ({"png_pitch_mm": (0.0847, 0.0847)}, (O.NONE, False, None, ("no_scale",))),
    "nothing": ({}, (O.NONE, False, None, ("no_scale",))),
    "spacing no image can have": (
        {"pixel_spacing_mm": (20.0, 20.0), "calibration_type": "FIDUCIAL"},
        (O.NONE, False, None, ("no_scale",)),
    ),
    "sides no pixel can have": (
        {"pixel_spacing_mm": (0.001, 9.0), "calibration_type": "FIDUCIAL"},
        (O.NONE, False, None, ("no_scale",)),
    ),
}


def radiograph(**statement: object) -> Radiograph:
    spacing = StatedSpacing(**statement)  # type: ignore[arg-type]
    return Radiograph(pixels=np.zeros((9, 9), dtype=np.uint8), spacing=spacing)


@pytest.mark.parametrize("name", LADDER)
def test_rung(name: str) -> None:
    statement, (origin, at_tooth, spacing, flags) = LADDER[name]
    calibration = calibrate_from_file(radiograph(**statement))
    assert calibration.origin is origin
    assert calibration.at_tooth is at_tooth
    assert calibration.flags == flags
    if spacing is None:
        assert calibration.spacing_rc_mm is None
    else:
        assert calibration.spacing_rc_mm == pytest.approx(spacing)
    assert (calibration.mm_per_pixel is not None) == at_tooth
    assert calibration.notes


@pytest.mark.parametrize("name", LADDER)
def test_whoever_gets_no_millimetres_is_told_what_to_do(name: str) -> None:
    calibration = calibrate_from_file(radiograph(**LADDER[name][0]))
    told = any("click along a file of known length" in note for note in calibration.notes)
    assert told == (calibration.origin is not O.FIDUCIAL)


def test_detector_pitch_is_never_millimetres_of_tooth() -> None:
    for statement, _ in LADDER.values():
        if "magnification" in statement or "source_to_patient_mm" in statement:
            continue
        if "calibration_type" in statement or "imager_pixel_spacing_mm" in statement:
            continue
        assert calibrate_from_file(radiograph(**statement)).mm_per_pixel is None


def test_row_spacing_comes_first() -> None:
    """10.7.1.3: row spacing \\ column spacing; angles need their ratio, with or without a scale."""
    pair = (0.030, 0.020)
    for statement in (
        {"pixel_spacing_mm": pair, "calibration_type": "FIDUCIAL"},
        {"pixel_spacing_mm": pair},
        {"imager_pixel_spacing_mm": pair},
        {"imager_pixel_spacing_mm": pair, "magnification": 1.05},
        {"nominal_scanned_spacing_mm": pair},
        {"png_pitch_mm": pair},
        {"pixel_aspect_ratio": 1.5},
    ):
        assert calibrate_from_file(radiograph(**statement)).aspect_ratio == pytest.approx(1.5)
    assert calibrate_from_file(radiograph(pixel_aspect_ratio=math.inf)).aspect_ratio == 1.0


def test_assumed_uncertainties_follow_their_own_derivation() -> None:
    """FIDUCIAL: a 21 mm file +-0.5 mm and 5 mm of depth at 386 mm; magnification D / (D - d)."""
    depth = 5 / 386 / math.sqrt(3)
    assert FIDUCIAL.relative == pytest.approx(math.hypot(0.5 / 21 / math.sqrt(3), depth), abs=0.0005)
    low, high = 406 / (406 - 10), 203 / (203 - 30)
    assert (low, high) == (pytest.approx(1.0253, abs=1e-4), pytest.approx(1.1734, abs=1e-4))
    half_width = (high - low) / (high + low)
    assert MAGNIFICATION.relative == pytest.approx(half_width / math.sqrt(3), abs=0.002)
    for assumed in (FIDUCIAL, MAGNIFICATION, UNTYPED):
        assert "assumption, no source" in assumed.reference.citation
    relative = [
        calibrate_from_file(radiograph(**LADDER[name][0])).relative_standard_uncertainty
        for name in ("fiducial", "geometry", "both, different, no type")
    ]
    assert relative == sorted(relative)
    assert relative[0] == FIDUCIAL.relative
