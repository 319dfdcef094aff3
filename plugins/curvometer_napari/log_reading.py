"""What a log says, read once: a log is read from its first entry by the core, and the chair is shown anew at every change.

A `Treatment` is frozen, so what was read of one stays true; it is known again by being the same object.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from curvometer import NextStep, PlanRequest, Treatment, next_step, request_after

MOST_READ = 1024
"""Logs whose reading is remembered; a day's work has a few dozen."""


class Reading(NamedTuple):
    """What a log says.

    Attributes
    ----------
    told
        The next step.
    after
        What recommenders are asked after it.
    """

    told: NextStep
    after: PlanRequest


def read(treatment: Treatment) -> Reading:
    """Read a log.

    Raises
    ------
    TreatmentError
        As `curvometer.next_step`; a `Treatment` that was made has passed that already.
    """
    return _read(_Same(treatment))


class _Same:
    """A key that is equal for the same object only, which it keeps alive."""

    def __init__(self, treatment: Treatment) -> None:
        self.treatment = treatment

    def __hash__(self) -> int:
        return id(self.treatment)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.treatment is self.treatment


@lru_cache(maxsize=MOST_READ)
def _read(same: _Same) -> Reading:
    plan, log, request = same.treatment.plan, same.treatment.log, same.treatment.request
    return Reading(told=next_step(plan, log, request), after=request_after(plan, log, request))
