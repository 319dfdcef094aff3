"""``curvometer plan`` and ``curvometer recommenders`` as a person meets them."""

from __future__ import annotations

import json

import pytest

from curvometer.cli import main
from curvometer.measurement import MeasurementFlag, Severity
from curvometer.sequence import check_plan, plan_from_plain, request_from_plain

SEVERE = ["--angle", "45", "--radius", "5", "--curve-start-from-foramen", "4.927", "--working-length", "21"]
GENTLE = ["--angle", "15", "--radius", "14", "--curve-start-from-foramen", "5.665", "--working-length", "21"]


@pytest.fixture(autouse=True)
def _wide_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")


def printed(capsys, *words, code=0, command="plan"):
    assert main([command, *words]) == code
    out, err = capsys.readouterr()
    assert err == ""
    return out


def in_json(capsys, *words, code=0):
    return json.loads(printed(capsys, *words, "--json", code=code))


def refused(capsys, *words):
    assert main(["plan", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("curvometer: ")
    assert err.count("\n") == 1
    return err


def rows(plan):
    return [
        (
            s["instrument"]["kind"],
            s["instrument"]["size"],
            s["instrument"]["taper"],
            s["to_mm"],
            s["speed_rpm"],
        )
        for s in plan["steps"]
    ]


def test_json_has_the_promised_form(capsys):
    found = in_json(capsys, *SEVERE, "--reached", "8")
    assert {"plans", "refused", "advice", "reasons"} <= set(found)
    for plan in found["plans"]:
        assert {"recommender", "rule", "steps"} <= set(plan)
        for step in plan["steps"]:
            assert set(step["instrument"]) == {"kind", "size", "taper"}
            assert {"to_mm", "speed_rpm", "strain_percent", "budget_share", "check", "if_short"} <= set(step)
            assert step["check"]
            assert step["if_short"]
            assert (step["budget_share"] is None) == (step["instrument"]["kind"] == "hand")


def test_severe_case_in_json(capsys):
    found = in_json(capsys, *SEVERE, "--reached", "8")
    assert found["advice"] == "plan"
    first = found["plans"][0]
    assert (first["recommender"], first["rule"]) == ("by-table", "R07")
    assert rows(first) == [
        ("hand", 8, 0.02, 21.0, None),
        ("rotary", 10, 0.02, 21.0, 600.0),
        ("hand", 10, 0.02, 21.0, None),
        ("rotary", 15, 0.02, 21.0, 600.0),
        ("hand", 10, 0.02, 21.0, None),
        ("rotary", 20, 0.02, 21.0, 600.0),
        ("hand", 15, 0.02, 21.0, None),
    ]
    assert first["steps"][5]["strain_percent"] == pytest.approx(2.985, abs=0.001)
    assert first["steps"][5]["budget_share"] == pytest.approx(0.214, abs=0.0006)


def test_gentle_case_in_json(capsys):
    first = in_json(capsys, *GENTLE, "--reached", "8", "--visibility", "visible")["plans"][0]
    assert first["rule"] == "R05"
    assert [row for row in rows(first) if row[0] == "rotary"] == [
        ("rotary", 10, 0.02, 21.0, 900.0),
        ("rotary", 10, 0.04, 21.0, 900.0),
    ]


def test_printed_plan_replays(capsys):
    found = in_json(
        capsys, *SEVERE, "--reached", "8", "--tooth", "46", "--canal", "MB", "--operator", "specialist"
    )
    request = request_from_plain(found["request"])
    for plain in found["plans"]:
        plan = plan_from_plain(plain)
        assert check_plan(plan, request) == ()


def test_text_tells_steps_checks_sources_and_cautions(capsys):
    text = printed(capsys, *SEVERE, "--reached", "8")
    assert "Advice: plan" in text
    assert "rotary 20/.02   21.0 mm = WL  600 rpm   3.0 %  21.4 %" in text
    for words in (
        "if short:",
        "stop:",
        "common practice, no source",
        "licensed judgement",
        "bench-based",
        "Assumed",
    ):
        assert words in text
    assert max(map(len, text.splitlines())) <= 100


@pytest.mark.parametrize(
    ("words", "advice"),
    [
        (["--reached", "0"], "hand only"),
        (["--reached", "6"], "hand only"),
        (["--reached", "8", "--blocked"], "hand only"),
        (["--reached", "8", "--split"], "hand only"),
        (["--reached", "8", "--apex-opening", "1.2"], "hand only"),
        (["--reached", "8", "--apex-opening", "1.6"], "refer"),
        (["--reached", "8", "--primary-tooth"], "refer"),
        (["--reached", "8", "--tooth", "85"], "refer"),
        (["--reached", "8", "--image-rejected"], "refer"),
        (["--reached", "8", "--forced"], "hand only"),
        ([], "hand only"),
    ],
)
def test_no_motor(capsys, words, advice):
    found = in_json(capsys, *SEVERE, *words)
    assert found["advice"] == advice
    assert found["reasons"]
    assert not any(s["instrument"]["kind"] == "rotary" for plan in found["plans"] for s in plan["steps"])


def test_missing_hand_file_is_told(capsys):
    assert "counts as none" in printed(capsys, *SEVERE)


def test_operator_below_the_grade_is_referred_first(capsys):
    found = in_json(capsys, *SEVERE, "--reached", "8", "--operator", "student")
    assert found["advice"] == "refer"
    assert "above the operator's category" in found["reasons"][0]
    assert found["plans"]


def test_unusual_length(capsys):
    found = in_json(capsys, *SEVERE[:-1], "27", "--reached", "8", "--tooth", "46")
    assert "unusual for tooth 46" in found["reasons"][0]


def test_straight_canal_needs_no_radius(capsys):
    found = in_json(capsys, "--angle", "0", "--working-length", "21", "--reached", "10")
    assert found["plans"][0]["rule"] == "R02"


def test_angles_are_named(capsys):
    """Two kinds of angle differ by up to a factor of two: 45 degrees over 3.93 mm of 4.93 are 27.1 by Schneider."""
    found = in_json(capsys, *SEVERE, "--reached", "8")
    assert (found["request"]["angle_kind"], found["request"]["angle_deg"]) == ("central", 45.0)
    assert found["request"]["schneider_angle_deg"] == pytest.approx(27.1, abs=0.05)
    both = "Central angle 45 degrees; Schneider's 27.1 is another measure of the same bend."
    assert both in found["reasons"]
    assert any("central angle above 30 degrees" in reason for reason in found["reasons"])
    text = " ".join(printed(capsys, *SEVERE, "--reached", "8").split())
    assert "what-if, central angle 45 degrees" in text
    assert both in text


def test_a_what_if_is_graded_by_schneiders_angle(capsys):
    """As ``grade`` with the derived angle: 27.1 is moderate by the American form, where 45 would be high."""
    grades = dict(in_json(capsys, *SEVERE, "--reached", "8", "--operator", "general")["request"]["grades"])
    assert grades["aae-2022"] == "moderate"
    again = dict(in_json(capsys, *SEVERE, "--reached", "8", "--s-shape")["request"]["grades"])
    assert again["aae-2022"] == "high"


def test_a_record_tells_both_angles(capsys, save):
    request = in_json(capsys, save(("MB", {})), "--reached", "8")["request"]
    assert 0.0 < request["schneider_angle_deg"] < request["angle_deg"]


def test_interval_takes_the_cautious_row(capsys):
    assert (
        in_json(capsys, *SEVERE, "--reached", "8", "--radius-interval", "3.9,6")["plans"][0]["rule"] == "R08"
    )


def test_inventory(capsys, tmp_path):
    shelf = tmp_path / "shelf.toml"
    shelf.write_text('[[instrument]]\nkind = "hand"\nsize = [8, 10, 15]\ntaper = 0.02\nlength_mm = 25\n')
    found = in_json(capsys, *SEVERE, "--reached", "8", "--inventory", str(shelf))
    assert found["advice"] == "hand only"
    assert [plan["recommender"] for plan in found["plans"]] == ["hand-files"]
    assert found["refused"][0]["recommender"] == "by-table"
    shelf.write_text("")
    assert "lists no instrument" in refused(capsys, *SEVERE, "--inventory", str(shelf))
    shelf.write_text('[[instrument]]\nkind = "hand"\nsize = 8\ntaper = 2\nlength_mm = 25\n')
    assert "line 4" in refused(capsys, *SEVERE, "--inventory", str(shelf))


def test_one_recommender(capsys):
    found = in_json(capsys, *SEVERE, "--reached", "8", "--recommender", "hand-files")
    assert [plan["recommender"] for plan in found["plans"]] == ["hand-files"]


def test_record(capsys, save):
    """40 degrees, radius 6: R07. The canal's length and 9 mm of crown stand for the working length."""
    path = save(("MB", {}))
    found = in_json(capsys, path, "--canal", "MB", "--reached", "8")
    assert found["plans"][0]["rule"] == "R07"
    assert "--working-length" in found["assumed"][0]
    again = in_json(capsys, path, "--reached", "8", "--working-length", "24")
    assert again["plans"][0]["steps"][0]["to_mm"] == 24.0
    assert again["assumed"] == []


def test_the_tooth_of_a_record_counts(capsys, save):
    path = save(("MB", {}), tooth=46)
    assert in_json(capsys, path, "--reached", "8")["request"]["tooth"] == 46
    assert in_json(capsys, path, "--reached", "8", "--tooth", "46")["request"]["tooth"] == 46
    assert "which is 46: leave it out" in refused(capsys, path, "--reached", "8", "--tooth", "36")


def test_record_without_scale(capsys, save):
    path = save(("MB", {"mm_per_pixel": None}))
    found = in_json(capsys, path, "--reached", "8", "--working-length", "21")
    assert (found["advice"], found["plans"]) == ("refer", [])


def test_record_that_is_not_to_be_trusted(capsys, save):
    stop = MeasurementFlag(
        code="trace_left_ridge", severity=Severity.DO_NOT_TRUST, text="The trace left the canal."
    )
    found = in_json(capsys, save(("MB", {}), flags=(stop,)), "--reached", "8", code=3)
    assert (found["advice"], found["plans"]) == ("refer", [])


BAD = {
    "nothing": ([], "nothing to plan"),
    "no length": (SEVERE[:-2], "needs --working-length"),
    "length beyond a tooth": ([*SEVERE[:-1], "50"], "from 12 to 33 mm"),
    "impossible size": ([*SEVERE, "--reached", "7"], "cannot be 7"),
    "no radius": (["--angle", "20", "--working-length", "21"], "needs --radius"),
    "angle": (["--angle", "300", "--working-length", "21"], "no deflection"),
    "canal of the tooth": ([*SEVERE, "--tooth", "46", "--canal", "P"], "has no canal 'P'"),
    "canal without tooth": ([*SEVERE, "--canal", "MB"], "needs --tooth"),
    "tooth": ([*SEVERE, "--tooth", "99"], "no tooth number"),
    "curve above the tooth": ([*SEVERE[:5], "40", *SEVERE[6:]], "does not fit"),
    "interval": ([*SEVERE, "--angle-interval", "10,20"], "does not hold --angle"),
    "inventory": ([*SEVERE, "--inventory", "no_such_file.toml"], "cannot be read"),
    "recommender": ([*SEVERE, "--recommender", "nobody"], "no recommender 'nobody'"),
    "explored": ([*SEVERE, "--explored", "8"], "SIZE:MM"),
    "explored too deep": ([*SEVERE, "--explored", "8:30"], "from 0 to 21 mm"),
    "loose and forced": ([*SEVERE, "--reached", "8", "--loose", "--forced"], "at the same time"),
    "time limit": ([*SEVERE, "--time-limit", "9999"], "time limit"),
    "record": (["no_record.json"], "no_record.json"),
    "record and angle": (["record.json", "--angle", "20"], "exclude each other"),
    "record and S": (["record.json", "--s-shape"], "--s-shape and a record exclude"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_one_sentence(capsys, name):
    words, sentence = BAD[name]
    assert sentence in refused(capsys, *words)


def test_record_with_several_canals_asks_which(capsys, save):
    path = save(("MB", {}), ("ML", {}))
    assert "say which with --canal: MB, ML" in refused(capsys, path)
    assert "has no canal 'D'" in refused(capsys, path, "--canal", "D")


def test_recommenders_are_listed(capsys):
    text = printed(capsys, command="recommenders")
    assert "by-table" in text
    assert "hand-files" in text
    found = json.loads(printed(capsys, "--json", command="recommenders"))
    assert found["group"] == "curvometer.recommenders"
    assert {"by-table", "hand-files"} <= {each["name"] for each in found["recommenders"]}


def test_nobody_installed(capsys, monkeypatch):
    monkeypatch.setattr("curvometer.sequence.asking.entry_points", lambda **_: ())
    assert "No recommender is installed" in printed(capsys, command="recommenders")
    assert in_json(capsys, *SEVERE, "--reached", "8")["advice"] == "refer"
