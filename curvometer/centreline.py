"""A canal's centreline: ordered points from the canal orifice to the apical foramen, and how well they are known."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from curvometer.radiograph import CurvometerError

FloatArray = NDArray[np.float64]


class Structure(StrEnum):
    """What the traced line is on the radiograph."""

    CANAL = "canal"
    """A dark line: the empty or narrowed canal."""
    INSTRUMENT = "instrument"
    """A bright line: a file or a filling in the canal."""


class TracedBy(StrEnum):
    """Who or what set the points."""

    PATH = "minimal-cost path between clicks"
    POINTS = "exact points, given"
    HAND = "drawn by hand"


class TraceFlag(StrEnum):
    """What the tracer noticed; `curvometer.measurement` turns these into measurement flags."""

    LEFT_RIDGE = "trace_left_ridge"
    FADED = "canal_faded"
    ORIFICE_NOT_VISIBLE = "orifice_not_visible"
    FORAMEN_NOT_VISIBLE = "foramen_not_visible"
    NEAR_BORDER = "near_border"
    ENDS_SWAPPED = "ends_may_be_swapped"
    BY_HAND = "drawn_by_hand"


@dataclass(frozen=True, kw_only=True)
class Observations:
    """Where the line was seen, station by station, before any smoothing: what a shape is fitted to.

    A smoothed line has lost some of its bends; a fit needs the places themselves, with their own errors.

    Attributes
    ----------
    points_rc
        (m, 2) observed centres (row, col) in pixels, orifice first.
    sd_px
        (m,) standard error of each across the line, in column pixels.
    correlation_px
        Area under the autocorrelation of these errors along the line, in column pixels.
    """

    points_rc: FloatArray
    sd_px: FloatArray
    correlation_px: float


@dataclass(frozen=True, kw_only=True)
class Centreline:
    """Ordered points of one canal, from orifice to foramen, with their errors.

    Attributes
    ----------
    points_rc
        (n, 2) floats, (row, col) in pixels; first the orifice, last the foramen.
    position_sd_px
        (n,) standard error of each point across the line, in pixels; None when nobody knows (points given by
        hand): the fit then estimates it from its residuals.
    correlation_px
        Length along the line, in pixels, over which the errors of neighbouring points hang together: the area
        under their autocorrelation function. 0 for independent points.
    width_px
        (n,) local width of the canal or instrument in pixels, or None.
    observations
        The unsmoothed places that the points come from, or None when the points are all there is.
    click_sd_px
        Standard uncertainty of the two end landmarks along the line, in pixels (orifice, foramen).
    structure, traced_by
        What was traced, and how.
    anchors_rc
        (k, 2) the clicks or given landmarks.
    flags
        What the tracer noticed.

    Raises
    ------
    CurvometerError
        When there are fewer than two different points or a coordinate is not finite.
    """

    points_rc: FloatArray
    position_sd_px: FloatArray | None = None
    correlation_px: float = 0.0
    width_px: FloatArray | None = None
    observations: Observations | None = None
    click_sd_px: tuple[float, float] = (0.0, 0.0)
    structure: Structure = Structure.CANAL
    traced_by: TracedBy = TracedBy.POINTS
    anchors_rc: FloatArray | None = None
    flags: tuple[TraceFlag, ...] = ()

    def __post_init__(self) -> None:
        points = np.asarray(self.points_rc, dtype=float)
        if points.ndim != 2 or points.shape[1] != 2 or len(points) < 2:
            raise CurvometerError(
                f"a centreline needs at least two points of two coordinates, found shape {points.shape}:"
                " give the orifice, the foramen and some points between them"
            )
        if not np.isfinite(points).all():
            raise CurvometerError("a centreline point is not a finite number: correct or remove that point")
        if float(np.ptp(points, axis=0).max()) <= 0.0:
            raise CurvometerError("all points of the centreline are the same: give points along the canal")
        object.__setattr__(self, "points_rc", points)
        for name in ("position_sd_px", "width_px"):
            values = getattr(self, name)
            if values is not None and np.shape(values) != (len(points),):
                raise CurvometerError(f"{name} has shape {np.shape(values)}; it needs one value per point")
