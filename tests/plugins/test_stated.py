"""What a person states: kept, undone, and read back; nothing is assumed in their place."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curvometer import FACT_ANSWERS, REACHED_SIZES, CanalName, CaseFacts, CurvometerError, Operator
from curvometer_napari.autosave import case_from_plain, case_to_plain, worth_keeping
from curvometer_napari.case import Case, Tracing, renamed, with_tracing, without_tracing
from curvometer_napari.stated import (
    CanalFound,
    Stated,
    exploration_of,
    facts_of,
    stated_from_plain,
    stated_to_plain,
)

FOUND = st.builds(
    CanalFound,
    working_length_mm=st.none() | st.floats(12.0, 33.0),
    reached_size=st.none() | st.sampled_from(REACHED_SIZES),
    loose=st.booleans(),
    blocked=st.booleans(),
    split=st.booleans(),
)
FACTS = st.builds(
    CaseFacts,
    tooth=st.none() | st.sampled_from([11, 36, 48, 75]),
    operator=st.none() | st.sampled_from(Operator),
    visibility=st.none() | st.sampled_from(FACT_ANSWERS["visibility"]),
    apex_opening_mm=st.none() | st.floats(0.0, 10.0),
    negotiable=st.none() | st.booleans(),
    other_high=st.none() | st.integers(0, 20),
)
STATED = st.builds(
    Stated,
    facts=FACTS,
    canals=st.dictionaries(st.sampled_from(CanalName), FOUND, max_size=3).map(
        lambda found: tuple(sorted(found.items()))
    ),
    image_rejected=st.booleans(),
    inventory_path=st.sampled_from(["", "shelf.toml"]),
)


@given(STATED)
def test_what_was_stated_is_read_back(stated):
    assert stated_from_plain(json.loads(json.dumps(stated_to_plain(stated), allow_nan=False))) == stated


def test_a_case_of_an_older_program_states_nothing():
    case = Case(stated=Stated().with_facts(tooth=36))
    plain = case_to_plain(case)
    assert case_from_plain(plain) == case
    del plain["stated"]
    assert case_from_plain(plain) == Case()


@pytest.mark.parametrize(
    "change",
    [
        {"facts": {"tooth": 19}},
        {"facts": {"visibility": "bright"}},
        {"facts": {"brand": "x"}},
        {"facts": {"operator": "barber"}},
        {"canals": {"XX": {}}},
        {"canals": {"MB": {"reached_size": 7, "working_length_mm": None}}},
    ],
)
def test_a_damaged_copy_is_not_read(change):
    plain = stated_to_plain(Stated().with_found(CanalName.MB, CanalFound(reached_size=8)))
    for name, value in change.items():
        plain[name] = value
    with pytest.raises((KeyError, TypeError, ValueError)):
        stated_from_plain(plain)


def test_what_nobody_said_allows_least():
    """A size that nobody stated is none, as common practice has it: no source."""
    found = exploration_of(Stated(), CanalName.MB, trace_accepted=True)
    assert (found.reached_size, found.working_length_mm, found.explored_depth_mm) == (0, None, 0.0)
    assert not exploration_of(Stated(), CanalName.MB, trace_accepted=False).trace_accepted


def test_facts_of_the_tooth_reach_the_exploration_once():
    stated = Stated(image_rejected=True).with_facts(tooth=75, visibility="narrowed", apex_opening_mm=1.2)
    found = exploration_of(stated, CanalName.MB, trace_accepted=True)
    assert (found.visibility, found.apex_opening_mm) == ("narrowed", 1.2)
    assert found.primary_tooth
    assert found.image_rejected


def test_a_canal_that_the_tooth_has_not_is_left_out_of_its_facts():
    stated = Stated().with_facts(tooth=11)
    assert facts_of(stated, CanalName.MB2).canal is None
    assert facts_of(Stated().with_facts(tooth=16), CanalName.MB2).canal == "MB2"


def test_impossible_facts_are_refused_and_change_nothing():
    stated = Stated().with_facts(tooth=36)
    with pytest.raises(CurvometerError, match="19"):
        stated.with_facts(tooth=19)
    assert stated.facts.tooth == 36


def test_findings_follow_their_canal():
    case = with_tracing(Case(), Tracing(name=CanalName.MB, accepted=True))
    case = replace(case, stated=case.stated.with_found(CanalName.MB, CanalFound(reached_size=10)))
    again = renamed(case, CanalName.MB, CanalName.ML)
    assert again.stated.found(CanalName.ML).reached_size == 10
    assert again.stated.found(CanalName.MB) == CanalFound()
    assert without_tracing(again, CanalName.ML).stated == Stated()


def test_statements_are_worth_keeping():
    assert not worth_keeping(Case())
    assert worth_keeping(Case(stated=Stated().with_facts(tooth=36)))
