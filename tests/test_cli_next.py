"""``curvometer next`` as a person at the chair meets it: begin a log, say what happened, read what follows."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from curvometer.cli import main
from curvometer.instruments import default_inventory
from curvometer.measurement import MeasurementFlag, Severity
from curvometer.record import canal_entry, new_record, save_record
from curvometer.sequence import (
    Exploration,
    PlanAdvice,
    PlanAnswer,
    SequencePlan,
    SequenceStep,
    answer_to_plain,
    plan_to_plain,
    request_to_plain,
    what_if_request,
)

SHELF = default_inventory()


def piece(kind, size):
    return next(item for item in SHELF.of(kind=kind, size=size, taper=0.02) if item.length_mm == 25)


def hand(size):
    return SequenceStep(instrument=piece("hand", size), to_mm=20.0, role="confirm", motion="watch-winding")


def planned():
    """Hand 8, rotary 10, hand 10, hand 15, all to a length of 20 mm."""
    turned = SequenceStep(
        instrument=piece("rotary", 10), to_mm=20.0, role="shape", motion="pecks", speed_rpm=500.0, seconds=4.0
    )
    steps = (hand(8), turned, hand(10), hand(15))
    return SequencePlan(
        recommender="house", rule="T1", steps=steps, ends_with="15 at length", reasons=("Test.",)
    )


def by_hand():
    return SequencePlan(recommender="hand", rule="T2", steps=(hand(8), hand(10), hand(15)), ends_with="")


def answer_of(*plans, advice=PlanAdvice.PLAN):
    return PlanAnswer(plans=plans, refused=(), advice=advice, reasons=("Because.",))


@pytest.fixture(autouse=True)
def _wide_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")


@pytest.fixture(autouse=True)
def _asked(monkeypatch):
    """Recommenders of this test instead of what is installed."""
    monkeypatch.setattr("curvometer.cli.next.ask_recommenders", lambda *_, **__: answer_of(by_hand()))


@pytest.fixture
def plan_file(tmp_path):
    """What ``plan --json`` prints, with two plans."""
    request = what_if_request(
        angle_deg=40.0,
        radius_mm=6.0,
        curve_start_from_foramen_mm=6.0,
        exploration=Exploration(working_length_mm=20.0, reached_size=8),
    )
    told = {**answer_to_plain(answer_of(planned(), by_hand())), "request": request_to_plain(request)}
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(told))
    return str(path)


@pytest.fixture
def log(tmp_path):
    return str(tmp_path / "log.json")


@pytest.fixture
def begun(plan_file, log, capsys):
    """A log that has begun."""
    printed(capsys, "--plan", plan_file, "--log", log)
    return log


@pytest.fixture
def record(tmp_path, make_known_case):
    """A record of one canal, MB: a 40 degree arc of radius 6 mm."""

    def saved(name="record.json", **options):
        case = make_known_case(**options)
        entry = canal_entry(case.centreline, case.measurement, name="MB")
        path = tmp_path / name
        save_record(new_record(radiograph=None, calibration=case.calibration, canals=[entry]), path)
        return str(path)

    return saved


def printed(capsys, *words, code=0):
    assert main(["next", *words]) == code
    out, err = capsys.readouterr()
    assert err == ""
    return out


def told(capsys, *words):
    return json.loads(printed(capsys, *words, "--json"))


def refused(capsys, *words):
    assert main(["next", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("curvometer: ")
    assert err.count("\n") == 1
    return err


def test_a_log_begins_with_the_first_step_of_the_plan(capsys, plan_file, log):
    text = printed(capsys, "--plan", plan_file, "--log", log)
    assert "Treatment: canal, working length 20.0 mm; plan of house, rule T1" in text
    assert "Nothing has been tried yet." in text
    assert "\nNEXT: HAND 08/.02 TO THE WORKING LENGTH, 20.0 MM.\n" in text
    assert f'Then say:  curvometer next --log {log} --did "reached"' in text
    assert "A planning and teaching aid" in text
    assert max(map(len, text.splitlines())) <= 100 + len(log)


def test_once_begun_the_log_is_enough(capsys, begun):
    text = printed(capsys, "--log", begun, "--did", "reached", "--who", "AB")
    assert "hand 08/.02      to 20.0 mm  reached, AB" in text
    assert "NEXT: ROTARY 10/.02 TO THE WORKING LENGTH, 20.0 MM AT 500 RPM." in text
    assert "of its design life" in text
    assert printed(capsys, "--log", begun) == text  # looking changes nothing


@pytest.mark.parametrize(
    ("words", "kind", "outcome", "amount"),
    [
        ("reached", "step of the plan", "reached", None),
        ("Short 0.3", "hand file again", "short", 0.3),
        ("short by 0.3 mm", "hand file again", "short", 0.3),
        ("short .3mm", "hand file again", "short", 0.3),
        ("short 1.5", "stop and refer", "short", 1.5),
        ("binding", "hand file again", "binding", None),
        ("deflected", "hand file again", "deflected", None),
        ("fractured", "stop and refer", "fractured", None),
        ("lost 0.5", "stop and refer", "lost length", 0.5),
        ("lost length 0.2", "hand file again", "lost length", 0.2),
    ],
)
def test_what_is_said_is_written_down(capsys, begun, words, kind, outcome, amount):
    found = told(capsys, "--log", begun, "--did", words)
    assert found["next"]["kind"] == kind
    assert found["log"]["entries"][-1]["outcome"] == outcome
    assert found["log"]["entries"][-1]["amount_mm"] == amount


def test_a_depth_where_it_bound(capsys, begun):
    assert told(capsys, "--log", begun, "--did", "binding 19")["log"]["entries"][0]["depth_mm"] == 19.0


def test_a_new_plan_and_the_end(capsys, begun):
    for words in ("reached", "short 2", "reached"):
        text = printed(capsys, "--log", begun, "--did", words)
    assert "ASK FOR A NEW PLAN" in text
    assert '--did "re-plan"' in text
    assert "plan of hand, rule T2" in printed(capsys, "--log", begun, "--did", "re-plan")
    for _ in range(3):
        text = printed(capsys, "--log", begun, "--did", "reached")
    assert '--did "kept"' in text
    text = printed(capsys, "--log", begun, "--did", "kept")
    assert "DONE: THE GLIDE PATH IS THERE." in text
    assert "length measured  to 20.0 mm  kept" in text
    assert "Then say" not in text
    assert "nothing is tried now" in refused(capsys, "--log", begun, "--did", "reached")


def test_without_a_new_plan_it_ends(capsys, begun, monkeypatch):
    none = answer_of(advice=PlanAdvice.REFER)
    monkeypatch.setattr("curvometer.cli.next.ask_recommenders", lambda *_, **__: none)
    for words in ("reached", "short 2", "reached"):
        printed(capsys, "--log", begun, "--did", words)
    text = printed(capsys, "--log", begun, "--did", "re-plan")
    assert "no new plan: refer" in text
    assert "STOP. TAKE A RADIOGRAPH, THINK AGAIN, REFER." in text


def test_one_of_several_plans(capsys, plan_file, log):
    text = printed(capsys, "--plan", plan_file, "--log", log, "--recommender", "hand")
    assert "plan of hand, rule T2" in text
    assert "it has plans of: house, hand" in refused(
        capsys, "--plan", plan_file, "--log", f"{log}2", "--recommender", "nobody"
    )


def test_a_record_begins_a_log(capsys, record, log):
    path = record()
    chair = ("--working-length", "20", "--reached", "8")
    text = printed(capsys, path, "--log", log, "--canal", "MB", *chair, "--tooth", "46")
    assert "Treatment: canal MB of tooth 46, working length 20.0 mm" in text
    assert "NEXT: HAND 08/.02" in text
    printed(capsys, path, "--log", log, "--did", "reached")  # the same record goes on
    other = record("other.json", angles_deg=(30.0,))
    assert "belongs to another canal" in refused(capsys, other, "--log", log, "--did", "reached")


def test_a_measurement_not_to_be_trusted_ends_with_3(capsys, record, log):
    flag = MeasurementFlag(code="trace_left_ridge", severity=Severity.DO_NOT_TRUST, text="It left the canal.")
    words = (record(flags=(flag,)), "--log", log, "--working-length", "20", "--reached", "8")
    assert "NEXT: HAND 08/.02" in printed(capsys, *words, code=3)


def test_a_record_needs_what_was_found(capsys, record, log, monkeypatch):
    path = record()
    assert "--working-length MM and --reached SIZE" in refused(capsys, path, "--log", log)
    monkeypatch.setattr(
        "curvometer.cli.next.ask_recommenders", lambda *_, **__: answer_of(advice=PlanAdvice.REFER)
    )
    assert "the advice is refer: Because." in refused(
        capsys, path, "--log", log, "--working-length", "20", "--reached", "0"
    )


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ("fine", "'fine' is not understood: say reached, short MM"),
        ("", "is not understood"),
        ("short", "needs a number of mm: say it like 'short 1.5'"),
        ("lost", "needs a number of mm"),
        ("short -1", "must be a number of mm from 0 on, found -1.0"),
        ("short 1.2.3", "'1.2.3' is no number of mm"),
        ("short 25", "above 0 and at most 20 mm, found 25.0"),
        ("binding 25", "deeper than the working length of 20 mm"),
        ("reached 20", "Reached takes no number of mm"),
        ("re-plan", "no new plan is needed now, the next step is: Hand 08/.02"),
    ],
)
def test_what_cannot_be_said_is_one_sentence(capsys, begun, words, sentence):
    before = Path(begun).read_bytes()
    assert sentence in refused(capsys, "--log", begun, "--did", words)
    assert Path(begun).read_bytes() == before


def test_an_outcome_that_was_not_offered(capsys, begun):
    for words in ("reached", "reached", "reached", "reached"):
        printed(capsys, "--log", begun, "--did", words)
    assert "Measure the working length again" in refused(capsys, "--log", begun, "--did", "binding")


@pytest.mark.usefixtures("begun")
def test_logs_and_plans_that_do_not_fit(capsys, tmp_path, plan_file, log):
    plain = json.loads((tmp_path / "plan.json").read_text())
    other = tmp_path / "other.json"
    other.write_text(json.dumps({**plain, "plans": plain["plans"][1:]}))
    assert "belongs to another plan" in refused(capsys, "--plan", str(other), "--log", log)
    printed(capsys, "--plan", plan_file, "--log", log)
    newer = json.loads((tmp_path / "log.json").read_text())
    newer["log"]["version"] = 9
    (tmp_path / "log.json").write_text(json.dumps(newer))
    assert "has version 9, this program understands up to 1" in refused(capsys, "--log", log)
    (tmp_path / "log.json").write_text("{")
    assert "It is not JSON" in refused(capsys, "--log", log, "--did", "reached")


@pytest.mark.parametrize(
    "content", ["[]", "{}", '{"request": {}, "plans": []}', '{"request": 3}', "nonsense"]
)
def test_plan_files_that_are_none(capsys, tmp_path, log, content):
    path = tmp_path / "bad.json"
    path.write_text(content)
    assert f"{path}: " in refused(capsys, "--plan", str(path), "--log", log)
    assert not (tmp_path / "log.json").exists()


def test_a_plan_that_the_guard_refuses(capsys, tmp_path, plan_file, log):
    plain = json.loads((tmp_path / "plan.json").read_text())
    plain["plans"][0]["steps"] = plain["plans"][0]["steps"][1:2]
    (tmp_path / "plan.json").write_text(json.dumps(plain))
    assert "The plan is refused" in refused(capsys, "--plan", plan_file, "--log", log)


@pytest.mark.usefixtures("plan_file")
def test_a_whole_plan_is_read_as_well(capsys, tmp_path, log):
    request = json.loads((tmp_path / "plan.json").read_text())["request"]
    whole = tmp_path / "whole.json"
    whole.write_text(json.dumps({"plan": plan_to_plain(planned()), "request": request}))
    assert "NEXT: HAND 08/.02" in printed(capsys, "--plan", str(whole), "--log", log)


def test_usage(capsys, tmp_path, plan_file, log, record):
    assert "does not exist: to begin it give a record, or --plan" in refused(capsys, "--log", log)
    assert "to begin it" in refused(capsys, record(), "--plan", plan_file, "--log", log)
    assert "--log" in refused(capsys)
    assert "cannot be written" in refused(
        capsys, "--plan", plan_file, "--log", str(tmp_path / "no" / "log.json")
    )


def test_findings_are_not_ignored_without_a_word(capsys, tmp_path, plan_file, log):
    assert "--reached 10 is not what the log began with (8)" in refused(
        capsys, "--plan", plan_file, "--log", log, "--reached", "10"
    )
    assert not (tmp_path / "log.json").exists()
    printed(capsys, "--plan", plan_file, "--log", log, "--reached", "8")
    assert "--working-length 21 is not what the log began with (20)" in refused(
        capsys, "--log", log, "--working-length", "21", "--did", "reached"
    )


IGNORED_BEFORE = {
    "reached none": ["--reached", "0"],
    "loose": ["--loose"],
    "forced": ["--forced"],
    "explored": ["--explored", "8:17.5"],
    "visibility": ["--visibility", "narrowed"],
    "blocked": ["--blocked"],
    "apex opening": ["--apex-opening", "1.2"],
    "split": ["--split"],
    "primary tooth": ["--primary-tooth"],
    "image rejected": ["--image-rejected"],
    "tooth": ["--tooth", "46"],
    "operator": ["--operator", "student"],
}


@pytest.mark.parametrize("words", IGNORED_BEFORE.values(), ids=IGNORED_BEFORE)
@pytest.mark.parametrize("given", ["nothing", "record", "plan"])
def test_no_finding_is_ignored_beside_a_log(capsys, plan_file, record, log, words, given):
    if given == "record":
        beside = [record()]
        printed(capsys, *beside, "--log", log, "--working-length", "20", "--reached", "8")
    else:
        printed(capsys, "--plan", plan_file, "--log", log)
        beside = ["--plan", plan_file] if given == "plan" else []
    before = Path(log).read_bytes()
    said = refused(capsys, *beside, "--log", log, *words, "--did", "reached")
    assert f"{words[0]} " in said
    assert "is not what the log began with" in said
    assert Path(log).read_bytes() == before


def test_what_a_log_began_with_may_be_said_again(capsys, tmp_path, record, log):
    shelf = tmp_path / "shelf.toml"
    shelf.write_text('[[instrument]]\nkind = "hand"\nsize = [8, 10, 15]\ntaper = 0.02\nlength_mm = 25\n')
    words = [
        "--working-length",
        "20",
        "--reached",
        "8",
        "--visibility",
        "narrowed",
        "--explored",
        "6:20",
        "--tooth",
        "46",
    ]
    words += ["--operator", "general", "--inventory", str(shelf), "--canal", "MB"]
    printed(capsys, record(), "--log", log, *words)
    printed(capsys, record(name="again.json"), "--log", log, *words)
    printed(capsys, "--log", log, *words)
    assert "--visibility clear is not what the log began with (narrowed)" in refused(
        capsys, "--log", log, "--visibility", "visible"
    )
    assert "--canal DB is not what the log began with (MB)" in refused(capsys, "--log", log, "--canal", "DB")
    shelf.write_text(shelf.read_text().replace("25", "31"))
    assert "is not the shelf that the log began with" in refused(
        capsys, "--log", log, "--inventory", str(shelf)
    )


def test_the_tooth_of_a_record_begins_the_log(capsys, save, log):
    began = ["--working-length", "20", "--reached", "8"]
    path = save(("MB", {}), tooth=46)
    printed(capsys, path, "--log", log, *began)
    assert json.loads(Path(log).read_text())["request"]["tooth"] == 46
    printed(capsys, path, "--log", log)
    Path(path).unlink()
    assert "is of tooth 46 and" in refused(capsys, save(("MB", {}), tooth=36), "--log", log)


def test_two_at_once_lose_nothing(begun):
    """Each of four programs at once is written down, or refused with a sentence."""
    code = "import sys; from curvometer.cli import main; sys.exit(main(sys.argv[1:]))"
    words = [sys.executable, "-c", code, "next", "--log", begun, "--did", "reached", "--who"]
    running = [subprocess.Popen([*words, who], stderr=subprocess.PIPE, text=True) for who in "ABCD"]
    said = {who: process.communicate(timeout=60)[1] for who, process in zip("ABCD", running, strict=True)}
    written = {who for who, process in zip("ABCD", running, strict=True) if process.returncode == 0}
    entries = json.loads(Path(begun).read_text())["log"]["entries"]
    assert sorted(entry["who"] for entry in entries) == sorted(written)
    assert written
    for who in set("ABCD") - written:
        assert "none is ever taken away" in said[who] or "does not fit" in said[who]
        assert said[who].count("\n") == 1


def test_help_loads_nothing_heavy():
    code = (
        "import sys; from curvometer.cli import main\n"
        "try: main(['next', '--help'])\n"
        "except SystemExit: pass\n"
        "print([n for n in ('numpy', 'pydantic') if n in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
