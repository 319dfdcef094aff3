"""``curvometer exercise`` as a teacher meets it."""

from __future__ import annotations

import json
import re
import shutil

import pytest
from exercise_folder import BAD_FILM, EASY_FILM, OWN_FILM, write_folder, write_picture, write_record

from curvometer import Answer, load_key, new_submission, open_hand_out, save_submission
from curvometer.assessment.curriculum import LEVELS
from curvometer.assessment.exercise_file import load_exercise_file
from curvometer.assessment.faults import IMAGE_FAULTS
from curvometer.assessment.films import KNOWN_OBJECTS
from curvometer.cli import main, teaching_arguments
from curvometer.record import CanalName

pytestmark = pytest.mark.usefixtures("coarse_films")


@pytest.fixture(autouse=True)
def _wide_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "110")


def refused(capsys, *words):
    assert main([str(word) for word in words]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith("curvometer: ")
    assert told.err.count("\n") == 1
    return told.err


@pytest.fixture(scope="module")
def built(tmp_path_factory, coarse_films):  # noqa: ARG001 - only to be in force
    folder = write_folder(tmp_path_factory.mktemp("cli") / "curves-1", OWN_FILM, BAD_FILM)
    assert main(["exercise", "build", str(folder)]) == 0
    return folder


def test_new_writes_a_file_that_can_be_built(tmp_path, capsys):
    folder = tmp_path / "curves-2"
    assert (
        main(
            ["exercise", "new", str(folder), "--phantoms", "5", "--level", "middle", "--title", 'Our "best"']
        )
        == 0
    )
    assert str(folder / "exercise.toml") in capsys.readouterr().out
    exercise = load_exercise_file(folder)
    assert (exercise.name, exercise.title, exercise.purpose) == ("curves-2", 'Our "best"', "marked")
    assert len(exercise.images) == 5
    assert all(image.phantom.known_object == "wire" for image in exercise.images)


def test_new_keeps_what_is_chosen(tmp_path):
    words = [
        "--phantoms",
        "2",
        "--angle",
        "31",
        "--radius",
        "6.5",
        "--kind",
        "canine",
        "--known-object",
        "file",
    ]
    assert main(["exercise", "new", str(tmp_path / "e"), *words, "--practice", "--criteria", "rcs-2001"]) == 0
    exercise = load_exercise_file(tmp_path / "e")
    assert (exercise.purpose, exercise.criteria) == ("practice", "rcs-2001")
    for image in exercise.images:
        film = image.phantom
        assert (film.angle_deg, film.radius_mm, film.kind, film.known_object) == (31.0, 6.5, "canine", "file")


def test_new_refuses_what_cannot_be(tmp_path, capsys):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "a").touch()
    assert "is not empty" in refused(capsys, "exercise", "new", tmp_path / "full")
    assert "letters, digits" in refused(capsys, "exercise", "new", tmp_path / "my curves", "--phantoms", 1)
    assert "no criteria 'x'" in refused(capsys, "exercise", "new", tmp_path / "e", "--criteria", "x")
    assert "simulated" in refused(capsys, "exercise", "new", tmp_path / "e", "--phantoms", 1, "--angle", 120)
    assert "1 to 1000" in refused(capsys, "exercise", "new", tmp_path / "e", "--phantoms", 0)
    assert not (tmp_path / "e").exists()
    assert not (tmp_path / "my curves").exists()


def test_own_images_are_added_one_by_one(tmp_path, capsys):
    """Begin without images, add two, build: what was given is in the key."""
    folder, film, other = (
        tmp_path / "own",
        write_picture(tmp_path / "36.png"),
        write_picture(tmp_path / "46.png", seed=9),
    )
    records = [write_record(tmp_path / f"r{i}.json", film, shift_px=i) for i in range(2)]
    assert main(["exercise", "new", str(folder)]) == 0
    assert "there are no images" in capsys.readouterr().err + refused(capsys, "exercise", "build", folder)
    references = [word for i, record in enumerate(records) for word in ("--reference", f"expert{i}={record}")]
    words = ["exercise", "add", str(folder), str(film), "--tooth", "36", "--canal", "MB", *references]
    assert main([*words, "--known-length", "12", "--object", "the wire"]) == 0
    bad = ["exercise", "add", str(folder), str(other), "--tooth", "46", "--canal", "D"]
    assert main([*bad, "--reject", "apex-cut-off", "flat"]) == 0
    assert main(["exercise", "build", str(folder)]) == 0
    key = load_key(folder / "own.key.json")
    sheet = open_hand_out(folder / "own.handout.zip").sheet
    (good,) = [image for image in key.images if image.acceptable]
    (spoilt,) = [image for image in key.images if not image.acceptable]
    assert [reference.expert for reference in good.references] == ["expert0", "expert1"]
    assert sheet.image(good.id).known_length.what == "the wire"
    assert (spoilt.reasons, spoilt.references) == (["apex-cut-off", "flat"], [])


