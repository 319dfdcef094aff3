"""What is kept of a class: marks and a few small values for each file, never the files themselves."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curvometer.assessment.key import ExerciseKey
from curvometer.assessment.marks import SheetMark
from curvometer.assessment.rubric import Rubric
from curvometer.assessment.sheet import ExerciseSheet

FloatArray = NDArray[np.float64]


class CourseExercise(NamedTuple):
    """One exercise of the course.

    Attributes
    ----------
    sheet, key
        Of one edition.
    rubric
        Instead of the key's own; None for that.
    """

    sheet: ExerciseSheet
    key: ExerciseKey
    rubric: Rubric | None = None


class TracePrint(NamedTuple):
    """What tells one person's tracing from another's.

    Attributes
    ----------
    shape_rc
        (k, 2) places at equal distances along the line, pixels, less their mean; the end that is higher on the image first.
    middle_rc
        (2,) their mean.
    clicks
        How many places a person set: every point of a line by hand, the clicks of one that the program found.
    """

    shape_rc: FloatArray
    middle_rc: FloatArray
    clicks: int


@dataclass(frozen=True, kw_only=True, eq=False)
class HandedIn:
    """One file of the folder.

    Attributes
    ----------
    file
        Its path below the folder, with ``/``.
    sha256
        Of its bytes; empty when it could not be read.
    refusal
        Why it was not marked, in a sentence; empty when it was.
    student, exercise, edition, occasion, created
        As the file states them; empty, 0 and None when it could not be read.
    mark
        None when it was not marked.
    prints
        Of its tracings, by image.
    scales
        Millimetres per pixel that were found by a known length, by image.
    lines_rc
        (k, 2) places of each tracing, pixels, for a sketch, by image.
    other_files
        Images whose answer was made on another image file.
    """

    file: str
    sha256: str = ""
    refusal: str = ""
    student: str = ""
    exercise: str = ""
    edition: str = ""
    occasion: int = 0
    created: dt.datetime | None = None
    mark: SheetMark | None = None
    prints: Mapping[str, TracePrint] = field(default_factory=dict)
    scales: Mapping[str, float] = field(default_factory=dict)
    lines_rc: Mapping[str, FloatArray] = field(default_factory=dict)
    other_files: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Course:
    """A class with everything that was handed in.

    Attributes
    ----------
    exercises
        In the order in which they were given.
    files
        Every file of the folder, in the order of their names.
    roster
        Who should have handed in; None when nobody said.
    references_rc
        (k, 2) places of each reference, pixels, for a sketch, by exercise and image.
    """

    exercises: tuple[CourseExercise, ...]
    files: tuple[HandedIn, ...]
    roster: tuple[str, ...] | None = None
    references_rc: Mapping[tuple[str, str], FloatArray] = field(default_factory=dict)

    @property
    def marked(self) -> tuple[HandedIn, ...]:
        """Files that were marked."""
        return tuple(each for each in self.files if each.mark is not None)

    @property
    def counted(self) -> tuple[HandedIn, ...]:
        """One file for each student, exercise and occasion: the one that was saved last; by student, exercise and occasion.

        All others are marked and listed, too, but do not count twice in the class's numbers.
        """
        order = {exercise.sheet.exercise: place for place, exercise in enumerate(self.exercises)}
        latest: dict[tuple[str, int, int], HandedIn] = {}
        for each in self.marked:
            place = (each.student, order[each.exercise], each.occasion)
            before = latest.get(place)
            if before is None or _saved(before) < _saved(each):
                latest[place] = each
        return tuple(latest[place] for place in sorted(latest))


def _saved(each: HandedIn) -> dt.datetime:
    return each.created or dt.datetime.min.replace(tzinfo=dt.UTC)
