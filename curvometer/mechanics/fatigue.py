"""How much of its life a rotary instrument spends in a curve, always with the published scatter.

The line (2) between strain and cycles to fracture and everything built on it is this program's own default with no source
(`curvometer.bibliography.OWN_STRAIN_LIFE`); its shape, and the range of its slope, are published. It compares one step with
another. It does not foretell when an instrument breaks: values published for one instrument lie up to a factor of about 123
apart (`curvometer.bibliography.HULSMANN_2019`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from curvometer.bibliography import OWN_STRAIN_LIFE, Reference
from curvometer.instruments import Instrument, InstrumentKind, Material
from curvometer.mechanics.canal_curve import CanalCurve, MechanicsError, positive_number
from curvometer.mechanics.strain import LargestStrain, largest_strain

Numbers = TypeVar("Numbers", float, NDArray[np.float64])

NO_STRAIN = 1e-12
"""Below this an instrument is straight and lasts for ever; the line would ask for numbers that no computer holds."""

SHARE_IS_RAISED = 0.25
"""Above this share of the budget a step deserves attention (common practice, no source)."""

SHARE_DROPS_STEP = 0.50
"""Above this share of the budget a step is not taken (common practice, no source)."""

OUTSIDE_THE_MODEL = {
    "temperature": "The model knows no temperature: from -20 to +20 degrees Celsius life falls by a factor of 4 to 10, and"
    " body temperature lowers it further.",
    "heat-treated alloy": "The model is for conventional superelastic alloy; heat-treated instruments last 3 to 8 times"
    " as many cycles, which is not counted on.",
    "torsional fatigue": "The model counts bending only; an instrument that binds at 90 % of its torsional strength broke"
    " after 192 to 841 cycles in a test.",
    "wear that was not recorded": "The model adds up recorded uses; wear, corrosion or a bind that nobody"
    " recorded is not in it.",
    "steel": "The model is for rotating nickel-titanium; a steel hand file is not rotated on and on.",
}
"""What the budget does not claim, by name, in a sentence each."""


@dataclass(frozen=True, kw_only=True)
class FatigueModel:
    """Strain against cycles to fracture, strain = A N^c, with its spread.

    Attributes
    ----------
    strain_of_one_cycle
        A: where the line meets one cycle, a fraction.
    exponent
        c, negative.
    exponent_range
        Steepest and flattest published exponent.
    pivot_strain
        Where lines of other exponents cross the line: its anchor.
    scatter
        Lowest and highest number of cycles of nominally equal instruments over the line's. Low: 1 - 2 SD with SD 30 %
        (Hülsmann 2019). High: the longest-lived of five tests of one instrument, 1.96.
    design_divisor
        Cycles to fracture over design cycles.
    reference
        Where it comes from.
    """

    strain_of_one_cycle: float = 0.79
    exponent: float = -0.5
    exponent_range: tuple[float, float] = (-0.56, -0.40)
    pivot_strain: float = 0.05
    scatter: tuple[float, float] = (0.4, 2.0)
    design_divisor: float = 3.0
    reference: Reference = OWN_STRAIN_LIFE

    def __post_init__(self) -> None:
        for what in ("strain_of_one_cycle", "pivot_strain", "design_divisor"):
            positive_number(getattr(self, what), what, "one")
        steep, flat = self.exponent_range
        if not steep <= self.exponent <= flat < 0.0:
            raise MechanicsError(
                f"The exponents {steep!r}, {self.exponent!r}, {flat!r} must be negative and grow in this order."
            )
        low, high = self.scatter
        if not 0.0 < low <= 1.0 <= high < math.inf:
            raise MechanicsError(f"The scatter {self.scatter!r} must hold 1 between two positive factors.")


OWN_FATIGUE_MODEL = FatigueModel()
"""The default: N50 = (0.79 / strain)^2."""


class BudgetLevel(StrEnum):
    """What a share of the budget means (common practice, no source)."""

    LOW = "low"
    RAISED = "raised"
    TOO_HIGH = "too high"


@dataclass(frozen=True, kw_only=True)
class BudgetShare:
    """Share of an instrument's design life, told with its range always.

    Attributes
    ----------
    value
        Fraction of the design cycles, Miner's n / N_d; above 1 the budget is overspent.
    lower, upper
        Range that the published scatter, the published slopes and the curvature's 95 % band leave open. Not a 95 % interval.
    cycles
        Turns n in the curve.
    """

    value: float
    lower: float
    upper: float
    cycles: float

    @property
    def level(self) -> BudgetLevel:
        """By the value, as `budget_level`."""
        return budget_level(self.value)

    def __str__(self) -> str:
        """Share with its range, as ``9.5 % (3.0 to 29)``."""
        return f"{100 * self.value:.1f} % ({_short(100 * self.lower)} to {_short(100 * self.upper)})"


def cycles_to_fracture(strain: Numbers, *, model: FatigueModel = OWN_FATIGUE_MODEL) -> Numbers:
    """Turns after which half of the instruments would break, by the model's line.

    Parameters
    ----------
    strain
        Fraction, not per cent; any shape.
    model
        The line.

    Returns
    -------
    float or FloatArray
        N50 = (A / strain)^(-1 / c), so (0.79 / strain)^2 by default; infinite at no strain.

    Raises
    ------
    MechanicsError
        If a strain is negative, not finite, or above 1, which is per cent by mistake.

    References
    ----------
    `curvometer.bibliography.OWN_STRAIN_LIFE`; shape: `curvometer.bibliography.CHEUNG_DARVELL_2007`.
    """
    return _life(strain, 1.0, model.strain_of_one_cycle, model.exponent)  # (2)


def cycles_interval(
    strain: float, *, model: FatigueModel = OWN_FATIGUE_MODEL, scatter: bool = True
) -> tuple[float, float]:
    """Fewest and most turns to fracture that published slopes, and published scatter, leave open.

    Parameters
    ----------
    strain
        Fraction.
    model
        The line.
    scatter
        Whether the scatter of equal instruments is in it, or the slopes alone.

    Returns
    -------
    tuple of float
        Lines of the two extreme exponents through the anchor, N = N_anchor (strain / anchor)^(1 / c), times the scatter.

    Raises
    ------
    MechanicsError
        As `cycles_to_fracture`.
    """
    anchor = cycles_to_fracture(model.pivot_strain, model=model)
    lines = [
        _life(strain, anchor, model.pivot_strain, exponent)
        for exponent in (*model.exponent_range, model.exponent)
    ]
    low, high = model.scatter if scatter else (1.0, 1.0)
    return low * min(lines), high * max(lines)


def design_cycles(strain: Numbers, *, model: FatigueModel = OWN_FATIGUE_MODEL) -> Numbers:
    """Turns that a plan may count on, N_d = N50 / 3; arguments, errors and sources as `cycles_to_fracture`."""
    return cycles_to_fracture(strain, model=model) / model.design_divisor


def cycles_spent(*, speed_rpm: float, seconds: float) -> float:
    """Turns in the curve, n = rpm / 60 times seconds.

    Raises
    ------
    MechanicsError
        If the speed is not positive or the time is negative.
    """
    speed = positive_number(speed_rpm, "speed", "rpm")
    if not (math.isfinite(seconds) and seconds >= 0.0):
        raise MechanicsError(
            f"The time in the curve must be a number of seconds from 0 on, found {seconds!r}."
        )
    return speed / 60.0 * seconds


def seconds_to_fracture(strain: float, *, speed_rpm: float, model: FatigueModel = OWN_FATIGUE_MODEL) -> float:
    """Time t = 60 N50 / rpm for comparing with test benches; never a promise for the chair.

    Raises
    ------
    MechanicsError
        If the strain or the speed is impossible.
    """
    return cycles_to_fracture(strain, model=model) * 60.0 / positive_number(speed_rpm, "speed", "rpm")


def budget_share(
    strain: float | LargestStrain,
    *,
    speed_rpm: float,
    seconds: float,
    model: FatigueModel = OWN_FATIGUE_MODEL,
) -> BudgetShare:
    """Share of the design life that one step spends.

    Parameters
    ----------
    strain
        Fraction; with a `LargestStrain` its range is carried on.
    speed_rpm
        Of the motor.
    seconds
        In the curve, all strokes together.
    model
        The line.

    Returns
    -------
    BudgetShare
        n / N_d at the strain's value. Its range is n / N_d for the longest life that the scatter and slopes allow at the
        lower strain, and for the shortest life at the upper strain.

    Raises
    ------
    MechanicsError
        If strain, speed or time is impossible.
    """
    lower, value, upper = _range_of(strain)
    n = cycles_spent(speed_rpm=speed_rpm, seconds=seconds)
    longest = cycles_interval(lower, model=model)[1] / model.design_divisor
    shortest = cycles_interval(upper, model=model)[0] / model.design_divisor
    return BudgetShare(
        value=n / design_cycles(value, model=model), lower=n / longest, upper=n / shortest, cycles=n
    )


def share_of_step(
    instrument: Instrument,
    curve: CanalCurve,
    *,
    tip_from_foramen_mm: float,
    speed_rpm: float,
    seconds: float,
    model: FatigueModel = OWN_FATIGUE_MODEL,
) -> BudgetShare:
    """Share of the design life that a rotary instrument spends in a canal with its tip down to a place.

    All turns are charged at the largest strain of the deepest place, though most are made higher up: the high side.

    Parameters
    ----------
    instrument
        Rotary, of nickel-titanium.
    curve, tip_from_foramen_mm
        As in `curvometer.mechanics.strain_along`.
    speed_rpm, seconds, model
        As in `budget_share`.

    Returns
    -------
    BudgetShare

    Raises
    ------
    MechanicsError
        If the instrument is used by hand or of steel, or a number is impossible.
    """
    if instrument.kind is InstrumentKind.HAND or instrument.material is Material.STEEL:
        raise MechanicsError(
            f"There is no fatigue budget for {instrument.name}: it is not rotated on and on; ask for rotary instruments of"
            " nickel-titanium only."
        )
    strain = largest_strain(instrument, curve, tip_from_foramen_mm=tip_from_foramen_mm)
    return budget_share(strain, speed_rpm=speed_rpm, seconds=seconds, model=model)


def miner_sum(shares: Iterable[BudgetShare]) -> BudgetShare:
    """Shares of all uses of one instrument, added up.

    Low ends are added to low ends and high ends to high ends: it is one and the same instrument, so what it has of luck it
    has in every use. Strains at different places of it are added as if they met in one: the high side.

    Parameters
    ----------
    shares
        Of one instrument; none gives 0.

    References
    ----------
    `curvometer.bibliography.MINER_1945`, from memory.
    """
    listed = list(shares)
    return BudgetShare(
        value=math.fsum(share.value for share in listed),
        lower=math.fsum(share.lower for share in listed),
        upper=math.fsum(share.upper for share in listed),
        cycles=math.fsum(share.cycles for share in listed),
    )


def budget_level(share: float) -> BudgetLevel:
    """Low up to 25 %, raised up to 50 %, too high above (common practice, no source); ``share`` is a fraction."""
    if share <= SHARE_IS_RAISED:
        return BudgetLevel.LOW
    return BudgetLevel.RAISED if share <= SHARE_DROPS_STEP else BudgetLevel.TOO_HIGH


def _range_of(strain: float | LargestStrain) -> tuple[float, float, float]:
    """Lower, value, upper; of a canal sharper than its instrument is thick, 1 is enough to overspend any budget."""
    if isinstance(strain, LargestStrain):
        return min(strain.lower, 1.0), min(strain.value, 1.0), min(strain.upper, 1.0)
    return strain, strain, strain


def _short(percent: float) -> str:
    return f"{percent:.0f}" if percent >= 10.0 else f"{percent:.1f}"


def _life(strain: Numbers, cycles_at: float, strain_at: float, exponent: float) -> Numbers:
    """Cycles on the line of an exponent through one point of it."""
    fits = (
        np.all((strain >= 0.0) & (strain <= 1.0)) if isinstance(strain, np.ndarray) else 0.0 <= strain <= 1.0
    )
    if not fits:
        raise MechanicsError(
            f"A strain must be a fraction from 0 to 1, found {strain!r}; 2 % is written 0.02. Check diameter and radius."
        )
    if not isinstance(strain, np.ndarray):
        return cycles_at * (strain_at / strain) ** (-1.0 / exponent) if strain > NO_STRAIN else math.inf
    with np.errstate(divide="ignore", over="ignore"):
        return cycles_at * np.power(strain_at / strain, -1.0 / exponent)
