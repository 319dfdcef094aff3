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


@pytest.mark.parametrize(
    "path",
    [
        arc(3.0, 359.0, 700),  # every place of a circle is equally near to its centre
        np.repeat(
            np.random.default_rng(7).normal(0.0, 3.0, (50, 2)), 3, axis=0
        ),  # repeated points, crossings
        np.array([[1.0, 1.0], [1.0, 1.0]]),  # no length at all
        np.array([[0.0, 0.0], [5.0, 0.0]]) + 1e6,  # far from the origin
    ],
    ids=["circle", "tangle", "point", "far"],
)
def test_nearest_places_on_hard_lines_are_shapelys(path):
    """More points than are looked at together, all around the line and on it."""
    rng = np.random.default_rng(3)
    middle = path.mean(axis=0)
    points = np.concatenate([[middle], path[:5], middle + rng.normal(0.0, 4.0, (2000, 2))])
    places, gaps = g.project_to_polyline(points, path)
    line = shapely.linestrings(path)
    assert gaps == pytest.approx(shapely.distance(shapely.points(points), line), abs=1e-8)
    assert g.distance(g.point_at(path, places), points) == pytest.approx(gaps, abs=1e-8)
    assert [found.shape for found in g.project_to_polyline(np.zeros((0, 2)), path)] == [(0,), (0,)]


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
