"""What a person states is undone and kept with the case, read back strictly, and never the reason to lose a tracing."""

from __future__ import annotations

import json
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from curvometer import REACHED_SIZES, CanalName, CaseFacts, CurvometerError, Exploration, Operator, Radiograph
from curvometer_napari.autosave import Autosave, worth_keeping
from curvometer_napari.case import Case, Tracing
from curvometer_napari.stated import (
    CanalFound,
    Stated,
    exploration_of,
    stated_from_plain,
    stated_to_plain,
)

DEPTHS = st.floats(1.0, 33.0)
LENGTHS = st.floats(12.0, 33.0)
"""Depths and working lengths that the fields of the panel let through, each by itself."""

FOUND = CanalFound(working_length_mm=20.5, reached_size=10, explored_mm=((15, 14.0),))
TRACED = Case(
    tracings=(Tracing(name=CanalName.MB, anchors_rc=((1.0, 2.0), (3.0, 4.0)), accepted=True),),
    selected=CanalName.MB,
)


@st.composite
def found_in_a_canal(draw):
    fit = draw(st.sampled_from(("passive", "loose", "forced")))
    return CanalFound(
        working_length_mm=draw(st.none() | LENGTHS),
        reached_size=draw(st.none() | st.sampled_from(REACHED_SIZES)),
        loose=fit == "loose",
        forced=fit == "forced",
        explored_mm=tuple(sorted(draw(st.dictionaries(st.sampled_from(REACHED_SIZES[1:]), DEPTHS)).items())),
        blocked=draw(st.booleans()),
        split=draw(st.booleans()),
    )


FACTS = st.builds(
    CaseFacts,
    tooth=st.none() | st.sampled_from((11, 18, 24, 36, 48, 51, 85)),
    operator=st.none() | st.sampled_from(Operator),
    visibility=st.sampled_from((None, "clear", "narrowed", "not-visible")),
    previous_treatment=st.sampled_from((None, "none", "short-filling")),
    s_shape=st.none() | st.booleans(),
    apex_opening_mm=st.none() | st.floats(0.0, 10.0),
    rotation_deg=st.none() | st.floats(0.0, 180.0),
    other_high=st.none() | st.integers(0, 20),
)


@st.composite
def statements(draw):
    canals = draw(st.dictionaries(st.sampled_from(CanalName), found_in_a_canal(), max_size=3))
    return Stated(
        facts=draw(FACTS),
        canals=tuple(sorted(canals.items())),
        image_rejected=draw(st.booleans()),
        inventory_path=draw(st.sampled_from(("", "shelf.toml"))),
        criteria_path=draw(st.sampled_from(("", "school.toml"))),
    )


def read_back(plain):
    return stated_from_plain(json.loads(json.dumps(plain, allow_nan=False)))


def one_canal(**changes):
    """A written file in which one entry of the one canal is another."""
    plain = stated_to_plain(Stated(canals=((CanalName.MB, FOUND),)))
    plain["canals"]["MB"] |= changes
    return plain


@pytest.fixture
def opened(session):
    picture = Radiograph(pixels=np.zeros((600, 500), np.uint8), sha256="cd" * 32)
    session.set_radiograph(picture, source="tooth.png")
    return session


def state(session, what, **changes):
    stated = session.case.stated.with_facts(**changes)
    session.do(replace(session.case, stated=stated), what)


# --- one fact, one place ------------------------------------------------------------------------------------


def test_what_is_found_in_a_canal_has_the_names_of_an_exploration_and_no_fact_of_the_tooth():
    found = {f.name for f in fields(CanalFound)}
    assert found <= {f.name for f in fields(Exploration)}
    assert not found & {f.name for f in fields(CaseFacts)}


def test_nobody_said_anything_about_a_canal_that_was_not_asked_about():
    stated = Stated().with_found(CanalName.MB, FOUND)
    assert stated.found(CanalName.MB) == FOUND
    assert stated.found(CanalName.D) == CanalFound()


def test_a_statement_taken_back_leaves_nothing():
    stated = Stated().with_found(CanalName.MB, FOUND)
    assert stated.with_found(CanalName.MB, CanalFound()) == Stated()
    assert stated.with_facts(tooth=46).with_facts(tooth=None) == stated


# --- what plan and grade are told ---------------------------------------------------------------------------


def test_nobody_said_counts_as_no_hand_file_but_stays_another_answer():
    nobody, none = CanalFound(working_length_mm=20.5), CanalFound(working_length_mm=20.5, reached_size=0)
    assert nobody != none
    told = [
        exploration_of(Stated().with_found(CanalName.MB, found), CanalName.MB, trace_accepted=True)
        for found in (nobody, none)
    ]
    assert told[0] == told[1]


# --- edits of the case --------------------------------------------------------------------------------------


def test_a_statement_is_undone_and_done_again_and_told_to_whoever_listens(opened):
    heard = []
    opened.case_changed.connect(lambda: heard.append(opened.case.stated.facts.tooth))
    state(opened, "state the tooth", tooth=46)
    assert opened.undo_text == "state the tooth"
    opened.undo()
    opened.redo()
    assert heard == [46, None, 46]


def test_a_statement_does_not_measure_anew(session, sample):
    one = sample("lower_molar")
    session.set_radiograph(one.radiograph, source=str(one.path))
    session.start_tracing(CanalName.MB)
    session.click(one.orifice_rc)
    session.click(one.foramen_rc)
    session.settle()
    before = session.result(CanalName.MB)
    state(session, "state visibility", visibility="narrowed")
    assert not session.worker.busy
    assert session.is_fresh(CanalName.MB)
    assert session.result(CanalName.MB) is before


