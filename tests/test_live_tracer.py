"""The live tracer as a viewer drives it: a path at every mouse move, anchors set and taken back, a full trace at the end."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmarks.plain_pictures import PlainOptions, draw_plain_picture
from scipy.spatial import cKDTree

from curvometer import LiveTracer, Structure, TracingError, calibrate_from_mm_per_pixel, trace_centreline

PIXEL_MM = 0.03
SCALE = calibrate_from_mm_per_pixel(PIXEL_MM)
LIVE_MM = 0.15
"""A path for the eye: within a canal's width."""
OPTIONS = PlainOptions(
    mm_per_pixel=PIXEL_MM, width_mm=(0.4, 0.25), fade=0.7, noise=0.1, texture=0.2, tilt_deg=-20.0
)
SEGMENTS = ((6.0, 0.0), (6.0, -1.0 / 6.0))


@pytest.fixture(scope="module")
def picture():
    return draw_plain_picture(np.random.default_rng(5), segments=SEGMENTS, options=OPTIONS)


@pytest.fixture
def tracer(picture):
    return LiveTracer(picture[0], calibration=SCALE)


def dense(path, step=0.5):
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    at = np.arange(0.0, s[-1], step)
    return np.column_stack([np.interp(at, s, path[:, k]) for k in (0, 1)])


def farthest_mm(path, truth):
    return float(cKDTree(dense(truth.centreline_rc, 0.1)).query(dense(path))[0].max()) * PIXEL_MM


def test_there_is_no_path_before_the_first_anchor(tracer):
    assert tracer.path_to((100.0, 100.0)).shape == (0, 2)


@pytest.mark.parametrize("share", [0.3, 0.5, 0.75, 1.0])
def test_the_path_follows_the_canal_to_the_pointer(tracer, picture, share):
    truth = picture[1]
    tracer.anchor(truth.orifice_rc)
    pointer = truth.centreline_rc[int(share * (len(truth.centreline_rc) - 1))]
    path = tracer.path_to(pointer)
    assert farthest_mm(path, truth) <= LIVE_MM
    assert np.hypot(*(path[0] - truth.orifice_rc)) * PIXEL_MM < LIVE_MM
    assert np.hypot(*(path[-1] - pointer)) * PIXEL_MM < LIVE_MM


def test_the_same_move_gives_the_same_path(tracer, picture):
    tracer.anchor(picture[1].orifice_rc)
    one, other = (tracer.path_to(picture[1].foramen_rc) for _ in range(2))
    assert np.array_equal(one, other)


def test_the_path_starts_at_the_last_anchor(tracer, picture):
    truth = picture[1]
    middle = truth.centreline_rc[len(truth.centreline_rc) // 2]
    tracer.anchor(truth.orifice_rc)
    tracer.anchor(middle)
    path = tracer.path_to(truth.foramen_rc)
    assert np.hypot(*(path[0] - middle)) * PIXEL_MM < LIVE_MM


def test_a_pointer_next_to_the_anchor_gives_a_straight_line(tracer, picture):
    start = picture[1].orifice_rc
    pointer = start + np.array([4.0, 3.0])
    tracer.anchor(start)
    assert tracer.path_to(pointer) == pytest.approx(np.array([start, pointer]))


def test_an_anchor_can_be_taken_back(tracer, picture):
    truth = picture[1]
    tracer.anchor(truth.orifice_rc)
    before = tracer.path_to(truth.foramen_rc)
    tracer.anchor(truth.centreline_rc[300])
    tracer.take_back()
    assert len(tracer.anchors_rc) == 1
    assert np.array_equal(tracer.path_to(truth.foramen_rc), before)
    tracer.take_back()
    tracer.take_back()  # nothing is left: nothing happens
    assert tracer.anchors_rc == []


@pytest.mark.parametrize("structure", ["canal", "instrument"])
def test_finishing_is_tracing_the_anchors_in_full(structure):
    radiograph, truth = draw_plain_picture(
        np.random.default_rng(5),
        segments=SEGMENTS,
        options=replace(OPTIONS, instrument=structure == "instrument"),
    )
    anchors = [truth.orifice_rc, truth.centreline_rc[500], truth.foramen_rc]
    tracer = LiveTracer(radiograph, structure=structure, calibration=SCALE, click_sd_px=2.0)
    for point in anchors:
        tracer.anchor(point)
    live = tracer.finish()
    straight = trace_centreline(radiograph, anchors, structure=structure, calibration=SCALE, click_sd_px=2.0)
    assert np.array_equal(live.points_rc, straight.points_rc)
    assert np.array_equal(live.position_sd_px, straight.position_sd_px)
    assert live.flags == straight.flags
    assert live.structure is Structure(structure)


def test_without_a_scale_a_path_is_found_as_well(picture):
    radiograph, truth = picture
    tracer = LiveTracer(radiograph)
    tracer.anchor(truth.orifice_rc)
    assert farthest_mm(tracer.path_to(truth.foramen_rc), truth) <= LIVE_MM


@pytest.mark.parametrize("pointer", [(-40.0, 100.0), (100.0, -40.0), (1e5, 1e5), (-1e5, 50.0)])
def test_a_pointer_beyond_the_image_counts_as_on_its_border(tracer, picture, pointer):
    radiograph, truth = picture
    tracer.anchor(truth.orifice_rc)
    path = tracer.path_to(pointer)
    assert np.isfinite(path).all()
    assert path[-1] == pytest.approx(np.clip(pointer, 0.0, np.array(radiograph.shape) - 1.0), abs=12.0)


def test_a_pointer_that_is_no_place_gives_no_path(tracer, picture):
    tracer.anchor(picture[1].orifice_rc)
    assert tracer.path_to((np.nan, 3.0)).shape == (0, 2)


@pytest.mark.parametrize(
    ("point", "words"),
    [
        ((-5.0, 10.0), "outside the image"),
        ((10.0, 1e6), "outside the image"),
        ((np.nan, 10.0), "finite|outside"),
    ],
)
def test_anchors_must_lie_on_the_image(tracer, point, words):
    with pytest.raises(TracingError, match=words):
        tracer.anchor(point)
    assert tracer.anchors_rc == []


def test_an_anchor_may_lie_in_any_corner(picture):
    rows, cols = picture[0].shape
    for corner in ((0.0, 0.0), (0.0, cols - 1.0), (rows - 1.0, 0.0), (rows - 1.0, cols - 1.0)):
        tracer = LiveTracer(picture[0], calibration=SCALE)
        tracer.anchor(corner)
        assert tracer.anchors_rc == [corner]


def test_an_anchor_on_the_last_one_is_refused(tracer, picture):
    tracer.anchor(picture[1].orifice_rc)
    with pytest.raises(TracingError):
        tracer.anchor(picture[1].orifice_rc)
    assert len(tracer.anchors_rc) == 1


@pytest.mark.parametrize("count", [0, 1])
def test_finishing_needs_two_anchors(tracer, picture, count):
    for point in [picture[1].orifice_rc][:count]:
        tracer.anchor(point)
    with pytest.raises(TracingError, match="at least two clicks"):
        tracer.finish()


def test_the_structure_must_be_known(picture):
    with pytest.raises(TracingError, match="'canal' or 'instrument'"):
        LiveTracer(picture[0], structure="bone")
