"""The image step: open a radiograph, and how it is shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import PurePath
from typing import Any

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QHBoxLayout
from superqt import QElidingLabel

from curvometer_napari.case import Display
from curvometer_napari.panel.box import StepBox
from curvometer_napari.panel.controls import Button, show_or_hide
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.session import Session
from curvometer_napari.steps import State, StepState, image_step

DISPLAY_ONLY = "Display only; measurements use the stored pixels."


class ImageBox(StepBox):
    """Open, invert, enhance, turn and mirror.

    Parameters
    ----------
    session
        What is told and changed.
    open_image
        Asks for a file and opens it.
    """

    def __init__(self, session: Session, open_image: Callable[[], None]) -> None:
        super().__init__(session, "Image")
        self.open = Button("Open ...", "Open a DICOM file or a picture of a radiograph", open_image)
        self.name = QElidingLabel()
        self.name.setElideMode(Qt.TextElideMode.ElideMiddle)
        self.name.setMinimumWidth(1)
        self.notes = Words()
        self.invert = Button(
            "Invert", f"Show dense parts dark. {DISPLAY_ONLY}", self._invert, action="invert", toggle=True
        )
        self.enhance = Button(
            "Enhance",
            f"Raise the local contrast to see faint canals. {DISPLAY_ONLY}",
            self._enhance,
            action="enhance",
            toggle=True,
        )
        self.turn = Button("Rotate", "Turn the view clockwise by 90 degrees", self._turn, action="rotate")
        self.mirror = Button(
            "Mirror", "Swap left and right of the view", self._mirror, action="mirror", toggle=True
        )
        self.window_reset = Button(
            "Reset window", "Show the grey values as the file suggests", self._reset_window
        )
        self.display_only = Words(DISPLAY_ONLY)
        file = QHBoxLayout()
        file.addWidget(self.open)
        file.addWidget(self.name, 1)
        self.body.addLayout(file)
        for widget in (
            self.notes,
            Row(self.invert, self.enhance, self.turn, self.mirror, self.window_reset),
            self.display_only,
        ):
            self.body.addWidget(widget)

    def step(self) -> StepState:
        """Whether there is an image; its name stands below, where it can be shortened."""
        step = image_step(self.session)
        if step.state is not State.DONE or not self.session.source:
            return step
        return replace(step, words=step.words.removeprefix(f"{PurePath(self.session.source).name}: "))

    def update_body(self) -> None:
        """Show the file's name, the loader's notes and how the image is shown."""
        radiograph, display = self.session.radiograph, self.session.case.display
        name = PurePath(self.session.source).name
        if name != self.name.text():
            self.name.setText(name)
            self.name.setToolTip(name)
        show_or_hide(self.notes, "" if radiograph is None else "\n".join(radiograph.notes))
        for button in (self.invert, self.enhance, self.turn, self.mirror):
            button.setEnabled(radiograph is not None)
        self.window_reset.setVisible(radiograph is not None and display.window is not None)
        self.invert.setChecked(display.inverted)
        self.enhance.setChecked(display.enhanced)
        self.mirror.setChecked(display.mirrored)
        self.display_only.setVisible(display.enhanced or display.inverted)

    def _show(self, what: str, **changes: Any) -> None:
        self.session.show(replace(self.session.case.display, **changes), what)
        self.refresh()

    @property
    def _display(self) -> Display:
        return self.session.case.display

    def _invert(self) -> None:
        self._show("invert", inverted=not self._display.inverted)

    def _enhance(self) -> None:
        self._show("enhance contrast", enhanced=not self._display.enhanced)

    def _turn(self) -> None:
        self._show("rotate", quarter_turns=(self._display.quarter_turns + 1) % 4)

    def _mirror(self) -> None:
        self._show("mirror", mirrored=not self._display.mirrored)

    def _reset_window(self) -> None:
        self._show("reset window", window=None)
