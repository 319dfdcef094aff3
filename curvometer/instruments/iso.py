"""One instrument by ISO 3630-1: size, taper, diameter along it with its tolerance, colour, length.

The size is the diameter that the cone has at the tip, in hundredths of a millimetre. From there the diameter grows by
the taper, in millimetres per millimetre, to the end of the working part. The figures of the standard are from memory
(`curvometer.bibliography.ISO_3630_1`): check the edition in force before you rely on one of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from curvometer.radiograph import CurvometerError

FloatArray = NDArray[np.float64]
Kind = TypeVar("Kind", bound=StrEnum)

HALF_SIZES = (12,)
"""Sizes between those of the standard's series."""

ISO_SIZES = (6, 8, 10, *HALF_SIZES, *range(15, 61, 5), *range(70, 141, 10))
"""Every size that an instrument can have here: 6, 8, 10, 12, 15 to 60 by 5, 70 to 140 by 10."""

LENGTHS_MM = (21, 25, 28, 31)
"""Lengths from tip to handle; the standard allows 0.5 mm either way."""

LENGTH_TOLERANCE_MM = 0.5
"""How far a length may be off."""

LEAST_TAPER, GREATEST_TAPER = 0.02, 0.12
"""Standard taper, and a limit of this program that catches a taper given in per cent."""

_FIRST_COLOURS = {6: "pink", 8: "grey", 10: "purple"}
_SERIES_COLOURS = ("white", "yellow", "red", "blue", "green", "black")
_SERIES = tuple(size for size in ISO_SIZES if size >= 15)


class InstrumentError(CurvometerError):
    """An instrument that cannot exist, or an inventory that cannot be used."""


class InstrumentKind(StrEnum):
    """How an instrument is driven."""

    HAND = "hand"
    ROTARY = "rotary"


class Material(StrEnum):
    """What an instrument is made of."""

    STEEL = "steel"
    NICKEL_TITANIUM = "nickel-titanium"


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """One instrument: nominal shape, the maker's limits, and how often it was used.

    Attributes
    ----------
    kind
        Driven by hand or by a motor.
    size
        ISO 3630-1 size, the tip diameter in 1/100 mm; one of `ISO_SIZES`.
    taper
        Growth of the diameter, mm per mm: 0.02 is 2 %.
    length_mm
        From tip to handle; one of `LENGTHS_MM`.
    material
        Stainless steel or nickel-titanium; a rotary instrument is of nickel-titanium.
    working_part_mm
        Length of the tapered part; behind it the diameter is taken as constant.
    speed_rpm
        Lowest and highest speed that the maker allows; None for a hand instrument.
    torque_limit_n_cm
        Torque at which the maker lets the motor stop; None for a hand instrument or where none is stated.
    uses
        How often it was used so far.
    most_uses
        How often it may be used, 1 for single use; None where no limit is set.

    Raises
    ------
    InstrumentError
        If no such instrument can exist.

    References
    ----------
    `curvometer.bibliography.ISO_3630_1`, from memory.
    """

    kind: InstrumentKind
    size: int
    taper: float
    length_mm: int
    material: Material
    working_part_mm: float = 16.0
    speed_rpm: tuple[float, float] | None = None
    torque_limit_n_cm: float | None = None
    uses: int = 0
    most_uses: int | None = 1

    def __post_init__(self) -> None:
        object.__setattr__(self, "kind", _member(InstrumentKind, self.kind, "kind of instrument"))
        object.__setattr__(self, "material", _member(Material, self.material, "material"))
        if isinstance(self.speed_rpm, list):
            object.__setattr__(self, "speed_rpm", tuple(self.speed_rpm))
        _check_shape(self)
        _check_drive(self)
        _check_uses(self)

    @property
    def name(self) -> str:
        """Kind, size and taper as people write them: ``hand 08/.02``."""
        taper = f"{self.taper:.3f}"[1:]
        return f"{self.kind} {self.size:02d}/{taper.removesuffix('0')}"

    @property
    def colour(self) -> str | None:
        """Colour of the handle by the standard; None for a half size."""
        return colour_of_size(self.size)

    @property
    def tip_diameter_mm(self) -> float:
        """Diameter of the cone, drawn on to the tip."""
        return self.size / 100.0

    @property
    def is_spent(self) -> bool:
        """Whether it was used as often as it may be."""
        return self.most_uses is not None and self.uses >= self.most_uses

    def diameter_mm(self, from_tip_mm: float) -> float:
        """Nominal diameter at a distance from the tip.

        Parameters
        ----------
        from_tip_mm
            Along the instrument, 0 at the tip, at most `length_mm`.

        Returns
        -------
        float
            mm.

        Raises
        ------
        InstrumentError
            If the place is not on the instrument.
        """
        if not 0.0 <= from_tip_mm <= self.length_mm:
            raise InstrumentError(
                f"A place {from_tip_mm:g} mm from the tip is not on an instrument of {self.length_mm} mm;"
                " give a distance between the two."
            )
        return float(self.diameters_mm(np.array([from_tip_mm]))[0])

    def diameters_mm(self, from_tip_mm: FloatArray) -> FloatArray:
        """Nominal diameters at many distances from the tip, unchecked; same shape, mm.

        d(l) = D0 + taper l up to the end of the working part (ISO 3630-1, from memory), constant behind it.
        """
        along = np.minimum(np.asarray(from_tip_mm, dtype=float), self.working_part_mm)
        return np.asarray(self.tip_diameter_mm + self.taper * along)

    @property
    def diameter_tolerance_mm(self) -> float:
        """How far a diameter may be off its nominal value, either way."""
        return diameter_tolerance_mm(self.size)


