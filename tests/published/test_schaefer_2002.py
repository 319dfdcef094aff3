"""Schäfer E, Diez C, Hoppe W, Tepel J, J Endod 2002;28:211-216.

How read: abstract (1163 canals, 980 of them, 84 %, curved; greatest angle 75 degrees with a radius of 2 mm;
angle, radius and length belong together). The formula r = BC / (2 sin S) and the length 2 r S are from
memory; expected numbers are derived from them.
"""

from __future__ import annotations

import numpy as np
import pytest

from curvometer.bibliography import SCHAEFER_2002, HowRead
from curvometer.curvature import chord_curve_length, chord_radius

AXIS = np.array([1.0, 0.0])


def test_how_the_source_was_read():
    assert SCHAEFER_2002.how_read is HowRead.ABSTRACT


def test_the_share_of_curved_canals_in_the_abstract():
    assert round(100.0 * 980 / 1163) == 84


def test_radius_and_length_by_the_chord(arc_case):
    marks = (AXIS, arc_case.start, arc_case.foramen)
    assert chord_radius(*marks) == pytest.approx(arc_case.printed["r_tc"], abs=1e-3)
    assert chord_curve_length(*marks) == pytest.approx(arc_case.printed["len_tc"], abs=1e-3)


def test_it_is_the_bends_radius_only_when_the_canal_ends_on_it(arc_case):
    radius = chord_radius(AXIS, arc_case.start, arc_case.foramen)
    if arc_case.b == 0.0:
        assert radius == pytest.approx(arc_case.R, abs=1e-9)
    else:
        assert abs(radius - arc_case.R) > 0.1


def test_another_way_to_the_same_radius(arc_case):
    """BC^2 / (2 v_P): the height of C over the axis is BC sin S."""
    chord = arc_case.foramen - arc_case.start
    expected = chord @ chord / (2.0 * chord[1])
    assert chord_radius(AXIS, arc_case.start, arc_case.foramen) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("reading", "arc_mm", "chord_mm"), [("schneider", 5.236, 3.864), ("central", 2.618, 2.435)]
)
def test_the_greatest_curve_of_the_abstract_in_both_readings(reading, arc_mm, chord_mm):
    """75 degrees, R = 2: as Schneider's angle the arc turns by 150 degrees, as central angle by 75."""
    theta = np.radians(150.0 if reading == "schneider" else 75.0)
    foramen = 2.0 * np.array([np.sin(theta), 1.0 - np.cos(theta)])
    assert np.hypot(*foramen) == pytest.approx(chord_mm, abs=5e-4)
    assert chord_radius(AXIS, np.zeros(2), foramen) == pytest.approx(2.0)
    assert chord_curve_length(AXIS, np.zeros(2), foramen) == pytest.approx(arc_mm, abs=5e-4)
