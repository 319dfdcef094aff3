"""A session from opening to reading, without a window; expected values come from sample_images/truth.json."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from curvometer import CanalName, Radiograph, Structure
from curvometer_napari import case as edits
from curvometer_napari.session import Tool

ANGLE_DEG = 2.0
"""How near a measured Schneider angle must be to the truth, as the viewer was ordered."""


@pytest.fixture
def molar(session, sample):
    molar = sample("lower_molar")
    session.set_radiograph(molar.radiograph, source=str(molar.path))
    session.molar = molar
    return session


@pytest.fixture
def sentences(session):
    heard = []
    session.told.connect(heard.append)
    return heard


def trace(session, sample, name=CanalName.ML, structure=Structure.CANAL):
    session.start_tracing(name, structure)
    session.click(sample.orifice_rc)
    session.click(sample.foramen_rc)
    session.settle()
    session.accept()
    session.settle()


class TestOpening:
    def test_a_file_is_loaded_in_the_background(self, session, sample):
        busy, molar = [], sample("lower_molar")
        session.busy_changed.connect(busy.append)
        session.open_image(molar.path)
        session.settle()
        assert session.radiograph.sha256 == molar.radiograph.sha256
        assert busy == ["opening lower_molar.dcm", ""]

    def test_a_bad_file_is_told_and_what_was_open_stays(self, molar, tmp_path, sentences):
        bad = tmp_path / "letter.png"
        bad.write_bytes(b"Dear colleague")
        trace(molar, molar.molar)
        molar.open_image(bad)
        molar.settle()
        assert "letter.png" in sentences[-1]
        assert molar.radiograph is molar.molar.radiograph
        assert molar.case.tracing(CanalName.ML) is not None

    def test_one_may_stop_waiting(self, session, sample):
        session.open_image(sample("lower_molar").path)
        session.stop_opening()
        session.settle()
        assert session.radiograph is None

    def test_a_new_image_begins_a_new_case(self, molar, sample):
        trace(molar, molar.molar)
        molar.set_radiograph(sample("straight_canine").radiograph)
        assert molar.case.tracings == ()
        assert molar.undo_text == ""

    def test_a_case_of_before_is_taken_up_where_it_was_left(self, molar):
        molar.start_tracing(CanalName.ML)
        molar.click(molar.molar.orifice_rc)
        left = molar.case
        molar.set_radiograph(molar.molar.radiograph, case=left)
        assert molar.case == left
        assert molar.tool is Tool.TRACE
        molar.click(molar.molar.foramen_rc)
        molar.settle()
        assert molar.is_fresh(CanalName.ML)


class TestTracing:
    def test_two_clicks_give_the_angle(self, molar):
        trace(molar, molar.molar)
        measurement = molar.result(CanalName.ML).measurement
        truth = molar.molar.truth["measures"]["schneider_angle"]
        assert measurement.schneider_angle.value == pytest.approx(truth, abs=ANGLE_DEG)
        assert molar.tool is Tool.LOOK

    def test_the_numbers_are_there_before_it_is_accepted(self, molar):
        molar.start_tracing(CanalName.ML)
        molar.click(molar.molar.orifice_rc)
        molar.click(molar.molar.foramen_rc)
        molar.settle()
        assert molar.result(CanalName.ML).measurement is not None
        assert molar.case.draft is not None

    def test_the_live_path_leads_from_the_last_anchor_to_the_pointer(self, molar):
        assert len(molar.live_path_rc((900.0, 626.0))) == 0
        molar.start_tracing(CanalName.ML)
        assert len(molar.live_path_rc((900.0, 626.0))) == 0
        molar.click(molar.molar.orifice_rc)
        path = molar.live_path_rc((900.0, 626.0))
        assert np.hypot(*(path[0] - molar.molar.orifice_rc)) < 8.0
        assert np.hypot(*(path[-1] - (900.0, 626.0))) < 8.0

    def test_by_hand_the_live_path_is_straight(self, molar):
        molar.start_tracing(CanalName.ML)
        molar.click(molar.molar.orifice_rc)
        molar.choose(Tool.TRACE, hand=True)
        assert molar.live_path_rc((900.0, 626.0)).tolist() == [list(molar.molar.orifice_rc), [900.0, 626.0]]
        molar.click((900.0, 626.0))
        assert molar.case.draft.hand_legs == {0}

    def test_take_back_and_cancel(self, molar):
        molar.start_tracing(CanalName.ML)
        molar.click((600.0, 700.0))
        molar.click((700.0, 700.0))
        molar.take_back()
        assert molar.case.draft.anchors_rc == ((600.0, 700.0),)
        molar.cancel()
        assert molar.case.tracings == ()
        assert molar.tool is Tool.LOOK
        molar.undo()
        assert molar.case.draft.anchors_rc == ((600.0, 700.0),)
        assert molar.tool is Tool.TRACE

    def test_a_second_canal_leaves_the_first(self, molar):
        trace(molar, molar.molar, CanalName.ML)
        trace(molar, molar.molar, CanalName.MB)
        assert [t.name for t in molar.case.tracings] == [CanalName.ML, CanalName.MB]
        assert molar.case.selected == CanalName.MB
        before = molar.undo_text
        molar.select(CanalName.ML)
        assert molar.undo_text == before  # looking at another canal is no step
        assert molar.case.current.name == CanalName.ML

    def test_an_anchor_that_is_dragged_gives_new_numbers_and_one_step(self, molar):
        trace(molar, molar.molar)
        before = molar.result(CanalName.ML).measurement
        tracing = molar.case.current
        for shift in range(1, 30):
            moved = edits.moved_anchor(
                tracing, 1, (tracing.anchors_rc[1][0] - 4.0 * shift, tracing.anchors_rc[1][1])
            )
            molar.preview(edits.with_tracing(molar.case, moved))
        molar.settle()
        assert molar.result(CanalName.ML).measurement.canal_length.value < before.canal_length.value - 1.0
        molar.do(molar.case, "move the foramen")
        assert molar.undo_text == "move the foramen"
        molar.undo()
        molar.settle()
        assert molar.result(CanalName.ML).measurement.canal_length.value == before.canal_length.value

    def test_undo_goes_back_to_the_start_and_redo_to_the_end(self, molar):
        trace(molar, molar.molar)
        end = molar.case
        while molar.undo_text:
            molar.undo()
        assert molar.case.tracings == ()
        while molar.redo_text:
            molar.redo()
        molar.settle()
        assert molar.case == end
        assert molar.is_fresh(CanalName.ML)

    def test_the_line_is_the_quick_path_until_the_refined_one_is_there(self, molar):
        molar.start_tracing(CanalName.ML)
        molar.click(molar.molar.orifice_rc)
        molar.click(molar.molar.foramen_rc)
        quick = molar.line_rc(CanalName.ML)
        molar.settle()
        refined = molar.line_rc(CanalName.ML)
        assert len(quick) > 10
        assert np.array_equal(refined, molar.result(CanalName.ML).centreline.points_rc)


class TestRefusals:
    @pytest.mark.parametrize(
        ("act", "word"),
        [
            (lambda s: s.start_tracing(CanalName.D), "Open a radiograph"),
            (lambda s: s.start_scale(), "Open a radiograph"),
        ],
    )
    def test_without_an_image(self, session, sentences, act, word):
        act(session)
        assert word in sentences[-1]
        assert session.tool is Tool.LOOK

    def test_beside_the_image(self, molar, sentences):
        molar.start_tracing(CanalName.D)
        molar.click((-50.0, 10.0))
        assert "beside the image" in sentences[-1]
        assert molar.case.draft.anchors_rc == ()

    def test_twice_the_same_place(self, molar, sentences):
        molar.start_tracing(CanalName.D)
        molar.click((500.0, 500.0))
        molar.click((500.2, 500.2))
        assert "last click" in sentences[-1]
        assert len(molar.case.draft.anchors_rc) == 1

    def test_accepting_one_click(self, molar, sentences):
        molar.start_tracing(CanalName.D)
        molar.click((500.0, 500.0))
        molar.accept()
        assert "two clicks" in sentences[-1]
        assert molar.case.draft is not None

    def test_a_name_that_is_taken(self, molar, sentences):
        trace(molar, molar.molar)
        molar.start_tracing(CanalName.ML)
        assert "traced already" in sentences[-1]

    def test_another_canal_while_one_is_open(self, molar, sentences):
        molar.start_tracing(CanalName.ML)
        molar.start_tracing(CanalName.MB)
        assert "ML is being traced" in sentences[-1]
        molar.start_scale()
        assert "being traced" in sentences[-1]

    def test_the_next_good_step_clears_the_sentence(self, molar, sentences):
        molar.start_tracing(CanalName.D)
        molar.click((-50.0, 10.0))
        molar.click((500.0, 500.0))
        assert sentences[-1] == ""

    def test_an_even_grey_image_is_told_when_it_is_accepted(self, session, sentences):
        session.set_radiograph(Radiograph(pixels=np.full((300, 300), 9, dtype=np.uint8)))
        session.start_tracing(CanalName.D)
        session.click((20.0, 150.0))
        session.click((280.0, 150.0))
        session.settle()
        session.accept()
        assert "even grey" in sentences[-1]


class TestScale:
    def test_the_files_own_scale_holds_first(self, molar):
        assert molar.calibration.at_tooth
        assert molar.calibration.mm_per_pixel == pytest.approx(0.02, rel=0.02)

    def test_a_file_of_known_length_goes_before_it(self, molar):
        """A straight file of 21 mm over 1000 pixels is 0.021 mm per pixel, by division."""
        molar.start_scale()
        molar.click((100.0, 300.0))
        assert molar.draft_calibration() is None
        molar.click((1100.0, 300.0))
        assert molar.draft_calibration().mm_per_pixel == pytest.approx(0.021, rel=1e-3)
        molar.accept()
        assert molar.calibration.mm_per_pixel == pytest.approx(0.021, rel=1e-3)
        assert molar.tool is Tool.LOOK
        molar.undo()
        molar.undo()
        molar.undo()
        assert molar.calibration.mm_per_pixel == pytest.approx(0.02, rel=0.02)

    def test_two_files_are_combined(self, molar):
        for clicks in (((100.0, 300.0), (1100.0, 300.0)), ((100.0, 400.0), (1102.0, 400.0))):
            molar.start_scale()
            for click in clicks:
                molar.click(click)
            molar.accept()
        assert len(molar.case.scale_objects) == 2
        assert molar.calibration.mm_per_pixel == pytest.approx(0.02098, rel=1e-3)

    def test_a_length_that_cannot_be_is_refused_and_the_clicks_stay(self, molar, sentences):
        molar.start_scale()
        molar.click((100.0, 300.0))
        molar.click((1100.0, 300.0))
        molar.length_mm = 900.0
        molar.accept()
        assert sentences[-1]
        assert molar.case.scale_objects == ()
        assert len(molar.case.scale_draft_rc) == 2

    def test_a_new_scale_gives_new_lengths_and_the_same_angle(self, molar):
        trace(molar, molar.molar)
        before = molar.result(CanalName.ML).measurement
        molar.start_scale()
        molar.click((100.0, 300.0))
        molar.click((1100.0, 300.0))
        molar.accept()
        molar.settle()
        after = molar.result(CanalName.ML).measurement
        ratio = molar.calibration.mm_per_pixel / molar.file_calibration.mm_per_pixel
        assert after.canal_length.value / before.canal_length.value == pytest.approx(ratio, rel=0.01)
        assert after.schneider_angle.value == pytest.approx(before.schneider_angle.value, abs=0.7)


def test_the_display_is_a_step_and_leaves_the_numbers_alone(molar):
    trace(molar, molar.molar)
    before = molar.result(CanalName.ML)
    molar.show(replace(molar.case.display, inverted=True, quarter_turns=1), "turn")
    molar.settle()
    assert molar.result(CanalName.ML) is before
    assert molar.is_fresh(CanalName.ML)
    assert molar.undo_text == "turn"


def test_emphasis_is_told_once(session):
    heard = []
    session.emphasis_changed.connect(lambda: heard.append(session.quantity))
    session.emphasise("weine_angle")
    session.emphasise("weine_angle")
    session.emphasise(None)
    assert heard == ["weine_angle", None]
