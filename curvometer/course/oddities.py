"""What is odd about what a class handed in: listed for the teacher, never dropped and never punished."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from curvometer.assessment.marks import ErrorKind
from curvometer.course.copies import Shared, same_scales, same_tracings
from curvometer.course.handed_in import Course, HandedIn


class OddityKind(StrEnum):
    """Kinds, in the order in which they are listed."""

    UNREADABLE = "cannot be read"
    NOT_MARKED = "cannot be marked"
    OTHER_EXERCISE = "another exercise"
    OTHER_EDITION = "another edition"
    OTHER_IMAGE = "another image"
    CHANGED = "changed after saving"
    OTHER_NUMBERS = "other numbers than its tracing gives"
    ANSWERS = "answers that do not fit the exercise"
    SAME_FILE = "the same file twice"
    HANDED_IN_TWICE = "handed in twice"
    COPIED = "tracings alike to the pixel"
    SAME_SCALE = "calibrations alike to nine digits"
    NOT_ON_ROSTER = "not on the roster"
    MISSING = "nothing handed in"
    REMARK = "remark"


@dataclass(frozen=True, kw_only=True)
class Oddity:
    """One oddity.

    Attributes
    ----------
    kind
        Which.
    text
        What is odd and what was done about it, in sentences.
    exercise
        In which; empty where it cannot be told, or for the whole course.
    students, images, files
        Whose, on which images, in which files.
    """

    kind: OddityKind
    text: str
    exercise: str = ""
    students: tuple[str, ...] = ()
    images: tuple[str, ...] = ()
    files: tuple[str, ...] = ()


_REMARKS = (
    ("The file has no seal", OddityKind.CHANGED),
    ("The file was changed", OddityKind.CHANGED),
    ("It was made on edition", OddityKind.OTHER_EDITION),
    ("The exercise has no image", OddityKind.ANSWERS),
    ("There are several answers", OddityKind.ANSWERS),
    ("Image ", OddityKind.OTHER_NUMBERS),
)
"""How the remarks of marking begin."""


def find_oddities(course: Course) -> tuple[Oddity, ...]:
    """List everything that is odd.

    Parameters
    ----------
    course
        From `mark_course`.

    Returns
    -------
    tuple of Oddity
        By kind, then in the order of the files.
    """
    found = [oddity for each in course.files for oddity in _of_file(each)]
    found += _same_files(course.files)
    found += _handed_in_twice(course)
    for exercise in course.exercises:
        found += _alike([each for each in course.marked if each.exercise == exercise.sheet.exercise])
    found += _against_roster(course)
    order = list(OddityKind)
    return tuple(sorted(found, key=lambda oddity: order.index(oddity.kind)))


def _of_file(each: HandedIn) -> Iterator[Oddity]:
    if each.mark is None:
        yield _oddity(_refused_as(each), each, each.refusal)
        return
    for remark in each.mark.remarks:
        kind = next((kind for start, kind in _REMARKS if remark.startswith(start)), OddityKind.REMARK)
        yield _oddity(kind, each, remark)
    if each.other_files:
        text = "Answered on another image file than the exercise's: these images earn nothing."
        yield _oddity(OddityKind.OTHER_IMAGE, each, text, each.other_files)
    exchanged = tuple(
        mark.image
        for mark in each.mark.images
        if ErrorKind.WRONG_IMAGE in mark.errors and mark.image not in each.other_files
    )
    if exchanged:
        text = "The line lies in the canal of another image: were images exchanged?"
        yield _oddity(OddityKind.OTHER_IMAGE, each, text, exchanged)


def _refused_as(each: HandedIn) -> OddityKind:
    if not each.student:
        return OddityKind.UNREADABLE
    return OddityKind.OTHER_EXERCISE if "whose key was not given" in each.refusal else OddityKind.NOT_MARKED


def _oddity(kind: OddityKind, each: HandedIn, text: str, images: tuple[str, ...] = ()) -> Oddity:
    return Oddity(
        kind=kind,
        text=text,
        exercise=each.exercise,
        students=(each.student,) if each.student else (),
        images=images,
        files=(each.file,),
    )


def _same_files(files: Sequence[HandedIn]) -> Iterator[Oddity]:
    by_content: dict[str, list[HandedIn]] = defaultdict(list)
    for each in files:
        if each.sha256:
            by_content[each.sha256].append(each)
    for alike in by_content.values():
        if len(alike) > 1:
            yield Oddity(
                kind=OddityKind.SAME_FILE,
                text="The same file, byte for byte: it counts once.",
                exercise=alike[0].exercise,
                students=_names(alike),
                files=tuple(each.file for each in alike),
            )


def _handed_in_twice(course: Course) -> Iterator[Oddity]:
    counted = {each.file for each in course.counted}
    by_place: dict[tuple[str, str, int], list[HandedIn]] = defaultdict(list)
    for each in course.marked:
        by_place[each.student, each.exercise, each.occasion].append(each)
    for alike in by_place.values():
        if len({each.sha256 for each in alike}) > 1:
            counting = next(each.file for each in alike if each.file in counted)
            yield Oddity(
                kind=OddityKind.HANDED_IN_TWICE,
                text=f"Several files for one occasion: {counting}, saved last, counts; the others are marked, too.",
                exercise=alike[0].exercise,
                students=_names(alike),
                files=tuple(each.file for each in alike),
            )


def _alike(files: Sequence[HandedIn]) -> Iterator[Oddity]:
    """Of one exercise; a file that is there twice, byte for byte, is looked at once."""
    files = list({each.sha256: each for each in files}.values())
    traced = same_tracings(files)
    for group in traced:
        moved = f", after moving one by up to {group.moved_px:.1f} pixels" if group.moved_px else ""
        text = f"The same lines to within 0.03 pixels{moved}: two people do not trace so by chance. Ask them."
        yield _shared(OddityKind.COPIED, files, group, text)
    for group in same_scales(files, but=traced):
        text = "The same scale to nine digits from clicks on the known length: unlikely by chance. Ask them."
        yield _shared(OddityKind.SAME_SCALE, files, group, text)


def _shared(kind: OddityKind, files: Sequence[HandedIn], group: Shared, text: str) -> Oddity:
    alike = [files[i] for i in group.members]
    return Oddity(
        kind=kind,
        text=text,
        exercise=alike[0].exercise,
        students=_names(alike),
        images=group.images,
        files=tuple(each.file for each in alike),
    )


def _against_roster(course: Course) -> Iterator[Oddity]:
    """Who is missing, exercise by exercise, and who handed in without being on the roster."""
    if course.roster is None:
        return
    for exercise in course.exercises:
        name = exercise.sheet.exercise
        there = {each.student for each in course.marked if each.exercise == name}
        missing = tuple(student for student in course.roster if student not in there)
        if missing:
            number = f"{len(missing)} of {len(course.roster)}"
            text = f"{number} students on the roster handed in nothing that could be marked."
            yield Oddity(kind=OddityKind.MISSING, text=text, exercise=name, students=missing)
    strangers = [each for each in course.files if each.student and each.student not in course.roster]
    if strangers:
        yield Oddity(
            kind=OddityKind.NOT_ON_ROSTER,
            text="The roster does not name them: a slip in the pseudonym? They are marked.",
            students=_names(strangers),
            files=tuple(each.file for each in strangers),
        )


def _names(files: Sequence[HandedIn]) -> tuple[str, ...]:
    return tuple(sorted({each.student for each in files if each.student}))
