"""Plain pictures of canals: a second renderer that shares nothing with `curvometer.phantom`.

The canal is drawn in the plane, from distances: every pixel knows how far along the canal it lies (`s`) and how far
beside it (`t`), and its grey is a sum of profiles over these two. There is no tooth, no beam and no attenuation, so a
tracer tuned on the simulated radiographs alone shows it here. Nothing is imported from the code under test but the
container that a picture is handed over in.

Frame: u along the first piece of the canal, v across it, millimetres; u becomes the row and v the column, after a
turn by `tilt_deg`. Grey has no unit until the last line, where the range of the picture is spread over the bits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from curvometer.radiograph import Radiograph

Array = NDArray[np.float64]
Segments = Sequence[tuple[float, float]]
"""(length in mm, signed curvature in 1/mm) of each piece, orifice first; curvature 0 is straight."""

STEP_MM = 0.01
BEYOND_MM = 5.0
"""How far the middle line is continued past both ends, so that root and bone have an `s` and a `t` there too."""
NOISE_LEVELS = {"low": 0.1, "middle": 0.25, "high": 0.5}
"""Standard deviation of the grain over the depth of the canal at the orifice."""
LONGEST_ARC_MM = 14.0
CANAL_LENGTHS_MM = (9.0, 22.0)


@dataclass(frozen=True, kw_only=True)
class PlainOptions:
    """How a plain picture looks. Greys are in units in which the dentine is 3 bright and a canal about 1 deep.

    Attributes
    ----------
    mm_per_pixel, aspect_ratio
        Column spacing, and row spacing over column spacing.
    width_mm
        Width of the canal at the orifice and at the foramen.
    contrast, fade
        Depth of the canal at the orifice; depth at the foramen as a share of it.
    roundness
        1 is the shadow of a round canal, below 1 a steeper-walled trough, above 1 a pointed one.
    hidden_mm
        (from, to), measured from the orifice, where the canal is not drawn at all; None for nowhere.
    instrument
        A bright line twice as strong, instead of a dark one.
    second_mm
        Distance of a second canal at the orifice, signed, 0.8 as deep; it converges. None for none.
    root_mm, apex_gap_mm, off_centre
        Half width of the root at orifice and foramen; from the foramen to the apex; how far the canal lies beside
        the middle of the root, as a share of its half width.
    root
        False leaves the root out: texture only, with or without a canal.
    ligament, ligament_mm, lamina
        Depth of the periodontal ligament (over 0.7 contrast) and its width; height of the lamina dura (over contrast).
    bone, texture, root_texture
        Grey of the bone as a share of the dentine's; strength of the texture, and of the texture over the root.
    noise
        Standard deviation of the white grain (over contrast).
    blur_px, bits, margin_mm, tilt_deg
        Blur; bits stored; picture around the canal; turn of the picture.
    """

    mm_per_pixel: float = 0.024
    aspect_ratio: float = 1.0
    width_mm: tuple[float, float] = (0.35, 0.15)
    contrast: float = 1.0
    fade: float = 0.45
    roundness: float = 1.0
    hidden_mm: tuple[float, float] | None = None
    instrument: bool = False
    second_mm: float | None = None
    root_mm: tuple[float, float] = (2.2, 0.9)
    apex_gap_mm: float = 0.4
    off_centre: float = 0.0
    root: bool = True
    ligament: float = 2.0
    ligament_mm: float = 0.25
    lamina: float = 0.6
    bone: float = 0.4
    texture: float = 0.3
    root_texture: float = 1.0
    noise: float = 0.25
    blur_px: float = 1.2
    bits: int = 12
    margin_mm: float = 3.5
    tilt_deg: float = 8.6


@dataclass(frozen=True, kw_only=True)
class PlainTruth:
    """What is known of a plain picture: the middle line (n, 2) as (row, col), orifice first, its scale and pieces."""

    centreline_rc: Array
    mm_per_pixel: float
    segments: tuple[tuple[float, float], ...]

    @property
    def orifice_rc(self) -> Array:
        """Where the canal begins."""
        return np.asarray(self.centreline_rc[0])

    @property
    def foramen_rc(self) -> Array:
        """Where it ends."""
        return np.asarray(self.centreline_rc[-1])

    @property
    def angle_deg(self) -> float:
        """Turning of the sharpest piece: Pruett's angle when there is one bend."""
        return max(float(np.degrees(abs(length * kappa))) for length, kappa in self.segments)

    @property
    def radius_mm(self) -> float:
        """Radius of the arc that turns most."""
        kappa = max(self.segments, key=lambda piece: abs(piece[0] * piece[1]))[1]
        return float(1.0 / abs(kappa)) if kappa else float("inf")

    @property
    def schneider_deg(self) -> float:
        """S = atan2((T + b) sin(theta), T + (T + b) cos(theta)) for straight, arc, straight b; T = R tan(theta / 2)."""
        theta, after = np.radians(self.angle_deg), self.segments[2][0] if len(self.segments) > 2 else 0.0
        tangent = self.radius_mm * np.tan(0.5 * theta) if theta else 0.0
        legs = tangent + after
        return float(np.degrees(np.arctan2(legs * np.sin(theta), tangent + legs * np.cos(theta))))


