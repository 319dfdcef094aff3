"""What `measure_canal` tells about points whose canal is known: intervals, scale, doubts.

Canals here are straight a, arc (R, theta), straight b in millimetres (see `published.curvature_tables`), laid on pixels
of 0.02 mm with errors drawn across the line. The Schneider angle is theta / 2 when b = 0 (tangent and chord).
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from published.curvature_tables import lay

from curvometer import (
    Calibration,
    CalibrationOrigin,
    Centreline,
    CurvometerError,
    Severity,
    TraceFlag,
    calibrate_from_file,
    calibrate_from_mm_per_pixel,
    centreline_from_points,
    load_radiograph,
    measure_canal,
    trace_centreline,
)
from curvometer.measurement import FLAG_TABLE, QUANTITY_NAMES
from curvometer.record.plain import measurement_to_plain

PIXEL_MM = 0.02
SCALE = calibrate_from_mm_per_pixel(PIXEL_MM)
LONG_BEND = (9.0, 8.0, 40.0, 0.0)
TAILED = (8.0, 5.0, 50.0, 2.0)
ANGLES = {name for name in QUANTITY_NAMES if name.endswith(("angle", "turning"))}
LENGTHS = set(QUANTITY_NAMES) - ANGLES
NEEDS_SCALE = LENGTHS | {"long_axis_angle"}
"""The long-axis angle is a window in millimetres."""


def schneider_deg(_, R, theta, b):
    """S = atan2((T + b) sin(theta), T + (T + b) cos(theta)), T = R tan(theta / 2)."""
    t = np.radians(theta)
    T = R * np.tan(0.5 * t)
    return float(np.degrees(np.arctan2((T + b) * np.sin(t), T + (T + b) * np.cos(t))))


def arc_points_mm(pieces, count):
    """`count` points at equal distances along (length, turning) pieces."""
    dense, _ = lay(pieces, 1e-3)
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(dense, axis=0).T))])
    at = np.linspace(0.0, s[-1], count)
    return np.column_stack([np.interp(at, s, dense[:, k]) for k in (0, 1)]), float(at[1])


def correlated(rng, count, step_mm, correlation_mm):
    """Unit noise whose autocorrelation has the given area: white noise smoothed with a Gaussian of sd s.

    Its autocorrelation is exp(-d^2 / (4 s^2)), whose area is 2 s sqrt(pi).
    """
    s = correlation_mm / (2.0 * np.sqrt(np.pi))
    weights = np.exp(-0.5 * (np.arange(-4.0 * s, 4.0 * s + step_mm, step_mm) / s) ** 2)
    weights /= np.sqrt((weights**2).sum())
    return np.convolve(rng.standard_normal(count + len(weights) - 1), weights, "valid")


def canal(
    a=9.0, R=8.0, theta=40.0, b=0.0, *, count=300, sigma_mm=0.0, correlation_mm=0.0, seed=0, pixel_mm=PIXEL_MM
):
    """(count, 2) points (row, col) of a canal with errors across it."""
    rng = np.random.default_rng(seed)
    points, step = arc_points_mm([(a, 0.0), (R * np.radians(theta), theta), (b, 0.0)], count)
    tangent = np.gradient(points, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    error = correlated(rng, count, step, correlation_mm) if correlation_mm else rng.standard_normal(count)
    points = points + sigma_mm * error[:, None] * np.column_stack([-tangent[:, 1], tangent[:, 0]])
    return points / pixel_mm + [100.0, 300.0]


def traced(points_rc, *, sd_mm=0.02, correlation_mm=0.3, flags=(), click_px=1.0):
    return Centreline(
        points_rc=points_rc,
        position_sd_px=np.full(len(points_rc), sd_mm / PIXEL_MM),
        correlation_px=correlation_mm / PIXEL_MM,
        click_sd_px=(click_px, click_px),
        flags=flags,
    )


def codes(measurement):
    return {flag.code for flag in measurement.flags}


def width(quantity):
    return quantity.upper - quantity.lower


@pytest.fixture(scope="module")
def usual():
    """One canal, traced with 0.02 mm of error."""
    return measure_canal(traced(canal(sigma_mm=0.02, correlation_mm=0.3)), SCALE)


def held(shape, measurement):
    """Whether the intervals of Schneider's angle, Pruett's angle and Pruett's radius hold the truth."""
    truth = (schneider_deg(*shape), shape[2], shape[1])
    found = (measurement.schneider_angle, measurement.pruett_angle, measurement.pruett_radius)
    return [q is not None and q.lower <= x <= q.upper for q, x in zip(found, truth, strict=True)]


