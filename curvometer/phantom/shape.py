"""The chosen shape of a simulated canal: straight pieces and circular arcs, joined without a kink.

The curve lies in a plane. The frame is the one of the published methods: the canal orifice is the origin,
``u`` runs along the canal's coronal axis towards the apex, ``v`` across it towards the (first) bend.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from curvometer.radiograph import CurvometerError

FloatArray = NDArray[np.float64]
STRAIGHT = math.inf
"""The radius of a straight piece."""


@dataclass(frozen=True)
class SegmentFrame:
    """Where one piece of the canal starts: arc length, position, heading (radians); its length and radius."""

    s_mm: float
    u_mm: float
    v_mm: float
    heading: float
    length_mm: float
    radius_mm: float

    def at(self, along_mm: float) -> tuple[float, float, float]:
        """Position and heading (u, v, radians) at a distance along this piece."""
        cos_h, sin_h = math.cos(self.heading), math.sin(self.heading)
        if math.isinf(self.radius_mm):
            return self.u_mm + along_mm * cos_h, self.v_mm + along_mm * sin_h, self.heading
        end = self.heading + along_mm / self.radius_mm
        return (
            self.u_mm + self.radius_mm * (math.sin(end) - sin_h),
            self.v_mm - self.radius_mm * (math.cos(end) - cos_h),
            end,
        )


@dataclass(frozen=True)
class CanalShape:
    """A canal's centreline as pieces of constant curvature, from the orifice to the foramen.

    Attributes
    ----------
    segments
        ``((length_mm, radius_mm), ...)`` in order. The radius is signed: positive bends towards +v, negative
        towards -v, ``math.inf`` is straight. Pieces of length 0 are dropped.

    Raises
    ------
    CurvometerError
        When a length is negative or not finite, a radius is 0 or not a number, nothing is left, or one arc
        turns by 180 degrees or more.

    Examples
    --------
    >>> shape = CanalShape.straight_arc(straight_mm=8, radius_mm=8, angle_deg=45)
    >>> round(shape.length_mm, 6)
    14.283185
    """

    segments: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        kept = tuple((float(length), float(radius)) for length, radius in self.segments if length != 0.0)
        for length, radius in kept:
            _check_segment(length, radius)
        if not kept:
            raise CurvometerError("a canal shape needs at least one piece longer than 0 mm: give its lengths")
        object.__setattr__(self, "segments", kept)

    @classmethod
    def straight(cls, *, length_mm: float) -> CanalShape:
        """Make a canal without any curve."""
        return cls(((length_mm, STRAIGHT),))

    @classmethod
    def straight_arc(
        cls, *, straight_mm: float, radius_mm: float, angle_deg: float, tail_mm: float = 0.0
    ) -> CanalShape:
        """Make a straight piece, an arc of one radius, and a straight tail (J form; I form at 0 degrees)."""
        arc_mm = radius_mm * math.radians(angle_deg)
        return cls(((straight_mm, STRAIGHT), (arc_mm, radius_mm), (tail_mm, STRAIGHT)))

    @classmethod
    def s_curve(
        cls,
        *,
        straight_mm: float,
        radius1_mm: float,
        angle1_deg: float,
        middle_mm: float,
        radius2_mm: float,
        angle2_deg: float,
        tail_mm: float = 0.0,
    ) -> CanalShape:
        """Make a canal with two opposite arcs and a straight piece between them (S form)."""
        first_mm = radius1_mm * math.radians(angle1_deg)
        second_mm = radius2_mm * math.radians(angle2_deg)
        return cls(
            (
                (straight_mm, STRAIGHT),
                (first_mm, radius1_mm),
                (middle_mm, STRAIGHT),
                (second_mm, -radius2_mm),
                (tail_mm, STRAIGHT),
            )
        )

    @property
    def length_mm(self) -> float:
        """Arc length from orifice to foramen."""
        return math.fsum(length for length, _ in self.segments)

    def frames(self) -> tuple[SegmentFrame, ...]:
        """Give the start of every piece, and a last one of length 0 at the foramen."""
        frames: list[SegmentFrame] = []
        s, u, v, heading = 0.0, 0.0, 0.0, 0.0
        for length, radius in self.segments:
            frames.append(SegmentFrame(s, u, v, heading, length, radius))
            u, v, heading = frames[-1].at(length)
            s += length
        frames.append(SegmentFrame(s, u, v, heading, 0.0, STRAIGHT))
        return tuple(frames)

    def points_at(self, s_mm: FloatArray) -> FloatArray:
        """Points (n, 2) as (u, v) in mm at given arc lengths; beyond the ends the canal goes on straight."""
        return self.points_and_headings_at(s_mm)[0]

    def points_and_headings_at(self, s_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Points (n, 2) as (u, v) in mm and headings (n,) in radians at given arc lengths."""
        s = np.asarray(s_mm, dtype=float)
        points = np.empty((*s.shape, 2))
        headings = np.empty(s.shape)
        frames = self.frames()
        starts = np.array([f.s_mm for f in frames[1:]])
        index = np.searchsorted(starts, s, side="right")
        for i, frame in enumerate(frames):
            here = index == i
            along = s[here] - frame.s_mm
            points[here], headings[here] = _advance(frame, along)
        return points, headings

    def points_mm(self, *, spacing_mm: float = 0.02) -> FloatArray:
        """Evenly spaced points (n, 2) as (u, v) in mm, from the orifice to the foramen, both included.

        Parameters
        ----------
        spacing_mm
            Largest distance between neighbours along the canal.
        """
        count = max(2, math.ceil(self.length_mm / spacing_mm) + 1)
        return self.points_at(np.linspace(0.0, self.length_mm, count))


def _advance(frame: SegmentFrame, along: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Vectorised `SegmentFrame.at`; a coronal extension (negative distance) runs straight."""
    cos_h, sin_h = math.cos(frame.heading), math.sin(frame.heading)
    start = np.array([frame.u_mm, frame.v_mm])
    line = start + along[:, None] * np.array([cos_h, sin_h])
    if math.isinf(frame.radius_mm):
        return line, np.full(along.shape, frame.heading)
    end = frame.heading + np.maximum(along, 0.0) / frame.radius_mm
    arc = start + frame.radius_mm * np.column_stack([np.sin(end) - sin_h, cos_h - np.cos(end)])
    return np.where((along < 0.0)[:, None], line, arc), end


def _check_segment(length_mm: float, radius_mm: float) -> None:
    if not math.isfinite(length_mm) or length_mm < 0.0:
        raise CurvometerError(f"a piece of the canal is {length_mm} mm long; give a length of 0 mm or more")
    if math.isnan(radius_mm) or radius_mm == 0.0:
        raise CurvometerError(
            f"the radius of an arc is {radius_mm} mm; give a radius above 0, or inf for straight"
        )
    if length_mm / abs(radius_mm) >= math.pi:
        raise CurvometerError(
            f"one arc turns by {math.degrees(length_mm / abs(radius_mm)):.0f} degrees; a canal's arc stays"
            " below 180: give a smaller angle"
        )
