"""Weine FS, Endodontic Therapy, 3rd edition, 1982.

How read: construction from memory. The remark that trouble is to be expected above 30 degrees is cited on
the first page of Günday 2005 (read). Every expected number is derived from the construction.
"""

from __future__ import annotations

import numpy as np
import pytest

from curvometer.bibliography import WEINE_1982, HowRead
from curvometer.curvature import schneider_angle, weine_angle, weine_angle_from_chords

AXIS = np.array([1.0, 0.0])


def test_how_the_source_was_read():
    assert WEINE_1982.how_read is HowRead.MEMORY


def test_tangents_give_the_whole_turning_of_one_bend(arc_case):
    assert weine_angle(AXIS, arc_case.apical) == pytest.approx(arc_case.printed["W"], abs=1e-3)
    assert weine_angle(AXIS, arc_case.apical) == pytest.approx(arc_case.theta, abs=1e-9)


def test_it_is_twice_schneiders_angle_on_an_arc_and_never_below_it(arc_case):
    weine = weine_angle(AXIS, arc_case.apical)
    schneider = schneider_angle(AXIS, arc_case.start, arc_case.foramen)
    assert weine > schneider
    if arc_case.b == 0.0:
        assert weine == pytest.approx(2.0 * schneider, abs=1e-9)


@pytest.mark.parametrize("window_mm", [0.5, 1.0, 2.0, 3.0])
def test_a_window_falls_short_of_the_tangent(window_mm):
    """Chord over the last w mm of an arc: theta - (180 / pi) w / (2 R). R = 10, theta = 30."""
    theta = np.radians(np.linspace(0.0, 30.0, 5001))
    bend = np.column_stack([10.0 + 10.0 * np.sin(theta), 10.0 * (1.0 - np.cos(theta))])
    points = np.concatenate([[[0.0, 0.0], [5.0, 0.0]], bend])
    found = weine_angle_from_chords(points, coronal_mm=5.0, apical_mm=window_mm)
    assert found == pytest.approx(30.0 - np.degrees(window_mm / 20.0), abs=1e-3)


def test_it_takes_opposite_bends_off_each_other(s_case):
    """An S turns by theta1 - theta2 in all: 0 for a symmetric one that turns by 60 degrees."""
    apical = s_case.points()[-1] - s_case.points()[-2]
    assert weine_angle(AXIS, apical) == pytest.approx(s_case.printed["net"], abs=0.05)
    assert s_case.printed["net"] == abs(s_case.theta1 - s_case.theta2)
