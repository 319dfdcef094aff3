"""The one file that a student gets: the sheet and the images; in practice also the key.

It is a ZIP archive of ``exercise.json``, ``images/...`` and, for practice only, ``key.json``. Every entry has the same
date, the images are plain PNG without any metadata: nothing in it says when, where or from what it was made.
"""

from __future__ import annotations

import hashlib
import io
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.files import KEY_FILE, SHEET_FILE, document_bytes, read_document
from curvometer.assessment.key import ExerciseKey
from curvometer.assessment.sheet import ExerciseSheet, Purpose
from curvometer.loading import ImageFile, radiograph_of
from curvometer.radiograph import Radiograph
from curvometer.record.reading import FileKind, decoded
from curvometer.saving import PathLike

LARGEST_HAND_OUT_BYTES = 512 * 2**20
"""Of the file, and of everything in it unpacked: a hundred images of 2 million pixels have some 300 MB."""
LARGEST_IMAGE_BYTES = 64 * 2**20
MOST_ENTRIES = 1002
"""A thousand images, their sheet and their key."""

SHEET_NAME, KEY_NAME, IMAGE_FOLDER = "exercise.json", "key.json", "images/"
_DATE = (1980, 1, 1, 0, 0, 0)  # the first that a ZIP can tell
_ADVICE = "use the hand-out as the teacher gave it"


@dataclass(frozen=True, kw_only=True)
class HandOut:
    """An exercise as a student has it in hands.

    Attributes
    ----------
    sheet
        What is asked on which image.
    images
        PNG bytes by image id, in the sheet's order; their hashes are those of the sheet.
    key
        The answers; None unless the exercise is for practice.
    """

    sheet: ExerciseSheet
    images: Mapping[str, bytes] = field(repr=False)
    key: ExerciseKey | None = None

    def radiograph(self, image_id: str) -> Radiograph:
        """Load one image.

        Raises
        ------
        AssessmentError
            When there is no image of that name.
        LoadError
            When it is no radiograph.
        """
        image = self.sheet.image(image_id)
        if image is None:
            raise AssessmentError(f"the exercise {self.sheet.exercise} has no image {image_id!r}")
        return radiograph_of(ImageFile(name=image.file, data=self.images[image_id]))


def open_hand_out(path: PathLike) -> HandOut:
    """Open a hand-out; nothing is written to the disk.

    Raises
    ------
    AssessmentError
        When it is missing, no hand-out, too large, damaged, or an image is not the one that the sheet names.
    """
    path = Path(path)
    return hand_out_of(_bounded_bytes(path), path)


