"""The four steps in words, from sessions without a window."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from curvometer import CanalName, Radiograph, Structure
from curvometer.measurement.flags import flag
from curvometer_napari.solving import Result
from curvometer_napari.steps import (
    ANGLES_ONLY,
    IMAGE_FIRST,
    State,
    all_steps,
    canal_step,
    guidance,
    image_step,
    leg_words,
    measurements_step,
    scale_guidance,
    scale_step,
    scale_words,
)


def blank(**options: Any) -> Radiograph:
    return Radiograph(pixels=np.full((300, 200), 100, dtype=np.uint16), file_format="PNG", **options)


def traced(session: Any, one: Any, name: CanalName = CanalName.MB) -> None:
    session.start_tracing(name)
    session.click(one.orifice_rc)
    session.click(one.foramen_rc)
    session.settle()


def flagged(session: Any, name: CanalName, *codes: str) -> None:
    """Give the canal's newest outcome the flags of these codes only."""
    result = session.result(name)
    measurement = replace(result.measurement, flags=tuple(flag(code) for code in codes))
    session._results[name] = replace(result, measurement=measurement)


def test_nothing_can_be_done_before_an_image_is_open_and_each_step_says_so(session):
    image, *others = all_steps(session)
    assert image.state is State.TODO
    assert "Open" in image.words
    assert [step.name for step in others] == ["scale", "canal", "measurements"]
    assert all(step.state is State.TODO and step.words == IMAGE_FIRST for step in others)


def test_an_image_is_told_by_name_format_and_width_by_height(session):
    session.set_radiograph(blank(), source="/some/where/molar.png")
    assert image_step(session).state is State.DONE
    assert image_step(session).words == "molar.png: PNG, 200 x 300 pixels"


def test_an_image_without_a_scale_gives_angles_only(session):
    session.set_radiograph(blank())
    assert (scale_step(session).state, scale_step(session).words) == (State.TODO, ANGLES_ONLY)


def test_a_scale_at_the_detector_gives_angles_only(session, sample):
    """upper_molar.dcm states ImagerPixelSpacing alone (truth.json: "imager")."""
    one = sample("upper_molar")
    assert one.truth["spacing_in_dicom"] == "imager"
    session.set_radiograph(one.radiograph)
    assert (scale_step(session).state, scale_step(session).words) == (State.TODO, ANGLES_ONLY)


def test_a_scale_at_the_tooth_is_done_with_its_uncertainty(session, sample):
    """lower_molar.dcm: 0.02 mm, calibrated by an object: 1.57 % assumed, so 0.00031."""
    session.set_radiograph(sample("lower_molar").radiograph)
    step = scale_step(session)
    assert step.state is State.DONE
    assert "0.02000 mm per pixel" in step.words
    assert "(1.6 %)" in step.words


def test_clicking_along_a_file_says_what_to_click_next(session):
    session.set_radiograph(blank())
    session.start_scale()
    assert "stop" in scale_guidance(session)
    session.click((20.0, 100.0))
    assert "tip" in scale_step(session).words
    session.click((270.0, 100.0))
    assert "Enter" in scale_step(session).words
    assert scale_step(session).state is State.TODO


def test_files_that_disagree_are_a_problem(session):
    """The same 250 px once 21 mm and once 31 mm: 48 % apart with errors near 1.4 %."""
    session.set_radiograph(blank())
    for length_mm in (21.0, 31.0):
        session.length_mm = length_mm
        session.start_scale()
        session.click((20.0, 100.0))
        session.click((270.0, 100.0))
        session.accept()
    assert scale_step(session).state is State.PROBLEM
    assert "disagree" in scale_step(session).words


def test_a_canal_is_guided_from_the_orifice_to_the_foramen(session):
    session.set_radiograph(blank())
    assert "press Trace" in canal_step(session).words
    session.start_tracing(CanalName.MB2)
    assert canal_step(session).words == "MB2: click the canal orifice."
    session.click((50.0, 100.0))
    assert "foramen" in canal_step(session).words
    assert "dark canal" in guidance(session)
    assert canal_step(session).state is State.TODO


def test_guidance_names_the_bright_instrument(session):
    session.set_radiograph(blank())
    session.start_tracing(CanalName.P, Structure.INSTRUMENT)
    session.click((50.0, 100.0))
    assert "bright instrument" in guidance(session)


def test_without_a_canal_in_hand_there_is_no_guidance(session):
    session.set_radiograph(blank())
    assert guidance(session) == ""


def test_a_traced_canal_is_done_and_measured(session, sample):
    one = sample("lower_molar")
    session.set_radiograph(one.radiograph)
    assert measurements_step(session).words == "Trace a canal first."
    session.start_tracing(CanalName.MB)
    session.click(one.orifice_rc)
    assert "from the orifice to the foramen" in measurements_step(session).words
    session.click(one.foramen_rc)
    assert "Measuring" in measurements_step(session).words
    session.settle()
    session.accept()
    assert (canal_step(session).state, canal_step(session).words) == (State.DONE, "Traced: MB.")
    assert measurements_step(session).state is State.DONE


@pytest.mark.parametrize(
    ("codes", "state", "words"),
    [
        ((), State.DONE, "no cautions"),
        (("in_class_gap",), State.DONE, "no cautions"),
        (("small_angle",), State.DONE, "1 caution."),
        (("small_angle", "two_bends"), State.DONE, "2 cautions"),
        (("trace_left_ridge",), State.PROBLEM, "do not trust"),
        (("small_angle", "too_few_points"), State.PROBLEM, "do not trust"),
    ],
)
def test_flags_decide_whether_numbers_are_a_problem(session, sample, codes, state, words):
    one = sample("lower_molar")
    session.set_radiograph(one.radiograph)
    traced(session, one)
    flagged(session, CanalName.MB, *codes)
    step = measurements_step(session)
    assert step.state is state
    assert words in step.words


def test_numbers_of_an_older_place_are_told_as_updating(session, sample):
    one = sample("lower_molar")
    session.set_radiograph(one.radiograph)
    traced(session, one)
    tracing = session.case.draft
    moved = replace(tracing, anchors_rc=(tracing.anchors_rc[0], (1100.0, 660.0)))
    session.preview(replace(session.case, tracings=(moved,)))
    assert "updating" in measurements_step(session).words
    flagged(session, CanalName.MB, "trace_left_ridge")
    assert measurements_step(session).state is State.PROBLEM
    assert "updating" in measurements_step(session).words
    session.settle()


def test_a_canal_that_cannot_be_traced_is_a_problem_with_its_sentence(session, sample):
    one = sample("lower_molar")
    session.set_radiograph(one.radiograph)
    traced(session, one)
    tracing, calibration = session.case.draft, session.calibration
    session._results[CanalName.MB] = Result(
        tracing=tracing, calibration=calibration, problem="Click further apart."
    )
    assert (canal_step(session).state, canal_step(session).words) == (
        State.PROBLEM,
        "MB: Click further apart.",
    )
    assert measurements_step(session).state is State.PROBLEM


def test_legs_by_hand_are_counted(session):
    session.set_radiograph(blank())
    session.start_tracing(CanalName.D)
    session.click((50.0, 100.0))
    session.hand = True
    session.click((150.0, 100.0))
    session.hand = False
    session.click((250.0, 100.0))
    assert leg_words(session.case.draft) == "1 of 2 legs by hand"
    session.settle()


def test_no_scale_has_words_instead_of_numbers(session):
    session.set_radiograph(blank())
    assert scale_words(session.calibration) == "No scale in the plane of the tooth."
