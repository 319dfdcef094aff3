"""What is odd is found and named, whoever copied from whom; what only looks alike is not."""

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import pytest
from simulated_class import Slip, same_work, simulated_class

from curvometer.assessment import new_submission, save_submission
from curvometer.assessment.marks import ImageMark, SheetMark
from curvometer.assessment.submission import seal_of
from curvometer.course import Course, CourseExercise, OddityKind, find_oddities, mark_course, submission_files
from curvometer.course.copies import SAME_PX, same_scales, same_tracings
from curvometer.course.handed_in import HandedIn, TracePrint


@pytest.fixture(scope="module")
def known():
    return simulated_class(3, 2, slips=[Slip.CLEAN], seed=11)


@pytest.fixture
def oddities_of(known, tmp_path):
    """Write the class, let `change` do something to its folder, and list what is odd."""

    def found(change, roster=None):
        for each in known.submissions:
            save_submission(each, tmp_path / f"{each.student}.json")
        change(tmp_path)
        course = mark_course(
            tmp_path,
            submission_files(tmp_path),
            [CourseExercise(known.sheet, known.key)],
            roster=roster,
            processes=1,
        )
        return course, find_oddities(course)

    return found


def untouched(_folder):
    """The class as it was handed in."""


def edited(path, **changes):
    content = json.loads(path.read_text(encoding="utf-8")) | changes
    path.write_text(json.dumps(content), encoding="utf-8")


def test_nothing_is_odd_about_a_clean_class(oddities_of):
    _, found = oddities_of(untouched)
    assert found == ()


def test_a_changed_file_is_told_and_still_marked(oddities_of):
    course, (oddity,) = oddities_of(lambda folder: edited(folder / "S001.json", student="S009"))
    assert oddity.kind is OddityKind.CHANGED
    assert oddity.students == ("S009",)
    assert len(course.marked) == 3


def test_a_seal_that_was_taken_out_is_told(oddities_of):
    _, (oddity,) = oddities_of(lambda folder: edited(folder / "S001.json", seal=""))
    assert oddity.kind is OddityKind.CHANGED


def test_a_number_changed_by_hand_is_told(oddities_of, known):
    def change(folder):
        answer = known.submissions[0].answers[0]
        angle = answer.canal.measurement.schneider_angle.model_copy(update={"value": 77.0})
        measured = answer.canal.measurement.model_copy(update={"schneider_angle": angle})
        canal = answer.canal.model_copy(update={"measurement": measured})
        answers = [answer.model_copy(update={"canal": canal}), *known.submissions[0].answers[1:]]
        bad = known.submissions[0].model_copy(update={"answers": answers})
        save_submission(bad, folder / "S000.json", overwrite=True)

    _, (oddity,) = oddities_of(change)
    assert oddity.kind is OddityKind.OTHER_NUMBERS
    assert "77.00 stated" in oddity.text


def test_another_edition_and_exercise_are_told_apart(oddities_of, known):
    def change(folder):
        for name, changes in (("S000", {"edition": "0" * 16}), ("S001", {"exercise": "other"})):
            index = int(name[1:])
            odd = known.submissions[index].model_copy(update=changes)
            save_submission(odd, folder / f"{name}.json", overwrite=True)

    course, found = oddities_of(change)
    assert [each.kind for each in found] == [OddityKind.OTHER_EXERCISE, OddityKind.OTHER_EDITION]
    assert found[0].students == ("S001",)
    assert found[1].students == ("S000",)
    assert len(course.marked) == 2


def test_an_answer_on_another_file_is_told(oddities_of, known):
    def change(folder):
        first, second = known.submissions[2].answers
        odd = new_submission(known.sheet, "S002", [first.model_copy(update={"sha256": "0" * 64}), second])
        save_submission(odd, folder / "S002.json", overwrite=True)

    _, found = oddities_of(change)
    assert [(each.kind, each.images) for each in found] == [(OddityKind.OTHER_IMAGE, ("f01",))]


def test_an_image_that_the_exercise_does_not_have_is_told(oddities_of, known):
    def change(folder):
        first = known.submissions[2].answers[0].model_copy(update={"image": "f99"})
        odd = known.submissions[2].model_copy(update={"answers": [*known.submissions[2].answers, first]})
        save_submission(odd, folder / "S002.json", overwrite=True)

    _, (oddity,) = oddities_of(change)
    assert oddity.kind is OddityKind.ANSWERS
    assert "f99" in oddity.text


def test_files_that_cannot_be_read_are_told_with_the_reason(oddities_of):
    def change(folder):
        (folder / "a.json").write_text("{", encoding="utf-8")
        (folder / "b.txt").write_bytes(b"\xff\xfe")
        (folder / "empty.json").write_bytes(b"")

    course, found = oddities_of(change)
    assert {each.files for each in found} == {("a.json",), ("b.txt",), ("empty.json",)}
    assert all(each.kind is OddityKind.UNREADABLE for each in found)
    assert "not valid JSON" in found[0].text
    assert all("/" not in each.text for each in found)  # where the folder lies is nobody's matter
    assert len(course.marked) == 3


