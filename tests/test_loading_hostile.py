"""Damaged and hostile files: each ends in one sentence, in bounded memory, never in a traceback."""

from __future__ import annotations

import io
import os
import struct
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pydicom
import pytest
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.uid import UID

from curvometer.loading import LoadError, codestream, decoding, dicom_header, load_radiograph, source

EXPLICIT, DEFLATED, RLE = "1.2.840.10008.1.2.1", "1.2.840.10008.1.2.1.99", "1.2.840.10008.1.2.5"
BASELINE, LOSSLESS, JPEG_LS, JPEG_2000 = (f"1.2.840.10008.1.2.4.{n}" for n in (50, 70, 80, 90))
ROWS, COLUMNS = 40, 48


def pixels(dtype: type = np.uint8) -> np.ndarray:
    return np.random.default_rng(5).integers(0, np.iinfo(dtype).max, (ROWS, COLUMNS)).astype(dtype)


def meta(syntax: str) -> bytes:
    """Preamble and a meta header with the transfer syntax only."""
    uid = syntax.encode() + b"\0" * (len(syntax) % 2)
    return b"\0" * 128 + b"DICM" + b"\x02\0\x10\0UI" + struct.pack("<H", len(uid)) + uid


def element(tag: int, vr: bytes, value: bytes, length: int | None = None) -> bytes:
    head = struct.pack("<HH", tag >> 16, tag & 0xFFFF) + vr
    size = len(value) if length is None else length
    if vr in (b"OB", b"OW", b"SQ", b"UN"):
        return head + b"\0\0" + struct.pack("<I", size) + value
    return head + struct.pack("<H", size) + value


def dicom(
    data: bytes | None = None,
    *,
    syntax: str = EXPLICIT,
    rows: int = ROWS,
    columns: int = COLUMNS,
    allocated: int = 8,
    stored: int | None = None,
    samples: int = 1,
    photometric: bytes = b"MONOCHROME2 ",
    frames: bytes | None = None,
    before: bytes = b"",
    declared: int | None = None,
) -> bytes:
    """A DICOM file byte by byte, so that it may lie about anything."""
    stored = allocated if stored is None else stored
    data = pixels().tobytes() if data is None else data

    def short(tag: int, value: int) -> bytes:
        return element(tag, b"US", struct.pack("<H", value & 0xFFFF))

    undefined = declared is None and syntax not in (EXPLICIT, DEFLATED)
    body = (
        before
        + short(0x00280002, samples)
        + element(0x00280004, b"CS", photometric)
        + (element(0x00280008, b"IS", frames) if frames is not None else b"")
        + short(0x00280010, rows)
        + short(0x00280011, columns)
        + short(0x00280100, allocated)
        + short(0x00280101, stored)
        + short(0x00280102, stored - 1)
        + short(0x00280103, 0)
        + element(0x7FE00010, b"OB" if allocated == 8 else b"OW", data, 0xFFFFFFFF if undefined else declared)
        + (b"\xfe\xff\xdd\xe0\0\0\0\0" if undefined else b"")
    )
    return meta(syntax) + body


def packed(frame: bytes) -> bytes:
    return encapsulate([frame + b"\0" * (len(frame) % 2)])


def coded(syntax: str) -> bytes:
    """A good frame of the test picture, coded by pydicom's encoders or by Pillow."""
    from PIL import Image  # noqa: PLC0415

    if syntax == BASELINE:
        stream = io.BytesIO()
        Image.fromarray(pixels()).save(stream, "JPEG", quality=95)
        return stream.getvalue()
    ds = Dataset()
    ds.file_meta = FileMetaDataset()
    ds.file_meta.TransferSyntaxUID = UID(EXPLICIT)
    ds.Rows, ds.Columns, ds.SamplesPerPixel = ROWS, COLUMNS, 1
    ds.BitsAllocated = ds.BitsStored = 8
    ds.HighBit, ds.PixelRepresentation, ds.PhotometricInterpretation = 7, 0, "MONOCHROME2"
    ds.SOPInstanceUID = ds.SOPClassUID = "1.2.3"
    ds.PixelData = pixels().tobytes()
    ds["PixelData"].VR = "OB"
    ds.compress(syntax, generate_instance_uid=False)
    return b"".join(list(pydicom.encaps.generate_fragments(ds.PixelData))[1:])


