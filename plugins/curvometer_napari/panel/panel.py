"""The panel: the session's window, with one box for each step in the order of the work."""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qtpy.QtCore import QCoreApplication, QEvent, QObject, QSize, Qt, QTimer, Signal
from qtpy.QtGui import QDragEnterEvent, QDropEvent, QKeyEvent, QKeySequence
from qtpy.QtWidgets import QFrame, QScrollArea, QVBoxLayout, QWidget

from curvometer import load_radiograph
from curvometer_napari.case import Case
from curvometer_napari.keys import KEYS, key_text
from curvometer_napari.panel import saving
from curvometer_napari.panel.box import StepBox
from curvometer_napari.panel.canal_box import CanalBox
from curvometer_napari.panel.exercise_corner import ExerciseCorner
from curvometer_napari.panel.grade_box import GradeBox
from curvometer_napari.panel.image_box import ImageBox
from curvometer_napari.panel.looks import line_height
from curvometer_napari.panel.measurements_box import MeasurementsBox
from curvometer_napari.panel.notices import BusyLine, MessageLine, OfferLine
from curvometer_napari.panel.scale_box import ScaleBox
from curvometer_napari.panel.sequence_box import SequenceBox
from curvometer_napari.panel.teacher_corner import TeacherCorner
from curvometer_napari.panel.text import Words
from curvometer_napari.reader import refusals
from curvometer_napari.session import Session, Tool
from curvometer_napari.stated import Stated

if TYPE_CHECKING:
    from curvometer_napari.autosave import Autosave, Saved
    from curvometer_napari.layers import Canvas
    from curvometer_napari.pointer import Pointer

FOOTER = "Planning and teaching aid, not a diagnostic device."
TURN_MS = 15
"""Pause between two layers that are shown anew, for the mouse and the paint in between."""
WIDTH_PX = 380
"""Width that the panel asks for, in device-independent pixels: beside it a laptop's screen keeps room for the image."""

_ACTIONS = {
    key_text(key.key): key.action
    for key in KEYS
    if not key.key.endswith(("Left", "Right", "Up", "Down"))  # these move through the panel itself
}

log = logging.getLogger("curvometer_napari")


class Deliverer(QObject):
    """Runs functions of other threads in the window's own."""

    _called = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self._called.connect(_run, Qt.ConnectionType.QueuedConnection)

    def __call__(self, say: Callable[[], None]) -> None:
        """Let a function run in the window's thread, soon."""
        try:
            self._called.emit(say)
        except RuntimeError:
            log.debug("the window is closed: nothing is told any more")


def _run(say: Callable[[], None]) -> None:
    say()


