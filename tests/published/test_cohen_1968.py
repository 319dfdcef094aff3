"""Weighted kappa: Cohen J. Psychol Bull 1968;70:213-220, Table 1; and the two readers of 85 mammograms.

How read: Cohen's categories, weights and N in a public vignette that reproduces the table (secondary), its proportions from
memory (they give the published kappas). Mammograms and their printed kappas: from memory; long digits derived.
"""

from __future__ import annotations

import numpy as np
import pytest

from curvometer.agreement import KappaWeights, cohen_kappa, disagreement_weights, weighted_kappa

DIAGNOSES = np.array([[88, 14, 18], [10, 40, 10], [2, 6, 12]])
WEIGHTS = [[0, 1, 3], [1, 0, 6], [3, 6, 0]]
MAMMOGRAMS = np.array([[21, 12, 0, 0], [4, 17, 1, 0], [3, 9, 15, 2], [0, 0, 0, 1]])


def test_cohens_table():
    """Weighted disagreement .90 observed, 1.38 expected: 1 - .90 / 1.38."""
    p = DIAGNOSES / 200
    assert (WEIGHTS * p).sum() == pytest.approx(0.90)
    assert (WEIGHTS * np.outer(p.sum(axis=1), p.sum(axis=0))).sum() == pytest.approx(1.38)
    assert cohen_kappa(DIAGNOSES).value == pytest.approx(0.491525, abs=5e-7)
    assert weighted_kappa(DIAGNOSES, weights=WEIGHTS).value == pytest.approx(0.347826, abs=5e-7)
    assert round(weighted_kappa(DIAGNOSES, weights=WEIGHTS).value, 3) == 0.348


@pytest.mark.parametrize(
    ("weights", "long", "printed"),
    [("none", 0.472789, 0.4728), ("linear", 0.568399, 0.5684), ("quadratic", 0.671371, 0.6714)],
)
def test_mammograms(weights, long, printed):
    found = weighted_kappa(MAMMOGRAMS, weights=KappaWeights(weights)).value
    assert found == pytest.approx(long, abs=5e-7)
    assert round(found, 4) == printed


@pytest.mark.parametrize("weights", list(KappaWeights))
def test_the_interval_against_a_numerical_derivation(weights):
    """Delta method with derivatives taken by small changes of the counts."""
    n = MAMMOGRAMS.sum()
    p = MAMMOGRAMS / n

    def kappa(shares):
        wrong = disagreement_weights(4, weights)
        rows, columns = shares.sum(axis=1), shares.sum(axis=0)
        return 1.0 - (wrong * shares).sum() * shares.sum() / (rows @ wrong @ columns)

    slope = np.zeros((4, 4))
    for cell in np.ndindex(4, 4):
        change = np.zeros((4, 4))
        change[cell] = 1e-6
        slope[cell] = (kappa(p + change) - kappa(p - change)) / 2e-6
    error = (((p * slope**2).sum() - (p * slope).sum() ** 2) / n) ** 0.5
    found = weighted_kappa(MAMMOGRAMS, weights=weights)
    assert found.upper - found.value == pytest.approx(1.959964 * error, rel=1e-5)
    assert found.value - found.lower == pytest.approx(1.959964 * error, rel=1e-5)