def picture(kind: str, image: object = None, **options: object) -> bytes:
    from PIL import Image  # noqa: PLC0415

    stream = io.BytesIO()
    (image or Image.fromarray(pixels())).save(stream, kind, **options)  # type: ignore[attr-defined]
    return stream.getvalue()


def nested(depth: int) -> bytes:
    start = element(0x00081140, b"SQ", b"", 0xFFFFFFFF) + b"\xfe\xff\x00\xe0\xff\xff\xff\xff"
    return start * depth + b"\xfe\xff\x0d\xe0\0\0\0\0\xfe\xff\xdd\xe0\0\0\0\0" * depth


def deflated(data: bytes) -> bytes:
    squeezer = zlib.compressobj(9, zlib.DEFLATED, -zlib.MAX_WBITS)
    return squeezer.compress(data) + squeezer.flush()


def deflate_bomb() -> bytes:
    squeezer = zlib.compressobj(9, zlib.DEFLATED, -zlib.MAX_WBITS)
    zeros = bytes(2**20)
    parts = [squeezer.compress(zeros) for _ in range(700)]
    return meta(DEFLATED) + b"".join(parts) + squeezer.flush()


def resized_jpeg(frame: bytes, rows: int, columns: int, marker: int = 0xC0) -> bytes:
    """Write another size into the start-of-frame segment."""
    at = frame.index(bytes([0xFF, marker])) + 5
    return frame[:at] + struct.pack(">HH", rows, columns) + frame[at + 4 :]


def resized_jpeg_2000(frame: bytes, rows: int, columns: int) -> bytes:
    at = frame.index(b"\xff\x4f\xff\x51") + 8
    return frame[:at] + struct.pack(">II", columns, rows) + frame[at + 8 :]


def jpeg_lossless_header(rows: int, columns: int) -> bytes:
    return b"\xff\xd8\xff\xc3\x00\x0b\x08" + struct.pack(">HH", rows, columns) + b"\x01\x01\x11\x00"


JPEG_SCAN = b"\xff\xda\x00\x08\x01\x01\x00\x01\x00\x00" + bytes(50) + b"\xff\xd9"


def png(rows: int, columns: int, raw: bytes, *, bits: int = 8) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", columns, rows, bits, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(raw)) + chunk(b"IEND", b"")
    )


def rle(segment: bytes) -> bytes:
    return struct.pack("<16I", 1, 64, *[0] * 14) + segment


def float_tiff(value: float) -> bytes:
    from PIL import Image  # noqa: PLC0415

    values = np.ones((ROWS, COLUMNS), dtype=np.float32)
    values[3, 4] = value
    return picture("TIFF", Image.fromarray(values))


def pages(kind: str) -> bytes:
    from PIL import Image  # noqa: PLC0415

    return picture(kind, save_all=True, append_images=[Image.fromarray(255 - pixels())])


def coloured(kind: str, mode: str = "RGB") -> bytes:
    from PIL import Image  # noqa: PLC0415

    colour = np.dstack([pixels(), 255 - pixels(), pixels()])
    return picture(kind, Image.fromarray(colour).convert(mode))


def one_bit() -> bytes:
    from PIL import Image  # noqa: PLC0415

    return picture("PNG", Image.fromarray(pixels()).convert("1"))


def wide_tiff() -> bytes:
    from PIL import Image  # noqa: PLC0415

    values = np.full((ROWS, COLUMNS), 70000, dtype=np.int32)
    return picture("TIFF", Image.fromarray(values))


