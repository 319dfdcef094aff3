"""Instruments and the shelf: what can exist, what is refused in one sentence, which piece is taken."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curvometer.instruments import (
    ISO_SIZES,
    LENGTHS_MM,
    Instrument,
    InstrumentError,
    InstrumentKind,
    Inventory,
    InventoryError,
    Material,
    default_inventory,
    instruments_that_reach,
    load_inventory,
    shortest_that_reaches,
    stops_short_mm,
)
from curvometer.radiograph import CurvometerError

QUICK = settings(max_examples=60, deadline=None, derandomize=True)
SIZES = st.sampled_from(ISO_SIZES)
TAPERS = st.sampled_from([0.02, 0.03, 0.04, 0.05, 0.06, 0.08, 0.12])
LENGTHS = st.sampled_from(LENGTHS_MM)


def hand(size, *, length_mm=25, **fields):
    fields = {"taper": 0.02, "material": "steel"} | fields
    return Instrument(kind="hand", size=size, length_mm=length_mm, **fields)


def rotary(size, taper, *, length_mm=25, **fields):
    fields = {"material": "nickel-titanium", "speed_rpm": (300, 600)} | fields
    return Instrument(kind="rotary", size=size, taper=taper, length_mm=length_mm, **fields)


# --- One instrument ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("instrument", "name"),
    [
        (hand(10), "hand 10/.02"),
        (hand(6), "hand 06/.02"),
        (hand(140), "hand 140/.02"),
        (rotary(10, 0.02), "rotary 10/.02"),
        (rotary(25, 0.1), "rotary 25/.10"),
        (rotary(25, 0.045), "rotary 25/.045"),
    ],
)
def test_name(instrument, name):
    assert instrument.name == name


def test_kind_and_material_become_members_and_the_instrument_is_a_key():
    one = hand(10)
    assert one.kind is InstrumentKind.HAND
    assert one.material is Material.STEEL
    assert {one: 1}[hand(10)] == 1
    assert rotary(10, 0.04, speed_rpm=[300, 600]) == rotary(10, 0.04)
    with pytest.raises(dataclasses.FrozenInstanceError):
        one.size = 15


@QUICK
@given(size=SIZES, taper=TAPERS, length=LENGTHS, l=st.floats(0.0, 21.0))
def test_diameter_grows_to_the_end_of_the_working_part_and_then_stays(size, taper, length, l):  # noqa: E741
    one = rotary(size, taper, length_mm=length)
    assert one.diameter_mm(0.0) == pytest.approx(size / 100)
    assert one.diameter_mm(l) == pytest.approx(size / 100 + taper * min(l, 16.0))
    assert one.diameters_mm(np.array([l, 16.0, 21.0]))[1:] == pytest.approx([size / 100 + 16 * taper] * 2)


@pytest.mark.parametrize("place", [-0.1, 25.1, float("nan")])
def test_a_place_off_the_instrument_is_refused(place):
    with pytest.raises(InstrumentError, match="not on an instrument of 25 mm"):
        hand(10).diameter_mm(place)


BAD = {
    "size 11": (lambda: hand(11), "no instrument of size 11"),
    "size 0": (lambda: hand(0), "no instrument of size 0"),
    "size 65": (lambda: hand(65), "no instrument of size 65"),
    "size 145": (lambda: hand(145), "no instrument of size 145"),
    "size as text": (lambda: hand("10"), "no instrument of size '10'"),
    "size true": (lambda: hand(True), "no instrument of size True"),
    "taper 2": (lambda: hand(10, taper=2), "taper of 2 is not possible.*0.02 for 2 %"),
    "taper 0": (lambda: hand(10, taper=0.0), "taper of 0.0"),
    "taper nan": (lambda: hand(10, taper=float("nan")), "taper of nan"),
    "length 24": (lambda: hand(10, length_mm=24), "length of 24 mm is not made"),
    "kind": (
        lambda: dataclasses.replace(hand(10), kind="laser"),
        "no kind of instrument 'laser'; use hand or rotary",
    ),
    "material": (lambda: hand(10, material="gold"), "no material 'gold'"),
    "working part": (lambda: hand(10, working_part_mm=26.0), "working part of 26.0 mm does not fit"),
    "hand with speed": (lambda: hand(10, speed_rpm=(300, 600)), "used by hand; leave out its speed"),
    "hand with torque": (lambda: hand(10, torque_limit_n_cm=1.0), "used by hand; leave out its speed"),
    "rotary of steel": (lambda: rotary(10, 0.02, material="steel"), "of steel, which takes a set"),
    "rotary without speed": (lambda: rotary(10, 0.02, speed_rpm=None), "lowest and the highest speed"),
    "one speed": (lambda: rotary(10, 0.02, speed_rpm=300), "lowest and the highest speed"),
    "speeds reversed": (lambda: rotary(10, 0.02, speed_rpm=(600, 300)), "lowest and the highest speed"),
    "speed zero": (lambda: rotary(10, 0.02, speed_rpm=(0, 300)), "lowest and the highest speed"),
    "torque": (lambda: rotary(10, 0.02, torque_limit_n_cm=-1.0), "torque limit of rotary 10/.02"),
    "uses": (lambda: hand(10, uses=-1), "from 0 on, found -1"),
    "uses half": (lambda: hand(10, uses=0.5), "from 0 on, found 0.5"),
    "most uses": (lambda: hand(10, most_uses=0), "from 1 on, found 0"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_exist_is_refused_in_one_sentence(case):
    make, message = BAD[case]
    with pytest.raises(InstrumentError, match=message) as caught:
        make()
    text = str(caught.value)
    assert text.endswith(".")
    assert "\n" not in text
    assert isinstance(caught.value, CurvometerError)


def test_an_instrument_is_spent_after_its_last_use():
    assert not hand(10).is_spent
    assert hand(10, uses=1).is_spent
    assert not hand(10, uses=1, most_uses=2).is_spent
    assert not hand(10, uses=99, most_uses=None).is_spent


def test_a_15_02_stops_short_after_a_10_04():
    """0.15 + 0.02 (l - s) <= 0.10 + 0.04 l first fails at its tip: s = 0.05 / 0.04 = 1.25 mm; after a 10/.02 0.05 / 0.02."""
    assert stops_short_mm(rotary(15, 0.02), after=rotary(10, 0.04)) == pytest.approx(1.25)
    assert stops_short_mm(rotary(15, 0.02), after=hand(10)) == pytest.approx(2.5)
    assert stops_short_mm(hand(10), after=hand(15)) == 0.0
    # A 10/.04 after a 10/.02 that was 16 mm deep: 0.10 + 0.04 (16 - s) <= 0.42 gives s = 8; 10 mm deep, s = 5.
    assert stops_short_mm(rotary(10, 0.04), after=hand(10)) == pytest.approx(8.0)
    assert stops_short_mm(rotary(10, 0.04), after=hand(10), after_depth_mm=10.0) == pytest.approx(5.0)


@QUICK
@given(a=SIZES, ta=TAPERS, b=SIZES, tb=TAPERS)
def test_where_it_stops_it_is_nowhere_wider_than_the_hole_and_deeper_it_is(a, ta, b, tb):
    first, following = rotary(a, ta), rotary(b, tb)
    short = stops_short_mm(following, after=first)
    hole = np.linspace(0.0, 16.0, 400)

    def excess(s):
        inside = hole[hole >= s]
        return np.max(
            following.tip_diameter_mm + tb * (inside - s) - first.diameters_mm(inside), initial=-1.0
        )

    assert excess(short) <= 1e-9
    if 0.05 < short < 15.9:
        assert excess(short - 0.05) > 0.0


# --- The shelf --------------------------------------------------------------------------------------------


def test_an_empty_inventory_is_refused():
    with pytest.raises(InstrumentError, match="inventory is empty"):
        Inventory(instruments=())
    with pytest.raises(InstrumentError, match="holds instruments only"):
        Inventory(instruments=("hand 10",))


def test_default_inventory():
    shelf = default_inventory()
    assert [(k.value, s, t) for k, s, t in shelf.shapes] == [
        *(("hand", size, 0.02) for size in (6, 8, 10, 15, 20, 25)),
        *(
            ("rotary", s, t)
            for s, t in ((10, 0.02), (10, 0.04), (10, 0.06), (15, 0.02), (20, 0.02), (25, 0.04))
        ),
    ]
    assert len(shelf.instruments) == 3 * len(shelf.shapes)
    assert {item.length_mm for item in shelf.instruments} == {21, 25, 31}
    assert not any(item.uses for item in shelf.instruments)
    assert all(item.speed_rpm[0] <= 300 and item.speed_rpm[1] >= 500 for item in shelf.of(kind="rotary"))


def test_find_by_kind_size_and_taper():
    shelf = default_inventory()
    assert len(shelf.of(kind="hand")) == 18
    assert {item.taper for item in shelf.of(kind="rotary", size=10)} == {0.02, 0.04, 0.06}
    assert len(shelf.of(kind=InstrumentKind.ROTARY, size=10, taper=0.04)) == 3
    assert shelf.of(kind="hand", size=35) == ()


@pytest.mark.parametrize(
    ("working_length", "posterior", "length"),
    [
        (19.0, True, 21),
        (20.0, True, 21),  # the stop takes up the last millimetre
        (20.1, True, 25),
        (24.5, True, 31),
        (30.0, True, 31),
        (30.5, True, None),
        (19.0, False, 25),
        (24.5, False, 31),
    ],
)
def test_length_taken(working_length, posterior, length):
    found = shortest_that_reaches(
        default_inventory(),
        kind="hand",
        size=10,
        taper=0.02,
        working_length_mm=working_length,
        posterior=posterior,
    )
    assert (found and found.length_mm) == length


def test_spent_pieces_are_left_and_the_least_used_is_taken():
    shelf = Inventory(
        instruments=(hand(10, uses=1), hand(10, uses=2, most_uses=5), hand(10, uses=1, most_uses=5), hand(15))
    )
    wanted = {"kind": "hand", "size": 10, "taper": 0.02, "working_length_mm": 20.0}
    assert shortest_that_reaches(shelf, **wanted).uses == 1
    assert shortest_that_reaches(shelf, **wanted).most_uses == 5
    assert len(instruments_that_reach(shelf, working_length_mm=20.0)) == 3
    assert shortest_that_reaches(shelf, **wanted | {"size": 20}) is None


def test_without_a_stop_a_21_reaches_21():
    wanted = {"kind": "hand", "size": 10, "taper": 0.02, "working_length_mm": 21.0}
    assert shortest_that_reaches(default_inventory(), **wanted, stop_room_mm=0.0).length_mm == 21


@pytest.mark.parametrize("length", [0.0, -3.0, float("nan"), "21"])
def test_an_impossible_working_length_is_refused(length):
    with pytest.raises(InstrumentError, match="working length must be a positive"):
        instruments_that_reach(default_inventory(), working_length_mm=length)


@QUICK
@given(length=st.floats(1.0, 40.0), posterior=st.booleans(), size=SIZES)
def test_the_piece_taken_reaches_and_in_posterior_teeth_none_shorter_does(length, posterior, size):
    shelf = default_inventory()
    wanted = {"kind": "hand", "size": size, "taper": 0.02, "working_length_mm": length}
    found = shortest_that_reaches(shelf, **wanted, posterior=posterior)
    reach = [item for item in shelf.of(kind="hand", size=size, taper=0.02) if item.length_mm >= length + 1.0]
    if found is None:
        assert not reach
    else:
        assert found in reach
        assert not posterior or found.length_mm == min(item.length_mm for item in reach)


# --- The file ---------------------------------------------------------------------------------------------

GOOD = """\
name = "Room 2"

