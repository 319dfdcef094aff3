"""The hand file that goes back down: which size, and the step that it makes."""

from __future__ import annotations

from curvometer.instruments import (
    Instrument,
    InstrumentKind,
    Inventory,
    instruments_that_reach,
    shortest_that_reaches,
)
from curvometer.sequence import Exploration, PlanRequest, SequenceStep, StepRole
from curvometer.treatment.findings import SAME_DEPTH_MM, STANDARD_TAPER, deepest_of

LARGEST_RECAPITULATION = 10
"""Hand files up to this size are sent down again (common practice, no source)."""


def hand_sizes(inventory: Inventory, depth_mm: float) -> tuple[int, ...]:
    """Sizes of the hand files of taper .02 that are long enough for a depth, small to large; may be empty."""
    reaching = instruments_that_reach(inventory, working_length_mm=depth_mm, kind=InstrumentKind.HAND)
    return tuple(sorted({item.size for item in reaching if abs(item.taper - STANDARD_TAPER) < 1e-6}))


def confirming_size(inventory: Inventory, found: Exploration, depth_mm: float) -> int:
    """The largest size up to 10 that has been at a depth, else the smallest one; 0 where no file is long enough."""
    sizes = hand_sizes(inventory, depth_mm)
    been = [
        size
        for size in sizes
        if size <= LARGEST_RECAPITULATION and deepest_of(found, size=size) >= depth_mm - SAME_DEPTH_MM
    ]
    return max(been, default=min(sizes, default=0))


def smaller_size(inventory: Inventory, size: int, depth_mm: float) -> int:
    """The next smaller size; the smallest one where there is none; 0 where no file is long enough."""
    sizes = hand_sizes(inventory, depth_mm)
    return max((each for each in sizes if each < size), default=min(sizes, default=0))


def hand_piece(request: PlanRequest, size: int, depth_mm: float) -> Instrument | None:
    """The piece to take; None where none is long enough."""
    if depth_mm <= 0.0:
        return None
    return shortest_that_reaches(
        request.inventory,
        kind=InstrumentKind.HAND,
        size=size,
        taper=STANDARD_TAPER,
        working_length_mm=depth_mm,
        posterior=request.is_posterior,
    )


def hand_step(request: PlanRequest, size: int, depth_mm: float, *, why: str) -> SequenceStep | None:
    """The hand file once down again; None where no piece is long enough."""
    piece = hand_piece(request, size, depth_mm) if size else None
    if piece is None:
        return None
    return SequenceStep(
        instrument=piece,
        to_mm=depth_mm,
        role=StepRole.CONFIRM,
        motion="fresh and pre-curved, watch-winding without force, in a flooded canal",
        why=why,
        check="It slides to this depth and back by finger weight.",
        if_short="Irrigate, take a smaller one freshly pre-curved, and do not force it.",
        stop_when="Length is lost by 0.5 mm or more, or the tip is hooked: stop and take a radiograph.",
    )