def half(data: bytes) -> bytes:
    return data[: len(data) // 2]


HOSTILE: dict[str, tuple[Callable[[], bytes], str]] = {
    "empty file": (lambda: b"", "empty"),
    "text file": (lambda: b"I am a radiograph, believe me.\n" * 9, "not an image"),
    "zeros": (lambda: bytes(4096), "not an image"),
    "gif": (lambda: picture("GIF"), "not an image"),
    "zip archive": (lambda: b"PK\x03\x04" + bytes(300), "not an image"),
    "dicom prefix only": (lambda: bytes(128) + b"DICM", "without an image"),
    "noise behind the dicom prefix": (
        lambda: bytes(128) + b"DICM" + np.random.default_rng(2).bytes(5000),
        "DICOM file",
    ),
    "dicom of 65535 x 65535": (lambda: dicom(rows=65535, columns=65535), "million"),
    "dicom of no rows": (lambda: dicom(rows=0), "no rows"),
    "dicom of -1 rows": (lambda: dicom(rows=-1), "cut short"),
    "rows as a negative number": (
        lambda: dicom().replace(b"\x28\0\x10\0US\x02\0\x28\0", b"\x28\0\x10\0SS\x02\0\xff\xff"),
        "-1 rows",
    ),
    "40 bits stored": (lambda: dicom(stored=40), "40 stored bits"),
    "40 bits allocated": (lambda: dicom(allocated=40, stored=8), "40 bits"),
    "no samples": (lambda: dicom(samples=0), "0 samples"),
    "two thousand million frames": (lambda: dicom(frames=b"2000000000"), "frames"),
    "frames not a number": (lambda: dicom(frames=b"many"), "frames"),
    "multi-frame": (lambda: dicom(pixels().tobytes() * 2, frames=b"2 "), "2 frames"),
    "colour dicom": (
        lambda: dicom(np.random.default_rng(1).bytes(3 * ROWS * COLUMNS), samples=3, photometric=b"RGB "),
        "colour",
    ),
    "native pixels cut in half": (lambda: half(dicom()), "cut short"),
    "native pixels declared short": (lambda: dicom(pixels().tobytes()[:100]), "cut short"),
    "header cut": (lambda: dicom()[:170], "without an image"),
    "no pixel data": (lambda: dicom()[: dicom().index(b"\xe0\x7f\x10\0")], "without an image"),
    "element of 4 GB": (
        lambda: dicom(before=element(0x00204000, b"UN", b"", 0xFFFFFFF0)),
        "DICOM file|cut short",
    ),
    "pixel data of 4 GB": (lambda: dicom(declared=0xFFFFFFF0, rows=60000, columns=1000), "cut short"),
    "5000 nested sequences": (lambda: dicom(before=nested(5000)), "damaged header"),
    "a million empty items": (
        lambda: dicom(
            before=element(0x00081140, b"SQ", b"\xfe\xff\x00\xe0\0\0\0\0" * 10**6, 0xFFFFFFFF)
            + b"\xfe\xff\xdd\xe0\0\0\0\0"
        ),
        "damaged header",
    ),
    "a million elements": (lambda: dicom(before=element(0x00081030, b"LO", b"") * 10**6), "damaged header"),
    "deflate bomb": (deflate_bomb, "inflates to more"),
    "deflate cut": (lambda: half(meta(DEFLATED) + deflated(dicom()[158:])), "cut short"),
    "deflate of noise": (lambda: meta(DEFLATED) + b"\xff" * 500, "damaged"),
    "unknown compression": (lambda: dicom(packed(b"x" * 99), syntax="1.2.840.10008.1.2.4.100"), "compressed"),
    "no stream in the fragment": (lambda: dicom(packed(b"x" * 99), syntax=BASELINE), "no known kind"),
    "no fragments": (lambda: dicom(b"", syntax=BASELINE), "cut short|damaged"),
    "jpeg larger than declared": (
        lambda: dicom(packed(resized_jpeg(coded(BASELINE), 30000, 30000)), syntax=BASELINE),
        "must agree",
    ),
    "jpeg larger, declared so": (
        lambda: dicom(
            packed(resized_jpeg(coded(BASELINE), 30000, 30000)), syntax=BASELINE, rows=30000, columns=30000
        ),
        "million",
    ),
    "jpeg cut": (lambda: dicom(packed(half(coded(BASELINE))), syntax=BASELINE), "cut short"),
    "jpeg lossless of 60000 x 60000": (
        lambda: dicom(packed(jpeg_lossless_header(60000, 60000) + JPEG_SCAN), syntax=LOSSLESS),
        "must agree",
    ),
    "jpeg lossless cut": (
        lambda: dicom(packed(jpeg_lossless_header(ROWS, COLUMNS) + bytes(50)), syntax=LOSSLESS),
        "cut short",
    ),
    "jpeg-ls of another size": (
        lambda: dicom(packed(resized_jpeg(coded(JPEG_LS), 999, 999, 0xF7)), syntax=JPEG_LS),
        "must agree",
    ),
    "jpeg-ls cut": (lambda: dicom(packed(half(coded(JPEG_LS))), syntax=JPEG_LS), "cut short"),
    "jpeg 2000 of another size": (
        lambda: dicom(packed(resized_jpeg_2000(coded(JPEG_2000), 50000, 50000)), syntax=JPEG_2000),
        "must agree",
    ),
    "jpeg 2000 cut": (lambda: dicom(packed(half(coded(JPEG_2000))), syntax=JPEG_2000), "cut short"),
    "jpeg in three colours, declared grey": (
        lambda: dicom(packed(coloured("JPEG")), syntax=BASELINE),
        "must agree",
    ),
    "jpeg 2000 with noise in its data": (
        lambda: dicom(packed(coded(JPEG_2000)[:120] + b"\x5a" * 900 + b"\xff\xd9"), syntax=JPEG_2000),
        "damaged|cut short",
    ),
    "compressed data without an end": (
        lambda: half(dicom(packed(coded(BASELINE)), syntax=BASELINE)),
        "cut short",
    ),
    "rle with too many segments": (
        lambda: dicom(packed(struct.pack("<16I", 9, *[64] * 15) + bytes(64)), syntax=RLE),
        "9 RLE segments",
    ),
    "rle too short": (lambda: dicom(packed(rle(b"\x81\x07" * 3)), syntax=RLE), "cut short"),
    "rle without a header": (lambda: dicom(packed(b"\x01\0\0\0"), syntax=RLE), "cut short"),
    "float tiff with NaN": (lambda: float_tiff(np.nan), "not finite"),
    "float tiff with infinity": (lambda: float_tiff(np.inf), "not finite"),
    "32-bit tiff": (wide_tiff, "32 bits"),
    "png bomb": (lambda: png(30000, 30000, bytes(1000)), "million"),
    "png of 2e9 x 2e9": (lambda: png(2**31 - 1, 2**31 - 1, b""), "million|damaged"),
    "png without enough data": (lambda: png(ROWS, COLUMNS, bytes(100)), "cut short"),
    "png cut": (lambda: half(picture("PNG")), "cut short"),
    "png with a broken checksum": (
        lambda: picture("PNG").replace(b"IDAT", b"IDAT\0", 1)[:-1],
        "cut short|damaged",
    ),
    "png in black and white": (one_bit, "black and white"),
    "png too small": (lambda: png(4, 4, bytes(20)), "8 x 8"),
    "animated png": (lambda: pages("PNG"), "several pictures"),
    "jpeg picture cut": (lambda: half(picture("JPEG")), "cut short"),
    "jpeg picture without its end": (lambda: picture("JPEG")[:-2], "cut short"),
    "tiff cut": (lambda: half(picture("TIFF")), "cut short"),
    "tiff header only": (lambda: b"II*\0\x08\0\0\0", "cut short"),
    "tiff whose directory points to itself": (
        lambda: b"II*\0\x08\0\0\0\0\0\x08\0\0\0",
        "cut short|damaged",
    ),
    "tiff of two pages": (lambda: pages("TIFF"), "several pictures"),
    "compressed tiff cut": (lambda: half(picture("TIFF", compression="tiff_lzw")), "cut short"),
    "bmp cut": (lambda: half(picture("BMP")), "cut short"),
    "colour png": (lambda: coloured("PNG"), "colour"),
    "colour jpeg": (lambda: coloured("JPEG"), "colour"),
    "cmyk tiff": (lambda: coloured("TIFF", "CMYK"), "colour"),
    "colour palette png": (lambda: coloured("PNG", "P"), "colour"),
    "text disguised as a png": (lambda: b"\x89PNG\r\n\x1a\nI am a picture" * 3, "cut short"),
}


@pytest.fixture(scope="module")
def hostile_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hostile")
    for name, (build, _) in HOSTILE.items():
        (folder / name).write_bytes(build())
    return folder


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_file_ends_in_one_sentence(hostile_folder: Path, name: str) -> None:
    with pytest.raises(LoadError, match=HOSTILE[name][1]) as caught:
        load_radiograph(hostile_folder / name)
    text = str(caught.value)
    assert text.startswith(name)
    assert "\n" not in text
    assert len(text) < 260
    assert ":" in text or ";" in text  # what to do
    assert caught.value.__suppress_context__ or caught.value.__context__ is None


def test_there_are_enough_hostile_files() -> None:
    assert len(HOSTILE) >= 30


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="an address-space limit needs Linux")
def test_hostile_files_stay_within_bounded_memory(hostile_folder: Path) -> None:
    """All of them in one process that may use 3 GB of addresses: the resident peak stays below 900 MB.

    The largest is the deflate bomb, inflated to the limit of 256 MB and refused; without a limit it needs 700
    MB for the data alone, and the JPEG-Lossless header of 60000 x 60000 needs 3.6 GB.
    """
    code = (
        "import resource, sys, pathlib\n"
        "resource.setrlimit(resource.RLIMIT_AS, (3 << 30, 3 << 30))\n"
        "from curvometer.loading import LoadError, load_radiograph\n"
        "for path in sorted(pathlib.Path(sys.argv[1]).iterdir()):\n"
        "    try:\n"
        "        load_radiograph(path)\n"
        "    except LoadError as error:\n"
        "        assert 'more memory' not in str(error), error\n"
        # Not getrusage: its peak begins with that of the process that started this one.
        "peak = pathlib.Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0]\n"
        "print(int(peak) // 1024)\n"
    )
    environment = {
        **os.environ,
        "PYTHONPATH": str(Path(source.__file__).parents[2]),
        "OPENBLAS_NUM_THREADS": "1",
    }
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code, str(hostile_folder)],
        capture_output=True,
        text=True,
        check=False,
        env=environment,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""  # no library speaks past us
    assert int(done.stdout) < 900


