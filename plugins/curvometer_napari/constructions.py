"""What a measure looks like on the image: its lines, its arc, its circle; geometry only, the values are the core's.

Symbols: A orifice, B start of the curve, E its end, C foramen. Everything is built in square coordinates (`_Plane`),
in which a row step counts `aspect_ratio` column steps, and given back as (row, col) in pixels.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from curvometer import QUANTITY_DEFINITIONS, CanalMeasurement, Centreline
from curvometer_napari.case import PointRC
from curvometer_napari.naming import DASHED, DOTTED, SOLID
from curvometer_napari.strokes import FloatArray, Role, Stroke

BEYOND = 0.06
"""How far a line goes on beyond what it is laid through, as a share of the canal: it shows that it is a line."""
ANGLE_AT = 0.6
"""Radius of an angle's arc, as a share of the shorter of its two sides."""
MARK_HALF = 0.035
MARK_GAP = 0.35
"""Half length of a mark across the canal as a share of the canal's length, and the share of it left free in the middle."""
APICAL_MM = 3.0
"""Length of the apical line of the long-axis angle, as the core takes it."""
SEGMENT_MM = 6.0
"""Length of the segments of the three-point radius (Estrela 2008, from memory, as the core takes it)."""
WHOLE_CIRCLE = 0.35
"""A circle with a radius below this share of the canal is drawn whole; a larger one only along the canal."""


def construction(
    name: str, measurement: CanalMeasurement, centreline: Centreline | None = None, *, aspect_ratio: float
) -> tuple[Stroke, ...]:
    """Draw a measure.

    Parameters
    ----------
    name
        One of `curvometer.QUANTITY_NAMES`.
    measurement
        The canal's measures and where its fitted shape lies.
    centreline
        The traced line; when given, the length is shown on it and not on the fitted line.
    aspect_ratio
        Row spacing / column spacing.

    Returns
    -------
    tuple of Stroke
        Empty when the measure does not exist, as a length without a scale; one stroke carries the label.
    """
    quantity = measurement.quantities.get(name)
    if quantity is None:
        return ()
    label = f"{QUANTITY_DEFINITIONS[name].label} {quantity}"
    return tuple(_DRAWN[name](_Plane(measurement, centreline, aspect_ratio), label))


def cursor(measurement: CanalMeasurement, from_foramen: float, *, aspect_ratio: float) -> tuple[Stroke, ...]:
    """Mark a place across the canal by its distance from the foramen, in the unit of the curvature profile."""
    plane = _Plane(measurement, None, aspect_ratio)
    return tuple(plane.mark(plane.length - from_foramen * plane.per_unit, Role.CURSOR, label=""))


def place_from_foramen(measurement: CanalMeasurement, from_foramen: float, *, aspect_ratio: float) -> PointRC:
    """(row, col) of the place on the fitted line at a distance from the foramen, in the curvature profile's unit."""
    plane = _Plane(measurement, None, aspect_ratio)
    row, col = plane.back(plane.at(plane.length - from_foramen * plane.per_unit)[None])[0]
    return float(row), float(col)


def distance_from_foramen(
    measurement: CanalMeasurement, point_rc: PointRC, *, aspect_ratio: float
) -> tuple[float, float]:
    """Find the place on the fitted line that is nearest to a point.

    Returns
    -------
    tuple of float
        Its distance from the foramen in the curvature profile's unit, and how far the point is from it in column pixels.
    """
    plane = _Plane(measurement, None, aspect_ratio)
    gaps = np.hypot(*(plane.line - plane.square(np.array([point_rc]))[0]).T)
    nearest = int(gaps.argmin())
    return float((plane.length - plane.along[nearest]) / plane.per_unit), float(gaps[nearest])


@dataclass(frozen=True)
class _Arc:
    centre: FloatArray
    radius: float
    start: float
    end: float
    """Along the line, from the orifice."""
    turning_deg: float


