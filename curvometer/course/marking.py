"""A folder of submissions to a course: read and marked on all cores, in the order of the files' names."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.expectations import Expectations, expect
from curvometer.assessment.files import SUBMISSION_FILE, load_submission
from curvometer.assessment.marking import mark_submission
from curvometer.assessment.submission import Answer, Submission
from curvometer.course.copies import found_scale, trace_print
from curvometer.course.handed_in import Course, CourseExercise, FloatArray, HandedIn
from curvometer.radiograph import CurvometerError

SKETCH_POINTS = 40
"""Points of a line in a sketch some hundred pixels high."""
FEW_FILES = 6
"""So few are marked sooner here than other processes start."""
AT_ONCE = 4
"""Files that a process takes at a time."""


def mark_course(
    folder: Path,
    files: Sequence[Path],
    exercises: Sequence[CourseExercise],
    *,
    roster: Sequence[str] | None = None,
    processes: int | None = None,
    watch: Callable[[Iterator[HandedIn], int], Iterable[HandedIn]] | None = None,
) -> Course:
    """Mark every file.

    Parameters
    ----------
    folder
        The files are named by their path below it.
    files
        From `submission_files`.
    exercises
        Each of another name.
    roster
        Who should have handed in.
    processes
        How many work at once; all cores when None. With one, nothing else is started.
    watch
        Gets the results as they come, with their number, and gives them on: for a progress bar.

    Returns
    -------
    Course
        The same for the same files, however many processes there are. A file that cannot be read or marked is in it, with the
        reason.

    Raises
    ------
    AssessmentError
        When an exercise is given twice, its key does not belong to it, or a process was ended from outside.
    """
    expected = _expected(exercises)
    processes = min(processes or os.cpu_count() or 1, max(1, len(files) // AT_ONCE))
    if len(files) <= FEW_FILES or processes == 1:
        results: Iterator[HandedIn] = (_marked(folder, path, expected) for path in files)
    else:
        results = _in_processes(folder, files, exercises, processes)
    watched = results if watch is None else watch(results, len(files))
    return Course(
        exercises=tuple(exercises),
        files=tuple(watched),
        roster=None if roster is None else tuple(roster),
        references_rc={
            (name, image): _sketch(of_image.line.points_rc)
            for name, of_exercise in expected.items()
            for image, of_image in of_exercise.images.items()
            if of_image.line is not None
        },
    )


def _expected(exercises: Sequence[CourseExercise]) -> dict[str, Expectations]:
    expected: dict[str, Expectations] = {}
    for sheet, key, rubric in exercises:
        if sheet.exercise in expected:
            raise AssessmentError(f"the exercise {sheet.exercise} is given twice: give each one once")
        expected[sheet.exercise] = expect(sheet, key, rubric)
    return expected


# --- in other processes

_worker_expected: dict[str, Expectations] = {}


def _in_processes(
    folder: Path, files: Sequence[Path], exercises: Sequence[CourseExercise], processes: int
) -> Iterator[HandedIn]:
    # Spawned, because a forked process may hold a lock that nobody will ever release.
    pool = ProcessPoolExecutor(
        processes, mp_context=get_context("spawn"), initializer=_begin, initargs=(tuple(exercises),)
    )
    try:
        yield from pool.map(_work, [folder] * len(files), files, chunksize=AT_ONCE)
    except BrokenProcessPool as error:
        raise AssessmentError(
            "a process that marked was ended from outside: free some memory, then try again"
        ) from error
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _begin(exercises: Sequence[CourseExercise]) -> None:
    _worker_expected.update(_expected(exercises))


def _work(folder: Path, path: Path) -> HandedIn:
    return _marked(folder, path, _worker_expected)


# --- one file


def _marked(folder: Path, path: Path, expected: dict[str, Expectations]) -> HandedIn:
    name = path.relative_to(folder).as_posix()
    try:
        digest = _sha256(path)
        submission = load_submission(path)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        return HandedIn(file=name, refusal=f"It cannot be read ({reason}).")
    except CurvometerError as error:
        # The path is told beside it, and where the folder lies is nobody's matter.
        told = str(error).replace(str(path), "it")
        return HandedIn(file=name, sha256=digest, refusal=told[:1].upper() + told[1:] + ".")
    try:
        return _of_submission(name, digest, submission, expected)
    except Exception as error:  # one file must not cost a whole class its marks: it is told with its reason
        return _refused(name, digest, submission, f"It cannot be marked ({type(error).__name__}: {error}).")


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.sha256(stream.read(SUBMISSION_FILE.largest_bytes)).hexdigest()


def _refused(name: str, digest: str, submission: Submission, why: str) -> HandedIn:
    return HandedIn(
        file=name,
        sha256=digest,
        refusal=why,
        student=submission.student,
        exercise=submission.exercise,
        edition=submission.edition,
        occasion=submission.occasion,
        created=submission.created,
    )


def _of_submission(
    name: str, digest: str, submission: Submission, expected: dict[str, Expectations]
) -> HandedIn:
    of_exercise = expected.get(submission.exercise)
    if of_exercise is None:
        why = f"It belongs to exercise {submission.exercise}, whose key was not given."
        return _refused(name, digest, submission, why)
    answers = {
        answer.image: answer
        for answer in reversed(submission.answers)  # the first one counts, as in marking
        if answer.image in of_exercise.images
    }
    prints = {image: trace_print(answer) for image, answer in answers.items()}
    scales = {image: found_scale(answer) for image, answer in answers.items()}
    return HandedIn(
        file=name,
        sha256=digest,
        student=submission.student,
        exercise=submission.exercise,
        edition=submission.edition,
        occasion=submission.occasion,
        created=submission.created,
        mark=mark_submission(of_exercise, submission),
        prints={image: found for image, found in prints.items() if found is not None},
        scales={image: scale for image, scale in scales.items() if scale is not None},
        lines_rc={image: line for image, answer in answers.items() if (line := _line(answer)) is not None},
        other_files=tuple(
            image
            for image, answer in answers.items()
            if answer.sha256 != of_exercise.images[image].sheet.sha256
        ),
    )


def _line(answer: Answer) -> FloatArray | None:
    if answer.canal is None:
        return None
    return _sketch(np.array(answer.canal.centreline.points_xy)[:, ::-1])


def _sketch(points_rc: FloatArray) -> FloatArray:
    """Some points of a line, both ends among them."""
    chosen = np.linspace(0, len(points_rc) - 1, min(len(points_rc), SKETCH_POINTS)).round().astype(int)
    return np.asarray(points_rc[np.unique(chosen)])