def test_harmless_excess_is_let_pass(tmp_path: Path) -> None:
    """A thousand bytes too many, RLE longer than its plane, and rubbish behind the pixel data do no harm."""
    native = dicom(pixels().tobytes() + bytes(1000))
    literal = b"".join(b"\x7f" + pixels().tobytes()[i : i + 128] for i in range(0, ROWS * COLUMNS, 128))
    long_rle = dicom(packed(rle(literal + b"\x81\x07" * 5000)), syntax=RLE)
    rubbish = dicom() + element(0xFFFCFFFC, b"OB", bytes(500)) + b"\xff" * 33
    for index, data in enumerate((native, long_rle, rubbish)):
        (tmp_path / f"{index}.dcm").write_bytes(data)
        np.testing.assert_array_equal(load_radiograph(tmp_path / f"{index}.dcm").pixels, pixels())


def test_rle_cannot_grow_beyond_its_plane() -> None:
    """Two bytes decode to 128: the segment is cut where the plane is full, before anything is decoded."""
    frame = rle(b"\x81\x07" * 10**5)
    trimmed = codestream.trim_rle(frame, pixels=1280, segments=1)
    assert len(trimmed) == 64 + 20
    assert trimmed[:8] == frame[:8]


def test_good_twins_of_the_hostile_files_load(tmp_path: Path) -> None:
    """The builders make good files, too, so that the refusals above are for the reason named."""
    good = {
        "native": dicom(),
        "jpeg-ls": dicom(packed(coded(JPEG_LS)), syntax=JPEG_LS),
        "jpeg 2000": dicom(packed(coded(JPEG_2000)), syntax=JPEG_2000),
        "rle": dicom(packed(coded(RLE)), syntax=RLE),
        "deflated": meta(DEFLATED) + deflated(dicom()[len(meta(EXPLICIT)) :]),
        "nested": dicom(before=nested(20)),
        "png": png(ROWS, COLUMNS, b"".join(b"\0" + row.tobytes() for row in pixels())),
    }
    for name, data in good.items():
        (tmp_path / name).write_bytes(data)
        np.testing.assert_array_equal(load_radiograph(tmp_path / name).pixels, pixels(), err_msg=name)
    (tmp_path / "jpeg").write_bytes(dicom(packed(coded(BASELINE)), syntax=BASELINE))
    difference = load_radiograph(tmp_path / "jpeg").pixels.astype(int) - pixels()
    assert np.abs(difference).mean() < 4.0


