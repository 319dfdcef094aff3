"""Every choice that a simulated radiograph leaves open, with defaults that give an ordinary film."""

from __future__ import annotations

import math
from dataclasses import dataclass

from curvometer.centreline import Structure
from curvometer.phantom.forms import TOOTH_FORMS
from curvometer.radiograph import CurvometerError


@dataclass(frozen=True, kw_only=True)
class Calcification:
    """A narrowed or closed part of the canal.

    Attributes
    ----------
    start_mm, end_mm
        From where to where, measured from the orifice along the canal.
    width_left
        Share of the width that is left there: 0 closed, 1 untouched.
    """

    start_mm: float
    end_mm: float
    width_left: float = 0.4


@dataclass(frozen=True, kw_only=True)
class PhantomOptions:
    """How the tooth, the exposure and the sensor are chosen.

    Attributes
    ----------
    tooth
        A name of `TOOTH_FORMS`: ``lower_molar``, ``upper_molar``, ``lower_premolar``, ``upper_premolar``,
        ``canine``, ``incisor``, ``lateral_incisor``.
    upper
        Upper jaw (roots up); None takes the usual jaw of the tooth.
    mirrored
        Left and right exchanged.
    tilt_deg
        Rotation of the tooth in the image.
    image_shape
        (rows, columns); None fits the image to `field_mm`.
    field_mm
        (height, width) of the picture when `image_shape` is None; None frames the whole tooth.
    centre_on_canal
        True puts the middle of the target canal in the middle of the picture, False that of the tooth.
    offset_mm
        Shift of the tooth in the picture, (down, right).
    mm_per_pixel
        Scale in the plane of the target canal: one pixel shows this much of the tooth.
    magnification
        Source-detector over source-tooth distance; the detector's own pitch is ``mm_per_pixel x
        magnification``.
    vertical_angle_deg, horizontal_angle_deg
        Beam angles. The picture is foreshortened by their cosines, and what lies at another depth than the
        target canal shifts (the buccal-object rule). With 0 the plane of the canal is parallel to the sensor.
    canal_width_mm
        (at the orifice, at the foramen): width across the projected canal.
    canal_depth_ratio
        Depth of the canal along the beam over its width: 1 round, 2 oval bucco-lingually.
    calcification
        Narrowed part of the canal, or None.
    chamber_height
        Share of the usual height of the pulp chamber; small in old teeth.
    second_canal
        Whether a root that usually holds two canals shows both, partly over each other.
    root_width
        Width of the roots as a share of the usual one.
    off_centre
        How far the canal lies beside the middle of the root, as a share of the half-width (-0.3 to 0.3).
    foramen_short_mm
        Distance from the foramen to the anatomical apex.
    ligament_mm, lamina_mm
        Width of the periodontal ligament and of the lamina dura.
    ligament_contrast, lamina_contrast
        1 as attenuation gives it; 0 invisible.
    bone_texture
        Strength of the trabecular pattern; 0 even bone, 1 usual.
    bone_cell_mm
        Mean size of the trabecular meshes.
    crest_below_cej_mm
        Height of the alveolar crest.
    neighbours
        Whether neighbouring teeth are drawn.
    structure
        ``canal`` (empty) or ``instrument`` (a file lies in it).
    file_size, file_short_mm, stop_above_mm
        ISO 3630-1 size in 1/100 mm (taper .02); distance of the tip from the foramen; distance of the rubber
        stop's lower face above the reference level of the crown (None: at the reference).
    calibration_object
        None, ``"wire"`` (10 mm of steel) or ``"ball"`` (4 mm of steel).
    quanta_per_mm2
        Detected quanta per mm2 in the open beam; the dose. Noise follows from it.
    blur_mm
        Standard deviation of the sensor's blur in the plane of the tooth.
    electronic_noise
        Standard deviation of the read-out noise as a share of the open-beam signal.
    bits, photometric
        Bits stored (8 to 16); ``MONOCHROME1`` or ``MONOCHROME2`` in the file. In memory bright is dense,
        always.
    transform
        ``"log"`` or ``"linear"``: how the signal becomes grey.
    contrast
        Window width of the stored grey values as a share of the picture's range; above 1 is flat.
    noise_free
        No noise at all; for tests.
    draw_canal
        False leaves the target canal solid; for tests.
    seed
        Everything random (bone, noise) follows from it.

    Raises
    ------
    CurvometerError
        When a value is impossible.
    """

    tooth: str = "lower_molar"
    upper: bool | None = None
    mirrored: bool = False
    tilt_deg: float = 0.0
    image_shape: tuple[int, int] | None = None
    field_mm: tuple[float, float] | None = None
    centre_on_canal: bool = False
    offset_mm: tuple[float, float] = (0.0, 0.0)
    mm_per_pixel: float = 0.025
    magnification: float = 1.05
    vertical_angle_deg: float = 0.0
    horizontal_angle_deg: float = 0.0
    canal_width_mm: tuple[float, float] = (0.45, 0.25)
    canal_depth_ratio: float = 1.5
    calcification: Calcification | None = None
    chamber_height: float = 1.0
    second_canal: bool = True
    root_width: float = 1.0
    off_centre: float = 0.1
    foramen_short_mm: float = 0.6
    ligament_mm: float = 0.2
    lamina_mm: float = 0.25
    ligament_contrast: float = 1.0
    lamina_contrast: float = 1.0
    bone_texture: float = 1.0
    bone_cell_mm: float = 0.9
    crest_below_cej_mm: float = 1.6
    neighbours: bool = True
    structure: Structure = Structure.CANAL
    file_size: int = 15
    file_short_mm: float = 0.0
    stop_above_mm: float | None = None
    calibration_object: str | None = None
    quanta_per_mm2: float = 2.0e6
    blur_mm: float = 0.04
    electronic_noise: float = 0.002
    bits: int = 12
    photometric: str = "MONOCHROME2"
    transform: str = "log"
    contrast: float = 1.0
    noise_free: bool = False
    draw_canal: bool = True
    seed: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "structure", Structure(self.structure))
        for name, low, high in _LIMITS:
            value = getattr(self, name)
            if not (math.isfinite(value) and low <= value <= high):
                raise CurvometerError(f"{name} is {value}; a phantom needs a value from {low} to {high}")
        for name, allowed in _CHOICES:
            if getattr(self, name) not in allowed:
                given = ", ".join(str(a) for a in allowed)
                raise CurvometerError(f"{name} is {getattr(self, name)!r}; choose one of {given}")
        if not all(0.02 <= width <= 2.0 for width in self.canal_width_mm):
            raise CurvometerError(
                f"canal_width_mm is {self.canal_width_mm}; give two widths from 0.02 to 2 mm"
            )


