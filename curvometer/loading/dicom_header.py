"""A DICOM data set read defensively: only the attributes asked for, bounded in size, depth and number.

Identity (names, numbers, dates, institutions) is never among the attributes asked for, so it never gets into
memory by name, let alone into a message.
"""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass
from io import BytesIO
from typing import TYPE_CHECKING, Any

from curvometer.loading.source import MAX_FILE_BYTES, Refusal

if TYPE_CHECKING:
    from pydicom.dataset import Dataset
    from pydicom.tag import BaseTag

MAX_READS = 200_000
"""Elements and items that are parsed at most; a radiograph's header has a few hundred (own limit)."""
MAX_VALUE_BYTES = 1024
"""Longest value of a single attribute that is interpreted; none of those read needs more than 64."""
MAX_SEQUENCE_BYTES = 512 * 1024
"""Longest look-up table sequence that is interpreted: one table is at most 128 kB."""
_DEFLATED = "1.2.840.10008.1.2.1.99"
_LONG_VRS = (b"OB", b"OW", b"OF", b"OD", b"OL", b"OV", b"SQ", b"UN", b"UT", b"UC", b"UR", b"SV", b"UV")
_PIXEL_DATA = 0x7FE00010

_KEYWORDS = (
    "SamplesPerPixel",
    "PhotometricInterpretation",
    "PlanarConfiguration",
    "NumberOfFrames",
    "Rows",
    "Columns",
    "PixelAspectRatio",
    "BitsAllocated",
    "BitsStored",
    "HighBit",
    "PixelRepresentation",
    "PixelData",
    "FloatPixelData",
    "DoubleFloatPixelData",
    "PixelSpacing",
    "PixelSpacingCalibrationType",
    "ImagerPixelSpacing",
    "NominalScannedPixelSpacing",
    "EstimatedRadiographicMagnificationFactor",
    "DistanceSourceToDetector",
    "DistanceSourceToPatient",
    "PixelIntensityRelationshipSign",
    "PresentationLUTShape",
    "LossyImageCompression",
    "RescaleSlope",
    "RescaleIntercept",
    "ModalityLUTSequence",
    "WindowCenter",
    "WindowWidth",
    "VOILUTFunction",
    "VOILUTSequence",
)


@dataclass(frozen=True, kw_only=True)
class Header:
    """The attributes read, and how the data set is encoded.

    Attributes
    ----------
    dataset
        pydicom data set with the attributes named in this module only.
    transfer_syntax
        UID, or None where the file does not say.
    implicit_vr, little_endian
        How the data set is written.
    """

    dataset: Dataset
    transfer_syntax: str | None
    implicit_vr: bool
    little_endian: bool

    def values(self, keyword: str) -> tuple[Any, ...]:
        """Values of an attribute; empty when it is absent, empty, damaged or far too long."""
        if keyword not in self.dataset or len(self.raw_bytes(keyword)) > MAX_VALUE_BYTES:
            return ()
        try:
            value = self.dataset[keyword].value
        except Exception:  # a damaged value counts as absent; whoever needs it refuses
            return ()
        if value is None or value == "":
            return ()
        return tuple(value) if isinstance(value, list) or hasattr(value, "append") else (value,)

    def text(self, keyword: str) -> str:
        """First value as upper-case text, or an empty string."""
        values = self.values(keyword)
        return str(values[0]).strip().upper() if values else ""

    def numbers(self, keyword: str) -> tuple[float, ...]:
        """Values as finite numbers; empty when any is not."""
        try:
            numbers = tuple(float(value) for value in self.values(keyword))
        except (TypeError, ValueError, OverflowError):
            return ()
        return numbers if all(math.isfinite(number) for number in numbers) else ()

    def integer(self, keyword: str) -> int | None:
        """First value as an integer, or None."""
        numbers = self.numbers(keyword)
        return int(numbers[0]) if numbers and numbers[0] == int(numbers[0]) else None

    def stated(self, keyword: str) -> bool:
        """Tell whether the attribute is there and not empty, readable or not."""
        return bool(self.values(keyword) or self.raw_bytes(keyword))

    def raw_bytes(self, keyword: str) -> bytes:
        """Give the encoded bytes of an attribute; empty when it is absent or was read as a sequence."""
        value = self.dataset.get_item(keyword).value if keyword in self.dataset else b""
        return value if isinstance(value, bytes) else b""

    def sequence_item(self, keyword: str) -> Dataset | None:
        """First item of a sequence; None when it is absent, empty, damaged or too long."""
        if keyword not in self.dataset or len(self.raw_bytes(keyword)) > MAX_SEQUENCE_BYTES:
            return None
        try:
            items = self.dataset[keyword].value
            return items[0] if items else None
        except Exception:  # display only: a damaged table counts as absent
            return None


