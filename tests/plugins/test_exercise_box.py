"""The exercise in the panel, with real widgets, and one image worked on by a real mouse and keyboard on the canvas."""

from __future__ import annotations

import zipfile
from typing import Any

import numpy as np
import pytest
from qtpy.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from qtpy.QtGui import QDropEvent
from qtpy.QtTest import QTest
from qtpy.QtWidgets import QLineEdit, QPushButton, QToolButton

from curvometer import CanalName, ProposedGrade, load_submission, next_level, open_hand_out
from curvometer_napari import exercise_desk
from curvometer_napari.exercise_desk import NAME_FIRST
from curvometer_napari.exercise_keeping import ExerciseKeeping
from curvometer_napari.panel import CurvometerPanel, saving
from curvometer_napari.panel.exercise_box import ANOTHER_IMAGE
from curvometer_napari.panel.feedback_form import CHANGED_SINCE
from curvometer_napari.panel.looks import MIN_TARGET_PX
from curvometer_napari.panel.text import Words
from curvometer_napari.reference_lines import REFERENCE
from curvometer_napari.session import Tool
from curvometer_napari.steps import State


@pytest.fixture
def panel(qtbot: Any, state_folder: Any) -> Any:  # noqa: ARG001 - set before the panel looks
    made = new_panel(qtbot)
    yield made
    made.shut()


def new_panel(qtbot):
    made = CurvometerPanel(None, canvas=False)
    qtbot.addWidget(made)
    made.resize(380, 700)
    made.show()
    settle(qtbot, made)
    return made


@pytest.fixture
def exercise(make_exercise):
    return make_exercise()


@pytest.fixture
def box(panel, qtbot, exercise):
    panel.session.open_image(exercise.path)
    settle(qtbot, panel)
    return panel.exercise.box


def settle(qtbot, panel):
    for _ in range(4):
        qtbot.waitUntil(lambda: not panel.session.worker.busy, timeout=60_000)
        qtbot.wait(15)


def press(qtbot, panel, button):
    assert button.isVisible()
    assert button.isEnabled()
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    settle(qtbot, panel)


def unfold(qtbot, panel, form):
    if form.content.isHidden():
        press(qtbot, panel, form.fold)


def trace(qtbot, panel, sample, name=CanalName.MB):
    panel.session.start_tracing(name)
    panel.session.click(sample.orifice_rc)
    panel.session.click(sample.foramen_rc)
    settle(qtbot, panel)
    panel.session.accept()
    settle(qtbot, panel)


def tick(check_list, code):
    item = check_list.item(check_list._codes.index(code))
    item.setCheckState(
        Qt.CheckState.Unchecked if item.checkState() is Qt.CheckState.Checked else Qt.CheckState.Checked
    )


# --- opening ----------------------------------------------------------------------------------------------


def test_without_an_exercise_there_is_no_box(panel):
    assert panel.exercise.box is None
    assert panel.boxes[0] is panel.image
    assert panel.exercise.offer.isHidden()


def test_an_opened_exercise_stands_at_the_top(panel, box):
    assert panel.boxes[0] is box
    assert box.y() < panel.image.y()
    assert box.header.words.text() == "Curves, first week: image 1 of 2, 0 of 2 done."
    assert "Tooth 46, canal MB." in box.asked.text()
    assert "judge the image, calibrate, trace MB, grade, plan" in box.asked.text()
    assert "the wire beside the tooth: 10 mm ± 0.1" in box.asked.text().replace("\u00a0", " ")
    assert "Working length 20 mm. A hand file of size 10 reached it." in box.case_text.text()


def test_a_dropped_hand_out_is_opened(panel, qtbot, exercise):
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(exercise.path))])
    how = (Qt.DropAction.CopyAction, data, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier)
    panel.dropEvent(QDropEvent(QPointF(9, 9), *how))
    settle(qtbot, panel)
    assert panel.exercise.desk.on_the_image


def test_the_open_dialog_opens_a_hand_out(panel, qtbot, exercise, monkeypatch):
    monkeypatch.setattr(saving, "ask_for_image", lambda _parent, folder: str(exercise.path))  # noqa: ARG005
    press(qtbot, panel, panel.image.open)
    settle(qtbot, panel)
    assert panel.exercise.desk.on_the_image
    assert "*.handout.zip" in saving.IMAGES


