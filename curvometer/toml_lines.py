"""Reading a TOML file that a person wrote, so that every complaint can name the line.

The parser of the standard library forgets the lines; they are found again in the text.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from curvometer.radiograph import CurvometerError

_HEADER = re.compile(r"^\s*\[\[?\s*([\w.-]+)\s*\]\]?")
_KEY = re.compile(r"^\s*[\"']?([\w-]+)[\"']?\s*=")


def read_toml(
    path: Path, *, noun: str, largest_bytes: int, error: type[CurvometerError]
) -> tuple[str, dict[str, Any]]:
    """Read a file of bounded size; give its text, with plain line ends, and what it says.

    Parameters
    ----------
    path
        The file.
    noun
        What it is, for complaints: ``"criteria"``.
    largest_bytes
        Far above any such file.
    error
        The exception to raise.

    Raises
    ------
    CurvometerError
        Of that class: when it cannot be read, is too large, no UTF-8 or no TOML; then with the line.
    """
    text = _read(path, noun, largest_bytes, error)
    return text, parse_toml(text, path, error)


def parse_toml(text: str, path: Path, error: type[CurvometerError]) -> dict[str, Any]:
    """Parse a text; `path` names it in the complaint, which tells the line."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        line = re.search(r"at line (\d+)", str(fault))
        place = f", line {line.group(1)}" if line else ", last line"
        told = re.sub(r"\s*\(at .*\)$", "", str(fault))
        raise error(f"{path}{place}: this is not TOML ({told[:1].lower()}{told[1:]})") from fault
    except RecursionError as fault:
        raise error(f"{path} is nested too deeply: write plain tables") from fault


class TomlLines:
    """Lines of a file whose tables of one name are counted from 1; 0 is what stands before them.

    Parameters
    ----------
    text
        The file.
    table
        Name of the tables, as in ``[[criteria]]``.
    """

    def __init__(self, text: str, table: str) -> None:
        self.lines = text.split("\n")
        self.places = _places(self.lines, table)

    def line(self, number: int, key: str, item: Any = None) -> int:
        """Line of a key, or of an item below it that stands on a later line of the same value.

        Parameters
        ----------
        number
            Of the table; 0 for what stands before all tables.
        key
            The key; ``""`` for the table's own header.
        item
            A value or a deeper key to look for.
        """
        start = self.places.get((number, key), self.places.get((number, ""), 1))
        if item is None:
            return start
        later = [line for (table, _), line in self.places.items() if line > start and table >= number]
        written = (
            item if isinstance(item, str) else f"{item:g}" if isinstance(item, float) else str(item).lower()
        )
        for line in range(start, min(later, default=len(self.lines) + 1)):
            if re.search(rf"(?<![\w.]){re.escape(written)}(?![\w.])", self.lines[line - 1].split("#")[0]):
                return line
        return start


def _read(path: Path, noun: str, largest_bytes: int, error: type[CurvometerError]) -> str:
    try:
        with path.open("rb") as stream:
            content = stream.read(largest_bytes + 1)
    except (OSError, ValueError) as fault:
        reason = (getattr(fault, "strerror", None) or type(fault).__name__).lower()
        raise error(f"the {noun} {path} cannot be read ({reason}): check the name") from fault
    if len(content) > largest_bytes:
        size = f"{largest_bytes // 2**20} MiB" if largest_bytes >= 2**20 else f"{largest_bytes // 2**10} KiB"
        raise error(f"{path} is larger than any {noun} ({size}): give a TOML file of {noun}")
    try:
        return content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as fault:
        raise error(f"{path} is not a text in UTF-8: save it as UTF-8") from fault


def _places(lines: list[str], table: str) -> dict[tuple[int, str], int]:
    """Line of every key: (number of its table, 0 before all; key), and of each table's header as key ""."""
    found: dict[tuple[int, str], int] = {}
    number, prefix, in_text = 0, "", False
    for i, line in enumerate(lines, 1):
        header, key = _HEADER.match(line), _KEY.match(line)
        if not in_text and header:
            name = header.group(1)
            number += name == table
            prefix = name.partition(".")[2]
            found[(number, prefix)] = i
        elif not in_text and key and not prefix:
            found.setdefault((number, key.group(1)), i)
        if (line.count('"""') + line.count("'''")) % 2:
            in_text = not in_text
    return found
