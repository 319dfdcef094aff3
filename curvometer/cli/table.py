"""The printed result: a row per measure with its interval and meaning, the bends, the scale, the doubts."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterator

from curvometer.calibration import Calibration
from curvometer.centreline import Centreline, TracedBy
from curvometer.measurement import (
    MEASURING_CAUTION,
    QUANTITY_DEFINITIONS,
    Bend,
    CanalMeasurement,
    Quantity,
    Severity,
    definition_readings,
    flags_on,
    form_words,
    sorted_flags,
)
from curvometer.radiograph import Radiograph

LABELS = (
    {name: row.label for name, row in QUANTITY_DEFINITIONS.items()}
    | {
        "minimum_radius_from_foramen": "  from foramen"  # in the table it stands below the radius that it belongs to
    }
)

_MARKS = {Severity.NOTE: "note", Severity.CAUTION: "CAUTION", Severity.DO_NOT_TRUST: "DO NOT TRUST"}
_NARROWEST, _WIDEST = 72, 110
_MEANING_COLUMN = 58


def measurement_text(
    measurement: CanalMeasurement,
    calibration: Calibration,
    centreline: Centreline,
    radiograph: Radiograph | None,
    *,
    source: str,
) -> str:
    """Tell a whole measurement in words and numbers that a clinician can read.

    Parameters
    ----------
    measurement, calibration, centreline, radiograph
        What was measured on what; no image when only points were given.
    source
        The name of the image or trace, as the user gave it.

    Returns
    -------
    str
        Several lines, no line break at the end.
    """
    width = min(max(shutil.get_terminal_size((100, 24)).columns, _NARROWEST), _WIDEST)
    lines = [
        f"Root canal curvature: {source}",
        "",
        *_warning(measurement),
        *_heading(measurement, calibration, centreline, radiograph, width),
        "",
        *_quantities(measurement, width),
        "",
        *_bends(measurement.bends),
        "",
        *_doubts(measurement, calibration, width),
        "",
        *_readings(measurement, width),
        *textwrap.wrap(MEASURING_CAUTION, width),
    ]
    return "\n".join(line.rstrip() for line in lines)


def _warning(measurement: CanalMeasurement) -> Iterator[str]:
    """Say at the top, where the eye starts, that the numbers below are worth nothing."""
    codes = [flag.code for flag in measurement.flags if flag.severity is Severity.DO_NOT_TRUST]
    if codes:
        yield f"DO NOT TRUST this result: {', '.join(codes)}, explained below."
        yield ""


def _heading(
    measurement: CanalMeasurement,
    calibration: Calibration,
    centreline: Centreline,
    radiograph: Radiograph | None,
    width: int,
) -> Iterator[str]:
    yield from _entry("Canal", f"form {form_words(measurement, before_shape='fitted shape: ')}", width)
    yield from _entry("Tracing", _tracing(centreline), width)
    yield from _entry("Scale", _scale(calibration), width)
    if radiograph is not None:
        rows, columns = radiograph.shape
        yield from _entry("Image", f"{radiograph.file_format}, {columns} x {rows} pixels", width)


def _tracing(centreline: Centreline) -> str:
    points = f"{centreline.structure.value}, {centreline.traced_by.value}, {len(centreline.points_rc)} points"
    if centreline.traced_by is TracedBy.POINTS or centreline.position_sd_px is None:
        return points
    typical, worst = (
        sorted(centreline.position_sd_px)[len(centreline.points_rc) // 2],
        max(centreline.position_sd_px),
    )
    return f"{points}; error across the line {typical:.2f} px, at worst {worst:.2f} px"


def _scale(calibration: Calibration) -> str:
    scale, uncertainty = calibration.mm_per_pixel, calibration.standard_uncertainty
    if scale is None or uncertainty is None:
        stated = "" if calibration.spacing_rc_mm is None else f" ({calibration.origin.value} is not enough)"
        return f"none in the plane of the tooth{stated}: angles only; see --known-length"
    percent = f"{calibration.relative_standard_uncertainty:.1%}".replace("%", " %")
    spread = f"standard uncertainty {uncertainty:.5f} ({percent})"
    return f"{scale:.5f} mm per pixel, {spread}; {calibration.origin.value}"


def _entry(name: str, text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, initial_indent=f"{name:<9}", subsequent_indent=" " * 9)


def _quantities(measurement: CanalMeasurement, width: int) -> Iterator[str]:
    yield f"{'Measure':<26}{'Value':>12}   {'95 % interval':<17}What it means"
    yield "-" * width
    for name, quantity in measurement.quantities.items():
        yield from _row(name, quantity, measurement, width)


def _row(name: str, quantity: Quantity | None, measurement: CanalMeasurement, width: int) -> list[str]:
    meaning = measurement.meanings.get(name, "")
    if quantity is None:
        start, meaning = f"{LABELS[name]:<26}{'-':>12}   {'':<17}", _reason(name, measurement)
    else:
        value, interval = _numbers(quantity)
        start = f"{LABELS[name]:<26}{value:>12}   {interval:<17}"
    folded = textwrap.wrap(meaning, max(width - _MEANING_COLUMN, 14)) or [""]
    return [start + folded[0], *(" " * _MEANING_COLUMN + line for line in folded[1:])]


def _numbers(quantity: Quantity) -> tuple[str, str]:
    digits = 1 if quantity.unit == "deg" else 2
    value = f"{quantity.value:.{digits}f} {quantity.unit}"
    return value, f"{quantity.lower:.{digits}f} to {quantity.upper:.{digits}f}"


def _reason(name: str, measurement: CanalMeasurement) -> str:
    """Name the flag that says why a measure is absent; one that names it goes before a general one."""
    flags = flags_on(name, measurement)
    return f"not given: see {flags[0].code} below" if flags else "not given"


def _bends(bends: tuple[Bend, ...]) -> Iterator[str]:
    if not bends:
        yield "Bends: none found"
        return
    yield f"Bends, from the orifice to the foramen: {len(bends)}"
    for number, bend in enumerate(bends, 1):
        yield f"  {number}. to the {bend.direction} of the path, {bend.angle}"
        yield f"     radius {_or_absent(bend.radius)}; Schneider angle {bend.schneider_angle}"
        start, end = (_from_foramen(place) for place in (bend.start_from_foramen, bend.end_from_foramen))
        yield f"     starts {start}, ends {end}"


def _or_absent(quantity: Quantity | None) -> str:
    return "not given" if quantity is None else str(quantity)


def _from_foramen(quantity: Quantity | None) -> str:
    return "at an unknown distance" if quantity is None else f"{quantity} from the foramen"


def _readings(measurement: CanalMeasurement, width: int) -> Iterator[str]:
    """Name the reading of every definition that the literature reads in more than one way."""
    readings = definition_readings(measurement)
    if not readings:
        return
    yield "How the definitions are read"
    for name, reading in readings.items():
        yield from textwrap.wrap(
            reading, width, initial_indent=f"  {LABELS[name]:<24}", subsequent_indent=" " * 26
        )
    yield ""


def _doubts(measurement: CanalMeasurement, calibration: Calibration, width: int) -> Iterator[str]:
    flags = sorted_flags(measurement)
    if not flags and not calibration.notes:
        yield "Flags: none"
        return
    yield "Flags and notes"
    for flag in flags:
        text = f"{_MARKS[flag.severity]} {flag.code}: {flag.text}"
        yield from textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="      ")
    for note in calibration.notes:
        yield from textwrap.wrap(f"scale: {note}", width, initial_indent="  ", subsequent_indent="      ")