def test_a_bad_hand_out_is_told_in_a_sentence_and_leaves_what_was_open(panel, qtbot, tmp_path, sample):
    one = sample("straight_canine")
    panel.session.set_radiograph(one.radiograph, source=str(one.path))
    path = tmp_path / "bad.handout.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("letter.txt", "Dear colleague")
    panel.session.open_image(path)
    settle(qtbot, panel)
    assert "bad.handout.zip" in panel.message.words.text()
    assert panel.busy.isHidden()
    assert panel.exercise.box is None or panel.exercise.box.isHidden()
    assert panel.session.radiograph is one.radiograph


# --- the tasks --------------------------------------------------------------------------------------------


def test_an_image_is_judged_by_two_buttons_and_check_boxes(panel, qtbot, box):
    form, run = box.judgement, lambda: panel.exercise.desk.run
    assert form.content.isVisible(), "it comes first"
    press(qtbot, panel, form.use)
    assert run().work.accepted is True
    assert form.mark.shape is State.DONE
    press(qtbot, panel, form.reject)
    assert form.faults.isVisible()
    assert "tick why" in box.asked.text()
    tick(form.faults, "blurred")
    settle(qtbot, panel)
    assert run().work.reasons == ("blurred",)
    assert form.fold.toolTip() == "Image quality: rejected: the image is blurred"
    assert box.grade.isHidden(), "of a rejected image nothing else is asked"
    assert "Nothing is missing" in box.asked.text()
    press(qtbot, panel, form.reject)
    assert run().work.accepted is None, "pressed again, it is not said"


def test_a_fault_is_ticked_by_keyboard(panel, qtbot, box):
    press(qtbot, panel, box.judgement.reject)
    box.judgement.faults.setFocus()
    box.judgement.faults.setCurrentRow(0)
    QTest.keyClick(box.judgement.faults, Qt.Key.Key_Down)
    QTest.keyClick(box.judgement.faults, Qt.Key.Key_Space)
    assert panel.exercise.desk.run.work.reasons == ("bone-cut-off",)


def test_a_class_of_the_sheets_criteria_is_given_with_its_factors(panel, qtbot, box):
    form = box.grade
    unfold(qtbot, panel, form)
    assert [form.classes.itemText(i) for i in range(1, form.classes.count())] == ["low", "moderate", "high"]
    tick(form.factors, "curvature")
    form.classes.setFocus()
    QTest.keyClick(form.classes, Qt.Key.Key_Down)
    QTest.keyClick(form.classes, Qt.Key.Key_Down)
    settle(qtbot, panel)
    grade = panel.exercise.desk.run.work.grade
    assert (grade.grade, grade.factors) == ("moderate", ["curvature"])
    press(qtbot, panel, box.next)
    assert panel.exercise.desk.run.work.grade is None
    assert form.factors.ticked() == ()
    press(qtbot, panel, box.previous)
    assert form.classes.currentText() == "moderate"
    assert form.factors.ticked() == ("curvature",)


def test_a_plan_is_typed_step_by_step(panel, qtbot, box):
    form = box.plan
    unfold(qtbot, panel, form)
    press(qtbot, panel, form.treat)
    press(qtbot, panel, form.add)
    press(qtbot, panel, form.add)
    for column, text in enumerate(("r", "25", ".04", "19,5", "300", "5")):
        form.steps.item(1, column).setText(text)
    settle(qtbot, panel)
    plan = panel.exercise.desk.run.work.plan
    first, second = plan.steps
    assert plan.advice == "treat"
    assert (first.kind, first.size, first.taper, first.to_mm, first.speed_rpm) == (
        "hand",
        10,
        0.02,
        20.0,
        None,
    )
    assert (second.kind, second.size, second.taper, second.to_mm) == ("rotary", 25, 0.04, 19.5)
    assert (second.speed_rpm, second.seconds) == (300.0, 5.0)
    assert [form.steps.item(1, column).text() for column in range(6)] == [
        "rotary",
        "25",
        "4 %",
        "19.5",
        "300",
        "5",
    ]
    form.steps.setCurrentCell(1, 0)
    press(qtbot, panel, form.up)
    assert [step.size for step in panel.exercise.desk.run.work.plan.steps] == [25, 10]
    assert form.steps.currentRow() == 0, "the moved step stays chosen"
    press(qtbot, panel, form.remove)
    assert [step.size for step in panel.exercise.desk.run.work.plan.steps] == [10]
    press(qtbot, panel, form.refer)
    assert panel.exercise.desk.run.work.plan.advice == "refer"


