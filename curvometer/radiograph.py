"""A radiograph in memory, and the coordinate convention of the whole package.

Coordinates
-----------
Inside the package a position on the image is ``(row, col)``, two floats; an integer is the *centre* of a pixel
and the row grows downwards. Names carry the order: ``points_rc``. What people and other programs see (command
line, JSON) is ``x, y`` = column, row: ``points_xy``; only `curvometer.cli` and `curvometer.record` convert.

Grey values
-----------
Bright = dense, always: a loader turns a negative before it makes a `Radiograph`. `Radiograph.pixels` holds the
stored values that every measurement uses; windows are for display only.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray


class CurvometerError(ValueError):
    """Bad input, told in one plain sentence that says what to do.

    Every error that a person can cause derives from this class; the command line prints its text and exits with 2.
    """


@dataclass(frozen=True, kw_only=True)
class StatedSpacing:
    """What the image file says about size, uninterpreted; `curvometer.calibration` decides what it is worth.

    Every pair is ``(row spacing, column spacing)`` in millimetres, as in DICOM PS3.3 section 10.7.1.3: the
    distance between neighbouring rows first. ``None`` where the file says nothing.

    Attributes
    ----------
    pixel_spacing_mm
        PixelSpacing (0028,0030).
    calibration_type
        PixelSpacingCalibrationType (0028,0A02): ``"FIDUCIAL"``, ``"GEOMETRY"`` or ``None``.
    imager_pixel_spacing_mm
        ImagerPixelSpacing (0018,1164), at the detector.
    nominal_scanned_spacing_mm
        NominalScannedPixelSpacing (0018,2010).
    magnification
        EstimatedRadiographicMagnificationFactor (0018,1114).
    source_to_detector_mm, source_to_patient_mm
        DistanceSourceToDetector (0018,1110), DistanceSourceToPatient (0018,1111).
    png_pitch_mm
        The pitch from a PNG's pHYs chunk (or TIFF/JPEG resolution), uninterpreted.
    pixel_aspect_ratio
        PixelAspectRatio (0028,0034) as row spacing / column spacing; 1.0 when the file says nothing.
    """

    pixel_spacing_mm: tuple[float, float] | None = None
    calibration_type: str | None = None
    imager_pixel_spacing_mm: tuple[float, float] | None = None
    nominal_scanned_spacing_mm: tuple[float, float] | None = None
    magnification: float | None = None
    source_to_detector_mm: float | None = None
    source_to_patient_mm: float | None = None
    png_pitch_mm: tuple[float, float] | None = None
    pixel_aspect_ratio: float = 1.0


@dataclass(frozen=True, kw_only=True)
class DisplayWindow:
    """Grey values (in `Radiograph.pixels` units) shown as black and as white. Display only, never for measuring."""

    black: float
    white: float


@dataclass(frozen=True, kw_only=True)
class Radiograph:
    """One radiograph: stored pixels with bright = dense, and what its file says of its size.

    Attributes
    ----------
    pixels
        Array of shape (rows, columns), integer or float, not writable. Bright = dense.
    bits_stored
        Bits that carry information, 8 to 16; None for float data.
    spacing
        What the file states about size.
    window
        A display window that the file or the grey values suggest.
    file_format
        ``"DICOM"``, ``"PNG"``, ``"TIFF"``, ``"JPEG"``, ``"BMP"`` or ``"array"``.
    sha256
        Hash of the file's bytes; of the pixels when there is no file.
    inverted_on_load
        True when the file stored a negative (MONOCHROME1) that the loader turned.
    notes
        Plain sentences about what the loader had to decide (orientation applied, window missing ...).

    Raises
    ------
    CurvometerError
        When the pixels are not a two-dimensional array of at least 8 x 8.
    """

    pixels: NDArray[np.generic]
    bits_stored: int | None = None
    spacing: StatedSpacing = field(default_factory=StatedSpacing)
    window: DisplayWindow | None = None
    file_format: str = "array"
    sha256: str = ""
    inverted_on_load: bool = False
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.pixels.ndim != 2 or min(self.pixels.shape) < 8:
            raise CurvometerError(
                f"the image has shape {self.pixels.shape}; a radiograph needs rows x columns, at least 8 x 8:"
                " give a single grey image"
            )
        self.pixels.setflags(write=False)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, cols = self.pixels.shape
        return rows, cols

    def contains(self, point_rc: tuple[float, float]) -> bool:
        """Tell whether a (row, col) position lies on the image, borders included."""
        rows, cols = self.pixels.shape
        return bool(-0.5 <= point_rc[0] <= rows - 0.5 and -0.5 <= point_rc[1] <= cols - 0.5)
