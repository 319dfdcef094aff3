"""Plane geometry against closed forms, shapely, scipy, circle-fit and splines."""

from __future__ import annotations

import circle_fit
import numpy as np
import pytest
import shapely
import splines
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from curvometer import geometry as g
from curvometer.geometry import smoothing


def arc(radius: float, angle_deg: float, count: int, straight: float = 0.0) -> np.ndarray:
    """A straight piece along the first axis, then an arc towards the second."""
    t = np.radians(np.linspace(0.0, angle_deg, count))
    bend = np.column_stack([straight + radius * np.sin(t), radius * (1.0 - np.cos(t))])
    if straight == 0.0:
        return bend
    steps = max(int(straight / (radius * t[1])), 2)
    return np.concatenate([np.column_stack([np.linspace(0.0, straight, steps), np.zeros(steps)])[:-1], bend])


coordinates = st.floats(-100.0, 100.0)
points = st.tuples(coordinates, coordinates).map(np.array)
angles = st.floats(-np.pi, np.pi)


# --- Vectors and lines --------------------------------------------------------------------------------------


@pytest.mark.parametrize("angle", [0.0, 1e-9, 1e-6, 30.0, 90.0, 150.0, 179.9999999, 180.0])
def test_angle_between_keeps_small_and_flat_angles(angle):
    """An arccosine would return 0 for 1e-9 degrees."""
    v = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    u = np.array([1.0, 0.0])
    assert g.angle_between_deg(u, 3.0 * v) == pytest.approx(angle, rel=1e-9, abs=1e-12)
    assert g.angle_between_deg(u, v * [1, -1]) == g.angle_between_deg(u, v)
    assert g.signed_angle_deg(u, v) == pytest.approx(angle, rel=1e-9, abs=1e-12)


@settings(deadline=None)
@given(u=angles, v=angles)
def test_signed_angle_turns_one_vector_into_the_other(u, v):
    a, b = (np.array([np.cos(t), np.sin(t)]) for t in (u, v))
    turn = u + np.radians(g.signed_angle_deg(a, b))
    assert np.array([np.cos(turn), np.sin(turn)]) == pytest.approx(b, abs=1e-12)
    assert abs(g.signed_angle_deg(a, b)) == pytest.approx(g.angle_between_deg(a, b))


@settings(deadline=None)
@given(turn=angles, seed=st.integers(0, 1000))
def test_line_direction_is_the_major_axis_and_points_forward(turn, seed):
    rng = np.random.default_rng(seed)
    along = np.sort(rng.uniform(0.0, 10.0, 30))
    cloud = np.column_stack([along, rng.normal(0.0, 0.3, 30)])
    cloud = cloud @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    direction = g.line_direction(cloud)
    _, _, axes = np.linalg.svd(cloud - cloud.mean(axis=0))
    assert abs(direction @ axes[0]) == pytest.approx(1.0, abs=1e-9)
    assert direction @ (cloud[-1] - cloud[0]) > 0.0
    assert np.hypot(*direction) == pytest.approx(1.0)


def test_line_direction_by_weights_is_line_direction_of_repeated_points():
    rng = np.random.default_rng(3)
    cloud = np.column_stack([np.arange(9.0), rng.normal(0.0, 1.0, 9)])
    counts = np.array([1, 1, 2, 1, 3, 1, 1, 4, 1])
    repeated = np.repeat(cloud, counts, axis=0)
    assert g.line_direction(cloud, weights=counts.astype(float)) == pytest.approx(g.line_direction(repeated))


def test_line_direction_does_not_depend_on_the_axes():
    """Ordinary regression would prefer the second axis; a vertical line has no slope at all."""
    steps = np.linspace(0.0, 5.0, 6)
    vertical = np.column_stack([np.zeros(6), steps])
    assert g.line_direction(vertical) == pytest.approx([0.0, 1.0], abs=1e-12)
    assert g.line_direction(vertical[::-1]) == pytest.approx([0.0, -1.0], abs=1e-12)


def test_the_line_through_an_arc_is_parallel_to_its_chord():
    bend = arc(7.0, 50.0, 200)
    assert g.signed_angle_deg(np.array([1.0, 0.0]), g.line_direction(bend)) == pytest.approx(25.0, abs=1e-9)