def test_a_plan_is_made_by_keyboard_alone(panel, qtbot, box):
    form = box.plan
    unfold(qtbot, panel, form)
    press(qtbot, panel, form.treat)
    form.steps.setFocus()
    QTest.keyClick(form.steps, Qt.Key.Key_Insert)
    QTest.keyClick(form.steps, Qt.Key.Key_Insert)
    form.steps.setCurrentCell(1, 1)
    QTest.keyClick(form.steps, Qt.Key.Key_F2)
    editor = form.steps.viewport().findChild(QLineEdit)
    editor.selectAll()
    QTest.keyClicks(editor, "20")
    QTest.keyClick(editor, Qt.Key.Key_Return)
    settle(qtbot, panel)
    assert [step.size for step in panel.exercise.desk.run.work.plan.steps] == [10, 20]
    QTest.keyClick(form.steps, Qt.Key.Key_Up, Qt.KeyboardModifier.AltModifier)
    assert [step.size for step in panel.exercise.desk.run.work.plan.steps] == [20, 10]
    QTest.keyClick(form.steps, Qt.Key.Key_Delete)
    assert [step.size for step in panel.exercise.desk.run.work.plan.steps] == [10]


@pytest.mark.parametrize(
    ("column", "text", "words"),
    [
        (0, "x", "hand or rotary"),
        (1, "7.5", "whole number"),
        (2, "30", "0 to 12 %"),
        (3, "-1", "above 0"),
        (4, "a", "rpm"),
    ],
)
def test_a_cell_that_cannot_be_read_is_told_and_stays_as_it_was(panel, qtbot, box, column, text, words):
    form = box.plan
    unfold(qtbot, panel, form)
    press(qtbot, panel, form.treat)
    press(qtbot, panel, form.add)
    form.typed(0, 0, "rotary")
    before = panel.exercise.desk.run.work.plan
    form.steps.item(0, column).setText(text)
    settle(qtbot, panel)
    assert words in panel.message.words.text()
    assert panel.exercise.desk.run.work.plan == before


# --- going through the images -----------------------------------------------------------------------------


def test_going_on_and_back_keeps_the_work(panel, qtbot, box, exercise):
    assert not box.previous.isEnabled()
    trace(qtbot, panel, exercise.samples[0])
    press(qtbot, panel, box.next)
    assert "image 2 of 2" in box.header.words.text()
    assert not box.next.isEnabled()
    assert panel.session.case.tracings == ()
    press(qtbot, panel, box.previous)
    assert panel.session.case.tracing(CanalName.MB).accepted


def test_the_canal_that_is_asked_for_is_chosen_already(panel, box):  # noqa: ARG001
    assert panel.canal.next_trace()[0] is CanalName.MB


def test_another_image_is_told_and_the_way_back_is_shown(panel, qtbot, box, sample):
    one = sample("straight_canine")
    panel.session.set_radiograph(one.radiograph, source=str(one.path))
    settle(qtbot, panel)
    assert box.astray.text() == ANOTHER_IMAGE
    press(qtbot, panel, box.back)
    assert box.back.isHidden()
    assert box.astray.isHidden()
    assert panel.exercise.desk.on_the_image


def test_a_marked_exercise_tells_no_class_and_no_plan(panel, qtbot, exercise, sample):
    one = sample("straight_canine")
    panel.session.set_radiograph(one.radiograph, source=str(one.path))
    trace(qtbot, panel, one)
    assert "class:" in panel.measurements.headline.text()
    panel.session.open_image(exercise.path)
    settle(qtbot, panel)
    trace(qtbot, panel, exercise.samples[0])
    assert [one.objectName() for one in panel.boxes if one.isHidden()] == ["Grade", "Sequence"]
    assert "Schneider angle" in panel.measurements.headline.text(), "the student measures with the numbers"
    assert "class:" not in panel.measurements.headline.text()
    assert panel.measurements.take_along.isHidden()
    assert panel.exercise.box.feedback.isHidden()
    press(qtbot, panel, panel.exercise.box.leave)
    assert panel.exercise.box.isHidden()
    assert [one.objectName() for one in panel.boxes if one.isHidden()] == ["Exercise"]
    assert "class:" in panel.measurements.headline.text()


