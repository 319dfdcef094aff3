"""Roots and canals as tubes with elliptic sections around a centreline.

For every pixel the nearest point of the centreline (`curvometer.phantom.field`) gives a place along the root
and a distance from its axis; the section there gives the half chord that the beam cuts. A chord is twice the
returned half depth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from curvometer.phantom.field import Grid, along_and_across
from curvometer.phantom.forms import ChamberForm, RootForm
from curvometer.phantom.options import Calcification
from curvometer.phantom.shape import CanalShape

FloatArray = NDArray[np.float64]
_TABLE_STEP_MM = 0.05
_FORAMEN_ROUNDING_MM = 0.06
# Outline of the coronal pulp of a tooth of one root: share of its height above the orifice, share of its
# width.
_SWELL_AT = (0.0, 0.15, 0.35, 0.55, 0.75, 0.88, 0.95, 1.0, 1.05)
_SWELL = (0.0, 0.18, 0.5, 0.82, 1.0, 0.95, 0.7, 0.35, 0.0)


@dataclass(frozen=True, kw_only=True)
class CanalFrame:
    """The frame of one canal in a tooth: origin at the orifice, u along its coronal axis, v to the bend."""

    orifice_x_mm: float
    orifice_t_mm: float
    lean_deg: float
    bend: int
    shape: CanalShape

    def field(self, x: Grid, t: Grid) -> tuple[Grid, Grid]:
        """Distances (along, across) in mm for positions in the tooth's frame."""
        sin_l, cos_l = self._lean()
        dx, dt = x - np.float32(self.orifice_x_mm), t - np.float32(self.orifice_t_mm)
        u = dx * np.float32(sin_l) + dt * np.float32(cos_l)
        v = (dx * np.float32(cos_l) - dt * np.float32(sin_l)) * np.float32(self.bend)
        return along_and_across(self.shape, u, v)

    def to_tooth(self, points_uv: FloatArray) -> FloatArray:
        """Points (n, 2) as (x, t) in mm of points (n, 2) as (u, v)."""
        sin_l, cos_l = self._lean()
        u, v = points_uv[:, 0], points_uv[:, 1] * self.bend
        x = self.orifice_x_mm + u * sin_l + v * cos_l
        t = self.orifice_t_mm + u * cos_l - v * sin_l
        return np.column_stack([x, t])

    def _lean(self) -> tuple[float, float]:
        lean = math.radians(self.lean_deg)
        return math.sin(lean), math.cos(lean)


@dataclass(frozen=True, kw_only=True)
class RootBody:
    """The solid of one root, tabulated along its axis.

    Attributes
    ----------
    s_mm
        (n,) table positions along the canal.
    half_width_mm, half_depth_mm, centre_mm
        (n,) half-axes of the section, and how far its middle lies beside the canal.
    start_mm, apex_mm
        Where the solid begins and ends.
    start_round_mm, apex_round_mm
        Length of the rounded ends.
    """

    s_mm: FloatArray
    half_width_mm: FloatArray
    half_depth_mm: FloatArray
    centre_mm: FloatArray
    start_mm: float
    apex_mm: float
    start_round_mm: float
    apex_round_mm: float

    def half_depth(self, along: Grid, across: Grid, *, margin_mm: float | FloatArray = 0.0) -> Grid:
        """Half chord of the root grown by a margin to all sides (ligament, lamina dura)."""
        margin = np.broadcast_to(np.asarray(margin_mm, float), self.s_mm.shape)
        width = _lookup(self.s_mm, self.half_width_mm + margin, along)
        depth = _lookup(self.s_mm, self.half_depth_mm + margin, along)
        centre = _lookup(self.s_mm, self.centre_mm, along)
        tip = float(margin[-1])
        apex_round = np.float32(self.apex_round_mm + tip)
        apical = np.clip((along - np.float32(self.apex_mm + tip) + apex_round) / apex_round, 0.0, None)
        coronal = np.clip(
            (np.float32(self.start_mm + self.start_round_mm) - along) / self.start_round_mm, 0.0, None
        )
        inside = 1.0 - ((across - centre) / width) ** 2 - apical**2 - coronal**2
        return np.asarray(depth * np.sqrt(np.maximum(inside, 0.0)), np.float32)


