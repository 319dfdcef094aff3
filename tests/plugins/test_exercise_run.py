"""A student's run through an exercise without a window: what is missing, what is kept, what is handed in."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from curvometer import (
    CanalName,
    ProposedGrade,
    ProposedPlan,
    Purpose,
    StepEntry,
    Task,
    load_radiograph,
    load_submission,
    open_hand_out,
)
from curvometer.assessment import seal_of
from curvometer_napari import exercise_run as runs
from curvometer_napari.case import Case, ScaleObject, Tracing
from curvometer_napari.exercise_desk import NAME_FIRST, NAME_FORM, NOTHING_DONE, ExerciseDesk
from curvometer_napari.exercise_keeping import ExerciseKeeping, run_from_plain, run_to_plain
from curvometer_napari.history import History

SAMPLES = Path(__file__).parents[2] / "sample_images"
WIRE = ScaleObject(clicks_rc=((10.0, 20.0), (410.0, 20.0)), length_mm=10.0, tolerance_mm=0.1)
PLAN = ProposedPlan(
    advice="treat",
    steps=[
        StepEntry(kind="hand", size=10, taper=0.02, to_mm=20.0),
        StepEntry(kind="rotary", size=25, taper=0.04, to_mm=19.5, speed_rpm=300.0),
    ],
)
GRADE = ProposedGrade(grade="moderate", factors=["curvature"])


class Clock:
    """Seconds that pass only when told."""

    now = 100.0

    def __call__(self):
        return self.now


@pytest.fixture
def exercise(make_exercise):
    return make_exercise()


@pytest.fixture
def run(exercise):
    return runs.begin(open_hand_out(exercise.path).sheet)


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def keeping(tmp_path):
    made = ExerciseKeeping(tmp_path / "kept")
    yield made
    made.close()


@pytest.fixture
def desk(session, keeping, clock):
    made = ExerciseDesk(session, keeping=keeping, clock=clock)
    made.told = []
    session.told.connect(lambda sentence: made.told.append(sentence) if sentence else None)
    yield made
    made.close()


@pytest.fixture
def opened(desk, exercise, session):
    desk.open(str(exercise.path))
    session.settle()
    return desk


def with_case(run, case, what="click"):
    return runs.with_steps(run, run.work.history.with_step(case, what), seconds=0.0)


def traced(sample, name=CanalName.MB, *, accepted=True):
    anchors = (sample.orifice_rc, sample.foramen_rc)
    return Tracing(name=name, anchors_rc=anchors, accepted=accepted)


def trace(session, sample, name=CanalName.MB):
    session.start_tracing(name)
    session.click(sample.orifice_rc)
    session.click(sample.foramen_rc)
    session.settle()
    session.accept()
    session.settle()


def click_wire(session, sample, length_mm=10.0):
    """Click a wire that is as long on the image as the sample's true scale makes it."""
    session.start_scale()
    session.click((50.0, 40.0))
    session.click((50.0 + length_mm / sample.truth["mm_per_pixel"], 40.0))
    session.accept()


# --- what is missing --------------------------------------------------------------------------------------


def test_at_first_everything_that_is_asked_is_missing(run):
    assert runs.missing(run) == (Task.ACCEPT, Task.CALIBRATE, Task.TRACE, Task.GRADE, Task.PLAN)
    assert runs.still_to_do(run) == "judge the image, calibrate, trace MB, grade, plan"
    assert runs.unfinished(run) == (0, 1)
    assert not run.begun


def test_each_task_is_done_by_what_does_it(run, sample):
    run = runs.judged(run, True)
    assert Task.ACCEPT not in runs.missing(run)
    run = with_case(run, Case(scale_objects=(WIRE,)))
    assert runs.missing(run)[0] is Task.TRACE
    run = with_case(run, replace(run.work.case, tracings=(traced(sample("lower_molar")),)))
    assert runs.missing(run) == (Task.GRADE, Task.PLAN)
    run = runs.planned(runs.graded(run, GRADE), PLAN)
    assert runs.missing(run) == ()
    assert runs.still_to_do(run) == ""
    assert runs.unfinished(run) == (1,), "the other image is untouched"


