"""A plan drawn along the canal: how deep each instrument goes, where the canal bends, and the strain of one step."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QPointF, QRectF, Qt, Signal
from qtpy.QtGui import (
    QColor,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
)
from qtpy.QtWidgets import QWidget

from curvometer import CurvometerError, PlanRequest, SequencePlan, SequenceStep, strain_along
from curvometer_napari.panel.curvature_plot import Scale, ticks, write
from curvometer_napari.panel.looks import Ink, dim, ink, line_height, text_colour, tint
from curvometer_napari.panel.marks import draw_shape
from curvometer_napari.panel.own_drawing import OwnDrawing
from curvometer_napari.plan_words import step_words
from curvometer_napari.steps import State

FloatArray = NDArray[np.float64]

BENT_FROM = 1.0 / 200.0
"""Curvature in 1/mm from which a place is shaded as bent: a radius below 200 mm."""
LEAST_PERCENT = 1.0
"""Least height of the strain's axis: a straight canal must not look strained."""

ROW = 1.4
"""Height of a row, in lines of text."""
STRAIN = 6.5
"""Height of the strain's plot with its headline, in lines of text."""
AS_NONE_PERCENT = 0.05
"""Strains below this are printed as 0.0 %."""

SIZE_COLOURS = {
    "pink": "#f4a6c0",
    "grey": "#9a9a9a",
    "purple": "#8b4fa8",
    "white": "#ffffff",
    "yellow": "#f5d63d",
    "red": "#d8392b",
    "blue": "#2f6fc4",
    "green": "#2f9e57",
    "black": "#111111",
}
"""The handles' colours by ISO 3630-1 (from memory), as near as a screen shows them."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Strain:
    """Strain of one step along the canal; (n,) each, in per cent, with its 95 % band, against the depth in mm."""

    depth_mm: FloatArray
    percent: FloatArray
    lower: FloatArray
    upper: FloatArray


def bent_parts(request: PlanRequest) -> list[tuple[float, float]]:
    """Where the canal bends, as (from, to) in mm of depth from the reference point, the upper end first."""
    curve, length = request.curve, request.working_length_mm
    if curve is None or length is None:
        return []
    bent = curve.curvature_per_mm > BENT_FROM
    parts: list[list[float]] = []
    going_on = False
    for place, is_bent in zip(curve.from_foramen_mm, bent, strict=True):
        depth = length - float(place)
        if is_bent and going_on:
            parts[-1][0] = depth
        elif is_bent:
            parts.append([depth, depth])
        going_on = bool(is_bent)
    return [(start, end) for start, end in reversed(parts) if end > start]


def strain_of(step: SequenceStep, request: PlanRequest) -> Strain | None:
    """The strain of a step at its depth; None where there is no curve, or the tip stays above the canal."""
    curve, length = request.curve, request.working_length_mm
    if curve is None or length is None:
        return None
    try:
        found = strain_along(step.instrument, curve, tip_from_foramen_mm=length - step.to_mm)
    except CurvometerError:
        return None
    return Strain(
        depth_mm=length - found.from_foramen_mm,
        percent=100.0 * found.strain,
        lower=100.0 * found.lower,
        upper=100.0 * found.upper,
    )


class PlanDrawing(OwnDrawing):
    """Steps as rows against the depth; below them the strain of the selected step. Click a row, or use the arrow keys."""

    chosen = Signal(int)
    """Number of the step that was pointed at, from 0."""

    def __init__(self) -> None:
        super().__init__(
            "The plan along the canal",
            "How deep each instrument goes: hollow by hand, filled by motor. The bent part of the canal is shaded."
            " Below: the strain of the selected step with its 95 % band.",
        )
        self.plan: SequencePlan | None = None
        self.request: PlanRequest | None = None
        self.selected = 0
        self.done: int | None = None
        """How many steps are done at the chair; None where none has begun."""
        self.now: int | None = None
        """The step that is next at the chair; None where something else is."""
        self.strain: Strain | None = None

    def show_plan(
        self,
        plan: SequencePlan,
        request: PlanRequest,
        *,
        selected: int,
        done: int | None = None,
        now: int | None = None,
    ) -> None:
        """Show a plan with one of its steps selected."""
        selected = min(max(selected, 0), len(plan.steps) - 1)
        same_plan = self.plan is plan and self.request is request
        if same_plan and (self.selected, self.done, self.now) == (selected, done, now):
            return
        grown = self.plan is None or len(plan.steps) != len(self.plan.steps)
        self.plan, self.request, self.selected, self.done, self.now = plan, request, selected, done, now
        self.strain = strain_of(plan.steps[selected], request)
        self.setAccessibleDescription(f"Step {selected + 1}: {step_words(plan.steps[selected], request)}")
        if grown:
            self.updateGeometry()
        self.update()

    def readout(self) -> str:
        """What the strain of the selected step is at its largest, in a line."""
        if self.plan is None or self.strain is None:
            return "No strain can be told for this step"
        strain = self.strain
        at = int(np.argmax(strain.percent))
        if strain.percent[at] < AS_NONE_PERCENT:
            return f"Step {self.selected + 1}: not strained by bending"
        return (
            f"Step {self.selected + 1}: at most {strain.percent[at]:.1f} %"
            f" ({strain.lower[at]:.1f} to {strain.upper[at]:.1f}), {strain.depth_mm[at]:.1f} mm deep"
        )

    def height_lines(self) -> float:
        """A row for each step, and the strain's plot."""
        rows = 1 if self.plan is None else len(self.plan.steps)
        return 1.3 + rows * ROW + 2.4 + STRAIN

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802 - Qt's name
        """Choose the step of a row."""
        super().mousePressEvent(event)
        row = int((event.position().y() - self._top()) // (ROW * line_height(self)))
        if self.plan is not None and 0 <= row < len(self.plan.steps):
            self.chosen.emit(row)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802 - Qt's name
        """Choose the next or the last step."""
        move = {Qt.Key.Key_Up: -1, Qt.Key.Key_Down: 1}.get(Qt.Key(event.key()))
        if self.plan is None or move is None:
            super().keyPressEvent(event)
            return
        self.chosen.emit(min(max(self.selected + move, 0), len(self.plan.steps) - 1))

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002 - Qt's name
        """Draw the rows, the axis and the strain."""
        if self.plan is None or self.request is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        across = self._across(self.plan, self.request)
        foot = self._top() + len(self.plan.steps) * ROW * line_height(self)
        self._paint_bends(painter, across, self.request)
        for number, step in enumerate(self.plan.steps):
            self._paint_row(painter, across, number, step)
        self._paint_limits(painter, across, self.request, foot)
        self._paint_strain(painter, across, foot)
        self.paint_focus(painter)
        painter.end()

    def _top(self) -> float:
        return 1.3 * line_height(self)

    def _across(self, plan: SequencePlan, request: PlanRequest) -> Scale:
        line, metrics = line_height(self), QFontMetricsF(self.font())
        names = max(
            metrics.horizontalAdvance(f"{n + 1} {step.instrument.name}") for n, step in enumerate(plan.steps)
        )
        deepest = max(request.working_length_mm or 0.0, *(step.to_mm for step in plan.steps))
        start = min(names + 2.6 * line, 0.5 * self.width())
        return Scale(low=0.0, high=deepest, start=start, end=self.width() - 3.0 * line)

    def _paint_bends(self, painter: QPainter, across: Scale, request: PlanRequest) -> None:
        line, parts = line_height(self), bent_parts(request)
        shade = tint(self, text_colour(self), 0.16)
        bottom = self.height() - 2.4 * line
        for start, end in parts:
            left = across.place(max(start, 0.0))
            painter.fillRect(QRectF(left, self._top(), across.place(end) - left, bottom - self._top()), shade)
        painter.setPen(text_colour(self))
        words = (
            "bent part shaded"
            if len(parts) == 1
            else f"{len(parts)} bent parts shaded"
            if parts
            else "straight canal"
        )
        head = QRectF(across.start, 0.0, self.width() - across.start - 0.3 * line, 1.2 * line)
        write(painter, head, words, Qt.AlignmentFlag.AlignRight)

    def _paint_limits(self, painter: QPainter, across: Scale, request: PlanRequest, foot: float) -> None:
        """Draw over the bars where each bend begins and ends, and the working length."""
        ends = [(depth, Qt.PenStyle.DotLine) for part in bent_parts(request) for depth in part]
        if request.working_length_mm is not None:
            ends.append((request.working_length_mm, Qt.PenStyle.DashLine))
        for depth, style in ends:
            x = across.place(max(depth, 0.0))
            painter.setPen(QPen(text_colour(self), 1.0, style))
            painter.drawLine(QPointF(x, self._top()), QPointF(x, foot))

    def _paint_row(self, painter: QPainter, across: Scale, number: int, step: SequenceStep) -> None:
        line = line_height(self)
        top = self._top() + number * ROW * line
        if number == self.selected:
            painter.setPen(QPen(text_colour(self), 1.2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(QRectF(0.6, top + 0.6, self.width() - 1.2, ROW * line - 1.2))
        self._paint_state(painter, number, QRectF(0.1 * line, top + 0.3 * line, 0.8 * line, 0.8 * line))
        paint_swatch(painter, step, QRectF(1.05 * line, top + 0.32 * line, 0.75 * line, 0.75 * line), self)
        painter.setPen(text_colour(self))
        label = QRectF(2.0 * line, top + 0.15 * line, across.start - 2.2 * line, 1.1 * line)
        write(painter, label, f"{number + 1} {step.instrument.name}", Qt.AlignmentFlag.AlignLeft)
        colour = ink(self, Ink.CURVE)
        painter.setPen(QPen(colour, 1.4))
        painter.setBrush(colour if step.is_rotary else Qt.BrushStyle.NoBrush)
        end = across.place(step.to_mm)
        bar = QRectF(across.start, top + 0.42 * line, end - across.start, 0.55 * line)
        painter.drawRect(bar)
        painter.setPen(text_colour(self))
        room = QRectF(end + 0.2 * line, top + 0.15 * line, self.width() - end - 0.3 * line, 1.1 * line)
        write(painter, room, f"{step.to_mm:.1f}", Qt.AlignmentFlag.AlignLeft)

    def _paint_state(self, painter: QPainter, number: int, place: QRectF) -> None:
        """Draw a tick before what is done, and an arrow before what is next."""
        if number < (self.done or 0):
            draw_shape(painter, State.DONE, place, ink(self, Ink.GOOD))
        elif number == self.now:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(text_colour(self))
            tip = QPointF(place.right(), place.center().y())
            painter.drawPolygon(QPolygonF([place.topLeft(), tip, place.bottomLeft()]))

    def _paint_strain(self, painter: QPainter, across: Scale, foot: float) -> None:
        line = line_height(self)
        top, bottom = foot + 1.5 * line, self.height() - 2.4 * line
        painter.setPen(text_colour(self))
        head = QRectF(0.2 * line, foot + 0.2 * line, self.width() - 0.4 * line, 1.1 * line)
        write(painter, head, self.readout(), Qt.AlignmentFlag.AlignLeft)
        most = LEAST_PERCENT if self.strain is None else max(LEAST_PERCENT, float(self.strain.upper.max()))
        up = Scale(low=0.0, high=1.1 * most, start=bottom, end=top)
        self._paint_axes(painter, across, up)
        if self.strain is None:
            return
        colour, strain = ink(self, Ink.CURVE), self.strain
        xs = [across.place(float(depth)) for depth in strain.depth_mm]

        def curve(values: FloatArray) -> list[QPointF]:
            return [QPointF(x, up.place(float(value))) for x, value in zip(xs, values, strict=True)]

        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(tint(self, colour, 0.35))
        painter.drawPolygon(QPolygonF([*curve(strain.upper), *reversed(curve(strain.lower))]))
        painter.setPen(QPen(colour, 2.0))
        painter.drawPolyline(QPolygonF(curve(strain.percent)))

    def _paint_axes(self, painter: QPainter, across: Scale, up: Scale) -> None:
        line = line_height(self)
        painter.setPen(QPen(dim(self), 1.0))
        painter.drawLine(QPointF(across.start, up.start), QPointF(across.end, up.start))
        painter.drawLine(QPointF(across.start, up.start), QPointF(across.start, up.end))
        painter.setPen(text_colour(self))
        for value in ticks(0.0, across.high, max(2, int(across.end - across.start) // int(4 * line))):
            x = across.place(value)
            painter.drawLine(QPointF(x, up.start), QPointF(x, up.start + 0.25 * line))
            write(painter, QRectF(x - 2 * line, up.start + 0.25 * line, 4 * line, line), f"{value:g}")
        for value in ticks(0.0, up.high, 3):
            y = up.place(value)
            painter.drawLine(QPointF(across.start - 0.25 * line, y), QPointF(across.start, y))
            place = QRectF(0.0, y - 0.6 * line, across.start - 0.4 * line, 1.2 * line)
            write(painter, place, f"{value:g} %", Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        side = QRectF(0.2 * line, up.end + 0.9 * line, across.start - 3.6 * line, 1.1 * line)
        write(painter, side, "strain", Qt.AlignmentFlag.AlignLeft)
        foot = QRectF(0.2 * line, self.height() - 1.15 * line, self.width() - 0.4 * line, 1.1 * line)
        write(
            painter,
            foot,
            "depth, mm; dashed: working length",
            Qt.AlignmentFlag.AlignRight,
        )


def paint_swatch(painter: QPainter, step: SequenceStep, place: QRectF, widget: QWidget) -> None:
    """Draw the handle's colour as a disc with an outline; a ring alone for a size without a colour."""
    colour = step.instrument.colour
    painter.save()
    painter.setPen(QPen(text_colour(widget), 1.0))
    painter.setBrush(Qt.BrushStyle.NoBrush if colour is None else QColor(SIZE_COLOURS[colour]))
    painter.drawEllipse(place)
    painter.restore()
