"""Lines at the top of the panel: one sentence, what goes on in the background, and what was left unfinished."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

from qtpy.QtCore import QEvent, Qt
from qtpy.QtGui import QPainter, QPaintEvent, QPen
from qtpy.QtWidgets import QHBoxLayout, QProgressBar, QVBoxLayout, QWidget
from superqt import QElidingLabel

from curvometer import Severity
from curvometer_napari.panel.controls import Button, Press
from curvometer_napari.panel.looks import Ink, ink
from curvometer_napari.panel.marks import Mark
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words

if TYPE_CHECKING:
    from curvometer_napari.autosave import Saved


class Notice(QWidget):
    """A framed line that is hidden while it has nothing to say."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self.setAccessibleName(name)
        self.hide()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802, ARG002 - Qt's name
        """Draw a frame that stands out a little."""
        painter = QPainter(self)
        painter.setPen(QPen(ink(self, Ink.CAUTION), 1.0))
        painter.drawRect(self.rect().adjusted(0, 0, -1, -1))
        painter.end()

    def changeEvent(self, event: QEvent) -> None:  # noqa: N802 - Qt's name
        """Draw the frame anew when the theme changes."""
        super().changeEvent(event)
        self.update()


class MessageLine(Notice):
    """One sentence that says what to do, until it is dismissed or over."""

    def __init__(self) -> None:
        super().__init__("Message")
        self.words = Words()
        self.mark = Mark()
        self.mark.show_shape(Severity.CAUTION)
        self.dismiss = Button("OK", "Dismiss this message", lambda: self.show_sentence(""))
        self.dismiss.setAccessibleName("Dismiss the message")
        row = QHBoxLayout(self)
        row.setContentsMargins(6, 4, 4, 4)
        row.addWidget(self.mark, 0, Qt.AlignmentFlag.AlignTop)
        row.addWidget(self.words, 1)
        row.addWidget(self.dismiss, 0, Qt.AlignmentFlag.AlignTop)

    def show_sentence(self, sentence: str) -> None:
        """Show a sentence; an empty one ends the last."""
        sentence = as_sentence(sentence)
        self.words.setText(sentence)
        self.setAccessibleDescription(sentence)
        self.setVisible(bool(sentence))


class BusyLine(Notice):
    """What goes on in the background, with a way to stop waiting for it."""

    def __init__(self, cancel: Press) -> None:
        super().__init__("Working")
        self.bar = QProgressBar()
        self.bar.setRange(0, 1)
        self.bar.setTextVisible(False)
        self.bar.setAccessibleName("Working in the background")
        self.bar.setMaximumHeight(8)
        self.cancel = Button("Cancel", "Stop waiting for it", cancel)
        self.what = QElidingLabel()
        self.what.setElideMode(Qt.TextElideMode.ElideMiddle)
        self.what.setMinimumWidth(1)
        row = QHBoxLayout()
        row.addWidget(self.what, 1)
        row.addWidget(self.cancel)
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 4, 4, 4)
        column.addLayout(row)
        column.addWidget(self.bar)

    def show_work(self, what: str) -> None:
        """Show what goes on; nothing when empty."""
        text = f"{what[:1].upper()}{what[1:]} ..." if what else ""
        self.what.setText(text)
        self.setAccessibleDescription(text)
        # A bar without an end runs only while it is seen: its animation costs redraws.
        self.bar.setRange(0, 0 if what else 1)
        self.setVisible(bool(what))


class OfferLine(Notice):
    """A tracing that was not finished when the window closed: continue or discard it."""

    def __init__(self, continue_: Press, discard: Press) -> None:
        super().__init__("Unfinished work")
        self.words = Words()
        self.saved: Saved | None = None
        self.go_on = Button("Continue", "Open the image and go on where it was left", continue_)
        self.discard = Button("Discard", "Delete what was kept of it", discard)
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 4, 4, 4)
        column.addWidget(self.words)
        column.addWidget(Row(self.go_on, self.discard))

    def offer(self, saved: Saved | None) -> None:
        """Offer what was kept; nothing when None."""
        self.saved = saved
        self.setVisible(saved is not None)
        if saved is not None:
            self.words.setText(_offer_words(saved))


def as_sentence(text: str) -> str:
    """Begin with a capital, unless with a file's name, and end with a stop."""
    text = text.strip()
    first = text.split(" ", 1)[0]
    if first.isalpha():
        text = f"{text[:1].upper()}{text[1:]}"
    return f"{text}." if text and text[-1] not in ".!?" else text


def _offer_words(saved: Saved) -> str:
    names = ", ".join(str(tracing.name) for tracing in saved.case.tracings)
    count = len(saved.case.tracings)
    what = f"canal{'' if count == 1 else 's'} {names}" if names else "no canal yet"
    when = f"{saved.when.astimezone():%d %b %Y, %H:%M}"
    return f"Work was left open: {PurePath(saved.source).name or 'an image'}, {what}, {when}."
