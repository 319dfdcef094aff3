"""ISO 3630-1, Dentistry - Endodontic instruments - Part 1: General requirements.

How read: from memory (sizes, colours, lengths, tolerances, working part, least torque, greatest bending moment); of the
draft of 2026 the page of contents (five classes of taper). Diameters are derived from size and taper, d(l) = D0 + taper l.
"""

from __future__ import annotations

import pytest

from curvometer.bibliography import ISO_3630_1, HowRead
from curvometer.instruments import (
    ISO_SIZES,
    LENGTHS_MM,
    Instrument,
    InstrumentError,
    colour_of_size,
    diameter_tolerance_mm,
)


def instrument(size, taper, length_mm=25):
    return Instrument(
        kind="rotary",
        size=size,
        taper=taper,
        length_mm=length_mm,
        material="nickel-titanium",
        speed_rpm=(300, 600),
    )


def test_how_the_standard_was_read():
    assert ISO_3630_1.how_read is HowRead.MEMORY


def test_sizes_and_lengths():
    series = [6, 8, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 70, 80, 90, 100, 110, 120, 130, 140]
    assert [size for size in ISO_SIZES if size != 12] == series
    assert 12 in ISO_SIZES  # a half size
    assert LENGTHS_MM == (21, 25, 28, 31)


@pytest.mark.parametrize("size", [0, 5, 7, 9, 11, 13, 14, 16, 17, 65, 75, 135, 145, 150])
def test_between_the_sizes_there_is_nothing(size):
    for ask in (
        lambda: instrument(size, 0.02),
        lambda: colour_of_size(size),
        lambda: diameter_tolerance_mm(size),
    ):
        with pytest.raises(InstrumentError, match=f"no instrument of size {size}"):
            ask()


COLOURS = {
    6: "pink",
    8: "grey",
    10: "purple",
    15: "white",
    20: "yellow",
    25: "red",
    30: "blue",
    35: "green",
    40: "black",
    45: "white",
    50: "yellow",
    55: "red",
    60: "blue",
    70: "green",
    80: "black",
    90: "white",
    100: "yellow",
    110: "red",
    120: "blue",
    130: "green",
    140: "black",
}


@pytest.mark.parametrize("size", COLOURS)
def test_colours(size):
    assert instrument(size, 0.02).colour == COLOURS[size]


def test_a_half_size_has_no_colour_of_the_series():
    assert colour_of_size(12) is None


def test_every_size_has_been_asked():
    assert {*COLOURS, 12} == set(ISO_SIZES)


@pytest.mark.parametrize(
    ("size", "tolerance"), [(6, 0.01), (8, 0.01), (10, 0.02), (60, 0.02), (70, 0.04), (140, 0.04)]
)
def test_tolerance_of_the_diameter(size, tolerance):
    """At both ends of each class; older editions."""
    assert instrument(size, 0.02).diameter_tolerance_mm == tolerance


@pytest.mark.parametrize(
    ("size", "d16"),
    [
        (6, 0.38),
        (8, 0.40),
        (10, 0.42),
        (15, 0.47),
        (20, 0.52),
        (25, 0.57),
        (30, 0.62),
        (35, 0.67),
        (40, 0.72),
    ],
)
def test_diameter_at_16_mm(size, d16):
    """D16 = D0 + 16 x 0.02 = D0 + 0.32 mm."""
    assert instrument(size, 0.02).diameter_mm(16.0) == pytest.approx(d16)


@pytest.mark.parametrize(
    ("size", "taper", "diameters"),
    [
        (8, 0.02, (0.08, 0.10, 0.14, 0.18, 0.24, 0.40)),
        (10, 0.02, (0.10, 0.12, 0.16, 0.20, 0.26, 0.42)),
        (15, 0.02, (0.15, 0.17, 0.21, 0.25, 0.31, 0.47)),
        (20, 0.02, (0.20, 0.22, 0.26, 0.30, 0.36, 0.52)),
        (10, 0.04, (0.10, 0.14, 0.22, 0.30, 0.42, 0.74)),
        (10, 0.06, (0.10, 0.16, 0.28, 0.40, 0.58, 1.06)),
        (25, 0.04, (0.25, 0.29, 0.37, 0.45, 0.57, 0.89)),
        (25, 0.06, (0.25, 0.31, 0.43, 0.55, 0.73, 1.21)),
    ],
)
def test_diameters_along(size, taper, diameters):
    """d(l) = D0 + taper l at 0, 1, 3, 5, 8 and 16 mm: 10/.04 at 8 mm is 0.10 + 0.32 = 0.42."""
    found = [instrument(size, taper).diameter_mm(place) for place in (0, 1, 3, 5, 8, 16)]
    assert found == pytest.approx(diameters)


@pytest.mark.parametrize(("other", "place"), [((15, 0.02), 2.5), ((20, 0.02), 5.0)])
def test_where_a_10_04_is_as_thick(other, place):
    """0.10 + 0.04 l = 0.15 + 0.02 l at 2.5 mm; = 0.20 + 0.02 l at 5 mm."""
    assert instrument(10, 0.04).diameter_mm(place) == pytest.approx(instrument(*other).diameter_mm(place))


@pytest.mark.parametrize(("depth", "width"), [(4, 0.34), (6, 0.46), (8, 0.58), (10, 0.70)])
def test_orifice_that_a_10_06_makes(depth, width):
    assert instrument(10, 0.06).diameter_mm(depth) == pytest.approx(width)


@pytest.mark.parametrize(
    ("small", "large", "diameter", "area"),
    [(6, 8, 33, 78), (8, 10, 25, 56), (10, 15, 50, 125), (15, 20, 33, 78), (20, 25, 25, 56)],
)
def test_jumps_from_size_to_size(small, large, diameter, area):
    """10 to 15: 1.5 - 1 = 50 %, 1.5^2 - 1 = 125 %."""
    ratio = instrument(large, 0.02).tip_diameter_mm / instrument(small, 0.02).tip_diameter_mm
    assert round(100 * (ratio - 1)) == diameter
    assert round(100 * (ratio**2 - 1)) == area


def test_a_millimetre_off_a_10_is_a_12():
    assert instrument(10, 0.02).diameter_mm(1.0) == pytest.approx(instrument(12, 0.02).tip_diameter_mm)