def test_a_rejected_image_needs_reasons_and_nothing_else(run):
    run = runs.judged(run, False)
    assert runs.still_to_do(run) == "tick why the image cannot be used"
    run = runs.judged(run, False, ("blurred",))
    assert runs.missing(run) == ()


def test_an_image_that_is_used_has_no_reasons_against_it(run):
    run = runs.judged(runs.judged(run, False, ("blurred",)), True, ("blurred",))
    assert run.work.reasons == ()


def test_a_canal_under_another_name_is_told(run, sample):
    run = with_case(run, Case(tracings=(traced(sample("lower_molar"), CanalName.ML),)))
    assert "what you traced is named ML: rename it" in runs.still_to_do(run)
    run = with_case(run, Case(tracings=(traced(sample("lower_molar"), accepted=False),)))
    assert "finish MB with Enter" in runs.still_to_do(run)


def test_without_a_known_length_the_scale_is_not_missing(run):
    image = run.image.model_copy(update={"known_length": None})
    sheet = run.sheet.model_copy(update={"images": [image, *run.sheet.images[1:]]})
    assert Task.CALIBRATE not in runs.missing(replace(run, sheet=sheet))


def test_a_stated_scale_takes_the_place_of_what_the_file_says(run, session, exercise):
    """The picture's own resolution, 21 micrometres at best, is no scale; what the sheet states is one."""
    image = run.image.model_copy(update={"known_length": None, "mm_per_pixel": 0.02})
    radiograph = open_hand_out(exercise.path).radiograph(image.id)
    session.set_radiograph(radiograph, stated=runs.stated_scale(image))
    assert session.calibration.mm_per_pixel == session.file_calibration.mm_per_pixel == 0.02
    found = runs.outcome(radiograph, image, Case(tracings=(traced(exercise.samples[0]),)))
    given = runs.answer(image, run.work, found)
    assert given.calibration.mm_per_pixel == 0.02
    assert given.canal.to_measurement().pruett_radius.unit == "mm"
    session.set_radiograph(radiograph)
    assert session.calibration.mm_per_pixel is None


def test_only_what_is_asked_is_missing(make_exercise):
    exercise = make_exercise("lower_molar", tasks=[Task.TRACE])
    run = runs.begin(open_hand_out(exercise.path).sheet)
    assert runs.missing(run) == (Task.TRACE,)


def test_going_beyond_the_ends_stays_at_the_ends(run):
    assert runs.at_image(run, -3).at == 0
    assert runs.at_image(run, 9).at == 1


# --- kept on the disk -------------------------------------------------------------------------------------


def test_a_run_comes_back_from_json_as_it_was(run, sample):
    run = runs.planned(runs.graded(runs.judged(run, False, ("blurred", "noisy")), GRADE), PLAN)
    run = with_case(run, Case(scale_objects=(WIRE,), tracings=(traced(sample("lower_molar")),)))
    run = replace(runs.at_image(run, 1), student="ada-7", occasion=2)
    plain = json.loads(json.dumps(run_to_plain(run)))
    back = run_from_plain(plain, run.sheet)
    assert replace(back, works=()) == replace(run, works=())
    for one, other in zip(back.works, run.works, strict=True):
        assert replace(one, history=History()) == replace(other, history=History())
        assert one.case == other.case


@pytest.mark.usefixtures("opened")
def test_nothing_is_kept_before_anything_is_done(keeping, session, exercise):
    keeping.flush()
    assert list(keeping.folder.glob("*.json")) == []
    trace(session, exercise.samples[0])
    keeping.flush()
    assert len(list(keeping.folder.glob("*.json"))) == 1


