"""The measures on canals of known shape, beside other libraries, and under moves that must change nothing.

The canals and their numbers are derived in `tests/published/curvature_tables.py`. Every measure gets the
table's own landmarks; that `measure_canal` finds them by itself is tested elsewhere. Tolerances: angles
0.001 degrees, lengths 0.001 mm.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import circle_fit
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from curvometer import bibliography
from curvometer import curvature as cv
from curvometer.radiograph import CurvometerError


def _load_tables() -> ModuleType:
    name = "curvature_tables"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(
            name, Path(__file__).parent / "published" / f"{name}.py"
        )
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


TABLES = _load_tables()
AXIS, ORIFICE = TABLES.AXIS, TABLES.ORIFICE
DEG = MM = 1e-3

arc_cases = pytest.mark.parametrize("case", TABLES.ARC_CASES, ids=lambda c: f"case{c.number}")
s_cases = pytest.mark.parametrize("case", TABLES.S_CASES, ids=lambda c: c.name)
curve_cases = pytest.mark.parametrize(
    "case", TABLES.CURVE_CASES, ids=lambda c: f"{c.kind}-{c.a:g}-{c.parameters}"
)


def _measured(case) -> dict[str, float]:
    """Every measure of tables A and B from the table's own landmarks and dense points."""
    points = case.points()
    lines = (case.start, AXIS, case.leaves_apical, case.apical)
    luiten = cv.luiten_points(points)
    if case.a < 2.0:  # no 2 mm of coronal axis on the canal: the table takes the axis itself
        luiten[1] = luiten[0] + 2.0 * AXIS
    found = {
        "L": cv.canal_length(points),
        "u_P": points[-1, 0],
        "v_P": points[-1, 1],
        "S": cv.schneider_angle(AXIS, case.start, case.foramen),
        "W": cv.weine_angle(AXIS, case.apical),
        "CAA": cv.canal_access_angle(ORIFICE, case.start, case.foramen, axis=AXIS),
        "x_B": cv.curvature_height(ORIFICE, case.start, case.foramen),
        "y_A": cv.curvature_distance(ORIFICE, case.start, case.foramen),
        "y_C": cv.curvature_distance(ORIFICE, case.start, case.foramen, measured_from="foramen"),
        "x_max": cv.maximum_curvature_height(points),
        "AC": np.hypot(*points[-1]),
        "BC": np.hypot(*(points[-1] - case.start)),
        "arc": np.radians(cv.pruett_angle(AXIS, case.apical)) * cv.pruett_radius(*lines),
        "r_tc": cv.chord_radius(AXIS, case.start, case.foramen),
        "len_tc": cv.chord_curve_length(AXIS, case.start, case.foramen),
        "RQ": cv.radius_quotient(
            cv.schneider_angle(AXIS, case.start, case.foramen), cv.pruett_radius(*lines)
        ),
        "luiten_1": cv.luiten_angle(*luiten),
        "la_3": cv.long_axis_angle(AXIS, points, apical_mm=3.0, line="chord"),
        "kappa": 1.0 / cv.pruett_radius(*lines),
    }
    for window in ("0.5", "1", "2"):
        found[f"kmax_{window}"] = 1.0 / cv.minimum_radius(points, window_mm=float(window)).radius_mm
    if case.printed["estrela_r"] is not None:
        found["estrela_r"] = cv.three_point_radius(points)
        found["estrela_h"] = cv.three_point_radius(points, reading="apothem")
    return found


@arc_cases
def test_every_number_of_tables_a_and_b(case):
    found = _measured(case)
    for name, expected in case.printed.items():
        if expected is not None:
            # A curvature is right when its radius is right within 0.001 mm: |dR| = R^2 |dk|.
            tolerance = max(MM * expected**2, 2e-6) if name.startswith("k") else MM
            assert found[name] == pytest.approx(expected, abs=min(tolerance, MM)), name


@arc_cases
def test_every_closed_form_of_tables_a_and_b(case):
    found = _measured(case)
    for name, expected in case.closed().items():
        if name in found:
            assert found[name] == pytest.approx(expected, abs=2e-6), name
            assert case.printed[name] == pytest.approx(expected, abs=1e-6), f"{name} as printed"


