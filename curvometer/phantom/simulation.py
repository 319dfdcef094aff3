"""Draw the tooth and its surroundings, send the beam through, read the sensor.

Grids: large structures are smooth and drawn on a body grid of two fine pixels; the target canal and metal are
drawn on the fine grid, which is the image's own or two to three times as fine when its pixels are coarse; the
fine grid is averaged to image pixels, as a sensor's pixels do.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curvometer.phantom.attenuation import Material, transmission
from curvometer.phantom.bone import JawPaths, make_jaw
from curvometer.phantom.detector import detect, to_grey
from curvometer.phantom.field import Grid
from curvometer.phantom.metal import EndodonticFile, ball_chord, wire_chord
from curvometer.phantom.options import PhantomOptions
from curvometer.phantom.projection import Projection
from curvometer.phantom.scene import BALL_MM, Scene, calibration_object_ends, neighbours, place_scene
from curvometer.phantom.shape import CanalShape
from curvometer.phantom.tooth import ToothModel, ToothPaths, canal_chords, draw_tooth
from curvometer.phantom.truth import Phantom, make_truth
from curvometer.radiograph import Radiograph, StatedSpacing

FloatArray = NDArray[np.float64]
_FINE_MM = 0.028
_WIRE_DIAMETER_MM = 0.9
_ACCESS_FLARE = 0.12


@dataclass(frozen=True, kw_only=True)
class _Grids:
    """Pixel positions of the fine grid and of the body grid, in image pixels."""

    fine_rows: FloatArray
    fine_cols: FloatArray
    body_rows: FloatArray
    body_cols: FloatArray
    factor: int


def simulate_radiograph(shape: CanalShape, options: PhantomOptions | None = None) -> Phantom:
    """Simulate a periapical radiograph of a tooth whose canal has a chosen shape.

    Parameters
    ----------
    shape
        Centreline of the target canal (the first root of the tooth).
    options
        Everything else; None takes the defaults.

    Returns
    -------
    Phantom
        Radiograph (bright = dense, ``uint8`` for 8 bits, else ``uint16``) and exact truth. The same shape and
        options give the same pixels.

    References
    ----------
    Attenuation: NISTIR 5632 (see `curvometer.phantom.attenuation`). The law of Beer and Lambert gives the
    transmission of each ray; scatter is left out.
    """
    options = PhantomOptions() if options is None else options
    rng = np.random.default_rng(options.seed)
    scene = place_scene(shape, options)
    grids = _make_grids(scene.shape_rc, options.mm_per_pixel)
    paths = _body_paths(scene, grids, options, rng)
    paths = {m: _to_fine(p, grids) for m, p in paths.items()}
    _cut_canals(paths, scene, grids, options)
    expected = transmission(paths)
    arrived = transmission(paths) if _add_metal(paths, scene, grids, options) else expected
    arrived, expected = (_to_pixels(a, grids.factor, scene.shape_rc) for a in (arrived, expected))
    grey = to_grey(detect(arrived, options, rng), expected, options)
    return Phantom(radiograph=_radiograph(grey, options), truth=make_truth(scene, options), options=options)


def _make_grids(shape_rc: tuple[int, int], mm_per_pixel: float) -> _Grids:
    factor = max(1, math.ceil(mm_per_pixel / _FINE_MM))
    fine = [(np.arange(2 * math.ceil(n * factor / 2)) + 0.5) / factor - 0.5 for n in shape_rc]
    body = [(2.0 * np.arange(len(f) // 2) + 1.0) / factor - 0.5 for f in fine]
    return _Grids(fine_rows=fine[0], fine_cols=fine[1], body_rows=body[0], body_cols=body[1], factor=factor)


def _body_paths(
    scene: Scene, grids: _Grids, options: PhantomOptions, rng: np.random.Generator
) -> dict[Material, Grid]:
    x, y = scene.jaw.to_tooth(grids.body_rows, grids.body_cols)
    jaw = make_jaw(x, y, options, rng, upper=scene.upper)
    teeth = [_draw(scene.tooth, scene.projection, grids, options, target=True)]
    if options.neighbours:
        for near in neighbours(scene, options, rng):
            teeth.append(_draw(near.tooth, near.projection, grids, options, target=False))
    return _compose(jaw, teeth, options)


def _draw(
    tooth: ToothModel, projection: Projection, grids: _Grids, options: PhantomOptions, *, target: bool
) -> ToothPaths:
    return draw_tooth(
        tooth,
        projection,
        grids.body_rows,
        grids.body_cols,
        ligament_mm=options.ligament_mm,
        lamina_mm=options.lamina_mm,
        crest_mm=options.crest_below_cej_mm,
        target=target,
    )


def _compose(jaw: JawPaths, teeth: list[ToothPaths], options: PhantomOptions) -> dict[Material, Grid]:
    """Let the teeth displace bone and soft tissue, and sum the path through each material."""
    below = jaw.below_crest
    ligament = sum(t.ligament_outer - t.root for t in teeth) * below
    lamina = sum(t.lamina_outer - t.ligament_outer for t in teeth) * below
    outer = sum(t.lamina_outer for t in teeth)
    # a ligament or lamina of less contrast is partly trabecular bone
    plain = ligament * np.float32(1.0 - options.ligament_contrast) + lamina * np.float32(
        1.0 - options.lamina_contrast
    )
    core = np.maximum(jaw.core_mm - outer, 0.0) + plain
    lamina = lamina * np.float32(options.lamina_contrast)
    rim = jaw.rim_mm * np.exp(-outer / np.float32(1.5))  # the rim stands between the teeth, not over them
    bone = jaw.cortical_mm + rim + core * jaw.bone_share + lamina * np.float32(0.7)
    soft = jaw.soft_mm + core * (1.0 - jaw.bone_share) + ligament * np.float32(options.ligament_contrast)
    soft = soft + lamina * np.float32(0.3)
    enamel = sum(t.enamel for t in teeth)
    dentine = sum(t.dentine for t in teeth)
    pulp = np.minimum(sum(t.pulp for t in teeth), dentine)
    paths = {
        Material.ENAMEL: enamel,
        Material.DENTINE: dentine - pulp,
        Material.BONE: bone,
        Material.SOFT: soft + pulp,
    }
    return {m: np.asarray(p, np.float32) for m, p in paths.items()}


def _cut_canals(paths: dict[Material, Grid], scene: Scene, grids: _Grids, options: PhantomOptions) -> None:
    """Take the canals of the target root out of the dentine, on the fine grid around the root only."""
    root = scene.tooth.roots[0]
    rows, cols = _window(scene, grids, coronal_mm=7.0)
    chord = canal_chords(
        root,
        scene.projection,
        grids.fine_rows[rows],
        grids.fine_cols[cols],
        plane_mm=scene.tooth.target_depth_mm,
        skip_first=not options.draw_canal,
    )
    dentine = paths[Material.DENTINE][rows, cols]
    chord = np.minimum(chord, dentine)
    dentine -= chord
    paths[Material.SOFT][rows, cols] += chord


def _window(scene: Scene, grids: _Grids, *, coronal_mm: float) -> tuple[slice, slice]:
    frame = scene.tooth.roots[0].frame
    s = np.linspace(-coronal_mm, frame.shape.length_mm, 60)
    points = scene.projection.to_image(frame.to_tooth(frame.shape.points_at(s)))
    margin = 2.4 / scene.projection.mm_per_pixel
    slices = []
    for axis, positions in enumerate((grids.fine_rows, grids.fine_cols)):
        low, high = points[:, axis].min() - margin, points[:, axis].max() + margin
        slices.append(slice(*np.searchsorted(positions, [low, high]).tolist()))
    return slices[0], slices[1]


def _add_metal(paths: dict[Material, Grid], scene: Scene, grids: _Grids, options: PhantomOptions) -> bool:
    """Add the file and the calibration object; tell whether there was any."""
    shape = paths[Material.SOFT].shape
    if scene.file is not None:
        root = scene.tooth.roots[0]
        rows, cols = _window(scene, grids, coronal_mm=60.0)
        field = root.frame.field(*scene.projection.to_tooth(grids.fine_rows[rows], grids.fine_cols[cols]))
        _open_access(paths, scene.file, field, rows, cols)
        steel = np.zeros(shape, np.float32)
        polymer = np.zeros(shape, np.float32)
        steel[rows, cols] = scene.file.steel(*field)
        polymer[rows, cols] = scene.file.polymer(*field)
        paths[Material.STEEL], paths[Material.POLYMER] = steel, polymer
    if options.calibration_object is not None:
        x, y = scene.jaw.to_tooth(grids.fine_rows, grids.fine_cols)
        start, end = calibration_object_ends(scene, options)
        if options.calibration_object == "wire":
            chord = wire_chord(x, y, start, end, diameter_mm=_WIRE_DIAMETER_MM)
        else:
            chord = ball_chord(x, y, 0.5 * (start + end), diameter_mm=BALL_MM)
        paths[Material.STEEL] = np.asarray(paths.get(Material.STEEL, 0.0) + chord, np.float32)
    return Material.STEEL in paths


def _open_access(
    paths: dict[Material, Grid], file: EndodonticFile, field: tuple[Grid, Grid], rows: slice, cols: slice
) -> None:
    """Remove the access cavity: most of the hard tissue over the orifice around the shaft."""
    along, across = field
    funnel = np.clip(0.35 + _ACCESS_FLARE * -along, 0.3, 1.6)  # wide at the crown, narrow at the orifice
    edge = np.clip((funnel - np.abs(across)) / 0.2 + 0.5, 0.0, 1.0)
    left = 1.0 - 0.5 * edge * np.clip((-along - 0.5) / 2.0, 0.0, 1.0) * (along > file.stop_s_mm - 3.0)
    for material in (Material.ENAMEL, Material.DENTINE):
        paths[material][rows, cols] *= np.asarray(left, np.float32)


def _to_fine(body: Grid, grids: _Grids) -> Grid:
    size = (len(grids.fine_cols), len(grids.fine_rows))
    return np.asarray(cv2.resize(body, size, interpolation=cv2.INTER_LINEAR), np.float32)


def _to_pixels(fine: Grid, factor: int, shape_rc: tuple[int, int]) -> Grid:
    rows, cols = shape_rc
    cut = fine[: rows * factor, : cols * factor]
    if factor == 1:
        return cut
    return np.asarray(cv2.resize(cut, (cols, rows), interpolation=cv2.INTER_AREA), np.float32)


def _radiograph(grey: NDArray[np.uint8] | NDArray[np.uint16], options: PhantomOptions) -> Radiograph:
    return Radiograph(
        pixels=grey,
        bits_stored=options.bits,
        spacing=StatedSpacing(),
        file_format="array",
        sha256=hashlib.sha256(grey.tobytes()).hexdigest(),
    )
