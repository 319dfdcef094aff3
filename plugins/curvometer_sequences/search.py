"""The shortest safe chain of rotary instruments on the shelf for a row of the table."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise

from curvometer import Instrument, PlanRequest, step_share, step_strain
from curvometer_sequences.rows import Row, Shape
from curvometer_sequences.shelf import Shelf, allowed_speed_rpm

HALF_OF_BUDGET = 0.50
LARGEST_JUMP = 1.5
"""Next tip over the one before, as from size 10 to 15: the largest step of the standard's series."""
LONGEST_CHAIN = 3
_NOT_AT_HAND = "none on the shelf is long enough, fresh, and allowed at this speed"


@dataclass(frozen=True, kw_only=True)
class Link:
    """One rotary instrument with what it would cost."""

    piece: Instrument
    speed_rpm: float
    share: float
    strain: float

    @property
    def shape(self) -> Shape:
        """(size, taper)."""
        return self.piece.size, round(self.piece.taper, 6)


@dataclass(frozen=True, kw_only=True)
class Chain:
    """Rotary instruments in their order; empty where a loose hand file makes them needless.

    `offered` may follow them, or be left out. `remarks` say why the chain differs from the row's.
    """

    links: tuple[Link, ...]
    offered: Link | None = None
    remarks: tuple[str, ...] = ()


def find_chain(row: Row, request: PlanRequest, shelf: Shelf, *, to_mm: float) -> Chain | None:
    """The row's own instruments where they are safe; else the shortest safe chain of others; None where there is none."""
    size = request.exploration.size_at_length
    # m1: nothing is turned that is not larger than a hand file which is loose already.
    loose = size if request.exploration.loose and size >= 15 else 0
    wanted = [shape for shape in row.rotary if shape[0] > loose]
    if not wanted:
        return Chain(
            links=(), remarks=(f"Size {size} is loose at working length: no rotary instrument is needed.",)
        )
    tapers = _tapers(request, row)
    links = {
        shape: _link(shape, row, request, shelf, to_mm)
        for shape in dict.fromkeys((*wanted, *shelf.rotary_shapes()))
        if shape[1] in tapers and loose < shape[0] <= max(size for size, _ in row.rotary)
    }
    safe = {shape: link for shape, link in links.items() if link and link.share <= _most_share(row, shape)}
    found = [safe[shape] for shape in wanted if shape in safe]
    if len(found) == len(wanted):
        return _enlarged(found, row, request, shelf, to_mm)
    dropped = [link for shape in wanted if (link := links.get(shape)) and shape not in safe]
    remarks = [
        f"{link.piece.name} is left out: it would spend {100 * link.share:.0f} % of its budget."
        for link in dropped
    ]
    start = wanted[: len(found)]
    if found and [link.shape for link in found] == start:  # only the end is missing: stop before it
        lacking = [shape for shape in wanted[len(found) :] if not links.get(shape)]
        remarks += [_lacking(shape, tapers) for shape in lacking]
        return Chain(links=tuple(found), remarks=tuple(remarks))
    shortest = _shortest(list(safe.values()), size)
    if shortest is None:
        return None
    remarks.append(
        f"The shelf cannot serve {', '.join(map(_name, wanted))}: the shortest safe chain replaces it."
    )
    return Chain(links=shortest, remarks=tuple(remarks))


def _enlarged(found: list[Link], row: Row, request: PlanRequest, shelf: Shelf, to_mm: float) -> Chain:
    """The row's own instruments, and after them what it offers where that stays within the row's own limit."""
    if row.offered is None:
        return Chain(links=tuple(found))
    size, taper, most = row.offered
    link = _link((size, taper), row, request, shelf, to_mm)
    if link is None:
        lacking = f"{_name((size, taper))} is not offered: {_NOT_AT_HAND}."
        return Chain(links=tuple(found), remarks=(lacking,))
    spends = f"{100 * link.share:.0f} % of its budget; this row allows {100 * most:.0f} %"
    if link.share > most:
        beyond = f"{link.piece.name} is not offered: it would spend {spends}."
        return Chain(links=tuple(found), remarks=(beyond,))
    offer = f"{link.piece.name} is an offer that may be left out; it spends {spends}."
    return Chain(links=tuple(found), offered=link, remarks=(offer,))


def _shortest(links: list[Link], hand_size: int) -> tuple[Link, ...] | None:
    """The fewest instruments that lead from the hand file at length to a hand 15, no jump too large; then the least strain."""
    for count in range(1, LONGEST_CHAIN + 1):
        chains = [
            chain
            for chain in combinations(sorted(links, key=lambda link: link.shape), count)
            if _is_smooth([hand_size, *(link.piece.size for link in chain), 15])
        ]
        if chains:
            return min(
                chains, key=lambda chain: (max(link.strain for link in chain), [link.shape for link in chain])
            )
    return None


def _is_smooth(sizes: list[int]) -> bool:
    return all(after <= LARGEST_JUMP * before for before, after in pairwise(sizes))


def _tapers(request: PlanRequest, row: Row) -> tuple[float, ...]:
    """Only .02 in short curves and in an S; others only where the row has them."""
    radius = request.smallest_radius_mm
    if request.bends_twice or (radius is not None and radius <= 4.0):
        return (0.02,)
    return tuple(sorted({0.02, *(taper for _, taper in row.rotary)}))


def _link(shape: Shape, row: Row, request: PlanRequest, shelf: Shelf, to_mm: float) -> Link | None:
    piece = shelf.rotary(*shape, to_mm=to_mm)
    speed = None if piece is None else allowed_speed_rpm(piece, row.speed_rpm)
    if piece is None or speed is None:
        return None
    share = step_share(piece, to_mm, request, speed_rpm=speed, seconds=row.seconds)
    strain = step_strain(piece, to_mm, request)
    if share is None or strain is None:
        return None
    return Link(piece=piece, speed_rpm=speed, share=share.value, strain=strain.value)


def _most_share(row: Row, shape: Shape) -> float:
    if row.most_share is not None and row.most_share[:2] == shape:
        return row.most_share[2]
    return HALF_OF_BUDGET


def _lacking(shape: Shape, tapers: tuple[float, ...]) -> str:
    if shape[1] not in tapers:
        return f"{_name(shape)} is left out: only taper .02 goes into a curve of 4 mm or less, or into an S."
    return f"{_name(shape)} is left out: {_NOT_AT_HAND}."


def _name(shape: Shape) -> str:
    return f"rotary {shape[0]:02d}/.{round(100 * shape[1]):02d}"
