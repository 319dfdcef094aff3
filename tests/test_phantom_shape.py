"""Shapes of simulated canals and their closed-form measures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from curvometer.phantom import CanalShape, true_measures
from curvometer.radiograph import CurvometerError

# Straight a, arc R and theta, tail b; then L, u_P, v_P, Schneider, access angle, x_B, y_A, chord radius.
# Derivation: P = (a + R sin t + b cos t, R (1 - cos t) + b sin t), L = a + R t + b, B = (a, 0),
# S = atan2(v_P, u_P - a), CAA = atan2(v_P, u_P), x = a sin CAA, y = a cos CAA, r = |BP| / (2 sin S); worked
# out with six decimals outside this package.
TABLE = [
    (10, 10, 30, 0, 15.235988, 15.000000, 1.339746, 15.000000, 5.103909, 0.889623, 9.960350, 10.000000),
    (8, 8, 45, 0, 14.283185, 13.656854, 2.343146, 22.500000, 9.735610, 1.352816, 7.884788, 8.000000),
    (11, 5, 60, 0, 16.235988, 15.330127, 2.500000, 30.000000, 9.262125, 1.770466, 10.856586, 5.000000),
    (10, 5, 60, 3, 18.235988, 15.830127, 5.098076, 41.167636, 17.851101, 3.065444, 9.518564, 5.882686),
    (9, 4, 90, 2, 17.283185, 13.000000, 6.000000, 56.309932, 24.775141, 3.771524, 8.171634, 4.333333),
    (0, 14, 60, 0, 14.660766, 12.124356, 7.000000, 30.000000, 30.000000, 0.000000, 0.000000, 14.000000),
]

# a, R1, theta1, m, R2, theta2, b; then L, u_P, v_P, Schneider over all, net turning, total turning, CAA.
S_TABLE = [
    (6, 5, 30, 0, 4.5, 20, 0, 10.188790, 9.968583, 1.204394, 16.882099, 10.0, 50.0, 6.889024),
    (6, 8, 30, 0, 8, 30, 0, 14.377580, 14.000000, 2.143594, 15.000000, 0.0, 60.0, 8.705169),
    (7, 6, 40, 2, 6, 25, 1, 16.806784, 15.658552, 4.147416, 25.594257, 15.0, 65.0, 14.835046),
    (8, 3, 20, 1.5, 3, 20, 2, 13.594395, 13.461660, 0.874874, 9.100597, 0.0, 40.0, 3.718429),
]


@pytest.mark.parametrize("row", TABLE)
def test_straight_and_arc_has_its_closed_form(row):
    a, r, theta, b, length, u, v, schneider, access, height, distance, chord_radius = row
    shape = CanalShape.straight_arc(straight_mm=a, radius_mm=r, angle_deg=theta, tail_mm=b)
    measures = true_measures(shape)
    assert shape.points_mm()[-1] == pytest.approx([u, v], abs=1e-6)
    assert measures["canal_length"] == pytest.approx(length, abs=1e-6)
    assert measures["schneider_angle"] == pytest.approx(schneider, abs=1e-6)
    assert measures["weine_angle"] == pytest.approx(theta, abs=1e-9)
    assert measures["pruett_radius"] == pytest.approx(r)
    assert measures["canal_access_angle"] == pytest.approx(access, abs=1e-6)
    assert measures["curvature_height"] == pytest.approx(height, abs=1e-6)
    assert measures["curvature_distance"] == pytest.approx(distance, abs=1e-6)
    assert measures["chord_radius"] == pytest.approx(chord_radius, abs=1e-6)
    assert measures["curve_start_from_foramen"] == pytest.approx(length - a, abs=1e-6)
    assert measures["curve_end_from_foramen"] == pytest.approx(b, abs=1e-6)
    assert measures["radius_quotient"] == pytest.approx(schneider / r, abs=1e-6)


@pytest.mark.parametrize("row", S_TABLE)
def test_s_canal_has_its_closed_form(row):
    a, r1, t1, m, r2, t2, b, length, u, v, schneider, net, total, access = row
    shape = CanalShape.s_curve(
        straight_mm=a, radius1_mm=r1, angle1_deg=t1, middle_mm=m, radius2_mm=r2, angle2_deg=t2, tail_mm=b
    )
    measures = true_measures(shape)
    assert shape.points_mm()[-1] == pytest.approx([u, v], abs=1e-6)
    assert measures["canal_length"] == pytest.approx(length, abs=1e-6)
    assert measures["schneider_angle"] == pytest.approx(schneider, abs=1e-6)
    assert measures["net_turning"] == pytest.approx(net, abs=1e-9)
    assert measures["total_turning"] == pytest.approx(total, abs=1e-9)
    assert measures["canal_access_angle"] == pytest.approx(access, abs=1e-6)
    assert measures["pruett_radius"] is None
    assert measures["canal_form"] == "S"
    assert [bend["direction"] for bend in measures["bends"]] == [1, -1]


@pytest.mark.parametrize(
    ("shape", "form"),
    [
        (CanalShape.straight(length_mm=14), "I"),
        (CanalShape.straight_arc(straight_mm=10, radius_mm=20, angle_deg=4), "I"),
        (CanalShape.straight_arc(straight_mm=8, radius_mm=8, angle_deg=30), "J"),
        (CanalShape.straight_arc(straight_mm=0, radius_mm=14, angle_deg=60), "C"),
    ],
)
def test_form_letters(shape, form):
    assert true_measures(shape)["canal_form"] == form


def test_a_straight_canal_has_no_radius():
    measures = true_measures(CanalShape.straight(length_mm=14))
    assert measures["schneider_angle"] == 0.0
    assert measures["minimum_radius"] is None
    assert measures["curve_start_from_foramen"] is None
    assert measures["bends"] == []


@given(
    a=st.floats(1, 10),
    r=st.floats(2, 20),
    theta=st.floats(5, 75),
    b=st.floats(0, 3),
    spacing=st.floats(0.02, 0.5),
)
def test_points_lie_evenly_and_their_length_is_the_arc_length(a, r, theta, b, spacing):
    shape = CanalShape.straight_arc(straight_mm=a, radius_mm=r, angle_deg=theta, tail_mm=b)
    steps = np.linalg.norm(np.diff(shape.points_mm(spacing_mm=spacing), axis=0), axis=1)
    assert steps.max() <= spacing + 1e-9
    # a chord is shorter than its arc by at most step^3 / (24 r^2)
    assert steps.sum() <= shape.length_mm + 1e-9
    assert steps.sum() >= shape.length_mm - len(steps) * spacing**3 / (24 * r * r) - 1e-9


def test_headings_go_on_straight_beyond_both_ends():
    shape = CanalShape.straight_arc(straight_mm=3, radius_mm=5, angle_deg=60)
    points, headings = shape.points_and_headings_at(np.array([-2.0, shape.length_mm + 1.0]))
    assert points[0] == pytest.approx([-2.0, 0.0])
    assert math.degrees(headings[1]) == pytest.approx(60.0)
    end = shape.points_at(np.array([shape.length_mm]))[0]
    assert points[1] - end == pytest.approx([0.5, math.sqrt(0.75)])


def test_coronal_extension_of_a_canal_that_starts_curved_is_straight():
    points, headings = CanalShape(((5.0, 8.0),)).points_and_headings_at(np.array([-3.0]))
    assert points[0] == pytest.approx([-3.0, 0.0])
    assert headings[0] == 0.0


@pytest.mark.parametrize(
    ("segments", "word"),
    [
        (((-1.0, math.inf),), "length"),
        (((math.nan, math.inf),), "length"),
        (((1.0, 0.0),), "radius"),
        (((1.0, math.nan),), "radius"),
        (((0.0, math.inf),), "longer than 0"),
        (((7.0, 2.0),), "degrees"),
    ],
)
def test_impossible_shapes_are_refused_in_a_sentence(segments, word):
    with pytest.raises(CurvometerError, match=word):
        CanalShape(segments)
