"""What is odd about a submission, in sentences for the teacher: told, never punished."""

from __future__ import annotations

from collections import Counter

from curvometer.assessment.expectations import Expectations
from curvometer.assessment.findings import Findings
from curvometer.assessment.submission import Answer, Submission
from curvometer.measurement import canal_values
from curvometer.radiograph import CurvometerError
from curvometer.record.models import CanalEntry
from curvometer.record.plain import calibration_from_plain

STATED = {
    "schneider_angle": ("Schneider angle", 0.3),
    "canal_length": ("canal length", 0.05),
    "pruett_radius": ("radius", 0.1),
    "curve_start_from_foramen": ("start of the curve", 0.1),
}
"""Numbers that a student's file states, in words, and by how much they may differ from the recomputed ones."""
LENGTHS = ("canal_length", "pruett_radius", "curve_start_from_foramen")
STATED_SHARE = 0.02
"""The same as a share of the number."""


def submission_remarks(expectations: Expectations, submission: Submission) -> tuple[str, ...]:
    """Tell of a changed file, another edition, unknown or repeated images."""
    sheet, told = expectations.sheet, []
    if not submission.seal:
        told.append("The file has no seal: it was not saved by this program, or the seal was taken out.")
    elif submission.changed:
        told.append("The file was changed after it was saved: its seal does not fit its text.")
    if submission.edition != sheet.edition:
        told.append(
            f"It was made on edition {submission.edition} of the exercise, this is {sheet.edition}: images that changed count"
            " as another image."
        )
    names = Counter(answer.image for answer in submission.answers)
    unknown = [name for name in names if name not in expectations.images]
    if unknown:
        told.append(f"The exercise has no image {', '.join(map(repr, unknown))}: not marked.")
    twice = [name for name, count in names.items() if count > 1]
    if twice:
        told.append(
            f"There are several answers to image {', '.join(map(repr, twice))}: the first one was marked."
        )
    return tuple(told)


def stated_remark(answer: Answer, found: Findings) -> str:
    """Tell of stated numbers that do not follow from the tracing; empty when they do."""
    if answer.canal is None or found.wrong_file:
        return ""
    differing = ["measured"]
    # First the shape that the student's program found: the fit of one shape takes a third of that of all.
    for shape in (answer.canal.measurement.shape, ""):
        try:
            values = _marked_values(answer, found, shape) or _own_values(answer, answer.canal, shape)
        except CurvometerError:
            continue
        differing = _differing(answer.canal, values)
        if not differing:
            return ""
    if differing == ["measured"]:
        return f"Image {answer.image}: it states a measurement of a line that cannot be measured."
    return (
        f"Image {answer.image}: {'; '.join(differing)}: changed by hand, or measured by another version; the recomputed"
        " numbers were marked."
    )


def _marked_values(answer: Answer, found: Findings, shape: str) -> dict[str, float]:
    """What was marked, in the student's own scale, where that is the same fit; empty where it is another one."""
    ratio, compared = found.scale_ratio, found.compared
    if not shape or ratio is None or compared is None or found.was_reversed:
        return {}
    spacing, own = compared.reference.spacing_rc_mm, answer.calibration
    same_pixels = own is not None and abs(own.aspect_ratio * spacing[1] / spacing[0] - 1.0) < 1e-9
    if not same_pixels or compared.traced.values.shape != shape:
        return {}
    found_values = compared.traced.values.quantities
    return {name: value * (ratio if name in LENGTHS else 1.0) for name, value in found_values.items()}


def _own_values(answer: Answer, canal: CanalEntry, shape: str) -> dict[str, float]:
    own = answer.calibration
    scale = None if own is None else calibration_from_plain(own.model_dump())
    return canal_values(canal.to_centreline(), scale, shape=shape, windows=False).quantities


def _differing(canal: CanalEntry, values: dict[str, float]) -> list[str]:
    differing = []
    for name, (words, slack) in STATED.items():
        stated, recomputed = getattr(canal.measurement, name), values.get(name)
        if stated is None or recomputed is None:
            continue
        if abs(stated.value - recomputed) > max(slack, STATED_SHARE * abs(recomputed)):
            differing.append(f"{words} {stated.value:.2f} stated, {recomputed:.2f} {stated.unit} recomputed")
    return differing
