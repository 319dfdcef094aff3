"""Records: what goes in comes out equal, what is wrong is refused in a sentence, no crash leaves a half."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import os
import stat
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curvometer import saving
from curvometer.calibration import Calibration, CalibrationOrigin
from curvometer.centreline import Centreline
from curvometer.measurement import QUANTITY_NAMES, MeasurementFlag, Quantity, Severity
from curvometer.record import (
    SCHEMA_VERSION,
    CanalName,
    RecordError,
    canal_entry,
    json_schema,
    load_record,
    new_record,
    plain,
    save_record,
)
from curvometer.record.models import MeasurementEntry
from curvometer.saving import SavingError, check_outputs, save_bytes

ROOT = Path(__file__).parents[1]


def same(one, other):
    """Tell whether two core values are equal in every field, arrays included, to the last bit."""
    if dataclasses.is_dataclass(one):
        return type(one) is type(other) and all(
            same(getattr(one, field.name), getattr(other, field.name)) for field in dataclasses.fields(one)
        )
    if isinstance(one, np.ndarray):
        return isinstance(other, np.ndarray) and one.shape == other.shape and bool((one == other).all())
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(same(a, b) for a, b in zip(one, other, strict=True))
    # A float of numpy's comes back as Python's: the same number.
    return (isinstance(one, float) or type(one) is type(other)) and one == other


@pytest.fixture
def record(make_known_case):
    case = make_known_case(angles_deg=(35.0, -30.0))
    entry = canal_entry(case.centreline, case.measurement, name="MB2")
    return new_record(radiograph=case.radiograph, calibration=case.calibration, canals=[entry])


@pytest.fixture
def saved(record, tmp_path):
    path = tmp_path / "case.json"
    save_record(record, path)
    return path


# ---------------------------------------------------------------- round trips


@pytest.mark.parametrize(
    "options",
    [{}, {"angles_deg": ()}, {"angles_deg": (35.0, -30.0)}, {"mm_per_pixel": None}, {"aspect_ratio": 1.3}],
)
def test_core_values_survive_the_file_to_the_last_bit(options, make_known_case, tmp_path):
    case = make_known_case(**options)
    record = new_record(
        radiograph=case.radiograph,
        calibration=case.calibration,
        canals=[canal_entry(case.centreline, case.measurement, name=CanalName.MB)],
    )
    save_record(record, tmp_path / "case.json")
    back = load_record(tmp_path / "case.json")
    assert back == record
    assert same(back.to_calibration(), case.calibration)
    assert same(back.canals[0].to_centreline(), case.centreline)
    assert same(back.canals[0].to_measurement(), case.measurement)
    assert back.canals[0].name is CanalName.MB


@given(
    points=st.lists(
        st.tuples(*[st.floats(-1e6, 1e6, allow_subnormal=True)] * 2), min_size=2, max_size=6, unique=True
    ),
    sd=st.floats(0.0, 1e6),
)
@settings(max_examples=60, deadline=None)
def test_any_float_survives(points, sd):
    """Written with as many digits as it takes: equal bits come back, through the models as well."""
    tracing = Centreline(
        points_rc=np.array(points), position_sd_px=np.full(len(points), sd), click_sd_px=(sd, 0.1)
    )
    text = json.dumps(plain.centreline_to_plain(tracing))
    assert same(plain.centreline_from_plain(json.loads(text)), tracing)
    from_models = canal_from_text(text)
    assert same(from_models, tracing)


def canal_from_text(text):
    from curvometer.record.models import CentrelineEntry  # noqa: PLC0415

    return plain.centreline_from_plain(CentrelineEntry.model_validate_json(text).model_dump(mode="json"))


def test_x_is_the_column_and_comes_first(make_known_case):
    case = make_known_case(orifice_rc=(150.0, 500.0))
    tracing = plain.centreline_to_plain(case.centreline)
    measured = plain.measurement_to_plain(case.measurement)
    assert tracing["anchors_xy"][0] == [500.0, 150.0]
    assert measured["landmarks"]["orifice_xy"] == [500.0, 150.0]
    (row, col, radius_px) = case.measurement.landmarks.arcs[0]
    assert measured["landmarks"]["arcs"] == [{"centre_xy": [col, row], "radius_px": radius_px}]
    scale = plain.calibration_to_plain(Calibration(spacing_rc_mm=(0.03, 0.02), at_tooth=True))
    assert scale["spacing_xy_mm"] == (0.02, 0.03)


def test_calibration_without_a_scale_at_the_tooth_tells_no_mm_per_pixel():
    detector = Calibration(spacing_rc_mm=(0.02, 0.02), origin=CalibrationOrigin.DETECTOR)
    told = plain.calibration_to_plain(detector)
    assert (told["mm_per_pixel"], told["standard_uncertainty"], told["at_tooth"]) == (None, None, False)


def test_every_quantity_has_its_place_in_the_model():
    assert set(QUANTITY_NAMES) <= set(MeasurementEntry.model_fields)


def test_reading_is_told_only_where_there_is_one():
    angle = Quantity(value=1.0, lower=0.0, upper=2.0, unit="deg")
    assert "reading" not in plain.quantity_to_plain(angle)
    assert plain.quantity_to_plain(dataclasses.replace(angle, reading="apothem"))["reading"] == "apothem"


# ---------------------------------------------------------------- what a record holds, and what not


def test_a_record_tells_versions_time_and_hash_but_no_name(saved):
    told = json.loads(saved.read_text())
    assert told["schema_version"] == SCHEMA_VERSION == 1
    assert told["software"]["name"] == "curvometer"
    assert set(told["software"]["methods"]) == {"tracing", "shape_fit", "measures"}
    assert told["image"]["sha256"] == "ab" * 32
    assert dt.datetime.fromisoformat(told["created"]).utcoffset() == dt.timedelta(0)
    assert set(told["image"]) == {
        "sha256", "format", "rows", "columns", "bits_stored", "inverted_on_load", "notes",
    }  # fmt: skip


def test_a_record_may_tell_its_tooth(make_known_case, tmp_path):
    case = make_known_case()
    entry = canal_entry(case.centreline, case.measurement, name="MB")
    made = new_record(radiograph=None, calibration=case.calibration, canals=[entry], tooth=46)
    save_record(made, tmp_path / "case.json")
    told = json.loads((tmp_path / "case.json").read_text())
    assert (told["tooth"], told["schema_version"]) == (46, 1)
    jsonschema.validate(told, json_schema("record"), cls=jsonschema.Draft202012Validator)
    assert load_record(tmp_path / "case.json") == made


def test_a_record_from_before_there_was_a_tooth_loads(saved):
    """Its keys, as version 0.1.0 first wrote them; a record whose tooth nobody said is still written like that."""
    keys = ["schema_version", "created", "software", "image", "calibration", "canals"]
    assert list(json.loads(saved.read_text())) == keys
    assert load_record(saved).tooth is None


@pytest.mark.parametrize(
    ("tooth", "told"),
    [
        (19, "at tooth: 19 is no tooth number"),
        (0, "0 is no tooth number"),
        (True, "tooth"),
        ("46", "tooth"),
        (11, "tooth 11 has no canal 'MB2'"),
    ],
)
def test_a_wrong_tooth_is_refused_in_one_sentence(tooth, told, saved, record):
    with pytest.raises(RecordError, match=told):
        load_record(edited(saved, put("tooth", value=tooth)))
    with pytest.raises(RecordError, match=told):
        new_record(radiograph=None, calibration=record.to_calibration(), canals=record.canals, tooth=tooth)


def test_saved_records_are_valid_by_both_schemas(saved):
    told = json.loads(saved.read_text())
    for name in ("record", None):
        schema = json_schema(name)
        assert schema["$schema"].endswith("2020-12/schema")
        jsonschema.Draft202012Validator.check_schema(schema)
        jsonschema.validate(told, schema, cls=jsonschema.Draft202012Validator)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(told | {"patient": "x"}, schema, cls=jsonschema.Draft202012Validator)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(told, json_schema("measure"), cls=jsonschema.Draft202012Validator)


def test_a_record_without_an_image_is_one(make_known_case, tmp_path):
    case = make_known_case()
    record = new_record(
        radiograph=None,
        calibration=case.calibration,
        canals=[canal_entry(case.centreline, case.measurement)],
    )
    save_record(record, tmp_path / "r.json")
    assert load_record(tmp_path / "r.json").image is None


def test_an_unknown_canal_name_is_refused(make_known_case):
    case = make_known_case()
    with pytest.raises(RecordError, match="name"):
        canal_entry(case.centreline, case.measurement, name="left one")


def test_not_a_number_cannot_enter_a_record(make_known_case):
    case = make_known_case()
    nan = Quantity(value=float("nan"), lower=0.0, upper=1.0, unit="deg")
    with pytest.raises(RecordError, match="schneider_angle"):
        canal_entry(case.centreline, dataclasses.replace(case.measurement, schneider_angle=nan))


def test_flags_survive_with_their_severity(make_known_case):
    flag = MeasurementFlag(
        code="short_arc", severity=Severity.DO_NOT_TRUST, text="t", concerns=("pruett_radius",)
    )
    case = make_known_case(flags=(flag,))
    assert canal_entry(case.centreline, case.measurement).to_measurement().flags == (flag,)


# ---------------------------------------------------------------- what is refused


def edited(path, edit):
    told = json.loads(path.read_text())
    edit(told)
    path.write_text(json.dumps(told))
    return path


def put(*keys, value):
    def edit(told):
        for key in keys[:-1]:
            told = told[key]
        told[keys[-1]] = value

    return edit


@pytest.mark.parametrize(
    ("edit", "told"),
    [
        (put("schema_version", value=2), "update curvometer"),
        (put("schema_version", value=0), "unknown schema"),
        (put("schema_version", value="1"), "unknown schema"),
        (put("schema_version", value=True), "unknown schema"),
        (put("schema_version", value=None), "unknown schema"),
        (lambda told: told.pop("schema_version"), "not a curvometer record"),
        (lambda told: told.pop("calibration"), "calibration"),
        (put("patient", value="x"), "patient"),
        (put("canals", 0, "centreline", "colour", value="x"), "colour"),
        (put("canals", 0, "centreline", "points_xy", value=[[1.0, 2.0]]), "points_xy"),
        (put("canals", 0, "centreline", "points_xy", 0, value=[1.0, "2"]), "points_xy"),
        (put("canals", 0, "centreline", "width_px", value=[1.0]), "1 values"),
        (put("canals", 0, "centreline", "position_sd_px", value=[-1.0]), "position_sd_px"),
        (put("canals", 0, "measurement", "schneider_angle", value=31.4), "schneider_angle"),
        (put("canals", 0, "measurement", "canal_form", value="Z"), "canal_form"),
        (put("canals", 0, "flags", value=[{"code": "x"}]), "flags"),
        (put("canals", 0, "name", value="XX"), "name"),
        (put("calibration", "mm_per_pixel", value=0.0), "mm_per_pixel"),
        (put("image", "sha256", value="../../x"), "sha256"),
        (put("created", value="yesterday"), "created"),
        (put("created", value="2030-01-15T09:00:00"), "created"),
    ],
)
def test_a_wrong_record_is_refused_in_one_sentence(edit, told, saved):
    with pytest.raises(RecordError) as refusal:
        load_record(edited(saved, edit))
    sentence = str(refusal.value)
    assert told in sentence
    assert "\n" not in sentence
    assert len(sentence) < 300


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "3", '"x"', "null", "{}", '{"schema_version": NaN}', "[" * 100_000]
)
def test_a_text_that_is_no_record_is_refused(text, tmp_path):
    path = tmp_path / "case.json"
    path.write_text(text)
    with pytest.raises(RecordError):
        load_record(path)


def test_nan_in_a_saved_record_is_refused(saved):
    told = saved.read_text()
    assert '"value": ' in told
    saved.write_text(told.replace('"value": ', '"value": NaN, "was": ', 1))
    with pytest.raises(RecordError, match="NaN"):
        load_record(saved)


def test_bytes_that_are_no_text_a_missing_file_and_a_folder_are_refused(tmp_path):
    (tmp_path / "r.json").write_bytes(b"\xff\x00\xfe")
    for path in (tmp_path / "r.json", tmp_path / "none.json", tmp_path):
        with pytest.raises(RecordError):
            load_record(path)


def test_a_truncated_record_is_refused(saved):
    whole = saved.read_bytes()
    for share in (0.2, 0.6, 0.99):
        saved.write_bytes(whole[: int(len(whole) * share)])
        with pytest.raises(RecordError):
            load_record(saved)


# ---------------------------------------------------------------- saving


def test_an_existing_file_is_kept_unless_overwriting_is_asked_for(record, saved):
    before = saved.read_bytes()
    with pytest.raises(SavingError, match="exists already"):
        save_record(record, saved)
    assert saved.read_bytes() == before
    save_record(record.model_copy(update={"canals": []}), saved, overwrite=True)
    assert load_record(saved).canals == []


def test_a_name_taken_at_the_last_moment_is_kept(tmp_path, monkeypatch):
    """Somebody else makes the file between the check and the writing: theirs stays."""
    path = tmp_path / "r.json"
    write = saving._write_through

    def meanwhile(temporary, content):
        write(temporary, content)
        path.write_text("theirs")

    monkeypatch.setattr(saving, "_write_through", meanwhile)
    with pytest.raises(SavingError):
        save_bytes(b"ours", path)
    assert path.read_text() == "theirs"
    assert [p.name for p in tmp_path.iterdir()] == ["r.json"]


def test_a_disk_that_fills_up_leaves_the_old_file_and_no_draft(tmp_path, monkeypatch):
    path = tmp_path / "r.json"
    path.write_text("old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(saving.os, "fsync", full)
    with pytest.raises(SavingError, match="no space left"):
        save_bytes(b"new", path, overwrite=True)
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["r.json"]


def test_without_hard_links_a_new_file_is_written_all_the_same(tmp_path, monkeypatch):
    def none(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(saving.os, "link", none)
    save_bytes(b"new", tmp_path / "r.json")
    assert (tmp_path / "r.json").read_bytes() == b"new"
    with pytest.raises(SavingError):
        save_bytes(b"newer", tmp_path / "r.json")


@pytest.mark.skipif(os.name == "nt", reason="no permission bits there")
def test_permissions_follow_the_old_file_or_the_umask(tmp_path):
    private, new = tmp_path / "private.json", tmp_path / "new.json"
    private.write_text("old")
    private.chmod(0o600)
    save_bytes(b"x", private, overwrite=True)
    assert stat.S_IMODE(private.stat().st_mode) == 0o600
    before = os.umask(0o027)
    try:
        save_bytes(b"x", new)
    finally:
        os.umask(before)
    assert stat.S_IMODE(new.stat().st_mode) == 0o640


def test_checking_outputs_leaves_no_trace_and_finds_every_fault(tmp_path):
    there, folder = tmp_path / "there.json", tmp_path / "folder"
    there.write_text("x")
    folder.mkdir()
    check_outputs([tmp_path / "a.json", tmp_path / "b.json"], inputs=[there])
    check_outputs([there], overwrite=True)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["folder", "there.json"]
    for outputs, inputs, overwrite in (
        ([there], [], False),
        ([there], [there], True),
        ([folder], [], True),
        ([tmp_path / "none" / "a.json"], [], False),
        ([tmp_path / "a.json", folder / ".." / "a.json"], [], False),
        ([tmp_path / "nul\0.json"], [], False),
        ([tmp_path / ("x" * 300)], [], False),
    ):
        with pytest.raises(SavingError):
            check_outputs(outputs, inputs=inputs, overwrite=overwrite)


SAVE_WITHOUT_END = """
import sys
from pathlib import Path
from curvometer.saving import save_bytes
one, other = (Path(name).read_bytes() for name in sys.argv[1:3])
print("ready", flush=True)
while True:
    save_bytes(one, sys.argv[3], overwrite=True)
    save_bytes(other, sys.argv[3], overwrite=True)
