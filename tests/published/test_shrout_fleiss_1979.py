"""Shrout PE, Fleiss JL. Psychol Bull 1979;86:420-428, Table 2: six targets, four judges.

How read: the table in two public repositories that reproduce it (secondary); the printed results from memory; the long
digits are derived from the table with the formulas in docs/agreement.md.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from curvometer.agreement import intraclass_correlations, mean_squares
from curvometer.agreement.sources import SHROUT_FLEISS_1979
from curvometer.bibliography import HowRead

TABLE_2 = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
# form: (printed, long, lower, upper)
RESULTS = {
    "icc_1_1": (0.17, 0.165742, -0.132932, 0.722560),
    "icc_2_1": (0.29, 0.289764, 0.018787, 0.761084),
    "icc_3_1": (0.71, 0.714841, 0.342465, 0.945858),
    "icc_1_k": (0.44, 0.442797, -0.884442, 0.912415),
    "icc_2_k": (0.62, 0.620051, 0.071137, 0.927232),
    "icc_3_k": (0.91, 0.909316, 0.675675, 0.985892),
}


def test_how_the_source_was_read():
    assert SHROUT_FLEISS_1979.how_read is HowRead.SECONDARY


def test_mean_squares():
    found = mean_squares(TABLE_2)
    assert found.between == pytest.approx(11.241667, abs=5e-7)
    assert found.within == pytest.approx(6.263889, abs=5e-7)
    assert found.judges == pytest.approx(32.486111, abs=5e-7)
    assert found.error == pytest.approx(1.019444, abs=5e-7)


@pytest.mark.parametrize("form", RESULTS)
def test_all_six_forms_and_their_intervals(form):
    """The (1,k) interval is the (1,1) interval stepped up: 4 x / (1 + 3 x) of -0.132932 and 0.722560."""
    printed, value, lower, upper = RESULTS[form]
    found = getattr(intraclass_correlations(TABLE_2), form)
    assert round(found.value, 2) == printed
    assert (found.value, found.lower, found.upper) == pytest.approx((value, lower, upper), abs=1e-6)


def test_beside_an_independent_program():
    pandas, pingouin = pytest.importorskip("pandas"), pytest.importorskip("pingouin")
    rows = [(i, j, float(v)) for i, row in enumerate(TABLE_2) for j, v in enumerate(row)]
    frame = pandas.DataFrame(rows, columns=["target", "judge", "score"])
    with warnings.catch_warnings():  # their way with tables is about to change; their numbers are not
        warnings.simplefilter("ignore")
        theirs = pingouin.intraclass_corr(frame, targets="target", raters="judge", ratings="score")
    interval = next(name for name in theirs.columns if name.startswith("CI95"))
    ours = intraclass_correlations(TABLE_2)
    for form, (_, row) in zip(RESULTS, theirs.iterrows(), strict=True):
        found = getattr(ours, form)
        assert found.value == pytest.approx(row["ICC"], abs=1e-9)
        assert (found.lower, found.upper) == pytest.approx(tuple(np.asarray(row[interval])), abs=0.006)
