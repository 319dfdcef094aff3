"""A rubric as a TOML file, checked so that every complaint names the line; and the default one."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any, NoReturn

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.rubric import ITEM_UNITS, Item, Rubric, RubricItem, Scoring
from curvometer.toml_lines import TomlLines, parse_toml, read_toml

LARGEST_FILE_BYTES = 2**16
"""Far above any rubric; keeps a wrong file from filling the memory."""
MOST_POINTS = 1000.0
MOST_LIMIT = 1000.0

DEFAULT_RUBRIC_TEXT = """\
# Marks for one canal on one image. Limits are the largest errors for all and for half of the points.
# The weights and limits are a proposal for teaching (common practice, no source).
title = "Tracing, measuring and planning one canal"
source = "common practice, no source"
scoring = "steps"            # or "linear": points fall evenly between the limits
unsafe_plan_percent = 49     # most that an image earns with a plan that breaks a safety rule

[[items]]
item = "image"
title = "Image accepted or rejected, with the reasons"
points = 10

[[items]]
item = "calibration"
title = "Calibration"
points = 10
full_percent = 2
half_percent = 5

[[items]]
item = "mean_distance"
title = "Centreline, mean distance"
points = 20
full_mm = 0.15
half_mm = 0.30

[[items]]
item = "far_distance"
title = "Centreline, 95th percentile of the distance"
points = 10
full_mm = 0.30
half_mm = 0.60

[[items]]
item = "curve"
title = "Start and end of the curve"
points = 10
full_mm = 1.0
half_mm = 2.0

[[items]]
item = "angle"
title = "Schneider angle"
points = 15
full_deg = 3
half_deg = 6

[[items]]
item = "radius"
title = "Radius, judged as curvature 1/R"
points = 10
full_percent = 15
half_percent = 30

[[items]]
item = "grade"
title = "Class and the factors that decide it"
points = 10

