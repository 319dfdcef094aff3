"""An exercise in front of a student: the hand-out, the session that shows one of its images, and the run that is kept.

The desk knows no window. It hears of every click by the session's signals, and it takes an image's clicks only while the
session shows that very image: whatever else is opened meanwhile is never taken for an answer.
"""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from psygnal import Signal

from curvometer import (
    HandOut,
    ImageKey,
    ImageMark,
    ImageSheet,
    PracticeLevel,
    PracticeResult,
    ProposedGrade,
    ProposedPlan,
    Purpose,
    Radiograph,
    Submission,
    new_submission,
    next_level,
    open_hand_out,
    practice_exercise,
    save_submission,
)
from curvometer_napari.case import Case
from curvometer_napari.exercise_keeping import ExerciseKeeping, SavedRun, failure_words, run_from_plain
from curvometer_napari.exercise_run import (
    ExerciseRun,
    ImageWork,
    Outcome,
    answer,
    answers,
    at_image,
    begin,
    graded,
    judged,
    outcome,
    planned,
    stated_scale,
    with_steps,
)
from curvometer_napari.session import Session

STUDENT = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,63}")
NAME_FIRST = "Type the name or pseudonym that your teacher gave you first: the submission carries it."
NAME_FORM = (
    "A name in a submission has letters, digits and _ . - only, at most 64, and begins with a letter or a digit:"
    " write for example ada-7."
)
NOTHING_DONE = "Nothing is done yet that could be handed in: work on an image first."
OTHER_EDITION = (
    "{name} is another edition of the exercise now: open the one that was begun, or discard the work."
)
LONGEST_LOOK_S = 600.0
"""A longer pause between two steps was spent elsewhere and is not counted."""

T = TypeVar("T")

log = logging.getLogger("curvometer_napari")


