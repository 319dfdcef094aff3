"""One canal before and after shaping, on two images laid on each other: what changed by more than can be repeated."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from curvometer.comparison.angle import axis_up_to
from curvometer.comparison.offsets import bend_side, side_in_words
from curvometer.comparison.polylines import ComparisonError, Curve, Scale, curve_of, scale_of
from curvometer.curvature import schneider_angle
from curvometer.geometry import FloatArray, cross, dot

ANGLE_REPEATABILITY_DEG = 5.0
"""A smaller change of an angle is not told (common practice, no source)."""
SHIFT_REPEATABILITY_MM = 0.15
"""A smaller shift is not told (common practice, no source)."""
LEVELS_MM = (1.0, 3.0, 5.0)
"""Distances from the apical end at which shifts are told (common practice, no source)."""
DIRECTION_MM = 1.0
"""Length of the chord whose direction is the canal's at a level (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class NormalShift:
    """Shift of the canal across itself at one level.

    Attributes
    ----------
    from_foramen_mm
        The level: distance from the foramen before, along the canal before.
    shift_mm
        Along the normal of the canal before: positive to the left for one who walks from the orifice to the foramen. None
        where the canal after does not cross that normal.
    side
        ``"inside of the bend"`` or ``"outside of the bend"``, or ``"left"``, ``"right"`` where it has none; ``""`` for None.
    told
        Whether it exceeds what can be repeated, and the registration's residual.
    """

    from_foramen_mm: float
    shift_mm: float | None
    side: str
    told: bool


@dataclass(frozen=True, kw_only=True)
class ShapingComparison:
    """One canal before and after shaping. It says what differs, never why.

    Attributes
    ----------
    angle_before_deg, angle_after_deg
        Schneider's angles with one axis and one start of the curve, those before.
    shifts
        Level by level.
    length_before_mm, length_after_mm
        Along both lines.
    registration_residual_mm
        As given; None when it is not known.
    angle_repeatability_deg, shift_repeatability_mm
        What two readings of one canal may differ by: smaller changes are not told.
    """

    angle_before_deg: float
    angle_after_deg: float
    shifts: tuple[NormalShift, ...]
    length_before_mm: float
    length_after_mm: float
    registration_residual_mm: float | None
    angle_repeatability_deg: float = ANGLE_REPEATABILITY_DEG
    shift_repeatability_mm: float = SHIFT_REPEATABILITY_MM

    @property
    def straightening_deg(self) -> float:
        """Angle before less that after."""
        return self.angle_before_deg - self.angle_after_deg

    @property
    def straightening_told(self) -> bool:
        """Whether it exceeds what can be repeated."""
        return abs(self.straightening_deg) > self.angle_repeatability_deg

    @property
    def remarks(self) -> tuple[str, ...]:
        """What changed by more than can be repeated, a sentence each."""
        said = []
        if self.straightening_told:
            said.append(
                f"The Schneider angle is {self.angle_after_deg:.0f} degrees, {self.angle_before_deg:.0f} before."
            )
        said += [
            f"{shift.from_foramen_mm:g} mm from the foramen the canal lies {abs(shift.shift_mm):.2f} mm {_to(shift.side)}."
            for shift in self.shifts
            if shift.told and shift.shift_mm is not None
        ]
        if not said:
            limits = f"{self.angle_repeatability_deg:g} degrees, {self.shift_repeatability_mm:g} mm"
            said.append(f"No change beyond what can be repeated ({limits}).")
        residual = self.registration_residual_mm
        if residual is not None and residual > self.shift_repeatability_mm:
            said.append(
                f"The two images fit each other to {residual:.2f} mm only: smaller shifts are not told."
            )
        return tuple(said)


