"""Which kinds of error an answer shows, each decided by a limit that is stated here.

Causes come first. What follows from a cause is not named beside it: an angle that is off because the line stops short is a line
that stops short. So a class's table of kinds tells what to teach, not how far one slip spreads.
"""

from __future__ import annotations

from curvometer.assessment.comparing import Compared
from curvometer.assessment.expectations import ImageExpectation
from curvometer.assessment.findings import Findings
from curvometer.assessment.item_marks import Work
from curvometer.assessment.marks import ErrorKind, ItemMark
from curvometer.assessment.rubric import Item

END_MM = 0.5
"""A line that lost points, and whose foramen is off by more along the canal, has its cause there: the tolerance of a file's
length (common practice, no source); the experts' own spread where that is more."""
ORIFICE_MM = 1.0
"""The same for the orifice, which has no sharp edge."""
ASTRAY_MM = 0.60
"""A line of which a twentieth lies farther beside the canal has left it: twice a canal's usual width (common practice, no
source)."""
SWERVE_MM = 0.20
"""A line of which a twentieth lies farther from every shape of a canal swerves (common practice, no source)."""
UNSTEADY_MM = 0.10
"""A hand that jumps by more from point to point is unsteady, also where that cost nothing yet: half of a narrow canal's width
(common practice, no source)."""


def error_kinds(work: Work, items: tuple[ItemMark, ...]) -> tuple[ErrorKind, ...]:
    """Name what went wrong, the weightiest first.

    Parameters
    ----------
    work
        The answer with what was found.
    items
        Its marks: an item that earned everything names no error.

    Returns
    -------
    tuple of ErrorKind
        Empty for clean work.
    """
    found, lost = work.found, {item.code for item in items if item.points < item.out_of}
    unsafe = [ErrorKind.UNSAFE_PLAN] if found.plan.violations else []
    if found.wrong_file:
        return (ErrorKind.WRONG_IMAGE,)
    if work.answer.accepted is not None and work.answer.accepted != work.expected.key.acceptable:
        return (ErrorKind.IMAGE_MISJUDGED, *unsafe)
    if not work.expected.key.acceptable:
        return (
            (ErrorKind.IMAGE_MISJUDGED,) if Item.IMAGE.value in lost and work.answer.accepted is None else ()
        )
    causes = [*_of_scale(lost), *_of_line(work.expected, found, lost)]
    return tuple(dict.fromkeys((*unsafe, *causes, *_of_decisions(work, lost))))


def _of_scale(lost: set[str]) -> list[ErrorKind]:
    return [ErrorKind.SCALE] if Item.CALIBRATION.value in lost else []


def _of_line(expected: ImageExpectation, found: Findings, lost: set[str]) -> list[ErrorKind]:
    if found.elsewhere:
        return [ErrorKind.WRONG_IMAGE if found.other_image else ErrorKind.LEFT_THE_CANAL]
    if found.refusal:
        return [ErrorKind.SHAKY]
    if found.compared is None:
        return [ErrorKind.NOT_DONE] if lost & _OF_TRACING else []
    if not lost & _OF_TRACING:
        return [ErrorKind.SHAKY] if _is_unsteady(expected, found.compared) else []
    kinds = [ErrorKind.REVERSED] if found.was_reversed else []
    kinds += [*_of_course(expected, found.compared, lost), *_of_ends(expected, found.compared)]
    return kinds or _unexplained(lost)


_OF_LINE = {
    item.value for item in (Item.MEAN_DISTANCE, Item.FAR_DISTANCE, Item.HAUSDORFF, Item.FRECHET, Item.ENDS)
}
_OF_TRACING = _OF_LINE | {item.value for item in (Item.CURVE, Item.ANGLE, Item.RADIUS)}


def _of_ends(expected: ImageExpectation, compared: Compared) -> list[ErrorKind]:
    lines, spread, kinds = compared.lines, expected.course, []
    if abs(lines.foramen.along_mm) > max(END_MM, spread.foramen_mm):
        kinds.append(ErrorKind.STOPPED_SHORT if lines.foramen.along_mm < 0.0 else ErrorKind.BEYOND)
    if abs(lines.orifice.along_mm) > max(ORIFICE_MM, spread.orifice_mm):
        kinds.append(ErrorKind.WRONG_ORIFICE)
    return kinds


def _of_course(expected: ImageExpectation, compared: Compared, lost: set[str]) -> list[ErrorKind]:
    """An unsteady hand first, then a swerve that no canal takes, a bend that is elsewhere, a line that is beside the canal."""
    spread = expected.course
    if _is_unsteady(expected, compared):
        return [ErrorKind.SHAKY]
    if compared.swerve_mm > max(SWERVE_MM, spread.swerve_mm):
        return [ErrorKind.LEFT_THE_CANAL]
    band, shift = expected.bands.get(Item.CURVE), compared.start_shift_mm
    if band is not None and shift is not None and abs(shift) > band.full and Item.CURVE.value in lost:
        return [ErrorKind.CURVE_START]
    astray = compared.astray_mm > max(ASTRAY_MM, spread.astray_mm)
    # A steady bend that is too sharp leads away from the canal, too.
    return [ErrorKind.LEFT_THE_CANAL] if astray and Item.ANGLE.value not in lost else []


def _is_unsteady(expected: ImageExpectation, compared: Compared) -> bool:
    return compared.unsteady_mm > max(UNSTEADY_MM, expected.course.unsteady_mm)


def _unexplained(lost: set[str]) -> list[ErrorKind]:
    """What is off although the line has no cause of its own: the weightiest only."""
    if Item.ANGLE.value in lost:
        return [ErrorKind.ANGLE]
    if lost & _OF_LINE:
        return [ErrorKind.LEFT_THE_CANAL]
    return [ErrorKind.RADIUS if Item.RADIUS.value in lost else ErrorKind.CURVE_START]


def _of_decisions(work: Work, lost: set[str]) -> list[ErrorKind]:
    kinds = []
    if Item.GRADE.value in lost:
        # No class is no wrong class: a report that counted it so would send the wrong lesson to the whole course.
        kinds.append(ErrorKind.NOT_DONE if work.answer.grade is None else ErrorKind.GRADE)
    proposed = work.answer.plan
    if proposed is not None and work.expected.advices and proposed.advice not in work.expected.advices:
        kinds.append(ErrorKind.ADVICE)
    return kinds