class ExerciseDesk:
    """One exercise at work.

    Parameters
    ----------
    session
        Shows the images and holds the clicks.
    keeping
        Keeps the run through a crash; None: nothing is kept.
    clock
        Seconds from any start.

    Attributes
    ----------
    hand_out, source
        The exercise that is open and its path; None and empty before.
    run
        What the student did; None before.
    marks
        Practice: what the check of an image gave, by its name, with the work that was checked.
    results
        Practice run: what the first check of each image gave, and how hard that was.
    said
        What happened last, in a sentence; empty for nothing.
    """

    changed = Signal()

    def __init__(
        self,
        session: Session,
        *,
        keeping: ExerciseKeeping | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.session = session
        self.hand_out: HandOut | None = None
        self.source = ""
        self.run: ExerciseRun | None = None
        self.marks: dict[str, tuple[ImageWork, ImageMark]] = {}
        self.results: list[PracticeResult] = []
        self.said = ""
        self._level: PracticeLevel | None = None
        self._keeping, self._clock = keeping, clock
        self._radiograph: Radiograph | None = None
        self._since = clock()
        self._put_away: dict[str, tuple[ExerciseRun | None, str]] = {}
        self._solved: dict[str, tuple[Case, Outcome]] = {}
        self._told = False
        session.case_changed.connect(self._take_steps)

    def close(self) -> None:
        """Hear of clicks no more; what was done stays kept for the next start."""
        self.session.case_changed.disconnect(self._take_steps)
        if self._keeping is not None:
            self._keeping.close()

    # --- opening -----------------------------------------------------------------------------------------

    def open(self, path: str, saved: SavedRun | None = None) -> None:
        """Open a hand-out in the background, and go on with what was done to it before when that is given."""
        self._in_background(
            f"opening {Path(path).name}",
            lambda: open_hand_out(path),
            lambda hand_out: self._opened(hand_out, path, saved),
        )

    def _opened(self, hand_out: HandOut, path: str, saved: SavedRun | None) -> None:
        if saved is None:
            self.start(hand_out, source=path)
            return
        if hand_out.sheet.edition != saved.edition:
            self.session.told.emit(OTHER_EDITION.format(name=Path(path).name))
            return
        try:
            run = run_from_plain(saved.plain, hand_out.sheet)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            log.warning("%s cannot be continued: %s", saved.path, error)
            self.session.told.emit("What was kept of this exercise is damaged: open the hand-out anew.")
            return
        self.start(hand_out, source=path, run=run)
        if self._keeping is not None:
            self._keeping.discard(saved)

    def start(self, hand_out: HandOut, *, source: str = "", run: ExerciseRun | None = None) -> None:
        """Begin an exercise, or go on with it."""
        put_away, key = self._put_away.pop(hand_out.sheet.edition, (None, ""))
        if self._keeping is not None:
            self._keeping.begin("" if run is not None else key)
        run = run or put_away
        self.hand_out, self.source, self._level = hand_out, source, None
        self.run = begin(hand_out.sheet) if run is None else run
        self.marks, self.said, self._solved = {}, "", {}
        self._keep()
        self.show_image()

    def leave(self) -> None:
        """Put the exercise away; what was done comes back when it is opened again, or at the next start."""
        self._take_steps()
        if self.run is not None and self.run.begun:
            self._put_away[self.run.sheet.edition] = (
                self.run,
                "" if self._keeping is None else self._keeping.key,
            )
        if self._keeping is not None:
            self._keeping.flush()
        self.hand_out, self.run, self._radiograph, self.said = None, None, None, ""
        self.changed.emit()

    # --- which image -------------------------------------------------------------------------------------

    @property
    def image(self) -> ImageSheet | None:
        """What is asked on the open image; None without an exercise."""
        return None if self.run is None else self.run.image

    @property
    def on_the_image(self) -> bool:
        """Whether the session shows the exercise's image, and not another that was opened meanwhile."""
        return self._radiograph is not None and self.session.radiograph is self._radiograph

    @property
    def marked(self) -> bool:
        """Whether a teacher marks the answers later, so that nothing may be told now."""
        return self.run is not None and self.run.sheet.purpose is Purpose.MARKED

    @property
    def hides_answers(self) -> bool:
        """Whether the computed class and the recommended plan are kept from the student now."""
        if self.run is None or not self.on_the_image:
            return False
        return self.marked or self.run.image.id not in self.marks

    def go(self, index: int) -> None:
        """Go to another image of the exercise; its clicks and their history come back."""
        if self.run is None:
            return
        self._take_steps()
        self.run = at_image(self.run, index)
        self.said = ""
        self._keep()
        self.show_image()

    def show_image(self) -> None:
        """Show the open image of the exercise with what was done to it."""
        if self.hand_out is None or self.run is None:
            return
        hand_out, image = self.hand_out, self.run.image
        self._radiograph = None  # until it is there, no click belongs to it
        number = f"image {self.run.at + 1} of {len(self.run.works)}"
        self._in_background(f"opening {number}", lambda: hand_out.radiograph(image.id), self._show)

    def _show(self, radiograph: Radiograph) -> None:
        if self.run is None:
            return
        known = self.run.image.known_length
        if known is not None:
            self.session.length_mm, self.session.tolerance_mm = known.length_mm, known.tolerance_mm
        self._since = self._clock()
        history = self.run.work.history
        # Told before the session tells: the clicks of the image before must not be taken for this one's.
        self.session.set_radiograph(radiograph, history=history, stated=stated_scale(self.run.image))
        self._radiograph = radiograph
        self.changed.emit()

    # --- what the student does ---------------------------------------------------------------------------

    def _take_steps(self) -> None:
        if self.run is None or not self.on_the_image or not self.session.settled:
            return
        now = self._clock()
        seconds, self._since = min(now - self._since, LONGEST_LOOK_S), now
        self._change(with_steps(self.run, self.session.history, seconds=seconds))

    def judge(self, accepted: bool | None, reasons: tuple[str, ...] = ()) -> None:
        """Say whether the open image would be used."""
        if self.run is not None:
            self._change(judged(self.run, accepted, reasons))

    def grade(self, grade: ProposedGrade | None) -> None:
        """Give the canal a class."""
        if self.run is not None:
            self._change(graded(self.run, grade))

    def plan(self, plan: ProposedPlan | None) -> None:
        """Propose a plan."""
        if self.run is not None:
            self._change(planned(self.run, plan))

    def name(self, student: str, occasion: int) -> None:
        """Say who works, and for which time."""
        if self.run is not None:
            self._change(replace(self.run, student=student.strip(), occasion=occasion))

    def _change(self, run: ExerciseRun) -> None:
        if run != self.run:
            self.run = run
            self.said = ""
            self._keep()
            self.changed.emit()

    def _keep(self) -> None:
        if self._keeping is not None and self.run is not None and self.source:
            folder = self._keeping.folder
            self._keeping.keep(self.run, self.source, lambda error: self._keeping_failed(error, folder))

    def _keeping_failed(self, error: OSError, folder: Path) -> None:
        log.warning("the exercise cannot be kept in %s", folder, exc_info=error)
        if not self._told:
            self._told = True
            told = self.session.told
            # Perhaps from the thread that waits for the disk.
            self.session.worker.ask(
                "keep exercise", lambda: failure_words(error, folder), told.emit, told.emit
            )

    # --- handing in --------------------------------------------------------------------------------------

    def refusal(self) -> str:
        """Why the work cannot be saved as a submission now; empty when it can."""
        if self.run is None or not self.run.begun:
            return NOTHING_DONE
        if not self.run.student:
            return NAME_FIRST
        return "" if STUDENT.fullmatch(self.run.student) else NAME_FORM

    @property
    def proposed_name(self) -> str:
        """File name of the submission."""
        if self.run is None:
            return ""
        name = f"{self.run.sheet.exercise}_{self.run.student}_{self.run.occasion}.submission.json"
        return str(Path(self.source).with_name(name)) if self.source else name

    def save(self, path: str) -> None:
        """Measure what was not measured yet, and save the submission, in the background; an existing file is replaced."""
        refusal = self.refusal()
        if refusal or self.run is None or self.hand_out is None:
            self.session.told.emit(refusal)
            return
        self._take_steps()
        run, hand_out = self.run, self.hand_out

        def job() -> Submission:
            pairs = zip(run.sheet.images, run.works, strict=True)
            found = {image.id: self._outcome(hand_out, image, work) for image, work in pairs if work.begun}
            submission = new_submission(run.sheet, run.student, answers(run, found), occasion=run.occasion)
            save_submission(submission, path, overwrite=True)
            return submission

        self._in_background("saving the submission", job, partial(self._saved, path))

    def _saved(self, path: str, submission: Submission) -> None:
        count, of = len(submission.answers), 0 if self.run is None else len(self.run.works)
        self.said = f"Saved {Path(path).name}: {count} of {of} images answered. You may go on and save again."
        self.session.told.emit("")
        self.changed.emit()

    def _outcome(self, hand_out: HandOut, image: ImageSheet, work: ImageWork) -> Outcome:
        known = self._solved.get(image.id)
        case = replace(work.case, display=Case().display)  # how it is shown changes nothing
        if known is None or known[0] != case:
            known = self._solved[image.id] = (case, outcome(hand_out.radiograph(image.id), image, case))
        return known[1]

    # --- practice ----------------------------------------------------------------------------------------

    def check(self) -> None:
        """Practice: mark the open image at once, in the background."""
        self._take_steps()
        run, hand_out = self.run, self.hand_out
        if run is None or hand_out is None or hand_out.key is None or self.marked:
            return
        image, work, key = run.image, run.work, hand_out.key
        if not work.begun:
            self.session.told.emit("There is nothing to check yet: work on the image first.")
            return

        def job() -> ImageMark:
            from curvometer import expect, mark_answer  # noqa: PLC0415 - who hands in never marks

            given = answer(image, work, self._outcome(hand_out, image, work))
            return mark_answer(expect(run.sheet, key), image.id, given)

        def done(mark: ImageMark) -> None:
            if self._level is not None and image.id not in self.marks:
                # The first check counts: after it the reference is known.
                self.results.append(PracticeResult(level=self._level, mark=mark))
            self.marks[image.id] = (work, mark)
            self.changed.emit()

        self._in_background("checking your work", job, done)

    def practise(self) -> None:
        """Simulate the next practice image, as hard as the results so far ask for, and show it."""
        level, number = next_level(self.results), len(self.results) + 1

        def shown(hand_out: HandOut) -> None:
            self.start(hand_out)
            self._level = level

        self._in_background(
            f"simulating practice image {number}", lambda: practice_exercise(level, number=number), shown
        )

    @property
    def in_practice_run(self) -> bool:
        """Whether the open exercise is an image of a practice run."""
        return self._level is not None

    @property
    def mark(self) -> ImageMark | None:
        """What the check of the open image gave; None before."""
        found = None if self.image is None else self.marks.get(self.image.id)
        return None if found is None else found[1]

    @property
    def mark_is_old(self) -> bool:
        """Whether the open image's work has changed since it was checked."""
        found = None if self.image is None else self.marks.get(self.image.id)
        if found is None or self.run is None:
            return False
        return _answered(found[0]) != _answered(self.run.work)

    @property
    def shown_key(self) -> ImageKey | None:
        """Practice: what is right on the open image, once it has been checked."""
        if self.hand_out is None or self.hand_out.key is None or self.image is None or self.mark is None:
            return None
        return self.hand_out.key.image(self.image.id)

    # --- the background ----------------------------------------------------------------------------------

    def _in_background(self, what: str, job: Callable[[], T], done: Callable[[T], None]) -> None:
        session = self.session
        session.busy_changed.emit(what)

        def told(found: T) -> None:
            session.busy_changed.emit("")
            done(found)

        def failed(sentence: str) -> None:
            session.busy_changed.emit("")
            session.told.emit(sentence)

        # Opening takes the place of another opening; saving and checking of nothing.
        key = "open" if what.startswith(("opening", "simulating")) else what
        session.worker.ask(key, job, told, failed)


def _answered(work: ImageWork) -> tuple[object, ...]:
    """What an answer is made of: neither time nor undone steps, nor how the image is shown."""
    case = replace(work.case, display=Case().display, selected=None)
    return case, work.accepted, work.reasons, work.grade, work.plan
