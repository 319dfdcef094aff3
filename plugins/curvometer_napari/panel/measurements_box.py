"""The measurements step: headline, doubts, table, curve, bends, and taking them along."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from qtpy.QtGui import QGuiApplication

from curvometer import CANAL_FORMS, CanalMeasurement, MeasurementFlag, Quantity, sorted_flags
from curvometer_napari.export import bend_words, numbers, result_text, results_csv
from curvometer_napari.grading import Grader, grade_text
from curvometer_napari.panel import saving
from curvometer_napari.panel.box import StepBox
from curvometer_napari.panel.controls import Button, show_or_hide
from curvometer_napari.panel.curvature_plot import CurvaturePlot
from curvometer_napari.panel.looks import coloured, dim, html, text_colour
from curvometer_napari.panel.marked_lines import MarkedLines
from curvometer_napari.panel.quantity_table import QuantityTable
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.session import Session
from curvometer_napari.solving import Result
from curvometer_napari.steps import StepState, measurements_step


class MeasurementsBox(StepBox):
    """Everything that is known about the selected canal."""

    def __init__(self, session: Session, grader: Grader) -> None:
        super().__init__(session, "Measurements")
        self._grader = grader
        self.headline = Words()
        self.flags = FlagLines()
        self.table = QuantityTable()
        self.table.pointed.connect(session.emphasise)
        self.plot = CurvaturePlot()
        self.plot.pointed.connect(session.point_at)
        self.bends = Words()
        self.copied = Words()
        self.copy_text = Button("Copy text", "Copy the selected canal as text", self._copy_text)
        self.copy_csv = Button("Copy CSV", "Copy all canals as a table for a spreadsheet", self._copy_csv)
        self.save_csv = Button("Save CSV ...", "Save all canals as a table for a spreadsheet", self._save_csv)
        self.save_record = Button(
            "Save record ...", "Save image hash, scale, canals and measurements as JSON", self._save_record
        )
        self.take_along = Row(self.copy_text, self.copy_csv, self.save_csv, self.save_record)
        self._parts = (self.headline, self.flags, self.plot, self.table, self.bends, self.take_along)
        for widget in (*self._parts, self.copied):
            self.body.addWidget(widget)
        self.copied.hide()
        self._classes_shown = True

    def show_classes(self, shown: bool) -> None:
        """Tell classes too, or numbers only: not to a student whose exercise asks for the class."""
        if shown != self._classes_shown:
            self._classes_shown = shown
            self.update_body()

    def step(self) -> StepState:
        """Whether there are numbers, and whether they can be trusted."""
        return measurements_step(self.session)

    def update_body(self) -> None:
        """Show the selected canal's numbers, dimmed while newer ones are computed."""
        name = self.session.case.selected
        result = self.session.result(name)
        measurement = None if result is None else result.measurement
        stale = name is None or not self.session.is_fresh(name)
        for part in self._parts:
            part.setVisible(measurement is not None)
        # Texts and records hold the class, too.
        self.take_along.setVisible(measurement is not None and self._classes_shown)
        if measurement is None:
            self.table.show_measurement(None, stale=False)
            self.plot.show_profile(None, stale=False)
            show_or_hide(self.copied, "")
            return
        self.headline.setText(self._headline(measurement, stale))
        self.flags.show_flags(sorted_flags(measurement))
        self.table.show_measurement(measurement, stale=stale)
        self.plot.show_profile(measurement.profile, stale=stale)
        lines = [bend_words(number, bend) for number, bend in enumerate(measurement.bends, 1)]
        bends = "\n".join(["Bends, from the orifice:", *lines] if lines else ["No bend found."])
        show_or_hide(self.bends, bends)
        for button in (self.copy_text, self.copy_csv, self.save_csv, self.save_record):
            button.setEnabled(not stale)
        if stale:
            show_or_hide(self.copied, "")

    def update_emphasis(self) -> None:
        """Draw the cursor where the session has it."""
        self.plot.show_cursor(self.session.cursor_mm)

    def _headline(self, measurement: CanalMeasurement, stale: bool) -> str:
        colour = dim(self) if stale else text_colour(self)
        angle = measurement.schneider_angle
        lines = []
        if angle is not None:
            value, interval = numbers(angle)
            lines.append(
                f"Schneider angle <span style='font-size:x-large; font-weight:600'>{value}</span> ({interval})"
            )
        for label, quantity, after in (
            ("Radius", measurement.pruett_radius, ""),
            ("Curve starts", measurement.curve_start_from_foramen, " before the foramen"),
        ):
            lines.append(_line(label, quantity, after))
        form = CANAL_FORMS.get(measurement.canal_form, "")
        told = f"; class: {html(measurement.schneider_class)}" if self._classes_shown else ""
        lines.append(f"Form {measurement.canal_form} ({form}){told}")
        return coloured("<br>".join(line for line in lines if line), colour)

    def _ready(self) -> Result | None:
        return self.session.result(self.session.case.selected)

    def _sha256(self) -> str:
        return "" if self.session.radiograph is None else self.session.radiograph.sha256

    def _copy_text(self) -> None:
        result = self._ready()
        if result is not None:
            parts = (result_text(result, image_sha256=self._sha256()), grade_text(self._grader.view()))
            self._copy("\n".join(part for part in parts if part), f"Copied {result.tracing.name} as text.")

    def _copy_csv(self) -> None:
        self._copy(self._csv(), "Copied all measured canals as CSV.")

    def _csv(self) -> str:
        names = [
            tracing.name for tracing in self.session.case.tracings if self.session.is_fresh(tracing.name)
        ]
        results = [result for name in names if (result := self.session.result(name)) is not None]
        return results_csv(results, image_sha256=self._sha256())

    def _copy(self, text: str, done: str) -> None:
        clipboard = QGuiApplication.clipboard()
        if clipboard is not None:
            clipboard.setText(text)
            show_or_hide(self.copied, done)

    def _save_csv(self) -> None:
        self._save("Save the measurements", "csv", lambda path: saving.write_text(self._csv(), path))

    def _save_record(self) -> None:
        self._save("Save the record", "json", lambda path: saving.write_record(self.session, path))

    def _save(self, title: str, suffix: str, write: Callable[[str], str]) -> None:
        proposed = str(Path(self.session.source).with_suffix(f".{suffix}")) if self.session.source else ""
        path = saving.ask_where_to_save(self, title=title, suffix=suffix, proposed=proposed)
        if not path:
            return
        problem = write(path)
        self.session.told.emit(problem)
        show_or_hide(self.copied, "" if problem else f"Saved {Path(path).name}.")


class FlagLines(MarkedLines):
    """One line per flag: shape, severity in a word, sentence."""

    def __init__(self) -> None:
        super().__init__(gap_px=2)

    def show_flags(self, flags: tuple[MeasurementFlag, ...]) -> None:
        """Show flags in their order."""
        self.show_lines([(flag.severity, _flag_words(flag)) for flag in flags])


def _flag_words(flag: MeasurementFlag) -> str:
    return f"<b>{flag.severity.value.capitalize()}:</b> {html(flag.text)}"


def _line(label: str, quantity: Quantity | None, after: str) -> str:
    if quantity is None:
        return ""
    value, interval = numbers(quantity)
    return f"{label} <b>{value}</b> ({interval}){after}"
