"""The picture that a student gets back: both lines on the radiograph, where they part, and what that did to the angle.

The student's work is one colour and one pattern throughout, the reference's another; each mark has its own form, so that the
picture can be read without colours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.expectations import Expectations, ImageExpectation
from curvometer.assessment.feedback_text import feedback_words
from curvometer.assessment.findings import Findings, find
from curvometer.assessment.line_words import TOLD_MM
from curvometer.assessment.marking import mark_answer
from curvometer.assessment.submission import Answer
from curvometer.calibration import Calibration
from curvometer.geometry import arc_length, project_to_polyline
from curvometer.measurement import FittedLandmarks
from curvometer.overlay import (
    ORANGE,
    SKY_BLUE,
    WHITE,
    YELLOW,
    ByteArray,
    Canvas,
    Colour,
    View,
    background,
    draw_scale_bar,
    explained,
    room_for_words,
    sweep,
    text_width,
    unit,
    view_of,
)
from curvometer.radiograph import Radiograph

FloatArray = NDArray[np.float64]

PARTED = 17
"""Thickness of the stretch where the lines part."""


@dataclass(frozen=True, kw_only=True)
class _Side:
    """One of the two: whose, its line, its landmarks, its colour and patterns."""

    name: str
    points_rc: FloatArray
    marks: FittedLandmarks
    angle_deg: float
    colour: Colour
    pattern: str
    thin: str
    reach: float


def feedback_picture(
    expectations: Expectations, image_id: str, answer: Answer, radiograph: Radiograph
) -> ByteArray:
    """Draw a student's work beside the reference.

    Parameters
    ----------
    expectations
        From `expect`.
    image_id, answer
        Which image, and the student's work on it.
    radiograph
        The image.

    Returns
    -------
    array
        (rows, columns, 3) uint8, red-green-blue.

    Raises
    ------
    AssessmentError
        When the exercise has no such image, or the radiograph is another one.
    """
    mark = mark_answer(expectations, image_id, answer)
    expected = expectations.images[image_id]
    if radiograph.sha256 and radiograph.sha256 != expected.sheet.sha256:
        raise AssessmentError(
            f"the radiograph is not image {image_id!r} of the exercise: open the one of the hand-out"
        )
    found = find(expectations.images, image_id, answer)
    sides = _sides(expected, found)
    aspect = 1.0 if expected.line is None else expected.line.spacing_rc_mm[0] / expected.line.spacing_rc_mm[1]
    view = view_of(radiograph, _extent(sides, radiograph), aspect)
    canvas = Canvas(background(radiograph, view))
    for side in sides:
        canvas.keep_free(view.place(side.points_rc)[:: max(1, len(side.points_rc) // 40)])
    _draw_parting(canvas, view, expected, found)
    for side in sides:
        _draw_angle(canvas, view, side)
    for side in sides:
        canvas.cased_line(view.place(side.points_rc), side.colour, side.pattern, 3)
    for side in sides:
        _draw_marks(canvas, view, side)
    _draw_scale(canvas, view, expected, sides)
    words = [f"{image_id}: {feedback_words(mark)[0]}", *feedback_words(mark)[1:]]
    lines = _wrapped(words, room_for_words(canvas.width))
    return np.vstack([canvas.picture(), explained(canvas.width, _legend(sides, found), lines)])


def _sides(expected: ImageExpectation, found: Findings) -> list[_Side]:
    sides = []
    if expected.line is not None and expected.measurement is not None:
        sides.append(
            _Side(
                name="reference",
                points_rc=expected.line.points_rc,
                marks=expected.measurement.landmarks,
                angle_deg=expected.line.angle_deg,
                colour=YELLOW,
                pattern="dashed",
                thin="dotted",
                reach=0.75,
            )
        )
    if found.compared is not None:
        traced = found.compared.traced
        sides.append(
            _Side(
                name="you",
                points_rc=traced.points_rc,
                marks=traced.values.landmarks,
                angle_deg=traced.angle_deg,
                colour=SKY_BLUE,
                pattern="solid",
                thin="dash-dot",
                reach=0.5,
            )
        )
    return sides


def _extent(sides: list[_Side], radiograph: Radiograph) -> FloatArray:
    if not sides:
        rows, columns = radiograph.shape
        return np.array([[0.2 * rows, 0.2 * columns], [0.8 * rows, 0.8 * columns]])
    return np.vstack([side.points_rc for side in sides])


def _draw_parting(canvas: Canvas, view: View, expected: ImageExpectation, found: Findings) -> None:
    """Broad line along the stretch where the lines are farthest apart, with the distance across, and along what is missing."""
    if found.compared is None or expected.line is None or found.elsewhere:
        return
    lines, line_mm = found.compared.lines, expected.line.points_mm
    scale = np.array(expected.line.spacing_rc_mm)
    if lines.foramen.along_mm < -TOLD_MM:
        missing = view.place(_stretch(line_mm, -lines.foramen.along_mm, 0.0) / scale)
        canvas.band(missing, ORANGE, PARTED)
        canvas.word(f"{-lines.foramen.along_mm:.1f} mm missing", missing[20], ORANGE, side=1.0)
    part = max(lines.departures, key=lambda each: each.largest_mm, default=None)
    if part is not None:
        stretch = _stretch(line_mm, part.start_from_foramen_mm, part.end_from_foramen_mm)
        canvas.band(view.place(stretch / scale), ORANGE, PARTED)
        across = view.place(_widest(stretch, found.compared.traced.points_rc * scale) / scale)
        canvas.cased_line(across, ORANGE, "solid", 3)
        canvas.keep_free(np.linspace(across[0], across[1], 5))
        outwards = float(np.sign(across[1][0] - across[0][0])) or 1.0
        canvas.word(f"{part.largest_mm:.2f} mm apart", across.mean(axis=0), ORANGE, side=outwards)


def _widest(stretch_mm: FloatArray, mine_mm: FloatArray) -> FloatArray:
    """(2, 2) the place of a stretch that is farthest from a line, and the place of the line nearest to it."""
    at, gap = project_to_polyline(stretch_mm, mine_mm)
    widest, s = int(gap.argmax()), arc_length(mine_mm)
    return np.array([stretch_mm[widest], [np.interp(at[widest], s, mine_mm[:, k]) for k in (0, 1)]])


def _stretch(line_mm: FloatArray, start_from_foramen_mm: float, end_from_foramen_mm: float) -> FloatArray:
    s = arc_length(line_mm)
    at = s[-1] - np.linspace(start_from_foramen_mm, end_from_foramen_mm, 60)
    return np.column_stack([np.interp(at, s, line_mm[:, k]) for k in (0, 1)])


def _draw_angle(canvas: Canvas, view: View, side: _Side) -> None:
    """Both lines of Schneider's angle with the arc between them."""
    if side.marks.curve_start_rc is None:
        return
    axis = view.place(side.marks.axis_rc)
    along = unit(axis[1] - axis[0])
    corner, foramen = view.place(side.marks.curve_start_rc)[0], view.place(side.marks.foramen_rc)[0]
    chord, reach = unit(foramen - corner), float(np.hypot(*(foramen - corner)))
    canvas.cased_line(np.array([axis[0], corner + reach * along]), side.colour, side.thin, 2)
    canvas.cased_line(np.array([corner, foramen]), side.colour, side.thin, 2)
    arc = corner + side.reach * reach * sweep(along, chord)
    canvas.cased_line(arc, side.colour, side.thin, 2)
    canvas.keep_free(arc[::8])
    outwards = float(np.sign(along[0] - chord[0])) or 1.0
    canvas.word(f"{side.name}: {side.angle_deg:.1f} deg", arc[0], side.colour, side=outwards)


