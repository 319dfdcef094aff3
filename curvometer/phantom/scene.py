"""Place what is drawn: the tooth in the picture, its neighbours, the file, the calibration object."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from curvometer.centreline import Structure
from curvometer.phantom.forms import TOOTH_FORMS, ToothForm
from curvometer.phantom.metal import EndodonticFile
from curvometer.phantom.options import PhantomOptions
from curvometer.phantom.projection import Projection, make_projection
from curvometer.phantom.shape import CanalShape
from curvometer.phantom.tooth import ToothModel, make_tooth

FloatArray = NDArray[np.float64]
WIRE_MM, BALL_MM = 10.0, 4.0


@dataclass(frozen=True, kw_only=True)
class Scene:
    """Everything placed: the tooth, its projection, the jaw's projection, the picture's size."""

    tooth: ToothModel
    projection: Projection
    jaw: Projection
    shape_rc: tuple[int, int]
    upper: bool
    file: EndodonticFile | None


def place_scene(shape: CanalShape, options: PhantomOptions) -> Scene:
    """Place the tooth so that the picture is centred on it or on its canal."""
    form = TOOTH_FORMS[options.tooth]
    tooth = make_tooth(form, options, shape=shape)
    upper = form.upper if options.upper is None else options.upper
    file = _make_file(tooth, options) if options.structure is Structure.INSTRUMENT else None

    def place(origin_rc: tuple[float, float]) -> Projection:
        return make_projection(
            mm_per_pixel=options.mm_per_pixel,
            origin_rc=origin_rc,
            upper=upper,
            mirrored=options.mirrored,
            tilt_deg=options.tilt_deg,
            vertical_angle_deg=options.vertical_angle_deg,
            horizontal_angle_deg=options.horizontal_angle_deg,
        )

    low, high = _extent(tooth, place((0.0, 0.0)), options)
    size_mm = (high - low) * options.mm_per_pixel if options.field_mm is None else np.array(options.field_mm)
    shape_rc = options.image_shape
    if shape_rc is None:
        shape_rc = (round(size_mm[0] / options.mm_per_pixel), round(size_mm[1] / options.mm_per_pixel))
    middle = (np.array(shape_rc) - 1.0) / 2.0 + np.array(options.offset_mm) / options.mm_per_pixel
    origin = middle - 0.5 * (low + high)
    projection = place((float(origin[0]), float(origin[1])))
    jaw = make_projection(
        mm_per_pixel=options.mm_per_pixel,
        origin_rc=(float(origin[0]), float(origin[1])),
        upper=upper,
        mirrored=options.mirrored,
    )
    return Scene(tooth=tooth, projection=projection, jaw=jaw, shape_rc=shape_rc, upper=upper, file=file)


def _extent(
    tooth: ToothModel, projection: Projection, options: PhantomOptions
) -> tuple[FloatArray, FloatArray]:
    """Corner pixels (row, col) of what the picture is centred on: the tooth or the canal."""
    frame = tooth.roots[0].frame
    canal = frame.to_tooth(frame.shape.points_mm(spacing_mm=0.5))
    if options.centre_on_canal:
        coronal = frame.to_tooth(np.array([[-2.0, 0.0]]))
        corners = projection.to_image(np.vstack([canal, coronal]))
        return corners.min(axis=0), corners.max(axis=0)
    crown = tooth.form.crown
    width = max(w for _, w in crown.half_width)
    top = np.array([[-width, -crown.height_mm], [width, -crown.height_mm]])
    corners = projection.to_image(np.vstack([canal, top]))
    margin = np.array([4.0, 6.0]) / options.mm_per_pixel
    return corners.min(axis=0) - margin, corners.max(axis=0) + margin


def _make_file(tooth: ToothModel, options: PhantomOptions) -> EndodonticFile:
    reference = 0.0 if options.stop_above_mm is None else options.stop_above_mm
    lean = math.cos(math.radians(tooth.roots[0].frame.lean_deg))
    height = tooth.form.crown.height_mm - 0.4 + tooth.form.orifice_t_mm + reference
    return EndodonticFile(
        size=options.file_size,
        tip_s_mm=tooth.roots[0].frame.shape.length_mm - options.file_short_mm,
        stop_s_mm=-height / lean,
    )


@dataclass(frozen=True, kw_only=True)
class PlacedTooth:
    """A tooth and its place on the image."""

    tooth: ToothModel
    projection: Projection


def neighbours(scene: Scene, options: PhantomOptions, rng: np.random.Generator) -> list[PlacedTooth]:
    """Up to two neighbours on each side, as far as the picture reaches."""
    placed = []
    for side in (-1.0, 1.0):
        form, place_mm = scene.tooth.form, 0.0
        for _ in range(2):
            name = form.neighbours[0 if side < 0.0 else 1]
            near = TOOTH_FORMS[name]
            place_mm += side * (_widest(form) + _widest(near) + float(rng.uniform(-0.35, -0.1)))
            form = near
            projection = _neighbour_projection(scene, options, rng, place_mm)
            own, shape = _neighbour_variation(near, name, options, rng)
            reach = (_widest(near) + 3.0) / options.mm_per_pixel
            if -reach < projection.origin_rc[1] < scene.shape_rc[1] + reach:
                placed.append(PlacedTooth(tooth=make_tooth(near, own, shape=shape), projection=projection))
    return placed


def _neighbour_projection(
    scene: Scene, options: PhantomOptions, rng: np.random.Generator, place_mm: float
) -> Projection:
    origin = scene.jaw.to_image(np.array([[place_mm, float(rng.uniform(-0.5, 0.5))]]))[0]
    return make_projection(
        mm_per_pixel=options.mm_per_pixel,
        origin_rc=(float(origin[0]), float(origin[1])),
        upper=scene.upper,
        mirrored=options.mirrored,
        tilt_deg=options.tilt_deg * 0.5 + float(rng.uniform(-3.0, 3.0)),
        vertical_angle_deg=options.vertical_angle_deg,
        horizontal_angle_deg=options.horizontal_angle_deg,
    )


def _neighbour_variation(
    form: ToothForm, name: str, options: PhantomOptions, rng: np.random.Generator
) -> tuple[PhantomOptions, CanalShape]:
    """Options and a gentle canal of its own for a neighbour, so that no two teeth are alike."""
    own = replace(
        options,
        tooth=name,
        off_centre=float(rng.uniform(-0.1, 0.1)),
        canal_width_mm=(float(rng.uniform(0.3, 0.6)), 0.25),
        chamber_height=options.chamber_height * float(rng.uniform(0.85, 1.1)),
        root_width=float(rng.uniform(0.92, 1.08)),
        calcification=None,
    )
    length = form.roots[0].shape.length_mm * float(rng.uniform(0.92, 1.06))
    angle, radius = float(rng.uniform(3.0, 24.0)), float(rng.uniform(9.0, 16.0))
    straight = length - radius * math.radians(angle)
    return own, CanalShape.straight_arc(straight_mm=straight, radius_mm=radius, angle_deg=angle)


def calibration_object_ends(scene: Scene, options: PhantomOptions) -> tuple[FloatArray, FloatArray]:
    """Find the calibration object's ends in the jaw's frame: beside the crown, in the canal's plane."""
    crown = scene.tooth.form.crown
    length = WIRE_MM if options.calibration_object == "wire" else BALL_MM
    middle = np.array([0.0, -crown.height_mm - 2.7])
    half = np.array([0.5 * length, 0.0])
    if options.calibration_object == "wire":
        half = 0.5 * length * np.array([math.cos(0.1), math.sin(0.1)])
    return middle - half, middle + half


def _widest(form: ToothForm) -> float:
    return max(width for _, width in form.crown.half_width)
