"""What a person says about a tooth and its canals that no radiograph shows, as frozen values.

Grades and plans rest on it. Nothing is assumed in a person's place: what nobody said stays unsaid, and a plan takes it for the
answer that allows least.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any

from curvometer import (
    REACHED_SIZES,
    CanalName,
    CaseFacts,
    CurvometerError,
    Exploration,
    Operator,
    canals_of_tooth,
)

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
        A size that nobody stated counts as 0: no hand file has reached length, so nothing may be rotated there.

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

    Raises
    ------
    KeyError, TypeError, ValueError
        When something is missing or is not what it should be.
    """
    facts = dict(plain["facts"])
    if "operator" in facts:
        facts["operator"] = Operator(facts["operator"])
    stated = Stated(
        facts=CaseFacts(**facts),
        canals=tuple(
            sorted((CanalName(name), _found(entry)) for name, entry in dict(plain["canals"]).items())
        ),
        image_rejected=bool(plain["image_rejected"]),
        inventory_path=str(plain["inventory_path"]),
        criteria_path=str(plain["criteria_path"]),
    )
    for name, _ in stated.canals:
        exploration_of(stated, name, trace_accepted=True)  # its numbers must be possible
    return stated


def _found(entry: Plain) -> CanalFound:
    size, length = entry["reached_size"], entry["working_length_mm"]
    if size is not None and size not in REACHED_SIZES:
        raise CurvometerError(f"no hand file of size {size!r} is asked for: state one of {REACHED_SIZES}")
    return CanalFound(
        working_length_mm=None if length is None else float(length),
        reached_size=None if size is None else int(size),
        loose=bool(entry["loose"]),
        forced=bool(entry["forced"]),
        explored_mm=tuple((int(s), float(depth)) for s, depth in entry["explored_mm"]),
        blocked=bool(entry["blocked"]),
        split=bool(entry["split"]),
    )
