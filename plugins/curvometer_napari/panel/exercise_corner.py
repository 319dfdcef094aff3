"""Where exercises come into the panel: opened, offered again, shown, and put away."""

from __future__ import annotations

import logging
from importlib import import_module
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from qtpy.QtWidgets import QVBoxLayout

from curvometer_napari.autosave import state_folder
from curvometer_napari.panel.controls import Button, Press
from curvometer_napari.panel.notices import Notice
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.reader import HAND_OUT, refusals

if TYPE_CHECKING:
    from curvometer_napari.exercise_desk import ExerciseDesk
    from curvometer_napari.exercise_keeping import ExerciseKeeping, SavedRun
    from curvometer_napari.panel.exercise_box import ExerciseBox
    from curvometer_napari.panel.panel import CurvometerPanel
    from curvometer_napari.reference_lines import ReferenceLines

TELL_ANSWERS = ("Grade", "Sequence")
"""Boxes that compute what an exercise asks the student to find."""

log = logging.getLogger("curvometer_napari")


class ExerciseCorner:
    """The panel's exercise: its desk and box are made when the first one is opened, so that nobody else waits for them.

    Parameters
    ----------
    panel
        Gets the box at its top, and a line that offers what was left.
    viewer
        For the reference lines of practice; None for a panel alone.
    """

    def __init__(self, panel: CurvometerPanel, viewer: Any) -> None:
        self._panel, self._viewer = panel, viewer
        self.desk: ExerciseDesk | None = None
        self.box: ExerciseBox | None = None
        self.references: ReferenceLines | None = None
        self._keeping: ExerciseKeeping | None = None
        self.offer = RunOffer(self._continue, self._discard)
        self.practice = Button(
            "Practise on simulated images",
            "A run of simulated radiographs, each as hard as your last result asks for, with feedback after each",
            self.practise,
        )
        panel.session.openers[HAND_OUT] = self.open
        panel.session.case_changed.connect(self._dismiss_offer)
        panel.session.radiograph_changed.connect(self._show_practice)
        refusals.exercise_found.connect(self.open)

    def open(self, path: str, saved: SavedRun | None = None) -> None:
        """Open a hand-out; what an exercise needs is loaded in the background before it."""
        session = self._panel.session
        session.busy_changed.emit(f"opening {Path(path).name}")

        def loaded(_: None) -> None:
            session.busy_changed.emit("")
            self._made_desk().open(path, saved)

        session.worker.ask("open", load_parts, loaded, self._failed)

    def _failed(self, sentence: str) -> None:
        self._panel.session.busy_changed.emit("")
        self._panel.session.told.emit(sentence)

    def practise(self) -> None:
        """Begin a practice run."""
        session = self._panel.session
        session.busy_changed.emit("preparing the first practice image")
        session.worker.ask("open", load_parts, lambda _: self._made_desk().practise(), self._failed)

    def _show_practice(self) -> None:
        """Offer practice in an empty panel, and again to who has practised."""
        desk, empty = self.desk, self._panel.session.radiograph is None
        practised = desk is not None and desk.run is None and bool(desk.results)
        self.practice.setVisible(empty or practised)

    def _made_desk(self) -> ExerciseDesk:
        from curvometer_napari.exercise_desk import ExerciseDesk  # noqa: PLC0415 - loaded in the background by now
        from curvometer_napari.panel.exercise_box import ExerciseBox  # noqa: PLC0415

        if self.desk is None:
            panel = self._panel
            self.desk = ExerciseDesk(panel.session, keeping=self._kept())
            self.box = ExerciseBox(self.desk, self.leave)
            panel.add_box(self.box, first=True)
            self.box.hide()
            self.desk.changed.connect(self._changed)
            panel.session.radiograph_changed.connect(self._changed)
            if panel.canvas is not None:
                from curvometer_napari.reference_lines import ReferenceLines  # noqa: PLC0415

                self.references = ReferenceLines(
                    self._viewer, panel.session, panel.canvas, defer=panel.in_a_turn
                )
        return self.desk

    def _kept(self) -> ExerciseKeeping:
        from curvometer_napari.exercise_keeping import ExerciseKeeping  # noqa: PLC0415

        if self._keeping is None:
            self._keeping = ExerciseKeeping()
        return self._keeping

    def leave(self) -> None:
        """Put the exercise away; the image stays open as any other."""
        if self.desk is not None:
            self.desk.leave()

    def close(self) -> None:
        """Hear of nothing more; what was done stays kept for the next start."""
        refusals.exercise_found.disconnect(self.open)
        self._panel.session.openers.pop(HAND_OUT, None)
        if self.references is not None:
            self.references.close()
        if self.desk is not None:
            self.desk.close()
        elif self._keeping is not None:
            self._keeping.close()

    # --- showing -----------------------------------------------------------------------------------------

    def _changed(self) -> None:
        desk, box, panel = self.desk, self.box, self._panel
        if desk is None or box is None:
            return
        box.setVisible(desk.run is not None)
        if desk.run is not None:
            self.offer.offer(None)
        self._show_practice()
        self._hide_answers(desk.hides_answers)
        self._choose_canal(desk)
        self._show_reference(desk)
        panel.ask_refresh()

    def _hide_answers(self, hidden: bool) -> None:
        for box in self._panel.boxes:
            if box.objectName() in TELL_ANSWERS:
                box.setVisible(not hidden)
        self._panel.measurements.show_classes(not hidden)

    def _choose_canal(self, desk: ExerciseDesk) -> None:
        """Let the next tracing have the name that the exercise asks for."""
        if desk.image is not None and desk.on_the_image:
            self._panel.canal.choose_code(desk.image.canal)

    def _show_reference(self, desk: ExerciseDesk) -> None:
        if self.references is not None:
            key = desk.shown_key if desk.on_the_image else None
            found = [] if key is None else key.references
            self.references.show([one.canal.to_centreline().points_rc for one in found])

    # --- what was left unfinished ------------------------------------------------------------------------

    def look_for_left(self) -> None:
        """Offer the newest exercise that an earlier window left; nothing is loaded when there is none."""
        if not any((state_folder() / "exercises").glob("*.json")) or self.desk is not None:
            return
        session = self._panel.session

        def loaded(_: None) -> None:
            if self.desk is None:
                pending = self._kept().pending()
                self.offer.offer(pending[0] if pending else None)

        session.worker.ask("look for exercises", load_parts, loaded, session.told.emit)

    def _dismiss_offer(self) -> None:
        if self.offer.saved is not None and self._panel.session.case.tracings:
            self.offer.offer(None)  # other work has begun; it is offered again at the next start

    def _continue(self) -> None:
        saved = self.offer.saved
        if saved is not None:
            self.open(saved.source, saved)

    def _discard(self) -> None:
        if self.offer.saved is not None:
            self._kept().discard(self.offer.saved)
        self.offer.offer(None)


class RunOffer(Notice):
    """An exercise that was not finished when the window closed: continue or discard it."""

    def __init__(self, continue_: Press, discard: Press) -> None:
        super().__init__("Unfinished exercise")
        self.words = Words()
        self.saved: SavedRun | None = None
        self.go_on = Button("Continue", "Open the exercise and go on where it was left", continue_)
        self.discard = Button("Discard", "Delete what was kept of it", discard)
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 4, 4, 4)
        column.addWidget(self.words)
        column.addWidget(Row(self.go_on, self.discard))

    def offer(self, saved: SavedRun | None) -> None:
        """Offer what was kept; nothing when None."""
        self.saved = saved
        self.setVisible(saved is not None)
        if saved is not None:
            images = f"{saved.begun} image{'' if saved.begun == 1 else 's'} begun"
            when = f"{saved.when.astimezone():%d %b %Y, %H:%M}"
            name = PurePath(saved.source).name
            self.words.setText(f"An exercise was left open: {saved.title} ({name}), {images}, {when}.")


def load_parts() -> None:
    """Import what an exercise needs and a measurement does not: pydantic and the forms."""
    for name in ("exercise_desk", "exercise_keeping"):
        import_module(f"curvometer_napari.{name}")