# --- handing in -------------------------------------------------------------------------------------------


def test_saving_without_a_name_asks_for_it(panel, qtbot, box, monkeypatch):
    monkeypatch.setattr(saving, "ask_where_to_save", lambda *_, **__: pytest.fail("no file is asked for yet"))
    press(qtbot, panel, box.judgement.use)
    press(qtbot, panel, box.save)
    assert panel.message.words.text() == NAME_FIRST
    assert panel.focusWidget() is box.student


def test_the_submission_is_saved_and_saved_again(panel, qtbot, box, exercise, monkeypatch, tmp_path):
    proposed = []

    def ask(_parent, **options):
        proposed.append(options["proposed"])
        return str(tmp_path / "ada.json")

    monkeypatch.setattr(saving, "ask_where_to_save", ask)
    trace(qtbot, panel, exercise.samples[0])
    box.student.setFocus()
    QTest.keyClicks(box.student, "ada-7")
    press(qtbot, panel, box.save)
    assert proposed[0].endswith("curves_ada-7_1.submission.json")
    assert "Saved ada.json: 1 of 2 images answered." in box.said.text()
    press(qtbot, panel, box.next)
    press(qtbot, panel, box.judgement.use)
    press(qtbot, panel, box.save)
    submission = load_submission(tmp_path / "ada.json")
    assert [answer.accepted for answer in submission.answers] == [None, True]
    assert submission.answers[0].canal.name is CanalName.MB


def test_after_a_crash_the_exercise_is_offered_and_goes_on(panel, qtbot, box, exercise):
    trace(qtbot, panel, exercise.samples[0])
    press(qtbot, panel, box.next)
    press(qtbot, panel, box.judgement.use)
    panel.shut()
    other = new_panel(qtbot)
    offer = other.exercise.offer
    qtbot.waitUntil(offer.isVisible, timeout=20_000)
    assert "Curves, first week (curves-2.handout.zip), 2 images begun" in offer.words.text()
    press(qtbot, other, offer.go_on)
    settle(qtbot, other)
    assert offer.isHidden()
    run = other.exercise.desk.run
    assert run.at == 1
    assert run.work.accepted is True
    press(qtbot, other, other.exercise.box.previous)
    assert other.session.case.tracing(CanalName.MB).accepted
    other.shut()
    assert len(ExerciseKeeping().pending()) == 1


def test_what_was_left_can_be_discarded(panel, qtbot, box):
    press(qtbot, panel, box.judgement.use)
    panel.shut()
    other = new_panel(qtbot)
    qtbot.waitUntil(other.exercise.offer.isVisible, timeout=20_000)
    press(qtbot, other, other.exercise.offer.discard)
    assert other.exercise.offer.isHidden()
    other.shut()
    assert ExerciseKeeping().pending() == []


# --- practice ---------------------------------------------------------------------------------------------


@pytest.fixture
def practice(panel, qtbot, make_exercise):
    exercise = make_exercise("lower_molar", "upper_molar", practice=True)
    panel.session.open_image(exercise.path)
    settle(qtbot, panel)
    return exercise


def test_practice_tells_at_once_what_was_right_and_why(panel, qtbot, practice):
    """A tracing from the truth's own ends is full in the line; a class that is wrong gets a reason."""
    box, desk = panel.exercise.box, panel.exercise.desk
    assert box.save.isHidden()
    assert not box.feedback.isHidden()
    press(qtbot, panel, box.feedback.check)
    assert "nothing to check" in panel.message.words.text().lower()
    press(qtbot, panel, box.judgement.use)
    trace(qtbot, panel, practice.samples[0])
    desk.grade(ProposedGrade(grade="high", factors=[]))
    press(qtbot, panel, box.feedback.check)
    items = {item.code: item for item in desk.mark.items}
    assert items["mean_distance"].points == items["mean_distance"].out_of
    assert items["grade"].points < items["grade"].out_of
    shown = box.feedback.items.sentences()
    assert len(shown) == len(items)
    assert items["grade"].reason in " ".join(shown)
    assert "The dashed line is the reference." in box.feedback.points.text()
    lost = [line.mark.shape is State.DONE for line in box.feedback.items._lines]
    assert lost == sorted(lost), "what cost points comes first"