def test_lines_cross_where_shapely_says():
    p, u, q, v = (np.array(x) for x in ([0.0, 1.0], [2.0, 1.0], [5.0, 0.0], [-1.0, 3.0]))
    first, second = (shapely.LineString([o - 9 * d, o + 9 * d]) for o, d in ((p, u), (q, v)))
    assert g.intersect_lines(p, u, q, v) == pytest.approx(np.array(first.intersection(second).coords[0]))
    assert not np.isfinite(g.intersect_lines(p, u, q, 2.0 * u)).any()


def test_distance_to_line_is_signed():
    origin, direction = np.array([1.0, 1.0]), np.array([2.0, 0.0])
    found = g.distance_to_line(np.array([[5.0, 4.0], [5.0, -1.0]]), origin, direction)
    assert found == pytest.approx([3.0, -2.0])


# --- Circles ------------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    centre=points,
    radius=st.floats(0.1, 50.0),
    turns=st.tuples(angles, st.floats(0.2, 2.0), st.floats(0.2, 2.0)),
)
def test_the_circle_through_three_points_is_theirs(centre, radius, turns):
    start, one, two = turns
    t = np.array([start, start + one, start + one + two])
    p, q, r = centre + radius * np.column_stack([np.cos(t), np.sin(t)])
    circle = g.circle_through(p, q, r)
    assert circle.radius == pytest.approx(radius, rel=1e-6)
    assert circle.centre == pytest.approx(centre, abs=1e-6 * (radius + 1.0) * 100)
    assert g.circumcurvature(p, q, r) == pytest.approx(1.0 / radius, rel=1e-6)
    assert g.circumcurvature(r, q, p) == pytest.approx(-1.0 / radius, rel=1e-6)


def test_points_in_line_lie_on_a_circle_without_end():
    line = np.column_stack([np.arange(5.0), 2.0 * np.arange(5.0)])
    assert g.circumcurvature(*line[:3]) == 0.0
    assert np.isinf(g.circle_through(*line[:3]).radius)
    assert np.isinf(g.fit_circle(line).radius)


@pytest.mark.parametrize(("radius", "angle"), [(10.0, 30.0), (2.0, 90.0), (5.0, 300.0), (40.0, 8.0)])
def test_fit_circle_finds_an_exact_circle(radius, angle):
    circle = g.fit_circle(arc(radius, angle, 40) + 3.0)
    assert circle.radius == pytest.approx(radius, rel=1e-9)
    assert circle.centre == pytest.approx([3.0, radius + 3.0], abs=1e-7)


@pytest.mark.parametrize("seed", range(6))
def test_fit_circle_agrees_with_circle_fit_and_scipy(seed):
    rng = np.random.default_rng(seed)
    cloud = (
        arc(rng.uniform(3, 20), rng.uniform(25, 250), 50)
        + rng.normal(0.0, 0.05, (50, 2))
        + rng.uniform(-50, 50, 2)
    )
    circle = g.fit_circle(cloud)
    start = circle_fit.standardLSQ(cloud)[:3]
    x, y, radius, _ = circle_fit.lm(cloud, start)
    assert circle.radius == pytest.approx(radius, rel=1e-4)
    assert circle.centre == pytest.approx([x, y], abs=1e-4 * radius)
    best = optimize.least_squares(
        lambda c: np.hypot(*(cloud - c[:2]).T) - c[2], start, xtol=1e-14, ftol=1e-14
    )
    assert circle.radius == pytest.approx(best.x[2], rel=1e-6)
    assert circle.radius == pytest.approx(circle_fit.hyperLSQ(cloud)[2], rel=0.05)


def test_fit_circle_with_weights_is_the_fit_to_repeated_points():
    rng = np.random.default_rng(1)
    cloud = arc(6.0, 70.0, 12) + rng.normal(0.0, 0.1, (12, 2))
    counts = rng.integers(1, 5, 12)
    weighted = g.fit_circle(cloud, weights=counts.astype(float))
    assert weighted.radius == pytest.approx(g.fit_circle(np.repeat(cloud, counts, axis=0)).radius, rel=1e-9)


def test_fit_circle_needs_three_points():
    with pytest.raises(ValueError, match="at least three"):
        g.fit_circle(np.zeros((2, 2)))


# --- Polylines ----------------------------------------------------------------------------------------------


