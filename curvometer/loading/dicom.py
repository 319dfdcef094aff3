"""A DICOM file of any class to a `Radiograph`."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from curvometer.loading.dicom_grey import GreyScale, read_grey_scale
from curvometer.loading.dicom_header import Header, read_header
from curvometer.loading.dicom_pixels import PixelFormat, decode_pixels, read_pixel_format
from curvometer.loading.display import percentile_window
from curvometer.loading.source import ImageFile
from curvometer.radiograph import DisplayWindow, Radiograph, StatedSpacing

_WINDOW_MISSES = "The file's display window misses the grey values; they were stretched instead."


def read_dicom(file: ImageFile, *, inverted: bool = False) -> Radiograph:
    """Read a DICOM image; see `curvometer.loading.load_radiograph`.

    Raises
    ------
    Refusal
        When the file is no single, whole, grey image.
    """
    header = read_header(file.data)
    form = read_pixel_format(header, file.data)
    pixels, decode_notes = decode_pixels(header, form)
    grey = read_grey_scale(header, form)
    turn = grey.inverted != inverted
    grey = GreyScale(inverted=turn, edges=grey.edges, notes=grey.notes)
    total = _turning_total(pixels, form)
    if turn:
        pixels = np.subtract(total, pixels, dtype=np.int32).astype(pixels.dtype)
    window, window_notes = _usable_window(grey.window(total), pixels)
    spacing, spacing_notes = _stated_spacing(header)
    return Radiograph(
        pixels=pixels,
        bits_stored=form.bits_stored,
        spacing=spacing,
        window=window,
        file_format="DICOM",
        sha256=file.sha256,
        inverted_on_load=turn,
        notes=(*form.notes, *decode_notes, *grey.notes, *window_notes, *spacing_notes),
    )


def _turning_total(pixels: NDArray[np.generic], form: PixelFormat) -> int:
    """Return least plus greatest value of the stored range: total - value turns polarity within it."""
    low, high = form.stored_range
    if int(pixels.min()) < low or int(pixels.max()) > high:  # more bits in use than declared
        info = np.iinfo(str(pixels.dtype))
        low, high = int(info.min), int(info.max)
    return low + high


def _usable_window(
    window: DisplayWindow | None, pixels: NDArray[np.generic]
) -> tuple[DisplayWindow, tuple[str, ...]]:
    if window is None:
        return percentile_window(pixels), ()
    if window.black >= float(pixels.max()) or window.white <= float(pixels.min()):
        return percentile_window(pixels), (_WINDOW_MISSES,)
    return window, ()


def _stated_spacing(header: Header) -> tuple[StatedSpacing, tuple[str, ...]]:
    """Read every statement of size, raw; what is not finite and positive becomes a note."""
    notes: list[str] = []
    calibration_type = header.text("PixelSpacingCalibrationType")
    if calibration_type not in ("", "FIDUCIAL", "GEOMETRY"):
        notes.append("The file's kind of spacing calibration is unknown and was ignored.")
        calibration_type = ""
    aspect = _pair(header, "PixelAspectRatio", notes)
    spacing = StatedSpacing(
        pixel_spacing_mm=_pair(header, "PixelSpacing", notes),
        calibration_type=calibration_type or None,
        imager_pixel_spacing_mm=_pair(header, "ImagerPixelSpacing", notes),
        nominal_scanned_spacing_mm=_pair(header, "NominalScannedPixelSpacing", notes),
        magnification=_positive(header, "EstimatedRadiographicMagnificationFactor", notes),
        source_to_detector_mm=_positive(header, "DistanceSourceToDetector", notes),
        source_to_patient_mm=_positive(header, "DistanceSourceToPatient", notes),
        pixel_aspect_ratio=aspect[0] / aspect[1] if aspect else 1.0,
    )
    return spacing, tuple(notes)


def _pair(header: Header, keyword: str, notes: list[str]) -> tuple[float, float] | None:
    numbers = header.numbers(keyword)
    if len(numbers) == 2 and min(numbers) > 0.0:
        return numbers[0], numbers[1]
    _note_unusable(header, keyword, notes)
    return None


def _positive(header: Header, keyword: str, notes: list[str]) -> float | None:
    numbers = header.numbers(keyword)
    if len(numbers) == 1 and numbers[0] > 0.0:
        return numbers[0]
    _note_unusable(header, keyword, notes)
    return None


def _note_unusable(header: Header, keyword: str, notes: list[str]) -> None:
    if header.stated(keyword):
        notes.append(f"The file's {keyword} is not a positive number and was ignored.")