@dataclass(frozen=True, kw_only=True)
class CanalTube:
    """One canal, tabulated along its axis: half-width and half-depth, and its distance beside the axis."""

    s_mm: FloatArray
    half_width_mm: FloatArray
    half_depth_mm: FloatArray
    offset_mm: FloatArray

    def chord(self, along: Grid, across: Grid) -> Grid:
        """Path of the beam through the canal in mm."""
        width = _lookup(self.s_mm, self.half_width_mm, along)
        depth = _lookup(self.s_mm, self.half_depth_mm, along)
        if self.offset_mm.any():
            across = across - _lookup(self.s_mm, self.offset_mm, along)
        inside = 1.0 - (across / np.maximum(width, np.float32(1e-4))) ** 2
        return np.asarray(2.0 * depth * np.sqrt(np.maximum(inside, 0.0)), np.float32)


def make_root_body(
    root: RootForm,
    *,
    length_mm: float,
    foramen_short_mm: float,
    off_centre: float,
    root_width: float,
    cervical: tuple[float, float] | None,
    orifice_t_mm: float,
) -> RootBody:
    """Tabulate a root around a canal of a given length.

    Parameters
    ----------
    root
        Its form.
    length_mm
        Length of the canal.
    foramen_short_mm
        Distance from the foramen to the anatomical apex.
    off_centre
        Share of the half-width by which the canal lies beside the middle.
    root_width
        Share of the usual width.
    cervical
        (half-width, half-depth) at the cemento-enamel junction for a tooth of one root; None when the root
        starts inside a trunk.
    orifice_t_mm
        Level of the orifice under the cemento-enamel junction.
    """
    apex = length_mm + foramen_short_mm
    start = -orifice_t_mm - 2.0
    s = np.arange(start, apex + 1.0, _TABLE_STEP_MM)
    share = np.clip(s / apex, 0.0, 1.0)
    taper = (1.0 - share) ** 0.75
    apical = root.apical_half_width_mm * (0.5 + 0.5 * root_width)
    width = apical + (root.half_width_mm * root_width - apical) * taper
    depth = 1.15 * apical + (root.half_depth_mm - 1.15 * apical) * taper
    if cervical is None:
        # roots leave the trunk with a broad base
        width += 0.2 * np.exp(-np.maximum(s, 0.0) / 1.5)
        depth += 0.9 * np.exp(-np.maximum(s, 0.0) / 2.0)
    else:
        rise = 1.0 - _smooth_step((s + orifice_t_mm) / (2.0 * orifice_t_mm))
        width += (cervical[0] - width) * rise
        depth += (cervical[1] - depth) * rise
    # The canal runs nearer to one side coronally and to the other apically, as the wall thickness does.
    # At the neck of a tooth of one root the canal is central, for the crown sits in the middle.
    wander = off_centre * np.cos(np.pi * 0.9 * share)
    if cervical is not None:
        wander = wander * _smooth_step((s + orifice_t_mm) / 5.0)
    round_mm = 1.5 * apical
    return RootBody(
        s_mm=s,
        half_width_mm=width,
        half_depth_mm=depth,
        centre_mm=wander * width,
        start_mm=start if cervical is not None else -orifice_t_mm,
        apex_mm=apex,
        start_round_mm=0.5 if cervical is not None else 2.2,
        apex_round_mm=round_mm,
    )