KILLED = """
import sys, time
from curvometer_napari.exercise_desk import ExerciseDesk
from curvometer_napari.exercise_keeping import ExerciseKeeping
from curvometer_napari.session import Session
from pathlib import Path
session = Session()
desk = ExerciseDesk(session, keeping=ExerciseKeeping(Path(sys.argv[2])))
desk.open(sys.argv[1])
while not desk.on_the_image:
    time.sleep(0.01)
desk.judge(False, ("blurred",))
desk.name("ada-7", 2)
session.start_scale()
session.click((100.0, 50.0))
print("clicked", flush=True)
time.sleep(60)
"""


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL")
def test_a_killed_window_gives_the_exercise_back(exercise, tmp_path, session):
    folder = tmp_path / "kept"
    words = [sys.executable, "-c", KILLED, str(exercise.path), str(folder)]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout.readline() == "clicked\n"
        assert ExerciseKeeping(folder).pending() == [], "it still runs"
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
    keeping = ExerciseKeeping(folder)
    (saved,) = keeping.pending()
    assert (saved.title, saved.begun) == ("Curves, first week", 1)
    desk = ExerciseDesk(session, keeping=keeping)
    desk.open(saved.source, saved)
    session.settle()
    assert desk.run.work.reasons == ("blurred",)
    assert (desk.run.student, desk.run.occasion) == ("ada-7", 2)
    assert session.case.scale_draft_rc == ((100.0, 50.0),), "the half-clicked wire is back"
    assert keeping.pending() == [], "it is this window's now"
    desk.close()


def test_another_edition_does_not_take_the_old_work(opened, make_exercise, session, tmp_path):
    opened.judge(True)
    opened.close()
    other = ExerciseKeeping(tmp_path / "kept")
    (saved,) = other.pending()
    make_exercise(title="Curves, changed")  # under the same name
    desk = ExerciseDesk(session, keeping=other)
    told = []
    session.told.connect(told.append)
    desk.open(saved.source, saved)
    session.settle()
    assert desk.run is None
    assert "another edition" in told[-1]
    assert len(other.pending()) == 1, "nothing is deleted"
    desk.close()
    session.case_changed.connect(opened._take_steps)  # the fixture disconnects it once more


# --- at the desk ------------------------------------------------------------------------------------------


def test_the_first_image_is_shown_with_the_known_length_ready(opened, session):
    assert opened.on_the_image
    assert (session.length_mm, session.tolerance_mm) == (10.0, 0.1)
    assert np.array_equal(session.radiograph.pixels, load_radiograph(SAMPLES / "lower_molar.png").pixels)
    assert session.source == "", "it belongs to the exercise, not to the autosave of single images"


def test_clicks_and_their_history_come_back_with_their_image(opened, session, exercise):
    trace(session, exercise.samples[0])
    before, undo = session.case, session.undo_text
    opened.go(1)
    session.settle()
    assert session.case.tracings == ()
    assert session.undo_text == ""
    opened.go(0)
    session.settle()
    assert session.case == before
    assert session.undo_text == undo == "accept canal MB"
    session.undo()
    assert session.case.draft is not None


def test_another_image_is_never_taken_for_an_answer(opened, session, sample):
    other = sample("straight_canine")
    session.set_radiograph(other.radiograph, source=str(other.path))
    trace(session, other)
    assert not opened.on_the_image
    assert not opened.run.begun
    opened.show_image()
    session.settle()
    assert opened.on_the_image
    assert session.case.tracings == ()


def test_an_exercise_that_was_closed_goes_on_when_it_is_opened_again(opened, session, exercise, keeping):
    trace(session, exercise.samples[0])
    before = session.case
    opened.leave()
    opened.open(str(exercise.path))
    session.settle()
    assert session.case == before
    opened.judge(True)
    keeping.flush()
    assert len(list(keeping.folder.glob("*.json"))) == 1, "it is kept once, under its first name"


def test_the_time_on_an_image_is_counted_but_not_a_long_break(opened, session, clock):
    clock.now += 30.0
    session.start_scale()
    session.click((100.0, 50.0))
    assert opened.run.work.seconds == pytest.approx(30.0)
    clock.now += 4 * 3600.0
    session.click((200.0, 50.0))
    assert opened.run.work.seconds == pytest.approx(630.0)


