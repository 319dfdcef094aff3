"""A teacher in the viewer: references are traced film by film, and a submission is looked at over them."""

from __future__ import annotations

import shutil
from typing import Any

import numpy as np
import pytest
from qtpy.QtCore import Qt

from curvometer import CanalName, load_record, open_hand_out
from curvometer.assessment import save_key
from curvometer.assessment.making import write_exercise
from curvometer_napari.exercise_desk import ExerciseDesk
from curvometer_napari.panel import CurvometerPanel, reference_box
from curvometer_napari.reference_desk import SCALE_FIRST, ReferenceDesk

EXERCISE = """
name = "own-films"
title = "Films of our own"
purpose = "practice"
order = "as-written"

[[images]]
phantom = { angle_deg = 20.0, radius_mm = 9.0 }

[[images]]
file = "films/molar.png"
tooth = 36
canal = "MB"
mm_per_pixel = 0.02
references = { kim = "records/molar_kim.json", lee = "records/molar_lee.json" }

[[images]]
file = "films/canine.png"
tooth = 13
canal = "single"
known_length = { what = "the wire beside the tooth", length_mm = 10.0, tolerance_mm = 0.1 }
references = { kim = "records/canine_kim.json" }
"""


@pytest.fixture
def folder(tmp_path, sample):
    """A teacher's folder: one simulated film and two of one's own, whose records are still to be made."""
    (tmp_path / "films").mkdir()
    for name, film in (("lower_molar", "molar"), ("straight_canine", "canine")):
        shutil.copy(sample(name).path.with_suffix(".png"), tmp_path / "films" / f"{film}.png")
    (tmp_path / "exercise.toml").write_text(EXERCISE)
    return tmp_path


@pytest.fixture
def told(session):
    sentences = []
    session.told.connect(lambda sentence: sentences.append(sentence) if sentence else None)
    return sentences


@pytest.fixture
def desk(session, folder, told):  # noqa: ARG001 - hears from the start
    made = ReferenceDesk(session)
    made.open(str(folder / "exercise.toml"))
    session.settle()
    yield made
    made.close()


def trace(session, sample, name):
    session.start_tracing(name)
    session.click(sample.orifice_rc)
    session.click(sample.foramen_rc)
    session.settle()
    session.accept()
    session.settle()


# --- references, without a window -------------------------------------------------------------------------


def test_the_films_with_references_are_shown_in_their_order(desk, session, folder):
    assert [row.file for row in desk.rows] == ["films/molar.png", "films/canine.png"]
    assert desk.experts == ("kim", "lee")
    assert session.source == str(folder / "films/molar.png")
    assert session.calibration.mm_per_pixel == 0.02, "as the file states"
    assert desk.counts == (0, 3)


def test_a_reference_needs_the_canal_and_a_scale(desk, session, sample, told):
    desk.save("kim")
    assert "Trace the canal MB" in told[-1]
    trace(session, sample("lower_molar"), CanalName.ML)
    assert "Trace the canal MB" in desk.refusal("kim"), "another canal is not it"
    desk.go(1)
    session.settle()
    trace(session, sample("straight_canine"), CanalName.SINGLE)
    assert desk.refusal("kim") == SCALE_FIRST
    assert (session.length_mm, session.tolerance_mm) == (10.0, 0.1)


def test_a_saved_reference_is_the_record_that_the_exercise_is_built_from(desk, session, sample, folder):
    molar, canine = sample("lower_molar"), sample("straight_canine")
    trace(session, molar, CanalName.MB)
    for expert in desk.experts:
        desk.save(expert)
    assert desk.said == "Saved molar_lee.json: MB as traced by lee."
    desk.go(1)
    session.settle()
    session.start_scale()
    session.click((50.0, 40.0))
    session.click((50.0 + 10.0 / canine.truth["mm_per_pixel"], 40.0))
    session.accept()
    trace(session, canine, CanalName.SINGLE)
    desk.save("kim")
    assert desk.counts == (3, 3)
    record = load_record(folder / "records/molar_kim.json")
    angle = record.canals[0].to_measurement().schneider_angle.value
    assert angle == pytest.approx(molar.truth["measures"]["schneider_angle"], abs=2.0)
    without_phantom = (
        EXERCISE[: EXERCISE.index("[[images]]")] + EXERCISE[EXERCISE.index("[[images]]\nfile") :]
    )
    (folder / "exercise.toml").write_text(without_phantom)  # to simulate a film takes seconds
    hand_out, key = write_exercise(folder)
    assert (hand_out.name, key.name) == ("own-films.handout.zip", "own-films.key.json")


