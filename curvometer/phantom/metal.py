"""Steel in the picture: a file in the canal with its rubber stop, and calibration objects."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from curvometer.phantom.field import Grid

FloatArray = NDArray[np.float64]
_WORKING_PART_MM = 16.0  # ISO 3630-1: cutting part at least 16 mm
_TAPER = 0.02  # ISO 3630-1, class 1
_STOP_MM = 1.3
_STOP_RADIUS_MM = 1.9
_HANDLE_GAP_MM = 3.0
_HANDLE_RADIUS_MM = 1.9
_FLUTE_PITCH_MM = 0.75
_FLUTE_DEPTH = 0.10


@dataclass(frozen=True, kw_only=True)
class EndodonticFile:
    """A hand file of ISO 3630-1 lying in a canal.

    Attributes
    ----------
    size
        Tip diameter in 1/100 mm.
    tip_s_mm
        Place of the tip along the canal.
    stop_s_mm
        Place of the stop's apical face along the canal's coronal extension (negative).
    """

    size: int
    tip_s_mm: float
    stop_s_mm: float

    @property
    def stop_to_tip_mm(self) -> float:
        """Length from the stop's apical face to the tip, along the file."""
        return self.tip_s_mm - self.stop_s_mm

    def diameter(self, from_tip_mm: Grid) -> Grid:
        """Diameter at a distance from the tip: taper .02 over the working part, then the shaft."""
        grown = self.size / 100.0 + _TAPER * np.clip(from_tip_mm, 0.0, _WORKING_PART_MM)
        return np.asarray(grown, np.float32)

    def steel(self, along: Grid, across: Grid) -> Grid:
        """Path through the steel in mm; the twisted flutes show as a fine even ripple."""
        from_tip = np.float32(self.tip_s_mm) - along
        radius = 0.5 * self.diameter(from_tip)
        cutting = (from_tip < _WORKING_PART_MM) & (from_tip > 0.0)
        ripple = 1.0 - _FLUTE_DEPTH * (0.5 + 0.5 * np.cos(2.0 * np.pi * from_tip / _FLUTE_PITCH_MM)) * cutting
        tip = np.clip(from_tip / np.maximum(1.2 * radius, 1e-3), 0.0, 1.0)  # blunt cone
        radius = radius * ripple * np.sqrt(tip)
        in_handle = along < self.stop_s_mm - _STOP_MM - _HANDLE_GAP_MM - 3.0
        chord = 2.0 * np.sqrt(np.maximum(radius**2 - across**2, 0.0))
        return np.asarray(np.where(in_handle, 0.0, chord), np.float32)

    def polymer(self, along: Grid, across: Grid) -> Grid:
        """Path through the rubber stop and the handle in mm."""
        below = np.float32(self.stop_s_mm) - along
        stop = (below > 0.0) & (below < _STOP_MM)
        handle = below > _STOP_MM + _HANDLE_GAP_MM
        ribs = 1.0 + 0.08 * np.sign(np.sin(2.0 * np.pi * below / 1.1))
        radius = np.where(stop, _STOP_RADIUS_MM, np.where(handle, _HANDLE_RADIUS_MM * ribs, 0.0))
        return np.asarray(2.0 * np.sqrt(np.maximum(radius**2 - across**2, 0.0)), np.float32)


def wire_chord(x: Grid, y: Grid, start: FloatArray, end: FloatArray, *, diameter_mm: float) -> Grid:
    """Path through a straight wire with flat ends between two points (x, y) in mm."""
    along_axis = (end - start) / np.linalg.norm(end - start)
    along = (x - start[0]) * along_axis[0] + (y - start[1]) * along_axis[1]
    across = (y - start[1]) * along_axis[0] - (x - start[0]) * along_axis[1]
    chord = 2.0 * np.sqrt(np.maximum((0.5 * diameter_mm) ** 2 - across**2, 0.0))
    inside = (along >= 0.0) & (along <= float(np.linalg.norm(end - start)))
    return np.asarray(chord * inside, np.float32)


def ball_chord(x: Grid, y: Grid, centre: FloatArray, *, diameter_mm: float) -> Grid:
    """Path through a ball in mm."""
    square = (0.5 * diameter_mm) ** 2 - (x - centre[0]) ** 2 - (y - centre[1]) ** 2
    return np.asarray(2.0 * np.sqrt(np.maximum(square, 0.0)), np.float32)