def read_header(data: bytes) -> Header:
    """Read a DICOM file's data set, with or without preamble, meta header or transfer syntax.

    Raises
    ------
    Refusal
        When the header is damaged, nested or long beyond reason, or inflates to more than `MAX_FILE_BYTES`.
    """
    from pydicom.datadict import tag_for_keyword  # noqa: PLC0415 - pydicom is slow to import
    from pydicom.filereader import read_dataset  # noqa: PLC0415

    syntax, start = _file_meta(data)
    body = memoryview(data)[start:]
    stream = _CountedReader(_inflated(body) if syntax == _DEFLATED else body)
    implicit_vr, little_endian = _encoding(syntax, bytes(body[:6]))
    tags: list[BaseTag | int] = [tag for word in _KEYWORDS if (tag := tag_for_keyword(word)) is not None]
    try:
        dataset = read_dataset(
            stream, implicit_vr, little_endian, stop_when=_after_pixels, specific_tags=tags
        )
    except Exception:  # struct, OS, Value, Recursion ... errors all mean one thing
        raise Refusal("is a DICOM file with a damaged header; copy or export the file again") from None
    return Header(
        dataset=dataset,
        transfer_syntax=syntax,
        implicit_vr=bool(dataset.original_encoding[0]),
        little_endian=little_endian,
    )


def has_pixel_tag(data: bytes) -> bool:
    """Tell whether the bytes contain the tag of Pixel Data, readable or not."""
    return b"\xe0\x7f\x10\x00" in data or b"\x7f\xe0\x00\x10" in data


class _CountedReader(BytesIO):
    """Every element and item costs one read at least, so a limit on reads bounds both time and memory."""

    reads = 0

    def read(self, size: int | None = -1, /) -> bytes:
        self.reads += 1
        if self.reads > MAX_READS:
            raise OSError
        return super().read(size)


def _after_pixels(tag: BaseTag, vr: str | None, length: int) -> bool:  # noqa: ARG001 - pydicom's signature
    return int(tag) > _PIXEL_DATA


def _file_meta(data: bytes) -> tuple[str | None, int]:
    """Find the transfer syntax and where the data set begins.

    Done here because pydicom's own reader inflates a deflated data set without a limit.
    """
    position = 132 if data[128:132] == b"DICM" else 0
    syntax = None
    while data[position : position + 2] == b"\x02\x00" and data[position + 4 : position + 6].isalpha():
        long = data[position + 4 : position + 6] in _LONG_VRS
        start = position + (12 if long else 8)
        length = int.from_bytes(data[position + (8 if long else 6) : start], "little")
        if data[position + 2 : position + 4] == b"\x10\x00":
            syntax = data[start : start + min(length, 64)].rstrip(b"\0 ").decode("ascii", "replace") or None
        position = start + length
    return syntax, position


def _encoding(syntax: str | None, first: bytes) -> tuple[bool, bool]:
    """Return (implicit VR, little endian), by the transfer syntax or else by the first element."""
    if syntax is not None:
        return syntax == "1.2.840.10008.1.2", syntax != "1.2.840.10008.1.2.2"
    explicit = first[4:6].isalpha() and first[4:6].isupper()
    # A big-endian group 0008 read as little-endian is 2048; only explicit VR comes in big-endian order.
    return not explicit, not (explicit and first[0] == 0)


def _inflated(body: memoryview) -> bytes:
    inflater = zlib.decompressobj(-zlib.MAX_WBITS)
    try:
        data = inflater.decompress(body, MAX_FILE_BYTES)
    except zlib.error:
        raise Refusal("is a deflated DICOM file that is damaged; copy or export the file again") from None
    if inflater.unconsumed_tail:
        raise Refusal(
            f"inflates to more than {MAX_FILE_BYTES // 2**20} MB, far more than a periapical radiograph"
            " needs: export the single image uncompressed"
        )
    if not inflater.eof:
        raise Refusal("is a deflated DICOM file that is cut short; copy or export the file again")
    return data
