"""Constructions are geometry: their angles, radii and distances must equal what the core measured."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curvometer import (
    QUANTITY_NAMES,
    Calibration,
    CalibrationOrigin,
    CanalMeasurement,
    calibrate_from_mm_per_pixel,
    centreline_from_points,
    measure_canal,
)
from curvometer_napari.constructions import (
    construction,
    cursor,
    distance_from_foramen,
    place_from_foramen,
)
from curvometer_napari.strokes import Role, Stroke, vectors

MM = 0.02


def canal_rc(*bends: tuple[float, float], straight_mm: float = 5.0, tail_mm: float = 1.0) -> np.ndarray:
    """(n, 2) pixels of a straight part, arcs of (radius in mm, turning in degrees), and a straight tail.

    It begins at (100, 500) and goes down; a positive turning bends towards greater columns.
    """
    position, heading, points = np.array([100.0, 500.0]) * MM, 0.0, []
    pieces = [
        (straight_mm, 0.0),
        *((r * np.radians(abs(t)), np.sign(t) / r) for r, t in bends),
        (tail_mm, 0.0),
    ]
    for length, curvature in pieces:
        for _ in range(round(length / 0.02)):
            points.append(position.copy())
            heading += curvature * 0.02
            position = position + 0.02 * np.array([np.cos(heading), np.sin(heading)])
    return np.array(points) / MM


CANALS = {
    "J": canal_rc((6.0, 40.0)),
    "S": canal_rc((8.0, 30.0), (7.0, -35.0), tail_mm=0.5),
    "straight": canal_rc((60.0, 3.0)),
    "long": canal_rc((10.0, 50.0), straight_mm=6.0),
}
J = CANALS["J"]


@cache
def measured(name: str = "J", *, aspect: float = 1.0, scale: bool = True) -> CanalMeasurement:
    """Measure a canal that is given on square pixels; with an aspect, rows are that much larger."""
    stretched = CANALS[name] / np.array([aspect, 1.0])
    if aspect == 1.0:
        calibration = calibrate_from_mm_per_pixel(MM) if scale else Calibration()
    else:
        calibration = Calibration(
            spacing_rc_mm=(MM * aspect, MM),
            aspect_ratio=aspect,
            origin=CalibrationOrigin.FIDUCIAL,
            at_tooth=True,
        )
    return measure_canal(centreline_from_points(stretched[::5]), calibration)


def square(stroke: Stroke, aspect: float = 1.0) -> np.ndarray:
    return stroke.points_rc * np.array([aspect, 1.0])


def of(strokes: tuple[Stroke, ...], role: Role) -> list[Stroke]:
    return [stroke for stroke in strokes if stroke.role is role]


def direction(stroke: Stroke, aspect: float = 1.0) -> np.ndarray:
    points = square(stroke, aspect)
    way = points[-1] - points[0]
    return way / np.hypot(*way)


def angle_between(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.degrees(np.arccos(np.clip(one @ other, -1.0, 1.0))))


@pytest.mark.parametrize("aspect", [1.0, 1.25])
@pytest.mark.parametrize("name", ["schneider_angle", "weine_angle", "long_axis_angle", "canal_access_angle"])
def test_lines_of_an_angle_enclose_the_measured_angle(name: str, aspect: float) -> None:
    """Drawn in square coordinates the two lines turn by what the core says, whatever the pixels' shape."""
    measurement = measured(aspect=aspect)
    strokes = construction(name, measurement, aspect_ratio=aspect)
    first, second = of(strokes, Role.FIRST_LINE)[0], of(strokes, Role.SECOND_LINE)[0]
    told = measurement.quantities[name]
    assert told is not None
    turned = angle_between(direction(first, aspect), direction(second, aspect))
    assert turned == pytest.approx(told.value, abs=0.7)


def test_lines_of_an_angle_are_not_right_on_the_wrong_aspect() -> None:
    """The same strokes taken as square pixels show another angle: the aspect is not ignored."""
    measurement = measured(aspect=1.25)
    strokes = construction("schneider_angle", measurement, aspect_ratio=1.25)
    first, second = of(strokes, Role.FIRST_LINE)[0], of(strokes, Role.SECOND_LINE)[0]
    assert measurement.schneider_angle is not None
    assert abs(angle_between(direction(first), direction(second)) - measurement.schneider_angle.value) > 1.5


