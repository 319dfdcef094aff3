"""What a straightened strip says about the place of the line in it, station by station."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer.tracing.profiles import (
    WIDTHS_MM,
    answers,
    at_width,
    most_likely_line,
    sharpness,
    spread,
    summit,
)
from curvometer.tracing.strips import Crop, smooth, straighten
from curvometer.tracing.width import width_index

FloatArray = NDArray[np.floating[Any]]

HALF_STRIP_MM = 1.3
SIDEWAYS_MM = 0.36
"""How far from the rough path the centre is looked for at first."""
STEP_MM = 0.1
"""How far a later step may move it."""
ALONG_MM = 0.15
"""Standard deviation of the averaging along the line before a template is placed."""
ERROR_SCALE = 1.6
"""Factor on the error of an observation, calibrated on simulated radiographs (docs/accuracy)."""

FAINTEST = 0.05
"""Share of the depth around a station that it is taken to have at least, when its error is told."""


@dataclass(frozen=True, kw_only=True)
class Observed:
    """One observation per station.

    Attributes
    ----------
    offset_mm
        (n,) where the centre is seen, across the line.
    weight
        (n,) one over the variance that an independent observation would need, 1/mm^2.
    strength
        (n,) depth of the line over the spread of the same template's answers beside it.
    """

    offset_mm: FloatArray
    weight: FloatArray
    strength: FloatArray

    def within(self, beyond: int) -> Observed:
        """The same with next to no weight on the first and last `beyond` stations."""
        weight = self.weight.copy()
        weight[:beyond] *= 1e-3
        weight[-beyond:] *= 1e-3
        return Observed(offset_mm=self.offset_mm, weight=weight, strength=self.strength)


@dataclass(frozen=True, kw_only=True)
class Strip:
    """A straightened strip with the answers of the template as wide as the line.

    Attributes
    ----------
    grey
        (n, m) grey values.
    offsets_mm
        (m,) distance of each column from the line.
    depth
        (n, m) depth of the line if it were there.
    widths_mm
        (n,) width of the line.
    noise
        (n,) spread of the depth beside the line.
    sharp
        (n,) curvature of a clear line's answer at its summit, per mm^2 and unit of depth.
    station_mm
        Distance between stations.
    """

    grey: NDArray[np.float32]
    offsets_mm: FloatArray
    depth: FloatArray
    widths_mm: FloatArray
    noise: FloatArray
    sharp: FloatArray
    station_mm: float

    def search(self) -> Observed:
        """Look for the line up to SIDEWAYS_MM away: the most likely smooth sequence of summits."""
        half, near = len(self.offsets_mm) // 2, round(SIDEWAYS_MM / self._step)
        score = np.clip(self.depth[:, half - near : half + near + 1] / self.noise[:, None], 0.0, 12.0) ** 2
        at = half - near + most_likely_line(0.15 * score, stiffness=0.2)
        where, top = summit(self.depth, at)
        return self._observed((where - half) * self._step, top)

    def step(self) -> Observed:
        """One Newton step from the middle of the strip: the slope there over the curvature that a clear line has.

        The curvature is not read off the summit, where noise always finds one, but from the depth at the line itself.
        """
        half = len(self.offsets_mm) // 2
        slope = (self.depth[:, half + 1] - self.depth[:, half - 1]) / (2.0 * self._step)
        depth = self._clear(self.depth[:, half])
        offset = np.clip(slope / (depth * self.sharp), -STEP_MM, STEP_MM)
        return self._observed(offset, self.depth[:, half])

    def lopsided(self) -> FloatArray:
        """(n,) difference of the grey values 0.85 widths to either side over the line's depth, averaged along."""
        half, each = len(self.offsets_mm) // 2, np.arange(len(self.grey))
        away = np.round(0.85 * self.widths_mm / self._step).astype(int)
        left = self.grey[each, np.maximum(half - away, 0)]
        right = self.grey[each, np.minimum(half + away, 2 * half)]
        difference = smooth(left.astype(float) - right, np.ones(len(each)), stations=0.5 / self.station_mm)
        return np.asarray(np.abs(difference) / self._clear(self.depth[:, half]))

    @property
    def _step(self) -> float:
        return float(self.offsets_mm[1] - self.offsets_mm[0])

    def _clear(self, depth: FloatArray) -> FloatArray:
        """Depth averaged along the line, never quite zero."""
        averaged = smooth(depth, np.ones(len(depth)), stations=0.4 / self.station_mm)
        return np.asarray(np.maximum(averaged, 0.02 * self.noise))

    def _observed(self, offset_mm: FloatArray, depth: FloatArray) -> Observed:
        clear = self._clear(depth)
        # A line that fades or ends here and now says less about its place than its neighbours do: past the foramen the
        # depth falls to a third within 0.2 mm, while its average along the line still sees the canal.
        here = np.clip(depth, FAINTEST * clear, clear)
        error = ERROR_SCALE * self._slope_noise() / (here * self.sharp)
        return Observed(
            offset_mm=offset_mm,
            weight=1.0 / (shared_stations(self.station_mm) * np.maximum(error, 1e-3) ** 2),
            strength=clear / self.noise,
        )

    def _slope_noise(self) -> float:
        """Spread of the slope of the answers beside the line, per mm.

        A summit lies where the slope is zero: a slope error e moves it by e / curvature. What runs along with the line
        (ligament, dome of the root, a neighbouring canal) is no noise, so slow swings along the line are taken away.
        """
        used = np.abs(self.offsets_mm) < 0.8 * self.widths_mm.max() + 0.6
        slope = np.gradient(self.depth[:, used], self._step, axis=1)
        slope = slope - smooth(slope, np.ones(len(slope)), stations=1.4 / self.station_mm)
        away = np.abs(self.offsets_mm[used])[None, :] - 0.8 * self.widths_mm[:, None]
        beside = slope[(away > 0.0) & (away < 0.5)]
        return spread(beside) + 1e-12


def shared_stations(station_mm: float) -> float:
    """Stations that share one independent observation after the averaging along: area under its autocorrelation."""
    return float(2.0 * np.pi**0.5 * ALONG_MM / station_mm)


def strip_along(
    crop: Crop, points_sq: FloatArray, *, station_mm: float, dark: bool, centred: bool = True
) -> Strip:
    """Straighten the neighbourhood of a line and place the templates in it."""
    step_mm, blur_mm = max(0.02, 0.5 * crop.mm), max(0.04, 0.8 * crop.mm)
    half = round(HALF_STRIP_MM / step_mm)
    offsets_mm = np.arange(-half, half + 1) * step_mm
    grey = straighten(crop, points_sq, offsets_mm / crop.mm)
    index = width_index(grey, offsets_mm, station_mm=station_mm, blur_mm=blur_mm, dark=dark, centred=centred)
    found = answers(grey, offsets_mm, index=index, blur_mm=blur_mm, dark=dark, along=ALONG_MM / station_mm)
    bank = np.arange(len(WIDTHS_MM))
    sharp = np.array([sharpness(width, step_mm, blur_mm) for width in WIDTHS_MM]) / step_mm**2
    return Strip(
        grey=grey,
        offsets_mm=offsets_mm,
        depth=at_width(found, index),
        widths_mm=np.interp(index, bank, WIDTHS_MM),
        noise=np.interp(index - found.first, np.arange(len(found.noise)), found.noise),
        sharp=np.exp(np.interp(index, bank, np.log(sharp))),
        station_mm=station_mm,
    )
