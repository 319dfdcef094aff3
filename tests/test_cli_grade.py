"""``curvometer grade`` as a person meets it: records and what-ifs in, a table or JSON out, bad input in one line."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from curvometer.cli import arguments, main
from curvometer.difficulty import CURRENT_CRITERIA, FACT_ANSWERS, PUBLISHED_CRITERIA, Operator
from curvometer.measurement import MeasurementFlag, Severity

STOP = MeasurementFlag(
    code="trace_left_ridge", severity=Severity.DO_NOT_TRUST, text="The trace left the canal."
)
SCHOOL = """\
name = "ours"
source = "Course notes"
classes = ["easy", "hard"]
[[criteria]]
code = "curvature"
quantity = "schneider_angle"
limits = [12]
"""


@pytest.fixture(autouse=True)
def _wide_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "110")


def printed(capsys, *words, code=0):
    assert main(["grade", *words]) == code
    out, err = capsys.readouterr()
    assert err == ""
    return out


def told(capsys, *words, code=0):
    return json.loads(printed(capsys, *words, "--json", code=code))


def refused(capsys, *words):
    code = main(["grade", *words])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert err.startswith("curvometer: ")
    assert err.count("\n") == 1
    assert "Traceback" not in err
    return err


# --- What-if ----------------------------------------------------------------------------------------------


def test_a_what_if_gives_the_published_json(capsys):
    found = told(capsys, "--angle", "25", "--radius", "5")
    assert [grade["criteria"] for grade in found["grades"]] == list(CURRENT_CRITERIA)
    assert found["not_graded"] == []
    for grade in found["grades"]:
        assert {"criteria", "grade", "probabilities", "deciding_factor", "source"} <= set(grade)
        assert sum(grade["probabilities"].values()) == pytest.approx(1.0)
        assert grade["grade"] in grade["probabilities"]
        assert grade["source"] == PUBLISHED_CRITERIA[grade["criteria"]].source.citation
    assert [grade["grade"] for grade in found["grades"]] == [
        "moderate",
        "complexity 2",
        "severe",
        "moderate",
        "moderate",
    ]
    assert "not a diagnosis" in found["cautions"][0]
    assert "least curvature" in found["cautions"][1]


def test_a_typed_angle_says_which_error_is_assumed(capsys):
    """Common practice, no source: 5 degrees to each side."""
    assert "5 degrees to each side" in told(capsys, "--angle", "25")["assumed"][0]
    given = told(capsys, "--angle", "25", "--angle-interval", "24,26", "--s-shape")
    assert given["assumed"] == []


ARC = ("--central-angle", "60", "--radius", "5", "--curve-start-from-foramen")


@pytest.mark.parametrize(
    ("start", "schneider"), [("8.235988", 41.167636), ("5.235988", 30.0), ("4", 22.918312)]
)
def test_a_central_angle_is_graded_by_schneiders(capsys, start, schneider):
    """60 degrees at 5 mm: 3 mm of straight canal behind, none (half of it), cut off at 4 mm (half of 4/5 rad).

    The first is case 10 of the table of closed forms, the others are the angle between tangent and chord.
    """
    found = told(capsys, *ARC, start, "--criteria", "aae-2022")
    (grade,) = found["grades"]
    (typed,) = told(capsys, "--angle", str(schneider), "--criteria", "aae-2022")["grades"]
    assert grade["deciding_factor"] == typed["deciding_factor"]
    assert list(grade["probabilities"].values()) == pytest.approx(
        list(typed["probabilities"].values()), abs=1e-5
    )
    assert (
        f"Schneider's angle {schneider:.1f} degrees is derived from an arc of central angle 60"
        in found["assumed"][0]
    )
    assert f"Schneider angle {round(schneider, 1):g} deg" in printed(capsys, *ARC, start)


def test_the_interval_of_a_central_angle_is_derived_as_well(capsys):
    found = told(capsys, *ARC, "5.235988", "--angle-interval", "50,60", "--criteria", "aae-2022")
    (factor,) = [f for f in found["grades"][0]["factors"] if f["code"] == "curvature"]
    assert factor["told"].startswith("30.0 deg (")
    assert factor["told"].endswith(" to 30.0)")
    assert "5 degrees" not in found["assumed"][0]


@pytest.mark.parametrize(
    ("words", "grade"),
    [
        (["--angle", "5"], "low"),
        (["--angle", "5", "--visibility", "visible"], "low"),
        (["--angle", "5", "--visibility", "narrowed"], "moderate"),
        (["--angle", "5", "--visibility", "not-visible"], "high"),
        (["--angle", "5", "--s-shape"], "high"),
        (["--angle", "5", "--apex-opening", "2"], "high"),
        (["--angle", "5", "--inclination", "12"], "moderate"),
        (["--angle", "5", "--rotation", "31"], "high"),
        (["--angle", "5", "--tooth", "36"], "moderate"),
        (["--angle", "5", "--tooth-length", "26"], "high"),
        (["--angle", "5", "--previous-treatment", "access"], "moderate"),
        (["--angle", "5", "--other-moderate", "3"], "high"),
        (["--angle", "5", "--other-high", "1"], "high"),
        (["--angle", "20", "--visibility", "narrowed", "--crown-axis", "moderate"], "high"),
        (["--angle", "31"], "high"),
    ],
)
def test_stated_facts_reach_the_grade(capsys, words, grade):
    found = told(capsys, *words, "--criteria", "aae-2022")
    assert [each["grade"] for each in found["grades"]] == [grade]


@pytest.mark.parametrize(
    ("words", "grade"),
    [
        (["--no-negotiable"], "complexity 3"),
        (["--negotiable"], "complexity 1"),
        (["--modifying-factors"], "complexity 2"),
        (["--root-development", "incomplete"], "complexity 2"),
    ],
)
def test_stated_facts_of_the_english_index(capsys, words, grade):
    assert told(capsys, "--angle", "5", "--criteria", "rcs-2001", *words)["grades"][0]["grade"] == grade


def test_the_interval_given_is_used(capsys):
    words = ("--angle", "28", "--angle-interval", "25,31.2", "--criteria", "aae-2022")
    assert told(capsys, *words)["grades"][0]["words"] == "moderate, could be high (11 %)"


def test_without_a_radius_there_is_no_radius_class_and_it_is_told(capsys):
    found = told(capsys, "--angle", "25")
    assert [each["criteria"] for each in found["not_graded"]] == ["radius"]
    assert "radius" not in [each["criteria"] for each in found["grades"]]
    assert found["not_graded"][0]["words"] == "no grade: radius (three points) is not known"
    assert "no grade: radius (three points) is not known" in printed(capsys, "--angle", "25")


def test_several_criteria_and_a_school_file_side_by_side(capsys, tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text(SCHOOL)
    found = told(capsys, "--angle", "35", "--criteria", "aae-2022", "rcs-2001", "--criteria", str(path))
    assert [each["grade"] for each in found["grades"]] == ["high", "complexity 2", "hard"]
    assert found["disagreements"][0]["text"].startswith("The sets disagree: high by American")


def test_a_suggestion_comes_with_the_operator_only(capsys):
    assert told(capsys, "--angle", "20")["suggestions"] == []
    (found,) = told(capsys, "--angle", "20", "--operator", "general")["suggestions"]
    assert (found["advice"], found["how_read"]) == ("consider referral", "common practice, no source")


def test_the_table_reads_well(capsys):
    text = printed(
        capsys, "--angle", "28", "--radius", "5", "--operator", "general", "--visibility", "narrowed"
    )
    for words in (
        "Difficulty: what-if, Schneider angle 28 deg, radius 5 mm",
        "American endodontists' form, 2022   moderate, could be high (",
        "by canal curvature (Schneider angle) 28.0 deg (23.0 to 33.0); canal visibility narrowed",
        "The sets disagree:",
        "Suggestion for a general dentist (common practice, no source): consider referral",
        "Not known, and what the grade would become with it",
        "moderate at best, high at worst",
        "(common practice, no source). Rule: the hardest factor counts.",
        "Limits: 10 (read in a secondary source), 30 (from memory).",
        "A planning and teaching aid, not a diagnosis",
        "Assumed (common practice, no source): 5 degrees to each side of Schneider's angle",
    ):
        assert " ".join(words.split()) in " ".join(text.split())
    assert all(len(line) <= 110 for line in text.splitlines())
    assert text == printed(
        capsys, "--angle", "28", "--radius", "5", "--operator", "general", "--visibility", "narrowed"
    )


@pytest.mark.parametrize("columns", ["40", "72", "300"])
def test_the_table_keeps_to_the_terminal(capsys, monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", columns)
    text = printed(capsys, "--angle", "28", "--radius", "5", "--operator", "student")
    assert max(map(len, text.splitlines())) <= min(max(int(columns), 72), 110)


# --- Records ----------------------------------------------------------------------------------------------


def test_every_canal_of_a_record_is_graded(capsys, save):
    path = save(("MB", {}), ("D", {"angles_deg": (30.0, -25.0)}))
    found = told(capsys, path, "--criteria", "aae-2022")
    assert [(each["canal"], each["grade"]) for each in found["grades"]] == [("MB", "moderate"), ("D", "high")]
    text = printed(capsys, path)
    assert "Difficulty: record.json, canal MB" in text
    assert "Difficulty: record.json, canal D" in text
    assert found["assumed"] == []


def test_one_canal_of_a_record(capsys, save):
    path = save(("MB", {}), ("D", {"angles_deg": (30.0, -25.0)}))
    found = told(capsys, path, "--canal", "D", "--criteria", "aae-2022", "--tooth", "36")
    assert [each["canal"] for each in found["grades"]] == ["D"]


def test_a_canal_without_a_name(capsys, save):
    assert told(capsys, save((None, {})))["grades"][0]["canal"] is None


def test_without_a_scale(capsys, save):
    found = told(capsys, save(("MB", {"mm_per_pixel": None})))
    (none,) = found["not_graded"]
    assert none["missing"][0]["reason"] == "not measured: needs a scale"
    assert [flag["code"] for flag in none["flags"]] == ["no_scale"]


def test_a_measurement_not_to_be_trusted_ends_with_3(capsys, save):
    path = save(("MB", {}), flags=(STOP,))
    assert printed(capsys, path, code=3).splitlines()[2] == (
        "DO NOT TRUST these grades: trace_left_ridge, explained below."
    )
    told(capsys, path, code=3)


# --- Bad input --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ([], "nothing to grade: give a record, or a what-if with --angle or --radius"),
        (["--angle", "abc"], "'abc' is not a usable number"),
        (["--angle", "-5"], "must not be below 0"),
        (["--angle", "200"], "--angle 200 is no deflection"),
        (["--angle", "nan"], "not a usable number"),
        (["--radius", "0"], "must be above 0"),
        (["--angle", "20", "--angle-interval", "25,30"], "lies outside its interval"),
        (["--angle", "20", "--angle-interval", "30,10"], "runs backwards"),
        (["--angle", "20", "--angle-interval", "10"], "is not an interval"),
        (["--radius", "5", "--angle-interval", "10,20"], "--angle-interval belongs to --angle"),
        (["--angle", "20", "--central-angle", "40"], "give only one of them"),
        (["--angle", "20", "--curve-start-from-foramen", "4"], "belongs to --central-angle"),
        (["--central-angle", "40"], "--central-angle needs --radius"),
        (["--central-angle", "40", "--radius", "5"], "needs --curve-start-from-foramen"),
        ([*ARC, "4", "--s-shape"], "holds for one arc"),
        ([*ARC, "4", "--angle-interval", "10,20"], "--central-angle 60 lies outside"),
        (
            ["--central-angle", "200", "--radius", "5", "--curve-start-from-foramen", "4"],
            "200 is no deflection",
        ),
        (["--angle", "20", "--canal", "MB"], "--canal names a canal of a record"),
        (["--angle", "20", "--criteria", "aae-1999"], "there are no criteria 'aae-1999'"),
        (["--angle", "20", "--criteria", "none.toml"], "cannot be read"),
        (["--angle", "20", "--visibility", "good"], "invalid choice: 'good'"),
        (["--angle", "20", "--operator", "friend"], "invalid choice: 'friend'"),
        (["--angle", "20", "--tooth", "19"], "19 is no tooth number"),
        (["--angle", "20", "--apex-opening", "50"], "from 0 to 10 mm"),
        (["none.json"], "none.json cannot be read"),
    ],
)
def test_bad_input_is_one_sentence(capsys, words, sentence):
    assert sentence in refused(capsys, *words)


def test_bad_records_are_one_sentence(capsys, save):
    path = save(("MB", {}))
    assert "--angle and a record exclude each other" in refused(capsys, path, "--angle", "20")
    assert "has no canal 'DB': it holds MB" in refused(capsys, path, "--canal", "DB")
    assert "tooth 11 has no canal 'MB'" in refused(capsys, path, "--tooth", "11")


def test_the_tooth_of_a_record_counts(capsys, save):
    """A first molar is a moderate factor of the American form by itself."""
    path = save(("MB", {}), tooth=46)
    found = told(capsys, path, "--criteria", "aae-2022")
    assert found == told(capsys, path, "--criteria", "aae-2022", "--tooth", "46")
    assert "position" not in {missing["code"] for missing in found["grades"][0]["missing"]}
    assert "--tooth 36 is not the tooth of" in refused(capsys, path, "--tooth", "36")


def test_a_record_without_canals(capsys, save):
    assert "holds no measured canal" in refused(capsys, save())


def test_a_fault_in_a_school_file_names_its_line(capsys, tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text(SCHOOL.replace("[12]", '["abc"]'))
    assert "ours.toml, line 7: limit 'abc' is not a number" in refused(
        capsys, "--angle", "20", "--criteria", str(path)
    )


# --- Help -------------------------------------------------------------------------------------------------


def test_choices_on_the_command_line_are_those_of_the_core():
    assert {name: FACT_ANSWERS[name] for name in arguments.STATED_ANSWERS} == arguments.STATED_ANSWERS
    assert set(arguments.STATED_HELP) == set(arguments.STATED_ANSWERS)
    assert tuple(Operator) == arguments.OPERATORS


def test_help_loads_nothing_heavy():
    code = (
        "import sys\nfrom curvometer.cli import main\n"
        "try:\n    main(['grade', '--help'])\nexcept SystemExit:\n    pass\n"
        "print(sorted({'numpy', 'curvometer.difficulty', 'pydantic'} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stderr.strip() == "[]"
    assert "--angle-interval" in done.stdout


def test_a_what_if_loads_no_record():
    code = (
        "import sys\nfrom curvometer.cli import main\nmain(['grade', '--angle', '20', '--json'])\n"
        "print(sorted({'scipy', 'pydantic', 'pydicom', 'cv2'} & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stderr.strip() == "[]"
