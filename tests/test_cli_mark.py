"""``curvometer mark`` as a teacher meets it: from a built exercise and a student's file to points, reasons and pictures."""

from __future__ import annotations

import json

import pytest
from exercise_folder import BAD_FILM, OWN_FILM, write_folder

from curvometer import (
    Answer,
    load_key,
    new_submission,
    open_hand_out,
    save_submission,
)
from curvometer.assessment.submission import ProposedPlan
from curvometer.cli import main

PLANNED = OWN_FILM.replace("known_length", "scenario = { working_length_mm = 21 }\nknown_length")
pytestmark = pytest.mark.usefixtures("coarse_films")


@pytest.fixture(scope="module")
def built(tmp_path_factory, coarse_films):  # noqa: ARG001 - only to be in force
    folder = write_folder(tmp_path_factory.mktemp("mark") / "curves-1", PLANNED, BAD_FILM)
    assert main(["exercise", "build", str(folder)]) == 0
    return {
        "hand_out": next(folder.rglob("*.handout.zip")),
        "key": next(folder.rglob("*.key.json")),
    }


@pytest.fixture(scope="module")
def answers(built):
    """The first expert's own work on the film, and a right rejection."""
    sheet, key = open_hand_out(built["hand_out"]).sheet, load_key(built["key"])
    found = []
    for image in sheet.images:
        right = key.image(image.id)
        common = {"image": image.id, "sha256": image.sha256, "accepted": right.acceptable}
        if not right.acceptable:
            found.append(Answer(**common, reasons=right.reasons))
            continue
        expert = right.references[0]
        found.append(Answer(**common, calibration=expert.calibration, canal=expert.canal))
    return found


@pytest.fixture
def submission(built, answers, tmp_path):
    path = tmp_path / "s-07.json"
    save_submission(new_submission(open_hand_out(built["hand_out"]).sheet, "s-07", answers), path)
    return path


@pytest.fixture
def words(built):
    return lambda path, *more: [
        *("mark", str(path), "--key", str(built["key"]), "--exercise", str(built["hand_out"])),
        *map(str, more),
    ]


def refused(capsys, words):
    assert main(words) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith("curvometer: ")
    assert told.err.count("\n") == 1
    return told.err


def test_the_text(capsys, submission, words):
    capsys.readouterr()
    assert main(words(submission)) == 0
    told = capsys.readouterr().out
    assert told.startswith("s-07, exercise ")
    assert "10 / 10  Image accepted or rejected" in told
    assert "20 / 20  Centreline, mean distance" in told
    assert "0 / 10  Class and the factors that decide it" in told
    assert "You gave no class." in told
    assert "Every number is worked out anew from the tracing." in told
    assert "Remark:" not in told


def test_the_json(capsys, submission, words):
    capsys.readouterr()
    assert main(words(submission, "--json")) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["student"] == "s-07"
    assert told["remarks"] == []
    assert told["percent"] == pytest.approx(
        sum(100.0 * image["points"] / image["out_of"] for image in told["images"]) / len(told["images"])
    )
    own, bad = sorted(told["images"], key=lambda image: not image["numbers"])  # the hand-out shuffles them
    items = {item["code"]: item for item in own["items"]}
    assert items["angle"]["points"] == items["angle"]["out_of"] == 15.0
    assert own["numbers"]["angle_error_deg"] == pytest.approx(0.0, abs=2.0)
    assert own["errors"] == ["not done"]  # no class was given
    assert items["plan"]["reason"] == "You proposed no plan and no referral."
    assert bad["points"] == bad["out_of"]
    assert own["picture"] is None


def test_pictures(capsys, submission, words, tmp_path):
    folder = tmp_path / "pictures"
    assert main(words(submission, "--pictures", folder)) == 0
    pictures = sorted(folder.iterdir())
    assert len(pictures) == 2
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in pictures)
    assert str(pictures[0]) in capsys.readouterr().out
    assert "--overwrite" in refused(capsys, words(submission, "--pictures", folder))
    assert main(words(submission, "--pictures", folder, "--overwrite")) == 0


def test_a_rubric_of_ones_own(capsys, submission, words, tmp_path):
    rubric = tmp_path / "rubric.toml"
    rubric.write_text('title = "Only the angle"\n[[items]]\nitem = "angle"\npoints = 3\n')
    capsys.readouterr()
    assert main(words(submission, "--rubric", rubric)) == 0
    told = capsys.readouterr().out
    assert "Rubric: Only the angle (the teacher)." in told
    assert "Image accepted" not in told
    rubric.write_text('title = "Only the angle"\n[[items]]\nitem = "angel"\n')
    assert "rubric.toml, line 3: the item 'angel' is unknown" in refused(
        capsys, words(submission, "--rubric", rubric)
    )


@pytest.mark.parametrize("key", ["score", "points", "Marks"])
def test_a_score_in_the_file_is_refused(capsys, submission, words, key):
    document = json.loads(submission.read_text())
    for holder in (document, document["answers"][0]):
        changed = json.loads(json.dumps(document))
        (changed if holder is document else changed["answers"][0])[key] = 100
        submission.write_text(json.dumps(changed))
        told = refused(capsys, words(submission))
        assert f"holds '{key}', but a submission holds no score: marks are computed here" in told


def test_a_tampered_file_is_told(capsys, submission, words):
    document = json.loads(submission.read_text())
    (canal,) = [answer["canal"] for answer in document["answers"] if answer["canal"]]
    canal["measurement"]["schneider_angle"] |= {"value": 44.0, "upper": 45.0}
    submission.write_text(json.dumps(document))
    capsys.readouterr()
    assert main(words(submission)) == 0
    told = capsys.readouterr().out
    assert "Remark: The file was changed after it was saved" in told
    assert "Schneider angle 44.00 stated" in told


def test_an_unsafe_plan_in_words(capsys, built, answers, tmp_path, words):
    steps = [{"kind": "rotary", "size": 25, "taper": 0.04, "to_mm": 20.0, "speed_rpm": 300.0, "seconds": 8.0}]
    plan = ProposedPlan.model_validate({"advice": "treat", "steps": steps})
    changed = [answer.model_copy(update={"plan": plan}) for answer in answers]
    path = tmp_path / "s-08.json"
    save_submission(new_submission(open_hand_out(built["hand_out"]).sheet, "s-08", changed), path)
    capsys.readouterr()
    assert main(words(path)) == 0
    told = capsys.readouterr().out
    assert "At most 49 % of this image's points, because" in told
    assert "plan breaks a safety rule" in told


def test_files_that_do_not_belong_together(capsys, built, submission, words, tmp_path):
    document = json.loads(built["key"].read_text())
    document["edition"] = "0" * 16
    other = tmp_path / "other.key.json"
    other.write_text(json.dumps(document))
    told = refused(capsys, [*words(submission), "--key", str(other)])
    assert "give the key that was made with this hand-out" in told
    assert "is the key" in refused(capsys, words(built["key"]))
    assert "cannot be read" in refused(capsys, words(tmp_path / "absent.json"))
    file = tmp_path / "file"
    file.write_text("")
    assert "is a file: give a folder" in refused(capsys, words(submission, "--pictures", file))