[[items]]
item = "plan"
title = "Safe plan; treat or refer"
points = 5
"""

_TOP_KEYS = ("title", "source", "scoring", "unsafe_plan_percent", "items")


def load_rubric(text_or_path: str | Path) -> Rubric:
    """Read a rubric.

    Parameters
    ----------
    text_or_path
        A path of a TOML file, or the TOML text itself (a text of several lines); an empty text is the default rubric.

    Returns
    -------
    Rubric
        As the file states; limits that it leaves out are the default's.

    Raises
    ------
    AssessmentError
        With the line, what was found there, and what is needed.
    """
    if isinstance(text_or_path, str) and ("\n" in text_or_path or not text_or_path.strip()):
        text = text_or_path if text_or_path.strip() else DEFAULT_RUBRIC_TEXT
        return _RubricFile("the rubric", text, DEFAULT_RUBRIC).rubric()
    text, _ = read_toml(
        Path(text_or_path), noun="rubric", largest_bytes=LARGEST_FILE_BYTES, error=AssessmentError
    )
    return _RubricFile(str(text_or_path), text, DEFAULT_RUBRIC).rubric()


class _RubricFile:
    """One file: its text for the lines, its document for the values, and the rubric that tells what it leaves out."""

    def __init__(self, name: str, text: str, usual: Rubric | None) -> None:
        self.name, self.default = name, usual
        self.document = parse_toml(text, Path(name), AssessmentError)
        self.lines = TomlLines(text, "items")

    def rubric(self) -> Rubric:
        top = self.document
        self._unknown(top, _TOP_KEYS, 0)
        scoring = top.get("scoring", Scoring.STEPS.value)
        if scoring not in list(Scoring):
            self._fail(0, "scoring", f'scoring is {scoring!r:.40}: write "steps" or "linear"')
        percent = self._number(top, "unsafe_plan_percent", 0, default=49.0, most=100.0)
        return Rubric(
            title=self._word(top, "title", 0, default="Rubric"),
            source=self._word(top, "source", 0, default="the teacher"),
            items=self._items(),
            scoring=Scoring(scoring),
            unsafe_plan_percent=percent,
        )

    def _items(self) -> tuple[RubricItem, ...]:
        entries = self.document.get("items")
        if not isinstance(entries, list) or not entries or not all(isinstance(e, dict) for e in entries):
            self._fail(0, "items", "there are no items: write each one below a line [[items]]")
        if (len(entries), "") not in self.lines.places:
            self._fail(0, "items", "write each item below a line [[items]] of its own")
        items = tuple(self._item(entry, number) for number, entry in enumerate(entries, 1))
        for number, row in enumerate(items, 1):
            if row.item in [other.item for other in items[: number - 1]]:
                self._fail(number, "item", f"the item {row.item.value!r} stands twice: keep one")
        if not any(row.points > 0.0 for row in items):
            self._fail(0, "", "no item is worth any points: give at least one of them points above 0")
        return items

    def _item(self, entry: dict[str, Any], number: int) -> RubricItem:
        name = self._word(entry, "item", number)
        if name not in list(Item):
            self._fail(number, "item", f"the item {name!r} is unknown: write one of {', '.join(Item)}")
        item = Item(name)
        unit = ITEM_UNITS.get(item)
        limits = () if unit is None else (f"full_{unit}", f"half_{unit}")
        self._unknown(entry, ("item", "title", "points", *limits), number)
        usual = None if self.default is None else self.default.row(item)
        full, half = self._limits(entry, number, item, limits, usual)
        return RubricItem(
            item=item,
            title=self._word(entry, "title", number, default=usual.title if usual else _TITLES.get(item, "")),
            points=self._number(entry, "points", number, most=MOST_POINTS),
            full=full,
            half=half,
        )

    def _limits(
        self, entry: dict[str, Any], number: int, item: Item, keys: tuple[str, ...], usual: RubricItem | None
    ) -> tuple[float | None, float | None]:
        if not keys:
            return None, None
        given = [key for key in keys if key in entry]
        if not given and usual is not None:
            return usual.full, usual.half
        for key in keys:
            if key not in entry:
                self._fail(number, "", f"item {item.value!r} needs {key}: add {key} = ...")
        full, half = (self._number(entry, key, number, most=MOST_LIMIT) for key in keys)
        if full <= 0.0:
            self._fail(number, keys[0], f"{keys[0]} is {full:g}: nobody traces without any error, give more")
        if half < full:
            self._fail(
                number, keys[1], f"{keys[1]} = {half:g} is below {keys[0]} = {full:g}: give at least that"
            )
        return full, half

    # --- values and complaints

    def _number(
        self, table: dict[str, Any], key: str, number: int, *, most: float, default: float | None = None
    ) -> float:
        value = table.get(key, default)
        if value is None:
            self._fail(number, "", f"{key} is missing: add {key} = ...")
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            self._fail(number, key, f"{key} is {value!r:.40}: write a number")
        if not 0.0 <= value <= most:
            self._fail(number, key, f"{key} is {value:g}: write a number from 0 to {most:g}")
        return float(value)

    def _word(self, table: dict[str, Any], key: str, number: int, default: str | None = None) -> str:
        value = table.get(key, default)
        if value is None:
            self._fail(number, "", f'{key} is missing: add {key} = "..."')
        if not isinstance(value, str) or not value.strip() or len(value) > 400:
            self._fail(number, key, f"{key} {value!r:.60} is not a text: write one in quotation marks")
        return " ".join(value.split())

    def _unknown(self, table: dict[str, Any], known: tuple[str, ...], number: int) -> None:
        for key in table:
            if key not in known:
                self._fail(number, key, f"the key {key!r} is unknown here: known are {', '.join(known)}")

    def _fail(self, number: int, key: str, sentence: str) -> NoReturn:
        raise AssessmentError(f"{self.name}, line {self.lines.line(number, key)}: {sentence}")


_TITLES = {
    Item.HAUSDORFF: "Centreline, largest distance",
    Item.FRECHET: "Centreline, largest distance walked side by side",
    Item.ENDS: "Orifice and foramen",
}


DEFAULT_RUBRIC = _RubricFile("the default rubric", DEFAULT_RUBRIC_TEXT, None).rubric()
"""The rubric that is used where a teacher gives none."""
