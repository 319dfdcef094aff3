"""Every rotary piece of the shelf with its uses and the share of its life that this canal has spent."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from curvometer.instruments import Instrument, InstrumentKind, Inventory
from curvometer.mechanics import SHARE_DROPS_STEP

_SLACK_SHARE = 1e-9


@dataclass(frozen=True, kw_only=True)
class PieceUse:
    """One rotary piece.

    Attributes
    ----------
    instrument
        As it was on the shelf.
    tries
        How often it was used in this canal; each entry of the log is one.
    share
        Sum of the budget shares of those tries (Miner); a try that failed is charged in full.
    put_away
        Whether it fell short, bound or deflected: it is not used again (common practice, no source).
    """

    instrument: Instrument
    tries: int = 0
    share: float = 0.0
    put_away: bool = False

    @cached_property
    def now(self) -> Instrument:
        """The piece with its uses; spent where it must not be used again."""
        if not self.tries and not self.put_away:
            return self.instrument
        uses = self.instrument.uses + self.tries
        most = uses if self.put_away or self.share > SHARE_DROPS_STEP else self.instrument.most_uses
        return replace(self.instrument, uses=uses, most_uses=most)

    def can_take(self, share: float) -> bool:
        """Whether another use with this share stays within the uses and half of the life."""
        return not self.now.is_spent and self.share + share <= SHARE_DROPS_STEP + _SLACK_SHARE

    def used(self, share: float, *, put_away: bool) -> PieceUse:
        """The piece after one more use."""
        # Rounding lets two orders of the same uses be the same.
        total = round(self.share + share, 9)
        return replace(self, tries=self.tries + 1, share=total, put_away=self.put_away or put_away)


Pieces = tuple[PieceUse, ...]


def pieces_of(inventory: Inventory) -> Pieces:
    """Every rotary piece, in the order of the shelf; hand files are looked at and replaced, nobody counts them."""
    return tuple(
        PieceUse(instrument=item) for item in inventory.instruments if item.kind is InstrumentKind.ROTARY
    )


def shelf_after(inventory: Inventory, pieces: Pieces) -> Inventory:
    """The shelf with the uses so far."""
    by_hand = [item for item in inventory.instruments if item.kind is InstrumentKind.HAND]
    return Inventory(instruments=(*by_hand, *(piece.now for piece in pieces)), name=inventory.name)


def piece_for(pieces: Pieces, instrument: Instrument, share: float) -> int | None:
    """Number of the piece to take for a step: of the same make, the least spent one; None where none may be used."""
    fitting = [
        number
        for number, piece in enumerate(pieces)
        if same_make(piece.instrument, instrument) and piece.can_take(share)
    ]
    return min(fitting, key=lambda number: (pieces[number].share, pieces[number].now.uses), default=None)


def same_make(one: Instrument, other: Instrument) -> bool:
    """Whether two pieces differ in their uses only."""
    return _make(one) == _make(other)


def _make(piece: Instrument) -> tuple[object, ...]:
    shape = (piece.kind, piece.size, piece.taper, piece.length_mm, piece.material, piece.working_part_mm)
    return (*shape, piece.speed_rpm, piece.torque_limit_n_cm)
