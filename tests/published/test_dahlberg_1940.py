"""Dahlberg G. Statistical Methods for Medical and Biological Students. London: Allen and Unwin; 1940.

How read: the formula in Galvão MCS et al., Dental Press J Orthod 2012 (secondary). Data: Bland and Altman 1986.
"""

from __future__ import annotations

import pytest
from published.peak_flow import MINI_1, MINI_2, WRIGHT_1, WRIGHT_2

from curvometer.agreement import dahlberg_error, mean_squares


@pytest.mark.parametrize(
    ("first", "second", "squares", "expected", "free"),
    [(WRIGHT_1, WRIGHT_2, 7966, 15.306669, 15.361215), (MINI_1, MINI_2, 13479, 19.910831, 20.415806)],
)
def test_double_measurements(first, second, squares, expected, free):
    """sqrt(sum d^2 / 34); without the mean difference SD(d) / sqrt(2), which is the root of EMS."""
    assert sum((a - b) ** 2 for a, b in zip(first, second, strict=True)) == squares
    assert dahlberg_error(first, second).value == pytest.approx(expected, abs=1e-6)
    table = list(zip(first, second, strict=True))
    assert mean_squares(table).within ** 0.5 == pytest.approx(expected, abs=1e-6)
    assert mean_squares(table).error ** 0.5 == pytest.approx(free, abs=1e-6)


def test_the_interval_is_that_of_a_variance():
    chi2 = pytest.importorskip("scipy.stats").chi2
    found = dahlberg_error(WRIGHT_1, WRIGHT_2)
    assert found.lower == pytest.approx((7966 / 2 / chi2.ppf(0.975, 17)) ** 0.5, rel=1e-9)
    assert found.upper == pytest.approx((7966 / 2 / chi2.ppf(0.025, 17)) ** 0.5, rel=1e-9)