def test_adding_refuses_before_anything_is_written(tmp_path, capsys):
    folder, film = tmp_path / "own", write_picture(tmp_path / "36.png")
    other = write_record(tmp_path / "other.json", write_picture(tmp_path / "b.png", seed=4))
    main(["exercise", "new", str(folder)])
    capsys.readouterr()
    add = ["exercise", "add", folder, film, "--tooth", 36, "--canal", "MB"]
    before = (folder / "exercise.toml").read_text()
    assert "needs references" in refused(capsys, *add)
    assert "traced on another image" in refused(capsys, *add, "--reference", f"ab={other}")
    assert "is not EXPERT=RECORD" in refused(capsys, *add, "--reference", "ab")
    assert "twice" in refused(capsys, *add, "--reference", "ab=x", "--reference", "ab=y")
    assert "--object needs --known-length" in refused(capsys, *add, "--object", "wire")
    assert "no reason to reject" in refused(capsys, *add, "--reject", "ugly")
    assert "does not exist" in refused(
        capsys, "exercise", "add", folder, "no.png", "--tooth", 36, "--canal", "MB"
    )
    assert "is no exercise" in refused(
        capsys, "exercise", "add", tmp_path, film, "--tooth", 36, "--canal", "MB"
    )
    assert (folder / "exercise.toml").read_text() == before
    assert [path.name for path in folder.iterdir()] == ["exercise.toml"]


def test_the_same_image_cannot_be_added_twice(tmp_path, capsys):
    folder, film = tmp_path / "own", write_picture(tmp_path / "36.png")
    main(["exercise", "new", str(folder)])
    add = ["exercise", "add", str(folder), str(film), "--tooth", "36", "--canal", "MB", "--reject", "flat"]
    assert main(add) == 0
    capsys.readouterr()
    assert "exists already" in refused(capsys, *add)
    assert len(load_exercise_file(folder).images) == 1


def test_build_tells_which_file_is_for_whom(built, capsys, tmp_path):
    folder = tmp_path / "again"
    shutil.copytree(built, folder)
    assert "exists already" in refused(capsys, "exercise", "build", folder)
    assert main(["exercise", "build", str(folder), "--overwrite"]) == 0
    told = capsys.readouterr().out.splitlines()
    assert "handout.zip" in told[0]
    assert "for the students" in told[0]
    assert "key.json" in told[1]
    assert "keep it" in told[1]


def test_build_names_the_line_of_a_mistake(tmp_path, capsys):
    folder = write_folder(tmp_path / "e", EASY_FILM.replace("angle_deg = 33", "angle_deg = 333"))
    assert "exercise.toml, line 4: angle_deg is 333" in refused(capsys, "exercise", "build", folder)


def test_show_tells_the_students_file_without_answers(built, capsys):
    assert main(["exercise", "show", str(built / "curves-1.handout.zip")]) == 0
    told = capsys.readouterr().out
    assert "not in this file" in told
    assert "file, stop to tip: 12 mm" in told
    assert "Schneider" not in told
    assert "rejected" not in told


def test_show_tells_the_answers_of_a_key(built, capsys):
    assert main(["exercise", "show", str(built / "curves-1.key.json")]) == 0
    told = capsys.readouterr().out
    assert "keep it from the students" in told
    angle = float(re.search(r"Schneider angle (\d+\.\d) deg", told).group(1))
    assert angle == pytest.approx(20.0, abs=0.5), "half of an arc of 40 degrees"
    assert IMAGE_FAULTS["apex-cut-off"] in told


def test_show_tells_a_submission_and_whether_it_was_changed(built, capsys, tmp_path):
    sheet = open_hand_out(built / "curves-1.handout.zip").sheet
    answer = Answer(image="image-02", sha256=sheet.images[1].sha256, accepted=False, reasons=["flat"])
    path = tmp_path / "s.json"
    save_submission(new_submission(sheet, "s-07", [answer]), path)
    assert main(["exercise", "show", str(path)]) == 0
    told = capsys.readouterr().out
    assert "s-07" in told
    assert "unchanged" in told
    assert "image-02  judged" in told
    path.write_text(path.read_text().replace("s-07", "s-08"))
    assert main(["exercise", "show", str(path)]) == 0
    assert "its seal does not fit" in capsys.readouterr().out


def test_show_as_json_has_the_same(built, capsys):
    assert main(["exercise", "show", str(built / "curves-1.handout.zip"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["what"] == "hand-out"
    assert [image["id"] for image in told["images"]] == ["image-01", "image-02"]


def test_show_refuses_other_files(tmp_path, capsys):
    (tmp_path / "a.txt").write_text("hello")
    assert "give a hand-out, a key or a submission" in refused(capsys, "exercise", "show", tmp_path / "a.txt")
    assert "check the name" in refused(capsys, "exercise", "show", tmp_path / "none")
    assert "directory" in refused(capsys, "exercise", "show", tmp_path)


def test_words_of_the_command_line_are_those_of_the_core():
    """The help text must not load them, so they stand there once more."""
    assert set(teaching_arguments.CANALS) == {name.value for name in CanalName}
    assert set(teaching_arguments.KNOWN_OBJECTS) == {*KNOWN_OBJECTS, "none"}
    assert {*teaching_arguments.DIFFICULTIES, "mixed"} == set(LEVELS)