def make_canal_tube(
    *,
    length_mm: float,
    width_mm: tuple[float, float],
    depth_ratio: float,
    calcification: Calcification | None = None,
    chamber: ChamberForm | None = None,
    chamber_height: float = 1.0,
    offset_mm: tuple[float, float] = (0.0, 0.0),
) -> CanalTube:
    """Tabulate a canal: linear taper from orifice to foramen, a calcified part, and its coronal widening.

    Parameters
    ----------
    width_mm
        Width at the orifice and at the foramen.
    chamber
        For a tooth of one root the pulp chamber is the widened canal; None lets the canal flare into a
        chamber that is drawn apart.
    offset_mm
        Distance beside the axis at the orifice and at the foramen.
    """
    coronal = chamber.height_mm * chamber_height + 0.3 if chamber is not None else 0.6
    s = np.arange(-coronal, length_mm + 0.3, _TABLE_STEP_MM / 2.0)
    share = np.clip(s / length_mm, 0.0, 1.0)
    half = 0.5 * (width_mm[0] + (width_mm[1] - width_mm[0]) * share)
    if calcification is not None:
        half = half * _calcified(s, calcification)
    depth = half * depth_ratio
    if chamber is not None:
        half, depth = _widen(s, half, depth, chamber, coronal)
    else:
        half = half * (1.0 + 2.5 * np.clip(-s / 0.6, 0.0, 1.0) ** 2)
    # the tube ends at the foramen with a small rounding; rays beyond it see dentine
    end = np.sqrt(np.clip((length_mm + _FORAMEN_ROUNDING_MM - s) / (2.0 * _FORAMEN_ROUNDING_MM), 0.0, 1.0))
    offset = offset_mm[0] + (offset_mm[1] - offset_mm[0]) * share
    return CanalTube(s_mm=s, half_width_mm=half, half_depth_mm=depth * end, offset_mm=offset)


def canal_width_at(s_mm: FloatArray, length_mm: float, width_mm: tuple[float, float]) -> FloatArray:
    """Nominal width of the canal without calcification."""
    return np.asarray(width_mm[0] + (width_mm[1] - width_mm[0]) * s_mm / length_mm)


def _smooth_step(x: FloatArray) -> FloatArray:
    clipped = np.clip(x, 0.0, 1.0)
    return np.asarray(clipped * clipped * (3.0 - 2.0 * clipped))


def _calcified(s: FloatArray, calcification: Calcification) -> FloatArray:
    ramp = 0.4
    rise = np.clip((s - calcification.start_mm) / ramp + 0.5, 0.0, 1.0)
    fall = np.clip((calcification.end_mm - s) / ramp + 0.5, 0.0, 1.0)
    return np.asarray(1.0 - (1.0 - calcification.width_left) * rise * fall)


def _widen(
    s: FloatArray, half: FloatArray, depth: FloatArray, chamber: ChamberForm, coronal_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Widen a canal into the pulp chamber of a tooth of one root: a spindle with a pointed horn."""
    height = np.clip(-s / (coronal_mm - 0.3), 0.0, 1.05)
    swell = np.interp(height, _SWELL_AT, _SWELL)
    keep = np.interp(height, [0.0, 0.6, 0.95, 1.0], [1.0, 1.0, 0.6, 0.0])
    return (
        half * keep + (chamber.half_width_mm - half) * swell * (half < chamber.half_width_mm),
        depth * keep + (chamber.half_depth_mm - depth) * swell * (depth < chamber.half_depth_mm),
    )


def _lookup(s_mm: FloatArray, values: FloatArray, along: Grid) -> Grid:
    """Linear interpolation in an even table, quicker than a search; constant beyond both ends."""
    step = float(s_mm[1] - s_mm[0])
    place = np.clip((along - np.float32(s_mm[0])) * np.float32(1.0 / step), 0.0, len(s_mm) - 1.001)
    index = place.astype(np.int32)
    table = values.astype(np.float32)
    slope = np.diff(table, append=table[-1:])
    return np.asarray(table[index] + (place - index) * slope[index], np.float32)
