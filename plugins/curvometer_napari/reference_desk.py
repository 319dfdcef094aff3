"""A teacher's exercise in front of an expert: its films one after another, and the records that keep the reference tracings.

``exercise.toml`` says which expert's record of a film is which file; here these files are made. The desk knows no window.
"""

from __future__ import annotations

from pathlib import Path

from psygnal import Signal

from curvometer import (
    CaseRecord,
    CurvometerError,
    ExerciseFile,
    ImageRow,
    Radiograph,
    calibrate_from_mm_per_pixel,
    load_exercise_file,
    load_radiograph,
    load_record,
    save_record,
)
from curvometer_napari.history import History
from curvometer_napari.session import Session
from curvometer_napari.strokes import FloatArray
from curvometer_napari.writer import session_record

NO_FILMS = (
    "{name} names no film with references to trace: simulated films bring their own truth;"
    ' write file = "..." and references = {{ expert = "record.json" }} for a film of your own.'
)
CANAL_FIRST = "Trace the canal {canal}, from orifice to foramen, and accept it with Enter first."
SCALE_FIRST = "A reference needs a scale at the tooth: click along the thing of known length first."
OUTSIDE = "{name!r:.80} lies outside of the exercise's folder: correct it in exercise.toml."


class ReferenceDesk:
    """One exercise of a teacher at work.

    Attributes
    ----------
    folder, exercise
        Where ``exercise.toml`` is, and what it says; None before.
    rows
        The films of one's own that have references, in the file's order.
    at
        Index of the film that is open.
    said
        What happened last, in a sentence; empty for nothing.
    """

    changed = Signal()

    def __init__(self, session: Session) -> None:
        self.session = session
        self.folder = Path()
        self.exercise: ExerciseFile | None = None
        self.rows: tuple[ImageRow, ...] = ()
        self.at, self.said = 0, ""
        self._radiograph: Radiograph | None = None
        self._histories: dict[int, History] = {}
        session.case_changed.connect(self._take_steps)

    def close(self) -> None:
        """Hear of clicks no more."""
        self.session.case_changed.disconnect(self._take_steps)

    def open(self, path: str) -> None:
        """Open an ``exercise.toml`` in the background."""
        folder = Path(path).parent
        session = self.session
        session.busy_changed.emit(f"opening {Path(path).name}")

        def opened(exercise: ExerciseFile) -> None:
            session.busy_changed.emit("")
            rows = tuple(row for row in exercise.images if row.file is not None and row.references)
            if not rows:
                session.told.emit(NO_FILMS.format(name=Path(path).name))
                return
            self.folder, self.exercise, self.rows, self.at = folder, exercise, rows, 0
            self._histories = {}
            self.show_image()

        session.worker.ask("open", lambda: load_exercise_file(folder), opened, self._failed)

    def leave(self) -> None:
        """Put the exercise away; the film stays open as any other."""
        self.exercise, self.rows, self._radiograph, self.said = None, (), None, ""
        self.changed.emit()

    # --- which film --------------------------------------------------------------------------------------

    @property
    def row(self) -> ImageRow | None:
        """What is said of the open film; None before."""
        return self.rows[self.at] if self.rows else None

    @property
    def experts(self) -> tuple[str, ...]:
        """Whose references the open film has, by the file."""
        return () if self.row is None else tuple(self.row.references)

    @property
    def on_the_image(self) -> bool:
        """Whether the session shows the exercise's film."""
        return self._radiograph is not None and self.session.radiograph is self._radiograph

    def go(self, index: int) -> None:
        """Go to another film; its clicks come back."""
        if self.rows:
            self._take_steps()
            self.at, self.said = min(max(index, 0), len(self.rows) - 1), ""
            self.show_image()

    def show_image(self) -> None:
        """Show the open film with what was done to it."""
        row, session = self.row, self.session
        if row is None or row.file is None:
            return
        self._radiograph = None
        path = self.folder / row.file
        session.busy_changed.emit(f"opening {path.name}")
        session.worker.ask(
            "open",
            lambda: load_radiograph(path, inverted=row.inverted),
            lambda radiograph: self._show(radiograph, row, path),
            self._failed,
        )

    def _show(self, radiograph: Radiograph, row: ImageRow, path: Path) -> None:
        session, known = self.session, row.known_length
        session.busy_changed.emit("")
        if known is not None:
            session.length_mm, session.tolerance_mm = known.length_mm, known.tolerance_mm
        stated = None if row.mm_per_pixel is None else calibrate_from_mm_per_pixel(row.mm_per_pixel)
        session.set_radiograph(
            radiograph, source=str(path), history=self._histories.get(self.at), stated=stated
        )
        self._radiograph = radiograph
        self.changed.emit()

    def _take_steps(self) -> None:
        if self.on_the_image and self.session.settled:
            self._histories[self.at] = self.session.history
            if self.said:
                self.said = ""
                self.changed.emit()

    def _failed(self, sentence: str) -> None:
        self.session.busy_changed.emit("")
        self.session.told.emit(sentence)

    # --- the references ----------------------------------------------------------------------------------

    def place(self, expert: str, index: int | None = None) -> Path:
        """Find the file that keeps an expert's reference of a film, the open one when `index` is None."""
        name: str = self.rows[self.at if index is None else index].references[expert]
        return self.folder / name

    def is_saved(self, expert: str, index: int | None = None) -> bool:
        """Whether there is a reference already."""
        return self.place(expert, index).is_file()

    @property
    def counts(self) -> tuple[int, int]:
        """How many references are saved, of how many."""
        places = [self.is_saved(expert, n) for n, row in enumerate(self.rows) for expert in row.references]
        return sum(places), len(places)

    def refusal(self, expert: str) -> str:
        """Why the tracing cannot be saved as a reference now; empty when it can."""
        row, session = self.row, self.session
        if row is None or not self.on_the_image or expert not in row.references:
            return "Open the exercise's film first."
        tracing = session.case.tracing(row.canal)
        if tracing is None or not tracing.accepted:
            return CANAL_FIRST.format(canal=row.canal)
        if session.calibration is None or not session.calibration.at_tooth:
            return SCALE_FIRST
        name = row.references[expert]
        inside = (self.folder / name).resolve().is_relative_to(self.folder.resolve())
        return "" if inside else OUTSIDE.format(name=name)

    def save(self, expert: str) -> None:
        """Save the tracing as an expert's reference, in the place of an earlier one."""
        refusal = self.refusal(expert)
        if refusal:
            self.session.told.emit(refusal)
            return
        path = self.place(expert)
        try:
            record = session_record(self.session)
            path.parent.mkdir(parents=True, exist_ok=True)
            save_record(record, path, overwrite=True)
        except CurvometerError as error:
            self.session.told.emit(str(error))
            return
        except OSError as error:
            reason = (error.strerror or type(error).__name__).lower()
            self.session.told.emit(
                f"{path.parent} cannot be made ({reason}): make the folder, or name another."
            )
            return
        self.said = f"Saved {path.name}: {record.canals[0].name} as traced by {expert}."
        self.session.told.emit("")
        self.changed.emit()

    def saved_lines(self) -> tuple[FloatArray, ...]:
        """(n, 2) (row, col) lines of the references of the open film that are saved; what cannot be read is told."""
        row, lines = self.row, list[FloatArray]()
        for expert in self.experts:
            if row is None or not self.is_saved(expert):
                continue
            try:
                record: CaseRecord = load_record(self.place(expert))
            except CurvometerError as error:
                self.session.told.emit(str(error))
                continue
            lines += [one.to_centreline().points_rc for one in record.canals if one.name == row.canal]
        return tuple(lines)
