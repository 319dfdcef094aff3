"""From clicks to a refined centreline with its errors and flags."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer.calibration import Calibration
from curvometer.centreline import Centreline, Observations, Structure, TracedBy, TraceFlag
from curvometer.geometry import arc_length
from curvometer.radiograph import Radiograph
from curvometer.tracing.clicks import TracingError, check_clicks, working_scale
from curvometer.tracing.pinning import Pins
from curvometer.tracing.refinement import RefinedLine, refine
from curvometer.tracing.rough import blur_for, crop_of, leg_frame, leg_path
from curvometer.tracing.strips import Crop

FloatArray = NDArray[np.floating[Any]]


def trace_centreline(
    radiograph: Radiograph,
    anchors_rc: Sequence[Sequence[float]] | FloatArray,
    *,
    structure: Structure | str = Structure.CANAL,
    calibration: Calibration | None = None,
    click_sd_px: float = 3.0,
) -> Centreline:
    """Trace a canal (or an instrument in it) from the orifice to the foramen.

    Parameters
    ----------
    radiograph
        The picture, bright = dense.
    anchors_rc
        (k, 2) clicks (row, col), k >= 2: orifice, waypoints in order, foramen.
    structure
        ``"canal"`` for a dark line, ``"instrument"`` for a bright one.
    calibration
        Scale, used to choose filter widths; without it the file's own spacing or the clicks decide.
    click_sd_px
        Standard error of a click in column pixels.

    Returns
    -------
    Centreline
        Points about 0.1 mm apart with standard errors; flags say where the line is not seen.

    Raises
    ------
    TracingError
        Clicks missing, equal, outside the image; an unknown structure; a click error that is not above zero; a picture that
        is one even grey, or not a number, around the clicks.
    """
    anchors = check_clicks(radiograph, anchors_rc)
    kind = structure_of(structure)
    if not 0.0 < click_sd_px < 1000.0:
        raise TracingError(
            f"the click error is {click_sd_px:g} px; it must be above 0: leave it out for 3 px"
        )
    mm, aspect = working_scale(radiograph, calibration, anchors)
    square = anchors * np.array([aspect, 1.0])
    stops = _stops(square, mm=mm)
    frames = [leg_frame(a, b, mm=mm, aspect=aspect) for a, b in pairwise(stops)]
    crop = crop_of(radiograph.pixels, np.vstack([f.corners_rc() for f in frames]), mm=mm, aspect=aspect)
    _check_picture(crop)
    blurred = blur_for(crop, max(frame.step for frame in frames))
    dark = kind is Structure.CANAL
    last = len(frames) - 1
    legs = [
        leg_path(blurred, frame, dark=dark, click_px=click_sd_px, waypoints=(i > 0, i < last))
        for i, frame in enumerate(frames)
    ]
    line = refine(
        crop, _joined([path for path, _ in legs]), Pins(clicks_sq=square, sd_mm=click_sd_px * mm), dark=dark
    )
    outside = float(np.mean(np.concatenate([inside for _, inside in legs]) < 0.5))
    return _as_centreline(radiograph, line, anchors, kind, crop, click_sd_px, outside)


def centreline_from_points(
    points_rc: Sequence[Sequence[float]] | FloatArray,
    *,
    structure: Structure | str = Structure.CANAL,
    position_sd_px: float | None = None,
    click_sd_px: float = 0.0,
) -> Centreline:
    """Take points that somebody else set, from orifice to foramen.

    Parameters
    ----------
    points_rc
        (n, 2) points (row, col), at least two different ones.
    structure
        What was traced.
    position_sd_px
        Their standard error, when known; otherwise the fit estimates it from its residuals.
    click_sd_px
        Standard error of the two end points along the canal.

    Raises
    ------
    CurvometerError
        When the points are not a line of at least two different finite points.
    """
    try:
        points = np.asarray(points_rc, dtype=float)
    except (TypeError, ValueError) as error:
        raise TracingError("the points are not pairs of numbers: give each as (row, col)") from error
    return Centreline(
        points_rc=points,
        position_sd_px=None if position_sd_px is None else np.full(len(points), float(position_sd_px)),
        click_sd_px=(click_sd_px, click_sd_px),
        structure=structure_of(structure),
        traced_by=TracedBy.POINTS,
        anchors_rc=points[[0, -1]] if points.ndim == 2 and len(points) else None,
    )


def _check_picture(crop: Crop) -> None:
    if not np.isfinite(crop.pixels).all():
        raise TracingError("the image has pixels that are not numbers around the clicks: export it again")
    if float(np.ptp(crop.pixels)) == 0.0:
        raise TracingError("the image is one even grey around the clicks: click on the canal of a tooth")


def structure_of(structure: Structure | str) -> Structure:
    """The structure of that name; a `TracingError` says which there are."""
    try:
        return Structure(structure)
    except ValueError as error:
        known = " or ".join(repr(str(s)) for s in Structure)
        raise TracingError(f"the structure is {structure!r}; it must be {known}") from error


SHORTEST_LEG_MM = 1.0
"""Waypoints nearer to another stop than this hold the refined line, but the path is not led through them: over so short a
leg the error of two clicks turns it aside, or even back."""


def _stops(clicks_sq: FloatArray, *, mm: float) -> FloatArray:
    """(j, 2) the clicks that the path is led through: the outer two, and every waypoint that is well apart from the others."""
    kept = [clicks_sq[0]]
    for waypoint in clicks_sq[1:-1]:
        apart = min(np.hypot(*(waypoint - kept[-1])), np.hypot(*(clicks_sq[-1] - waypoint)))
        if apart * mm >= SHORTEST_LEG_MM:
            kept.append(waypoint)
    return np.array([*kept, clicks_sq[-1]])


def _joined(legs: list[FloatArray]) -> FloatArray:
    """Legs end to end; where two meet, the middle of their ends."""
    parts = [legs[0]]
    for leg in legs[1:]:
        middle = 0.5 * (parts[-1][-1] + leg[0])
        parts[-1] = parts[-1][:-1]
        parts.append(np.vstack([middle, leg[1:]]))
    return np.vstack(parts)


def _as_centreline(
    radiograph: Radiograph,
    line: RefinedLine,
    anchors: FloatArray,
    kind: Structure,
    crop: Crop,
    click_px: float,
    outside: float,
) -> Centreline:
    points = _between_clicks(line.points_sq, anchors * np.array([crop.aspect, 1.0]))
    last_pixel = np.array(radiograph.shape) - 1.0
    position = np.linspace(0.0, 1.0, len(line.sd))
    at = np.linspace(0.0, 1.0, len(points))
    return Centreline(
        points_rc=np.clip(points / np.array([crop.aspect, 1.0]), 0.0, last_pixel),
        position_sd_px=np.interp(at, position, line.sd),
        correlation_px=line.correlation,
        width_px=np.interp(at, position, line.width),
        observations=Observations(
            points_rc=line.observed_sq / np.array([crop.aspect, 1.0]),
            sd_px=np.asarray(line.observed_sd, dtype=float),
            correlation_px=line.observed_correlation,
        ),
        click_sd_px=(click_px, click_px),
        structure=kind,
        traced_by=TracedBy.PATH,
        anchors_rc=np.asarray(anchors, dtype=float),
        flags=_flags(radiograph, line, crop, _missed(points, anchors, crop, click_px, line), outside),
    )


def _between_clicks(points: FloatArray, anchors: FloatArray) -> FloatArray:
    """Cut or lengthen a line so that it ends square to each of the two outer clicks."""
    for end in (0, -1):
        inner = points[8] if end == 0 else points[-9]
        outward = points[end] - inner
        outward = outward / np.hypot(*outward)
        over = float((anchors[end] - points[end]) @ outward)
        if over > 0.0:
            extra = points[end] + over * outward
            points = np.vstack([extra, points]) if end == 0 else np.vstack([points, extra])
        elif over < 0.0:
            s = arc_length(np.asarray(points, dtype=float))
            keep = s > -over if end == 0 else s < s[-1] + over
            cut = -over if end == 0 else s[-1] + over
            point = np.array([np.interp(cut, s, points[:, k]) for k in (0, 1)])
            points = np.vstack([point, points[keep]]) if end == 0 else np.vstack([points[keep], point])
    return points


WEAK = 1.35
"""Strength below which a line cannot be told from what lies beside it."""
LOPSIDED = 1.0
"""Difference of the shoulders, in depths of the line, above which it looks like an edge."""

OUTSIDE = 0.25
"""Share of the path outside any bright band as wide as a root, above which it follows something beside the root."""

WIDENS = 1.5
"""Width at the foramen over that at the orifice above which the two ends may have been swapped."""


def _missed(
    points_sq: FloatArray, anchors: FloatArray, crop: Crop, click_px: float, line: RefinedLine
) -> NDArray[np.bool_]:
    """(k,) which clicks the line passes by: a canal runs where it was clicked, whatever else is dark beside it."""
    clicks = anchors * np.array([crop.aspect, 1.0])
    away = np.array([np.hypot(*(points_sq - click).T).min() for click in clicks])
    return np.asarray(away > 4.0 * click_px + 0.5 * float(np.median(line.width)))


def _flags(
    radiograph: Radiograph, line: RefinedLine, crop: Crop, missed: NDArray[np.bool_], outside: float
) -> tuple[TraceFlag, ...]:
    s = arc_length(np.asarray(line.points_sq, dtype=float)) * crop.mm
    weak = line.strength < WEAK
    found = []
    if (
        float(np.mean(weak)) > 0.45
        or float(np.median(line.lopsided)) > LOPSIDED
        or outside > OUTSIDE
        or missed[1:-1].any()
        or missed.sum() > 1
    ):
        found.append(TraceFlag.LEFT_RIDGE)
    if _longest(weak, s) > 2.0:
        found.append(TraceFlag.FADED)
    if missed[0] or bool(weak[s < 1.0].mean() > 0.7):
        found.append(TraceFlag.ORIFICE_NOT_VISIBLE)
    if missed[-1] or bool(weak[s > s[-1] - 1.0].mean() > 0.7):
        found.append(TraceFlag.FORAMEN_NOT_VISIBLE)
    if float(line.width[-1]) > WIDENS * float(line.width[0]):
        found.append(TraceFlag.ENDS_SWAPPED)
    rows, cols = radiograph.shape
    away = line.points_sq / np.array([crop.aspect, 1.0])
    border = min(float(away.min()), float((np.array([rows, cols]) - 1.0 - away).min()))
    if border < 1.5 * float(np.median(line.width)):
        found.append(TraceFlag.NEAR_BORDER)
    return tuple(found)


def _longest(mask: NDArray[np.bool_], s: FloatArray) -> float:
    """Length in mm of the longest stretch where `mask` holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(int), [0]])))
    return max((float(s[b - 1] - s[a]) for a, b in zip(edges[::2], edges[1::2], strict=True)), default=0.0)
