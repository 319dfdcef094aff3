"""Before and after shaping: worked examples, closed forms, and an independent program for laying images on each other.

The worked examples restate the published formulas with numbers of our own, done by hand.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.transform import SimilarityTransform

from curvometer import CurvometerError
from curvometer.comparison import (
    ComparisonError,
    calhoun_montgomery_ratio,
    canal_transportation,
    compare_shaping,
    length_loss_mm,
    register_on_marks,
    straightening_deg,
)

WALLS = ("outer_before_mm", "outer_after_mm", "inner_before_mm", "inner_after_mm")
thickness = st.floats(0.0, 3.0)


def canal(*, straight=8.0, radius=6.0, arc=6.0, offset=0.0, left=True, count=2000):
    """Down along +row, then an arc towards +col (the left of one who walks), in mm; `offset` parallel to the left."""
    s = np.union1d(np.linspace(0.0, straight + arc, count), straight)
    phi = np.maximum(s - straight, 0.0) / radius
    row = np.minimum(s, straight) + radius * np.sin(phi) - offset * np.sin(phi)
    col = radius * (1.0 - np.cos(phi)) + offset * np.cos(phi)
    return np.column_stack([row, col if left else -col])


def compare(before, after, **options):
    return compare_shaping(before, after, **{"curve_start_rc": [8.0, 0.0], "mm_per_pixel": 1.0, **options})


# --- From the walls -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("walls", "diameter", "transportation", "ratio", "calhoun"),
    [
        ((1.20, 1.05, 0.90, 0.60), 0.85, -0.15, 0.5, 0.17647),  # 0.15 outside, 0.30 inside: 0.15 / 0.85
        ((1.20, 1.10, 0.90, 0.80), 0.85, 0.0, 1.0, 0.0),  # the same on both sides
        ((1.20, 1.20, 0.90, 0.75), 0.50, -0.15, 0.0, 0.30),  # one side only: 0.15 / 0.50
        ((1.20, 1.20, 0.90, 0.90), 0.50, 0.0, None, 0.0),  # nothing: 0 / 0 is no ratio
        ((1.20, 1.00, 0.90, 0.90), 0.50, 0.20, 0.0, 0.40),  # away from the furcation
    ],
)
def test_worked_examples(walls, diameter, transportation, ratio, calhoun):
    found = canal_transportation(**dict(zip(WALLS, walls, strict=True)))
    assert found.transportation_mm == pytest.approx(transportation, abs=1e-12)
    assert found.centring_ratio == (None if ratio is None else pytest.approx(ratio, abs=1e-9))
    assert found.centre_shift_mm == pytest.approx(transportation / 2.0, abs=1e-12)
    removed = {"outer_removed_mm": found.outer_removed_mm, "inner_removed_mm": found.inner_removed_mm}
    assert calhoun_montgomery_ratio(**removed, final_diameter_mm=diameter) == pytest.approx(calhoun, abs=1e-5)


def test_a_wall_that_grew_is_an_error_of_measurement():
    found = canal_transportation(
        outer_before_mm=1.0, outer_after_mm=1.02, inner_before_mm=0.9, inner_after_mm=0.8
    )
    assert found.centring_ratio is None
    assert found.transportation_mm == pytest.approx(-0.12)


@settings(deadline=None, derandomize=True)
@given(thickness, thickness, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_transportation_is_twice_the_shift_of_the_middle(outer, inner, outer_share, inner_share):
    """Edges on one axis, the furcation's side negative: middle of the canal before and after, from its edges."""
    width = 0.4
    removed = (outer * outer_share, inner * inner_share)
    middle_before = 0.5 * (0.5 * width - 0.5 * width)
    middle_after = 0.5 * ((0.5 * width + removed[0]) + (-0.5 * width - removed[1]))
    found = canal_transportation(
        outer_before_mm=outer,
        outer_after_mm=outer - removed[0],
        inner_before_mm=inner,
        inner_after_mm=inner - removed[1],
    )
    assert found.centre_shift_mm == pytest.approx(middle_after - middle_before, abs=1e-9)
    assert found.transportation_mm == pytest.approx(2.0 * found.centre_shift_mm)
    assert found.centring_ratio is None or 0.0 <= found.centring_ratio <= 1.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: canal_transportation(**dict.fromkeys(WALLS, -0.1)), "outer_before_mm is -0.1"),
        (lambda: canal_transportation(**dict.fromkeys(WALLS, np.nan)), "a thickness of 0 mm or more"),
        (
            lambda: calhoun_montgomery_ratio(
                outer_removed_mm=0.1, inner_removed_mm=0.1, final_diameter_mm=0.0
            ),
            "a positive diameter",
        ),
        (lambda: length_loss_mm(0.0, 30.0), "a positive radius"),
        (lambda: length_loss_mm(5.0, 361.0), "0 to 360 degrees"),
        (lambda: length_loss_mm(np.inf, 30.0), "a positive radius"),
    ],
)
def test_impossible_numbers_are_refused(call, words):
    with pytest.raises(ComparisonError, match=words):
        call()


