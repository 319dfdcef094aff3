"""What commands print with ``--json`` is valid by the schema that ``curvometer schema COMMAND`` prints, and nothing else is."""

from __future__ import annotations

import copy
import json

import jsonschema
import pytest

from curvometer.cli import main
from curvometer.cli.arguments import parse
from curvometer.measurement import MeasurementFlag, Severity

ARC = ("--angle", "45", "--radius", "5", "--curve-start-from-foramen", "4.927", "--working-length", "21")
STOP = MeasurementFlag(
    code="trace_left_ridge", severity=Severity.DO_NOT_TRUST, text="Left.", concerns=("canal_length",)
)


def printed(capsys, *words, codes=(0,)):
    assert main(list(words)) in codes
    out, err = capsys.readouterr()
    assert err == ""
    return json.loads(out)


def validator(capsys, name):
    schema = printed(capsys, "schema", name)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["title"] == f"curvometer {name}"
    return jsonschema.Draft202012Validator(schema)


def objects(told):
    """Every object of a JSON value, itself first."""
    if isinstance(told, dict):
        yield told
        told = list(told.values())
    if isinstance(told, list):
        for each in told:
            yield from objects(each)


GRADES = {
    "angle": ["--angle", "25"],
    "central angle": ["--central-angle", "40", "--radius", "5", "--curve-start-from-foramen", "4"],
    "operator": ["--angle", "30", "--radius", "4", "--operator", "general", "--tooth", "36", "--s-shape"],
    "radius only": ["--radius", "5"],
}
PLANS = {
    "severe": [*ARC, "--reached", "8", "--tooth", "36", "--canal", "MB", "--operator", "student"],
    "refused": [*ARC, "--reached", "8", "--apex-opening", "2", "--explored", "8:17.5"],
    "straight": ["--angle", "0", "--working-length", "21", "--reached", "10", "--loose"],
    "intervals": [*ARC, "--reached", "10", "--angle-interval", "40,50", "--radius-interval", "4,6"],
    "nothing reached": [*ARC],
    "S": [*ARC, "--reached", "8", "--s-shape"],
}
RATINGS = {
    "values": "subject,rater,occasion,value\na,A,1,31.5\na,B,1,29\nb,A,1,20\nb,B,1,18.5\nc,A,1,12\nc,B,1,12.5\n"
    "a,A,2,30\nb,A,2,21\nc,A,2,12\n",
    "grades": "subject,rater,occasion,value\n"
    + "".join(
        f"{s},{r},1,{'high' if (i + j) % 3 else 'low'}\n"
        for i, s in enumerate("abcd")
        for j, r in enumerate("AB")
    ),
    "three raters": "subject,rater,occasion,value\n"
    + "".join(f"{s},{r},1,{10 * i + j}\n" for i, s in enumerate("abcd") for j, r in enumerate("ABC")),
}


@pytest.mark.parametrize("words", GRADES.values(), ids=GRADES)
def test_grades(capsys, words):
    validator(capsys, "grade").validate(printed(capsys, "grade", *words, "--json"))


@pytest.mark.parametrize("words", PLANS.values(), ids=PLANS)
def test_plans(capsys, words):
    validator(capsys, "plan").validate(printed(capsys, "plan", *words, "--json"))


def test_records_of_two_canals(capsys, save):
    record = save(("MB", {}), ("D", {"angles_deg": (30.0, -25.0)}))
    validator(capsys, "grade").validate(printed(capsys, "grade", record, "--json"))


@pytest.mark.parametrize("options", [{}, {"mm_per_pixel": None}])
def test_records(capsys, save, options):
    record = save(("MB", options), flags=(STOP,))
    validator(capsys, "grade").validate(printed(capsys, "grade", record, "--json", codes=(3,)))
    plan = printed(capsys, "plan", record, "--reached", "8", "--json", codes=(3,))
    validator(capsys, "plan").validate(plan)


def test_next(capsys, tmp_path):
    """A log from its beginning over a new plan to its end."""
    form, log = validator(capsys, "next"), str(tmp_path / "log.json")
    (tmp_path / "plan.json").write_text(json.dumps(printed(capsys, "plan", *ARC, "--reached", "8", "--json")))
    begun = ["next", "--log", log, "--json"]
    told = printed(capsys, *begun, "--plan", str(tmp_path / "plan.json"))
    kinds = set()
    for turn in range(40):
        form.validate(told)
        kinds |= {entry["kind"] for entry in told["log"]["entries"]}
        if told["next"]["ends"]:
            break
        fails = turn % 2 and "binding" in told["next"]["outcomes"]
        said = "binding" if fails else "reached" if told["next"]["outcomes"] else "re-plan"
        told = printed(capsys, *begun, "--did", said)
    assert told["next"]["ends"]
    assert kinds == {"step of the plan", "hand file again", "re-plan"}


@pytest.mark.parametrize("table", RATINGS.values(), ids=RATINGS)
def test_agree(capsys, tmp_path, table):
    path = tmp_path / "ratings.csv"
    path.write_text(table)
    validator(capsys, "agree").validate(printed(capsys, "agree", str(path), "--json"))


@pytest.mark.parametrize(
    ("name", "words"), [("grade", GRADES["operator"]), ("plan", PLANS["severe"])], ids=["grade", "plan"]
)
def test_a_missing_or_unknown_key_is_invalid_at_every_place(capsys, name, words):
    """Free tables (chances of classes, depths by size) and the one optional key excepted."""
    form, told = validator(capsys, name), printed(capsys, name, *words, "--json")
    form.validate(told)
    number = sum(1 for _ in objects(told))
    assert number > 10
    for place in range(min(number, 60)):
        broken = copy.deepcopy(told)
        found = list(objects(broken))[place]
        if set(found) <= {"low", "moderate", "high", "8"} or any(
            name.isdigit() or " " in name for name in found
        ):
            continue
        if set(found) & {"severe", "mild", "straight"}:
            continue
        found["patient"] = "x"
        assert not form.is_valid(broken)
        del found["patient"]
        first = next(name for name in found if name != "schneider_angle_deg")
        del found[first]
        assert not form.is_valid(broken), first


def test_every_command_with_json_has_a_schema():
    """Commands that print JSON about a case; `recommenders` lists what is installed."""
    for name in ("measure", "record", "grade", "plan", "next", "agree"):
        assert parse(["schema", name]).document == name