class _Plane:
    """One canal's landmarks in square coordinates, and lines drawn with them."""

    def __init__(
        self, measurement: CanalMeasurement, centreline: Centreline | None, aspect_ratio: float
    ) -> None:
        marks = measurement.landmarks
        self._to_square = np.array([aspect_ratio, 1.0])
        self.line = self.square(marks.line_rc)
        self.along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(self.line, axis=0).T))])
        self.length = float(self.along[-1])
        self.traced = self.line if centreline is None else self.square(centreline.points_rc)
        reach = float(measurement.profile.from_foramen.max())
        self.per_unit = self.length / reach if reach > 0.0 else 1.0
        self.orifice, self.foramen = self.line[0], self.line[-1]
        axis = self.square(marks.axis_rc)
        self.axis = _unit(axis[1] - axis[0])
        straight = marks.curve_start_rc is None or marks.curve_end_rc is None
        self.curved = not straight
        self.start = self.orifice if straight else self.square(marks.curve_start_rc)
        self.end = self.foramen if straight else self.square(marks.curve_end_rc)
        self.arcs = self._arcs(measurement)

    def _arcs(self, measurement: CanalMeasurement) -> list[_Arc]:
        arcs = []
        for (row, col, radius), bend in zip(measurement.landmarks.arcs, measurement.bends, strict=False):
            limits = [bend.start_from_foramen, bend.end_from_foramen]
            places = [self.place(self.start), self.place(self.end)]
            start, end = (
                place if limit is None else self.length - limit.value * self.per_unit
                for place, limit in zip(places, limits, strict=True)
            )
            centre = np.array([row, col]) * self._to_square
            arcs.append(_Arc(centre, radius, start, end, abs(bend.angle.value)))
        return arcs

    def square(self, points_rc: FloatArray | None) -> FloatArray:
        return np.asarray(np.asarray(points_rc, dtype=float) * self._to_square)

    def back(self, points: FloatArray) -> FloatArray:
        return np.asarray(points / self._to_square)

    def at(self, along: float) -> FloatArray:
        """Place at a distance along the fitted line from the orifice."""
        return np.array([np.interp(along, self.along, self.line[:, k]) for k in (0, 1)])

    def place(self, point: FloatArray) -> float:
        """Distance along the fitted line of the place nearest to a point."""
        return float(self.along[np.hypot(*(self.line - point).T).argmin()])

    def direction(self, along: float) -> FloatArray:
        step = 0.01 * self.length
        return _unit(self.at(min(along + step, self.length)) - self.at(max(along - step, 0.0)))

    def part(self, start: float, end: float) -> FloatArray:
        inner = self.line[(self.along > start) & (self.along < end)]
        return np.vstack([self.at(start), inner, self.at(end)])

    @property
    def beyond(self) -> float:
        return BEYOND * self.length

    def stroke(
        self,
        points: list[FloatArray] | FloatArray,
        role: Role,
        dashes: tuple[float, ...] = SOLID,
        label: str = "",
    ) -> Stroke:
        return Stroke(points_rc=self.back(np.asarray(points)), role=role, dashes=dashes, label=label)

    def angle(
        self, corner: FloatArray, first: FloatArray, second: FloatArray, radius: float, label: str
    ) -> Stroke:
        """Draw the arc between two unit directions at a corner."""
        return self.stroke(corner + radius * _sweep(first, second), Role.ANGLE, label=label)

    def mark(self, along: float, role: Role, label: str) -> list[Stroke]:
        """Two short lines across the canal that leave the canal itself free."""
        place, direction = self.at(along), self.direction(along)
        across = np.array([-direction[1], direction[0]]) * MARK_HALF * self.length
        return [
            self.stroke([place + MARK_GAP * side, place + side], role, label=text)
            for side, text in ((across, label), (-across, ""))
        ]

    def circle(self, centre: FloatArray, radius: float, through: FloatArray) -> Stroke:
        """Draw a circle, or the part of a large one that runs along the given points and 30 degrees beyond."""
        away = through - centre
        turns = np.unwrap(np.arctan2(away[:, 1], away[:, 0]))
        low, high = turns.min() - np.radians(30.0), turns.max() + np.radians(30.0)
        if radius < WHOLE_CIRCLE * self.length or high - low > 2.0 * np.pi:
            low, high = 0.0, 2.0 * np.pi
        angles = np.linspace(low, high, 181)
        ring = centre + radius * np.column_stack([np.cos(angles), np.sin(angles)])
        return self.stroke(ring, Role.CIRCLE, DOTTED)

    def radius(self, centre: FloatArray, end: FloatArray, label: str = "") -> Stroke:
        reach = float(np.hypot(*(centre - end)))
        # Near the canal, for the centre of a gentle curve lies far beside the image.
        share = min(0.5, 0.3 * self.length / max(reach, 1e-9))
        return replace(self.stroke([end, centre], Role.RADIUS, label=label), label_share=share)


