"""Stored pixel values of a DICOM image: everything about size is checked first, then one fixed decoder runs.

Fixed, because decoders differ on damaged streams: one of them returns half a picture without an error,
another ends in a Rust panic.
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from curvometer.loading.codestream import (
    JPEG,
    JPEG_2000,
    JPEG_LOSSLESS,
    JPEG_LS,
    FrameSize,
    read_frame_size,
    trim_rle,
)
from curvometer.loading.colour import grey_of_colour
from curvometer.loading.decoding import run_decoder
from curvometer.loading.dicom_header import Header, has_pixel_tag
from curvometer.loading.source import MAX_PIXELS, Refusal

_EXPLICIT_LE = "1.2.840.10008.1.2.1"
_EXPLICIT_BE = "1.2.840.10008.1.2.2"
_NATIVE = frozenset({"1.2.840.10008.1.2", _EXPLICIT_LE, _EXPLICIT_BE, "1.2.840.10008.1.2.1.99"})
_RLE = "1.2.840.10008.1.2.5"
_JPEG_EXTENDED = "1.2.840.10008.1.2.4.51"
_DECODERS = {
    _RLE: "pydicom",
    "1.2.840.10008.1.2.4.50": "pillow",
    _JPEG_EXTENDED: "pillow",
    "1.2.840.10008.1.2.4.57": "gdcm",
    "1.2.840.10008.1.2.4.70": "gdcm",
    "1.2.840.10008.1.2.4.80": "pyjpegls",
    "1.2.840.10008.1.2.4.81": "pyjpegls",
    "1.2.840.10008.1.2.4.90": "pylibjpeg",
    "1.2.840.10008.1.2.4.91": "pylibjpeg",
    "1.2.840.10008.1.2.4.201": "pylibjpeg",
    "1.2.840.10008.1.2.4.202": "pylibjpeg",
    "1.2.840.10008.1.2.4.203": "pylibjpeg",
}
_LOSSY = frozenset({"1.2.840.10008.1.2.4.50", _JPEG_EXTENDED})
_SYNTAX_OF_STREAM = {
    JPEG: "1.2.840.10008.1.2.4.50",
    JPEG_LOSSLESS: "1.2.840.10008.1.2.4.57",
    JPEG_LS: "1.2.840.10008.1.2.4.81",
    JPEG_2000: "1.2.840.10008.1.2.4.91",
}


@dataclass(frozen=True, kw_only=True)
class PixelFormat:
    """Checked description of the pixels.

    Attributes
    ----------
    rows, columns
        Size; the product is at most `MAX_PIXELS`.
    samples
        1 (grey) or 3 (colour, which loads when all three are equal).
    bits_allocated, bits_stored
        8 or 16; 6 to 16.
    signed
        True for two's complement.
    photometric
        PhotometricInterpretation.
    notes
        What had to be assumed.
    """

    rows: int
    columns: int
    samples: int
    bits_allocated: int
    bits_stored: int
    signed: bool
    photometric: str
    notes: tuple[str, ...] = ()

    @property
    def stored_range(self) -> tuple[int, int]:
        """Least and greatest value that the stored bits can hold."""
        if self.signed:
            return -(2 ** (self.bits_stored - 1)), 2 ** (self.bits_stored - 1) - 1
        return 0, 2**self.bits_stored - 1


def read_pixel_format(header: Header, data: bytes) -> PixelFormat:
    """Check the description of the pixels before anything is decoded.

    Raises
    ------
    Refusal
        For no pixels, several frames, colour by palette, an impossible or oversized image, odd bit depths.
    """
    _check_is_one_image(header, data)
    rows, columns = _checked_size(header)
    samples = header.integer("SamplesPerPixel") if header.values("SamplesPerPixel") else 1
    photometric = header.text("PhotometricInterpretation")
    notes = [] if photometric else ["The file does not say whether bright is dense; that was assumed."]
    photometric = photometric or "MONOCHROME2"
    if samples not in (1, 3):
        raise Refusal(f"declares {samples} samples per pixel; a grey image has 1: export it as a grey image")
    if samples == 1 and photometric not in ("MONOCHROME1", "MONOCHROME2"):
        raise Refusal(f"stores {photometric[:20]} pixels; a radiograph is grey: export it as a grey image")
    allocated, stored, bit_notes = _checked_bits(header)
    return PixelFormat(
        rows=rows,
        columns=columns,
        samples=samples,
        bits_allocated=allocated,
        bits_stored=stored,
        signed=header.integer("PixelRepresentation") == 1,
        photometric=photometric,
        notes=(*notes, *bit_notes),
    )


def decode_pixels(header: Header, form: PixelFormat) -> tuple[NDArray[np.generic], tuple[str, ...]]:
    """Decode the one frame to a (rows, columns) integer array in native byte order, with notes.

    Raises
    ------
    Refusal
        When the data are cut short, of another size than declared, or in an unknown compression.
    """
    syntax = header.transfer_syntax
    compressed = header.dataset["PixelData"].is_undefined_length
    if syntax in _NATIVE or (syntax is None and not compressed):
        native = _EXPLICIT_LE if header.little_endian else _EXPLICIT_BE
        pixels = _decode(header, form, native, _native_bytes(header, form), "")
        return _as_grey(pixels, form), ()
    frame = _joined_fragments(header.raw_bytes("PixelData"))
    if syntax == _RLE:
        planes = form.samples * form.bits_allocated // 8
        frame = trim_rle(frame, pixels=form.rows * form.columns, segments=planes)
        return _as_grey(_decode_frame(header, form, _RLE, frame), form), ()
    size = _checked_frame_size(frame, form, syntax)
    syntax = syntax or _SYNTAX_OF_STREAM[size.kind]
    lossy = header.text("LossyImageCompression") == "01" or syntax in _LOSSY
    note = ("The file was compressed with loss, so fine detail may be missing.",) if lossy else ()
    return _as_grey(_decode_frame(header, form, syntax, frame), form), note


def _check_is_one_image(header: Header, data: bytes) -> None:
    if "PixelData" not in header.dataset:
        if "FloatPixelData" in header.dataset or "DoubleFloatPixelData" in header.dataset:
            raise Refusal(
                "stores floating-point pixels; 8 to 16 bit integers are needed: export it as a grey image"
            )
        if has_pixel_tag(data):
            raise Refusal("is cut short within its pixel data; copy or export the file again")
        raise Refusal(
            "is a DICOM file without an image; one with pixel data is needed: choose the radiograph itself"
        )
    frames = header.integer("NumberOfFrames") if header.values("NumberOfFrames") else 1
    if frames != 1:
        number = "an unreadable number of" if frames is None else frames
        raise Refusal(f"holds {number} frames; a single radiograph is needed: export one frame by itself")


def _checked_size(header: Header) -> tuple[int, int]:
    rows, columns = header.integer("Rows"), header.integer("Columns")
    if not rows or not columns or rows < 0 or columns < 0:
        raise Refusal(
            f"declares {rows or 'no'} rows and {columns or 'no'} columns; an image has some of both:"
            " export the file again"
        )
    if rows * columns > MAX_PIXELS:
        raise Refusal(
            f"declares {rows} x {columns} pixels, more than the {MAX_PIXELS // 10**6} million that are read:"
            " export the single radiograph at its own size"
        )
    return rows, columns


def _checked_bits(header: Header) -> tuple[int, int, list[str]]:
    allocated, stored = header.integer("BitsAllocated"), header.integer("BitsStored")
    high = header.integer("HighBit")
    if allocated not in (8, 16):
        raise Refusal(
            f"stores pixels of {allocated or 'unknown'} bits; 8 or 16 are needed: export it with 8 or 16 bits"
        )
    if stored is None:
        return allocated, allocated, ["The file does not say how many bits are stored; all count."]
    if not 6 <= stored <= allocated:
        raise Refusal(
            f"declares {stored} stored bits of {allocated}; 6 to {allocated} are needed: export the file"
            " again"
        )
    if high is not None and high != stored - 1:
        # Right or left aligned, all bits together keep the order of the grey values; no bit is thrown away.
        return (
            allocated,
            allocated,
            ["The file's highest bit does not fit its stored bits; all count."],
        )
    return allocated, stored, []


def _native_bytes(header: Header, form: PixelFormat) -> bytes:
    data = header.raw_bytes("PixelData")
    needed = form.rows * form.columns * form.samples * form.bits_allocated // 8
    if form.photometric.endswith("_422"):
        needed = needed * 2 // 3
    if len(data) < needed:
        raise Refusal(
            f"is cut short: its pixel data hold {len(data)} bytes where {form.rows} x {form.columns} pixels"
            f" need {needed}; copy or export the file again"
        )
    return data


def _joined_fragments(data: bytes) -> bytes:
    """Join the fragments of the only frame, whatever the offset table says."""
    from pydicom.encaps import generate_fragments  # noqa: PLC0415

    try:
        _, *fragments = generate_fragments(data)  # the first item is the offset table
    except ValueError:
        raise Refusal(
            "is cut short within its compressed pixel data; copy or export the file again"
        ) from None
    return b"".join(fragments)


def _checked_frame_size(frame: bytes, form: PixelFormat, syntax: str | None) -> FrameSize:
    if syntax is not None and syntax not in _DECODERS:
        raise Refusal(
            "is compressed in a way that is not read here; export it uncompressed, or as JPEG Lossless"
        )
    size = read_frame_size(frame)
    if (size.rows, size.columns, size.components) != (form.rows, form.columns, form.samples):
        raise Refusal(
            f"declares {form.rows} x {form.columns} x {form.samples} samples but its compressed picture has"
            f" {size.rows} x {size.columns} x {size.components}; the two must agree: export the file again"
        )
    if size.precision > form.bits_allocated:
        raise Refusal(
            f"declares {form.bits_allocated} bits but its compressed picture has {size.precision}; the two"
            " must agree: export the file again"
        )
    if size.kind == JPEG and size.precision > 8 and importlib.util.find_spec("libjpeg") is None:
        raise Refusal(
            "is a lossy JPEG of 12 bits, which needs the package pylibjpeg-libjpeg; install that, or export"
            " the file uncompressed"
        )
    return size


def _decode_frame(header: Header, form: PixelFormat, syntax: str, frame: bytes) -> NDArray[np.generic]:
    from pydicom.encaps import encapsulate  # noqa: PLC0415

    decoder = _DECODERS[syntax]
    if syntax == _JPEG_EXTENDED and form.bits_stored > 8:
        decoder = "pylibjpeg"
    return _decode(header, form, syntax, encapsulate([frame]), decoder)


def _decode(header: Header, form: PixelFormat, syntax: str, data: bytes, decoder: str) -> NDArray[np.generic]:
    """Run pydicom on a fresh data set that holds checked values only."""
    from pydicom.dataset import Dataset, FileMetaDataset  # noqa: PLC0415
    from pydicom.uid import UID  # noqa: PLC0415

    clean = Dataset()
    clean.file_meta = FileMetaDataset()
    clean.file_meta.TransferSyntaxUID = UID(syntax)
    clean.Rows, clean.Columns = form.rows, form.columns
    clean.SamplesPerPixel = form.samples
    clean.PhotometricInterpretation = form.photometric
    clean.BitsAllocated, clean.BitsStored = form.bits_allocated, form.bits_stored
    clean.HighBit = form.bits_stored - 1
    clean.PixelRepresentation = int(form.signed)
    if form.samples > 1:
        clean.PlanarConfiguration = header.integer("PlanarConfiguration") or 0
    stored_as = header.dataset["PixelData"].VR
    clean.add_new("PixelData", "OB" if stored_as == "OB" and form.bits_allocated == 8 else "OW", data)
    clean["PixelData"].is_undefined_length = bool(decoder)
    return run_decoder(clean, decoder)


def _as_grey(pixels: NDArray[np.generic], form: PixelFormat) -> NDArray[np.generic]:
    return grey_of_colour(pixels)[0] if form.samples == 3 else pixels
