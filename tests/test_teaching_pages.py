"""The how-to pages of the teaching part are done as they are written, from the first command to the last."""

from __future__ import annotations

import importlib
import json
import re
import sys
from pathlib import Path

import pytest
from simulated_class import Slip, simulated_class, submission_with

from curvometer import expect, load_key, mark_submission, open_hand_out
from curvometer.assessment.curriculum import CURVE_STEPS
from curvometer.assessment.exercise_file import check_exercise_text
from curvometer.assessment.faults import IMAGE_FAULTS
from curvometer.assessment.films import FILM_STEPS
from curvometer.assessment.marks import ErrorKind
from curvometer.assessment.remarks import STATED, STATED_SHARE
from curvometer.assessment.rubric import ITEM_UNITS, Item, Scoring, band
from curvometer.assessment.rubric_file import DEFAULT_RUBRIC, load_rubric
from curvometer.measurement.flags import SHORT_ARC_MM, SMALL_ANGLE_DEG

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


# --- how marks are made


@pytest.fixture(scope="module")
def marking_page():
    return (DOCS / "teaching" / "marking.md").read_text(encoding="utf-8")


def test_the_default_rubric_stands_on_the_page(docs_module, marking_page):
    assert "{made-table} rubric_table" in marking_page
    header, _, *rows, whole = docs_module("tables").rubric_table().splitlines()
    assert header == "| item | title | points | all up to | half up to |"
    assert [row.split("|")[1].strip(" `") for row in rows] == [row.item for row in DEFAULT_RUBRIC.items]
    assert "| `angle` | Schneider angle | 15 | 3 degrees | 6 degrees |" in rows
    assert "| together | 100 |" in whole


def test_every_item_has_its_unit_and_every_kind_its_row(marking_page):
    table = marking_page.split("## The default rubric")[0]
    told = re.findall(r"^\| `(\w+)` \|.*\| ([^|]+) \|$", table, flags=re.MULTILINE)
    assert told == [(item.value, ITEM_UNITS.get(item, "none")) for item in Item]
    kinds = marking_page.split("## Kinds of error")[1].split("```")[0]
    rows = re.findall(r"^\| ([^|]+) \|[^|]+\|$", kinds, flags=re.MULTILINE)
    assert sorted(rows[1:]) == sorted(ErrorKind), "below the head of the table"


def test_the_rubric_on_the_page_is_one(marking_page):
    (toml,) = re.findall(r"^```toml\n(.*?)^```", marking_page, flags=re.DOTALL | re.MULTILINE)
    rubric = load_rubric(toml)
    assert (rubric.scoring, rubric.unsafe_plan_percent) == (Scoring.LINEAR, 30)
    assert [row.points for row in rubric.items] == [10, 30, 20, 30, 10]
    usual = DEFAULT_RUBRIC.row(Item.CALIBRATION)
    assert (rubric.items[0].full, rubric.items[0].half) == (usual.full, usual.half), "left out: the default's"


def test_numbers_of_the_page_are_those_of_the_program(marking_page):
    text = " ".join(marking_page.split())
    wide = band(DEFAULT_RUBRIC.row(Item.MEAN_DISTANCE), spread=0.4)
    assert f"up to {wide.full:g} mm, half up to {wide.half:g} mm" in text
    assert f"at {DEFAULT_RUBRIC.unsafe_plan_percent:g} % of its points at most" in text
    assert f"below {SMALL_ANGLE_DEG:g} degrees" in text
    assert f"shorter than {SHORT_ARC_MM:g} mm" in text
    angle, length, radius, start = (slack for _, slack in STATED.values())
    assert radius == start
    assert f"more than {angle:g} degrees from the recomputed one, a length more than {length:g} mm" in text
    assert f"a curve start more than {radius:g} mm, or any of them more than {100 * STATED_SHARE:g} %" in text
    row = DEFAULT_RUBRIC.row(Item.ANGLE)
    limits = band(row)
    assert "3.0 degrees earn 15 points and 3.1 degrees 7.5" in text
    assert [row.points * limits.share(error, Scoring.STEPS) for error in (3.0, 3.1)] == [15.0, 7.5]
    lost = row.points * (limits.share(3.1, Scoring.LINEAR) - limits.share(3.2, Scoring.LINEAR))
    assert lost == pytest.approx(0.25), "a quarter of a point"


def test_chance_costs_as_little_as_the_page_says():
    """A few of the students of 0.05 mm; the page has 25, of 97.5 to 100 %."""
    known = simulated_class(0, 4, seed=21)
    expectations = expect(known.sheet, known.key)
    for seed in range(500, 504):
        student = submission_with(expectations, known.canals, "S1", Slip.CLEAN, seed=seed, steadiness_mm=0.05)
        assert mark_submission(expectations, student).percent >= 97.0
