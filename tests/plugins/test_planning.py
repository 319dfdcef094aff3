"""Requests of the viewer against those of the command line, and answers that are late, old, slow or missing."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from curvometer import (
    CalibrationOrigin,
    CanalName,
    NoPlan,
    PlanAdvice,
    PlanAnswer,
    SequencePlan,
    Severity,
    Structure,
    ask_recommenders,
    assumed_working_length_mm,
    request_from_plain,
    save_record,
)
from curvometer.cli import main
from curvometer_napari import case as edits
from curvometer_napari.chairside import ChairState, same_request
from curvometer_napari.grading import Grader
from curvometer_napari.kept_logs import KeptLogs
from curvometer_napari.planning import Planner, assumed_words, missing_words, request_for
from curvometer_napari.sequence_step import sequence_step
from curvometer_napari.stated import CanalFound, Stated
from curvometer_napari.steps import State
from curvometer_napari.writer import session_record

pytestmark = pytest.mark.usefixtures("solve_once")

MB = CanalName.MB
FOUND = CanalFound(working_length_mm=21.0, reached_size=8)

SCHOOL = """\
name = "own-2026"
title = "the school's own, 2026"
edition = "2026"
source = "Course notes, 2026"
classes = ["easy", "fair", "hard"]

[[criteria]]
code = "curvature"
title = "bend"
quantity = "schneider_angle"
limits = [12, 20]
"""
"""Schneider's angle of the sample is 23.4 degrees: hard."""


@pytest.fixture
def traced(session: Any, sample: Callable[[str], Any]) -> Any:
    """The first sample with its canal traced and accepted as MB, and what hand files found."""
    session.trace(sample("lower_molar"))
    session.accept()
    state(session, FOUND)
    return session


def state(session: Any, found: CanalFound, **facts: Any) -> None:
    stated = session.case.stated.with_found(MB, found).with_facts(**facts)
    session.do(replace(session.case, stated=stated), "state")
    session.settle()


def planner_of(session: Any, tmp_path: Any, **options: Any) -> Planner:
    return Planner(session, KeptLogs(tmp_path / "treatments"), lambda: None, **options)


def measurement_of(session: Any) -> Any:
    return session.result(MB).measurement


# --- the request ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("operator", [None, "general"])
def test_the_request_is_that_of_the_command_line(traced, tmp_path, capsys, operator):
    """The same canal through a record and `curvometer plan --json`, which prints its request."""
    found = CanalFound(
        working_length_mm=21.0, reached_size=10, forced=True, explored_mm=((15, 17.5),), split=True
    )
    state(traced, found, tooth=36, operator=operator, visibility="narrowed", apex_opening_mm=0.4)
    record = tmp_path / "record.json"
    save_record(session_record(traced), record)
    options = [
        "--tooth",
        "36",
        "--canal",
        "MB",
        "--working-length",
        "21",
        "--reached",
        "10",
        "--forced",
        "--split",
    ]
    options += ["--explored", "15:17.5", "--visibility", "narrowed", "--apex-opening", "0.4", "--json"]
    options += [] if operator is None else ["--operator", operator]
    main(["plan", str(record), *options])
    printed = request_from_plain(json.loads(capsys.readouterr().out)["request"])
    own = request_for(measurement_of(traced), traced.case.stated, MB)
    assert own.exploration == printed.exploration
    assert (own.grades, own.referral, own.tooth, own.canal) == (
        printed.grades,
        printed.referral,
        printed.tooth,
        printed.canal,
    )
    assert own.angle_deg == pytest.approx(printed.angle_deg, abs=1e-6)
    assert own.radius_mm == pytest.approx(printed.radius_mm, abs=1e-6)
    assert same_request(replace(own, inventory=printed.inventory), own)


def test_no_motor_rests_on_an_assumed_working_length(traced):
    """The command line assumes a length and says so; here it is told, and planned without."""
    measurement = measurement_of(traced)
    request = request_for(measurement, Stated().with_found(MB, CanalFound(reached_size=8)), MB)
    assert request.working_length_mm is None
    assert not any(not plan.is_hand_only for plan in ask_recommenders(request).plans)
    assumed = assumed_working_length_mm(measurement.canal_length.value)
    assert f"Assumed, about {assumed:.1f} mm" in assumed_words(measurement, None)
    assert assumed_words(measurement, 21.0) == ""
    assert "the working length" in missing_words(request)


def test_what_is_missing_is_said_one_by_one(traced):
    measurement = measurement_of(traced)

    def words(found: CanalFound, **facts: Any) -> str:
        return missing_words(request_for(measurement, Stated().with_found(MB, found).with_facts(**facts), MB))

    assert words(FOUND) == ""
    assert words(replace(FOUND, reached_size=None)) == "Missing for a motor: a hand file at working length."
    assert (
        words(replace(FOUND, blocked=True, split=True))
        == "No motor, because the canal is blocked and the canal splits."
    )
    assert words(FOUND, apex_opening_mm=1.2) == "No motor, because the apex is open."
    rejected = replace(Stated().with_found(MB, FOUND), image_rejected=True)
    assert "an image that can be used" in missing_words(request_for(measurement, rejected, MB))


