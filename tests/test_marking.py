"""Marking: full marks for the truth, never more for a larger error, fairness to experts, reasons in words.

Expected values follow from the canals' closed form (`marked_exercise`) and from the rubric's own limits.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from marked_exercise import (
    CANALS,
    EVERYTHING,
    PIXEL_MM,
    SAFE_STEPS,
    UNSAFE_STEPS,
    Canal,
    aside,
    entry,
    exercise,
    experts_exercise,
    image_sheet,
    known_exercise,
    noisy,
    perfect_answer,
    reference,
    right_grade,
    scale_entry,
    sha_of,
    unmeasured_entry,
)

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.expectations import expect
from curvometer.assessment.feedback_text import feedback_words
from curvometer.assessment.files import load_submission, new_submission, save_submission
from curvometer.assessment.key import ImageKey
from curvometer.assessment.line_words import told_beside
from curvometer.assessment.marking import mark_answer, mark_submission
from curvometer.assessment.marks import ErrorKind
from curvometer.assessment.rubric_file import DEFAULT_RUBRIC_TEXT
from curvometer.assessment.sheet import Scenario, Task
from curvometer.assessment.submission import Answer, ProposedGrade, ProposedPlan, seal_of

TRACED = (Task.ACCEPT, Task.CALIBRATE, Task.TRACE)
LINEAR = DEFAULT_RUBRIC_TEXT.replace('scoring = "steps"', 'scoring = "linear"')
ONE = CANALS[0]


@pytest.fixture(scope="module")
def everything():
    return known_exercise()


@pytest.fixture(scope="module", params=["steps", "linear"])
def tracing(request):
    return known_exercise(tasks=TRACED, rubric="" if request.param == "steps" else LINEAR)


def items_of(mark):
    return {item.code: item for item in mark.items}


def shifted(canal, along_mm):
    """The same length and turning; the curve starts `along_mm` later, so its radius is smaller."""
    arc = canal.arc_mm - along_mm
    return Canal(
        a=canal.a + along_mm,
        radius=arc / np.radians(canal.angle),
        angle=canal.angle,
        b=canal.b,
        at_rc=canal.at_rc,
    )


def share(expectations, points_rc=None, **changes):
    if points_rc is not None:
        changes["canal"] = unmeasured_entry(points_rc)
    mark = mark_answer(expectations, "f1", perfect_answer(expectations, "f1", ONE, **changes))
    return mark.points / mark.out_of


# --- the truth


def test_a_perfect_submission_gets_everything(everything):
    answers = [
        perfect_answer(everything, name, canal) for name, canal in zip(everything.images, CANALS, strict=True)
    ]
    mark = mark_submission(everything, new_submission(everything.sheet, "s-1", answers))
    assert mark.percent == 100.0
    assert mark.remarks == ()
    for image in mark.images:
        assert image.points == image.out_of == 100.0
        assert image.errors == ()
        assert feedback_words(image) == ("100 of 100 points.", "Nothing to correct.")


@pytest.mark.parametrize("count", [12, 25, 60])
def test_a_good_hand_gets_everything(tracing, count):
    """0.03 mm from point to point is a third of a canal's half width: nobody is named an error for it."""
    for seed in range(3):
        for name, canal in zip(tracing.images, CANALS, strict=True):
            answer = perfect_answer(
                tracing, name, canal, canal=unmeasured_entry(noisy(canal.points_rc(count), 0.03, seed))
            )
            mark = mark_answer(tracing, name, answer)
            assert mark.points == mark.out_of
            assert mark.errors == ()


# --- monotone in the error


@settings(max_examples=12, deadline=None)
@given(offset=st.floats(0.0, 4.0), more=st.floats(0.0, 4.0), way=st.floats(0.0, 6.28))
def test_a_growing_offset_never_raises_the_mark(tracing, offset, more, way):
    direction = np.array([np.sin(way), np.cos(way)]) / PIXEL_MM
    line = ONE.points_rc(40)
    assert (
        share(tracing, line + (offset + more) * direction) <= share(tracing, line + offset * direction) + 1e-9
    )


