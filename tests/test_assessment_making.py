"""From a teacher's folder to the hand-out and the key."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from exercise_folder import BAD_FILM, EASY_FILM, OWN_FILM, write_folder, write_picture, write_record
from PIL import Image

from curvometer import CurvometerError, Purpose, Task, load_key, load_radiograph, load_record, open_hand_out
from curvometer.assessment import AssessmentError
from curvometer.assessment.films import FAULTS, KNOWN_OBJECTS, TEETH, FilmOrder, film_again, make_film
from curvometer.assessment.making import write_exercise
from curvometer.assessment.pictures import PUBLIC_IMAGES, fingerprint, plain_png
from curvometer.difficulty import check_canal
from curvometer.phantom import SAMPLE_CASES
from curvometer.phantom.forms import TOOTH_FORMS
from curvometer.radiograph import Radiograph, StatedSpacing
from curvometer.saving import SavingError

pytestmark = pytest.mark.usefixtures("coarse_films")


@pytest.fixture(scope="module")
def built(tmp_path_factory, coarse_films):  # noqa: ARG001 - only to be in force
    folder = write_folder(tmp_path_factory.mktemp("e") / "curves", OWN_FILM, EASY_FILM, BAD_FILM)
    hand_out, key = write_exercise(folder)
    return folder, open_hand_out(hand_out), load_key(key)


@pytest.fixture(scope="module")
def again(built):
    """The simulated films once more, by image, from what the key says."""
    return {image.id: film_again(image.made_from) for image in built[2].images if image.made_from}


def by_source(built):
    """(image of the sheet, answers) of the own, the easy and the bad film, wherever they were shuffled to."""
    _, hand_out, key = built
    pairs = list(zip(hand_out.sheet.images, key.images, strict=True))
    own = next(pair for pair in pairs if pair[1].made_from is None)
    bad = next(pair for pair in pairs if not pair[1].acceptable)
    return own, next(pair for pair in pairs if pair not in (own, bad)), bad


def test_files_are_named_for_the_exercise(built):
    folder, hand_out, key = built
    assert {path.name for path in folder.iterdir() if path.is_file()} == {
        "exercise.toml",
        "curves-1.handout.zip",
        "curves-1.key.json",
    }
    assert (hand_out.sheet.exercise, key.exercise) == ("curves-1", "curves-1")
    assert key.edition == hand_out.sheet.edition
    assert hand_out.key is None
    assert [image.id for image in key.images] == ["image-01", "image-02", "image-03"]


def test_experts_records_become_references(built):
    folder = built[0]
    (sheet, answers), _, _ = by_source(built)
    assert [reference.expert for reference in answers.references] == ["ab", "cd"]
    for reference in answers.references:
        record = load_record(folder / "references" / f"own_{reference.expert}.json")
        assert reference.canal == record.canals[0]
        assert reference.calibration == record.calibration
        assert not reference.exact
    assert (sheet.tooth, sheet.canal, sheet.known_length.length_mm) == (36, "MB", 12.0)
    assert Task.PLAN not in sheet.tasks, "no working length is stated"


def test_the_handed_out_pixels_are_those_of_the_film(built, again):
    folder, hand_out, _ = built
    (own, _), (easy, _), (bad, _) = by_source(built)
    film = load_radiograph(folder / "films" / "own.png")
    assert np.array_equal(hand_out.radiograph(own.id).pixels, film.pixels)
    simulated = again[easy.id].radiograph
    shift = {8: 0, 12: 4}[simulated.bits_stored]
    assert np.array_equal(hand_out.radiograph(easy.id).pixels, simulated.pixels.astype(np.uint32) << shift)
    assert hand_out.radiograph(bad.id).shape[0] < again[bad.id].radiograph.shape[0]


def test_the_truth_of_a_simulated_film_is_its_reference(built, again):
    """An arc of 33 degrees that ends at the foramen has a Schneider angle of 33 / 2 (tangent and chord); its radius is 7.5."""
    _, (easy, answers), _ = by_source(built)
    (reference,) = answers.references
    assert (reference.expert, reference.exact) == ("truth", True)
    shape = again[easy.id].truth.measures
    measured = reference.canal.measurement
    assert measured.minimum_radius.value == pytest.approx(7.5, abs=0.01)
    assert measured.schneider_angle.value == pytest.approx(shape["schneider_angle"], abs=0.05)
    assert 16.5 - 0.05 <= measured.schneider_angle.value <= 33.0
    assert measured.canal_length.value == pytest.approx(shape["canal_length"], abs=0.005)
    assert reference.calibration.mm_per_pixel == pytest.approx(0.1)


def test_a_spoilt_film_is_to_be_rejected(built, again):
    _, _, (sheet, answers) = by_source(built)
    assert (answers.acceptable, answers.reasons, answers.references) == (False, ["apex-cut-off"], [])
    truth, whole = again[sheet.id].truth, again[sheet.id].radiograph.shape[0]
    rows = built[1].radiograph(sheet.id).shape[0]
    cut = whole - rows  # rows that are missing on the side of the apex
    from_edge = min(truth.foramen_rc[0], whole - truth.foramen_rc[0])
    assert cut - from_edge == pytest.approx(1.5 / 0.1, abs=1.0), "1.5 mm of the canal are missing"


def test_nothing_is_replaced_unasked_and_each_build_is_a_new_edition(tmp_path):
    folder = write_folder(tmp_path / "e", OWN_FILM)
    hand_out, key = write_exercise(folder)
    before = hand_out.read_bytes(), key.read_bytes()
    with pytest.raises(SavingError, match="exists already"):
        write_exercise(folder)
    assert (hand_out.read_bytes(), key.read_bytes()) == before
    write_exercise(folder, overwrite=True)
    assert load_key(key).edition == open_hand_out(hand_out).sheet.edition


def test_practice_holds_its_answers(tmp_path):
    folder = write_folder(tmp_path / "e", OWN_FILM, head='name = "p"\npurpose = "practice"\n')
    hand_out, key = write_exercise(folder)
    opened = open_hand_out(hand_out)
    assert opened.sheet.purpose is Purpose.PRACTICE
    assert opened.key == load_key(key)


def test_a_rubric_of_the_teacher_goes_into_the_key_and_a_wrong_one_is_refused(tmp_path):
    folder = write_folder(tmp_path / "e", OWN_FILM, head='name = "r"\nrubric = "rubric.toml"\n')
    rubric = '[[items]]\nitem = "angle"\npoints = 1\nfull_deg = 3\nhalf_deg = 6\n'
    (folder / "rubric.toml").write_text(rubric)
    assert load_key(write_exercise(folder)[1]).rubric == rubric
    (folder / "rubric.toml").write_text(rubric.replace("angle", "charm"))
    with pytest.raises(AssessmentError, match=r"rubric.toml, line 2: the item 'charm' is unknown"):
        write_exercise(folder, overwrite=True)


# --- what is refused ---------------------------------------------------------------------------------------


def refused(folder, words):
    with pytest.raises(CurvometerError, match=words) as caught:
        write_exercise(folder)
    assert "\n" not in str(caught.value)
    assert not list(folder.glob("*.zip")) + list(folder.glob("*.key.json"))


def test_a_record_of_another_image_is_refused(tmp_path):
    folder = write_folder(tmp_path / "e", OWN_FILM)
    other = write_picture(tmp_path / "other.png", seed=2)
    (folder / "references" / "own_ab.json").unlink()
    write_record(folder / "references" / "own_ab.json", other)
    refused(folder, "own_ab.json was traced on another image")


def test_a_record_of_the_handed_out_image_is_taken(tmp_path):
    """An expert may work on the hand-out itself; its file is another, its pixels are the same."""
    folder = write_folder(tmp_path / "e", OWN_FILM)
    copy = tmp_path / "copy.png"
    copy.write_bytes(plain_png(load_radiograph(folder / "films" / "own.png")))
    assert copy.read_bytes() != (folder / "films" / "own.png").read_bytes()
    (folder / "references" / "own_ab.json").unlink()
    write_record(folder / "references" / "own_ab.json", copy)
    write_exercise(folder)


def test_a_record_of_another_canal_or_without_an_image_is_refused(tmp_path):
    folder = write_folder(tmp_path / "e", OWN_FILM)
    path = folder / "references" / "own_ab.json"
    text = path.read_text()
    path.write_text(text.replace('"name": "MB"', '"name": "ML"'))
    refused(folder, "has not one canal MB, it has: ML")
    path.write_text(re.sub(r'"image": \{.*?\},\n "cal', '"image": null,\n "cal', text, flags=re.DOTALL))
    refused(folder, "does not say which image")


def test_a_record_without_a_name_of_its_one_canal_is_taken(tmp_path):
    folder = write_folder(tmp_path / "e", OWN_FILM)
    path = folder / "references" / "own_ab.json"
    path.write_text(path.read_text().replace('"name": "MB"', '"name": null'))
    (answers,) = load_key(write_exercise(folder)[1]).images
    assert answers.references[0].canal.name == "MB"


def test_the_same_image_twice_is_refused(tmp_path):
    refused(write_folder(tmp_path / "e", OWN_FILM, OWN_FILM), "the same to the pixel")


@pytest.mark.parametrize("name", ["../own.png", "/etc/hostname", "films/../../x.png"])
def test_places_outside_the_folder_are_not_read(tmp_path, name):
    folder = write_folder(tmp_path / "e", OWN_FILM.replace("films/own.png", name))
    refused(folder, "lies outside of the exercise's folder")


def test_a_missing_image_or_record_is_told(tmp_path):
    folder = write_folder(tmp_path / "e", OWN_FILM)
    (folder / "references" / "own_cd.json").unlink()
    refused(folder, "own_cd.json cannot be read")
    (folder / "films" / "own.png").unlink()
    refused(folder, "own.png does not exist")


def test_a_sample_image_may_be_practised_on_but_not_marked(tmp_path):
    """Its truth stands in sample_images/truth.json."""
    folder = write_folder(tmp_path / "e", OWN_FILM)
    film = folder / "films" / "own.png"
    sample = load_radiograph(Path(__file__).parents[1] / "sample_images" / "low_contrast_premolar.png")
    Image.fromarray(sample.pixels).save(film)
    for expert in ("ab", "cd"):
        (folder / "references" / f"own_{expert}.json").unlink()
        write_record(folder / "references" / f"own_{expert}.json", film)
    refused(folder, "own.png cannot be used: it is the sample image low_contrast_premolar")
    toml = folder / "exercise.toml"
    toml.write_text('purpose = "practice"\n' + toml.read_text())
    write_exercise(folder)


def test_every_sample_image_is_known_by_its_pixels_in_both_formats():
    samples = Path(__file__).parents[1] / "sample_images"
    assert sorted(PUBLIC_IMAGES.values()) == sorted(SAMPLE_CASES)
    for name in ("low_contrast_premolar", "s_shaped_premolar"):
        for suffix in ("png", "dcm"):
            assert PUBLIC_IMAGES.get(fingerprint(load_radiograph(samples / f"{name}.{suffix}"))) == name


def test_pixels_that_are_not_square_are_refused():
    pixels = np.arange(100, dtype=np.uint8).reshape(10, 10)
    with pytest.raises(AssessmentError, match="not square"):
        plain_png(Radiograph(pixels=pixels, spacing=StatedSpacing(pixel_aspect_ratio=1.2)))


@pytest.mark.parametrize("dtype", [np.int16, np.float32])
def test_signed_and_fractional_pixels_keep_their_order(tmp_path, dtype):
    pixels = np.linspace(-500.0, 1500.0, 400).reshape(20, 20).astype(dtype)
    path = tmp_path / "a.png"
    path.write_bytes(plain_png(Radiograph(pixels=pixels)))
    grey = load_radiograph(path).pixels
    assert (grey.min(), grey.max()) == (0, 65535)
    assert np.all(np.diff(grey.ravel().astype(int)) >= 0)


# --- simulated films ---------------------------------------------------------------------------------------


def test_teeth_and_canals_of_films_exist():
    assert set(TEETH) == set(TOOTH_FORMS)
    for left, right, canal in TEETH.values():
        check_canal(left, canal)
        check_canal(right, canal)
        assert abs(left - right) == 10, "the same tooth on the other side of the jaw (ISO 3950)"


def test_what_is_chosen_is_what_the_film_shows():
    """The arc's angle and radius are in the shape; the known object is drawn and has its stated length."""
    film = make_film(
        FilmOrder(
            angle_deg=40.0, radius_mm=5.0, kind="canine", film=1, known_object="ball", mm_per_pixel=0.08
        ),
        7,
    )
    arcs = [(length, r) for length, r in film.phantom.truth.shape.segments if np.isfinite(r)]
    assert len(arcs) == 1
    assert np.degrees(arcs[0][0] / arcs[0][1]) == pytest.approx(40.0)
    assert arcs[0][1] == 5.0
    assert (film.tooth % 10, film.canal) == (3, "single")
    (known,) = film.phantom.truth.known_lengths
    assert film.known_length.length_mm == pytest.approx(known.length_mm, abs=0.005)
    assert film.known_length.what == KNOWN_OBJECTS["ball"][0]


