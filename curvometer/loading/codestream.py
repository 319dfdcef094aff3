"""What a compressed frame says of itself, read before any decoder sees it.

A decoder allocates by the size in the stream, not by the size that the DICOM header declares, and some
decoders return half a picture without an error when the stream is cut. So both are checked here, on the
bytes.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from itertools import pairwise

from curvometer.loading.source import Refusal

JPEG, JPEG_LOSSLESS, JPEG_LS, JPEG_2000 = "JPEG", "JPEG Lossless", "JPEG-LS", "JPEG 2000"
_CUT = "is cut short: its compressed picture has no end; copy or export the file again"
_START_OF_IMAGE, _END_OF_IMAGE = b"\xff\xd8", b"\xff\xd9"
_SIZ = b"\xff\x4f\xff\x51"
# ISO/IEC 10918-1 table B.1: start-of-frame markers; C4, C8 and CC among them mean something else.
_START_OF_FRAME = frozenset({*range(0xC0, 0xD0), 0xF7} - {0xC4, 0xC8, 0xCC})
_LOSSLESS_FRAMES = frozenset({0xC3, 0xC7, 0xCB, 0xCF})


@dataclass(frozen=True, kw_only=True)
class FrameSize:
    """Size that a codestream declares: `kind` of compression, rows, columns, components, bits per sample."""

    kind: str
    rows: int
    columns: int
    components: int
    precision: int


def read_frame_size(frame: bytes) -> FrameSize:
    """Read the size from the SOF (JPEG, JPEG-LS) or SIZ (JPEG 2000) marker.

    Raises
    ------
    Refusal
        When there is no such marker or the stream has no end marker.
    """
    try:
        start = frame.find(_SIZ, 0, 4096)
        if start >= 0 and not frame.startswith(_START_OF_IMAGE):
            size = _jpeg_2000_size(frame, start)
            last_part = frame.rfind(b"\xff\x93")  # start of data, ISO/IEC 15444-1 A.4.3
        else:
            size = _jpeg_size(frame)
            last_part = frame.rfind(b"\xff\xda")  # start of scan
    except (struct.error, IndexError):
        raise Refusal(_CUT) from None
    # Inside coded data no marker can appear (byte or bit stuffing), so an end marker after the last start is
    # real.
    if frame.rfind(_END_OF_IMAGE) < max(last_part, 0):
        raise Refusal(_CUT)
    return size


def _jpeg_size(frame: bytes) -> FrameSize:
    if not frame.startswith(_START_OF_IMAGE):
        raise Refusal("holds a compressed picture of no known kind; copy or export the file again")
    position = 2
    while True:
        if frame[position] != 0xFF:
            raise Refusal("holds a damaged compressed picture; copy or export the file again")
        marker = frame[position + 1]
        if marker == 0xFF:  # a fill byte
            position += 1
        elif marker in _START_OF_FRAME:
            precision, rows, columns, components = struct.unpack_from(">BHHB", frame, position + 4)
            return FrameSize(
                kind=JPEG_LS if marker == 0xF7 else JPEG_LOSSLESS if marker in _LOSSLESS_FRAMES else JPEG,
                rows=rows,
                columns=columns,
                components=components,
                precision=precision,
            )
        elif marker == 0x01 or 0xD0 <= marker <= 0xD7:  # markers without a length
            position += 2
        else:
            position += 2 + struct.unpack_from(">H", frame, position + 2)[0]


def _jpeg_2000_size(frame: bytes, start: int) -> FrameSize:
    # ISO/IEC 15444-1 A.5.1: Lsiz, Rsiz, Xsiz, Ysiz, XOsiz, YOsiz, tile size and offset, Csiz, Ssiz of
    # component 0.
    x1, y1, x0, y0 = struct.unpack_from(">4I", frame, start + 8)
    components, bits = struct.unpack_from(">HB", frame, start + 40)
    return FrameSize(
        kind=JPEG_2000, rows=y1 - y0, columns=x1 - x0, components=components, precision=(bits & 0x7F) + 1
    )


def trim_rle(frame: bytes, *, pixels: int, segments: int) -> bytes:
    """Cut every RLE segment where it has filled its plane, so that decoding cannot grow beyond the image.

    Two bytes can decode to 128, so an unchecked segment grows 64-fold. Padding after a full segment is
    dropped.

    Parameters
    ----------
    frame
        RLE header of 64 bytes and segments, DICOM PS3.5 annex G.
    pixels
        Rows x columns: decoded bytes of each segment.
    segments
        Samples per pixel x bytes per sample.

    Raises
    ------
    Refusal
        When the number of segments is another or one is too short.
    """
    if len(frame) < 64:
        raise Refusal(_CUT)
    count, *offsets = struct.unpack_from("<16I", frame)
    if count != segments:
        raise Refusal(
            f"holds {count} RLE segments where its pixels need {segments}; copy or export the file again"
        )
    bounds = [*offsets[:count], len(frame)]
    parts = [_full_segment(frame[first:last], pixels) for first, last in pairwise(bounds)]
    starts = [64 + sum(len(part) for part in parts[:index]) for index in range(count)]
    header = struct.pack("<16I", count, *starts, *[0] * (15 - count))
    return header + b"".join(parts)


def _full_segment(segment: bytes, pixels: int) -> bytes:
    """Walk the packets of PS3.5 G.3.1 until `pixels` bytes would be decoded."""
    position = decoded = 0
    size = len(segment)
    while decoded < pixels:
        if position + 1 >= size:
            raise Refusal(_CUT)
        control = segment[position]
        if control < 128:
            position += control + 2
            decoded += control + 1
        elif control > 128:
            position += 2
            decoded += 257 - control
        else:
            position += 1
    if position > size:
        raise Refusal(_CUT)
    return segment[:position] + b"\x00" * (position % 2)
