"""Which files a class handed in, and who should have."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from curvometer.assessment.errors import AssessmentError
from curvometer.saving import PathLike

MOST_FILES = 20_000
"""Of a course; a folder with more is a wrong one, like a home folder."""
STUDENT_COLUMN = "student"

LARGEST_ROSTER_BYTES = 4 * 2**20
_ADVICE = "give a CSV in UTF-8 with one pseudonym a line, or with a column 'student'"
_PSEUDONYM = re.compile(r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$")


def submission_files(folder: PathLike, *, besides: Iterable[PathLike] = ()) -> tuple[Path, ...]:
    """Every file below a folder, by name; hidden ones are left out.

    Parameters
    ----------
    folder
        Where the submissions are; folders in it are read, too.
    besides
        Files and folders that are no submissions: keys, hand-outs, the report's own folder.

    Raises
    ------
    AssessmentError
        When the folder is missing, has no file, or so many that it cannot be meant.
    """
    folder = Path(folder)
    if not folder.is_dir():
        found = "is a file" if folder.exists() else "does not exist"
        raise AssessmentError(f"the folder {folder} {found}: give the folder with the students' submissions")
    apart = {Path(each).resolve() for each in besides}
    files = []
    for path in folder.rglob("*"):
        hidden = any(part.startswith(".") for part in path.relative_to(folder).parts)
        if hidden or not path.is_file() or apart & {path.resolve(), *path.resolve().parents}:
            continue
        files.append(path)
        if len(files) > MOST_FILES:
            raise AssessmentError(
                f"the folder {folder} holds more than {MOST_FILES} files: give the folder with the submissions only"
            )
    if not files:
        raise AssessmentError(
            f"the folder {folder} holds no file: put the students' submissions (JSON files) there"
        )
    return tuple(sorted(files, key=lambda path: path.relative_to(folder).as_posix()))


def read_roster(path: PathLike) -> tuple[str, ...]:
    """Read who should have handed in.

    Parameters
    ----------
    path
        A text in UTF-8: one pseudonym a line, or a table divided by commas, semicolons or tabs with a column ``student``,
        whose other columns are not read.

    Returns
    -------
    tuple of str
        Pseudonyms in their order.

    Raises
    ------
    AssessmentError
        When it cannot be read, names nobody, somebody twice, or a name that can be no pseudonym.
    """
    path = Path(path)
    rows = _rows(path, _text(path))
    if not rows:
        raise AssessmentError(f"the roster {path} names nobody: {_ADVICE}")
    heading = [field.strip().lower() for field in rows[0][1]]
    column = heading.index(STUDENT_COLUMN) if STUDENT_COLUMN in heading else None
    if column is None and any(len(fields) > 1 for _, fields in rows):
        raise AssessmentError(f"the roster {path} has several columns and none is 'student': name it so")
    return _pseudonyms(path, rows if column is None else rows[1:], column or 0)


def _text(path: Path) -> str:
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_ROSTER_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or type(error).__name__).lower()
        raise AssessmentError(f"the roster {path} cannot be read ({reason}): check its name") from error
    if len(content) > LARGEST_ROSTER_BYTES:
        raise AssessmentError(f"{path} is larger than any roster (4 MiB): {_ADVICE}")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise AssessmentError(f"the roster {path} is not a text in UTF-8: {_ADVICE}") from error


def _rows(path: Path, text: str) -> list[tuple[int, list[str]]]:
    first = next((line for line in text.splitlines() if line.strip()), "")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=first.count))
    try:
        return [(reader.line_num, fields) for fields in reader if any(field.strip() for field in fields)]
    except csv.Error as error:
        raise AssessmentError(
            f"line {reader.line_num} of the roster {path} is no CSV ({error}): correct it"
        ) from error


def _pseudonyms(path: Path, rows: list[tuple[int, list[str]]], column: int) -> tuple[str, ...]:
    names = []
    for line, fields in rows:
        name = fields[column].strip() if column < len(fields) else ""
        if not _PSEUDONYM.match(name):
            raise AssessmentError(
                f"line {line} of the roster {path} has {name[:40]!r}, which is no pseudonym: write letters, digits, _ . -"
            )
        names.append(name)
    if not names:
        raise AssessmentError(f"the roster {path} names nobody: {_ADVICE}")
    twice = [name for name, count in Counter(names).items() if count > 1]
    if twice:
        raise AssessmentError(f"the roster {path} names {twice[0]} twice: remove one of the lines")
    return tuple(names)
