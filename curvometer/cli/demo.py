"""``curvometer demo``: the main job on a sample image, with the command that does it."""

from __future__ import annotations

import json
import os
from argparse import Namespace
from pathlib import Path
from typing import Any

from curvometer.cli.arguments import parse
from curvometer.saving import SavingError

SAMPLE = "lower_molar"


def run(arguments: Namespace) -> int:
    """Measure the sample image; the demo's own files are replaced when it runs again."""
    from curvometer.cli import measure  # noqa: PLC0415

    folder = _folder(arguments.output)
    image, truth = _from_source_tree() or _simulated(folder)
    overlay, record = folder / "curvometer_demo.png", folder / "curvometer_demo.json"
    words = [str(image), "--orifice", _click(truth["orifice"]), "--foramen", _click(truth["foramen"])]
    outputs = ["--overlay", str(overlay), "--record", str(record), "--overwrite"]
    print(f"A simulated radiograph, measured from two clicks:\n  curvometer measure {' '.join(words)}\n")
    code = measure.run(parse(["measure", *words, *outputs]))
    print(_truth_line(truth["measures"]))
    return code


def _folder(output: str) -> Path:
    folder = Path(output)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        raise SavingError(f"{folder} is a file: give a folder with --output") from error
    except OSError as error:
        raise SavingError(
            f"the folder {folder} cannot be made ({error.strerror}): give another with --output"
        ) from error
    return folder


def _from_source_tree() -> tuple[Path, dict[str, Any]] | None:
    """Find the sample image beside the package's sources; an installed package has none."""
    samples = Path(os.path.relpath(Path(__file__).resolve().parents[2] / "sample_images"))
    image, truth = samples / f"{SAMPLE}.dcm", samples / "truth.json"
    if not (image.is_file() and truth.is_file()):
        return None
    return image, json.loads(truth.read_text(encoding="utf-8"))[SAMPLE]


def _simulated(folder: Path) -> tuple[Path, dict[str, Any]]:
    """Make the same image again."""
    from curvometer.cli.phantom import save_phantom  # noqa: PLC0415
    from curvometer.cli.progress import with_progress  # noqa: PLC0415
    from curvometer.phantom import SAMPLE_CASES, simulate_radiograph, truth_record  # noqa: PLC0415

    for case in with_progress([SAMPLE_CASES[SAMPLE]], "simulating the sample image"):
        phantom = simulate_radiograph(case.shape, case.options)
        (image,) = save_phantom(phantom, folder, name=SAMPLE, kinds=("dicom",), overwrite=True)
    return image, truth_record(phantom)


def _click(point_xy: list[float]) -> str:
    """Write a position as a person clicks it: whole pixels."""
    return ",".join(f"{coordinate:.0f}" for coordinate in point_xy)


def _truth_line(measures: dict[str, Any]) -> str:
    return (
        "The canal was simulated with: Schneider angle {schneider_angle:.1f} deg, smallest radius"
        " {minimum_radius:.2f} mm, length {canal_length:.2f} mm."
    ).format_map(measures)