def trial(shape, seed, *, declared_mm):
    points = canal(*shape, count=160, sigma_mm=0.03, correlation_mm=0.6, seed=seed)
    return measure_canal(traced(points, sd_mm=0.03, correlation_mm=declared_mm), SCALE)


@pytest.mark.parametrize("shape", [LONG_BEND, TAILED], ids=["arc to the foramen", "straight tail"])
class TestIntervalsHoldTheTruth:
    """Coverage over seeded trials: 95 % nominal; the intervals are meant a little wide (see `POINTS_INFLATION`)."""

    def test_when_the_correlation_of_the_errors_is_carried(self, shape):
        """And they are not wide for nothing: half the median interval over the scatter of the trials; 1.96 were exact."""
        found = [trial(shape, seed, declared_mm=0.6) for seed in range(100)]
        coverage = np.mean([held(shape, m) for m in found], axis=0)
        assert (coverage >= 0.90).all(), coverage
        scatter = np.std([m.schneider_angle.value for m in found])
        half = 0.5 * np.median([width(m.schneider_angle) for m in found])
        assert 1.5 * scatter < half < 4.0 * scatter

    def test_the_naive_interval_of_a_dense_trace_is_too_short(self, shape):
        """The same points declared independent: far fewer intervals hold the truth, and simple shapes' are half as wide.

        It is why a trace carries the correlation of its errors. (Some naive fits see a second bend in the noise, which
        makes their intervals wide and wrong; the widths are compared where both fits have one bend.)
        """
        naive = [trial(shape, seed, declared_mm=0.0) for seed in range(24)]
        coverage = np.mean([held(shape, m) for m in naive])
        assert coverage < 0.78, coverage
        carried = [trial(shape, seed, declared_mm=0.6) for seed in range(24)]
        pairs = [(n, c) for n, c in zip(naive, carried, strict=True) if len(n.bends) == len(c.bends) == 1]
        ratio = np.median([width(n.pruett_radius) / width(c.pruett_radius) for n, c in pairs])
        assert ratio < 0.6, ratio


class TestIntervalsOfHandPoints:
    @pytest.mark.parametrize(("count", "sigma_mm"), [(12, 0.05), (20, 0.025), (40, 0.05)])
    def test_of_points_set_by_hand_with_unknown_error(self, count, sigma_mm):
        hits = []
        for seed in range(50):
            points = canal(*LONG_BEND, count=count, sigma_mm=sigma_mm, seed=1000 + seed)
            measured = measure_canal(centreline_from_points(points), SCALE)
            hits.append(held(LONG_BEND, measured)[0])
        assert np.mean(hits) >= 0.85, np.mean(hits)


