"""What keeps a student's work through a crash: the run as a small file, written whole at every settled step.

It holds the student's own work and where the hand-out was opened from; nothing of a key is ever in it.
"""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from curvometer import ExerciseSheet, ProposedGrade, ProposedPlan
from curvometer_napari.autosave import case_from_plain, case_to_plain, state_folder
from curvometer_napari.exercise_run import ExerciseRun, ImageWork
from curvometer_napari.history import History
from curvometer_napari.kept_steps import KeptSteps, Plain, new_key, read_document, stamp

VERSION = 1
"""Raise it when a reader of the old form would misread the new one."""

log = logging.getLogger("curvometer_napari")


@dataclass(frozen=True, kw_only=True)
class SavedRun:
    """An exercise that an earlier window left.

    Attributes
    ----------
    source
        The hand-out's path as it was opened.
    title, edition
        Of the exercise: another edition asks something else.
    begun
        On how many images something was done.
    when
        Time of the last step, with its zone.
    path
        The file that holds all this.
    plain
        The run as `run_from_plain` reads it, once the hand-out is open again.
    """

    source: str
    title: str
    edition: str
    begun: int
    when: dt.datetime
    path: Path
    plain: Plain


class ExerciseKeeping:
    """Keeps one window's exercises, and finds those that other windows left; see `KeptSteps` for how.

    Parameters
    ----------
    folder
        Where the files are; `state_folder` / "exercises" when None.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = state_folder() / "exercises" if folder is None else folder
        self._steps = KeptSteps(self.folder)
        self._key = new_key()
        self._last: Plain | None = None

    @property
    def key(self) -> str:
        """Under which name the open exercise is kept."""
        return self._key

    def begin(self, key: str = "") -> None:
        """Keep what follows under a name of its own, for another exercise must not be overwritten, or under an earlier one."""
        self._key, self._last = key or new_key(), None

    def keep(self, run: ExerciseRun, source: str, failed: Callable[[OSError], None]) -> None:
        """Write the run as it is now; one in which nothing was done is not worth it, and neither is one just as before.

        Parameters
        ----------
        run, source
            The student's work, and the hand-out's path.
        failed
            Told, perhaps in another thread, when the file cannot be written.
        """
        plain = run_to_plain(run)
        if plain == self._last:
            return
        self._last = plain
        try:
            if run.begun:
                self._steps.keep(self._key, _document(run, source, plain), failed)
            else:
                self._steps.forget(self._key)
        except OSError as error:
            failed(error)

    def forget(self) -> None:
        """Delete what is kept of the exercise that is open: it was handed in, or given up."""
        try:
            self._steps.forget(self._key)
        except OSError:
            log.warning("an exercise cannot be deleted in %s", self.folder, exc_info=True)

    def pending(self) -> list[SavedRun]:
        """Give what windows that no longer run have left, newest first."""
        return sorted(self._steps.left(_read), key=lambda saved: saved.when, reverse=True)

    def discard(self, saved: SavedRun) -> None:
        """Delete what was left."""
        self._steps.discard(saved.path)

    def flush(self) -> None:
        """Wait until all steps are on the disk."""
        self._steps.flush()

    def close(self) -> None:
        """Wait until all steps are on the disk; from now on they are offered."""
        self._steps.close()


def run_to_plain(run: ExerciseRun) -> Plain:
    """Put a student's work into the form of JSON; the images and what is asked stay in the hand-out."""
    pairs = zip(run.sheet.images, run.works, strict=True)
    return {
        "student": run.student,
        "occasion": run.occasion,
        "at": run.at,
        "works": {image.id: _work_to_plain(work) for image, work in pairs},
    }


def run_from_plain(plain: Plain, sheet: ExerciseSheet) -> ExerciseRun:
    """Read what `run_to_plain` wrote.

    Raises
    ------
    KeyError, TypeError, ValueError
        When something is missing or is not what it should be.
    """
    works = tuple(_work_from_plain(plain["works"][image.id]) for image in sheet.images)
    at = min(max(int(plain["at"]), 0), len(works) - 1)
    student, occasion = str(plain["student"]), int(plain["occasion"])
    return ExerciseRun(sheet=sheet, works=works, at=at, student=student, occasion=occasion)


def _work_to_plain(work: ImageWork) -> Plain:
    return {
        "case": case_to_plain(work.case),
        "accepted": work.accepted,
        "reasons": list(work.reasons),
        "grade": None if work.grade is None else work.grade.model_dump(mode="json"),
        "plan": None if work.plan is None else work.plan.model_dump(mode="json"),
        # To the second, so that time alone is not a step in need of keeping at every look.
        "seconds": round(work.seconds),
    }


def _work_from_plain(plain: Plain) -> ImageWork:
    accepted = plain["accepted"]
    if accepted not in (True, False, None):
        raise ValueError(f"{accepted!r} is no judgement")
    history = History().with_step(case_from_plain(plain["case"]), "reopen")
    return ImageWork(
        history=history,
        accepted=accepted,
        reasons=tuple(str(reason) for reason in plain["reasons"]),
        grade=None if plain["grade"] is None else ProposedGrade.model_validate(plain["grade"]),
        plan=None if plain["plan"] is None else ProposedPlan.model_validate(plain["plan"]),
        seconds=float(plain["seconds"]),
    )


def _document(run: ExerciseRun, source: str, plain: Plain) -> Plain:
    return {
        **stamp(VERSION),
        "source": str(Path(source).absolute()),
        "title": run.sheet.title,
        "edition": run.sheet.edition,
        "begun": sum(work.begun for work in run.works),
        "run": plain,
    }


def _read(path: Path) -> SavedRun | None:
    try:
        if (found := read_document(path, VERSION)) is None:
            return None
        document, when = found
        return SavedRun(
            source=str(document["source"]),
            title=str(document["title"]),
            edition=str(document["edition"]),
            begun=int(document["begun"]),
            when=when,
            path=path,
            plain=dict(document["run"]),
        )
    except (OSError, KeyError, TypeError, ValueError, AttributeError, RecursionError, OverflowError) as error:
        log.warning("%s is not offered: %s", path, error)
        return None


def failure_words(error: OSError, folder: Path) -> str:
    """Say that the work cannot be kept, and what to do."""
    reason = (error.strerror or type(error).__name__).lower()
    return (
        f"This exercise cannot be kept for the next start ({reason}): free some space in {folder},"
        " or save the submission before closing."
    )
