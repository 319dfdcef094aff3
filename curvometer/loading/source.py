"""The bytes of one file, its kind by content, and the one exception that a bad file raises."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, field
from pathlib import Path

from curvometer.radiograph import CurvometerError

MAX_FILE_BYTES = 256 * 2**20
"""A larger file is no periapical radiograph: 64 million pixels of 16 bit are 128 MB (own limit)."""
MAX_PIXELS = 64_000_000
"""Rows x columns decoded at most; intra-oral images have about 2 million (own limit, no source)."""


class LoadError(CurvometerError):
    """An image file that cannot be used, told in one sentence that names it and says what to do."""


class Refusal(Exception):  # noqa: N818 - not an error yet: `load_radiograph` puts the file's name before it
    """Why a file is refused, as the rest of a sentence that begins with the file's name."""


@dataclass(frozen=True, kw_only=True)
class ImageFile:
    """A file in memory.

    Attributes
    ----------
    name
        Base name, printable, at most 80 characters.
    data
        All its bytes.
    """

    name: str
    data: bytes = field(repr=False)

    @property
    def sha256(self) -> str:
        """SHA-256 of the bytes, in hexadecimal."""
        return hashlib.sha256(self.data).hexdigest()


def read_file(path: str | os.PathLike[str]) -> ImageFile:
    """Read a regular file of bounded size.

    Raises
    ------
    LoadError
        When it is missing, not a file, not readable, empty or too large.
    """
    name = _printable_name(path)
    try:
        data = _bounded_bytes(Path(path))
    except Refusal as refusal:
        raise LoadError(f"{name} {refusal}") from None
    except FileNotFoundError:
        raise LoadError(f"{name} does not exist: check the path, or give another image file") from None
    except PermissionError:
        raise LoadError(f"{name} may not be read: give yourself permission, or copy the file") from None
    except (OSError, ValueError, TypeError):
        raise LoadError(f"{name} cannot be opened: give the path of an image file") from None
    return ImageFile(name=name, data=data)


def file_format(data: bytes) -> str | None:
    """Tell the kind of file by its first bytes: DICOM, PNG, TIFF, JPEG, BMP, or None."""
    # A DICOM preamble may hold a TIFF header, so the DICOM prefix is looked for first.
    if data[128:132] == b"DICM":
        return "DICOM"
    for magic, name in _MAGIC.items():
        if data.startswith(magic):
            return name
    # Without a preamble a data set begins with a low group: 0002 or 0008, or 0008 in big-endian order.
    if data[:2] in (b"\x02\x00", b"\x08\x00") and data[3:4] == b"\x00":
        return "DICOM"
    return "DICOM" if data[:3] == b"\x00\x08\x00" else None


_MAGIC = {
    b"\x89PNG\r\n\x1a\n": "PNG",
    b"\xff\xd8\xff": "JPEG",
    b"II*\x00": "TIFF",
    b"MM\x00*": "TIFF",
    b"BM": "BMP",
}


def _bounded_bytes(path: Path) -> bytes:
    if path.is_dir():
        raise Refusal("is a folder; one image file is needed: give a file in it")
    if path.exists() and not path.is_file():
        raise Refusal("is not a regular file; an image file is needed: copy the image into one")
    with path.open("rb") as stream:
        data = stream.read(MAX_FILE_BYTES + 1)
    if not data:
        raise Refusal("is empty; an image file is needed: copy or export the image again")
    if len(data) > MAX_FILE_BYTES:
        raise Refusal(
            f"is larger than {MAX_FILE_BYTES // 2**20} MB, far more than a periapical radiograph needs:"
            " export the single image"
        )
    return data


def _printable_name(path: object) -> str:
    try:
        name = Path(path).name or str(path)  # type: ignore[arg-type]
    except TypeError:
        name = "the path"
    name = "".join(c if c.isprintable() else "?" for c in name)
    return name if len(name) <= 80 else f"{name[:60]}...{name[-17:]}"
