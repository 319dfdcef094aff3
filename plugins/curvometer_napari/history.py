"""Undo and redo over frozen cases."""

from __future__ import annotations

from dataclasses import dataclass, field

from curvometer_napari.case import Case

MOST_STEPS = 500
"""Cases that are kept; each shares what did not change with its neighbours."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """A case, and what led to it in words."""

    what: str
    case: Case


@dataclass(frozen=True, kw_only=True)
class History:
    """The steps up to now, and those that were undone.

    Attributes
    ----------
    past
        At least one step; the last is now.
    future
        Undone steps, the next to be redone last.
    """

    past: tuple[Step, ...] = field(default_factory=lambda: (Step(what="", case=Case()),))
    future: tuple[Step, ...] = ()

    @property
    def case(self) -> Case:
        """The case as it is now."""
        return self.past[-1].case

    @property
    def undo_text(self) -> str:
        """What undo would take back; empty when there is nothing."""
        return self.past[-1].what if len(self.past) > 1 else ""

    @property
    def redo_text(self) -> str:
        """What redo would do again; empty when there is nothing."""
        return self.future[-1].what if self.future else ""

    def with_step(self, case: Case, what: str) -> History:
        """Add a step; an edit that changed nothing is none."""
        if case == self.case:
            return self
        return History(past=(*self.past[-MOST_STEPS:], Step(what=what, case=case)))

    def in_place(self, case: Case) -> History:
        """Change the present case without a step, for what is no edit, such as which canal is looked at."""
        return History(past=(*self.past[:-1], Step(what=self.past[-1].what, case=case)), future=self.future)

    def undone(self) -> History:
        """Go one step back."""
        if len(self.past) == 1:
            return self
        return History(past=self.past[:-1], future=(*self.future, self.past[-1]))

    def redone(self) -> History:
        """Do again what was undone last."""
        if not self.future:
            return self
        return History(past=(*self.past, self.future[-1]), future=self.future[:-1])
