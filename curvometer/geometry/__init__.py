"""Plane geometry without dental words.

A point is a pair of coordinates in any plane whose two axes have the same unit (millimetres, or square
pixels); a polyline is an array of shape ``(..., n, 2)``. Functions broadcast over leading axes unless
they say otherwise, so that hundreds of sampled curves are measured in one call. Signed angles and
curvatures are positive when the turn goes from the first axis towards the second.

`curvometer.geometry.plane`
    Vectors, lines, circles.
`curvometer.geometry.polyline`
    Arc length, resampling, turning, curvature at a distance, chords, distances.
`curvometer.geometry.smoothing`
    The smoothing spline: curvature along a noisy curve, with its error.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

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
    distance_to_polyline,
    menger_curvature,
    point_at,
    project_to_polyline,
    resample,
    tangent_angles_deg,
    trapezoid_weights,
    vertex_turning_deg,
    window,
)

if TYPE_CHECKING:
    from curvometer.geometry.smoothing import SmoothCurve, smooth_curve

__all__ = [
    "Circle",
    "FloatArray",
    "SmoothCurve",
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
    "smooth_curve",
    "tangent_angles_deg",
    "trapezoid_weights",
    "vertex_turning_deg",
    "window",
]


def __getattr__(name: str) -> Any:
    """Load the smoothing spline when it is first used: no measurement needs it."""
    if name not in ("SmoothCurve", "smooth_curve"):
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from curvometer.geometry import smoothing  # noqa: PLC0415

    return getattr(smoothing, name)