def _schneider(plane: _Plane, label: str) -> list[Stroke]:
    corner, reach = plane.start, float(np.hypot(*(plane.foramen - plane.start)))
    second = _unit(plane.foramen - corner)
    before = corner - plane.axis * (float(np.hypot(*(corner - plane.orifice))) + plane.beyond)
    return [
        plane.stroke([before, corner + plane.axis * (reach + plane.beyond)], Role.FIRST_LINE, DASHED),
        plane.stroke([corner, plane.foramen + second * plane.beyond], Role.SECOND_LINE),
        plane.angle(corner, plane.axis, second, ANGLE_AT * reach, label),
    ]


def _weine(plane: _Plane, label: str) -> list[Stroke]:
    first, second = plane.direction(0.0), plane.direction(plane.length)
    return _between(plane, (plane.orifice, first), (plane.foramen, second), label)


def _long_axis(plane: _Plane, label: str) -> list[Stroke]:
    back = plane.at(max(plane.length - APICAL_MM * plane.per_unit, 0.0))
    chord = _unit(plane.foramen - back)
    return [
        *_between(plane, (plane.orifice, plane.axis), (plane.foramen, chord), label),
        *plane.mark(plane.place(back), Role.MARK, label=""),
    ]


def _between(
    plane: _Plane, first: tuple[FloatArray, FloatArray], second: tuple[FloatArray, FloatArray], label: str
) -> list[Stroke]:
    """Draw the angle between a line at the orifice and one at the foramen, where they meet or, else, at the foramen."""
    (a, u), (c, v) = first, second
    cross = u[0] * v[1] - u[1] * v[0]
    gap = c - a
    along_first, along_second = (
        ((gap[0] * v[1] - gap[1] * v[0]) / cross, (gap[0] * u[1] - gap[1] * u[0]) / cross)
        if abs(cross) > np.sin(np.radians(1.0))
        else (np.inf, np.inf)
    )
    if 0.0 < along_first < 1.2 * plane.length and 0.0 < -along_second < 1.2 * plane.length:
        corner, reach = a + along_first * u, -along_second
        before = a - u * plane.beyond
    else:
        # An S-curve's tangents do not meet between its ends: the first direction is laid to the foramen instead.
        corner, reach = c, 0.35 * plane.length
        return [
            plane.stroke([a - u * plane.beyond, a + u * reach], Role.FIRST_LINE, DASHED),
            plane.stroke([c + u * plane.beyond, c - u * (reach + plane.beyond)], Role.FIRST_LINE, DASHED),
            plane.stroke([c + v * plane.beyond, c - v * (reach + plane.beyond)], Role.SECOND_LINE),
            plane.angle(corner, -u, -v, reach, label),
        ]
    return [
        plane.stroke([before, corner + u * (reach + plane.beyond)], Role.FIRST_LINE, DASHED),
        plane.stroke([corner, c + v * plane.beyond], Role.SECOND_LINE),
        plane.angle(corner, u, v, ANGLE_AT * reach, label),
    ]


def _access(plane: _Plane, label: str) -> list[Stroke]:
    """Günday's triangle: axis and chord at the orifice."""
    reach = float(np.hypot(*(plane.foramen - plane.orifice)))
    chord = _unit(plane.foramen - plane.orifice)
    end = plane.orifice + plane.axis * (reach + plane.beyond)
    return [
        plane.stroke([plane.orifice - plane.axis * plane.beyond, end], Role.FIRST_LINE, DASHED),
        plane.stroke([plane.orifice, plane.foramen + chord * plane.beyond], Role.SECOND_LINE),
        plane.angle(plane.orifice, plane.axis, chord, ANGLE_AT * reach, label),
    ]


