"""Where along the reference a tracing lies beside it, and what it does at both ends."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np

from curvometer.comparison.polylines import Curve
from curvometer.geometry import FloatArray, cross, dot

BEND_HEIGHT_MM = 0.15
"""A line that bulges less than this from its chord has no side to which it bends (common practice, no source)."""
END_DIRECTION_MM = 1.0
"""Length of the chord that is the direction at an end: shorter ones follow the hand's tremor (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class EndDifference:
    """One end of the tracing against the same end of the reference.

    Attributes
    ----------
    distance_mm
        Straight distance.
    along_mm
        Along the reference: positive where the tracing goes beyond the reference's end, negative where it stops short.
    across_mm
        Across the reference there: positive to the left for one who walks from the orifice to the foramen.
    """

    distance_mm: float
    along_mm: float
    across_mm: float


@dataclass(frozen=True, kw_only=True)
class OffsetProfile:
    """How far the tracing lies beside the reference, station by station, where it runs along it.

    Attributes
    ----------
    from_foramen_mm
        (k,) distance from the reference's foramen along the reference, the coronal station first; empty where the tracing
        does not run along the reference at all.
    offset_mm
        (k,) distance to the tracing: positive to the left for one who walks from the orifice to the foramen, on the image
        as stored.
    """

    from_foramen_mm: FloatArray = field(repr=False)
    offset_mm: FloatArray = field(repr=False)


@dataclass(frozen=True, kw_only=True)
class Departure:
    """A stretch of the reference beside which the tracing lies farther away than the limit.

    Attributes
    ----------
    start_from_foramen_mm, end_from_foramen_mm
        Its coronal and its apical end, along the reference.
    largest_mm
        The largest distance on it.
    side
        ``"inside of the bend"`` or ``"outside of the bend"``; ``"left"`` or ``"right"``, as one walks from the orifice to
        the foramen, where the reference is straight or bends both ways.
    """

    start_from_foramen_mm: float
    end_from_foramen_mm: float
    largest_mm: float
    side: str


def bend_side(reference: Curve) -> str | None:
    """Say to which side the reference bends, ``"left"`` or ``"right"``; None for a straight or an S-shaped line.

    A line that bends to the left bulges to the right of its chord.
    """
    chord = reference.points[-1] - reference.points[0]
    reach = float(np.hypot(*chord))
    if reach == 0.0:
        return None
    height = cross(chord, reference.points - reference.points[0]) / reach
    to_left, to_right = float(height.max()), float(-height.min())
    if min(to_left, to_right) >= BEND_HEIGHT_MM or max(to_left, to_right) < BEND_HEIGHT_MM:
        return None
    return "right" if to_left > to_right else "left"


def end_difference(
    reference: Curve, point: FloatArray, nearest: tuple[float, float], *, foramen: bool
) -> EndDifference:
    """Compare one end of the tracing, a point (2,), with the reference's.

    `nearest` is the distance along the reference of the place nearest to the point, and how far it is from there.
    """
    s, gap = nearest
    last = reference.length
    inward = last - s if foramen else s
    half, chord = 0.5 * reference.step, min(END_DIRECTION_MM, last)
    ends = (last - chord, last) if foramen else (0.0, chord)
    start, stop, before, here, after = reference.place(
        np.array([*ends, max(s - half, 0.0), s, min(s + half, last)])
    )
    end = stop if foramen else start
    offset = point - end
    if inward > 0.0:
        side = np.sign(cross(after - before, point - here))
        along, across = -inward, side * gap
    else:
        course = stop - start
        size = float(np.hypot(*course)) or 1.0
        along = float(dot(offset, course)) / size * (1.0 if foramen else -1.0)
        across = cross(course, offset) / size
    return EndDifference(distance_mm=float(np.hypot(*offset)), along_mm=float(along), across_mm=float(across))


def offset_profile(
    traced: Curve, reference: Curve, nearest: tuple[FloatArray, FloatArray], covered: tuple[float, float]
) -> OffsetProfile:
    """Signed distances of the reference's stations between two places along it from the tracing.

    `nearest` is, for each station of the reference, the distance along the tracing of its nearest place, and how far that is.
    """
    s, gap = nearest
    half = 0.5 * reference.step
    inside = (reference.s >= covered[0] - half) & (reference.s <= covered[1] + half)
    inside &= covered[1] > covered[0]
    offset = traced.place(s[inside]) - reference.at[inside]
    sign = np.where(cross(reference.directions[inside], offset) < 0.0, -1.0, 1.0)
    return OffsetProfile(from_foramen_mm=reference.length - reference.s[inside], offset_mm=sign * gap[inside])


def departures(profile: OffsetProfile, limit_mm: float, side: str | None) -> tuple[Departure, ...]:
    """Stretches of a profile beyond a limit, coronal first; one that changes sides counts as two."""
    beyond = np.where(np.abs(profile.offset_mm) > limit_mm, np.sign(profile.offset_mm), 0.0)
    edges = np.flatnonzero(np.diff(np.concatenate([[0.0], beyond, [0.0]])))
    found = []
    for start, stop in itertools.pairwise(edges):
        if beyond[start] == 0.0:
            continue
        part = profile.offset_mm[start:stop]
        found.append(
            Departure(
                start_from_foramen_mm=float(profile.from_foramen_mm[start]),
                end_from_foramen_mm=float(profile.from_foramen_mm[stop - 1]),
                largest_mm=float(np.abs(part).max()),
                side=side_in_words("left" if part[0] > 0.0 else "right", side),
            )
        )
    return tuple(found)


def side_in_words(lies: str, bends: str | None) -> str:
    """Say on which side of a bend something lies that is to the left or right of the line."""
    if bends is None:
        return lies
    return "inside of the bend" if lies == bends else "outside of the bend"
