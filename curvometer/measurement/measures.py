"""Every published measure of a batch of canals, from their landmarks."""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import NDArray

from curvometer import curvature
from curvometer.canal_model import CanalSamples, median
from curvometer.measurement.landmarks import ArcLandmarks, CanalLandmarks, canal_landmarks, canal_points

FloatArray = NDArray[np.float64]

LONG_AXIS_APICAL_MM = 3.0
"""Length of the apical line of the long-axis technique; the technique leaves it open (common practice, no source)."""

SEGMENT_MM = 6.0
"""Length of the two segments of the three-point construction (Estrela 2008, from memory)."""

READINGS = {
    "schneider_angle": "axis of the fitted coronal part; foramen, not radiographic apex",
    "weine_angle": "tangents at orifice and foramen",
    "long_axis_angle": "apical line is the chord of the last 3 mm",
    "canal_access_angle": "orifice, fitted start of the curve, foramen",
    "curvature_height": "from the start of the curve to the line orifice-foramen",
    "curvature_distance": "from the orifice to the foot of that height",
    "pruett_angle": "central angle of the fitted arc",
    "pruett_radius": "radius of the fitted arc",
    "chord_radius": "circle tangent to the coronal axis at the start of the curve, through the foramen",
    "three_point_radius": "circumradius of two 6 mm segments from the foramen",
    "radius_quotient": "Schneider angle over radius of the fitted arc",
    "minimum_radius": "smallest radius among the fitted arcs",
    "minimum_radius_from_foramen": "middle of that arc",
    "total_turning": "both directions added",
    "net_turning": "opposite bends subtracted",
    "canal_length": "along the fitted line, in the plane of the image",
    "curve_start_from_foramen": "along the canal",
    "curve_end_from_foramen": "along the canal",
}


def angle_measures(canals: CanalSamples, marks: CanalLandmarks | None = None) -> dict[str, FloatArray]:
    """Measures that need no scale, in degrees; each (m,)."""
    marks = canal_landmarks(canals) if marks is None else marks
    start = _start(marks)
    turning = np.array([arc.turning_deg for arc in marks.arcs] or [np.zeros(len(start))])
    found = {
        "schneider_angle": curvature.schneider_angle(marks.axis, start, marks.foramen),
        "weine_angle": np.abs(turning.sum(axis=0)),
        "total_turning": np.abs(turning).sum(axis=0),
        "pruett_angle": np.abs(turning).max(axis=0),
        "canal_access_angle": curvature.schneider_angle(marks.axis, marks.orifice, marks.foramen),
    }
    found["net_turning"] = found["weine_angle"]
    return found


def length_measures(
    canals: CanalSamples, marks: CanalLandmarks, angles: dict[str, FloatArray], *, windows: bool = True
) -> dict[str, FloatArray]:
    """Measures in millimetres (and degrees per millimetre); each (m,), not a number where a construction has no place.

    `windows` is whether to construct the two that need points along the whole canal, which take longest.
    """
    found = {"canal_length": marks.length}
    if windows:
        found["long_axis_angle"] = _long_axis(canals, marks)
        found["three_point_radius"] = _three_point_radius(canals, marks)
    if not marks.arcs:
        return found
    start = _start(marks)
    first, last, main = marks.arcs[0], marks.arcs[-1], main_arc(marks)
    tight = _tightest(marks)
    access, leg = np.radians(angles["canal_access_angle"]), np.hypot(*(start - marks.orifice).T)
    found |= {
        # Gunday 2005: height x = a sin CAA, distance y = a cos CAA, with a = |AB|.
        "curvature_height": leg * np.sin(access),
        "curvature_distance": leg * np.cos(access),
        "pruett_radius": main.radius,
        "chord_radius": curvature.chord_radius(marks.axis, start, marks.foramen),
        "radius_quotient": angles["schneider_angle"] / main.radius,
        "minimum_radius": tight.radius,
        "minimum_radius_from_foramen": 0.5 * (tight.start_from_foramen + tight.end_from_foramen),
        "curve_start_from_foramen": first.start_from_foramen,
        "curve_end_from_foramen": last.end_from_foramen,
    }
    return found


def main_arc(marks: CanalLandmarks) -> ArcLandmarks:
    """The arc that turns most, by the mean of the batch."""
    return max(marks.arcs, key=lambda arc: float(np.mean(np.abs(arc.turning_deg))))


def bend_schneider(marks: CanalLandmarks) -> list[FloatArray]:
    """Schneider angle of each bend: from its own start and tangent to its end, the last one to the foramen.

    Cunningham and Senia 1992 measure the secondary curve so; the reference line is the tangent at the start of the bend,
    since a line from bend to bend vanishes for a symmetric S.
    """
    if not marks.arcs:
        return []
    ends = [arc.end for arc in marks.arcs[:-1]] + [marks.foramen]
    return [
        curvature.schneider_angle(arc.tangent, arc.start, end)
        for arc, end in zip(marks.arcs, ends, strict=True)
    ]


def _start(marks: CanalLandmarks) -> FloatArray:
    return marks.arcs[0].start if marks.arcs else marks.orifice


def _tightest(marks: CanalLandmarks) -> ArcLandmarks:
    return min(marks.arcs, key=lambda arc: median(arc.radius))


def _long_axis(canals: CanalSamples, marks: CanalLandmarks) -> FloatArray:
    back = np.minimum(LONG_AXIS_APICAL_MM / canals.scale, canals.foramen_s - canals.orifice_s)
    points, _ = canals.chains.at((canals.foramen_s - back)[:, None])
    chord = marks.foramen - points[:, 0] * canals.scale[:, None]
    return np.asarray(curvature.weine_angle(marks.axis, chord))


def _three_point_radius(canals: CanalSamples, marks: CanalLandmarks) -> FloatArray:
    # A drawn canal only shows the spread: fewer points do.
    points = canal_points(canals, count=800 if len(canals.scale) == 1 else 64)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        try:
            radius = curvature.three_point_radius(points, segment_mm=SEGMENT_MM, reading="circumradius")
        except curvature.CanalTooShortError:
            return np.full(len(marks.length), np.nan)
    return np.asarray(radius)
