"""A submission at the top of the panel: the student's tracing over the references, with the marks, to look at only."""

from __future__ import annotations

from collections.abc import Callable

from qtpy.QtWidgets import QWidget

from curvometer import IMAGE_FAULTS, Answer, ProposedPlan
from curvometer_napari.panel.box import StepBox
from curvometer_napari.panel.controls import Button, show_or_hide
from curvometer_napari.panel.feedback_form import ItemLines, points_words
from curvometer_napari.panel.looks import html
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.plan_rows import row_of
from curvometer_napari.review_desk import ReviewDesk
from curvometer_napari.steps import State, StepState


class ReviewBox(StepBox):
    """One student's images one after another."""

    def __init__(self, desk: ReviewDesk, leave: Callable[[], object]) -> None:
        super().__init__(desk.session, "Submission")
        self.desk = desk
        self.previous = Button("Previous", "Show the image before", lambda: desk.go(desk.at - 1))
        self.next = Button("Next", "Show the next image", lambda: desk.go(desk.at + 1))
        self.back = Button("Back to the submission", "Show its image again", desk.show_image)
        self.leave = Button("Close submission", "Put the submission away; nothing of it is changed", leave)
        self.remarks, self.answered, self.points = Words(), Words(), Words()
        self.items = ItemLines()
        parts: tuple[QWidget, ...] = (
            Row(self.previous, self.next, self.back, self.leave),
            self.remarks,
            self.answered,
            self.points,
            self.items,
        )
        for widget in parts:
            self.body.addWidget(widget)

    def step(self) -> StepState:
        """Whose submission it is, and its marks."""
        review = self.desk.review
        if review is None:
            return StepState(name="submission", state=State.TODO, words="No submission is open.")
        count = len(review.hand_out.sheet.images)
        words = (
            f"{review.submission.student}, {review.hand_out.sheet.title}: {review.mark.percent:.0f} %;"
            f" image {self.desk.at + 1} of {count}."
        )
        return StepState(name="submission", state=State.DONE, words=words)

    def update_body(self) -> None:
        """Show the answer to the image and its marks."""
        review, mark = self.desk.review, self.desk.mark
        if review is None or mark is None:
            return
        self.previous.setEnabled(self.desk.at > 0)
        self.next.setEnabled(self.desk.at < len(review.hand_out.sheet.images) - 1)
        self.back.setVisible(not self.desk.on_the_image and not self.session.worker.busy)
        show_or_hide(self.remarks, "<br>".join(html(remark) for remark in review.mark.remarks))
        self.answered.setText(answer_words(self.desk.answer))
        self.points.setText(points_words(mark))
        self.items.show_items(mark.items)


def answer_words(answer: Answer | None) -> str:
    """Tell what a student answered beside the tracing, as markup."""
    if answer is None:
        return "The student did not open this image."
    parts = []
    if answer.accepted is not None:
        reasons = "; ".join(IMAGE_FAULTS.get(code, code) for code in answer.reasons)
        parts.append(
            "Would use the image." if answer.accepted else f"Rejects the image: {reasons or 'no reason'}."
        )
    if answer.calibration is not None and answer.calibration.mm_per_pixel is not None:
        parts.append(f"Scale {answer.calibration.mm_per_pixel:.5f} mm per pixel.")
    if answer.canal is None:
        parts.append("Nothing is traced.")
    if answer.grade is not None:
        factors = ", ".join(answer.grade.factors)
        parts.append(f"Class {answer.grade.grade}{f' ({factors})' if factors else ''}.")
    if answer.plan is not None:
        parts.append(_plan_words(answer.plan))
    return html(" ".join(parts))


def _plan_words(plan: ProposedPlan) -> str:
    if plan.advice == "refer":
        return "Would refer."
    steps = []
    for step in plan.steps:
        kind, size, taper, depth, speed, seconds = row_of(step).cells()
        turning = f", {speed or 'no'} rpm for {seconds or 'no'} s" if step.kind == "rotary" else ""
        steps.append(f"{kind} {size}, {taper}, to {depth} mm{turning}")
    return f"Would treat: {'; '.join(steps)}." if steps else "Would treat; no steps."
