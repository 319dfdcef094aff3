"""The overlay: what must be seen is where it belongs, and the canal stays visible."""

from __future__ import annotations

import itertools
import struct

import cv2
import numpy as np
import pytest

from curvometer import overlay
from curvometer.overlay import GREEN, ORANGE, PURPLE, SKY_BLUE, YELLOW, draw_overlay, write_png
from curvometer.radiograph import CurvometerError, Radiograph
from curvometer.saving import SavingError

CASES = {
    "curved": {},
    "s_shaped": {"angles_deg": (35.0, -30.0), "radius_px": 250.0, "straight_px": 200.0},
    "straight": {"angles_deg": ()},
    "no_scale": {"angles_deg": (-70.0,), "mm_per_pixel": None, "radius_px": 200.0},
    "tall_pixels": {"aspect_ratio": 1.5},
    "wide_pixels": {
        "aspect_ratio": 0.6,
        "orifice_rc": (20.0, 500.0),
        "straight_px": 200.0,
        "radius_px": 200.0,
    },
    "at_the_border": {"orifice_rc": (20.0, 990.0), "angles_deg": (-40.0,)},
    "tiny": {"straight_px": 40.0, "radius_px": 40.0, "orifice_rc": (40.0, 50.0), "shape": (120, 100)},
}


def drawn(case):
    return draw_overlay(case.radiograph, case.centreline, case.measurement, case.calibration)


def picture_part(case):
    """The picture without the strip of explanations below, and where image positions lie on it."""
    view = overlay._view(
        case.radiograph, case.centreline, case.measurement.landmarks, case.calibration.aspect_ratio
    )
    return drawn(case)[: view.size[0]], view


def near(picture, place, colour, *, reach=14):
    """Tell whether a colour (allowing for transparency) is seen near a place (x, y)."""
    x, y = (round(float(v)) for v in place)
    part = picture[max(y - reach, 0) : y + reach, max(x - reach, 0) : x + reach].astype(int)
    return bool((np.abs(part - colour).max(axis=2) < 60).any())


@pytest.mark.parametrize("name", CASES)
def test_every_case_is_drawn_large_and_upright(name, make_known_case):
    case = make_known_case(**CASES[name])
    picture, view = picture_part(case)
    assert picture.dtype == np.uint8
    assert max(picture.shape[:2]) == pytest.approx(1400, abs=2)
    assert drawn(case).shape[0] > picture.shape[0], "explanations below, not over the picture"
    # Pixels may not be square, the picture is: its zoom differs by the aspect ratio.
    assert view.zoom_rc[0] / view.zoom_rc[1] == pytest.approx(case.calibration.aspect_ratio)
    ends = view.place(case.measurement.landmarks.line_rc)
    assert (ends >= 0).all()
    assert (ends < [picture.shape[1], picture.shape[0]]).all(), "the whole canal is in the picture"


def test_positions_map_pixel_centre_to_pixel_centre():
    """Three pixels at double size: the centre of the first lies between the first two picture pixels."""
    view = overlay.View(first_rc=(10, 20), shape=(3, 3), zoom_rc=(2.0, 2.0))
    assert view.place(np.array([[10.0, 20.0], [12.0, 21.0]])).tolist() == [[0.5, 0.5], [2.5, 4.5]]


def test_landmarks_lines_and_angle_are_where_they_belong(make_known_case):
    case = make_known_case()
    picture, view = picture_part(case)
    marks = case.measurement.landmarks
    start, foramen = view.place(marks.curve_start_rc)[0], view.place(marks.foramen_rc)[0]
    assert near(picture, view.place(marks.orifice_rc)[0], SKY_BLUE)
    assert near(picture, start, ORANGE)
    assert near(picture, foramen, GREEN)
    # The first line runs on straight down from the start; the second goes straight to the foramen.
    reach = float(np.hypot(*(foramen - start)))
    assert near(picture, start + np.array([0.0, 0.8 * reach]), YELLOW)
    assert near(picture, start + 0.8 * (foramen - start), PURPLE)
    # The angle's arc spans them at 0.6 of the way; its middle is at half of the angle, 10 of 20 degrees.
    halfway = np.radians(10.0)
    assert near(picture, start + 0.6 * reach * np.array([np.sin(halfway), np.cos(halfway)]), YELLOW, reach=5)


def test_the_traced_line_follows_the_trace_not_the_fit(make_known_case):
    case = make_known_case()
    picture, view = picture_part(case)
    places = view.place(case.centreline.points_rc[10:100:10])
    assert all(near(picture, place, SKY_BLUE, reach=3) for place in places)


def test_the_canal_stays_visible_beside_its_line(make_known_case):
    """At least half of a 24 pixel wide canal's width on the picture is left as the image has it."""
    case = make_known_case(angles_deg=())
    picture, view = picture_part(case)
    bare = overlay.background(case.radiograph, view)
    marks = case.measurement.landmarks
    x, y = view.place((marks.orifice_rc + marks.foramen_rc) / 2.0)[0].astype(int)
    across = slice(x - 12, x + 12)
    untouched = (picture[y - 40 : y + 40, across] == bare[y - 40 : y + 40, across]).all(axis=2)
    assert untouched.mean() > 0.5
    assert not untouched.all(), "a line is there"


def test_straight_canals_have_no_angle_and_no_second_line(make_known_case):
    case = make_known_case(angles_deg=())
    picture, _ = picture_part(case)
    assert not (np.abs(picture.astype(int) - PURPLE).max(axis=2) < 12).any()
    assert not (np.abs(picture.astype(int) - ORANGE).max(axis=2) < 12).any()


