"""All factors together: the class at the best values, and the probability of every class.

Criteria that look at the same quantity hang together, so the sum runs over cells of the quantities, not over
criteria: each quantity's line is cut at every limit that any criterion has on it, each combination of cells has one
class, and its probability is the product over quantities. Quantities are taken as independent given the measurement:
the angle and the turn to the other side come from the same canal and the same fit, so this is an approximation; it
matters only where both lie near a limit at once.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from curvometer.difficulty.chance import cell_probabilities
from curvometer.difficulty.criteria import CriteriaSet, DifficultyCriterion, Limit
from curvometer.measurement import Quantity

AT_LIMIT = {"deg": 0.05, "mm": 0.005}
"""Half of the last digit that is printed: a value this close to a limit reads as the limit itself."""
AT_LIMIT_ELSE = 0.0005


@dataclass(frozen=True, kw_only=True)
class Reading:
    """What is known about one criterion: a quantity, an answer with its level, both, or nothing."""

    criterion: DifficultyCriterion
    quantity: Quantity | None = None
    answer: str = ""
    answered: int | None = None

    @property
    def known(self) -> bool:
        """Whether anything is known."""
        return self.quantity is not None or self.answered is not None

    @property
    def told(self) -> str:
        """Value or answer as people read it."""
        number = "" if self.quantity is None else tell_quantity(self.criterion, self.quantity)
        if self.quantity is None or (self.answered or 0) > self.criterion.level_of_value(self.quantity.value):
            return self.answer
        return number

    @property
    def tolerance(self) -> float:
        """How close to a limit counts as the limit itself."""
        return AT_LIMIT.get("" if self.quantity is None else self.quantity.unit, AT_LIMIT_ELSE)

    @property
    def at_limit(self) -> bool:
        """Whether the value is one of the limits, as printed."""
        if self.quantity is None or self.criterion.counted:
            return False
        if self.criterion.quantity.startswith("other_"):
            return False  # whole numbers have no doubt
        value = self.quantity.value
        return any(abs(limit.value - value) <= self.tolerance for limit in self.criterion.limits)

    def counts(self, known: Mapping[str, Quantity]) -> bool:
        """Whether its condition holds at the best value; without the quantity it is taken to hold."""
        condition = self.criterion.only_if
        if condition is None or condition.quantity not in known:
            return True
        return condition.limit.passed_by(known[condition.quantity].value)

    def missing(self, known: Mapping[str, Quantity]) -> bool:
        """Whether it would count and nothing is known about it."""
        return not self.known and self.counts(known)

    def level_at_best_value(self, *, harder: bool = False) -> int:
        """Level of the best value or the answer, whichever is harder; 0 when nothing is known."""
        if self.quantity is None:
            return self.answered or 0
        if harder and self.at_limit:
            level = self.criterion.harder_side(self.quantity.value, self.tolerance)
        else:
            level = self.criterion.level_of_value(self.quantity.value)
        return max(level, self.answered or 0)


def tell_quantity(criterion: DifficultyCriterion, quantity: Quantity) -> str:
    """A quantity as people read it; no interval where there is none."""
    if criterion.quantity.startswith("other_"):
        return f"{quantity.value:.0f}"
    if criterion.quantity == "curve_start_share":
        return f"starts at {100 * quantity.value:.0f} % of the length from the foramen"
    if criterion.quantity == "opposite_turning" and quantity.value > 0.0:
        return f"with a second turn of {quantity}"
    if quantity.lower == quantity.upper:
        return f"{quantity.value:.{1 if quantity.unit == 'deg' else 2}f} {quantity.unit}"
    return str(quantity)


def class_at_best_value(
    chosen: CriteriaSet,
    readings: Sequence[Reading],
    known: Mapping[str, Quantity],
    *,
    at_worst: Collection[str] = (),
) -> int:
    """Class with every quantity at its best value; missing criteria count nothing, those in `at_worst` the most."""
    levels = [
        (
            reading,
            reading.criterion.hardest
            if reading.criterion.code in at_worst
            else reading.level_at_best_value(),
        )
        for reading in readings
        if reading.counts(known)
    ]
    return _combine(chosen, levels)


def harder_class(chosen: CriteriaSet, readings: Sequence[Reading], known: Mapping[str, Quantity]) -> int:
    """Class when each value that is a limit itself is taken to the limit's harder side."""
    levels = [
        (reading, reading.level_at_best_value(harder=True))
        for reading in readings
        if reading.counts(known) or _condition_at_limit(reading, known)
    ]
    return _combine(chosen, levels)


