"""Criteria as objects: a factor with its limits, a set of factors with its rule, and where each comes from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from curvometer.bibliography import HowRead, Reference
from curvometer.radiograph import CurvometerError


class CriteriaError(CurvometerError):
    """A criteria set is unknown, or not well made."""


@dataclass(frozen=True, kw_only=True, order=True)
class Limit:
    """A number between two levels.

    Attributes
    ----------
    value
        The number, in the unit of the criterion.
    in_upper
        Whether the number itself belongs with the larger numbers: True for "30 and more", False for "above 30".
    how_read
        How this limit was read in its source.
    """

    value: float
    in_upper: bool
    how_read: HowRead = HowRead.SOURCE

    @property
    def key(self) -> tuple[float, bool]:
        """Sorts a cut just below a number before the cut just above the same number."""
        return (self.value, not self.in_upper)

    def passed_by(self, value: float) -> bool:
        """Whether a number lies on the upper side."""
        return value > self.value or (value == self.value and self.in_upper)


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What a person may state about a factor, and the level that follows (0 is the easiest class)."""

    answer: str
    level: int
    how_read: HowRead = HowRead.SOURCE


@dataclass(frozen=True, kw_only=True)
class Condition:
    """A criterion counts only where this quantity lies on the upper side of the limit."""

    quantity: str
    limit: Limit


@dataclass(frozen=True, kw_only=True)
class DifficultyCriterion:
    """One factor of a criteria set: what it looks at, and which level each outcome has.

    Attributes
    ----------
    code, title
        Short stable name, and a few words for people.
    source, edition
        Where the limits come from.
    quantity
        Name of a measured quantity (`curvometer.measurement.QUANTITY_NAMES`), of one derived from the bends
        (``"opposite_turning"``, ``"curve_start_share"``), or of a number that a person states
        (``"apex_opening_mm"`` ...); empty when only an answer counts.
    fact
        Name of a stated answer of `CaseFacts`; empty when only a number counts. Where both are known the harder
        level counts, so that a statement never hides what was measured.
    limits, levels
        Ascending limits of the quantity, and the level below, between and above them: one more than limits.
    answers
        Answers with their levels.
    only_if
        Where it counts at all; None for everywhere.
    essential
        Without it the set gives no grade, unless the other factors settle the grade alone.
    modifier
        A level above 0 does not count as a factor but raises the class by one, once for all modifiers.
    counted
        The quantity is a number of factors, all of the criterion's level.
    """

    code: str
    title: str
    source: Reference
    edition: str
    quantity: str = ""
    fact: str = ""
    limits: tuple[Limit, ...] = ()
    levels: tuple[int, ...] = ()
    answers: tuple[Answer, ...] = ()
    only_if: Condition | None = None
    essential: bool = False
    modifier: bool = False
    counted: bool = False

    def __post_init__(self) -> None:
        if not self.quantity and not self.fact:
            raise CriteriaError(f"criterion {self.code!r} looks at nothing: name a quantity or a fact")
        keys = [limit.key for limit in self.limits]
        if bool(self.quantity) != bool(self.limits) or keys != sorted(set(keys)):
            raise CriteriaError(f"criterion {self.code!r} needs ascending limits for its quantity")
        if self.quantity and len(self.levels) != len(self.limits) + 1:
            raise CriteriaError(
                f"criterion {self.code!r} has {len(self.levels)} levels for {len(self.limits)} limits:"
                " give one more level than limits"
            )
        if bool(self.fact) != bool(self.answers):
            raise CriteriaError(
                f"criterion {self.code!r} needs an answer for its fact, and a fact for answers"
            )

    @property
    def hardest(self) -> int:
        """The highest level that it can give."""
        return max([*self.levels, *(answer.level for answer in self.answers)])

    def level_of_value(self, value: float) -> int:
        """Level of a number; a number that is a limit goes where the source puts it."""
        return self.levels[sum(limit.passed_by(value) for limit in self.limits)]

    def level_of_answer(self, answer: str) -> int:
        """Level of a stated answer.

        Raises
        ------
        CriteriaError
            When the criterion does not know the answer.
        """
        for known in self.answers:
            if known.answer == answer:
                return known.level
        names = ", ".join(known.answer for known in self.answers)
        raise CriteriaError(f"{self.title}: {answer!r} is no answer here; state one of {names}")

    def harder_side(self, value: float, tolerance: float) -> int:
        """Level of a number that lies on a limit within the tolerance, taken to the limit's harder side."""
        near = [limit for limit in self.limits if abs(limit.value - value) <= tolerance]
        around = [self.levels[self.limits.index(limit) + side] for limit in near for side in (0, 1)]
        return max([self.level_of_value(value), *around])


@dataclass(frozen=True, kw_only=True)
class AggregationRule:
    """How the levels of all factors make one class.

    The class is the highest level. With `lift_from`, that many factors at this level, when it is not the easiest
    class, make the next class. A modifier then raises the class by one.

    Attributes
    ----------
    words
        The rule as people read it.
    lift_from
        Number of factors of one level that make the next; None for never.
    """

    words: str
    lift_from: int | None = None

    def combine(self, factors: Iterable[tuple[int, int]], *, raised: bool, top: int) -> int:
        """Class from (level, how many factors) pairs; `raised` by a modifier; `top` is the hardest class."""
        counts: dict[int, int] = {}
        for level, count in factors:
            counts[level] = counts.get(level, 0) + count
        present = [level for level, count in counts.items() if count]
        highest = max(present, default=0)
        if self.lift_from is not None and highest > 0 and counts[highest] >= self.lift_from:
            highest += 1
        return min(highest + raised, top)


@dataclass(frozen=True, kw_only=True)
class CriteriaSet:
    """A named system of classes.

    Attributes
    ----------
    name, title, edition
        Stable name, a few words for people, and which edition it is: systems disagree, so a grade is worth
        nothing without them.
    classes
        From the easiest to the hardest.
    criteria
        Its factors.
    rule
        How they combine.
    source
        Where the set comes from.
    for_referral
        Whether it was made to decide who treats; False for classes that only describe a shape.
    """

    name: str
    title: str
    edition: str
    classes: tuple[str, ...]
    criteria: tuple[DifficultyCriterion, ...]
    rule: AggregationRule
    source: Reference
    for_referral: bool = True

    def __post_init__(self) -> None:
        if len(self.classes) < 2 or len(set(self.classes)) < len(self.classes):
            raise CriteriaError(f"the set {self.name!r} needs at least two classes with different names")
        codes = [criterion.code for criterion in self.criteria]
        if not codes or len(set(codes)) < len(codes):
            raise CriteriaError(f"the set {self.name!r} needs criteria, each with its own code")
        for criterion in self.criteria:
            if criterion.hardest > self.top:
                raise CriteriaError(
                    f"criterion {criterion.code!r} has level {criterion.hardest}; {self.name!r} ends at {self.top}"
                )

    @property
    def top(self) -> int:
        """Level of the hardest class."""
        return len(self.classes) - 1

    def criterion(self, code: str) -> DifficultyCriterion:
        """One factor by its code.

        Raises
        ------
        CriteriaError
            When the set has no such factor.
        """
        for criterion in self.criteria:
            if criterion.code == code:
                return criterion
        raise CriteriaError(f"the set {self.name!r} has no criterion {code!r}")
