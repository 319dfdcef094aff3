"""Legs drawn by hand: straight, told with a wide error, and no heavier in the fit than their clicks."""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.plain_pictures import PlainOptions, draw_plain_picture

from curvometer import (
    Radiograph,
    TraceFlag,
    TracingError,
    calibrate_from_mm_per_pixel,
    measure_canal,
    trace_centreline,
    trace_partly_by_hand,
)
from curvometer.centreline import TracedBy

SCALE = calibrate_from_mm_per_pixel(0.03)
OPTIONS = PlainOptions(
    mm_per_pixel=0.03, width_mm=(0.4, 0.25), fade=0.7, noise=0.1, texture=0.2, tilt_deg=-20.0
)
SEGMENTS = ((6.0, 0.0), (6.0, -1.0 / 6.0))
"""Straight 6 mm, then 6 mm of a circle of 6 mm: 57.3 degrees, of which Schneider's angle at the foramen is half."""
SCHNEIDER_DEG = 28.65


@pytest.fixture(scope="module")
def picture():
    return draw_plain_picture(np.random.default_rng(5), segments=SEGMENTS, options=OPTIONS)


@pytest.fixture(scope="module")
def anchors(picture):
    line = picture[1].centreline_rc
    return line[[0, len(line) // 4, len(line) // 2, -1]]


def test_without_a_leg_by_hand_it_is_the_plain_trace(picture, anchors):
    plain = trace_centreline(picture[0], anchors, calibration=SCALE)
    same = trace_partly_by_hand(picture[0], anchors, hand_legs=[], calibration=SCALE)
    assert np.array_equal(plain.points_rc, same.points_rc)
    assert TraceFlag.BY_HAND not in same.flags


@pytest.mark.parametrize("legs", [[0], [1], [2], [0, 1], [0, 2], [1, 2], [0, 1, 2]])
def test_a_leg_by_hand_is_straight_and_told(picture, anchors, legs):
    line = trace_partly_by_hand(picture[0], anchors, hand_legs=legs, calibration=SCALE)
    assert TraceFlag.BY_HAND in line.flags
    assert line.traced_by is (TracedBy.HAND if len(legs) == 3 else TracedBy.PATH)
    for leg in legs:
        start, end = anchors[leg], anchors[leg + 1]
        along = (line.points_rc - start) @ (end - start) / np.hypot(*(end - start)) ** 2
        beside = (line.points_rc - start) @ ((end - start)[::-1] * (1.0, -1.0)) / np.hypot(*(end - start))
        inside = (along > 0.15) & (along < 0.85) & (np.abs(beside) < 30.0)
        assert inside.sum() > 5
        assert np.abs(beside[inside]).max() < 1e-9
        assert line.position_sd_px[inside].min() > 3.0


def test_points_run_from_the_orifice_to_the_foramen_without_going_back(picture, anchors):
    line = trace_partly_by_hand(picture[0], anchors, hand_legs=[1], calibration=SCALE)
    steps = np.diff(line.points_rc, axis=0)
    assert np.hypot(*steps.T).max() < 12.0
    assert (np.einsum("ij,ij->i", steps[1:], steps[:-1]) > 0.0).all()


def test_a_straight_coronal_leg_by_hand_leaves_the_angle_within_its_interval(picture, anchors):
    seen = measure_canal(trace_centreline(picture[0], anchors, calibration=SCALE), SCALE).schneider_angle
    line = trace_partly_by_hand(picture[0], anchors, hand_legs=[0, 1], calibration=SCALE)
    angle = measure_canal(line, SCALE).schneider_angle
    assert angle.lower < SCHNEIDER_DEG < angle.upper
    assert angle.upper - angle.lower > seen.upper - seen.lower


def test_a_canal_all_by_hand_is_as_uncertain_as_its_clicks(picture, anchors):
    """Three straight legs over a bend of 57 degrees: the interval must not be that of 400 seen points."""
    line = trace_partly_by_hand(picture[0], anchors, hand_legs=[0, 1, 2], calibration=SCALE)
    angle = measure_canal(line, SCALE).schneider_angle
    assert angle.upper - angle.lower > 6.0
    assert angle.lower < SCHNEIDER_DEG < angle.upper


def test_an_end_that_is_not_the_canals_is_not_said_to_be_hidden(picture, anchors):
    """The seen leg runs into grey at its foramen side, which is a waypoint; the flags speak of the canal's own ends."""
    pixels = np.array(picture[0].pixels, dtype=float)
    middle = anchors[2].astype(int)
    pixels[middle[0] - 60 :, :] = pixels[middle[0] - 60 :, :].mean()
    pixels += np.random.default_rng(1).normal(0.0, 1e-3, pixels.shape)
    line = trace_partly_by_hand(Radiograph(pixels=pixels), anchors, hand_legs=[2], calibration=SCALE)
    assert TraceFlag.FORAMEN_NOT_VISIBLE not in line.flags


@pytest.mark.parametrize("legs", [[3], [-1], [0, 7]])
def test_a_leg_that_does_not_exist_is_refused(picture, anchors, legs):
    with pytest.raises(TracingError, match="legs 0 to 2"):
        trace_partly_by_hand(picture[0], anchors, hand_legs=legs, calibration=SCALE)