@arc_cases
def test_the_exact_identities(case):
    found = _measured(case)
    at_foramen = cv.canal_access_angle(case.foramen, case.start, ORIFICE)
    assert found["S"] == pytest.approx(found["CAA"] + at_foramen, abs=1e-9)
    assert found["y_A"] ** 2 + found["x_B"] ** 2 == pytest.approx(case.a**2, abs=1e-9)
    assert found["y_A"] + found["y_C"] == pytest.approx(found["AC"], abs=1e-9)
    assert found["RQ"] * case.R == pytest.approx(found["S"], abs=1e-9)
    if case.b == 0.0:
        assert found["W"] == pytest.approx(2.0 * found["S"], abs=1e-9)
        assert found["r_tc"] == pytest.approx(case.R, abs=1e-9)
        assert found["len_tc"] == pytest.approx(found["arc"], abs=1e-9)
    else:
        assert case.theta / 2.0 < found["S"] < case.theta


@arc_cases
def test_turning_and_pruett_circle(case):
    points = case.points()
    assert cv.net_turning(points) == pytest.approx(case.theta, abs=DEG)
    assert cv.total_turning(points) == pytest.approx(case.theta, abs=DEG)
    assert cv.mean_curvature(points) == pytest.approx(np.radians(case.theta) / case.printed["L"], abs=1e-6)
    first, second = cv.pruett_tangent_lengths(case.start, AXIS, case.leaves_apical, case.apical)
    assert first == pytest.approx(case.closed()["T"], abs=MM)
    assert cv.tangent_mismatch(first, second) == pytest.approx(0.0, abs=1e-9)
    inside = (points[:, 0] >= case.a - 1e-9) & (
        np.arange(len(points)) <= len(points) - 1 - round(case.b / 1e-3)
    )
    assert cv.pruett_radius_from_points(points[inside]) == pytest.approx(case.R, abs=MM)


@arc_cases
def test_the_coronal_axis_comes_from_the_points(case):
    if case.a == 0.0:
        with pytest.raises(cv.CanalTooShortError, match="curves from its orifice on"):
            cv.coronal_axis(case.points(), 0.0)
        return
    axis = cv.coronal_axis(case.points(), case.a)
    assert cv.schneider_angle(axis, case.start, case.foramen) == pytest.approx(case.printed["S"], abs=DEG)
    assert cv.canal_access_angle(ORIFICE, case.start, case.foramen) == pytest.approx(
        case.printed["CAA"], abs=DEG
    )


@arc_cases
def test_chord_windows_fall_short_by_the_derived_amount(case):
    """Inside a pure arc the chord over w mm has the direction of the tangent w / 2 short of the end."""
    w = min(1.5, case.R * np.radians(case.theta))
    if case.b > 0.0 or case.a < w:
        return
    short = np.degrees(w / (2.0 * case.R))
    points = case.points()
    for angle in (
        cv.weine_angle_from_chords(points, coronal_mm=w, apical_mm=w),
        cv.long_axis_angle(AXIS, points, apical_mm=w, line="best_fit"),
        cv.long_axis_angle(AXIS, points, apical_mm=w, line="chord"),
    ):
        assert angle == pytest.approx(case.theta - short, abs=DEG)


def test_each_window_counts_on_a_canal_that_curves_from_its_orifice_on():
    """One arc, R = 14, 60 degrees: windows w1, w2 give 60 - (180 / pi) (w1 + w2) / (2 R); Luiten: 2 and 1."""
    points = TABLES.ARC_CASES[14].points()
    found = cv.weine_angle_from_chords(points, coronal_mm=4.0, apical_mm=1.0)
    assert found == pytest.approx(60.0 - np.degrees(5.0 / 28.0), abs=DEG)
    assert cv.luiten_angle(*cv.luiten_points(points)) == pytest.approx(60.0 - np.degrees(3.0 / 28.0), abs=DEG)
    longer = cv.luiten_angle(*cv.luiten_points(points, coronal_mm=3.0, apical_mm=2.0))
    assert longer == pytest.approx(60.0 - np.degrees(5.0 / 28.0), abs=DEG)


def test_best_fit_and_chord_differ_where_the_window_leaves_the_arc():
    """Case 3 has 2.09 mm of arc; its last 3 mm are straight and arc: the chord is at 10.450, a fit is not."""
    case = TABLES.ARC_CASES[2]
    chord, fit = (cv.long_axis_angle(AXIS, case.points(), line=line) for line in ("chord", "best_fit"))
    assert chord == pytest.approx(10.449974, abs=DEG)
    assert abs(fit - chord) > 0.2