@settings(max_examples=12, deadline=None)
@given(shift=st.floats(0.0, 3.5), more=st.floats(0.0, 3.5), towards=st.sampled_from([-1.0, 1.0]))
def test_a_growing_shift_of_the_curve_never_raises_the_mark(tracing, shift, more, towards):
    less, larger = (shifted(ONE, towards * min(x, 3.5)).points_rc(40) for x in (shift, shift + more))
    assert share(tracing, larger) <= share(tracing, less) + 1e-9


@settings(max_examples=10, deadline=None)
@given(error=st.floats(0.0, 0.5), more=st.floats(0.0, 0.5), way=st.sampled_from([-1.0, 1.0]))
def test_a_growing_error_of_the_scale_never_raises_the_mark(tracing, error, more, way):
    smaller, larger = (scale_entry(PIXEL_MM * (1.0 + way * min(x, 0.9))) for x in (error, error + more))
    assert share(tracing, calibration=larger) <= share(tracing, calibration=smaller)


def test_a_growing_tremor_never_raises_the_mean_mark_of_a_class(tracing):
    """One line's angle may be right by chance however much it trembles; a class's mean is not."""
    means = []
    for error_mm in (0.0, 0.05, 0.1, 0.2, 0.4):
        lines = [noisy(ONE.points_rc(14), error_mm, seed) for seed in range(8)]
        means.append(np.mean([share(tracing, line) for line in lines]))
    assert means == sorted(means, reverse=True)
    assert means[0] == 1.0
    assert means[-1] < 0.75


# --- experts


EXPERTS = (
    noisy(shifted(ONE, -1.2).points_rc(30), 0.04, 1),
    aside(noisy(ONE.points_rc(30), 0.04, 2), 0.25),
    aside(noisy(shifted(ONE, 1.4).points_rc(30), 0.04, 3), -0.2),
)


def test_no_expert_is_below_full_inside_the_experts_spread():
    experts = experts_exercise(EXPERTS)
    assert any(band.widened_by for band in experts.images["f1"].bands.values())
    for line in EXPERTS:
        mark = mark_answer(
            experts, "f1", Answer(image="f1", sha256=sha_of("f1"), canal=unmeasured_entry(line))
        )
        assert mark.points == mark.out_of
        assert mark.errors == ()


def test_the_same_line_earns_less_where_the_experts_agree():
    """The widened limits are what spares it, not something else."""
    answer = Answer(image="f1", sha256=sha_of("f1"), canal=entry(EXPERTS[2]))
    agreed = experts_exercise([noisy(ONE.points_rc(30), 0.02, seed) for seed in (1, 2, 3)])
    mark = mark_answer(agreed, "f1", answer)
    assert mark.points < mark.out_of


@settings(max_examples=4, deadline=None)
@given(st.lists(st.tuples(st.floats(-1.5, 1.5), st.floats(-0.4, 0.4)), min_size=2, max_size=3))
def test_no_expert_is_ever_below_full(ways):
    lines = [aside(shifted(ONE, shift).points_rc(30), offset) for shift, offset in ways]
    experts = experts_exercise(lines)
    for line in lines:
        mark = mark_answer(
            experts, "f1", Answer(image="f1", sha256=sha_of("f1"), canal=unmeasured_entry(line))
        )
        assert mark.points == mark.out_of


def test_an_experts_own_interval_widens_and_the_truth_does_not():
    line = noisy(ONE.points_rc(12), 0.08, 4)
    for exact, wider in ((True, False), (False, True)):
        key = ImageKey(id="f1", references=[reference(line, "one", exact=exact)])
        bands = expect(*exercise([image_sheet("f1", [Task.TRACE])], [key])).images["f1"].bands
        assert any(band.widened_by for band in bands.values()) is wider


# --- one slip is one error


