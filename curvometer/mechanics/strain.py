"""Bending strain of an instrument in a canal: d / (2R) with the measured curvature at each place.

An instrument that follows the canal is bent as the canal is. At the place x from the foramen, with its tip t from the
foramen, the cross-section x - t from the tip stands, and its surface is strained by

    strain(x) = d(x - t) kappa(x) / 2.                                                                      (1)

Loose instruments follow a gentler curve than the canal's: (1) is the high side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from curvometer.instruments import Instrument, Material
from curvometer.mechanics.canal_curve import CanalCurve, MechanicsError, positive_number

FloatArray = NDArray[np.float64]

DEEPEST_BEYOND_FORAMEN_MM = 1.0
"""A patency file goes 0.5 to 1 mm beyond the end of the canal (common practice, no source)."""

STEEL_YIELD_STRAIN = (0.008, 0.010)
"""Where stainless steel takes a set (from memory)."""

NICKEL_TITANIUM_PLATEAU_STRAIN = (0.06, 0.08)
"""Where the superelastic plateau of nickel-titanium ends (from memory)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class StrainAlong:
    """Strain along an instrument that stands in a canal; (n,) each, from its tip upwards, a jump as two equal places.

    Attributes
    ----------
    from_foramen_mm, from_tip_mm
        Place in the canal, and on the instrument.
    diameter_mm
        Nominal diameter there.
    strain, lower, upper
        Equation (1) as a fraction (0.02 is 2 %), with the band that the curvature's 95 % band gives.
    """

    from_foramen_mm: FloatArray
    from_tip_mm: FloatArray
    diameter_mm: FloatArray
    strain: FloatArray
    lower: FloatArray
    upper: FloatArray


@dataclass(frozen=True, kw_only=True)
class LargestStrain:
    """The largest strain anywhere on an instrument, and where.

    Attributes
    ----------
    value, lower, upper
        Fractions; the range comes from the curvature's 95 % band alone, not from the instrument's tolerance.
    at_from_foramen_mm, at_from_tip_mm, diameter_mm
        Where in the canal, where on the instrument, and how thick it is there.
    """

    value: float
    lower: float
    upper: float
    at_from_foramen_mm: float
    at_from_tip_mm: float
    diameter_mm: float

    @property
    def percent(self) -> float:
        """The value in per cent, as people read strains."""
        return 100.0 * self.value

    def __str__(self) -> str:
        """Value with its range, as ``2.0 % (1.8 to 2.3)``."""
        return f"{self.percent:.1f} % ({100 * self.lower:.1f} to {100 * self.upper:.1f})"


def bending_strain(diameter_mm: float, *, radius_mm: float) -> float:
    """Strain at the surface of a round rod bent to a radius of its axis.

    Parameters
    ----------
    diameter_mm
        Of the rod.
    radius_mm
        Of its axis, the neutral line.

    Returns
    -------
    float
        Fraction, d / (2R).

    Raises
    ------
    MechanicsError
        If either is no positive number.

    References
    ----------
    `curvometer.bibliography.BEAM_THEORY`: a fibre at d/2 outside the axis is longer by (R + d/2) / R.
    """
    return positive_number(diameter_mm, "diameter", "mm") / (2.0 * positive_number(radius_mm, "radius", "mm"))


def outer_wall_strain(diameter_mm: float, *, outer_radius_mm: float) -> float:
    """Strain where the radius is that of the outer wall, which the rod leans on.

    Parameters
    ----------
    diameter_mm
        Of the rod.
    outer_radius_mm
        Of the outer wall, so that the axis has outer_radius_mm - diameter_mm / 2.

    Returns
    -------
    float
        Fraction, D / (2R - D).

    Raises
    ------
    MechanicsError
        If either is no positive number, or the rod is as thick as the curve is wide.

    References
    ----------
    `curvometer.bibliography.BAHIA_BUONO_2005`, from memory.
    """
    d, outer = (
        positive_number(diameter_mm, "diameter", "mm"),
        positive_number(outer_radius_mm, "radius of the outer wall", "mm"),
    )
    if 2.0 * outer <= d:
        raise MechanicsError(
            f"An instrument {d:g} mm thick cannot stand in a curve whose outer wall has a radius of {outer:g} mm;"
            " check the radius."
        )
    return d / (2.0 * outer - d)


def strain_along(
    instrument: Instrument, curve: CanalCurve, *, tip_from_foramen_mm: float = 0.0
) -> StrainAlong:
    """Strain along an instrument whose tip stands at a place in a canal.

    Parameters
    ----------
    instrument
        Nominal shape.
    curve
        Curvature along the canal; nothing is known above its last position, so nothing is told there.
    tip_from_foramen_mm
        0 at the foramen, positive short of it, down to -1 beyond it.

    Returns
    -------
    StrainAlong
        At every position of the curve from the tip on, at the tip, and at the end of the working part.

    Raises
    ------
    MechanicsError
        If the tip is above the canal or more than 1 mm beyond the foramen.
    """
    tip = _tip(tip_from_foramen_mm, curve)
    x, bands = _with_nodes(curve, (tip, tip + instrument.working_part_mm))
    inside = x >= tip
    x, bands = x[inside], bands[:, inside]
    diameter = instrument.diameters_mm(x - tip)
    strain, lower, upper = 0.5 * diameter * bands  # (1)
    return StrainAlong(
        from_foramen_mm=x, from_tip_mm=x - tip, diameter_mm=diameter, strain=strain, lower=lower, upper=upper
    )


