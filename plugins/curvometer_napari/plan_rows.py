"""Steps of a proposed plan as a person types them, cell by cell; no Qt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from curvometer import StepEntry

COLUMNS = ("Kind", "Size", "Taper", "To mm", "rpm", "s")
KINDS = ("hand", "rotary")
SMALLEST_SIZE, LARGEST_SIZE = 6, 140
LARGEST_TAPER = 0.12
DEEPEST_MM, FASTEST_RPM, LONGEST_S = 40.0, 2000.0, 600.0
NOTHING = "-"


class CellError(ValueError):
    """A cell that cannot be read, with what it needs in a sentence."""


@dataclass(frozen=True, kw_only=True)
class PlanRow:
    """One step.

    Attributes
    ----------
    kind
        ``"hand"`` or ``"rotary"``.
    size
        ISO size of the tip, in hundredths of a millimetre.
    taper
        Millimetres per millimetre.
    to_mm
        How deep, from the reference point on the crown.
    speed_rpm
        Of a rotary instrument; None: not said.
    seconds
        How long it turns in the canal; None: not said.
    """

    kind: str = "hand"
    size: int = 10
    taper: float = 0.02
    to_mm: float = 20.0
    speed_rpm: float | None = None
    seconds: float | None = None

    def cells(self) -> tuple[str, ...]:
        """What is shown, in the order of `COLUMNS`."""
        turning = [
            NOTHING if self.kind == "hand" else "" if value is None else f"{value:g}"
            for value in (self.speed_rpm, self.seconds)
        ]
        return (self.kind, f"{self.size:02d}", f"{100.0 * self.taper:g} %", f"{self.to_mm:g}", *turning)

    def entry(self) -> StepEntry:
        """The step in the form of a submission."""
        rotary = self.kind == "rotary"
        return StepEntry(
            kind="rotary" if rotary else "hand",
            size=self.size,
            taper=self.taper,
            to_mm=self.to_mm,
            speed_rpm=self.speed_rpm if rotary else None,
            seconds=self.seconds if rotary else None,
        )


def row_of(entry: StepEntry) -> PlanRow:
    """Read a step of a submission."""
    return PlanRow(
        kind=entry.kind,
        size=entry.size,
        taper=entry.taper,
        to_mm=entry.to_mm,
        speed_rpm=entry.speed_rpm,
        seconds=entry.seconds,
    )


def next_row(rows: tuple[PlanRow, ...], *, working_length_mm: float | None) -> PlanRow:
    """Propose a step to begin with: a fine hand file to the working length, then whatever came last, to be changed."""
    if rows:
        return rows[-1]
    return PlanRow(to_mm=working_length_mm or PlanRow.to_mm)


def with_cell(row: PlanRow, column: str, text: str) -> PlanRow:
    """Put what was typed into one cell of a step.

    Raises
    ------
    CellError
        When it cannot be read, or is out of what there is.
    """
    name, read = _CELLS[column]
    changed = replace(row, **{name: read(text.strip().lower())})
    return replace(changed, speed_rpm=None, seconds=None) if changed.kind == "hand" else changed


def moved(rows: tuple[PlanRow, ...], index: int, by: int) -> tuple[PlanRow, ...]:
    """Move a step up or down; beyond the ends is nowhere."""
    target = index + by
    if not (0 <= index < len(rows) and 0 <= target < len(rows)):
        return rows
    left = [*rows[:index], *rows[index + 1 :]]
    left.insert(target, rows[index])
    return tuple(left)


def _kind(text: str) -> str:
    found = [kind for kind in KINDS if text and kind.startswith(text)]
    if not found:
        raise CellError("An instrument is hand or rotary: type h or r.")
    return found[0]


def _size(text: str) -> int:
    size = _number(text)
    if size is None or size != round(size) or not SMALLEST_SIZE <= size <= LARGEST_SIZE:
        raise CellError(
            f"A size is a whole number from {SMALLEST_SIZE} to {LARGEST_SIZE}: type for example 25."
        )
    return round(size)


def _taper(text: str) -> float:
    """4, 4 %, 0.04 and .04 are the same; 1 is 1 %."""
    taper = _number(text.removesuffix("%"))
    if taper is not None and (taper >= 1.0 or text.endswith("%")):
        taper /= 100.0
    if taper is None or not 0.0 <= taper <= LARGEST_TAPER:
        raise CellError(f"A taper is from 0 to {100 * LARGEST_TAPER:g} %: type for example 4 %, or .04.")
    return round(taper, 4)


def _depth(text: str) -> float:
    depth_mm = _number(text.removesuffix("mm"))
    if depth_mm is None or not 0.0 < depth_mm <= DEEPEST_MM:
        raise CellError(f"A depth is above 0 and up to {DEEPEST_MM:g} mm: type for example 20.5.")
    return depth_mm


def _speed(text: str) -> float | None:
    return _turning(text.removesuffix("rpm"), FASTEST_RPM, "A speed", "rpm", 300)


def _seconds(text: str) -> float | None:
    return _turning(text.removesuffix("s"), LONGEST_S, "A time in the canal", "s", 5)


def _turning(text: str, most: float, what: str, unit: str, example: int) -> float | None:
    if text.strip() in ("", NOTHING):
        return None
    value = _number(text)
    if value is None or not 0.0 < value <= most:
        raise CellError(
            f"{what} is above 0 and up to {most:g} {unit}: type for example {example}, or nothing."
        )
    return value


def _number(text: str) -> float | None:
    try:
        number = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return number if abs(number) < 1e6 else None


_CELLS: dict[str, tuple[str, Callable[[str], Any]]] = {
    "Kind": ("kind", _kind),
    "Size": ("size", _size),
    "Taper": ("taper", _taper),
    "To mm": ("to_mm", _depth),
    "rpm": ("speed_rpm", _speed),
    "s": ("seconds", _seconds),
}
