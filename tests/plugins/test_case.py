"""Edits of a case: each gives a new one, and what was drawn by hand stays with its leg."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from curvometer import CanalName, Structure
from curvometer_napari import case as edits
from curvometer_napari.case import Case, Tracing

points = st.tuples(st.floats(0, 1000), st.floats(0, 1000))


@st.composite
def tracings(draw, least=2):
    anchors = draw(st.lists(points, min_size=least, max_size=7))
    legs = draw(st.frozensets(st.integers(0, max(len(anchors) - 2, 0)))) if len(anchors) > 1 else frozenset()
    return Tracing(name=CanalName.MB, anchors_rc=tuple(anchors), hand_legs=legs)


def hand_pairs(tracing):
    """The two anchors of every leg by hand."""
    return [(tracing.anchors_rc[i], tracing.anchors_rc[i + 1]) for i in sorted(tracing.hand_legs)]


@given(tracings(least=0), points, st.booleans())
def test_an_anchor_added_and_taken_back_leaves_nothing(tracing, point, by_hand):
    assert edits.without_last_anchor(edits.with_anchor(tracing, point, by_hand=by_hand)) == tracing


def test_the_first_anchor_has_no_leg_that_could_be_by_hand():
    assert edits.with_anchor(Tracing(name=CanalName.D), (1.0, 2.0), by_hand=True).hand_legs == frozenset()


@given(tracings(), points, st.data())
def test_a_waypoint_put_in_and_removed_leaves_nothing(tracing, point, data):
    leg = data.draw(st.integers(0, len(tracing.anchors_rc) - 2))
    longer = edits.inserted_anchor(tracing, leg, point)
    assert longer.anchors_rc[leg + 1] == point
    assert edits.removed_anchor(longer, leg + 1) == tracing


@given(tracings(least=3), st.data())
def test_removing_a_waypoint_leaves_other_legs_by_hand_as_they_were(tracing, data):
    index = data.draw(st.integers(1, len(tracing.anchors_rc) - 2))
    shorter = edits.removed_anchor(tracing, index)
    gone = tracing.anchors_rc[index]
    before = [
        pair
        for i, pair in zip(sorted(tracing.hand_legs), hand_pairs(tracing), strict=True)
        if i not in (index - 1, index)
    ]
    after = [
        pair for i, pair in zip(sorted(shorter.hand_legs), hand_pairs(shorter), strict=True) if i != index - 1
    ]
    assert before == after
    assert len(shorter.anchors_rc) == len(tracing.anchors_rc) - 1
    assert gone not in shorter.anchors_rc or tracing.anchors_rc.count(gone) > 1


def test_both_halves_of_a_leg_by_hand_stay_by_hand():
    tracing = Tracing(name=CanalName.P, anchors_rc=((0, 0), (9, 9)), hand_legs=frozenset({0}))
    assert edits.inserted_anchor(tracing, 0, (4, 4)).hand_legs == {0, 1}


def test_a_leg_can_be_drawn_by_hand_and_let_go_again():
    tracing = Tracing(name=CanalName.P, anchors_rc=((0, 0), (9, 9)))
    by_hand = edits.with_hand_leg(tracing, 0, by_hand=True)
    assert by_hand.hand_legs == {0}
    assert edits.with_hand_leg(by_hand, 0, by_hand=False) == tracing


def test_a_moved_anchor_leaves_the_old_case_alone():
    tracing = Tracing(name=CanalName.P, anchors_rc=((0.0, 0.0), (9.0, 9.0)))
    assert edits.moved_anchor(tracing, 1, (5.0, 5.0)).anchors_rc == ((0.0, 0.0), (5.0, 5.0))
    assert tracing.anchors_rc == ((0.0, 0.0), (9.0, 9.0))


class TestCanals:
    case = edits.with_tracing(
        edits.with_tracing(Case(), Tracing(name=CanalName.MB, accepted=True)), Tracing(name=CanalName.ML)
    )

    def test_the_newest_is_selected_and_the_open_one_is_the_draft(self):
        assert self.case.selected == CanalName.ML
        assert self.case.draft == self.case.current == Tracing(name=CanalName.ML)

    def test_one_name_has_one_canal(self):
        changed = edits.with_tracing(self.case, Tracing(name=CanalName.MB, structure=Structure.INSTRUMENT))
        assert [t.name for t in changed.tracings] == [CanalName.MB, CanalName.ML]
        assert changed.tracing(CanalName.MB).structure is Structure.INSTRUMENT

    def test_removing_selects_one_that_is_left(self):
        left = edits.without_tracing(self.case, CanalName.ML)
        assert left.selected == CanalName.MB
        assert left.draft is None
        assert edits.without_tracing(left, CanalName.MB).selected is None

    def test_a_new_name_keeps_the_selection(self):
        case = edits.renamed(self.case, CanalName.ML, CanalName.DL)
        assert case.selected == CanalName.DL
        assert case.tracing(CanalName.ML) is None
        assert edits.renamed(case, CanalName.MB, CanalName.DB).selected == CanalName.DL

    def test_the_display_is_no_part_of_the_canals(self):
        turned = replace(self.case, display=replace(self.case.display, quarter_turns=1))
        assert turned.tracings == self.case.tracings
