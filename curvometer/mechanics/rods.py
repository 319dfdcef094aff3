"""An instrument as a slender rod: how stiff it is, when it buckles, what its tip bears in torsion.

Loads are in newtons (`gram_force` turns them into gf), torques in mN m, which is N mm; 1 N cm is 10 mN m.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from curvometer.instruments import Instrument, InstrumentKind, Material
from curvometer.mechanics.canal_curve import MechanicsError, positive_number

FloatArray = NDArray[np.float64]

YOUNGS_MODULUS_GPA = {Material.STEEL: 193.0, Material.NICKEL_TITANIUM: 50.0}
"""Elastic modulus (from memory; nickel-titanium 30 to 80 GPa, depending on strain and alloy)."""

SHEAR_STRENGTH_MPA = (600.0, 900.0)
"""Shear strength of nickel-titanium, low and high (from memory)."""

TORQUE_TEST_FROM_TIP_MM = 3.0
"""A torque test holds the instrument 3 mm from its tip."""

CLAMPED_AND_PINNED = 0.7
"""Effective length over length, handle clamped and tip held in the canal mouth; exactly pi / 4.4934 = 0.699."""

USUAL_TORQUE_SETTINGS_N_CM = (0.3, 0.6)
"""Lowest torque settings of usual motors (from memory)."""

LEAST_TORQUE_MN_M = {15: 0.8, 20: 1.8, 25: 2.9, 30: 4.4, 35: 6.4, 40: 9.8}
"""Least torque of K-files by size, from 8, 18, 30, 45, 65, 100 g cm (ISO 3630-1, from memory)."""

MOST_BENDING_MOMENT_MN_M = {15: 4.9, 20: 7.8, 25: 11.8, 30: 14.7, 35: 18.6, 40: 24.5}
"""Greatest bending moment at 45 degrees of K-files, from 50, 80, 120, 150, 190, 250 g cm (ISO 3630-1, from memory)."""

STANDARD_GRAVITY = 9.80665
_ELEMENTS = 40


class Section(StrEnum):
    """Cross-section; a square one is told by the diameter of the circle around it, which is the instrument's size."""

    ROUND = "round"
    SQUARE = "square"


_SECTION_OF_KIND = {InstrumentKind.HAND: Section.SQUARE, InstrumentKind.ROTARY: Section.ROUND}


def second_moment_mm4(diameter_mm: float, *, section: Section = Section.ROUND) -> float:
    """Second moment of area.

    Parameters
    ----------
    diameter_mm
        Of the circle, or of the circle around the square.
    section
        Round: I = pi d^4 / 64. Square: side d / sqrt 2, so I = side^4 / 12 = d^4 / 48.

    Returns
    -------
    float
        mm^4.

    Raises
    ------
    MechanicsError
        If the diameter is no positive number.

    References
    ----------
    `curvometer.bibliography.BEAM_THEORY`.
    """
    return _fourth_power_factor(section) * positive_number(diameter_mm, "diameter", "mm") ** 4


def bending_stiffness_n_mm2(
    instrument: Instrument,
    *,
    from_tip_mm: float,
    youngs_modulus_gpa: float | None = None,
    section: Section | None = None,
) -> float:
    """Bending stiffness E I of an instrument at a distance from its tip.

    Parameters
    ----------
    instrument
        Nominal shape.
    from_tip_mm
        Place on it.
    youngs_modulus_gpa
        E; that of the instrument's material when not given.
    section
        Square for hand files, round for rotary instruments when not given: both simplify a real flute, whose core is
        thinner.

    Returns
    -------
    float
        N mm^2.

    Raises
    ------
    CurvometerError
        If the place is not on the instrument or a number is impossible.
    """
    modulus, shape = _rod_of(instrument, youngs_modulus_gpa, section)
    return modulus * second_moment_mm4(instrument.diameter_mm(from_tip_mm), section=shape)


def stiffness_ratio(instrument: Instrument, other: Instrument, *, from_tip_mm: float = 0.0) -> float:
    """How many times as stiff one instrument is as another of the same section and material: (d / d')^4.

    Raises
    ------
    InstrumentError
        If the place is not on both.
    """
    return (instrument.diameter_mm(from_tip_mm) / other.diameter_mm(from_tip_mm)) ** 4