class CurvometerPanel(QWidget):
    """A column of boxes that scrolls: image, scale, canal, measurements, grade, sequence.

    Parameters
    ----------
    napari_viewer
        The viewer, or None for a panel alone.
    session
        The state to show; a new one when None.
    canvas
        Whether to draw on the viewer and to listen to its mouse and keys.

    Attributes
    ----------
    session, canvas, pointer
        The state, what draws it, and what turns mouse and keys into calls; the last two are None without a canvas.
    boxes
        The boxes in the order of the work; `add_box` adds one.
    """

    def __init__(
        self, napari_viewer: Any = None, session: Session | None = None, canvas: bool = True
    ) -> None:
        super().__init__()
        self.setObjectName("curvometer")
        self.setAccessibleName("Root-canal curvature")
        self.setAcceptDrops(True)
        self.session = Session(deliver=Deliverer()) if session is None else session
        self.canvas: Canvas | None = None
        self.pointer: Pointer | None = None
        self.autosave: Autosave | None = None
        self.boxes: list[StepBox] = []
        self._kept: Case | None = None
        self._to_close: list[Callable[[], object]] = [self.session.close]
        self._tool = self.session.tool
        self.message, self.busy = MessageLine(), BusyLine(self.session.stop_opening)
        self.offer = OfferLine(self._continue, self._discard)
        self.exercise = ExerciseCorner(self, napari_viewer)
        self.teacher = TeacherCorner(self, napari_viewer)
        self._to_close += [self.exercise.close, self.teacher.close]
        self._lay_out()
        self.image = ImageBox(self.session, self.ask_for_image)
        self.scale, self.canal = ScaleBox(self.session), CanalBox(self.session)
        self.image.body.addWidget(self.exercise.practice)
        self.grade, self.sequence = GradeBox(self.session), SequenceBox(self.session)
        self.measurements = MeasurementsBox(self.session, self.grade.grader)
        for box in (self.image, self.scale, self.canal, self.measurements, self.grade, self.sequence):
            self.add_box(box)
        self._refresh = QTimer(self)
        self._refresh.setSingleShot(True)
        self._refresh.timeout.connect(self.refresh)
        self._to_close.append(self._refresh.stop)
        self._listen()
        if canvas and napari_viewer is not None:
            self._make_canvas(napari_viewer)
        self.refresh()
        QTimer.singleShot(0, self, self._start_autosave)
        to_close = self._to_close
        # Without a reference to the panel, which is gone by then.
        self.destroyed.connect(lambda: _close_all(to_close))

    def _lay_out(self) -> None:
        column = QWidget()
        self._column = QVBoxLayout(column)
        self._column.setContentsMargins(4, 4, 4, 4)
        self._column.setSpacing(0)
        self._column.addStretch(1)
        self.area = QScrollArea()
        self.area.setWidgetResizable(True)
        self.area.setFrameShape(QFrame.Shape.NoFrame)
        self.area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.area.setWidget(column)
        self.area.setMinimumWidth(1)
        self.footer = Words(FOOTER)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.setSpacing(2)
        for widget in (self.message, self.busy, self.offer, self.exercise.offer):
            outer.addWidget(widget)
        outer.addWidget(self.area, 1)
        outer.addWidget(self.footer)

    def add_box(self, box: StepBox, *, first: bool = False) -> None:
        """Add a box below the others, the place for steps that come later, or above them."""
        self.boxes.insert(0 if first else len(self.boxes), box)
        self._column.insertWidget(0 if first else self._column.count() - 1, box)

    def _listen(self) -> None:
        session = self.session
        for signal in (
            session.radiograph_changed,
            session.case_changed,
            session.results_changed,
            session.tool_changed,
        ):
            signal.connect(self.ask_refresh)
        session.emphasis_changed.connect(self._show_emphasis)
        session.told.connect(self._show_sentence)
        session.busy_changed.connect(self._show_work)
        # What napari itself was asked to open, by its menu or a drop, and could not be read.
        refusals.told.connect(self._show_sentence)
        self._to_close.append(lambda: refusals.told.disconnect(self._show_sentence))

    def _make_canvas(self, viewer: Any) -> None:
        from curvometer_napari.layers import Canvas  # noqa: PLC0415 - a panel alone needs no napari
        from curvometer_napari.pointer import Pointer  # noqa: PLC0415

        self.canvas = Canvas(viewer, self.session, defer=self.in_a_turn)
        self.pointer = Pointer(viewer, self.session, self.canvas)
        self.pointer.next_trace = self.canal.next_trace
        self._to_close += [self.canvas.close, self.pointer.close]

    def in_a_turn(self, turn: Callable[[], None]) -> None:
        """Run a function in a later turn of the window's loop, unless the panel is gone by then."""
        QTimer.singleShot(TURN_MS, self, turn)

    # --- showing -----------------------------------------------------------------------------------------

    def ask_refresh(self) -> None:
        """Show soon what the session says."""
        # Several signals come at once, and many while an anchor is dragged: they are answered together.
        if not self._refresh.isActive():
            self._refresh.start(0)

    def refresh(self) -> None:
        """Show what the session says now."""
        for box in self.boxes:
            box.refresh()
        self._show_emphasis()
        if self.offer.saved is not None and worked_on(self.session.case):
            # New work has begun: the old is not deleted, only offered again at the next start.
            self.offer.offer(None)
        if self.isVisible():
            # At once: while the canvas is drawn, posted requests would wait, and texts would be seen cut.
            QCoreApplication.sendPostedEvents(None, int(QEvent.Type.LayoutRequest))
        self._follow_tool()
        self._keep()

    def _follow_tool(self) -> None:
        """Bring the box of what is done now into view."""
        before, self._tool = self._tool, self.session.tool
        if before is self._tool:
            return
        draft = self.session.case.draft
        box = {Tool.SCALE: self.scale, Tool.TRACE: self.canal}.get(self._tool)
        if box is None and before is Tool.TRACE and draft is None and self.session.case.current is not None:
            box = self.measurements
        if self._tool is not Tool.LOOK:
            self._let_canvas_have_keys()
        if box is not None:
            # After the layout has made room for what the box shows now.
            QTimer.singleShot(0, box, lambda: self._bring_into_view(box))

    def _let_canvas_have_keys(self) -> None:
        """Give the canvas the keyboard: whoever has pressed Trace goes on with the image."""
        for widget in self.window().findChildren(QWidget):
            if type(widget).__name__.startswith("CanvasBackend"):
                widget.setFocus(Qt.FocusReason.OtherFocusReason)
                return

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802 - Qt's name
        """Take the canvas's keys, too, where no control of the panel has a use of its own for them."""
        text = QKeySequence(event.keyCombination()).toString(QKeySequence.SequenceFormat.PortableText)
        action = _ACTIONS.get({"Return": "Enter", "Num+Enter": "Enter", "Esc": "Escape"}.get(text, text))
        if action is None or self.pointer is None:
            super().keyPressEvent(event)
        else:
            self.pointer.act(action)

    def _bring_into_view(self, box: StepBox) -> None:
        bar = self.area.verticalScrollBar()
        top, bottom = box.y(), box.y() + box.height()
        if bottom > bar.value() + self.area.viewport().height() or top < bar.value():
            bar.setValue(top)

    def _show_emphasis(self) -> None:
        for box in self.boxes:
            box.update_emphasis()

    def _show_sentence(self, sentence: str) -> None:
        if sentence:
            log.info("told: %s", sentence)
        self.message.show_sentence(sentence)

    def _show_work(self, what: str) -> None:
        self.busy.show_work(what)

    def sizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the size."""
        return QSize(WIDTH_PX, round(38 * line_height(self)))

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the least size: a laptop's screen is low."""
        return QSize(WIDTH_PX - 20, round(12 * line_height(self)))

    # --- opening -----------------------------------------------------------------------------------------

    def ask_for_image(self) -> None:
        """Let the person choose an image, and open it."""
        source = self.session.source
        path = saving.ask_for_image(self, folder=str(Path(source).parent) if source else "")
        if path:
            self.session.open_image(path)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802 - Qt's name
        """Take files that are dragged here."""
        if event.mimeData().hasUrls():
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802 - Qt's name
        """Open the first file that is dropped here."""
        paths = [url.toLocalFile() for url in event.mimeData().urls() if url.isLocalFile()]
        if paths:
            event.acceptProposedAction()
            self.session.open_image(paths[0])
        else:
            self.session.told.emit(
                "Drop a file from this computer: save the image first, then drop that file."
            )

    # --- what was left unfinished ------------------------------------------------------------------------

    def _start_autosave(self) -> None:
        from curvometer_napari.autosave import Autosave  # noqa: PLC0415 - not before the first paint

        self.autosave = Autosave()
        self._to_close.append(self.autosave.close)
        pending = self.autosave.pending()
        self.offer.offer(pending[0] if pending and self.session.radiograph is None else None)
        self.exercise.look_for_left()
        self._keep()

    def _keep(self) -> None:
        session = self.session
        if self.autosave is not None and session.settled and session.case is not self._kept:
            self._kept = session.case
            self.autosave.keep(session)

    def _discard(self, saved: Saved | None = None) -> None:
        saved = saved or self.offer.saved
        if self.autosave is not None and saved is not None:
            self.autosave.discard(saved)
        self.offer.offer(None)

    def _continue(self) -> None:
        saved, session = self.offer.saved, self.session
        if saved is None:
            return
        session.busy_changed.emit(f"opening {Path(saved.source).name}")

        def loaded(radiograph: Any) -> None:
            session.busy_changed.emit("")
            if radiograph.sha256 != saved.sha256:
                session.told.emit(
                    f"{Path(saved.source).name} is another image now: open the one that was traced, or discard the work."
                )
                return
            session.set_radiograph(radiograph, source=saved.source, case=saved.case)
            # Kept anew under this window before the old copy goes.
            self._keep()
            self._discard(saved)

        def failed(sentence: str) -> None:
            session.busy_changed.emit("")
            session.told.emit(sentence)

        session.worker.ask("open", lambda: load_radiograph(saved.source), loaded, failed)

    # --- the end -----------------------------------------------------------------------------------------

    def shut(self) -> None:
        """Let go of viewer and thread; what was traced stays kept for the next start."""
        _close_all(self._to_close)
        self.pointer = self.canvas = None


def worked_on(case: Case) -> bool:
    """Whether anything was clicked on this image, or stated."""
    return bool(case.tracings or case.scale_objects or case.scale_draft_rc or case.stated != Stated())


def _close_all(to_close: list[Callable[[], object]]) -> None:
    while to_close:
        try:
            to_close.pop()()
        except (RuntimeError, ValueError, KeyError):
            # The viewer may be gone before its dock.
            log.debug("closed after the viewer", exc_info=True)
