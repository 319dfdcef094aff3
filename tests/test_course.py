"""A folder to a course: which files are read, who should have handed in, what the marks say; by hand where it can be."""

from __future__ import annotations

import pytest
from hand_made_course import course, handed, image, sheet_mark, small_class
from hypothesis import given
from hypothesis import strategies as st
from simulated_class import Slip, simulated_class, write_class

from curvometer import CurvometerError
from curvometer.assessment import AssessmentError, ErrorKind
from curvometer.course import (
    CourseExercise,
    course_numbers,
    find_oddities,
    mark_course,
    read_roster,
    submission_files,
)
from curvometer.course.numbers import bins_of, spread_of

# --- the folder and the roster


def test_files_below_the_folder_are_read_in_the_order_of_their_names(tmp_path):
    for name in ("b.json", "a/z.json", ".hidden.json", "a/.trash/x.json", "report/class.html", "k.key.json"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("{}", encoding="utf-8")
    found = submission_files(tmp_path, besides=[tmp_path / "report", tmp_path / "k.key.json"])
    assert [path.relative_to(tmp_path).as_posix() for path in found] == ["a/z.json", "b.json"]


def test_a_folder_without_files_is_refused(tmp_path):
    with pytest.raises(AssessmentError, match="holds no file"):
        submission_files(tmp_path)
    with pytest.raises(AssessmentError, match="does not exist"):
        submission_files(tmp_path / "x")
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(AssessmentError, match="is a file"):
        submission_files(tmp_path / "file")


@pytest.mark.parametrize(
    "text",
    ["a1\nb2\n", "\ufeffa1\r\n\r\nb2", "name;Student;group\nx;a1;1\ny;b2;2\n", "student\na1\nb2\n"],
)
def test_rosters_in_several_forms(tmp_path, text):
    path = tmp_path / "roster.csv"
    path.write_bytes(text.encode())
    assert read_roster(path) == ("a1", "b2")


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "names nobody"),
        (b"student\n", "names nobody"),
        (b"a\na\n", "names a twice"),
        (b"a\n=b\n", "no pseudonym"),
        (b"x,y\na,b\n", "none is 'student'"),
        (b"\xff\xfe", "not a text in UTF-8"),
    ],
)
def test_bad_rosters_are_refused_in_one_sentence(tmp_path, content, told):
    path = tmp_path / "roster.csv"
    path.write_bytes(content)
    with pytest.raises(AssessmentError, match=told):
        read_roster(path)
    with pytest.raises(AssessmentError, match="cannot be read"):
        read_roster(tmp_path / "none.csv")


# --- marking


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("class")
    known = simulated_class(8, 1, slips=[Slip.CLEAN, Slip.NOT_DONE, Slip.SCALE], seed=21)
    return known, write_class(known, folder)


def plain(course):
    return [(each.file, each.mark, each.refusal, sorted(each.lines_rc)) for each in course.files]


def test_one_process_and_two_give_the_same(written):
    known, files = written
    found = submission_files(files.folder)
    exercises = [CourseExercise(known.sheet, known.key)]
    one, two = (mark_course(files.folder, found, exercises, processes=n) for n in (1, 2))
    assert plain(one) == plain(two)
    assert find_oddities(one) == find_oddities(two)
    assert len(one.marked) == 8


def test_an_exercise_given_twice_is_refused(written):
    known, files = written
    with pytest.raises(AssessmentError, match="given twice"):
        mark_course(files.folder, [], [CourseExercise(known.sheet, known.key)] * 2)


def test_a_file_that_breaks_marking_is_told_and_costs_nobody_else_anything(written, monkeypatch):
    known, files = written
    calls = iter([ValueError("odd"), None])

    def broken(_expectations, submission):
        error = next(calls)
        if error is not None:
            raise error
        return sheet_mark(submission.student, [image("f1", 1.0)], exercise=submission.exercise)

    monkeypatch.setattr("curvometer.course.marking.mark_submission", broken)
    done = mark_course(
        files.folder, submission_files(files.folder)[:2], [CourseExercise(known.sheet, known.key)]
    )
    assert [bool(each.mark) for each in done.files] == [False, True]
    assert "ValueError: odd" in done.files[0].refusal


# --- numbers, against sums by hand (see `small_class`)


def test_percentages_take_the_latest_occasion_and_leave_out_who_is_missing():
    numbers = course_numbers(small_class())
    assert {each.student: each.percent for each in numbers.students} == {"a": 81.25, "b": 100.0, "c": None}
    assert numbers.spread.size == 2
    assert numbers.spread.mean == 90.625
    assert numbers.bins == (0, 0, 0, 0, 0, 0, 0, 0, 1, 1)
    assert [each.missing for each in numbers.students] == [(), ("second",), ("first", "second")]


def test_each_occasion_has_its_own_numbers():
    found = course_numbers(small_class()).occasions
    assert [(each.exercise, each.occasion, each.spread.mean) for each in found] == [
        ("first", 1, (87.5 + 50.0) / 2),
        ("first", 2, 100.0),
        ("second", 1, 75.0),
    ]


def test_images_errors_and_items():
    numbers = course_numbers(small_class())
    hardest = numbers.images[0]
    # f2 of the first exercise: 75, 50 and 100 per cent; f1: 100, 50 and 100; both of the second: 75.
    assert (hardest.exercise, hardest.image, hardest.percent) == ("first", "f2", 75.0)
    first = next(each for each in numbers.images if (each.exercise, each.image) == ("first", "f1"))
    assert first.percent == pytest.approx(250.0 / 3.0)
    assert first.angle_bias_deg == 3.0  # 1 and 5 degrees
    assert first.angle_spread_deg == pytest.approx(8.0**0.5)
    assert hardest.weakest == "Angle"
    assert [(each.kind, each.answers, each.students) for each in numbers.errors] == [
        (ErrorKind.STOPPED_SHORT, 3, 2),
        (ErrorKind.BEYOND, 1, 1),
    ]
    assert numbers.errors[0].where[0] == "first/f2"
    assert {each.code: each.percent for each in numbers.items} == {"angle": 56.25, "image": 100.0}
    assert numbers.answers == 8


def test_a_leaning_needs_images_and_a_mean_beyond_chance():
    def leanings(errors):
        images = [image(f"f{i}", 10.0, angle=error) for i, error in enumerate(errors)]
        return course_numbers(course([handed(sheet_mark("a", images))])).students[0].leanings

    assert leanings([4.0, 5.0, 4.0]) == ()
    assert leanings([9.0, -9.0, 8.0, -7.0]) == ()
    assert leanings([0.9, 1.0, 0.9, 1.0]) == ()
    (found,) = leanings([4.0, 5.0, 4.0, 5.0])
    assert found.mean == 4.5
    assert found.words == "angles 4.5° too large on average"


def test_nothing_handed_in_gives_no_numbers():
    numbers = course_numbers(course([], roster=("a",)))
    assert numbers.spread is None
    assert numbers.students[0].percent is None


@given(st.lists(st.floats(0.0, 100.0), min_size=1))
def test_every_percentage_is_in_one_bin_and_quartiles_rise(percents):
    spread = spread_of(percents)
    assert sum(bins_of(percents)) == len(percents)
    assert spread.lowest <= spread.quartile1 <= spread.median <= spread.quartile3 <= spread.highest


def test_a_refusal_of_the_project_is_one_of_its_errors():
    assert issubclass(AssessmentError, CurvometerError)