def compare_shaping(
    before_rc: ArrayLike,
    after_rc: ArrayLike,
    *,
    curve_start_rc: ArrayLike,
    mm_per_pixel: Scale,
    registration_residual_mm: float | None = None,
    levels_mm: Sequence[float] = LEVELS_MM,
    angle_repeatability_deg: float = ANGLE_REPEATABILITY_DEG,
    shift_repeatability_mm: float = SHIFT_REPEATABILITY_MM,
) -> ShapingComparison:
    """Compare a canal's line before shaping with its line after, on one image.

    Parameters
    ----------
    before_rc, after_rc
        (n, 2), (m, 2) points (row, col) in pixels, orifice first; those after as they lie on the image before
        (`register_on_marks`).
    curve_start_rc
        (2,) start of the curve before. It serves for both angles, as does the axis before.
    mm_per_pixel
        The scale, one number or (per row, per column); 1 for lines in millimetres.
    registration_residual_mm
        How well the images fit each other; shifts below it are not told.
    levels_mm
        Distances from the foramen before, along the canal.
    angle_repeatability_deg, shift_repeatability_mm
        What two readings of one canal differ by in your own hands, where you know it: smaller changes are not told.

    Returns
    -------
    ShapingComparison
        Every number, and which of them exceed what can be repeated.

    Raises
    ------
    ComparisonError
        When a line cannot be compared, or a level lies outside the canal.
    DegenerateLandmarksError
        When the start of the curve coincides with a foramen.

    References
    ----------
    `curvometer.comparison.sources.FIDLER_2021`: the shift of the centre is preferred to removed material.
    """
    scale = scale_of(mm_per_pixel)
    before, after = curve_of(before_rc, scale, "line before"), curve_of(after_rc, scale, "line after")
    for level in levels_mm:
        if not 0.0 <= level < before.length:
            raise ComparisonError(
                f"the level {level!r} mm lies outside the canal of {before.length:.1f} mm: give distances from the foramen"
            )
    near = np.asarray(curve_start_rc, dtype=float)
    if near.shape != (2,) or not np.isfinite(near).all():
        raise ComparisonError(
            f"the start of the curve needs two finite coordinates (row, col), found {curve_start_rc!r}: mark it again"
        )
    s = before.nearest((near * scale)[None])[0]
    axis, start = axis_up_to(before.points, float(s[0])), before.place(s)[0]
    least = max(shift_repeatability_mm, registration_residual_mm or 0.0)
    side = bend_side(before)
    return ShapingComparison(
        angle_before_deg=float(schneider_angle(axis, start, before.points[-1])),
        angle_after_deg=float(schneider_angle(axis, start, after.points[-1])),
        shifts=tuple(_shift_at(before, after, level, side, least) for level in levels_mm),
        length_before_mm=before.length,
        length_after_mm=after.length,
        registration_residual_mm=registration_residual_mm,
        angle_repeatability_deg=angle_repeatability_deg,
        shift_repeatability_mm=shift_repeatability_mm,
    )


def _shift_at(before: Curve, after: Curve, level: float, bends: str | None, least: float) -> NormalShift:
    s = before.length - level
    reach = min(0.5 * DIRECTION_MM, s, level) or 0.5 * DIRECTION_MM
    back, here, ahead = before.place(np.clip([s - reach, s, s + reach], 0.0, before.length))
    shift = _crossing(after.points, here, ahead - back)
    if shift is None:
        return NormalShift(from_foramen_mm=level, shift_mm=None, side="", told=False)
    side = side_in_words("left" if shift > 0.0 else "right", bends)
    return NormalShift(from_foramen_mm=level, shift_mm=shift, side=side, told=abs(shift) > least)


def _crossing(line: FloatArray, origin: FloatArray, direction: FloatArray) -> float | None:
    """Signed distance from `origin`, along the normal to `direction`, of the nearest place where a line crosses it."""
    unit = direction / np.hypot(*direction)
    along, across = dot(line - origin, unit), cross(unit, line - origin)
    first = np.flatnonzero(
        (along[:-1] <= 0.0) & (along[1:] >= 0.0) | (along[:-1] >= 0.0) & (along[1:] <= 0.0)
    )
    if not len(first):
        return None
    step = along[first + 1] - along[first]
    flat = step == 0.0  # a piece that lies on the normal: its first point stands for it
    share = np.where(flat, 0.0, -along[first] / np.where(flat, 1.0, step))
    crossings = across[first] + share * (across[first + 1] - across[first])
    return float(crossings[np.argmin(np.abs(crossings))])


def _to(side: str) -> str:
    return f"to the {side}" if not side.endswith("bend") else f"towards the {side}"
