"""What a clinic has on the shelf, and which piece of it to take."""

from __future__ import annotations

from dataclasses import dataclass

from curvometer.instruments.iso import Instrument, InstrumentError, InstrumentKind, Material, is_number

STOP_ROOM_MM = 1.0
"""Length that the rubber stop takes up below the handle (common practice, no source)."""

FRONT_LENGTH_MM = 25
"""Length taken first in front teeth, where there is room for the handle (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Inventory:
    """The instruments on a clinic's shelf; the same one twice is two pieces.

    Attributes
    ----------
    instruments
        At least one.
    name
        What the clinic calls it, for messages; may be empty.

    Raises
    ------
    InstrumentError
        If there is no instrument.
    """

    instruments: tuple[Instrument, ...]
    name: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "instruments", tuple(self.instruments))
        if not self.instruments:
            raise InstrumentError(
                "The inventory is empty; list at least one instrument, or leave it out to use the default one."
            )
        for item in self.instruments:
            if not isinstance(item, Instrument):
                raise InstrumentError(
                    f"An inventory holds instruments only, found {item!r}; make it an Instrument."
                )

    def of(
        self, *, kind: InstrumentKind | str, size: int | None = None, taper: float | None = None
    ) -> tuple[Instrument, ...]:
        """Every piece of a kind, and of a size and a taper where given, in the order of the shelf; may be empty."""
        return tuple(
            item
            for item in self.instruments
            if item.kind == kind
            and (size is None or item.size == size)
            and (taper is None or abs(item.taper - taper) < 1e-6)
        )

    @property
    def shapes(self) -> tuple[tuple[InstrumentKind, int, float], ...]:
        """Every kind, size and taper on the shelf once, hand first, then by size and taper."""
        return tuple(sorted({(item.kind, item.size, item.taper) for item in self.instruments}))


def instruments_that_reach(
    inventory: Inventory,
    *,
    working_length_mm: float,
    kind: InstrumentKind | str | None = None,
    stop_room_mm: float = STOP_ROOM_MM,
) -> tuple[Instrument, ...]:
    """Every piece that may still be used and is long enough for a working length.

    Parameters
    ----------
    inventory
        The shelf.
    working_length_mm
        From the reference point on the crown to the end of the preparation.
    kind
        Hand or rotary; both when not given.
    stop_room_mm
        Length of the rubber stop, which the working length must leave free.

    Returns
    -------
    tuple of Instrument
        In the order of the shelf; may be empty.

    Raises
    ------
    InstrumentError
        If the working length is no positive number.
    """
    if not is_number(working_length_mm) or working_length_mm <= 0.0:
        raise InstrumentError(
            f"The working length must be a positive number of mm, found {working_length_mm!r}; measure it again."
        )
    needed = working_length_mm + stop_room_mm - 1e-9
    return tuple(
        item
        for item in inventory.instruments
        if item.length_mm >= needed and not item.is_spent and (kind is None or item.kind == kind)
    )


def shortest_that_reaches(
    inventory: Inventory,
    *,
    kind: InstrumentKind | str,
    size: int,
    taper: float,
    working_length_mm: float,
    posterior: bool = True,
    stop_room_mm: float = STOP_ROOM_MM,
) -> Instrument | None:
    """The piece to take for a step.

    In a posterior tooth the shortest that reaches: there is little room for the handle, and a shorter file
    buckles less (`curvometer.mechanics.buckling_load_n`). In a front tooth the usual 25 mm comes first where it
    reaches. Among equals the one with the fewest uses; pieces that were used as often as they may be are left out.

    Parameters
    ----------
    inventory
        The shelf.
    kind, size, taper
        Which instrument.
    working_length_mm
        From the reference point on the crown to the end of the preparation.
    posterior
        Whether the tooth is a premolar or molar.
    stop_room_mm
        Length of the rubber stop, which the working length must leave free.

    Returns
    -------
    Instrument or None
        None where no such piece is on the shelf, long enough, and fit for another use.

    Raises
    ------
    InstrumentError
        If the working length is no positive number.
    """
    reaching = instruments_that_reach(
        inventory, working_length_mm=working_length_mm, kind=kind, stop_room_mm=stop_room_mm
    )
    wanted = set(inventory.of(kind=kind, size=size, taper=taper))

    def order(item: Instrument) -> tuple[bool, int, int]:
        return (not posterior and item.length_mm != FRONT_LENGTH_MM, item.length_mm, item.uses)

    return min((item for item in reaching if item in wanted), key=order, default=None)


def default_inventory() -> Inventory:
    """The shelf of an invented clinic, used where none is given.

    Steel hand files 6, 8, 10, 15, 20, 25 of taper .02 and generic nickel-titanium rotary instruments 10/.02, 15/.02,
    20/.02, 10/.04, 10/.06, 25/.04, each 21, 25 and 31 mm long, unused, for single use. Speed and torque limits are
    invented; those of the maker of the instrument in hand come first.
    """
    hand = [(size, length) for size in (6, 8, 10, 15, 20, 25) for length in _LENGTHS_MM]
    rotary = [(shape, length) for shape in _ROTARY for length in _LENGTHS_MM]
    files = [
        Instrument(kind=InstrumentKind.HAND, size=size, taper=0.02, length_mm=length, material=Material.STEEL)
        for size, length in hand
    ]
    files += [
        Instrument(
            kind=InstrumentKind.ROTARY,
            size=size,
            taper=taper,
            length_mm=length,
            material=Material.NICKEL_TITANIUM,
            speed_rpm=(250.0, fastest),
            torque_limit_n_cm=torque,
        )
        for (size, taper, fastest, torque), length in rotary
    ]
    return Inventory(instruments=tuple(files), name="default inventory")


_LENGTHS_MM = (21, 25, 31)
_ROTARY = (
    # size, taper, highest speed in rpm, torque limit in N cm: invented
    (10, 0.02, 900.0, 0.6),
    (15, 0.02, 900.0, 0.6),
    (20, 0.02, 900.0, 0.6),
    (10, 0.04, 900.0, 0.6),
    (10, 0.06, 900.0, 1.0),
    (25, 0.04, 500.0, 2.0),
)
