"""A measurement and stated facts -> a grade: its class, how probable each class is, what decided, what is missing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from curvometer.difficulty.combination import Reading, class_at_best_value, class_probabilities, harder_class
from curvometer.difficulty.criteria import CriteriaSet, DifficultyCriterion
from curvometer.difficulty.facts import FACT_NUMBERS, FACT_WORDS, CaseFacts
from curvometer.difficulty.published import CURRENT_CRITERIA, criteria_set
from curvometer.difficulty.quantities import FLAG_NAMES, measured_quantities
from curvometer.difficulty.teeth import is_primary
from curvometer.difficulty.words import deciding_words, doubt_words, grade_words
from curvometer.measurement import CanalMeasurement, MeasurementFlag, Quantity, Severity, absence_words

BOUNDARY_FROM = 0.025
"""A harder class this probable lies inside the 95 % interval: the case is at a boundary."""
ABSENT_WITHOUT_BEND = (
    "three_point_radius",
    "minimum_radius",
    "pruett_radius",
    "chord_radius",
    "curve_start_share",
)
"""Measures that a straight canal does not have: their factor has its easiest level, it is not missing."""


@dataclass(frozen=True, kw_only=True)
class FactorResult:
    """What one criterion found: level of the best value, and how probable each class is by this factor alone."""

    criterion: DifficultyCriterion
    told: str
    """The value with its interval, or the stated answer, as people read it."""
    value: float | None
    level: int
    counts: bool
    """False where its condition does not hold, for example a radius at a small angle."""
    probabilities: tuple[float, ...]
    at_limit: bool
    """The value is a limit itself, and the limit's other side is harder."""


@dataclass(frozen=True, kw_only=True)
class MissingFact:
    """A factor that nobody stated or measured, why, and the class that the case would have with it."""

    code: str
    what: str
    reason: str
    best: str
    worst: str


@dataclass(frozen=True, kw_only=True)
class DifficultyGrade:
    """The grade of one canal by one set.

    Attributes
    ----------
    criteria
        The set; its name and edition belong to the grade.
    grade
        The class at the best values with what is known; None when an essential measure is missing.
    probabilities
        Probability of each class; they add up to 1. Empty without a grade.
    words
        For example ``"moderate, could be high (12 %)"``.
    deciding_factor
        What decided, in words; `deciding_codes` names the criteria.
    doubt
        Which factor makes a harder class possible, in words; empty when none does.
    boundary
        A harder class is possible within the 95 % interval, or a value is a limit itself.
    possible
        The harder classes that are possible.
    factors, missing
        Every criterion that is known, and every one that is not.
    best_case, worst_case
        The class if every missing factor were at its easiest or hardest.
    flags
        Doubts of the measurement that bear on this grade, and those of the grade itself.
    """

    criteria: CriteriaSet
    grade: str | None
    probabilities: dict[str, float]
    words: str
    deciding_factor: str
    deciding_codes: tuple[str, ...]
    doubt: str
    boundary: bool
    possible: tuple[str, ...]
    factors: tuple[FactorResult, ...]
    missing: tuple[MissingFact, ...]
    best_case: str
    worst_case: str
    flags: tuple[MeasurementFlag, ...] = ()

    def __str__(self) -> str:
        """Name of the set and the grade in words."""
        return f"{self.criteria.name}: {self.words}"

    @property
    def level(self) -> int | None:
        """Place of the class in the set, 0 for the easiest."""
        return None if self.grade is None else self.criteria.classes.index(self.grade)


def grade_difficulty(
    measurement: CanalMeasurement, *, criteria: str | CriteriaSet = "aae-2022", facts: CaseFacts | None = None
) -> DifficultyGrade:
    """Grade one measured canal by one criteria set.

    Parameters
    ----------
    measurement
        The measured canal.
    criteria
        Name of a published set, or a set from `load_criteria`.
    facts
        What a person states.

    Returns
    -------
    DifficultyGrade
        Class, probabilities, deciding factor, missing facts and flags.

    Raises
    ------
    CriteriaError
        When there is no such set, or a stated answer is none that it knows.

    Notes
    -----
    One projection shows the least curvature, so a grade is a lower bound as far as the angle decides.
    """
    quantities = measured_quantities(measurement)
    return grade_quantities(quantities, criteria=criteria, facts=facts, flags=measurement.flags)


def grade_all(
    measurement: CanalMeasurement,
    *,
    criteria: Sequence[str | CriteriaSet] = CURRENT_CRITERIA,
    facts: CaseFacts | None = None,
) -> tuple[DifficultyGrade, ...]:
    """Grade by several sets, to be shown side by side: systems disagree.

    Raises
    ------
    CriteriaError
        As `grade_difficulty`.
    """
    return tuple(grade_difficulty(measurement, criteria=each, facts=facts) for each in criteria)


def grade_quantities(
    quantities: Mapping[str, Quantity],
    *,
    criteria: str | CriteriaSet = "aae-2022",
    facts: CaseFacts | None = None,
    flags: Sequence[MeasurementFlag] = (),
) -> DifficultyGrade:
    """Grade from quantities by name, for a what-if or a tracing of another program.

    Parameters
    ----------
    quantities
        By the names that criteria use; see `measured_quantities` and `typed_quantities`.
    criteria, facts
        As in `grade_difficulty`.
    flags
        Doubts of the measurement.

    Raises
    ------
    CriteriaError
        As `grade_difficulty`.
    """
    chosen, stated = criteria_set(criteria), facts or CaseFacts()
    known = {**quantities, **stated.numbers()}
    straight = any(flag.code == "straight" for flag in flags)
    readings = [_reading(criterion, known, stated, straight) for criterion in chosen.criteria]
    return _grade(chosen, readings, known, _flags(chosen, flags, stated, known))