class TestIntervalsWiden:
    def test_lie_around_the_value(self, usual):
        for name, quantity in usual.quantities.items():
            if quantity is not None:
                assert quantity.lower <= quantity.value <= quantity.upper, name

    def test_with_the_noise_of_the_trace(self):
        quiet, loud = (
            measure_canal(traced(canal(sigma_mm=0.02, correlation_mm=0.3), sd_mm=sd), SCALE)
            for sd in (0.02, 0.06)
        )
        for name in ("schneider_angle", "curve_start_from_foramen"):
            assert width(getattr(loud, name)) > 1.5 * width(getattr(quiet, name)), name

    @pytest.mark.xfail(
        strict=False, reason="open: the doubt about a short tail hides how the noise widens these intervals"
    )
    def test_of_tail_dependent_quantities_with_the_noise_of_the_trace(self):
        quiet, loud = (
            measure_canal(traced(canal(sigma_mm=0.02, correlation_mm=0.3), sd_mm=sd), SCALE)
            for sd in (0.02, 0.06)
        )
        for name in ("pruett_radius", "weine_angle"):
            assert width(getattr(loud, name)) > 1.5 * width(getattr(quiet, name)), name

    def test_with_noise_that_nobody_declared(self):
        quiet, loud = (
            measure_canal(centreline_from_points(canal(count=40, sigma_mm=sigma, seed=3)), SCALE)
            for sigma in (0.01, 0.04)
        )
        assert width(loud.schneider_angle) > 2.0 * width(quiet.schneider_angle)

    def test_with_the_error_of_the_clicks(self):
        points = canal(sigma_mm=0.02, correlation_mm=0.3)
        sure, unsure = (measure_canal(traced(points, click_px=px), SCALE) for px in (1.0, 25.0))
        assert width(unsure.canal_length) > 5.0 * width(sure.canal_length)
        # On the arc Schneider's angle slides by 28.65 / R degrees per mm: 0.5 mm of click are 1.8 degrees, and 1.96 times
        # that to either side (derivation: S = s / (2 R) for an arc of length s).
        assert width(unsure.schneider_angle) == pytest.approx(2.0 * 1.96 * 0.5 * 28.65 / 8.0, rel=0.4)
        assert sure.canal_length.value == unsure.canal_length.value

    def test_with_the_uncertainty_of_the_scale_but_angles_do_not(self):
        centreline = traced(canal(sigma_mm=0.02, correlation_mm=0.3))
        exact, rough = (
            measure_canal(centreline, replace(SCALE, relative_standard_uncertainty=u)) for u in (0.0, 0.05)
        )
        length = rough.canal_length
        assert width(length) == pytest.approx(2.0 * 1.96 * 0.05 * length.value, rel=0.15)
        for name in LENGTHS - {"curve_end_from_foramen"}:
            assert width(getattr(rough, name)) > width(getattr(exact, name)), name
        for name in ANGLES - {"long_axis_angle"}:
            assert width(getattr(rough, name)) == pytest.approx(width(getattr(exact, name)), rel=1e-9), name

    def test_a_foramen_on_a_straight_part_does_not_move_pruetts_angle(self):
        sure, unsure = (
            measure_canal(traced(canal(*TAILED, sigma_mm=0.02, correlation_mm=0.3), click_px=px), SCALE)
            for px in (1.0, 20.0)
        )
        assert width(unsure.pruett_angle) == pytest.approx(width(sure.pruett_angle), rel=0.2)

    def test_no_end_is_known_better_than_the_point_that_marks_it(self):
        """Points of 0.1 mm error, without a click error: the length is uncertain by that at both ends."""
        found = measure_canal(
            traced(canal(sigma_mm=0.02, correlation_mm=0.3), sd_mm=0.1, click_px=0.0), SCALE
        )
        assert width(found.canal_length) >= 2.0 * 1.96 * 0.1


