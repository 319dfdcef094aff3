"""Buttons, labels and rows as every box uses them: high enough to press, named for who cannot see them."""

from __future__ import annotations

from collections.abc import Callable

from qtpy.QtCore import QEvent, QObject, QSize, Qt
from qtpy.QtGui import QPaintEvent, QResizeEvent
from qtpy.QtWidgets import (
    QAbstractSpinBox,
    QComboBox,
    QDoubleSpinBox,
    QLabel,
    QPushButton,
    QSizePolicy,
    QStyle,
    QStyleOptionComboBox,
    QStylePainter,
    QWidget,
)

from curvometer_napari.panel.hints import hint
from curvometer_napari.panel.looks import target_height
from curvometer_napari.panel.text import Words

Press = Callable[[], object]


class Button(QPushButton):
    """A button that is high enough to press, with a tooltip that names its key."""

    def __init__(self, text: str, tip: str, press: Press, *, action: str = "", toggle: bool = False) -> None:
        super().__init__(text)
        self.setCheckable(toggle)
        self.setAutoDefault(False)
        self.setAccessibleName(text)
        self.setToolTip(hint(tip, action))
        self.setSizePolicy(QSizePolicy.Policy.Minimum, QSizePolicy.Policy.Fixed)
        self.clicked.connect(lambda _checked=False: press())

    def sizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the size."""
        hint_size = super().sizeHint()
        return QSize(hint_size.width() + 6, max(hint_size.height(), target_height(self)))

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the least size."""
        return self.sizeHint()


class ElasticButton(Button):
    """A button whose text changes and is shortened to the room that there is, so that it never widens the panel."""

    def __init__(self, text: str, tip: str, press: Press, *, action: str = "") -> None:
        super().__init__(text, tip, press, action=action)
        self._whole = text
        self._tip = self.toolTip()
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)

    def show_text(self, text: str) -> None:
        """Show a text; the tooltip has all of it."""
        if text != self._whole:
            self._whole = text
            self.setAccessibleName(text)
            self.setToolTip(f"{text}. {self._tip}")
            self._shorten()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 - Qt's name
        """Shorten the text to the new width."""
        super().resizeEvent(event)
        self._shorten()

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Room for a word."""
        return QSize(6 * self.fontMetrics().height(), self.sizeHint().height())

    def _shorten(self) -> None:
        metrics = self.fontMetrics()
        room = self.width() - metrics.height()
        shown = metrics.elidedText(self._whole, Qt.TextElideMode.ElideRight, room)
        if shown != self.text():
            self.setText(shown)


class ChoiceField(QComboBox):
    """A choice that is as high as a button."""

    def sizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the size."""
        size = super().sizeHint()
        return QSize(size.width(), max(size.height(), target_height(self)))

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the least size."""
        return QSize(super().minimumSizeHint().width(), self.sizeHint().height())

    def widen_list(self) -> None:
        """Let the opened list show its texts whole, however narrow the field is."""
        metrics = self.fontMetrics()
        widest = max((metrics.horizontalAdvance(self.itemText(i)) for i in range(self.count())), default=0)
        self.view().setMinimumWidth(widest + 3 * metrics.height())

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 - Qt's name
        """Shorten a text that does not fit, instead of cutting it."""
        if self.isEditable():
            super().paintEvent(event)
            return
        painter, option = QStylePainter(self), QStyleOptionComboBox()
        self.initStyleOption(option)
        painter.drawComplexControl(QStyle.ComplexControl.CC_ComboBox, option)
        field = self.style().subControlRect(
            QStyle.ComplexControl.CC_ComboBox, option, QStyle.SubControl.SC_ComboBoxEditField, self
        )
        option.currentText = self.fontMetrics().elidedText(
            option.currentText, Qt.TextElideMode.ElideRight, field.width() - 2
        )
        painter.drawControl(QStyle.ControlElement.CE_ComboBoxLabel, option)


class NumberField(QDoubleSpinBox):
    """A number that is as high as a button."""

    def sizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the size."""
        size = super().sizeHint()
        return QSize(size.width(), max(size.height(), target_height(self)))

    def minimumSizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        """Qt asks for the least size."""
        return self.sizeHint()


def caption(text: str = "") -> QLabel:
    """A short label in front of a field, at the field's own height."""
    label = QLabel(text)
    label.setMinimumHeight(target_height(label))
    return label


def show_or_hide(words: Words, text: str) -> None:
    """Show a text, and no empty line when there is none."""
    words.setText(text)
    if words.isHidden() == bool(text):
        words.setVisible(bool(text))


class NoWheel(QObject):
    """Keeps the wheel for scrolling the panel: it must not change a number that it happens to pass over."""

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802 - Qt's name
        """Let the wheel pass."""
        if event.type() == QEvent.Type.Wheel and isinstance(watched, QWidget) and not watched.hasFocus():
            event.ignore()
            return True
        return False


def steady(field: QComboBox | QAbstractSpinBox, *, name: str, tip: str) -> None:
    """Name a field, make it high enough, and let the wheel pass by."""
    field.setAccessibleName(name)
    field.setToolTip(tip)
    field.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
    field.setMinimumHeight(target_height(field))
    field.installEventFilter(NoWheel(field))
