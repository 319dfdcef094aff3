"""Plane geometry without dental words.

A point is a pair of coordinates in any plane whose two axes have the same unit (millimetres, or square
pixels); a polyline is an array of shape ``(..., n, 2)``. Functions broadcast over leading axes unless
they say otherwise, so that hundreds of sampled curves are measured in one call. Signed angles and
curvatures are positive when the turn goes from the first axis towards the second.

`curvometer.geometry.plane`
    Vectors, lines, circles.
`curvometer.geometry.polyline`
    Arc length, resampling, turning, curvature at a distance, chords.
`curvometer.geometry.nearest`
    Nearest places, distances.
"""

from __future__ import annotations

from curvometer.geometry.nearest import distance_to_polyline, project_to_polyline
from curvometer.geometry.plane import (
    Circle,
    FloatArray,
    angle_between_deg,
    circle_through,
    circumcurvature,
    cross,
    distance,
    distance_to_line,
    dot,
    fit_circle,
    intersect_lines,
    line_direction,
    signed_angle_deg,
)
from curvometer.geometry.polyline import (
    arc_length,
    chord_point,
    menger_curvature,
    point_at,
    resample,
    tangent_angles_deg,
    trapezoid_weights,
    vertex_turning_deg,
    window,
)

__all__ = [
    "Circle",
    "FloatArray",
    "angle_between_deg",
    "arc_length",
    "chord_point",
    "circle_through",
    "circumcurvature",
    "cross",
    "distance",
    "distance_to_line",
    "distance_to_polyline",
    "dot",
    "fit_circle",
    "intersect_lines",
    "line_direction",
    "menger_curvature",
    "point_at",
    "project_to_polyline",
    "resample",
    "signed_angle_deg",
    "tangent_angles_deg",
    "trapezoid_weights",
    "vertex_turning_deg",
    "window",
]
