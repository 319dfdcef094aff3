"""What a recommender is told: the curve, the findings at the chair, the shelf, the grade."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType

from curvometer.difficulty import Operator, check_canal, check_tooth
from curvometer.difficulty.teeth import is_primary, position_of
from curvometer.instruments import Inventory, default_inventory
from curvometer.mechanics import CanalCurve
from curvometer.radiograph import CurvometerError

REACHED_SIZES = (0, 6, 8, 10, 15, 20)
"""Hand sizes that are tried at working length; 0 is none, 20 stands for 20 and more."""

SHORTEST_WORKING_LENGTH_MM, LONGEST_WORKING_LENGTH_MM = 12.0, 33.0
"""Outside this no permanent tooth is worked on (common practice, no source)."""

OPEN_APEX_MM = 1.0
"""Above this opening the apex is open: closed below 1 mm (American form, 2022)."""

SHORT_RADIUS_MM = 4.0
"""Up to this radius a curve is severe (Estrela 2008; the limit is from memory)."""

VISIBILITIES = ("clear", "narrowed", "not-visible")


class SequenceError(CurvometerError):
    """A request or a plan that cannot be; one sentence."""


@dataclass(frozen=True, kw_only=True)
class Exploration:
    """What is known at the chair.

    Attributes
    ----------
    working_length_mm
        From the reference point on the crown to the end of the preparation; None while it is not known.
    reached_size
        Largest hand file of taper .02 that went to working length, one of `REACHED_SIZES`; 0 when none did.
    loose
        Whether that file slides freely there.
    forced
        Whether it got there by force only; it then counts as the next smaller size (`size_at_length`).
    explored_mm
        Depth from the reference point that each hand size reached, for canals where none reached length yet.
    visibility
        ``"clear"``, ``"narrowed"`` or ``"not-visible"``.
    blocked
        Ledge, obstruction, old filling or fragment in the way.
    apex_opening_mm
        None when nobody said.
    split
        The canal divides suddenly or joins another one deep.
    primary_tooth
        A milk tooth.
    image_rejected
        The radiograph was judged unusable.
    trace_accepted
        A person accepted the traced canal, or typed its numbers.
    operator
        Who would treat; None when nobody said.

    Raises
    ------
    SequenceError
        If an answer is impossible.
    """

    working_length_mm: float | None = None
    reached_size: int = 0
    loose: bool = False
    forced: bool = False
    explored_mm: Mapping[int, float] = field(default_factory=dict)
    visibility: str = "clear"
    blocked: bool = False
    apex_opening_mm: float | None = None
    split: bool = False
    primary_tooth: bool = False
    image_rejected: bool = False
    trace_accepted: bool = True
    operator: Operator | None = None

    def __post_init__(self) -> None:
        _check_answers(self)
        _check_lengths(self)
        object.__setattr__(self, "explored_mm", MappingProxyType(dict(sorted(self.explored_mm.items()))))
        if self.operator is not None:
            object.__setattr__(self, "operator", _operator(self.operator))

    def __hash__(self) -> int:
        return hash((self.working_length_mm, self.reached_size, self.loose, tuple(self.explored_mm.items())))

    @property
    def size_at_length(self) -> int:
        """H: the size reached, the next smaller one where it took force (common practice, no source)."""
        if not self.forced or self.reached_size == 0:
            return self.reached_size
        return REACHED_SIZES[REACHED_SIZES.index(self.reached_size) - 1]

    @property
    def explored_depth_mm(self) -> float:
        """Deepest place that a hand file has reached, from the reference point; 0 when nobody tried."""
        deepest = max(self.explored_mm.values(), default=0.0)
        if self.working_length_mm is not None and self.size_at_length > 0:
            return max(deepest, self.working_length_mm)
        return deepest

    @property
    def is_narrow(self) -> bool:
        """Narrow or obliterated on the image, or a canal that takes no more than a size 8 at length."""
        return self.visibility != "clear" or self.size_at_length in (6, 8)

    @property
    def has_open_apex(self) -> bool:
        """Whether the apex is open by more than `OPEN_APEX_MM`."""
        return self.apex_opening_mm is not None and self.apex_opening_mm > OPEN_APEX_MM


@dataclass(frozen=True, kw_only=True, eq=False)
class PlanRequest:
    """Everything that a recommender may know about one canal.

    Attributes
    ----------
    curve
        Curvature along the canal; None without a scale or without a tracing. Its `length_mm` is the canal's length
        from foramen to orifice.
    angle_deg
        Central angle of the sharpest bend; a deflection, 0 is straight.
    schneider_angle_deg
        Schneider's angle of the same bend, where it is known: told beside the central angle, and never used instead of it.
    radius_mm
        Smallest radius; None in a straight canal.
    curve_start_from_foramen_mm
        Where the curve starts, seen from the orifice; None in a straight canal.
    exploration
        The findings at the chair.
    angle_interval_deg, radius_interval_mm
        95 % interval, which may reach over a limit of a table; None for numbers that are taken as they are.
    s_shape
        Two bends to opposite sides.
    second_angle_deg
        Angle of the second bend; 0 when there is one only.
    grades
        (criteria, class) of each grade.
    referral
        Suggestion for the operator, as ``"treat"``, ``"consider referral"``, ``"refer"``; None when nobody asked.
    referral_reasons
        Why.
    inventory
        The shelf.
    tooth, canal
        ISO 3950 number and canal code; None when nobody said.
    scale_known
        Whether millimetres are millimetres.

    Raises
    ------
    SequenceError
        If a number is impossible or two of them contradict each other.
    """

    curve: CanalCurve | None
    exploration: Exploration
    angle_deg: float = 0.0
    radius_mm: float | None = None
    curve_start_from_foramen_mm: float | None = None
    angle_interval_deg: tuple[float, float] | None = None
    radius_interval_mm: tuple[float, float] | None = None
    s_shape: bool = False
    second_angle_deg: float = 0.0
    grades: tuple[tuple[str, str], ...] = ()
    referral: str | None = None
    referral_reasons: tuple[str, ...] = ()
    inventory: Inventory = field(default_factory=default_inventory)
    tooth: int | None = None
    canal: str | None = None
    scale_known: bool = True
    schneider_angle_deg: float | None = None

    def __post_init__(self) -> None:
        for name, most in (("angle_deg", 180.0), ("second_angle_deg", 180.0)):
            _check_number(getattr(self, name), name, least=0.0, most=most, unit="degrees")
        if self.schneider_angle_deg is not None:
            _check_number(
                self.schneider_angle_deg, "schneider_angle_deg", least=0.0, most=180.0, unit="degrees"
            )
        for name in ("radius_mm", "curve_start_from_foramen_mm"):
            if getattr(self, name) is not None:
                _check_number(getattr(self, name), name, least=1e-6, most=1e4, unit="mm")
        for name in ("angle_interval_deg", "radius_interval_mm"):
            _check_interval(getattr(self, name), name)
        if self.tooth is not None:
            check_tooth(self.tooth)
            if self.canal is not None:
                check_canal(self.tooth, self.canal)
        _check_fits(self)
        object.__setattr__(self, "grades", tuple((str(a), str(b)) for a, b in self.grades))
        object.__setattr__(self, "referral_reasons", tuple(self.referral_reasons))

    @property
    def working_length_mm(self) -> float | None:
        """As in the exploration."""
        return self.exploration.working_length_mm

    @property
    def canal_length_mm(self) -> float | None:
        """From foramen to orifice; None without a curve."""
        return None if self.curve is None else self.curve.length_mm

    @cached_property
    def smallest_radius_mm(self) -> float | None:
        """The smaller one of the radius told and the curve's own; None in a straight canal."""
        own = None if self.curve is None else self.curve.minimum_radius_mm
        return min((r for r in (self.radius_mm, own) if r is not None), default=None)

    @cached_property
    def curve_start_mm(self) -> float | None:
        """Depth of the start of the curve from the reference point; None in a straight canal or without length."""
        if self.working_length_mm is None:
            return None
        start = self._start_from_foramen_mm()
        return None if start is None else self.working_length_mm - start

    @property
    def bends_twice(self) -> bool:
        """S-shape, or a second bend of at least 10 degrees."""
        return self.s_shape or self.second_angle_deg >= 10.0

    @property
    def is_primary(self) -> bool:
        """Whether it is a milk tooth, by number or by word."""
        return self.exploration.primary_tooth or (self.tooth is not None and is_primary(self.tooth))

    @property
    def is_posterior(self) -> bool:
        """Whether it is a premolar or molar; a tooth that nobody named counts as one."""
        return self.tooth is None or position_of(self.tooth) != "anterior"

    def _start_from_foramen_mm(self) -> float | None:
        """The earlier one of the start told and the curve's own."""
        own = None
        if self.curve is not None and self.curve.minimum_radius_mm is not None:
            own = float(self.curve.from_foramen_mm[self.curve.curvature_per_mm > 0.0].max())
        told = self.curve_start_from_foramen_mm
        return max((start for start in (told, own) if start is not None), default=None)


