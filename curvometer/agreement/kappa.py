"""Agreement on grades beyond chance: Cohen's kappa, weighted kappa with named weights, Fleiss' kappa."""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curvometer.agreement.estimate import AgreementError, Estimate, FloatArray
from curvometer.agreement.quantiles import normal_quantile, t_quantile


class KappaWeights(StrEnum):
    """How much a disagreement over several steps of a scale counts."""

    NONE = "none"
    """Every disagreement counts the same: Cohen's kappa of 1960."""
    LINEAR = "linear"
    """As many times as there are steps between the two grades."""
    QUADRATIC = "quadratic"
    """As the square of the steps."""


def grade_table(
    first: Sequence[object], second: Sequence[object], *, grades: Sequence[object]
) -> NDArray[np.int64]:
    """Count how often the first rater gave one grade (rows) and the second another (columns).

    Parameters
    ----------
    first, second
        One grade per subject from each rater.
    grades
        All grades of the scale, in order.

    Returns
    -------
    array of int
        (grades, grades).

    Raises
    ------
    AgreementError
        When the two are not as long as each other, or a grade is not on the scale.
    """
    if len(first) != len(second):
        raise AgreementError(
            f"two raters gave {len(first)} and {len(second)} grades; give one per subject from each"
        )
    places = {grade: place for place, grade in enumerate(grades)}
    table = np.zeros((len(places), len(places)), dtype=np.int64)
    for pair in zip(first, second, strict=True):
        for grade in pair:
            if grade not in places:
                known = ", ".join(str(each) for each in grades)
                raise AgreementError(
                    f"the grade {grade!r} is not on the scale {known}: correct it or name the scale"
                )
        table[places[pair[0]], places[pair[1]]] += 1
    return table


def disagreement_weights(count: int, weights: KappaWeights) -> FloatArray:
    """Give the disagreement weights of a scale of `count` grades: (count, count), 0 on the diagonal."""
    steps = np.abs(np.subtract.outer(np.arange(count), np.arange(count))).astype(np.float64)
    if weights is KappaWeights.NONE:
        return (steps > 0).astype(np.float64)
    return steps if weights is KappaWeights.LINEAR else steps**2


def cohen_kappa(table: ArrayLike) -> Estimate:
    """Give Cohen's kappa of a table of counts: `weighted_kappa` where every disagreement counts the same."""
    return weighted_kappa(table, weights=KappaWeights.NONE)


def weighted_kappa(table: ArrayLike, *, weights: KappaWeights | ArrayLike = KappaWeights.LINEAR) -> Estimate:
    """Give weighted kappa with its large-sample 95 % interval.

    Parameters
    ----------
    table
        (grades, grades) counts: rows by one rater, columns by the other.
    weights
        Named, or a table of disagreement weights, (grades, grades), 0 on the diagonal, none below 0. They need not
        be symmetric. Kappa does not change when all are multiplied by one number.

    Returns
    -------
    Estimate
        1 - observed / expected weighted disagreement; the interval is cut at 1.

    Raises
    ------
    AgreementError
        When the table holds no counts, the weights do not fit it, or no disagreement could be expected because both
        raters gave all subjects one and the same grade.

    References
    ----------
    `curvometer.agreement.sources.COHEN_1968`; interval `curvometer.agreement.sources.FLEISS_1969`.
    """
    counts = _counts(table)
    wrong = _weights(weights, len(counts))
    total = float(counts.sum())
    p = counts / total
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    observed, expected = float((wrong * p).sum()), float(rows @ wrong @ columns)
    if expected == 0.0:
        raise AgreementError(
            "both raters gave every subject the same grade, so chance alone would agree as well: kappa is not"
            " defined; rate subjects that differ"
        )
    kappa = _without_dust(1.0 - observed / expected)  # Cohen 1968, eq. (3)
    # Delta method: derivative of observed / expected by each cell; docs/agreement.md.
    pull = (wrong @ columns)[:, None] + (rows @ wrong)[None, :]
    slope = wrong / expected - observed * pull / expected**2
    variance = float((p * slope**2).sum() - (p * slope).sum() ** 2) / total
    if (
        variance < 1e-15 and observed > 0.0
    ):  # no table near this one has another kappa: no interval, not a sure value
        return Estimate(value=kappa)
    reach = normal_quantile(0.975) * math.sqrt(max(variance, 0.0))
    return Estimate(value=kappa, lower=kappa - reach, upper=min(kappa + reach, 1.0))


