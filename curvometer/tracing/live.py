"""The live tracer: a path from the last anchor to the pointer at every mouse move."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer.calibration import Calibration, calibrate_from_file
from curvometer.centreline import Centreline, Structure
from curvometer.radiograph import Radiograph
from curvometer.tracing.clicks import check_click, check_clicks
from curvometer.tracing.rough import FRAME_MM, blur_for, leg_frame, leg_path
from curvometer.tracing.strips import Crop
from curvometer.tracing.trace import structure_of, trace_centreline

FloatArray = NDArray[np.floating[Any]]

LIVE_FRAME_MM = 0.1
"""Coarser than a final trace, so that a move costs a few milliseconds; accepting traces again in full."""
ASSUMED_MM = 0.025
"""Pixel size until a first leg exists, when nothing else is known: a common sensor pitch (common practice, no source)."""


class LiveTracer:
    """Follow a canal to the pointer.

    Prepared once per image; then `path_to` gives a path for every mouse move, `anchor` fixes one, and `finish` traces
    the accepted anchors in full. It holds the anchors and the prepared picture, nothing else.

    Parameters
    ----------
    radiograph
        The picture.
    structure
        ``"canal"`` or ``"instrument"``.
    calibration
        Scale to choose filter widths by.
    click_sd_px
        Standard error of a click in pixels.
    """

    def __init__(
        self,
        radiograph: Radiograph,
        *,
        structure: Structure | str = Structure.CANAL,
        calibration: Calibration | None = None,
        click_sd_px: float = 3.0,
    ) -> None:
        self.radiograph = radiograph
        self.structure = structure_of(structure)
        self.calibration = calibration
        self.click_sd_px = click_sd_px
        self.anchors_rc: list[tuple[float, float]] = []
        known = (
            calibration
            if calibration is not None and calibration.spacing_rc_mm
            else calibrate_from_file(radiograph)
        )
        self._mm = known.spacing_rc_mm[1] if known.spacing_rc_mm else ASSUMED_MM
        self._aspect = known.aspect_ratio
        whole = Crop(
            pixels=np.asarray(radiograph.pixels, dtype=np.float32),
            origin_rc=(0, 0),
            aspect=self._aspect,
            mm=self._mm,
        )
        self._blurred = blur_for(whole, max(1.0, FRAME_MM / self._mm))

    def anchor(self, point_rc: Sequence[float]) -> None:
        """Fix an anchor: the orifice first, then waypoints, last the foramen."""
        check_click(self.radiograph, point_rc)
        if self.anchors_rc:
            check_clicks(self.radiograph, [*self.anchors_rc[-1:], point_rc])
        self.anchors_rc.append((float(point_rc[0]), float(point_rc[1])))

    def take_back(self) -> None:
        """Remove the last anchor, if there is one."""
        if self.anchors_rc:
            self.anchors_rc.pop()

    def path_to(self, point_rc: Sequence[float]) -> FloatArray:
        """(n, 2) path (row, col) from the last anchor to the pointer; a straight line when the pointer is near it.

        A pointer beyond the image counts as on its border; without an anchor the path is empty.
        """
        if not self.anchors_rc or not np.isfinite(point_rc).all():
            return np.empty((0, 2))
        to_square = np.array([self._aspect, 1.0])
        start, end = (
            np.asarray(self.anchors_rc[-1]) * to_square,
            np.clip(point_rc, 0.0, np.array(self.radiograph.shape) - 1.0) * to_square,
        )
        if float(np.hypot(*(end - start))) * self._mm < 1.0:
            return np.asarray(np.vstack([start, end]) / to_square)
        frame = leg_frame(start, end, mm=self._mm, aspect=self._aspect, frame_mm=LIVE_FRAME_MM)
        path, _ = leg_path(
            self._blurred,
            frame,
            dark=self.structure is Structure.CANAL,
            click_px=self.click_sd_px,
            waypoints=(len(self.anchors_rc) > 1, False),
        )
        return np.asarray(path / to_square)

    def finish(self) -> Centreline:
        """Trace through all anchors in full.

        Raises
        ------
        TracingError
            Fewer than two anchors.
        """
        return trace_centreline(
            self.radiograph,
            np.asarray(self.anchors_rc, dtype=float).reshape(-1, 2),
            structure=self.structure,
            calibration=self.calibration,
            click_sd_px=self.click_sd_px,
        )
