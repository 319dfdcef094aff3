"""One tooth as path lengths: enamel, dentine, pulp, and the shells of ligament and lamina dura."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from curvometer.phantom.crown import chamber_chord, crown_paths, trunk_half_depth
from curvometer.phantom.field import Grid
from curvometer.phantom.forms import CanalForm, RootForm, ToothForm
from curvometer.phantom.options import PhantomOptions
from curvometer.phantom.projection import Projection
from curvometer.phantom.root import CanalFrame, CanalTube, RootBody, make_canal_tube, make_root_body
from curvometer.phantom.shape import CanalShape

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class RootModel:
    """A root ready to be drawn: frame, solid, and its canals with their depth."""

    frame: CanalFrame
    body: RootBody
    depth_mm: float
    tubes: tuple[CanalTube, ...]
    tube_depths_mm: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class ToothModel:
    """A tooth ready to be drawn. Root 0 holds the target canal, its tube 0."""

    form: ToothForm
    roots: tuple[RootModel, ...]
    chamber_height: float

    @property
    def target_depth_mm(self) -> float:
        """Depth of the target canal along the beam."""
        return self.roots[0].tube_depths_mm[0]


@dataclass(frozen=True, kw_only=True)
class ToothPaths:
    """Path lengths in mm on a grid.

    Attributes
    ----------
    enamel, dentine
        Hard tissue, pulp not yet taken out.
    pulp
        Chamber and canals, without those of the target root.
    root, ligament_outer, lamina_outer
        Unions of the roots alone, grown by the ligament, grown by ligament and lamina dura.
    """

    enamel: Grid
    dentine: Grid
    pulp: Grid
    root: Grid
    ligament_outer: Grid
    lamina_outer: Grid


def make_tooth(form: ToothForm, options: PhantomOptions, *, shape: CanalShape | None = None) -> ToothModel:
    """Build a tooth; its first root gets the chosen shape, the others follow its length."""
    target = form.roots[0].shape if shape is None else shape
    stretch = float(np.clip(target.length_mm / form.roots[0].shape.length_mm, 0.75, 1.6))
    roots = []
    for i, root in enumerate(form.roots):
        own = target if i == 0 else _stretched(root.shape, stretch)
        roots.append(_make_root(form, root, own, options, target=i == 0 and shape is not None))
    return ToothModel(form=form, roots=tuple(roots), chamber_height=options.chamber_height)


def draw_tooth(
    tooth: ToothModel,
    projection: Projection,
    rows: FloatArray,
    cols: FloatArray,
    *,
    ligament_mm: float,
    lamina_mm: float,
    crest_mm: float,
    target: bool,
) -> ToothPaths:
    """Compute the path lengths of a tooth for a grid of pixels.

    Parameters
    ----------
    projection
        The tooth's place on the image; depth is counted from the target canal for the target tooth, from the
        tooth's middle for a neighbour.
    rows, cols
        Pixel rows and columns of the grid.
    crest_mm
        Level of the alveolar crest; the ligament is wider there and at the apex.
    target
        True leaves the canals of root 0 out: they are drawn on a finer grid.
    """
    plane = tooth.target_depth_mm if target else 0.0
    x, t = projection.to_tooth(rows, cols, depth_mm=-plane)
    enamel, dentine = crown_paths(tooth.form, x, t)
    pulp = chamber_chord(tooth.form, x, t, height_share=tooth.chamber_height)
    levels = _shell_levels(
        tooth,
        projection,
        (rows, cols),
        plane_mm=plane,
        ligament_mm=ligament_mm,
        lamina_mm=lamina_mm,
        crest_mm=crest_mm,
    )
    root = levels[0] * (t >= 0.0)
    for i, model in enumerate(tooth.roots):
        if not (target and i == 0):
            pulp = pulp + canal_chords(model, projection, rows, cols, plane_mm=plane)
    return ToothPaths(
        enamel=enamel,
        dentine=dentine + root,
        pulp=pulp,
        root=root,
        ligament_outer=np.maximum(levels[1], root),
        lamina_outer=np.maximum(levels[2], root),
    )


def canal_chords(
    root: RootModel,
    projection: Projection,
    rows: FloatArray,
    cols: FloatArray,
    *,
    plane_mm: float,
    skip_first: bool = False,
) -> Grid:
    """Path through all canals of a root; `skip_first` leaves the target canal out."""
    total = np.zeros((len(rows), len(cols)), np.float32)
    same_plane = not projection.depth_shift.any()
    field: tuple[Grid, Grid] | None = None
    for i, (tube, depth) in enumerate(zip(root.tubes, root.tube_depths_mm, strict=True)):
        if skip_first and i == 0:
            continue
        if field is None or not same_plane:
            field = root.frame.field(*projection.to_tooth(rows, cols, depth_mm=depth - plane_mm))
        total = np.maximum(total, tube.chord(*field)) if same_plane and i == 0 else total + tube.chord(*field)
    return total


def _make_root(
    form: ToothForm, root: RootForm, shape: CanalShape, options: PhantomOptions, *, target: bool
) -> RootModel:
    single = len(form.roots) == 1
    frame = CanalFrame(
        orifice_x_mm=root.orifice_x_mm,
        orifice_t_mm=form.orifice_t_mm,
        lean_deg=root.lean_deg,
        bend=root.bend,
        shape=shape,
    )
    body = make_root_body(
        root,
        length_mm=shape.length_mm,
        foramen_short_mm=options.foramen_short_mm,
        off_centre=options.off_centre,
        root_width=options.root_width,
        cervical=(form.crown.half_width[0][1], form.crown.half_depth[0][1]) if single else None,
        orifice_t_mm=form.orifice_t_mm,
    )
    canals = root.canals if options.second_canal else root.canals[:1]
    tubes = tuple(
        _make_tube(form, canal, shape, options, target and i == 0) for i, canal in enumerate(canals)
    )
    return RootModel(
        frame=frame,
        body=body,
        depth_mm=root.depth_mm,
        tubes=tubes,
        tube_depths_mm=tuple(root.depth_mm + canal.depth_mm for canal in canals),
    )


def _make_tube(
    form: ToothForm, canal: CanalForm, shape: CanalShape, options: PhantomOptions, target: bool
) -> CanalTube:
    width = (options.canal_width_mm[0] * canal.width_share, options.canal_width_mm[1] * canal.width_share)
    return make_canal_tube(
        length_mm=shape.length_mm,
        width_mm=width,
        depth_ratio=options.canal_depth_ratio,
        calcification=options.calcification if target else None,
        chamber=form.chamber if len(form.roots) == 1 else None,
        chamber_height=options.chamber_height,
        offset_mm=(canal.offset_mm, 0.15 * canal.offset_mm),
    )


def _shell_levels(
    tooth: ToothModel,
    projection: Projection,
    rows_cols: tuple[FloatArray, FloatArray],
    *,
    plane_mm: float,
    ligament_mm: float,
    lamina_mm: float,
    crest_mm: float,
) -> list[Grid]:
    """Union of trunk and roots, bare and grown by ligament and lamina dura."""
    x0, t0 = projection.to_tooth(*rows_cols, depth_mm=-plane_mm)
    fields = []
    for root in tooth.roots:
        xt = projection.to_tooth(*rows_cols, depth_mm=root.depth_mm - plane_mm)
        fields.append(root.frame.field(*xt))
    levels = []
    for ligament, lamina in ((0.0, 0.0), (ligament_mm, 0.0), (ligament_mm, lamina_mm)):
        bodies = []
        for root, (along, across) in zip(tooth.roots, fields, strict=True):
            margin = ligament * _ligament_widening(root.body, crest_mm - tooth.form.orifice_t_mm) + lamina
            bodies.append((root.depth_mm, root.body.half_depth(along, across, margin_mm=margin)))
        if tooth.form.furcation_t_mm is not None:
            bodies.append((0.0, trunk_half_depth(tooth.form, x0, t0, margin_mm=ligament + lamina)))
        levels.append(union_path(bodies))
    return levels


def _ligament_widening(body: RootBody, crest_s_mm: float) -> FloatArray:
    """Widen the ligament at the crest and at the apex; it is narrowest in the middle of the root."""
    crestal = 0.5 * np.exp(-np.maximum(body.s_mm - crest_s_mm, 0.0) / 1.2)
    apical = 0.35 * np.clip(1.0 - (body.apex_mm - body.s_mm) / 2.0, 0.0, 1.0)
    return np.asarray(0.9 + crestal + apical)


def union_path(bodies: list[tuple[float, Grid]]) -> Grid:
    """Length of the union of intervals along each ray, by inclusion and exclusion.

    Parameters
    ----------
    bodies
        (depth of the middle, half depth per pixel) of each body; a half depth of 0 is a miss.
    """
    total = np.zeros(bodies[0][1].shape, np.float32)
    for count in range(1, len(bodies) + 1):
        sign = np.float32(1.0 if count % 2 else -1.0)
        for chosen in combinations(bodies, count):
            low = high = None
            for depth, half in chosen:
                start, end = np.float32(depth) - half, np.float32(depth) + half
                low = start if low is None else np.maximum(low, start)
                high = end if high is None else np.minimum(high, end)
            assert low is not None
            assert high is not None
            overlap = np.maximum(high - low, 0.0)
            # an empty body has zero length, but its middle may lie inside another: it overlaps nothing
            total += sign * np.where(overlap > 0.0, overlap, 0.0)
    return total


def _stretched(shape: CanalShape, factor: float) -> CanalShape:
    return replace(
        shape, segments=tuple((length * factor, radius * factor) for length, radius in shape.segments)
    )
