"""`canal_values` gives the numbers of `measure_canal`, which is the check: one fit, no intervals."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published.curvature_tables import lay

from curvometer import (
    Calibration,
    CalibrationOrigin,
    Centreline,
    CurvometerError,
    calibrate_from_mm_per_pixel,
    load_radiograph,
    measure_canal,
    trace_centreline,
)
from curvometer.measurement import canal_values

SCALE = calibrate_from_mm_per_pixel(0.02)
AT_DETECTOR = Calibration(spacing_rc_mm=(0.02, 0.02), origin=CalibrationOrigin.DETECTOR, at_tooth=False)
OBLONG = Calibration(spacing_rc_mm=(0.03, 0.02), aspect_ratio=1.5, at_tooth=True)
SAMPLES = Path(__file__).parents[1] / "sample_images"


def drawn(pieces, *, count=25, error_mm=0.05, seed=1):
    line_mm, _ = lay(pieces, 1e-2)
    at = np.linspace(0, len(line_mm) - 1, count).astype(int)
    points = line_mm[at] + np.random.default_rng(seed).normal(0.0, error_mm, (count, 2))
    return Centreline(points_rc=points[:, ::-1] / 0.02 + 300.0)


def same(centreline, calibration):
    try:
        measurement = measure_canal(centreline, calibration)
    except CurvometerError as refusal:
        with pytest.raises(CurvometerError, match=re.escape(str(refusal))):
            canal_values(centreline, calibration)
        return
    values = canal_values(centreline, calibration)
    told = {name: q.value for name, q in measurement.quantities.items() if q is not None}
    assert values.quantities == told
    assert values.shape == measurement.shape
    for name, place in vars(values.landmarks).items():
        np.testing.assert_array_equal(place, getattr(measurement.landmarks, name))


@settings(max_examples=25, deadline=None)
@given(
    a=st.floats(3.0, 10.0),
    radius=st.floats(2.0, 15.0),
    angle=st.floats(1.0, 80.0),
    tail=st.floats(0.0, 3.0),
    count=st.sampled_from([3, 6, 12, 40, 150]),
    seed=st.integers(0, 10**6),
)
def test_the_same_numbers_for_any_single_bend(a, radius, angle, tail, count, seed):
    pieces = [(a, 0.0), (radius * np.radians(angle), angle), (tail, 0.0)]
    same(drawn(pieces, count=count, seed=seed), SCALE)


@pytest.mark.parametrize("scale", [None, AT_DETECTOR, SCALE, OBLONG])
@pytest.mark.parametrize(
    "pieces",
    [
        [(12.0, 0.0)],
        [(6.0, 0.0), (4.0, 30.0), (4.0, -35.0)],
        [(5.0, 0.0), (3.0, 35.0), (2.0, 0.0), (3.0, -30.0), (1.0, 0.0)],
    ],
    ids=["straight", "two bends", "two bends and straight parts"],
)
def test_the_same_numbers_for_other_shapes_and_scales(pieces, scale):
    same(drawn(pieces), scale)


def test_the_same_numbers_for_a_trace_of_an_image():
    radiograph = load_radiograph(SAMPLES / "lower_molar.dcm")
    ends = [(618.3, 694.9), (1190.5, 685.7)]  # truth.json, as row, column
    same(trace_centreline(radiograph, ends, structure="canal"), SCALE)


def test_without_windows_the_rest_stays():
    line = drawn([(8.0, 0.0), (6.0, 40.0)])
    all_of_it = canal_values(line, SCALE).quantities
    less = canal_values(line, SCALE, windows=False).quantities
    assert set(all_of_it) - set(less) == {"long_axis_angle", "three_point_radius"}
    assert all(all_of_it[name] == value for name, value in less.items())


def test_a_shape_that_is_asked_for():
    """Asked for the likeliest shape the numbers are the same; a line that cannot be it is read as one with as many bends."""
    line = drawn([(6.0, 0.0), (6.0, 40.0)])
    likeliest = canal_values(line, SCALE)
    assert canal_values(line, SCALE, shape=likeliest.shape).quantities == pytest.approx(likeliest.quantities)
    other = canal_values(line, SCALE, shape="straight, arc, straight")
    assert other.shape in {"straight, arc, straight", "straight, arc", "arc", "arc, straight"}
    assert "pruett_radius" not in canal_values(line, SCALE, shape="straight").quantities
    with pytest.raises(CurvometerError, match="is unknown: give one like 'straight, arc'"):
        canal_values(line, SCALE, shape="round")


def test_the_same_refusal():
    line = Centreline(points_rc=np.array([[0.0, 0.0], [100.0, 0.0]]))
    with pytest.raises(CurvometerError) as ours:
        canal_values(line, SCALE)
    with pytest.raises(CurvometerError) as its:
        measure_canal(line, SCALE)
    assert str(ours.value) == str(its.value)
