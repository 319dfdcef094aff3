"""What a person says about a tooth and its canals that no radiograph shows, as frozen values.

Grades and plans rest on it. What nobody said stays unsaid: a grade lists it, and for a plan no hand file has reached length. Of
the rest a plan takes what `curvometer plan` takes where an option is left out.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any, TypeVar

from curvometer import (
    CanalName,
    CaseFacts,
    Exploration,
    Operator,
    canals_of_tooth,
)

Kind = TypeVar("Kind")
Plain = dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class CanalFound:
    """What hand files have found in one canal; the words are those of `curvometer.Exploration`.

    Attributes
    ----------
    working_length_mm
        From the reference point on the crown; None when nobody measured it.
    reached_size
        Largest hand file that reached it, one of `REACHED_SIZES`; None when nobody said, which counts as none.
    loose, forced
        How it sat there.
    explored_mm
        (size, depth from the reference point) of hand files that went less far.
    blocked, split
        A ledge or another obstruction; a canal that divides suddenly.
    """

    working_length_mm: float | None = None
    reached_size: int | None = None
    loose: bool = False
    forced: bool = False
    explored_mm: tuple[tuple[int, float], ...] = ()
    blocked: bool = False
    split: bool = False


@dataclass(frozen=True, kw_only=True)
class Stated:
    """Everything that a person says about one tooth.

    Attributes
    ----------
    facts
        Of the tooth, its canal left out: each canal has the same ones.
    canals
        What was found in each canal, at most once each.
    image_rejected
        The radiograph was judged unusable.
    inventory_path, criteria_path
        The clinic's shelf and a school's criteria, as TOML files; empty for those that come with the program.
    """

    facts: CaseFacts = field(default_factory=CaseFacts)
    canals: tuple[tuple[CanalName, CanalFound], ...] = ()
    image_rejected: bool = False
    inventory_path: str = ""
    criteria_path: str = ""

    def found(self, canal: CanalName) -> CanalFound:
        """What was found in a canal; nothing when nobody said."""
        return dict(self.canals).get(canal, CanalFound())

    def with_found(self, canal: CanalName, found: CanalFound) -> Stated:
        """State what was found in a canal, in place of what was stated before."""
        others = {name: its for name, its in self.canals if name != canal}
        if found != CanalFound():
            others[canal] = found
        return replace(self, canals=tuple(sorted(others.items())))

    def with_facts(self, **changes: Any) -> Stated:
        """State some of the facts anew.

        Raises
        ------
        CurvometerError
            If one is impossible.
        """
        return replace(self, facts=replace(self.facts, **changes))


def beside_the_tooth(stated: Stated) -> Stated:
    """What holds for the next tooth as well: who would treat, the clinic's shelf, the school's criteria."""
    return Stated(
        facts=CaseFacts(operator=stated.facts.operator),
        inventory_path=stated.inventory_path,
        criteria_path=stated.criteria_path,
    )


def facts_of(stated: Stated, canal: CanalName) -> CaseFacts:
    """Facts for the grade of one canal: with its code where the tooth has such a canal."""
    facts = stated.facts
    known = facts.tooth is not None and str(canal) in canals_of_tooth(facts.tooth)
    return replace(facts, canal=str(canal) if known else None)


def exploration_of(stated: Stated, canal: CanalName, *, trace_accepted: bool) -> Exploration:
    """What a plan is told of a canal.

    Parameters
    ----------
    stated
        Of the tooth.
    canal
        Which canal.
    trace_accepted
        Whether a person accepted its tracing.

    Returns
    -------
    Exploration
        A size that nobody stated counts as 0: no hand file has reached length, so nothing may be rotated there. A visibility
        that nobody stated counts as clear.

    Raises
    ------
    CurvometerError
        If numbers are impossible or contradict each other.
    """
    found, facts = stated.found(canal), stated.facts
    return Exploration(
        working_length_mm=found.working_length_mm,
        reached_size=found.reached_size or 0,
        loose=found.loose,
        forced=found.forced,
        explored_mm=dict(found.explored_mm),
        visibility=facts.visibility or "clear",
        blocked=found.blocked,
        apex_opening_mm=facts.apex_opening_mm,
        split=found.split,
        primary_tooth=facts.tooth is not None and facts.tooth > 50,  # ISO 3950: quadrants 5 to 8
        image_rejected=stated.image_rejected,
        trace_accepted=trace_accepted,
        operator=facts.operator,
    )


def stated_to_plain(stated: Stated) -> Plain:
    """Put what was stated into the form of JSON; what nobody said is left out."""
    facts = {f.name: getattr(stated.facts, f.name) for f in fields(CaseFacts)}
    return {
        "facts": {
            name: str(value) if isinstance(value, Operator) else value
            for name, value in facts.items()
            if value is not None
        },
        "canals": {
            str(name): {
                "working_length_mm": found.working_length_mm,
                "reached_size": found.reached_size,
                "loose": found.loose,
                "forced": found.forced,
                "explored_mm": [[size, depth] for size, depth in found.explored_mm],
                "blocked": found.blocked,
                "split": found.split,
            }
            for name, found in stated.canals
        },
        "image_rejected": stated.image_rejected,
        "inventory_path": stated.inventory_path,
        "criteria_path": stated.criteria_path,
    }


def stated_from_plain(plain: Plain) -> Stated:
    """Read what `stated_to_plain` wrote.

    Numbers that contradict each other come back as they were stated, for the person to correct: a tracing must not be lost over
    them. A number that is impossible by itself was not written by this program.

    Raises
    ------
    KeyError, TypeError, ValueError
        When something is missing or is not what it should be.
    """
    facts = dict(plain["facts"])
    if not isinstance(facts.get("tooth", 11), int):
        raise TypeError(f"the tooth {facts['tooth']!r} is no whole number")
    if "operator" in facts:
        facts["operator"] = Operator(facts["operator"])
    return Stated(
        facts=replace(CaseFacts(**facts), canal=None),
        canals=tuple(
            sorted(
                (CanalName(name), _found(entry)) for name, entry in _of_kind(dict, plain["canals"]).items()
            )
        ),
        image_rejected=_of_kind(bool, plain["image_rejected"]),
        inventory_path=_of_kind(str, plain["inventory_path"]),
        criteria_path=_of_kind(str, plain["criteria_path"]),
    )


def _found(entry: Plain) -> CanalFound:
    size, length = entry["reached_size"], entry["working_length_mm"]
    depths = tuple((_of_kind(int, size), _number(depth)) for size, depth in entry["explored_mm"])
    found = CanalFound(
        working_length_mm=None if length is None else _number(length),
        reached_size=None if size is None else _of_kind(int, size),
        explored_mm=depths,
        **{name: _of_kind(bool, entry[name]) for name in ("loose", "forced", "blocked", "split")},
    )
    # Each by itself: a depth may exceed a length that was stated later.
    Exploration(working_length_mm=found.working_length_mm, loose=found.loose, forced=found.forced)
    Exploration(reached_size=found.reached_size or 0, explored_mm=dict(found.explored_mm))
    return found


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(f"{value!r} is no number")
    return float(value)


def _of_kind(kind: type[Kind], value: Any) -> Kind:
    if type(value) is not kind:  # True is no whole number, and 0 no answer
        raise TypeError(f"{value!r} is no {kind.__name__}")
    return value