def euler_load_n(
    *, bending_stiffness_n_mm2: float, length_mm: float, length_factor: float = CLAMPED_AND_PINNED
) -> float:
    """Load under which a uniform rod buckles.

    Parameters
    ----------
    bending_stiffness_n_mm2
        E I.
    length_mm
        L, free length.
    length_factor
        K: 0.7 clamped and pinned, 1 pinned twice, 2 clamped and free.

    Returns
    -------
    float
        N, P = pi^2 E I / (K L)^2.

    Raises
    ------
    MechanicsError
        If a number is not positive.

    References
    ----------
    `curvometer.bibliography.BEAM_THEORY`.
    """
    stiffness = positive_number(bending_stiffness_n_mm2, "bending stiffness", "N mm2")
    effective = positive_number(length_factor, "length factor", "one") * positive_number(
        length_mm, "length", "mm"
    )
    return (math.pi / effective) ** 2 * stiffness


def buckling_load_n(
    instrument: Instrument,
    *,
    free_length_mm: float | None = None,
    youngs_modulus_gpa: float | None = None,
    section: Section | None = None,
) -> float:
    """Push under which an instrument buckles, its handle clamped and its tip held, solved along its taper.

    Parameters
    ----------
    instrument
        Nominal shape, with its cylindrical shaft behind the working part.
    free_length_mm
        From tip to where it is held; its whole length when not given. In a canal that guides it, it bears more.
    youngs_modulus_gpa, section
        As in `bending_stiffness_n_mm2`.

    Returns
    -------
    float
        N; see `gram_force`.

    Raises
    ------
    MechanicsError
        If the free length is not on the instrument or the modulus is not positive.

    References
    ----------
    `curvometer.bibliography.BEAM_THEORY`.
    """
    length = instrument.length_mm if free_length_mm is None else free_length_mm
    if not 0.0 < positive_number(length, "free length", "mm") <= instrument.length_mm:
        raise MechanicsError(
            f"A free length of {length:g} mm is not on an instrument of {instrument.length_mm} mm; give a shorter one."
        )
    modulus, shape = _rod_of(instrument, youngs_modulus_gpa, section)

    def stiffness(from_tip: FloatArray) -> FloatArray:
        return np.asarray(modulus * _fourth_power_factor(shape) * instrument.diameters_mm(from_tip) ** 4)

    return buckling_load_of_rod_n(stiffness, length_mm=length)


def buckling_load_of_rod_n(
    stiffness_n_mm2: Callable[[FloatArray], FloatArray], *, length_mm: float, elements: int = _ELEMENTS
) -> float:
    """Push under which a rod of varying stiffness buckles: pinned at 0, clamped at its length.

    The least P for which (E I w'')'' + P w'' = 0 has a solution other than w = 0, with w = w'' = 0 at the tip and
    w = w' = 0 at the handle, by beam elements with cubic shapes.

    Parameters
    ----------
    stiffness_n_mm2
        E I at distances (n,) from the tip in mm; (n,) in N mm^2.
    length_mm
        Of the rod.
    elements
        Into how many equal pieces it is cut.

    Returns
    -------
    float
        N. A uniform rod gives 20.19 E I / L^2.

    Raises
    ------
    MechanicsError
        If the length is no positive number.
    """
    h = positive_number(length_mm, "length", "mm") / elements
    size = 2 * elements + 2  # deflection and slope at each node
    bending, load = np.zeros((size, size)), np.zeros((size, size))
    points, weights = np.polynomial.legendre.leggauss(4)  # exact for d^4 of a cone
    s, w = 0.5 * (points + 1.0), 0.5 * weights * h
    # Second and first derivatives of the four cubic shapes at the points, (4, points).
    bend = np.array([(12 * s - 6) / h**2, (6 * s - 4) / h, (6 - 12 * s) / h**2, (6 * s - 2) / h])
    slope = np.array([6 * (s**2 - s) / h, 1 - 4 * s + 3 * s**2, 6 * (s - s**2) / h, 3 * s**2 - 2 * s])
    geometric = (slope * w) @ slope.T
    for i in range(elements):
        here = slice(2 * i, 2 * i + 4)
        bending[here, here] += (bend * (w * stiffness_n_mm2((i + s) * h))) @ bend.T
        load[here, here] += geometric
    free = slice(1, size - 2)  # no deflection at the tip, neither deflection nor slope at the handle
    root = np.linalg.cholesky(bending[free, free])
    reduced = np.linalg.solve(root, np.linalg.solve(root, load[free, free]).T)
    return float(1.0 / np.linalg.eigvalsh(reduced)[-1])


