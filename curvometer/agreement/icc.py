"""The six intraclass correlations of Shrout and Fleiss (1979), with their intervals."""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike

from curvometer.agreement.estimate import (
    LEVEL,
    AgreementError,
    Estimate,
    as_table,
    rounding_of,
    standard_deviation_estimate,
)
from curvometer.agreement.quantiles import f_quantile

ICC_NAMES = ("icc_1_1", "icc_2_1", "icc_3_1", "icc_1_k", "icc_2_k", "icc_3_k")
_UPPER = 1.0 - (1.0 - LEVEL) / 2.0


@dataclass(frozen=True, kw_only=True)
class MeanSquares:
    """Two-way analysis of variance of a complete table.

    Attributes
    ----------
    subjects, raters
        How many: n and k.
    between, within, judges, error
        Mean squares BMS, WMS, JMS and EMS of Shrout and Fleiss, in squared units of the ratings. What rounding alone
        may have made is 0.
    """

    subjects: int
    raters: int
    between: float
    within: float
    judges: float
    error: float


@dataclass(frozen=True, kw_only=True)
class IntraclassCorrelations:
    """All six forms; the averages (k) hold for the mean of the k raters. None where the form is not defined.

    Attributes
    ----------
    icc_1_1, icc_1_k
        Raters differ from subject to subject.
    icc_2_1, icc_2_k
        The raters stand for all raters: a constant offset between them counts as error. For calibrating examiners.
    icc_3_1, icc_3_k
        Only these raters, and a constant offset between them does not count.
    """

    icc_1_1: Estimate | None
    icc_2_1: Estimate | None
    icc_3_1: Estimate | None
    icc_1_k: Estimate | None
    icc_2_k: Estimate | None
    icc_3_k: Estimate | None


def mean_squares(ratings: ArrayLike) -> MeanSquares:
    """Give the mean squares of a table of ratings, (subjects, raters), complete.

    Raises
    ------
    AgreementError
        When the table is not complete or too small.

    References
    ----------
    `curvometer.agreement.sources.SHROUT_FLEISS_1979`, Table 3.
    """
    table = as_table(ratings)
    noise = rounding_of(table) ** 2
    table = table - table.mean()  # far offsets would cost digits
    n, k = table.shape
    rows, columns = table.mean(axis=1), table.mean(axis=0)
    residual = table - rows[:, None] - columns[None, :]

    def clean(square: float) -> float:
        return float(square) if square > noise else 0.0

    return MeanSquares(
        subjects=n,
        raters=k,
        between=clean(k * (rows**2).sum() / (n - 1)),
        within=clean(((table - rows[:, None]) ** 2).sum() / (n * (k - 1))),
        judges=clean(n * (columns**2).sum() / (k - 1)),
        error=clean((residual**2).sum() / ((n - 1) * (k - 1))),
    )


def intraclass_correlations(ratings: ArrayLike) -> IntraclassCorrelations:
    """Give the six intraclass correlations with 95 % intervals.

    Parameters
    ----------
    ratings
        (subjects, raters), complete.

    Raises
    ------
    AgreementError
        When the table is not complete, too small, or all its values are the same.

    References
    ----------
    `curvometer.agreement.sources.SHROUT_FLEISS_1979`; the derivation is in docs/agreement.md.
    """
    squares = mean_squares(ratings)
    if squares.between == 0.0 and squares.within == 0.0:
        raise AgreementError("all ratings are the same: nothing to tell apart; rate subjects that differ")
    n, k = squares.subjects, squares.raters
    one = _single(squares.between, squares.within, k, n - 1, n * (k - 1))
    three = _single(squares.between, squares.error, k, n - 1, (n - 1) * (k - 1))
    two = _absolute(squares)
    return IntraclassCorrelations(
        icc_1_1=one,
        icc_2_1=two,
        icc_3_1=three,
        icc_1_k=_averaged(one, k),
        icc_2_k=_averaged(two, k),
        icc_3_k=_averaged(three, k),
    )


def _single(between: float, error: float, k: int, df1: int, df2: int) -> Estimate | None:
    """Forms (1,1) and (3,1): (BMS - MS) / (BMS + (k - 1) MS), and their exact interval from F = BMS / MS."""
    if between == 0.0 and error == 0.0:  # raters differ by constants only, subjects not at all
        return None
    if error == 0.0:
        return Estimate(value=1.0, lower=1.0, upper=1.0)

    def icc(ratio: float) -> float:
        return (ratio - 1.0) / (ratio + k - 1.0)  # Shrout & Fleiss, p. 422-424

    f = between / error
    return Estimate(
        value=icc(f),
        lower=icc(f / f_quantile(_UPPER, df1, df2)),
        upper=icc(f * f_quantile(_UPPER, df2, df1)),
    )