@settings(max_examples=50, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_length_and_places_agree_with_shapely(seed):
    rng = np.random.default_rng(seed)
    path = np.cumsum(rng.normal(0.0, 1.0, (12, 2)), axis=0)
    line = shapely.LineString(path)
    along = g.arc_length(path)
    assert along[0] == 0.0
    assert along[-1] == pytest.approx(line.length)
    s = rng.uniform(0.0, along[-1], 7)
    expected = [line.interpolate(distance).coords[0] for distance in s]
    assert g.point_at(path, s) == pytest.approx(np.array(expected), abs=1e-9)
    assert g.point_at(path, float(s[0])) == pytest.approx(np.array(expected[0]), abs=1e-9)
    far = rng.normal(0.0, 4.0, (9, 2))
    distances = shapely.distance(shapely.points(far), line)
    assert g.distance_to_polyline(far, path) == pytest.approx(distances, abs=1e-9)
    places, gaps = g.project_to_polyline(far, path)
    assert g.distance(g.point_at(path, places), far) == pytest.approx(gaps, abs=1e-9)


def test_places_beyond_the_ends_are_the_ends():
    path = np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0]])
    assert g.point_at(path, np.array([-1.0, 0.0, 7.0, 9.0])).tolist() == [[0, 0], [0, 0], [3, 4], [3, 4]]


def test_several_polylines_at_once_are_each_by_itself():
    rng = np.random.default_rng(5)
    paths = np.cumsum(rng.uniform(0.0, 1.0, (3, 4, 20, 2)), axis=-2)
    s = rng.uniform(0.0, 8.0, (3, 4, 6))
    together = g.point_at(paths, s)
    smooth = np.stack([np.stack([arc(3.0 + i + j, 40.0, 60, 4.0)[:60] for j in range(4)]) for i in range(3)])
    places, curvature = g.menger_curvature(smooth, 0.5)
    chords = g.chord_point(smooth, g.arc_length(smooth)[..., -1], 1.5)
    for index in np.ndindex(3, 4):
        assert together[index] == pytest.approx(g.point_at(paths[index], s[index]), abs=1e-9)
        assert g.resample(paths, 9)[index] == pytest.approx(g.resample(paths[index], 9), abs=1e-9)
        one = g.menger_curvature(smooth[index], 0.5)
        assert places[index] == pytest.approx(one[0])
        assert curvature[index] == pytest.approx(one[1], abs=1e-7)
        assert g.tangent_angles_deg(smooth)[index] == pytest.approx(g.tangent_angles_deg(smooth[index]))
        alone = g.chord_point(smooth[index], g.arc_length(smooth[index])[-1], 1.5)
        assert chords[index] == pytest.approx(alone, abs=1e-9)


def test_resample_keeps_ends_and_spaces_evenly():
    path = arc(5.0, 60.0, 4000, 6.0)
    found = g.resample(path, 51)
    assert found[[0, -1]] == pytest.approx(path[[0, -1]])
    steps = np.diff(g.arc_length(path)[-1] * np.linspace(0, 1, 51))
    assert g.distance(found[:-1], found[1:]) == pytest.approx(steps, rel=1e-3)
    assert g.distance_to_polyline(found, path).max() < 1e-12
    with pytest.raises(ValueError, match="at least two"):
        g.resample(path, 1)


def test_a_window_has_exact_ends_and_carries_only_its_length():
    path = np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0]])
    part = g.window(path, 1.0, 5.5)
    assert part.tolist() == [[1.0, 0.0], [3.0, 0.0], [3.0, 2.5]]
    assert g.trapezoid_weights(part).sum() == pytest.approx(4.5)
    outside = g.window(path, 4.0, 6.0)
    assert outside.tolist() == [[3.0, 1.0], [3.0, 1.0], [3.0, 3.0]]
    assert g.trapezoid_weights(outside).sum() == pytest.approx(2.0)
    each = g.window(np.stack([path, path]), np.array([0.0, 4.0]), np.array([2.0, 7.0]))
    assert each[:, [0, -1]].tolist() == [[[0, 0], [2, 0]], [[3, 1], [3, 4]]]


# --- Turning and curvature ----------------------------------------------------------------------------------


def test_vertex_turning_of_a_polygon():
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0], [0.0, 0.0]])
    assert g.vertex_turning_deg(square) == pytest.approx([90.0, 90.0, 90.0])
    assert g.vertex_turning_deg(square[::-1]) == pytest.approx([-90.0, -90.0, -90.0])