class TestScale:
    def test_lengths_scale_and_angles_do_not(self):
        points = canal(sigma_mm=0.02, correlation_mm=0.3)
        small, large = (measure_canal(traced(points), calibrate_from_mm_per_pixel(p)) for p in (0.02, 0.05))
        for name in ANGLES - {"long_axis_angle"}:
            assert getattr(large, name).value == pytest.approx(getattr(small, name).value, abs=1e-3), name
        for name in LENGTHS - {"three_point_radius", "radius_quotient"}:
            assert getattr(large, name).value == pytest.approx(2.5 * getattr(small, name).value, rel=1e-3), (
                name
            )
        assert large.radius_quotient.value == pytest.approx(small.radius_quotient.value / 2.5, rel=1e-3)
        assert large.radius_quotient.unit == "deg/mm"

    def test_without_a_scale_every_length_is_absent_with_a_reason(self):
        found = measure_canal(traced(canal(sigma_mm=0.02, correlation_mm=0.3)))
        assert {name for name, q in found.quantities.items() if q is None} == NEEDS_SCALE
        assert set(next(f for f in found.flags if f.code == "no_scale").concerns) >= NEEDS_SCALE
        (bend,) = found.bends
        assert bend.radius is None
        assert bend.start_from_foramen is None
        assert bend.end_from_foramen is None
        assert found.profile.unit == "1/px"
        assert set(found.meanings) == set(QUANTITY_NAMES) - NEEDS_SCALE

    def test_angles_without_a_scale_are_those_with_one(self, usual):
        found = measure_canal(traced(canal(sigma_mm=0.02, correlation_mm=0.3)))
        for name in ANGLES - {"long_axis_angle"}:
            assert getattr(found, name).value == pytest.approx(getattr(usual, name).value, abs=1e-3), name

    def test_a_detectors_pitch_is_no_scale_of_the_tooth(self):
        pitch = Calibration(spacing_rc_mm=(0.02, 0.02), origin=CalibrationOrigin.DETECTOR, at_tooth=False)
        found = measure_canal(traced(canal(sigma_mm=0.02, correlation_mm=0.3)), pitch)
        assert {name for name, q in found.quantities.items() if q is None} == NEEDS_SCALE
        assert "scale_at_detector" in codes(found)
        assert "no_scale" not in codes(found)

    @pytest.mark.parametrize("aspect", [0.5, 1.25, 2.0])
    def test_pixels_that_are_not_square_give_the_right_angles(self, aspect):
        """Rows `aspect` times as far apart: the same canal has its rows divided by it."""
        points = canal(count=200) / [aspect, 1.0]
        for scale in (
            Calibration(aspect_ratio=aspect),
            replace(SCALE, spacing_rc_mm=(PIXEL_MM * aspect, PIXEL_MM), aspect_ratio=aspect),
        ):
            found = measure_canal(centreline_from_points(points), scale)
            assert found.schneider_angle.value == pytest.approx(20.0, abs=0.05)
            assert found.weine_angle.value == pytest.approx(40.0, abs=0.05)
        assert found.pruett_radius.value == pytest.approx(8.0, abs=0.02)
        assert found.landmarks.foramen_rc == pytest.approx(points[-1], abs=0.5)


BENT = traced(canal(sigma_mm=0.01, correlation_mm=0.3), sd_mm=0.01)


def shaped(*shape, **options):
    return measure_canal(
        traced(canal(*shape, sigma_mm=0.01, correlation_mm=0.3), sd_mm=0.01, **options), SCALE
    )


def with_trace_flag(code):
    return lambda: measure_canal(replace(BENT, flags=(TraceFlag(code),)), SCALE)


def two_bends():
    points, _ = arc_points_mm([(6.0, 0.0), (4.2, 30.0), (1.0, 0.0), (3.1, -30.0)], 250)
    return measure_canal(traced(points / PIXEL_MM + 100.0, sd_mm=0.005), SCALE)


def clothoid():
    """Curvature 0.04 s over 6 mm: no arc."""
    psi = 0.02 * np.linspace(0.0, 6.0, 300) ** 2
    step = 6.0 / 299
    bend = np.column_stack([np.cumsum(np.cos(psi)), np.cumsum(np.sin(psi))]) * step
    straight = np.column_stack([np.linspace(-8.0, 0.0, 300), np.zeros(300)])
    return measure_canal(traced(np.vstack([straight, bend]) / PIXEL_MM + 600.0, sd_mm=0.005), SCALE)


def hand_points(count):
    return lambda: measure_canal(centreline_from_points(canal(count=count, sigma_mm=0.02)), SCALE)


RAISED_BY = {
    "no_scale": lambda: measure_canal(BENT),
    "scale_at_detector": lambda: measure_canal(BENT, Calibration(spacing_rc_mm=(0.02, 0.02))),
    "scale_estimated": lambda: measure_canal(BENT, replace(SCALE, origin=CalibrationOrigin.GEOMETRY)),
    "scale_objects_disagree": lambda: measure_canal(BENT, replace(SCALE, flags=("objects_disagree",))),
    "short_arc": lambda: shaped(10.0, 2.0, 45.0, 0.0),
    "small_angle": lambda: shaped(8.0, 30.0, 8.0, 0.0),
    "straight": lambda: measure_canal(traced(canal(14.0, 1.0, 0.0), sd_mm=0.01), SCALE),
    "two_bends": two_bends,
    "shape_misfit": clothoid,
    "canal_too_short": lambda: shaped(3.0, 5.0, 40.0, 0.0),
    "in_class_gap": lambda: shaped(9.0, 8.0, 45.0, 0.0),
    "trace_left_ridge": with_trace_flag("trace_left_ridge"),
    "canal_faded": with_trace_flag("canal_faded"),
    "orifice_not_visible": with_trace_flag("orifice_not_visible"),
    "foramen_not_visible": with_trace_flag("foramen_not_visible"),
    "near_border": with_trace_flag("near_border"),
    "ends_may_be_swapped": with_trace_flag("ends_may_be_swapped"),
    "drawn_by_hand": with_trace_flag("drawn_by_hand"),
    "few_points": hand_points(8),
    "too_few_points": hand_points(4),
}


