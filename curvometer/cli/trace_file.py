"""Reading a tracing made elsewhere: ``{"points_xy": [[x, y], ...], "mm_per_pixel": 0.02}``.

Read by hand instead of by the record's models, because this path must not wait for pydantic.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

import numpy as np

from curvometer.centreline import Centreline, Structure, TracedBy
from curvometer.radiograph import CurvometerError
from curvometer.record.plain import points_from_plain

KEYS = (
    "points_xy",
    "mm_per_pixel",
    "mm_per_pixel_relative_sd",
    "aspect_ratio",
    "position_sd_px",
    "correlation_px",
    "width_px",
    "click_sd_px",
    "structure",
)
LARGEST_BYTES = 64 * 2**20
FURTHEST_PX = 1e6


class TraceFileError(CurvometerError):
    """A trace file cannot be read or is wrong."""


class TraceFile(NamedTuple):
    """A tracing made elsewhere, with the scale that came with it.

    Attributes
    ----------
    centreline
        The points and what is known about them.
    mm_per_pixel, relative_sd
        The scale and its relative standard uncertainty; None and 0.0 without one.
    aspect_ratio
        Row spacing / column spacing of the pixels; None when the file says nothing.
    """

    centreline: Centreline
    mm_per_pixel: float | None
    relative_sd: float
    aspect_ratio: float | None


def read_trace(path: str) -> TraceFile:
    """Read and check a trace file.

    Parameters
    ----------
    path
        A JSON file. `position_sd_px` may be one number for all points or a list; `click_sd_px` one number or
        [orifice, foramen].

    Raises
    ------
    TraceFileError
        When it cannot be read, has unknown keys, NaN, wrong types or fewer than two points.
    """
    document = _document(path)
    points = _points(document.get("points_xy"))
    scale = _optional_number(document, "mm_per_pixel", above=0.0, below=10.0)
    relative_sd = _optional_number(document, "mm_per_pixel_relative_sd", below=1.0)
    if relative_sd is not None and scale is None:
        raise TraceFileError("the trace gives mm_per_pixel_relative_sd but no mm_per_pixel: give both")
    return TraceFile(
        centreline=Centreline(
            points_rc=points_from_plain(points),
            position_sd_px=_per_point(document, "position_sd_px", len(points)),
            correlation_px=_optional_number(document, "correlation_px") or 0.0,
            width_px=_per_point(document, "width_px", len(points)),
            click_sd_px=_click_sd(document),
            structure=_structure(document),
            traced_by=TracedBy.POINTS,
        ),
        mm_per_pixel=scale,
        relative_sd=relative_sd or 0.0,
        aspect_ratio=_optional_number(document, "aspect_ratio", above=0.01, below=100.0),
    )


def _document(path: str) -> dict[str, Any]:
    try:
        document = json.loads(
            _text(path), parse_constant=_refuse_constant, object_pairs_hook=_without_repeats
        )
    except (ValueError, RecursionError) as error:
        if isinstance(error, TraceFileError):
            raise
        raise TraceFileError(
            f"the trace {path} is not valid JSON: {error}; correct or export it again"
        ) from error
    if not isinstance(document, dict) or "points_xy" not in document:
        raise TraceFileError(
            f'the trace {path} has no "points_xy": give an object like {{"points_xy": [[x, y], [x, y], ...]}}'
        )
    unknown = sorted(set(document) - set(KEYS))
    if unknown:
        raise TraceFileError(
            f"the trace {path} has the unknown key {unknown[0]!r}: remove it; known are {', '.join(KEYS)}"
        )
    return document


def _text(path: str) -> str:
    try:
        with Path(path).open("rb") as stream:
            content = stream.read(LARGEST_BYTES + 1)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise TraceFileError(f"the trace {path} cannot be read ({reason}): check its name") from error
    if len(content) > LARGEST_BYTES:
        raise TraceFileError(
            f"the trace {path} is larger than any tracing (64 MiB): give the points of one canal"
        )
    return content.decode("utf-8-sig")


def _points(value: object) -> list[list[float]]:
    if not isinstance(value, list) or not all(isinstance(point, list) and len(point) == 2 for point in value):
        raise TraceFileError(
            '"points_xy" must be a list of [x, y] pairs: write it like [[10.0, 20.5], [11, 24]]'
        )
    points = [
        [
            _number(coordinate, f"points_xy[{i}]", at_least=-FURTHEST_PX, below=FURTHEST_PX)
            for coordinate in point
        ]
        for i, point in enumerate(value)
    ]
    if len(points) < 2:
        raise TraceFileError(
            f'"points_xy" has {len(points)} point(s); a canal needs at least two, orifice first, foramen last'
        )
    return points


def _per_point(
    document: dict[str, Any], key: str, count: int
) -> np.ndarray[Any, np.dtype[np.float64]] | None:
    value = document.get(key)
    if value is None:
        return None
    if not isinstance(value, list):
        return np.full(count, _number(value, key))
    if len(value) != count:
        raise TraceFileError(f'"{key}" has {len(value)} values for {count} points: give one per point')
    return np.array([_number(entry, f"{key}[{i}]") for i, entry in enumerate(value)])


def _click_sd(document: dict[str, Any]) -> tuple[float, float]:
    value = document.get("click_sd_px", 0.0)
    orifice_foramen = value if isinstance(value, list) else [value, value]
    if len(orifice_foramen) != 2:
        raise TraceFileError('"click_sd_px" must be one number or [orifice, foramen]: correct it')
    orifice, foramen = (_number(entry, "click_sd_px") for entry in orifice_foramen)
    return (orifice, foramen)


def _structure(document: dict[str, Any]) -> Structure:
    value = document.get("structure", Structure.CANAL.value)
    known = [structure.value for structure in Structure]
    if value not in known:
        raise TraceFileError(f'"structure" is {value!r}; it must be {" or ".join(known)}')
    return Structure(value)


def _optional_number(
    document: dict[str, Any], key: str, *, above: float | None = None, below: float = 1e12
) -> float | None:
    if document.get(key) is None:
        return None
    return _number(document[key], key, above=above, below=below)


def _number(
    value: object, name: str, *, at_least: float = 0.0, above: float | None = None, below: float = 1e12
) -> float:
    """Check one finite number; True is no number here, whatever Python thinks."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TraceFileError(f'"{name}" is {json.dumps(value)[:40]}, which is not a number: correct it')
    if not at_least <= value < below:
        raise TraceFileError(f'"{name}" is {value!s:.40}, which is impossible here: correct it')
    if above is not None and value <= above:
        raise TraceFileError(f'"{name}" is {value!s:.40}; it must be above {above:g}')
    return float(value)


def _refuse_constant(name: str) -> NoReturn:
    raise TraceFileError(f"the trace holds {name}, which is not a number: correct or remove that point")


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Refuse a key that stands twice: which one was meant is a guess."""
    document = dict(pairs)
    if len(document) < len(pairs):
        raise TraceFileError("a key stands twice in the trace: remove one of them")
    return document