def test_spurious_turning_of_noisy_points():
    """Points 1 mm apart, error e: the turn at a point has sd sqrt(6) e, on average sqrt(2 / pi) of it."""
    rng = np.random.default_rng(0)
    noisy = np.column_stack([np.arange(20_001.0), rng.normal(0.0, 0.05, 20_001)])
    expected = np.degrees(np.sqrt(2.0 / np.pi) * np.sqrt(6.0) * 0.05)
    assert expected == pytest.approx(5.6, abs=0.01)
    assert np.abs(g.vertex_turning_deg(noisy)).mean() == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize("step_deg", [0.2, 2.0, 5.0])
def test_tangents_are_exact_on_an_arc_to_its_ends(step_deg):
    count = round(60.0 / step_deg) + 1
    bend = arc(5.0, 60.0, count)
    assert g.tangent_angles_deg(bend) == pytest.approx(np.linspace(0.0, 60.0, count), abs=1e-9)
    assert np.sum(g.vertex_turning_deg(bend)) == pytest.approx(60.0 - step_deg, abs=1e-9)


def test_tangents_are_exact_where_straight_meets_arc_and_arc_meets_opposite_arc():
    h = 0.05
    turn = np.concatenate([np.zeros(40), np.full(40, np.degrees(h / 4.0)), np.full(40, -np.degrees(h / 6.0))])
    heading = np.radians(np.concatenate([[0.0], np.cumsum(turn)]))
    rate = np.radians(turn)
    # A chord of an arc of length h that turns by t is h sin(t / 2) / (t / 2) long and has the mean direction.
    chord = h * np.sinc(rate / 2.0 / np.pi)
    mean = heading[:-1] + rate / 2.0
    steps = np.column_stack([chord * np.cos(mean), chord * np.sin(mean)])
    path = np.concatenate([np.zeros((1, 2)), np.cumsum(steps, axis=0)])
    assert g.tangent_angles_deg(path) == pytest.approx(np.degrees(heading), abs=1e-3)
    total = np.sum(np.abs(np.diff(g.tangent_angles_deg(path))))
    assert total == pytest.approx(np.degrees(40 * h / 4.0 + 40 * h / 6.0), abs=2e-3)


def test_tangents_of_three_and_four_points():
    assert g.tangent_angles_deg(arc(5.0, 20.0, 3)) == pytest.approx([0.0, 10.0, 20.0])
    assert g.tangent_angles_deg(arc(5.0, 30.0, 4)) == pytest.approx([0.0, 10.0, 20.0, 30.0])


def test_tangents_do_not_wrap():
    assert g.tangent_angles_deg(arc(2.0, 400.0, 401))[-1] == pytest.approx(400.0)


def test_menger_curvature_of_an_arc_and_across_its_beginning():
    """1 / R inside; one leg of h on the straight piece and one on the arc gives about 1 / (2 R)."""
    path = arc(8.0, 45.0, 6284, 8.0)
    s, curvature = g.menger_curvature(path, 1.0)
    assert curvature[(s > 9.0) & (s < 13.0)] == pytest.approx(1.0 / 8.0, abs=1e-6)
    assert np.interp(8.0, s, curvature) == pytest.approx(1.0 / 16.0, rel=5e-3)
    assert curvature[s < 6.9] == pytest.approx(0.0, abs=1e-9)
    assert s[0] == 1.0
    assert s[-1] == pytest.approx(g.arc_length(path)[-1] - 1.0)
    assert g.menger_curvature(path * [1.0, -1.0], 1.0)[1] == pytest.approx(-curvature, abs=1e-9)


@pytest.mark.parametrize("reach", [0.0, -1.0, 8.0])
def test_menger_curvature_needs_room(reach):
    with pytest.raises(ValueError, match="shorter than twice"):
        g.menger_curvature(arc(8.0, 90.0, 100), reach)


def test_a_chord_point_is_where_shapely_cuts_the_circle():
    path = arc(5.0, 70.0, 300, 7.0)
    length = g.arc_length(path)[-1]
    for s in (length, length - 1.7):
        found = float(g.chord_point(path, s, 3.0))
        assert found < s
        centre = shapely.Point(g.point_at(path, s))
        assert centre.distance(shapely.Point(g.point_at(path, found))) == pytest.approx(3.0, abs=1e-12)
        cut = shapely.intersection(centre.buffer(3.0, quad_segs=4096).exterior, shapely.LineString(path))
        assert cut.distance(shapely.Point(g.point_at(path, found))) < 1e-5
    assert np.isnan(g.chord_point(path, 2.0, 3.0))


