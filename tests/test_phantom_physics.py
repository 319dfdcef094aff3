"""Beam, geometry and sensor of the phantom against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curvometer.phantom import CanalShape, PhantomOptions
from curvometer.phantom.attenuation import MATERIALS, SPECTRUM_WEIGHTS, Material, transmission
from curvometer.phantom.detector import detect, to_grey
from curvometer.phantom.field import along_and_across
from curvometer.phantom.metal import EndodonticFile, ball_chord, wire_chord
from curvometer.phantom.projection import make_projection
from curvometer.phantom.root import make_canal_tube
from curvometer.phantom.tooth import union_path


def f32(values):
    return np.asarray(values, np.float32)


def test_slab_of_two_materials():
    """T = sum_e w_e exp(-(mu_dentine 6 mm + mu_soft 10 mm)), worked out bin by bin."""
    dentine, soft = MATERIALS[Material.DENTINE].per_mm, MATERIALS[Material.SOFT].per_mm
    expected = sum(
        w * math.exp(-6.0 * d - 10.0 * s) for w, d, s in zip(SPECTRUM_WEIGHTS, dentine, soft, strict=True)
    )
    got = transmission({Material.DENTINE: f32([[6.0]]), Material.SOFT: f32([[10.0]])})
    assert got[0, 0] == pytest.approx(expected, rel=1e-5)


def test_nothing_in_the_beam_weakens_nothing():
    assert transmission({Material.STEEL: f32(np.zeros((2, 2)))}) == pytest.approx(1.0)


def test_steel_cylinder():
    """A ray at distance d from the axis of a wire of radius r passes 2 sqrt(r^2 - d^2)."""
    d = np.linspace(-0.61, 0.6, 25)  # no ray along the edge itself
    chord = wire_chord(
        f32(np.zeros_like(d)), f32(d), np.array([-5.0, 0.0]), np.array([5.0, 0.0]), diameter_mm=0.9
    )
    expected = 2.0 * np.sqrt(np.maximum(0.45**2 - d**2, 0.0))
    assert chord == pytest.approx(expected, abs=1e-5)
    mu = MATERIALS[Material.STEEL].per_mm
    beam = sum(w * np.exp(-m * expected) for w, m in zip(SPECTRUM_WEIGHTS, mu, strict=True))
    assert transmission({Material.STEEL: chord}) == pytest.approx(beam, rel=1e-4)


def test_wire_ends_and_ball():
    ends = np.array([-5.0, 0.0]), np.array([5.0, 0.0])
    x = f32([-5.01, -4.99, 4.99, 5.01])
    chord = wire_chord(x, f32(np.zeros(4)), *ends, diameter_mm=0.9)
    assert (chord > 0).tolist() == [False, True, True, False]
    ball = ball_chord(f32([0.0, 1.2, 2.1]), f32([0.0, 1.6, 0.0]), np.zeros(2), diameter_mm=4.0)
    assert ball == pytest.approx([4.0, 0.0, 0.0], abs=2e-3)


def test_canal_tube_has_the_chord_of_an_ellipse():
    """Width 0.4 to 0.2 over 10 mm: at s = 5 the half-axes are 0.15 and 0.3.

    At d = 0.09 the chord is 2 x 0.3 x sqrt(1 - 0.6^2) = 0.48 mm.
    """
    tube = make_canal_tube(length_mm=10.0, width_mm=(0.4, 0.2), depth_ratio=2.0)
    chord = tube.chord(f32([5.0, 5.0, 5.0, 10.2]), f32([0.0, 0.09, 0.151, 0.0]))
    assert chord == pytest.approx([0.6, 0.48, 0.0, 0.0], abs=2e-3)


def test_file_follows_iso_3630_1():
    """Size 15, taper .02: 0.15 mm at D0, 0.15 + 16 x 0.02 = 0.47 mm from D16 on (ISO 3630-1, from memory)."""
    file = EndodonticFile(size=15, tip_s_mm=14.0, stop_s_mm=-7.0)
    assert file.stop_to_tip_mm == pytest.approx(21.0)
    assert file.diameter(f32([0.0, 3.0, 16.0, 20.0])) == pytest.approx([0.15, 0.21, 0.47, 0.47])
    assert file.steel(f32([14.01, -4.0]), f32([0.0, 0.0])) == pytest.approx([0.0, 0.47], abs=1e-4)


@settings(max_examples=40)
@given(
    a=st.floats(1, 8),
    r=st.floats(2, 20),
    theta=st.floats(5, 75),
    sign=st.sampled_from([-1.0, 1.0]),
    s=st.floats(-2, 20),
    d=st.floats(-1.5, 1.5),
)
def test_field_inverts_the_curve(a, r, theta, sign, s, d):
    """A point placed s along and d across the curve (|d| below the radius) is found again at (s, d)."""
    shape = CanalShape(((a, math.inf), (r * math.radians(theta), sign * r), (2.0, math.inf)))
    point, heading = shape.points_and_headings_at(np.array([s]))
    u = point[0, 0] - d * math.sin(heading[0])
    v = point[0, 1] + d * math.cos(heading[0])
    along, across = along_and_across(shape, f32([u]), f32([v]))
    assert along[0] == pytest.approx(s, abs=3e-3)
    assert across[0] == pytest.approx(d, abs=1e-3)


@given(data=st.lists(st.tuples(st.floats(-5, 5), st.floats(0, 4)), min_size=1, max_size=4))
def test_union_of_intervals(data):
    """Against a plain sweep over sorted intervals."""
    total, reached = 0.0, -math.inf
    for start, end in sorted((z - h, z + h) for z, h in data):
        total += max(0.0, end - max(start, reached))
        reached = max(reached, end)
    got = union_path([(z, f32([h])) for z, h in data])
    assert got[0] == pytest.approx(total, abs=1e-4)


@given(
    tilt=st.floats(-30, 30),
    vertical=st.floats(-30, 30),
    horizontal=st.floats(-30, 30),
    upper=st.booleans(),
    mirrored=st.booleans(),
    depth=st.floats(-3, 3),
)
def test_projection_goes_there_and_back(tilt, vertical, horizontal, upper, mirrored, depth):
    projection = make_projection(
        mm_per_pixel=0.02,
        origin_rc=(500.0, 400.0),
        upper=upper,
        mirrored=mirrored,
        tilt_deg=tilt,
        vertical_angle_deg=vertical,
        horizontal_angle_deg=horizontal,
    )
    rc = projection.to_image(np.array([[1.5, 7.0]]), depth_mm=depth)[0]
    x, t = projection.to_tooth(rc[:1], rc[1:], depth_mm=depth)
    assert (x[0, 0], t[0, 0]) == pytest.approx((1.5, 7.0), abs=1e-4)


def test_beam_angle_foreshortens_and_shifts_what_lies_deeper():
    """t' = t cos b + z sin b and x' = x cos w + z sin w with b = 20, w = 30 degrees, 0.1 mm per pixel."""
    projection = make_projection(
        mm_per_pixel=0.1,
        origin_rc=(0.0, 0.0),
        upper=False,
        mirrored=False,
        vertical_angle_deg=20.0,
        horizontal_angle_deg=30.0,
    )
    row, col = projection.to_image(np.array([[2.0, 10.0]]), depth_mm=3.0)[0]
    assert row == pytest.approx((10 * math.cos(math.radians(20)) + 3 * math.sin(math.radians(20))) / 0.1)
    assert col == pytest.approx((2 * math.cos(math.radians(30)) + 3 * math.sin(math.radians(30))) / 0.1)


def test_quantum_noise_follows_the_dose():
    """Without blur and read-out noise the variance of the signal is signal / quanta per pixel (Poisson)."""
    options = PhantomOptions(
        mm_per_pixel=0.02, magnification=1.0, quanta_per_mm2=1e6, blur_mm=0.0, electronic_noise=0.0
    )
    signal = detect(f32(np.full((300, 300), 0.2)), options, np.random.default_rng(3))
    per_pixel = 1e6 * 0.02**2
    assert signal.mean() == pytest.approx(0.2, rel=0.01)
    assert signal.var() == pytest.approx(0.2 / per_pixel, rel=0.03)


@pytest.mark.parametrize("transform", ["log", "linear"])
def test_grey_rises_with_density_and_fills_the_bits(transform):
    options = PhantomOptions(bits=10, transform=transform)
    arrived = f32(np.exp(-np.linspace(0, 3, 400)).reshape(20, 20))
    grey = to_grey(arrived, arrived, options).ravel().astype(int)
    assert (np.diff(grey) >= 0).all()
    assert grey.max() > 1000
    assert grey.max() <= 1023