def test_a_slipped_scale_costs_its_own_item_only(everything):
    mark = mark_answer(
        everything, "f1", perfect_answer(everything, "f1", ONE, calibration=scale_entry(PIXEL_MM * 25 / 21))
    )
    assert mark.out_of - mark.points == 10.0
    assert mark.errors == (ErrorKind.SCALE,)
    reason = items_of(mark)["calibration"].reason
    assert reason.startswith(
        "Every length comes out 19 % too long: as if an instrument of 21 mm were taken for one of 25 mm"
    )


def test_a_reversed_line_costs_its_ends_only(everything):
    mark = mark_answer(
        everything, "f1", perfect_answer(everything, "f1", ONE, canal=entry(ONE.points_rc(40)[::-1]))
    )
    assert mark.out_of - mark.points == 10.0
    assert mark.errors == (ErrorKind.REVERSED,)


def test_an_answer_to_another_file_earns_nothing(everything):
    mark = mark_answer(everything, "f1", perfect_answer(everything, "f1", ONE, sha256=sha_of("f2")))
    assert mark.points == 0.0
    assert mark.errors == (ErrorKind.WRONG_IMAGE,)
    assert "made on image f2" in mark.items[0].reason


def test_nothing_done(everything):
    mark = mark_answer(everything, "f1", Answer(image="f1", sha256=sha_of("f1")))
    assert (mark.points, mark.out_of, mark.errors) == (0.0, 100.0, (ErrorKind.NOT_DONE,))


def test_what_the_reference_cannot_tell_is_not_asked():
    """A straight canal has no curve and no radius."""
    straight = Canal(a=12.0, radius=1.0, angle=0.0)
    asked = known_exercise([straight], tasks=[Task.TRACE])
    codes = [row.item.value for row in asked.images["f1"].rows]
    assert codes == ["mean_distance", "far_distance", "angle"]


# --- words


def test_the_start_of_the_curve_and_what_it_did_to_the_angle(everything):
    """Derivation: the start is set 2 mm too coronal; Schneider's angle changes by 28.65 / R degrees per mm, here 4.1 each."""
    line = shifted(ONE, -2.0).points_rc(60)
    mark = mark_answer(everything, "f1", perfect_answer(everything, "f1", ONE, canal=entry(line)))
    assert ErrorKind.CURVE_START in mark.errors
    reason = items_of(mark)["curve"].reason
    assert reason.startswith("You set the start of the curve 2.")
    assert "mm too far towards the orifice; that alone makes the angle" in reason
    assert "degrees smaller" in reason


def test_a_line_that_stops_short(everything):
    """1.5 mm of an arc of radius 7 mm are 12.3 degrees of turning: half of that is missing in Schneider's angle."""
    line = ONE.points_rc(400)
    line = line[: round(400 * (1.0 - 1.5 / (ONE.a + ONE.arc_mm)))]
    mark = mark_answer(everything, "f1", perfect_answer(everything, "f1", ONE, canal=entry(line[::10])))
    assert mark.errors == (ErrorKind.STOPPED_SHORT,)
    told = items_of(mark)
    assert told["far_distance"].reason.startswith("Your line stops short of the foramen by 1.")
    assert (
        "the foramen makes it 5." in told["angle"].reason or "the foramen makes it 6." in told["angle"].reason
    )
    assert told["angle"].reason.startswith("Your angle is 6.") or told["angle"].reason.startswith(
        "Your angle is 7."
    )


# --- decisions


def test_grades(everything):
    right = right_grade(everything, "f1")
    for proposed, points in (
        (right, 10.0),
        (ProposedGrade(grade=right.grade.upper(), factors=right.factors), 10.0),
        (ProposedGrade(grade=right.grade), 5.0),
        (ProposedGrade(grade=right.grade, factors=[*right.factors, "resorption"]), 5.0),
        (ProposedGrade(grade="minimal", factors=right.factors), 0.0),
        (None, 0.0),
    ):
        answer = perfect_answer(everything, "f1", ONE, grade=proposed)
        item = items_of(mark_answer(everything, "f1", answer))["grade"]
        assert item.points == points
    assert item.reason == "You gave no class."


