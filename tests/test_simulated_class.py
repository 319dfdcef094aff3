"""A class whose slips are known: the report has to find and name each; marks fall with the error; clean work loses nothing."""

from __future__ import annotations

import pytest
from simulated_class import EXPECTED, Slip, simulated_class, submission_with

from curvometer.assessment import save_submission
from curvometer.assessment.expectations import expect
from curvometer.assessment.marking import mark_submission
from curvometer.course import CourseExercise, course_numbers, find_oddities, mark_course
from curvometer.course.handed_in import Course, HandedIn

IMAGES = 2


@pytest.fixture(scope="module")
def known():
    return simulated_class(len(Slip), IMAGES, seed=5)


@pytest.fixture(scope="module")
def few():
    """Two images and nobody, with what is expected."""
    known = simulated_class(0, 2, seed=6)
    return known, expect(known.sheet, known.key)


@pytest.fixture(scope="module")
def marks(known):
    expectations = expect(known.sheet, known.key)
    return {known.slips[each.student]: mark_submission(expectations, each) for each in known.submissions}


@pytest.mark.parametrize("slip", list(EXPECTED))
def test_each_slip_is_named_on_every_image(marks, slip):
    for image in marks[slip].images:
        assert EXPECTED[slip] in image.errors, (slip, image.image, image.errors)


@pytest.mark.parametrize("slip", list(EXPECTED))
def test_nothing_else_is_named_beside_it(marks, slip):
    others = {kind for image in marks[slip].images for kind in image.errors} - {EXPECTED[slip]}
    assert not others, slip


def test_clean_work_earns_everything(marks):
    assert marks[Slip.CLEAN].percent == 100.0
    assert not any(image.errors for image in marks[Slip.CLEAN].images)


def test_every_slip_costs_points(marks):
    assert all(mark.percent < 100.0 for slip, mark in marks.items() if slip is not Slip.CLEAN)


@pytest.mark.parametrize(
    ("slip", "sizes"),
    [
        (Slip.SCALE, (0.0, 0.03, 0.2)),
        (Slip.SHORT, (0.0, 1.5, 3.0)),
        (Slip.CURVE_START, (0.0, 1.0, 2.0)),
        (Slip.BESIDE, (0.0, 0.5, 1.5)),
        (Slip.SHAKY, (0.0, 0.15, 0.3)),
        (Slip.ANGLE, (0.0, 6.0, 15.0)),
    ],
)
def test_marks_fall_with_the_error(few, slip, sizes):
    """The same hand, the same points: only the size of the slip differs."""
    known, expectations = few
    percents = [
        mark_submission(
            expectations,
            submission_with(expectations, known.canals, "S1", slip, size=size, seed=3, steadiness_mm=0.0),
        ).percent
        for size in sizes
    ]
    assert percents == sorted(percents, reverse=True)
    assert percents[0] == 100.0
    assert percents[-1] < 100.0


def test_a_leaning_is_told_with_its_size(known):
    """A scale that is 15 % too long is told as that; who draws curves too sharp, as angles too large."""
    names = {slip: student for student, slip in known.slips.items()}
    two = simulated_class(len(Slip), 4, seed=5, only=[list(Slip).index(s) for s in (Slip.SCALE, Slip.ANGLE)])
    expectations = expect(two.sheet, two.key)
    files = tuple(
        HandedIn(
            file=f"{each.student}.json",
            sha256=each.student,
            student=each.student,
            exercise=each.exercise,
            occasion=1,
            created=each.created,
            mark=mark_submission(expectations, each),
        )
        for each in two.submissions
    )
    numbers = course_numbers(Course(exercises=(CourseExercise(two.sheet, two.key),), files=files))
    leanings = {
        each.student: {leaning.name: leaning for leaning in each.leanings} for each in numbers.students
    }
    scale = leanings[names[Slip.SCALE]]["scale_error_percent"]
    assert scale.mean == pytest.approx(15.0, abs=1.0)
    assert "too large" in scale.words
    assert leanings[names[Slip.ANGLE]]["angle_error_deg"].mean > 2.0
    assert "scale_error_percent" not in leanings[names[Slip.ANGLE]]


def test_steady_hands_among_experts_lose_nothing():
    """Three experts of 0.05 mm; a student as steady as they are is inside their spread."""
    known = simulated_class(2, 2, slips=[Slip.CLEAN], experts=3, seed=2)
    expectations = expect(known.sheet, known.key)
    assert [mark_submission(expectations, each).percent for each in known.submissions] == [100.0, 100.0]


def test_the_same_seed_gives_the_same_class():
    first, again = (simulated_class(1, 1, seed=9) for _ in range(2))
    assert first.sheet.edition == again.sheet.edition
    assert first.submissions[0].answers == again.submissions[0].answers
    assert simulated_class(1, 1, seed=8).submissions[0].answers != first.submissions[0].answers


def test_swapped_images_are_listed_as_odd(known, tmp_path):
    swapped = next(each for each in known.submissions if known.slips[each.student] is Slip.SWAPPED)
    save_submission(swapped, tmp_path / "s.json")
    course = mark_course(tmp_path, [tmp_path / "s.json"], [CourseExercise(known.sheet, known.key)])
    (oddity,) = find_oddities(course)
    assert oddity.kind.value == "another image"
    assert oddity.images == ("f01", "f02")
