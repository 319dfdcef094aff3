"""The how-to pages of the teaching part are done as they are written, from the first command to the last."""

from __future__ import annotations

import importlib
import json
import re
import sys
from pathlib import Path

import pytest

from curvometer import load_key, open_hand_out
from curvometer.assessment.curriculum import CURVE_STEPS
from curvometer.assessment.exercise_file import check_exercise_text
from curvometer.assessment.faults import IMAGE_FAULTS
from curvometer.assessment.films import FILM_STEPS

DOCS = Path(__file__).parents[1] / "docs"
pytestmark = pytest.mark.usefixtures("coarse_films")


@pytest.fixture
def docs_module(monkeypatch):
    """Modules of the folder docs, which is no package."""
    monkeypatch.syspath_prepend(str(DOCS))
    yield importlib.import_module
    for name in ("examples", "tables"):
        sys.modules.pop(name, None)


def done(examples, page, folder):
    """Do every command and every line of Python of a page in order; give what each printed."""
    text = (DOCS / "teaching" / page).read_text(encoding="utf-8")
    printed, names = [], {}
    for kind, content in re.findall(
        r"^```\{run-(command|python)\}\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE
    ):
        lines = "\n".join(line for line in content.splitlines() if not line.startswith(":")).strip()
        run = (
            examples.run_command(lines, folder)
            if kind == "command"
            else examples.run_python(lines, folder, names)
        )
        printed.append(run)
    return printed


def test_a_first_marked_class_as_written(docs_module):
    """Three students who do not exist: the truth itself, eight pixels aside, a scale that is 8 % off."""
    examples = docs_module("examples")
    with examples.example_folder() as folder:
        *_, marked, report = done(examples, "first-marked-class.md", folder)
        assert open_hand_out(folder / "curves-1" / "curves-1.handout.zip").key is None
        assert len(list((folder / "handed_in").iterdir())) == 3
        assert len(list((folder / "feedback").glob("*.png"))) == 3
        assert list((folder / "report").iterdir())
        told = {}
        for student in ("s-01", "s-02", "s-03"):
            words = "--key curves-1/curves-1.key.json --exercise curves-1/curves-1.handout.zip"
            printed = examples.run_command(f"curvometer mark handed_in/{student}.json {words} --json", folder)
            told[student] = json.loads(printed)["percent"]
    assert "s-02" in marked
    assert report
    # class and plan are 15 of 100 points; a gentle curve may have no radius to mark, then they are 15 of 90
    assert 83.0 < told["s-01"] <= 85.0, "all but class and plan, as the page says"
    assert 9.0 < told["s-01"] - told["s-03"] < 12.0, "the calibration's 10 points, and nothing twice"
    assert told["s-02"] < told["s-01"] - 5.0


def test_own_films_as_written(docs_module):
    examples = docs_module("examples")
    with examples.example_folder() as folder:
        done(examples, "exercise_file.md", folder)
        key = load_key(folder / "own-films" / "own-films.key.json")
        assert open_hand_out(folder / "own-films" / "own-films.handout.zip").key == key
    assert [reference.expert for reference in key.images[0].references] == ["ab"]


def test_the_file_on_the_page_is_one():
    text = (DOCS / "teaching" / "exercise_file.md").read_text(encoding="utf-8")
    (toml,) = re.findall(r"^```toml\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE)
    exercise = check_exercise_text(toml, Path("exercise.toml"))
    assert len(exercise.images) == 3
    assert exercise.images[0].scenario.working_length_mm == 20.5


def test_tables_of_the_pages_tell_every_step_and_fault(docs_module):
    tables = docs_module("tables")
    assert all(
        f"| `{code}` | {words} |" in tables.image_fault_table() for code, words in IMAGE_FAULTS.items()
    )
    assert len(tables.curve_step_table().splitlines()) == len(CURVE_STEPS) + 2
    assert len(tables.film_step_table().splitlines()) == len(FILM_STEPS) + 2
    assert "| 8 | 20 to 30 | 6 to 8 | 20 to 30 |" in tables.curve_step_table()
