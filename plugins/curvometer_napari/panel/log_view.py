"""The treatment log as it is: every entry, what each instrument has been through, and taking it along."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from qtpy.QtWidgets import QLineEdit, QVBoxLayout, QWidget

from curvometer import Treatment
from curvometer_napari.log_words import entry_words, pieces_used
from curvometer_napari.panel.controls import Button, caption, show_or_hide
from curvometer_napari.panel.looks import html, target_height
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.plan_words import plan_name

Press = Callable[[], object]
WHO_LENGTH = 20


class LogView(QWidget):
    """All logs of a canal, oldest first; nothing in it can be changed.

    Parameters
    ----------
    save, load
        Called to write the newest log elsewhere, and to open one.
    """

    def __init__(self, save: Press, load: Press) -> None:
        super().__init__()
        self.entries, self.pieces = Words(), Words()
        self.who = QLineEdit()
        self.who.setMaxLength(WHO_LENGTH)
        self.who.setMinimumHeight(target_height(self.who))
        self.who.setPlaceholderText("initials, may be empty")
        self.who.setAccessibleName("Who treats")
        self.who.setToolTip("Written beside each further entry; may be empty")
        self.save = Button("Save log as ...", "Write this canal's newest log to a file of your choice", save)
        self.load = Button("Open log ...", "Open a log that was saved before", load)
        self.by = Row(caption("Who"), (self.who, 1))
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        for widget in (self.entries, self.pieces, self.by, Row(self.save, self.load)):
            column.addWidget(widget)

    def show_logs(self, treatments: Sequence[Treatment]) -> None:
        """Show the logs of a canal."""
        show_or_hide(self.entries, "<br>".join(_lines(treatments)))
        pieces = "\n".join(map(str, pieces_used(treatments)))
        show_or_hide(
            self.pieces, f"Motor instruments in this canal (bench-based shares):\n{pieces}" if pieces else ""
        )
        self.by.setVisible(bool(treatments))
        self.save.setVisible(bool(treatments))
        self.load.setVisible(not treatments)


def _lines(treatments: Sequence[Treatment]) -> list[str]:
    lines = []
    for number, treatment in enumerate(treatments, start=1):
        older = "" if number == len(treatments) else ", put aside"
        lines.append(f"<b>Log {number}{older}: {html(plan_name(treatment.plan))}</b>")
        lines += [
            f"{place}. {html(entry_words(entry))}"
            for place, entry in enumerate(treatment.log.entries, start=1)
        ] or ["Nothing has been tried yet."]
    return lines