def test_an_unsafe_plan_caps_the_image(everything):
    plan = ProposedPlan(advice="refer", steps=list(UNSAFE_STEPS))
    mark = mark_answer(everything, "f1", perfect_answer(everything, "f1", ONE, plan=plan))
    assert mark.errors == (ErrorKind.UNSAFE_PLAN,)
    assert mark.points == pytest.approx(49.0)
    assert mark.cap == pytest.approx(0.49)
    assert "A hand file confirms the depth" in mark.cap_reason
    assert items_of(mark)["plan"].points == 0.0
    assert feedback_words(mark)[1] == mark.cap_reason


def test_a_step_that_is_not_on_the_shelf_and_one_too_deep(everything):
    steps = [SAFE_STEPS[0].model_copy(update={"size": 45}), SAFE_STEPS[1].model_copy(update={"to_mm": 23.0})]
    plan = ProposedPlan(advice="refer", steps=steps)
    mark = mark_answer(everything, "f1", perfect_answer(everything, "f1", ONE, plan=plan))
    reason = items_of(mark)["plan"].reason
    assert "Step 1: hand instrument 45/.02 is not on the shelf." in reason
    assert "Step 2: " in reason
    assert mark.cap < 1.0


def test_treat_or_refer():
    """A specialist treats every class (OPERATOR_TABLE), a student refers a moderate one."""
    for operator, right, wrong in (("specialist", "treat", "refer"), ("student", "refer", "treat")):
        case = Scenario(operator=operator, working_length_mm=20.0)
        asked = known_exercise(CANALS[:1], scenario=case)
        for advice, points in ((right, 5.0), (wrong, 0.0)):
            plan = ProposedPlan(advice=advice, steps=list(SAFE_STEPS))
            mark = mark_answer(asked, "f1", perfect_answer(asked, "f1", ONE, plan=plan))
            assert items_of(mark)["plan"].points == points
            assert (ErrorKind.ADVICE in mark.errors) == (points == 0.0)


# --- images that are to be rejected


@pytest.mark.parametrize(
    ("accepted", "reasons", "percent", "errors"),
    [
        (False, ["apex-cut-off", "blurred"], 100.0, ()),
        (False, ["blurred"], 95.0, ()),
        (False, ["noisy"], 45.0, ()),
        (True, [], 0.0, (ErrorKind.IMAGE_MISJUDGED,)),
        (None, [], 0.0, (ErrorKind.IMAGE_MISJUDGED,)),
    ],
)
def test_an_image_that_must_not_be_used(accepted, reasons, percent, errors):
    key = ImageKey(id="f1", acceptable=False, reasons=["apex-cut-off", "blurred"])
    asked = expect(*exercise([image_sheet("f1", EVERYTHING)], [key]))
    answer = Answer(
        image="f1", sha256=sha_of("f1"), accepted=accepted, reasons=reasons, calibration=scale_entry()
    )
    mark = mark_answer(asked, "f1", answer)
    assert 100.0 * mark.points / mark.out_of == pytest.approx(percent)
    assert mark.errors == errors


def test_a_good_image_rejected_earns_nothing(everything):
    answer = perfect_answer(everything, "f1", ONE, accepted=False, reasons=["blurred"])
    mark = mark_answer(everything, "f1", answer)
    assert mark.points == 0.0
    assert mark.errors == (ErrorKind.IMAGE_MISJUDGED,)
    assert "You named: the image is blurred." in mark.items[0].reason


# --- what is odd


def test_a_file_that_was_changed_is_told_and_marked(everything, tmp_path):
    good = new_submission(everything.sheet, "s-1", [perfect_answer(everything, "f1", ONE)])
    path = tmp_path / "s.json"
    save_submission(good, path)
    assert mark_submission(everything, load_submission(path)).remarks == ()
    path.write_text(path.read_text().replace('"student": "s-1"', '"student": "s-2"'))
    mark = mark_submission(everything, load_submission(path))
    assert mark.student == "s-2"
    (remark,) = mark.remarks
    assert remark == "The file was changed after it was saved: its seal does not fit its text."
    assert mark.images[0].points == 100.0
    assert [image.errors for image in mark.images[1:]] == [(ErrorKind.NOT_DONE,)] * 2
    assert mark.percent == pytest.approx(100.0 / 3.0)


