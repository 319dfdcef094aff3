"""Keys and submissions: saved whole, read back the same, refused in one sentence when something is wrong."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re

import pytest
from exercise_folder import OWN_FILM, write_folder

from curvometer import Answer, load_key, load_submission, new_submission, open_hand_out, save_submission
from curvometer.assessment import AssessmentError, save_key, seal_of
from curvometer.assessment.files import load_key_or_submission
from curvometer.assessment.making import write_exercise
from curvometer.saving import SavingError

WHEN = dt.datetime(2030, 1, 15, 9, 0, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    return write_exercise(write_folder(tmp_path_factory.mktemp("e") / "curves", OWN_FILM))


@pytest.fixture(scope="module")
def sheet(built):
    return open_hand_out(built[0]).sheet


@pytest.fixture
def submission(built, sheet):
    """The first expert's own tracing, handed in by a student."""
    reference = load_key(built[1]).images[0].references[0]
    answer = Answer(
        image="image-01",
        sha256=sheet.images[0].sha256,
        accepted=True,
        calibration=reference.calibration,
        canal=reference.canal,
        seconds=61.5,
    )
    return new_submission(sheet, "s-01", [answer], created=WHEN)


def test_a_submission_comes_back_as_it_was_saved(tmp_path, submission):
    path = tmp_path / "s.json"
    save_submission(submission, path)
    assert load_submission(path) == submission
    assert load_key_or_submission(path) == submission
    assert submission.seal == seal_of(submission)
    assert (submission.edition, submission.created, submission.occasion) == (submission.edition, WHEN, 1)
    with pytest.raises(SavingError, match="exists already"):
        save_submission(submission, path)


def test_a_key_comes_back_as_it_was_saved(tmp_path, built):
    key = load_key(built[1])
    save_key(key, tmp_path / "k.json")
    assert load_key(tmp_path / "k.json") == key
    assert load_key_or_submission(tmp_path / "k.json") == key


def test_saving_seals_what_was_changed_on_purpose(tmp_path, submission):
    changed = submission.model_copy(update={"occasion": 2})
    assert changed.seal != seal_of(changed)
    save_submission(changed, tmp_path / "s.json")
    read = load_submission(tmp_path / "s.json")
    assert read.seal == seal_of(changed)
    assert not read.changed


def test_a_change_after_saving_is_read_and_breaks_the_seal(tmp_path, submission):
    """Reading does not judge: a course lists such a file instead of losing it."""
    path = tmp_path / "s.json"
    save_submission(submission, path)
    assert not load_submission(path).changed
    path.write_text(path.read_text().replace('"student": "s-01"', '"student": "s-02"'))
    read = load_submission(path)
    assert read.student == "s-02"
    assert read.seal != seal_of(read)
    assert read.changed


def resealed(text):
    """Another program's text under a seal by the rule of the docs: SHA-256 of the text without the seal's digits."""
    bare = re.sub(r'"seal": "[0-9a-f]*"', '"seal": ""', text)
    return bare.replace('"seal": ""', f'"seal": "{hashlib.sha256(bare.encode()).hexdigest()}"')


@pytest.mark.parametrize(
    ("change", "changed"),
    [
        (lambda text: text, False),
        (lambda text: text.replace("\n", "\r\n"), False),  # as some mail programs do
        (
            lambda text: resealed(text.replace("61.5", "6.15e1")),
            False,
        ),  # another version writes numbers otherwise
        (lambda text: resealed(text.replace(' "occasion": 1,\n', "")), False),  # or leaves out what is usual
        (lambda text: text.replace("61.5", "61.4"), True),
        (lambda text: text.replace("61.5", "6.15e1"), True),
        (lambda text: text + "\n", True),
        (lambda text: re.sub('"seal": "[0-9a-f]{64}"', f'"seal": "{64 * "0"}"', text), True),
        (lambda text: re.sub('"seal": ("[0-9a-f]{64}")', r'"seal": \1,\n "seal": \1', text), True),
        (lambda text: re.sub('"seal": "[0-9a-f]{64}"', '"seal": "x"', text), True),
    ],
)
def test_the_seal_protects_the_text_as_it_was_written(tmp_path, submission, change, changed):
    path = tmp_path / "s.json"
    save_submission(submission, path)
    text = change(path.read_text())
    path.write_bytes(text.encode())
    read = load_submission(path)
    assert read.changed is changed
    assert load_key_or_submission(path).changed is changed
    assert read.model_copy(update={"occasion": 2}).changed is changed, "a copy does not forget"
    assert "changed" not in read.model_dump()