def gram_force(load_n: float) -> float:
    """A load in gram-force, 1 gf = 9.80665 mN, as older papers give it."""
    return load_n / (STANDARD_GRAVITY * 1e-3)


def torsional_strength_mn_m(
    instrument: Instrument, *, from_tip_mm: float = TORQUE_TEST_FROM_TIP_MM
) -> tuple[float, float]:
    """Torque at which a rotary instrument shears when it binds at a distance from its tip; low and high end.

    Parameters
    ----------
    instrument
        Of nickel-titanium, taken as round: a fluted one bears less.
    from_tip_mm
        Where it binds; torque tests hold it 3 mm from the tip.

    Returns
    -------
    tuple of float
        mN m, for the low and the high end of the shear strength.

    Raises
    ------
    CurvometerError
        If it is of steel, for which `LEAST_TORQUE_MN_M` gives the standard's values, or the place is not on it.
    """
    if instrument.material is not Material.NICKEL_TITANIUM:
        raise MechanicsError(
            f"The shear strength here is that of nickel-titanium, and {instrument.name} is of {instrument.material}; for steel"
            " K-files use the standard's least torque."
        )
    diameter = instrument.diameter_mm(from_tip_mm)
    low, high = (
        torsional_strength_of_round_mn_m(diameter, shear_strength_mpa=strength)
        for strength in SHEAR_STRENGTH_MPA
    )
    return low, high


def torsional_strength_of_round_mn_m(diameter_mm: float, *, shear_strength_mpa: float) -> float:
    """Torque at which the surface of a round rod reaches its shear strength.

    Parameters
    ----------
    diameter_mm
        Of the rod.
    shear_strength_mpa
        N / mm^2.

    Returns
    -------
    float
        mN m, T = pi d^3 tau / 16.

    Raises
    ------
    MechanicsError
        If a number is not positive.

    References
    ----------
    `curvometer.bibliography.BEAM_THEORY`.
    """
    d = positive_number(diameter_mm, "diameter", "mm")
    return math.pi * d**3 / 16.0 * positive_number(shear_strength_mpa, "shear strength", "MPa")


def torque_limit_remark(instrument: Instrument) -> str:
    """One sentence: whether the motor's torque limit can protect the tip of a rotary instrument.

    Compares the instrument's limit, or the lowest usual setting where it has none, with the low end of the torque that its
    section 3 mm from the tip bears.

    Raises
    ------
    MechanicsError
        If the instrument is used by hand.
    """
    if instrument.kind is InstrumentKind.HAND:
        raise MechanicsError(
            f"A torque limit is set on a motor, and {instrument.name} is used by hand; leave it out."
        )
    low, high = torsional_strength_mn_m(instrument)
    limit = instrument.torque_limit_n_cm
    setting = USUAL_TORQUE_SETTINGS_N_CM[0] if limit is None else limit
    told = "The lowest usual torque setting" if limit is None else "The torque limit"
    bears = (
        f"{told} of {setting:g} N cm is {10.0 * setting:.1f} mN m;"
        f" {instrument.name} bears about {low:.1f} to {high:.1f} mN m"
    )
    if 10.0 * setting > low:
        return f"{bears} 3 mm from its tip, so the limit cannot protect it: use light pecks and never push."
    return f"{bears} 3 mm from its tip, so the limit can protect it there, though not nearer to the tip."


def _fourth_power_factor(section: Section) -> float:
    return math.pi / 64.0 if section is Section.ROUND else 1.0 / 48.0


def _rod_of(
    instrument: Instrument, youngs_modulus_gpa: float | None, section: Section | None
) -> tuple[float, Section]:
    """Modulus in N / mm^2, and section."""
    modulus = YOUNGS_MODULUS_GPA[instrument.material] if youngs_modulus_gpa is None else youngs_modulus_gpa
    shape = _SECTION_OF_KIND[instrument.kind] if section is None else Section(section)
    return 1e3 * positive_number(modulus, "modulus of elasticity", "GPa"), shape