@s_cases
def test_every_number_of_the_s_shaped_canals(case):
    points, (_, start, end_1, start_2, _, foramen) = case.points(), case.joints
    assert case.closed_foramen() == pytest.approx(foramen, abs=1e-9)
    tangent = TABLES.direction(case.theta1)
    found = {
        "L": cv.canal_length(points),
        "u_P": foramen[0],
        "v_P": foramen[1],
        "S1_end": cv.schneider_angle(AXIS, start, end_1),
        "S2_start": cv.secondary_schneider_angle(tangent, start_2, foramen),
        "S1_mid": cv.schneider_angle(AXIS, start, case.middle),
        "S2_mid": cv.secondary_schneider_angle(tangent, case.middle, foramen),
        "S_global": cv.schneider_angle(AXIS, start, foramen),
        "net": cv.net_turning(points),
        "total": cv.total_turning(points),
        "CAA": cv.canal_access_angle(ORIFICE, start, foramen),
    }
    assert found.keys() == case.printed.keys()
    for name, expected in case.printed.items():
        assert found[name] == pytest.approx(expected, abs=DEG), name
    assert cv.weine_angle(AXIS, points[-1] - points[-2]) == pytest.approx(case.printed["net"], abs=0.05)
    assert cv.canal_form(points) == "S"


def test_the_line_between_the_bends_would_hide_a_symmetric_s():
    """The secondary angle is drawn from the tangent: from the line B to inflection it is |th1 - th2| / 2."""
    for case, expected in ((TABLES.S_CASES[1], 0.0), (TABLES.S_CASES[0], 5.0), (TABLES.S_CASES[4], 7.5)):
        _, start, inflection, _, _, foramen = case.joints
        wrong = cv.secondary_schneider_angle(inflection - start, inflection, foramen)
        assert wrong == pytest.approx(expected, abs=1e-9)


@curve_cases
def test_every_number_of_the_curves_that_are_not_circular(case):
    step = 5e-4
    points, foramen = case.points(step), case.foramen
    lines = (case.start, AXIS, foramen, case.apical)
    tangents = cv.pruett_tangent_lengths(*lines)
    schneider = cv.schneider_angle(AXIS, case.start, foramen)
    tightest = cv.minimum_radius(points, window_mm=step)
    apex = cv.minimum_radius(points[-7:], window_mm=step)
    found = {
        "L": cv.canal_length(points),
        "S": schneider,
        "W": cv.net_turning(points),
        "S/W": schneider / cv.weine_angle(AXIS, case.apical),
        "CAA": cv.canal_access_angle(ORIFICE, case.start, foramen),
        "x_B": cv.curvature_height(ORIFICE, case.start, foramen),
        "y_A": cv.curvature_distance(ORIFICE, case.start, foramen),
        "kappa_max": 1.0 / tightest.radius_mm,
        "R_min": tightest.radius_mm,
        "kappa_apex": 1.0 / apex.radius_mm,
        "T1": tangents[0],
        "T2": tangents[1],
        "R_pruett": cv.pruett_radius(*lines),
        "r_tc": cv.chord_radius(AXIS, case.start, foramen),
    }
    assert found.keys() == case.printed.keys()
    for name, expected in case.printed.items():
        assert found[name] == pytest.approx(expected, abs=MM), name
    assert cv.total_turning(points) == pytest.approx(case.printed["W"], abs=DEG)
    mismatch = abs(case.printed["T1"] - case.printed["T2"]) / np.mean(
        [case.printed["T1"], case.printed["T2"]]
    )
    assert cv.tangent_mismatch(*tangents) == pytest.approx(mismatch, abs=1e-5)


def test_the_ratio_of_schneider_to_weine_tells_the_shape():
    """1/2 on an arc, above it when the canal flattens (parabola: tan W = 2 tan S), 1/3 on a clothoid."""
    for case in TABLES.CURVE_CASES:
        schneider = cv.schneider_angle(AXIS, case.start, case.foramen)
        ratio = schneider / cv.weine_angle(AXIS, case.apical)
        if case.kind == "parab":
            double = 2.0 * np.tan(np.radians(schneider))
            assert np.tan(np.radians(cv.weine_angle(AXIS, case.apical))) == pytest.approx(double, abs=1e-6)
            assert ratio > 0.5
        else:
            assert 0.33 < ratio < 0.5


@pytest.mark.parametrize(
    ("radius", "angle", "window", "expected"),
    [(2, 45, 1, 0.476587), (2, 60, 2, 0.383169), (4, 30, 2, 0.192847), (15, 10, 2, 0.058702)],
)
def test_an_arc_shorter_than_the_window_is_measured_too_wide(radius, angle, window, expected):
    """Straight on both sides: e = h - R th/2, X = R sin(th/2) + e cos(th/2), k = 2 Y / (X^2 + Y^2)."""
    half = np.radians(angle) / 2.0
    e = window - radius * half
    x = radius * np.sin(half) + e * np.cos(half)
    y = radius * (1.0 - np.cos(half)) + e * np.sin(half)
    assert 2.0 * y / (x * x + y * y) == pytest.approx(expected, abs=1e-6)
    points, _ = TABLES.lay([(5.0, 0.0), (radius * 2.0 * half, angle), (5.0, 0.0)], 1e-3)
    assert 1.0 / cv.minimum_radius(points, window_mm=window).radius_mm == pytest.approx(expected, abs=2e-6)


def test_the_tightest_place_is_told_from_the_foramen():
    """Of an even arc the most coronal place: one window behind its start, so L - a - h from the foramen."""
    case = TABLES.ARC_CASES[4]
    place = cv.minimum_radius(case.points(), window_mm=0.5)
    assert place.from_foramen_mm == pytest.approx(case.printed["L"] - case.a - 0.5, abs=0.01)
    straight = cv.minimum_radius(np.column_stack([np.linspace(0, 10, 101), np.zeros(101)]))
    assert np.isinf(straight.radius_mm)


def test_a_wrong_angle_in_the_chord_formula_halves_the_radius():
    """The trap of Schaefer's formula: BC / (2 sin W) is R / (2 cos(th / 2)), 0.518 R at 30 degrees."""
    case = TABLES.ARC_CASES[0]
    trapped = case.closed()["BC"] / (2.0 * np.sin(np.radians(case.theta)))
    assert trapped / case.R == pytest.approx(0.5177, abs=1e-4)
    assert cv.chord_radius(AXIS, case.start, case.foramen) == pytest.approx(case.R, abs=MM)


def test_a_straight_canal():
    points = np.column_stack([np.linspace(0.0, 14.0, 50), np.zeros(50)])
    foramen = points[-1]
    assert cv.schneider_angle(AXIS, points[20], foramen) == 0.0
    assert np.isinf(cv.chord_radius(AXIS, points[20], foramen))
    assert cv.chord_curve_length(AXIS, points[20], foramen) == pytest.approx(foramen[0] - points[20, 0])
    assert np.isinf(cv.three_point_radius(points))
    assert np.isinf(cv.pruett_radius_from_points(points))
    assert cv.radius_quotient(0.0, np.inf) == 0.0
    assert cv.canal_form(points) == "I"
    with pytest.raises(cv.DegenerateLandmarksError, match="parallel"):
        cv.pruett_radius(points[20], AXIS, foramen, AXIS)


def test_a_hook_beyond_a_right_angle_is_not_folded():
    """An arc of 200 degrees has S = 100, not the acute 80."""
    points, joints = TABLES.lay([(8.0, 0.0), (3.0 * np.radians(200.0), 200.0)], 1e-3)
    assert cv.schneider_angle(AXIS, joints[1], points[-1]) == pytest.approx(100.0, abs=DEG)
    assert cv.net_turning(points) == pytest.approx(200.0, abs=DEG)


@pytest.mark.parametrize(
    ("pieces", "form"),
    [
        ([(10.0, 0.0), (5.0, 4.0)], "I"),
        ([(10.0, 0.0), (5.0, 30.0)], "J"),
        ([(14.0, 35.0)], "C"),
        ([(3.4, 0.0), (10.6, 35.0)], "C"),
        ([(3.6, 0.0), (10.4, 35.0)], "J"),
        ([(6.0, 0.0), (4.0, 30.0), (4.0, -4.9)], "J"),
        ([(6.0, 0.0), (4.0, 30.0), (4.0, -5.1)], "S"),
        ([(5.0, 20.0), (5.0, 0.0), (5.0, -20.0)], "S"),
    ],
)
def test_canal_form(pieces, form):
    """The limits are ours: 5 degrees in all, 5 to each side, an even bend over 3/4 of the length."""
    assert cv.canal_form(TABLES.lay(pieces, 0.02)[0]) == form