# --- Straightening and length -------------------------------------------------------------------------------


def test_length_lost_when_an_arc_becomes_its_chord():
    """Length of the arc less that of the straight line between its ends, from points on it."""
    for radius, angle in ((10.0, 30.0), (5.0, 60.0), (2.0, 90.0)):
        turn = np.radians(np.linspace(0.0, angle, 5001))
        points = radius * np.column_stack([np.sin(turn), np.cos(turn)])
        arc = np.hypot(*np.diff(points, axis=0).T).sum()
        assert length_loss_mm(radius, angle) == pytest.approx(
            arc - np.hypot(*(points[-1] - points[0])), abs=1e-6
        )
    assert length_loss_mm(10.0, 30.0) == pytest.approx(0.0596, abs=5e-5)
    assert length_loss_mm(5.0, 0.0) == 0.0


def test_straightening_of_an_arc():
    """An arc of 6 mm that went from R = 6 to R = 9 mm: S is half of its angle, 28.648 and 19.099 degrees."""
    found = compare(canal(radius=6.0), canal(radius=9.0))
    assert found.angle_before_deg == pytest.approx(np.degrees(0.5), abs=1e-3)
    assert found.angle_after_deg == pytest.approx(np.degrees(1.0 / 3.0), abs=1e-3)
    assert found.straightening_deg == pytest.approx(np.degrees(1.0 / 6.0), abs=1e-3)
    assert found.straightening_told
    assert found.remarks[0] == "The Schneider angle is 19 degrees, 29 before."


def test_another_start_of_the_curve_fakes_a_straightening():
    """On an unchanged arc, B moved by 1 mm turns the line B-C by 28.65 degrees / R; with one B there is nothing."""
    radius, line = 6.0, canal(radius=6.0)
    start, moved = np.array([8.0, 0.0]), canal(radius=6.0, arc=1.0)[-1]
    axis = (1.0, 0.0)
    assert straightening_deg(axis, start, line[-1], line[-1]) == 0.0
    faked = straightening_deg(axis, start, line[-1], line[-1] + start - moved)
    assert abs(faked) == pytest.approx(28.648 / radius, rel=1e-3)


# --- Shifts -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("offset", [0.25, -0.25])
@pytest.mark.parametrize("left", [True, False])
def test_a_parallel_line_is_shifted_by_the_same_everywhere(offset, left):
    """Arcs about one centre have their normals in common."""
    found = compare(canal(left=left), canal(offset=offset, left=left))
    shifts = [shift.shift_mm for shift in found.shifts]
    assert shifts == pytest.approx([offset if left else -offset] * 3, abs=1e-4)
    assert [shift.from_foramen_mm for shift in found.shifts] == [1.0, 3.0, 5.0]
    side = "inside of the bend" if offset > 0.0 else "outside of the bend"
    assert {(shift.side, shift.told) for shift in found.shifts} == {(side, True)}
    assert f"1 mm from the foramen the canal lies 0.25 mm towards the {side}." in found.remarks


def test_of_two_crossings_the_nearer_one_counts():
    """A hook of 172 degrees: the normal at its end meets the straight part of the canal as well."""
    hook = {"radius": 2.0, "arc": 6.0}
    found = compare(canal(**hook), canal(offset=0.2, **hook))
    assert [shift.shift_mm for shift in found.shifts] == pytest.approx([0.2] * 3, abs=1e-3)


def test_a_tilted_straight_canal():
    """Turned by alpha about the orifice: at s it lies s tan(alpha) along the normal."""
    alpha = np.radians(2.0)
    after = [[0.0, 0.0], [12.0 * np.cos(alpha), 12.0 * np.sin(alpha)]]
    found = compare([[0.0, 0.0], [12.0, 0.0]], after)
    expected = [(12.0 - level) * np.tan(alpha) for level in (1.0, 3.0, 5.0)]
    assert [shift.shift_mm for shift in found.shifts] == pytest.approx(expected)
    assert {shift.side for shift in found.shifts} == {"left"}
    end = np.degrees(np.arctan2(12.0 * np.sin(alpha), 12.0 * np.cos(alpha) - 8.0))
    assert found.straightening_deg == pytest.approx(-end)


def test_small_changes_are_there_but_not_told():
    found = compare(canal(), canal(offset=0.1))
    assert found.shifts[0].shift_mm == pytest.approx(0.1, abs=1e-4)
    assert not any(shift.told for shift in found.shifts)
    assert found.remarks == ("No change beyond what can be repeated (5 degrees, 0.15 mm).",)