def middle_line(segments: Segments, step_mm: float = STEP_MM) -> Array:
    """(n, 2) points of straight pieces and arcs laid end to end, beginning at (0, 0) along u."""
    points, place, heading = [np.zeros((1, 2))], np.zeros(2), 0.0
    for length, kappa in segments:
        if length <= 0.0:
            continue
        s = np.linspace(0.0, length, max(2, int(length / step_mm)) + 1)[1:]
        # The chord of an arc of length s: s sin(h) / h with h half its turning, at the mean direction.
        half = 0.5 * kappa * s
        chord = s * np.sinc(half / np.pi)
        points.append(
            place + chord[:, None] * np.column_stack([np.cos(heading + half), np.sin(heading + half)])
        )
        place, heading = points[-1][-1], heading + kappa * length
    return np.vstack(points)


def draw_plain_picture(
    rng: np.random.Generator, *, segments: Segments, options: PlainOptions | None = None
) -> tuple[Radiograph, PlainTruth]:
    """Draw a canal of straight pieces and arcs.

    Parameters
    ----------
    rng
        Source of texture and grain.
    segments
        Pieces of the canal, orifice first.
    options
        Everything else.

    Returns
    -------
    radiograph, truth
        Bright is dense; the picture's file states no size.
    """
    o = PlainOptions() if options is None else options
    line = middle_line(segments) @ _turn(np.radians(o.tilt_deg))
    low, high = line.min(axis=0) - o.margin_mm, line.max(axis=0) + o.margin_mm
    pitch = o.mm_per_pixel * np.array([o.aspect_ratio, 1.0])
    rows, cols = ((high - low) / pitch).astype(int)
    shape = (int(rows), int(cols))
    s, t = _along_and_across(line, low, pitch, shape)
    grey = _grey(s, t, float(sum(length for length, _ in segments)), _texture(rng, shape, o.mm_per_pixel), o)
    blurred = cv2.GaussianBlur(grey, (0, 0), sigmaX=o.blur_px, sigmaY=o.blur_px / o.aspect_ratio)
    grey = np.asarray(blurred) + o.noise * o.contrast * rng.standard_normal(shape)
    top = 2**o.bits - 1
    stored = np.round((grey - grey.min()) / np.ptp(grey) * top).astype(np.uint8 if o.bits <= 8 else np.uint16)
    truth = PlainTruth(
        centreline_rc=(line - low) / pitch,
        mm_per_pixel=o.mm_per_pixel,
        segments=tuple((length, kappa) for length, kappa in segments),
    )
    return Radiograph(pixels=stored, bits_stored=o.bits), truth


