"""Simulated films for exercises: a curve and a degree of difficulty are chosen, all else is drawn at random.

A phantom follows from its seed and options, and the simulator is public. A film that is to be marked therefore takes a seed
that nobody can guess (`secret_seed`, 128 bits), kept in the key alone.
"""

from __future__ import annotations

import math
import secrets
from dataclasses import dataclass, fields, replace
from typing import Annotated, Any

import numpy as np
from pydantic import Field, ValidationInfo, field_validator

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.sheet import Entry, KnownLength
from curvometer.centreline import Structure
from curvometer.phantom import (
    Calcification,
    CanalShape,
    Phantom,
    PhantomOptions,
    random_case,
    simulate_radiograph,
)

SEED_BITS = 128
MOST_ANGLE_DEG = 75.0
SCALES_MM = (0.024, 0.034)
_DRAWS = 300
_BEND_DEG = 8.0
_STRAIGHT = 0.0  # JSON has no infinity; a radius of 0 stands for a straight piece

TEETH: dict[str, tuple[int, int, str]] = {
    "lower_molar": (36, 46, "MB"),
    "upper_molar": (26, 16, "MB"),
    "lower_premolar": (35, 45, "single"),
    "upper_premolar": (24, 14, "B"),
    "canine": (23, 13, "single"),
    "incisor": (21, 11, "single"),
    "lateral_incisor": (22, 12, "single"),
}
"""Number of the tooth as drawn and mirrored, and the canal of chosen shape, by the kinds of tooth that are simulated."""

KNOWN_OBJECTS: dict[str, tuple[str, float]] = {
    "wire": ("the steel wire beside the crown, end to end", 0.1),
    "ball": ("the steel ball beside the crown, across", 0.1),
    "file": ("the file in the canal, stop to tip", 0.2),
}
"""What lies in a film to calibrate by, in words, and by how many mm its length may be off."""

TWO_CANALS = ("lower_molar", "upper_molar", "upper_premolar")
"""Teeth whose root of the chosen canal can show a second one over it."""
FILE_TEXT = "A file lies in the canal, its tip at the foramen: trace the file."
TWO_CANALS_TEXT = "Two canals lie over each other: trace the outer one, on the convex side of the bend."


@dataclass(frozen=True, kw_only=True)
class FilmStep:
    """How hard a film is to read, apart from the curve.

    Attributes
    ----------
    contrast
        Window width as a share of the picture's range: 1 is rich, 2 is flat.
    canal_width_mm
        Mean width of the canal.
    noise
        A name of `curvometer.phantom.NOISE_LEVELS`.
    blur_mm
        Standard deviation of the sensor's blur.
    bone_texture
        Strength of the trabecular pattern over the root.
    overlap
        Whether a second canal lies over the one to trace.
    closed
        Share of the canal's width that a calcified part leaves; 1: none is calcified.
    """

    contrast: float
    canal_width_mm: float
    noise: str
    blur_mm: float
    bone_texture: float
    overlap: bool = False
    closed: float = 1.0


FILM_STEPS: tuple[FilmStep, ...] = (
    FilmStep(contrast=0.95, canal_width_mm=0.60, noise="low", blur_mm=0.030, bone_texture=0.4),
    FilmStep(contrast=1.00, canal_width_mm=0.52, noise="low", blur_mm=0.035, bone_texture=0.6),
    FilmStep(contrast=1.05, canal_width_mm=0.46, noise="low", blur_mm=0.040, bone_texture=0.8),
    FilmStep(contrast=1.15, canal_width_mm=0.42, noise="middle", blur_mm=0.045, bone_texture=0.9),
    FilmStep(
        contrast=1.30, canal_width_mm=0.38, noise="middle", blur_mm=0.050, bone_texture=1.0, overlap=True
    ),
    FilmStep(
        contrast=1.45, canal_width_mm=0.34, noise="middle", blur_mm=0.055, bone_texture=1.1, overlap=True
    ),
    FilmStep(
        contrast=1.60,
        canal_width_mm=0.31,
        noise="high",
        blur_mm=0.060,
        bone_texture=1.2,
        overlap=True,
        closed=0.75,
    ),
    FilmStep(
        contrast=1.80,
        canal_width_mm=0.28,
        noise="high",
        blur_mm=0.065,
        bone_texture=1.3,
        overlap=True,
        closed=0.6,
    ),
)
"""Films from easy to hard (own scale, no source); their number counts from 1."""

FAULTS = ("apex-cut-off", "flat", "blurred", "noisy")
"""Faults of `curvometer.IMAGE_FAULTS` that can be simulated: the student is to reject such a film."""
_NAMES: dict[str, tuple[str | None, ...]] = {
    "kind": (None, *TEETH),
    "known_object": (*KNOWN_OBJECTS, "none"),
    "fault": (None, *FAULTS),
}


