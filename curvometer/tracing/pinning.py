"""Clicks as observations: each says where the line runs across, with the error of a click.

Where the picture shows the line clearly, its own observations outweigh a click by far. Where it shows little or nothing, at a
faded stretch or an end that cannot be seen, the click is what is known, and the line passes by it with the click's error.
A waypoint says more than an outer click: it is set where a drawn line looks wrong, so what the picture seems to show
around it is doubted, the more the further the two lie apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer.tracing.observation import Observed
from curvometer.tracing.strips import normals

FloatArray = NDArray[np.floating[Any]]

OUTER_CLICK = 2.0
"""Error of an outer click across the line, in click errors: it marks where the canal begins or ends, not its middle."""
WRONG_MM = 0.3
"""Standard deviation of a line that follows something else than the canal."""
WRONG_ODDS = 2.0
"""Odds that a faint line is wrong where a waypoint is set: waypoints are seldom set on a line that is right."""
CLEAR, CLEARER = 2.0, 0.5
"""Strength up to which a line is faint enough to be something else, and how much more makes that improbable."""
WRONG_ALONG_MM = 1.3
"""Standard deviation along the line of the stretch that a waypoint casts doubt on."""
BESIDE_MM = 0.3
"""The same of the stretch whose observations are held against the waypoint."""


@dataclass(frozen=True, kw_only=True)
class Pins:
    """Clicks that a line is held by.

    Attributes
    ----------
    clicks_sq
        (k, 2) clicks in square coordinates, orifice first.
    sd_mm
        Standard error of a click.
    """

    clicks_sq: FloatArray
    sd_mm: float

    @property
    def across_sd_mm(self) -> FloatArray:
        """(k,) standard error across the line."""
        factor = np.ones(len(self.clicks_sq))
        factor[[0, -1]] = OUTER_CLICK
        return factor * self.sd_mm

    def places(self, points_sq: FloatArray, *, mm: float) -> tuple[NDArray[np.intp], FloatArray]:
        """(k,) station nearest to each click, and (k,) how far to the side of it the click lies, in mm."""
        from_click = self.clicks_sq[:, None] - points_sq[None]
        at = np.argmin(np.hypot(from_click[..., 0], from_click[..., 1]), axis=1)
        aside = (from_click[np.arange(len(at)), at] * normals(points_sq)[at]).sum(axis=1)
        return at, np.asarray(aside * mm)


def doubt(seen: Observed, points_sq: FloatArray, pins: Pins, *, mm: float, station_mm: float) -> FloatArray:
    """(n,) variance to add to every station's observation, because a waypoint speaks against it; zero without waypoints.

    Two explanations are weighed: the picture shows the canal there, or (odds `WRONG_ODDS` where it is faint, nil where
    it is clear) something else, some `WRONG_MM` away. The variance is such that picture and waypoint, combined, give the
    mean over both.

    Parameters
    ----------
    seen
        What the picture says.
    points_sq
        (n, 2) stations that `seen` belongs to.
    pins
        The clicks.
    mm
        Size of a column pixel in millimetres.
    station_mm
        Distance between stations.
    """
    extra = np.zeros(len(points_sq))
    along_mm = np.arange(len(points_sq)) * station_mm
    for at, aside in list(zip(*pins.places(points_sq, mm=mm), strict=True))[1:-1]:
        away_mm = along_mm - along_mm[at]
        near = np.exp(-0.5 * (away_mm / BESIDE_MM) ** 2)
        beside = near * seen.weight
        apart = aside - float(beside @ seen.offset_mm) / float(beside.sum())
        clear = max(float(near @ seen.strength) / float(near.sum()) - CLEAR, 0.0) / CLEARER
        odds = WRONG_ODDS * float(np.exp(-0.5 * clear**2))
        share = _share_of_waypoint(apart, 1.0 / float(beside.sum()), pins.sd_mm**2, odds=odds)
        # All stations of the stretch are wrong together: their mean gets this variance, each of them so many times as much.
        together = np.sqrt(2.0 * np.pi) * WRONG_ALONG_MM / station_mm
        stretch = np.exp(-0.5 * (away_mm / WRONG_ALONG_MM) ** 2)
        extra = np.maximum(extra, pins.sd_mm**2 * share / (1.0 - share) * together * stretch)
    return extra


def _share_of_waypoint(apart_mm: float, seen_variance: float, click_variance: float, *, odds: float) -> float:
    """Weight of a waypoint against a picture that it is `apart_mm` from.

    The probability that the picture misleads (`odds` before the distance is known), times the weight that the waypoint has
    when it does.
    """
    right = click_variance + seen_variance
    wrong = right + WRONG_MM**2
    # Ratio of two normal densities; beyond exp(50) nothing changes any more.
    exponent = min(0.5 * apart_mm**2 * (1.0 / right - 1.0 / wrong), 50.0)
    odds *= float(np.sqrt(right / wrong) * np.exp(exponent))
    return odds / (1.0 + odds) * WRONG_MM**2 / (WRONG_MM**2 + click_variance)


def pinned(
    seen: Observed, points_sq: FloatArray, pins: Pins, *, mm: float, doubted: FloatArray | float = 0.0
) -> Observed:
    """Add one independent observation per click at the station nearest to it.

    Parameters
    ----------
    seen, points_sq, pins, mm
        As for `doubt`.
    doubted
        What `doubt` found.
    """
    offset, weight = seen.offset_mm.copy(), seen.weight / (1.0 + seen.weight * doubted)
    at, aside = pins.places(points_sq, mm=mm)
    for station, said, sd in zip(at, aside, pins.across_sd_mm, strict=True):
        weight[station] += sd**-2
        offset[station] += (said - offset[station]) / (weight[station] * sd**2)
    return Observed(offset_mm=offset, weight=weight, strength=seen.strength)
