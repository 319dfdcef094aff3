"""What the hand files of a log have found: how deep each went, and the largest one at length."""

from __future__ import annotations

from dataclasses import replace

from curvometer.instruments import InstrumentKind
from curvometer.sequence import REACHED_SIZES, Exploration, PlanRequest
from curvometer.treatment.log import Outcome, TreatmentEntry, TreatmentLog

SAME_DEPTH_MM = 0.01
"""Two depths closer than this are the same."""

LOST_LENGTH_STOPS_MM = 0.5
"""From this loss of length on the treatment stops (common practice, no source)."""

STANDARD_TAPER = 0.02


def exploration_after(request: PlanRequest, log: TreatmentLog) -> Exploration:
    """Tell what is known at the chair after a log.

    Parameters
    ----------
    request
        What the log began with.
    log
        The entries.

    Returns
    -------
    Exploration
        The deepest place of each hand size and the largest one at working length grow with the log and never fall: a
        file that falls short where it, or a larger one, had been counts as lost length instead (`is_lost_length`).
        Rotary instruments explore nothing. A size that a log brings to length is taken as neither loose nor forced.
    """
    found = request.exploration
    for entry in log.entries:
        if isinstance(entry, TreatmentEntry):
            found = found_after(found, entry)
    return found


def found_after(found: Exploration, entry: TreatmentEntry) -> Exploration:
    """The findings after one more entry."""
    piece, depth = entry.instrument, depth_of(entry)
    if piece is None or piece.kind is not InstrumentKind.HAND or depth is None or depth <= 0.0:
        return found
    size = max((size for size in REACHED_SIZES if size <= piece.size), default=0)
    length = found.working_length_mm
    depth = depth if length is None else min(depth, length)
    depths = {**found.explored_mm, size: max(depth, found.explored_mm.get(size, 0.0))}
    at_length = length is not None and depth >= length - SAME_DEPTH_MM
    is_standard = abs(piece.taper - STANDARD_TAPER) < 1e-6
    if entry.outcome is Outcome.REACHED and at_length and is_standard and size >= found.reached_size:
        loose = found.loose and size == found.reached_size
        found = replace(found, reached_size=size, forced=False, loose=loose)
    return found if depths == found.explored_mm else replace(found, explored_mm=depths)


def depth_of(entry: TreatmentEntry) -> float | None:
    """How deep the tip went for sure; None where nobody knows.

    A deflected or broken file tells nothing: its tip may have left the canal.
    """
    if entry.outcome is Outcome.REACHED:
        return entry.to_mm
    if entry.outcome is Outcome.SHORT and entry.amount_mm is not None:
        return entry.to_mm - entry.amount_mm
    return entry.depth_mm if entry.outcome is Outcome.BINDING else None


def deepest_of(found: Exploration, *, size: int) -> float:
    """Deepest place that a hand file of a size, or a larger one, has reached; 0 when none did."""
    depths = [depth for each, depth in found.explored_mm.items() if each >= size]
    if found.working_length_mm is not None and found.size_at_length >= size:
        depths.append(found.working_length_mm)
    return max(depths, default=0.0)


def lost_length_mm(found: Exploration, entry: TreatmentEntry) -> float:
    """Length that an entry says is lost, from what was found before it.

    Either it says so itself, or a hand file falls short of where it, or a larger one, had been.
    """
    if entry.outcome is Outcome.LOST_LENGTH and entry.amount_mm is not None:
        return entry.amount_mm
    piece, depth = entry.instrument, depth_of(entry)
    if piece is None or piece.kind is not InstrumentKind.HAND or depth is None:
        return 0.0
    wanted = min(entry.to_mm, deepest_of(found, size=piece.size))
    return max(0.0, wanted - depth)


def is_lost_length(found: Exploration, entry: TreatmentEntry) -> bool:
    """Whether an entry tells of a loss that stops the treatment."""
    return lost_length_mm(found, entry) >= LOST_LENGTH_STOPS_MM - 1e-9