def test_work_that_changed_after_the_check_is_told(panel, qtbot, practice):
    box = panel.exercise.box
    trace(qtbot, panel, practice.samples[0])
    press(qtbot, panel, box.feedback.check)
    assert box.feedback.old.isHidden()
    press(qtbot, panel, panel.image.mirror)
    assert box.feedback.old.isHidden(), "how it is shown is no work"
    press(qtbot, panel, box.judgement.use)
    assert box.feedback.old.text() == CHANGED_SINCE
    press(qtbot, panel, box.feedback.check)
    assert box.feedback.old.isHidden()


def test_before_the_check_practice_hides_class_and_plan_too(panel, qtbot, practice):
    grade = panel.grade
    trace(qtbot, panel, practice.samples[0])
    assert grade.isHidden()
    press(qtbot, panel, panel.exercise.box.feedback.check)
    assert not grade.isHidden()
    press(qtbot, panel, panel.exercise.box.next)
    assert grade.isHidden(), "the next image is not checked yet"


def test_after_the_check_the_reference_is_drawn_dashed(make_panel_viewer, qtbot, make_exercise):
    work = make_panel_viewer()
    exercise = make_exercise("lower_molar", practice=True)
    work.session.open_image(exercise.path)
    settle(qtbot, work.panel)
    assert REFERENCE not in work.viewer.layers
    trace(qtbot, work.panel, exercise.samples[0])
    work.panel.exercise.desk.check()
    settle(qtbot, work.panel)
    layer = work.viewer.layers[REFERENCE]
    ends = np.array([exercise.samples[0].orifice_rc, exercise.samples[0].foramen_rc])
    drawn = np.asarray(layer.data[layer.edge_color[:, 3] > 0.0])
    assert np.allclose(drawn[0, 0], ends[0], atol=1.0)
    gaps = np.hypot(*(drawn[1:, 0] - drawn[:-1].sum(axis=1)).T)
    assert (gaps > 1.0).sum() > 10, "dashes with gaps between them"
    assert work.viewer.layers.selection.active is work.panel.canvas.image_layer
    work.session.show(work.session.case.display.__class__(quarter_turns=1), "rotate")
    settle(qtbot, work.panel)
    image = work.panel.canvas.image_layer
    assert np.allclose(layer.data_to_world(ends[0]), image.data_to_world(ends[0])), "it turns with the image"
    work.panel.exercise.desk.leave()
    settle(qtbot, work.panel)
    assert REFERENCE not in work.viewer.layers


def test_a_practice_run_goes_on_by_the_students_own_error(panel, qtbot, monkeypatch, make_exercise):
    """The levels that are asked for are those of the rule for the marks so far; the films themselves are another's test."""
    asked = []
    hand_out = open_hand_out(make_exercise("lower_molar", practice=True).path)

    def simulate(level, *, number):
        asked.append((level, number))
        return hand_out

    press(qtbot, panel, panel.exercise.practice)  # loads what is needed; the first real film follows
    desk, box = panel.exercise.desk, panel.exercise.box
    assert desk.in_practice_run
    assert panel.exercise.practice.isHidden()
    assert "Practice 1: curve 1 of 8, film 1 of 8" in box.header.words.text()
    assert box.next.isHidden()
    monkeypatch.setattr(exercise_desk, "practice_exercise", simulate)
    press(qtbot, panel, box.judgement.use)
    press(qtbot, panel, box.feedback.check)
    first = desk.results[0]
    press(qtbot, panel, box.feedback.check)
    assert desk.results == [first], "after the first check the reference is known"
    press(qtbot, panel, box.feedback.next_image)
    assert asked == [(next_level([first]), 2)]
    assert desk.mark is None
    press(qtbot, panel, box.leave)
    assert not panel.exercise.practice.isHidden(), "who has practised may go on"


# --- for everybody ----------------------------------------------------------------------------------------


