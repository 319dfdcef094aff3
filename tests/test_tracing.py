"""Tracing on pictures whose canal is known: how near the line lies, what changes nothing, and what must be told.

Two renderers that share no code: the simulated radiographs of `curvometer.phantom`, and the plain pictures of
`benchmarks.plain_pictures`, drawn from distances. Pictures here are small and quiet; `./run bench` has the wide ones.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from benchmarks.plain_pictures import PlainOptions, draw_plain_picture, random_plain_case
from scipy.spatial import cKDTree

from curvometer import (
    Calibration,
    Centreline,
    PhantomOptions,
    Radiograph,
    Structure,
    TraceFlag,
    TracingError,
    calibrate_from_mm_per_pixel,
    centreline_from_points,
    load_radiograph,
    measure_canal,
    simulate_radiograph,
    trace_centreline,
)
from curvometer.centreline import TracedBy
from curvometer.phantom import random_case, write_phantom

MEAN_MM, WORST_MM = 0.03, 0.12
PIXEL_MM = 0.04
SCALE = calibrate_from_mm_per_pixel(PIXEL_MM)
BEND = ((7.0, 0.0), (6.0, 1.0 / 7.0))
"""Straight 7 mm, then an arc of radius 7 mm and 49 degrees."""
QUIET = PlainOptions(
    mm_per_pixel=PIXEL_MM, width_mm=(0.4, 0.25), fade=0.7, noise=0.1, texture=0.2, lamina=0.4, tilt_deg=12.0
)
NOT_SEEN = {TraceFlag.LEFT_RIDGE, TraceFlag.FADED}


def distances_mm(points_rc, truth_rc, mm_per_pixel, aspect=1.0):
    """Distances of points from the true line, which is continued straight past its ends, as the canal is in the picture."""
    to_mm = np.array([aspect, 1.0]) * mm_per_pixel
    line = truth_rc[np.concatenate([[True], np.hypot(*np.diff(truth_rc, axis=0).T) > 0.0])] * to_mm
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.arange(0.0, s[-1], 0.002)
    dense = np.column_stack([np.interp(at, s, line[:, k]) for k in (0, 1)])
    past = np.arange(0.002, 0.5, 0.002)[:, None]
    first, last = dense[0] - dense[20], dense[-1] - dense[-21]
    dense = np.vstack(
        [dense[0] + past * first / np.hypot(*first), dense, dense[-1] + past * last / np.hypot(*last)]
    )
    return cKDTree(dense).query(points_rc * to_mm)[0]


@cache
def picture(options=QUIET, segments=BEND, seed=0):
    """Radiograph and truth of a plain picture, drawn once."""
    return draw_plain_picture(np.random.default_rng(seed), segments=segments, options=options)


def traced(options=QUIET, segments=BEND, seed=0, calibration=SCALE, **more):
    radiograph, truth = picture(options, segments, seed)
    return trace_centreline(radiograph, [truth.orifice_rc, truth.foramen_rc], calibration=calibration, **more)


def along_mm(centreline):
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(centreline.points_rc, axis=0).T))]) * PIXEL_MM


@pytest.fixture(scope="module")
def usual():
    return traced()


class TestBeyondTheForamen:
    @pytest.mark.parametrize("structure", list(Structure))
    def test_what_lies_past_the_end_of_the_line_counts_for_little(self, structure):
        """The click is 0.4 mm too far. 1.8 times the error inside; 1.4 times while only the average depth told it."""
        radiograph, truth = picture(replace(QUIET, instrument=structure is Structure.INSTRUMENT))
        end, before = truth.centreline_rc[-1], truth.centreline_rc[-10]
        outward = (end - before) / np.hypot(*(end - before))
        click = end + outward * 0.4 / PIXEL_MM
        seen = trace_centreline(
            radiograph, [truth.orifice_rc, click], structure=structure, calibration=SCALE
        ).observations
        past_mm = (seen.points_rc - end) @ outward * PIXEL_MM
        inside = (past_mm > -1.2) & (past_mm < -0.4)
        assert (past_mm > 0.25).sum() >= 1
        assert seen.sd_px[past_mm > 0.25].min() > 1.6 * np.median(seen.sd_px[inside])


class TestNearness:
    @pytest.mark.parametrize("structure", list(Structure))
    @pytest.mark.parametrize("seed", range(4))
    def test_on_plain_pictures(self, seed, structure):
        rng = np.random.default_rng(100 + seed)
        segments, options = random_plain_case(
            rng, noise_level="low", structure=structure, mm_per_pixel=0.045, canal_width_mm=0.35
        )
        radiograph, truth = draw_plain_picture(
            rng, segments=segments, options=replace(options, second_mm=None)
        )
        clicks = [truth.orifice_rc + rng.normal(0.0, 1.0, 2), truth.foramen_rc + rng.normal(0.0, 1.0, 2)]
        line = trace_centreline(
            radiograph, clicks, structure=structure, calibration=calibrate_from_mm_per_pixel(0.045)
        )
        away = distances_mm(line.points_rc, truth.centreline_rc, 0.045)
        assert away.mean() <= MEAN_MM
        assert away.max() <= WORST_MM

    @pytest.mark.parametrize("structure", list(Structure))
    @pytest.mark.parametrize("seed", [0, 2, 3, 4])
    def test_on_simulated_radiographs(self, seed, structure):
        rng = np.random.default_rng(200 + seed)
        shape, options = random_case(
            rng, noise_level="low", structure=structure, mm_per_pixel=0.05, canal_width_mm=0.4
        )
        phantom = simulate_radiograph(shape, replace(options, second_canal=False, calcification=None))
        truth = phantom.truth
        clicks = np.array([truth.orifice_rc, truth.foramen_rc]) + rng.normal(0.0, 1.0, (2, 2))
        line = trace_centreline(
            phantom.radiograph, clicks, structure=structure, calibration=calibrate_from_mm_per_pixel(0.05)
        )
        away = distances_mm(line.points_rc, truth.centreline_rc, 0.05)
        assert away.mean() <= MEAN_MM
        assert away.max() <= WORST_MM

    @pytest.mark.parametrize(
        "segments",
        [((8.0, 0.0), (2.6, -0.5), (0.6, 0.0)), ((9.0, 0.0), (3.93, 1.0 / 3.0), (1.0, 0.0))],
        ids=["radius 2, to the right", "radius 3, to the left"],
    )
    def test_a_canal_that_hooks_75_degrees(self, segments):
        truth = picture(QUIET, segments)[1]
        assert truth.angle_deg == pytest.approx(75.0, abs=1.0)
        line = traced(QUIET, segments)
        away = distances_mm(line.points_rc, truth.centreline_rc, PIXEL_MM)
        assert away.mean() <= MEAN_MM
        assert away.max() <= WORST_MM
        measured = measure_canal(line, SCALE)
        assert measured.pruett_angle.lower < 75.0 < measured.pruett_angle.upper

    def test_an_s_is_not_cut_short(self):
        segments = ((4.0, 0.0), (3.5, 0.2), (1.0, 0.0), (3.5, -0.2))
        line = traced(QUIET, segments)
        away = distances_mm(line.points_rc, picture(QUIET, segments)[1].centreline_rc, PIXEL_MM)
        assert away.max() <= WORST_MM
        assert measure_canal(line, SCALE).canal_form == "S"

    def test_clicks_that_are_ten_pixels_off_when_told_so(self):
        radiograph, truth = picture()
        for seed in range(4):
            off = np.random.default_rng(seed).normal(0.0, 10.0, (2, 2))
            clicks = np.array([truth.orifice_rc, truth.foramen_rc]) + off
            line = trace_centreline(radiograph, clicks, calibration=SCALE, click_sd_px=10.0)
            assert distances_mm(line.points_rc, truth.centreline_rc, PIXEL_MM).max() <= WORST_MM

    def test_errors_are_of_the_size_that_is_told(self):
        """Root mean square of the distance over the told standard error, over seeds: 1 within a factor of two."""
        ratios = []
        for seed in range(6):
            line = traced(replace(QUIET, noise=0.3), seed=seed)
            truth = picture(replace(QUIET, noise=0.3), BEND, seed)[1]
            away = distances_mm(line.points_rc, truth.centreline_rc, PIXEL_MM)
            inner = slice(len(away) // 10, -len(away) // 10)
            ratios.append(np.mean((away[inner] / (line.position_sd_px[inner] * PIXEL_MM)) ** 2))
        assert 0.5 < np.sqrt(np.mean(ratios)) < 2.0

    def test_more_noise_is_told_as_more_error(self, usual):
        noisy = traced(replace(QUIET, noise=0.6))
        assert np.median(noisy.position_sd_px) > 1.5 * np.median(usual.position_sd_px)


class TestWhatChangesNothing:
    """Pictures turned, mirrored and stored otherwise give the same line."""

    HEIGHT, WIDTH = picture()[0].shape

    @pytest.mark.parametrize(
        ("turn", "place"),
        [
            (np.rot90, lambda rc, _, w: np.column_stack([w - 1 - rc[:, 1], rc[:, 0]])),
            (lambda p: np.rot90(p, 2), lambda rc, h, w: np.array([h - 1, w - 1]) - rc),
            (lambda p: np.rot90(p, 3), lambda rc, h, _: np.column_stack([rc[:, 1], h - 1 - rc[:, 0]])),
            (lambda p: p[:, ::-1], lambda rc, _, w: np.column_stack([rc[:, 0], w - 1 - rc[:, 1]])),
        ],
        ids=["90 degrees", "180 degrees", "270 degrees", "mirrored"],
    )
    def test_turned_and_mirrored(self, usual, turn, place):
        radiograph, truth = picture()
        clicks = place(np.array([truth.orifice_rc, truth.foramen_rc]), *radiograph.shape)
        other = trace_centreline(Radiograph(pixels=turn(radiograph.pixels).copy()), clicks, calibration=SCALE)
        assert other.points_rc == pytest.approx(place(usual.points_rc, *radiograph.shape), abs=0.02)
        assert other.position_sd_px == pytest.approx(usual.position_sd_px, rel=0.02)
        assert other.flags == usual.flags

    @pytest.mark.parametrize(
        ("store", "tolerance_px"),
        [
            (lambda p: (p >> 4).astype(np.uint8), 0.2),
            (lambda p: p.astype(np.uint16) * 16, 0.01),
            (lambda p: p.astype(np.int16) - 2000, 0.01),
            (lambda p: p.astype(">u2"), 0.01),
            (lambda p: p.astype(np.float32) / 4095.0, 0.01),
            (lambda p: p * 1e4 - 5e5, 0.01),
        ],
        ids=["8 bit", "16 bit", "signed", "big endian", "float32", "float64"],
    )
    def test_stored_otherwise(self, usual, store, tolerance_px):
        radiograph, truth = picture()
        other = Radiograph(pixels=store(radiograph.pixels))
        line = trace_centreline(other, [truth.orifice_rc, truth.foramen_rc], calibration=SCALE)
        assert distances_mm(line.points_rc, usual.points_rc, 1.0).max() < tolerance_px

    def test_a_negative_in_the_file(self, tmp_path):
        """MONOCHROME1 and MONOCHROME2 files of one simulated tooth."""
        lines = []
        for photometric in ("MONOCHROME1", "MONOCHROME2"):
            shape, options = random_case(
                np.random.default_rng(3),
                noise_level="low",
                structure="canal",
                mm_per_pixel=0.06,
                canal_width_mm=0.5,
            )
            phantom = simulate_radiograph(
                shape, replace(options, photometric=photometric, second_canal=False)
            )
            write_phantom(phantom, tmp_path, name=photometric)
            radiograph = load_radiograph(tmp_path / f"{photometric}.dcm")
            assert radiograph.inverted_on_load is (photometric == "MONOCHROME1")
            clicks = [phantom.truth.orifice_rc, phantom.truth.foramen_rc]
            lines.append(trace_centreline(radiograph, clicks, calibration=calibrate_from_mm_per_pixel(0.06)))
        assert lines[0].points_rc == pytest.approx(lines[1].points_rc, abs=0.02)

    @pytest.mark.parametrize("aspect", [0.5, 2.0])
    def test_pixels_that_are_not_square(self, aspect):
        options = replace(QUIET, aspect_ratio=aspect)
        scale = replace(SCALE, spacing_rc_mm=(PIXEL_MM * aspect, PIXEL_MM), aspect_ratio=aspect)
        for calibration in (scale, Calibration(aspect_ratio=aspect)):
            line = traced(options, calibration=calibration)
            away = distances_mm(line.points_rc, picture(options)[1].centreline_rc, PIXEL_MM, aspect)
            assert away.mean() <= MEAN_MM
            assert away.max() <= WORST_MM

    def test_without_a_scale_the_clicks_choose_the_filters(self, usual):
        line = traced(calibration=None)
        away = distances_mm(line.points_rc, picture()[1].centreline_rc, PIXEL_MM)
        assert away.mean() <= MEAN_MM
        assert away.max() <= WORST_MM
        assert np.median(line.width_px) == pytest.approx(np.median(usual.width_px), rel=0.25)

    def test_the_same_clicks_give_the_same_line(self, usual):
        again = traced()
        assert np.array_equal(again.points_rc, usual.points_rc)
        assert np.array_equal(again.position_sd_px, usual.position_sd_px)

    def test_the_picture_is_not_touched(self):
        radiograph, _ = picture()
        before = radiograph.pixels.copy()
        traced()
        assert np.array_equal(radiograph.pixels, before)


class TestTheLine:
    def test_runs_from_the_orifice_to_the_foramen(self, usual):
        _, truth = picture()
        assert np.hypot(*(usual.points_rc[0] - truth.orifice_rc)) < 1.5
        assert np.hypot(*(usual.points_rc[-1] - truth.foramen_rc)) < 1.5

    def test_says_who_traced_what_from_which_clicks(self, usual):
        assert usual.traced_by is TracedBy.PATH
        assert usual.structure is Structure.CANAL
        assert usual.click_sd_px == (3.0, 3.0)
        assert len(usual.anchors_rc) == 2
        assert usual.flags == ()

    def test_has_an_error_and_a_width_at_every_point(self, usual):
        assert (usual.position_sd_px > 0.0).all()
        assert usual.correlation_px > 0.0
        # 0.4 mm at the orifice, 0.25 mm at the foramen
        assert np.mean(usual.width_px) * PIXEL_MM == pytest.approx(0.325, abs=0.1)

    def test_wide_and_narrow_canals_are_told_apart(self):
        widths = [np.mean(traced(replace(QUIET, width_mm=(w, w))).width_px) * PIXEL_MM for w in (0.2, 0.6)]
        assert widths[1] > 1.8 * widths[0]

    def test_is_spaced_about_a_tenth_of_a_millimetre(self, usual):
        steps = np.diff(along_mm(usual))
        assert np.median(steps) == pytest.approx(0.1, rel=0.2)

    @pytest.mark.parametrize("seed", range(3))
    def test_never_leaves_the_image(self, seed):
        """Noise only, from corner to corner: whatever is followed, it is on the picture."""
        noise = np.random.default_rng(seed).integers(0, 4096, (120, 90)).astype(np.uint16)
        line = trace_centreline(Radiograph(pixels=noise), [(0.0, 0.0), (119.0, 89.0)], calibration=SCALE)
        assert line.points_rc.min() >= 0.0
        assert (line.points_rc <= [119.0, 89.0]).all()

    def test_of_an_instrument_is_bright(self):
        options = replace(QUIET, instrument=True)
        line = traced(options, structure="instrument")
        assert line.structure is Structure.INSTRUMENT
        assert distances_mm(line.points_rc, picture(options)[1].centreline_rc, PIXEL_MM).max() <= WORST_MM


class TestWaypoints:
    def test_a_waypoint_on_the_line_changes_little(self):
        radiograph, truth = picture()
        middle = truth.centreline_rc[len(truth.centreline_rc) // 2]
        line = trace_centreline(radiograph, [truth.orifice_rc, middle, truth.foramen_rc], calibration=SCALE)
        assert distances_mm(line.points_rc, truth.centreline_rc, PIXEL_MM).max() <= WORST_MM
        assert len(line.anchors_rc) == 3

    def test_a_waypoint_repairs_a_path_along_the_wrong_canal(self):
        """Clicks on the left canal's ends; waypoints on the right one: the line goes where the waypoints are."""
        options = replace(QUIET, second_mm=1.0, contrast=1.2)
        radiograph, truth = picture(options)
        tangent = np.gradient(truth.centreline_rc, axis=0)
        tangent /= np.hypot(*tangent.T)[:, None]
        across = np.column_stack([-tangent[:, 1], tangent[:, 0]])
        share = np.linspace(0.0, 1.0, len(across))
        second = truth.centreline_rc + (1.0 - 0.6 * share)[:, None] / PIXEL_MM * across
        count = len(across)
        stops = [second[int(count * q)] for q in (0.0, 0.3, 0.6, 0.97)]
        line = trace_centreline(radiograph, stops, calibration=SCALE)
        assert distances_mm(line.points_rc, second, PIXEL_MM).mean() <= MEAN_MM
        assert distances_mm(line.points_rc, truth.centreline_rc, PIXEL_MM).min() > 0.3


