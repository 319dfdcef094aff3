"""From image pixels to what the viewer calls the world and back: scale, quarter turns, mirror; the same for every layer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer import Calibration
from curvometer_napari.case import Display, PointRC

FloatArray = NDArray[np.floating[Any]]

MIRROR = np.array([[1.0, 0.0], [0.0, -1.0]])
CLOCKWISE = np.array([[0.0, 1.0], [-1.0, 0.0]])
"""A quarter turn: what points right (0, 1) points down (1, 0) afterwards."""


@dataclass(frozen=True, kw_only=True)
class Placing:
    """Where a pixel lies in the viewer's world.

    Attributes
    ----------
    scale_rc
        World units per row and per column.
    unit
        ``"mm"`` or ``"pixel"``.
    quarter_turns, mirrored
        As in `Display`.
    """

    scale_rc: tuple[float, float] = (1.0, 1.0)
    unit: str = "pixel"
    quarter_turns: int = 0
    mirrored: bool = False

    @property
    def aspect_ratio(self) -> float:
        """Row spacing / column spacing."""
        return self.scale_rc[0] / self.scale_rc[1]

    @property
    def turn(self) -> FloatArray:
        """(2, 2) mirror, then quarter turns."""
        turns = np.linalg.matrix_power(CLOCKWISE, self.quarter_turns % 4)
        return np.asarray(turns @ MIRROR if self.mirrored else turns)

    @property
    def affine(self) -> FloatArray:
        """(3, 3) what a layer applies after its scale."""
        matrix = np.eye(3)
        matrix[:2, :2] = self.turn
        return matrix

    def world(self, points_rc: FloatArray) -> FloatArray:
        """World positions of (..., 2) pixel positions."""
        return np.asarray((np.asarray(points_rc, dtype=float) * np.array(self.scale_rc)) @ self.turn.T)

    def pixels(self, world: FloatArray) -> FloatArray:
        """Pixel positions of (..., 2) world positions."""
        return np.asarray((np.asarray(world, dtype=float) @ self.turn) / np.array(self.scale_rc))

    def step_rc(self, down_right: PointRC) -> FloatArray:
        """(2,) what a step on the screen, in columns down and to the right, is on the image."""
        return self.pixels(np.array(down_right) * self.scale_rc[1])


def placing(calibration: Calibration, display: Display) -> Placing:
    """Millimetres when the scale holds at the tooth, else pixels of the column's size."""
    known = calibration.spacing_rc_mm if calibration.at_tooth else None
    return Placing(
        scale_rc=known or (calibration.aspect_ratio, 1.0),
        unit="pixel" if known is None else "mm",
        quarter_turns=display.quarter_turns % 4,
        mirrored=display.mirrored,
    )
