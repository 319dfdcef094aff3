"""What hand files have found in the selected canal, as fields; each change is a step that can be undone."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from qtpy.QtWidgets import QCheckBox, QVBoxLayout, QWidget

from curvometer import REACHED_SIZES, CanalName
from curvometer_napari.panel.controls import Button, ChoiceField, NumberField, caption, show_or_hide, steady
from curvometer_napari.panel.looks import target_height
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.session import Session
from curvometer_napari.stated import CanalFound

NOT_MEASURED_MM, LONGEST_MM = 11.5, 33.0
"""The field's lowest value stands for a working length that nobody measured; lengths from 12 to 33 mm can be stated."""

SIZES = (None, *REACHED_SIZES)
"""Answers about the largest hand file at length, in the order of the field."""
FITS = ("passive", "loose", "by force")


def size_words(size: int | None) -> str:
    """An answer about the largest hand file at working length."""
    if size is None:
        return "nobody said"
    return {0: "none", max(REACHED_SIZES): f"{max(REACHED_SIZES)} or more"}.get(size, str(size))


class FoundFields(QWidget):
    """Working length, largest hand file at length and how it sat there, depths by size, blocked, split."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self._session = session
        self._name: CanalName | None = None
        self.length, self.reached, self.fit = self._length_field(), self._reached_field(), self._fit_field()
        self.explored_size, self.explored_depth = self._size_field(), self._depth_field()
        self.note = Button("Note", "Note how deep this hand file went, from the reference point", self._note)
        self.clear = Button(
            "Clear", "Take all noted depths away", lambda: self._state("depths", explored_mm=())
        )
        self.depths = Words()
        self.blocked = self._box("Blocked", "A ledge, an old filling or a fragment is in the way", "blocked")
        self.split = self._box("Splits", "The canal divides suddenly, or joins another one deep", "split")
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        for widget in (
            Row(caption("Working length"), (self.length, 1)),
            Row(caption("Hand file at length"), (self.reached, 1), (self.fit, 1)),
            Row(
                caption("Size"),
                self.explored_size,
                caption("went to"),
                (self.explored_depth, 1),
                self.note,
                self.clear,
            ),
            self.depths,
            Row(self.blocked, self.split),
        ):
            column.addWidget(widget)

    def working_length_mm(self, name: CanalName | None) -> float | None:
        """What is stated for a canal."""
        return None if name is None else self._session.case.stated.found(name).working_length_mm

    def show_canal(self, name: CanalName | None) -> None:
        """Show what is stated for a canal; what is being typed is left alone."""
        self._name = name
        found = CanalFound() if name is None else self._session.case.stated.found(name)
        _put(self.length, NOT_MEASURED_MM if found.working_length_mm is None else found.working_length_mm)
        self.reached.setCurrentIndex(SIZES.index(found.reached_size))
        self.fit.setCurrentIndex(1 if found.loose else 2 if found.forced else 0)
        self.fit.setEnabled(bool(found.reached_size))
        words = "; ".join(f"size {size} to {depth:.1f} mm" for size, depth in found.explored_mm)
        show_or_hide(self.depths, f"Hand files went: {words}." if words else "")
        self.clear.setVisible(bool(words))
        for box, is_so in ((self.blocked, found.blocked), (self.split, found.split)):
            box.blockSignals(True)
            box.setChecked(is_so)
            box.blockSignals(False)

    def _state(self, what: str, **changes: Any) -> None:
        """Make a statement a step of the case."""
        name, case = self._name, self._session.case
        if name is None:
            return
        before = case.stated.found(name)
        after = replace(before, **changes)
        if after != before:
            stated = case.stated.with_found(name, after)
            self._session.do(replace(case, stated=stated), f"state {what} of {name}")

    def _length_field(self) -> NumberField:
        field = _millimetres(NOT_MEASURED_MM, LONGEST_MM)
        field.setSpecialValueText("not measured")
        steady(
            field,
            name="Working length",
            tip="Measured electronically, from the reference point on the crown; 12 to 33 mm",
        )
        field.valueChanged.connect(
            lambda value: self._state(
                "the working length", working_length_mm=None if value <= NOT_MEASURED_MM else round(value, 2)
            )
        )
        return field

    def _reached_field(self) -> ChoiceField:
        field = ChoiceField()
        field.addItems([size_words(size) for size in SIZES])
        steady(
            field,
            name="Largest hand file at working length",
            tip="Of taper .02; what nobody said counts as none",
        )
        field.activated.connect(self._take_reached)
        return field

    def _fit_field(self) -> ChoiceField:
        field = ChoiceField()
        field.addItems(list(FITS))
        steady(
            field,
            name="How it sat there",
            tip="Loose: it slides freely. By force: it counts as the next smaller size",
        )
        field.activated.connect(lambda index: self._state("the fit", loose=index == 1, forced=index == 2))
        return field

    def _size_field(self) -> ChoiceField:
        field = ChoiceField()
        field.addItems([size_words(size) for size in REACHED_SIZES[1:]])
        field.setCurrentIndex(1)
        steady(
            field, name="Size of a hand file", tip="Of a hand file that went less far than the working length"
        )
        return field

    def _depth_field(self) -> NumberField:
        field = _millimetres(1.0, LONGEST_MM)
        field.setValue(15.0)
        steady(field, name="How deep it went", tip="From the reference point on the crown")
        return field

    def _box(self, text: str, tip: str, name: str) -> QCheckBox:
        box = QCheckBox(text)
        box.setToolTip(tip)
        box.setMinimumHeight(target_height(box))
        box.toggled.connect(lambda is_so: self._state(text.lower(), **{name: bool(is_so)}))
        return box

    def _take_reached(self, index: int) -> None:
        size = SIZES[index]
        if size:
            self._state("the hand file at length", reached_size=size)
        else:
            self._state("the hand file at length", reached_size=size, loose=False, forced=False)

    def _note(self) -> None:
        if self._name is None:
            return
        size = REACHED_SIZES[1:][self.explored_size.currentIndex()]
        before = dict(self._session.case.stated.found(self._name).explored_mm)
        depths = {**before, size: round(self.explored_depth.value(), 1)}
        self._state(f"how deep size {size} went", explored_mm=tuple(sorted(depths.items())))


def _put(field: NumberField, value: float) -> None:
    if field.value() != value and not field.hasFocus():
        field.blockSignals(True)
        field.setValue(value)
        field.blockSignals(False)


def _millimetres(low: float, high: float) -> NumberField:
    field = NumberField()
    field.setRange(low, high)
    field.setDecimals(1)
    field.setSingleStep(0.5)
    field.setSuffix(" mm")
    field.setKeyboardTracking(False)
    return field
