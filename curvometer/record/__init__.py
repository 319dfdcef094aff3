"""Records: everything about one tooth as versioned JSON, saved so that a crash cannot harm it.

`plain` holds the dictionaries that the command line prints too and needs numpy only; the models and the
storage bring pydantic, so their names are loaded when first asked for: measuring a saved trace stays quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from curvometer.record.models import SCHEMA_VERSION, CanalEntry, CanalName, CaseRecord, MeasureOutput
    from curvometer.record.storage import (
        METHOD_VERSIONS,
        RecordError,
        canal_entry,
        json_schema,
        load_record,
        new_record,
        save_record,
    )

_HOMES = {
    "models": ("SCHEMA_VERSION", "CanalEntry", "CanalName", "CaseRecord", "MeasureOutput"),
    "storage": (
        "METHOD_VERSIONS",
        "RecordError",
        "canal_entry",
        "json_schema",
        "load_record",
        "new_record",
        "save_record",
    ),
}

__all__ = [
    "METHOD_VERSIONS",
    "SCHEMA_VERSION",
    "CanalEntry",
    "CanalName",
    "CaseRecord",
    "MeasureOutput",
    "RecordError",
    "canal_entry",
    "json_schema",
    "load_record",
    "new_record",
    "save_record",
]


def __getattr__(name: str) -> Any:
    for home, names in _HOMES.items():
        if name in names:
            return getattr(import_module(f"curvometer.record.{home}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
