"""Colours that can be read in a light and a dark window, and sizes that grow with the font."""

from __future__ import annotations

from enum import Enum

from qtpy.QtGui import QColor, QFontMetricsF, QPalette
from qtpy.QtWidgets import QWidget

MIN_TARGET_PX = 28
"""Least height of everything that can be pressed, in device-independent pixels."""
READABLE_CONTRAST = 4.5
"""Least contrast of text against its ground (WCAG 2.1, success criterion 1.4.3; from memory)."""


class Ink(Enum):
    """What a colour says, for a dark and for a light ground; a shape or a word always says it, too."""

    GOOD = ("#5fd3a5", "#00593f")
    CAUTION = ("#f0c24b", "#6f4700")
    STOP = ("#ff9a76", "#9c2600")
    NOTE = ("#8cc8f2", "#004f85")
    CURVE = ("#8cc8f2", "#004f85")


def ground(widget: QWidget) -> QColor:
    """The colour behind a widget's text, a style sheet's included."""
    return widget.palette().color(QPalette.ColorRole.Window)


def text_colour(widget: QWidget) -> QColor:
    """The colour of a widget's text, a style sheet's included."""
    return widget.palette().color(QPalette.ColorRole.WindowText)


def ink(widget: QWidget, role: Ink) -> QColor:
    """A colour that can be read on the widget."""
    dark, light = role.value
    return QColor(dark if luminance(ground(widget)) < 0.18 else light)


def dim(widget: QWidget) -> QColor:
    """Text that steps back: as far towards the ground as it stays readable."""
    return faded(text_colour(widget), ground(widget))


def faded(text: QColor, behind: QColor) -> QColor:
    """Mix text into its ground by at most 35 %, less where it would become unreadable."""
    for share in (0.35, 0.25, 0.15):
        mixed = _mixed(text, behind, share)
        if contrast(mixed, behind) >= READABLE_CONTRAST:
            return mixed
    return text


def tint(widget: QWidget, colour: QColor, share: float = 0.25) -> QColor:
    """The widget's ground with a little of a colour in it."""
    return _mixed(ground(widget), colour, share)


def contrast(one: QColor, other: QColor) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.1; from memory)."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def luminance(colour: QColor) -> float:
    """Relative luminance, 0 to 1 (WCAG 2.1; from memory)."""

    def linear(share: float) -> float:
        return share / 12.92 if share <= 0.03928 else float(((share + 0.055) / 1.055) ** 2.4)

    red, green, blue = (linear(c) for c in (colour.redF(), colour.greenF(), colour.blueF()))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def line_height(widget: QWidget) -> float:
    """Height of a line of the widget's text, the measure of everything that is drawn."""
    return float(QFontMetricsF(widget.font()).height())


def target_height(widget: QWidget) -> int:
    """Height of something to press: never below `MIN_TARGET_PX`, and taller with a larger font."""
    return max(MIN_TARGET_PX, round(1.6 * line_height(widget)))


def html(text: str) -> str:
    """Plain text made safe for a label that reads markup."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def coloured(text: str, colour: QColor) -> str:
    """Markup for text in a colour."""
    return f'<span style="color:{colour.name()}">{text}</span>'


def _mixed(one: QColor, other: QColor, share: float) -> QColor:
    def mix(a: float, b: float) -> float:
        return (1.0 - share) * a + share * b

    return QColor.fromRgbF(
        mix(one.redF(), other.redF()), mix(one.greenF(), other.greenF()), mix(one.blueF(), other.blueF())
    )