def _height(plane: _Plane, label: str) -> list[Stroke]:
    return _perpendicular(plane, height=label, distance="")


def _distance(plane: _Plane, label: str) -> list[Stroke]:
    return _perpendicular(plane, height="", distance=label)


def _perpendicular(plane: _Plane, *, height: str, distance: str) -> list[Stroke]:
    chord = _unit(plane.foramen - plane.orifice)
    foot = plane.orifice + chord * float((plane.start - plane.orifice) @ chord)
    told, other = (Role.DISTANCE, Role.SECOND_LINE)
    return [
        plane.stroke([plane.orifice, plane.foramen], Role.SECOND_LINE, DASHED),
        plane.stroke([plane.orifice, foot], told if distance else other, label=distance),
        plane.stroke([foot, plane.start], told if height else other, label=height),
    ]


def _pruett(plane: _Plane, label: str) -> list[Stroke]:
    return _arc(plane, max(plane.arcs, key=lambda arc: arc.turning_deg, default=None), label, angle=False)


def _pruett_angle(plane: _Plane, label: str) -> list[Stroke]:
    return _arc(plane, max(plane.arcs, key=lambda arc: arc.turning_deg, default=None), label, angle=True)


def _smallest(plane: _Plane, label: str) -> list[Stroke]:
    return _arc(plane, min(plane.arcs, key=lambda arc: arc.radius, default=None), label, angle=False)


def _arc(plane: _Plane, arc: _Arc | None, label: str, *, angle: bool) -> list[Stroke]:
    """Draw a fitted arc with its circle and the radii to its ends."""
    if arc is None:
        return []
    ends = [plane.at(arc.start), plane.at(arc.end)]
    part = plane.part(arc.start, arc.end)
    strokes = [
        plane.circle(arc.centre, arc.radius, part),
        plane.radius(arc.centre, ends[0], "" if angle else label),
        plane.radius(arc.centre, ends[1]),
    ]
    if angle:
        first, second = (_unit(end - arc.centre) for end in ends)
        strokes.append(plane.angle(arc.centre, first, second, 0.3 * arc.radius, label))
    return strokes


def _chord_radius(plane: _Plane, label: str) -> list[Stroke]:
    """Draw the circle that touches the coronal axis in B and goes through C."""
    chord = plane.foramen - plane.start
    normal = np.array([-plane.axis[1], plane.axis[0]])
    side = float(normal @ chord)
    if abs(side) < 1e-3 * float(np.hypot(*chord)):
        return []
    # |B + r n - C| = |r| gives r = |BC|^2 / (2 n.BC), which is Schäfer's |BC| / (2 sin S), with its side.
    radius = float(chord @ chord) / (2.0 * side)
    centre = plane.start + radius * normal
    part = plane.part(plane.place(plane.start), plane.length)
    return [
        plane.stroke(
            [plane.orifice - plane.axis * plane.beyond, plane.start + plane.axis * 2 * plane.beyond],
            Role.FIRST_LINE,
            DASHED,
        ),
        plane.stroke([plane.start, plane.foramen], Role.SECOND_LINE),
        plane.circle(centre, abs(radius), part),
        plane.radius(centre, plane.start, label),
        plane.radius(centre, plane.foramen),
    ]


def _three_points(plane: _Plane, label: str) -> list[Stroke]:
    """Draw two segments of 6 mm from the foramen up, and the circle through their ends."""
    joint = _step_up(plane, plane.length, SEGMENT_MM * plane.per_unit)
    top = None if joint is None else _step_up(plane, joint, SEGMENT_MM * plane.per_unit)
    if joint is None or top is None:
        return []
    points = [plane.at(top), plane.at(joint), plane.foramen]
    segments = plane.stroke(points, Role.SECOND_LINE)
    marks = [one for place in (top, joint) for one in plane.mark(place, Role.MARK, label="")]
    centre = _circumcentre(*points)
    if centre is None:
        return [segments, *marks]
    radius = float(np.hypot(*(centre - points[0])))
    rays = [plane.radius(centre, p, text) for p, text in zip(points, (label, "", ""), strict=True)]
    return [segments, *marks, plane.circle(centre, radius, plane.part(top, plane.length)), *rays]


