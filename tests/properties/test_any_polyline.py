"""Whatever line somebody gives: `measure_canal` tells finite numbers that fit JSON, or says in a sentence what is wrong.

Warnings are errors here (pytest's setting), so no division by zero hides behind a number.
"""

from __future__ import annotations

import json

import numpy as np
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from curvometer import (
    Calibration,
    CurvometerError,
    calibrate_from_mm_per_pixel,
    centreline_from_points,
    measure_canal,
)
from curvometer.record.plain import measurement_to_plain

UNUSUAL = settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    derandomize=True,
    phases=(Phase.explicit, Phase.generate),
)
SCALES = st.sampled_from([None, 2e-3, 0.02, 0.5])
COORDINATE = st.floats(-1e4, 1e4, allow_nan=False)


def check(points_rc, mm_per_pixel, **options):
    """Measured with sound numbers, or refused with a sentence."""
    scale = Calibration() if mm_per_pixel is None else calibrate_from_mm_per_pixel(mm_per_pixel)
    try:
        found = measure_canal(centreline_from_points(points_rc, **options), scale)
    except CurvometerError as error:
        refusal = str(error)
    else:
        refusal = None
    if refusal is not None:
        assert len(refusal) > 20
        assert "\n" not in refusal
        return None
    json.dumps(measurement_to_plain(found), allow_nan=False)
    for name, quantity in found.quantities.items():
        if quantity is not None:
            assert quantity.lower <= quantity.value <= quantity.upper, name
    return found


@UNUSUAL
@given(st.lists(st.tuples(COORDINATE, COORDINATE), min_size=2, max_size=12), SCALES)
def test_any_points(points, scale):
    check(points, scale)


@UNUSUAL
@given(st.integers(0, 10**6), st.integers(3, 80), st.sampled_from([1e-2, 1.0, 30.0, 1e4]), SCALES)
def test_random_walks(seed, count, step_px, scale):
    walk = np.cumsum(np.random.default_rng(seed).normal(0.0, step_px, (count, 2)), axis=0)
    check(walk, scale)


@UNUSUAL
@given(st.floats(0.1, 7.0), st.floats(1.0, 2e3), st.integers(4, 120), st.floats(0.0, 3.0), SCALES)
def test_loops_and_spirals(turning, radius_px, count, growth, scale):
    angle = np.linspace(0.0, turning, count)
    away = radius_px * np.exp(growth * angle / 7.0)
    check(np.column_stack([away * np.cos(angle), away * np.sin(angle)]), scale)


@UNUSUAL
@given(st.floats(20.0, 900.0), st.floats(0.0, 40.0), st.integers(3, 60), SCALES)
def test_hairpins(length_px, gap_px, count, scale):
    there = np.column_stack([np.linspace(0.0, length_px, count), np.zeros(count)])
    back = there[::-1] + np.array([0.0, gap_px])
    check(np.vstack([there, back]), scale)


@UNUSUAL
@given(
    st.integers(0, 10**6), st.sampled_from([1e-3, 0.1, 1.0, 50.0]), st.sampled_from([0.0, 3.0, 1e3]), SCALES
)
def test_errors_of_any_size(seed, sd_px, click_px, scale):
    rng = np.random.default_rng(seed)
    rows = np.linspace(0.0, 500.0, 40)
    cols = 3e-4 * rows**2 * rng.uniform(-1.0, 1.0) + rng.normal(0.0, 2.0, 40)
    check(np.column_stack([rows, cols]), scale, position_sd_px=sd_px, click_sd_px=click_px)


@UNUSUAL
@given(
    turn=st.floats(-np.pi, np.pi),
    shift=st.tuples(COORDINATE, COORDINATE),
    mirrored=st.booleans(),
    bend_deg=st.floats(25.0, 80.0),
    radius_mm=st.floats(4.0, 12.0),
)
def test_where_and_how_a_canal_lies_changes_nothing(turn, shift, mirrored, bend_deg, radius_mm):
    """Turned, mirrored and moved: the same angle and radius, and they are the true ones."""
    t = np.radians(np.linspace(0.0, bend_deg, 150))[1:]
    bend = radius_mm * np.column_stack([np.sin(t), 1.0 - np.cos(t)]) + [8.0, 0.0]
    points = np.vstack([np.column_stack([np.linspace(0.0, 8.0, 150), np.zeros(150)]), bend]) / 0.02
    rotation = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    found = check(points * [1.0, -1.0 if mirrored else 1.0] @ rotation + shift, 0.02)
    assert found is not None
    assert abs(found.schneider_angle.value - 0.5 * bend_deg) < 0.05
    assert abs(found.pruett_radius.value - radius_mm) < 0.01
    assert found.bends[0].direction == ("right" if mirrored else "left")
