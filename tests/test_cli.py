"""The command line as a person meets it: what it prints, how it ends, what it refuses and how it says so."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import ExplicitVRLittleEndian

from curvometer import cli
from curvometer.cli import argument_kinds, arguments, main
from curvometer.cli.table import LABELS
from curvometer.loading import load_radiograph
from curvometer.measurement import QUANTITY_NAMES, MeasurementFlag, Severity
from curvometer.phantom import NOISE_LEVELS, SAMPLE_CASES
from curvometer.phantom.forms import TOOTH_FORMS
from curvometer.record import load_record

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "sample_images" / "lower_molar.dcm"
TRACE = {"points_xy": [[500.0, 150.0], [500.0, 300.0], [510.0, 420.0], [550.0, 520.0]], "mm_per_pixel": 0.02}
CLICKS = ["--orifice", "40,10", "--foramen", "60,90"]


def write_trace(folder, **changes):
    path = folder / "trace.json"
    path.write_text(json.dumps({key: v for key, v in (TRACE | changes).items() if v is not ...}))
    return str(path)


@pytest.fixture(autouse=True)
def _wide_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "110")


@pytest.fixture
def picture(tmp_path):
    """A grey picture of 100 x 120 pixels (columns x rows)."""
    path = tmp_path / "picture.png"
    rows, cols = np.mgrid[0:120, 0:100]
    Image.fromarray(((rows + cols) % 200 + 20).astype(np.uint8)).save(path)
    return path


@pytest.fixture
def known(make_known_case, monkeypatch):
    """Every canal measures as a 40 degree arc of 300 px at 0.02 mm: Schneider 20.0 deg, radius 6.00 mm."""
    case = make_known_case()
    seen = []

    def measure_canal(centreline, calibration):
        seen.append((centreline, calibration))
        return case.measurement

    monkeypatch.setattr("curvometer.measurement.measure_canal", measure_canal, raising=False)
    return case, seen


@pytest.fixture
def distrusted(known, monkeypatch):
    case, _ = known
    flag = MeasurementFlag(
        code="trace_left_ridge",
        severity=Severity.DO_NOT_TRUST,
        text="The trace left the canal: add a waypoint.",
    )
    bad = replace(case.measurement, flags=(flag,))
    monkeypatch.setattr("curvometer.measurement.measure_canal", lambda *_: bad)
    return bad


def size_of(path):
    with Image.open(path) as picture:
        assert picture.mode == "RGB"
        return picture.size


def refused(capsys, *words):
    """Run, check that it is refused as bad input with one line, nothing else, and give that line."""
    code = main([str(word) for word in words])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert err.endswith("\n")
    assert err.count("\n") == 1
    assert err.startswith("curvometer: ")
    assert "Traceback" not in err
    assert len(err) > 30, "a sentence, not a word"
    return err


# ---------------------------------------------------------------- help and usage


@pytest.mark.parametrize("words", [["--help"], ["measure", "--help"], ["phantom", "--help"], ["--version"]])
def test_help_and_version_exit_with_zero(words, capsys):
    with pytest.raises(SystemExit) as stop:
        main(words)
    out, err = capsys.readouterr()
    assert (stop.value.code or 0, err) == (0, "")
    assert "curvometer" in out


def test_help_names_the_commands_that_exist_and_no_others(capsys):
    with pytest.raises(SystemExit):
        main(["--help"])
    out = capsys.readouterr().out
    told = re.findall(r"^    ([a-z]+) ", out, flags=re.MULTILINE)
    assert {
        "demo",
        "measure",
        "grade",
        "plan",
        "exercise",
        "mark",
        "class",
        "app",
        "phantom",
        "schema",
    } <= set(told)
    assert not {"report", "export", "batch"} & set(told)
    modules = ["course" if command == "class" else command for command in told]  # `class` can name no module
    assert all((Path(cli.__file__).parent / f"{module}.py").is_file() for module in modules)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "COMMAND"),
        (["measur"], "invalid choice"),
        (["measure"], "give an image"),
        (["measure", "x.png", "--orifice", "1,2"], "--foramen is missing"),
        (["measure", "x.png", "--foramen", "1,2"], "--orifice is missing"),
        (["measure", "x.png", "--orifice", "1", "--foramen", "1,2"], "X,Y"),
        (["measure", "x.png", "--orifice", "a,b", "--foramen", "1,2"], "number"),
        (["measure", "x.png", "--orifice", "nan,1", "--foramen", "1,2"], "number"),
        (["measure", "x.png", "--orifice", "1,inf", "--foramen", "1,2"], "number"),
        (["measure", "x.png", "--orifice", "1,2,3", "--foramen", "1,2"], "X,Y"),
        (["measure", "x.png", "--orifice", "1,2", "--foramen", "1,2"], "same position"),
        (["measure", "x.png", *CLICKS, "--known-length", "21"], "--along"),
        (["measure", "x.png", *CLICKS, "--along", "1,2 3,4"], "--known-length"),
        (["measure", "x.png", *CLICKS, "--known-length", "0", "--along", "1,2 3,4"], "above 0"),
        (["measure", "x.png", *CLICKS, "--known-length", "-5", "--along", "1,2 3,4"], "above 0"),
        (["measure", "x.png", *CLICKS, "--known-length", "nan", "--along", "1,2 3,4"], "number"),
        (["measure", "x.png", *CLICKS, "--known-length", "21", "--along", "1,2"], "at least two"),
        (["measure", "x.png", *CLICKS, "--known-length", "21", "--along", ""], "at least two"),
        (
            [
                "measure",
                "x.png",
                *CLICKS,
                "--known-length",
                "21",
                "--along",
                "1,2 3,4",
                "--mm-per-pixel",
                "0.02",
            ],
            "only one",
        ),
        (["measure", "x.png", *CLICKS, "--mm-per-pixel", "0"], "above 0"),
        (["measure", "x.png", *CLICKS, "--length-tolerance", "0.3"], "--known-length"),
        (["measure", "x.png", *CLICKS, "--click-sd", "-1"], "below 0"),
        (["measure", "x.png", *CLICKS, "--structure", "nerve"], "invalid choice"),
        (["measure", "x.png", *CLICKS, "--overlay", "o.jpg"], ".png"),
        (["measure", "x.png", *CLICKS, "--bogus"], "--bogus"),
        (["measure", "--trace", "t.json", "--orifice", "1,2"], "--trace"),
        (["measure", "--trace", "t.json", "--via", "1,2"], "--trace"),
        (["measure", "--trace", "t.json", "--structure", "canal"], "--trace"),
        (["measure", "--trace", "t.json", "--overlay", "o.png"], "IMAGE"),
        (["measure", "--trace", "t.json", "--inverted"], "IMAGE"),
        (["schema", "report"], "invalid choice"),
        (["phantom", "d", "--kind", "wisdom"], "invalid choice"),
        (["phantom", "d", "--count", "0"], "1 to 1000"),
        (["phantom", "d", "--name", "../evil"], "plain name"),
        (["phantom", "d", "--seed", "-1"], "whole number"),
    ],
)
def test_usage_errors_are_one_line(words, told, capsys):
    assert told in refused(capsys, *words)


def test_a_negative_position_is_told_as_outside_not_as_an_unknown_option(picture, capsys):
    assert "outside the image" in refused(
        capsys, "measure", picture, "--orifice", "-3,5", "--foramen", "60,90"
    )


def test_positions_are_column_row_outside_and_row_column_inside():
    assert argument_kinds.point(" 412 , 96.5") == (96.5, 412.0)
    assert argument_kinds.path("1,2 3 ,4  5, 6") == [(2.0, 1.0), (4.0, 3.0), (6.0, 5.0)]


def test_choices_are_those_of_the_phantom():
    assert set(arguments.NOISE) == set(NOISE_LEVELS)
    assert set(arguments.TOOTH_KINDS) == set(TOOTH_FORMS)


# ---------------------------------------------------------------- images that are none


def bad_images(folder):
    """One file for each thing that is not one whole grey picture with pixels."""
    grey = Image.fromarray(np.tile(np.arange(100, dtype=np.uint8), (100, 1)))
    files = {
        name: folder / f"{name}.bin"
        for name in ("text", "empty", "truncated", "colour", "frames", "no_pixels")
    }
    files["text"].write_text("this is a letter, not a radiograph\n" * 20)
    files["empty"].write_bytes(b"")
    grey.save(folder / "whole.png")
    whole = (folder / "whole.png").read_bytes()
    files["truncated"].write_bytes(whole[: len(whole) // 2])
    Image.merge("RGB", [grey, grey.rotate(90), grey.rotate(180)]).save(files["colour"], format="PNG")
    grey.save(files["frames"], format="TIFF", save_all=True, append_images=[grey, grey])
    header = Dataset()
    header.file_meta = FileMetaDataset()
    header.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    header.file_meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.1.3"
    header.file_meta.MediaStorageSOPInstanceUID = "2.25.1"
    header.Rows, header.Columns, header.Modality = 100, 100, "IO"
    header.save_as(files["no_pixels"], enforce_file_format=True)
    files["missing"] = folder / "missing.dcm"
    files["folder"] = folder
    return files


@pytest.mark.parametrize(
    "kind", ["text", "empty", "truncated", "colour", "frames", "no_pixels", "missing", "folder"]
)
@pytest.mark.filterwarnings("ignore")
def test_a_bad_image_is_one_sentence_and_no_output(kind, tmp_path, capsys):
    image, overlay = bad_images(tmp_path)[kind], tmp_path / "out.png"
    refused(capsys, "measure", image, *CLICKS, "--overlay", overlay, "--record", tmp_path / "out.json")
    assert not overlay.exists()
    assert not (tmp_path / "out.json").exists()
    assert not list(tmp_path.glob(".curvometer*"))


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--orifice", "40,10", "--foramen", "100,90"], "--foramen has the position 100,90"),
        (["--orifice", "40,120", "--foramen", "60,90"], "--orifice"),
        ([*CLICKS, "--via", "500,50"], "--via"),
        ([*CLICKS, "--known-length", "21", "--along", "10,10 10,400"], "--along"),
    ],
)
def test_a_click_outside_the_image_is_told_by_its_option(words, told, picture, capsys):
    line = refused(capsys, "measure", picture, *words)
    assert told in line
    assert "100 x 120" in line


# ---------------------------------------------------------------- traces that are none


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "not valid JSON"),
        ("{", "not valid JSON"),
        ("[1, 2]", "points_xy"),
        ("{}", "points_xy"),
        ('{"points_xy": [[1, 2], [3, NaN]]}', "NaN"),
        ('{"points_xy": [[1, 2], [3, Infinity]]}', "Infinity"),
        ('{"points_xy": [[1, 2], [3, 1e999]]}', "impossible"),
        ('{"points_xy": [[1, 2], [3, 9' + "0" * 500 + "]]}", "impossible"),
        ('{"points_xy": [[1, 2], [3, ' + "9" * 5000 + "]]}", "not valid JSON"),
        ('{"points_xy": [[1, 2]]}', "1 point"),
        ('{"points_xy": []}', "0 point"),
        ('{"points_xy": [[5, 5], [5, 5]]}', "same"),
        ('{"points_xy": [[1, 2], [3]]}', "pairs"),
        ('{"points_xy": [[1, 2], [3, 4, 5]]}', "pairs"),
        ('{"points_xy": "1,2 3,4"}', "pairs"),
        ('{"points_xy": [[1, 2], [3, "4"]]}', "not a number"),
        ('{"points_xy": [[1, 2], [3, true]]}', "not a number"),
        ('{"points_xy": [[1, 2], [3, null]]}', "not a number"),
        ('{"points_xy": [[1, 2], [3, 4]], "points_xy": [[1, 2], [3, 4]]}', "twice"),
        ('{"points_xy": [[1, 2], [3, 4]], "mm_per_pixle": 0.02}', "mm_per_pixle"),
        ('{"points_xy": [[1, 2], [3, 4]], "mm_per_pixel": 0}', "above 0"),
        ('{"points_xy": [[1, 2], [3, 4]], "mm_per_pixel": -0.02}', "impossible"),
        ('{"points_xy": [[1, 2], [3, 4]], "mm_per_pixel": "0.02"}', "not a number"),
        ('{"points_xy": [[1, 2], [3, 4]], "mm_per_pixel_relative_sd": 0.1}', "no mm_per_pixel"),
        ('{"points_xy": [[1, 2], [3, 4]], "position_sd_px": [1]}', "one per point"),
        ('{"points_xy": [[1, 2], [3, 4]], "position_sd_px": -1}', "impossible"),
        ('{"points_xy": [[1, 2], [3, 4]], "width_px": [1, "x"]}', "not a number"),
        ('{"points_xy": [[1, 2], [3, 4]], "click_sd_px": [1, 2, 3]}', "orifice"),
        ('{"points_xy": [[1, 2], [3, 4]], "structure": "nerve"}', "canal or instrument"),
        ('{"points_xy": [[1, 2], [3, 4]], "structure": ["canal"]}', "canal or instrument"),
        ("[" * 100_000, "not valid JSON"),
    ],
)
def test_a_bad_trace_is_one_sentence(text, told, tmp_path, capsys):
    path = tmp_path / "trace.json"
    path.write_text(text)
    assert told in refused(capsys, "measure", "--trace", path)


def test_a_trace_that_is_no_text_or_missing_is_one_sentence(tmp_path, capsys):
    (tmp_path / "t.json").write_bytes(b"\xff\xfe\x00\x81")
    assert "JSON" in refused(capsys, "measure", "--trace", tmp_path / "t.json")
    assert "cannot be read" in refused(capsys, "measure", "--trace", tmp_path / "none.json")
    assert "cannot be read" in refused(capsys, "measure", "--trace", tmp_path)


def test_a_name_with_line_breaks_still_gives_one_line(tmp_path, capsys):
    refused(capsys, "measure", "--trace", tmp_path / "two\nlines.json")
    refused(capsys, "measure", "--trace", "nul\0.json")


def test_two_scales_for_a_trace_are_refused(tmp_path, capsys):
    assert "mm_per_pixel" in refused(
        capsys, "measure", "--trace", write_trace(tmp_path), "--mm-per-pixel", "0.03"
    )


def test_a_trace_beside_the_image_is_refused(tmp_path, picture, capsys):
    assert "outside the image" in refused(capsys, "measure", picture, "--trace", write_trace(tmp_path))


# ---------------------------------------------------------------- outputs that must not be written


@pytest.mark.parametrize("option", ["--overlay", "--record"])
def test_an_existing_output_is_refused_before_any_work(option, tmp_path, known, picture, capsys):
    output = tmp_path / "out.png"
    output.write_text("precious")
    assert "exists already" in refused(capsys, "measure", picture, *CLICKS, option, output)
    assert output.read_text() == "precious"
    assert known[1] == [], "nothing was measured"


@pytest.mark.parametrize("place", ["no_such_folder/out.png", "picture.png/out.png", "."])
def test_an_unwritable_output_is_refused_before_any_work(place, tmp_path, known, picture, capsys):
    refused(capsys, "measure", picture, *CLICKS, "--record", tmp_path / place)
    assert known[1] == []


def test_a_folder_that_takes_no_file_is_refused(picture, known, capsys):
    if not Path("/proc/self").is_dir():
        pytest.skip("needs a folder where nobody, not even root, can make a file")
    assert "cannot be written" in refused(
        capsys, "measure", picture, *CLICKS, "--record", "/proc/self/out.json"
    )
    assert known[1] == []


@pytest.mark.parametrize("overwrite", [[], ["--overwrite"]])
def test_an_output_may_not_be_the_image(overwrite, picture, capsys):
    before = picture.read_bytes()
    link = picture.parent / "link.png"
    link.symlink_to(picture)
    for output in (picture, link, picture.parent / ".." / picture.parent.name / picture.name):
        assert "input" in refused(capsys, "measure", picture, *CLICKS, "--overlay", output, *overwrite)
    assert picture.read_bytes() == before


def test_both_outputs_may_not_be_one_file(tmp_path, picture, capsys):
    out = tmp_path / "out.png"
    assert "two outputs" in refused(capsys, "measure", picture, *CLICKS, "--overlay", out, "--record", out)


# ---------------------------------------------------------------- results


@pytest.mark.usefixtures("known")
def test_the_table_tells_values_intervals_bends_scale_and_caution(tmp_path, capsys):
    assert main(["measure", "--trace", write_trace(tmp_path)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    row = next(line for line in out.splitlines() if line.startswith("Schneider angle"))
    assert row.split()[2:7] == ["20.0", "deg", "18.5", "to", "21.5"]
    assert "how far the foramen lies off" in row
    assert "6.00 mm" in next(line for line in out.splitlines() if line.startswith("Smallest radius"))
    assert "1. to the left of the path, 40.0 deg" in out
    assert "0.02000 mm per pixel" in out
    assert "given by the user" in out
    assert "  Pruett radius           circumradius" in out.splitlines()
    assert "not a diagnostic device" in out
    assert max(map(len, out.splitlines())) <= 110


def test_every_quantity_has_a_row_and_an_absent_one_its_reason(
    tmp_path, make_known_case, monkeypatch, capsys
):
    case = make_known_case(mm_per_pixel=None)
    monkeypatch.setattr("curvometer.measurement.measure_canal", lambda *_: case.measurement, raising=False)
    assert main(["measure", "--trace", write_trace(tmp_path, mm_per_pixel=...)]) == 0
    out = capsys.readouterr().out
    assert list(LABELS) == list(QUANTITY_NAMES)
    assert all(any(line.startswith(label) for line in out.splitlines()) for label in LABELS.values())
    assert "not given: see no_scale" in next(
        line for line in out.splitlines() if line.startswith("Pruett radius")
    )
    assert "CAUTION no_scale:" in out
    assert "none in the plane of the tooth" in out


@pytest.mark.usefixtures("known")
def test_json_is_one_object_with_the_agreed_names_and_valid_by_its_schema(tmp_path, capsys):
    assert main(["measure", "--trace", write_trace(tmp_path), "--json"]) == 0
    output = json.loads(capsys.readouterr().out)
    assert list(output) == ["image", "calibration", "centreline", "flags", "measurement"]
    assert output["image"] is None
    assert output["calibration"]["mm_per_pixel"] == pytest.approx(0.02)
    assert output["centreline"]["points_xy"] == TRACE["points_xy"]
    assert set(QUANTITY_NAMES) | {"canal_form", "bends"} <= set(output["measurement"])
    assert output["measurement"]["schneider_angle"] == {
        "value": 20.0,
        "lower": 18.5,
        "upper": 21.5,
        "unit": "deg",
    }
    for words in (["schema"], ["schema", "measure"]):
        assert main(words) == 0
        schema = json.loads(capsys.readouterr().out)
        jsonschema.Draft202012Validator.check_schema(schema)
        jsonschema.validate(output, schema, cls=jsonschema.Draft202012Validator)
    broken = output | {"measurement": output["measurement"] | {"canal_form": "Z"}}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, schema, cls=jsonschema.Draft202012Validator)


def test_trace_keys_reach_the_centreline(tmp_path, known):
    trace = write_trace(
        tmp_path, position_sd_px=0.5, width_px=[9, 8, 7, 6], click_sd_px=[1, 2], structure="instrument",
        correlation_px=2, mm_per_pixel_relative_sd=0.03, aspect_ratio=1.21,
    )  # fmt: skip
    assert main(["measure", "--trace", trace]) == 0
    centreline, calibration = known[1][0]
    assert centreline.points_rc[1].tolist() == [300.0, 500.0]
    assert centreline.position_sd_px.tolist() == [0.5] * 4
    assert centreline.width_px.tolist() == [9, 8, 7, 6]
    assert (centreline.click_sd_px, centreline.structure.value) == ((1.0, 2.0), "instrument")
    assert calibration.relative_standard_uncertainty == 0.03
    # rows / columns = 1.21 with a geometric mean of 0.02: 0.022 and 0.02 / 1.1
    assert calibration.spacing_rc_mm == pytest.approx((0.022, 0.02 / 1.1))


def test_known_lengths_combine_and_reach_the_measurement(tmp_path, known):
    """21 mm over 1050 px and 10 mm over 500 px are both 0.02 mm per pixel."""
    trace = write_trace(tmp_path, mm_per_pixel=...)
    two = ["--known-length", "21", "--along", "10,0 10,1050", "--known-length", "10", "--along", "0,5 500,5"]
    assert main(["measure", "--trace", trace, *two[:4]]) == 0
    assert main(["measure", "--trace", trace, *two]) == 0
    assert main(["measure", "--trace", trace, *two, "--length-tolerance", "0.1"]) == 0
    one, both, exact = (calibration for _, calibration in known[1])
    # not to the last digit: the length that click noise adds is taken off
    assert one.mm_per_pixel == pytest.approx(0.02, rel=1e-5)
    assert both.mm_per_pixel == pytest.approx(0.02, rel=1e-5)
    assert both.standard_uncertainty < one.standard_uncertainty
    assert exact.standard_uncertainty < both.standard_uncertainty


@pytest.mark.usefixtures("known")
def test_a_tooth_is_kept_in_the_record(tmp_path, capsys):
    trace, record = write_trace(tmp_path), tmp_path / "r.json"
    assert main(["measure", "--trace", trace, "--record", str(record), "--tooth", "46"]) == 0
    assert json.loads(record.read_text())["tooth"] == 46
    capsys.readouterr()
    assert "19 is no tooth number" in refused(
        capsys, "measure", "--trace", trace, "--record", str(tmp_path / "s.json"), "--tooth", "19"
    )
    assert "--tooth is kept in a record" in refused(capsys, "measure", "--trace", trace, "--tooth", "46")
    assert not (tmp_path / "s.json").exists()


def test_click_sd_of_a_trace_is_nought_unless_given(tmp_path, known):
    trace = write_trace(tmp_path)
    main(["measure", "--trace", trace])
    main(["measure", "--trace", trace, "--click-sd", "2"])
    assert [centreline.click_sd_px for centreline, _ in known[1]] == [(0.0, 0.0), (2.0, 2.0)]


@pytest.mark.usefixtures("distrusted")
def test_a_do_not_trust_flag_exits_with_three_and_says_so_first(tmp_path, capsys):
    record = tmp_path / "r.json"
    assert main(["measure", "--trace", write_trace(tmp_path), "--record", str(record)]) == 3
    out = capsys.readouterr().out
    assert "DO NOT TRUST this result: trace_left_ridge" in out.splitlines()[2]
    assert "add a waypoint" in out
    assert record.exists(), "measured all the same"


@pytest.mark.usefixtures("known")
def test_measure_writes_overlay_and_record_and_replaces_them_only_when_asked(tmp_path, picture, capsys):
    trace = write_trace(tmp_path, points_xy=[[40, 10], [45, 50], [60, 90]], mm_per_pixel=0.05)
    overlay, record = tmp_path / "o.png", tmp_path / "r.json"
    words = ["measure", str(picture), "--trace", trace, "--overlay", str(overlay), "--record", str(record)]
    assert main(words) == 0
    assert f"Written: {overlay}" in capsys.readouterr().out
    assert size_of(overlay)[0] > 300
    assert load_record(record).canals[0].to_measurement().schneider_angle.value == 20.0
    refused(capsys, *words)
    assert main([*words, "--overwrite"]) == 0
    assert str(tmp_path) not in record.read_text()
    assert "picture" not in record.read_text(), "no file name in a record"


@pytest.mark.usefixtures("known")
def test_negative_pictures_are_turned_on_request(tmp_path, picture, monkeypatch):
    asked = []
    monkeypatch.setattr(
        "curvometer.loading.load_radiograph",
        lambda path, *, inverted: asked.append(inverted) or load_radiograph(path, inverted=inverted),
    )
    trace = write_trace(tmp_path, points_xy=[[40, 10], [45, 50], [60, 90]])
    main(["measure", str(picture), "--trace", trace])
    main(["measure", str(picture), "--trace", trace, "--inverted"])
    assert asked == [False, True]


# ---------------------------------------------------------------- the real thing, end to end


def clicks_of(name):
    truth = json.loads((ROOT / "sample_images" / "truth.json").read_text())[name]
    words = []
    for option in ("orifice", "foramen"):
        words += [f"--{option}", ",".join(f"{value:.0f}" for value in truth[option])]
    return words, truth["measures"]


def test_the_sample_molar_measures_as_it_was_simulated(tmp_path, capsys):
    """Two clicks on the sample image: the Schneider angle within 3 degrees of what was simulated."""
    clicks, true = clicks_of("lower_molar")
    overlay = tmp_path / "o.png"
    code = main(["measure", str(SAMPLE), *clicks, "--json", "--overlay", str(overlay)])
    output = json.loads(capsys.readouterr().out)
    assert code in (0, 3)
    assert output["image"]["format"] == "DICOM"
    assert output["measurement"]["schneider_angle"]["value"] == pytest.approx(
        true["schneider_angle"], abs=3.0
    )
    assert max(size_of(overlay)) >= 1400
    assert "Lindmoor" not in json.dumps(output), "nothing of the header's identity"


def test_demo_measures_the_sample_and_says_where(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for _ in range(2):  # a second run replaces its own files
        assert main(["demo"]) in (0, 3)
    out = capsys.readouterr().out
    assert "--orifice" in out
    assert "Schneider angle" in out
    assert "was simulated with: Schneider angle 23.5 deg" in out
    assert "curvometer grade" in out
    assert re.search(r"American endodontists' form, 2022 +moderate \((\d+|above 99) %\)", out)
    assert "Invented for this demo, else stated by a person: tooth 36, and a hand file size 10" in " ".join(
        out.split()
    )
    assert re.search(r"^ +1  hand \d\d/.02 +to +\d+\.\d mm +by hand$", out, flags=re.MULTILINE)
    assert "Ends with hand 15/.02 loose at working length" in out
    assert "not a diagnosis" in out
    assert "The picture is demo_output/curvometer_demo.png" in out
    assert (tmp_path / "demo_output" / "curvometer_demo.png").is_file()
    assert (tmp_path / "demo_output" / "curvometer_demo.json").is_file()


@pytest.mark.usefixtures("known")
def test_demo_simulates_the_image_where_there_are_no_samples(tmp_path, monkeypatch):
    small = replace(SAMPLE_CASES["lower_molar"].options, image_shape=None, mm_per_pixel=0.06)
    monkeypatch.setitem(SAMPLE_CASES, "lower_molar", replace(SAMPLE_CASES["lower_molar"], options=small))
    monkeypatch.setattr("curvometer.cli.demo._from_source_tree", lambda: None)
    folder = tmp_path / "deep" / "er"
    assert main(["demo", "--output", str(folder)]) == 0
    assert (folder / "lower_molar.dcm").is_file()
    assert (folder / "curvometer_demo.png").is_file()


def test_demo_into_a_file_is_refused(picture, capsys):
    assert "is a file" in refused(capsys, "demo", "--output", picture)


def test_phantom_writes_whole_files_and_keeps_existing_ones(tmp_path, capsys):
    words = [
        "phantom",
        str(tmp_path),
        "--angle",
        "40",
        "--mm-per-pixel",
        "0.06",
        "--count",
        "2",
        "--format",
        "png",
    ]
    assert main(words) == 0
    printed = capsys.readouterr().out.split()
    assert sorted(Path(p).name for p in printed) == [
        "phantom_1.png", "phantom_1.truth.json", "phantom_2.png", "phantom_2.truth.json",
    ]  # fmt: skip
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(Path(p).name for p in printed)
    truth = json.loads((tmp_path / "phantom_1.truth.json").read_text())
    assert truth["measures"]["pruett_angle"] == pytest.approx(40.0)
    assert "exists already" in refused(capsys, *words)
    assert "does not exist" in refused(capsys, "phantom", tmp_path / "none")


# ---------------------------------------------------------------- quiet ends and quick starts


@pytest.mark.usefixtures("known")
def test_ctrl_c_is_quiet(tmp_path, monkeypatch, capsys):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("curvometer.measurement.measure_canal", interrupted)
    assert main(["measure", "--trace", write_trace(tmp_path)]) == 130
    assert capsys.readouterr() == ("", "")


def python(*words, **options):
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    return subprocess.Popen([sys.executable, *words], env=environment, text=True, **options)


@pytest.mark.skipif(not hasattr(signal, "SIGPIPE"), reason="pipes break otherwise there")
def test_a_reader_that_goes_away_is_quiet():
    command = "import sys; from curvometer.cli import main; sys.exit(main(['schema']))"
    with python("-c", command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        process.stdout.close()
        assert process.stderr.read() == ""
    assert process.returncode == 141


def test_a_full_disk_for_the_text_is_one_line():
    if not Path("/dev/full").exists():
        pytest.skip("needs /dev/full")
    command = "import sys; from curvometer.cli import main; sys.exit(main(['schema']))"
    with (
        Path("/dev/full").open("w") as full,
        python("-c", command, stdout=full, stderr=subprocess.PIPE) as process,
    ):
        error = process.stderr.read()
    assert process.returncode == 2
    assert error.count("\n") == 1
    assert "Traceback" not in error


def loaded_modules(*words):
    """Run the command line in a fresh interpreter and list which packages it loaded."""
    command = (
        "import sys\nfrom curvometer.cli import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
        "print('LOADED', *sorted({name.partition('.')[0] for name in sys.modules}))"
    )
    with python("-c", command, *words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        out, err = process.communicate()
    assert err == ""
    return set(out.splitlines()[-1].split()[1:])


def test_help_loads_no_library():
    heavy = {"numpy", "cv2", "scipy", "pydicom", "PIL", "pydantic", "rich", "skimage"}
    assert heavy.isdisjoint(loaded_modules("--help"))


@pytest.mark.parametrize("form", [[], ["--json"]])
def test_measuring_a_trace_loads_numpy_only(form, tmp_path):
    loaded = loaded_modules("measure", "--trace", write_trace(tmp_path), *form)
    assert "numpy" in loaded
    assert {"cv2", "scipy", "pydicom", "PIL", "pydantic", "rich", "skimage", "shapely"}.isdisjoint(loaded)
