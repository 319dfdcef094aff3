"""What the marks of a class say: distribution, hardest images, commonest errors, progress, each student's leaning."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from curvometer.assessment.marks import ErrorKind, ImageMark, SheetMark
from curvometer.course.handed_in import Course

BINS = 10
"""Of the distribution: ten per cent each."""
LEAST_IMAGES = 4
"""Fewer do not tell a leaning from chance."""
CLEAR_LEANING = 2.0
"""A mean error of at least so many of its standard errors is one."""
LEAST_ANGLE_DEG, LEAST_SCALE_PERCENT = 1.5, 2.0
"""Smaller leanings cost nobody a point: half of the tolerance of an angle, the tolerance of a scale (common practice, no
source)."""


class Spread(NamedTuple):
    """How percentages lie; quartiles by linear interpolation."""

    size: int
    mean: float
    sd: float | None
    lowest: float
    quartile1: float
    median: float
    quartile3: float
    highest: float


@dataclass(frozen=True, kw_only=True)
class ImageResult:
    """One image over the class.

    Attributes
    ----------
    exercise, image, count
        Which, and how many sheets hold it.
    percent
        Mean share of its points.
    not_done
        How many left it out.
    errors
        Kinds of error with how many students made them, the commonest first.
    weakest
        Title of the item that earned the smallest share of its points.
    angle_bias_deg, angle_spread_deg
        Mean and standard deviation of the angle's error over all who traced it; None for fewer than two.
    """

    exercise: str
    image: str
    count: int
    percent: float
    not_done: int
    errors: tuple[tuple[ErrorKind, int], ...]
    weakest: str
    angle_bias_deg: float | None
    angle_spread_deg: float | None


class ItemResult(NamedTuple):
    """One item of the rubric over the class: mean share of its points, in how many answers."""

    code: str
    title: str
    percent: float
    answers: int


class ErrorResult(NamedTuple):
    """One kind of error: in how many answers, by how many students, and where most often."""

    kind: ErrorKind
    answers: int
    students: int
    where: tuple[str, ...]


class OccasionResult(NamedTuple):
    """One exercise at one occasion."""

    exercise: str
    title: str
    occasion: int
    spread: Spread


class Leaning(NamedTuple):
    """An error that is the same on most images: its mean, its standard error, on how many images, and what it is in words."""

    name: str
    mean: float
    standard_error: float
    images: int
    words: str


@dataclass(frozen=True, kw_only=True)
class StudentResult:
    """One student over the course.

    Attributes
    ----------
    student
        The pseudonym.
    percent
        Mean over the exercises, each with its latest occasion; None for somebody on the roster who handed in nothing.
    marks
        By exercise and occasion.
    errors
        Kinds with how many images, the commonest first.
    leanings
        What is off in the same way throughout.
    missing
        Exercises without a submission.
    """

    student: str
    percent: float | None
    marks: tuple[SheetMark, ...] = ()
    errors: tuple[tuple[ErrorKind, int], ...] = ()
    leanings: tuple[Leaning, ...] = ()
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class CourseNumbers:
    """Everything that tables and pages show.

    Attributes
    ----------
    students
        By pseudonym, those on the roster who handed in nothing among them.
    spread
        Of the students' percentages; None when nothing was marked.
    bins
        How many students have 0 to 10 per cent, ... 90 to 100.
    images
        The hardest first.
    items
        In the rubric's order.
    errors
        The commonest first.
    occasions
        In the order of the exercises, then of the occasions.
    answers
        How many images were asked of all who handed in.
    """

    students: tuple[StudentResult, ...]
    spread: Spread | None
    bins: tuple[int, ...]
    images: tuple[ImageResult, ...]
    items: tuple[ItemResult, ...]
    errors: tuple[ErrorResult, ...]
    occasions: tuple[OccasionResult, ...]
    answers: int


def course_numbers(course: Course) -> CourseNumbers:
    """Work out what the marks say; repeated occasions count on their own, doubled files once."""
    marks = [each.mark for each in course.counted if each.mark is not None]
    students = _students(course, marks)
    percents = [each.percent for each in students if each.percent is not None]
    return CourseNumbers(
        students=students,
        spread=spread_of(percents) if percents else None,
        bins=bins_of(percents),
        images=_images(marks),
        items=_items(marks),
        errors=_errors(marks),
        occasions=_occasions(course, marks),
        answers=sum(len(mark.images) for mark in marks),
    )


def spread_of(percents: Sequence[float]) -> Spread:
    """Mean, standard deviation and quartiles of at least one percentage."""
    values = np.array(percents)
    quartiles = [float(x) for x in np.percentile(values, (0.0, 25.0, 50.0, 75.0, 100.0))]
    sd = float(values.std(ddof=1)) if len(values) > 1 else None
    return Spread(len(values), float(values.mean()), sd, *quartiles)


def bins_of(percents: Sequence[float]) -> tuple[int, ...]:
    """How many percentages fall into each ten per cent; 100 belongs to the last."""
    # A mark of 30 that rounding made 29.9999999 belongs where 30 does.
    places = [min(int((percent + 1e-9) * BINS / 100.0), BINS - 1) for percent in percents]
    return tuple(places.count(place) for place in range(BINS))


# --- students


def _students(course: Course, marks: Sequence[SheetMark]) -> tuple[StudentResult, ...]:
    by_student: dict[str, list[SheetMark]] = defaultdict(list)
    for mark in marks:
        by_student[mark.student].append(mark)
    names = sorted({*by_student, *(course.roster or ())})
    exercises = [exercise.sheet.exercise for exercise in course.exercises]
    return tuple(_student(name, by_student.get(name, []), exercises) for name in names)


def _student(name: str, marks: Sequence[SheetMark], exercises: Sequence[str]) -> StudentResult:
    latest = {mark.exercise: mark for mark in marks}  # occasions rise, so the latest remains
    images = [image for mark in marks for image in mark.images]
    return StudentResult(
        student=name,
        percent=float(np.mean([mark.percent for mark in latest.values()])) if latest else None,
        marks=tuple(marks),
        errors=_counted(kind for image in images for kind in image.errors),
        leanings=_leanings(images),
        missing=tuple(exercise for exercise in exercises if exercise not in latest),
    )


def _leanings(images: Sequence[ImageMark]) -> tuple[Leaning, ...]:
    """Errors that are the same throughout: not on images whose line is of another canal."""
    right = [dict(image.numbers) for image in images if ErrorKind.WRONG_IMAGE not in image.errors]
    found = []
    for name, least, words in (
        ("angle_error_deg", LEAST_ANGLE_DEG, "angles {size:.1f}° {side} on average"),
        ("scale_error_percent", LEAST_SCALE_PERCENT, "lengths {size:.0f} % {side} throughout"),
    ):
        values = np.array([numbers[name] for numbers in right if name in numbers])
        if len(values) < LEAST_IMAGES:
            continue
        mean, error = float(values.mean()), float(values.std(ddof=1) / math.sqrt(len(values)))
        if abs(mean) >= max(least, CLEAR_LEANING * error):
            side = "too large" if mean > 0.0 else "too small"
            told = words.format(size=abs(mean), side=side)
            found.append(Leaning(name, mean, error, len(values), told))
    return tuple(found)


# --- images, items, errors, occasions


def _images(marks: Sequence[SheetMark]) -> tuple[ImageResult, ...]:
    by_image: dict[tuple[str, str], list[ImageMark]] = defaultdict(list)
    for mark in marks:
        for image in mark.images:
            if image.out_of:
                by_image[mark.exercise, image.image].append(image)
    found = [_image(*place, images) for place, images in by_image.items()]
    return tuple(sorted(found, key=lambda each: (each.percent, each.exercise, each.image)))


def _image(exercise: str, name: str, images: Sequence[ImageMark]) -> ImageResult:
    done = [image for image in images if ErrorKind.NOT_DONE not in image.errors]
    errors = [number for image in done for code, number in image.numbers if code == "angle_error_deg"]
    many = len(errors) > 1
    items = _shares(done or images)
    return ImageResult(
        exercise=exercise,
        image=name,
        count=len(images),
        percent=float(np.mean([100.0 * image.points / image.out_of for image in images])),
        not_done=len(images) - len(done),
        errors=_counted(kind for image in images for kind in image.errors),
        weakest=min(items, key=lambda item: item.percent).title,
        angle_bias_deg=float(np.mean(errors)) if many else None,
        angle_spread_deg=float(np.std(errors, ddof=1)) if many else None,
    )


def _items(marks: Sequence[SheetMark]) -> tuple[ItemResult, ...]:
    return _shares([image for mark in marks for image in mark.images])


def _shares(images: Sequence[ImageMark]) -> tuple[ItemResult, ...]:
    shares: dict[str, list[float]] = defaultdict(list)
    titles: dict[str, str] = {}
    for image in images:
        for item in image.items:
            titles.setdefault(item.code, item.title)
            shares[item.code].append(100.0 * item.points / item.out_of)
    return tuple(
        ItemResult(code, titles[code], float(np.mean(values)), len(values)) for code, values in shares.items()
    )


def _errors(marks: Sequence[SheetMark]) -> tuple[ErrorResult, ...]:
    where: dict[ErrorKind, Counter[str]] = defaultdict(Counter)
    who: dict[ErrorKind, set[str]] = defaultdict(set)
    several = len({mark.exercise for mark in marks}) > 1
    for mark in marks:
        for image in mark.images:
            for kind in image.errors:
                where[kind][f"{mark.exercise}/{image.image}" if several else image.image] += 1
                who[kind].add(mark.student)
    found = [
        ErrorResult(kind, sum(places.values()), len(who[kind]), tuple(_names(places)[:3]))
        for kind, places in where.items()
    ]
    order = list(ErrorKind)
    return tuple(sorted(found, key=lambda each: (-each.answers, order.index(each.kind))))


def _names(places: Counter[str]) -> list[str]:
    return sorted(places, key=lambda name: (-places[name], name))


def _counted(kinds: Iterable[ErrorKind]) -> tuple[tuple[ErrorKind, int], ...]:
    counts, order = Counter(kinds), list(ErrorKind)
    return tuple(sorted(counts.items(), key=lambda row: (-row[1], order.index(row[0]))))


def _occasions(course: Course, marks: Sequence[SheetMark]) -> tuple[OccasionResult, ...]:
    percents: dict[tuple[int, int], list[float]] = defaultdict(list)
    sheets = [exercise.sheet for exercise in course.exercises]
    order = {sheet.exercise: place for place, sheet in enumerate(sheets)}
    for mark in marks:
        percents[order[mark.exercise], mark.occasion].append(mark.percent)
    return tuple(
        OccasionResult(
            sheets[place].exercise, sheets[place].title, occasion, spread_of(percents[place, occasion])
        )
        for place, occasion in sorted(percents)
    )
