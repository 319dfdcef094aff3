"""Where a point of the tooth falls on the image, and which point of the tooth a pixel looks at.

The beam is parallel apart from a magnification that is already in the scale (``mm_per_pixel`` holds in the
plane of the target canal). Depth ``z`` is counted from that plane: a vertical or horizontal beam angle
foreshortens the picture and shifts what lies at another depth. All of this is affine, so both directions are
exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Grid = NDArray[np.float32]


@dataclass(frozen=True, kw_only=True)
class Projection:
    """Affine map from a tooth's frame to the image.

    Attributes
    ----------
    matrix
        (2, 2): millimetres (row, col) per millimetre of tooth (x, t).
    depth_shift
        (2,): millimetres (row, col) per millimetre of depth.
    origin_rc
        (2,): pixel of the tooth frame's origin.
    mm_per_pixel
        Scale.
    """

    matrix: FloatArray
    depth_shift: FloatArray
    origin_rc: FloatArray
    mm_per_pixel: float

    def to_image(self, points_xt: FloatArray, *, depth_mm: float = 0.0) -> FloatArray:
        """Pixels (n, 2) as (row, col) of points (n, 2) as (x, t) in mm at one depth."""
        mm = np.asarray(points_xt, dtype=float) @ self.matrix.T + depth_mm * self.depth_shift
        return np.asarray(mm / self.mm_per_pixel + self.origin_rc)

    def to_tooth(self, rows: FloatArray, cols: FloatArray, *, depth_mm: float = 0.0) -> tuple[Grid, Grid]:
        """Tooth coordinates (x, t) in mm, each (len(rows), len(cols)), that the pixels see at one depth."""
        inverse = np.linalg.inv(self.matrix)
        down = (rows - self.origin_rc[0]) * self.mm_per_pixel - depth_mm * self.depth_shift[0]
        right = (cols - self.origin_rc[1]) * self.mm_per_pixel - depth_mm * self.depth_shift[1]
        x = np.add.outer(inverse[0, 0] * down, inverse[0, 1] * right).astype(np.float32)
        t = np.add.outer(inverse[1, 0] * down, inverse[1, 1] * right).astype(np.float32)
        return x, t


def make_projection(
    *,
    mm_per_pixel: float,
    origin_rc: tuple[float, float],
    upper: bool,
    mirrored: bool,
    tilt_deg: float = 0.0,
    vertical_angle_deg: float = 0.0,
    horizontal_angle_deg: float = 0.0,
) -> Projection:
    """Compose the map: beam angles, rotation in the image, left-right and up-down flips.

    Parameters
    ----------
    origin_rc
        Pixel where the tooth frame's origin falls.
    upper, mirrored
        Flip up-down, left-right.
    tilt_deg
        Rotation in the image.
    vertical_angle_deg, horizontal_angle_deg
        Beam angles: ``x' = x cos w + z sin w``, ``t' = t cos b + z sin b``.
    """
    vertical, horizontal = math.radians(vertical_angle_deg), math.radians(horizontal_angle_deg)
    tilt = math.radians(tilt_deg)
    # rows of `turn`: (down, right); columns: (x, t)
    turn = np.array([[math.sin(tilt), math.cos(tilt)], [math.cos(tilt), -math.sin(tilt)]])
    flip = np.diag([-1.0 if upper else 1.0, -1.0 if mirrored else 1.0])
    beam = np.diag([math.cos(horizontal), math.cos(vertical)])
    matrix = flip @ turn @ beam
    shift = flip @ turn @ np.array([math.sin(horizontal), math.sin(vertical)])
    return Projection(
        matrix=matrix, depth_shift=shift, origin_rc=np.asarray(origin_rc, float), mm_per_pixel=mm_per_pixel
    )
