"""Quantiles of the normal, t, F and chi-squared distributions without a statistics library.

The core does not depend on scipy; intervals of some dozen numbers need four distributions. Probabilities come from
the incomplete beta and gamma functions, quantiles from them by bisection, which cannot miss.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from statistics import NormalDist

_TINY = 1e-300
_STEPS = 20_000
"""Far more terms than needed: they grow with the root of the degrees of freedom."""


def normal_quantile(p: float) -> float:
    """Give the value below which a standard normal lies with probability `p`."""
    return NormalDist().inv_cdf(p)


def t_probability(t: float, df: float) -> float:
    """Give the probability that Student's t is farther from 0 than `t`, to both sides."""
    if math.isinf(t):
        return 0.0
    return incomplete_beta(df / 2.0, 0.5, df / (df + t * t))


@lru_cache(maxsize=1024)  # every pair of raters asks for the same ones
def t_quantile(p: float, df: float) -> float:
    """Give the value below which Student's t with `df` degrees of freedom lies with probability `p`."""
    if p == 0.5:
        return 0.0
    tail = 2.0 * min(p, 1.0 - p)
    # t^2 is F with 1 and df degrees of freedom.
    return math.copysign(math.sqrt(f_quantile(1.0 - tail, 1.0, df)), p - 0.5)


def f_probability(f: float, df1: float, df2: float) -> float:
    """Give the probability that F with `df1` and `df2` degrees of freedom exceeds `f`."""
    if f <= 0.0:
        return 1.0
    if math.isinf(f):
        return 0.0
    return incomplete_beta(df2 / 2.0, df1 / 2.0, df2 / (df2 + df1 * f))


@lru_cache(maxsize=1024)
def f_quantile(p: float, df1: float, df2: float) -> float:
    """Give the value below which F with `df1` and `df2` degrees of freedom lies with probability `p`."""
    if p < 0.5:  # the small tail is the one that keeps its digits
        return 1.0 / f_quantile(1.0 - p, df2, df1)
    return _solve(lambda f: f_probability(f, df1, df2), 1.0 - p)


@lru_cache(maxsize=1024)
def chi2_quantile(p: float, df: float) -> float:
    """Give the value below which chi-squared with `df` degrees of freedom lies with probability `p`."""
    return _solve(lambda x: 1.0 - incomplete_gamma(df / 2.0, x / 2.0), 1.0 - p)


def incomplete_beta(a: float, b: float, x: float) -> float:
    """Give the regularised incomplete beta function I_x(a, b), by its continued fraction."""
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    if x > (a + 1.0) / (a + b + 2.0):  # the fraction converges fast on the other side
        return 1.0 - incomplete_beta(b, a, 1.0 - x)
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    return math.exp(log_front) / a * _beta_fraction(a, b, x)


def incomplete_gamma(a: float, x: float) -> float:
    """Give the regularised lower incomplete gamma function P(a, x)."""
    if x <= 0.0:
        return 0.0
    front = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1.0:
        return front * _gamma_series(a, x)
    return 1.0 - front * _gamma_fraction(a, x)


def _solve(above: Callable[[float], float], tail: float) -> float:
    """Find where a falling tail probability equals `tail`, between 0 and infinity, by bisection of the logarithm."""
    low, high = -100.0, 100.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if above(math.exp(middle)) > tail:
            low = middle
        else:
            high = middle
        if high - low < 1e-14:
            break
    return math.exp(0.5 * (low + high))


def _beta_fraction(a: float, b: float, x: float) -> float:
    """Lentz's way through the continued fraction of the incomplete beta function."""
    c, d = 1.0, 1.0 / _away_from_zero(1.0 - (a + b) * x / (a + 1.0))
    value = d
    for m in range(1, _STEPS):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        for term in (even, odd):
            d = 1.0 / _away_from_zero(1.0 + term * d)
            c = _away_from_zero(1.0 + term / c)
            value *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return value


def _gamma_series(a: float, x: float) -> float:
    term = total = 1.0 / a
    for n in range(1, _STEPS):
        term *= x / (a + n)
        total += term
        if term < total * 1e-16:
            break
    return total


def _gamma_fraction(a: float, x: float) -> float:
    b = x + 1.0 - a
    c, d = 1.0 / _TINY, 1.0 / _away_from_zero(b)
    value = d
    for n in range(1, _STEPS):
        term = -n * (n - a)
        b += 2.0
        d = 1.0 / _away_from_zero(term * d + b)
        c = _away_from_zero(b + term / c)
        value *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return value


def _away_from_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY
