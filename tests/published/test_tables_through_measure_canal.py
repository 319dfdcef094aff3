"""The tables of canals of known shape, measured from the points alone.

Elsewhere each method is given the table's own landmarks. Here `measure_canal` finds them itself: the points lie
0.01 mm apart without noise, are turned and mirrored, and stand in pixels of 0.02 mm. Expected values are the printed
ones of `curvature_tables`, whose derivation stands there. Within 0.05 degrees and 0.01 mm.

Curves that are not made of arcs have no start that a fit could find: the last tests pin how far the fitted start
moves each value, against the table of docs/methods/noncircular.md, and that the misfit is flagged.
"""

from __future__ import annotations

import importlib.util
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from published.curvature_tables import ARC_CASES, CURVE_CASES, S_CASES

from curvometer import CanalMeasurement, calibrate_from_mm_per_pixel, centreline_from_points, measure_canal

PIXEL_MM = 0.02
ANGLE, LENGTH = 0.05, 0.01
POSES = {"turned": (17.0, False), "mirrored": (-115.0, True)}
NAMED_IN_TABLE = {
    "schneider_angle": "S",
    "weine_angle": "W",
    "pruett_angle": "W",
    "total_turning": "W",
    "net_turning": "W",
    "canal_access_angle": "CAA",
    "long_axis_angle": "la_3",
    "curvature_height": "x_B",
    "curvature_distance": "y_A",
    "chord_radius": "r_tc",
    "radius_quotient": "RQ",
    "three_point_radius": "estrela_r",
    "canal_length": "L",
}
DOCS = Path(__file__).parents[2] / "docs" / "methods"


CASES = {f"{getattr(case, 'number', '')}{getattr(case, 'name', '')}": case for case in (*ARC_CASES, *S_CASES)}
CURVES = {f"{case.kind}{case.parameters}": case for case in CURVE_CASES}


def measured(case, turn_deg: float, mirrored: bool) -> CanalMeasurement:
    """Canal of a table row on an image: u of the table becomes the row, v the column, then turned or mirrored."""
    (name,) = (name for name, row in (CASES | CURVES).items() if row is case)
    return _measured(name, turn_deg, mirrored)


@cache
def _measured(name: str, turn_deg: float, mirrored: bool) -> CanalMeasurement:
    case = (CASES | CURVES)[name]
    t = np.radians(turn_deg)
    turn = np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]])
    points_mm = case.points(0.01) * [1.0, -1.0 if mirrored else 1.0] @ turn
    return measure_canal(
        centreline_from_points(points_mm / PIXEL_MM + [900.0, 700.0]), calibrate_from_mm_per_pixel(PIXEL_MM)
    )


def tolerance(quantity) -> float:
    return ANGLE if quantity.unit == "deg" else LENGTH


@pytest.fixture(params=POSES)
def pose(request) -> tuple[float, bool]:
    return POSES[request.param]


@pytest.mark.parametrize("case", ARC_CASES, ids=lambda case: f"case{case.number}")
class TestArcs:
    """Tables A and B."""

    @pytest.mark.parametrize("name", NAMED_IN_TABLE)
    def test_measure(self, case, pose, name):
        quantity, expected = getattr(measured(case, *pose), name), case.printed[NAMED_IN_TABLE[name]]
        if expected is None:
            assert quantity is None
        else:
            assert quantity.value == pytest.approx(expected, abs=tolerance(quantity))

    def test_radius_and_place_of_the_arc(self, case, pose):
        """Pruett's radius is R; the arc ends b before the foramen and begins R theta earlier."""
        found = measured(case, *pose)
        assert found.pruett_radius.value == pytest.approx(case.R, abs=LENGTH)
        assert found.minimum_radius.value == pytest.approx(case.R, abs=LENGTH)
        arc = case.R * np.radians(case.theta)
        assert found.curve_start_from_foramen.value == pytest.approx(arc + case.b, abs=LENGTH)
        assert found.curve_end_from_foramen.value == pytest.approx(case.b, abs=LENGTH)
        assert found.minimum_radius_from_foramen.value == pytest.approx(0.5 * arc + case.b, abs=LENGTH)

    def test_shape_and_bend(self, case, pose):
        found = measured(case, *pose)
        assert found.shape == ", ".join(
            ["straight"] * (case.a > 0.0) + ["arc"] + ["straight"] * (case.b > 0.0)
        )
        assert found.canal_form == ("C" if case.a == 0.0 else "J")
        (bend,) = found.bends
        assert bend.angle.value == pytest.approx(case.theta, abs=ANGLE)
        assert bend.radius.value == pytest.approx(case.R, abs=LENGTH)
        assert bend.schneider_angle.value == pytest.approx(case.printed["S"], abs=ANGLE)
        # v of the table, the column here, grows to the left of one who walks down the image
        assert bend.direction == ("right" if POSES["mirrored"] == pose else "left")

    def test_landmarks_lie_where_the_table_has_them(self, case):
        found = measured(case, 0.0, False).landmarks
        for mark, expected in (
            ("orifice_rc", [0.0, 0.0]),
            ("curve_start_rc", case.start),
            ("foramen_rc", case.foramen),
        ):
            assert (getattr(found, mark) - [900.0, 700.0]) * PIXEL_MM == pytest.approx(expected, abs=LENGTH)
        assert found.arcs[0][2] * PIXEL_MM == pytest.approx(case.R, abs=LENGTH)
        centre_mm = (np.array(found.arcs[0][:2]) - [900.0, 700.0]) * PIXEL_MM
        assert centre_mm == pytest.approx([case.a, case.R], abs=2.0 * LENGTH)


