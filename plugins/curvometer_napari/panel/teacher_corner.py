"""Where a teacher's files come into the panel: an exercise whose references are to be traced, a submission to look at."""

from __future__ import annotations

from importlib import import_module
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from curvometer_napari.panel.panel import CurvometerPanel
    from curvometer_napari.panel.reference_box import ReferenceBox
    from curvometer_napari.panel.review_box import ReviewBox
    from curvometer_napari.reference_desk import ReferenceDesk
    from curvometer_napari.reference_lines import ReferenceLines
    from curvometer_napari.review_desk import ReviewDesk
    from curvometer_napari.strokes import FloatArray

EXERCISE, SUBMISSION = "exercise.toml", ".json"


class TeacherCorner:
    """The panel's teacher: desks and boxes are made when the first file is opened, so that nobody else waits for them."""

    def __init__(self, panel: CurvometerPanel, viewer: Any) -> None:
        self._panel, self._viewer = panel, viewer
        self.references: ReferenceDesk | None = None
        self.reference_box: ReferenceBox | None = None
        self.review: ReviewDesk | None = None
        self.review_box: ReviewBox | None = None
        self.reference_lines: ReferenceLines | None = None
        self.student_lines: ReferenceLines | None = None
        panel.session.openers[EXERCISE] = self.open_exercise
        panel.session.openers[SUBMISSION] = self.open_submission

    def open_exercise(self, path: str) -> None:
        """Open an ``exercise.toml`` to trace its references."""
        self._load("reference_desk", path, lambda: self._reference_desk().open(path))

    def open_submission(self, path: str) -> None:
        """Open a submission to look at."""
        self._load("review_desk", path, lambda: self._review_desk().open(path))

    def _load(self, module: str, path: str, then: Any) -> None:
        session = self._panel.session
        session.busy_changed.emit(f"opening {PurePath(path).name}")
        session.worker.ask(
            "open",
            lambda: import_module(f"curvometer_napari.{module}"),
            lambda _: then(),
            self._failed,
        )

    def _failed(self, sentence: str) -> None:
        self._panel.session.busy_changed.emit("")
        self._panel.session.told.emit(sentence)

    def close(self) -> None:
        """Hear of nothing more."""
        for ending in (EXERCISE, SUBMISSION):
            self._panel.session.openers.pop(ending, None)
        if self.references is not None:
            self.references.close()
        for lines in (self.reference_lines, self.student_lines):
            if lines is not None:
                lines.close()

    def _reference_desk(self) -> ReferenceDesk:
        from curvometer_napari.panel.reference_box import ReferenceBox  # noqa: PLC0415 - brings pydantic
        from curvometer_napari.reference_desk import ReferenceDesk  # noqa: PLC0415

        if self.references is None:
            self.references = ReferenceDesk(self._panel.session)
            self.reference_box = ReferenceBox(self.references, self.references.leave)
            self._add(self.reference_box, self.references)
        return self.references

    def _review_desk(self) -> ReviewDesk:
        from curvometer_napari.panel.review_box import ReviewBox  # noqa: PLC0415 - brings pydantic
        from curvometer_napari.review_desk import ReviewDesk  # noqa: PLC0415

        if self.review is None:
            self.review = ReviewDesk(self._panel.session)
            self.review_box = ReviewBox(self.review, self.review.leave)
            self._add(self.review_box, self.review)
        return self.review

    def _add(self, box: ReferenceBox | ReviewBox, desk: ReferenceDesk | ReviewDesk) -> None:
        panel = self._panel
        panel.add_box(box, first=True)
        box.hide()
        desk.changed.connect(self._changed)
        panel.session.radiograph_changed.connect(self._changed)
        if panel.canvas is not None and self.reference_lines is None:
            from curvometer_napari import reference_lines as lines  # noqa: PLC0415

            where = (self._viewer, panel.session, panel.canvas)
            self.reference_lines = lines.ReferenceLines(*where, defer=panel.in_a_turn)
            self.student_lines = lines.ReferenceLines(
                *where, name=lines.STUDENT, dashes=(), colours=lines.STUDENT_COLOURS, defer=panel.in_a_turn
            )

    def _changed(self) -> None:
        panel = self._panel
        references, review = self.references, self.review
        if references is not None and self.reference_box is not None:
            self.reference_box.setVisible(bool(references.rows))
            if references.row is not None and references.row.canal is not None and references.on_the_image:
                panel.canal.choose_code(references.row.canal)
        if review is not None and self.review_box is not None:
            self.review_box.setVisible(review.review is not None)
        self._draw()
        panel.ask_refresh()

    def _draw(self) -> None:
        if self.reference_lines is None or self.student_lines is None:
            return
        review, references, box = self.review, self.references, self.reference_box
        shown: tuple[FloatArray, ...] = ()
        student: tuple[FloatArray, ...] = ()
        if review is not None and review.on_the_image:
            shown, student = review.reference_lines, review.student_lines
        elif references is not None and references.on_the_image and box is not None:
            shown = references.saved_lines() if box.show_saved.isChecked() else ()
        self.reference_lines.show(shown)
        self.student_lines.show(student)
