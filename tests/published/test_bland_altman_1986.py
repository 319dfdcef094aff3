"""Bland JM, Altman DG. Lancet 1986;1:307-310, Table 1: peak flow of 17 people, two meters, twice each.

How read: the table in two public repositories that reproduce it (secondary); printed limits from memory; the long digits are
derived, and mean, SD, limits and interval of the mean also stand in a public test suite.
"""

from __future__ import annotations

import pytest
from published.peak_flow import MINI_1, MINI_2, WRIGHT_1, WRIGHT_2

from curvometer.agreement import (
    LimitRule,
    dahlberg_error,
    limits_of_agreement,
    minimal_detectable_change,
)


def test_limits_at_1_96_standard_deviations():
    found = limits_of_agreement(WRIGHT_1, MINI_1)
    assert found.bias.value == pytest.approx(-2.117647, abs=5e-7)
    assert found.sd == pytest.approx(38.765130, abs=5e-7)
    assert (found.bias.lower, found.bias.upper) == pytest.approx((-22.0488, 17.8135), abs=5e-5)
    assert (found.lower.value, found.upper.value) == pytest.approx((-78.097302, 73.862007), abs=1e-6)


def test_limits_by_the_papers_own_rule():
    """2 SD; standard error of a limit sqrt(3 / n) s = 16.2846, t(16) = 2.1199; the paper rounds t and s."""
    found = limits_of_agreement(WRIGHT_1, MINI_1, rule=LimitRule.SD_2)
    assert (found.lower.value, found.upper.value) == pytest.approx((-79.647907, 75.412613), abs=1e-6)
    assert (round(found.lower.value, 1), round(found.upper.value, 1)) == (-79.6, 75.4)
    assert (found.lower.lower, found.lower.upper) == pytest.approx((-114.17, -45.13), abs=0.005)
    assert (found.lower.lower, found.lower.upper) == pytest.approx((-114.3, -45.1), abs=0.2)  # printed
    assert (found.lower.value, found.upper.value) == pytest.approx(
        (-79.7, 75.5), abs=0.1
    )  # printed, s = 38.8


def test_repeatability_of_each_meter():
    """Printed 43.2 and 56.4 = 2 sqrt(sum d^2 / n); 1.96 sqrt(2) D = 42.4279 and 55.1900."""
    for first, second, printed, long in (
        (WRIGHT_1, WRIGHT_2, 43.2, 42.4279),
        (MINI_1, MINI_2, 56.4, 55.1900),
    ):
        error = dahlberg_error(first, second)
        assert 2.0 * 2.0**0.5 * error.value == pytest.approx(printed, abs=0.1)
        assert minimal_detectable_change(error).value == pytest.approx(long, abs=5e-5)


def test_no_proportional_bias_here():
    """Slope of d on the mean held against an independent least-squares program."""
    stats = pytest.importorskip("scipy.stats")
    means = [(a + b) / 2 for a, b in zip(WRIGHT_1, MINI_1, strict=True)]
    differences = [a - b for a, b in zip(WRIGHT_1, MINI_1, strict=True)]
    theirs, ours = (
        stats.linregress(means, differences),
        limits_of_agreement(WRIGHT_1, MINI_1).proportional_bias,
    )
    assert (ours.slope.value, ours.p_value) == pytest.approx((theirs.slope, theirs.pvalue), abs=1e-10)