def test_a_chord_point_is_the_first_one_on_the_way_back():
    """The path comes back into the circle: the nearer crossing counts."""
    path = np.array([[0.0, 1.0], [10.0, 1.0], [10.0, 0.0], [0.0, 0.0]])
    assert g.chord_point(path, 21.0, 3.0) == pytest.approx(18.0)


# --- Against an independent spline --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def natural():
    """A natural cubic spline through a few points, evaluated densely with its derivatives by `splines`."""
    knots = [(0.0, 0.0), (3.0, 0.2), (6.0, 1.0), (8.5, 3.0), (10.0, 5.5), (12.0, 7.0)]
    spline = splines.Natural(knots, alpha=0.5)
    t = np.linspace(spline.grid[0], spline.grid[-1], 6001)
    return spline.evaluate(t), spline.evaluate(t, 1), spline.evaluate(t, 2), spline


def test_length_agrees_with_splines(natural):
    curve, velocity, _, _ = natural
    speed = np.hypot(*velocity.T)
    t = np.linspace(natural[3].grid[0], natural[3].grid[-1], 6001)
    assert g.arc_length(curve)[-1] == pytest.approx(np.trapezoid(speed, t), abs=1e-6)
    steady = splines.UnitSpeedAdapter(natural[3])
    assert g.arc_length(curve)[-1] == pytest.approx(steady.grid[-1], abs=1e-4)
    assert g.point_at(curve, 5.0) == pytest.approx(steady.evaluate(5.0), abs=1e-4)


def test_direction_and_curvature_agree_with_splines(natural):
    curve, velocity, acceleration, _ = natural
    direction = np.degrees(np.unwrap(np.arctan2(velocity[:, 1], velocity[:, 0])))
    assert g.tangent_angles_deg(curve) == pytest.approx(direction, abs=1e-3)
    expected = g.cross(velocity, acceleration) / np.hypot(*velocity.T) ** 3
    s, found = g.menger_curvature(curve, 0.05)
    inside = (s > 0.1) & (s < s[-1] - 0.1)
    assert found[inside] == pytest.approx(np.interp(s, g.arc_length(curve), expected)[inside], abs=5e-3)


def test_smoothing_agrees_with_splines(natural):
    curve, velocity, acceleration, _ = natural
    expected = g.cross(velocity, acceleration) / np.hypot(*velocity.T) ** 3
    smooth = g.smooth_curve(curve[::10])
    assert g.distance_to_polyline(smooth.points, curve).max() < 2e-3
    found = np.interp(g.arc_length(curve), smooth.s, smooth.curvature)
    inner = slice(300, -300)
    assert found[inner] == pytest.approx(expected[inner], abs=0.02)


# --- Smoothing ----------------------------------------------------------------------------------------------


def noisy_arc(rng: np.random.Generator, sd: float, *, correlation: float = 0.0) -> np.ndarray:
    """14 mm of arc, R = 14, points 0.03 mm apart with errors across it."""
    bend = arc(14.0, 60.0, 490)
    error = rng.normal(0.0, sd, len(bend) + 80)
    if correlation > 0.0:
        # A Gaussian kernel of standard deviation w gives errors whose autocorrelation has the area 2
        # sqrt(pi) w.
        kernel = np.exp(-0.5 * (np.arange(-40, 41) * 0.03 / (correlation / 2.0 / np.sqrt(np.pi))) ** 2)
        error = np.convolve(error, kernel / np.sqrt(np.sum(kernel**2)), "same")
    return with_error(bend, np.linspace(0.0, 60.0, len(bend)), error[40:-40])


def with_error(curve: np.ndarray, heading_deg: np.ndarray, error: np.ndarray) -> np.ndarray:
    """A curve with errors across it."""
    heading = np.radians(heading_deg)
    return curve + error[:, None] * np.column_stack([-np.sin(heading), np.cos(heading)])


