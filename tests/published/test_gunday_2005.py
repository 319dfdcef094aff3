"""Günday M, Sazak H, Garip Y, J Endod 2005;31:796-798.

How read: abstract and first page (Schneider, Weine and long-axis technique differ, n = 100; canal access
angle, curvature height x, curvature distance y are introduced). How x and y are drawn is from memory; the
name "curvature starting distance" in Sadeghi & Poryousef 2009 (abstract) fits y measured from the orifice.
The paper's means could not be read, so no measured number of it is checked: the expected values are derived
from the triangle ABC.
"""

from __future__ import annotations

import numpy as np
import pytest

from curvometer.bibliography import GUNDAY_2005, HowRead
from curvometer.curvature import (
    canal_access_angle,
    curvature_distance,
    curvature_height,
    long_axis_angle,
    maximum_curvature_height,
    schneider_angle,
    weine_angle,
)

AXIS, ORIFICE = np.array([1.0, 0.0]), np.zeros(2)


def test_how_the_source_was_read():
    assert GUNDAY_2005.how_read is HowRead.ABSTRACT


def test_canal_access_angle_height_and_distance(arc_case):
    marks = (ORIFICE, arc_case.start, arc_case.foramen)
    found = {
        "CAA": canal_access_angle(*marks, axis=AXIS),
        "x_B": curvature_height(*marks),
        "y_A": curvature_distance(*marks),
        "y_C": curvature_distance(*marks, measured_from="foramen"),
        "x_max": maximum_curvature_height(arc_case.points()),
    }
    for name, value in found.items():
        assert value == pytest.approx(arc_case.printed[name], abs=1e-3), name


def test_schneiders_angle_is_the_exterior_angle_of_the_triangle(arc_case):
    at_orifice = canal_access_angle(ORIFICE, arc_case.start, arc_case.foramen, axis=AXIS)
    at_foramen = canal_access_angle(arc_case.foramen, arc_case.start, ORIFICE)
    assert schneider_angle(AXIS, arc_case.start, arc_case.foramen) == pytest.approx(at_orifice + at_foramen)


def test_the_two_readings_of_the_height_differ_by_up_to_a_quarter(arc_case):
    """x to the start of the curve against the greatest distance of the canal: 0.5 to 23 % apart."""
    if arc_case.a > 0.0:
        to_start = curvature_height(ORIFICE, arc_case.start, arc_case.foramen)
        assert 1.005 < maximum_curvature_height(arc_case.points()) / to_start < 1.23


def test_the_three_techniques_differ_on_one_canal(arc_case):
    """Long axis lies between Schneider and Weine as long as its apical window is shorter than the arc."""
    arc_mm = arc_case.R * np.radians(arc_case.theta)
    long_axis = long_axis_angle(AXIS, arc_case.points(), apical_mm=arc_mm / 2.0 + arc_case.b)
    schneider = schneider_angle(AXIS, arc_case.start, arc_case.foramen)
    assert schneider < long_axis < weine_angle(AXIS, arc_case.apical)
    if arc_case.b == 0.0:
        assert long_axis == pytest.approx(0.75 * arc_case.theta, abs=1e-3)
        whole = long_axis_angle(AXIS, arc_case.points(), apical_mm=arc_mm)
        assert whole == pytest.approx(schneider, abs=1e-3)
