"""The hand-out: nothing of the reference is in it or can be made from it, and hostile files end in one sentence."""

from __future__ import annotations

import datetime as dt
import io
import json
import struct
import zipfile
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from exercise_folder import EASY_FILM, OWN_FILM, write_folder, write_record
from hypothesis import given, settings
from hypothesis import strategies as st

from curvometer import CurvometerError, ExerciseSheet, HandOut, Purpose, load_key, open_hand_out
from curvometer.assessment import AssessmentError
from curvometer.assessment.films import FilmOrder, _drawn, film_again, secret_seed
from curvometer.assessment.hand_out import hand_out_bytes, hand_out_of
from curvometer.assessment.making import write_exercise
from curvometer.assessment.pictures import PUBLIC_IMAGES, fingerprint
from curvometer.phantom import PhantomOptions, random_case

pytestmark = pytest.mark.usefixtures("coarse_films")

WHEN = dt.datetime(2030, 1, 15, 9, 0, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def built(tmp_path_factory, coarse_films):  # noqa: ARG001 - only to be in force
    """A marked exercise of an own film (two experts) and a simulated one: its two files."""
    folder = write_folder(tmp_path_factory.mktemp("e") / "curves", OWN_FILM, EASY_FILM)
    return write_exercise(folder)


@pytest.fixture(scope="module")
def simulated(built):
    """(hand-out, image id, answers) of the simulated film."""
    hand_out, key = open_hand_out(built[0]), load_key(built[1])
    (answers,) = [image for image in key.images if image.made_from is not None]
    return hand_out, answers.id, answers


# --- searching its bytes -----------------------------------------------------------------------------------


def chunks(png):
    """(type, content) of every chunk of a PNG (ISO/IEC 15948, clause 5.3)."""
    place = 8
    while place < len(png):
        length, kind = struct.unpack(">I4s", png[place : place + 8])
        yield kind, png[place + 8 : place + 8 + length]
        place += 12 + length


def layers(content):
    """Everything that can be found in a hand-out: its bytes, each file, each picture unpacked, its grey values."""
    yield content
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        yield archive.comment
        for entry in archive.infolist():
            yield entry.extra + entry.comment
            file = archive.read(entry)
            yield file
            if file.startswith(b"\x89PNG"):
                yield zlib.decompress(b"".join(data for kind, data in chunks(file) if kind == b"IDAT"))
    hand_out = hand_out_of(content, Path("x"))
    for image in hand_out.sheet.images:
        yield hand_out.radiograph(image.id).pixels.tobytes()


def numbers(value):
    """Every number in plain data, depth first."""
    if isinstance(value, bool):
        return
    if isinstance(value, int | float):
        yield value
    elif isinstance(value, dict):
        for each in value.values():
            yield from numbers(each)
    elif isinstance(value, list):
        for each in value:
            yield from numbers(each)


def needles(key):
    """What of a key must not stand in a hand-out, in every likely form, cut to windows of 8 bytes.

    Numbers of fewer than 4 digits (12, 0.5) could stand there by chance and tell nothing by themselves: they are searched
    for as binary double precision only, and where they are coordinates, in pairs as single precision and whole pixels.
    """
    plain = key.model_dump(mode="json")
    for value in (
        v for image in plain["images"] for v in numbers({**image, "made_from": image["made_from"] or {}})
    ):
        digits = sum(c.isdigit() for c in repr(float(value)).strip("0."))
        if digits >= 4:
            for text in (
                repr(value),
                f"{value:.3f}",
                f"{value:.4f}",
                f"{value:.6f}",
                f"{value:.6g}",
                f"{value:.6e}",
            ):
                if len(text) >= 8:
                    yield text[:8].encode()
                    yield text[:8].encode("utf-16-le")[:8]
        if float(value) not in (0.0, 1.0):
            yield struct.pack("<d", value)
            yield struct.pack(">d", value)
    for image in plain["images"]:
        for reference in image["references"]:
            line = np.array(reference["canal"]["centreline"]["points_xy"])
            for points in (line, line[:, ::-1], line[::-1]):
                for kind, count in (("f4", 1), ("i4", 1), ("i2", 2), ("u2", 2)):
                    whole = np.rint(points) if kind[0] in "iu" else points
                    for order in "<>":
                        packed = whole.astype(order + kind).tobytes()
                        yield from (packed[i : i + 8] for i in range(0, len(packed) - 8, 8 // count))
        if image["made_from"]:
            seed = int(image["made_from"]["seed"], 16)
            for raw in (
                seed.to_bytes(16, "little"),
                seed.to_bytes(16, "big"),
                str(seed).encode(),
                f"{seed:x}".encode(),
            ):
                yield raw[:8]
                yield raw[-8:]


def found(content, key):
    """Needles that stand anywhere in a hand-out."""
    wanted = {needle for needle in needles(key) if len(needle) == 8}
    assert len(wanted) > 2000, "the search looks for something"
    there = set()
    for layer in layers(content):
        there |= wanted & {layer[i : i + 8] for i in range(len(layer) - 7)}
    return there


def test_nothing_of_the_key_stands_in_the_hand_out(built):
    """Coordinates, angles, radii, seeds: as text, as floats of both orders, packed and unpacked."""
    assert found(built[0].read_bytes(), load_key(built[1])) == set()


def test_the_search_finds_what_is_there(built):
    """A practice hand-out holds its key, and pixels could hide one: both are found."""
    hand_out, key = open_hand_out(built[0]), load_key(built[1])
    sheet = hand_out.sheet.model_copy(update={"purpose": Purpose.PRACTICE})
    shown = key.model_copy(update={"edition": sheet.edition})
    assert len(found(hand_out_bytes(replace(hand_out, sheet=sheet, key=shown)), key)) > 1000
    line = np.array(key.images[0].references[0].canal.centreline.points_xy, np.float32)
    target = io.BytesIO(built[0].read_bytes())
    with zipfile.ZipFile(target, "a") as archive:
        archive.comment = line.tobytes()[:400]
    assert found(target.getvalue(), key)


def test_a_picture_holds_its_grey_values_and_nothing_else(built):
    hand_out = open_hand_out(built[0])
    for image in hand_out.sheet.images:
        png = hand_out.images[image.id]
        kinds = [kind for kind, _ in chunks(png)]
        assert set(kinds) == {b"IHDR", b"IDAT", b"IEND"}, "no text, time, resolution or profile"
        assert png.endswith(b"IEND\xaeB`\x82"), "and nothing behind the last chunk"


def test_names_and_dates_tell_nothing(built):
    with zipfile.ZipFile(built[0]) as archive:
        entries = archive.infolist()
        assert [entry.filename for entry in entries] == [
            "exercise.json",
            "images/image-01.png",
            "images/image-02.png",
        ]
        assert {entry.date_time for entry in entries} == {(1980, 1, 1, 0, 0, 0)}
        sheet = json.loads(archive.read("exercise.json"))
    known = {"id", "file", "sha256", "tooth", "canal", "tasks", "known_length", "mm_per_pixel", "scenario"}
    assert all(set(image) == known for image in sheet["images"])


def test_other_references_give_the_same_hand_out(tmp_path):
    """Only the time of making may differ: it is set to one."""
    made = []
    for number, experts in enumerate((("ab", "cd"), ("xy",))):
        folder = write_folder(tmp_path / f"e{number}", OWN_FILM, experts=experts)
        (folder / "references" / f"own_{experts[0]}.json").unlink()
        write_record(
            folder / "references" / f"own_{experts[0]}.json",
            folder / "films" / "own.png",
            shift_px=2.0 + number,
        )
        hand_out = open_hand_out(write_exercise(folder)[0])
        made.append(
            hand_out_bytes(replace(hand_out, sheet=hand_out.sheet.model_copy(update={"created": WHEN})))
        )
    assert made[0] == made[1]


# --- making it again ---------------------------------------------------------------------------------------


def test_the_key_makes_the_film_again(simulated):
    """The check of the tests below: with the seed it can be done."""
    hand_out, image, answers = simulated
    again = film_again(answers.made_from).radiograph
    assert fingerprint(again) == fingerprint(hand_out.radiograph(image))


@pytest.mark.parametrize("seed", [0, 1])
def test_all_options_without_the_seed_do_not(simulated, seed):
    hand_out, image, answers = simulated
    again = film_again(answers.made_from | {"seed": hex(seed)}).radiograph
    same = np.mean(again.pixels.astype(float) == film_pixels(hand_out, image, again))
    assert again.shape == hand_out.radiograph(image).shape
    assert same < 0.2, "noise and bone are others"


def film_pixels(hand_out, image, like):
    shift = hand_out.radiograph(image).pixels.dtype.itemsize * 8 - like.bits_stored
    return hand_out.radiograph(image).pixels >> shift


def test_no_small_seed_draws_the_film(simulated):
    """Everything that is drawn is tried with hundreds of seeds, by the public generator and by the exercise's own."""
    _, _, answers = simulated
    drawn = {
        name: answers.made_from[name] for name in ("tilt_deg", "root_width", "bone_cell_mm", "ligament_mm")
    }

    def hit(options: PhantomOptions):
        return any(getattr(options, name) == value for name, value in drawn.items())

    order = FilmOrder(angle_deg=33.0, radius_mm=7.5, kind="lateral_incisor", film=2, mm_per_pixel=0.1)
    true_seed = int(answers.made_from["seed"], 16)
    assert hit(_drawn(order, np.random.default_rng([true_seed, 1]))[1]), "the right seed would be noticed"
    for seed in range(600):
        assert not hit(random_case(np.random.default_rng(seed), angle_deg=33.0, radius_mm=7.5)[1])
    for seed in range(100):
        assert not hit(_drawn(order, np.random.default_rng([seed, 1]))[1])


def test_seeds_cannot_be_guessed(simulated):
    assert int(simulated[2].made_from["seed"], 16).bit_length() > 64, "fails once in 2**64 builds"
    seeds = {secret_seed() for _ in range(100)}
    assert len(seeds) == 100
    assert max(seeds).bit_length() > 120


def test_no_film_is_a_sample_image(simulated):
    hand_out, image, _ = simulated
    assert fingerprint(hand_out.radiograph(image)) not in PUBLIC_IMAGES


# --- hostile and damaged files -----------------------------------------------------------------------------


def rebuilt(content, changes=(), *, drop=(), also=()):
    """A hand-out with files changed, left out or added."""
    target = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as before,
        zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as after,
    ):
        for name in before.namelist():
            if name not in drop:
                after.writestr(name, dict(changes).get(name, before.read(name)))
        for name, data in also:
            after.writestr(name, data)
    return target.getvalue()


def sheet_with(content, **changes):
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        sheet = json.loads(archive.read("exercise.json"))
    return rebuilt(content, {"exercise.json": json.dumps(sheet | changes)}.items())


def refused(tmp_path, content, words):
    path = tmp_path / "a.handout.zip"
    path.write_bytes(content)
    before = sorted(tmp_path.parent.rglob("*"))
    with pytest.raises(AssessmentError, match=words) as caught:
        open_hand_out(path)
    assert "\n" not in str(caught.value)
    assert str(path) in str(caught.value)
    assert sorted(tmp_path.parent.rglob("*")) == before, "nothing is written"


@pytest.fixture(scope="module")
def whole(built):
    return built[0].read_bytes()


def test_what_is_no_archive_is_refused(tmp_path, whole):
    refused(tmp_path, b"", "no whole hand-out")
    refused(tmp_path, b"%PDF-1.4 something", "no whole hand-out")
    refused(tmp_path, whole[: len(whole) // 2], "no whole hand-out")
    refused(tmp_path, rebuilt(whole, drop=["exercise.json"]), "no hand-out, it has no exercise.json")


@pytest.mark.parametrize(
    "name", ["../evil.png", "/etc/evil", "images/../../evil", "C:\\evil", "images/extra.png", "a/"]
)
def test_files_that_the_sheet_does_not_name_are_refused(tmp_path, whole, name):
    refused(tmp_path, rebuilt(whole, also=[(name, b"x")]), "which its sheet does not name")


def test_a_path_in_the_sheet_is_refused(tmp_path, whole):
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        sheet = json.loads(archive.read("exercise.json"))
    sheet["images"][0]["file"] = "../image-01.png"
    refused(tmp_path, rebuilt(whole, {"exercise.json": json.dumps(sheet)}.items()), "at images.0.file")


def test_missing_and_changed_images_are_refused(tmp_path, whole):
    refused(tmp_path, rebuilt(whole, drop=["images/image-01.png"]), "lacks the image images/image-01.png")
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        other = archive.read("images/image-02.png")
    refused(tmp_path, rebuilt(whole, {"images/image-01.png": other}.items()), "another image image-01.png")


def test_the_same_file_twice_is_refused(tmp_path, whole):
    with pytest.warns(UserWarning, match="Duplicate name"):
        content = rebuilt(whole, also=[("exercise.json", b"{}")])
    refused(tmp_path, content, "one of them twice")


def test_a_bomb_is_refused_before_it_goes_off(tmp_path, whole, monkeypatch):
    monkeypatch.setattr("curvometer.assessment.hand_out.LARGEST_IMAGE_BYTES", 2**20)
    bomb = rebuilt(whole, {"images/image-01.png": bytes(2**20 + 1)}.items())
    refused(tmp_path, bomb, "of more than 1 MiB")
    monkeypatch.setattr("curvometer.assessment.hand_out.LARGEST_HAND_OUT_BYTES", 2**20)
    refused(tmp_path, bomb, "unpacked")
    refused(tmp_path, whole + bytes(2**20), "larger than any hand-out")


def test_an_understated_size_does_not_help(tmp_path, whole, monkeypatch):
    """The directory says 10 bytes, the data unpack to a million: no more than the limit is ever held."""
    monkeypatch.setattr("curvometer.assessment.hand_out.LARGEST_IMAGE_BYTES", 1000)
    bomb = bytearray(rebuilt(whole, {"images/image-01.png": bytes(10**6)}.items()))
    true, false = struct.pack("<I", 10**6), struct.pack("<I", 10)
    while true in bomb:
        place = bomb.index(true)
        bomb[place : place + 4] = false
    refused(tmp_path, bytes(bomb), "no whole hand-out|more than|another image")


def test_a_locked_archive_is_refused(tmp_path, whole):
    locked = bytearray(whole)
    place = locked.index(b"PK\x01\x02")
    locked[place + 8] |= 1  # general purpose flag, bit 0: encrypted (APPNOTE 4.4.4)
    refused(tmp_path, bytes(locked), "locked with a password")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"\xff\xfe", "not a JSON text"),
        (b"[1, 2", "not valid JSON"),
        (b"[" * 100_000, "not valid JSON|nest"),
        (b"{}", "is no exercise sheet"),
        (b'{"format": "curvometer-key", "format_version": 1}', "is the key of an exercise"),
        (b'{"format": "curvometer-exercise", "format_version": 2}', "update curvometer"),
        (b'{"format": "curvometer-exercise"}', "unknown version None"),
        (b'{"format": "curvometer-exercise", "format_version": 1}', "at exercise: field required"),
    ],
)  # fmt: skip
def test_a_wrong_sheet_is_told(tmp_path, whole, text, words):
    refused(tmp_path, rebuilt(whole, {"exercise.json": text}.items()), words)


def test_wrong_values_in_the_sheet_are_told(tmp_path, whole):
    refused(tmp_path, sheet_with(whole, extra=1), "at extra: extra inputs are not permitted")
    refused(tmp_path, sheet_with(whole, images=[]), "at images")
    refused(tmp_path, sheet_with(whole, purpose="exam"), "at purpose")


def test_a_marked_exercise_with_its_answers_is_refused(tmp_path, built, whole):
    refused(tmp_path, rebuilt(whole, also=[("key.json", built[1].read_bytes())]), "holds its own answers")
    hand_out = open_hand_out(built[0])
    with pytest.raises(AssessmentError, match="holds its own answers"):
        hand_out_bytes(replace(hand_out, key=load_key(built[1])))


def test_answers_of_another_exercise_are_refused(tmp_path, built, whole):
    practice = sheet_with(whole, purpose="practice")
    refused(
        tmp_path, rebuilt(practice, also=[("key.json", built[1].read_bytes())]), "answers of another exercise"
    )


def test_an_unknown_image_is_told(built):
    with pytest.raises(AssessmentError, match="has no image 'image-77'"):
        open_hand_out(built[0]).radiograph("image-77")


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(AssessmentError, match=r"cannot be read \(no such file or directory\)"):
        open_hand_out(tmp_path / "none.zip")
    with pytest.raises(AssessmentError, match="cannot be read"):
        open_hand_out("a\0b")


@settings(max_examples=150, deadline=None)
@given(place=st.floats(0.0, 1.0), change=st.binary(min_size=1, max_size=6), near_directory=st.booleans())
def test_any_damage_is_found_or_harmless(whole, tmp_path_factory, place, change, near_directory):
    """A hand-out with some bytes changed opens as the very same exercise, or is refused."""
    start = whole.index(b"PK\x01\x02") if near_directory else 0
    at = start + int(place * (len(whole) - start - 1))
    damaged = whole[:at] + change + whole[at + len(change) :]
    path = tmp_path_factory.getbasetemp() / "x.zip"
    try:
        opened = hand_out_of(damaged, path)
    except CurvometerError:
        return
    assert isinstance(opened, HandOut)
    assert isinstance(opened.sheet, ExerciseSheet)
    assert opened.images == hand_out_of(whole, path).images