def _absolute(s: MeanSquares) -> Estimate | None:
    """Form (2,1) and its interval by Satterthwaite's degrees of freedom."""
    n, k = s.subjects, s.raters
    total = s.between + (k - 1) * s.error + k * (s.judges - s.error) / n
    if total <= 0.0:
        return None
    icc = (s.between - s.error) / total  # Shrout & Fleiss, ICC(2,1)
    if s.error == 0.0 and s.judges == 0.0:
        return Estimate(value=1.0, lower=1.0, upper=1.0)
    a, b = k * icc * s.judges, (n * (1.0 + (k - 1) * icc) - k * icc) * s.error
    # Their v, multiplied by EMS^2, so that it also holds when the raters differ by constants only.
    v_denominator = a * a / (k - 1) + b * b / ((n - 1) * (k - 1))
    if v_denominator <= 0.0:
        return Estimate(value=icc)
    v = (a + b) ** 2 / v_denominator
    if v < 1e-3:  # a + b near 0, which only a clearly negative ICC does: no interval can be told
        return Estimate(value=icc)
    rest = k * s.judges + (k * n - k - n) * s.error
    f_low, f_high = f_quantile(_UPPER, n - 1, v), f_quantile(_UPPER, v, n - 1)
    lower = n * (s.between - f_low * s.error) / (f_low * rest + n * s.between)
    upper = n * (f_high * s.between - s.error) / (rest + n * f_high * s.between)
    if (
        not lower <= icc <= upper
    ):  # so few degrees of freedom, with a clearly negative ICC, that the rule breaks down
        return Estimate(value=icc)
    return Estimate(value=icc, lower=lower, upper=upper)


def _averaged(single: Estimate | None, k: int) -> Estimate | None:
    """Step a form and the ends of its interval up to the mean of k raters (Spearman and Brown)."""
    if single is None:
        return None

    def stepped(icc: float) -> float | None:
        below = 1.0 + (k - 1) * icc
        return k * icc / below if below > 1e-12 else None  # at its least value, -1 / (k - 1), nothing is left

    value = stepped(single.value)
    if value is None:
        return None
    if single.lower is None or single.upper is None:
        return Estimate(value=value)
    lower, upper = stepped(single.lower), stepped(single.upper)
    if lower is None or upper is None:
        return Estimate(value=value)
    return Estimate(value=value, lower=lower, upper=upper)


def standard_errors_of_measurement(ratings: ArrayLike) -> tuple[Estimate, Estimate]:
    """Give the standard error of measurement, with and without the constant offsets between raters.

    Parameters
    ----------
    ratings
        (subjects, raters), complete.

    Returns
    -------
    tuple of Estimate
        In the ratings' units. The first, root of WMS, is SD * sqrt(1 - ICC(2,1)) and at once Dahlberg's error, made
        general for k raters; its interval takes the offsets for chance. The second, root of EMS, is
        SD * sqrt(1 - ICC(3,1)).

    Notes
    -----
    WMS = EMS + (JMS - EMS) / n, which is the error variance in ICC(2,1): docs/agreement.md.
    """
    s = mean_squares(ratings)
    n, k = s.subjects, s.raters
    return (
        standard_deviation_estimate(s.within, _within_freedom(s)),
        standard_deviation_estimate(s.error, (n - 1) * (k - 1)),
    )


def _within_freedom(s: MeanSquares) -> float:
    """Satterthwaite's degrees of freedom of WMS = JMS / n + (n - 1) EMS / n."""
    n, k = s.subjects, s.raters
    a, b = s.judges / n, (n - 1) * s.error / n
    below = a * a / (k - 1) + b * b / ((n - 1) * (k - 1))
    return (a + b) ** 2 / below if below > 0.0 else 0.0


def minimal_detectable_change(sem: Estimate) -> Estimate:
    """Give the difference that two measurements of one canal stay below in 95 of 100 cases: 1.96 sqrt(2) SEM."""
    factor = 1.96 * 2.0**0.5
    return Estimate(
        value=factor * sem.value,
        lower=None if sem.lower is None else factor * sem.lower,
        upper=None if sem.upper is None else factor * sem.upper,
    )