def _reading(
    criterion: DifficultyCriterion, known: Mapping[str, Quantity], facts: CaseFacts, straight: bool
) -> Reading:
    quantity = known.get(criterion.quantity)
    answer = facts.answer(criterion.fact) if criterion.fact else None
    answered = None if answer is None else criterion.level_of_answer(answer)
    if quantity is None and answered is None and straight and criterion.quantity in ABSENT_WITHOUT_BEND:
        return Reading(criterion=criterion, answer="no bend found", answered=0)
    return Reading(criterion=criterion, quantity=quantity, answer=answer or "", answered=answered)


def _grade(
    chosen: CriteriaSet,
    readings: list[Reading],
    known: Mapping[str, Quantity],
    flags: tuple[MeasurementFlag, ...],
) -> DifficultyGrade:
    level = class_at_best_value(chosen, readings, known)
    together, by_factor = class_probabilities(chosen, readings, known)
    factors = _factors(readings, known, by_factor)
    absent = [reading for reading in readings if reading.missing(known)]
    worst_levels = {reading.criterion.code for reading in absent}
    worst = class_at_best_value(chosen, readings, known, at_worst=worst_levels)
    gradable = level == worst or not any(reading.criterion.essential for reading in absent)
    chances = together if gradable else ()
    harder = harder_class(chosen, readings, known)
    possible = _possible(chosen, level, harder, chances) if gradable else ()
    codes, deciding = deciding_words(chosen, factors, level)
    return DifficultyGrade(
        criteria=chosen,
        grade=chosen.classes[level] if gradable else None,
        probabilities=dict(zip(chosen.classes, chances, strict=True)) if gradable else {},
        words=grade_words(chosen, level, chances, harder) if gradable else _not_graded(absent),
        deciding_factor=deciding if gradable else f"none: {_essential_words(absent)}",
        deciding_codes=codes if gradable else (),
        doubt=doubt_words(chosen, factors, possible),
        boundary=bool(possible),
        possible=possible,
        factors=factors,
        missing=tuple(_missing(chosen, readings, known, reading, flags) for reading in absent),
        best_case=chosen.classes[level],
        worst_case=chosen.classes[worst],
        flags=flags,
    )


def _possible(chosen: CriteriaSet, level: int, harder: int, chances: Sequence[float]) -> tuple[str, ...]:
    return tuple(
        name
        for i, name in enumerate(chosen.classes)
        if i > level and (i == harder or chances[i] >= BOUNDARY_FROM - 1e-9)
    )


def _factors(
    readings: list[Reading],
    known: Mapping[str, Quantity],
    by_factor: Mapping[str, tuple[float, ...]],
) -> tuple[FactorResult, ...]:
    return tuple(
        FactorResult(
            criterion=reading.criterion,
            told=reading.told,
            value=None if reading.quantity is None else reading.quantity.value,
            level=reading.level_at_best_value(),
            counts=reading.counts(known),
            probabilities=by_factor[reading.criterion.code],
            at_limit=reading.level_at_best_value(harder=True) > reading.level_at_best_value(),
        )
        for reading in readings
        if reading.known
    )


def _missing(
    chosen: CriteriaSet,
    readings: list[Reading],
    known: Mapping[str, Quantity],
    reading: Reading,
    flags: Sequence[MeasurementFlag],
) -> MissingFact:
    criterion = reading.criterion
    why = _why_absent(criterion.quantity, flags)
    worst = class_at_best_value(chosen, readings, known, at_worst={criterion.code})
    stated = bool(criterion.fact) or criterion.quantity in FACT_NUMBERS
    return MissingFact(
        code=criterion.code,
        what=FACT_WORDS.get(criterion.fact or criterion.quantity, criterion.title),
        reason=f"not measured: {why}" if why else "not stated" if stated else "not measured",
        best=chosen.classes[class_at_best_value(chosen, readings, known)],
        worst=chosen.classes[worst],
    )


def _why_absent(quantity: str, flags: Sequence[MeasurementFlag]) -> str:
    if not quantity or quantity in FACT_NUMBERS:
        return ""
    names = set(FLAG_NAMES.get(quantity, (quantity,)))
    bearing = [flag for flag in flags if not flag.concerns or names & set(flag.concerns)]
    # A flag that names the measure tells more than one about all of them.
    return absence_words(sorted(bearing, key=lambda flag: not flag.concerns))


def _essential_words(absent: list[Reading]) -> str:
    return ", ".join(
        f"{reading.criterion.title} is not known" for reading in absent if reading.criterion.essential
    )


def _not_graded(absent: list[Reading]) -> str:
    return f"no grade: {_essential_words(absent)}"


def _flags(
    chosen: CriteriaSet, flags: Sequence[MeasurementFlag], facts: CaseFacts, known: Mapping[str, Quantity]
) -> tuple[MeasurementFlag, ...]:
    """Doubts about a quantity that this set uses, or about all of them."""
    used = {
        name
        for criterion in chosen.criteria
        for name in FLAG_NAMES.get(criterion.quantity, (criterion.quantity,))
    }
    kept = [flag for flag in flags if not flag.concerns or used & set(flag.concerns)]
    if facts.tooth is not None and is_primary(facts.tooth):
        kept.append(_caution("primary_tooth", "The criteria are for permanent teeth: do not use this grade."))
    angle = known.get("schneider_angle")
    if chosen.name == "schneider-1971" and angle is not None and angle.value > 70.0:
        kept.append(
            _caution("beyond_original", "The angle is beyond the 70 degrees of the original classes.")
        )
    return tuple(kept)


def _caution(code: str, text: str) -> MeasurementFlag:
    return MeasurementFlag(code=code, severity=Severity.CAUTION, text=text)