def words_on(case, monkeypatch):
    words = []
    monkeypatch.setattr(overlay, "_write", lambda _picture, text, _x, _y: words.append(text))
    drawn(case)
    return words


def test_words_tell_landmarks_angle_and_scale(make_known_case, monkeypatch):
    words = words_on(make_known_case(), monkeypatch)
    assert {"orifice", "curve start", "Schneider 20.0 deg", "apical foramen and curve end"} <= set(words)
    assert any(word.endswith(" mm") for word in words)
    assert "Smallest radius 6.00 mm (5.40 to 6.60)" in words


def test_without_a_scale_the_bar_is_in_pixels_and_says_so(make_known_case, monkeypatch):
    words = words_on(make_known_case(mm_per_pixel=None), monkeypatch)
    assert any(word.endswith(" px") for word in words)
    assert not any("mm" in word for word in words)
    assert any("no scale" in word for word in words)


@pytest.mark.parametrize(
    ("mm_per_pixel", "aspect_ratio"), [(0.02, 1.0), (0.02, 1.5), (0.05, 1.0), (None, 1.0)]
)
def test_the_scale_bar_is_as_long_as_it_says(mm_per_pixel, aspect_ratio, make_known_case, monkeypatch):
    """Bar length on the picture = what it says / column spacing x enlargement."""
    case = make_known_case(mm_per_pixel=mm_per_pixel, aspect_ratio=aspect_ratio)
    bars = []
    line = overlay.Canvas.line

    def seen(self, points, colour, pattern, thickness):
        if colour == overlay.WHITE:
            bars.append(np.ptp(points[:, 0]))
        line(self, points, colour, pattern, thickness)

    monkeypatch.setattr(overlay.Canvas, "line", seen)
    length, unit = next(w for w in words_on(case, monkeypatch) if w.endswith((" mm", " px"))).split()
    _, view = picture_part(case)
    pixels = float(length) if unit == "px" else float(length) / case.calibration.spacing_rc_mm[1]
    assert bars[0] == pytest.approx(pixels * view.zoom_rc[1])
    assert 0.05 * view.size[1] < bars[0] <= 0.3 * view.size[1]


def test_words_do_not_lie_over_each_other_or_the_canal(make_known_case, monkeypatch):
    for options in CASES.values():
        boxes = []
        word = overlay.Canvas.word

        def seen(self, text, near, colour, *, side, word=word, boxes=boxes):
            before = len(self._taken)
            word(self, text, near, colour, side=side)
            boxes += self._taken[before:]

        with monkeypatch.context() as patch:
            patch.setattr(overlay.Canvas, "word", seen)
            case = make_known_case(**options)
            _, view = picture_part(case)
        for i, one in enumerate(boxes):
            assert not any(overlay._overlap(one, other) for other in boxes[:i])
        line = view.place(case.measurement.landmarks.line_rc)
        for left, top, right, bottom in boxes:
            inside = (line > [left, top]).all(axis=1) & (line < [right, bottom]).all(axis=1)
            assert not inside.any()


def test_dashes_cover_their_share_of_a_line():
    points = np.array([[0.0, 0.0], [1000.0, 0.0]])
    pieces = overlay._dashes(points, overlay.DASHES["dashed"])
    assert sum(np.ptp(piece[:, 0]) for piece in pieces) == pytest.approx(1000 * 18 / 28, abs=18)
    assert all(before[-1, 0] < after[0, 0] for before, after in itertools.pairwise(pieces))


def test_sixteen_bit_pictures_are_drawn(make_known_case):
    case = make_known_case()
    deep = Radiograph(pixels=case.radiograph.pixels.astype(np.uint16) * 16, bits_stored=12)
    picture = draw_overlay(deep, case.centreline, case.measurement, case.calibration)
    assert picture[:1000].std() > 10


# ---------------------------------------------------------------- the file


def chunks(content):
    names, place = [], 8
    while place < len(content):
        (length,) = struct.unpack(">I", content[place : place + 4])
        names.append(content[place + 4 : place + 8].decode())
        place += 12 + length
    return names


def test_the_file_holds_the_picture_and_nothing_else(tmp_path):
    picture = np.random.default_rng(0).integers(0, 255, (40, 50, 3), dtype=np.uint8)
    write_png(picture, tmp_path / "o.png")
    content = (tmp_path / "o.png").read_bytes()
    assert set(chunks(content)) == {"IHDR", "IDAT", "IEND"}
    back = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_UNCHANGED)
    assert (back[:, :, ::-1] == picture).all()


def test_an_existing_picture_is_kept_unless_overwriting_is_asked_for(tmp_path):
    path = tmp_path / "o.png"
    path.write_text("precious")
    picture = np.zeros((8, 8, 3), dtype=np.uint8)
    with pytest.raises(SavingError):
        write_png(picture, path)
    assert path.read_text() == "precious"
    write_png(picture, path, overwrite=True)
    assert path.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    "picture", [np.zeros((8, 8), np.uint8), np.zeros((8, 8, 3)), np.zeros((8, 8, 4), np.uint8)]
)
def test_what_is_no_picture_is_refused(picture, tmp_path):
    with pytest.raises(CurvometerError):
        write_png(picture, tmp_path / "o.png")
    assert not list(tmp_path.iterdir())
