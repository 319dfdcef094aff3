"""Pruett JP, Clement DJ, Carnes DL, J Endod 1997;23:77-85.

How read: abstract (angle and abruptness together; six guide tubes of 30, 45 and 60 degrees with radii of 2
and 5 mm). The circle's construction is from memory. Arc, chord, tangent length and sagitta of the tubes are
derived: R theta, 2 R sin(theta / 2), R tan(theta / 2), R (1 - cos(theta / 2)).
"""

from __future__ import annotations

import numpy as np
import pytest

from curvometer.bibliography import PRUETT_1997, HowRead
from curvometer.curvature import (
    TANGENT_MISMATCH_LIMIT,
    maximum_curvature_height,
    pruett_angle,
    pruett_radius,
    pruett_radius_from_points,
    pruett_tangent_lengths,
    tangent_mismatch,
)

AXIS = np.array([1.0, 0.0])


def test_how_the_source_was_read():
    assert PRUETT_1997.how_read is HowRead.ABSTRACT


def test_the_six_tubes_are_in_the_table(tables):
    tubes = {(radius, angle) for radius, angle, *_ in tables.TUBES}
    assert {(r, a) for r in (2.0, 5.0) for a in (30.0, 45.0, 60.0)} <= tubes


def test_tubes(tables):
    for radius, angle, arc, chord, tangent, sagitta in tables.TUBES:
        t = np.radians(angle)
        points, joints = tables.lay([(7.0, 0.0), (radius * t, angle), (4.0, 0.0)], 1e-3)
        lines = (joints[1], AXIS, joints[2], tables.direction(angle))
        found_angle, found_radius = pruett_angle(lines[1], lines[3]), pruett_radius(*lines)
        assert found_angle == pytest.approx(angle, abs=1e-3)
        assert found_radius == pytest.approx(radius, abs=1e-3)
        assert np.radians(found_angle) * found_radius == pytest.approx(arc, abs=1e-3)
        assert np.hypot(*(joints[2] - joints[1])) == pytest.approx(chord, abs=1e-6)
        assert pruett_tangent_lengths(*lines) == pytest.approx((tangent, tangent), abs=1e-6)
        bend = points[(points[:, 0] >= 7.0) & (np.arange(len(points)) < len(points) - 4000)]
        assert maximum_curvature_height(bend) == pytest.approx(sagitta, abs=1e-3)
        assert pruett_radius_from_points(bend) == pytest.approx(radius, abs=1e-3)


def test_one_circle_touches_both_lines_only_when_the_tangents_agree(arc_case):
    lines = (arc_case.start, AXIS, arc_case.leaves_apical, arc_case.apical)
    first, second = pruett_tangent_lengths(*lines)
    assert tangent_mismatch(first, second) < 1e-9
    moved = (arc_case.start - 0.5 * first * AXIS, *lines[1:])
    longer, same = pruett_tangent_lengths(*moved)
    assert (longer, same) == pytest.approx((1.5 * first, second))
    assert tangent_mismatch(longer, same) == pytest.approx(0.4)
    assert tangent_mismatch(longer, same) > TANGENT_MISMATCH_LIMIT
    assert pruett_radius(*moved) == pytest.approx(1.25 * arc_case.R)


def test_a_small_angle_determines_the_radius_badly():
    """sigma_R / R holds sigma_theta / sin(theta): half a degree is 1 % at 60 degrees, 5 % at 10."""
    for angle, expected in ((60.0, 0.0101), (10.0, 0.0503)):
        t, wrong = np.radians(angle), np.radians(angle + 0.5)
        crossing = 5.0 * np.tan(t / 2.0) * AXIS
        second = [crossing + np.hypot(*crossing) * np.array([np.cos(a), np.sin(a)]) for a in (t, wrong)]
        radius = pruett_radius(np.zeros(2), AXIS, second[1], second[1] - crossing)
        assert 1.0 - radius / 5.0 == pytest.approx(expected, rel=0.06)
