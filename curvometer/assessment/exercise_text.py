"""Writing an ``exercise.toml`` for a teacher, who may then change it by hand."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.exercise_file import FILE_NAME, ImageRow, check_exercise_text
from curvometer.assessment.films import FilmOrder
from curvometer.assessment.making import read_reference
from curvometer.assessment.pictures import plain_png
from curvometer.loading import load_radiograph
from curvometer.record import CanalName
from curvometer.saving import save_bytes

_HEAD = """\
# An exercise. Change what you like, then run: curvometer exercise build {folder}
name = {name}
title = {title}
purpose = {purpose}   # "marked", or "practice": the hand-out then holds the answers
criteria = {criteria}
# order = "as-written"   # "shuffled" where it is marked, when left out
# rubric = "rubric.toml" # the default rubric when left out
"""

_PHANTOM_NOTE = """
# Simulated films are made anew at each build. film: 1 (easy to read) to 8 (hard).
# A film to be rejected: add fault = "apex-cut-off" ("flat", "blurred", "noisy") to its phantom.
"""
_FILM_FOLDER, _REFERENCE_FOLDER = "films", "references"


def begin_exercise(
    folder: str | Path,
    *,
    name: str,
    title: str,
    purpose: str,
    criteria: str,
    films: Sequence[FilmOrder] = (),
) -> Path:
    """Make a folder with an ``exercise.toml``.

    Parameters
    ----------
    folder
        New, or without such a file.
    name, title, purpose, criteria
        As `ExerciseFile` has them.
    films
        To simulate; none: the teacher adds images.

    Returns
    -------
    Path
        Of the file.

    Raises
    ------
    AssessmentError
        When a value cannot be.
    SavingError
        When the file exists or cannot be written.
    """
    folder = Path(folder)
    words = {"name": name, "title": title, "purpose": purpose, "criteria": criteria}
    text = _HEAD.format(folder=folder.name, **{key: _written(value) for key, value in words.items()})
    if films:
        text += _PHANTOM_NOTE
    for film in films:
        text += _block({"phantom": film.model_dump(mode="json", exclude_none=True)})
    path = folder / FILE_NAME
    # Without images a file is not whole yet; the rest of it is checked with one that stands for them.
    check_exercise_text(text if films else text + _block({"phantom": {"angle_deg": 0.0}}), path)
    folder.mkdir(parents=True, exist_ok=True)
    save_bytes(text.encode(), path)
    return path


def add_image(
    folder: str | Path,
    image: str | Path,
    *,
    references: Mapping[str, Path],
    tooth: int,
    canal: str,
    inverted: bool = False,
    known_length: tuple[str, float] | None = None,
    mm_per_pixel: float | None = None,
    faults: Sequence[str] = (),
) -> Path:
    """Copy an image and its references into an exercise, and write them into its ``exercise.toml``.

    Parameters
    ----------
    folder
        Of the exercise.
    image
        The film.
    references
        Records by the experts' names.
    tooth, canal, inverted, mm_per_pixel
        As `ImageRow` has them.
    known_length
        What lies in the image, and its length in mm.
    faults
        Why the image is to be rejected; empty for a usable one.

    Returns
    -------
    Path
        Of the changed file.

    Raises
    ------
    AssessmentError
        When the image, a reference or a value cannot be used; nothing is written then.
    """
    folder, image = Path(folder), Path(image)
    path = folder / FILE_NAME
    try:
        before = path.read_text(encoding="utf-8-sig")
    except (OSError, ValueError) as error:
        raise AssessmentError(f"{folder} is no exercise: begin one with 'curvometer exercise new'") from error
    radiograph = load_radiograph(image, inverted=inverted)
    plain_png(radiograph)  # refused here rather than when the exercise is built
    for expert, record in references.items():
        read_reference(
            expert, record, canal=CanalName(canal), image_hashes={radiograph.sha256}, shape=radiograph.shape
        )
    copies = {f"{_FILM_FOLDER}/{image.name}": image.read_bytes()}
    named = {expert: f"{_REFERENCE_FOLDER}/{image.stem}_{expert}.json" for expert in references}
    copies |= {named[expert]: record.read_bytes() for expert, record in references.items()}
    row: dict[str, Any] = {"file": f"{_FILM_FOLDER}/{image.name}", "tooth": tooth, "canal": canal}
    row |= {"references": named} if named else {}
    row |= {"inverted": True} if inverted else {}
    row |= {"known_length": {"what": known_length[0], "length_mm": known_length[1]}} if known_length else {}
    row |= {"mm_per_pixel": mm_per_pixel} if mm_per_pixel else {}
    row |= {"acceptable": False, "reasons": list(faults)} if faults else {}
    text = before.rstrip("\n") + "\n" + _block(row)
    check_exercise_text(text, path)
    for name, content in copies.items():
        (folder / name).parent.mkdir(exist_ok=True)
        save_bytes(content, folder / name)
    save_bytes(text.encode(), path, overwrite=True)
    return path


def _block(row: Mapping[str, Any]) -> str:
    unknown = set(row) - set(ImageRow.model_fields)
    assert not unknown
    return "\n[[images]]\n" + "".join(f"{key} = {_written(value)}\n" for key, value in row.items())


def _written(value: Any) -> str:
    """Write a value as TOML; a JSON string is one, too."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_written(each)}" for key, each in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_written(each) for each in value) + "]"
    return json.dumps(value)