def _check_answers(found: Exploration) -> None:
    if isinstance(found.reached_size, bool) or found.reached_size not in REACHED_SIZES:
        raise SequenceError(
            f"The largest hand file at working length cannot be {found.reached_size!r}; give one of"
            f" {', '.join(map(str, REACHED_SIZES))}, where 0 is none and 20 is 20 or more."
        )
    if found.visibility not in VISIBILITIES:
        raise SequenceError(
            f"The visibility cannot be {found.visibility!r}; give one of {', '.join(VISIBILITIES)}."
        )
    for name in ("loose", "forced", "blocked", "split", "primary_tooth", "image_rejected", "trace_accepted"):
        if not isinstance(getattr(found, name), bool):
            raise SequenceError(f"{name} is {getattr(found, name)!r}; state True or False.")
    if found.loose and found.forced:
        raise SequenceError("A file cannot be loose and forced at the same time; state one of the two.")


def _check_lengths(found: Exploration) -> None:
    length = found.working_length_mm
    if length is not None:
        _check_number(
            length,
            "working length",
            least=SHORTEST_WORKING_LENGTH_MM,
            most=LONGEST_WORKING_LENGTH_MM,
            unit="mm",
        )
    if found.apex_opening_mm is not None:
        _check_number(found.apex_opening_mm, "apex opening", least=0.0, most=10.0, unit="mm")
    if not isinstance(found.explored_mm, Mapping):
        raise SequenceError("explored_mm must give a depth for each hand size, like {8: 17.5}.")
    for size, depth in found.explored_mm.items():
        if isinstance(size, bool) or size not in REACHED_SIZES[1:]:
            raise SequenceError(
                f"There is no explored depth for size {size!r}; sizes are 6, 8, 10, 15 and 20."
            )
        most = LONGEST_WORKING_LENGTH_MM if length is None else length
        _check_number(depth, f"depth explored by size {size}", least=0.0, most=most, unit="mm")