def test_schneider_lines_meet_at_the_start_of_the_curve_and_the_arc_is_between_them() -> None:
    measurement = measured()
    marks = measurement.landmarks
    first, second, arc = construction("schneider_angle", measurement, aspect_ratio=1.0)
    assert marks.curve_start_rc is not None
    corner = np.asarray(marks.curve_start_rc)
    np.testing.assert_allclose(second.points_rc[0], corner, atol=1e-6)
    way = direction(first)
    off = corner - first.points_rc[0]
    assert abs(off[0] * way[1] - off[1] * way[0]) < 0.5
    assert arc.role is Role.ANGLE
    np.testing.assert_allclose(np.ptp(np.hypot(*(arc.points_rc - corner).T)), 0.0, atol=1e-6)
    ends = [(arc.points_rc[i] - corner) / np.hypot(*(arc.points_rc[i] - corner)) for i in (0, -1)]
    np.testing.assert_allclose(ends[0], way, atol=1e-3)
    np.testing.assert_allclose(ends[1], direction(second), atol=1e-6)


def test_label_is_the_cores_own_text() -> None:
    measurement = measured()
    labels = [s.label for s in construction("schneider_angle", measurement, aspect_ratio=1.0) if s.label]
    assert labels == [f"Schneider angle {measurement.schneider_angle}"]


@pytest.mark.parametrize("name", QUANTITY_NAMES)
@pytest.mark.parametrize("canal", ["J", "S", "straight"])
def test_every_measure_has_one_label_and_finite_strokes(name: str, canal: str) -> None:
    measurement = measured(canal)
    strokes = construction(name, measurement, aspect_ratio=1.0)
    if measurement.quantities[name] is None:
        assert strokes == ()
        return
    assert sum(bool(stroke.label) for stroke in strokes) <= 1
    for stroke in strokes:
        assert stroke.points_rc.shape[1] == 2
        assert len(stroke.points_rc) >= 2
        assert np.isfinite(stroke.points_rc).all()
    if canal == "J":
        assert sum(bool(stroke.label) for stroke in strokes) == 1


def test_a_length_without_a_scale_is_not_drawn() -> None:
    measurement = measured(scale=False)
    assert measurement.pruett_radius is None
    assert construction("pruett_radius", measurement, aspect_ratio=1.0) == ()
    assert construction("schneider_angle", measurement, aspect_ratio=1.0) != ()


@pytest.mark.parametrize("aspect", [1.0, 1.25])
@pytest.mark.parametrize("name", ["pruett_radius", "minimum_radius", "chord_radius"])
def test_circle_has_the_measured_radius(name: str, aspect: float) -> None:
    measurement = measured(aspect=aspect)
    strokes = construction(name, measurement, aspect_ratio=aspect)
    quantity = measurement.quantities[name]
    assert quantity is not None
    (circle,) = of(strokes, Role.CIRCLE)
    rays = of(strokes, Role.RADIUS)
    centre = square(rays[0], aspect)[-1]
    radii = np.hypot(*(square(circle, aspect) - centre).T)
    np.testing.assert_allclose(radii * MM, quantity.value, rtol=0.02)
    for ray in rays:
        np.testing.assert_allclose(square(ray, aspect)[-1], centre, atol=1e-6)
        assert np.hypot(*np.diff(square(ray, aspect), axis=0)[0]) * MM == pytest.approx(
            quantity.value, rel=0.02
        )


def test_three_point_circle_goes_through_its_three_points() -> None:
    measurement = measured("long")
    strokes = construction("three_point_radius", measurement, aspect_ratio=1.0)
    quantity = measurement.three_point_radius
    assert quantity is not None
    (segments,) = of(strokes, Role.SECOND_LINE)
    np.testing.assert_allclose(np.hypot(*np.diff(segments.points_rc, axis=0).T) * MM, 6.0, atol=0.01)
    ray = of(strokes, Role.RADIUS)[0].points_rc
    np.testing.assert_allclose(np.hypot(*(segments.points_rc - ray[-1]).T) * MM, quantity.value, rtol=0.02)


@pytest.mark.parametrize("aspect", [1.0, 1.25])
def test_height_is_perpendicular_and_as_long_as_measured(aspect: float) -> None:
    measurement = measured(aspect=aspect)
    for name in ("curvature_height", "curvature_distance"):
        quantity = measurement.quantities[name]
        strokes = construction(name, measurement, aspect_ratio=aspect)
        (told,) = of(strokes, Role.DISTANCE)
        assert quantity is not None
        assert np.hypot(*np.diff(square(told, aspect), axis=0)[0]) * MM == pytest.approx(
            quantity.value, abs=0.03
        )
    height = of(construction("curvature_height", measurement, aspect_ratio=aspect), Role.DISTANCE)[0]
    chord = construction("curvature_height", measurement, aspect_ratio=aspect)[0]
    assert abs(direction(height, aspect) @ direction(chord, aspect)) < 1e-6