def random_plain_case(
    rng: np.random.Generator,
    *,
    angle_deg: float | None = None,
    radius_mm: float | None = None,
    mm_per_pixel: float | None = None,
    canal_width_mm: float | None = None,
    noise_level: str | None = None,
    structure: str | None = None,
) -> tuple[tuple[tuple[float, float], ...], PlainOptions]:
    """Draw the pieces of a canal and a look; what is given is kept.

    Parameters
    ----------
    rng
        Source of every draw.
    angle_deg, radius_mm
        Of the one arc: 5 to 75 degrees, 2 to 20 mm. Arcs longer than 14 mm are drawn again.
    mm_per_pixel
        0.020 to 0.060 mm.
    canal_width_mm
        Mean width, 0.2 to 0.6 mm.
    noise_level
        ``"low"``, ``"middle"`` or ``"high"``: see `NOISE_LEVELS`.
    structure
        ``"canal"`` or ``"instrument"``.
    """
    segments = _random_segments(rng, angle_deg, radius_mm)
    width = float(rng.uniform(0.2, 0.6)) if canal_width_mm is None else canal_width_mm
    level = str(rng.choice(list(NOISE_LEVELS))) if noise_level is None else noise_level
    kind = str(rng.choice(["canal", "instrument"])) if structure is None else structure
    second = float(rng.choice([-1.0, 1.0]) * rng.uniform(1.0, 1.3)) if rng.random() < 0.4 else None
    return segments, PlainOptions(
        mm_per_pixel=float(rng.uniform(0.020, 0.060)) if mm_per_pixel is None else mm_per_pixel,
        width_mm=(1.35 * width, 0.65 * width),
        noise=NOISE_LEVELS[level],
        instrument=kind == "instrument",
        second_mm=second,
        contrast=float(rng.uniform(0.4, 1.2)),
        fade=float(rng.uniform(0.35, 1.0)),
        roundness=float(rng.uniform(0.6, 1.5)),
        texture=float(rng.uniform(0.05, 0.4)),
        root_texture=float(rng.uniform(0.2, 1.0)),
        blur_px=float(rng.uniform(0.7, 2.0)),
        ligament=float(rng.uniform(0.5, 2.5)),
        ligament_mm=float(rng.uniform(0.15, 0.4)),
        lamina=float(rng.uniform(0.2, 1.0)),
        off_centre=float(rng.uniform(-0.3, 0.3)),
        bits=int(rng.choice([8, 10, 12, 16])),
        tilt_deg=float(rng.uniform(-57.0, 57.0)),
    )


def _random_segments(
    rng: np.random.Generator, angle_deg: float | None, radius_mm: float | None
) -> tuple[tuple[float, float], ...]:
    """Straight a, arc, straight b (0 in half of the canals), of a length that canals have."""
    shortest, longest = CANAL_LENGTHS_MM
    for _ in range(1000):
        angle = np.radians(float(rng.uniform(5.0, 75.0)) if angle_deg is None else angle_deg)
        radius = float(np.exp(rng.uniform(np.log(2.0), np.log(20.0)))) if radius_mm is None else radius_mm
        arc, before = radius * angle, float(rng.uniform(4.0, 12.0))
        after = float(rng.uniform(0.5, 3.0)) if rng.random() < 0.5 else 0.0
        if arc <= LONGEST_ARC_MM and shortest <= before + arc + after <= longest:
            return ((before, 0.0), (arc, float(rng.choice([-1.0, 1.0])) / radius), (after, 0.0))
    raise ValueError(f"no canal has an arc of {angle_deg} degrees and {radius_mm} mm")


def _turn(angle: float) -> Array:
    return np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])


