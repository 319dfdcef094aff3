"""Distance along and across a canal for every pixel, in closed form.

A tube is drawn from two numbers per pixel: how far along the centreline its nearest point lies and how far it
is from it. For straight pieces and arcs both have closed forms, so a root or a canal is exact at any pixel
size and needs no search along a polyline.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from curvometer.phantom.shape import STRAIGHT, CanalShape, SegmentFrame

Grid = NDArray[np.float32]
_JOINT_MM = 1e-3  # neighbours of a joint belong to both pieces; without it rounding leaves holes


def along_and_across(shape: CanalShape, u_mm: Grid, v_mm: Grid) -> tuple[Grid, Grid]:
    """Project pixels on a canal's centreline.

    Parameters
    ----------
    shape
        The canal. It is extended straight beyond the orifice and beyond the foramen.
    u_mm, v_mm
        Positions in the canal's frame, arrays of one shape.

    Returns
    -------
    along_mm, across_mm
        Arc length of the nearest point of the centreline (negative coronally of the orifice, larger than the
        canal's length beyond the foramen), and the signed distance from it, positive towards +v.
    """
    frames = shape.frames()
    coronal = SegmentFrame(0.0, 0.0, 0.0, 0.0, 0.0, STRAIGHT)
    pieces = [(coronal, -math.inf, 0.0)]
    pieces += [(f, 0.0, f.length_mm) for f in frames[:-1]]
    pieces.append((frames[-1], 0.0, math.inf))
    along = np.zeros(u_mm.shape, np.float32)
    across = np.full(u_mm.shape, np.inf, np.float32)
    for frame, low, high in pieces:
        s, d = _on_piece(frame, u_mm, v_mm)
        nearer = (s >= low - _JOINT_MM) & (s <= high + _JOINT_MM) & (np.abs(d) < np.abs(across))
        np.copyto(along, s + np.float32(frame.s_mm), where=nearer)
        np.copyto(across, d, where=nearer)
    return along, across


def _on_piece(frame: SegmentFrame, u: Grid, v: Grid) -> tuple[Grid, Grid]:
    cos_h, sin_h = np.float32(math.cos(frame.heading)), np.float32(math.sin(frame.heading))
    du, dv = u - np.float32(frame.u_mm), v - np.float32(frame.v_mm)
    forward = du * cos_h + dv * sin_h
    left = dv * cos_h - du * sin_h
    if math.isinf(frame.radius_mm):
        return forward, left
    # With the centre at (0, r) of the local frame, a point at polar angle phi from the start of the arc lies
    # |r| phi along it and r - sign(r) rho across it.
    r = np.float32(frame.radius_mm)
    sign = np.float32(math.copysign(1.0, frame.radius_mm))
    rho = np.hypot(forward, left - r)
    phi = np.arctan2(forward, (r - left) * sign)
    return abs(r) * phi, r - sign * rho
