"""Tables as one spreadsheet file."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from curvometer.course.packages import needed
from curvometer.course.tables import Kind, Table

if TYPE_CHECKING:
    from types import ModuleType

MOST_ROWS = 1_048_576
"""Of a sheet, by the format."""
LONGEST_TEXT = 32_767
"""Of a cell, by the format."""
_MADE = dt.datetime(1980, 1, 1, tzinfo=dt.UTC).replace(tzinfo=None)
"""The same class gives the same bytes."""

_FORMATS = {Kind.COUNT: "0", Kind.PERCENT: "0.0", Kind.POINTS: "0.0#", Kind.NUMBER: "0.00"}
_WIDTHS = {Kind.NAME: 14, Kind.TEXT: 30, Kind.WORDS: 60}
_NUMBER_WIDTH = 11


def workbook_bytes(tables: Sequence[Table], *, title: str) -> bytes:
    """Write tables as the sheets of an XLSX file.

    Parameters
    ----------
    tables
        Each a sheet of its name, with its first row and first column kept in sight, and a filter.
    title
        Of the file.

    Raises
    ------
    AssessmentError
        When the package for spreadsheets is not installed.
    """
    xlsxwriter: ModuleType = needed("xlsxwriter")
    target = io.BytesIO()
    # Row by row on the disk: a large class would otherwise be kept in memory cell by cell.
    book = xlsxwriter.Workbook(target, {"constant_memory": True, "strings_to_numbers": False})
    book.set_properties({"title": title, "created": _MADE})
    bold = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    formats = {kind: book.add_format({"num_format": text}) for kind, text in _FORMATS.items()}
    for table in tables:
        _add(book, table, bold, formats)
    book.close()
    return target.getvalue()


def _add(book: Any, table: Table, bold: Any, formats: dict[Kind, Any]) -> None:
    sheet = book.add_worksheet(table.name)
    sheet.freeze_panes(1, 1)
    for column, (heading, kind) in enumerate(table.columns):
        sheet.set_column(column, column, _WIDTHS.get(kind, _NUMBER_WIDTH), formats.get(kind))
        sheet.write_string(0, column, heading, bold)
    rows = table.rows[: MOST_ROWS - 1]
    kinds = [formats.get(kind) for _, kind in table.columns]
    for place, row in enumerate(rows, 1):
        for column, cell in enumerate(row):
            if isinstance(cell, str):
                if cell:
                    # As a string whatever it begins with: never a formula, never a link.
                    sheet.write_string(place, column, cell[:LONGEST_TEXT])
            elif cell is not None:
                sheet.write_number(place, column, cell, kinds[column])
    if rows:
        sheet.autofilter(0, 0, len(rows), len(table.columns) - 1)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