def hand_out_of(content: bytes, path: Path) -> HandOut:
    """Read a hand-out that is already in memory; `path` names it in complaints. See `open_hand_out`."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return _read(archive, path)
    except AssessmentError:
        raise
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, NotImplementedError) as error:
        raise AssessmentError(f"{path} is no whole hand-out: {_ADVICE}, or copy it again") from error


def hand_out_bytes(hand_out: HandOut) -> bytes:
    """Write a hand-out: the same content gives the same bytes.

    Raises
    ------
    AssessmentError
        When a key would go into an exercise that is to be marked.
    """
    _check_key(hand_out.sheet, hand_out.key, "this exercise")
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        _add(archive, SHEET_NAME, document_bytes(hand_out.sheet), pack=True)
        if hand_out.key is not None:
            _add(archive, KEY_NAME, document_bytes(hand_out.key), pack=True)
        for image in hand_out.sheet.images:
            _add(archive, IMAGE_FOLDER + image.file, hand_out.images[image.id], pack=False)
    return target.getvalue()


def _add(archive: zipfile.ZipFile, name: str, content: bytes, *, pack: bool) -> None:
    entry = zipfile.ZipInfo(name, date_time=_DATE)
    entry.compress_type = zipfile.ZIP_DEFLATED if pack else zipfile.ZIP_STORED
    entry.create_system, entry.external_attr = 3, 0o644 << 16  # the same from every machine
    archive.writestr(entry, content)


def _bounded_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_HAND_OUT_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or type(error).__name__).lower()
        raise AssessmentError(f"the hand-out {path} cannot be read ({reason}): check its name") from error
    if len(content) > LARGEST_HAND_OUT_BYTES:
        raise AssessmentError(
            f"{path} is larger than any hand-out ({LARGEST_HAND_OUT_BYTES // 2**20} MiB): {_ADVICE}"
        )
    return content


def _read(archive: zipfile.ZipFile, path: Path) -> HandOut:
    entries = _entries(archive, path)
    sheet = read_document(
        _text(archive, entries, SHEET_NAME, path, SHEET_FILE), path / SHEET_NAME, ExerciseSheet, SHEET_FILE
    )
    key = None
    if KEY_NAME in entries:
        text = _text(archive, entries, KEY_NAME, path, KEY_FILE)
        key = read_document(text, path / KEY_NAME, ExerciseKey, KEY_FILE)
    _check_key(sheet, key, str(path))
    _check_names(sheet, entries, path)
    images = {
        image.id: _content(archive, entries[IMAGE_FOLDER + image.file], path, LARGEST_IMAGE_BYTES)
        for image in sheet.images
    }
    for image in sheet.images:
        if hashlib.sha256(images[image.id]).hexdigest() != image.sha256:
            raise AssessmentError(f"{path} holds another image {image.file} than its sheet says: {_ADVICE}")
    return HandOut(sheet=sheet, images=MappingProxyType(images), key=key)


def _entries(archive: zipfile.ZipFile, path: Path) -> dict[str, zipfile.ZipInfo]:
    """Entries by name, refused before anything is unpacked when there are too many, or too much is in them."""
    found = archive.infolist()
    names = {entry.filename for entry in found}
    if len(found) > MOST_ENTRIES or len(names) < len(found):
        raise AssessmentError(f"{path} holds too many files, or one of them twice: {_ADVICE}")
    if any(entry.flag_bits & 0x1 for entry in found):
        raise AssessmentError(f"{path} is locked with a password: ask the teacher for an open one")
    if sum(entry.file_size for entry in found) > LARGEST_HAND_OUT_BYTES:
        size = LARGEST_HAND_OUT_BYTES // 2**20
        raise AssessmentError(f"{path} would be larger than any hand-out ({size} MiB) unpacked: {_ADVICE}")
    if SHEET_NAME not in names:
        raise AssessmentError(
            f"{path} is no hand-out, it has no {SHEET_NAME}: give the .handout.zip that the teacher gave"
        )
    return {entry.filename: entry for entry in found}


def _check_names(sheet: ExerciseSheet, entries: Mapping[str, zipfile.ZipInfo], path: Path) -> None:
    """Nothing but the sheet, the key and the images that the sheet names."""
    expected = {IMAGE_FOLDER + image.file for image in sheet.images}
    missing = sorted(expected - set(entries))
    if missing:
        raise AssessmentError(f"{path} lacks the image {missing[0]}: {_ADVICE}")
    strange = sorted(set(entries) - expected - {SHEET_NAME, KEY_NAME})
    if strange:
        raise AssessmentError(f"{path} holds {strange[0]!r:.80}, which its sheet does not name: {_ADVICE}")


def _check_key(sheet: ExerciseSheet, key: ExerciseKey | None, told: str) -> None:
    if key is None:
        return
    if sheet.purpose is not Purpose.PRACTICE:
        raise AssessmentError(f"{told} is to be marked and holds its own answers: build it again")
    if (key.exercise, key.edition) != (sheet.exercise, sheet.edition) or [i.id for i in key.images] != [
        i.id for i in sheet.images
    ]:
        raise AssessmentError(f"{told} holds the answers of another exercise: build it again")


def _text(
    archive: zipfile.ZipFile, entries: Mapping[str, zipfile.ZipInfo], name: str, path: Path, kind: FileKind
) -> str:
    return decoded(_content(archive, entries[name], path, kind.largest_bytes), path / name, kind)


def _content(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, path: Path, largest_bytes: int) -> bytes:
    """Unpack one entry, never more than allowed: what the archive says of its size may be a lie."""
    if entry.file_size <= largest_bytes:
        with archive.open(entry) as stream:
            content = stream.read(largest_bytes + 1)
        if len(content) <= largest_bytes:
            return content
    size = largest_bytes // 2**20
    raise AssessmentError(f"{path} holds {entry.filename!r:.80} of more than {size} MiB: {_ADVICE}")
