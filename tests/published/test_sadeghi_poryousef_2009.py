"""Sadeghi S, Poryousef V, Iran Endod J 2009;4:131-134.

How read: abstract (135 mesial canals of mandibular molars: Schneider 19 +- 6.99, canal access angle 8.04 +-
3.46, correlation of the two 0.826). Its correlations with start distance and height contradict each other in
the abstract and are not used. Checked here: the means obey the triangle ABC, and canals drawn so that they
have these means show a correlation of the same order.
"""

from __future__ import annotations

import numpy as np
import pytest

from curvometer.bibliography import SADEGHI_PORYOUSEF_2009, HowRead
from curvometer.curvature import canal_access_angle, curvature_distance, schneider_angle

SCHNEIDER_MEAN, ACCESS_MEAN = 19.0, 8.04
ORIFICE, AXIS = np.zeros(2), np.array([1.0, 0.0])


def test_how_the_source_was_read():
    assert SADEGHI_PORYOUSEF_2009.how_read is HowRead.ABSTRACT


def test_the_means_tell_where_the_curve_starts():
    """Angle at C = S - CAA = 10.96; sine rule: AB / BC = sin 10.96 / sin 8.04 = 1.359343, 58 % of the way."""
    ratio = np.sin(np.radians(SCHNEIDER_MEAN - ACCESS_MEAN)) / np.sin(np.radians(ACCESS_MEAN))
    assert ratio == pytest.approx(1.359343, abs=1e-6)
    assert ratio / (1.0 + ratio) == pytest.approx(0.576, abs=1e-3)
    start = ratio * AXIS
    foramen = start + np.array([np.cos(np.radians(SCHNEIDER_MEAN)), np.sin(np.radians(SCHNEIDER_MEAN))])
    assert schneider_angle(AXIS, start, foramen) == pytest.approx(SCHNEIDER_MEAN)
    assert canal_access_angle(ORIFICE, start, foramen) == pytest.approx(ACCESS_MEAN, abs=1e-9)
    assert curvature_distance(ORIFICE, start, foramen) == pytest.approx(
        ratio * np.cos(np.radians(ACCESS_MEAN))
    )


def test_both_angles_rise_together_when_the_start_varies():
    """Schneider as published, start of the curve at 58 % +- 8 % (assumed): r is near the published 0.826."""
    rng = np.random.default_rng(2009)
    schneider = rng.normal(SCHNEIDER_MEAN, 6.99, 4000).clip(3.0)
    share = rng.normal(0.576, 0.08, 4000).clip(0.2, 0.9)[:, None]
    line = np.column_stack([np.cos(np.radians(schneider)), np.sin(np.radians(schneider))])
    foramen = share * AXIS + (1.0 - share) * line
    access = canal_access_angle(ORIFICE, share * AXIS, foramen)
    assert access.mean() == pytest.approx(ACCESS_MEAN, abs=0.3)
    assert access.std() == pytest.approx(3.46, abs=0.4)
    assert np.corrcoef(schneider_angle(AXIS, share * AXIS, foramen), access)[0, 1] == pytest.approx(
        0.826, abs=0.08
    )
