"""Simulated radiographs: determinism, grey values, and the truth that comes with them."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from curvometer.centreline import Structure
from curvometer.phantom import (
    NOISE_LEVELS,
    Calcification,
    CanalShape,
    PhantomOptions,
    random_case,
    simulate_radiograph,
)
from curvometer.radiograph import CurvometerError

SHAPE = CanalShape.straight_arc(straight_mm=5.0, radius_mm=8.0, angle_deg=35.0)
SMALL = PhantomOptions(field_mm=(16.0, 9.0), centre_on_canal=True, mm_per_pixel=0.04, neighbours=False)


def profiles(image, centreline_rc, half_px, step_px=0.25):
    """Grey values (n, m) across a line, and the distances (m,) in pixels."""
    tangent = np.gradient(centreline_rc, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    across = np.arange(-half_px, half_px + step_px / 2, step_px)
    at = centreline_rc[:, None, :] + across[None, :, None] * normal[:, None, :]
    maps = at.astype(np.float32)
    return cv2.remap(image.astype(np.float32), maps[..., 1], maps[..., 0], cv2.INTER_CUBIC), across


def test_same_seed_same_pixels_other_seed_other_pixels():
    first, again = simulate_radiograph(SHAPE, SMALL), simulate_radiograph(SHAPE, SMALL)
    other = simulate_radiograph(SHAPE, replace(SMALL, seed=1))
    assert (first.radiograph.pixels == again.radiograph.pixels).all()
    assert first.radiograph.sha256 == again.radiograph.sha256
    assert (first.radiograph.pixels != other.radiograph.pixels).mean() > 0.5


@pytest.mark.parametrize(("bits", "dtype"), [(8, np.uint8), (10, np.uint16), (16, np.uint16)])
def test_bits(bits, dtype):
    radiograph = simulate_radiograph(SHAPE, replace(SMALL, bits=bits)).radiograph
    assert radiograph.pixels.dtype == dtype
    assert radiograph.bits_stored == bits
    assert radiograph.shape == (400, 225)
    assert 2 ** (bits - 1) < int(radiograph.pixels.max()) <= 2**bits - 1


def test_photometric_interpretation_does_not_change_the_picture_in_memory():
    one = simulate_radiograph(SHAPE, replace(SMALL, photometric="MONOCHROME1"))
    two = simulate_radiograph(SHAPE, SMALL)
    assert (one.radiograph.pixels == two.radiograph.pixels).all()


@pytest.mark.parametrize("mm_per_pixel", [0.02, 0.035, 0.06])
@pytest.mark.parametrize("upper_mirrored_tilt", [(False, False, 0.0), (True, True, 9.0)])
def test_truth_lies_in_the_middle_of_the_dark_line(mm_per_pixel, upper_mirrored_tilt):
    """Without noise, the line of symmetry of the canal's shadow is the exact centreline, to 0.1 px on
    average.

    The shadow is the picture with the canal minus the picture without it, so that the slope of the root's own
    thickness does not shift it; its middle across the line is its centroid.
    """
    upper, mirrored, tilt = upper_mirrored_tilt
    options = replace(
        SMALL,
        mm_per_pixel=mm_per_pixel,
        noise_free=True,
        second_canal=False,
        canal_width_mm=(0.4, 0.3),
        upper=upper,
        mirrored=mirrored,
        tilt_deg=tilt,
        bits=16,
    )
    phantom = simulate_radiograph(SHAPE, options)
    solid = simulate_radiograph(SHAPE, replace(options, draw_canal=False))
    shadow = solid.radiograph.pixels.astype(float) - phantom.radiograph.pixels.astype(float)
    truth = phantom.truth
    inner = (truth.s_mm > 1.0) & (truth.s_mm < truth.s_mm[-1] - 0.5)
    line = truth.centreline_rc[inner][::10]
    across, distance = profiles(shadow, line, half_px=0.45 / mm_per_pixel)
    across = np.maximum(across, 0.0)
    centroid = (across * distance).sum(axis=1) / across.sum(axis=1)
    assert np.abs(centroid).mean() < 0.1
    assert abs(centroid.mean()) < 0.05


def test_the_canal_is_a_dark_line_in_the_picture_itself():
    """In the noise-free picture the darkest place lies on the truth, to a third of the width."""
    options = replace(SMALL, noise_free=True, second_canal=False, canal_width_mm=(0.5, 0.35), off_centre=0.0)
    phantom = simulate_radiograph(SHAPE, options)
    truth = phantom.truth
    inner = (truth.s_mm > 1.0) & (truth.s_mm < truth.s_mm[-1] - 1.0)
    grey, distance = profiles(phantom.radiograph.pixels, truth.centreline_rc[inner][::10], half_px=0.4 / 0.04)
    darkest = distance[grey.argmin(axis=1)] * 0.04
    assert np.median(np.abs(darkest)) < 0.15


def test_a_file_is_a_bright_line_on_the_truth():
    options = replace(SMALL, noise_free=True, structure=Structure.INSTRUMENT, file_size=15)
    phantom = simulate_radiograph(SHAPE, options)
    truth = phantom.truth
    inner = (truth.s_mm > 0.5) & (truth.s_mm < truth.s_mm[-1] - 0.3)
    grey, distance = profiles(phantom.radiograph.pixels, truth.centreline_rc[inner][::10], half_px=10.0)
    weight = np.maximum(grey - np.median(grey, axis=1, keepdims=True), 0.0) ** 2
    centroid = (weight * distance).sum(axis=1) / weight.sum(axis=1)
    assert np.abs(centroid).mean() < 0.25


@pytest.mark.parametrize("object_", ["wire", "ball"])
def test_known_lengths_measure_their_length_in_the_picture(object_):
    options = PhantomOptions(
        mm_per_pixel=0.05,
        structure=Structure.INSTRUMENT,
        calibration_object=object_,
        neighbours=False,
        file_short_mm=0.5,
    )
    truth = simulate_radiograph(SHAPE, options).truth
    assert [known.name for known in truth.known_lengths] == ["file", object_]
    for known in truth.known_lengths:
        steps = np.linalg.norm(np.diff(known.path_rc, axis=0), axis=1)
        assert steps.sum() * truth.mm_per_pixel == pytest.approx(known.length_mm, rel=1e-4)
    to_foramen = np.linalg.norm(np.subtract(truth.file_tip_rc, truth.foramen_rc)) * 0.05
    assert to_foramen == pytest.approx(0.5, abs=0.002)  # a chord of an arc of 8 mm radius


def test_ends_and_length_of_the_truth():
    truth = simulate_radiograph(SHAPE, SMALL).truth
    steps = np.linalg.norm(np.diff(truth.centreline_rc, axis=0), axis=1)
    assert steps.sum() * truth.mm_per_pixel == pytest.approx(SHAPE.length_mm, rel=1e-5)
    assert truth.orifice_rc == tuple(truth.centreline_rc[0])
    assert truth.foramen_rc == tuple(truth.centreline_rc[-1])
    assert truth.foramen_rc[0] > truth.orifice_rc[0]  # a lower tooth: roots down
    gap = np.linalg.norm(np.subtract(truth.apex_rc, truth.foramen_rc)) * truth.mm_per_pixel
    assert 0.6 <= gap < 0.8  # foramen 0.6 mm short of the apex and a little beside it
    assert truth.plane_parallel


def test_upper_teeth_have_their_roots_up():
    truth = simulate_radiograph(SHAPE, replace(SMALL, tooth="upper_molar")).truth
    assert truth.foramen_rc[0] < truth.orifice_rc[0]


def test_beam_angle_makes_the_canal_look_shorter():
    """The coronal axis leans by 10 degrees; foreshortened along the tooth by cos 25, the whole is shorter."""
    truth = simulate_radiograph(SHAPE, replace(SMALL, vertical_angle_deg=25.0)).truth
    rows = (truth.foramen_rc[0] - truth.orifice_rc[0]) * truth.mm_per_pixel
    flat = simulate_radiograph(SHAPE, SMALL).truth
    flat_rows = (flat.foramen_rc[0] - flat.orifice_rc[0]) * flat.mm_per_pixel
    assert rows / flat_rows == pytest.approx(math.cos(math.radians(25.0)), rel=1e-9)
    assert not truth.plane_parallel


def test_calcification_narrows_the_true_width():
    calcified = replace(SMALL, calcification=Calcification(start_mm=2.0, end_mm=5.0, width_left=0.3))
    truth = simulate_radiograph(SHAPE, calcified).truth
    open_width = simulate_radiograph(SHAPE, SMALL).truth.width_mm
    ratio = truth.width_mm / open_width
    assert ratio[np.argmin(abs(truth.s_mm - 3.5))] == pytest.approx(0.3, abs=0.01)
    assert ratio[np.argmin(abs(truth.s_mm - 7.0))] == pytest.approx(1.0)


def test_structures_have_the_greys_of_a_film():
    """Bright = dense: enamel over dentine over pulp, dentine over bone, bone over air."""
    options = PhantomOptions(mm_per_pixel=0.05, noise_free=True, neighbours=False)
    phantom = simulate_radiograph(SHAPE, options)
    pixels, truth = phantom.radiograph.pixels.astype(float), phantom.truth
    row, col = (round(v) for v in truth.orifice_rc)
    mm = round(1.0 / 0.05)
    side_of_root = pixels[row + 5 * mm, col - round(1.0 * mm) - mm // 2]
    chamber = pixels[row - round(0.8 * mm), col + round(2.4 * mm)]
    dentine_over_chamber = pixels[row - 5 * mm, col + round(2.4 * mm)]
    enamel = pixels[row - round(6.9 * mm), col + round(2.4 * mm)]
    air = pixels[5, 5]
    bone = pixels[row + 6 * mm, 10 : 3 * mm].mean()
    assert enamel > dentine_over_chamber > chamber > air
    assert side_of_root > bone > air


def test_random_cases_stay_within_what_anatomy_allows():
    rng = np.random.default_rng(11)
    seen = set()
    for _ in range(60):
        shape, options = random_case(rng)
        arcs = [(length, radius) for length, radius in shape.segments if math.isfinite(radius)]
        assert 9.0 <= shape.length_mm <= 22.0
        assert len(arcs) == 1
        assert 2.0 <= arcs[0][1] <= 20.0
        assert 5.0 <= math.degrees(arcs[0][0] / arcs[0][1]) <= 75.0
        assert 0.02 <= options.mm_per_pixel <= 0.06
        assert 0.2 <= sum(options.canal_width_mm) / 2 <= 0.6
        seen.add((options.tooth, options.structure))
    assert len(seen) > 8


@pytest.mark.parametrize("level", list(NOISE_LEVELS))
def test_a_random_case_keeps_what_is_given(level):
    shape, options = random_case(
        np.random.default_rng(4),
        angle_deg=40.0,
        radius_mm=6.0,
        mm_per_pixel=0.05,
        canal_width_mm=0.35,
        noise_level=level,
        structure="instrument",
    )
    assert any(radius == pytest.approx(6.0) for _, radius in shape.segments)
    assert shape.frames()[-1].heading == pytest.approx(math.radians(40.0))
    assert options.mm_per_pixel == 0.05
    assert sum(options.canal_width_mm) / 2 == pytest.approx(0.35)
    assert options.structure is Structure.INSTRUMENT
    assert options.quanta_per_mm2 == NOISE_LEVELS[level][0]


def test_a_random_case_shows_the_whole_canal():
    rng = np.random.default_rng(8)
    for _ in range(6):
        phantom = simulate_radiograph(*random_case(rng, mm_per_pixel=0.06))
        rows, cols = phantom.radiograph.shape
        line = phantom.truth.centreline_rc
        assert line.min() > 5.0
        assert (line < np.array([rows, cols]) - 5.0).all()


def test_more_dose_less_noise():
    """Ten times the quanta: the noise falls by the root of ten, the read-out noise being off."""
    quiet = replace(SMALL, electronic_noise=0.0, bits=16)
    base = simulate_radiograph(SHAPE, replace(quiet, noise_free=True)).radiograph.pixels.astype(float)
    noise = []
    for quanta in (1e7, 1e6):
        pixels = simulate_radiograph(SHAPE, replace(quiet, quanta_per_mm2=quanta)).radiograph.pixels.astype(
            float
        )
        noise.append((pixels - base)[200:350, 60:160].std())
    assert noise[1] / noise[0] == pytest.approx(math.sqrt(10.0), rel=0.1)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"mm_per_pixel": 0.0}, "mm_per_pixel"),
        ({"mm_per_pixel": math.nan}, "mm_per_pixel"),
        ({"bits": 7}, "bits"),
        ({"tooth": "tusk"}, "tooth"),
        ({"photometric": "RGB"}, "photometric"),
        ({"calibration_object": "coin"}, "calibration_object"),
        ({"canal_width_mm": (0.0, 0.2)}, "canal_width_mm"),
        ({"file_size": 5}, "file_size"),
    ],
)
def test_impossible_options_are_refused_in_a_sentence(change, word):
    with pytest.raises(CurvometerError, match=word):
        PhantomOptions(**change)


def test_impossible_random_cases_are_refused_in_a_sentence():
    with pytest.raises(CurvometerError, match="over 19 mm"):
        random_case(np.random.default_rng(0), angle_deg=75.0, radius_mm=20.0)
    with pytest.raises(CurvometerError, match="noise_level"):
        random_case(np.random.default_rng(0), noise_level="awful")