class TestWhatMustBeTold:
    def test_a_part_that_cannot_be_seen_has_larger_errors_and_is_flagged(self):
        """3 mm in the middle are not drawn."""
        line = traced(replace(QUIET, hidden_mm=(4.0, 7.0)))
        s = along_mm(line)
        hidden, seen = (s > 4.5) & (s < 6.5), ((s > 1.0) & (s < 3.0)) | ((s > 8.0) & (s < 11.0))
        assert np.mean(line.position_sd_px[hidden]) > 2.0 * np.mean(line.position_sd_px[seen])
        assert TraceFlag.FADED in line.flags
        away = distances_mm(
            line.points_rc, picture(replace(QUIET, hidden_mm=(4.0, 7.0)))[1].centreline_rc, PIXEL_MM
        )
        assert (away[hidden] < 4.0 * line.position_sd_px[hidden] * PIXEL_MM).all()

    def test_a_short_gap_has_larger_errors_but_is_no_doubt_about_the_whole(self):
        line = traced(replace(QUIET, hidden_mm=(5.0, 6.0)))
        s = along_mm(line)
        inside, outside = (s > 5.2) & (s < 5.8), (s > 1.0) & (s < 3.0)
        assert np.mean(line.position_sd_px[inside]) > 1.3 * np.mean(line.position_sd_px[outside])
        assert line.flags == ()

    def test_an_end_that_cannot_be_seen(self):
        coronal, apical = (
            traced(replace(QUIET, hidden_mm=(-9.0, 1.5))),
            traced(replace(QUIET, hidden_mm=(11.5, 20.0))),
        )
        assert TraceFlag.ORIFICE_NOT_VISIBLE in coronal.flags
        assert TraceFlag.FORAMEN_NOT_VISIBLE in apical.flags
        assert TraceFlag.FORAMEN_NOT_VISIBLE not in coronal.flags
        assert TraceFlag.ORIFICE_NOT_VISIBLE not in apical.flags
        assert apical.position_sd_px[-1] > 3.0 * np.median(apical.position_sd_px)

    def test_a_canal_that_is_hardly_there_is_not_to_be_trusted(self):
        line = traced(replace(QUIET, hidden_mm=(1.5, 11.0)))
        assert TraceFlag.LEFT_RIDGE in line.flags
        assert any(flag.severity == "do not trust" for flag in measure_canal(line, SCALE).flags)

    @pytest.mark.parametrize("seed", range(4))
    def test_pure_noise_is_never_silent(self, seed):
        pixels = np.random.default_rng(seed).normal(2000.0, 300.0, (420, 260))
        line = trace_centreline(Radiograph(pixels=pixels), [(60.0, 120.0), (370.0, 150.0)], calibration=SCALE)
        assert TraceFlag.LEFT_RIDGE in line.flags

    @pytest.mark.parametrize("seed", range(4))
    def test_bone_without_a_tooth_is_never_silent(self, seed):
        options = replace(QUIET, root=False, contrast=1e-6, noise=0.0)
        assert set(traced(options, seed=seed).flags) & NOT_SEEN

    @pytest.mark.parametrize("seed", range(4))
    def test_a_root_without_a_canal_is_never_silent(self, seed):
        """The ligament is the only dark line there; a line along it is told as one that is not seen all the way."""
        assert set(traced(replace(QUIET, hidden_mm=(-9.0, 30.0)), seed=seed).flags) & NOT_SEEN

    def test_a_canal_taken_for_an_instrument(self):
        assert TraceFlag.LEFT_RIDGE in traced(structure="instrument").flags

    def test_a_canal_along_the_border(self):
        near = traced(replace(QUIET, margin_mm=0.2, tilt_deg=0.0), segments=((11.0, 0.0), (1.0, 0.05)))
        assert TraceFlag.NEAR_BORDER in near.flags

    def test_a_canal_that_is_wider_at_the_foramen(self):
        wide = replace(QUIET, width_mm=(0.25, 0.6), fade=1.2)
        radiograph, truth = picture(wide)
        assert TraceFlag.ENDS_SWAPPED in traced(wide).flags
        right = trace_centreline(radiograph, [truth.foramen_rc, truth.orifice_rc], calibration=SCALE)
        assert TraceFlag.ENDS_SWAPPED not in right.flags

    def test_an_even_canal_has_no_doubtful_ends(self):
        assert TraceFlag.ENDS_SWAPPED not in traced(replace(QUIET, width_mm=(0.3, 0.3))).flags

    @pytest.mark.parametrize("percentile", [10.0, 35.0])
    def test_a_burnt_out_root_is_never_silent(self, percentile):
        """Grey is cut off below the root's level: no canal is left, the ligament 1.6 mm away is the only dark line.

        A line along it is sharp and strong; what gives it away is that it passes by the clicks.
        """
        radiograph, truth = picture()
        level = np.percentile(radiograph.pixels, percentile)
        burnt = Radiograph(pixels=np.minimum(radiograph.pixels, level).astype(np.uint16))
        line = trace_centreline(burnt, [truth.orifice_rc, truth.foramen_rc], calibration=SCALE)
        assert distances_mm(line.points_rc, truth.centreline_rc, PIXEL_MM).mean() > 1.0
        assert TraceFlag.LEFT_RIDGE in line.flags


