"""Centrelines compared: closed forms, independent programs, properties of any lines, experts.

Independent programs: shapely (GEOS) for Hausdorff and Fréchet distances of densified lines, scipy for the Hausdorff
distance of point sets, similaritymeasures for the discrete Fréchet distance and the area between two curves.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import similaritymeasures
from comparison_lines import canal, wavy
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import directed_hausdorff

from curvometer.comparison import (
    COMPARISON_REFERENCES,
    ComparisonError,
    compare_centrelines,
    expert_band,
    value_band,
)
from curvometer.comparison.distances import discrete_frechet
from curvometer.geometry import point_at, resample

ANY = settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)


def compare(traced, reference, **options):
    """Lines in mm."""
    return compare_centrelines(traced, reference, **{"mm_per_pixel": 1.0, **options})


def beside(line, shift):
    """Moved along +col."""
    return line + np.array([0.0, shift])


# --- Closed forms -------------------------------------------------------------------------------------------


def test_parallel_lines():
    """Two lines of 12 mm, 0.2 mm apart: every distance is 0.2."""
    reference = np.array([[0.0, 5.0], [12.0, 5.0]])
    found = compare(beside(reference, 0.2), reference)
    for name in ("mean_mm", "percentile95_mm", "hausdorff_mm", "frechet_mm"):
        assert getattr(found, name) == pytest.approx(0.2, abs=1e-12), name
    assert found.frechet_error_mm == pytest.approx(0.0, abs=1e-12)
    assert found.profile.offset_mm == pytest.approx(0.2)
    assert (found.orifice.along_mm, found.orifice.across_mm) == pytest.approx((0.0, 0.2))
    assert (found.foramen.along_mm, found.foramen.across_mm) == pytest.approx((0.0, 0.2))
    assert found.length_difference_mm == pytest.approx(0.0)
    assert found.coverage == pytest.approx(1.0)
    assert (found.bend_side, found.departures, found.remarks) == (None, (), ())


@pytest.mark.parametrize("offset", [0.4, -0.4])
def test_concentric_arcs(offset):
    """Arcs about one centre: the offset everywhere, both ways; lengths differ by offset times the angle."""
    found = compare(canal(offset=offset), canal())
    for name in ("mean_mm", "percentile95_mm", "hausdorff_mm", "frechet_mm"):
        assert getattr(found, name) == pytest.approx(0.4, abs=1e-4), name
    assert found.length_difference_mm == pytest.approx(-offset * np.pi / 4.0, abs=1e-3)
    assert found.profile.offset_mm == pytest.approx(offset, abs=1e-3)
    assert found.bend_side == "left"
    (part,) = found.departures
    assert part.side == ("inside of the bend" if offset > 0.0 else "outside of the bend")
    assert (part.start_from_foramen_mm, part.end_from_foramen_mm) == pytest.approx(
        (8.0 + 1.5 * np.pi, 0.0), abs=1e-3
    )
    mirrored = compare(canal(offset=offset) * (1.0, -1.0), canal() * (1.0, -1.0))
    assert mirrored.bend_side == "right"
    assert mirrored.departures[0].side == part.side
    assert mirrored.profile.offset_mm == pytest.approx(-found.profile.offset_mm)


def test_a_tracing_that_stops_short():
    """Stopped d = 2 mm before the end on an arc R: the largest distance is the chord c(d) = 2 R sin(d / 2R).

    The mean from the reference is the integral of c over the missed part / L = 4 R^2 (1 - cos(d / 2R)) / L; from the
    tracing it is 0.
    """
    radius, short = 6.0, 2.0
    reference = canal(radius=radius)
    length = 8.0 + radius * np.pi / 4.0
    traced = canal(radius=radius, angle_deg=45.0 - np.degrees(short / radius))
    found = compare(traced, reference)
    chord = 2.0 * radius * np.sin(short / (2.0 * radius))
    assert found.hausdorff_mm == pytest.approx(chord, abs=1e-4)
    assert found.frechet_mm == pytest.approx(chord, abs=1e-4)
    missed = 4.0 * radius**2 * (1.0 - np.cos(short / (2.0 * radius))) / length
    assert found.reference_to_traced.mean_mm == pytest.approx(missed, abs=2e-3)
    assert found.traced_to_reference.mean_mm == pytest.approx(0.0, abs=1e-4)
    # 95 of 100 parts of the reference lie nearer than the place where 5 of 100 are left to the foramen.
    last = 2.0 * radius * np.sin((short - 0.05 * length) / (2.0 * radius))
    assert found.percentile95_mm == pytest.approx(last, abs=1e-3)
    assert found.mean_mm == pytest.approx(0.5 * missed, abs=1e-3)
    assert found.foramen.along_mm == pytest.approx(-short, abs=1e-3)
    assert found.foramen.across_mm == pytest.approx(0.0, abs=1e-4)
    assert found.foramen.distance_mm == pytest.approx(chord, abs=1e-4)
    assert found.coverage == pytest.approx(1.0 - short / length, abs=1e-4)
    assert found.departures == ()  # where it runs, it keeps to the reference
    assert found.profile.from_foramen_mm.min() == pytest.approx(short, abs=0.05)
    assert found.remarks == ("The tracing stops short of the reference's foramen by 2.0 mm.",)


def test_a_tracing_that_goes_beyond_both_ends():
    reference = np.array([[0.0, 0.0], [10.0, 0.0]])
    found = compare([[-1.0, 0.1], [11.5, 0.1]], reference)
    assert found.orifice.along_mm == pytest.approx(1.0)
    assert found.foramen.along_mm == pytest.approx(1.5)
    assert (found.orifice.across_mm, found.foramen.across_mm) == pytest.approx((0.1, 0.1))
    assert found.coverage == pytest.approx(1.0)
    assert found.hausdorff_mm == pytest.approx(np.hypot(1.5, 0.1))
    assert "goes beyond the reference's orifice by 1.0 mm" in found.remarks[0]


def test_a_tilted_line():
    """Turned by alpha about the orifice: s sin(alpha) from the reference, so half of L sin(alpha) in the mean."""
    alpha, length = np.radians(5.0), 10.0
    found = compare(
        [[0.0, 0.0], [length * np.cos(alpha), length * np.sin(alpha)]], [[0.0, 0.0], [length, 0.0]]
    )
    one_way = found.traced_to_reference
    assert one_way.mean_mm == pytest.approx(0.5 * length * np.sin(alpha))
    assert one_way.percentile95_mm == pytest.approx(0.95 * length * np.sin(alpha))
    assert one_way.largest_mm == pytest.approx(length * np.sin(alpha))
    assert found.frechet_mm == pytest.approx(2.0 * length * np.sin(alpha / 2.0), abs=1e-9)  # the ends
    (part,) = found.departures
    assert part.start_from_foramen_mm == pytest.approx(length - 0.3 / np.tan(alpha), abs=0.06)
    assert part.side == "left"


@pytest.mark.parametrize("back", [0.5, 0.93, 1.6, 2.0, 2.71, 3.3])
@pytest.mark.parametrize("step", [0.05, 0.4])
def test_going_back_costs_leash_that_no_nearest_distance_shows(back, step):
    """0 to 6, back, on to 10 along the reference: Hausdorff 0, Fréchet half of the way back."""
    found = compare(
        [[0.0, 0.0], [6.0, 0.0], [6.0 - back, 0.0], [10.0, 0.0]], [[0.0, 0.0], [10.0, 0.0]], step_mm=step
    )
    assert found.hausdorff_mm == pytest.approx(0.0, abs=1e-12)
    assert found.frechet_mm - found.frechet_error_mm <= back / 2.0 + 1e-9 <= found.frechet_mm + 2e-9
    assert found.frechet_error_mm <= found.step_mm + 1e-12


def test_limits_hold_where_neither_line_leads():
    """Two lines that both double back, held against chains of 0.03 mm by an independent program."""
    a = np.array([[0.0, 0.0], [3.1, 0.4], [1.2, 0.9], [5.0, 0.0]])
    b = np.array([[0.0, 0.3], [2.2, -0.5], [1.0, 0.2], [4.8, 0.5]])
    found = compare(a, b, step_mm=0.25)
    chains = [shapely.get_coordinates(shapely.segmentize(line_string(line), 0.03)) for line in (a, b)]
    discrete = similaritymeasures.frechet_dist(*chains)
    assert found.frechet_mm - found.frechet_error_mm - 1e-9 <= discrete <= found.frechet_mm + 0.03


def test_an_s_shaped_reference_has_no_inside():
    share = np.linspace(0.0, 1.0, 200)
    reference = np.column_stack([14.0 * share, np.sin(2.0 * np.pi * share)])
    found = compare(beside(reference, 0.5), reference)
    assert found.bend_side is None
    assert {part.side for part in found.departures} == {"left"}


def test_two_sides_are_two_departures():
    reference = canal(angle_deg=0.0, straight=12.0)
    wave = 0.5 * np.sin(2.0 * np.pi * reference[:, 0] / 12.0)
    found = compare(reference + np.column_stack([np.zeros(len(wave)), wave]), reference)
    assert [part.side for part in found.departures] == ["left", "right"]
    assert [part.largest_mm for part in found.departures] == pytest.approx([0.5, 0.5], abs=0.02)
    assert "up to 0.4" in found.remarks[0] or "up to 0.5" in found.remarks[0]


# --- The other way round ------------------------------------------------------------------------------------


def test_a_tracing_from_the_foramen_is_turned_round_and_told():
    traced = wavy(1)
    straight, turned = compare(traced, canal()), compare(traced[::-1], canal())
    assert (straight.was_reversed, turned.was_reversed) == (False, True)
    assert turned.numbers == pytest.approx(straight.numbers, abs=1e-9)
    assert turned.profile.offset_mm == pytest.approx(straight.profile.offset_mm, abs=1e-9)
    assert "from the foramen to the orifice" in turned.remarks[0]


def test_half_a_canal_from_the_foramen_up_is_noticed_too():
    reference = canal()
    half = reference[len(reference) // 2 :][::-1]
    found = compare(half, reference)
    assert found.was_reversed
    assert found.orifice.along_mm == pytest.approx(
        -(found.reference_length_mm - found.traced_length_mm), abs=1e-3
    )


def test_another_place_altogether():
    found = compare([[20.0, 9.0], [26.0, 9.0]], [[0.0, 0.0], [10.0, 0.0]])
    assert found.coverage == 0.0
    assert found.profile.offset_mm.size == 0
    assert any("same canal" in remark for remark in found.remarks)


# --- Scale and resolution -----------------------------------------------------------------------------------


def test_pixels_with_a_scale_are_millimetres():
    in_mm = compare(wavy(2), canal())
    square = compare(wavy(2) / 0.02, canal() / 0.02, mm_per_pixel=0.02)
    oblong = compare(wavy(2) / (0.03, 0.02), canal() / (0.03, 0.02), mm_per_pixel=(0.03, 0.02))
    assert square.numbers == pytest.approx(in_mm.numbers, abs=1e-9)
    assert oblong.numbers == pytest.approx(in_mm.numbers, abs=1e-9)


def test_a_long_line_is_compared_in_steps_that_are_told():
    line = np.column_stack([np.linspace(0.0, 700.0, 20_001), np.zeros(20_001)])
    found = compare(beside(line, 3.0), line)
    assert found.step_mm == pytest.approx(700.0 / 999.0)
    assert found.hausdorff_mm == pytest.approx(3.0)


def test_a_finer_step_stays_within_the_stated_error():
    coarse, fine = (compare(wavy(3), canal(), step_mm=step) for step in (0.4, 0.01))
    assert -0.005 <= fine.hausdorff_mm - coarse.hausdorff_mm <= 0.5 * coarse.step_mm
    assert coarse.mean_mm == pytest.approx(fine.mean_mm, abs=0.01)


@pytest.mark.parametrize(
    ("traced", "options", "words"),
    [
        ([[0.0, 0.0]], {}, "traced line needs at least two points"),
        ([[0.0, 0.0], [np.nan, 1.0]], {}, "not a finite number"),
        ([[1.0, 1.0], [1.0, 1.0]], {}, "all points of the traced line are the same"),
        ([0.0, 1.0], {}, r"found shape \(2,\)"),
        ([[0.0, 0.0], [1.0, 0.0]], {"mm_per_pixel": 0.0}, "not a positive number of mm per pixel"),
        ([[0.0, 0.0], [1.0, 0.0]], {"mm_per_pixel": (0.1, np.nan)}, "not a positive number of mm per pixel"),
        ([[0.0, 0.0], [1.0, 0.0]], {"limit_mm": -1.0}, "limit_mm is -1.0"),
        ([[0.0, 0.0], [1.0, 0.0]], {"step_mm": np.inf}, "step_mm is inf"),
    ],
)
def test_what_cannot_be_compared_is_said(traced, options, words):
    with pytest.raises(ComparisonError, match=words):
        compare(traced, canal(), **options)


# --- Independent programs -----------------------------------------------------------------------------------


def line_string(points):
    return shapely.linestrings(points)


@pytest.mark.parametrize("seed", range(6))
def test_distances_are_those_of_independent_programs(seed):
    traced, reference = (
        wavy(seed, radius=5.0, angle_deg=70.0),
        canal(radius=5.0, angle_deg=70.0, straight=8.3),
    )
    found = compare(traced, reference)
    a, b = line_string(traced), line_string(reference)
    # GEOS: from the points of the densified line to the other line.
    assert found.hausdorff_mm == pytest.approx(shapely.hausdorff_distance(a, b, densify=0.25), abs=1e-3)
    there = shapely.distance(shapely.points(resample(traced, 4001)), b)
    assert found.traced_to_reference.mean_mm == pytest.approx(there.mean(), abs=1e-4)
    assert found.traced_to_reference.percentile95_mm == pytest.approx(np.percentile(there, 95.0), abs=2e-3)
    # scipy: between sets of points, so more than between lines by less than half a spacing.
    dense = [resample(line, 1500) for line in (traced, reference)]
    sets = max(directed_hausdorff(*dense)[0], directed_hausdorff(*dense[::-1])[0])
    assert found.hausdorff_mm - 1e-3 <= sets <= found.hausdorff_mm + 0.5 * found.step_mm
    chains = [resample(line, 250) for line in (traced, reference)]
    for discrete in (
        similaritymeasures.frechet_dist(*chains),
        shapely.frechet_distance(*map(line_string, chains)),
    ):
        assert found.frechet_mm - found.frechet_error_mm - 1e-3 <= discrete <= found.frechet_mm + 0.07


def test_mean_distance_is_the_area_between_over_the_length():
    """For lines that run along each other; the area by an independent program."""
    traced, reference = canal(offset=0.3), canal()
    found = compare(traced, reference)
    area = similaritymeasures.area_between_two_curves(resample(traced, 200), resample(reference, 200))
    assert found.mean_mm == pytest.approx(
        area / (0.5 * (found.traced_length_mm + found.reference_length_mm)), rel=2e-3
    )


corner = st.tuples(*[st.integers(0, 1000).map(lambda i: i / 100.0)] * 2)
lines = st.lists(corner, min_size=2, max_size=7).map(np.array)


@ANY
@given(lines, lines)
def test_discrete_frechet_is_that_of_an_independent_program(a, b):
    assert discrete_frechet(a, b) == pytest.approx(similaritymeasures.frechet_dist(a, b), abs=1e-12)


def compared(a, b, **options):
    """Any two lines that can be compared, however they wind; as they run."""
    assume(np.ptp(a, axis=0).max() > 0.5 and np.ptp(b, axis=0).max() > 0.5)
    found = compare(a, b, step_mm=0.2, **options)
    return found, b if not found.was_reversed else b[::-1]


@ANY
@given(lines, lines)
def test_any_two_lines_agree_with_other_programs_within_the_stated_errors(a, b):
    found, turned = compared(a, b)
    geos = shapely.hausdorff_distance(*(shapely.segmentize(line_string(line), 0.1) for line in (a, turned)))
    assert geos - 0.5 * found.step_mm - 1e-9 <= found.hausdorff_mm <= geos + 0.05
    # Not GEOS: for lines that come back to where they were, its Fréchet distance is larger than that of the definition.
    chains = [resample(line, 60) for line in (a, turned)]
    longest = max(np.hypot(*np.diff(line, axis=0).T).sum() / 59.0 for line in (a, turned))
    discrete = similaritymeasures.frechet_dist(*chains)
    assert (
        found.frechet_mm - found.frechet_error_mm - longest <= discrete <= found.frechet_mm + longest + 1e-9
    )
    assert 0.0 <= found.frechet_error_mm <= found.step_mm + 1e-9


# --- Properties ---------------------------------------------------------------------------------------------


@ANY
@given(lines)
def test_a_line_does_not_differ_from_itself(a):
    found, _ = compared(a, a)
    assert not found.was_reversed
    for name in ("mean_mm", "percentile95_mm", "hausdorff_mm", "frechet_mm", "length_difference_mm"):
        assert found.numbers[name] == pytest.approx(0.0, abs=1e-9), name
    assert found.departures == ()


@pytest.mark.parametrize("seed", range(4))
def test_a_canal_does_not_differ_from_itself(seed):
    found = compare(wavy(seed), wavy(seed))
    assert max(found.numbers.values()) < 1e-9
    assert found.coverage == pytest.approx(1.0)


@ANY
@given(lines, lines)
def test_symmetric_numbers_are_symmetric(a, b):
    one, _ = compared(a, b)
    other, _ = compared(b, a)
    for name in ("mean_mm", "percentile95_mm", "hausdorff_mm"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=1e-9), name
    assert abs(one.frechet_mm - other.frechet_mm) <= max(one.frechet_error_mm, other.frechet_error_mm) + 1e-9


@ANY
@given(lines, lines, st.floats(-np.pi, np.pi), corner)
def test_turning_and_moving_the_image_changes_nothing(a, b, angle, shift):
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    one, _ = compared(a, b)
    other, _ = compared(a @ turn + shift, b @ turn + shift)
    assume(one.was_reversed == other.was_reversed)  # a tie between the two ways may fall either way
    for name in ("mean_mm", "percentile95_mm", "hausdorff_mm"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=1e-7), name
    # Places that are equally near may be taken the other way round: then the limits differ, the distance does not.
    assert abs(one.frechet_mm - other.frechet_mm) <= max(one.frechet_error_mm, other.frechet_error_mm) + 1e-7


@ANY
@given(lines, lines, st.integers(2, 40))
def test_more_points_on_the_same_line_change_nothing(a, b, extra):
    one, _ = compared(a, b)
    steps = np.hypot(*np.diff(a, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    denser = point_at(a, np.union1d(along, np.linspace(0.0, along[-1], extra)))
    other, _ = compared(denser, b)
    for name in ("mean_mm", "percentile95_mm", "hausdorff_mm"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=1e-6), name


@settings(ANY, max_examples=12)
@given(lines, lines, lines)
def test_triangle_inequality_within_the_stated_errors(a, b, c):
    (ab, _), (bc, _), (ac, _) = compared(a, b), compared(b, c), compared(a, c)
    assert ac.hausdorff_mm <= ab.hausdorff_mm + bc.hausdorff_mm + 0.2 + 1e-9
    assume(not (ab.was_reversed or bc.was_reversed or ac.was_reversed))
    assert ac.frechet_mm - ac.frechet_error_mm <= ab.frechet_mm + bc.frechet_mm + 1e-9


@ANY
@given(lines, lines)
def test_what_is_told_hangs_together(a, b):
    found, _ = compared(a, b)
    assert found.traced_to_reference.mean_mm <= found.traced_to_reference.largest_mm + 1e-9
    assert found.percentile95_mm <= found.hausdorff_mm <= found.frechet_mm + 1e-9
    assert 0.0 <= found.coverage <= 1.0
    assert np.isfinite(found.profile.offset_mm).all()
    for part in found.departures:
        assert part.start_from_foramen_mm >= part.end_from_foramen_mm >= 0.0
        assert found.limit_mm < part.largest_mm <= found.hausdorff_mm
    for remark in found.remarks:
        assert remark.endswith(".")


# --- Experts ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [2, 3, 5])
def test_no_expert_lies_outside_the_experts_band(count):
    lines = [wavy(seed, size=0.15, straight=8.0 + 0.3 * seed) for seed in range(count)]
    band = expert_band(lines, mm_per_pixel=1.0)
    assert band.experts == count
    for i, line in enumerate(lines):
        assert max(band.beyond(compare(line, band.consensus_rc)).values()) == 0.0
        others = expert_band([other for j, other in enumerate(lines) if j != i], mm_per_pixel=1.0)
        alone = compare(line, others.consensus_rc).numbers
        assert all(alone[name] <= band.spread[name] + 1e-9 for name in alone)
    student = compare(canal(offset=2.0), band.consensus_rc)
    assert band.beyond(student)["mean_mm"] == pytest.approx(student.mean_mm - band.spread["mean_mm"])


def test_two_experts_differ_by_their_own_distance():
    band = expert_band([canal(offset=0.2), canal(offset=-0.1)], mm_per_pixel=1.0)
    assert band.spread["hausdorff_mm"] == pytest.approx(0.3, abs=1e-3)
    assert compare(band.consensus_rc, canal(offset=0.05)).hausdorff_mm == pytest.approx(0.0, abs=5e-3)


def test_the_mean_line_flattens_an_arc_as_stated():
    """Experts 0.5 mm apart along an arc of R = 3 mm: the mean lies delta^2 / 8R = 0.010 mm inside it."""
    arc = canal(straight=0.0, radius=3.0, angle_deg=90.0)
    turn = 0.5 / 3.0
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    centre = np.array([0.0, 3.0])
    band = expert_band([arc, (arc - centre) @ spin + centre], mm_per_pixel=1.0)
    flattened = 3.0 - np.hypot(*(band.consensus_rc - centre).T)
    assert flattened == pytest.approx(0.5**2 / (8.0 * 3.0), rel=0.02)


def test_an_expert_who_drew_the_other_way_is_turned_round():
    lines = [wavy(0), wavy(1)[::-1], wavy(2)]
    band = expert_band(lines, mm_per_pixel=1.0)
    assert band.reversed_experts == (1,)
    assert band.consensus_rc == pytest.approx(
        expert_band([wavy(0), wavy(1), wavy(2)], mm_per_pixel=1.0).consensus_rc
    )


def test_one_expert_has_no_spread():
    band = expert_band([canal() / 0.02], mm_per_pixel=0.02)
    assert (band.experts, band.spread) == (1, {})
    far = compare_centrelines(canal(offset=0.5) / 0.02, band.consensus_rc, mm_per_pixel=0.02)
    assert band.beyond(far) == far.numbers
    with pytest.raises(ComparisonError, match="no expert's line"):
        expert_band([], mm_per_pixel=1.0)
    with pytest.raises(ComparisonError, match="line of expert 2"):
        expert_band([canal(), [[0.0, 0.0]]], mm_per_pixel=1.0)


@ANY
@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=7))
def test_no_value_lies_outside_its_own_band(values):
    band = value_band(values)
    others = (
        [abs(v - np.mean(np.delete(values, i))) for i, v in enumerate(values)] if len(values) > 1 else [0.0]
    )
    assert band.spread == pytest.approx(max(others), abs=1e-9)
    assert all(band.beyond(value) <= 1e-9 for value in values)
    assert band.beyond(band.consensus + band.spread + 2.0) == pytest.approx(2.0)


def test_every_source_says_how_it_was_read():
    assert len({each.key for each in COMPARISON_REFERENCES}) == len(COMPARISON_REFERENCES)
    assert all(each.how_read for each in COMPARISON_REFERENCES)
