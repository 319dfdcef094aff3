"""``curvometer agree`` as a person meets it: tables and records in, words or JSON out, bad input in one line."""

from __future__ import annotations

import io
import json
import tempfile
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curvometer.agreement import ICC_NAMES
from curvometer.cli import main
from curvometer.record import canal_entry, new_record, save_record

HEADER = "subject,rater,occasion,value\n"
TWO = HEADER + "a,A,1,31.5\na,B,1,29\nb,A,1,20\nb,B,1,18.5\nc,A,1,12\nc,B,1,12.5\n"


@pytest.fixture
def table(tmp_path):
    def written(content, name="ratings.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return str(path)

    return written


@pytest.fixture
def records(tmp_path, make_known_case):
    """Two raters trace three canals of one image each; B starts the curve 30 px later along the axis, all else equal."""

    def saved(*, later_px=30.0, quantity_b=None):
        for subject, angle in (("s1", 30.0), ("s2", 40.0), ("s3", 50.0)):
            case = make_known_case(angles_deg=(angle,))
            for rater, shift in (("A", 0.0), ("B", later_px)):
                marks = case.measurement.landmarks
                start = marks.curve_start_rc + np.array([shift, 0.0])
                line = marks.foramen_rc - start
                schneider = float(np.degrees(np.arctan2(abs(line[1]), line[0])))
                quantity = replace(case.measurement.schneider_angle, value=schneider, lower=0.0, upper=90.0)
                measurement = replace(
                    case.measurement,
                    schneider_angle=quantity,
                    landmarks=replace(marks, curve_start_rc=start),
                )
                if rater == "B" and quantity_b is not None:
                    measurement = replace(measurement, **quantity_b)
                entry = canal_entry(case.centreline, measurement, name="MB")
                record = new_record(radiograph=case.radiograph, calibration=case.calibration, canals=[entry])
                folder = tmp_path / "class" / rater
                folder.mkdir(parents=True, exist_ok=True)
                save_record(record, folder / f"{subject}.json")
        return str(tmp_path / "class")

    return saved


def printed(capsys, *words):
    assert main(["agree", *words]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def refused(capsys, *words):
    assert main(["agree", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("curvometer: ")
    assert err.count("\n") == 1
    return err


def test_the_published_keys(capsys, table):
    found = json.loads(printed(capsys, table(TWO), "--json"))
    for name in (*ICC_NAMES, "dahlberg", "lin_ccc"):
        assert set(found[name]) == {"value", "lower", "upper"}
    assert found["bland_altman"]["bias"]["value"] == pytest.approx((2.5 + 1.5 - 0.5) / 3)
    assert {"kappa", "weighted_kappa"} <= set(found)


def test_semicolons_with_decimal_commas_say_the_same(capsys, table):
    one = json.loads(printed(capsys, table(TWO), "--json"))
    text = "\ufeff" + TWO.replace(",", ";").replace(".", ",")
    assert json.loads(printed(capsys, table(text, "other.csv"), "--json")) == one


def test_the_text_reads_first_and_tells_the_unit(capsys, table):
    out = printed(capsys, table(TWO), "--unit", "degrees")
    assert out.splitlines()[2].startswith("Examiners differ by up to ")
    assert "degrees" in out.splitlines()[2]
    assert "ICC(2,1)" in out
    assert "One occasion only" in out


def test_known_grades_are_ordered_and_others_ask_for_their_order(capsys, table):
    known = "subject,rater,grade\n1,A,low\n1,B,low\n2,A,high\n2,B,moderate\n3,A,moderate\n3,B,moderate\n"
    found = json.loads(printed(capsys, table(known), "--json"))
    assert found["weighted_kappa"]["value"] > found["kappa"]["value"]
    strange = known.replace("low", "easy-peasy")
    found = json.loads(printed(capsys, table(strange), "--json"))
    assert found["weighted_kappa"] is None
    assert any("--grades" in note for note in found["notes"])
    found = json.loads(printed(capsys, table(strange), "--json", "--grades", "easy-peasy,moderate,high"))
    assert found["weighted_kappa"] is not None


def test_an_empty_field_is_left_out_and_said(capsys, table):
    out = printed(capsys, table(TWO + "d,A,1,14\nd,B,1,\n"))
    assert "1 of 4 subjects were not rated by all raters and are left out (d)." in " ".join(out.split())


def test_the_picture(capsys, table, tmp_path):
    path = tmp_path / "out.svg"
    assert "Picture: " in printed(capsys, table(TWO), "--plot", str(path))
    assert path.read_text(encoding="utf-8").startswith("<svg")
    assert "exists already" in refused(capsys, table(TWO), "--plot", str(path))
    assert ".svg" in refused(capsys, table(TWO), "--plot", str(tmp_path / "out.png"))


def test_records_tell_where_the_difference_comes_from(capsys, records):
    """Only the start differs, so the whole of it comes from there."""
    folder = records()
    found = json.loads(printed(capsys, folder, "--json"))
    assert found["angle_parts"]["shares"]["curve_start"] == pytest.approx(1.0)
    whole = found["minimal_detectable_change"]["value"]
    expected = f"Examiners differ by up to {whole:.1f} degrees, of which {whole:.1f} come from where the curve is said"
    assert found["reading"][0].startswith(expected)


def test_records_listed_in_a_table(capsys, records, table):
    folder = records()
    lines = [f"{s},{r},class/{r}/{s}.json" for s in ("s1", "s2", "s3") for r in "AB"]
    listed = table("subject,rater,record\n" + "\n".join(lines))
    one, other = (json.loads(printed(capsys, source, "--json")) for source in (listed, folder))
    assert one["icc_2_1"] == other["icc_2_1"]


def test_bad_questions_to_records(capsys, records):
    folder = records(quantity_b={"schneider_angle": None})
    assert "is unknown" in refused(capsys, folder, "--quantity", "beauty")
    assert "has no canal DB" in refused(capsys, folder, "--canal", "DB")
    assert "no two ratings" in refused(capsys, folder)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "is empty"),
        (HEADER, "no line below"),
        (HEADER + "a,A,1,3\nb,A,1,4\n", "only one rater (A) on one occasion"),
        (HEADER + "a,A,1,3\na,B,1,3\nb,A,1,3\nb,B,1,3\n", "all values are the same"),
        (TWO + "d,A,1,nan\n", "line 8 of ratings.csv has 'nan'"),
        (TWO + "d,A,1,inf\n", "line 8 of ratings.csv has 'inf'"),
        (TWO + "d,A,1,1e308\n", "line 8 of ratings.csv has '1e308'"),
        (TWO + "d,A,1,3o\n", "line 8 of ratings.csv has '3o'"),
        (TWO + "a,A,1,3\n", "line 8 of ratings.csv repeats line 2"),
        (TWO + "d,A,1\n", "line 8 of ratings.csv has 3 fields"),
        (TWO + ",A,1,3\n", "names no subject"),
        ("subject,rater,angle\na,A,3\n", "unknown column 'angle'"),
        ("subject,value\na,3\n", "no column 'rater'"),
        ("subject,rater\na,A\n", "0 columns of values"),
        ("subject,rater,value,value\na,A,1,2\n", "a column twice"),
        ('{"schema_version": 1}', "is no CSV"),
        (b"\x89PNG\r\n\x1a\n\xff\xfe", "not a text"),
        (HEADER + "a,A,1,\na,B,1,\n", "there are no values"),
    ],
)
def test_bad_tables_are_told_in_one_line(capsys, table, content, words):
    assert words in refused(capsys, table(content))


CELLS = st.one_of(
    st.floats(-1e10, 1e10).map(str), st.sampled_from(["1", "2", "", "high", "nan", "1e308", "1e-320", "1,5"])
)


@settings(max_examples=150, deadline=None)
@given(
    cells=st.dictionaries(
        st.tuples(st.sampled_from("abcd"), st.sampled_from("AB"), st.sampled_from("12")), CELLS
    ),
    column=st.sampled_from(["value", "grade"]),
)
def test_any_table_gives_an_answer_or_one_line(cells, column):
    lines = [f"subject,rater,occasion,{column}", *(f'{s},{r},{o},"{v}"' for (s, r, o), v in cells.items())]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ratings.csv"
        path.write_text("\n".join(lines), encoding="utf-8")
        out, err = io.StringIO(), io.StringIO()
        with redirect_stdout(out), redirect_stderr(err):
            code = main(["agree", str(path), "--json", "--plot", str(path.with_suffix(".svg"))])
    if code == 0:
        assert json.loads(out.getvalue(), parse_constant=pytest.fail)["reading"]
    else:
        assert (code, err.getvalue().count("\n"), out.getvalue()) == (2, 1, "")


def test_bad_options_are_told_in_one_line(capsys, table, tmp_path):
    path = table(TWO)
    assert "belongs to records" in refused(capsys, path, "--canal", "MB")
    assert "is no scale" in refused(capsys, path, "--grades", "a")
    assert "is not on the scale" in refused(capsys, path, "--grades", "a,b")
    assert "there is no occasion" in refused(capsys, path, "--occasion", "7")
    assert "cannot be read" in refused(capsys, str(tmp_path / "none.csv"))
    (tmp_path / "empty").mkdir()
    assert "holds no records" in refused(capsys, str(tmp_path / "empty"))