def fleiss_kappa(ratings: Sequence[Sequence[object]]) -> Estimate:
    """Give Fleiss' kappa of many raters, with a 95 % interval from leaving out one subject at a time.

    Parameters
    ----------
    ratings
        One row of grades per subject, one grade per rater; any grades, without order.

    Raises
    ------
    AgreementError
        When fewer than two subjects or raters, rows of unequal length, or all grades are the same.

    References
    ----------
    `curvometer.agreement.sources.FLEISS_1971`; the interval is the jackknife's, which the paper does not have.
    """
    counts = _fleiss_counts(ratings)
    value = _fleiss(counts)
    if value is None:
        raise AgreementError(
            "all grades are the same, so chance alone would agree as well: kappa is not defined; rate subjects"
            " that differ"
        )
    n = len(counts)
    left_out = [_fleiss(np.delete(counts, i, axis=0)) for i in range(n)]
    told = [each for each in left_out if each is not None]
    if n < 3 or len(told) < n:
        return Estimate(value=value)
    error = ((n - 1) / n * float(((np.array(told) - np.mean(told)) ** 2).sum())) ** 0.5
    reach = t_quantile(0.975, n - 1) * error
    return Estimate(value=value, lower=value - reach, upper=min(value + reach, 1.0))


def _without_dust(kappa: float) -> float:
    """Let a kappa of 0 be 0: what rounding leaves may get a sign, and another word."""
    return 0.0 if abs(kappa) < 1e-12 else kappa


def _counts(table: ArrayLike) -> FloatArray:
    counts = np.asarray(table, dtype=np.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or len(counts) < 2:
        raise AgreementError(f"a table of grades has the shape {counts.shape}; give as many rows as columns")
    if not np.isfinite(counts).all() or (counts < 0.0).any() or counts.sum() <= 0.0:
        raise AgreementError("a table of grades must hold counts of 0 and more: correct it")
    return counts


def _weights(weights: KappaWeights | ArrayLike, count: int) -> FloatArray:
    if isinstance(weights, KappaWeights):
        return disagreement_weights(count, weights)
    wrong = np.asarray(weights, dtype=np.float64)
    if wrong.shape != (count, count):
        raise AgreementError(f"weights have the shape {wrong.shape}; this table needs {(count, count)}")
    if not np.isfinite(wrong).all() or (wrong < 0.0).any() or np.diag(wrong).any():
        raise AgreementError(
            "disagreement weights must be 0 on the diagonal and nowhere below 0: correct them"
        )
    return wrong


def _fleiss_counts(ratings: Sequence[Sequence[object]]) -> FloatArray:
    rows = [list(row) for row in ratings]
    raters = {len(row) for row in rows}
    if len(rows) < 2 or len(raters) != 1 or raters.pop() < 2:
        raise AgreementError(
            "Fleiss' kappa needs two or more subjects, each graded by the same number of raters"
        )
    grades = list(dict.fromkeys(grade for row in rows for grade in row))
    return np.array([[row.count(grade) for grade in grades] for row in rows], dtype=np.float64)


def _fleiss(counts: FloatArray) -> float | None:
    raters = float(counts[0].sum())
    observed = float(((counts**2).sum(axis=1) - raters).mean()) / (
        raters * (raters - 1.0)
    )  # Fleiss 1971, (1)
    expected = float(((counts.sum(axis=0) / counts.sum()) ** 2).sum())  # Fleiss 1971, (2)
    if expected >= 1.0 - 1e-15:
        return None
    return _without_dust((observed - expected) / (1.0 - expected))
