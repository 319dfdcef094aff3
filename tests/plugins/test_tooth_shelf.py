"""Uses counted over the logs of all canals of a tooth, whichever shelf is stated now."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from curvometer import (
    CaseContext,
    Exploration,
    Inventory,
    NextStepKind,
    Outcome,
    Treatment,
    ask_recommenders,
    what_if_request,
)
from curvometer.instruments import default_inventory
from curvometer_napari import log_reading
from curvometer_napari.chairside import ChairState, Planned, begun, carried, stand_of, taken_up, told
from curvometer_napari.log_reading import read
from curvometer_napari.tooth_shelf import as_left, has_left, makes, shelf_after_logs
from curvometer_sequences import recommend_by_table

DEFAULT = default_inventory()


@cache
def request(canal: str = "MB", most_uses: int | None = 1):
    """40 degrees, the curve starts 6 mm from the foramen, working length 20 mm, hand 8 at length.

    With `most_uses` for every rotary piece of the shelf.
    """
    pieces = [
        each if each.kind == "hand" else replace(each, most_uses=most_uses) for each in DEFAULT.instruments
    ]
    return what_if_request(
        angle_deg=40.0,
        radius_mm=6.0,
        curve_start_from_foramen_mm=6.0,
        exploration=Exploration(working_length_mm=20.0, reached_size=8),
        context=CaseContext(tooth=46, canal=canal, inventory=Inventory(instruments=tuple(pieces))),
    )


def answer_to(asked) -> Planned:
    answer = ask_recommenders(asked, recommenders={"table": recommend_by_table})
    return Planned(request=asked, answer=answer)


def log_of(asked, *outcomes: Outcome, elsewhere: tuple[Treatment, ...] = ()) -> Treatment:
    """A log that has gone so far."""
    planned = answer_to(stand_of(asked, (), elsewhere=elsewhere).ask)
    log = begun(asked, (), planned, planned.answer.plans[0], elsewhere=elsewhere)
    for outcome in outcomes:
        amount = 2.0 if outcome is Outcome.SHORT else None
        log = told(asked, (log,), outcome, elsewhere=elsewhere, amount_mm=amount)
    return log


def rotary(shelf: Inventory, name: str = "rotary 10/.02") -> dict[int, tuple[int, int | None]]:
    """Length: (uses, most uses) of each piece of a name."""
    return {each.length_mm: (each.uses, each.most_uses) for each in shelf.instruments if each.name == name}


REACHED = Outcome.REACHED


def test_a_piece_that_was_used_in_one_canal_is_used_for_the_next():
    """The shelf has one rotary 10/.02 of each length; MB used the one of 21 mm, so ML plans with that of 25 mm."""
    there = log_of(request(), REACHED, REACHED)
    asked = stand_of(request("ML"), (), elsewhere=(there,)).ask
    assert rotary(asked.inventory) == {21: (1, 1), 25: (0, 1), 31: (0, 1)}
    here = log_of(request("ML"), REACHED, elsewhere=(there,))
    next_here = read(here).told.step.instrument
    assert (next_here.name, next_here.length_mm) == ("rotary 10/.02", 25)


def test_a_log_goes_on_while_its_own_pieces_are_there():
    """ML is begun and its rotary 10/.02 of 21 mm used after MB began: MB offers its hand file, not that piece."""
    here = log_of(request())
    there = log_of(request("ML"), REACHED, REACHED)
    assert stand_of(request(), (here,), elsewhere=(there,)).state is ChairState.RUNNING
    here = told(request(), (here,), REACHED, elsewhere=(there,))
    stand = stand_of(request(), (here,), elsewhere=(there,))
    assert stand.state is ChairState.CHANGED
    assert stand.told is None
    assert stand.words.startswith("Rotary 10/.02, 21 mm, comes next and has no use left")
    assert rotary(stand.ask.inventory) == {21: (1, 1), 25: (0, 1), 31: (0, 1)}
    planned = answer_to(stand.ask)
    anew = begun(request(), (here,), planned, planned.answer.plans[0], elsewhere=(there,))
    assert stand_of(request(), (here, anew), elsewhere=(there,)).state is ChairState.RUNNING
    # Nothing has changed for the canal that was quicker.
    assert stand_of(request("ML"), (there,), elsewhere=(here, anew)).state is ChairState.RUNNING


def test_a_treatment_that_has_ended_stays_ended_whatever_another_canal_uses():
    here = log_of(request(), REACHED, Outcome.FRACTURED)
    there = log_of(request("ML"), REACHED, REACHED, elsewhere=(here,))
    assert stand_of(request(), (here,), elsewhere=(there,)).state is ChairState.ENDED


def test_a_new_plan_takes_no_piece_that_was_used_elsewhere():
    here = log_of(request(), REACHED, Outcome.SHORT, REACHED)
    assert read(here).told.kind is NextStepKind.RE_PLAN
    there = log_of(request("ML"), REACHED, REACHED, elsewhere=(here,))  # takes the one of 25 mm
    ask = stand_of(request(), (here,), elsewhere=(there,)).ask
    assert rotary(ask.inventory) == {21: (1, 1), 25: (1, 1), 31: (0, 1)}
    planned = answer_to(ask)
    plan = planned.answer.plans[0]
    new = taken_up(request(), (here,), planned, plan, elsewhere=(there,))
    assert new.log.entries[-1].plan is plan


def test_another_shelf_is_charged_with_what_was_used():
    """A shelf file with one rotary 10/.02 of 21 mm and nothing used: the one that a log used has that make."""
    there = log_of(request(), REACHED, REACHED)
    hand = [each for each in DEFAULT.instruments if each.kind == "hand"]
    piece = next(each for each in DEFAULT.instruments if (each.name, each.length_mm) == ("rotary 10/.02", 21))
    one, two = (Inventory(instruments=(*hand, *[piece] * n), name="own") for n in (1, 2))
    for earlier, elsewhere in (((there,), ()), ((), (there,))):
        asked = carried(replace(request(), inventory=one), earlier, elsewhere=elsewhere)
        assert rotary(asked.inventory) == {21: (1, 1)}
    left = shelf_after_logs(two, (there,))
    assert sorted(each.uses for each in left.of(kind="rotary")) == [0, 1]
    assert has_left(left, piece)
    assert not has_left(shelf_after_logs(two, (there, there)), piece)
    assert shelf_after_logs(Inventory(instruments=tuple(hand)), (there,)).instruments == tuple(hand)


def test_a_piece_for_several_uses_keeps_those_that_are_left():
    there = log_of(request(most_uses=3), REACHED, REACHED)
    assert rotary(shelf_after_logs(request(most_uses=3).inventory, (there,)))[21] == (1, 3)
    failed = log_of(request(most_uses=3), REACHED, Outcome.BINDING)
    assert rotary(shelf_after_logs(request(most_uses=3).inventory, (failed,)))[21] == (1, 1)


def test_shares_of_all_canals_put_a_piece_away():
    """As often as one use's share goes into half of the design life, and then no more."""
    there = log_of(request(most_uses=None), REACHED, REACHED)
    share = next(e for e in there.plan.steps if e.is_rotary).budget_share.value
    most = int(0.5 / share)
    assert most >= 1
    shelf = request(most_uses=None).inventory
    kept = shelf_after_logs(shelf, (there,) * most)
    assert sum(uses for uses, _ in rotary(kept).values()) == most
    assert rotary(kept)[21] == (most, None)
    assert rotary(shelf_after_logs(shelf, (there,) * (most + 1)))[21] == (most + 1, most + 1)


def test_a_logs_own_shelf_loses_as_many_pieces_as_are_gone():
    piece = next(each for each in DEFAULT.instruments if each.kind == "rotary")
    spent = replace(piece, uses=1)
    own = Inventory(instruments=(piece, piece, spent))
    left = as_left(own, Inventory(instruments=(piece, spent, spent)))
    assert [each.is_spent for each in left.instruments] == [False, True, True]
    assert as_left(own, own) == own
    assert makes(left) == makes(own)


def test_hand_files_are_not_counted():
    there = log_of(request(), REACHED, REACHED)
    assert shelf_after_logs(DEFAULT, (there,)).of(kind="hand") == DEFAULT.of(kind="hand")


def test_a_log_is_read_once(monkeypatch):
    log = log_of(request(), REACHED)
    first = read(log)
    monkeypatch.setattr(log_reading, "next_step", lambda *_args: pytest.fail("read again"))
    assert read(log) is first
    with pytest.raises(pytest.fail.Exception):
        read(replace(log))
