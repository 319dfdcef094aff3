"""The scale step: what the file says, and clicks along files of known length."""

from __future__ import annotations

from dataclasses import replace

from qtpy.QtWidgets import QComboBox, QHBoxLayout, QWidget

from curvometer import Calibration
from curvometer_napari.panel.box import StepBox
from curvometer_napari.panel.controls import (
    Button,
    ChoiceField,
    NumberField,
    caption,
    show_or_hide,
    steady,
)
from curvometer_napari.panel.looks import coloured, dim, html
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.panel.words import file_words, object_words
from curvometer_napari.session import Session, Tool
from curvometer_napari.steps import StepState, scale_step, scale_words

LENGTHS_MM = (21.0, 25.0, 28.0, 31.0)
"""Lengths of files from handle to tip (ISO 3630-1, from memory); the stop may be set to any length."""
LONGEST_MM = 40.0
TYPE_A_LENGTH = f"Type the length from stop to tip in mm, above 0 and up to {LONGEST_MM:g}, for example 21."


class ScaleBox(StepBox):
    """Click along a file, say its length, accept; several files are combined."""

    def __init__(self, session: Session) -> None:
        super().__init__(session, "Scale")
        self.stated = Words()
        self.length, self.tolerance = self._length_field(), self._tolerance_field()
        self.start = Button(
            "Click along a file",
            "Click on the image from the file's stop to its tip",
            self._start,
            action="scale",
            toggle=True,
        )
        self.live = Words()
        self.accept = Button("Accept", "Use this file for the scale", session.accept, action="accept")
        self.back = Button("Take back", "Take the last click back", session.take_back, action="take_back")
        self.cancel = Button("Cancel", "Give these clicks up", session.cancel, action="cancel")
        self.while_clicking = Row(self.accept, self.back, self.cancel)
        self._objects: list[_ObjectRow] = []
        self.result = Words()
        for widget in (self.stated, self.start, self._fields(), self.live, self.while_clicking, self.result):
            self.body.addWidget(widget)

    def _length_field(self) -> ChoiceField:
        field = ChoiceField()
        field.setEditable(True)
        field.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        field.addItems([f"{length:g} mm" for length in LENGTHS_MM])
        field.setCurrentText(f"{self.session.length_mm:g} mm")
        field.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        steady(field, name="Length from stop to tip", tip=f"Choose or type it. {TYPE_A_LENGTH}")
        field.currentTextChanged.connect(self._take_length)
        return field

    def _tolerance_field(self) -> NumberField:
        field = NumberField()
        field.setRange(0.0, 5.0)
        field.setSingleStep(0.1)
        field.setDecimals(1)
        field.setPrefix("± ")
        field.setSuffix(" mm")
        field.setValue(self.session.tolerance_mm)
        steady(
            field,
            name="Tolerance of the length",
            tip="How far the length may be off; 0.5 mm is usual for a stop",
        )
        field.valueChanged.connect(self._take_tolerance)
        return field

    def _fields(self) -> QWidget:
        label = caption("Stop to tip")
        label.setBuddy(self.length)
        return Row(label, self.length, self.tolerance)

    def step(self) -> StepState:
        """How far the scale is."""
        return scale_step(self.session)

    def update_body(self) -> None:
        """Show what the file says, the clicks, the files that were accepted, and the scale."""
        session = self.session
        self._show_length()
        clicking, known = session.tool is Tool.SCALE, session.radiograph is not None
        self.start.setEnabled(known)
        self.start.setChecked(clicking)
        stated = session.file_calibration
        show_or_hide(self.stated, "" if stated is None else self._stated_text(stated))
        show_or_hide(self.live, self._live_text() if clicking else "")
        self.while_clicking.setVisible(clicking)
        count = len(session.case.scale_draft_rc)
        self.accept.setEnabled(count > 1)
        self.back.setEnabled(count > 0)
        self._show_objects()
        show_or_hide(self.result, self._result_text())

    def _show_length(self) -> None:
        """Follow a length that was set elsewhere, but never change what is being typed."""
        if not self.length.hasFocus() and length_from(self.length.currentText()) != self.session.length_mm:
            self.length.setCurrentText(f"{self.session.length_mm:g} mm")

    def _stated_text(self, stated: Calibration) -> str:
        lines = [html(file_words(stated))]
        if not self.session.case.scale_objects:
            lines += [coloured(html(note), dim(self)) for note in stated.notes]
        return "<br>".join(lines)

    def _live_text(self) -> str:
        count = len(self.session.case.scale_draft_rc)
        clicks = f"{count} click{'' if count == 1 else 's'}"
        calibration = self.session.draft_calibration()
        if calibration is None or calibration.mm_per_pixel is None:
            return f"{clicks} so far."
        length_px = self.session.length_mm / calibration.mm_per_pixel
        lines = [
            f"{clicks}, {length_px:.0f} px = {self.session.length_mm:g} mm.",
            f"{scale_words(calibration)}.",
        ]
        stated = self.session.file_calibration
        if stated is not None and stated.mm_per_pixel is not None:
            lines.append(f"By the image file's own scale this is {length_px * stated.mm_per_pixel:.1f} mm.")
        lines += calibration.notes
        return "\n".join(lines)

    def _result_text(self) -> str:
        calibration, objects = self.session.calibration, self.session.case.scale_objects
        if calibration is None or not objects:
            return ""
        files = "1 file" if len(objects) == 1 else f"{len(objects)} files"
        return "\n".join(
            [f"In use, from {files} of known length: {scale_words(calibration)}.", *calibration.notes]
        )

    def _show_objects(self) -> None:
        objects = self.session.case.scale_objects
        while len(self._objects) < len(objects):
            row = _ObjectRow(self, len(self._objects))
            self._objects.append(row)
            self.body.insertWidget(self.body.indexOf(self.result), row)
        for index, row in enumerate(self._objects):
            row.setVisible(index < len(objects))
            if index < len(objects):
                row.words.setText(f"{index + 1}. {object_words(objects[index])}")

    def remove(self, index: int) -> None:
        """Remove one file from the scale."""
        case = self.session.case
        left = case.scale_objects[:index] + case.scale_objects[index + 1 :]
        self.session.do(replace(case, scale_objects=left), "remove a file from the scale")

    def _start(self) -> None:
        if self.session.tool is Tool.SCALE:
            self.session.cancel()
        else:
            self.session.start_scale()
        self.refresh()

    def _take_length(self, text: str) -> None:
        length_mm = length_from(text)
        if length_mm is None:
            self.session.told.emit(TYPE_A_LENGTH if text.strip() else "")
            return
        self.session.told.emit("")
        self.session.length_mm = length_mm
        self.update_body()

    def _take_tolerance(self, tolerance_mm: float) -> None:
        self.session.tolerance_mm = tolerance_mm
        self.update_body()


class _ObjectRow(QWidget):
    """One accepted file, with a button that removes it."""

    def __init__(self, box: ScaleBox, index: int) -> None:
        super().__init__()
        self.words = Words()
        self.remove = Button("Remove", "Do not use this file for the scale", lambda: box.remove(index))
        self.remove.setAccessibleName(f"Remove file {index + 1} from the scale")
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.words, 1)
        row.addWidget(self.remove)


def length_from(text: str) -> float | None:
    """Read a length in mm as a person types it; None when it is none."""
    try:
        length_mm = float(text.lower().replace("mm", "").replace(",", ".").strip())
    except ValueError:
        return None
    return length_mm if 0.0 < length_mm <= LONGEST_MM else None