def colour_of_size(size: int) -> str | None:
    """Colour by the standard: 6 pink, 8 grey, 10 purple, then white, yellow, red, blue, green, black, repeating.

    Parameters
    ----------
    size
        One of `ISO_SIZES`.

    Returns
    -------
    str or None
        None for the half size 12, for which the standard's series gives no colour.

    Raises
    ------
    InstrumentError
        If there is no such size.

    References
    ----------
    `curvometer.bibliography.ISO_3630_1`, from memory.
    """
    _check_size(size)
    if size in HALF_SIZES:
        return None
    return _FIRST_COLOURS.get(size) or _SERIES_COLOURS[_SERIES.index(size) % len(_SERIES_COLOURS)]


def diameter_tolerance_mm(size: int) -> float:
    """How far the diameter of an instrument of a size may be off, in mm, either way.

    0.01 mm for sizes 6 and 8, 0.02 mm from 10 to 60, 0.04 mm above (ISO 3630-1, older editions, from memory). Files
    on the market are often further off (`curvometer.bibliography.KIM_2014`).

    Raises
    ------
    InstrumentError
        If there is no such size.
    """
    _check_size(size)
    if size < 10:
        return 0.01
    return 0.02 if size <= 60 else 0.04


def stops_short_mm(
    instrument: Instrument, *, after: Instrument, after_depth_mm: float | None = None
) -> float:
    """How far short of the depth of one instrument the next one nominally stops without cutting.

    The hole that `after` leaves has the width D0 + taper l at l mm from its end. The next instrument, its tip s mm
    short, fits where it is nowhere wider than that hole. Both widths are straight lines, so the two ends of the common
    part decide: s >= (D0' - D0) / taper at the tip, s >= (D0' - D0 + (taper' - taper) w) / taper' at the other end.

    Parameters
    ----------
    instrument
        The next one.
    after
        The one that went before.
    after_depth_mm
        How much of `after` was in the canal; its working part when not given.

    Returns
    -------
    float
        mm; 0 when it goes all the way.
    """
    depth = after.working_part_mm if after_depth_mm is None else min(after_depth_mm, after.working_part_mm)
    wider = instrument.tip_diameter_mm - after.tip_diameter_mm
    at_tip = wider / after.taper
    at_top = (wider + (instrument.taper - after.taper) * depth) / instrument.taper
    return max(0.0, at_tip, at_top)


