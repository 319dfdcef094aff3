"""One radiograph at work: what a person did to it, what follows from that, and who is told when it changes.

A session knows neither the window nor the viewer. Everything that a person does is a call here; everything that is shown is
read from here after a signal. Its methods must be called in one thread, the window's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from psygnal import Signal

from curvometer import (
    Calibration,
    CanalName,
    CurvometerError,
    LiveTracer,
    Radiograph,
    Structure,
    calibrate_from_file,
    load_radiograph,
)
from curvometer_napari import case as edits
from curvometer_napari.case import Case, Display, PointRC, ScaleObject, Tracing
from curvometer_napari.history import History
from curvometer_napari.solving import Deliver, Result, Worker, scale_of, solve
from curvometer_napari.stated import beside_the_tooth

FloatArray = NDArray[np.floating[Any]]


class Tool(StrEnum):
    """What a click on the image does."""

    LOOK = "look"
    """Move the image, or an anchor."""
    SCALE = "scale"
    """Click along a file of known length."""
    TRACE = "trace"
    """Click the orifice, waypoints, the foramen."""


class Session:
    """The state behind the panel and the canvas.

    Attributes
    ----------
    radiograph, source
        The image and the name that it was opened by; None and empty before.
    tool
        What a click does.
    hand
        Whether the next leg is drawn by hand.
    length_mm, tolerance_mm
        Stop-to-tip length of the next file, and how far it may be off.
    quantity
        The measure whose construction is shown, or None.
    cursor_mm
        The marked place, as distance from the foramen in the profile's unit, or None.
    openers
        Who opens files that are no radiographs, by how their names end, in lower case.
    """

    radiograph_changed = Signal()
    case_changed = Signal()
    results_changed = Signal()
    tool_changed = Signal()
    emphasis_changed = Signal()
    told = Signal(str)
    """One sentence for the panel; empty when the last one is over."""
    busy_changed = Signal(str)
    """What is going on in the background; empty when nothing is."""

    def __init__(self, *, deliver: Deliver | None = None) -> None:
        self.radiograph: Radiograph | None = None
        self.source = ""
        self.tool = Tool.LOOK
        self.hand = False
        self.length_mm, self.tolerance_mm = 21.0, 0.5
        self.quantity: str | None = None
        self.cursor_mm: float | None = None
        self.openers: dict[str, Callable[[str], object]] = {}
        deliver = deliver or (lambda say: say())
        self.worker = Worker(deliver)
        self.recommending = Worker(deliver, name="curvometer recommenders")
        """A thread of its own: somebody else's recommender may hang, and a canal is traced and measured meanwhile."""
        self._history = History()
        self._preview: Case | None = None
        self._stated: Calibration | None = None
        self._results: dict[CanalName, Result] = {}
        self._scales: tuple[tuple[ScaleObject, ...], Calibration] | None = None
        self._tracers: dict[Structure, LiveTracer] = {}
        self._legs: dict[tuple[PointRC, PointRC, Structure], FloatArray] = {}

    # --- the image ---------------------------------------------------------------------------------------

    def open_image(self, path: str | Path) -> None:
        """Load an image in the background; a bad file is told, and what was open stays."""
        for ending, opener in self.openers.items():
            if Path(path).name.lower().endswith(ending):
                opener(str(path))
                return
        self.busy_changed.emit(f"opening {Path(path).name}")

        def loaded(radiograph: Radiograph) -> None:
            self.busy_changed.emit("")
            self.set_radiograph(radiograph, source=str(path))

        def failed(sentence: str) -> None:
            self.busy_changed.emit("")
            self.told.emit(sentence)

        self.worker.ask("open", lambda: load_radiograph(path), loaded, failed)

    def stop_opening(self) -> None:
        """Do not wait for the image any more."""
        self.worker.drop("open")
        self.busy_changed.emit("")

    def set_radiograph(
        self,
        radiograph: Radiograph,
        *,
        source: str = "",
        case: Case | None = None,
        history: History | None = None,
        stated: Calibration | None = None,
    ) -> None:
        """Begin with an image, and with what was done to it before when that is given: a case, or all its steps.

        Without that, who would treat and the clinic's own files stay stated; nothing about the last tooth does. A stated
        scale takes the place of what the image file says.
        """
        begun = Case(stated=beside_the_tooth(self.case.stated))
        for tracing in self.case.tracings:
            self.worker.drop(f"solve {tracing.name}")
        self.radiograph, self.source, self._stated = radiograph, source, stated
        self.tool, self.quantity, self.cursor_mm = Tool.LOOK, None, None
        self._history, self._preview = history or History().in_place(begun), None
        self._results.clear()
        self._forget_paths()
        if case is not None:
            self._history = (history or History()).with_step(case, "reopen")
        if self.case.draft is not None:
            self.tool = Tool.TRACE
        elif self.case.scale_draft_rc:
            self.tool = Tool.SCALE
        self.told.emit("")
        self.radiograph_changed.emit()
        self.tool_changed.emit()
        self._changed()

    # --- the case and its history ------------------------------------------------------------------------

    @property
    def case(self) -> Case:
        """What the person did, a drag under way included."""
        return self._preview or self._history.case

    @property
    def history(self) -> History:
        """All steps of the case, those that were undone too; a drag under way is none yet."""
        return self._history

    @property
    def settled(self) -> bool:
        """Whether no drag is under way."""
        return self._preview is None

    @property
    def undo_text(self) -> str:
        """What undo would take back."""
        return self._history.undo_text

    @property
    def redo_text(self) -> str:
        """What redo would do again."""
        return self._history.redo_text

    def do(self, case: Case, what: str) -> None:
        """Make a case the present one; `what` names the step for undo."""
        self._preview = None
        self._history = self._history.with_step(case, what)
        self.told.emit("")
        self._changed()

    def preview(self, case: Case) -> None:
        """Show a case that is not a step yet, as while an anchor is dragged."""
        self._preview = case
        self._changed()

    def undo(self) -> None:
        """Take the last step back."""
        self._go(self._history.undone())

    def redo(self) -> None:
        """Do again what was undone last."""
        self._go(self._history.redone())

    def _go(self, history: History) -> None:
        self._preview, self._history = None, history
        tool = self.tool
        if tool is Tool.TRACE and self.case.draft is None:
            tool = Tool.LOOK
        elif self.case.draft is not None:
            tool = Tool.TRACE
        self.choose(tool)
        self.told.emit("")
        self._changed()

    def show(self, display: Display, what: str) -> None:
        """Change how the image is shown."""
        self.do(replace(self.case, display=display), what)

    # --- the tool in hand --------------------------------------------------------------------------------

    def choose(self, tool: Tool, *, hand: bool = False) -> None:
        """Take a tool in hand."""
        if (tool, hand) != (self.tool, self.hand):
            self.tool, self.hand = tool, hand
            self.tool_changed.emit()

    def start_scale(self) -> None:
        """Begin to click along a file of known length."""
        if self._no_image():
            return
        if self.case.draft is not None:
            self.told.emit("A canal is being traced: accept it with Enter or cancel it with Escape first.")
            return
        self.choose(Tool.SCALE)

    def start_tracing(self, name: CanalName, structure: Structure = Structure.CANAL) -> None:
        """Begin a canal of that name."""
        if self._no_image():
            return
        known = self.case.tracing(name)
        if known is not None and known.accepted:
            self.told.emit(f"The canal {name} is traced already: choose another name, or delete it first.")
            return
        if self.case.draft is not None and self.case.draft.name != name:
            self.told.emit(
                f"The canal {self.case.draft.name} is being traced: accept it with Enter or cancel it with Escape first."
            )
            return
        case = replace(self.case, scale_draft_rc=())
        self.do(
            edits.with_tracing(case, known or Tracing(name=name, structure=structure)), f"start canal {name}"
        )
        self.choose(Tool.TRACE)

    def click(self, point_rc: PointRC) -> None:
        """Do what the tool in hand does at a place of the image."""
        if self.radiograph is None or self.tool is Tool.LOOK:
            return
        if not self.radiograph.contains(point_rc):
            self.told.emit("That is beside the image: click on it.")
            return
        case, draft = self.case, self.case.draft
        if self.tool is Tool.SCALE:
            self.do(replace(case, scale_draft_rc=(*case.scale_draft_rc, point_rc)), "click along the file")
        elif draft is not None:
            last = draft.anchors_rc[-1:]
            if last and np.hypot(*np.subtract(last[0], point_rc)) < 1.0:
                self.told.emit(
                    "That is where the last click was: click further along the canal, or press Enter."
                )
                return
            first = "click the orifice" if not last else "click along the canal"
            self.do(edits.with_tracing(case, edits.with_anchor(draft, point_rc, by_hand=self.hand)), first)

    def accept(self) -> None:
        """Finish the file or the canal in hand."""
        case, draft = self.case, self.case.draft
        if self.tool is Tool.SCALE:
            self._accept_file(case)
        elif self.tool is Tool.TRACE and draft is not None:
            if len(draft.anchors_rc) < 2:
                self.told.emit(
                    "A canal needs two clicks: one at the orifice and one at the foramen, then press Enter."
                )
                return
            result = self.result(draft.name)
            if result is not None and result.problem:
                self.told.emit(result.problem)
                return
            self.do(edits.with_tracing(case, replace(draft, accepted=True)), f"accept canal {draft.name}")
            self.choose(Tool.LOOK)

    def _accept_file(self, case: Case) -> None:
        if len(case.scale_draft_rc) < 2:
            self.told.emit("A file needs two clicks or more: its stop, on the way where it is bent, its tip.")
            return
        item = ScaleObject(
            clicks_rc=case.scale_draft_rc, length_mm=self.length_mm, tolerance_mm=self.tolerance_mm
        )
        try:
            self._calibrated((item,))
            self._calibrated((*case.scale_objects, item))
        except CurvometerError as error:
            self.told.emit(str(error))
            return
        objects = (*case.scale_objects, item)
        self.do(replace(case, scale_objects=objects, scale_draft_rc=()), "accept the file")
        self.choose(Tool.LOOK)

    def take_back(self) -> None:
        """Take the last click back."""
        case, draft = self.case, self.case.draft
        if self.tool is Tool.SCALE and case.scale_draft_rc:
            self.do(replace(case, scale_draft_rc=case.scale_draft_rc[:-1]), "take back a click")
        elif self.tool is Tool.TRACE and draft is not None and draft.anchors_rc:
            self.do(edits.with_tracing(case, edits.without_last_anchor(draft)), "take back a click")

    def cancel(self) -> None:
        """Give up the file or the canal in hand; undo brings it back."""
        case, draft = self.case, self.case.draft
        if self.tool is Tool.TRACE and draft is not None:
            self.do(edits.without_tracing(case, draft.name), f"cancel canal {draft.name}")
        elif self.tool is Tool.SCALE and case.scale_draft_rc:
            self.do(replace(case, scale_draft_rc=()), "cancel the file")
        self.choose(Tool.LOOK)

    # --- scale -------------------------------------------------------------------------------------------

    @property
    def file_calibration(self) -> Calibration | None:
        """What the image file says about its scale, or what was stated in its place."""
        if self._stated is not None or self.radiograph is None:
            return self._stated
        return calibrate_from_file(self.radiograph)

    @property
    def calibration(self) -> Calibration | None:
        """The scale in use: the clicked files when there are any, else what the image file says."""
        if self.radiograph is None:
            return None
        objects = self.case.scale_objects
        if self._scales is None or self._scales[0] != objects:
            self._forget_paths()
            self._scales = (objects, self._calibrated(objects))
        return self._scales[1]

    def draft_calibration(self) -> Calibration | None:
        """The scale that the clicks along the unfinished file would give; None while they give none."""
        clicks = self.case.scale_draft_rc
        if len(clicks) < 2:
            return None
        item = ScaleObject(clicks_rc=clicks, length_mm=self.length_mm, tolerance_mm=self.tolerance_mm)
        try:
            return self._calibrated((item,))
        except CurvometerError:
            return None

    def _calibrated(self, objects: tuple[ScaleObject, ...]) -> Calibration:
        assert self.radiograph is not None
        return scale_of(self.radiograph, objects, stated=self._stated)

    # --- what follows ------------------------------------------------------------------------------------

    def result(self, name: CanalName | None) -> Result | None:
        """The newest outcome for a canal, perhaps of a moment ago; see `is_fresh`."""
        return None if name is None else self._results.get(name)

    def is_fresh(self, name: CanalName) -> bool:
        """Whether a canal's outcome belongs to its anchors and scale as they are now."""
        result, tracing = self._results.get(name), self.case.tracing(name)
        return result is not None and tracing is not None and self._holds(result, tracing)

    def line_rc(self, name: CanalName) -> FloatArray:
        """(n, 2) the canal's line as it is to be drawn: the refined one, or the quick paths until that is there."""
        tracing = self.case.tracing(name)
        if tracing is None:
            return np.empty((0, 2))
        result = self._results.get(name)
        if result is not None and result.centreline is not None and self._holds(result, tracing):
            return result.centreline.points_rc
        ends = list(zip(tracing.anchors_rc[:-1], tracing.anchors_rc[1:], strict=True))
        legs = [
            np.array([a, b], dtype=float)
            if i in tracing.hand_legs
            else self._leg(a, b, tracing.structure, keep=self.settled)
            for i, (a, b) in enumerate(ends)
        ]
        return np.vstack(legs) if legs else np.empty((0, 2))

    def live_path_rc(self, pointer_rc: PointRC) -> FloatArray:
        """(n, 2) the way from the last anchor of the canal in hand to the pointer; empty when there is none."""
        draft = self.case.draft
        if self.tool is not Tool.TRACE or draft is None or not draft.anchors_rc:
            return np.empty((0, 2))
        if self.hand:
            return np.array([draft.anchors_rc[-1], pointer_rc], dtype=float)
        return self._leg(draft.anchors_rc[-1], pointer_rc, draft.structure, keep=False)

    def emphasise(self, quantity: str | None) -> None:
        """Show the construction of a measure."""
        if quantity != self.quantity:
            self.quantity = quantity
            self.emphasis_changed.emit()

    def point_at(self, from_foramen: float | None) -> None:
        """Mark a place on the selected canal by its distance from the foramen."""
        if from_foramen != self.cursor_mm:
            self.cursor_mm = from_foramen
            self.emphasis_changed.emit()

    def select(self, name: CanalName | None) -> None:
        """Tell about another canal; a choice, not a step to undo."""
        if name != self.case.selected and (name is None or self.case.tracing(name) is not None):
            self._preview = None
            self._history = self._history.in_place(replace(self._history.case, selected=name))
            self._changed()

    @property
    def busy(self) -> bool:
        """Whether anything waits or runs in the background."""
        return self.worker.busy or self.recommending.busy

    def close(self) -> None:
        """End the background threads; a recommender that hangs is not waited for."""
        self.recommending.close(wait=False)
        self.worker.close()

    def _no_image(self) -> bool:
        if self.radiograph is None:
            self.told.emit("Open a radiograph first: drop the file on the window.")
        return self.radiograph is None

    def _holds(self, result: Result, tracing: Tracing) -> bool:
        same = replace(result.tracing, accepted=tracing.accepted, name=tracing.name) == tracing
        return same and result.calibration == self.calibration

    def _changed(self) -> None:
        self.case_changed.emit()
        self._solve()

    def _solve(self) -> None:
        radiograph, calibration = self.radiograph, self.calibration
        if radiograph is None or calibration is None:
            return
        for name in set(self._results) - {t.name for t in self.case.tracings}:
            self.worker.drop(f"solve {name}")
            del self._results[name]
        for tracing in self.case.tracings:
            if len(tracing.anchors_rc) >= 2 and not self.is_fresh(tracing.name):
                self._ask(radiograph, calibration, tracing)
        self.results_changed.emit()

    def _ask(self, radiograph: Radiograph, calibration: Calibration, tracing: Tracing) -> None:
        def done(result: Result) -> None:
            if self.case.tracing(tracing.name) is not None:
                self._results[tracing.name] = result
                self.results_changed.emit()

        self.worker.ask(
            f"solve {tracing.name}", lambda: solve(radiograph, calibration, tracing), done, self.told.emit
        )

    def _leg(self, start: PointRC, end: PointRC, structure: Structure, *, keep: bool) -> FloatArray:
        key = (start, end, structure)
        if key not in self._legs:
            tracer = self._tracer(structure)
            tracer.anchors_rc[:] = [start]
            path = tracer.path_to(end)
            if not keep:
                return path
            self._legs[key] = path
        return self._legs[key]

    def _tracer(self, structure: Structure) -> LiveTracer:
        assert self.radiograph is not None
        if structure not in self._tracers:
            self._tracers[structure] = LiveTracer(
                self.radiograph, structure=structure, calibration=self.calibration
            )
        return self._tracers[structure]

    def _forget_paths(self) -> None:
        self._scales = None
        self._tracers.clear()
        self._legs.clear()