class FilmOrder(Entry):
    """What a teacher asks for.

    Attributes
    ----------
    angle_deg
        Angle of the arc, 0 to 75.
    radius_mm
        Its radius, 2 to 20; no matter for angle 0.
    second_angle_deg
        Angle of a second, opposite arc of that radius (S form); None: a single bend.
    kind
        A name of `TEETH`; None: whichever has room for the curve.
    film
        Number of a `FILM_STEPS`.
    known_object
        What lies in the film to calibrate by: a name of `KNOWN_OBJECTS`, or ``"none"``.
    fault
        One of `FAULTS`, or None for a usable film.
    mm_per_pixel
        Scale; None: drawn from `SCALES_MM`.
    """

    angle_deg: Annotated[float, Field(ge=0.0, le=MOST_ANGLE_DEG)]
    radius_mm: Annotated[float, Field(ge=2.0, le=20.0)] = 8.0
    second_angle_deg: Annotated[float, Field(ge=1.0, le=MOST_ANGLE_DEG)] | None = None
    kind: str | None = None
    film: Annotated[int, Field(ge=1, le=8)] = 4
    known_object: str = "wire"
    fault: str | None = None
    mm_per_pixel: Annotated[float, Field(ge=0.015, le=0.1)] | None = None

    @field_validator("kind", "known_object", "fault")
    @classmethod
    def _known_name(cls, value: str | None, info: ValidationInfo) -> str | None:
        known = _NAMES[str(info.field_name)]
        if value not in known:
            raise ValueError(f"write one of {', '.join(name for name in known if name)}")
        return value


@dataclass(frozen=True, kw_only=True)
class Film:
    """A simulated film, and everything that only the teacher may know.

    Attributes
    ----------
    phantom
        Radiograph and truth.
    tooth, canal
        ISO 3950 number and code of the canal.
    known_length
        By what to calibrate, or None.
    text
        What a student has to be told to trace the right line; often nothing.
    made_from
        Seed, shape and options as plain values: with them the same pixels come again (`film_again`).
    """

    phantom: Phantom
    tooth: int
    canal: str
    known_length: KnownLength | None
    text: str
    made_from: dict[str, Any]


def secret_seed() -> int:
    """Draw a seed that nobody can guess or try out."""
    return secrets.randbits(SEED_BITS)


def make_film(order: FilmOrder, seed: int) -> Film:
    """Simulate a film.

    Parameters
    ----------
    order
        What is chosen.
    seed
        All the rest follows from it; `secret_seed` for a film that is to be marked.

    Raises
    ------
    AssessmentError
        When no tooth, or not the wanted one, has room for the curve.
    """
    rng = np.random.default_rng([seed, 1])  # apart from the stream that draws bone and noise
    shape, options = _drawn(order, rng)
    options = replace(options, seed=seed)
    phantom = simulate_radiograph(shape, options)
    left, right, canal = TEETH[options.tooth]
    return Film(
        phantom=phantom,
        tooth=right if options.mirrored else left,
        canal=canal,
        known_length=_known_length(phantom),
        text=_text(options),
        made_from=_plain(shape, options) | {"fault": order.fault},
    )


def film_again(made_from: dict[str, Any]) -> Phantom:
    """Simulate a film once more from what its key says.

    Raises
    ------
    AssessmentError
        When the values are not those of a film.
    """
    try:
        return simulate_radiograph(*_from_plain(made_from))
    except (KeyError, TypeError, ValueError) as error:
        raise AssessmentError(
            f"the film cannot be made again from this key ({error}): use an undamaged key"
        ) from error


def _drawn(order: FilmOrder, rng: np.random.Generator) -> tuple[CanalShape, PhantomOptions]:
    """Draw until the tooth is one that was asked for; a draw costs next to nothing."""
    step = FILM_STEPS[order.film - 1]
    wanted = (order.kind,) if order.kind else TWO_CANALS if _overlaps(order) else tuple(TEETH)
    structure = Structure.INSTRUMENT if order.known_object == "file" else Structure.CANAL
    others = []
    for _ in range(_DRAWS):
        shape, options = random_case(
            rng,
            angle_deg=order.angle_deg,
            radius_mm=order.radius_mm,
            mm_per_pixel=order.mm_per_pixel or float(rng.uniform(*SCALES_MM)),
            canal_width_mm=step.canal_width_mm,
            noise_level=step.noise,
            structure=structure,
        )
        if order.second_angle_deg is not None:
            shape, options = _bent_back(shape, options, order.second_angle_deg, rng)
        if options.tooth in wanted:
            return shape, _seen(options, shape, order, step, rng)
        others.append((shape, options))
    if order.kind or not others:
        told = f"a {str(order.kind or 'tooth').replace('_', ' ')} has no room for an arc of {order.angle_deg:g} degrees"
        raise AssessmentError(
            f"{told} with radius {order.radius_mm:g} mm: leave out kind, or take less of them"
        )
    shape, options = others[0]  # no tooth with two canals has room: without overlap, then
    return shape, _seen(options, shape, order, step, rng)