def test_a_submission_holds_what_was_done_and_is_sealed(opened, session, exercise, tmp_path):
    sample = exercise.samples[0]
    click_wire(session, sample)
    trace(session, sample)
    seen = session.result(CanalName.MB).measurement
    opened.judge(True)
    opened.grade(GRADE)
    opened.plan(PLAN)
    opened.go(1)
    session.settle()
    opened.judge(False, ("blurred",))
    opened.name("ada-7", 2)
    path = tmp_path / "ada.submission.json"
    opened.save(str(path))
    session.settle()
    assert opened.told == []
    submission = load_submission(path)
    assert submission.seal == seal_of(submission)
    assert (submission.student, submission.occasion) == ("ada-7", 2)
    assert submission.edition == opened.run.sheet.edition
    first, second = submission.answers
    assert first.sha256 == opened.run.sheet.images[0].sha256
    assert first.calibration.mm_per_pixel == pytest.approx(sample.truth["mm_per_pixel"], rel=1e-5)
    assert first.canal.to_measurement().schneider_angle.value == seen.schneider_angle.value, "what was seen"
    assert (first.grade, first.plan) == (GRADE, PLAN)
    assert (second.accepted, second.reasons, second.canal) == (False, ["blurred"], None)
    assert "ada.submission.json: 2 of 2 images" in opened.said


def test_saving_twice_replaces_the_file(opened, session, tmp_path):
    opened.judge(True)
    opened.name("ada-7", 1)
    path = tmp_path / "ada.submission.json"
    for accepted in (True, False):
        opened.judge(accepted, ("noisy",))
        opened.save(str(path))
        session.settle()
        assert load_submission(path).answers[0].accepted is accepted
    assert list(tmp_path.glob("*.json")) == [path]


def test_saving_says_what_it_needs(opened, session, tmp_path):
    assert opened.refusal() == NOTHING_DONE
    opened.judge(True)
    assert opened.refusal() == NAME_FIRST
    opened.save(str(tmp_path / "x.json"))
    session.settle()
    assert opened.told == [NAME_FIRST]
    opened.name("Ada Lovelace", 1)
    assert opened.refusal() == NAME_FORM
    assert list(tmp_path.glob("*.json")) == []


def test_a_folder_that_cannot_be_written_is_told_in_a_sentence(opened, session, tmp_path):
    opened.judge(True)
    opened.name("ada-7", 1)
    opened.save(str(tmp_path / "nowhere" / "x.json"))
    session.settle()
    assert len(opened.told) == 1
    assert opened.said == ""


@pytest.mark.parametrize("damage", ["missing", "no zip", "cut short", "no sheet"])
def test_a_bad_hand_out_is_told_in_one_sentence(desk, exercise, session, damage):
    content = exercise.path.read_bytes()
    if damage == "missing":
        exercise.path.unlink()
    elif damage == "no sheet":
        with zipfile.ZipFile(exercise.path, "w") as archive:
            archive.writestr("letter.txt", "Dear colleague")
    else:
        exercise.path.write_bytes(b"no zip" if damage == "no zip" else content[: len(content) // 2])
    desk.open(str(exercise.path))
    session.settle()
    assert len(desk.told) == 1
    assert "handout.zip" in desk.told[0]
    assert desk.run is None


# --- nothing of the answers -------------------------------------------------------------------------------


def test_from_a_marked_exercise_no_answer_can_be_reached(opened, session, keeping):
    """Neither what the student's program holds in memory nor what it keeps on the disk has anything of a key."""
    assert opened.marked
    assert opened.hand_out.key is None
    assert opened.hides_answers
    opened.judge(True)
    opened.check()
    session.settle()
    assert opened.marks == {}
    assert opened.shown_key is None
    keeping.flush()
    (kept,) = keeping.folder.glob("*.json")
    for text in (kept.read_text(), repr(vars(opened)), opened.run.sheet.model_dump_json()):
        for word in ("reference", "expert", "made_from", "centreline", "rubric", "truth"):
            assert word not in text.lower(), word


def test_a_key_in_a_marked_exercise_is_refused(make_exercise, desk, session):
    """Whoever puts the answers into a marked hand-out does not get them shown."""
    exercise = make_exercise("lower_molar", practice=True)
    with zipfile.ZipFile(exercise.path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    sheet = json.loads(parts["exercise.json"])
    assert sheet["purpose"] == Purpose.PRACTICE
    parts["exercise.json"] = json.dumps(sheet | {"purpose": "marked"}).encode()
    with zipfile.ZipFile(exercise.path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    desk.open(str(exercise.path))
    session.settle()
    assert desk.run is None
    assert "holds its own answers" in desk.told[0]