class TestFlags:
    def test_every_row_of_the_table_has_a_case_here(self):
        assert set(RAISED_BY) == set(FLAG_TABLE)

    @pytest.mark.parametrize("code", FLAG_TABLE)
    def test_can_be_raised(self, code):
        rule = FLAG_TABLE[code]
        raised = {flag.code: flag for flag in RAISED_BY[code]().flags}
        assert code in raised
        assert raised[code].severity is rule.severity
        assert raised[code].text == rule.text
        assert raised[code].concerns == rule.concerns

    def test_a_good_trace_of_a_plain_bend_raises_none(self):
        assert shaped(9.0, 8.0, 60.0, 0.0).flags == ()

    def test_every_trace_flag_has_a_row(self):
        assert {str(flag) for flag in TraceFlag} <= set(FLAG_TABLE)

    @pytest.mark.parametrize("code", FLAG_TABLE)
    def test_is_one_or_two_plain_sentences_about_known_quantities(self, code):
        rule = FLAG_TABLE[code]
        assert rule.text[0].isupper()
        assert rule.text.endswith(".")
        assert rule.text.count(".") - rule.text.count(".5") == 1
        assert set(rule.concerns) <= set(QUANTITY_NAMES)

    def test_only_what_spoils_every_number_says_do_not_trust(self):
        stops = {code for code, rule in FLAG_TABLE.items() if rule.severity is Severity.DO_NOT_TRUST}
        assert stops == {"trace_left_ridge", "too_few_points"}
        assert all(not FLAG_TABLE[code].concerns for code in stops)

    def test_repeated_points_do_not_count_twice(self):
        points = np.repeat(canal(count=4, sigma_mm=0.02), 5, axis=0)
        assert "too_few_points" in codes(measure_canal(centreline_from_points(points), SCALE))


class TestClassesAndForms:
    @pytest.mark.parametrize(
        ("theta", "words", "in_gap"),
        [
            (6.0, "straight", False),
            (15.0, "in the gap between straight and moderate (5 to 10 degrees)", True),
            (30.0, "moderate", False),
            (45.0, "in the gap between moderate and severe (20 to 25 degrees)", True),
            (60.0, "severe", False),
        ],
    )
    def test_an_angle_in_a_gap_of_schneiders_classes_is_said_to_be_there(self, theta, words, in_gap):
        found = shaped(8.0, 10.0, theta, 0.0)
        assert found.schneider_class == words
        assert ("in_class_gap" in codes(found)) is in_gap

    def test_a_straight_canal_has_form_i_and_neither_radius_nor_curve(self):
        found = measure_canal(traced(canal(14.0, 1.0, 0.0), sd_mm=0.01), SCALE)
        assert found.canal_form == "I"
        assert found.shape == "straight"
        assert found.bends == ()
        for name in (
            "pruett_radius",
            "chord_radius",
            "minimum_radius",
            "radius_quotient",
            "curve_start_from_foramen",
        ):
            assert getattr(found, name) is None, name
        assert found.landmarks.curve_start_rc is None
        assert found.landmarks.arcs == ()
        assert found.canal_length.value == pytest.approx(14.0, abs=0.03)
        for name in ("schneider_angle", "total_turning", "canal_access_angle"):
            assert getattr(found, name).upper < 3.0, name
        assert "straight" in codes(found)

    def test_a_bend_the_trace_cannot_show_is_not_invented(self):
        """Straight lines with 0.02 mm of declared, correlated error: at most a few of thirty get a bend."""
        bends = 0
        for seed in range(30):
            points = canal(14.0, 1.0, 0.0, 0.0, count=140, sigma_mm=0.02, correlation_mm=0.6, seed=seed)
            bends += bool(measure_canal(traced(points, sd_mm=0.02, correlation_mm=0.6), SCALE).bends)
        assert bends <= 6

    @pytest.mark.parametrize(("sign", "direction"), [(1.0, "left"), (-1.0, "right")])
    def test_left_and_right_are_seen_walking_from_orifice_to_foramen(self, sign, direction):
        """Down the image (rows grow) and then towards larger columns: to the left of the walker, the viewer's right."""
        points = (canal(sigma_mm=0.0) - [100.0, 300.0]) * [1.0, sign] + [100.0, 600.0]
        assert measure_canal(centreline_from_points(points), SCALE).bends[0].direction == direction

    def test_points_in_reverse_order_bend_at_the_other_end(self, usual):
        """From the foramen the same canal bends first: Weine's angle and the length stay, the curve starts at the end."""
        points = canal(sigma_mm=0.02, correlation_mm=0.3)
        found = measure_canal(traced(points[::-1]), SCALE)
        assert found.weine_angle.value == pytest.approx(usual.weine_angle.value, abs=0.5)
        assert found.canal_length.value == pytest.approx(usual.canal_length.value, abs=0.02)
        assert found.curve_end_from_foramen.value == pytest.approx(9.0, abs=0.5)
        assert found.shape == "arc, straight"
        assert {found.bends[0].direction, usual.bends[0].direction} == {"left", "right"}


