"""Which piece to take, and at which speed."""

from __future__ import annotations

from curvometer import Instrument, InstrumentKind, Inventory, shortest_that_reaches

FALLBACK_RPM = 300.0
"""Where the maker forbids the wanted speed (modifier m8)."""

FASTEST_RPM = 900.0
"""No instrument of these sizes is turned faster here, whatever its maker allows (common practice, no source)."""

STANDARD_TAPER = 0.02


class Shelf:
    """The pieces of an inventory, for one tooth."""

    def __init__(self, inventory: Inventory, *, posterior: bool) -> None:
        self._pieces = inventory.instruments
        self._posterior = posterior

    def hand(self, size: int, *, to_mm: float) -> Instrument | None:
        """A hand file of taper .02 that is long enough."""
        return self._take(InstrumentKind.HAND, size, STANDARD_TAPER, to_mm)

    def rotary(self, size: int, taper: float, *, to_mm: float) -> Instrument | None:
        """A rotary instrument that is long enough."""
        return self._take(InstrumentKind.ROTARY, size, taper, to_mm)

    def hand_sizes(self) -> tuple[int, ...]:
        """Every hand size of taper .02 on the shelf, growing."""
        found = {
            p.size for p in self._pieces if p.kind is InstrumentKind.HAND and _same(p.taper, STANDARD_TAPER)
        }
        return tuple(sorted(found))

    def rotary_shapes(self) -> tuple[tuple[int, float], ...]:
        """Every rotary (size, taper) on the shelf, growing."""
        found = {(p.size, round(p.taper, 6)) for p in self._pieces if p.kind is InstrumentKind.ROTARY}
        return tuple(sorted(found))

    def _take(self, kind: InstrumentKind, size: int, taper: float, to_mm: float) -> Instrument | None:
        same = tuple(p for p in self._pieces if p.size == size and p.kind is kind and _same(p.taper, taper))
        if not same or to_mm <= 0.0:
            return None
        return shortest_that_reaches(
            Inventory(instruments=same),
            kind=kind,
            size=size,
            taper=taper,
            working_length_mm=to_mm,
            posterior=self._posterior,
        )


def _same(taper: float, other: float) -> bool:
    return abs(taper - other) < 1e-6  # rounding of a taper


def allowed_speed_rpm(piece: Instrument, wanted_rpm: float) -> float | None:
    """The wanted speed, or the one closest to `FALLBACK_RPM` where the maker forbids it; None beyond `FASTEST_RPM`."""
    if piece.speed_rpm is None:
        return None
    lowest, highest = piece.speed_rpm
    if lowest <= wanted_rpm <= highest:
        return wanted_rpm
    speed = min(max(FALLBACK_RPM, lowest), highest)
    return speed if speed <= FASTEST_RPM else None
