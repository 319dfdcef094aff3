"""The cheapest smooth path between two clicks, in the frame of their chord.

The search is a dynamic program over (position across, slope): exact, the cheapest of all paths whose slope changes
by at most one unit from step to step. Because the slope is part of the state, the evidence at a pixel is read in the
direction in which the path crosses it, a path cannot jump to a parallel dark line, and it cannot cut a corner
without paying for the bright dentine it crosses.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Float32Image = NDArray[np.float32]

STRIDE = 4
"""Frame columns per step: one unit of slope is one row per STRIDE columns (14 degrees at the chord)."""

STEEPEST = 10
"""Largest slope in units: 10 / 4, or 68 degrees against the chord."""

FLOOR = 0.08
"""Cost per millimetre on the best ridge, against 1 far from any."""

BEND_COST = 0.05
"""Cost of one unit of slope change, in millimetres of worst path."""

WIDTHS_MM = (0.2, 0.35, 0.6)
"""Widths that the evidence is read at; canals are 0.15 to 0.8 mm wide (common practice, no source)."""

ROOT_SCALE_MM = 0.8
"""Standard deviation of the blur at which a root, 2 to 6 mm wide, is one bright band (common practice, no source)."""


def line_evidence(frame: Float32Image, *, mm: float, dark: bool) -> list[Float32Image]:
    """Contrast of a line against the *weaker* of its two sides, for every slope, over the best of three widths.

    Taking the weaker side is what tells a canal from the edge of the root or from the periodontal ligament: a canal
    has dentine on both sides, an edge has it on one.

    Parameters
    ----------
    frame
        (rows, columns) picture in the chord's frame.
    mm
        Size of a frame pixel in millimetres.
    dark
        True for a dark line (canal), False for a bright one (instrument).

    Returns
    -------
    list of arrays
        One per slope unit from -STEEPEST to STEEPEST, same shape as `frame`; positive on a line.
    """
    answers: dict[int, Float32Image] = {}
    blurred, reached = frame if dark else -frame, 0.0
    for width in WIDTHS_MM:
        sigma = max(0.3 * width / mm, 0.8)
        if sigma > reached:
            blurred = _float32(cv2.GaussianBlur(blurred, (0, 0), float(np.sqrt(sigma**2 - reached**2))))
            reached = sigma
        # Both shoulders lie just outside the line: 0.85 of its width from the middle.
        distance = max(0.85 * width / mm, 1.6)
        pad = int(np.ceil(distance)) + 1
        padded = _float32(cv2.copyMakeBorder(blurred, pad, pad, pad, pad, cv2.BORDER_REPLICATE))
        # Every second slope is enough: the shoulders move by less than half a width in between.
        for unit in range(-STEEPEST, STEEPEST + 1, 2):
            angle = np.arctan(unit / STRIDE)
            down, right = round(distance * np.cos(angle)), round(-distance * np.sin(angle))
            side = (
                np.minimum(_shifted(padded, pad, down, right), _shifted(padded, pad, -down, -right)) - blurred
            )
            answers[unit] = (
                side if unit not in answers else np.maximum(answers[unit], side, out=answers[unit])
            )
    return [answers[2 * round(unit / 2)] for unit in range(-STEEPEST, STEEPEST + 1)]


def _float32(image: cv2.typing.MatLike) -> Float32Image:
    return np.asarray(image, dtype=np.float32)


def _shifted(padded: Float32Image, pad: int, down: int, right: int) -> Float32Image:
    rows, columns = padded.shape
    return padded[pad + down : rows - pad + down, pad + right : columns - pad + right]


def inside_root(frame: Float32Image, *, mm: float) -> Float32Image:
    """Weight near 1 inside a bright band as wide as a root, near 0 outside: a soft test of the large-scale curvature.

    A root is a bright ridge at its own scale; the ligament lies on its flank, where the curvature changes sign.
    """
    blurred = cv2.GaussianBlur(frame, (0, 0), ROOT_SCALE_MM / mm)
    across = cv2.filter2D(blurred, cv2.CV_32F, np.array([[1.0], [-2.0], [1.0]]))
    size = np.abs(across[::2, ::2]).ravel()
    typical = float(np.partition(size, size.size // 2)[size.size // 2]) or 1.0
    return np.asarray(1.0 / (1.0 + cv2.exp(across * np.float32(2.0 / typical))), dtype=np.float32)


def segment_costs(
    evidence: list[Float32Image], weight: Float32Image, *, scale: float, columns: int, margin: int, mm: float
) -> Float32Image:
    """Cost of every straight piece of STRIDE columns: shape (steps, rows, slopes).

    Piece (m, r, k) leaves row r at column m * STRIDE with slope unit k - STEEPEST. The cost per millimetre saturates:
    FLOOR + (1 - FLOOR) (1 - weight (1 - exp(-evidence / scale))), so that a strong line is not much cheaper than a faint
    one. The weight is a share of what a line can save, not of its evidence: the ligament, many times as strong as a
    closing canal, saves little however strong it is.
    """
    rows, steps = evidence[0].shape[0], columns // STRIDE
    costs = np.empty((2 * STEEPEST + 1, rows, steps), dtype=np.float32)
    inner = slice(margin, margin + columns + 1)
    gain = np.ascontiguousarray(weight[:, inner])
    rest = 1.0 - gain
    done: dict[int, Float32Image] = {}
    for index, answer in enumerate(evidence):
        if id(answer) not in done:
            cost = _float32(cv2.exp(np.minimum(answer[:, inner] * np.float32(-1.0 / scale), np.float32(0.0))))
            cost *= gain
            cost += rest
            border = cv2.copyMakeBorder(cost, STEEPEST, STEEPEST, 0, 0, cv2.BORDER_CONSTANT, value=4.0)
            done[id(answer)] = _float32(border)
        padded, unit, total = done[id(answer)], index - STEEPEST, costs[index]
        for j in range(1, STRIDE + 1):
            shift = STEEPEST + round(unit * j / STRIDE)
            piece = padded[shift : shift + rows, j : j + columns : STRIDE]
            np.copyto(total, piece) if j == 1 else np.add(total, piece, out=total)
        length = mm * float(np.hypot(1.0, unit / STRIDE))
        total *= np.float32((1.0 - FLOOR) * length)
        total += np.float32(STRIDE * FLOOR * length)
    return np.ascontiguousarray(costs.transpose(2, 1, 0))


def cheapest_path(costs: Float32Image, *, start: Float32Image, end: Float32Image) -> NDArray[np.intp]:
    """Rows of the cheapest path at columns 0, STRIDE, 2 * STRIDE ...

    Parameters
    ----------
    costs
        (steps, rows, slopes) from `segment_costs`.
    start, end
        (rows,) cost of beginning and ending at each row: how far from the click.
    """
    steps, rows, slopes = costs.shape
    far = np.float32(1e6)
    units = np.arange(slopes) - STEEPEST
    source = np.arange(rows)[:, None] - units[None, :]
    valid = (source >= 0) & (source < rows)
    gather = np.where(valid, source, 0) * slopes + np.arange(slopes)
    blocked = np.where(valid, np.float32(0.0), far)
    value = np.repeat(start[:, None], slopes, axis=1).astype(np.float32)
    came = np.empty((steps, rows, slopes), dtype=np.int8)
    padded = np.full((rows, slopes + 2), far, dtype=np.float32)
    straight, lower, upper = padded[:, 1:-1], padded[:, :-2], padded[:, 2:]
    bend = np.float32(BEND_COST)
    for m in range(steps):
        straight[...] = value
        least = np.minimum(lower, upper) + bend
        came[m] = np.where(straight <= least, 0, np.where(lower <= upper, -1, 1))
        np.minimum(least, straight, out=least)
        least += costs[m]
        value = np.take(least, gather) + blocked
    total = value + end[:, None]
    row, slope = np.unravel_index(int(np.argmin(total)), total.shape)
    return _walk_back(came, int(row), int(slope))


def _walk_back(came: NDArray[np.int8], row: int, slope: int) -> NDArray[np.intp]:
    path = np.empty(len(came) + 1, dtype=np.intp)
    path[-1] = row
    for m in range(len(came) - 1, -1, -1):
        row -= slope - STEEPEST
        path[m] = row
        slope += int(came[m, row, slope])
    return path
