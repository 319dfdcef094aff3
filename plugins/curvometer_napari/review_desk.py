"""A submission in front of the teacher: each image with the student's tracing, the references and the marks; read only."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from psygnal import Signal

from curvometer import (
    Answer,
    CurvometerError,
    ExerciseKey,
    HandOut,
    ImageKey,
    ImageMark,
    ImageSheet,
    Radiograph,
    SheetMark,
    Submission,
    calibrate_from_mm_per_pixel,
    load_key,
    load_submission,
    open_hand_out,
)
from curvometer_napari.session import Session
from curvometer_napari.strokes import FloatArray

MOST_CANDIDATES = 50
"""Hand-outs and keys that are looked into for the one of a submission."""


class NotFoundError(CurvometerError):
    """A submission whose exercise is not beside it."""


@dataclass(frozen=True, kw_only=True)
class Review:
    """A submission with its exercise, its answers and its marks."""

    submission: Submission
    hand_out: HandOut
    key: ExerciseKey
    mark: SheetMark


class ReviewDesk:
    """One submission to look at.

    Attributes
    ----------
    review
        The submission; None before.
    at
        Index of the image that is shown.
    """

    changed = Signal()

    def __init__(self, session: Session) -> None:
        self.session = session
        self.review: Review | None = None
        self.at = 0
        self._radiograph: Radiograph | None = None

    def open(self, path: str) -> None:
        """Open a submission with the hand-out and the key that lie beside it, in the background."""
        session = self.session
        session.busy_changed.emit(f"marking {Path(path).name}")

        def opened(review: Review) -> None:
            session.busy_changed.emit("")
            self.review, self.at = review, 0
            self.show_image()

        session.worker.ask("open", lambda: load_review(Path(path)), opened, self._failed)

    def leave(self) -> None:
        """Put the submission away."""
        self.review, self._radiograph = None, None
        self.changed.emit()

    @property
    def on_the_image(self) -> bool:
        """Whether the session shows the submission's image."""
        return self._radiograph is not None and self.session.radiograph is self._radiograph

    @property
    def image(self) -> ImageSheet | None:
        """The image that is shown; None before."""
        return None if self.review is None else self.review.hand_out.sheet.images[self.at]

    @property
    def answer(self) -> Answer | None:
        """The student's answer to it; None when there is none."""
        if self.review is None or self.image is None:
            return None
        return self.review.submission.answer(self.image.id)

    @property
    def key(self) -> ImageKey | None:
        """What is right on it."""
        return None if self.review is None or self.image is None else self.review.key.image(self.image.id)

    @property
    def mark(self) -> ImageMark | None:
        """Its points."""
        return None if self.review is None else self.review.mark.images[self.at]

    def go(self, index: int) -> None:
        """Go to another image."""
        if self.review is not None:
            self.at = min(max(index, 0), len(self.review.hand_out.sheet.images) - 1)
            self.show_image()

    def show_image(self) -> None:
        """Show the image; nothing of the submission can be moved on it."""
        review, image = self.review, self.image
        if review is None or image is None:
            return
        self.session.busy_changed.emit(f"opening image {self.at + 1}")
        self.session.worker.ask(
            "open", lambda: review.hand_out.radiograph(image.id), self._show, self._failed
        )

    def _show(self, radiograph: Radiograph) -> None:
        self.session.busy_changed.emit("")
        key = self.key
        scale = key.references[0].calibration.mm_per_pixel if key is not None and key.references else None
        stated = None if scale is None else calibrate_from_mm_per_pixel(scale)
        self.session.set_radiograph(radiograph, stated=stated)
        self._radiograph = radiograph
        self.changed.emit()

    @property
    def reference_lines(self) -> tuple[FloatArray, ...]:
        """(n, 2) (row, col) the experts' lines."""
        key = self.key if self.on_the_image else None
        return () if key is None else tuple(one.canal.to_centreline().points_rc for one in key.references)

    @property
    def student_lines(self) -> tuple[FloatArray, ...]:
        """(n, 2) (row, col) the student's line; none when nothing was traced."""
        answer = self.answer if self.on_the_image else None
        if answer is None or answer.canal is None:
            return ()
        return (answer.canal.to_centreline().points_rc,)

    def _failed(self, sentence: str) -> None:
        self.session.busy_changed.emit("")
        self.session.told.emit(sentence)


def load_review(path: Path) -> Review:
    """Read a submission, find its exercise and key in its folder or the one above, and mark it.

    Raises
    ------
    CurvometerError
        When the submission cannot be read, or its exercise is not there.
    """
    from curvometer import expect, mark_submission  # noqa: PLC0415 - marking is loaded by who marks

    submission = load_submission(path)
    folders = (path.parent, path.parent.parent)
    hand_out = next(
        (one for one in map(_hand_out, _beside(folders, "*.handout.zip")) if _fits(one, submission)), None
    )
    key = next((one for one in map(_key, _beside(folders, "*.key.json")) if _fits(one, submission)), None)
    if hand_out is None or key is None:
        what = "hand-out (.handout.zip)" if hand_out is None else "key (.key.json)"
        raise NotFoundError(
            f"the {what} of exercise {submission.exercise}, edition {submission.edition}, is not beside {path.name}:"
            " put hand-out and key into the submission's folder, or into the one above"
        )
    mark = mark_submission(expect(hand_out.sheet, key), submission)
    return Review(submission=submission, hand_out=hand_out, key=key, mark=mark)


def _beside(folders: tuple[Path, ...], pattern: str) -> list[Path]:
    return [path for folder in folders for path in sorted(folder.glob(pattern))][:MOST_CANDIDATES]


def _hand_out(path: Path) -> HandOut | None:
    try:
        return open_hand_out(path)
    except CurvometerError:
        return None  # another file's fault is not this submission's


def _key(path: Path) -> ExerciseKey | None:
    try:
        return load_key(path)
    except CurvometerError:
        return None


def _fits(found: HandOut | ExerciseKey | None, submission: Submission) -> bool:
    if found is None:
        return False
    named = found.sheet if isinstance(found, HandOut) else found
    return (named.exercise, named.edition) == (submission.exercise, submission.edition)