def test_without_a_scale_no_length_is_assumed_and_the_scale_is_missing(session, sample):
    one = sample("upper_molar")
    session.set_radiograph(one.radiograph, source=str(one.path))
    assert session.calibration.origin is CalibrationOrigin.DETECTOR
    session.start_tracing(MB)
    session.click(one.orifice_rc)
    session.click(one.foramen_rc)
    session.accept()
    session.settle()
    measurement = measurement_of(session)
    assert assumed_words(measurement, None) == ""
    request = request_for(measurement, Stated().with_found(MB, FOUND), MB)
    assert missing_words(request).startswith("Missing for a motor: a scale")


def test_contradictions_are_told_instead_of_planned(traced, tmp_path):
    """A canal of 11.9 mm does not fit into a working length of 12 mm with a depth of 15 mm explored."""
    state(traced, CanalFound(working_length_mm=12.0, reached_size=8, explored_mm=((10, 15.0),)))
    now = planner_of(traced, tmp_path).now()
    assert now.request is None
    assert "15" in now.problem
    assert now.stand.state is ChairState.WAITING
    step = sequence_step(traced, now, None, asking=False)
    assert (step.state, now.problem in step.words) == (State.PROBLEM, True)


def test_a_shelf_that_cannot_be_read_is_told(traced, tmp_path):
    stated = replace(traced.case.stated, inventory_path=str(tmp_path / "none.toml"))
    traced.do(replace(traced.case, stated=stated), "shelf")
    traced.settle()
    assert "none.toml" in planner_of(traced, tmp_path).now().problem


def test_the_clinics_own_shelf_is_planned_from(traced, tmp_path):
    shelf = tmp_path / "shelf.toml"
    shelf.write_text('[[instrument]]\nkind = "hand"\nsize = [6, 8, 10, 15]\ntaper = 0.02\nlength_mm = 25\n')
    stated = replace(traced.case.stated, inventory_path=str(shelf))
    request = request_for(measurement_of(traced), stated, MB)
    assert [piece.name for piece in request.inventory.instruments] == [
        *("hand 06/.02", "hand 08/.02", "hand 10/.02", "hand 15/.02")
    ]
    assert all(plan.is_hand_only for plan in ask_recommenders(request).plans)


def test_the_schools_own_criteria_are_graded_before_the_published_ones(traced, tmp_path):
    own = tmp_path / "school.toml"
    own.write_text(SCHOOL)
    stated = replace(traced.case.stated, criteria_path=str(own))
    traced.do(replace(traced.case, stated=stated), "criteria")
    traced.settle()
    now = planner_of(traced, tmp_path).now()
    published = request_for(measurement_of(traced), replace(stated, criteria_path=""), MB).grades
    assert now.request.grades == (("own-2026", "hard"), *published)
    assert now.remark == ""
    assert [name for name, _ in now.request.grades] == [
        grade.criteria.name for grade in Grader(traced).view().grades if grade.grade is not None
    ]


def test_the_schools_own_criteria_count_for_the_referral(traced, tmp_path):
    own = tmp_path / "school.toml"
    own.write_text(SCHOOL)
    state(traced, FOUND, operator="student", tooth=36)
    stated = replace(traced.case.stated, criteria_path=str(own))
    request = request_for(measurement_of(traced), stated, MB)
    assert any("the school's own, 2026" in reason for reason in request.referral_reasons)


def test_broken_criteria_do_not_stop_planning_and_are_told(traced, tmp_path):
    own = tmp_path / "school.toml"
    own.write_text("this is no criteria file")
    before = planner_of(traced, tmp_path).now().request
    stated = replace(traced.case.stated, criteria_path=str(own))
    traced.do(replace(traced.case, stated=stated), "criteria")
    traced.settle()
    now = planner_of(traced, tmp_path).now()
    assert same_request(now.request, before)
    assert now.remark.startswith("Planned with the published criteria only. ")
    assert "school.toml" in now.remark


# --- answers ----------------------------------------------------------------------------------------------


class Held:
    """A recommender's answer that comes only when it is let go."""

    def __init__(self) -> None:
        self.go = threading.Event()
        self.asked: list[Any] = []

    def __call__(self, request: Any) -> PlanAnswer:
        self.asked.append(request)
        assert self.go.wait(20.0)
        return ask_recommenders(request)


def test_planning_does_not_wait_and_its_answer_is_kept_with_its_question(traced, tmp_path):
    held = Held()
    planner = planner_of(traced, tmp_path, ask=held)
    planner.plan()
    now = planner.now()
    assert planner.is_asking(now)
    assert planner.planned(now) is None
    assert sequence_step(traced, now, None, asking=True).words == "MB: planning ..."
    held.go.set()
    traced.settle()
    now = planner.now()
    assert not planner.is_asking(now)
    assert planner.planned(now).answer.plans
    assert held.asked[0] is now.request