"""


@pytest.mark.skipif(os.name == "nt", reason="kills as a crash does only where signals exist")
def test_a_killed_program_leaves_the_old_or_the_new_record(make_known_case, tmp_path):
    """A child saves two records in turn over the same file and is killed (-9) at different moments of it.

    The records end in 16 MB of white space, so that nearly all of the time goes into writing and a kill
    falls into it; writing in place fails this test.
    """
    case = make_known_case()
    paths = [tmp_path / name for name in ("one.json", "other.json", "target.json")]
    for path, name in zip(paths[:2], ("MB", "ML"), strict=True):
        entry = canal_entry(case.centreline, case.measurement, name=name)
        save_record(new_record(radiograph=None, calibration=case.calibration, canals=[entry]), path)
        path.write_bytes(path.read_bytes() + b" " * 2**24)
    wanted = [path.read_bytes() for path in paths[:2]]
    paths[2].write_bytes(wanted[0])
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    for attempt in range(6):
        command = [sys.executable, "-c", SAVE_WITHOUT_END, *map(str, paths)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, env=environment) as child:
            assert child.stdout.readline() == b"ready\n"
            time.sleep(0.03 + 0.037 * attempt)
            child.kill()
        assert any(paths[2].read_bytes() == content for content in wanted), "a half-written record"
        for draft in tmp_path.glob(".curvometer-*"):
            draft.unlink()  # a kill may leave a draft beside, never in place
    assert load_record(paths[2]).canals[0].name in (CanalName.MB, CanalName.ML)