def test_an_s_shape_bends_both_ways():
    film = make_film(
        FilmOrder(angle_deg=24.0, radius_mm=7.0, second_angle_deg=20.0, film=1, mm_per_pixel=0.1), 3
    )
    assert film.phantom.truth.measures["canal_form"] == "S"


def test_a_curve_without_room_is_refused():
    with pytest.raises(
        AssessmentError, match="a lower molar has no room for an arc of 60 degrees with radius 14"
    ):
        make_film(FilmOrder(angle_deg=60.0, radius_mm=14.0, kind="lower_molar"), 1)


def test_another_seed_gives_another_film():
    """The same seed gives the same pixels: `film_again`, above. Neighbouring seeds share nothing that is drawn."""
    order = FilmOrder(angle_deg=20.0, kind="incisor", film=2, mm_per_pixel=0.1)
    one, other = (make_film(order, seed).made_from for seed in (2**80, 2**80 + 1))
    same = {name for name in one if one[name] == other[name]}
    assert not same & {
        "seed",
        "segments_mm",
        "tilt_deg",
        "bone_cell_mm",
        "root_width",
        "ligament_mm",
        "offset_mm",
    }


def test_faults_are_faults_that_students_can_name():
    from curvometer import IMAGE_FAULTS  # noqa: PLC0415

    assert set(FAULTS) <= set(IMAGE_FAULTS)