@pytest.mark.parametrize(
    ("sd", "known", "correlation"),
    [(0.02, True, 0.0), (0.02, False, 0.0), (0.05, True, 0.0), (0.05, True, 0.3), (0.02, False, 0.15)],
)
def test_the_error_of_the_curvature_is_of_the_right_size(sd, known, correlation):
    """40 traces of an even arc: the mean square of error / standard error is under 1, the safe side."""
    rng = np.random.default_rng(8)
    scores, errors, sds = [], [], []
    for _ in range(40):
        trace = noisy_arc(rng, sd, correlation=correlation)
        given_sd = np.full(len(trace), sd) if known else None
        smooth = g.smooth_curve(trace, position_sd=given_sd, correlation=correlation, count=60)
        error = smooth.curvature - 1.0 / 14.0
        scores.append(np.mean((error / smooth.curvature_sd) ** 2))
        errors.append(np.mean(error))
        sds.append(np.mean(smooth.curvature_sd))
    assert 0.2 < np.mean(scores) < 1.2
    assert abs(np.mean(errors)) < 0.002
    assert np.mean(sds) < 0.012


@pytest.mark.parametrize("known", [True, False])
def test_the_interval_of_the_curvature_holds_the_truth(known):
    """8 mm straight, then R = 8: in about 95 % of the places, fewer near the beginning of the arc."""
    rng = np.random.default_rng(21)
    curve = arc(8.0, 60.0, 280, 8.0)
    heading = np.concatenate([np.zeros(len(curve) - 280), np.linspace(0.0, 60.0, 280)])
    hits = []
    for _ in range(40):
        trace = with_error(curve, heading, rng.normal(0.0, 0.03, len(curve)))
        smooth = g.smooth_curve(trace, position_sd=np.full(len(curve), 0.03) if known else None)
        truth = np.where(smooth.s / smooth.s[-1] * g.arc_length(curve)[-1] > 8.0, 1.0 / 8.0, 0.0)
        hits.append(np.abs(smooth.curvature - truth) < 1.96 * smooth.curvature_sd)
    assert 0.86 < np.mean(hits) < 0.985


def test_the_error_of_the_curvature_follows_from_its_formula():
    """Derivatives of (x'y'' - y'x'') / |r'|^3 against differences, one error shared by all coefficients."""
    rng = np.random.default_rng(6)
    velocity, acceleration = rng.normal(1.0, 0.5, (2, 9, 2))
    first, second = rng.normal(0.0, 1.0, (2, 9, 1))

    def formula(x_error: float, y_error: float) -> np.ndarray:
        v = velocity + first * [x_error, y_error]
        a = acceleration + second * [x_error, y_error]
        return g.cross(v, a) / np.hypot(*v.T) ** 3

    step = 1e-6
    by_x, by_y = ((formula(*(step * e)) - formula(*(-step * e))) / (2.0 * step) for e in np.eye(2))
    curvature, sd = smoothing._curvature(velocity, acceleration, first, second, np.eye(1))
    assert curvature == pytest.approx(formula(0.0, 0.0))
    assert sd == pytest.approx(np.hypot(by_x, by_y), rel=1e-6)


def test_the_position_error_is_estimated_when_nobody_knows_it():
    """Errors that hang together over 0.15 mm are averaged over it, so the estimate is theirs."""
    rng = np.random.default_rng(2)
    found = [
        g.smooth_curve(noisy_arc(rng, 0.03, correlation=0.15), correlation=0.15).position_sd
        for _ in range(20)
    ]
    assert np.mean(found) == pytest.approx(0.03, rel=0.25)


def test_smoothing_keeps_exact_curves_and_turns_with_them():
    bend = arc(6.0, 80.0, 400)
    smooth = g.smooth_curve(bend)
    assert smooth.curvature == pytest.approx(1.0 / 6.0, abs=2e-3)
    assert np.hypot(*smooth.tangent.T) == pytest.approx(1.0)
    assert g.smooth_curve(bend * [1.0, -1.0]).curvature == pytest.approx(-smooth.curvature, abs=1e-6)
    doubled = g.smooth_curve(2.0 * bend)
    assert doubled.curvature == pytest.approx(smooth.curvature / 2.0, abs=1e-4)
    straight = g.smooth_curve(np.column_stack([np.linspace(0.0, 12.0, 200), np.zeros(200)]))
    assert straight.curvature == pytest.approx(0.0, abs=1e-9)
    assert straight.s[-1] == pytest.approx(12.0, rel=1e-3)


def test_smoothing_needs_eight_points():
    with pytest.raises(ValueError, match="at least eight"):
        g.smooth_curve(arc(6.0, 80.0, 7))
    assert len(g.smooth_curve(arc(6.0, 80.0, 8)).s) == 200
