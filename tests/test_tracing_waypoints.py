"""What clicks do to a trace beyond choosing its path: each is an observation with the error of a click.

Plain pictures of a canal 13 mm long (7 mm straight, then an arc of radius 7 mm), 0.04 mm per pixel; a click error of 3 px
is 0.12 mm. Where the canal is not drawn (`hidden_mm`), nothing but the clicks says where it runs.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from benchmarks.plain_pictures import PlainOptions, draw_plain_picture

from curvometer import LiveTracer, TraceFlag, calibrate_from_mm_per_pixel, trace_centreline
from curvometer.geometry import arc_length, distance_to_polyline
from curvometer.tracing.observation import Observed
from curvometer.tracing.pinning import OUTER_CLICK, Pins, doubt, pinned

PIXEL_MM = 0.04
CLICK_MM = 3.0 * PIXEL_MM
SCALE = calibrate_from_mm_per_pixel(PIXEL_MM)
BEND = ((7.0, 0.0), (6.0, 1.0 / 7.0))
QUIET = PlainOptions(
    mm_per_pixel=PIXEL_MM, width_mm=(0.4, 0.25), fade=0.7, noise=0.1, texture=0.2, lamina=0.4, tilt_deg=12.0
)


@cache
def picture(hidden_mm=None):
    options = replace(QUIET, hidden_mm=hidden_mm)
    radiograph, truth = draw_plain_picture(np.random.default_rng(0), segments=BEND, options=options)
    line = truth.centreline_rc
    return radiograph, line[np.concatenate([[True], np.hypot(*np.diff(line, axis=0).T) > 0.0])]


def on_canal(line, at_mm, beside_mm=0.0):
    """Place (row, col) that far along the true canal and that far to the side of it."""
    s = arc_length(line) * PIXEL_MM
    place, ahead = (np.array([np.interp(x, s, line[:, k]) for k in (0, 1)]) for x in (at_mm, at_mm + 0.1))
    back = np.array([np.interp(at_mm - 0.1, s, line[:, k]) for k in (0, 1)])
    along = (ahead - back) / np.hypot(*(ahead - back))
    return place + beside_mm / PIXEL_MM * np.array([-along[1], along[0]])


def traced(clicks, hidden_mm=None):
    return trace_centreline(picture(hidden_mm)[0], clicks, calibration=SCALE)


def nearest(trace, place_rc):
    """Index of the trace's point nearest to a place, and its distance in mm."""
    away = np.hypot(*(trace.points_rc - place_rc).T) * PIXEL_MM
    return int(np.argmin(away)), float(away.min())