@pytest.mark.parametrize(
    ("angle", "name"),
    [
        (0.0, "STRAIGHT"), (5.0, "STRAIGHT"), (5.01, "GAP_5_10"), (9.99, "GAP_5_10"), (10.0, "MODERATE"),
        (20.0, "MODERATE"), (20.01, "GAP_20_25"), (24.99, "GAP_20_25"), (25.0, "SEVERE"), (70.0, "SEVERE"),
        (70.1, "BEYOND"),
    ],
)  # fmt: skip
def test_schneider_class(angle, name):
    assert cv.schneider_class(angle) is cv.SchneiderClass[name]
    assert ("gap" in cv.schneider_class(angle)) == name.startswith("GAP")


@pytest.mark.parametrize(
    ("radius", "expected"),
    [
        (0.1, "severe"),
        (4.0, "severe"),
        (4.01, "moderate"),
        (8.0, "moderate"),
        (8.1, "mild"),
        (np.inf, "mild"),
    ],
)
def test_estrela_class(radius, expected):
    assert cv.estrela_class(radius) == expected


# --- Several canals in one call ----------------------------------------------------------------------------


def test_landmark_measures_broadcast_over_canals():
    cases = [c for c in TABLES.ARC_CASES if c.a > 0.0]
    start, foramen = (np.array([getattr(c, n) for c in cases]) for n in ("start", "foramen"))
    leaves, apical = (np.array([getattr(c, n) for c in cases]) for n in ("leaves_apical", "apical"))
    lines = (start, AXIS, leaves, apical)
    found = {
        "S": cv.schneider_angle(AXIS, start, foramen),
        "W": cv.weine_angle(AXIS, apical),
        "CAA": cv.canal_access_angle(ORIFICE, start, foramen),
        "x_B": cv.curvature_height(ORIFICE, start, foramen),
        "y_A": cv.curvature_distance(ORIFICE, start, foramen),
        "y_C": cv.curvature_distance(ORIFICE, start, foramen, measured_from="foramen"),
        "r_tc": cv.chord_radius(AXIS, start, foramen),
        "len_tc": cv.chord_curve_length(AXIS, start, foramen),
        "kappa": 1.0 / cv.pruett_radius(*lines),
        "RQ": cv.radius_quotient(cv.schneider_angle(AXIS, start, foramen), cv.pruett_radius(*lines)),
    }
    for name, values in found.items():
        assert values == pytest.approx([c.printed[name] for c in cases], abs=MM), name
    deeper = cv.schneider_angle(AXIS, start[None, :, None], foramen[None, :, None])
    assert deeper.shape == (1, len(cases), 1)


def test_point_measures_take_several_canals_at_once():
    cases = TABLES.ARC_CASES
    canals = np.stack([_thinned(c.points(2e-3), 4001) for c in cases])
    assert canals.shape == (len(cases), 4001, 2)
    one_by_one = {
        "length": [cv.canal_length(c) for c in canals],
        "chords": [cv.weine_angle_from_chords(c, coronal_mm=1.0, apical_mm=1.5) for c in canals],
        "long": [cv.long_axis_angle(AXIS, c) for c in canals],
        "luiten": [cv.luiten_angle(*cv.luiten_points(c)) for c in canals],
        "height": [cv.maximum_curvature_height(c) for c in canals],
        "net": [cv.net_turning(c) for c in canals],
        "total": [cv.total_turning(c) for c in canals],
        "radius": [cv.minimum_radius(c).radius_mm for c in canals],
        "place": [cv.minimum_radius(c).from_foramen_mm for c in canals],
    }
    together = {
        "length": cv.canal_length(canals),
        "chords": cv.weine_angle_from_chords(canals, coronal_mm=1.0, apical_mm=1.5),
        "long": cv.long_axis_angle(AXIS, canals),
        "luiten": cv.luiten_angle(*np.moveaxis(cv.luiten_points(canals), -2, 0)),
        "height": cv.maximum_curvature_height(canals),
        "net": cv.net_turning(canals),
        "total": cv.total_turning(canals),
        "radius": cv.minimum_radius(canals).radius_mm,
        "place": cv.minimum_radius(canals).from_foramen_mm,
    }
    for name, values in together.items():
        assert values == pytest.approx(one_by_one[name], rel=1e-9, abs=1e-9), name


