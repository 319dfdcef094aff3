"""``curvometer class``: a folder of submissions to tables, pages and reports."""

from __future__ import annotations

import json
from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from curvometer.cli.argument_kinds import UsageError

if TYPE_CHECKING:
    from curvometer.assessment.rubric import Rubric
    from curvometer.course import Course, CourseExercise, CourseNumbers, Oddity, ReportFiles

MOST_ODDITIES = 12
"""Lines of oddities that are printed; the report has all."""


def run(arguments: Namespace) -> int:
    """Mark, write, tell."""
    from curvometer.course import (  # noqa: PLC0415 - brings the models and numpy
        check_report,
        course_numbers,
        find_oddities,
        mark_course,
        read_roster,
        submission_files,
        write_report,
    )

    folder = Path(arguments.folder)
    inputs = [*arguments.key, *arguments.exercise, *filter(None, [arguments.roster, arguments.rubric])]
    files = submission_files(folder, besides=[*inputs, arguments.out])
    exercises = _exercises(arguments)
    roster = None if arguments.roster is None else read_roster(arguments.roster)
    check_report(arguments.out, inputs=[*inputs, *files], overwrite=arguments.overwrite)
    course = mark_course(folder, files, exercises, roster=roster, watch=_watched)
    if not course.marked:
        first = next(each for each in course.files if each.refusal)
        raise UsageError(
            f"none of the {len(files)} files in {folder} could be marked; {first.file}: {first.refusal}"
        )
    numbers, oddities = course_numbers(course), find_oddities(course)
    written = write_report(course, numbers, oddities, arguments.out, overwrite=arguments.overwrite)
    if arguments.json:
        print(json.dumps(_plain(course, numbers, oddities, written), allow_nan=False))
    else:
        _tell(course, numbers, oddities, written)
    return 0


def _watched(results: Any, count: int) -> Any:
    from curvometer.cli.progress import with_progress  # noqa: PLC0415

    for _, each in zip(with_progress(range(count), "marking"), results, strict=True):
        yield each


def _exercises(arguments: Namespace) -> list[CourseExercise]:
    """Pair hand-outs with keys by name and edition, in the order of the hand-outs."""
    from curvometer.assessment import load_key, open_hand_out  # noqa: PLC0415
    from curvometer.course import CourseExercise  # noqa: PLC0415

    rubric = _rubric(arguments.rubric)
    keys = {path: load_key(path) for path in arguments.key}
    exercises = []
    for path in arguments.exercise:
        sheet = open_hand_out(path).sheet
        fitting = [name for name, key in keys.items() if key.exercise == sheet.exercise]
        if not fitting:
            raise UsageError(f"no --key belongs to {path} (exercise {sheet.exercise}): give its key, too")
        exercises.append(CourseExercise(sheet, keys.pop(fitting[0]), rubric))
    if keys:
        path, key = next(iter(keys.items()))
        raise UsageError(f"no --exercise belongs to the key {path} ({key.exercise}): give its hand-out, too")
    return exercises


def _rubric(path: str | None) -> Rubric | None:
    from curvometer.assessment.rubric_file import load_rubric  # noqa: PLC0415

    return None if path is None else load_rubric(Path(path))


def _tell(course: Course, numbers: CourseNumbers, oddities: Sequence[Oddity], written: ReportFiles) -> None:
    spread = numbers.spread
    print(f"{len(course.files)} files, {len(course.marked)} marked, {len(numbers.students)} students")
    if spread is not None:
        print(
            f"percent       median {spread.median:.1f}, mean {spread.mean:.1f},"
            f" {spread.lowest:.1f} to {spread.highest:.1f}"
        )
    for each in numbers.images[:3]:
        print(f"hard image    {each.exercise}/{each.image}  {each.percent:.0f} % of its points earned")
    for error in numbers.errors[:5]:
        print(f"error         {error.kind.value}: {error.answers} images, {error.students} students")
    for oddity in oddities[:MOST_ODDITIES]:
        whose = ", ".join((oddity.students or oddity.files)[:4])
        print(f"look at       {oddity.kind.value}: {whose}{' ...' if len(oddity.students) > 4 else ''}")
    if len(oddities) > MOST_ODDITIES:
        print(f"              and {len(oddities) - MOST_ODDITIES} more oddities in the report")
    if written.stale:
        print(f"note          {len(written.stale)} sheets of an earlier report are still in students/")
    print(f"report        {written.folder / 'class.html'}")


def _plain(
    course: Course, numbers: CourseNumbers, oddities: Sequence[Oddity], written: ReportFiles
) -> dict[str, Any]:
    return {
        "files": len(course.files),
        "marked": len(course.marked),
        "percent": None if numbers.spread is None else numbers.spread._asdict(),
        "students": [
            {
                "student": each.student,
                "percent": each.percent,
                "errors": {kind.value: count for kind, count in each.errors},
                "leanings": [leaning.words for leaning in each.leanings],
                "missing": list(each.missing),
            }
            for each in numbers.students
        ],
        "images": [
            {"exercise": each.exercise, "image": each.image, "percent": each.percent}
            for each in numbers.images
        ],
        "errors": [
            {"kind": each.kind.value, "images": each.answers, "students": each.students}
            for each in numbers.errors
        ],
        "oddities": [
            {
                "kind": each.kind.value,
                "exercise": each.exercise,
                "students": list(each.students),
                "images": list(each.images),
                "files": list(each.files),
                "text": each.text,
            }
            for each in oddities
        ],
        "report": [str(path) for path in (*written.files, *written.sheets)],
    }