def test_missing_folder_and_unreadable(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(LoadError, match=r"^gone\.dcm does not exist"):
        load_radiograph(tmp_path / "gone.dcm")
    with pytest.raises(LoadError, match="is a folder"):
        load_radiograph(tmp_path)
    with pytest.raises(LoadError, match="cannot be opened"):
        load_radiograph("a\0b.dcm")
    with pytest.raises(LoadError, match="cannot be opened"):
        load_radiograph(None)  # type: ignore[arg-type]
    path = tmp_path / "locked.dcm"
    path.write_bytes(dicom())

    def denied(*_: object, **__: object) -> None:
        raise PermissionError

    monkeypatch.setattr(Path, "open", denied)  # a mode of 000 does not stop root
    with pytest.raises(LoadError, match="may not be read"):
        load_radiograph(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.dcm")
    with pytest.raises(LoadError, match="not a regular file"):
        load_radiograph(tmp_path / "pipe.dcm")


def test_file_size_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(source, "MAX_FILE_BYTES", 2**20)
    (tmp_path / "large.dcm").write_bytes(dicom() + bytes(2**20))
    with pytest.raises(LoadError, match="larger than 1 MB"):
        load_radiograph(tmp_path / "large.dcm")


def test_strange_names_stay_on_one_line(tmp_path: Path) -> None:
    path = tmp_path / ("two\nlines" + "x" * 120)
    path.write_bytes(b"")
    with pytest.raises(LoadError) as caught:
        load_radiograph(path)
    assert str(caught.value).startswith("two?lines")
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 200


class Panic(BaseException):
    """What a decoder written in Rust raises: not an `Exception`."""


@pytest.mark.parametrize(
    ("raised", "seen"),
    [
        (Panic, LoadError),
        (RecursionError, LoadError),
        (MemoryError, LoadError),
        (KeyboardInterrupt, KeyboardInterrupt),
        (SystemExit, SystemExit),
    ],
)
def test_whatever_a_decoder_raises(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, raised: type, seen: type
) -> None:
    def explode(*_: object, **__: object) -> None:
        raise raised

    monkeypatch.setattr("pydicom.pixels.utils.pixel_array", explode)
    (tmp_path / "image.dcm").write_bytes(dicom())
    with pytest.raises(seen):
        load_radiograph(tmp_path / "image.dcm")


@pytest.mark.parametrize(
    "script",
    [
        "import os; os.abort()",
        "raise SystemExit(3)",
        "import time; time.sleep(60)",
        "print('not an array')",
        "import sys, numpy; numpy.save(sys.stdout.buffer, numpy.zeros((3, 3), dtype=numpy.uint8))",
        "import sys, numpy; numpy.save(sys.stdout.buffer, numpy.full((40, 48), 0.5))",
    ],
)
def test_decoder_of_its_own_process_may_die(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str
) -> None:
    """JPEG Lossless is decoded apart: its decoder was seen to abort the process on a damaged stream."""
    stand_in = tmp_path / "stand_in.py"
    limit = "import resource; resource.setrlimit(resource.RLIMIT_CORE, (0, 0))\n"
    stand_in.write_text((limit if "abort" in script and os.name == "posix" else "") + script)
    monkeypatch.setattr(decoding, "_SCRIPT", stand_in)
    monkeypatch.setattr(decoding, "TIMEOUT_S", 2.0)
    frame = jpeg_lossless_header(ROWS, COLUMNS) + JPEG_SCAN
    (tmp_path / "image.dcm").write_bytes(dicom(packed(frame), syntax=LOSSLESS))
    with pytest.raises(LoadError, match="export"):
        load_radiograph(tmp_path / "image.dcm")


def test_random_damage_never_gets_past_the_one_exception(tmp_path: Path) -> None:
    """Good files with bytes changed, dropped and put in: a radiograph or `LoadError`, nothing else."""
    good = [
        dicom(),
        dicom(packed(coded(JPEG_LS)), syntax=JPEG_LS),
        dicom(packed(coded(JPEG_2000)), syntax=JPEG_2000),
        dicom(packed(coded(RLE)), syntax=RLE),
        dicom(packed(coded(BASELINE)), syntax=BASELINE),
        picture("PNG"),
        picture("TIFF"),
        picture("JPEG"),
        picture("BMP"),
    ]
    rng = np.random.default_rng(11)
    path = tmp_path / "image"
    outcomes = {"loaded": 0, "refused": 0}
    for index in range(600):
        data = bytearray(good[index % len(good)])
        for _ in range(rng.choice([1, 2, 5])):
            at = int(rng.integers(0, min(len(data), 700)))
            data[at : at + int(rng.integers(0, 3))] = rng.bytes(int(rng.integers(0, 3)))
        path.write_bytes(data)
        try:
            load_radiograph(path)
            outcomes["loaded"] += 1
        except LoadError:
            outcomes["refused"] += 1
    assert min(outcomes.values()) > 50


def test_only_attributes_of_the_image_are_read() -> None:
    """The list of attributes names no person, date, place or identifier."""
    from pydicom.datadict import dictionary_VR  # noqa: PLC0415

    assert not {dictionary_VR(word) for word in dicom_header._KEYWORDS} & {
        "PN",
        "DA",
        "TM",
        "DT",
        "LO",
        "SH",
        "UI",
    }