CLICKS = np.array([[60.0, 120.0], [370.0, 150.0]])


class TestRefusals:
    @pytest.mark.parametrize(
        ("clicks", "words"),
        [
            ([], "at least two clicks"),
            ([[60.0, 120.0]], "click both ends"),
            ([[60.0, 120.0, 1.0], [70.0, 150.0, 2.0]], "at least two clicks"),
            ([["a", "b"], ["c", "d"]], "pairs of numbers"),
            ([[60.0, 120.0], [1.0]], "pairs of numbers"),
            ([[60.0, 120.0], [np.nan, 150.0]], "finite"),
            ([[60.0, 120.0], [np.inf, 150.0]], "finite"),
            ([[60.0, 120.0], [-3.0, 150.0]], "x=150, y=-3 is outside the image"),
            ([[60.0, 120.0], [5000.0, 150.0]], "outside the image"),
            ([[60.0, 120.0], [60.0, 120.0]], "same place"),
            ([[60.0, 120.0], [200.0, 130.0], [200.0, 130.2], [370.0, 150.0]], "same place"),
            ([[60.0, 120.0], [66.0, 120.0]], "at least 12 are needed"),
        ],
    )
    def test_clicks(self, clicks, words):
        with pytest.raises(TracingError, match=words):
            trace_centreline(picture()[0], clicks, calibration=SCALE)

    @pytest.mark.parametrize("error_px", [0.0, -1.0, np.nan, 1e6])
    def test_click_errors(self, error_px):
        with pytest.raises(TracingError, match="click error"):
            trace_centreline(picture()[0], CLICKS, calibration=SCALE, click_sd_px=error_px)

    @pytest.mark.parametrize("structure", ["bone", "", None])
    def test_structures(self, structure):
        with pytest.raises(TracingError, match="'canal' or 'instrument'"):
            trace_centreline(picture()[0], CLICKS, calibration=SCALE, structure=structure)
        with pytest.raises(TracingError, match="'canal' or 'instrument'"):
            centreline_from_points(CLICKS, structure=structure)

    def test_a_picture_that_is_one_grey(self):
        with pytest.raises(TracingError, match="one even grey"):
            trace_centreline(Radiograph(pixels=np.full((420, 260), 7, np.uint8)), CLICKS, calibration=SCALE)

    def test_a_picture_with_pixels_that_are_no_numbers(self):
        pixels = np.random.default_rng(0).normal(size=(420, 260))
        pixels[200] = np.nan
        with pytest.raises(TracingError, match="not numbers"):
            trace_centreline(Radiograph(pixels=pixels), CLICKS, calibration=SCALE)