def class_probabilities(
    chosen: CriteriaSet, readings: Sequence[Reading], known: Mapping[str, Quantity]
) -> tuple[tuple[float, ...], dict[str, tuple[float, ...]]]:
    """Probability of each class, together and by each factor alone.

    Returns
    -------
    together
        One probability per class; they add up to 1.
    by_factor
        The same for every known criterion by its code; where its condition does not hold it has the easiest level.
    """
    cuts = _cuts(readings, known)
    cells = {
        name: [(i, p) for i, p in enumerate(cell_probabilities(known[name], limits)) if p > 0.0]
        for name, limits in cuts.items()
    }
    together = [[] for _ in chosen.classes]  # type: list[list[float]]
    by_factor = {r.criterion.code: [[0.0] for _ in chosen.classes] for r in readings if r.known}
    for combination in itertools.product(*cells.values()):
        cell = {name: i for name, (i, _) in zip(cells, combination, strict=True)}
        chance = math.prod(p for _, p in combination)
        levels = [(r, _level_in_cell(r, cell, cuts)) for r in readings if _counts_in_cell(r, cell, cuts)]
        together[_combine(chosen, levels)].append(chance)
        found = {reading.criterion.code: level for reading, level in levels}
        for code, sums in by_factor.items():
            sums[found.get(code, 0)].append(chance)
    total = math.fsum(chance for chances in together for chance in chances)
    return tuple(math.fsum(chances) / total for chances in together), {
        code: tuple(math.fsum(chances) / total for chances in sums) for code, sums in by_factor.items()
    }


def _combine(chosen: CriteriaSet, levels: Sequence[tuple[Reading, int]]) -> int:
    factors = [(level, _count(reading)) for reading, level in levels if not reading.criterion.modifier]
    raised = any(level > 0 for reading, level in levels if reading.criterion.modifier)
    return chosen.rule.combine(factors, raised=raised, top=chosen.top)


def _count(reading: Reading) -> int:
    """How many factors a criterion stands for."""
    if not reading.criterion.counted:
        return 1
    return 1 if reading.quantity is None else int(reading.quantity.value)


def _cuts(readings: Sequence[Reading], known: Mapping[str, Quantity]) -> dict[str, list[Limit]]:
    """Every limit that any criterion or condition has on each known quantity, ascending, without repeats."""
    found: dict[str, dict[tuple[float, bool], Limit]] = {}
    for reading in readings:
        condition = reading.criterion.only_if
        asked = [(reading.criterion.quantity, limit) for limit in reading.criterion.limits]
        for name, limit in [*asked, *([] if condition is None else [(condition.quantity, condition.limit)])]:
            if name in known:
                found.setdefault(name, {})[limit.key] = limit
    return {name: [limits[key] for key in sorted(limits)] for name, limits in found.items()}


def _passed(limit: Limit, name: str, cell: Mapping[str, int], cuts: Mapping[str, list[Limit]]) -> bool:
    keys = [cut.key for cut in cuts[name]]
    return keys.index(limit.key) < cell[name]


def _level_in_cell(reading: Reading, cell: Mapping[str, int], cuts: Mapping[str, list[Limit]]) -> int:
    criterion, answered = reading.criterion, reading.answered or 0
    if criterion.quantity not in cell:
        return answered
    place = sum(_passed(limit, criterion.quantity, cell, cuts) for limit in criterion.limits)
    return max(criterion.levels[place], answered)


def _counts_in_cell(reading: Reading, cell: Mapping[str, int], cuts: Mapping[str, list[Limit]]) -> bool:
    condition = reading.criterion.only_if
    if condition is None or condition.quantity not in cell:
        return True
    return _passed(condition.limit, condition.quantity, cell, cuts)


def _condition_at_limit(reading: Reading, known: Mapping[str, Quantity]) -> bool:
    condition = reading.criterion.only_if
    if condition is None or condition.quantity not in known:
        return False
    quantity = known[condition.quantity]
    return abs(condition.limit.value - quantity.value) <= AT_LIMIT.get(quantity.unit, AT_LIMIT_ELSE)
