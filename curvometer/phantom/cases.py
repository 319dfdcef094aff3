"""Random phantoms for benchmark tables: shapes and films vary over what clinics see, not over one look."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from curvometer.centreline import Structure
from curvometer.phantom.options import Calcification, PhantomOptions
from curvometer.phantom.shape import CanalShape
from curvometer.radiograph import CurvometerError

NOISE_LEVELS: dict[str, tuple[float, float]] = {
    "low": (4.0e6, 0.001),
    "middle": (1.5e6, 0.002),
    "high": (5.0e5, 0.004),
}
"""Detected quanta per mm2 in the open beam, and read-out noise as a share of the open-beam signal."""

ANGLE_RANGE_DEG = (5.0, 75.0)
RADIUS_RANGE_MM = (2.0, 20.0)
PIXEL_RANGE_MM = (0.020, 0.060)
WIDTH_RANGE_MM = (0.2, 0.6)
_LONGEST_CANAL_MM = 22.0
_LONGEST_ARC_MM = 19.0
_SHORTEST_STRAIGHT_MM = 2.0

# Usual canal length from orifice to foramen, and how far the apex may swing aside before it meets other
# roots.
_TEETH: dict[str, tuple[float, float, float]] = {
    "lower_molar": (9.5, 13.0, 3.4),
    "upper_molar": (9.5, 12.5, 2.6),
    "lower_premolar": (11.0, 15.0, 6.0),
    "upper_premolar": (10.5, 14.0, 6.0),
    "canine": (13.0, 18.5, 9.0),
    "incisor": (10.5, 14.0, 6.0),
    "lateral_incisor": (10.5, 14.0, 6.0),
}
_NEIGHBOUR_SWING_MM = 4.5


def random_case(
    rng: np.random.Generator,
    *,
    angle_deg: float | None = None,
    radius_mm: float | None = None,
    mm_per_pixel: float | None = None,
    canal_width_mm: float | None = None,
    noise_level: str | None = None,
    structure: Structure | str | None = None,
) -> tuple[CanalShape, PhantomOptions]:
    """Draw one canal (straight, arc, sometimes a straight tail) and the film that shows it.

    What is given is kept; everything else is drawn: tooth, length, calcification, canal section, root form,
    texture, blur, contrast of ligament and lamina dura, overlap with a second canal, rotation, jaw. The
    picture is cropped around the canal.

    Parameters
    ----------
    rng
        Source of every draw.
    angle_deg
        Angle of the arc (its central angle), 5 to 75 degrees.
    radius_mm
        Radius of the arc, 2 to 20 mm.
    mm_per_pixel
        0.020 to 0.060 mm.
    canal_width_mm
        Mean width of the canal, 0.2 to 0.6 mm; it tapers towards the foramen.
    noise_level
        ``"low"``, ``"middle"`` or ``"high"``.
    structure
        ``"canal"`` or ``"instrument"``.

    Returns
    -------
    shape, options
        For `simulate_radiograph`.

    Raises
    ------
    CurvometerError
        When angle and radius together need a longer arc than any root has, or a level is unknown.
    """
    level = str(rng.choice(list(NOISE_LEVELS))) if noise_level is None else noise_level
    if level not in NOISE_LEVELS:
        raise CurvometerError(f"noise_level is {level!r}; choose one of {', '.join(NOISE_LEVELS)}")
    angle, radius = _draw_arc(rng, angle_deg, radius_mm)
    shape, tooth = _draw_shape(rng, angle, radius)
    kind = Structure(str(rng.choice(["canal", "instrument"])) if structure is None else structure)
    pitch = float(rng.uniform(*PIXEL_RANGE_MM)) if mm_per_pixel is None else mm_per_pixel
    width = float(rng.uniform(*WIDTH_RANGE_MM)) if canal_width_mm is None else canal_width_mm
    options = PhantomOptions(
        tooth=tooth,
        mm_per_pixel=pitch,
        structure=kind,
        neighbours=abs(float(shape.points_mm()[-1, 1])) < _NEIGHBOUR_SWING_MM,
        quanta_per_mm2=NOISE_LEVELS[level][0],
        electronic_noise=NOISE_LEVELS[level][1],
        seed=int(rng.integers(2**31)),
        **_draw_canal(rng, shape, width),
        **_draw_film(rng, shape),
    )
    return shape, options


def _draw_arc(
    rng: np.random.Generator, angle_deg: float | None, radius_mm: float | None
) -> tuple[float, float]:
    """Angle and radius whose arc fits a root: long arcs are drawn again, not cut."""
    for _ in range(200):
        angle = float(rng.uniform(*ANGLE_RANGE_DEG)) if angle_deg is None else angle_deg
        low, high = np.log(RADIUS_RANGE_MM)
        radius = float(np.exp(rng.uniform(low, high))) if radius_mm is None else radius_mm
        if radius * math.radians(angle) <= (_LONGEST_ARC_MM if radius_mm is not None else 14.0):
            return angle, radius
        if angle_deg is not None and radius_mm is not None:
            break
    raise CurvometerError(
        f"an arc of {angle_deg} degrees with radius {radius_mm} mm is over {_LONGEST_ARC_MM:.0f} mm, the"
        " most that a root has room for: give a smaller angle or radius"
    )


def _draw_shape(rng: np.random.Generator, angle_deg: float, radius_mm: float) -> tuple[CanalShape, str]:
    arc = radius_mm * math.radians(angle_deg)
    swing = radius_mm * (1.0 - math.cos(math.radians(angle_deg)))
    fits = [
        name
        for name, (_, longest, room) in _TEETH.items()
        if swing <= room and arc + _SHORTEST_STRAIGHT_MM <= longest
    ]
    tooth = str(rng.choice(fits)) if fits else "canine"
    shortest, longest, room = _TEETH[tooth]
    needed = arc + _SHORTEST_STRAIGHT_MM
    length = min(
        max(float(rng.uniform(shortest, longest)), needed + float(rng.uniform(0.0, 0.8))), _LONGEST_CANAL_MM
    )
    spare = max(0.0, (room - swing) / max(math.sin(math.radians(angle_deg)), 0.05))
    tail = float(rng.uniform(0.5, 3.0)) if rng.random() < 0.4 else 0.0
    tail = min(tail, length - needed, spare)
    tail = tail if tail >= 0.3 else 0.0
    shape = CanalShape.straight_arc(
        straight_mm=length - arc - tail, radius_mm=radius_mm, angle_deg=angle_deg, tail_mm=tail
    )
    return shape, tooth


def _draw_canal(rng: np.random.Generator, shape: CanalShape, width_mm: float) -> dict[str, Any]:
    taper = float(rng.uniform(0.6, 0.85))  # foramen over mean width
    calcification = None
    if rng.random() < 0.2:
        start = float(rng.uniform(0.0, 0.5)) * shape.length_mm
        end = start + float(rng.uniform(0.1, 0.3)) * shape.length_mm
        calcification = Calcification(start_mm=start, end_mm=end, width_left=float(rng.uniform(0.4, 0.8)))
    return {
        "canal_width_mm": (width_mm * (2.0 - taper), width_mm * taper),
        "canal_depth_ratio": float(rng.uniform(1.2, 2.4)),
        "calcification": calcification,
        "chamber_height": float(rng.uniform(0.4, 1.15)),
        "second_canal": bool(rng.random() < 0.6),
        "file_size": int(rng.choice([8, 10, 15, 20])),
        "foramen_short_mm": float(rng.uniform(0.4, 1.0)),
    }


def _draw_film(rng: np.random.Generator, shape: CanalShape) -> dict[str, Any]:
    points = shape.points_mm(spacing_mm=0.2)
    height = max(20.0, float(np.ptp(points[:, 0])) + 7.0)
    width = max(12.0, float(np.ptp(points[:, 1])) + 9.0)
    return {
        "field_mm": (height, width),
        "centre_on_canal": True,
        "mirrored": bool(rng.random() < 0.5),
        "upper": bool(rng.random() < 0.5),
        "tilt_deg": float(rng.uniform(-12.0, 12.0)),
        "offset_mm": (float(rng.uniform(-0.8, 0.8)), float(rng.uniform(-0.8, 0.8))),
        "root_width": float(rng.uniform(0.8, 1.2)),
        "off_centre": float(rng.uniform(-0.25, 0.25)),
        "ligament_mm": float(rng.uniform(0.15, 0.4)),
        "lamina_mm": float(rng.uniform(0.15, 0.35)),
        "ligament_contrast": float(rng.uniform(0.3, 1.0)),
        "lamina_contrast": float(rng.uniform(0.2, 1.0)),
        "bone_texture": float(rng.uniform(0.4, 1.5)),
        "bone_cell_mm": float(rng.uniform(0.5, 1.4)),
        "crest_below_cej_mm": float(rng.uniform(1.0, 3.5)),
        "blur_mm": float(rng.uniform(0.025, 0.075)),
        "bits": int(rng.choice([8, 10, 12, 16])),
        "transform": str(rng.choice(["log", "log", "log", "linear"])),
        "contrast": float(rng.uniform(0.9, 1.4)),
    }