class TestGivenPoints:
    def test_are_kept_as_they_are(self):
        line = centreline_from_points(
            [[1, 2], [3, 4], [9, 9]], position_sd_px=0.5, click_sd_px=2.0, structure="instrument"
        )
        assert isinstance(line, Centreline)
        assert line.points_rc.tolist() == [[1.0, 2.0], [3.0, 4.0], [9.0, 9.0]]
        assert line.position_sd_px.tolist() == [0.5, 0.5, 0.5]
        assert line.click_sd_px == (2.0, 2.0)
        assert line.structure is Structure.INSTRUMENT
        assert line.traced_by is TracedBy.POINTS
        assert line.anchors_rc.tolist() == [[1.0, 2.0], [9.0, 9.0]]

    def test_have_no_error_unless_told(self):
        assert centreline_from_points([[1, 2], [3, 4]]).position_sd_px is None


def test_a_whole_tooth_in_one_picture():
    """Default phantom at coarse pixels, clicks two pixels off: the file's own line among crown, bone and neighbours."""
    phantom = simulate_radiograph(
        random_case(np.random.default_rng(11), angle_deg=30.0, radius_mm=9.0, structure="canal")[0],
        PhantomOptions(tooth="canine", mm_per_pixel=0.06, seed=4, canal_width_mm=(0.6, 0.4)),
    )
    truth = phantom.truth
    clicks = np.array([truth.orifice_rc, truth.foramen_rc]) + np.array([[1.5, -1.5], [-1.5, 1.5]])
    line = trace_centreline(phantom.radiograph, clicks, calibration=calibrate_from_mm_per_pixel(0.06))
    away = distances_mm(line.points_rc, truth.centreline_rc, 0.06)
    assert away.mean() <= MEAN_MM
    assert away.max() <= WORST_MM