def _step_up(plane: _Plane, start: float, distance: float) -> float | None:
    """Where, towards the orifice, the line is that far away in a straight line."""
    gaps = np.hypot(*(plane.line - plane.at(start)).T)
    above = np.flatnonzero((plane.along < start) & (gaps >= distance))
    if len(above) == 0:
        return None
    i = int(above[-1])
    share = (gaps[i] - distance) / max(gaps[i] - gaps[i + 1], 1e-9)
    return float(plane.along[i] + min(share, 1.0) * (plane.along[i + 1] - plane.along[i]))


def _circumcentre(p: FloatArray, q: FloatArray, r: FloatArray) -> FloatArray | None:
    sides = np.array([q - p, r - p])
    if abs(np.linalg.det(sides)) < 1e-3 * float((sides[1] ** 2).sum()):
        return None
    return np.asarray(p + np.linalg.solve(2.0 * sides, (sides**2).sum(axis=1)))


def _quotient(plane: _Plane, label: str) -> list[Stroke]:
    return [*_schneider(plane, label), *_pruett(plane, "")]


def _turning(plane: _Plane, label: str) -> list[Stroke]:
    """Show the bends themselves, each with marks at its ends."""
    strokes = []
    for arc in plane.arcs:
        strokes.append(plane.stroke(plane.part(arc.start, arc.end), Role.DISTANCE, label=label))
        strokes += plane.mark(arc.start, Role.MARK, "") + plane.mark(arc.end, Role.MARK, "")
        label = ""
    return strokes or [plane.stroke(plane.line, Role.DISTANCE, label=label)]


def _length(plane: _Plane, label: str) -> list[Stroke]:
    ends = [*plane.mark(0.0, Role.MARK, ""), *plane.mark(plane.length, Role.MARK, "")]
    return [plane.stroke(plane.traced, Role.DISTANCE, label=label), *ends]


def _curve_start(plane: _Plane, label: str) -> list[Stroke]:
    return _from_foramen(plane, plane.place(plane.start), label)


def _curve_end(plane: _Plane, label: str) -> list[Stroke]:
    return _from_foramen(plane, plane.place(plane.end), label)


def _sharpest(plane: _Plane, label: str) -> list[Stroke]:
    arc = min(plane.arcs, key=lambda one: one.radius, default=None)
    return [] if arc is None else _from_foramen(plane, 0.5 * (arc.start + arc.end), label)


def _from_foramen(plane: _Plane, along: float, label: str) -> list[Stroke]:
    way = plane.part(along, plane.length) if along < plane.length else np.empty((0, 2))
    strokes = [*plane.mark(along, Role.MARK, label), *plane.mark(plane.length, Role.MARK, "")]
    return strokes if len(way) < 2 else [*strokes, plane.stroke(way, Role.DISTANCE)]


_DRAWN: dict[str, Callable[[_Plane, str], list[Stroke]]] = {
    "schneider_angle": _schneider,
    "weine_angle": _weine,
    "long_axis_angle": _long_axis,
    "canal_access_angle": _access,
    "curvature_height": _height,
    "curvature_distance": _distance,
    "pruett_angle": _pruett_angle,
    "pruett_radius": _pruett,
    "chord_radius": _chord_radius,
    "three_point_radius": _three_points,
    "radius_quotient": _quotient,
    "minimum_radius": _smallest,
    "minimum_radius_from_foramen": _sharpest,
    "total_turning": _turning,
    "net_turning": _weine,
    "canal_length": _length,
    "curve_start_from_foramen": _curve_start,
    "curve_end_from_foramen": _curve_end,
}


def _unit(vector: FloatArray) -> FloatArray:
    length = float(np.hypot(*vector))
    return vector / length if length > 0.0 else vector


def _sweep(first: FloatArray, second: FloatArray) -> FloatArray:
    """Turn from one unit direction to another the short way: (41, 2) unit vectors."""
    start = float(np.arctan2(first[1], first[0]))
    turn = float(np.arctan2(first[0] * second[1] - first[1] * second[0], first @ second))
    angles = start + turn * np.linspace(0.0, 1.0, 41)
    return np.column_stack([np.cos(angles), np.sin(angles)])
