"""A plan shown: the canal that it is for, cautions, what all steps share, the drawing, the list, and the selected step."""

from __future__ import annotations

from collections.abc import Callable

from qtpy.QtWidgets import QVBoxLayout, QWidget

from curvometer import PLANNING_CAUTIONS, CanalMeasurement, PlanAnswer, PlanRequest, SequencePlan
from curvometer_napari.panel.controls import ChoiceField, caption, show_or_hide, steady
from curvometer_napari.panel.looks import coloured, dim, html
from curvometer_napari.panel.plan_drawing import PlanDrawing
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.step_list import StepList
from curvometer_napari.panel.text import Words
from curvometer_napari.plan_words import canal_words, own_words, plan_name, shared_words


class PlanView(QWidget):
    """Shows one plan of an answer, or the plan of a log.

    Parameters
    ----------
    chose
        Called when another plan of the answer is chosen.
    """

    def __init__(self, chose: Callable[[], object]) -> None:
        super().__init__()
        self._chose = chose
        self._plan: SequencePlan | None = None
        self._request: PlanRequest | None = None
        self._at: tuple[int | None, int | None] = (None, None)
        self._plans: tuple[SequencePlan, ...] = ()
        self.choice = _choice_field()
        self.choice.activated.connect(lambda _index: chose())
        self.choices = Row(caption("Plan of"), (self.choice, 1))
        self.canal, self.cautions, self.shared = Words(), Words(), Words()
        self.drawing, self.steps = PlanDrawing(), StepList()
        self.own, self.ends = Words(), Words()
        self.drawing.chosen.connect(self.select)
        self.steps.chosen.connect(self.select)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        for widget in (
            *(self.choices, self.canal, self.cautions, self.drawing),
            *(self.shared, self.steps, self.own, self.ends),
        ):
            column.addWidget(widget)

    def offer(self, answer: PlanAnswer | None) -> SequencePlan | None:
        """Let a person choose among the plans of an answer; gives the one that is chosen."""
        plans = () if answer is None else answer.plans
        if plans != self._plans:
            self._plans = plans
            self.choice.clear()
            self.choice.addItems([_choice_words(plan) for plan in plans])
            self.choice.widen_list()
        self.choices.setVisible(len(plans) > 1)
        chosen = self.choice.currentIndex()
        return plans[chosen] if 0 <= chosen < len(plans) else None

    def show_plan(
        self,
        plan: SequencePlan | None,
        request: PlanRequest | None,
        measurement: CanalMeasurement | None,
        *,
        done: int | None = None,
        now: int | None = None,
    ) -> None:
        """Show a plan; at the chair with the count of the steps that are done, and the one of them that is next."""
        self.setVisible(plan is not None)
        other = plan is not self._plan or (done, now) != self._at
        self._plan, self._request, self._at = plan, request, (done, now)
        if plan is None or request is None:
            return
        self.canal.setText(html(canal_words(request, measurement)))
        self.cautions.setText(coloured(html(" ".join(PLANNING_CAUTIONS)), dim(self)))
        show_or_hide(
            self.shared, "<br>".join(f"<b>{head}.</b> {html(text)}" for head, text in shared_words(plan))
        )
        sources = "; ".join(f"{each.citation} ({each.how_read.value})" for each in plan.sources)
        ends = f"Ends with {plan.ends_with}. Sources: {sources or 'none told'}"
        self.ends.setText(coloured(html(ends), dim(self)))
        selected = (done or 0) if other else self.drawing.selected
        self.select(selected)

    def select(self, number: int) -> None:
        """Show one step."""
        plan, request = self._plan, self._request
        if plan is None or request is None:
            return
        number = min(max(number, 0), len(plan.steps) - 1)
        done, now = self._at
        self.drawing.show_plan(plan, request, selected=number, done=done, now=now)
        self.steps.show_plan(plan, request, selected=number, done=done, now=now)
        self.own.setText("<br>".join([f"<b>Step {number + 1}</b>", *map(html, own_words(plan, number))]))


def _choice_words(plan: SequencePlan) -> str:
    motor = "hand files only" if plan.is_hand_only else "with a motor"
    return f"{plan_name(plan)}: {len(plan.steps)} steps, {motor}"


def _choice_field() -> ChoiceField:
    field = ChoiceField()
    field.setSizeAdjustPolicy(ChoiceField.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    field.setMinimumContentsLength(6)
    steady(field, name="Plan of", tip="Which recommender's plan is shown, and would begin")
    return field
