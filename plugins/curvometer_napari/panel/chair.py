"""At the chair: the one next step in large words, and large targets to say how it ended."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from qtpy.QtCore import QSize, QTimer
from qtpy.QtWidgets import QFrame, QSizePolicy, QVBoxLayout

from curvometer import NextStep, NextStepKind, Outcome
from curvometer_napari.chairside import ChairState, Stand
from curvometer_napari.log_words import glance_words, next_words, outcome_words
from curvometer_napari.panel.controls import Button, NumberField, caption, show_or_hide, steady
from curvometer_napari.panel.looks import Ink, coloured, html, ink, line_height
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words

LEAST_TARGET_PX = 44
"""Least height of a target that is pressed at the chair, in device-independent pixels."""
STEP_MM, FIRST_MM, LEAST_MM = 0.5, 1.0, 0.1
PAUSE_MS = 700
"""After an entry nothing is taken for this long: the second press of a double click would tell of the next step."""
ENDS_IT = (Outcome.FRACTURED, Outcome.LOST_LENGTH)
"""Outcomes that are asked for twice: no entry can be taken away, and these may end the treatment."""

Tell = Callable[[Outcome, float | None], object]


class ChairButton(Button):
    """A button for a gloved finger."""

    def sizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the size."""
        size = super().sizeHint()
        return QSize(
            max(size.width(), LEAST_TARGET_PX),
            max(size.height(), LEAST_TARGET_PX, round(2.6 * line_height(self))),
        )


class Chair(QFrame):
    """Shows what `Stand` lets through, and nothing else.

    Parameters
    ----------
    tell
        Called with an outcome and its number of mm, where it has one.
    """

    def __init__(self, tell: Tell) -> None:
        super().__init__()
        self._tell = tell
        self._told: NextStep | None = None
        self._armed: Outcome | None = None
        self.setAccessibleName("At the chair")
        self.headline, self.glance, self.details = Words(), Words(), Words()
        self.reached = ChairButton("Reached", "It went to the depth", partial(self.press, Outcome.REACHED))
        self.less = ChairButton("−", "Less by half a millimetre", partial(self._step, -STEP_MM))
        self.more = ChairButton("+", "More by half a millimetre", partial(self._step, STEP_MM))
        self.less.setAccessibleName("Less by half a millimetre")
        self.more.setAccessibleName("More by half a millimetre")
        self.amount = self._amount_field()
        self.others = {
            Outcome.SHORT: self._button(Outcome.SHORT, "It did not go down, by this much"),
            Outcome.LOST_LENGTH: self._button(
                Outcome.LOST_LENGTH, "So much less than the working length can be reached or measured"
            ),
            Outcome.BINDING: self._button(Outcome.BINDING, "It is held in the canal"),
            Outcome.DEFLECTED: self._button(
                Outcome.DEFLECTED, "Its tip is hooked or bent, or turned away at a ledge"
            ),
            Outcome.FRACTURED: self._button(Outcome.FRACTURED, "It broke"),
        }
        self.by = Row(caption("By"), self.less, (self.amount, 1), self.more)
        by_mm = [self.others[Outcome.SHORT], self.others[Outcome.LOST_LENGTH]]
        rest = [self.others[each] for each in (Outcome.BINDING, Outcome.DEFLECTED, Outcome.FRACTURED)]
        self.buttons = Row(*((each, 1) for each in [*by_mm, *rest]))
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 4, 0, 4)
        column.setSpacing(6)
        for widget in (self.headline, self.glance, self.reached, self.by, self.buttons, self.details):
            column.addWidget(widget)
        self.reached.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self._pause = QTimer(self)
        self._pause.setSingleShot(True)
        self._pause.timeout.connect(self._enable)

    def _button(self, outcome: Outcome, tip: str) -> ChairButton:
        return ChairButton(outcome.value.capitalize(), tip, partial(self.press, outcome))

    def _amount_field(self) -> NumberField:
        field = NumberField()
        field.setRange(LEAST_MM, 33.0)
        field.setDecimals(1)
        field.setSingleStep(LEAST_MM)
        field.setSuffix(" mm")
        field.setValue(FIRST_MM)
        steady(
            field, name="Millimetres short, or lost", tip="How much it fell short, or how much length is lost"
        )
        field.setMinimumHeight(LEAST_TARGET_PX)
        field.valueChanged.connect(lambda _value: self._show_texts())
        return field

    def show_stand(self, stand: Stand) -> None:
        """Show where the canal stands; targets only while a step is offered."""
        offered = stand.offered
        if offered != self._told:
            self._told, self._armed = offered, None
            if offered is not None:
                self.amount.setMaximum(max(offered.to_mm or LEAST_MM, LEAST_MM))
                self.amount.setValue(FIRST_MM)
        told = stand.told
        self.headline.setText(self._headline(stand, told))
        show_or_hide(self.glance, "" if told is None else glance_words(told))
        show_or_hide(self.details, "" if told is None else "\n".join(next_words(told)))
        outcomes = () if offered is None else offered.outcomes
        self.reached.setVisible(Outcome.REACHED in outcomes)
        for outcome, button in self.others.items():
            button.setVisible(outcome in outcomes)
        self.by.setVisible(bool({Outcome.SHORT, Outcome.LOST_LENGTH} & set(outcomes)))
        self.buttons.setVisible(bool(outcomes))
        self._show_texts()

    def hold(self, words: str) -> None:
        """Offer nothing for a moment, with everything else left where it is."""
        self._told, self._armed = None, None
        self.headline.setText(html(words))

    def press(self, outcome: Outcome) -> None:
        """Tell how the step ended; what may end the treatment only when it is pressed twice."""
        if self._told is None or outcome not in self._told.outcomes or self._pause.isActive():
            return
        if outcome in ENDS_IT and self._armed is not outcome:
            self._armed = outcome
            self._show_texts()
            return
        self._armed = None
        needs_mm = outcome in (Outcome.SHORT, Outcome.LOST_LENGTH)
        self._pause.start(PAUSE_MS)
        self._enable(on=False)
        self._tell(outcome, round(self.amount.value(), 1) if needs_mm else None)
        self._show_texts()

    def _step(self, by_mm: float) -> None:
        self.amount.setValue(self.amount.value() + by_mm)

    def _enable(self, *, on: bool = True) -> None:
        for button in (self.reached, *self.others.values()):
            button.setEnabled(on)

    def _show_texts(self) -> None:
        kind = NextStepKind.PLAN_STEP if self._told is None else self._told.kind
        for outcome, button in ((Outcome.REACHED, self.reached), *self.others.items()):
            words = outcome_words(outcome, kind, self.amount.value())
            words = f"{words}: press again" if outcome is self._armed else words
            if words != button.text():
                button.setText(words)
                button.setAccessibleName(words)
                button.updateGeometry()

    def _headline(self, stand: Stand, told: NextStep | None) -> str:
        if told is None:
            role = Ink.CAUTION if stand.state is ChairState.CHANGED else None
            words = html(stand.words)
            return words if role is None else coloured(words, ink(self, role))
        size = "font-size:x-large; font-weight:600"
        words = f"<span style='{size}'>{html(told.words)}</span>"
        if told.kind is NextStepKind.STOP:
            words = coloured(words, ink(self, Ink.STOP))
        first = {ChairState.RUNNING: "Next", ChairState.RE_PLAN: "Next", ChairState.ENDED: "The log says"}
        return f"{first.get(stand.state, '')}:<br>{words}"