@pytest.mark.parametrize("case", S_CASES, ids=lambda case: case.name)
class TestOppositeArcs:
    """Table of S-shaped canals."""

    def test_whole_canal(self, case, pose):
        found, printed = measured(case, *pose), case.printed
        for name, column in (
            ("schneider_angle", "S_global"),
            ("net_turning", "net"),
            ("weine_angle", "net"),
            ("total_turning", "total"),
            ("canal_access_angle", "CAA"),
            ("canal_length", "L"),
        ):
            quantity = getattr(found, name)
            assert quantity.value == pytest.approx(printed[column], abs=tolerance(quantity)), name

    def test_bends_one_by_one(self, case, pose):
        """The first is measured to the end of its arc, the second from the start of its arc to the foramen."""
        first, second = measured(case, *pose).bends
        for bend, angle, radius, schneider in (
            (first, case.theta1, case.R1, "S1_end"),
            (second, case.theta2, case.R2, "S2_start"),
        ):
            assert bend.angle.value == pytest.approx(angle, abs=ANGLE)
            assert bend.radius.value == pytest.approx(radius, abs=LENGTH)
            assert bend.schneider_angle.value == pytest.approx(case.printed[schneider], abs=ANGLE)
        assert {first.direction, second.direction} == {"left", "right"}

    def test_places_of_the_bends(self, case, pose):
        _, first_mm, middle_mm, second_mm, tail_mm = (length for length, _ in case.pieces)
        first, second = measured(case, *pose).bends
        after_first = middle_mm + second_mm + tail_mm
        for found, expected in (
            (first.start_from_foramen, first_mm + after_first),
            (first.end_from_foramen, after_first),
            (second.start_from_foramen, second_mm + tail_mm),
            (second.end_from_foramen, tail_mm),
        ):
            assert found.value == pytest.approx(expected, abs=LENGTH)

    def test_the_largest_bend_gives_pruetts_measures_and_the_tightest_the_smallest_radius(self, case, pose):
        found = measured(case, *pose)
        larger = max((case.theta1, case.R1), (case.theta2, case.R2), key=lambda bend: bend[0])
        assert found.pruett_angle.value == pytest.approx(larger[0], abs=ANGLE)
        if case.theta1 != case.theta2:
            assert found.pruett_radius.value == pytest.approx(larger[1], abs=LENGTH)
        assert found.minimum_radius.value == pytest.approx(min(case.R1, case.R2), abs=LENGTH)

    def test_two_bends_are_flagged(self, case, pose):
        found = measured(case, *pose)
        assert found.canal_form == "S"
        assert "two_bends" in {flag.code for flag in found.flags}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_canals_of_arcs_are_no_misfit(case):
    assert "shape_misfit" not in {flag.code for flag in measured(case, 17.0, False).flags}


@pytest.fixture(scope="module")
def noncircular():
    """The script that writes the page's table."""
    spec = importlib.util.spec_from_file_location("noncircular_table", DOCS / "noncircular_table.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


class TestCurvesThatAreNotArcs:
    """Parabolas, logarithmic spirals and clothoids."""

    @pytest.mark.parametrize("case", CURVE_CASES, ids=CURVES)
    def test_the_misfit_is_flagged(self, case, pose):
        codes = {flag.code: flag for flag in measured(case, *pose).flags}
        assert "shape_misfit" in codes
        assert {"pruett_radius", "curve_start_from_foramen"} <= set(codes["shape_misfit"].concerns)

    @pytest.mark.parametrize("case", CURVE_CASES, ids=CURVES)
    def test_what_needs_no_start_is_right_all_the_same(self, case):
        """The length needs only the line, the canal access angle the axis and both ends."""
        found = measured(case, 17.0, False)
        assert found.canal_length.value == pytest.approx(case.printed["L"], abs=2.0 * LENGTH)
        assert found.canal_access_angle.value == pytest.approx(case.printed["CAA"], abs=0.8)

    def test_an_arc_that_sharpens_starts_late_and_one_that_flattens_starts_early(self):
        """A fitted arc has one curvature: it begins where the slow beginning of a spiral has bent noticeably.

        The parabola is tightest at its start, so the fitted arc begins a little before it.
        """
        for case in CURVE_CASES:
            moved = measured(case, 17.0, False).curve_start_from_foramen.value - (case.printed["L"] - case.a)
            assert moved > 0.0 if case.kind == "parab" else moved < -0.1

    @pytest.mark.parametrize("row", range(len(CURVE_CASES)))
    def test_the_page_tells_how_far_each_value_moves(self, noncircular, row):
        """The printed differences are those of today's fit, within 0.05 degrees or mm."""
        printed = noncircular.printed_rows()[row]
        found = noncircular.differences(CURVE_CASES[row])
        assert printed == pytest.approx(list(found.values()), abs=0.05)
