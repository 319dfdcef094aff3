"""Crown, trunk and pulp chamber as path lengths.

The crown is a solid with curved side walls (superellipse sections by height) under an occlusal surface with
cusps. The beam's path through it is summed over thin slices along the beam: few and smooth, so 28 do.
"""

from __future__ import annotations

import numpy as np

from curvometer.phantom.field import Grid
from curvometer.phantom.forms import CrownForm, Profile, ToothForm

_SLICES = 28
_WALL_POWER = 2.5
_EDGE_MM = 0.06


def crown_paths(form: ToothForm, x: Grid, t: Grid) -> tuple[Grid, Grid]:
    """Path through enamel and dentine above the cemento-enamel junction.

    Parameters
    ----------
    form
        The tooth.
    x, t
        Positions in the tooth's frame, arrays of one shape.

    Returns
    -------
    enamel_mm, dentine_mm
        Arrays like `x`.
    """
    crown = form.crown
    enamel, dentine = np.zeros(x.shape, np.float32), np.zeros(x.shape, np.float32)
    widest = max(w for _, w in crown.half_width) + 0.2
    here = (t < 0.0) & (t > -crown.height_mm - 0.6) & (np.abs(x) < widest)
    if not here.any():
        return enamel, dentine
    xs, height = x[here], -t[here]
    power = 2.0 if len(form.roots) == 1 else _WALL_POWER
    outer = _solid(crown, xs, height, 0.0, power)
    core = np.minimum(_solid(crown, xs, height, 1.0, power), outer)
    enamel[here] = outer - core
    dentine[here] = core
    return enamel, dentine


def trunk_half_depth(form: ToothForm, x: Grid, t: Grid, *, margin_mm: float) -> Grid:
    """Half chord of the trunk, from the cemento-enamel junction to the furcation, grown by a margin."""
    assert form.furcation_t_mm is not None
    width = np.float32(form.crown.half_width[0][1] + margin_mm)
    depth = np.float32(form.crown.half_depth[0][1] + margin_mm)
    # the furcation is an arch, highest in the middle of the tooth and running down into the roots
    arch = form.furcation_t_mm + margin_mm + 0.22 * np.minimum(np.abs(x), 2.5) ** 2
    dome = np.clip(t / arch, 0.0, 1.0)
    wall = np.maximum(1.0 - np.abs(x / width) ** _WALL_POWER, 0.0) ** np.float32(1.0 / _WALL_POWER)
    fade = (1.0 - dome**form.furcation_power) ** np.float32(1.0 / form.furcation_power)
    return np.asarray(depth * wall * fade, np.float32)


def chamber_chord(form: ToothForm, x: Grid, t: Grid, *, height_share: float) -> Grid:
    """Path through the pulp chamber of a tooth with several roots; with one root the canal widens instead."""
    chord = np.zeros(x.shape, np.float32)
    if len(form.roots) == 1:
        return chord
    chamber = form.chamber
    floor = form.orifice_t_mm + 0.25 - 0.45 * np.clip(1.0 - (x / 1.6) ** 2, 0.0, None)
    roof = form.orifice_t_mm - chamber.height_mm * height_share
    horns = sum(np.exp(-(((x - h) / 0.5) ** 2)) for h in chamber.horns_x_mm)
    roof = roof + 0.25 - np.float32(chamber.horn_mm * height_share) * horns
    middle, half = 0.5 * (floor + roof), np.maximum(0.5 * (floor - roof), 0.05)
    # narrower towards the floor, where the canals leave
    width = chamber.half_width_mm * (1.0 - 0.06 * np.clip(t - roof, 0.0, 3.0))
    inside = 1.0 - np.abs(x / width) ** 6 - np.abs((t - middle) / half) ** 4
    chord = 2.0 * chamber.half_depth_mm * np.sqrt(np.maximum(inside, 0.0))
    return np.asarray(chord, np.float32)


def _solid(crown: CrownForm, x: Grid, height: Grid, enamel: float, power: float) -> Grid:
    """Path through the crown (enamel = 0) or through its dentine core (enamel = 1)."""
    # the enamel starts as a knife edge: at the junction facially, further up at the sides
    grow = 1.0 - (1.0 - np.clip(height / (0.55 * crown.height_mm), 0.0, 1.0)) ** 2
    grow_side = 1.0 - (1.0 - np.clip((height - 0.7) / (0.5 * crown.height_mm), 0.0, 1.0)) ** 2
    width = _profile(crown.half_width, height) - enamel * crown.enamel_side_mm * grow_side
    depth = _profile(crown.half_depth, height)
    depth = depth - enamel * np.minimum(crown.enamel_side_mm * grow, (0.45 + 0.4 * grow**3) * depth)
    reach = depth * np.maximum(1.0 - np.abs(x / width) ** power, 0.0) ** (1.0 / power)
    deepest = max(d for _, d in crown.half_depth)
    step = 2.0 * deepest / _SLICES
    path = np.zeros(x.shape, np.float32)
    for z in np.linspace(-deepest + step / 2, deepest - step / 2, _SLICES):
        covered = np.clip((reach - abs(z)) / step + 0.5, 0.0, 1.0)
        top = _occlusal_height(crown, x, float(z)) - enamel * crown.enamel_top_mm
        path += covered * np.clip((top - height) / _EDGE_MM + 0.5, 0.0, 1.0)
    return np.asarray(path * step, np.float32)


def _occlusal_height(crown: CrownForm, x: Grid, z: float) -> Grid:
    widest = max(w for _, w in crown.half_width)
    height = crown.base_mm - crown.ridge_slope * np.abs(x) ** 1.15 - 0.8 * np.abs(x / widest) ** 7
    for cx, cz, cusp, spread in crown.cusps:
        height = height + cusp * np.exp(-((x - cx) ** 2 + (z - cz) ** 2) / (2.0 * spread**2))
    return np.asarray(height, np.float32)


def _profile(profile: Profile, height: Grid) -> Grid:
    """Smooth curve through a profile: linear pieces, rounded by averaging over a short height."""
    levels, values = np.array(profile).T
    fine = np.linspace(-0.5, levels[-1] + 0.5, 120)
    dense = np.interp(fine, levels, values)
    smooth = np.convolve(np.pad(dense, 6, mode="edge"), np.ones(13) / 13.0, mode="valid")
    smooth += values[0] - np.interp(0.0, fine, smooth)  # the wall meets the root without a step
    return np.interp(height, fine, smooth).astype(np.float32)
