"""A simulated radiograph together with everything that is exactly known about it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer.phantom.measures import true_measures
from curvometer.phantom.options import PhantomOptions
from curvometer.phantom.scene import Scene, calibration_object_ends
from curvometer.phantom.shape import CanalShape
from curvometer.phantom.tooth import RootModel
from curvometer.radiograph import Radiograph

FloatArray = NDArray[np.float64]
_TRUTH_STEP_MM = 0.02


@dataclass(frozen=True, kw_only=True)
class KnownLength:
    """An object of known length in the picture.

    Attributes
    ----------
    name
        ``"file"`` (stop to tip), ``"wire"`` or ``"ball"``.
    path_rc
        (n, 2) pixels along the object, (row, col).
    length_mm
        Its true length.
    """

    name: str
    path_rc: FloatArray
    length_mm: float


@dataclass(frozen=True, kw_only=True)
class PhantomTruth:
    """What is known of a simulated radiograph.

    Attributes
    ----------
    centreline_rc
        (n, 2) pixels, (row, col): the exact projected centreline, from the orifice to the foramen.
    s_mm
        (n,) arc length of these points in the canal's own plane.
    width_mm
        (n,) width of the canal across its projection, calcification included.
    orifice_rc, foramen_rc, apex_rc
        Canal orifice, apical foramen, anatomical apex in pixels.
    file_tip_rc
        Tip of the file, or None.
    mm_per_pixel
        Scale in the plane of the canal.
    shape
        The canal in its own plane.
    measures
        The shape's measures by the names of the measurement record (`true_measures`). They hold for the
        picture, too, when `plane_parallel`.
    plane_parallel
        False when a beam angle foreshortens the picture.
    known_lengths
        Objects of known length.
    """

    centreline_rc: FloatArray
    s_mm: FloatArray
    width_mm: FloatArray
    orifice_rc: tuple[float, float]
    foramen_rc: tuple[float, float]
    apex_rc: tuple[float, float]
    file_tip_rc: tuple[float, float] | None
    mm_per_pixel: float
    shape: CanalShape
    measures: dict[str, Any]
    plane_parallel: bool
    known_lengths: tuple[KnownLength, ...]


@dataclass(frozen=True, kw_only=True)
class Phantom:
    """A simulated radiograph, its truth, and the options that made it."""

    radiograph: Radiograph
    truth: PhantomTruth
    options: PhantomOptions


def make_truth(scene: Scene, options: PhantomOptions) -> PhantomTruth:
    """Project the exact centreline and gather what is known of a placed scene."""
    root = scene.tooth.roots[0]
    shape = root.frame.shape
    s = np.linspace(0.0, shape.length_mm, math.ceil(shape.length_mm / _TRUTH_STEP_MM) + 1)
    to_image = scene.projection.to_image
    line = to_image(root.frame.to_tooth(shape.points_at(s)))
    apex = _apex(scene, root)
    tip = None
    if scene.file is not None:
        tip = _pair(to_image(root.frame.to_tooth(shape.points_at(np.array([scene.file.tip_s_mm]))))[0])
    tube = root.tubes[0]
    return PhantomTruth(
        centreline_rc=line,
        s_mm=s,
        width_mm=2.0 * np.interp(s, tube.s_mm, tube.half_width_mm),
        orifice_rc=_pair(line[0]),
        foramen_rc=_pair(line[-1]),
        apex_rc=_pair(apex),
        file_tip_rc=tip,
        mm_per_pixel=options.mm_per_pixel,
        shape=shape,
        measures=true_measures(shape),
        plane_parallel=options.vertical_angle_deg == 0.0 and options.horizontal_angle_deg == 0.0,
        known_lengths=_known_lengths(scene, options),
    )


def _apex(scene: Scene, root: RootModel) -> FloatArray:
    shape, body = root.frame.shape, root.body
    tip, heading = shape.points_and_headings_at(np.array([body.apex_mm]))
    beside = float(np.interp(body.apex_mm, body.s_mm, body.centre_mm))
    tip = tip + beside * np.column_stack([-np.sin(heading), np.cos(heading)])
    depth = root.depth_mm - scene.tooth.target_depth_mm
    return np.asarray(scene.projection.to_image(root.frame.to_tooth(tip), depth_mm=depth)[0])


def _known_lengths(scene: Scene, options: PhantomOptions) -> tuple[KnownLength, ...]:
    known = []
    if scene.file is not None:
        frame = scene.tooth.roots[0].frame
        s = np.linspace(scene.file.stop_s_mm, scene.file.tip_s_mm, 200)
        path = scene.projection.to_image(frame.to_tooth(frame.shape.points_at(s)))
        known.append(KnownLength(name="file", path_rc=path, length_mm=scene.file.stop_to_tip_mm))
    if options.calibration_object is not None:
        ends = np.vstack(calibration_object_ends(scene, options))
        length = float(np.linalg.norm(ends[1] - ends[0]))
        path = scene.jaw.to_image(ends)
        known.append(KnownLength(name=options.calibration_object, path_rc=path, length_mm=length))
    return tuple(known)


def _pair(point: FloatArray) -> tuple[float, float]:
    return float(point[0]), float(point[1])
