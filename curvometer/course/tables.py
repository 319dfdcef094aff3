"""The class as tables: a row for each student, each image, each item of each answer, each oddity; for CSV and spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from curvometer.course.handed_in import Course, HandedIn
from curvometer.course.numbers import CourseNumbers, StudentResult
from curvometer.course.oddities import Oddity

Cell = str | float | int | None

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A text that begins with one of these would be worked out by a spreadsheet that opens a CSV."""


class Kind(StrEnum):
    """What stands in a column, for its width and number format."""

    NAME = "name"
    TEXT = "text"
    WORDS = "long text"
    COUNT = "count"
    PERCENT = "percent, 0 to 100"
    POINTS = "points"
    NUMBER = "number"


@dataclass(frozen=True, kw_only=True)
class Table:
    """One table.

    Attributes
    ----------
    name
        For the file and the sheet.
    columns
        Headings and what stands below.
    rows
        As many cells as columns; None is empty.
    """

    name: str
    columns: tuple[tuple[str, Kind], ...]
    rows: tuple[tuple[Cell, ...], ...]

    @property
    def heading(self) -> tuple[str, ...]:
        """Names of the columns."""
        return tuple(name for name, _ in self.columns)


NUMBER_NAMES = (
    "scale_error_percent",
    "mean_distance_mm",
    "distance_95th_percentile_mm",
    "hausdorff_mm",
    "frechet_mm",
    "orifice_beyond_mm",
    "foramen_beyond_mm",
    "angle_error_deg",
    "curvature_error_percent",
    "curve_start_shift_mm",
    "curve_end_shift_mm",
)
"""Numbers of an image that the table of answers shows, by the names of `ImageMark.numbers`."""


def students_table(numbers: CourseNumbers) -> Table:
    """A row for each student: the whole course, then each exercise and occasion."""
    places = [(each.exercise, each.occasion) for each in numbers.occasions]
    several = {exercise for exercise, occasion in places if occasion > 1}
    headings = tuple(
        (f"{exercise}, occasion {occasion}" if exercise in several else exercise, Kind.PERCENT)
        for exercise, occasion in places
    )
    rows = []
    for student in numbers.students:
        percents = {(mark.exercise, mark.occasion): mark.percent for mark in student.marks}
        rows.append(
            (
                student.student,
                student.percent,
                *(percents.get(place) for place in places),
                sum(len(mark.images) for mark in student.marks),
                sum(count for _, count in student.errors),
                _errors(student),
                "; ".join(leaning.words for leaning in student.leanings),
                ", ".join(student.missing),
            )
        )
    return Table(
        name="students",
        columns=(
            ("student", Kind.NAME),
            ("percent", Kind.PERCENT),
            *headings,
            ("images", Kind.COUNT),
            ("errors", Kind.COUNT),
            ("error kinds", Kind.WORDS),
            ("leaning", Kind.TEXT),
            ("missing", Kind.TEXT),
        ),
        rows=tuple(rows),
    )


def _errors(student: StudentResult) -> str:
    return "; ".join(f"{kind.value} ({count})" for kind, count in student.errors)


_WHOSE = (
    ("student", Kind.NAME),
    ("exercise", Kind.NAME),
    ("occasion", Kind.COUNT),
    ("file", Kind.TEXT),
    ("counts", Kind.NAME),
    ("image", Kind.NAME),
)


def answers_table(course: Course) -> Table:
    """A row for each student and image: points, kinds of error, and the numbers that were compared."""
    rows = []
    for each, counts in _with_counting(course):
        for image in each.mark.images if each.mark else ():
            numbers = dict(image.numbers)
            rows.append(
                (
                    *_whose(each, counts),
                    image.image,
                    image.points,
                    image.out_of,
                    "; ".join(kind.value for kind in image.errors),
                    image.cap_reason,
                    *(numbers.get(name) for name in NUMBER_NAMES),
                )
            )
    return Table(
        name="answers",
        columns=(
            *_WHOSE,
            ("points", Kind.POINTS),
            ("out_of", Kind.POINTS),
            ("error kinds", Kind.TEXT),
            ("capped because", Kind.TEXT),
            *((name, Kind.NUMBER) for name in NUMBER_NAMES),
        ),
        rows=tuple(rows),
    )