def test_a_stated_number_that_the_tracing_does_not_give(everything):
    answer = perfect_answer(everything, "f1", ONE, canal=entry(shifted(ONE, -2.0).points_rc(60)))
    measured = answer.canal.measurement
    better = measured.schneider_angle.model_copy(update={"value": 40.0, "upper": 41.0})
    canal = answer.canal.model_copy(
        update={"measurement": measured.model_copy(update={"schneider_angle": better})}
    )
    honest, tampered = (
        mark_submission(everything, new_submission(everything.sheet, "s-1", [each]))
        for each in (answer, answer.model_copy(update={"canal": canal}))
    )
    assert honest.remarks == ()
    assert tampered.images == honest.images  # the recomputed number was marked
    (remark,) = tampered.remarks
    assert remark.startswith("Image f1: Schneider angle 40.00 stated, ")


def test_a_slipped_scale_is_no_changed_number(everything):
    """The student's lengths follow from the student's scale."""
    scale = PIXEL_MM * 1.19
    answer = perfect_answer(
        everything, "f1", ONE, calibration=scale_entry(scale), canal=entry(ONE.points_rc(40)[::-1], scale)
    )
    assert mark_submission(everything, new_submission(everything.sheet, "s-1", [answer])).remarks == ()


def test_another_edition_unknown_and_repeated_images(everything):
    answer = perfect_answer(everything, "f1", ONE)
    worse = answer.model_copy(update={"accepted": False})
    submission = new_submission(everything.sheet, "s-1", [answer])
    submission = submission.model_copy(
        update={"edition": "0" * 16, "answers": [answer, worse, answer.model_copy(update={"image": "f9"})]}
    )
    submission = submission.model_copy(update={"seal": seal_of(submission)})
    mark = mark_submission(everything, submission)
    assert [remark.split(":")[0] for remark in mark.remarks] == [
        f"It was made on edition {'0' * 16} of the exercise, this is {everything.sheet.edition}",
        "The exercise has no image 'f9'",
        "There are several answers to image 'f1'",
    ]
    assert mark.images[0].points == 100.0


# --- what cannot be marked


def test_refusals(everything):
    sheet, key = everything.sheet, everything.key
    with pytest.raises(AssessmentError, match="give the key that was made with this hand-out"):
        expect(sheet, key.model_copy(update={"edition": "0" * 16}))
    with pytest.raises(AssessmentError, match="the exercise curves has no image 'f9'"):
        mark_answer(everything, "f9", Answer(image="f9", sha256=sha_of("f9")))
    other = new_submission(sheet, "s-1", []).model_copy(update={"exercise": "other"})
    with pytest.raises(AssessmentError, match="is one of exercise other"):
        mark_submission(everything, other)
    backwards = [ONE.points_rc(30), ONE.points_rc(30)[::-1]]
    with pytest.raises(AssessmentError, match="expert-2 traced from the foramen to the orifice"):
        experts_exercise(backwards)
    unscaled = reference(ONE.points_rc())
    unscaled = unscaled.model_copy(
        update={"calibration": scale_entry().model_copy(update={"at_tooth": False})}
    )
    with pytest.raises(AssessmentError, match="no scale at the tooth"):
        expect(*exercise([image_sheet("f1")], [ImageKey(id="f1", references=[unscaled])]))


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (0.2, "0.20"),
        (0.15, "0.15"),
        (0.1504, "0.1504"),
        (0.154, "0.154"),
        (0.296, "0.30"),
        (0.304, "0.304"),
        (0.05, "0.05"),
    ],
)
def test_a_number_is_told_on_its_own_side_of_a_limit(error, told):
    assert told_beside(error, (0.15, 0.30)) == told
