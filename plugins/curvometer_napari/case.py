"""What a person did on one radiograph, as frozen values: display, clicks along files, canals with their anchors.

Every edit is a function from a case to a new case, so that undo is keeping the old ones and saving is writing one.
Positions are (row, col) in image pixels, whatever way round the image is shown.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from curvometer import CanalName, Structure
from curvometer_napari.stated import CanalFound, Stated

PointRC = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Display:
    """How the image is shown; nothing here touches a measurement.

    Attributes
    ----------
    quarter_turns
        Clockwise, 0 to 3.
    mirrored
        Left and right swapped, before turning.
    inverted
        Dense parts dark.
    enhanced
        Local contrast raised.
    window
        Grey values shown as black and white; None for the image's own.
    """

    quarter_turns: int = 0
    mirrored: bool = False
    inverted: bool = False
    enhanced: bool = False
    window: tuple[float, float] | None = None


@dataclass(frozen=True, kw_only=True)
class ScaleObject:
    """A file of known length: clicks from its stop along its image to the tip, and the length."""

    clicks_rc: tuple[PointRC, ...]
    length_mm: float
    tolerance_mm: float = 0.5


@dataclass(frozen=True, kw_only=True)
class Tracing:
    """One canal: anchors from the orifice to the foramen.

    Attributes
    ----------
    name
        The canal's code.
    structure
        What is traced: the dark canal or a bright instrument in it.
    anchors_rc
        (row, col) of the orifice, the waypoints and the foramen, in this order.
    hand_legs
        Legs drawn by hand: leg i is the straight line from anchor i to anchor i + 1.
    accepted
        False while it is being traced.
    """

    name: CanalName
    structure: Structure = Structure.CANAL
    anchors_rc: tuple[PointRC, ...] = ()
    hand_legs: frozenset[int] = frozenset()
    accepted: bool = False


@dataclass(frozen=True, kw_only=True)
class Case:
    """Everything that a person did on one radiograph.

    Attributes
    ----------
    display
        How it is shown.
    scale_objects
        Files of known length.
    scale_draft_rc
        Clicks along a file that is not finished.
    tracings
        The canals, at most one of them not accepted.
    selected
        The canal that the panel tells about.
    stated
        What the person says about tooth and canals beside the image.
    """

    display: Display = field(default_factory=Display)
    scale_objects: tuple[ScaleObject, ...] = ()
    scale_draft_rc: tuple[PointRC, ...] = ()
    tracings: tuple[Tracing, ...] = ()
    selected: CanalName | None = None
    stated: Stated = field(default_factory=Stated)

    def tracing(self, name: CanalName | None) -> Tracing | None:
        """The canal of that name, if there is one."""
        return next((t for t in self.tracings if t.name == name), None)

    @property
    def current(self) -> Tracing | None:
        """The selected canal."""
        return self.tracing(self.selected)

    @property
    def draft(self) -> Tracing | None:
        """The canal that is being traced."""
        return next((t for t in self.tracings if not t.accepted), None)


def with_tracing(case: Case, tracing: Tracing) -> Case:
    """Put a canal in place of the one of its name, or behind the others, and select it."""
    if case.tracing(tracing.name) is None:
        tracings = (*case.tracings, tracing)
    else:
        tracings = tuple(tracing if t.name == tracing.name else t for t in case.tracings)
    return replace(case, tracings=tracings, selected=tracing.name)


def without_tracing(case: Case, name: CanalName) -> Case:
    """Remove a canal with what was found in it; the last of those left is selected."""
    left = tuple(t for t in case.tracings if t.name != name)
    stated = case.stated.with_found(name, CanalFound())
    return replace(case, tracings=left, selected=left[-1].name if left else None, stated=stated)


def renamed(case: Case, old: CanalName, new: CanalName) -> Case:
    """Give a canal another code; what was found in it stays its own."""
    tracings = tuple(replace(t, name=new) if t.name == old else t for t in case.tracings)
    stated = case.stated.with_found(new, case.stated.found(old)).with_found(old, CanalFound())
    selected = new if case.selected == old else case.selected
    return replace(case, tracings=tracings, selected=selected, stated=stated)


def with_anchor(tracing: Tracing, point_rc: PointRC, *, by_hand: bool = False) -> Tracing:
    """Add an anchor at the end; `by_hand` makes the way to it a straight line."""
    legs = tracing.hand_legs
    if by_hand and tracing.anchors_rc:
        legs = legs | {len(tracing.anchors_rc) - 1}
    return replace(tracing, anchors_rc=(*tracing.anchors_rc, point_rc), hand_legs=legs)


def without_last_anchor(tracing: Tracing) -> Tracing:
    """Take the last anchor back, with the leg that led to it."""
    anchors = tracing.anchors_rc[:-1]
    return replace(tracing, anchors_rc=anchors, hand_legs=_legs_below(tracing, len(anchors) - 1))


def moved_anchor(tracing: Tracing, index: int, point_rc: PointRC) -> Tracing:
    """Put an anchor elsewhere."""
    anchors = list(tracing.anchors_rc)
    anchors[index] = point_rc
    return replace(tracing, anchors_rc=tuple(anchors))


def inserted_anchor(tracing: Tracing, leg: int, point_rc: PointRC) -> Tracing:
    """Put a waypoint into a leg; both halves stay what the leg was."""
    anchors = (*tracing.anchors_rc[: leg + 1], point_rc, *tracing.anchors_rc[leg + 1 :])
    legs = {i if i <= leg else i + 1 for i in tracing.hand_legs}
    if leg in tracing.hand_legs:
        legs.add(leg + 1)
    return replace(tracing, anchors_rc=anchors, hand_legs=frozenset(legs))


def removed_anchor(tracing: Tracing, index: int) -> Tracing:
    """Remove a waypoint; the two legs become one, by hand only when both were."""
    anchors = tracing.anchors_rc[:index] + tracing.anchors_rc[index + 1 :]
    legs = {i if i < index - 1 else i - 1 for i in tracing.hand_legs if i not in (index - 1, index)}
    if 0 < index < len(tracing.anchors_rc) - 1 and {index - 1, index} <= tracing.hand_legs:
        legs.add(index - 1)
    return replace(tracing, anchors_rc=anchors, hand_legs=frozenset(legs))


def with_hand_leg(tracing: Tracing, leg: int, *, by_hand: bool) -> Tracing:
    """Draw a leg by hand, or let it follow the canal again."""
    legs = tracing.hand_legs | {leg} if by_hand else tracing.hand_legs - {leg}
    return replace(tracing, hand_legs=frozenset(legs))


def _legs_below(tracing: Tracing, count: int) -> frozenset[int]:
    return frozenset(i for i in tracing.hand_legs if i < count)
