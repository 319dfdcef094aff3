"""Differences between two raters: Bland and Altman's limits, a bias that grows, Dahlberg's error."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from curvometer.agreement.estimate import (
    LEVEL,
    Estimate,
    as_pair,
    rounding_of,
    standard_deviation_estimate,
)
from curvometer.agreement.quantiles import t_probability, t_quantile

_UPPER = 1.0 - (1.0 - LEVEL) / 2.0


class LimitRule(StrEnum):
    """How limits of agreement are drawn and how their own error is told."""

    SD_1_96 = "1.96"
    """Mean +- 1.96 SD; variance of a limit (1/n + 1.96^2 / (2 (n - 1))) SD^2 (Bland and Altman 1999)."""
    SD_2 = "2"
    """Mean +- 2 SD; variance of a limit 3 SD^2 / n (the paper of 1986)."""


@dataclass(frozen=True, kw_only=True)
class ProportionalBias:
    """Least squares of the differences on the means.

    Attributes
    ----------
    slope
        Change of the difference per unit of the mean.
    p_value
        Chance of such a slope where there is none. It is also that of Pitman's test for equal spread: the slope's
        sign follows which rater spreads more, and noise of unequal size makes one too.
    """

    slope: Estimate
    p_value: float


@dataclass(frozen=True, kw_only=True)
class LimitsOfAgreement:
    """Bland and Altman's limits of the differences first - second.

    Attributes
    ----------
    bias
        Mean difference with its t interval.
    lower, upper
        The limits, each with its own t interval.
    sd
        Standard deviation of the differences.
    proportional_bias
        None when the means do not differ, or fewer than three subjects.
    rule
        How the limits were drawn.
    subjects
        How many.
    """

    bias: Estimate
    lower: Estimate
    upper: Estimate
    sd: float
    proportional_bias: ProportionalBias | None
    rule: LimitRule
    subjects: int


def limits_of_agreement(
    first: ArrayLike, second: ArrayLike, *, rule: LimitRule = LimitRule.SD_1_96
) -> LimitsOfAgreement:
    """Give the limits between which 95 of 100 differences first - second lie.

    Parameters
    ----------
    first, second
        (n,) values of the same subjects by two raters.
    rule
        1.96 SD, or the 2 SD of the paper of 1986.

    Raises
    ------
    AgreementError
        When the two do not belong together, hold NaN, or have fewer than two subjects.

    References
    ----------
    `curvometer.agreement.sources.BLAND_ALTMAN_1986`, `curvometer.agreement.sources.BLAND_ALTMAN_1999`.
    """
    a, b = as_pair(first, second)
    differences = a - b
    n, bias = len(differences), float(differences.mean())
    sd = float(differences.std(ddof=1))
    if sd <= rounding_of(np.concatenate([a, b])):
        sd = 0.0
    t = t_quantile(_UPPER, n - 1)
    factor = 2.0 if rule is LimitRule.SD_2 else 1.96
    per_sd = 3.0 / n if rule is LimitRule.SD_2 else 1.0 / n + factor**2 / (2.0 * (n - 1))

    def with_interval(value: float, standard_error: float) -> Estimate:
        return Estimate(value=value, lower=value - t * standard_error, upper=value + t * standard_error)

    return LimitsOfAgreement(
        bias=with_interval(bias, sd / n**0.5),
        lower=with_interval(bias - factor * sd, sd * per_sd**0.5),
        upper=with_interval(bias + factor * sd, sd * per_sd**0.5),
        sd=sd,
        proportional_bias=proportional_bias(a, b),
        rule=rule,
        subjects=n,
    )


def proportional_bias(first: ArrayLike, second: ArrayLike) -> ProportionalBias | None:
    """Test whether the difference first - second grows with the size of what is measured.

    Parameters
    ----------
    first, second
        (n,) values of the same subjects by two raters.

    Returns
    -------
    ProportionalBias or None
        None when there are fewer than three subjects or their means do not differ.
    """
    a, b = as_pair(first, second)
    n, differences, means = len(a), a - b, (a + b) / 2.0
    noise = rounding_of(np.concatenate([a, b]))
    x = means - means.mean()
    if n < 3 or float(np.abs(x).max()) <= noise:
        return None
    y = differences - differences.mean()
    slope = float(x @ y / (x @ x))
    residual = y - slope * x
    if float(np.abs(y).max()) <= noise:
        return ProportionalBias(slope=Estimate(value=0.0, lower=0.0, upper=0.0), p_value=1.0)
    if float(np.abs(residual).max()) <= noise:
        return ProportionalBias(slope=Estimate(value=slope, lower=slope, upper=slope), p_value=0.0)
    error = float(np.sqrt(residual @ residual / (n - 2) / (x @ x)))
    reach = t_quantile(_UPPER, n - 2) * error
    return ProportionalBias(
        slope=Estimate(value=slope, lower=slope - reach, upper=slope + reach),
        p_value=t_probability(slope / error, n - 2),
    )


def dahlberg_error(first: ArrayLike, second: ArrayLike) -> Estimate:
    """Give Dahlberg's error of a single measurement from double ones: sqrt(sum d^2 / 2 n).

    Parameters
    ----------
    first, second
        (n,) values of the same subjects, measured twice.

    Returns
    -------
    Estimate
        In the values' units; the interval is chi-squared with n degrees of freedom and takes the differences for
        chance. It mixes a constant difference with chance: read it beside the mean difference.

    Raises
    ------
    AgreementError
        When the two do not belong together, hold NaN, or have fewer than two subjects.

    References
    ----------
    `curvometer.agreement.sources.DAHLBERG_1940`.
    """
    a, b = as_pair(first, second)
    differences = a - b
    if float(np.abs(differences).max()) <= rounding_of(np.concatenate([a, b])):
        return Estimate(value=0.0)
    n = len(differences)
    return standard_deviation_estimate(float(differences @ differences) / (2 * n), n)