def _check_fits(request: PlanRequest) -> None:
    length = request.working_length_mm
    if length is None:
        return
    start, canal = request.curve_start_from_foramen_mm, request.canal_length_mm
    if start is not None and start >= length:
        raise SequenceError(
            f"A curve that starts {start:g} mm from the foramen does not fit in a working length of {length:g} mm;"
            " measure one of them again."
        )
    if canal is not None and canal > length + 1.0:
        raise SequenceError(
            f"The canal is {canal:.1f} mm long and the working length, which starts at the crown, only {length:g} mm;"
            " check the scale and the working length."
        )


def _check_interval(interval: tuple[float, float] | None, name: str) -> None:
    if interval is None:
        return
    if len(interval) != 2 or not 0.0 <= interval[0] <= interval[1]:
        raise SequenceError(f"{name} is {interval!r}; give the lower and the upper end, the lower one first.")


def _check_number(value: object, what: str, *, least: float, most: float, unit: str) -> None:
    good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    if not good or not least <= value <= most:  # type: ignore[operator]  # `good` says that it is a number
        raise SequenceError(
            f"The {what.replace('_', ' ')} must be a number from {least:g} to {most:g} {unit}, found {value!r};"
            " measure or type it again."
        )


def _operator(value: object) -> Operator:
    try:
        return Operator(str(value))
    except ValueError:
        raise SequenceError(f"There is no operator {value!r}; give one of {', '.join(Operator)}.") from None
