"""Everything that a class's report consists of, checked before the work and written whole or not at all, file by file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from curvometer.course.handed_in import Course
from curvometer.course.numbers import CourseNumbers
from curvometer.course.oddities import Oddity
from curvometer.course.packages import needed
from curvometer.course.page import Pages, course_title
from curvometer.course.pdf import class_pdf, sheets_pdf
from curvometer.course.tables import (
    answers_table,
    csv_bytes,
    images_table,
    items_table,
    oddities_table,
    points_table,
    students_table,
)
from curvometer.course.workbook import workbook_bytes
from curvometer.saving import PathLike, SavingError, check_outputs, save_bytes

SHEETS_FOLDER = "students"
FILES = (
    "class.html",
    "class.pdf",
    "sheets.pdf",
    "class.xlsx",
    "students.csv",
    "answers.csv",
    "items.csv",
    "oddities.csv",
)
"""What lies in the report's folder, beside the students' sheets."""
PACKAGES = ("jinja2", "xlsxwriter", "typst")


@dataclass(frozen=True, kw_only=True)
class ReportFiles:
    """What was written.

    Attributes
    ----------
    folder
        Where.
    files
        Tables, pages and reports.
    sheets
        The students' sheets.
    stale
        Sheets of an earlier report that are still there; this one has no such student.
    """

    folder: Path
    files: tuple[Path, ...]
    sheets: tuple[Path, ...]
    stale: tuple[Path, ...] = ()


def check_report(folder: PathLike, *, inputs: Iterable[PathLike] = (), overwrite: bool = False) -> None:
    """Refuse a report that could not be written, before any work; the folder is made if it is new.

    Raises
    ------
    AssessmentError
        When a package is not installed.
    SavingError
        When a file exists and must not be replaced, or nothing can be written there.
    """
    for name in PACKAGES:
        needed(name)
    folder = Path(folder)
    sheets = folder / SHEETS_FOLDER
    try:
        sheets.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise SavingError(f"the folder {folder} cannot be made ({reason}): give another place") from error
    check_outputs(
        [folder / name for name in FILES], inputs=[Path(each) for each in inputs], overwrite=overwrite
    )
    if not overwrite and any(sheets.glob("sheet_*.html")):
        raise SavingError(
            f"{sheets} holds sheets of an earlier report: give another folder, or allow overwriting (--overwrite)"
        )


def write_report(
    course: Course,
    numbers: CourseNumbers,
    oddities: Sequence[Oddity],
    folder: PathLike,
    *,
    overwrite: bool = False,
) -> ReportFiles:
    """Write tables, pages, sheets and reports.

    Parameters
    ----------
    course, numbers, oddities
        From `mark_course`, `course_numbers` and `find_oddities`.
    folder
        Checked by `check_report`.
    overwrite
        Whether files that exist may be replaced.

    Raises
    ------
    SavingError
        When a file cannot be written.
    """
    folder = Path(folder)
    pages = Pages(course, numbers, oddities)
    files, sheets = [], []
    # The typesetter works outside of Python: it sets all sheets while tables and pages are written.
    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="curvometer typesetting") as aside:
        typeset = {
            "class.pdf": aside.submit(class_pdf, course, numbers, oddities),
            "sheets.pdf": aside.submit(sheets_pdf, course, numbers),
        }
        for name, content in _contents(course, numbers, oddities, pages):
            save_bytes(content(), folder / name, overwrite=overwrite)
            files.append(folder / name)
        for student in numbers.students:
            if student.marks:
                path = folder / SHEETS_FOLDER / pages.files[student.student]
                save_bytes(pages.sheet(student).encode(), path, overwrite=overwrite)
                sheets.append(path)
        for name, coming in typeset.items():
            save_bytes(coming.result(), folder / name, overwrite=overwrite)
            files.append(folder / name)
    there = set((folder / SHEETS_FOLDER).glob("sheet_*.html"))
    return ReportFiles(
        folder=folder, files=tuple(files), sheets=tuple(sheets), stale=tuple(sorted(there - set(sheets)))
    )


def _contents(
    course: Course, numbers: CourseNumbers, oddities: Sequence[Oddity], pages: Pages
) -> Iterator[tuple[str, Callable[[], bytes]]]:
    """Name and content of each table and page, made one at a time."""
    yield "students.csv", lambda: csv_bytes(students_table(numbers))
    yield "answers.csv", lambda: csv_bytes(answers_table(course))
    yield "items.csv", lambda: csv_bytes(items_table(course))
    yield "oddities.csv", lambda: csv_bytes(oddities_table(oddities))
    yield "class.html", lambda: pages.class_page().encode()
    yield "class.xlsx", lambda: _workbook(course, numbers, oddities)


def _workbook(course: Course, numbers: CourseNumbers, oddities: Sequence[Oddity]) -> bytes:
    return workbook_bytes(
        [
            students_table(numbers),
            images_table(numbers),
            answers_table(course),
            points_table(course),
            oddities_table(oddities),
        ],
        title=course_title(course),
    )
