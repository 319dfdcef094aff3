"""Undo and redo: back and forth through the same cases."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from curvometer_napari.case import Case
from curvometer_napari.history import MOST_STEPS, History


def numbered(n):
    return Case(scale_draft_rc=((float(n), 0.0),))


@given(st.lists(st.sampled_from(["step", "undo", "redo"]), max_size=60))
def test_follows_a_list_with_a_cursor(moves):
    """The oracle is a plain list of cases and the place in it."""
    history, cases, at = History(), [Case()], 0
    for n, move in enumerate(moves):
        if move == "step":
            history = history.with_step(numbered(n), f"step {n}")
            cases = [*cases[: at + 1], numbered(n)]
            at += 1
        elif move == "undo":
            history, at = history.undone(), max(at - 1, 0)
        else:
            history, at = history.redone(), min(at + 1, len(cases) - 1)
        assert history.case == cases[at]
        assert bool(history.undo_text) == (at > 0)
        assert bool(history.redo_text) == (at < len(cases) - 1)


def test_an_edit_that_changes_nothing_is_no_step():
    history = History().with_step(replace(Case()), "nothing")
    assert history.undo_text == ""


def test_a_step_says_what_undo_takes_back():
    history = History().with_step(numbered(1), "click the orifice")
    assert history.undo_text == "click the orifice"
    assert history.undone().redo_text == "click the orifice"


def test_old_steps_are_forgotten_not_the_present():
    history = History()
    for n in range(MOST_STEPS + 50):
        history = history.with_step(numbered(n), "step")
    assert len(history.past) <= MOST_STEPS + 1
    assert history.case == numbered(MOST_STEPS + 49)


def test_what_is_no_edit_leaves_the_steps_and_what_was_undone():
    history = History().with_step(numbered(1), "a").with_step(numbered(2), "b").undone()
    changed = history.in_place(numbered(7))
    assert changed.case == numbered(7)
    assert (changed.undo_text, changed.redo_text) == ("a", "b")
    assert changed.undone().case == Case()