def items_table(course: Course) -> Table:
    """The long form, a row for each student, image and item, with the sentences that a student reads."""
    return Table(
        name="items",
        columns=(
            *_WHOSE,
            ("item", Kind.NAME),
            ("points", Kind.POINTS),
            ("out_of", Kind.POINTS),
            ("found", Kind.TEXT),
            ("reason", Kind.WORDS),
        ),
        rows=tuple(_item_rows(course)),
    )


def _item_rows(course: Course) -> Iterator[tuple[Cell, ...]]:
    for each, counts in _with_counting(course):
        whose = _whose(each, counts)
        for image in each.mark.images if each.mark else ():
            for item in image.items:
                yield (*whose, image.image, item.code, item.points, item.out_of, item.found, item.reason)


def points_table(course: Course) -> Table:
    """The wide form, a row for each student and image with a column of points for each item: for a spreadsheet."""
    marks = [(each, counts, each.mark) for each, counts in _with_counting(course) if each.mark]
    codes = list(
        dict.fromkeys(item.code for _, _, mark in marks for image in mark.images for item in image.items)
    )
    rows = []
    for each, counts, mark in marks:
        for image in mark.images:
            earned = {item.code: item.points for item in image.items}
            cells = (*_whose(each, counts), image.image, image.points, image.out_of)
            rows.append((*cells, *(earned.get(code) for code in codes)))
    return Table(
        name="items",
        columns=(
            *_WHOSE,
            ("points", Kind.POINTS),
            ("out_of", Kind.POINTS),
            *((code, Kind.POINTS) for code in codes),
        ),
        rows=tuple(rows),
    )


def images_table(numbers: CourseNumbers) -> Table:
    """A row for each image, the hardest first."""
    return Table(
        name="images",
        columns=(
            ("exercise", Kind.NAME),
            ("image", Kind.NAME),
            ("percent", Kind.PERCENT),
            ("sheets", Kind.COUNT),
            ("not done", Kind.COUNT),
            ("weakest item", Kind.TEXT),
            ("commonest errors", Kind.WORDS),
            ("angle, mean error deg", Kind.NUMBER),
            ("angle, spread deg", Kind.NUMBER),
        ),
        rows=tuple(
            (
                each.exercise,
                each.image,
                each.percent,
                each.count,
                each.not_done,
                each.weakest,
                "; ".join(f"{kind.value} ({count})" for kind, count in each.errors[:3]),
                each.angle_bias_deg,
                each.angle_spread_deg,
            )
            for each in numbers.images
        ),
    )


def oddities_table(oddities: Sequence[Oddity]) -> Table:
    """A row for each oddity."""
    return Table(
        name="oddities",
        columns=(
            ("kind", Kind.TEXT),
            ("exercise", Kind.NAME),
            ("students", Kind.TEXT),
            ("images", Kind.TEXT),
            ("what", Kind.WORDS),
            ("files", Kind.TEXT),
        ),
        rows=tuple(
            (
                each.kind.value,
                each.exercise,
                ", ".join(each.students),
                ", ".join(each.images),
                each.text,
                ", ".join(each.files),
            )
            for each in oddities
        ),
    )


def csv_bytes(table: Table) -> bytes:
    """A table as CSV in UTF-8 with a mark by which spreadsheets know it; texts that look like a formula get an apostrophe."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(table.heading)
    writer.writerows([_plain(cell) for cell in row] for row in table.rows)
    return stream.getvalue().encode("utf-8-sig")


def _plain(cell: Cell) -> str | float | int:
    if cell is None:
        return ""
    if isinstance(cell, float):
        return round(cell, 4)
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA_STARTS) else cell


def _with_counting(course: Course) -> Iterable[tuple[HandedIn, bool]]:
    counted = {each.file for each in course.counted}
    return ((each, each.file in counted) for each in course.marked)


def _whose(each: HandedIn, counts: bool) -> tuple[Cell, ...]:
    return (each.student, each.exercise, each.occasion, each.file, "yes" if counts else "no")
