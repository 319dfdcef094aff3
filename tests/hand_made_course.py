"""A course of two exercises with marks made by hand: for tests of numbers, tables and pages, where nothing is traced."""

from __future__ import annotations

import datetime as dt
import hashlib

import numpy as np
from marked_exercise import Canal, exercise, image_sheet, reference

from curvometer.assessment.key import ImageKey
from curvometer.assessment.marks import ErrorKind, ImageMark, ItemMark, SheetMark
from curvometer.course import Course, CourseExercise, HandedIn

SAVED = dt.datetime(2026, 3, 1, 12, tzinfo=dt.UTC)


def item(points, out_of=10.0, code="angle", reason="Because."):
    return ItemMark(
        code=code, title=code.capitalize(), points=points, out_of=out_of, found="found", reason=reason
    )


def image(name, points, errors=(), angle=None, **changes):
    numbers = () if angle is None else (("angle_error_deg", angle), ("scale_error_percent", 0.0))
    items = (item(points), item(10.0, code="image"))
    return ImageMark(image=name, items=items, errors=tuple(errors), numbers=numbers, **changes)


def sheet_mark(student, images, exercise="first", occasion=1, remarks=()):
    return SheetMark(
        student=student, exercise=exercise, occasion=occasion, images=tuple(images), remarks=remarks
    )


def handed(mark, *, file=None, hours=0, **changes):
    file = file or f"{mark.student}_{mark.exercise}_{mark.occasion}.json"
    return HandedIn(
        file=file,
        sha256=hashlib.sha256(file.encode()).hexdigest(),
        student=mark.student,
        exercise=mark.exercise,
        occasion=mark.occasion,
        created=SAVED + dt.timedelta(hours=hours),
        mark=mark,
        **changes,
    )


def an_exercise(name):
    sheet, key = exercise(
        [image_sheet("f1"), image_sheet("f2")],
        [ImageKey(id=image_id, references=[reference(Canal().points_rc(40))]) for image_id in ("f1", "f2")],
    )
    sheet = sheet.model_copy(update={"exercise": name, "title": f"The {name} <exercise>"})
    return CourseExercise(sheet, key.model_copy(update={"exercise": name, "edition": sheet.edition}))


def line(shift=0.0):
    return np.column_stack([np.linspace(0.0, 100.0, 5), np.linspace(0.0, 30.0, 5) ** 1.2 + shift])


def course(files, *, exercises=("first",), roster=None):
    return Course(
        exercises=tuple(an_exercise(name) for name in exercises),
        files=tuple(files),
        roster=roster,
        references_rc={(name, f"f{i}"): line() for name in exercises for i in (1, 2)},
    )


def small_class():
    """Two students and two exercises; b repeats the first.

    Percentages: a 100 and 75 in the first (f1 20 of 20, f2 15 of 20: 87.5), b 50 (10 of 20 twice), then 100 at the second
    occasion; in the second exercise a 75.
    """
    short, beyond = ErrorKind.STOPPED_SHORT, ErrorKind.BEYOND
    return course(
        [
            handed(
                sheet_mark("a", [image("f1", 10.0, angle=1.0), image("f2", 5.0, [short], angle=3.0)]),
                lines_rc={"f1": line(2.0)},
            ),
            handed(
                sheet_mark("b", [image("f1", 0.0, [short, beyond], angle=5.0), image("f2", 0.0, [short])])
            ),
            handed(sheet_mark("b", [image("f1", 10.0), image("f2", 10.0)], occasion=2), hours=1),
            handed(sheet_mark("a", [image("f1", 5.0), image("f2", 5.0)], exercise="second"), hours=2),
        ],
        exercises=("first", "second"),
        roster=("a", "b", "c"),
    )