def test_a_clinics_own_repeatability_takes_the_place_of_the_usual_one():
    finer = compare(canal(), canal(offset=0.1), shift_repeatability_mm=0.05)
    assert all(shift.told for shift in finer.shifts)
    coarser = compare(canal(radius=6.0), canal(radius=9.0), angle_repeatability_deg=10.0)
    assert coarser.straightening_deg == pytest.approx(9.549, abs=1e-3)
    assert not coarser.straightening_told


def test_a_poor_registration_hides_shifts_below_its_residual():
    found = compare(canal(), canal(offset=0.25), registration_residual_mm=0.3)
    assert not any(shift.told for shift in found.shifts)
    assert found.remarks[-1].startswith("The two images fit each other to 0.30 mm only")


def test_a_canal_that_ends_before_a_level_has_no_shift_there():
    found = compare(canal(), canal(arc=4.0))
    assert (found.shifts[0].shift_mm, found.shifts[0].side, found.shifts[0].told) == (None, "", False)
    assert found.shifts[2].shift_mm == pytest.approx(0.0, abs=1e-4)


def test_scale_and_pixels():
    in_mm = compare(canal(), canal(offset=0.25))
    in_pixels = compare(
        canal() / 0.02, canal(offset=0.25) / 0.02, curve_start_rc=[400.0, 0.0], mm_per_pixel=0.02
    )
    assert [s.shift_mm for s in in_pixels.shifts] == pytest.approx([s.shift_mm for s in in_mm.shifts])
    assert in_pixels.angle_before_deg == pytest.approx(in_mm.angle_before_deg)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"levels_mm": (1.0, 14.5)}, "14.5 mm lies outside the canal"),
        ({"levels_mm": (-1.0,)}, "lies outside the canal"),
        ({"curve_start_rc": [np.nan, 0.0]}, "two finite coordinates"),
        ({"curve_start_rc": [1.0]}, "two finite coordinates"),
        ({"mm_per_pixel": -1.0}, "not a positive number of mm per pixel"),
    ],
)
def test_what_cannot_be_compared_is_said(options, words):
    with pytest.raises(CurvometerError, match=words):
        compare(canal(), canal(), **options)


# --- Two images on each other -------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_registration_is_that_of_an_independent_program(seed):
    """scikit-image's similarity by least squares; marks with errors of 2 pixels."""
    rng = np.random.default_rng(seed)
    after = rng.uniform(0.0, 1000.0, (5, 2))
    true = SimilarityTransform(scale=1.1, rotation=0.2, translation=(40.0, -25.0))
    before = true(after) + rng.normal(0.0, 2.0, (5, 2))
    theirs = SimilarityTransform.from_estimate(after, before)
    found = register_on_marks(after, before, mm_per_pixel_after=1.0, mm_per_pixel_before=1.0)
    some = rng.uniform(0.0, 1000.0, (20, 2))
    assert found.on_before(some) == pytest.approx(theirs(some), abs=1e-6)
    assert found.scale == pytest.approx(theirs.scale)
    assert found.residual_mm == pytest.approx(np.sqrt(np.mean(theirs.residuals(after, before) ** 2)))


def test_a_registered_canal_is_the_canal_again():
    turn = SimilarityTransform(scale=0.5, rotation=-0.3, translation=(3.0, 7.0))
    marks = np.array([[0.0, -2.0], [0.0, 3.0], [-3.0, 1.0]])
    found = register_on_marks(turn(marks), marks, mm_per_pixel_after=1.0, mm_per_pixel_before=1.0)
    after = found.on_before(turn(canal(offset=0.3)))
    assert found.residual_mm == pytest.approx(0.0, abs=1e-9)
    compared = compare(canal(), after, registration_residual_mm=found.residual_mm)
    assert [shift.shift_mm for shift in compared.shifts] == pytest.approx([0.3] * 3, abs=1e-4)


def test_two_marks_have_no_residual():
    found = register_on_marks(
        [[0, 0], [0, 10]], [[5, 5], [5, 15]], mm_per_pixel_after=0.1, mm_per_pixel_before=0.1
    )
    assert found.residual_mm is None
    assert found.on_before([[1.0, 1.0]]) == pytest.approx(np.array([[1.5, 1.5]]))


@pytest.mark.parametrize(
    ("after", "before", "words"),
    [
        ([[0, 0]], [[0, 0], [1, 1]], "image after needs at least two marks"),
        ([[0, 0], [1, 1]], [[0, 0], [np.inf, 1]], "image before needs at least two marks"),
        ([[1, 1], [1, 1]], [[0, 0], [1, 1]], "all marks of the image after are the same"),
        ([[0, 0], [1, 1], [2, 0]], [[0, 0], [1, 1]], "3 marks after and 2 before"),
    ],
)
def test_marks_that_do_not_pair_are_refused(after, before, words):
    with pytest.raises(ComparisonError, match=words):
        register_on_marks(after, before, mm_per_pixel_after=1.0, mm_per_pixel_before=1.0)