[[instrument]]
kind = "hand"
size = [6, 8, 10]
taper = 0.02
length_mm = [21, 25]

[[instrument]]
kind = "rotary"
size = 10
taper = [0.02, 0.04]
length_mm = 25
speed_rpm = [300, 900]
torque_limit_n_cm = 0.6
uses = 1
most_uses = 3
"""


@pytest.fixture
def write(tmp_path):
    """Save a text as an inventory and give its path."""

    def save(text, name="shelf.toml"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return save


def test_load_inventory(write):
    shelf = load_inventory(write(GOOD))
    assert shelf.name == "Room 2"
    assert len(shelf.instruments) == 3 * 2 + 2
    assert shelf.instruments[0] == hand(6, length_mm=21)
    assert shelf.instruments[-1] == rotary(
        10, 0.04, speed_rpm=(300, 900), torque_limit_n_cm=0.6, uses=1, most_uses=3
    )
    assert load_inventory(write(GOOD.replace('name = "Room 2"', ""))).name == "shelf"


def test_a_byte_order_mark_and_windows_line_ends_are_read(write):
    text = b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode()
    assert len(load_inventory(write(text)).instruments) == 8


WRONG = {
    # what is written instead of what, at which line, and the complaint
    "size": ("size = 10", "size = 11", 11, "there is no size 11"),
    "one size of many": ("[6, 8, 10]", "[6, 8, 9]", 5, "there is no size 9"),
    "size as text": ("size = 10", 'size = "10"', 11, "size must be a number"),
    "size 10.5": ("size = 10", "size = 10.5", 11, "size must be a whole number"),
    "no size at all": ("[6, 8, 10]", "[]", 5, "size is an empty list"),
    "taper in per cent": ("taper = 0.02", "taper = 2", 6, "taper of 2 is not possible"),
    "length": ("[21, 25]", "[21, 24]", 7, "length of 24 mm is not made"),
    "kind": ('"hand"', '"manual"', 4, 'kind must be "hand" or "rotary"'),
    "kind missing": ('kind = "hand"\n', "", 3, "lacks kind"),
    "misspelt": ("speed_rpm", "sped_rpm", 14, "no 'sped_rpm'; did you mean speed_rpm"),
    "unknown": ("uses = 1\n", "zzz = 1\n", 16, "no 'zzz'; use kind"),
    "speed": ("[300, 900]", "300", 14, "speed_rpm must be the lowest and the highest"),
    "speed reversed": ("[300, 900]", "[900, 300]", 14, "lowest and the highest speed"),
    "speed of a hand file": ('"rotary"', '"hand"', 14, "used by hand"),
    "torque": ("= 0.6", "= 0", 15, "torque limit"),
    "uses": ("uses = 1\n", "uses = -1\n", 16, "so far"),
    "most uses": ("most_uses = 3", "most_uses = 0", 17, "uses allowed"),
    "material": ("uses = 1\n", 'material = "steel"\n', 16, "of steel"),
    "name": ('"Room 2"', "2", 1, "name must be text"),
    "stray key": ('name = "Room 2"', "clinic = 1", 1, "'clinic' means nothing here"),
}


@pytest.mark.parametrize("case", WRONG)
def test_every_complaint_names_its_line(write, case):
    old, new, line, message = WRONG[case]
    assert old in GOOD
    with pytest.raises(InventoryError, match=re.escape(message)) as caught:
        load_inventory(write(GOOD.replace(old, new, 1)))
    text = str(caught.value)
    assert text.startswith(f"shelf.toml, line {line}: ")
    assert text.count("\n") == 0
    assert text.endswith(".")
    assert not text.endswith("..")


def test_broken_toml_names_line_and_column(write):
    with pytest.raises(InventoryError, match=r"no valid TOML: .*line 5, column"):
        load_inventory(write(GOOD.replace("[6, 8, 10]", "[6, 8 10]")))


@pytest.mark.parametrize("text", ["", 'name = "empty"', "instrument = []"])
def test_an_empty_file_is_refused(write, text):
    with pytest.raises(InventoryError, match=r"shelf.toml lists no instrument"):
        load_inventory(write(text))


def test_an_inline_list_of_instruments_works_and_complains(write):
    text = 'instrument = [{kind = "hand", size = 10, taper = 0.02, length_mm = 25}]'
    assert load_inventory(write(text)).instruments == (hand(10),)
    with pytest.raises(InventoryError, match="line 1: there is no size 11"):
        load_inventory(write(text.replace("10", "11")))
    with pytest.raises(InventoryError, match="line 1: write every instrument as its own table"):
        load_inventory(write("instrument = 3"))


def test_files_that_are_no_inventory(write, tmp_path):
    with pytest.raises(InventoryError, match=r"none.toml cannot be read"):
        load_inventory(tmp_path / "none.toml")
    with pytest.raises(InventoryError, match="cannot be read"):
        load_inventory(tmp_path)
    with pytest.raises(InventoryError, match="cannot be read: its name"):
        load_inventory("shelf\0.toml")
    with pytest.raises(InventoryError, match="no text in UTF-8"):
        load_inventory(write(b"\xff\xfe\x00\x01"))
    with pytest.raises(InventoryError, match="larger than 1 MB"):
        load_inventory(write(b"#" * 1_000_001))


TOML_VALUES = st.sampled_from(
    [
        "10",
        "0.02",
        "-1",
        "true",
        '"hand"',
        '"rotary"',
        "[]",
        "[10, 15]",
        "[300, 600]",
        "nan",
        "inf",
        "{a = 1}",
        "1979-05-27",
    ]
)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(values=st.dictionaries(st.sampled_from([f.name for f in dataclasses.fields(Instrument)]), TOML_VALUES))
def test_whatever_stands_in_the_file_it_loads_or_is_refused_in_a_sentence(tmp_path_factory, values):
    path = tmp_path_factory.mktemp("shelf") / "any.toml"
    path.write_text("[[instrument]]\n" + "".join(f"{key} = {value}\n" for key, value in values.items()))
    try:
        assert load_inventory(path).instruments
    except InventoryError as error:
        refusal = str(error)
        assert re.match(r"any\.toml, line \d+: .*\.$", refusal)