def test_a_canal_too_short_for_three_points_among_others_is_no_number():
    cases = [TABLES.ARC_CASES[i] for i in (0, 6, 7)]  # the middle one is 11.57 mm long
    radii = cv.three_point_radius(np.stack([_thinned(c.points(), 4001) for c in cases]))
    assert np.isnan(radii).tolist() == [False, True, False]
    assert radii[[0, 2]] == pytest.approx([26.700618, 8.607454], abs=0.01)


def _thinned(points: np.ndarray, count: int) -> np.ndarray:
    return points[np.linspace(0, len(points) - 1, count).round().astype(int)]


# --- Independent references --------------------------------------------------------------------------------


@arc_cases
def test_lengths_and_distances_agree_with_shapely(case):
    points = case.points(0.01)
    line = shapely.LineString(points)
    assert cv.canal_length(points) == pytest.approx(line.length, abs=1e-9)
    chord = shapely.LineString(points[[0, -1]])
    heights = shapely.distance(shapely.points(points), chord)
    if (points @ points[-1] >= 0.0).all():
        assert cv.maximum_curvature_height(points) == pytest.approx(heights.max(), abs=1e-9)
    start = shapely.Point(case.start)
    assert cv.curvature_height(ORIFICE, case.start, case.foramen) == pytest.approx(
        start.distance(chord), abs=1e-6
    )
    assert cv.curvature_distance(ORIFICE, case.start, case.foramen) == pytest.approx(
        chord.project(start), abs=1e-6
    )
    if case.printed["estrela_r"] is not None:
        foramen, joint, end = cv.three_point_landmarks(points)
        circle = shapely.Point(foramen).buffer(6.0, quad_segs=4096).exterior
        crossing = shapely.intersection(circle, line)
        assert crossing.distance(shapely.Point(joint)) < 1e-4
        assert shapely.Point(joint).distance(shapely.Point(end)) == pytest.approx(6.0, abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_pruett_circle_agrees_with_circle_fit(seed):
    rng = np.random.default_rng(seed)
    angle = np.linspace(0.0, np.radians(rng.uniform(20.0, 80.0)), 60)
    radius = rng.uniform(2.0, 15.0)
    points = radius * np.column_stack([np.sin(angle), 1.0 - np.cos(angle)]) + rng.normal(0.0, 0.02, (60, 2))
    start = circle_fit.standardLSQ(points)[:3]
    _, _, expected, _ = circle_fit.lm(points, start)
    assert cv.pruett_radius_from_points(points) == pytest.approx(expected, rel=1e-4)


# --- Moves that must change nothing ------------------------------------------------------------------------

shapes = st.tuples(
    st.floats(6.0, 12.0),
    st.floats(3.0, 15.0),
    st.floats(15.0, 70.0),
    st.one_of(st.just(0.0), st.floats(1.0, 3.0)),
)  # a, R, theta, b
angles_of_points = {
    "net": cv.net_turning,
    "total": cv.total_turning,
    "luiten": lambda p: cv.luiten_angle(*cv.luiten_points(p)),
    "chords": lambda p: cv.weine_angle_from_chords(p, coronal_mm=2.0, apical_mm=1.0),
    "long": lambda p: cv.long_axis_angle(cv.coronal_axis(p, 3.0), p, apical_mm=2.0),
}


@settings(max_examples=40, deadline=None)
@given(
    shape=shapes,
    turn=st.floats(-3.2, 3.2),
    mirror=st.booleans(),
    shift=st.tuples(st.floats(-50, 50), st.floats(-50, 50)),
)
def test_moving_turning_and_mirroring_change_nothing(shape, turn, mirror, shift):
    a, radius, theta, b = shape
    points, joints = TABLES.lay([(a, 0.0), (radius * np.radians(theta), theta), (b, 0.0)], 0.02)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    matrix = matrix @ np.diag([1.0, -1.0 if mirror else 1.0])
    moved = points @ matrix.T + shift
    marks = [np.zeros(2), joints[1], joints[-1]]
    moved_marks = [matrix @ m + shift for m in marks]
    axis = matrix @ AXIS
    for name, measure in angles_of_points.items():
        assert measure(moved) == pytest.approx(measure(points), abs=1e-6), name
    assert cv.schneider_angle(axis, *moved_marks[1:]) == pytest.approx(
        cv.schneider_angle(AXIS, *marks[1:]), abs=1e-8
    )
    for measure in (cv.canal_access_angle, cv.curvature_height, cv.curvature_distance):
        assert measure(*moved_marks) == pytest.approx(measure(*marks), abs=1e-8)
    assert cv.chord_radius(axis, *moved_marks[1:]) == pytest.approx(
        cv.chord_radius(AXIS, *marks[1:]), rel=1e-8
    )
    assert cv.minimum_radius(moved).radius_mm == pytest.approx(cv.minimum_radius(points).radius_mm, rel=1e-6)
    assert cv.canal_form(moved) == cv.canal_form(points)


@settings(max_examples=40, deadline=None)
@given(shape=shapes, factor=st.floats(0.05, 40.0))
def test_a_scale_leaves_angles_and_multiplies_lengths(shape, factor):
    a, radius, theta, b = shape
    points, joints = TABLES.lay([(a, 0.0), (radius * np.radians(theta), theta), (b, 0.0)], 0.02)
    marks = [np.zeros(2), joints[1], joints[-1]]
    larger = [factor * m for m in marks]
    assert cv.net_turning(factor * points) == pytest.approx(cv.net_turning(points), abs=1e-6)
    assert cv.canal_form(factor * points) == cv.canal_form(points)
    assert cv.schneider_angle(AXIS, *larger[1:]) == pytest.approx(
        cv.schneider_angle(AXIS, *marks[1:]), abs=1e-9
    )
    assert cv.canal_access_angle(*larger) == pytest.approx(cv.canal_access_angle(*marks), abs=1e-9)
    for measure in (cv.curvature_height, cv.curvature_distance):
        assert measure(*larger) == pytest.approx(factor * measure(*marks), rel=1e-9)
    assert cv.chord_radius(AXIS, *larger[1:]) == pytest.approx(
        factor * cv.chord_radius(AXIS, *marks[1:]), rel=1e-9
    )
    scaled = cv.minimum_radius(factor * points, window_mm=factor)
    assert scaled.radius_mm == pytest.approx(factor * cv.minimum_radius(points).radius_mm, rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(shape=shapes, step=st.floats(0.02, 0.2))
def test_a_coarser_trace_gives_nearly_the_same(shape, step):
    """Resampled at 0.02 to 0.2 mm: within 0.05 degrees for lines over windows, half a step for the length."""
    a, radius, theta, b = shape
    pieces = [(a, 0.0), (radius * np.radians(theta), theta), (b, 0.0)]
    fine, coarse = TABLES.lay(pieces, 1e-3)[0], TABLES.lay(pieces, step)[0]
    assert cv.canal_length(coarse) == pytest.approx(cv.canal_length(fine), abs=0.01)
    assert cv.net_turning(coarse) == pytest.approx(theta, abs=0.05)
    assert cv.total_turning(coarse) == pytest.approx(theta, abs=0.05)
    for name in ("luiten", "chords", "long"):
        assert angles_of_points[name](coarse) == pytest.approx(angles_of_points[name](fine), abs=0.2), name


@pytest.mark.parametrize(
    ("along", "across", "angle", "expected"),
    [
        (np.cos(np.radians(20.0)), 1.0, 15.0, 15.9153),
        (np.cos(np.radians(20.0)), 1.0, 30.0, 31.5667),
        (np.cos(np.radians(30.0)), 1.0, 30.0, 33.6901),
        (1.10, 1.0, 30.0, 27.6934),
        (1.0, np.cos(np.radians(30.0)), 30.0, 26.5651),
        (1.0, np.cos(np.radians(45.0)), 30.0, 22.2077),
        (1.0, np.cos(np.radians(60.0)), 30.0, 16.1021),
    ],
)
def test_unequal_scales_change_the_angle_as_derived(along, across, angle, expected):
    """Scales k_u along the axis and k_v across: tan S' = (k_v / k_u) tan S, R' = R k_u^2 / k_v there."""
    case = TABLES.ArcCase(number=0, a=9.0, R=8.0, theta=2.0 * angle, b=0.0, printed={})
    stretch = np.array([along, across])
    found = cv.schneider_angle(AXIS, stretch * case.start, stretch * case.foramen)
    assert found == pytest.approx(expected, abs=1e-4)
    assert np.tan(np.radians(found)) == pytest.approx(across / along * np.tan(np.radians(angle)), abs=1e-9)
    arc = TABLES.lay([(1e-3, 0.0), (0.2, np.degrees(0.2 / 8.0))], 1e-3)[0][1:]
    radius = cv.minimum_radius(stretch * arc[:5], window_mm=1e-3 * along).radius_mm
    assert radius == pytest.approx(8.0 * along**2 / across, rel=1e-3)


# --- What cannot be measured is refused with a sentence -----------------------------------------------------

FINE = np.column_stack([np.linspace(0.0, 14.0, 50), np.zeros(50)])
B, C = np.array([8.0, 0.0]), np.array([13.0, 2.0])


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: cv.schneider_angle(AXIS, B, B), cv.DegenerateLandmarksError, "are the same point"),
        (lambda: cv.schneider_angle([0.0, 0.0], B, C), cv.DegenerateLandmarksError, "has no length"),
        (lambda: cv.schneider_angle(AXIS, [1.0], C), cv.PointsError, "two coordinates"),
        (lambda: cv.schneider_angle(AXIS, [np.nan, 0.0], C), cv.PointsError, "not a finite number"),
        (lambda: cv.secondary_schneider_angle(AXIS, C, C), cv.DegenerateLandmarksError, "second bend"),
        (lambda: cv.weine_angle(AXIS, [0.0, 0.0]), cv.DegenerateLandmarksError, "apical line"),
        (lambda: cv.canal_access_angle(B, B, C), cv.DegenerateLandmarksError, "orifice and the start"),
        (lambda: cv.curvature_height(C, B, C), cv.DegenerateLandmarksError, "orifice and the foramen"),
        (lambda: cv.maximum_curvature_height(FINE[[0, 5, 0]]), cv.DegenerateLandmarksError, "same point"),
        (lambda: cv.luiten_points(FINE[:8]), cv.CanalTooShortError, "needs 3 mm"),
        (lambda: cv.long_axis_angle(AXIS, FINE[:8]), cv.CanalTooShortError, "apical part needs 3 mm"),
        (
            lambda: cv.weine_angle_from_chords(FINE, coronal_mm=2.0, apical_mm=20.0),
            cv.CanalTooShortError,
            "20 mm",
        ),
        (lambda: cv.three_point_radius(FINE[:40]), cv.CanalTooShortError, "does not exist"),
        (lambda: cv.minimum_radius(FINE[:4]), cv.CanalTooShortError, "needs 2 mm"),
        (lambda: cv.minimum_radius(FINE[:1]), cv.PointsError, "at least 2 points"),
        (lambda: cv.canal_length(np.full((5, 2), np.inf)), cv.PointsError, "not a finite number"),
        (lambda: cv.total_turning(FINE[[0, 1, 1, 2]]), cv.DegenerateLandmarksError, "the same"),
        (lambda: cv.pruett_radius_from_points(FINE[:2]), cv.PointsError, "at least 3 points"),
        (lambda: cv.radius_quotient(20.0, 0.0), cv.DegenerateLandmarksError, "above zero"),
        (lambda: cv.schneider_class(np.nan), CurvometerError, "has no class"),
        (lambda: cv.estrela_class(0.0), CurvometerError, "has no class"),
    ],
)
def test_what_cannot_be_measured_is_refused(call, error, words):
    with pytest.raises(error, match=words) as caught:
        call()
    assert isinstance(caught.value, CurvometerError)
    assert "\n" not in str(caught.value)


def test_every_reference_is_in_the_index():
    listed = {v.key for v in vars(bibliography).values() if isinstance(v, bibliography.Reference)}
    assert listed == set(bibliography.REFERENCES)
    assert all(key == reference.key for key, reference in bibliography.REFERENCES.items())
