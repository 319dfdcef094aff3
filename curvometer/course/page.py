"""The class as one HTML page, and each student's own sheet as another: no network, no script, pictures inside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from curvometer.course.handed_in import Course, HandedIn
from curvometer.course.numbers import CourseNumbers, StudentResult
from curvometer.course.oddities import Oddity
from curvometer.course.packages import needed
from curvometer.course.plots import histogram_svg, progress_svg, sketch_svg

if TYPE_CHECKING:
    from jinja2 import Environment

MOST_NAMES = 12
"""Names that one field of a page lists; the tables have all."""
PARTS = ("Distribution", "Errors", "Images", "Items", "Progress", "Students", "Oddities")


class Pages:
    """Writes the pages of one class.

    Parameters
    ----------
    course, numbers, oddities
        What they show.

    Raises
    ------
    AssessmentError
        When the package for templates is not installed.
    """

    def __init__(self, course: Course, numbers: CourseNumbers, oddities: Sequence[Oddity]) -> None:
        self.course, self.numbers, self.oddities = course, numbers, oddities
        self.files = sheet_files([each.student for each in numbers.students])
        self._by_student: dict[str, list[HandedIn]] = {}
        for each in course.counted:
            self._by_student.setdefault(each.student, []).append(each)
        self._environment = _environment()
        self._sheet = self._environment.get_template("sheet.html")

    def class_page(self) -> str:
        """The page of the whole class."""
        numbers = self.numbers
        progress = progress_svg(numbers.occasions) if len(numbers.occasions) > 1 else ""
        histogram = histogram_svg(numbers.bins, numbers.spread) if numbers.spread else ""
        there = {"Progress": bool(progress), "Students": True, "Oddities": True}
        return self._environment.get_template("class.html").render(
            title=course_title(self.course),
            subtitle=course_words(self.course),
            parts=[(name, name.lower()) for name in PARTS if there.get(name, numbers.spread is not None)],
            numbers=numbers,
            spread=numbers.spread,
            missing=sum(each.percent is None for each in numbers.students),
            many_exercises=len(self.course.exercises) > 1,
            oddities=self.oddities,
            histogram=_markup(histogram),
            progress=_markup(progress),
            files=self.files,
            marked_by=marked_by(self.course),
        )

    def sheet(self, student: StudentResult) -> str:
        """One student's own page: nothing of anybody else's but the median."""
        return self._sheet.render(
            student=student,
            spread=self.numbers.spread,
            titles={exercise.sheet.exercise: exercise.sheet.title for exercise in self.course.exercises},
            sketches=self._sketches(self._by_student.get(student.student, [])),
            marked_by=marked_by(self.course),
        )

    def _sketches(self, files: Sequence[HandedIn]) -> Mapping[tuple[str, int, str], Any]:
        drawn = {}
        for each in files:
            for image in each.mark.images if each.mark else ():
                line = each.lines_rc.get(image.image) if image.image not in each.other_files else None
                reference = self.course.references_rc.get((each.exercise, image.image))
                told = f"Image {image.image}: {'the reference and your tracing' if line is not None else 'the reference'}"
                if reference is not None:
                    drawn[each.exercise, each.occasion, image.image] = _markup(
                        sketch_svg(reference, line, told)
                    )
        return drawn


def sheet_files(students: Sequence[str]) -> dict[str, str]:
    """File names of the students' sheets, different even where a disk takes capitals and small letters for the same."""
    names: dict[str, str] = {}
    taken: set[str] = set()
    for student in students:
        # "sheet_" before it: a few names, like "con", cannot name a file on some systems.
        name, number = f"sheet_{student}", 1
        while name.casefold() in taken:
            number += 1
            name = f"sheet_{student}-{number}"
        taken.add(name.casefold())
        names[student] = f"{name}.html"
    return names


def course_title(course: Course) -> str:
    """Of one exercise its title."""
    if len(course.exercises) == 1:
        return course.exercises[0].sheet.title
    return f"Course of {len(course.exercises)} exercises"


def course_words(course: Course) -> str:
    """What was handed in until when."""
    saved = [each.created for each in course.marked if each.created is not None]
    until = f", the last one saved on {max(saved):%Y-%m-%d}" if saved else ""
    names = ", ".join(exercise.sheet.exercise for exercise in course.exercises)
    count = len(course.marked)
    return f"{names}. {count} {'submission' if count == 1 else 'submissions'} marked{until}."


def marked_by(course: Course) -> str:
    """Which rubric marked."""
    from curvometer.assessment.rubric_file import load_rubric  # noqa: PLC0415

    rubrics = [load_rubric(key.rubric) if rubric is None else rubric for _, key, rubric in course.exercises]
    told = dict.fromkeys(f"“{rubric.title}” ({rubric.source})" for rubric in rubrics)
    return f"Marked by the rubric {' and '.join(told)}."


def _environment() -> Environment:
    jinja2 = needed("jinja2")
    environment: Environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals |= {
        "number": number,
        "signed": signed,
        "points": points,
        "some": some,
        "bar": _bar,
    }
    return environment


def number(value: float, digits: int) -> str:
    """A number with so many digits; no minus before 0."""
    return signed(value, digits).removeprefix("+")


def signed(value: float, digits: int = 1) -> str:
    """The same with its sign."""
    text = f"{value:+.{digits}f}"
    return text[1:] if float(text) == 0.0 else text.replace("-", "−")


def points(value: float) -> str:
    """Points with at most one digit, and none where it is 0."""
    return number(value, 1).removesuffix(".0")


def some(names: Sequence[str]) -> str:
    """Names, of many the first dozen."""
    more = len(names) - MOST_NAMES
    return ", ".join(names) if more <= 0 else f"{', '.join(names[:MOST_NAMES])} and {more} more"


def _bar(percent: float) -> Any:
    return _markup(f"<span class='bar' aria-hidden='true'><i style='width:{percent:.0f}%'></i></span>")


def _markup(text: str) -> Any:
    """Text of this program's own that is HTML already."""
    return needed("markupsafe").Markup(text)
