"""Cells of a proposed plan, as people type them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curvometer_napari.plan_rows import COLUMNS, CellError, PlanRow, moved, next_row, row_of, with_cell

ROTARY = PlanRow(kind="rotary", size=25, taper=0.04, to_mm=19.5, speed_rpm=300.0, seconds=5.0)


@pytest.mark.parametrize(
    ("column", "text", "field", "value"),
    [
        ("Kind", "R", "kind", "rotary"),
        ("Kind", "hand", "kind", "hand"),
        ("Size", "08", "size", 8),
        ("Taper", "4", "taper", 0.04),
        ("Taper", "4 %", "taper", 0.04),
        ("Taper", ".04", "taper", 0.04),
        ("Taper", "0,06", "taper", 0.06),
        ("Taper", "0", "taper", 0.0),
        ("Taper", "0.5 %", "taper", 0.005),
        ("To mm", "19,5 mm", "to_mm", 19.5),
        ("rpm", "250 rpm", "speed_rpm", 250.0),
        ("rpm", "", "speed_rpm", None),
        ("s", "10 s", "seconds", 10.0),
        ("s", "-", "seconds", None),
    ],
)
def test_cells_are_read_as_people_type_them(column, text, field, value):
    assert getattr(with_cell(ROTARY, column, text), field) == value


@pytest.mark.parametrize(
    ("column", "text"),
    [
        *[("Kind", text) for text in ("", "x", "hands")],
        *[("Size", text) for text in ("", "5", "141", "12.5", "nan", "1e300")],
        *[("Taper", text) for text in ("", "13", "0.13", "-1", "4 % 4")],
        *[("To mm", text) for text in ("", "0", "-3", "41", "inf")],
        *[("rpm", text) for text in ("0", "-1", "2001", "fast")],
        *[("s", text) for text in ("0", "601", "long")],
    ],
)
def test_what_cannot_be_is_refused_with_what_is_needed(column, text):
    with pytest.raises(CellError, match=r"type"):
        with_cell(ROTARY, column, text)


def test_a_hand_file_has_neither_speed_nor_time():
    row = with_cell(ROTARY, "Kind", "h")
    assert (row.speed_rpm, row.seconds) == (None, None)
    assert with_cell(row, "rpm", "300").speed_rpm is None
    assert row.cells()[-2:] == ("-", "-")


ROWS = st.builds(
    PlanRow,
    kind=st.just("rotary"),
    size=st.integers(6, 140),
    taper=st.integers(0, 24).map(lambda n: n / 200.0),
    to_mm=st.integers(1, 80).map(lambda n: n / 2.0),
    speed_rpm=st.none() | st.integers(1, 2000).map(float),
    seconds=st.none() | st.integers(1, 600).map(float),
)


@given(ROWS)
def test_what_is_shown_is_read_as_the_same_step(row):
    back = PlanRow()
    for column, text in zip(COLUMNS, row.cells(), strict=True):
        back = with_cell(back, column, text)
    assert back == row
    assert row_of(row.entry()) == row


def test_the_first_step_reaches_the_working_length_and_the_next_is_as_the_last():
    assert next_row((), working_length_mm=21.5) == PlanRow(kind="hand", size=10, taper=0.02, to_mm=21.5)
    assert next_row((ROTARY,), working_length_mm=21.5) == ROTARY


@given(st.lists(ROWS, max_size=5).map(tuple), st.integers(-2, 6), st.sampled_from([-1, 1]))
def test_moving_keeps_every_step(rows, index, by):
    after = moved(rows, index, by)
    assert sorted(map(repr, after)) == sorted(map(repr, rows))
    if 0 <= index < len(rows) and 0 <= index + by < len(rows):
        assert after[index + by] == rows[index]
    else:
        assert after == rows