def _overlaps(order: FilmOrder) -> bool:
    """Whether a second canal is shown; without one plain bend nothing would tell which of two is meant."""
    one_bend = order.second_angle_deg is None and order.angle_deg >= _BEND_DEG
    return FILM_STEPS[order.film - 1].overlap and one_bend


def _bent_back(
    shape: CanalShape, options: PhantomOptions, second_angle_deg: float, rng: np.random.Generator
) -> tuple[CanalShape, PhantomOptions]:
    """Add the second arc of an S in a root of one canal; the straight coronal part keeps at least 3 mm."""
    length, radius = next(((s, r) for s, r in shape.segments if not math.isinf(r)), (0.0, 8.0))
    second = radius * math.radians(second_angle_deg)
    straight = max(3.0, 13.0 - length - second - 0.5)
    if straight + length + second > 17.0:
        raise AssessmentError(
            f"two arcs of {length:.1f} and {second:.1f} mm are longer than a root: give smaller angles or a smaller radius"
        )
    bent = CanalShape(((straight, math.inf), (length, radius), (0.5, math.inf), (second, -radius)))
    return bent, replace(options, tooth=str(rng.choice(["lower_premolar", "canine", "lateral_incisor"])))


def _seen(
    options: PhantomOptions, shape: CanalShape, order: FilmOrder, step: FilmStep, rng: np.random.Generator
) -> PhantomOptions:
    """Show the whole tooth, the usual jaw, and what makes this film easy or hard."""
    calcification = None
    if step.closed < 1.0:
        start = float(rng.uniform(0.1, 0.4)) * shape.length_mm
        calcification = Calcification(
            start_mm=start, end_mm=start + 0.2 * shape.length_mm, width_left=step.closed
        )
    shown = replace(
        options,
        upper=None,
        centre_on_canal=False,
        field_mm=None,
        offset_mm=(0.0, float(rng.uniform(-0.8, 0.8))),
        calibration_object=order.known_object if order.known_object in ("wire", "ball") else None,
        contrast=step.contrast * float(rng.uniform(0.97, 1.03)),
        blur_mm=step.blur_mm,
        bone_texture=step.bone_texture,
        second_canal=_overlaps(order),
        calcification=calcification,
        bits=int(rng.choice([8, 12, 12])),
        transform="log",
    )
    return _faulty(shown, order.fault)


def _faulty(options: PhantomOptions, fault: str | None) -> PhantomOptions:
    """Spoil a film; a cut-off apex is cut off the finished picture."""
    if fault == "flat":
        return replace(options, contrast=10.0, bits=8, quanta_per_mm2=5e4, electronic_noise=0.02)
    if fault == "blurred":
        return replace(options, blur_mm=0.4)
    if fault == "noisy":
        return replace(options, quanta_per_mm2=1.2e4, electronic_noise=0.05)
    return options


def _text(options: PhantomOptions) -> str:
    if options.structure is Structure.INSTRUMENT:
        return FILE_TEXT
    return TWO_CANALS_TEXT if options.second_canal and options.tooth in TWO_CANALS else ""


def _known_length(phantom: Phantom) -> KnownLength | None:
    for known in phantom.truth.known_lengths:
        what, tolerance = KNOWN_OBJECTS[known.name]
        return KnownLength(what=what, length_mm=round(known.length_mm, 2), tolerance_mm=tolerance)
    return None


def _plain(shape: CanalShape, options: PhantomOptions) -> dict[str, Any]:
    plain: dict[str, Any] = {"seed": f"{options.seed:#x}"}
    plain["segments_mm"] = [
        float(value) for length, r in shape.segments for value in (length, _STRAIGHT if math.isinf(r) else r)
    ]
    for name in (field.name for field in fields(options) if field.name != "seed"):
        value = getattr(options, name)
        if isinstance(value, Calcification):
            value = [value.start_mm, value.end_mm, value.width_left]
        elif isinstance(value, tuple):
            value = [float(part) for part in value]
        elif isinstance(value, Structure):
            value = str(value)
        plain[name] = value
    return plain


def _from_plain(plain: dict[str, Any]) -> tuple[CanalShape, PhantomOptions]:
    numbers = plain["segments_mm"]
    pairs = zip(numbers[::2], numbers[1::2], strict=True)
    shape = CanalShape(tuple((length, math.inf if r == _STRAIGHT else r) for length, r in pairs))
    values = {name: plain[name] for name in (field.name for field in fields(PhantomOptions))}
    values["seed"] = int(plain["seed"], 16)
    for name in ("offset_mm", "canal_width_mm"):
        values[name] = tuple(values[name])
    if values["calcification"] is not None:
        start_mm, end_mm, width_left = values["calcification"]
        values["calcification"] = Calcification(start_mm=start_mm, end_mm=end_mm, width_left=width_left)
    return shape, PhantomOptions(**values)
