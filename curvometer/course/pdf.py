"""The class and all sheets as printable PDF files; the typesetter gets data only, so no word is read as markup."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from curvometer.assessment.marks import ImageMark
from curvometer.course.handed_in import Course
from curvometer.course.numbers import CourseNumbers, StudentResult
from curvometer.course.oddities import Oddity
from curvometer.course.packages import needed
from curvometer.course.page import course_title, course_words, marked_by, number, points, signed, some
from curvometer.course.plots import histogram_svg, progress_svg

_MADE = dt.datetime(1980, 1, 1, tzinfo=dt.UTC)
"""The same class gives the same bytes."""


def class_pdf(course: Course, numbers: CourseNumbers, oddities: Sequence[Oddity]) -> bytes:
    """The report of the whole class.

    Raises
    ------
    AssessmentError
        When the typesetter is not installed.
    """
    spread = numbers.spread
    data = {
        "title": course_title(course),
        "subtitle": course_words(course),
        "facts": _facts(numbers),
        "oddity_line": _oddity_line(oddities),
        "histogram": histogram_svg(numbers.bins, spread) if spread else "",
        "histogram_alt": "How many students earned how much; the numbers stand above the columns.",
        "progress": progress_svg(numbers.occasions) if len(numbers.occasions) > 1 else "",
        "progress_alt": "Lowest and highest percentage, quartiles and mean of each exercise.",
        "errors": _errors(numbers),
        "images": _images(numbers, several=len(course.exercises) > 1),
        "items": [
            {
                "title": each.title,
                "percent": each.percent,
                "told": f"{number(each.percent, 0)} %",
                "answers": str(each.answers),
            }
            for each in numbers.items
        ],
        "students": [_student_row(each) for each in numbers.students],
        "oddities": [
            {
                "kind": each.kind.value,
                "whose": some(each.students or each.files),
                "on": some((*((each.exercise,) if each.exercise else ()), *each.images)),
                "text": each.text,
            }
            for each in oddities
        ],
        "marked_by": f"{marked_by(course)} A teaching aid, not a diagnostic device.",
    }
    return _set("report.typ", data)


def sheets_pdf(course: Course, numbers: CourseNumbers) -> bytes:
    """Every student's sheet, each on pages of its own.

    Raises
    ------
    AssessmentError
        When the typesetter is not installed.
    """
    titles = {exercise.sheet.exercise: exercise.sheet.title for exercise in course.exercises}
    data = {
        "title": f"Sheets: {course_title(course)}",
        "marked_by": marked_by(course),
        "students": [_sheet(each, titles) for each in numbers.students if each.marks],
    }
    return _set("sheets.typ", data)


def _set(template: str, data: dict[str, Any]) -> bytes:
    typst = needed("typst")
    source = (Path(__file__).parent / template).read_bytes()
    pdf: bytes = typst.compile(source, format="pdf", sys_inputs={"data": json.dumps(data)}, timestamp=_MADE)
    return pdf


def _facts(numbers: CourseNumbers) -> list[str]:
    spread = numbers.spread
    if spread is None:
        return []
    sd = "" if spread.sd is None else f", standard deviation {number(spread.sd, 0)}"
    missing = sum(each.percent is None for each in numbers.students)
    return [
        f"{spread.size} {'student' if spread.size == 1 else 'students'}",
        f"median {number(spread.median, 0)} %",
        f"mean {number(spread.mean, 0)} %{sd}",
        f"{number(spread.lowest, 0)} to {number(spread.highest, 0)} %",
        *([f"{missing} handed in nothing"] if missing else []),
    ]


def _oddity_line(oddities: Sequence[Oddity]) -> str:
    if not oddities:
        return "Nothing odd was found in the files."
    noun = "oddity" if len(oddities) == 1 else "oddities"
    return f"{len(oddities)} {noun} to look at before marks are given out: see the end."


def _errors(numbers: CourseNumbers) -> list[dict[str, Any]]:
    return [
        {
            "kind": each.kind.value,
            "percent": 100.0 * each.answers / numbers.answers,
            "answers": str(each.answers),
            "students": str(each.students),
            "at": ", ".join(each.where),
        }
        for each in numbers.errors
    ]


def _images(numbers: CourseNumbers, *, several: bool) -> list[dict[str, Any]]:
    return [
        {
            "name": f"{each.exercise}/{each.image}" if several else each.image,
            "percent": each.percent,
            "told": f"{number(each.percent, 0)} %",
            "weakest": each.weakest,
            "errors": _kinds(each.errors[:3]),
            "angle": ""
            if each.angle_bias_deg is None or each.angle_spread_deg is None
            else f"{signed(each.angle_bias_deg)} ± {number(each.angle_spread_deg, 1)}",
        }
        for each in numbers.images
    ]


def _kinds(errors: Sequence[tuple[Any, int]]) -> str:
    return ", ".join(f"{kind.value} ({count})" for kind, count in errors)


def _student_row(each: StudentResult) -> dict[str, str]:
    return {
        "student": each.student,
        "percent": "" if each.percent is None else number(each.percent, 1),
        "errors": _kinds(each.errors[:4]),
        "leaning": "; ".join(leaning.words for leaning in each.leanings),
        "missing": ", ".join(each.missing),
    }


def _sheet(each: StudentResult, titles: dict[str, str]) -> dict[str, Any]:
    lines = [f"The same throughout: {leaning.words}." for leaning in each.leanings]
    lines += [f"Not handed in: {', '.join(each.missing)}."] if each.missing else []
    return {
        "name": each.student,
        "percent": "" if each.percent is None else number(each.percent, 1),
        "lines": lines,
        "marks": [
            {
                "title": f"{titles[mark.exercise]}{f', occasion {mark.occasion}' if mark.occasion > 1 else ''}:"
                f" {number(mark.percent, 1)} %",
                "images": [_image_row(image) for image in mark.images],
            }
            for mark in each.marks
        ],
    }


def _image_row(image: ImageMark) -> dict[str, str]:
    """What cost points; a reason that several items share stands once."""
    lost: dict[str, list[str]] = {}
    for item in image.items:
        if item.points < item.out_of:
            lost.setdefault(item.reason, []).append(
                f"{item.title} {points(item.points)} of {points(item.out_of)}"
            )
    why = [f"{'; '.join(names)}: {reason}" for reason, names in lost.items()]
    kinds = ", ".join(kind.value for kind in image.errors)
    return {
        "name": image.image,
        "points": f"{points(image.points)} of {points(image.out_of)}",
        "errors": kinds[:1].upper() + kinds[1:],
        "why": " ".join([*([image.cap_reason] if image.cap_reason else []), *why]) or "All points.",
    }