def test_tangents_of_an_s_curve_that_do_not_meet_are_compared_at_the_foramen() -> None:
    measurement = measured("S")
    strokes = construction("weine_angle", measurement, aspect_ratio=1.0)
    (second,) = of(strokes, Role.SECOND_LINE)
    laid = of(strokes, Role.FIRST_LINE)[1]
    foramen = np.asarray(measurement.landmarks.foramen_rc)
    for stroke in (second, laid):
        way, off = direction(stroke), foramen - stroke.points_rc[0]
        assert abs(off[0] * way[1] - off[1] * way[0]) < 0.01
    rows, cols = np.vstack([stroke.points_rc for stroke in strokes]).T
    assert rows.max() < foramen[0] + 100.0  # the label stays near the canal, on the image
    assert cols.min() > 300.0


def test_length_is_drawn_on_the_traced_line() -> None:
    measurement = measured()
    traced = centreline_from_points(J[::5])
    told = of(construction("canal_length", measurement, traced, aspect_ratio=1.0), Role.DISTANCE)[0]
    np.testing.assert_array_equal(told.points_rc, traced.points_rc)


def test_marks_leave_the_canal_free() -> None:
    """No part of a mark across the canal comes nearer to the line than its gap."""
    measurement = measured()
    length_px = np.hypot(*np.diff(J, axis=0).T).sum()
    for stroke in cursor(measurement, 3.0, aspect_ratio=1.0):
        gaps = [np.hypot(*(J - point).T).min() for point in stroke.points_rc]
        assert min(gaps) > 0.01 * length_px


@settings(deadline=None, max_examples=25)
@given(place=st.floats(0.2, 8.0), aspect=st.sampled_from([1.0, 1.25]))
def test_place_and_distance_from_the_foramen_are_inverse(place: float, aspect: float) -> None:
    measurement = measured(aspect=aspect)
    point = place_from_foramen(measurement, place, aspect_ratio=aspect)
    found, gap = distance_from_foramen(measurement, point, aspect_ratio=aspect)
    assert found == pytest.approx(place, abs=0.03)
    assert gap < 1.5


def test_ends_are_orifice_and_foramen() -> None:
    measurement = measured()
    length = float(measurement.profile.from_foramen.max())
    np.testing.assert_allclose(
        place_from_foramen(measurement, 0.0, aspect_ratio=1.0), measurement.landmarks.foramen_rc, atol=1e-6
    )
    np.testing.assert_allclose(
        place_from_foramen(measurement, length, aspect_ratio=1.0), measurement.landmarks.orifice_rc, atol=1e-6
    )


# --- pieces ----------------------------------------------------------------------------------------------


def test_whole_line_is_covered_without_gaps() -> None:
    pieces = vectors(J, (), zoom=0.6, aspect_ratio=1.0)
    ends = pieces[:, 0] + pieces[:, 1]
    np.testing.assert_allclose(ends[:-1], pieces[1:, 0], atol=1e-9)
    np.testing.assert_allclose(pieces[0, 0], J[0], atol=1e-9)
    np.testing.assert_allclose(ends[-1], J[-1], atol=1e-9)


@settings(deadline=None, max_examples=40)
@given(
    zoom=st.floats(0.2, 8.0),
    dashes=st.sampled_from([(10.0, 5.0), (2.0, 4.0), (10.0, 4.0, 2.0, 4.0)]),
    aspect=st.sampled_from([1.0, 1.5]),
)
def test_dashes_cover_their_share_at_any_zoom(zoom: float, dashes: tuple[float, ...], aspect: float) -> None:
    """On a straight line of 300 columns the visible length is the dashes' share of the whole, up to one period."""
    line = np.array([[0.0, 0.0], [0.0, 300.0]])
    pieces = vectors(line, dashes, zoom=zoom, aspect_ratio=aspect)
    seen = float(np.hypot(*pieces[:, 1].T).sum()) * zoom
    share = sum(dashes[0::2]) / sum(dashes)
    assert seen == pytest.approx(300.0 * zoom * share, abs=sum(dashes))


def test_nothing_comes_of_a_point() -> None:
    assert len(vectors(np.array([[3.0, 4.0]]), (), zoom=1.0, aspect_ratio=1.0)) == 0
    assert len(vectors(np.array([[3.0, 4.0], [3.0, 4.0]]), (), zoom=1.0, aspect_ratio=1.0)) == 0