def test_what_was_not_saved_or_has_no_seal_is_not_called_changed(tmp_path, submission):
    assert not submission.changed
    path = tmp_path / "s.json"
    path.write_text(submission.model_copy(update={"seal": ""}).model_dump_json())
    assert not load_submission(path).changed
    assert load_submission(path).seal == ""


def test_answers_are_put_in_the_sheets_order(sheet):
    second = sheet.images[0].model_copy(update={"id": "image-02", "file": "image-02.png"})
    longer = sheet.model_copy(update={"images": [*sheet.images, second]})
    answers = [Answer(image=name, sha256=sheet.images[0].sha256) for name in ("image-02", "image-01")]
    assert [a.image for a in new_submission(longer, "s", answers).answers] == ["image-01", "image-02"]


@pytest.mark.parametrize("student", ["", "Ann Other", "../s", "a/b", "x" * 65, "-s"])
def test_a_pseudonym_that_cannot_name_a_file_is_refused(sheet, student):
    with pytest.raises(AssessmentError, match=r"at student: .*give a pseudonym of letters"):
        new_submission(sheet, student, [])


def test_an_answer_to_a_strange_image_is_refused(sheet):
    with pytest.raises(AssessmentError, match="has no image 'image-09'"):
        new_submission(sheet, "s", [Answer(image="image-09", sha256=sheet.images[0].sha256)])


def edited(tmp_path, submission, **changes):
    path = tmp_path / "s.json"
    plain = json.loads(submission.model_dump_json()) | changes
    path.write_text(json.dumps({name: value for name, value in plain.items() if value is not ...}))
    return path


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"format": "curvometer-key"}, "is the key of an exercise, no submission"),
        ({"format": "other"}, "is no submission"),
        ({"format": ["curvometer-submission"]}, "is no submission"),
        ({"format": ...}, "is no submission"),
        ({"format_version": 2}, "has version 2 and this program reads up to 1: update curvometer"),
        ({"format_version": True}, "has the unknown version True; known is 1"),
        ({"student": 7}, "at student: input should be a valid string; use an undamaged copy"),
        ({"student": ...}, "at student: field required"),
        ({"edition": "abc"}, "at edition"),
        ({"occasion": 0}, "at occasion"),
        ({"created": "2030-01-15"}, "at created"),
        ({"mark": 100}, "holds no score"),
        ({"colour": "red"}, "at colour: extra inputs are not permitted"),
        ({"answers": {}}, "at answers"),
    ],
)  # fmt: skip
def test_a_wrong_submission_is_told(tmp_path, submission, changes, words):
    with pytest.raises(AssessmentError, match=words) as caught:
        load_submission(edited(tmp_path, submission, **changes))
    assert "\n" not in str(caught.value)


def test_numbers_that_are_none_are_refused(tmp_path, submission):
    path = tmp_path / "s.json"
    path.write_text(submission.model_dump_json().replace("61.5", "NaN"))
    with pytest.raises(AssessmentError, match=r"at answers\.0\.seconds"):
        load_submission(path)


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b"7", b"\x00\xff", b"[" * 90_000, b"PK\x03\x04"])
def test_what_is_no_submission_is_told(tmp_path, content):
    path = tmp_path / "s.json"
    path.write_bytes(content)
    for load in (load_submission, load_key, load_key_or_submission):
        with pytest.raises(AssessmentError) as caught:
            load(path)
        assert str(path) in str(caught.value)
        assert "\n" not in str(caught.value)


def test_a_missing_or_huge_file_is_told(tmp_path):
    with pytest.raises(AssessmentError, match=r"the submission .* cannot be read \(no such file"):
        load_submission(tmp_path / "none.json")
    with pytest.raises(AssessmentError, match=r"the key .* cannot be read \(is a directory\)"):
        load_key(tmp_path)
    with (tmp_path / "big.json").open("wb") as stream:
        stream.truncate(64 * 2**20 + 1)  # a hole: takes no room on the disk
    with pytest.raises(AssessmentError, match=r"larger than any submission \(64 MiB\)"):
        load_submission(tmp_path / "big.json")


def test_a_key_with_an_impossible_image_is_told(tmp_path, built):
    plain = json.loads(built[1].read_text())
    plain["images"][0]["references"] = []
    (tmp_path / "k.json").write_text(json.dumps(plain))
    with pytest.raises(
        AssessmentError, match=r"at images\.0: image 'image-01' is acceptable and has no reference"
    ):
        load_key(tmp_path / "k.json")