_LIMITS = (
    ("mm_per_pixel", 0.008, 0.2),
    ("magnification", 1.0, 2.0),
    ("vertical_angle_deg", -40.0, 40.0),
    ("horizontal_angle_deg", -40.0, 40.0),
    ("tilt_deg", -45.0, 45.0),
    ("canal_depth_ratio", 0.3, 5.0),
    ("chamber_height", 0.05, 1.5),
    ("root_width", 0.5, 2.0),
    ("off_centre", -0.4, 0.4),
    ("foramen_short_mm", 0.0, 2.0),
    ("ligament_mm", 0.02, 2.0),
    ("lamina_mm", 0.02, 2.0),
    ("bone_texture", 0.0, 3.0),
    ("bone_cell_mm", 0.3, 3.0),
    ("file_size", 6, 140),
    ("file_short_mm", 0.0, 10.0),
    ("quanta_per_mm2", 1e4, 1e9),
    ("blur_mm", 0.0, 0.5),
    ("electronic_noise", 0.0, 0.2),
    ("bits", 8, 16),
    ("contrast", 0.3, 10.0),
)
_CHOICES: tuple[tuple[str, tuple[object, ...]], ...] = (
    ("tooth", tuple(TOOTH_FORMS)),
    ("photometric", ("MONOCHROME1", "MONOCHROME2")),
    ("transform", ("log", "linear")),
    ("calibration_object", (None, "wire", "ball")),
)
