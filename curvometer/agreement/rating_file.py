"""Reading ratings from a long-form CSV file: ``subject,rater,occasion,value``."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from curvometer.agreement.estimate import AgreementError
from curvometer.agreement.ratings import Rating
from curvometer.saving import PathLike

NEEDED = ("subject", "rater")
VALUE_COLUMNS = ("value", "grade", "record")
COLUMNS = (*NEEDED, "occasion", *VALUE_COLUMNS)
LARGEST_BYTES = 64 * 2**20
_ONE_OCCASION = "1"

LARGEST_VALUE = 1e9
"""Far beyond any angle or length, and far from where squares of a number overflow."""


@dataclass(frozen=True, kw_only=True)
class RatingRow:
    """One line of a file of ratings, before its value is understood.

    Attributes
    ----------
    subject, rater, occasion
        Names.
    text
        What stands in the column of values; empty when missing.
    place
        Where, for complaints: ``"line 7"``.
    """

    subject: str
    rater: str
    occasion: str
    text: str
    place: str


@dataclass(frozen=True, kw_only=True)
class RatingFile:
    """A file of ratings.

    Attributes
    ----------
    kind
        Name of the column of values: ``"value"`` for numbers or grades, ``"grade"`` for grades, ``"record"`` for names
        of record files.
    rows
        Its lines.
    decimal_comma
        Whether numbers are written ``31,4``, as in files whose columns are divided by semicolons.
    """

    kind: str
    rows: tuple[RatingRow, ...]
    decimal_comma: bool

    def ratings(self) -> list[Rating]:
        """Give the rows as ratings: as numbers, or as grades when no value (in a column `grade`: not every one) is a number.

        Raises
        ------
        AgreementError
            When some values are numbers and another is not, or is not finite.
        """
        numbers = [_number(row.text, comma=self.decimal_comma) for row in self.rows if row.text]
        # Grades that are all numbers have an order, so they stay numbers.
        graded = (any if self.kind == "grade" else all)(number is None for number in numbers)
        return [
            Rating(
                subject=row.subject,
                rater=row.rater,
                occasion=row.occasion,
                value=row.text or None if graded else self._value(row),
                place=row.place,
            )
            for row in self.rows
        ]

    def _value(self, row: RatingRow) -> float | None:
        if not row.text:
            return None
        number = _number(row.text, comma=self.decimal_comma)
        if number is None:
            raise AgreementError(
                f"{row.place} has {row.text[:40]!r}, which is not a number like other values: correct it, leave it"
                " empty if it is missing, or name the column 'grade' if these are grades"
            )
        if not math.isfinite(number) or abs(number) > LARGEST_VALUE:
            raise AgreementError(
                f"{row.place} has {row.text[:40]!r}, which is no measurement: leave the field empty if it is missing"
            )
        return number


def read_rating_file(path: PathLike) -> RatingFile:
    """Read a long-form CSV file.

    Parameters
    ----------
    path
        Its first line names the columns: ``subject``, ``rater``, one of ``value``, ``grade`` and ``record``, and
        ``occasion`` where there are several. Columns are divided by commas, semicolons or tabs.

    Raises
    ------
    AgreementError
        When it cannot be read, is no text, empty, or lacks a column, has an unknown one, or a line is incomplete.
    """
    path = Path(path)
    text = _text(path)
    header, *_ = text.splitlines() or [""]
    if not header.strip():
        raise AgreementError(
            f"{path.name} is empty: give a CSV file with the columns subject,rater,occasion,value"
        )
    delimiter = max(",;\t", key=header.count)
    names = [name.strip().lower() for name in next(csv.reader([header], delimiter=delimiter))]
    kind = _kind(path, names)
    rows = tuple(_rows(path, text, names, delimiter))
    if not rows:
        raise AgreementError(f"{path.name} has no line below its column names: give at least two subjects")
    return RatingFile(kind=kind, rows=rows, decimal_comma=delimiter == ";")


def _text(path: Path) -> str:
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_BYTES + 1)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise AgreementError(f"the ratings {path} cannot be read ({reason}): check the name") from error
    if len(content) > LARGEST_BYTES:
        raise AgreementError(
            f"{path.name} is larger than any file of ratings (64 MiB): give a CSV of ratings"
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise AgreementError(
            f"{path.name} is not a text in UTF-8: save the table as CSV (UTF-8), not as a spreadsheet or image"
        ) from error
    if "\0" in text:
        raise AgreementError(f"{path.name} is not a text: save the table as CSV (UTF-8)")
    return text


def _kind(path: Path, names: list[str]) -> str:
    wanted = "the columns are subject,rater,occasion and one of value, grade, record"
    if path.suffix.lower() == ".json" or names[0].startswith(("{", "[")):
        raise AgreementError(
            f"{path.name} is no CSV: {wanted}; for records give a folder, or a CSV that lists them"
        )
    unknown = [name for name in names if name not in COLUMNS]
    if unknown:
        raise AgreementError(f"{path.name} has the unknown column {unknown[0][:40]!r}: {wanted}")
    if len(set(names)) < len(names):
        raise AgreementError(f"{path.name} has a column twice: {wanted}")
    missing = [name for name in NEEDED if name not in names]
    if missing:
        raise AgreementError(f"{path.name} has no column {missing[0]!r}: {wanted}")
    kinds = [name for name in VALUE_COLUMNS if name in names]
    if len(kinds) != 1:
        raise AgreementError(f"{path.name} has {len(kinds)} columns of values: {wanted}")
    return kinds[0]


def _rows(path: Path, text: str, names: list[str], delimiter: str) -> Iterator[RatingRow]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        next(reader)
        for fields in reader:
            if any(field.strip() for field in fields):
                yield _row(names, fields, f"line {reader.line_num} of {path.name}")
    except csv.Error as error:
        raise AgreementError(
            f"line {reader.line_num} of {path.name} is no CSV ({error}): correct it"
        ) from error


def _row(names: list[str], fields: list[str], place: str) -> RatingRow:
    if len(fields) != len(names):
        raise AgreementError(f"{place} has {len(fields)} fields and the first line {len(names)}: correct it")
    told = dict(zip(names, (field.strip() for field in fields), strict=True))
    for name in NEEDED:
        if not told[name]:
            raise AgreementError(f"{place} names no {name}: fill it in, or remove the line")
    occasion = told.get("occasion", "") or _ONE_OCCASION
    (kind,) = (name for name in VALUE_COLUMNS if name in told)
    return RatingRow(
        subject=told["subject"], rater=told["rater"], occasion=occasion, text=told[kind], place=place
    )


def _number(text: str, *, comma: bool) -> float | None:
    if "_" in text:  # Python would read 1_0 as ten
        return None
    try:
        return float(text.replace(",", ".") if comma else text)
    except ValueError:
        return None
