"""How long the image of a file is, measured along a few clicks, and how sure that length is.

The file may be bent, so its length is never the distance from end to end: an arc of 45 degrees and radius 8
mm is 2.55 % longer than its chord. Between clicks the file is taken as circular arcs: the circle through
three neighbouring clicks gives the arc of the two pieces between them, and a piece that two circles share
takes the mean of both. That is exact for a straight file and for a circular bend, and needs three clicks
only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from curvometer.calibration.scale import CalibrationError

FloatArray = NDArray[np.float64]

MOST_CLICKS = 13
"""A denser path is thinned to this many points: closer ones add the hand's noise, not the file's shape."""
LEAST_CLICK_SDS = 10.0
"""Points closer than this many click errors are thinned for the same reason."""
SHARPEST_TURN_DEG = 100.0
"""A file that turns more than this at one click was clicked out of order."""


@dataclass(frozen=True, kw_only=True)
class PathLength:
    """Length of a clicked path.

    Attributes
    ----------
    length
        In units of the column pitch, freed of the length that the noise of inner clicks adds.
    click_sd
        Standard uncertainty from the click error, same unit.
    shape_sd
        Standard uncertainty because nobody clicked between the clicks, same unit; 0 for two clicks, which say
        nothing of a bend.
    turning_deg
        How far the direction turns from the first piece to the last, in degrees, whatever the sense.
    n_clicks
        Points used after thinning.
    """

    length: float
    click_sd: float
    shape_sd: float
    turning_deg: float
    n_clicks: int


def measure_path(path_rc: ArrayLike, *, click_sd_px: float, aspect_ratio: float) -> PathLength:
    """Measure along the clicks from one end of a file to the other.

    Parameters
    ----------
    path_rc
        (n, 2) clicks, (row, col) in pixels, in order along the file; n >= 2.
    click_sd_px
        Standard error of a click in each direction, in pixels.
    aspect_ratio
        Row spacing / column spacing.

    Returns
    -------
    PathLength
        In units of the column pitch.

    Raises
    ------
    CalibrationError
        When the path has fewer than two different finite points, or goes back on itself.

    Notes
    -----
    With L(P) the length as a function of the 2n click coordinates and independent errors of standard
    deviation sigma, var L = sigma^2 |grad L|^2 and E L = L_true + sigma^2 / 2 * laplacian L (second order).
    On a straight file the gradient is one unit vector at either end and nothing between: sd = sqrt(2) sigma.
    """
    path = _thinned(_checked(path_rc), spacing_px=LEAST_CLICK_SDS * click_sd_px)
    scale = np.array([aspect_ratio, 1.0])
    turns_deg = _turns_deg(path * scale)
    length, shape_sd = _arc_length(path * scale)
    gradient_squared, laplacian = _derivatives(path, scale=scale, step_px=1e-4 * length)
    return PathLength(
        length=length - 0.5 * click_sd_px**2 * laplacian,
        click_sd=click_sd_px * gradient_squared**0.5,
        shape_sd=shape_sd,
        turning_deg=float(turns_deg.sum()),
        n_clicks=len(path),
    )


def _checked(path_rc: ArrayLike) -> FloatArray:
    try:
        path = np.asarray(path_rc, dtype=float)
    except (TypeError, ValueError):
        path = np.empty(0)
    if path.ndim != 2 or path.shape[1] != 2 or len(path) < 2:
        raise CalibrationError(
            f"the path along the file has shape {path.shape}; it needs at least two clicks of two"
            " coordinates: click from the stop along the file to its tip"
        )
    if not np.isfinite(path).all() or np.abs(path).max() > 1e6:
        raise CalibrationError(
            "a click along the file is not a finite position on an image: remove or repeat that click"
        )
    if not np.hypot(*np.ptp(path, axis=0)) > 0.0:
        raise CalibrationError(
            "all clicks along the file are at the same place: click from its stop along it to its tip"
        )
    return path


def _thinned(path: FloatArray, *, spacing_px: float) -> FloatArray:
    """Keep both ends and, of the rest, points that are far enough apart."""
    steps = np.hypot(*np.diff(path, axis=0).T)
    position = np.concatenate([[0.0], np.cumsum(steps)])
    spacing = max(spacing_px, 1e-9 * position[-1])
    if len(path) > MOST_CLICKS:
        spacing = max(spacing, 0.999 * position[-1] / (MOST_CLICKS - 1))
    kept = [0]
    for index in range(1, len(path) - 1):
        if min(position[index] - position[kept[-1]], position[-1] - position[index]) >= spacing:
            kept.append(index)
    return path[[*kept, len(path) - 1]]


def _turns_deg(path: FloatArray) -> FloatArray:
    """Angle by which the path turns at each inner click; refuses a path that goes back on itself."""
    steps = np.diff(path, axis=0)
    lengths = np.hypot(*steps.T)
    if not lengths.min() > 0.0:
        raise CalibrationError(
            "the path along the file ends where it began: click from the stop along the file to its tip"
        )
    cosines = (steps[1:] * steps[:-1]).sum(axis=1) / (lengths[1:] * lengths[:-1])
    turns_deg = np.degrees(np.arccos(np.clip(cosines, -1.0, 1.0)))
    if (turns_deg > SHARPEST_TURN_DEG).any():
        raise CalibrationError(
            "the path along the file goes back on itself; a file turns less than"
            f" {SHARPEST_TURN_DEG:.0f} degrees at one click: click in order from the stop to the tip"
        )
    return np.asarray(turns_deg)


def _arc_length(path: FloatArray) -> tuple[float, float]:
    """Length by circles through three neighbouring clicks, and its standard uncertainty."""
    before, after, pieces = _circle_pieces(path)
    polygon = float(np.hypot(*np.diff(path, axis=0).T).sum())
    length = float(pieces.sum())
    if before.size == 0:
        return length, 0.0
    if before.size == 1:
        # One circle only, nothing to compare: the arc's whole excess over the polygon is in doubt.
        return length, 2.0 * (length - polygon)
    # An inner piece is measured twice; how far the two differ tells how far the shape is from one circle.
    # Factor 2: own assumption, no source; tests/test_calibration.py measures that twice this sd covers.
    return length, 2.0 * float(np.abs(before[1:] - after[:-1]).max())


def _circle_pieces(path: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Arc pieces before and after every inner click, and the mean piece between neighbouring clicks."""
    steps = np.diff(path, axis=0)
    chords = np.hypot(*steps.T)
    if len(chords) == 1:
        return np.empty(0), np.empty(0), chords
    cross = steps[:-1, 0] * steps[1:, 1] - steps[:-1, 1] * steps[1:, 0]
    span = np.hypot(*(path[2:] - path[:-2]).T)
    curvature = 2.0 * cross / (chords[:-1] * chords[1:] * span)  # circle through three points (Menger)
    before, after = _arc(chords[:-1], curvature), _arc(chords[1:], curvature)
    pieces = np.concatenate([before[:1], 0.5 * (before[1:] + after[:-1]), after[-1:]])
    return before, after, pieces


def _arc(chord: FloatArray, curvature: FloatArray) -> FloatArray:
    """Arc over a chord: 2 R arcsin(chord / 2R)."""
    half = np.minimum(np.abs(curvature) * chord / 2.0, 1.0)
    ratio = np.where(half > 1e-6, np.arcsin(half) / np.maximum(half, 1e-6), 1.0 + half**2 / 6.0)
    return np.asarray(chord * ratio)


def _derivatives(path: FloatArray, *, scale: FloatArray, step_px: float) -> tuple[float, float]:
    """Return (|grad L|^2, laplacian L) with respect to the click coordinates, by central differences."""
    centre = _arc_length(path * scale)[0]
    gradient_squared = laplacian = 0.0
    for index in np.ndindex(path.shape):
        moved = [path.copy(), path.copy()]
        moved[0][index] -= step_px
        moved[1][index] += step_px
        lower, upper = (_arc_length(points * scale)[0] for points in moved)
        gradient_squared += ((upper - lower) / (2.0 * step_px)) ** 2
        laplacian += (upper - 2.0 * centre + lower) / step_px**2
    return gradient_squared, laplacian
