"""``curvometer phantom``: simulated radiographs with their truth, for teaching and for trying things out."""

from __future__ import annotations

import tempfile
from argparse import Namespace
from collections.abc import Iterable
from pathlib import Path

from curvometer.cli.progress import with_progress
from curvometer.phantom import (
    NOISE_LEVELS,
    CanalShape,
    Phantom,
    PhantomOptions,
    simulate_radiograph,
    write_phantom,
)
from curvometer.saving import SavingError, check_outputs, save_bytes

SUFFIXES = {"dicom": ".dcm", "png": ".png", "truth": ".truth.json"}


def run(arguments: Namespace) -> int:
    """Simulate one case per seed and write it."""
    folder = Path(arguments.folder)
    if not folder.is_dir():
        raise SavingError(f"the folder {folder} does not exist: make it first")
    kinds = ("dicom", "png", "truth") if arguments.format == "both" else (arguments.format, "truth")
    seeds = range(arguments.seed, arguments.seed + arguments.count)
    names = [arguments.name] if arguments.count == 1 else [f"{arguments.name}_{seed}" for seed in seeds]
    planned = [folder / f"{name}{SUFFIXES[kind]}" for name in names for kind in kinds]
    check_outputs(planned, overwrite=arguments.overwrite)
    shape = _shape(arguments)
    cases = [(name, _options(arguments, seed)) for name, seed in zip(names, seeds, strict=True)]
    for name, options in with_progress(cases, "simulating"):
        phantom = simulate_radiograph(shape, options)
        for path in save_phantom(phantom, folder, name=name, kinds=kinds, overwrite=arguments.overwrite):
            print(path)
    return 0


def save_phantom(
    phantom: Phantom, folder: Path, *, name: str, kinds: Iterable[str], overwrite: bool
) -> list[Path]:
    """Write the wanted files of a phantom, each whole or not at all.

    Parameters
    ----------
    phantom
        From `simulate_radiograph`.
    folder
        An existing folder.
    name
        File name without suffix.
    kinds
        Any of ``"dicom"``, ``"png"``, ``"truth"``.
    overwrite
        Whether existing files may be replaced.

    Returns
    -------
    list
        The files' paths, in the order of `kinds`.
    """
    saved = []
    with tempfile.TemporaryDirectory() as drafts:
        made = write_phantom(phantom, drafts, name=name)
        for kind in kinds:
            path = folder / made[kind].name
            save_bytes(made[kind].read_bytes(), path, overwrite=overwrite)
            saved.append(path)
    return saved


def _shape(arguments: Namespace) -> CanalShape:
    if arguments.second_angle is None:
        return CanalShape.straight_arc(
            straight_mm=arguments.straight, radius_mm=arguments.radius, angle_deg=arguments.angle
        )
    return CanalShape.s_curve(
        straight_mm=arguments.straight,
        radius1_mm=arguments.radius,
        angle1_deg=arguments.angle,
        middle_mm=0.0,
        radius2_mm=arguments.radius,
        angle2_deg=arguments.second_angle,
    )


def _options(arguments: Namespace, seed: int) -> PhantomOptions:
    quanta_per_mm2, electronic_noise = NOISE_LEVELS[arguments.noise]
    return PhantomOptions(
        tooth=arguments.kind,
        structure=arguments.structure,
        mm_per_pixel=arguments.mm_per_pixel,
        quanta_per_mm2=quanta_per_mm2,
        electronic_noise=electronic_noise,
        seed=seed,
    )
