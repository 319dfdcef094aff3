"""Scale from a file of known length, from several, from a number (file statements: tests/published)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from curvometer.calibration import (
    Calibration,
    CalibrationError,
    CalibrationOrigin,
    calibrate_from_known_length,
    calibrate_from_mm_per_pixel,
    combine_calibrations,
)
from curvometer.calibration.file_length import measure_path
from curvometer.calibration.known_length import chi_square_tail

PITCH = 0.02  # mm per pixel in the scenes below


def bent_file(
    *, coronal: float, radius: float, angle_deg: float, apical: float, at: np.ndarray
) -> np.ndarray:
    """Points (row, col) in pixels at shares `at` of the length of straight + arc + straight."""
    angle = math.radians(angle_deg)
    s = np.asarray(at) * file_length(coronal=coronal, radius=radius, angle_deg=angle_deg, apical=apical)
    turned = np.clip((s - coronal) / radius, 0.0, angle)
    beyond = np.maximum(s - coronal - radius * angle, 0.0)
    down = np.minimum(s, coronal) + radius * np.sin(turned) + beyond * math.cos(angle)
    across = radius * (1.0 - np.cos(turned)) + beyond * math.sin(angle)
    return np.column_stack([100.0 + down / PITCH, 200.0 + across / PITCH])


def file_length(*, coronal: float, radius: float, angle_deg: float, apical: float) -> float:
    return coronal + radius * math.radians(angle_deg) + apical


ARC = {"coronal": 0.0, "radius": 8.0, "angle_deg": 45.0, "apical": 0.0}
FILE = {"coronal": 12.0, "radius": 8.0, "angle_deg": 45.0, "apical": 2.717}


@pytest.mark.parametrize(
    ("length_mm", "per_cent"), [(21.0, 1.375), (25.0, 1.155), (31.0, 0.931), (16.0, 1.804)]
)
def test_half_a_millimetre_of_a_straight_file(length_mm: float, per_cent: float) -> None:
    """Uniform +-0.5 mm has SD 0.5 / sqrt(3) = 0.28868 mm; over 21 mm that is 1.3747 %, and so on."""
    ends = [(0.0, 0.0), (length_mm / PITCH, 0.0)]
    calibration = calibrate_from_known_length(ends, length_mm=length_mm, click_sd_px=0.0)
    assert calibration.mm_per_pixel == pytest.approx(PITCH)
    assert 100 * calibration.relative_standard_uncertainty == pytest.approx(per_cent, abs=0.0006)
    assert calibration.standard_uncertainty == pytest.approx(PITCH * 0.5 / math.sqrt(3) / length_mm)


def test_clicks_of_one_pixel_on_a_straight_file() -> None:
    """Two end clicks of 1 px: sqrt(2) * 0.02 mm / 21 mm = 0.1347 %; clicks between add nothing."""
    for clicks in (2, 3, 7):
        path = np.column_stack([np.linspace(0, 21 / PITCH, clicks), np.zeros(clicks)])
        calibration = calibrate_from_known_length(path, length_mm=21.0, length_tolerance_mm=0.0)
        assert 100 * calibration.relative_standard_uncertainty == pytest.approx(0.1347, abs=0.0002)
    both = calibrate_from_known_length(path, length_mm=21.0)
    assert 100 * both.relative_standard_uncertainty == pytest.approx(math.hypot(1.3747, 0.1347), abs=0.0005)


def test_end_to_end_would_be_short() -> None:
    """Chord 2 R sin(22.5 deg) = 6.1229 mm against the arc R pi / 4 = 6.2832 mm: 2.55 % short."""
    path = bent_file(**ARC, at=np.linspace(0, 1, 5))
    chord = float(np.hypot(*(path[-1] - path[0]))) * PITCH
    arc = file_length(**ARC)
    assert 100 * (1 - chord / arc) == pytest.approx(2.55, abs=0.005)
    ends = calibrate_from_known_length(path[[0, -1]], length_mm=arc, click_sd_px=0.0)
    assert "two_clicks_only" in ends.flags
    along = calibrate_from_known_length(path, length_mm=arc, click_sd_px=0.0)
    assert along.mm_per_pixel == pytest.approx(PITCH, rel=1e-9)
    assert ends.mm_per_pixel is not None
    assert ends.mm_per_pixel / PITCH == pytest.approx(1.0262, abs=1e-4)


@pytest.mark.parametrize("clicks", [3, 4, 5, 8])
def test_circular_bend_is_exact(clicks: int) -> None:
    """Three clicks fix a circle, so any clicks on one arc give its length exactly, even or not."""
    at = np.linspace(0, 1, clicks) ** 1.3
    path = measure_path(bent_file(**ARC, at=at), click_sd_px=0.0, aspect_ratio=1.0)
    assert path.length * PITCH == pytest.approx(file_length(**ARC), rel=1e-9)
    assert path.shape_sd * PITCH == pytest.approx(0.0, abs=0.6 if clicks == 3 else 1e-9)


@pytest.mark.parametrize("clicks", [4, 5, 6, 8, 13])
def test_few_clicks_on_a_file_with_a_bend(clicks: int) -> None:
    """21 mm: straight 12 mm, 45 degrees at R 8 mm, straight again: within 0.3 % from four even clicks."""
    path = bent_file(**FILE, at=np.linspace(0, 1, clicks))
    calibration = calibrate_from_known_length(path, length_mm=file_length(**FILE), click_sd_px=0.0)
    assert calibration.mm_per_pixel == pytest.approx(PITCH, rel=0.003)
    assert ("few_clicks" in calibration.flags) == (clicks < 5)


@pytest.mark.parametrize(
    "bend", [(12, 8, 45, 2.7), (8, 8, 45, 6), (10, 12, 30, 3), (15, 15, 20, 3), (10, 4, 60, 3)]
)
@pytest.mark.parametrize("clicks", [5, 6, 8, 13])
def test_shape_uncertainty_covers_what_lies_between_the_clicks(
    bend: tuple[float, float, float, float], clicks: int
) -> None:
    """Clicks anywhere, without error: the length is off by at most twice its shape SD in 78 % or more."""
    names = ("coronal", "radius", "angle_deg", "apical")
    shape = dict(zip(names, bend, strict=True))
    rng = np.random.default_rng(clicks)
    covered = []
    for _ in range(100):
        inner = (np.arange(1, clicks - 1) + rng.uniform(-0.4, 0.4, clicks - 2)) / (clicks - 1)
        at = np.concatenate([[0.0], inner, [1.0]])
        path = measure_path(bent_file(**shape, at=at), click_sd_px=0.0, aspect_ratio=1.0)
        error = abs(path.length - file_length(**shape) / PITCH)
        covered.append(error <= 2.0 * path.shape_sd)
    assert np.mean(covered) >= 0.78


def test_noise_of_inner_clicks_neither_lengthens_nor_hides() -> None:
    """Monte Carlo over 13 clicks with 3 px error: mean within 4 standard errors of the truth, SD as stated.

    Uncorrected, the length would be 1.3 px too long: seven standard errors of this mean.
    """
    rng = np.random.default_rng(8)
    clean = bent_file(**FILE, at=np.linspace(0, 1, 13))
    truth = measure_path(clean, click_sd_px=0.0, aspect_ratio=1.0).length
    runs = [
        measure_path(clean + rng.normal(0, 3.0, clean.shape), click_sd_px=3.0, aspect_ratio=1.0)
        for _ in range(600)
    ]
    lengths = np.array([run.length for run in runs])
    stated = float(np.mean([run.click_sd for run in runs]))
    assert abs(lengths.mean() - truth) < 4 * stated / math.sqrt(len(runs))
    assert lengths.std() == pytest.approx(stated, rel=0.08)


def test_dense_tracing_is_thinned() -> None:
    """1000 points with 0.3 px of noise have a polygon 12 % too long; thinned, the length is within 0.3 %."""
    rng = np.random.default_rng(4)
    dense = bent_file(**FILE, at=np.linspace(0, 1, 1000))
    dense += rng.normal(0, 0.3, dense.shape)
    truth = file_length(**FILE) / PITCH
    assert np.hypot(*np.diff(dense, axis=0).T).sum() > 1.05 * truth
    path = measure_path(dense, click_sd_px=1.0, aspect_ratio=1.0)
    assert path.n_clicks <= 13
    assert path.length == pytest.approx(truth, rel=0.003)


def test_double_click_at_the_end_changes_nothing() -> None:
    path = bent_file(**FILE, at=np.linspace(0, 1, 6))
    once = measure_path(path, click_sd_px=1.0, aspect_ratio=1.0)
    twice = measure_path(np.vstack([path[:1], path, path[-1:]]), click_sd_px=1.0, aspect_ratio=1.0)
    assert twice == once


@given(
    angle=st.floats(0.0, 2 * math.pi),
    shift=st.tuples(st.floats(-500, 500), st.floats(-500, 500)),
    stretch=st.floats(0.3, 3.0),
)
def test_length_does_not_depend_on_place_direction_or_order(
    angle: float, shift: tuple[float, float], stretch: float
) -> None:
    path = bent_file(**FILE, at=np.linspace(0, 1, 7))
    rotation = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    plain = measure_path(path, click_sd_px=0.5, aspect_ratio=1.0)
    moved = measure_path(
        stretch * path[::-1] @ rotation + np.array(shift), click_sd_px=0.5 * stretch, aspect_ratio=1.0
    )
    assert moved.length == pytest.approx(stretch * plain.length, rel=1e-6)
    assert moved.click_sd == pytest.approx(stretch * plain.click_sd, rel=1e-5)


def test_pixels_that_are_not_square() -> None:
    """Rows twice as far apart as columns: the same file has half as many rows, and both spacings come out."""
    path = bent_file(**FILE, at=np.linspace(0, 1, 7)) * [0.5, 1.0]
    calibration = calibrate_from_known_length(path, length_mm=file_length(**FILE), aspect_ratio=2.0)
    square = calibrate_from_known_length(
        bent_file(**FILE, at=np.linspace(0, 1, 7)), length_mm=file_length(**FILE)
    )
    assert square.spacing_rc_mm is not None
    assert calibration.spacing_rc_mm is not None
    assert calibration.spacing_rc_mm[1] == pytest.approx(square.spacing_rc_mm[1], rel=1e-4)
    assert calibration.spacing_rc_mm[0] == pytest.approx(2 * calibration.spacing_rc_mm[1])
    assert calibration.aspect_ratio == 2.0
    # a click error of 1 px along the rows is twice as long there
    along_rows = calibrate_from_known_length(
        [(0, 0), (525, 0)], length_mm=21.0, aspect_ratio=2.0, length_tolerance_mm=0.0
    )
    assert 100 * along_rows.relative_standard_uncertainty == pytest.approx(2 * 0.1347, abs=0.0005)


STRAIGHT = [(0.0, 0.0), (500.0, 0.0), (1050.0, 0.0)]


@pytest.mark.parametrize(
    ("path", "options", "match"),
    [
        (STRAIGHT, {"length_mm": 0.0}, "known length is 0"),
        (STRAIGHT, {"length_mm": -21.0}, "known length is -21"),
        (STRAIGHT, {"length_mm": math.nan}, "known length is nan"),
        (STRAIGHT, {"length_mm": math.inf}, "known length is inf"),
        (STRAIGHT, {"length_mm": 210.0}, "at most 40"),
        (STRAIGHT, {"length_mm": "21"}, "known length"),
        (STRAIGHT, {"length_tolerance_mm": -0.5}, "tolerance is -0.5"),
        (STRAIGHT, {"length_tolerance_mm": math.nan}, "tolerance is nan"),
        (STRAIGHT, {"length_tolerance_mm": 21.0}, "must be smaller"),
        (STRAIGHT, {"click_sd_px": -1.0}, "click error is -1"),
        (STRAIGHT, {"aspect_ratio": 0.0}, "aspect ratio is 0"),
        ([], {}, "at least two clicks"),
        ([(3.0, 4.0)], {}, "at least two clicks"),
        ([(3.0, 4.0, 5.0), (1.0, 2.0, 3.0)], {}, "at least two clicks"),
        ("along the file", {}, "at least two clicks"),
        ([(3.0, 4.0), (3.0,)], {}, "at least two clicks"),
        ([(3.0, 4.0), (3.0, 4.0), (3.0, 4.0)], {}, "same place"),
        ([(3.0, 4.0), (math.nan, 4.0)], {}, "not a finite position"),
        ([(3.0, 4.0), (1e12, 4.0)], {}, "not a finite position"),
        ([(0.0, 0.0), (1000.0, 0.0), (500.0, 1.0)], {}, "goes back on itself"),
        ([(0.0, 0.0), (500.0, 0.0), (0.0, 0.0)], {}, "ends where it began|goes back"),
        ([(0.0, 0.0), (3.0, 0.0)], {}, "check the clicks and the length"),
        ([(0.0, 0.0), (90000.0, 0.0)], {}, "check the clicks and the length"),
    ],
)
def test_impossible_input_is_told_in_one_sentence(
    path: object, options: dict[str, object], match: str
) -> None:
    with pytest.raises(CalibrationError, match=match) as caught:
        calibrate_from_known_length(path, **{"length_mm": 21.0, **options})  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)
    assert ":" in str(caught.value)


def test_scale_as_a_number() -> None:
    calibration = calibrate_from_mm_per_pixel(0.02, relative_standard_uncertainty=0.01, aspect_ratio=4.0)
    assert calibration.spacing_rc_mm == pytest.approx((0.04, 0.01))
    assert calibration.mm_per_pixel == pytest.approx(0.02)
    assert calibration.standard_uncertainty == pytest.approx(0.0002)
    assert calibration.origin is CalibrationOrigin.STATED
    assert calibration.notes == ()
    assert "intervals leave it out" in calibrate_from_mm_per_pixel(0.02).notes[0]


@pytest.mark.parametrize(
    ("scale", "options", "match"),
    [
        (0.0, {}, "20 micrometres are 0.02"),
        (-0.02, {}, "0.002 to 1"),
        (20.0, {}, "20 micrometres are 0.02"),
        (math.nan, {}, "nan"),
        (True, {}, "True"),
        (0.02, {"relative_standard_uncertainty": -0.1}, "fraction"),
        (0.02, {"relative_standard_uncertainty": 5.0}, "0.01 for one per cent"),
        (0.02, {"aspect_ratio": math.nan}, "aspect ratio"),
    ],
)
def test_impossible_scale(scale: float, options: dict[str, float], match: str) -> None:
    with pytest.raises(CalibrationError, match=match):
        calibrate_from_mm_per_pixel(scale, **options)


def stated(scale: float, relative: float, **more: float) -> Calibration:
    return calibrate_from_mm_per_pixel(scale, relative_standard_uncertainty=relative, **more)


def test_objects_that_agree_are_combined_by_inverse_variance() -> None:
    """0.0200 with 1 %, 0.0202 with 2 %: weights 4 : 1, so 0.02 * 1.01^0.2; SD 1 / sqrt(1e4 + 2500)."""
    both = combine_calibrations([stated(0.0200, 0.01), stated(0.0202, 0.02)])
    assert both.mm_per_pixel == pytest.approx(0.0200 * 1.01**0.2)
    assert both.relative_standard_uncertainty == pytest.approx(1 / math.sqrt(12500))
    assert both.flags == ()
    assert "agree within 1.0 %" in both.notes[-1]


def test_objects_that_disagree_are_flagged_and_widened() -> None:
    """ln(0.022 / 0.020) = 0.09531; each 1 %: chi-square = 0.09531^2 / 2e-4 = 45.42, one degree of freedom.

    The Birge ratio is sqrt(45.42) = 6.739, so 0.7071 % becomes 4.766 %: half the difference of the two.
    """
    both = combine_calibrations([stated(0.020, 0.01), stated(0.022, 0.01)])
    assert both.flags == ("objects_disagree",)
    assert both.relative_standard_uncertainty == pytest.approx(0.09531 / 2, rel=1e-3)
    assert both.mm_per_pixel == pytest.approx(math.sqrt(0.020 * 0.022))
    assert "disagree by 10.0 %" in both.notes[-1]


def test_chance_decides_where_disagreement_begins() -> None:
    """Two objects of 1 %: chi-square 3.841 (one in twenty) is a log ratio of sqrt(2 * 3.841) %, 2.772 %."""
    below = combine_calibrations([stated(0.02, 0.01), stated(0.02 * math.exp(0.0276), 0.01)])
    above = combine_calibrations([stated(0.02, 0.01), stated(0.02 * math.exp(0.0278), 0.01)])
    assert below.flags == ()
    assert above.flags == ("objects_disagree",)


def test_false_alarms_are_one_in_twenty() -> None:
    """Three files, 21, 25 and 31 mm, true lengths anywhere within +-0.5 mm, and click errors of 1 px.

    The tolerance is uniform, so its tails are shorter than the test's normal ones: at most one in twenty.
    """
    rng = np.random.default_rng(6)
    alarms = []
    for _ in range(400):
        objects = []
        for nominal in (21.0, 25.0, 31.0):
            path = np.array([[0.0, 0.0], [(nominal + rng.uniform(-0.5, 0.5)) / PITCH, 0.0]])
            path += rng.normal(0, 1.0, path.shape)
            objects.append(calibrate_from_known_length(path, length_mm=nominal))
        alarms.append("objects_disagree" in combine_calibrations(objects).flags)
    assert 0.005 < np.mean(alarms) < 0.06


def test_combining_keeps_flags_notes_and_best_origin() -> None:
    file = calibrate_from_known_length([(0, 0), (1050, 0)], length_mm=21.0)
    both = combine_calibrations([stated(0.02, 0.02), file, file])
    assert both.origin is CalibrationOrigin.KNOWN_LENGTH
    assert both.flags == ("two_clicks_only",)
    assert len(both.notes) == len(set(both.notes))
    assert combine_calibrations([file]) is file


@pytest.mark.parametrize(
    ("calibrations", "match"),
    [
        ([], "no scale to combine"),
        ([stated(0.02, 0.01), Calibration()], "'none' cannot be combined"),
        ([stated(0.02, 0.01), stated(0.02, 0.0)], "uncertainty above 0"),
        ([stated(0.02, 0.01), stated(0.02, 0.01, aspect_ratio=1.2)], "aspect ratios"),
    ],
)
def test_what_cannot_be_combined(calibrations: list[Calibration], match: str) -> None:
    with pytest.raises(CalibrationError, match=match):
        combine_calibrations(calibrations)


@given(chi_square=st.floats(0.0, 60.0), freedom=st.integers(1, 12))
def test_chi_square_tail_equals_scipy(chi_square: float, freedom: int) -> None:
    assert chi_square_tail(chi_square, freedom) == pytest.approx(
        stats.chi2.sf(chi_square, freedom), rel=1e-9, abs=1e-15
    )
