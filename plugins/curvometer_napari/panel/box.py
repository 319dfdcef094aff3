"""A step of the work as a box: a header with its state, and room for its controls."""

from __future__ import annotations

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QFrame, QLabel, QSizePolicy, QToolButton, QVBoxLayout, QWidget

from curvometer_napari.panel.looks import target_height
from curvometer_napari.panel.marks import Mark
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.session import Session
from curvometer_napari.steps import StepState


class StepBox(QFrame):
    """One box of the panel; later steps derive from it and are added with `CurvometerPanel.add_box`.

    A box writes `step` and `update_body`, and puts its controls into `body`. Both are called once after any number of
    signals, so they may read everything from the session but must stay cheap: no widget is made in them.

    Parameters
    ----------
    session
        What is told and changed.
    title
        The step in a word.
    """

    def __init__(self, session: Session, title: str) -> None:
        super().__init__()
        self.session = session
        self.setObjectName(title)
        self.setAccessibleName(title)
        self.header = Header(title)
        self.content = QWidget()
        self.body = QVBoxLayout(self.content)
        self.body.setContentsMargins(0, 2, 0, 0)
        self.body.setSpacing(6)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(4, 2, 4, 8)
        outer.setSpacing(0)
        outer.addWidget(self.header)
        outer.addWidget(self.content)
        self.header.fold.toggled.connect(self.content.setVisible)

    def step(self) -> StepState:
        """How far this step is."""
        raise NotImplementedError

    def update_body(self) -> None:
        """Show what the session says now."""

    def update_emphasis(self) -> None:
        """Show the measure or place that is pointed at now."""

    def refresh(self) -> None:
        """Show the state and the body."""
        self.header.show_state(self.step())
        self.update_body()


class Header(QWidget):
    """Shape, title and word of a step's state, and a line of words; pressing the title folds the box."""

    def __init__(self, title: str) -> None:
        super().__init__()
        self.mark = Mark()
        self.fold = QToolButton()
        self.fold.setText(title)
        self.fold.setCheckable(True)
        self.fold.setChecked(True)
        self.fold.setAutoRaise(True)
        self.fold.setToolTip(f"Show or hide the controls of the step: {title}")
        self.fold.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self.fold.setArrowType(Qt.ArrowType.DownArrow)
        self.fold.toggled.connect(self._turn_arrow)
        font = self.fold.font()
        font.setBold(True)
        self.fold.setFont(font)
        self.fold.setMinimumHeight(target_height(self.fold))
        self.fold.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.fold.setStyleSheet("QToolButton { text-align: left; border: none; background: transparent; }")
        self.state = QLabel()
        self.words = Words()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(Row(self.mark, (self.fold, 1), self.state))
        column.addWidget(self.words)

    def show_state(self, step: StepState) -> None:
        """Show a state."""
        self.mark.show_shape(step.state)
        self.state.setText(step.state.value)
        self.words.setText(step.words)
        self.fold.setAccessibleName(f"{self.fold.text()}: {step.state.value}. {step.words}")

    def _turn_arrow(self, unfolded: bool) -> None:
        self.fold.setArrowType(Qt.ArrowType.DownArrow if unfolded else Qt.ArrowType.RightArrow)