def test_the_same_file_twice_counts_once(oddities_of):
    course, (oddity,) = oddities_of(
        lambda folder: (folder / "again.json").write_bytes((folder / "S000.json").read_bytes())
    )
    assert oddity.kind is OddityKind.SAME_FILE
    assert oddity.files == ("S000.json", "again.json")
    assert len(course.marked) == 4
    assert len(course.counted) == 3


def test_of_two_different_files_the_last_saved_counts(oddities_of, known):
    def change(folder):
        later = known.submissions[0].created + dt.timedelta(days=1)
        again = new_submission(known.sheet, "S000", known.submissions[0].answers[:1], created=later)
        save_submission(again, folder / "A_later.json")

    course, (oddity,) = oddities_of(change)
    assert oddity.kind is OddityKind.HANDED_IN_TWICE
    assert "A_later.json, saved last" in oddity.text
    assert next(each.file for each in course.counted if each.student == "S000") == "A_later.json"


def test_missing_and_unknown_students(oddities_of):
    _, found = oddities_of(untouched, roster=["S000", "S001", "S777"])
    assert {each.kind: each.students for each in found} == {
        OddityKind.MISSING: ("S777",),
        OddityKind.NOT_ON_ROSTER: ("S002",),
    }


def test_a_copy_is_told_with_whose_and_where(oddities_of, known):
    _, (oddity,) = oddities_of(
        lambda folder: save_submission(
            same_work(known.submissions[0], "S009", known.sheet), folder / "S009.json"
        )
    )
    assert oddity.kind is OddityKind.COPIED
    assert oddity.students == ("S000", "S009")
    assert oddity.images == ("f01", "f02")


def test_marks_of_the_sheet_say_what_cannot_be_marked(known):
    refused = HandedIn(
        file="x.json", sha256="1", refusal="It cannot be marked (ValueError: x).", student="S1"
    )
    course = mark_like(known, [refused])
    assert find_oddities(course)[0].kind is OddityKind.NOT_MARKED


def mark_like(known, files):
    return Course(exercises=(CourseExercise(known.sheet, known.key),), files=tuple(files))


# --- copies, on lines made by hand

RNG = np.random.default_rng(1)


def handed(student, lines, *, clicks=30, scales=None):
    prints = {
        name: TracePrint(line - line.mean(axis=0), line.mean(axis=0), clicks) for name, line in lines.items()
    }
    mark = SheetMark(student=student, exercise="e", occasion=1, images=(ImageMark(image="f1", items=()),))
    return HandedIn(
        file=f"{student}.json", sha256=student, student=student, exercise="e", mark=mark, prints=prints,
        scales=scales or {},
    )  # fmt: skip


def line():
    return np.cumsum(RNG.uniform(0.5, 1.5, (16, 2)) * 20.0, axis=0)


def test_a_jittered_and_a_moved_copy_are_found():
    own = line()
    files = [
        handed("a", {"f1": own}),
        handed("b", {"f1": own + RNG.uniform(-0.01, 0.01, own.shape)}),
        handed("c", {"f1": own + np.array([7.0, 24.0])}),
        handed("d", {"f1": line()}),
    ]
    (group,) = same_tracings(files)
    assert group.members == (0, 1, 2)
    assert group.moved_px == pytest.approx(25.0, abs=0.1)


def test_two_honest_hands_are_not_a_copy():
    """A tenth of a pixel from each other, which no two people reach."""
    own = line()
    assert (
        same_tracings([handed("a", {"f1": own}), handed("b", {"f1": own + RNG.normal(0.0, 0.1, own.shape)})])
        == []
    )
    bent = own.copy()
    bent[8, 0] += 2.0 * SAME_PX
    assert same_tracings([handed("a", {"f1": own}), handed("b", {"f1": bent})]) == []


def test_the_same_two_clicks_once_are_chance_and_often_are_not():
    lines = {f"f{i}": line() for i in range(3)}
    one = {"f0": lines["f0"]}
    assert same_tracings([handed("a", one, clicks=2), handed("b", one, clicks=2)]) == []
    (group,) = same_tracings([handed("a", lines, clicks=2), handed("b", lines, clicks=2)])
    assert group.images == ("f0", "f1", "f2")


def test_a_student_may_repeat_the_own_work():
    own = {"f1": line()}
    assert same_tracings([handed("a", own), handed("a", own)]) == []


def test_equal_scales_are_told_from_three_images_on():
    shared = {f"f{i}": float(RNG.uniform(0.019, 0.021)) for i in range(3)}
    files = [
        handed(f"s{i}", {}, scales={f"f{k}": float(RNG.uniform(0.019, 0.021)) for k in range(3)})
        for i in range(8)
    ]
    files += [handed("a", {}, scales=shared), handed("b", {}, scales=shared)]
    (group,) = same_scales(files)
    assert group.members == (8, 9)
    two = dict(list(shared.items())[:2])
    assert same_scales([*files[:8], handed("a", {}, scales=two), handed("b", {}, scales=two)]) == []


def test_a_scale_that_many_share_comes_from_the_image():
    shared = {f"f{i}": 0.02 for i in range(3)}
    assert same_scales([handed(f"s{i}", {}, scales=shared) for i in range(8)]) == []


def test_the_sheet_is_sealed_in_these_tests(known):
    assert all(each.seal == seal_of(each) for each in known.submissions)
