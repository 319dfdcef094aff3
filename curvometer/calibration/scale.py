"""What a calibration is: millimetres per pixel, how sure that is, and who says so."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from curvometer.radiograph import CurvometerError


class CalibrationError(CurvometerError):
    """A scale that cannot be: a length, a path, a tolerance or a set of objects that makes no sense."""


class CalibrationOrigin(StrEnum):
    """Where a scale comes from, best first."""

    KNOWN_LENGTH = "file of known length"
    STATED = "mm per pixel given by the user"
    FIDUCIAL = "DICOM PixelSpacing, FIDUCIAL"
    GEOMETRY = "DICOM PixelSpacing, GEOMETRY"
    DETECTOR_MAGNIFIED = "DICOM ImagerPixelSpacing and magnification"
    DETECTOR = "DICOM ImagerPixelSpacing, at the detector"
    UNDETERMINED = "DICOM PixelSpacing without a calibration type"
    PICTURE_PITCH = "resolution stated in the picture file"
    NONE = "none"


@dataclass(frozen=True, kw_only=True)
class Calibration:
    """Millimetres per pixel with its uncertainty.

    Attributes
    ----------
    spacing_rc_mm
        (row spacing, column spacing) in mm per pixel; None without any scale. Only the ratio is meaningful
        for angles. At the detector's plane unless `at_tooth`.
    aspect_ratio
        Row spacing / column spacing; also known when the scale is not.
    relative_standard_uncertainty
        Standard uncertainty of the scale as a fraction of it.
    origin
        Where it comes from.
    at_tooth
        True when the scale holds in the plane of the tooth, so that lengths and radii may be given. A
        detector pitch is not: the image is magnified by an unknown factor.
    flags
        Plain names of doubts, for example ``"objects_disagree"``.
    notes
        One sentence each, for the person who reads the result.
    """

    spacing_rc_mm: tuple[float, float] | None = None
    aspect_ratio: float = 1.0
    relative_standard_uncertainty: float = 0.0
    origin: CalibrationOrigin = CalibrationOrigin.NONE
    at_tooth: bool = False
    flags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.spacing_rc_mm is not None and not all(0.0 < s < 10.0 for s in self.spacing_rc_mm):
            raise CurvometerError(
                f"the scale {self.spacing_rc_mm} mm per pixel is impossible; it must be above 0 and below 10"
            )

    @property
    def mm_per_pixel(self) -> float | None:
        """Millimetres of tooth per pixel (geometric mean of both directions); None unless at the tooth."""
        if self.spacing_rc_mm is None or not self.at_tooth:
            return None
        return float((self.spacing_rc_mm[0] * self.spacing_rc_mm[1]) ** 0.5)

    @property
    def standard_uncertainty(self) -> float | None:
        """Standard uncertainty of `mm_per_pixel`, in mm per pixel."""
        scale = self.mm_per_pixel
        return None if scale is None else scale * self.relative_standard_uncertainty
