"""The clinic's shelf after all logs of one tooth: what was used in one canal has been used for the others, too.

Pieces have no number, so a piece is known by its make. Where a shelf holds the same make twice, each log takes what is used
least. Another shelf is charged with what the logs tell just the same: a piece that is stated anew is not a fresh one because
of that.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields, replace
from operator import attrgetter

from curvometer import Instrument, InstrumentKind, Inventory, Treatment, TreatmentEntry
from curvometer_napari.log_reading import read
from curvometer_napari.log_words import pieces_used

MOST_SHARE = 0.5
"""Above this share of its design life a piece is not used again, as in the core's guard."""

Make = tuple[object, ...]
_make: Callable[[Instrument], Make] = attrgetter(
    *(field.name for field in fields(Instrument) if field.name not in ("uses", "most_uses"))
)


def shelf_after_logs(shelf: Inventory, treatments: Sequence[Treatment]) -> Inventory:
    """A shelf with every use that the logs of a tooth tell.

    Parameters
    ----------
    shelf
        As stated.
    treatments
        Logs of all canals of the tooth.

    Returns
    -------
    Inventory
        The pieces in the order of the shelf. One that a log put away, or whose shares add up to more than `MOST_SHARE` over
        the logs, is spent.
    """
    pieces, shares = list(shelf.instruments), [0.0] * len(shelf.instruments)
    for treatment in treatments:
        for piece, tries, spent, share in _uses(treatment):
            number = _least_used(pieces, piece)
            if number is None:
                continue
            shares[number] += share
            pieces[number] = _used(
                pieces[number], tries=tries, spent=spent or shares[number] > MOST_SHARE + 1e-9
            )
    return replace(shelf, instruments=tuple(pieces))


def has_left(shelf: Inventory, piece: Instrument) -> bool:
    """Whether a piece of this make may be used once more."""
    return any(same_make(each, piece) and not each.is_spent for each in shelf.instruments)


def as_left(shelf: Inventory, tooth: Inventory) -> Inventory:
    """A log's own shelf without the pieces that the shelf of the whole tooth has no more.

    The pieces that are left stay as the log knows them, because its guard lets a new plan take no others.
    """
    left = {_make(piece): 0 for piece in shelf.instruments}
    for piece in tooth.instruments:
        if not piece.is_spent and _make(piece) in left:
            left[_make(piece)] += 1
    pieces = []
    for piece in shelf.instruments:
        if not piece.is_spent:
            left[_make(piece)] -= 1
        pieces.append(piece if left[_make(piece)] >= 0 else _used(piece, tries=0, spent=True))
    return replace(shelf, instruments=tuple(pieces))


def makes(shelf: Inventory) -> Counter[Make]:
    """What a shelf holds, whatever it has been through, with the number of each make."""
    return Counter(map(_make, shelf.instruments))


def same_make(one: Instrument, other: Instrument) -> bool:
    """Whether two pieces differ in their uses only."""
    return _make(one) == _make(other)


def _uses(treatment: Treatment) -> Iterator[tuple[Instrument, int, bool, float]]:
    """Piece, uses, whether it is spent now, and share, of each rotary piece that a log has used."""
    if not any(isinstance(each, TreatmentEntry) for each in treatment.log.entries):
        return
    now = read(treatment).after.inventory
    shares = {_make(each.instrument): each.share for each in pieces_used((treatment,))}
    pairs = zip(_rotary(treatment.request.inventory), _rotary(now), strict=True)
    for before, after in pairs:
        if after != before:
            # Several pieces of a make share one number: each is charged with all of it.
            yield before, after.uses - before.uses, after.is_spent, shares.get(_make(before), 0.0)


def _rotary(shelf: Inventory) -> list[Instrument]:
    return [piece for piece in shelf.instruments if piece.kind is InstrumentKind.ROTARY]


def _least_used(pieces: Sequence[Instrument], piece: Instrument) -> int | None:
    numbers = [number for number, each in enumerate(pieces) if same_make(each, piece)]
    return min(numbers, key=lambda number: (pieces[number].is_spent, pieces[number].uses), default=None)


def _used(piece: Instrument, *, tries: int, spent: bool) -> Instrument:
    uses = max(piece.uses + tries, 1)
    return replace(piece, uses=uses, most_uses=uses if spent else piece.most_uses)