class TestFewPoints:
    def test_two_points_are_refused(self):
        with pytest.raises(CurvometerError, match="points along the whole canal"):
            measure_canal(centreline_from_points([[10.0, 10.0], [500.0, 40.0]]), SCALE)

    @pytest.mark.parametrize("count", [3, 4, 5, 6])
    @pytest.mark.parametrize("scale", [SCALE, None], ids=["scale", "no scale"])
    def test_a_handful_is_measured_flagged_and_never_sure(self, count, scale):
        """Even points that a shape meets exactly: with no spare point their error is assumed, not taken for zero."""
        found = measure_canal(centreline_from_points(canal(count=count)), scale)
        assert ("too_few_points" if count < 5 else "few_points") in codes(found)
        for name in ("schneider_angle", "pruett_angle", "total_turning", "weine_angle"):
            assert width(getattr(found, name)) > 0.3, name
        if scale is not None:
            for name in ("canal_length", "pruett_radius"):
                assert width(getattr(found, name)) > 0.01, name

    def test_the_angle_of_three_points_is_of_the_arc_through_them(self):
        """Legs of equal length that turn by 30 degrees: an arc of 60 degrees, tangents at its ends; Schneider 30."""
        points = np.array([[0.0, 0.0], [300.0, 0.0], [300.0 + 300.0 * np.cos(np.pi / 6), 150.0]])
        found = measure_canal(centreline_from_points(points), SCALE)
        assert found.weine_angle.value == pytest.approx(60.0, abs=0.1)
        assert found.schneider_angle.value == pytest.approx(30.0, abs=0.1)


class TestWhatIsRefused:
    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"position_sd_px": np.zeros(300)}, "leave it out"),
            ({"position_sd_px": np.full(300, np.nan)}, "leave it out"),
            ({"position_sd_px": np.full(300, -1.0)}, "leave it out"),
            ({"click_sd_px": (-1.0, 0.0)}, "below zero"),
            ({"click_sd_px": (math.inf, 0.0)}, "below zero"),
            ({"correlation_px": -3.0}, "below zero"),
            ({"points_rc": canal() * 1e9}, "in pixels"),
            ({"points_rc": canal() * 1e-9}, "in pixels"),
        ],
    )
    def test_errors_and_points_that_cannot_be(self, change, words):
        with pytest.raises(CurvometerError, match=words):
            measure_canal(replace(BENT, **change), SCALE)

    def test_points_that_go_back_and_forth(self):
        with pytest.raises(CurvometerError, match="in order from orifice to foramen"):
            measure_canal(centreline_from_points([[0.0, 0.0], [100.0, 0.0]] * 10), SCALE)

    @pytest.mark.parametrize(
        "points", [[["a", "b"], [1, 2]], [[1, 2], [1, 2, 3]], [], [[1, 2]], [[1, 2], [1, 2]], "xy"]
    )
    def test_points_that_are_no_points(self, points):
        with pytest.raises(CurvometerError):
            centreline_from_points(points)

    @pytest.mark.parametrize("value", [math.nan, math.inf])
    def test_coordinates_that_are_no_numbers(self, value):
        with pytest.raises(CurvometerError, match="finite"):
            centreline_from_points([[0.0, 0.0], [value, 3.0], [9.0, 9.0]])


