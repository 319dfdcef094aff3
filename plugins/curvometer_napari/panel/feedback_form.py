"""Practice: check the work on an image, and read what was right and what was not, with the reasons."""

from __future__ import annotations

from qtpy.QtWidgets import QVBoxLayout, QWidget

from curvometer import ImageMark, ItemMark, Severity
from curvometer_napari.exercise_desk import ExerciseDesk
from curvometer_napari.panel.controls import Button, show_or_hide
from curvometer_napari.panel.looks import html
from curvometer_napari.panel.marked_lines import MarkedLines
from curvometer_napari.panel.marks import Shape
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.steps import State

THE_REFERENCE = "The dashed line is the reference."
CHANGED_SINCE = "You changed something since: check again."
HALF = 0.5


class FeedbackForm(QWidget):
    """A button that checks, and what the check gave: points, then a line for each item."""

    def __init__(self, desk: ExerciseDesk) -> None:
        super().__init__()
        self._desk = desk
        self.check = Button(
            "Check my work",
            "Compare your work on this image with the reference, which is then shown",
            desk.check,
        )
        self.next_image = Button(
            "Next practice image",
            "Simulate the next image: harder after a success, easier after an error",
            desk.practise,
        )
        self.points, self.old = Words(), Words()
        self.items = ItemLines()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 4, 0, 0)
        column.setSpacing(4)
        for widget in (Row(self.check, self.next_image), self.points, self.old, self.items):
            column.addWidget(widget)

    def show_run(self) -> None:
        """Show what the check of the open image gave; nothing before."""
        mark = self._desk.mark
        self.check.setEnabled(self._desk.on_the_image)
        self.next_image.setVisible(self._desk.in_practice_run and mark is not None)
        self.items.show_items(() if mark is None else mark.items)
        show_or_hide(self.points, "" if mark is None else f"{points_words(mark)} {THE_REFERENCE}")
        show_or_hide(self.old, CHANGED_SINCE if self._desk.mark_is_old else "")


class ItemLines(MarkedLines):
    """One line for each item of the rubric: shape, points, what was found, why."""

    def __init__(self) -> None:
        super().__init__(gap_px=3)
        self._shown: tuple[ItemMark, ...] = ()
        self.hide()

    def show_items(self, items: tuple[ItemMark, ...]) -> None:
        """Show items, those that cost most points first."""
        items = tuple(sorted(items, key=lambda item: item.points - item.out_of))
        if items == self._shown:
            return
        self._shown = items
        self.show_lines([(shape_of(item), item_words(item)) for item in items])
        self.setVisible(bool(items))


def shape_of(item: ItemMark) -> Shape:
    """A tick for full points, a triangle for half or more, an octagon below."""
    if item.points >= item.out_of:
        return State.DONE
    return Severity.CAUTION if item.points >= HALF * item.out_of else Severity.DO_NOT_TRUST


def item_words(item: ItemMark) -> str:
    """Tell an item as markup: title, points, what was found, why."""
    found = f" {html(_stopped(item.found))}" if item.found else ""
    reason = f" {html(_stopped(item.reason))}" if item.reason else ""
    return f"<b>{html(item.title)}</b>, {_number(item.points)} of {_number(item.out_of)}.{found}{reason}"


def points_words(mark: ImageMark) -> str:
    """Tell an image's points as markup."""
    cap = f" {html(_stopped(mark.cap_reason))}" if mark.cap_reason else ""
    return f"<b>{_number(mark.points)} of {_number(mark.out_of)} points.</b>{cap}"


def _number(points: float) -> str:
    return f"{points:.1f}".removesuffix(".0")


def _stopped(text: str) -> str:
    text = f"{text[:1].upper()}{text[1:]}"
    return text if text.endswith((".", "!", "?")) else f"{text}."
