"""One statistic with its interval, and what every function here asks of its numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curvometer.agreement.quantiles import chi2_quantile
from curvometer.radiograph import CurvometerError

FloatArray = NDArray[np.float64]
LEVEL = 0.95


class AgreementError(CurvometerError):
    """Ratings from which no agreement can be told."""


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """A statistic with its 95 % interval.

    Attributes
    ----------
    value
        The statistic.
    lower, upper
        Its interval; both None where there is none.
    """

    value: float
    lower: float | None = None
    upper: float | None = None

    def told(self, digits: int = 2, unit: str = "") -> str:
        """Value, unit and interval in words."""
        number = f"{self.value:.{digits}f}{unit and ' ' + unit}"
        if self.lower is None or self.upper is None:
            return number
        return f"{number} ({self.lower:.{digits}f} to {self.upper:.{digits}f})"


def as_table(values: ArrayLike) -> FloatArray:
    """Check a complete table of ratings, (subjects, raters).

    Raises
    ------
    AgreementError
        When it is no table, holds a number that is not finite, or has fewer than two subjects or raters.
    """
    table = np.asarray(values, dtype=np.float64)
    if table.ndim != 2:
        raise AgreementError(f"ratings have {table.ndim} axes; give a table of subjects by raters")
    if not np.isfinite(table).all():
        raise AgreementError("a rating is missing or not finite: leave out its subject, or rate it again")
    if table.shape[0] < 2:
        raise AgreementError(
            f"{table.shape[0]} subject(s) rated by all; agreement needs at least 2: rate more subjects"
        )
    if table.shape[1] < 2:
        raise AgreementError("one rater on one occasion: agreement needs two raters, or two occasions of one")
    return table


def as_pair(first: ArrayLike, second: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Check two raters' values of the same subjects, (n,) each; the errors are those of `as_table`."""
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.ndim != 1 or a.shape != b.shape:
        raise AgreementError(
            f"two raters' values have shapes {a.shape} and {b.shape}; give one value per subject from each"
        )
    table = as_table(np.column_stack([a, b]))
    return table[:, 0], table[:, 1]


def rounding_of(values: FloatArray) -> float:
    """How large a difference between these numbers may be by rounding alone."""
    return float(64.0 * np.finfo(np.float64).eps * np.abs(values).max())


def standard_deviation_estimate(variance: float, df: float) -> Estimate:
    """Give the root of a variance that has a chi-squared interval with `df` degrees of freedom."""
    value = float(np.sqrt(variance))
    if value == 0.0 or df <= 0.0:
        return Estimate(value=value)
    tail = (1.0 - LEVEL) / 2.0
    return Estimate(
        value=value,
        lower=value * float(np.sqrt(df / chi2_quantile(1.0 - tail, df))),
        upper=value * float(np.sqrt(df / chi2_quantile(tail, df))),
    )