class TestWhatIsTold:
    def test_the_same_trace_gives_the_same_numbers(self, usual):
        again = measure_canal(traced(canal(sigma_mm=0.02, correlation_mm=0.3)), SCALE)
        assert json.dumps(measurement_to_plain(again)) == json.dumps(measurement_to_plain(usual))

    def test_every_number_is_finite_and_fits_json(self, usual):
        json.dumps(measurement_to_plain(usual), allow_nan=False)

    def test_a_quantity_prints_as_people_write_it(self, usual):
        q = usual.schneider_angle
        assert str(q) == f"{q.value:.1f} deg ({q.lower:.1f} to {q.upper:.1f})"
        q = usual.pruett_radius
        assert str(q) == f"{q.value:.2f} mm ({q.lower:.2f} to {q.upper:.2f})"

    def test_every_quantity_has_words_and_ambiguous_ones_their_reading(self, usual):
        assert set(usual.meanings) == set(QUANTITY_NAMES)
        assert "circumradius" in usual.three_point_radius.reading
        assert "chord" in usual.long_axis_angle.reading
        assert all(q.reading for q in usual.quantities.values())

    def test_profile_runs_from_the_foramen_and_holds_the_curvature(self, usual):
        """0 on the straight part, 1 / 8 mm on the arc, positive to the walker's right: here it bends to the left."""
        profile = usual.profile
        assert profile.unit == "1/mm"
        assert profile.from_foramen[0] == pytest.approx(0.0, abs=1e-9)
        assert profile.from_foramen[-1] == pytest.approx(usual.canal_length.value, abs=1e-6)
        assert (profile.lower <= profile.curvature + 1e-12).all()
        assert (profile.curvature <= profile.upper + 1e-12).all()
        apical, coronal = profile.from_foramen < 4.0, profile.from_foramen > 7.5
        assert np.median(profile.curvature[apical]) == pytest.approx(-1.0 / 8.0, abs=0.03)
        assert np.median(profile.curvature[coronal]) == pytest.approx(0.0, abs=0.01)

    def test_landmarks_lie_on_the_fitted_line(self, usual):
        marks = usual.landmarks
        for name in ("orifice_rc", "curve_start_rc", "curve_end_rc", "foramen_rc"):
            away = np.hypot(*(marks.line_rc - getattr(marks, name)).T).min()
            assert away < 2.0, name
        assert marks.axis_rc[0] == pytest.approx(marks.line_rc[0], abs=5.0)
        fit = np.hypot(*(canal()[:, None] - marks.line_rc[None]).transpose(2, 0, 1)).min(axis=1)
        assert fit.max() * PIXEL_MM < 0.1


def test_an_s_shape_has_no_interval_down_to_a_straight_canal():
    """A straight part between the two arcs that shrinks to nothing leaves its ends open; its covariance must not be drawn from.

    The two arcs of the sample are 30 and 32 degrees by construction (sample_images/truth.json).
    """
    radiograph = load_radiograph(Path(__file__).parents[1] / "sample_images" / "s_shaped_premolar.dcm")
    scale = calibrate_from_file(radiograph)
    for row in (657.0, 658.0, 659.0):
        line = trace_centreline(radiograph, [(row, 550.0), (1266.0, 437.0)], calibration=scale)
        first, second = measure_canal(line, scale).bends
        assert 25.0 < first.angle.lower < first.angle.upper < 36.0
        assert 20.0 < second.angle.lower < 32.5 < second.angle.upper
