"""A grade in words that a clinician reads; the same grade always gives the same words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from curvometer.difficulty.criteria import CriteriaSet

if TYPE_CHECKING:
    from curvometer.difficulty.grading import DifficultyGrade, FactorResult, MissingFact

MENTION_FROM = 0.01
"""A class less probable than this is not mentioned."""

GRADING_CAUTIONS = (
    "A planning and teaching aid, not a diagnosis: licensed judgement comes first.",
    "One projection shows the least curvature: the canal may bend more out of the plane of the image.",
)
"""What stands beside every grade."""


def percent(chance: float) -> str:
    """A probability as a whole per cent that never says 0 or 100."""
    if chance < 0.01:
        return "below 1 %"
    return "above 99 %" if chance > 0.99 else f"{round(100 * chance)} %"


def grade_words(chosen: CriteriaSet, level: int, chances: Sequence[float], harder: int) -> str:
    """Class and what it could be, like ``"moderate, could be high (12 %)"``; the likeliest first.

    Parameters
    ----------
    chosen
        The set.
    level
        The class at the best values.
    chances
        Probability of each class.
    harder
        The class when a value that is a limit counts on the harder side.
    """
    others = [
        i for i in range(len(chosen.classes)) if i != level and (i == harder or chances[i] >= MENTION_FROM)
    ]
    others.sort(key=lambda i: (-chances[i], -i))
    told = [f"{chosen.classes[i]} ({_chance(chances[i], i == harder)})" for i in others]
    name = chosen.classes[level]
    return f"{name}, could be {' or '.join(told)}" if told else name


def _chance(chance: float, at_limit: bool) -> str:
    words = [percent(chance)] if chance >= MENTION_FROM else []
    return ", ".join([*words, *(["at the limit"] if at_limit else [])])


def deciding_words(
    chosen: CriteriaSet, factors: Sequence[FactorResult], level: int
) -> tuple[tuple[str, ...], str]:
    """Codes of the criteria that decided, and the same in words."""
    counting = [factor for factor in factors if factor.counts and not factor.criterion.modifier]
    if not counting:
        return (), "none known"
    highest = max(factor.level for factor in counting)
    if highest == 0:
        nearest = _nearest(counting)
        text = f"{_told(nearest)}; no known factor above {chosen.classes[0]}"
        decided = [nearest]
    else:
        decided = [factor for factor in counting if factor.level == highest]
        text = "; ".join(_told(factor) for factor in decided)
    raising = [factor for factor in factors if factor.criterion.modifier and factor.level > 0]
    if level > highest and raising:
        decided, text = [*decided, *raising], f"{text}; raised by {raising[0].criterion.title}"
    elif level > highest:
        text = f"several factors that are {chosen.classes[highest]}: {text}"
    return tuple(factor.criterion.code for factor in decided), text


def doubt_words(chosen: CriteriaSet, factors: Sequence[FactorResult], possible: Sequence[str]) -> str:
    """Name the factor that makes a harder class possible; empty when there is no such class."""
    if not possible:
        return ""
    rising = max(factors, key=lambda f: (f.at_limit, sum(f.probabilities[f.level + 1 :])))
    text = f"{possible[-1]} is possible: {_told(rising)}"
    if rising.at_limit:
        return f"{text} is a limit itself, which counts as {chosen.classes[rising.level]}"
    limit = _nearest_limit(rising)
    return text if limit is None else f"{text}, limit {limit:g}"


def disagreement(grades: Sequence[DifficultyGrade]) -> str:
    """Say in one sentence that sets disagree; empty when they agree.

    Classes are compared by their place between the easiest and the hardest, since their names differ.
    """
    graded = [grade for grade in grades if grade.level is not None]
    places = {(grade.level or 0) / grade.criteria.top for grade in graded}
    if len(places) < 2:
        return ""
    told = "; ".join(f"{grade.grade} by {grade.criteria.title}" for grade in graded)
    return f"The sets disagree: {told}. Tell with a grade which set and edition it is by."


def missing_words(grade: DifficultyGrade) -> str:
    """Tell what nobody said, and what the grade would become with it; empty when nothing is missing."""
    if not grade.missing:
        return ""
    told = [f"{grade.criteria.title}: {grade.best_case} at best, {grade.worst_case} at worst."]
    for name in reversed(grade.criteria.classes):
        facts = [fact for fact in grade.missing if fact.worst == name != grade.best_case]
        if facts:
            told.append(f"To {name} alone: {'; '.join(_fact(fact) for fact in facts)}.")
    others = [fact for fact in grade.missing if fact.worst == grade.best_case]
    if others:
        told.append(f"No other grade alone: {'; '.join(_fact(fact) for fact in others)}.")
    return " ".join(told)


def source_words(grade: DifficultyGrade) -> str:
    """Tell where a grade's set comes from, its rule, and how the limits of its essential measures were read."""
    source = grade.criteria.source
    # A form that was read may have limits that were not.
    limits = [
        f"{limit.value:g} ({limit.how_read.value})"
        for criterion in grade.criteria.criteria
        if criterion.essential
        for limit in criterion.limits
    ]
    read = f" Limits: {', '.join(limits)}." if limits else ""
    return f"{grade.criteria.name}: {source.citation} ({source.how_read.value}). Rule: {grade.criteria.rule.words}.{read}"


def _fact(fact: MissingFact) -> str:
    return f"{fact.what}, {fact.reason}" if fact.reason.startswith("not measured") else fact.what


def _told(factor: FactorResult) -> str:
    return f"{factor.criterion.title} {factor.told}"


def _nearest(factors: Sequence[FactorResult]) -> FactorResult:
    """The factor that most probably lies above the easiest level; the first essential one when all are sure."""
    return max(factors, key=lambda f: (1.0 - f.probabilities[0], f.criterion.essential))


def _nearest_limit(factor: FactorResult) -> float | None:
    """The limit of a measured factor that its value lies closest to."""
    value = factor.value
    if value is None:
        return None
    return min((limit.value for limit in factor.criterion.limits), key=lambda limit: abs(limit - value))