class TestWhereNothingIsSeen:
    HIDDEN = (3.0, 8.0)

    @pytest.mark.parametrize("beside_mm", [-0.3, 0.3])
    def test_the_line_passes_by_the_waypoint_and_says_how_unsure_it_is(self, beside_mm):
        """The waypoint is 0.3 mm beside the true canal: nobody can know, so the line goes by the waypoint."""
        line = picture()[1]
        waypoint = on_canal(line, 5.5, beside_mm)
        trace = traced([line[0], waypoint, line[-1]], self.HIDDEN)
        at, away = nearest(trace, waypoint)
        assert away < CLICK_MM
        assert TraceFlag.FADED in trace.flags
        seen = np.median(trace.position_sd_px[: len(trace.points_rc) // 6])
        assert trace.position_sd_px[at] > 2.0 * seen
        assert abs(beside_mm) - away < 3.0 * trace.position_sd_px[at] * PIXEL_MM

    def test_a_waypoint_on_the_canal_brings_the_line_nearer_to_it(self):
        """Without it the line follows what grain there is, some hundredths of a millimetre away."""
        line = picture()[1]
        place = on_canal(line, 5.5)
        without = traced([line[0], line[-1]], self.HIDDEN)
        with_it = traced([line[0], place, line[-1]], self.HIDDEN)
        assert nearest(with_it, place)[1] < min(0.8 * nearest(without, place)[1], 0.5 * CLICK_MM)

    def test_a_waypoint_near_an_end_holds_that_end(self):
        """The last 2.5 mm are not drawn and the foramen was clicked 0.3 mm (2.5 click errors) too far to the side."""
        line = picture()[1]
        hidden = (10.5, 30.0)
        clicks = [line[0], on_canal(line, 12.85, 0.3)]
        without, with_it = (
            traced(stops, hidden) for stops in (clicks, [clicks[0], on_canal(line, 12.3), clicks[1]])
        )
        off = [
            float(distance_to_polyline(t.points_rc[-8:], line).max()) * PIXEL_MM for t in (without, with_it)
        ]
        assert off[1] < 0.8 * off[0]
        assert off[1] < 2.0 * with_it.position_sd_px[-1] * PIXEL_MM
        assert TraceFlag.FORAMEN_NOT_VISIBLE in with_it.flags

    def test_an_end_that_is_not_seen_is_known_no_worse_than_a_click(self):
        line = picture()[1]
        trace = traced([line[0], line[-1]], (8.0, 30.0))
        assert trace.position_sd_px[-1] < 1.2 * OUTER_CLICK * 3.0


class TestWhereTheCanalIsClear:
    @pytest.mark.parametrize("at_mm", [1.0, 6.5, 12.0])
    def test_a_waypoint_beside_it_does_not_pull_the_line_away(self, at_mm):
        """Two click errors aside; the canal is seen to some hundredths of a millimetre."""
        line = picture()[1]
        trace = traced([line[0], on_canal(line, at_mm, 0.24), line[-1]])
        assert float(distance_to_polyline(trace.points_rc, line).max()) * PIXEL_MM < 0.08

    @pytest.mark.parametrize("beyond_mm", [-0.1, 0.1])
    def test_a_waypoint_on_top_of_an_outer_click_does_no_harm(self, beyond_mm):
        """Just before or just beyond the foramen's click: the path must not turn back to it."""
        line = picture()[1]
        foramen = on_canal(line, 12.5)
        trace = traced([line[0], on_canal(line, 12.5 + beyond_mm), foramen])
        assert float(distance_to_polyline(trace.points_rc, line).max()) * PIXEL_MM < 0.08
        turns = np.sum(np.diff(trace.points_rc, axis=0)[1:] * np.diff(trace.points_rc, axis=0)[:-1], axis=1)
        assert (turns > 0.0).all()

    def test_clicks_beside_the_ends_do_not_pull_them_away(self):
        line = picture()[1]
        trace = traced([on_canal(line, 0.3, 0.24), on_canal(line, 12.7, -0.24)])
        assert float(distance_to_polyline(trace.points_rc, line).max()) * PIXEL_MM < 0.12


class TestPinning:
    """A straight row of 41 stations along the columns, 0.1 mm apart, one pixel each."""

    POINTS = np.column_stack([np.zeros(41), np.arange(41.0)])

    def pins(self, *clicks_sq, sd_mm=0.1):
        return Pins(clicks_sq=np.array([[0.0, 0.0], *clicks_sq, [0.0, 40.0]]), sd_mm=sd_mm)

    def seen(self, *, sd_mm=0.1, strength=1.0):
        return Observed(
            offset_mm=np.zeros(41), weight=np.full(41, sd_mm**-2), strength=np.full(41, float(strength))
        )

    def test_a_click_counts_by_its_variance(self):
        """A station seen at 0 and clicked at 0.3, equally well known: the mean, and half the variance."""
        found = pinned(self.seen(), self.POINTS, self.pins((3.0, 20.0)), mm=0.1)
        assert abs(found.offset_mm[20]) == pytest.approx(0.15)
        assert found.weight[20] == pytest.approx(2.0 * 0.1**-2)
        assert found.weight[[0, 40]] == pytest.approx((1.0 + OUTER_CLICK**-2) * 0.1**-2)
        assert np.count_nonzero(found.offset_mm) == 1

    def test_the_side_is_the_side_of_the_click(self):
        up, down = (
            pinned(self.seen(), self.POINTS, self.pins((row, 20.0)), mm=0.1).offset_mm[20]
            for row in (-3.0, 3.0)
        )
        assert up == pytest.approx(-down)

    def test_two_clicks_cast_no_doubt(self):
        assert not doubt(self.seen(), self.POINTS, self.pins(), mm=0.1, station_mm=0.1).any()

    def test_doubt_grows_with_the_distance_and_fades_along_the_line(self):
        near, far = (
            doubt(self.seen(), self.POINTS, self.pins((row, 20.0)), mm=0.1, station_mm=0.1)
            for row in (1.0, 4.0)
        )
        assert far[20] > 1.5 * near[20] > 0.0
        assert far[0] < 0.5 * far[20]
        assert np.argmax(far) == 20

    def test_a_clear_line_is_not_doubted(self):
        clear = doubt(self.seen(strength=5.0), self.POINTS, self.pins((2.0, 20.0)), mm=0.1, station_mm=0.1)
        assert clear.max() < 1e-4

    def test_a_far_waypoint_gives_finite_doubt(self):
        found = doubt(
            self.seen(sd_mm=1e-3), self.POINTS, self.pins((39.0, 20.0), sd_mm=0.01), mm=0.1, station_mm=0.1
        )
        assert np.isfinite(found).all()
        assert found[20] > 0.0


def test_a_live_path_keeps_closer_to_a_waypoint_than_to_an_orifice():
    """Both are clicked 0.2 mm beside the canal; an orifice says where the canal begins, a waypoint where it runs."""
    radiograph, line = picture()
    tracer = LiveTracer(radiograph, calibration=SCALE)
    start, pointer = on_canal(line, 3.0, 0.2), on_canal(line, 9.0)
    tracer.anchor(start)
    as_orifice = float(np.hypot(*(tracer.path_to(pointer)[0] - start)))
    tracer.take_back()
    tracer.anchor(line[0])
    tracer.anchor(start)
    assert float(np.hypot(*(tracer.path_to(pointer)[0] - start))) <= as_orifice