def _along_and_across(line: Array, low: Array, pitch: Array, shape: tuple[int, ...]) -> tuple[Array, Array]:
    """Position along the line and signed distance from it, of every pixel, mm."""
    first, last = line[0] - line[1], line[-1] - line[-2]
    beyond = np.arange(STEP_MM, BEYOND_MM, STEP_MM)[:, None]
    before = line[0] + beyond[::-1] * first / np.hypot(*first)
    behind = line[-1] + beyond * last / np.hypot(*last)
    full = np.vstack([before, line, behind])
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(full, axis=0).T))]) - BEYOND_MM + STEP_MM
    tangent = np.gradient(full, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    rows, cols = np.mgrid[0 : shape[0], 0 : shape[1]]
    pixels = np.column_stack([rows.ravel(), cols.ravel()]) * pitch + low
    distance, nearest = cKDTree(full).query(pixels)
    away = pixels - full[nearest]
    side = np.sign(tangent[nearest, 0] * away[:, 1] - tangent[nearest, 1] * away[:, 0])
    return s[nearest].reshape(shape), (distance * side).reshape(shape)


def _texture(rng: np.random.Generator, shape: tuple[int, ...], mm_per_pixel: float) -> Array:
    """Clouds of unit variance, strongest at lengths of a few millimetres."""
    rows, cols = shape
    frequency = np.hypot(np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(cols)[None]) / mm_per_pixel
    weight = np.exp(-((0.15 * frequency) ** 2)) / np.maximum(frequency, 0.15)
    clouds = np.fft.irfft2(np.fft.rfft2(rng.standard_normal((rows, cols))) * weight, (rows, cols))
    return np.asarray(clouds / clouds.std())


def _grey(s: Array, t: Array, length: float, clouds: Array, o: PlainOptions) -> Array:
    """Root, bone, texture, ligament, lamina dura and canal, one on the other."""
    share = np.clip(s / length, 0.0, 1.0)
    depth = o.contrast * (1.0 + (o.fade - 1.0) * share)
    line = 2.0 if o.instrument else -1.0
    grey = line * depth * _canal(s, t, length, o)
    if o.second_mm is not None:
        beside = t - o.second_mm * (1.0 - 0.6 * share)
        width = o.width_mm[0] + (o.width_mm[1] - o.width_mm[0]) * share
        grey -= 0.8 * depth * _trough(beside, width, 1.0) * (s <= length)
    if not o.root:
        return np.asarray(grey + o.texture * 2.0 * clouds)
    half, beside = _root_half_width(s, length, o), t - o.off_centre * o.root_mm[0] * (1.0 - share)
    dome = np.sqrt(np.clip(1.0 - (beside / np.maximum(half, 1e-3)) ** 2, 0.0, 1.0))
    apex = length + o.apex_gap_mm
    outside = np.where(s > apex, np.hypot(t, s - apex), np.abs(beside) - half)
    grey += 3.0 * np.sqrt(dome) + 3.0 * o.bone * (dome <= 0.0)
    grey += o.texture * clouds * np.where(dome > 0.0, o.root_texture, 2.0)
    grey -= 0.7 * o.ligament * o.contrast * _bump(outside - 0.5 * o.ligament_mm, o.ligament_mm / 2.35)
    return np.asarray(grey + o.lamina * o.contrast * _bump(outside - o.ligament_mm - 0.15, 0.1))


def _canal(s: Array, t: Array, length: float, o: PlainOptions) -> Array:
    """Profile of the canal, 1 in its middle; round at the foramen."""
    share = np.clip(s / length, 0.0, 1.0)
    profile = _trough(t, o.width_mm[0] + (o.width_mm[1] - o.width_mm[0]) * share, o.roundness)
    there = (s <= length) | (t**2 + (s - length) ** 2 < (0.5 * o.width_mm[1]) ** 2)
    if o.hidden_mm is not None:
        there &= (s < o.hidden_mm[0]) | (s > o.hidden_mm[1])
    return np.where(there, profile, 0.0)


def _trough(t: Array, width: Array, roundness: float) -> Array:
    return np.asarray(np.clip(1.0 - (2.0 * t / width) ** 2, 0.0, 1.0) ** (0.5 * roundness))


def _root_half_width(s: Array, length: float, o: PlainOptions) -> Array:
    """Tapering; closed by a quarter of an ellipse over the last millimetre before the apex."""
    coronal, apical = o.root_mm
    half = coronal + (apical - coronal) * np.clip(s / length, -0.3, 1.0)
    apex = length + o.apex_gap_mm
    near = np.clip(apex - s, 0.0, 1.0)
    return np.where(s > apex - 1.0, half * np.sqrt(np.clip(1.0 - (1.0 - near) ** 2, 0.0, 1.0)), half)


def _bump(away: Array, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * (away / sd) ** 2))
