"""Backman CA, Oswald RJ, Pitts DL, J Endod 1992;18:19-24.

How read: from memory (quotient of angle and radius); which angle could not be settled. Expected numbers are
derived.
"""

from __future__ import annotations

import numpy as np
import pytest

from curvometer.bibliography import BACKMAN_1992, HowRead
from curvometer.curvature import radius_quotient, schneider_angle

AXIS = np.array([1.0, 0.0])


def test_how_the_source_was_read():
    assert BACKMAN_1992.how_read is HowRead.MEMORY


def test_the_quotient_on_canals_of_known_shape(arc_case):
    found = radius_quotient(schneider_angle(AXIS, arc_case.start, arc_case.foramen), arc_case.R)
    assert found == pytest.approx(arc_case.printed["RQ"], abs=1e-3)


def test_on_an_arc_it_is_the_length_over_the_square_of_the_radius(arc_case):
    """(180 / pi) l / (2 R^2) with the arc's length l; the central angle would double it."""
    if arc_case.b == 0.0:
        length = arc_case.R * np.radians(arc_case.theta)
        found = radius_quotient(schneider_angle(AXIS, arc_case.start, arc_case.foramen), arc_case.R)
        assert found == pytest.approx(np.degrees(length / (2.0 * arc_case.R**2)))
        assert radius_quotient(arc_case.theta, arc_case.R) == pytest.approx(2.0 * found)