def largest_strain(
    instrument: Instrument, curve: CanalCurve, *, tip_from_foramen_mm: float = 0.0
) -> LargestStrain:
    """The largest strain on an instrument whose tip stands at a place in a canal, over the whole curve.

    On an arc the thickest cross-section in it decides, the one at the start of the curve: with a straight part a below
    the arc it is a + R theta from a tip at the foramen.

    Parameters
    ----------
    instrument, curve, tip_from_foramen_mm
        As in `strain_along`.

    Returns
    -------
    LargestStrain
        0 at the tip in a straight canal.

    Raises
    ------
    MechanicsError
        As `strain_along`.
    """
    along = strain_along(instrument, curve, tip_from_foramen_mm=tip_from_foramen_mm)
    values, places = _peaks(np.array([along.strain, along.lower, along.upper]), along)
    tip, place = float(along.from_foramen_mm[0]), float(places[0])
    return LargestStrain(
        value=float(values[0]),
        lower=float(values[1]),
        upper=float(values[2]),
        at_from_foramen_mm=place,
        at_from_tip_mm=place - tip,
        diameter_mm=float(instrument.diameters_mm(np.array(place - tip))),
    )


def strain_while_advancing(
    instrument: Instrument, curve: CanalCurve, *, tips_from_foramen_mm: FloatArray
) -> FloatArray:
    """Largest strain at each place of the tip on its way to the foramen; (n,) for (n,) places, fractions.

    Raises
    ------
    MechanicsError
        As `strain_along`.
    """
    return np.array(
        [
            largest_strain(instrument, curve, tip_from_foramen_mm=float(tip)).value
            for tip in tips_from_foramen_mm
        ]
    )


def takes_a_set(instrument: Instrument, strain: float) -> bool:
    """Whether an instrument would stay bent: steel above its yield strain, nickel-titanium above its plateau.

    The low end of each range decides; both ranges are from memory. A steel file is therefore pre-curved and never rotated on
    and on in a curve.
    """
    limits = STEEL_YIELD_STRAIN if instrument.material is Material.STEEL else NICKEL_TITANIUM_PLATEAU_STRAIN
    return strain > limits[0]


def _tip(tip_from_foramen_mm: float, curve: CanalCurve) -> float:
    tip = float(tip_from_foramen_mm)
    if not -DEEPEST_BEYOND_FORAMEN_MM <= tip <= curve.length_mm:
        raise MechanicsError(
            f"A tip {tip:g} mm from the foramen is not in this canal of {curve.length_mm:.1f} mm; give a distance between"
            f" -{DEEPEST_BEYOND_FORAMEN_MM:g} and its length."
        )
    return tip


def _with_nodes(curve: CanalCurve, places: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
    """Positions and (3, n) bands with further positions put in, where diameter or presence of the instrument breaks."""
    x, bands = curve.from_foramen_mm, curve.bands_per_mm
    for place in places:
        i = int(np.searchsorted(x, place))
        # A place that is there already may be a jump, whose two sides must stay neighbours.
        if i == len(x) or x[i] == place:
            continue
        share = 0.0 if i == 0 else (place - x[i - 1]) / (x[i] - x[i - 1])
        new = bands[:, i] if i == 0 else (1.0 - share) * bands[:, i - 1] + share * bands[:, i]
        x = np.concatenate([x[:i], [place], x[i:]])
        bands = np.concatenate([bands[:, :i], new[:, None], bands[:, i:]], axis=1)
    return x, bands


def _peaks(strain: FloatArray, along: StrainAlong) -> tuple[FloatArray, FloatArray]:
    """Largest value of each row of strains (m, n) and its place; exact between nodes, where two straight lines multiply."""
    rows = np.arange(len(strain))
    best = strain.argmax(axis=1)
    values, places = strain[rows, best], along.from_foramen_mm[best]
    x, d, kappa = along.from_foramen_mm, along.diameter_mm, 2.0 * strain / along.diameter_mm
    d1, k1 = d[1:] - d[:-1], kappa[:, 1:] - kappa[:, :-1]
    falls = (d1 * k1 < 0.0) & (x[1:] > x[:-1])  # only then the parabola has its top inside
    if not falls.any():
        return values, places
    share = np.divide(-(d[:-1] * k1 + d1 * kappa[:, :-1]), 2.0 * d1 * k1, out=np.zeros_like(k1), where=falls)
    share = np.clip(share, 0.0, 1.0)
    tops = 0.5 * (d[:-1] + share * d1) * (kappa[:, :-1] + share * k1)
    piece = tops.argmax(axis=1)
    higher = tops[rows, piece] > values
    inside = x[piece] + share[rows, piece] * (x[piece + 1] - x[piece])
    return np.where(higher, tops[rows, piece], values), np.where(higher, inside, places)
