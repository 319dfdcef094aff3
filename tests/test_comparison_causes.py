"""Measurements compared: differences by closed forms, causes of an angle difference, experts' bands of numbers."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from comparison_lines import canal, wavy

from curvometer import calibrate_from_mm_per_pixel, centreline_from_points, measure_canal
from curvometer.agreement import AngleLandmarks, divide_angle_difference
from curvometer.comparison import (
    COMPARED,
    ComparisonError,
    angle_causes,
    compare_measurements,
    measurement_bands,
)
from curvometer.comparison.angle import _angles, _Drawn
from curvometer.curvature import coronal_axis, schneider_angle
from curvometer.measurement import MeasurementFlag, Severity

STRAIGHT = MeasurementFlag(code="straight", severity=Severity.NOTE, text="No bend.")


# --- Measurements -------------------------------------------------------------------------------------------


def measured(line, *, mm_per_pixel=0.02):
    return measure_canal(
        centreline_from_points(line / mm_per_pixel), calibrate_from_mm_per_pixel(mm_per_pixel)
    )


def test_differences_of_two_measured_canals():
    """Truth: S = theta / 2, curvature 1 / R, curve from R theta to 0 mm from the foramen, length a + R theta."""
    student, reference = measured(canal(radius=5.0, count=60)), measured(canal(radius=6.0, count=60))
    found = compare_measurements(student, reference)
    assert set(found.differences) == set(COMPARED)
    assert found.missing == {}
    rows = found.differences
    assert rows["schneider_angle"].difference == pytest.approx(0.0, abs=0.1)
    assert rows["curvature"].relative == pytest.approx(0.2, abs=0.01)
    assert rows["curvature"].unit == "1/mm"
    assert rows["curvature"].lower <= 1.0 / 6.0 <= rows["curvature"].upper
    assert rows["canal_length"].difference == pytest.approx(-np.pi / 4.0, abs=0.02)
    assert rows["curve_start_from_foramen"].difference == pytest.approx(-np.pi / 4.0, abs=0.05)
    assert rows["curve_end_from_foramen"].difference == pytest.approx(0.0, abs=0.05)
    assert rows["schneider_angle"].within_interval
    assert not rows["canal_length"].within_interval


def test_a_student_who_sees_no_bend_has_no_curvature(make_known_case):
    straight = replace(
        make_known_case(angles_deg=(), flags=(STRAIGHT,)).measurement,
        pruett_radius=None,
        curve_start_from_foramen=None,
        curve_end_from_foramen=None,
    )
    bent = make_known_case().measurement
    found = compare_measurements(straight, bent)
    assert found.differences["curvature"].relative == pytest.approx(-1.0)
    assert found.missing["curve_start_from_foramen"].endswith("the student's canal is straight.")
    assert found.angle_causes is None
    back = compare_measurements(bent, straight)
    assert back.differences["curvature"].relative is None
    assert back.missing["curve_end_from_foramen"].endswith("the reference is straight.")


def test_without_a_scale_only_angles_are_compared(make_known_case):
    case = make_known_case(mm_per_pixel=None).measurement
    found = compare_measurements(case, case)
    assert set(found.differences) == {"schneider_angle"}
    assert "see its flags" in found.missing["canal_length"]


def test_bands_of_measurements(make_known_case):
    cases = [
        make_known_case(radius_px=r, angles_deg=(a,)).measurement
        for r, a in ((300, 40), (320, 44), (310, 36))
    ]
    bands = measurement_bands(cases)
    assert bands["schneider_angle"].consensus == pytest.approx(20.0)
    assert bands["schneider_angle"].spread == pytest.approx(3.0)  # 22 against the mean of 20 and 18
    assert bands["curvature"].consensus == pytest.approx(np.mean([1 / 6.0, 1 / 6.4, 1 / 6.2]))
    with pytest.raises(ComparisonError, match="no expert's measurement"):
        measurement_bands([])


@pytest.mark.parametrize("aspect", [0.0, -1.0, np.nan])
def test_an_impossible_aspect_is_refused(make_known_case, aspect):
    case = make_known_case().measurement
    with pytest.raises(ComparisonError, match="pixel_aspect"):
        compare_measurements(case, case, pixel_aspect=aspect)


# --- Why angles differ --------------------------------------------------------------------------------------


def angle_of(line, start, foramen):
    """Schneider's angle of one line, one start and one foramen."""
    one = _Drawn(line=line, start=start, foramen=foramen)
    return _angles(line, (one, one))[0][0]


def redrawn(case, *, line=None, start=None, foramen=None, angle=None):
    """A known measurement with another line, start, foramen; its angle worked out anew from them, or given."""
    marks = case.measurement.landmarks
    line = marks.line_rc if line is None else line
    start = marks.curve_start_rc if start is None else start
    foramen = line[-1] if foramen is None else foramen
    if angle is None:
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
        s = along[np.argmin(np.hypot(*(line - start).T))]
        angle = float(schneider_angle(coronal_axis(line, s), start, foramen))
    quantity = replace(case.measurement.schneider_angle, value=angle)
    return replace(
        case.measurement,
        schneider_angle=quantity,
        landmarks=replace(marks, line_rc=line, curve_start_rc=start, foramen_rc=foramen),
    )


