"""A picture of the neighbourhood of two clicks, turned so that the line between them runs along its rows.

The canal between two clicks is nearly a function of the position along their chord. In a frame turned to that chord
a path search becomes a sweep over columns, and its cost no longer depends on the size of the radiograph.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Float32Image = NDArray[np.float32]
FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, kw_only=True)
class LegFrame:
    """The frame of one leg, from one click to the next.

    Positions on the image are in *square* coordinates here: (row * aspect, col), in column pixels, so that angles
    are right on detectors with non-square pixels.

    Attributes
    ----------
    start_sq, end_sq
        (2,) the two clicks.
    step
        Size of one frame pixel, in column pixels of the image.
    columns
        Frame pixels from click to click; column 0 is the start, column `columns` is the end.
    margin
        Extra frame columns before and after the clicks, so that filters have something to stand on.
    half_height
        Frame rows on either side of the chord.
    aspect
        Row spacing / column spacing of the image.
    """

    start_sq: FloatArray
    end_sq: FloatArray
    step: float
    columns: int
    margin: int
    half_height: int
    aspect: float

    @property
    def along(self) -> FloatArray:
        """Unit vector from start to end."""
        chord = self.end_sq - self.start_sq
        return np.asarray(chord / np.hypot(*chord))

    @property
    def across(self) -> FloatArray:
        """Unit vector of growing frame rows: `along` turned by +90 degrees in (row, col) order."""
        along = self.along
        return np.array([-along[1], along[0]])

    def to_square(self, column: FloatArray, row: FloatArray) -> FloatArray:
        """Map frame positions (column from the start, row from the chord; in frame pixels) to square coordinates."""
        column, row = np.asarray(column, dtype=float), np.asarray(row, dtype=float)
        return np.asarray(
            self.start_sq + self.step * (column[..., None] * self.along + row[..., None] * self.across)
        )

    def sample(self, image: Float32Image, origin_rc: tuple[int, int] = (0, 0)) -> Float32Image:
        """Resample the image into the frame; outside the image the border value is repeated.

        Parameters
        ----------
        image
            (rows, cols) float32, a crop of the radiograph.
        origin_rc
            Position of the crop's first pixel on the radiograph.
        """
        along, across, aspect = self.along * self.step, self.across * self.step, self.aspect
        first = self.to_square(np.array(-float(self.margin)), np.array(-float(self.half_height)))
        matrix = np.array(
            [
                [along[1], across[1], first[1] - origin_rc[1]],
                [along[0] / aspect, across[0] / aspect, first[0] / aspect - origin_rc[0]],
            ]
        )
        size = (self.columns + 2 * self.margin + 1, 2 * self.half_height + 1)
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return np.asarray(
            cv2.warpAffine(image, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE),
            dtype=np.float32,
        )

    def corners_rc(self) -> FloatArray:
        """(4, 2) corners of the frame on the image, (row, col) in image pixels."""
        columns = np.array(
            [-self.margin, -self.margin, self.columns + self.margin, self.columns + self.margin]
        )
        rows = np.array([-1, 1, -1, 1]) * self.half_height
        return np.asarray(self.to_square(columns, rows) / np.array([self.aspect, 1.0]))
