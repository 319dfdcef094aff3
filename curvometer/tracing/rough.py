"""One leg of a trace: the cheapest path from one click to the next."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from curvometer.tracing.frame import LegFrame
from curvometer.tracing.pathsearch import STRIDE, cheapest_path, inside_root, line_evidence, segment_costs
from curvometer.tracing.strips import Crop

FloatArray = NDArray[np.floating[Any]]
Float32Image = NDArray[np.float32]

FRAME_MM = 0.065
"""Size of a frame pixel: the thinnest canals are still two of them wide."""
CLICK_COST_MM = 0.15
"""Price of ending one click error away from the click, in millimetres of worst path."""
WAYPOINT_COST_MM = 0.5
"""The same for a waypoint, which says where the line runs; an outer click says where it ends."""
SATURATION = 0.35
"""Evidence that counts as a good line, as a share of the weaker of the best answers near the two clicks."""
MARGIN_MM = 1.2
REACH = 0.35
"""Frame half height as a share of the chord: the sagitta of a 140 degree arc (plus MARGIN_MM / 1.5)."""


def leg_frame(
    start_sq: FloatArray, end_sq: FloatArray, *, mm: float, aspect: float, frame_mm: float = FRAME_MM
) -> LegFrame:
    """Frame between two clicks, its pixels never smaller than the image's."""
    chord = float(np.hypot(*(end_sq - start_sq)))
    columns = max(2, int(np.ceil(chord / max(1.0, frame_mm / mm) / STRIDE))) * STRIDE
    step = chord / columns
    return LegFrame(
        start_sq=start_sq,
        end_sq=end_sq,
        step=step,
        columns=columns,
        margin=max(4, round(MARGIN_MM / mm / step)),
        half_height=max(6, round((REACH * chord + MARGIN_MM / 1.5 / mm) / step)),
        aspect=aspect,
    )


def crop_of(pixels: NDArray[np.generic], corners_rc: FloatArray, *, mm: float, aspect: float) -> Crop:
    """Float32 piece of the image that holds the given corners."""
    rows, cols = pixels.shape
    low = np.clip(np.floor(corners_rc.min(axis=0)).astype(int) - 4, 0, [rows - 1, cols - 1])
    high = np.clip(np.ceil(corners_rc.max(axis=0)).astype(int) + 5, low + 1, [rows, cols])
    piece = np.asarray(pixels[low[0] : high[0], low[1] : high[1]], dtype=np.float32)
    return Crop(pixels=piece, origin_rc=(int(low[0]), int(low[1])), aspect=aspect, mm=mm)


def leg_path(
    blurred: Crop,
    frame: LegFrame,
    *,
    dark: bool,
    click_px: float,
    waypoints: tuple[bool, bool] = (False, False),
) -> tuple[FloatArray, FloatArray]:
    """Cheapest path of one leg as (n, 2) square coordinates, and (n,) how far inside a root each place is, 0 to 1.

    Parameters
    ----------
    blurred
        The picture, already blurred to the frame's pixel size.
    frame
        Where to look.
    dark
        True for a dark line.
    click_px
        Standard error of a click in column pixels.
    waypoints
        Whether the leg starts, and ends, at a waypoint.
    """
    picture = frame.sample(blurred.pixels, blurred.origin_rc)
    mm = frame.step * blurred.mm
    evidence = line_evidence(picture, mm=mm, dark=dark)
    weight = inside_root(picture, mm=mm)
    scale = SATURATION * _strength_at_clicks(evidence, weight, frame, click_px)
    costs = segment_costs(evidence, weight, scale=scale, columns=frame.columns, margin=frame.margin, mm=mm)
    start, end = (_end_costs(frame, click_px, waypoint=waypoint) for waypoint in waypoints)
    path = cheapest_path(costs, start=start, end=end)
    columns = np.arange(len(path)) * STRIDE
    inside = np.asarray(weight[path, frame.margin + columns], dtype=float)
    return frame.to_square(columns.astype(float), path - float(frame.half_height)), inside


def _end_costs(frame: LegFrame, click_px: float, *, waypoint: bool) -> Float32Image:
    """(rows,) price of ending there instead of at the click."""
    rows = np.arange(-frame.half_height, frame.half_height + 1)
    # A click is never better than half a frame pixel.
    away = rows * frame.step / max(click_px, 0.5 * frame.step)
    price = WAYPOINT_COST_MM if waypoint else CLICK_COST_MM
    return np.where(np.abs(away) <= 4.0, price * away**2, 1e6).astype(np.float32)


def blur_for(crop: Crop, step: float) -> Crop:
    """Blur a crop so that sampling it every `step` pixels loses nothing but the finest grain."""
    if step <= 1.3:
        return crop
    pixels = np.asarray(cv2.GaussianBlur(crop.pixels, (0, 0), 0.4 * step), dtype=np.float32)
    return Crop(pixels=pixels, origin_rc=crop.origin_rc, aspect=crop.aspect, mm=crop.mm)


def _strength_at_clicks(
    evidence: list[Float32Image], weight: Float32Image, frame: LegFrame, click_px: float
) -> float:
    size = max(2, int(np.ceil(2.0 * click_px / frame.step)))
    rows = slice(max(frame.half_height - size, 0), frame.half_height + size + 1)
    strongest = []
    for column in (frame.margin, frame.margin + frame.columns):
        place = (rows, slice(max(column - size, 0), column + size + 1))
        strongest.append(max(float((answer[place] * weight[place]).max()) for answer in evidence[::2]))
    return max(min(strongest), 1e-3 * max(strongest), 1e-9)
