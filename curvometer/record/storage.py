"""Making a record, saving it so that a crash cannot harm it, and reading it back with every doubt refused."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, NoReturn

from pydantic import BaseModel, ValidationError
from pydantic.json_schema import models_json_schema

from curvometer.calibration import Calibration
from curvometer.centreline import Centreline
from curvometer.measurement import CanalMeasurement
from curvometer.radiograph import CurvometerError, Radiograph
from curvometer.record import plain
from curvometer.record.models import (
    SCHEMA_VERSION,
    CalibrationEntry,
    CanalEntry,
    CanalName,
    CaseRecord,
    ImageEntry,
    MeasureOutput,
    SoftwareEntry,
)
from curvometer.saving import PathLike, save_bytes

METHOD_VERSIONS = {"tracing": "1", "shape_fit": "1", "measures": "1"}
"""Raise a number when a change to that method moves the results of the same image and clicks."""

LARGEST_RECORD_BYTES = 64 * 2**20
"""Far above any record of one tooth (some 100 kB); keeps a wrong file from filling the memory."""

SCHEMA_DIALECT = "https://json-schema.org/draft/2020-12/schema"


class RecordError(CurvometerError):
    """A record cannot be read, or is not one."""


def canal_entry(
    centreline: Centreline, measurement: CanalMeasurement, *, name: CanalName | str | None = None
) -> CanalEntry:
    """Put one traced and measured canal into the form of a record.

    Parameters
    ----------
    centreline, measurement
        The tracing and what was measured on it.
    name
        The canal's code, for example ``"MB2"``; None when nobody said.

    Raises
    ------
    RecordError
        When the name is no canal code.
    """
    entry = {
        "name": None if name is None else str(name),
        "centreline": plain.centreline_to_plain(centreline),
        "flags": plain.flags_to_plain(measurement.flags),
        "measurement": plain.measurement_to_plain(measurement),
    }
    try:
        return CanalEntry.model_validate_json(json.dumps(entry))
    except ValidationError as error:
        raise RecordError(f"this canal cannot be recorded: {_first_fault(error)}") from error


def new_record(
    *,
    radiograph: Radiograph | None,
    calibration: Calibration,
    canals: Sequence[CanalEntry],
    created: dt.datetime | None = None,
    tooth: int | None = None,
) -> CaseRecord:
    """Make a record of one tooth.

    Parameters
    ----------
    radiograph
        The image; only its hash and form are kept. None when only a tracing was given.
    calibration
        The image's scale.
    canals
        From `canal_entry`.
    created
        Time with its zone; now when None.
    tooth
        Number by ISO 3950; None when nobody said.

    Raises
    ------
    RecordError
        When the number is no tooth, or the tooth has no canal of a name that is given.
    """
    image = None if radiograph is None else json.dumps(plain.image_to_plain(radiograph))
    scale = json.dumps(plain.calibration_to_plain(calibration))
    try:
        return CaseRecord(
            schema_version=SCHEMA_VERSION,
            created=created or dt.datetime.now(dt.UTC),
            software=SoftwareEntry(name="curvometer", version=_program_version(), methods=METHOD_VERSIONS),
            image=None if image is None else ImageEntry.model_validate_json(image),
            calibration=CalibrationEntry.model_validate_json(scale),
            canals=list(canals),
            tooth=tooth,
        )
    except ValidationError as error:
        raise RecordError(f"this record cannot be made: {_first_fault(error)}") from error


def save_record(record: CaseRecord, path: PathLike, *, overwrite: bool = False) -> None:
    """Save a record as JSON: the whole file or nothing.

    Raises
    ------
    SavingError
        When the file exists and `overwrite` is false, or cannot be written.
    """
    # Without a tooth the key is left out, so that a program from before it reads the file.
    left_out = {"tooth"} if record.tooth is None else None
    text = json.dumps(record.model_dump(mode="json", exclude=left_out), indent=1, allow_nan=False)
    save_bytes((text + "\n").encode(), path, overwrite=overwrite)


def load_record(path: PathLike) -> CaseRecord:
    """Read a record that `save_record` wrote.

    Raises
    ------
    RecordError
        When the file is missing, no record, of a newer or unknown schema, or has a wrong, unknown or missing
        value.
    """
    path = Path(path)
    text = _read_text(path)
    _check_version(text, path)
    try:
        return CaseRecord.model_validate_json(text)
    except ValidationError as error:
        raise RecordError(
            f"{path} is damaged or was edited: {_first_fault(error)}; use an undamaged copy"
        ) from error


def json_schema(name: str | None = None) -> dict[str, Any]:
    """Give the JSON Schema (2020-12) of what this program writes.

    Parameters
    ----------
    name
        A command whose ``--json`` it is: ``"measure"``, ``"grade"``, ``"plan"``, ``"next"``, ``"agree"``; or
        ``"record"`` for saved records. None for one document that holds for measure and record.
    """
    chosen: list[type[BaseModel]] = [MeasureOutput, CaseRecord] if name is None else [_model_of(name)]
    _, definitions = models_json_schema([(model, "validation") for model in chosen])
    references = [{"$ref": f"#/$defs/{model.__name__}"} for model in chosen]
    title = "curvometer measurement or record" if name is None else f"curvometer {name}"
    body = {"anyOf": references} if name is None else references[0]
    return {"$schema": SCHEMA_DIALECT, "title": title, **body, "$defs": definitions["$defs"]}


def _model_of(name: str) -> type[BaseModel]:
    """The others are looked up only when they are asked for: they bring grading, planning and statistics with them."""
    if name in ("measure", "record"):
        return MeasureOutput if name == "measure" else CaseRecord
    from curvometer.record.agreement_output import AgreeOutput  # noqa: PLC0415
    from curvometer.record.outputs import GradesOutput, NextOutput, PlansOutput  # noqa: PLC0415

    models: dict[str, type[BaseModel]] = {
        "grade": GradesOutput,
        "plan": PlansOutput,
        "next": NextOutput,
        "agree": AgreeOutput,
    }
    return models[name]


def _program_version() -> str:
    try:
        return version("curvometer")
    except PackageNotFoundError:
        return "not installed"


def _read_text(path: Path) -> str:
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_RECORD_BYTES + 1)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise RecordError(f"the record {path} cannot be read ({reason}): check its name") from error
    if len(content) > LARGEST_RECORD_BYTES:
        raise RecordError(f"{path} is larger than any record (64 MiB): give a record that curvometer saved")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise RecordError(f"{path} is not a JSON text: give a record that curvometer saved") from error


def _check_version(text: str, path: Path) -> None:
    try:
        document = json.loads(text, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        raise RecordError(
            f"{path} is not valid JSON ({error}): give a record that curvometer saved"
        ) from error
    if not isinstance(document, dict) or "schema_version" not in document:
        raise RecordError(f"{path} is not a curvometer record: give a file that was saved with --record")
    found = document["schema_version"]
    if isinstance(found, int) and not isinstance(found, bool) and found > SCHEMA_VERSION:
        raise RecordError(
            f"{path} has schema {found} and this program reads up to {SCHEMA_VERSION}: update curvometer"
        )
    if isinstance(found, bool) or found != SCHEMA_VERSION:
        raise RecordError(f"{path} has the unknown schema {found!r}; known is {SCHEMA_VERSION}")


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number")


def _first_fault(error: ValidationError) -> str:
    """Tell the first thing that is wrong, with its place, in a few words."""
    fault = error.errors(include_url=False)[0]
    place = ".".join(str(part) for part in fault["loc"]) or "the whole"
    said = fault["msg"].removeprefix("Value error, ")
    return f"at {place}: {said[:1].lower()}{said[1:]}"
