"""Schneider SW, Oral Surg Oral Med Oral Pathol 1971;32:271-275.

How read: first page of the source (29 single-rooted teeth, no numbers used here). Construction and classes:
read in papers and a textbook that restate them (secondary). Every expected number below is derived from the
construction.
"""

from __future__ import annotations

import numpy as np
import pytest

from curvometer.bibliography import SCHNEIDER_1971, HowRead
from curvometer.curvature import (
    SchneiderClass,
    coronal_axis,
    schneider_angle,
    schneider_angle_of_arc,
    schneider_class,
)

AXIS = np.array([1.0, 0.0])


def test_how_the_source_was_read():
    assert SCHNEIDER_1971.how_read is HowRead.SECONDARY


def test_the_construction_on_canals_of_known_shape(arc_case):
    """Line 1 along the coronal canal, line 2 from its departure B to the foramen C; derived in the table."""
    found = schneider_angle(AXIS, arc_case.start, arc_case.foramen)
    assert found == pytest.approx(arc_case.printed["S"], abs=1e-3)
    assert found == pytest.approx(arc_case.closed()["S"], abs=1e-9)


def test_the_closed_form_of_one_arc(arc_case):
    """The same numbers from angle, radius and start alone."""
    length = arc_case.R * np.radians(arc_case.theta) + arc_case.b
    found = schneider_angle_of_arc(
        central_angle_deg=arc_case.theta, radius_mm=arc_case.R, start_from_foramen_mm=length
    )
    assert found == pytest.approx(arc_case.printed["S"], abs=1e-6)


def test_an_arc_longer_than_its_place_ends_at_the_foramen():
    """4 mm of radius 5 turn by 0.8 rad, whatever angle was typed: half of it."""
    found = schneider_angle_of_arc(central_angle_deg=90.0, radius_mm=5.0, start_from_foramen_mm=4.0)
    assert found == pytest.approx(np.degrees(0.4))


def test_a_canal_that_ends_on_its_arc_has_half_of_the_arcs_angle(arc_case):
    """The angle between tangent and chord is half of the central angle."""
    if arc_case.b == 0.0:
        assert schneider_angle(AXIS, arc_case.start, arc_case.foramen) == pytest.approx(arc_case.theta / 2.0)


@pytest.mark.parametrize("slide_mm", [-0.5, 0.5])
def test_a_start_that_slides_along_the_canal(slide_mm):
    """Sensitivity 1 / (2 R): R = 8 gives 3.58 degrees per mm; line 1 stays, B moves on the circle."""
    radius, theta = 8.0, np.radians(45.0)
    foramen = radius * np.array([np.sin(theta), 1.0 - np.cos(theta)])
    along_arc = np.array([radius * np.sin(slide_mm / radius), radius * (1.0 - np.cos(slide_mm / radius))])
    change = schneider_angle(AXIS, along_arc, foramen) - schneider_angle(AXIS, np.zeros(2), foramen)
    assert change == pytest.approx(np.degrees(slide_mm / (2.0 * radius)), abs=1e-9)


@pytest.mark.parametrize(
    ("tolerance_mm", "on_axis", "on_canal"),
    [(0.02, 17.05, None), (0.05, 18.51, 17.87), (0.10, 20.47, 19.05), (0.20, 23.99, None)],
)
def test_why_a_distance_tolerance_may_not_find_the_start(tolerance_mm, on_axis, on_canal):
    """R = 10, theta = 30, true angle 15: the arc is e off the axis only at phi = acos(1 - e / R)."""
    radius, theta = 10.0, np.radians(30.0)
    foramen = radius * np.array([np.sin(theta), 1.0 - np.cos(theta)])
    phi = np.arccos(1.0 - tolerance_mm / radius)
    late = np.array([radius * np.sin(phi), tolerance_mm])
    assert schneider_angle(AXIS, late * [1.0, 0.0], foramen) == pytest.approx(on_axis, abs=0.005)
    assert schneider_angle(AXIS, late, foramen) == pytest.approx(np.degrees(theta + phi) / 2.0, abs=1e-9)
    if on_canal is not None:
        assert schneider_angle(AXIS, late, foramen) == pytest.approx(on_canal, abs=0.005)


def test_resin_blocks_of_28_and_35_degrees():
    """Common practice, no source: 8 mm straight, 5 mm curved; as Schneider angles R = 5.116, 4.093."""
    for angle, radius in ((28.0, 5.116), (35.0, 4.093)):
        theta = 2.0 * np.radians(angle)
        assert 5.0 / theta == pytest.approx(radius, abs=5e-4)
        foramen = np.array([8.0, 0.0]) + 5.0 / theta * np.array([np.sin(theta), 1.0 - np.cos(theta)])
        assert schneider_angle(AXIS, [8.0, 0.0], foramen) == pytest.approx(angle)


def test_the_axis_is_a_line_of_least_squares_through_the_coronal_canal(arc_case):
    if arc_case.a > 0.0:
        axis = coronal_axis(arc_case.points(0.02), arc_case.a)
        assert axis == pytest.approx(AXIS, abs=1e-9)


@pytest.mark.parametrize(
    ("low", "high", "name"), [(0, 5, "STRAIGHT"), (10, 20, "MODERATE"), (25, 70, "SEVERE")]
)
def test_the_three_classes_and_the_gaps_between_them(low, high, name):
    """Secondary source: straight up to 5, moderate 10 to 20, severe 25 to 70, nothing between."""
    assert schneider_class(low) is schneider_class(high) is SchneiderClass[name]
    assert schneider_class(high + 0.1) is not SchneiderClass[name]
    assert "gap" in schneider_class(7.0)
    assert "gap" in schneider_class(22.0)