def test_another_image_begins_with_nothing_stated_about_its_tooth(opened):
    state(opened, "state the tooth", tooth=46)
    opened.set_radiograph(replace(opened.radiograph), source="other.png")
    assert opened.case.stated == Stated()


def test_who_treats_and_the_clinics_files_hold_for_the_next_image_of_the_window(opened):
    stated = Stated(inventory_path="shelf.toml", criteria_path="school.toml", image_rejected=True)
    stated = stated.with_facts(tooth=46, operator=Operator.STUDENT, visibility="narrowed")
    opened.do(replace(opened.case, stated=stated.with_found(CanalName.MB, FOUND)), "state everything")
    opened.set_radiograph(replace(opened.radiograph), source="other.png")
    assert opened.case.stated == Stated(
        facts=CaseFacts(operator=Operator.STUDENT), inventory_path="shelf.toml", criteria_path="school.toml"
    )
    assert opened.undo_text == ""  # nobody stated it here
    assert not worth_keeping(opened.case)


def test_work_that_is_taken_up_again_has_its_own_statements(opened):
    state(opened, "who treats", operator=Operator.STUDENT)
    kept = Case(stated=Stated().with_facts(tooth=36))
    opened.set_radiograph(replace(opened.radiograph), source="other.png", case=kept)
    assert opened.case.stated == kept.stated


# --- kept between two runs ----------------------------------------------------------------------------------


@settings(max_examples=50, suppress_health_check=[HealthCheck.too_slow])  # no test fails for a busy computer
@given(statements())
def test_whatever_the_panel_lets_a_person_state_comes_back_as_it_was(stated):
    """Numbers that contradict each other, too: a depth beyond a length that was stated later loses nothing."""
    assert read_back(stated_to_plain(stated)) == stated


def test_numbers_that_contradict_each_other_do_not_cost_the_tracing(opened, tmp_path):
    deep = CanalFound(working_length_mm=14.0, explored_mm=((10, 25.0),))
    with pytest.raises(CurvometerError, match="explored by size 10"):
        exploration_of(Stated().with_found(CanalName.MB, deep), CanalName.MB, trace_accepted=True)
    opened._solve = lambda: None
    opened.do(replace(TRACED, stated=Stated().with_found(CanalName.MB, deep)), "state")
    window = Autosave(tmp_path)
    window.keep(opened)
    window.close()
    (saved,) = Autosave(tmp_path).pending()
    assert saved.case.tracings == TRACED.tracings
    assert saved.case.stated.found(CanalName.MB) == deep


def test_a_statement_alone_is_worth_keeping(opened, tmp_path):
    state(opened, "state the tooth", tooth=46)
    window = Autosave(tmp_path)
    window.keep(opened)
    window.close()
    (saved,) = Autosave(tmp_path).pending()
    assert saved.case.stated.facts.tooth == 46


def test_an_unsaid_fact_is_not_written():
    plain = stated_to_plain(Stated().with_facts(tooth=46, operator=Operator.GENERAL))
    assert plain["facts"] == {"tooth": 46, "operator": "general"}


def test_a_canal_of_the_facts_is_left_out():
    """Each canal has the same facts: its code is told by `facts_of`, so a second one could only contradict it."""
    plain = stated_to_plain(Stated())
    plain["facts"] = {"tooth": 46, "canal": "MB"}
    assert read_back(plain).facts == CaseFacts(tooth=46)


@pytest.mark.parametrize(
    "facts",
    [
        {"tooth": "46"},
        {"tooth": 46.5},
        {"tooth": 49},
        {"tooth": True},
        {"operator": "king"},
        {"visibility": "foggy"},
        {"s_shape": 1},
        {"apex_opening_mm": -0.1},
        {"other_high": 1.0},
        {"hair": "red"},
    ],
    ids=str,
)
def test_a_fact_that_this_program_did_not_write_is_refused(facts):
    plain = stated_to_plain(Stated())
    plain["facts"] = facts
    with pytest.raises((KeyError, TypeError, ValueError)):
        read_back(plain)


@pytest.mark.parametrize(
    "changes",
    [
        {"blocked": "no"},
        {"split": 0},
        {"loose": True, "forced": True},
        {"reached_size": 25},
        {"reached_size": True},
        {"working_length_mm": "21"},
        {"working_length_mm": 99.0},
        {"working_length_mm": True},
        {"explored_mm": [[11, 15.0]]},
        {"explored_mm": [[10, 60.0]]},
        {"explored_mm": [[10]]},
        {"explored_mm": 7},
    ],
    ids=str,
)
def test_a_finding_that_this_program_did_not_write_is_refused(changes):
    assert read_back(one_canal()).found(CanalName.MB) == FOUND
    with pytest.raises((KeyError, TypeError, ValueError)):
        read_back(one_canal(**changes))


@pytest.mark.parametrize(
    "changes",
    [{"canals": [1]}, {"canals": {"XX": {}}}, {"image_rejected": "no"}, {"criteria_path": None}],
    ids=str,
)
def test_a_file_of_another_form_is_refused(changes):
    with pytest.raises((KeyError, TypeError, ValueError)):
        read_back(stated_to_plain(Stated()) | changes)
