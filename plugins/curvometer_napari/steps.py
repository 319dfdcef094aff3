"""How far each step of the work is, in words: image, scale, canal, measurements."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import PurePath

from curvometer import Calibration, CanalName, MeasurementFlag, Severity, Structure
from curvometer_napari.case import Tracing
from curvometer_napari.session import Session, Tool
from curvometer_napari.solving import Result

IMAGE_FIRST = "Open a radiograph first."
ANGLES_ONLY = "Angles only: click along a file of known length for mm."


class State(StrEnum):
    """How far a step is; the value is the word that a person reads."""

    TODO = "to do"
    DONE = "done"
    PROBLEM = "problem"


@dataclass(frozen=True, kw_only=True)
class StepState:
    """One step of the work.

    Attributes
    ----------
    name
        ``"image"``, ``"scale"``, ``"canal"`` or ``"measurements"``.
    state
        To do, done or problem.
    words
        One sentence: what there is, what to do, or why it cannot be done yet.
    """

    name: str
    state: State
    words: str


def all_steps(session: Session) -> tuple[StepState, StepState, StepState, StepState]:
    """Tell the four steps in the order of the work."""
    return image_step(session), scale_step(session), canal_step(session), measurements_step(session)


def image_step(session: Session) -> StepState:
    """Tell whether there is an image."""
    if session.radiograph is None:
        return _todo("image", "Open a radiograph: press Open, or drop the file on the window.")
    rows, columns = session.radiograph.shape
    size = f"{session.radiograph.file_format}, {columns} x {rows} pixels"
    name = PurePath(session.source).name
    return _done("image", f"{name}: {size}" if name else size)


def scale_step(session: Session) -> StepState:
    """Tell whether lengths can be given."""
    calibration = session.calibration
    if calibration is None:
        return _todo("scale", IMAGE_FIRST)
    if session.tool is Tool.SCALE:
        return _todo("scale", scale_guidance(session))
    if "objects_disagree" in calibration.flags:
        words = "The files disagree by more than their errors: check the lengths and the clicks."
        return StepState(name="scale", state=State.PROBLEM, words=words)
    if calibration.mm_per_pixel is None:
        return _todo("scale", ANGLES_ONLY)
    return _done("scale", scale_words(calibration))


def canal_step(session: Session) -> StepState:
    """Tell which canals are traced."""
    case = session.case
    if session.radiograph is None:
        return _todo("canal", IMAGE_FIRST)
    for tracing in case.tracings:
        result = session.result(tracing.name)
        if result is not None and result.problem and session.is_fresh(tracing.name):
            return StepState(name="canal", state=State.PROBLEM, words=f"{tracing.name}: {result.problem}")
    if case.draft is not None:
        return _todo("canal", guidance(session))
    if not case.tracings:
        return _todo("canal", "Choose the canal's name and press Trace.")
    names = ", ".join(tracing.name for tracing in case.tracings)
    return _done("canal", f"Traced: {names}.")


def measurements_step(session: Session) -> StepState:
    """Tell whether there are numbers, and whether they can be trusted."""
    if session.radiograph is None:
        return _todo("measurements", IMAGE_FIRST)
    tracing = session.case.current
    if tracing is None:
        return _todo("measurements", "Trace a canal first.")
    if len(tracing.anchors_rc) < 2:
        return _todo("measurements", f"Trace {tracing.name} from the orifice to the foramen first.")
    result = session.result(tracing.name)
    fresh = session.is_fresh(tracing.name)
    if result is None or (result.measurement is None and not fresh):
        return _todo("measurements", f"Measuring {tracing.name} ...")
    return _measured(tracing.name, result, updating=not fresh)


def _measured(name: CanalName, result: Result, *, updating: bool) -> StepState:
    if result.measurement is None:
        words = f"{name}: {result.problem or 'nothing could be measured.'}"
        return StepState(name="measurements", state=State.PROBLEM, words=words)
    flags = result.measurement.flags
    now = "updating ..." if updating else f"{_counted(flags)}."
    if any(flag.severity is Severity.DO_NOT_TRUST for flag in flags):
        now = "updating ..." if updating else "the reason stands below."
        words = f"{name}: do not trust these numbers; {now}"
        return StepState(name="measurements", state=State.PROBLEM, words=words)
    return _done("measurements", f"{name}: {now}")


def _counted(flags: tuple[MeasurementFlag, ...]) -> str:
    count = sum(flag.severity is Severity.CAUTION for flag in flags)
    return {0: "measured, no cautions", 1: "measured, with 1 caution"}.get(
        count, f"measured, with {count} cautions"
    )


def guidance(session: Session) -> str:
    """Tell what to click next on the canal in hand; empty when there is none."""
    draft = session.case.draft
    if draft is None:
        return ""
    line = "the bright instrument" if draft.structure is Structure.INSTRUMENT else "the dark canal"
    if not draft.anchors_rc:
        return f"{draft.name}: click the canal orifice."
    if len(draft.anchors_rc) == 1:
        return f"{draft.name}: follow {line} with the pointer and click the apical foramen, or a point on the way."
    return f"{draft.name}: Enter accepts; or click on along {line} if the last click is not the foramen."


def scale_guidance(session: Session) -> str:
    """Tell what to click next along the file in hand."""
    count = len(session.case.scale_draft_rc)
    if count == 0:
        return "Click the file's stop on the image."
    if count == 1:
        return "Now click along the file to its tip; more clicks where it is bent."
    return "Click on to the tip, then accept with Enter."


def leg_words(tracing: Tracing) -> str:
    """Tell how much of a canal was drawn by hand; empty when nothing was."""
    count, legs = len(tracing.hand_legs), max(len(tracing.anchors_rc) - 1, 0)
    return f"{count} of {legs} legs by hand" if count else ""


def scale_words(calibration: Calibration) -> str:
    """Tell a scale in numbers: mm per pixel, its standard uncertainty, and that in percent."""
    scale, uncertainty = calibration.mm_per_pixel, calibration.standard_uncertainty
    if scale is None or uncertainty is None:
        return "No scale in the plane of the tooth."
    percent = 100.0 * calibration.relative_standard_uncertainty
    return f"{scale:.5f} mm per pixel, standard uncertainty {uncertainty:.5f} ({percent:.1f} %)"


def _todo(name: str, words: str) -> StepState:
    return StepState(name=name, state=State.TODO, words=words)


def _done(name: str, words: str) -> StepState:
    return StepState(name=name, state=State.DONE, words=words)
