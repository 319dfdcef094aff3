"""A clinic's inventory from a TOML file, with every complaint at its line.

::

    name = "Room 2"

    [[instrument]]
    kind = "hand"
    size = [6, 8, 10, 15]
    taper = 0.02
    length_mm = [21, 25]

    [[instrument]]
    kind = "rotary"
    size = 10
    taper = [0.02, 0.04]
    length_mm = 25
    speed_rpm = [300, 900]
    torque_limit_n_cm = 0.6
    uses = 0
    most_uses = 1

A list of sizes, tapers or lengths stands for one piece of each combination.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from dataclasses import MISSING, fields
from difflib import get_close_matches
from functools import partial
from itertools import product
from pathlib import Path
from typing import Any

from curvometer.instruments.inventory import Inventory
from curvometer.instruments.iso import (
    ISO_SIZES,
    LENGTHS_MM,
    Instrument,
    InstrumentError,
    InstrumentKind,
    Material,
    is_number,
)

Table = dict[str, Any]

LARGEST_FILE_BYTES = 1_000_000
"""An inventory is a page of text; whatever is larger is something else."""

_LISTS = ("size", "taper", "length_mm")
_KEYS = tuple(field.name for field in fields(Instrument))
_NEEDED = tuple(f.name for f in fields(Instrument) if f.default is MISSING and f.name != "material")
_HEADER = re.compile(r"\s*\[\[\s*instrument\s*\]\]")
_MATERIAL_OF_KIND = {
    InstrumentKind.HAND: Material.STEEL,
    InstrumentKind.ROTARY: Material.NICKEL_TITANIUM,
}


class InventoryError(InstrumentError):
    """An inventory file that cannot be used; the sentence names file and line."""


def load_inventory(path: str | Path) -> Inventory:
    """Read a clinic's inventory.

    Parameters
    ----------
    path
        A TOML file: an optional ``name`` and one table ``[[instrument]]`` for each kind of piece, whose keys are the
        fields of `Instrument`. ``size``, ``taper`` and ``length_mm`` may be lists. ``material`` is steel for hand and
        nickel-titanium for rotary instruments where it is left out.

    Returns
    -------
    Inventory

    Raises
    ------
    InventoryError
        If the file cannot be read or holds something else; the sentence names the line.
    """
    where = Path(path)
    text = _read(where)
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InventoryError(f"{where.name} is no valid TOML: {error}; mend that place.") from None
    lines = _Lines(where.name, text)
    for key in content:
        if key not in ("name", "instrument"):
            raise lines.error(f"{key!r} means nothing here; use name and [[instrument]]", lines.top(key))
    name, tables = content.get("name", ""), content.get("instrument", [])
    if not isinstance(name, str):
        raise lines.error(f"name must be text in quotes, found {name!r}", lines.top("name"))
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise lines.error("write every instrument as its own table [[instrument]]", lines.top("instrument"))
    pieces = [piece for number, table in enumerate(tables) for piece in _pieces(table, number, lines)]
    if not pieces:
        raise InventoryError(f"{where.name} lists no instrument; add at least one table [[instrument]].")
    return Inventory(instruments=tuple(pieces), name=name or where.stem)


class _Lines:
    """Where the keys of each table stand: the TOML reader of the standard library does not tell."""

    def __init__(self, name: str, text: str) -> None:
        self.name = name
        self.lines = text.splitlines()
        self.headers = [i for i, line in enumerate(self.lines) if _HEADER.match(line)]

    def top(self, key: str) -> int:
        """Line of a key or table at the top level."""
        mention = re.compile(rf"\s*(\[+\s*)?[\"']?{re.escape(key)}\b")
        return next((i + 1 for i, line in enumerate(self.lines) if mention.match(line)), 1)

    def of(self, number: int, key: str | None = None) -> int:
        """Line of a key of one instrument; the line of its header where the key is not there."""
        if number >= len(self.headers):
            return self.top("instrument")
        start = self.headers[number]
        end = self.headers[number + 1] if number + 1 < len(self.headers) else len(self.lines)
        mention = re.compile(rf"\s*[\"']?{re.escape(key or '')}[\"']?\s*=")
        found = (i + 1 for i in range(start, end) if key and mention.match(self.lines[i]))
        return next(found, start + 1)

    def error(self, what: str, line: int) -> InventoryError:
        return InventoryError(f"{self.name}, line {line}: {what.rstrip('.')}.")


def _read(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise InventoryError(
                f"{path.name} is larger than 1 MB, which no inventory is; give the right file."
            )
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InventoryError(f"{path.name} is no text in UTF-8; save it as such.") from None
    except (OSError, ValueError) as error:
        if isinstance(error, InventoryError):
            raise
        reason = getattr(error, "strerror", None) or "its name cannot be used"
        raise InventoryError(
            f"The inventory {path.name} cannot be read: {reason}; give an existing file."
        ) from None


def _pieces(table: Table, number: int, lines: _Lines) -> list[Instrument]:
    """Every piece that one table stands for."""
    for key in table:
        if key not in _KEYS:
            near = get_close_matches(key, _KEYS, 1)
            hint = f"did you mean {near[0]}?" if near else f"use {', '.join(_KEYS)}"
            raise lines.error(f"an instrument has no {key!r}; {hint}", lines.of(number, key))
    missing = [key for key in _NEEDED if key not in table]
    if missing:
        raise lines.error(f"this instrument lacks {' and '.join(missing)}; add it", lines.of(number))
    for key, value in table.items():
        _check_value(key, value, partial(_error_at, lines, lines.of(number, key)))
    shared = {key: value for key, value in table.items() if key not in _LISTS}
    shared.setdefault("material", _MATERIAL_OF_KIND[InstrumentKind(table["kind"])])
    if "speed_rpm" in shared:
        shared["speed_rpm"] = tuple(shared["speed_rpm"])
    try:
        return [
            Instrument(**shared, size=size, taper=taper, length_mm=length)
            for size, taper, length in product(*(_listed(table[key]) for key in _LISTS))
        ]
    except InstrumentError as error:
        raise lines.error(str(error), lines.of(number, _key_in_doubt(str(error)))) from None


def _error_at(lines: _Lines, line: int, what: str) -> InventoryError:
    return lines.error(what, line)


def _check_value(key: str, value: object, error: Callable[[str], InventoryError]) -> None:
    """What can be told about one key alone; the rest is the instrument's own check."""
    if key == "kind" and value not in tuple(InstrumentKind):
        raise error(f'kind must be "hand" or "rotary", found {value!r}')
    if key == "material" and value not in tuple(Material):
        raise error(f'material must be "steel" or "nickel-titanium", found {value!r}')
    if key == "speed_rpm" and not (
        isinstance(value, list) and len(value) == 2 and all(is_number(v) for v in value)
    ):
        raise error(f"speed_rpm must be the lowest and the highest speed such as [300, 600], found {value!r}")
    if key in _LISTS:
        items = _listed(value)
        if not items:
            raise error(f"{key} is an empty list; give at least one number")
        for item in items:
            _check_item(key, item, error)


def _check_item(key: str, item: object, error: Callable[[str], InventoryError]) -> None:
    if not is_number(item):
        raise error(f"{key} must be a number or a list of numbers, found {item!r}")
    if key != "taper" and not isinstance(item, int):
        raise error(f"{key} must be a whole number, found {item!r}")
    if key == "size" and item not in ISO_SIZES:
        raise error(f"there is no size {item}; sizes are 6, 8, 10, 12, 15 to 60 by 5 and 70 to 140 by 10")
    if key == "length_mm" and item not in LENGTHS_MM:
        raise error(f"a length of {item} mm is not made; instruments are 21, 25, 28 or 31 mm long")


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value]


def _key_in_doubt(sentence: str) -> str | None:
    """The key that an instrument's complaint is about."""
    marks = {
        "taper of": "taper",
        "working part": "working_part_mm",
        "of steel": "material",
        "speed": "speed_rpm",
        "torque limit": "torque_limit_n_cm",
        "so far": "uses",
        "uses allowed": "most_uses",
    }
    return next((key for mark, key in marks.items() if mark in sentence), None)