def test_while_a_recommender_hangs_the_canal_is_measured_anew(traced, tmp_path):
    """Somebody else's recommender may hang for its whole time limit; tracing must not wait for it."""
    held = Held()
    planner = planner_of(traced, tmp_path, ask=held)
    planner.plan()
    now = planner.now()
    moved = edits.moved_anchor(traced.case.current, 1, (1150.0, 680.0))
    traced.do(edits.with_tracing(traced.case, moved), "move")
    traced.settle_measuring()
    assert traced.is_fresh(MB)
    assert measurement_of(traced) is not now.measurement
    assert planner.now().request is not None
    assert traced.recommending.busy
    assert not held.go.is_set()
    held.go.set()
    traced.settle()
    assert planner.planned(planner.now()) is None


def test_closing_does_not_wait_for_a_recommender_that_hangs(traced, tmp_path):
    held = Held()
    planner_of(traced, tmp_path, ask=held).plan()
    traced.close()
    assert not held.go.is_set()
    held.go.set()


def test_an_answer_to_what_changed_meanwhile_is_not_shown(traced, tmp_path):
    held = Held()
    planner = planner_of(traced, tmp_path, ask=held)
    planner.plan()
    # While the recommender thinks, somebody states another hand file.
    stated = traced.case.stated.with_found(MB, replace(FOUND, reached_size=10))
    traced.do(replace(traced.case, stated=stated), "state")
    held.go.set()
    traced.settle()
    assert planner.planned(planner.now()) is None
    traced.undo()
    traced.settle()
    assert planner.planned(planner.now()) is not None  # it is the question again


def test_while_an_anchor_is_dragged_there_is_no_request(traced, tmp_path):
    planner = planner_of(traced, tmp_path)
    planner.plan()
    traced.settle()
    moved = edits.moved_anchor(traced.case.current, 1, (1150.0, 680.0))
    traced.preview(edits.with_tracing(traced.case, moved))
    now = planner.now()
    assert (now.request, now.measuring, planner.planned(now)) == (None, True, None)
    assert now.stand.state is ChairState.WAITING
    traced.settle()
    assert planner.now().request is None  # measured, but not let go yet


def test_another_image_forgets_all_answers(traced, tmp_path):
    held = Held()
    planner = planner_of(traced, tmp_path, ask=held)
    planner.plan()
    planner.forget()
    held.go.set()
    traced.settle()
    assert planner.planned(planner.now()) is None


def test_a_failure_of_asking_is_a_sentence(traced, tmp_path, caplog):
    caplog.set_level("CRITICAL", logger="curvometer_napari")
    said: list[str] = []
    traced.told.connect(said.append)

    def broken(_request: Any) -> PlanAnswer:
        raise RuntimeError("boom")

    planner = planner_of(traced, tmp_path, ask=broken)
    planner.plan()
    traced.settle()
    assert said[-1].startswith("Something went wrong")
    assert not planner.is_asking(planner.now())


def test_nothing_is_asked_without_a_canal(session, tmp_path):
    def never(_request: Any) -> PlanAnswer:
        raise AssertionError

    planner = planner_of(session, tmp_path, ask=never)
    planner.plan()
    session.settle()
    assert sequence_step(session, planner.now(), None, asking=False).words == "Open a radiograph first."


def test_steps_in_words(traced, tmp_path):
    planner = planner_of(traced, tmp_path)

    def step() -> Any:
        now = planner.now()
        return sequence_step(traced, now, planner.planned(now), asking=planner.is_asking(now))

    assert step().words == "MB: state what hand files reached, then press Plan."
    planner.plan()
    traced.settle()
    assert (step().state, step().words) == (State.DONE, "MB: advice: a plan, below.")
    state(traced, replace(FOUND, working_length_mm=None))
    planner.plan()
    traced.settle()
    assert (step().state, step().words) == (
        State.PROBLEM,
        "MB: advice: refer, or think again before any motor.",
    )
    traced.start_tracing(CanalName.ML, Structure.CANAL)
    assert step().words == "Accept ML first."


def test_a_doubted_measurement_plans_no_motor(traced):
    """A flag that says not to trust the measurement counts as a tracing that nobody accepted."""
    measurement = measurement_of(traced)
    flags = tuple(replace(flag, severity=Severity.DO_NOT_TRUST) for flag in measurement.flags)
    assert flags
    request = request_for(replace(measurement, flags=flags), traced.case.stated, MB)
    assert "a tracing that can be trusted" in missing_words(request)
    assert all(plan.is_hand_only for plan in ask_recommenders(request).plans)


def test_a_third_party_plan_that_breaks_a_rule_is_refused(traced):
    request = request_for(measurement_of(traced), traced.case.stated, MB)
    whole = ask_recommenders(request).plans[0]

    def careless(_request: Any) -> SequencePlan:
        return replace(whole, steps=whole.steps[:2])  # no hand file confirms the motor step

    def refers(_request: Any) -> NoPlan:
        return NoPlan(rule="x", advice=PlanAdvice.REFER, reasons=("Too sharp.",))

    answer = ask_recommenders(request, recommenders={"careless": careless, "refers": refers})
    assert answer.plans == ()
    assert "hand-confirms" in answer.refused[0].reasons[0]
