"""All statistics at once: between raters on one occasion, and of each rater with itself over occasions."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from curvometer.agreement.concordance import Concordance, lin_concordance
from curvometer.agreement.differences import LimitRule, LimitsOfAgreement, dahlberg_error, limits_of_agreement
from curvometer.agreement.estimate import AgreementError, Estimate, FloatArray
from curvometer.agreement.icc import (
    IntraclassCorrelations,
    intraclass_correlations,
    minimal_detectable_change,
    standard_errors_of_measurement,
)
from curvometer.agreement.kappa import KappaWeights, cohen_kappa, fleiss_kappa, grade_table, weighted_kappa
from curvometer.agreement.parts import AngleParts
from curvometer.agreement.ratings import RatingSheet, Value

MOST_PAIRED = 40
"""Above this many raters nobody reads the pairs one by one."""


@dataclass(frozen=True, kw_only=True)
class PairAgreement:
    """Two raters, or two occasions of one rater; None where a statistic is not defined, with the reason in the notes.

    Attributes
    ----------
    first, second
        Their names; differences are first - second.
    subjects
        How many subjects both rated.
    values
        (subjects, 2) numbers; None for grades.
    limits, dahlberg, concordance
        For numbers.
    kappa, weighted_kappa
        For grades; weighted only when their order is known.
    grades
        The scale, lowest first where its order is known; empty for numbers.
    counts
        (grades, grades): how often `first` gave one grade (rows) and `second` another (columns); None for numbers.
    """

    first: str
    second: str
    subjects: int
    values: FloatArray | None
    limits: LimitsOfAgreement | None
    dahlberg: Estimate | None
    concordance: Concordance | None
    kappa: Estimate | None
    weighted_kappa: Estimate | None
    grades: tuple[Value, ...] = ()
    counts: NDArray[np.int64] | None = None


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Several ratings of the same subjects held against each other.

    Attributes
    ----------
    rater
        Whose occasions are compared; None when raters are compared.
    columns
        Names of the raters, or of that rater's occasions.
    subjects
        How many subjects have all of these ratings.
    left_out
        Subjects with only some of them: they count in the pairs that have both.
    correlations, sem, sem_consistency, minimal_detectable_change, dahlberg
        For numbers, of the complete subjects. `sem_consistency` takes constant offsets out.
    fleiss
        For grades, of the complete subjects.
    pairs
        Every two columns with at least two subjects in common.
    notes
        What is missing or was left out, in whole sentences.
    """

    rater: str | None
    columns: tuple[str, ...]
    subjects: int
    left_out: tuple[str, ...]
    correlations: IntraclassCorrelations | None
    sem: Estimate | None
    sem_consistency: Estimate | None
    minimal_detectable_change: Estimate | None
    dahlberg: Estimate | None
    fleiss: Estimate | None
    pairs: tuple[PairAgreement, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class AgreementReport:
    """How well examiners agree with each other and with themselves.

    Attributes
    ----------
    between
        Raters held against each other; None with one rater.
    within
        One entry per rater with two or more occasions.
    occasion
        The occasion on which raters were compared.
    weights
        Which weights the weighted kappas have.
    unit
        Of the values, in words: ``"degrees"``; empty when nobody said.
    parts
        Where differences of Schneider's angle come from; None without records.
    notes
        What is missing or was left out, in whole sentences.
    """

    between: Comparison | None
    within: tuple[Comparison, ...]
    occasion: str
    weights: KappaWeights
    unit: str
    parts: AngleParts | None
    notes: tuple[str, ...]

    @property
    def main(self) -> Comparison:
        """The comparison of raters; with one rater, that of its occasions."""
        return self.within[0] if self.between is None else self.between


def examiner_agreement(
    sheet: RatingSheet,
    *,
    occasion: str | None = None,
    rule: LimitRule = LimitRule.SD_1_96,
    weights: KappaWeights = KappaWeights.LINEAR,
    unit: str = "",
    parts: AngleParts | None = None,
) -> AgreementReport:
    """Tell how well raters agree with each other and with themselves.

    Parameters
    ----------
    sheet
        The ratings.
    occasion
        On which occasion raters are compared; the first one when None. A mean over occasions would hide error.
    rule
        How limits of agreement are drawn.
    weights
        For weighted kappa.
    unit
        Of the values, in words.
    parts
        Where differences of the angle come from, when it is known.

    Raises
    ------
    AgreementError
        When there is nothing to compare: one rater on one occasion, fewer than two subjects in common, all values the
        same, or no such occasion.
    """
    chosen = sheet.occasions[0] if occasion is None else occasion
    if chosen not in sheet.occasions:
        raise AgreementError(
            f"there is no occasion {chosen!r}: the ratings have {', '.join(sheet.occasions)}"
        )
    _check_designs(sheet)
    between = _between(sheet, sheet.occasions.index(chosen), rule, weights)
    within, skipped = _within(sheet, rule, weights)
    if between is None and not within:
        raise AgreementError(
            "no two ratings of the same subjects to compare: at least 2 subjects are needed that two raters, or one"
            " rater on two occasions, have rated"
        )
    return AgreementReport(
        between=between,
        within=within,
        occasion=chosen,
        weights=weights,
        unit=unit,
        parts=parts,
        notes=(*_design_notes(sheet, chosen, between), *skipped),
    )


def _check_designs(sheet: RatingSheet) -> None:
    if len(sheet.raters) == 1 and len(sheet.occasions) == 1:
        raise AgreementError(
            f"only one rater ({sheet.raters[0]}) on one occasion: agreement needs a second rater, or a second occasion"
        )
    if len(sheet.subjects) == 1:
        raise AgreementError(f"only one subject ({sheet.subjects[0]}): agreement needs at least 2, better 20")
    if len({value for value in sheet.values.flat if value is not None}) == 1:
        raise AgreementError(
            "all values are the same: agreement cannot be told from chance; rate subjects that differ"
        )


def _between(sheet: RatingSheet, occasion: int, rule: LimitRule, weights: KappaWeights) -> Comparison | None:
    if len(sheet.raters) < 2:
        return None
    return _compare(sheet, sheet.values[:, :, occasion], sheet.raters, None, rule, weights)


def _within(
    sheet: RatingSheet, rule: LimitRule, weights: KappaWeights
) -> tuple[tuple[Comparison, ...], list[str]]:
    """Compare each rater's occasions; the second list tells who could not be."""
    found, skipped = [], []
    for place, rater in enumerate(sheet.raters):
        columns = [i for i in range(len(sheet.occasions)) if _any_value(sheet.values[:, place, i])]
        if len(columns) < 2:
            if len(sheet.occasions) > 1:
                skipped.append(f"{rater} rated on one occasion only: how well {rater} repeats is not told.")
            continue
        names = tuple(sheet.occasions[i] for i in columns)
        comparison = _compare(sheet, sheet.values[:, place, columns], names, rater, rule, weights)
        if comparison is None:
            skipped.append(
                f"{rater} rated fewer than two subjects twice: how well {rater} repeats is not told."
            )
        else:
            found.append(comparison)
    return tuple(found), skipped


def _any_value(values: NDArray[np.object_]) -> bool:
    return any(value is not None for value in values.flat)


def _design_notes(sheet: RatingSheet, occasion: str, between: Comparison | None) -> list[str]:
    notes = []
    if len(sheet.occasions) == 1:
        notes.append(
            "One occasion only: how well a rater repeats cannot be told; let each rate some of the subjects again."
        )
    elif between is not None:
        notes.append(f"Raters are compared on occasion {occasion!r}; the others tell how well each repeats.")
    if between is None and len(sheet.raters) > 1:
        notes.append("No two raters share two subjects on that occasion: how they agree is not told.")
    if len(sheet.raters) == 1:
        notes.append(f"One rater ({sheet.raters[0]}): occasions are compared, other raters may differ more.")
    elif len(sheet.raters) == 2 and sheet.numeric:
        notes.append(
            "Two raters only: they say little about raters in general; the interval of ICC(2,1) shows it."
        )
    return notes


def _compare(
    sheet: RatingSheet,
    values: NDArray[np.object_],
    columns: tuple[str, ...],
    rater: str | None,
    rule: LimitRule,
    weights: KappaWeights,
) -> Comparison | None:
    """Compare the columns of (subjects, columns) ratings; None when no two of them share two subjects."""
    present = np.array([[value is not None for value in row] for row in values], dtype=bool)
    complete = present.all(axis=1)
    pairs, notes = _pairs(sheet, values, present, columns, rule, weights)
    if not pairs and complete.sum() < 2:
        return None
    partial = [sheet.subjects[i] for i in np.flatnonzero(~complete)]
    comparison = Comparison(
        rater=rater,
        columns=columns,
        subjects=int(complete.sum()),
        left_out=tuple(partial),
        correlations=None,
        sem=None,
        sem_consistency=None,
        minimal_detectable_change=None,
        dahlberg=None,
        fleiss=None,
        pairs=pairs,
        notes=(*_gap_notes(partial, len(sheet.subjects), columns, rater), *notes),
    )
    return _with_tables(sheet, comparison, values[complete])


def _gap_notes(partial: list[str], subjects: int, columns: tuple[str, ...], rater: str | None) -> list[str]:
    if not partial:
        return []
    shown = ", ".join(partial[:5]) + (f" and {len(partial) - 5} more" if len(partial) > 5 else "")
    who = "all raters" if rater is None else f"{rater} on all {len(columns)} occasions"
    kept = subjects - len(partial)
    told = f"{len(partial)} of {subjects} subjects were not rated by {who} and are left out ({shown})"
    if kept < 2:
        return [f"{told}: statistics of all at once need at least 2 complete subjects and are not told."]
    if len(columns) > 2:
        told += " of the ICCs, SEM and Fleiss' kappa; pairs use every subject that both rated"
    return [f"{told}."]


def _with_tables(sheet: RatingSheet, comparison: Comparison, complete: NDArray[np.object_]) -> Comparison:
    """Add what needs complete subjects."""
    if len(complete) < 2:
        return comparison
    notes = list(comparison.notes)
    if sheet.numeric:
        comparison = _with_numbers(comparison, complete.astype(np.float64), notes)
    if sheet.grades:
        try:
            comparison = replace(comparison, fleiss=fleiss_kappa([list(row) for row in complete]))
        except AgreementError as error:
            notes.append(f"Fleiss' kappa is not told: {error}.")
    return replace(comparison, notes=tuple(notes))


def _with_numbers(comparison: Comparison, table: FloatArray, notes: list[str]) -> Comparison:
    sem, consistency = standard_errors_of_measurement(table)
    try:
        correlations = intraclass_correlations(table)
    except AgreementError as error:
        correlations = None
        notes.append(f"ICCs are not told: {error}.")
    two = len(comparison.columns) == 2
    return replace(
        comparison,
        correlations=correlations,
        sem=sem,
        sem_consistency=consistency,
        minimal_detectable_change=minimal_detectable_change(sem),
        dahlberg=dahlberg_error(table[:, 0], table[:, 1]) if two else sem,
    )


def _pairs(
    sheet: RatingSheet,
    values: NDArray[np.object_],
    present: NDArray[np.bool_],
    columns: tuple[str, ...],
    rule: LimitRule,
    weights: KappaWeights,
) -> tuple[tuple[PairAgreement, ...], list[str]]:
    if len(columns) > MOST_PAIRED:
        return (), [f"{len(columns)} raters are too many to be told pair by pair; up to {MOST_PAIRED} are."]
    found, notes = [], []
    for i, j in itertools.combinations(range(len(columns)), 2):
        both = present[:, i] & present[:, j]
        if both.sum() < 2:
            notes.append(
                f"{columns[i]} and {columns[j]} share fewer than two subjects: this pair is not told."
            )
            continue
        pair, reason = _pair(sheet, values[both][:, [i, j]], (columns[i], columns[j]), rule, weights)
        found.append(pair)
        notes += reason
    return tuple(found), notes


def _pair(
    sheet: RatingSheet,
    values: NDArray[np.object_],
    names: tuple[str, str],
    rule: LimitRule,
    weights: KappaWeights,
) -> tuple[PairAgreement, list[str]]:
    numbers = values.astype(np.float64) if sheet.numeric else None
    notes: list[str] = []
    concordance = None
    if numbers is not None:
        try:
            concordance = lin_concordance(numbers[:, 0], numbers[:, 1])
        except AgreementError as error:
            notes.append(f"Lin's concordance of {names[0]} and {names[1]} is not told: {error}.")
    counts = None
    if sheet.grades:
        counts = grade_table(list(values[:, 0]), list(values[:, 1]), grades=sheet.grades)
    kappa, weighted = _kappas(counts, sheet.ordered, names, weights, notes)
    pair = PairAgreement(
        first=names[0],
        second=names[1],
        subjects=len(values),
        values=numbers,
        limits=None if numbers is None else limits_of_agreement(numbers[:, 0], numbers[:, 1], rule=rule),
        dahlberg=None if numbers is None else dahlberg_error(numbers[:, 0], numbers[:, 1]),
        concordance=concordance,
        kappa=kappa,
        weighted_kappa=weighted,
        grades=sheet.grades,
        counts=counts,
    )
    return pair, notes


def _kappas(
    counts: NDArray[np.int64] | None,
    ordered: bool,
    names: tuple[str, str],
    weights: KappaWeights,
    notes: list[str],
) -> tuple[Estimate | None, Estimate | None]:
    if counts is None:
        return None, None
    try:
        return cohen_kappa(counts), weighted_kappa(counts, weights=weights) if ordered else None
    except AgreementError as error:
        notes.append(f"Kappa of {names[0]} and {names[1]} is not told: {error}.")
        return None, None
