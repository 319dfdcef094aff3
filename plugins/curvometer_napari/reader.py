"""Radiographs as napari layers. A file that is none is told in one sentence, in the panel and beside the image."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from os import PathLike, fspath
from pathlib import Path
from typing import Any

import numpy as np
from psygnal import Signal

from curvometer import CurvometerError, Radiograph, load_radiograph

LayerData = tuple[Any, ...]
Paths = str | PathLike[str] | Sequence[str | PathLike[str]]

NOTHING_TO_ADD: list[LayerData] = [(None,)]
"""npe2's word for: dealt with, no layer. An exception instead would end in a dialog that asks for another reader."""

HAND_OUT = ".handout.zip"
PANEL_FIRST = "open the panel first (Layers > Measure > Root-canal curvature), then open the exercise again."

log = logging.getLogger("curvometer_napari")


class Refusals:
    """Whoever opens files tells here why one was refused, or that it is an exercise; a panel listens."""

    told = Signal(str)
    exercise_found = Signal(str)


refusals = Refusals()


def get_reader(path: Paths) -> Callable[[Paths], list[LayerData]] | None:
    """Give napari the function that reads these files; None when there is a folder among them."""
    paths = _listed(path)
    return read_radiographs if paths and not any(Path(one).is_dir() for one in paths) else None


def read_radiographs(path: Paths) -> list[LayerData]:
    """Read radiographs, one image layer each; a file that is none leaves its sentence and the others are read.

    An exercise is passed on to the panel.

    Returns
    -------
    list of (pixels, layer options, "image")
        The options' metadata hold the `Radiograph` and the path under ``"curvometer"``.
    """
    exercises = [one for one in _listed(path) if one.lower().endswith(HAND_OUT)]
    if exercises:
        _pass_on(exercises[0])
        return NOTHING_TO_ADD
    layers = [layer for one in _listed(path) if (layer := _layer(one)) is not None]
    return layers or NOTHING_TO_ADD


def image_layer(radiograph: Radiograph, *, name: str, source: str) -> LayerData:
    """Put a radiograph into the form that napari adds as a layer."""
    options = {
        "name": name,
        "colormap": "gray",
        "contrast_limits": _grey_range(radiograph),
        "metadata": {"curvometer": {"radiograph": radiograph, "source": source}},
    }
    return (radiograph.pixels, options, "image")


def _layer(path: str) -> LayerData | None:
    try:
        radiograph = load_radiograph(path)
    except CurvometerError as error:
        _refuse(str(error))
        return None
    return image_layer(radiograph, name=Path(path).stem, source=path)


def _pass_on(path: str) -> None:
    """Let the panel open an exercise: it is more than its images."""
    if len(refusals.exercise_found):
        refusals.exercise_found.emit(path)
    else:
        _refuse(f"{Path(path).name} is an exercise: {PANEL_FIRST}")


def _refuse(sentence: str) -> None:
    from napari.utils.notifications import show_error  # noqa: PLC0415 - only when something is wrong

    log.warning("refused: %s", sentence)
    refusals.told.emit(sentence)
    # A plain notification: one made from an exception would offer its traceback.
    show_error(sentence)


def _grey_range(radiograph: Radiograph) -> tuple[float, float]:
    """Grey values shown as black and white. Given here, or napari would search all pixels for them."""
    if radiograph.window is not None:
        black, white = radiograph.window.black, radiograph.window.white
    else:
        black, white = np.percentile(radiograph.pixels[::8, ::8].astype(float), (0.5, 99.5))
    return float(black), float(max(white, black + 1.0))


def _listed(path: Paths) -> list[str]:
    return [fspath(path)] if isinstance(path, str | PathLike) else [fspath(one) for one in path]
