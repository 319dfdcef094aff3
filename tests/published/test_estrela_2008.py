"""Estrela C, Bueno MR, Sousa-Neto MD, Pécora JD, Braz Dent J 2008;19:114-118.

How read: abstract (radius by the circumcentre of three points, in apical and coronal direction). The two
segments of 6 mm, the centre-to-midpoint reading and the limits 4 and 8 mm are from memory. Expected numbers
are derived: with the angle d between the segments r = 3 / sin(d / 2), h = 3 / tan(d / 2), h^2 = r^2 - 9.
"""

from __future__ import annotations

import numpy as np
import pytest

from curvometer.bibliography import ESTRELA_2008, HowRead
from curvometer.curvature import CanalTooShortError, estrela_class, three_point_landmarks, three_point_radius


def folded(angle_deg: float) -> np.ndarray:
    """Two straight pieces of 6 mm with the angle between them."""
    t = np.radians(angle_deg)
    return np.array([[0.0, 0.0], [6.0, 0.0], [6.0 + 6.0 * np.cos(t), 6.0 * np.sin(t)]])


def test_how_the_source_was_read():
    assert ESTRELA_2008.how_read is HowRead.ABSTRACT


def test_both_readings_on_canals_of_known_shape(arc_case):
    if arc_case.printed["estrela_r"] is None:
        with pytest.raises(CanalTooShortError, match="do not fit"):
            three_point_radius(arc_case.points())
        return
    for reading, name in (("circumradius", "estrela_r"), ("apothem", "estrela_h")):
        found = three_point_radius(arc_case.points(), reading=reading)
        assert found == pytest.approx(arc_case.printed[name], abs=1e-3)


def test_the_segments_are_six_millimetres_of_chord(arc_case):
    if arc_case.printed["estrela_r"] is not None:
        foramen, joint, end = three_point_landmarks(arc_case.points())
        assert foramen == pytest.approx(arc_case.foramen, abs=1e-9)
        assert np.hypot(*(foramen - joint)) == pytest.approx(6.0)
        assert np.hypot(*(joint - end)) == pytest.approx(6.0)


@pytest.mark.parametrize("angle", [5.0, 41.11, 44.05, 73.74, 97.18, 120.0])
def test_radius_from_the_angle_between_the_segments(angle):
    half = np.radians(angle) / 2.0
    assert three_point_radius(folded(angle)) == pytest.approx(3.0 / np.sin(half), rel=1e-9)
    assert three_point_radius(folded(angle), reading="apothem") == pytest.approx(3.0 / np.tan(half), rel=1e-9)


@pytest.mark.parametrize(
    ("reading", "moderate_from", "severe_from"), [("circumradius", 44.05, 97.18), ("apothem", 41.11, 73.74)]
)
def test_the_limits_as_angles_between_the_segments(reading, moderate_from, severe_from):
    """r = 8 and 4 mm in degrees: 2 asin(3 / r) for the circumradius, 2 atan(3 / r) for the apothem."""
    classes = [
        estrela_class(float(three_point_radius(folded(angle), reading=reading)))
        for angle in (moderate_from - 0.02, moderate_from + 0.02, severe_from - 0.02, severe_from + 0.02)
    ]
    assert classes == ["mild", "moderate", "moderate", "severe"]


def test_the_class_can_depend_on_the_reading():
    """h = 3.8 mm is severe; the same canal has r = sqrt(3.8^2 + 9) = 4.84 mm, moderate."""
    canal = folded(2.0 * np.degrees(np.arctan(3.0 / 3.8)))
    apothem, circumradius = (float(three_point_radius(canal, reading=r)) for r in ("apothem", "circumradius"))
    assert (apothem, circumradius) == pytest.approx((3.8, 4.8415), abs=1e-4)
    assert (estrela_class(apothem), estrela_class(circumradius)) == ("severe", "moderate")


@pytest.mark.parametrize(("radius", "name"), [(4.0, "severe"), (8.0, "moderate"), (8.001, "mild")])
def test_classes(radius, name):
    assert estrela_class(radius) == name
