"""The jaw around the teeth: cortical plates, trabecular network, alveolar crest, gingiva and cheek."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from curvometer.phantom.field import Grid
from curvometer.phantom.options import PhantomOptions

_NETWORK_LAYERS = 5
_NETWORK_STEP_MM = 0.09
_BONE_SHARE = 0.24  # share of trabecular volume that is bone
# Depth of the alveolar process along the beam: thin in front, deep at the molars (common practice, no
# source).
_JAW_DEPTH_MM = {"lower_molar": 11.0, "upper_molar": 12.0, "lower_premolar": 9.0, "upper_premolar": 9.5}
_FRONT_DEPTH_MM = 7.8
_CHEEK_MM = 9.0


@dataclass(frozen=True, kw_only=True)
class JawPaths:
    """The jaw on a grid, before teeth displace it.

    Attributes
    ----------
    below_crest
        0 above the alveolar crest, 1 below it.
    core_mm
        Depth of trabecular bone between the plates.
    bone_share
        Share of that core which is bone, with its network.
    cortical_mm
        Path through the cortical plates.
    rim_mm
        Path through the dense rim of the crest between the teeth.
    soft_mm
        Gingiva and cheek.
    """

    below_crest: Grid
    core_mm: Grid
    bone_share: Grid
    cortical_mm: Grid
    rim_mm: Grid
    soft_mm: Grid


def make_jaw(x: Grid, y: Grid, options: PhantomOptions, rng: np.random.Generator, *, upper: bool) -> JawPaths:
    """Draw the jaw.

    Parameters
    ----------
    x, y
        Position in the jaw's frame in mm, arrays of one shape: the origin in the middle of the tooth's
        cemento-enamel junction, y apical.
    rng
        Source of the bone's pattern.
    upper
        The upper jaw has thinner plates and a finer network.
    """
    wave = rng.uniform(0.0, 6.28, 2)
    crest = options.crest_below_cej_mm + 0.25 * np.sin(0.45 * x + wave[0]) + 0.12 * np.sin(1.3 * x + wave[1])
    under = y - crest.astype(np.float32)
    below = np.clip(under / 0.15 + 0.5, 0.0, 1.0)
    swell = 0.45 + 0.55 * (1.0 - np.exp(-np.maximum(under, 0.0) / 5.0))
    rounding = np.clip(under / 2.2, 0.0, 1.0) ** 0.7
    depth = _JAW_DEPTH_MM.get(options.tooth, _FRONT_DEPTH_MM) * swell * rounding
    slow = _slow_noise(x.shape, rng, cells=4)
    plates = (1.1 if upper else 1.7) * swell * rounding * (1.0 + 0.12 * slow)
    rim = 1.3 * np.exp(-(((under - 0.25) / 0.2) ** 2)) * below
    network = trabecular_network(x, y, options.bone_cell_mm * (0.85 if upper else 1.0), rng)
    share = _BONE_SHARE * (1.0 + 0.2 * _slow_noise(x.shape, rng, cells=3))
    share = np.clip(share * (1.0 + 0.36 * options.bone_texture * network), 0.03, 0.9)
    depth, plates, share = _landmarks(
        x,
        y,
        (_grid(depth), _grid(plates), _grid(share)),
        tooth=options.tooth,
        upper=upper,
        wave=float(wave[0]),
    )
    gum = 7.0 / (1.0 + np.exp(-(y + 0.6) / 0.35))
    cheek = _CHEEK_MM * (1.0 + 0.1 * _slow_noise(x.shape, rng, cells=3))
    return JawPaths(
        below_crest=_grid(below),
        core_mm=_grid(np.maximum(depth - plates, 0.0)),
        bone_share=_grid(share),
        cortical_mm=_grid(plates),
        rim_mm=_grid(rim),
        soft_mm=_grid(cheek + np.maximum(gum - depth * 0.6, 1.5 / (1.0 + np.exp(-y / 0.35)))),
    )


def _landmarks(
    x: Grid, y: Grid, bone: tuple[Grid, Grid, Grid], *, tooth: str, upper: bool, wave: float
) -> tuple[Grid, Grid, Grid]:
    """Add the maxillary sinus over upper molars and premolars, the mandibular canal under lower ones."""
    depth, plates, share = bone
    posterior = "molar" in tooth
    if posterior and upper:
        floor = 13.6 + 1.3 * np.cos(0.32 * x + wave)
        inside = np.clip((y - floor) / 0.3 + 0.5, 0.0, 1.0)
        rim = 1.4 * np.exp(-(((y - floor) / 0.28) ** 2))
        return _grid(depth * (1.0 - 0.62 * inside)), _grid(plates * (1.0 - 0.2 * inside) + rim), share
    if posterior:
        beside = np.abs(y - 18.0 - 0.06 * x - 0.4 * np.sin(0.2 * x + wave))
        tunnel = np.clip((1.35 - beside) / 0.3 + 0.5, 0.0, 1.0)
        rim = 0.7 * np.exp(-(((beside - 1.45) / 0.2) ** 2))
        return depth, _grid(plates + rim), _grid(share * (1.0 - 0.35 * tunnel))
    return depth, plates, share


def trabecular_network(x: Grid, y: Grid, cell_mm: float, rng: np.random.Generator) -> Grid:
    """Pattern of trabecular plates with mean 0 and standard deviation 1.

    Bone trabeculae are plates and rods around marrow spaces. The walls between the cells of a jittered
    lattice (second nearest minus nearest seed distance) look like them; several layers at different depth lie
    over each other, each fading in and out and stretched across the beam, as the projection of spongy bone
    does.

    Parameters
    ----------
    x, y
        Positions in mm, arrays of one shape on a regular grid.
    cell_mm
        Mean size of the marrow spaces.
    rng
        Source of the pattern.
    """
    rows, cols = x.shape
    width, height = float(np.ptp(x)) + 1e-3, float(np.ptp(y)) + 1e-3
    coarse = (max(8, round(height / _NETWORK_STEP_MM)), max(8, round(width / _NETWORK_STEP_MM)))
    down = np.linspace(0.0, height, coarse[0], dtype=np.float32)[:, None]
    right = np.linspace(0.0, width, coarse[1], dtype=np.float32)[None, :]
    total = np.zeros(coarse, np.float32)
    for _ in range(_NETWORK_LAYERS):
        angle, size = rng.uniform(-0.6, 0.6), cell_mm * rng.uniform(0.9, 1.7)
        bend = [0.35 * size * _slow_noise(coarse, rng, cells=max(3, int(height / 2.5))) for _ in range(2)]
        a = (right + bend[0]) * np.cos(angle) + (down + bend[1]) * np.sin(angle)
        b = (down + bend[1]) * np.cos(angle) - (right + bend[0]) * np.sin(angle)
        wall = _cell_walls(a / (size * 1.5), b / (size * 0.85), rng)
        plate = np.exp(-((wall * size / rng.uniform(0.14, 0.26)) ** 2))
        total += plate * np.clip(
            0.8 + 0.7 * _slow_noise(coarse, rng, cells=max(4, int(height / 1.6))), 0.0, 2.0
        )
    # spicules that end freely: noise of the same scale, a third of the pattern
    white = rng.standard_normal(coarse).astype(np.float32)
    grain = _blurred(white, 0.13 * cell_mm / _NETWORK_STEP_MM)
    grain = grain - _blurred(grain, 0.45 * cell_mm / _NETWORK_STEP_MM)
    total = _blurred(total, 0.8)
    total = total / max(float(total.std()), 1e-6) + 0.35 * grain / max(float(grain.std()), 1e-6)
    total = (total - total.mean()) / max(float(total.std()), 1e-6)
    return np.asarray(cv2.resize(total, (cols, rows), interpolation=cv2.INTER_CUBIC), np.float32)


def _blurred(values: Grid, sigma: float) -> Grid:
    return np.asarray(cv2.GaussianBlur(values, (0, 0), sigma), np.float32)


def _cell_walls(a: Grid, b: Grid, rng: np.random.Generator) -> Grid:
    """Distance to the wall between lattice cells: second nearest minus nearest jittered seed."""
    ia, ib = np.floor(a).astype(np.int32), np.floor(b).astype(np.int32)
    ia0, ib0 = int(ia.min()) - 1, int(ib.min()) - 1
    jitter = rng.uniform(0.02, 0.98, (2, int(ia.max()) - ia0 + 2, int(ib.max()) - ib0 + 2)).astype(np.float32)
    first = np.full(a.shape, 9.0, np.float32)
    second = first.copy()
    for da in (-1, 0, 1):
        for db in (-1, 0, 1):
            ja, jb = ia + da - ia0, ib + db - ib0
            ra = ja + ia0 + jitter[0][ja, jb] - a
            rb = jb + ib0 + jitter[1][ja, jb] - b
            distance = np.sqrt(ra * ra + rb * rb)
            second = np.minimum(second, np.maximum(first, distance))
            first = np.minimum(first, distance)
    return second - first


def _slow_noise(shape: tuple[int, ...], rng: np.random.Generator, *, cells: int) -> Grid:
    """Smooth random field, about -1.5 to 1.5, with about `cells` swings over the picture's height."""
    rows, cols = shape
    across = max(2, round(cells * cols / rows))
    seeds = rng.standard_normal((cells + 1, across + 1)).astype(np.float32)
    return np.asarray(cv2.resize(seeds, (cols, rows), interpolation=cv2.INTER_CUBIC), np.float32)


def _grid(values: NDArray[Any]) -> Grid:
    return np.asarray(values, np.float32)