def _draw_marks(canvas: Canvas, view: View, side: _Side) -> None:
    """Curve start and ends: a triangle, a circle, a pentagon."""
    marks = side.marks
    mean = view.place(side.points_rc).mean(axis=0)
    for name, place_rc, corners in (
        ("orifice", marks.orifice_rc, 0),
        ("curve start", marks.curve_start_rc, 3),
        ("foramen", marks.foramen_rc, 5),
    ):
        if place_rc is None:
            continue
        place = view.place(place_rc)[0]
        canvas.mark(place, side.colour, corners)
        if name != "orifice":
            outer = 1.0 if mean[0] >= place[0] else -1.0
            canvas.word(f"{side.name}: {name}", place, side.colour, side=outer)


def _draw_scale(canvas: Canvas, view: View, expected: ImageExpectation, sides: list[_Side]) -> None:
    if expected.line is None or not sides:
        return
    spacing = expected.line.spacing_rc_mm
    low = max(sides[0].points_rc[[0, -1]], key=lambda point: float(point[0]))
    left = bool(view.place(low)[0][0] > canvas.width / 2.0)
    scale = Calibration(spacing_rc_mm=spacing, aspect_ratio=spacing[0] / spacing[1], at_tooth=True)
    draw_scale_bar(canvas, view, scale, left=left)


def _legend(sides: list[_Side], found: Findings) -> list[tuple[str, Colour, str, int]]:
    names = {"you": ("your line", "your angle"), "reference": ("reference line", "reference's angle")}
    rows: list[tuple[str, Colour, str, int]] = []
    for side in sides:
        line, angle = names[side.name]
        rows += [(line, side.colour, side.pattern, 3), (angle, side.colour, side.thin, 2)]
    if _parts(found):
        rows.append(("where they part", ORANGE, "solid", PARTED))
    if not sides:
        rows.append(("no line is expected here", WHITE, "dotted", 1))
    return rows


def _parts(found: Findings) -> bool:
    if found.compared is None or found.elsewhere:
        return False
    return bool(found.compared.lines.departures) or found.compared.lines.foramen.along_mm < -TOLD_MM


def _wrapped(sentences: list[str], room: int) -> list[str]:
    lines = []
    for sentence in sentences:
        line = ""
        for word in sentence.split():
            longer = f"{line} {word}" if line else word
            if line and text_width(longer) > room:
                lines.append(line)
                longer = f"  {word}"
            line = longer
        lines.append(line)
    return lines