def test_clicks_come_back_with_their_film(desk, session, sample):
    trace(session, sample("lower_molar"), CanalName.MB)
    before = session.case
    desk.go(1)
    session.settle()
    assert session.case.tracings == ()
    desk.go(0)
    session.settle()
    assert session.case == before
    assert session.undo_text == "accept canal MB"


def test_a_reference_outside_of_the_folder_is_refused(session, folder, sample, told):
    text = EXERCISE.replace("records/molar_kim.json", "../elsewhere.json")
    (folder / "exercise.toml").write_text(text)
    desk = ReferenceDesk(session)
    desk.open(str(folder / "exercise.toml"))
    session.settle()
    trace(session, sample("lower_molar"), CanalName.MB)
    desk.save("kim")
    assert "outside of the exercise's folder" in told[-1]
    assert not (folder.parent / "elsewhere.json").exists()
    desk.close()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name = 'x'\n[[images]]\nfile = 'a.png'\n", "line 2"),
        ("name = 'x'\n[[images]]\nphantom = { angle_deg = 20.0 }\n", "names no film with references"),
        ("name = ", "exercise.toml"),
    ],
)
def test_an_exercise_that_cannot_be_used_is_told(session, tmp_path, told, text, words):
    (tmp_path / "exercise.toml").write_text(text)
    desk = ReferenceDesk(session)
    desk.open(str(tmp_path / "exercise.toml"))
    session.settle()
    assert len(told) == 1
    assert words in told[0]
    assert desk.row is None
    desk.close()


# --- in the panel -----------------------------------------------------------------------------------------


@pytest.fixture
def panel(qtbot: Any, state_folder: Any) -> Any:  # noqa: ARG001 - set before the panel looks
    made = CurvometerPanel(None, canvas=False)
    qtbot.addWidget(made)
    made.resize(380, 700)
    made.show()
    settle(qtbot, made)
    yield made
    made.shut()


def settle(qtbot, panel):
    for _ in range(4):
        qtbot.waitUntil(lambda: not panel.session.worker.busy, timeout=60_000)
        qtbot.wait(15)


def press(qtbot, panel, button):
    assert button.isVisible()
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    settle(qtbot, panel)


def test_a_teacher_saves_a_reference_and_is_asked_before_it_is_replaced(
    panel, qtbot, folder, sample, monkeypatch
):
    panel.session.open_image(folder / "exercise.toml")
    settle(qtbot, panel)
    box = panel.teacher.reference_box
    assert panel.boxes[0] is box
    assert box.header.words.text() == "Films of our own: film 1 of 2, 0 of 3 references saved."
    assert panel.canal.next_trace()[0] is CanalName.MB
    press(qtbot, panel, box.save)
    assert "Trace the canal MB" in panel.message.words.text()
    trace_in(qtbot, panel, sample("lower_molar"))
    press(qtbot, panel, box.save)
    assert "1 of 3 references saved" in box.header.words.text()
    assert box.experts.itemText(0) == "kim (saved)"
    path = folder / "records/molar_kim.json"
    before = path.read_bytes()
    asked = []
    monkeypatch.setattr(reference_box, "may_replace", lambda _parent, name: asked.append(name))
    press(qtbot, panel, box.save)
    assert asked == ["molar_kim.json"]
    assert path.read_bytes() == before
    press(qtbot, panel, box.leave)
    assert box.isHidden()


