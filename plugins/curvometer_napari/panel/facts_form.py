"""What a person states for the grade, one field per fact, those that the grades lack marked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QGridLayout, QLabel, QWidget

from curvometer import (
    FACT_ANSWERS,
    FACT_NUMBERS,
    FACT_WORDS,
    OPERATOR_WORDS,
    CaseFacts,
    CurvometerError,
    Operator,
    check_tooth,
)
from curvometer_napari.panel.controls import Button, ChoiceField, NumberField, steady
from curvometer_napari.panel.looks import target_height

State = Callable[[str, Any], None]
"""Called with a fact's name and its new value."""

NOT_STATED = "not stated"
FIRST = ("tooth", "operator", "visibility", "apex_opening_mm")
"""Always in sight; the others are folded away until asked for."""

YES_NO = ("no", "yes")
TEETH = tuple(
    10 * quadrant + place for quadrant in range(1, 9) for place in range(1, 9 if quadrant < 5 else 6)
)
"""ISO 3950: permanent teeth 11 to 48, milk teeth 51 to 85."""

_LABELS = {
    "tooth": "tooth (ISO 3950)",
    "operator": "who would treat",
    "modifying_factors": "modifying factors",
    "negotiable": "negotiable over its whole length",
    "other_moderate": "further moderate factors",
    "other_high": "further high factors",
    "visibility": "visibility of canal and chamber",
    "s_shape": "S-shaped",
    "curve_location": "third where the curve starts",
}
"""Shorter than the core's words, which stand in the tooltip."""


class FactsForm(QWidget):
    """Two columns, fact and answer.

    Parameters
    ----------
    state
        Is told each answer.
    """

    def __init__(self, state: State) -> None:
        super().__init__()
        self._state = state
        self._rows: dict[str, tuple[QLabel, ChoiceField | NumberField]] = {}
        self._answers: dict[str, list[Any]] = {}
        self._showing = False
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(8)
        grid.setVerticalSpacing(4)
        grid.setColumnStretch(1, 1)
        names = [*FIRST, *(name for name in (*FACT_ANSWERS, *FACT_NUMBERS) if name not in FIRST)]
        for row, name in enumerate(name for name in names if name != "position"):
            field = self._field(name)
            label = QLabel(_label(name))
            label.setWordWrap(True)
            label.setMinimumHeight(target_height(label))
            label.setBuddy(field)
            label.setIndent(0)
            label.setToolTip(_tip(name))
            at = row + (row >= len(FIRST))  # below the button
            grid.addWidget(label, at, 0, Qt.AlignmentFlag.AlignVCenter)
            grid.addWidget(field, at, 1)
            self._rows[name] = (label, field)
        self.more = Button("More facts", "Show every fact that a set may ask for", self._fold, toggle=True)
        grid.addWidget(self.more, len(FIRST), 0, 1, 2)
        self._fold()

    def field(self, name: str) -> ChoiceField | NumberField:
        """The field of a fact."""
        return self._rows[name][1]

    def _field(self, name: str) -> ChoiceField | NumberField:
        field = self._number(name) if name in FACT_NUMBERS else self._choice(name)
        steady(field, name=_label(name), tip=_tip(name))
        return field

    def _choice(self, name: str) -> ChoiceField:
        field = ChoiceField()
        field.setSizeAdjustPolicy(ChoiceField.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        field.setMinimumContentsLength(8)
        answers = [(NOT_STATED, None), *_answers(name)]
        # Kept here: Qt would hand an enumeration back as plain text.
        self._answers[name] = [value for _, value in answers]
        field.addItems([text for text, _ in answers])
        field.widen_list()
        field.currentIndexChanged.connect(lambda index: self._tell(name, self._answers[name][index]))
        return field

    def _number(self, name: str) -> NumberField:
        unit, largest = FACT_NUMBERS[name]
        field = NumberField()
        counts = name.startswith("other_")
        field.setDecimals(0 if counts else 1)
        step = 1.0 if counts or unit == "deg" else 0.1
        field.setSingleStep(step)
        # The least value stands for "not stated"; nothing below 0 can be typed.
        field.setRange(-step, largest)
        field.setSpecialValueText(NOT_STATED)
        field.setSuffix(f" {unit}" if unit else "")
        field.setKeyboardTracking(False)
        field.valueChanged.connect(lambda value: self._tell(name, _stated_number(value, counts=counts)))
        return field

    def _tell(self, name: str, value: Any) -> None:
        if not self._showing:
            self._state(name, value)

    def _fold(self) -> None:
        unfolded = self.more.isChecked()
        for name, (label, field) in self._rows.items():
            if name not in FIRST:
                label.setVisible(unfolded)
                field.setVisible(unfolded)

    def show_facts(self, facts: CaseFacts, missing: frozenset[str]) -> None:
        """Show what is stated; facts that a grade lacks (in the words of `FACT_WORDS`) are marked by a dot and by name."""
        self._showing = True
        try:
            for name, (label, field) in self._rows.items():
                self._show(name, field, getattr(facts, name))
                words = FACT_WORDS["position" if name == "tooth" else name] if name != "operator" else ""
                mark = "\u00a0•" if words in missing and getattr(facts, name) is None else ""
                if label.text() != _label(name) + mark:
                    label.setText(_label(name) + mark)
                    field.setAccessibleName(_label(name) + (", not known to a grade" if mark else ""))
                    label.setToolTip(_tip(name) + (" • A grade lacks it, see Missing facts." if mark else ""))
        finally:
            self._showing = False

    def _show(self, name: str, field: ChoiceField | NumberField, value: Any) -> None:
        if isinstance(field, NumberField):
            number = field.minimum() if value is None else float(value)
            if field.value() != number:
                field.setValue(number)
            return
        index = self._answers[name].index(value)
        if field.currentIndex() != index:
            field.setCurrentIndex(index)


def _stated_number(value: float, *, counts: bool) -> float | int | None:
    if value < 0.0:
        return None
    return round(value) if counts else round(value, 1)


def _label(name: str) -> str:
    return _LABELS.get(name, FACT_WORDS.get(name, name))


def _tip(name: str) -> str:
    """The fact in the core's words."""
    told = FACT_WORDS.get(name, _label(name))
    return f"{told[:1].upper()}{told[1:]}."


def _answers(name: str) -> list[tuple[str, Any]]:
    """The answers of a fact as people read them, each with the value that it states."""
    if name == "tooth":
        return [(str(tooth), tooth) for tooth in TEETH if _is_tooth(tooth)]
    if name == "operator":
        return [(OPERATOR_WORDS[each], each) for each in Operator]
    answers = FACT_ANSWERS[name]
    if answers == YES_NO:
        return [("no", False), ("yes", True)]
    return [(answer.replace("-", " "), answer) for answer in answers]


def _is_tooth(number: int) -> bool:
    try:
        check_tooth(number)
    except CurvometerError:
        return False
    return True
