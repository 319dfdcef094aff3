"""Lin LI. Biometrics 1989;45:255-268, corrected 2000;56:324-325.

How read: formula and correction from memory; data of Bland and Altman 1986, for which .943 is published (from memory);
long digits derived. Lin divides by n; by n - 1 the value differs by 1e-5 here.
"""

from __future__ import annotations

import pytest
from published.peak_flow import MINI_1, MINI_2, WRIGHT_1, WRIGHT_2

from curvometer.agreement import lin_concordance


def test_two_meters():
    found = lin_concordance(WRIGHT_1, MINI_1)
    assert found.concordance.value == pytest.approx(0.942742, abs=5e-7)
    assert round(found.concordance.value, 3) == 0.943
    assert found.correlation == pytest.approx(0.943279, abs=5e-7)
    assert found.accuracy == pytest.approx(0.999431, abs=5e-7)
    assert found.scale_shift == pytest.approx(1.028268, abs=5e-7)
    assert found.location_shift == pytest.approx(-0.019030, abs=5e-7)
    assert found.standard_error == pytest.approx(0.0286, abs=5e-5)
    assert (found.concordance.lower, found.concordance.upper) == pytest.approx((0.8505, 0.9787), abs=5e-5)


def test_the_other_divisor():
    assert lin_concordance(WRIGHT_1, MINI_1, unbiased=True).concordance.value == pytest.approx(
        0.942752, abs=5e-7
    )


def test_each_meter_with_itself():
    assert lin_concordance(WRIGHT_1, WRIGHT_2).concordance.value == pytest.approx(0.982131, abs=5e-7)
    assert lin_concordance(MINI_1, MINI_2).concordance.value == pytest.approx(0.966566, abs=5e-7)


def test_concordance_is_correlation_times_accuracy():
    found = lin_concordance(WRIGHT_2, MINI_2)
    assert found.concordance.value == pytest.approx(found.correlation * found.accuracy, rel=1e-12)