def test_what_can_be_pressed_is_high_enough_and_has_a_name(panel, qtbot, box):
    unfold(qtbot, panel, box.plan)
    press(qtbot, panel, box.plan.treat)
    unfold(qtbot, panel, box.grade)
    for kind in (QPushButton, QToolButton):
        for button in box.findChildren(kind):
            if button.isVisible() and button.accessibleName():
                assert button.height() >= MIN_TARGET_PX, button.accessibleName()
    for button in box.findChildren(QPushButton):
        assert button.accessibleName()


def test_the_box_never_widens_the_panel(panel, qtbot, box):
    unfold(qtbot, panel, box.plan)
    press(qtbot, panel, box.plan.treat)
    press(qtbot, panel, box.plan.add)
    press(qtbot, panel, box.judgement.reject)
    assert box.minimumSizeHint().width() <= panel.area.viewport().width()


def test_every_text_is_whole(panel, qtbot, box):
    settle(qtbot, panel)
    for words in box.findChildren(Words):
        if words.isVisible() and words.text():
            assert words.height() >= words.heightForWidth(words.width()), words.text()


# --- one image with a real mouse and keyboard -------------------------------------------------------------


class Hand:
    """A hand on mouse and keyboard, over the canvas."""

    def __init__(self, work, qtbot):
        self.work, self.qtbot = work, qtbot
        self.widget = work.viewer.window._qt_viewer.canvas.native

    def at(self, point_rc):
        camera = self.work.viewer.scene.camera
        world = np.asarray(self.work.panel.canvas.image_layer.data_to_world(point_rc))[-2:]
        row, col = (world - np.asarray(camera.center)[-2:]) * camera.zoom
        return QPoint(round(self.widget.width() / 2 + col), round(self.widget.height() / 2 + row))

    def click(self, point_rc):
        QTest.mouseMove(self.widget, self.at(point_rc))
        self.qtbot.wait(20)
        QTest.mouseClick(self.widget, Qt.MouseButton.LeftButton, pos=self.at(point_rc))
        self.qtbot.wait(20)

    def key(self, key):
        self.widget.setFocus()
        QTest.keyClick(self.widget, key)
        self.work.settle()


@pytest.fixture
def work(make_panel_viewer):
    made = make_panel_viewer(show=True)
    made.viewer.window.resize(1366, 768)
    made.settle()
    return made


def open_in(work, qtbot, exercise):
    work.session.open_image(exercise.path)
    settle(qtbot, work.panel)
    work.settle()
    return work.panel.exercise.box


def test_an_image_is_worked_on_by_mouse_and_keys(work, qtbot, make_exercise, monkeypatch, tmp_path):
    """The wire is clicked where 10 mm lie at the true scale; the angle must come out as truth.json has it."""
    exercise = make_exercise("lower_molar")
    box, hand = open_in(work, qtbot, exercise), Hand(work, qtbot)
    sample = exercise.samples[0]
    press(qtbot, work.panel, box.judgement.use)
    hand.key(Qt.Key.Key_F)
    assert work.session.tool is Tool.SCALE
    hand.click((700.0, 100.0))
    hand.click((700.0 + 10.0 / sample.truth["mm_per_pixel"], 100.0))
    hand.key(Qt.Key.Key_Return)
    hand.key(Qt.Key.Key_T)
    hand.click(sample.orifice_rc)
    hand.click(sample.foramen_rc)
    work.settle()
    hand.key(Qt.Key.Key_Return)
    unfold(qtbot, work.panel, box.grade)
    box.grade.classes.setFocus()
    QTest.keyClick(box.grade.classes, Qt.Key.Key_Down)
    unfold(qtbot, work.panel, box.plan)
    press(qtbot, work.panel, box.plan.refer)
    assert box.header.state.text() == "done"
    QTest.keyClicks(box.student, "ada-7")
    monkeypatch.setattr(saving, "ask_where_to_save", lambda *_, **__: str(tmp_path / "ada.json"))
    press(qtbot, work.panel, box.save)
    (answer,) = load_submission(tmp_path / "ada.json").answers
    assert answer.calibration.mm_per_pixel == pytest.approx(sample.truth["mm_per_pixel"], rel=0.01)
    angle = answer.canal.to_measurement().schneider_angle
    assert angle.value == pytest.approx(sample.truth["measures"]["schneider_angle"], abs=2.0)
    assert (answer.accepted, answer.grade.grade, answer.plan.advice) == (True, "low", "refer")