def test_the_same_tracing_has_no_causes(make_known_case):
    case = make_known_case().measurement
    found = angle_causes(case, case)
    assert (found.line_deg, found.curve_start_deg, found.foramen_deg) == pytest.approx((0.0, 0.0, 0.0))


def test_a_start_set_elsewhere_on_the_same_line_is_the_only_cause(make_known_case):
    case = make_known_case()
    reference = redrawn(case)
    student = redrawn(case, start=case.measurement.landmarks.line_rc[140])
    found = angle_causes(student, reference)
    whole = student.schneider_angle.value - reference.schneider_angle.value
    assert abs(whole) > 1.0
    assert found.curve_start_deg == pytest.approx(whole, abs=1e-6)
    assert (found.line_deg, found.foramen_deg, found.remainder_deg) == pytest.approx(
        (0.0, 0.0, 0.0), abs=1e-6
    )
    assert found.largest == "curve_start"


def test_a_line_that_stops_short_is_a_matter_of_the_foramen(make_known_case):
    """Short by a sixth of an arc of 40 degrees: S falls from 20 by 40 / 12 degrees."""
    case = make_known_case()
    reference = redrawn(case)
    line = case.measurement.landmarks.line_rc
    student = redrawn(case, line=line[: len(line) - 20])
    found = angle_causes(student, reference)
    whole = student.schneider_angle.value - reference.schneider_angle.value
    assert whole == pytest.approx(-40.0 / 12.0, abs=0.05)
    assert found.foramen_deg == pytest.approx(whole, rel=0.2)
    assert found.largest == "foramen"
    assert found.sum_deg == pytest.approx(whole)


def test_a_line_drawn_parallel_has_no_cause_at_all(make_known_case):
    """An offset curve turns by the same angle. Divided by positions, two causes that cancel would appear."""
    case = make_known_case()
    line = case.measurement.landmarks.line_rc
    course = np.gradient(line, axis=0)
    normal = np.column_stack([-course[:, 1], course[:, 0]]) / np.hypot(*course.T)[:, None]
    beside = line + 15.0 * normal
    reference, student = redrawn(case), redrawn(case, line=beside, start=beside[119])
    found = angle_causes(student, reference)
    assert (found.line_deg, found.curve_start_deg, found.foramen_deg) == pytest.approx((0, 0, 0), abs=0.1)
    by_position = divide_angle_difference(
        *(
            AngleLandmarks(
                axis_rc=np.array([1.0, 0.0]),
                curve_start_rc=each.landmarks.curve_start_rc,
                foramen_rc=each.landmarks.foramen_rc,
            )
            for each in (student, reference)
        )
    )
    assert abs(by_position["curve_start"]) > 2.0


def test_causes_of_two_real_tracings_add_up():
    student = measured(wavy(4, size=0.2, count=60))
    reference = measured(canal(count=60))
    found = angle_causes(student, reference)
    whole = student.schneider_angle.value - reference.schneider_angle.value
    assert found.sum_deg == pytest.approx(whole)
    assert abs(found.remainder_deg) < 0.1


def test_the_division_is_shapleys_mean_over_all_orders(make_known_case):
    """Exchange the three in each of the six orders, by an own loop over the program's angle."""
    case = make_known_case()
    line = case.measurement.landmarks.line_rc
    tilted = line + np.linspace(0.0, 20.0, len(line))[:, None] * (0.0, 1.0)
    reference, student = redrawn(case), redrawn(case, line=tilted[:-15], start=tilted[130])
    found = angle_causes(student, reference)
    own = np.zeros(3)
    parts = [
        (m.landmarks.line_rc, m.landmarks.curve_start_rc, m.landmarks.foramen_rc)
        for m in (reference, student)
    ]
    for order in itertools.permutations(range(3)):
        now = list(parts[0])
        for cause in order:
            before = angle_of(*now)
            now[cause] = parts[1][cause]
            own[cause] += (angle_of(*now) - before) / 6.0
    assert (found.line_deg, found.curve_start_deg, found.foramen_deg) == pytest.approx(own)


def test_a_start_beyond_the_others_foramen_cannot_be_divided(make_known_case):
    case = make_known_case()
    line = case.measurement.landmarks.line_rc
    reference = redrawn(case, line=line[:150])
    student = redrawn(case, start=line[-10])
    assert angle_causes(student, reference) is None


def test_oblong_pixels_change_no_cause(make_known_case):
    square, oblong = (
        [make_known_case(radius_px=r, aspect_ratio=aspect).measurement for r in (300.0, 360.0)]
        for aspect in (1.0, 1.3)
    )
    one, other = angle_causes(*square), angle_causes(*oblong, pixel_aspect=1.3)
    assert other.line_deg == pytest.approx(one.line_deg, abs=1e-6)
    assert other.foramen_deg == pytest.approx(one.foramen_deg, abs=1e-6)
