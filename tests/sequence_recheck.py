"""An independent re-check of plans: the safety rules once more, from the issue's words, without the guard's code.

Strain of a canal of circular arcs: on an arc of radius R the thickest cross-section stands at the arc's coronal end, so with
the tip t mm and the arc's start s mm from the foramen the strain is (size/100 + taper (s - t)) / (2 R) for s > t, 0 otherwise.
Budget: turns n = rpm/60 seconds over a third of (0.79 / strain)^2.
"""

from __future__ import annotations

from dataclasses import dataclass

WORKING_PART_MM = 16.0


@dataclass(frozen=True)
class Canal:
    """The raw input of one case; `arcs` are (start_from_foramen, radius)."""

    working_length: float
    arcs: tuple[tuple[float, float], ...]
    s_shape: bool
    reached: int
    explored: float
    blocked: bool = False
    apex: float | None = None
    split: bool = False
    scale: bool = True
    accepted: bool = True
    primary: bool = False


def strain(instrument, to_mm, canal):
    tip = canal.working_length - to_mm
    found = [0.0]
    for start, radius in canal.arcs:
        if start > tip - 1e-9:
            along = min(start - tip, WORKING_PART_MM)
            found.append((instrument.size / 100 + instrument.taper * along) / (2 * radius))
    return max(found)


def share(step, canal):
    turns = step.speed_rpm / 60 * max(step.seconds, 3.0)
    bent = min(strain(step.instrument, step.to_mm, canal), 1.0)
    return turns / ((0.79 / bent) ** 2 / 3) if bent > 0 else 0.0


def faults(plan, canal, inventory):
    """Every rule that a plan breaks, as a set of words; empty for a safe plan."""
    found = set()
    steps = plan.steps
    length = canal.working_length
    top = max((start for start, _ in canal.arcs), default=None)
    curve_depth = None if top is None else length - top
    tight = canal.s_shape or any(radius <= 4.0 for _, radius in canal.arcs)
    by_hand = length if canal.reached >= 6 else canal.explored
    waiting = None  # depth of a rotary step that no hand file has confirmed yet
    for step in steps:
        tool = step.instrument
        rotary = tool.kind == "rotary"
        if not any(tool is piece or tool == piece for piece in inventory.instruments):
            found.add("not on the shelf")
        if tool.most_uses is not None and tool.uses >= tool.most_uses:
            found.add("spent")
        if tool.length_mm < step.to_mm + 1.0 - 0.02:
            found.add("too short")
        if step.to_mm <= 0 or step.to_mm > length + (0.02 if rotary else 1.02):
            found.add("depth")
        if tight and tool.taper > 0.021 and curve_depth is not None and step.to_mm > curve_depth + 0.02:
            found.add("taper")
        if not rotary:
            by_hand = max(by_hand, step.to_mm)
            if waiting is not None and step.to_mm >= waiting - 0.02:
                waiting = None
            continue
        if waiting is not None:
            found.add("no hand file between")
        waiting = step.to_mm
        if canal.blocked or canal.split or canal.primary or not canal.scale or not canal.accepted:
            found.add("rotary in a forbidden canal")
        if canal.apex is not None and canal.apex > 1.0:
            found.add("rotary with open apex")
        if step.to_mm > by_hand + 0.02:
            found.add("deeper than explored")
        if canal.reached < 6 and step.to_mm > length - 1.0 + 0.02:
            found.add("to length without 6 or 8")
        if step.speed_rpm is None or not tool.speed_rpm[0] <= step.speed_rpm <= tool.speed_rpm[1]:
            found.add("speed")
        elif step.seconds is None or step.seconds <= 0:
            found.add("time")
        elif share(step, canal) > 0.5 + 1e-6:
            found.add("budget")
        wide = tool.taper > 0.021
        above = curve_depth is not None and step.to_mm <= curve_depth
        near = curve_depth is not None and step.to_mm > curve_depth - 2.0 + 0.02
        if near and (step.role == "preflare" or (wide and above)):
            found.add("preflare near the curve")
    if waiting is not None or (
        any(s.instrument.kind == "rotary" for s in steps) and steps[-1].instrument.kind != "hand"
    ):
        found.add("no hand file at the end")
    return found
