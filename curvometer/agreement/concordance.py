"""Lin's concordance: how close pairs of values lie to the line on which both raters say the same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from curvometer.agreement.estimate import AgreementError, Estimate, as_pair, rounding_of
from curvometer.agreement.quantiles import normal_quantile


@dataclass(frozen=True, kw_only=True)
class Concordance:
    """Lin's coefficient and what it is made of: concordance = correlation * accuracy.

    Attributes
    ----------
    concordance
        With its interval by Fisher's z; none where the correlation is 0 or the fit perfect.
    correlation
        Pearson's; None when one rater gave the same value to all.
    accuracy
        Bias correction C_b, 1 when means and spreads are equal; None like the correlation.
    scale_shift, location_shift
        Ratio of the two standard deviations, and difference of the means over their geometric mean.
    standard_error
        Of the concordance.
    """

    concordance: Estimate
    correlation: float | None
    accuracy: float | None
    scale_shift: float | None
    location_shift: float | None
    standard_error: float | None


def lin_concordance(first: ArrayLike, second: ArrayLike, *, unbiased: bool = False) -> Concordance:
    """Give Lin's concordance correlation of two raters.

    Parameters
    ----------
    first, second
        (n,) values of the same subjects.
    unbiased
        Divide variances by n - 1 instead of n, which is Lin's own choice.

    Raises
    ------
    AgreementError
        When the two do not belong together, hold NaN, have fewer than two subjects, or all values are the same.

    References
    ----------
    `curvometer.agreement.sources.LIN_1989`, eq. (2); standard error with the correction of 2000.
    """
    a, b = as_pair(first, second)
    noise = rounding_of(np.concatenate([a, b]))
    n, shift = len(a), float(a.mean() - b.mean())
    divisor = n - 1 if unbiased else n
    x, y = a - a.mean(), b - b.mean()
    variance_a, variance_b, covariance = (float(v) / divisor for v in (x @ x, y @ y, x @ y))
    spread = variance_a + variance_b + shift**2
    if spread <= noise**2:
        raise AgreementError("all ratings are the same: nothing to tell apart; rate subjects that differ")
    value = 2.0 * covariance / spread  # Lin 1989, eq. (2)
    if min(variance_a, variance_b) <= noise**2:
        return Concordance(
            concordance=Estimate(value=0.0),
            correlation=None,
            accuracy=None,
            scale_shift=None,
            location_shift=None,
            standard_error=None,
        )
    geometric = float(np.sqrt(variance_a * variance_b))
    correlation = min(max(covariance / geometric, -1.0), 1.0)
    error = _standard_error(value, correlation, shift**2 / geometric, n)
    return Concordance(
        concordance=_with_interval(min(max(value, -1.0), 1.0), error),
        correlation=correlation,
        accuracy=2.0 * geometric / spread,
        scale_shift=float(np.sqrt(variance_a / variance_b)),
        location_shift=shift / float(np.sqrt(geometric)),
        standard_error=error,
    )


def _standard_error(concordance: float, correlation: float, shift_squared: float, n: int) -> float | None:
    """Lin 1989 with the correction of 2000; `shift_squared` is his u^2."""
    c, r, u2 = concordance, correlation, shift_squared
    if n < 3 or abs(r) < 1e-9:
        return None
    variance = (
        (1.0 - r**2) * c**2 * (1.0 - c**2) / r**2
        + 2.0 * c**3 * (1.0 - c) * u2 / r
        - c**4 * u2**2 / (2.0 * r**2)
    ) / (n - 2)
    return float(np.sqrt(max(variance, 0.0)))


def _with_interval(value: float, error: float | None) -> Estimate:
    if error is None or 1.0 - abs(value) < 1e-12:
        return (
            Estimate(value=value)
            if abs(value) < 1.0 - 1e-12
            else Estimate(value=value, lower=value, upper=value)
        )
    z, reach = float(np.arctanh(value)), normal_quantile(0.975) * error / (1.0 - value**2)
    return Estimate(value=value, lower=float(np.tanh(z - reach)), upper=float(np.tanh(z + reach)))
