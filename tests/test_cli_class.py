"""``curvometer class`` as a teacher meets it: a folder in, tables and pages out, bad input in one line."""

from __future__ import annotations

import csv
import json
import shutil
import sys

import pytest
from simulated_class import Slip, simulated_class, write_class

from curvometer.cli import main

SLIPS = (Slip.CLEAN, Slip.SCALE, Slip.NOT_DONE)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    return write_class(simulated_class(3, 1, slips=SLIPS, seed=31), tmp_path_factory.mktemp("class"))


@pytest.fixture
def words(written, tmp_path):
    """The command's words, with a copy of the folder that a test may change."""
    folder = tmp_path / "submissions"
    shutil.copytree(written.folder, folder)
    return [
        "class", str(folder), "--key", str(written.key), "--exercise", str(written.hand_out),
        "--out", str(tmp_path / "report"),
    ]  # fmt: skip


def refused(capsys, words):
    assert main(words) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    return told.err


def test_a_first_marked_class(words, tmp_path, capsys):
    (tmp_path / "roster.csv").write_text("S000\nS001\nS002\nS003\n", encoding="utf-8")
    (tmp_path / "submissions" / "notes.txt").write_text("hello", encoding="utf-8")
    assert main([*words, "--roster", str(tmp_path / "roster.csv")]) == 0
    told = capsys.readouterr().out
    assert "4 files, 3 marked, 4 students" in told
    assert "cannot be read: notes.txt" in told
    assert "nothing handed in: S003" in told
    report = tmp_path / "report"
    names = {path.relative_to(report).as_posix() for path in report.rglob("*") if path.is_file()}
    assert names == {
        "answers.csv", "class.html", "class.pdf", "class.xlsx", "items.csv", "oddities.csv", "sheets.pdf", "students.csv",
        "students/sheet_S000.html", "students/sheet_S001.html", "students/sheet_S002.html",
    }  # fmt: skip
    rows = list(csv.DictReader((report / "students.csv").read_text(encoding="utf-8-sig").splitlines()))
    assert [row["percent"] for row in rows] == ["100.0", "90.0", "0.0", ""]


def test_json_tells_the_same(words, capsys):
    assert main([*words, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [each["percent"] for each in told["students"]] == [100.0, pytest.approx(90.0), 0.0]
    assert told["students"][1]["errors"] == {"scale off": 1}
    assert told["oddities"] == []
    assert len(told["report"]) == 8 + 3


def test_a_report_is_not_replaced_unasked(words, tmp_path, capsys):
    assert main(words) == 0
    before = (tmp_path / "report" / "class.html").read_bytes()
    capsys.readouterr()
    assert "exists already" in refused(capsys, words)
    (tmp_path / "report" / "students" / "sheet_old.html").write_text("", encoding="utf-8")
    assert main([*words, "--overwrite"]) == 0
    assert "1 sheets of an earlier report" in capsys.readouterr().out
    assert (tmp_path / "report" / "class.html").read_bytes() == before


def test_a_report_within_the_folder_is_no_submission(words, tmp_path, capsys):
    words[-1] = str(tmp_path / "submissions" / "report")
    assert main(words) == 0
    capsys.readouterr()
    assert main([*words, "--overwrite"]) == 0
    assert "3 files, 3 marked" in capsys.readouterr().out


def test_a_key_without_its_hand_out_and_the_reverse(words, tmp_path, capsys):
    other = write_class(simulated_class(0, 1, name="other"), tmp_path)
    assert "no --exercise belongs to the key" in refused(capsys, [*words, "--key", str(other.key)])
    assert "no --key belongs to" in refused(capsys, [*words, "--exercise", str(other.hand_out)])


def test_files_that_are_something_else(words, written, tmp_path, capsys):
    swapped = [str(written.hand_out) if word == str(written.key) else word for word in words]
    assert "key" in refused(capsys, swapped)
    words[1] = str(tmp_path / "nowhere")
    assert "does not exist" in refused(capsys, words)
    assert not (tmp_path / "report").exists()


def test_a_folder_without_a_single_submission(words, tmp_path, capsys):
    for path in (tmp_path / "submissions").iterdir():
        path.write_text("{}", encoding="utf-8")
    assert "none of the 3 files" in refused(capsys, words)


def test_a_place_that_cannot_be_written(words, tmp_path, capsys):
    (tmp_path / "file").write_text("", encoding="utf-8")
    words[-1] = str(tmp_path / "file")
    assert "cannot be made" in refused(capsys, words)


def test_a_missing_package_is_told_before_the_work(words, tmp_path, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "typst", None)
    assert "needs the package typst" in refused(capsys, words)
    assert not (tmp_path / "report").exists()
