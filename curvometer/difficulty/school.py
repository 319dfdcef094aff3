"""A school's own criteria as a TOML file, checked so that every complaint names the line."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

from curvometer.bibliography import HowRead, Reference
from curvometer.difficulty.criteria import (
    AggregationRule,
    Answer,
    CriteriaError,
    CriteriaSet,
    DifficultyCriterion,
    Limit,
)
from curvometer.difficulty.facts import FACT_ANSWERS
from curvometer.difficulty.published import PUBLISHED_CRITERIA
from curvometer.difficulty.quantities import GRADABLE
from curvometer.toml_lines import TomlLines, read_toml

LARGEST_FILE_BYTES = 2**20
"""Far above any criteria; keeps a wrong file from filling the memory."""
LARGEST_LIMIT = 1000.0

_SET_KEYS = ("name", "title", "edition", "classes", "rule", "several", "source", "for_referral", "criteria")
_CRITERION_KEYS = (
    "code",
    "title",
    "quantity",
    "fact",
    "limits",
    "at_limit",
    "levels",
    "answers",
    "essential",
)
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,59}")


def load_criteria(path: str | Path) -> CriteriaSet:
    """Read a criteria set of one's own.

    Parameters
    ----------
    path
        A TOML file; docs/difficulty/own_criteria.md shows one.

    Returns
    -------
    CriteriaSet
        The set; its source is what the file states.

    Raises
    ------
    CriteriaError
        With the line, what was found there, and what is needed.
    """
    path = Path(path)
    text, document = read_toml(path, noun="criteria", largest_bytes=LARGEST_FILE_BYTES, error=CriteriaError)
    return _File(path, text, document).criteria_set()


class _File:
    """One file: its text for the lines, its document for the values."""

    def __init__(self, path: Path, text: str, document: dict[str, Any]) -> None:
        self.path, self.document = path, document
        self.lines = TomlLines(text, "criteria")

    def criteria_set(self) -> CriteriaSet:
        top = self.document
        self._unknown(top, _SET_KEYS, 0)
        name = self._word(top, "name", 0)
        if not _NAME.fullmatch(name):
            self._fail(
                0, "name", f"the name {name!r} must be small letters, digits and -, like 'our-school-2026'"
            )
        if name in PUBLISHED_CRITERIA:
            self._fail(0, "name", f"the name {name!r} is that of a set of this program: take another")
        classes = self._classes()
        edition = self._word(top, "edition", 0, default="1")
        source = Reference(
            key=name,
            citation=self._word(top, "source", 0),
            how_read=HowRead.SOURCE,
            note=f"As stated in {self.path.name}.",
        )
        criteria = [
            self._criterion(entry, number, classes, source, edition)
            for number, entry in enumerate(self._entries(), 1)
        ]
        try:
            return CriteriaSet(
                name=name,
                title=self._word(top, "title", 0, default=name),
                edition=edition,
                classes=classes,
                criteria=tuple(criteria),
                rule=self._rule(classes),
                source=source,
                for_referral=self._flag(top, "for_referral", 0, default=True),
            )
        except CriteriaError as error:
            raise CriteriaError(f"{self.path}: {error}") from error

    # --- the set's own values

    def _classes(self) -> tuple[str, ...]:
        found = self._list(self.document, "classes", 0)
        for item in found:
            if not isinstance(item, str) or not item.strip():
                self._fail(0, "classes", f'class {item!r} is not a name: write one like "moderate"', item)
        if not 2 <= len(found) <= 9 or len(set(found)) < len(found):
            self._fail(
                0, "classes", f"there are {len(found)} classes: give 2 to 9 different ones, the easiest first"
            )
        return tuple(found)

    def _rule(self, classes: tuple[str, ...]) -> AggregationRule:
        rule = self.document.get("rule", "highest")
        if rule not in ("highest", "count"):
            self._fail(0, "rule", f'the rule {rule!r} is unknown: write "highest" or "count"')
        if rule == "highest":
            if "several" in self.document:
                self._fail(0, "several", 'several belongs to rule = "count": add that, or leave it out')
            return AggregationRule(words="the highest level counts")
        several = self.document.get("several", 3)
        if isinstance(several, bool) or not isinstance(several, int) or not 2 <= several <= 20:
            self._fail(0, "several", f"several is {several!r}: write a whole number from 2 to 20")
        words = f"the highest level counts; {several} factors of a level above {classes[0]} make the next"
        return AggregationRule(words=words, lift_from=several)

    def _entries(self) -> list[dict[str, Any]]:
        entries = self.document.get("criteria")
        if not isinstance(entries, list) or not entries or not all(isinstance(e, dict) for e in entries):
            self._fail(0, "criteria", "there are no criteria: write each one below a line [[criteria]]")
        if (len(entries), "") not in self.lines.places:
            self._fail(0, "criteria", "write each criterion below a line [[criteria]] of its own")
        return entries

    # --- one criterion

    def _criterion(
        self, entry: dict[str, Any], number: int, classes: tuple[str, ...], source: Reference, edition: str
    ) -> DifficultyCriterion:
        self._unknown(entry, _CRITERION_KEYS, number)
        code = self._word(entry, "code", number)
        if code in [other.get("code") for other in self.document["criteria"][: number - 1]]:
            self._fail(number, "code", f"the code {code!r} stands twice: take another")
        quantity, fact = (self._word(entry, key, number, default="") for key in ("quantity", "fact"))
        if not quantity and not fact:
            self._fail(number, "", f"criterion {code!r} looks at nothing: add quantity = ... or fact = ...")
        if quantity and quantity not in GRADABLE:
            self._fail(
                number,
                "quantity",
                f"the quantity {quantity!r} is unknown: write one of {', '.join(GRADABLE)}",
            )
        if fact and fact not in FACT_ANSWERS:
            self._fail(
                number, "fact", f"the fact {fact!r} is unknown: write one of {', '.join(FACT_ANSWERS)}"
            )
        levels = self._levels(entry, number, classes) if quantity else ()
        return DifficultyCriterion(
            code=code,
            title=self._word(entry, "title", number, default=code.replace("_", " ")),
            source=source,
            edition=edition,
            quantity=quantity,
            fact=fact,
            limits=self._limits(entry, number, classes, levels) if quantity else (),
            levels=levels,
            answers=self._answers(entry, number, fact, classes) if fact else (),
            essential=self._flag(entry, "essential", number, default=False),
        )

    def _levels(self, entry: dict[str, Any], number: int, classes: tuple[str, ...]) -> tuple[int, ...]:
        limits = self._list(entry, "limits", number)
        named = self._list(entry, "levels", number) if "levels" in entry else list(classes)
        if len(named) != len(limits) + 1:
            key = "levels" if "levels" in entry else "limits"
            self._fail(
                number,
                key,
                f"{len(limits)} limits need {len(limits) + 1} levels, there are {len(named)}: correct one",
            )
        return tuple(self._class(name, number, "levels", classes) for name in named)

    def _limits(
        self, entry: dict[str, Any], number: int, classes: tuple[str, ...], levels: tuple[int, ...]
    ) -> tuple[Limit, ...]:
        found = [self._number(value, number) for value in entry["limits"]]
        for smaller, larger in itertools.pairwise(found):
            if larger <= smaller:
                self._fail(number, "limits", f"limit {larger:g} does not rise above {smaller:g}: order them")
        sides = [
            levels[i + 1] >= levels[i] for i in range(len(found))
        ]  # unstated: the limit itself is the harder
        if "at_limit" in entry:
            named = self._list(entry, "at_limit", number)
            if len(named) != len(found):
                self._fail(number, "at_limit", f"at_limit names {len(named)} classes for {len(found)} limits")
            sides = [self._side(name, number, classes, levels[i : i + 2]) for i, name in enumerate(named)]
        return tuple(Limit(value=v, in_upper=side) for v, side in zip(found, sides, strict=True))

    def _side(self, name: Any, number: int, classes: tuple[str, ...], around: tuple[int, ...]) -> bool:
        level = self._class(name, number, "at_limit", classes)
        if level not in around:
            told = " or ".join(repr(classes[i]) for i in around)
            self._fail(number, "at_limit", f"a limit cannot belong to {name!r}: write {told}", name)
        return level == around[1]

    def _answers(
        self, entry: dict[str, Any], number: int, fact: str, classes: tuple[str, ...]
    ) -> tuple[Answer, ...]:
        found = entry.get("answers")
        if not isinstance(found, dict) or not found:
            self._fail(
                number,
                "answers",
                f'the fact {fact!r} needs answers, like {{ {FACT_ANSWERS[fact][0]} = "{classes[0]}" }}',
            )
        for answer in found:
            if answer not in FACT_ANSWERS[fact]:
                known = ", ".join(FACT_ANSWERS[fact])
                self._fail(
                    number, "answers", f"{answer!r} is no answer to {fact!r}: write one of {known}", answer
                )
        lacking = [answer for answer in FACT_ANSWERS[fact] if answer not in found]
        if lacking:
            self._fail(
                number, "answers", f"the answers to {fact!r} lack {', '.join(lacking)}: give each a class"
            )
        return tuple(
            Answer(answer=answer, level=self._class(name, number, "answers", classes))
            for answer, name in found.items()
        )

    # --- values and complaints

    def _class(self, name: Any, number: int, key: str, classes: tuple[str, ...]) -> int:
        if name not in classes:
            self._fail(number, key, f"{name!r} is none of the classes {', '.join(classes)}", name)
        return classes.index(name)

    def _number(self, value: Any, number: int) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            self._fail(number, "limits", f"limit {value!r} is not a number: write one like 30", value)
        if not 0.0 < value <= LARGEST_LIMIT:
            self._fail(
                number, "limits", f"limit {value!r} must be above 0 and at most {LARGEST_LIMIT:g}", value
            )
        return float(value)

    def _word(self, table: Mapping[str, Any], key: str, number: int, default: str | None = None) -> str:
        value = table.get(key, default)
        if value is None:
            self._fail(number, "", f'{key} is missing: add {key} = "..."')
        if not isinstance(value, str) or (not value.strip() and default is None) or len(value) > 400:
            self._fail(number, key, f"{key} {value!r:.60} is not a text: write one in quotation marks")
        return " ".join(value.split())

    def _list(self, table: Mapping[str, Any], key: str, number: int) -> list[Any]:
        value = table.get(key)
        if not isinstance(value, list) or not value:
            place = key if key in table else ""
            self._fail(number, place, f"{key} must be a list, like {key} = [...]")
        return value

    def _flag(self, table: Mapping[str, Any], key: str, number: int, *, default: bool) -> bool:
        value = table.get(key, default)
        if not isinstance(value, bool):
            self._fail(number, key, f"{key} is {value!r:.60}: write true or false")
        return value

    def _unknown(self, table: Mapping[str, Any], known: tuple[str, ...], number: int) -> None:
        for key in table:
            if key not in known:
                self._fail(number, key, f"the key {key!r} is unknown: known are {', '.join(known)}")

    def _fail(self, number: int, key: str, sentence: str, item: Any = None) -> NoReturn:
        raise CriteriaError(f"{self.path}, line {self.lines.line(number, key, item)}: {sentence}")