def trace_in(qtbot, panel, sample):
    panel.session.start_tracing(panel.canal.next_trace()[0])
    panel.session.click(sample.orifice_rc)
    panel.session.click(sample.foramen_rc)
    settle(qtbot, panel)
    panel.session.accept()
    settle(qtbot, panel)


def test_saved_references_are_drawn_when_asked_for(make_panel_viewer, qtbot, folder, sample):
    work = make_panel_viewer()
    work.session.open_image(folder / "exercise.toml")
    settle(qtbot, work.panel)
    trace_in(qtbot, work.panel, sample("lower_molar"))
    work.panel.teacher.references.save("kim")
    settle(qtbot, work.panel)
    drawn = work.panel.teacher.reference_lines
    assert drawn.shown == (), "an expert who has yet to trace does not see the others"
    work.panel.teacher.reference_box.show_saved.click()
    settle(qtbot, work.panel)
    (line,) = drawn.shown
    expected = work.session.line_rc(CanalName.MB)
    assert np.allclose(line[[0, -1]], expected[[0, -1]], atol=0.01)
    assert "reference (dashed)" in work.viewer.layers
    assert work.viewer.layers.selection.active is work.panel.canvas.image_layer


def test_a_submission_without_its_exercise_is_told(panel, qtbot, tmp_path):
    path = tmp_path / "ada.submission.json"
    path.write_text("{}")
    panel.session.open_image(path)
    settle(qtbot, panel)
    assert "ada.submission.json is no submission" in panel.message.words.text()


@pytest.fixture
def handed_in(tmp_path, make_exercise, session, key_of_samples):
    """A submission in a folder of its own, below the one with hand-out and key: MB traced, upper molar not opened."""
    exercise = make_exercise()
    hand_out = open_hand_out(exercise.path)
    key = key_of_samples(hand_out.sheet, exercise.samples)
    save_key(key, tmp_path / "curves.key.json")
    student = ExerciseDesk(session)
    student.start(hand_out)
    session.settle()
    trace(session, exercise.samples[0], CanalName.MB)
    student.judge(True)
    student.name("ada-7", 1)
    (tmp_path / "handed-in").mkdir()
    path = tmp_path / "handed-in" / "ada.submission.json"
    student.save(str(path))
    session.settle()
    student.close()
    exercise.submission = path
    return exercise


def test_a_submission_is_shown_over_the_reference_with_its_marks(make_panel_viewer, qtbot, handed_in):
    work = make_panel_viewer()
    work.session.open_image(handed_in.submission)
    settle(qtbot, work.panel)
    teacher = work.panel.teacher
    box = teacher.review_box
    assert "ada-7, Curves, first week" in box.header.words.text()
    assert "Would use the image." in box.answered.text()
    assert box.items.sentences()
    assert {"reference (dashed)", "student's tracing"} <= {layer.name for layer in work.viewer.layers}
    (student,) = teacher.student_lines.shown
    assert np.allclose(student[-1], handed_in.samples[0].foramen_rc, atol=3.0)
    before = handed_in.submission.read_bytes()
    trace_in(qtbot, work.panel, handed_in.samples[0])
    assert handed_in.submission.read_bytes() == before, "what is clicked is nobody's answer"
    teacher.review.go(1)
    settle(qtbot, work.panel)
    assert "did not open" in box.answered.text()
    assert teacher.student_lines.shown == ()
    assert len(teacher.reference_lines.shown) == 1
    teacher.review.leave()
    settle(qtbot, work.panel)
    assert box.isHidden()
    assert teacher.reference_lines.shown == ()


def test_a_submission_needs_its_hand_out_and_its_key_beside_it(panel, qtbot, handed_in, tmp_path):
    key = tmp_path / "curves.key.json"
    key.rename(tmp_path / "away")
    panel.session.open_image(handed_in.submission)
    settle(qtbot, panel)
    assert "the key (.key.json) of exercise curves" in panel.message.words.text().lower()
    (tmp_path / "away").rename(key)
    panel.session.open_image(handed_in.submission)
    settle(qtbot, panel)
    assert panel.teacher.review.review.submission.student == "ada-7"