def _check_size(size: int) -> None:
    if isinstance(size, bool) or not isinstance(size, int | np.integer) or size not in ISO_SIZES:
        raise InstrumentError(
            f"There is no instrument of size {size!r}; sizes are 6, 8, 10, 12, 15 to 60 by 5 and 70 to 140 by 10."
        )


def _check_shape(instrument: Instrument) -> None:
    _check_size(instrument.size)
    taper = instrument.taper
    if not is_number(taper) or not LEAST_TAPER - 1e-9 <= taper <= GREATEST_TAPER + 1e-9:
        raise InstrumentError(
            f"A taper of {taper!r} is not possible; give it in mm per mm from {LEAST_TAPER:g} to {GREATEST_TAPER:g},"
            " so 0.02 for 2 %."
        )
    if isinstance(instrument.length_mm, bool) or instrument.length_mm not in LENGTHS_MM:
        raise InstrumentError(
            f"A length of {instrument.length_mm!r} mm is not made; instruments are 21, 25, 28 or 31 mm long."
        )
    part = instrument.working_part_mm
    if not is_number(part) or not 0.0 < part <= instrument.length_mm:
        raise InstrumentError(
            f"A working part of {part!r} mm does not fit on an instrument of {instrument.length_mm} mm;"
            " it is usually 16 mm long."
        )


def _check_drive(instrument: Instrument) -> None:
    speed, torque, name = instrument.speed_rpm, instrument.torque_limit_n_cm, instrument.name
    if instrument.kind is InstrumentKind.HAND:
        if speed is not None or torque is not None:
            raise InstrumentError(
                f"The instrument {name} is used by hand; leave out its speed and torque limit."
            )
        return
    if instrument.material is Material.STEEL:
        raise InstrumentError(
            f"The instrument {name} is of steel, which takes a set in a bend; only nickel-titanium may rotate in one."
        )
    if not _is_range(speed):
        raise InstrumentError(
            f"The instrument {name} needs the lowest and the highest speed that its maker allows, in rpm, found"
            f" {speed!r}; give two numbers such as 300 and 600."
        )
    if torque is not None and (not is_number(torque) or torque <= 0):
        raise InstrumentError(
            f"The torque limit of {name} must be a positive number of N cm, found {torque!r}; leave it out if unknown."
        )


def _check_uses(instrument: Instrument) -> None:
    uses, most = instrument.uses, instrument.most_uses
    if not _is_count(uses) or uses < 0:
        raise InstrumentError(
            f"The uses of {instrument.name} so far must be a whole number from 0 on, found {uses!r}."
        )
    if most is not None and (not _is_count(most) or most < 1):
        raise InstrumentError(
            f"The uses allowed for {instrument.name} must be a whole number from 1 on, found {most!r};"
            " leave it out for single use."
        )


def is_number(value: object) -> bool:
    """Whether a value is a finite number and no truth value."""
    return isinstance(value, int | float | np.number) and not isinstance(value, bool) and math.isfinite(value)


def _is_range(value: object) -> bool:
    if not isinstance(value, tuple) or len(value) != 2 or not all(is_number(speed) for speed in value):
        return False
    return bool(0.0 < value[0] <= value[1])


def _is_count(value: object) -> bool:
    return isinstance(value, int | np.integer) and not isinstance(value, bool)


def _member(kinds: type[Kind], value: object, what: str) -> Kind:
    try:
        return kinds(str(value))
    except ValueError:
        allowed = " or ".join(kind.value for kind in kinds)
        raise InstrumentError(f"There is no {what} {value!r}; use {allowed}.") from None
