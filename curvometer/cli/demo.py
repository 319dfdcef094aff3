"""``curvometer demo``: the main job on a sample image, with the commands that do it."""

from __future__ import annotations

import json
import os
import textwrap
from argparse import Namespace
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from curvometer.cli.arguments import parse
from curvometer.saving import SavingError

if TYPE_CHECKING:
    from curvometer.sequence import SequenceStep

SAMPLE = "lower_molar"
TOOTH, FOUND = ("--tooth", "36"), ("--reached", "10")
"""What no image tells and a person must state."""
INVENTED = "Invented for this demo, else stated by a person: tooth 36, and a hand file size 10 that reached working length."
_WIDTH = 100


def run(arguments: Namespace) -> int:
    """Measure, grade and plan the sample image; the demo's own files are replaced when it runs again."""
    from curvometer.cli import measure  # noqa: PLC0415

    folder = _folder(arguments.output)
    image, truth = _from_source_tree() or _simulated(folder)
    overlay, record = folder / "curvometer_demo.png", folder / "curvometer_demo.json"
    words = [str(image), "--orifice", _click(truth["orifice"]), "--foramen", _click(truth["foramen"])]
    outputs = ["--overlay", str(overlay), "--record", str(record), *TOOTH, "--overwrite"]
    print(f"A simulated radiograph, measured from two clicks:\n  curvometer measure {' '.join(words)}\n")
    code = measure.run(parse(["measure", *words, *outputs]))
    print(_truth_line(truth["measures"]))
    print("\n".join([*_grades(str(record)), *_plan(str(record))]))
    print(f"\nThe picture is {overlay}, the record {record}.")
    return code


def _grades(record: str) -> Iterator[str]:
    """The class by each set of criteria, with its chance."""
    from curvometer.cli import grade  # noqa: PLC0415
    from curvometer.difficulty.words import percent  # noqa: PLC0415

    words = ["grade", record]
    yield f"\nHow difficult it is, by each set of criteria:\n  curvometer {' '.join(words)}\n"
    for each in grade.graded(parse(words))[0].grades:
        chance = "" if each.grade is None else f" ({percent(each.probabilities[each.grade])})"
        yield f"  {each.criteria.title:<38}{each.grade or each.words}{chance}"


def _plan(record: str) -> Iterator[str]:
    """Advice, and the steps of the first plan in one line each."""
    from curvometer.cli import plan  # noqa: PLC0415
    from curvometer.sequence import PLANNING_CAUTIONS  # noqa: PLC0415

    words = ["plan", record, *FOUND]
    told = plan.planned(parse(words))
    yield f"\nWhich instruments may follow the bend:\n  curvometer {' '.join(words)}\n"
    for text in (INVENTED, *told.assumed, f"Advice: {told.answer.advice}. {' '.join(told.answer.reasons)}"):
        yield from textwrap.wrap(text, _WIDTH, initial_indent="  ", subsequent_indent="    ")
    for first in told.answer.plans[:1]:
        yield from (f"  {number:>2}  {_step(step)}" for number, step in enumerate(first.steps, start=1))
        yield f"  Ends with {first.ends_with}. Checks and fallbacks stand in the full plan."
    yield ""
    yield from textwrap.wrap(" ".join(PLANNING_CAUTIONS), _WIDTH)


def _step(step: SequenceStep) -> str:
    speed = "by hand" if step.speed_rpm is None else f"{step.speed_rpm:.0f} rpm"
    share = (
        "" if step.budget_share is None else f"   {100 * step.budget_share.value:.0f} % of its design life"
    )
    return f"{step.instrument.name:<14} to {step.to_mm:4.1f} mm  {speed:>8}{share}"


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
