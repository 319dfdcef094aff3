"""A canal's result as aligned text and as CSV, for a letter, a spreadsheet or a statistics program.

Neither holds the file's name, which may tell whose radiograph it is; the image is named by its hash.
"""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Iterator, Sequence

from curvometer import (
    MEASURING_CAUTION,
    QUANTITY_DEFINITIONS,
    Bend,
    Calibration,
    CanalMeasurement,
    Quantity,
    Severity,
    definition_readings,
    flags_on,
    form_words,
    sorted_flags,
)
from curvometer_napari.case import PointRC
from curvometer_napari.naming import WAYS
from curvometer_napari.solving import Result
from curvometer_napari.steps import scale_words

COLUMNS = ("canal", "quantity", "label", "value", "lower", "upper", "unit", "flags", "reading")
COVERAGE_95 = 1.96
"""Standard uncertainties to a 95 % interval of a normal distribution."""
_WIDTH = 92

Row = tuple[str, ...]


def numbers(quantity: Quantity) -> tuple[str, str]:
    """Value with its unit and 95 % interval, rounded for reading."""
    digits = 1 if quantity.unit == "deg" else 2
    gap = "" if quantity.unit == "deg" else " "
    unit = "°" if quantity.unit == "deg" else quantity.unit.replace("deg", "°")
    value = f"{quantity.value:.{digits}f}{gap}{unit}"
    return value, f"{quantity.lower:.{digits}f} to {quantity.upper:.{digits}f}"


def canal_title(result: Result) -> str:
    """The canal's code with its meaning."""
    name = result.tracing.name
    return f"{name}, {WAYS[name]}" if name != WAYS[name].split()[0] else WAYS[name]


def result_text(result: Result, *, image_sha256: str = "") -> str:
    """Tell one canal's result in aligned lines.

    Parameters
    ----------
    result
        A result with a measurement; without one its problem is told.
    image_sha256
        Hash of the image file; its first digits name the image.

    Returns
    -------
    str
        Lines of at most 92 characters where words allow, ending in a line break.
    """
    lines = [f"Root canal curvature: {canal_title(result)}", *_image_line(image_sha256)]
    lines += _entry("Scale", f"{scale_words(result.calibration)}; {result.calibration.origin.value}")
    measurement = result.measurement
    if measurement is None:
        return "\n".join([*lines, result.problem or "Nothing was measured.", MEASURING_CAUTION]) + "\n"
    lines += _entry("Form", form_words(measurement))
    lines += ["", *_table(measurement), "", *_bend_lines(measurement.bends), *_flag_lines(measurement)]
    lines += [*_reading_lines(measurement), *textwrap.wrap(MEASURING_CAUTION, _WIDTH)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def results_csv(results: Sequence[Result], *, image_sha256: str = "") -> str:
    """Write canals as one rectangular table: a row per quantity, then bends, landmarks, scale and cautions.

    Parameters
    ----------
    results
        Those without a measurement give no rows.
    image_sha256
        Hash of the image file.

    Returns
    -------
    str
        CSV with the columns of `COLUMNS`; positions are x, y = column, row, in pixels.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    for result in results:
        if result.measurement is not None:
            writer.writerows(_csv_rows(result, result.measurement, image_sha256))
    return stream.getvalue()


def _image_line(image_sha256: str) -> list[str]:
    return _entry("Image", f"SHA-256 {image_sha256[:16]}") if image_sha256 else []


def _entry(name: str, text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent=f"{name:<7}", subsequent_indent=" " * 7)


def _table(measurement: CanalMeasurement) -> Iterator[str]:
    yield f"{'Measure':<24}{'Value':>12}   {'95 % interval':<18}Flags"
    yield "-" * _WIDTH
    for name, quantity in measurement.quantities.items():
        flags = flags_on(name, measurement)
        marks = ", ".join(flag.code for flag in flags if flag.severity is not Severity.NOTE)
        if quantity is None:
            value, interval, marks = "-", "not given", flags[0].code if flags else ""
        else:
            value, interval = numbers(quantity)
        yield f"{QUANTITY_DEFINITIONS[name].label:<24}{value:>12}   {interval:<18}{marks}"


def bend_words(number: int, bend: Bend) -> str:
    """Tell one bend in a sentence."""
    angle, spread = numbers(bend.angle)
    words = f"{number}. To the {bend.direction}, {angle} ({spread})"
    if bend.radius is not None:
        radius, spread = numbers(bend.radius)
        words += f", radius {radius} ({spread})"
    if bend.start_from_foramen is None or bend.end_from_foramen is None:
        return f"{words}."
    start, end = bend.start_from_foramen.value, bend.end_from_foramen.value
    return f"{words}, from {start:.1f} to {end:.1f} mm before the foramen."


def _bend_lines(bends: tuple[Bend, ...]) -> Iterator[str]:
    yield "Bends, from the orifice to the foramen" if bends else "Bends: none found"
    for number, bend in enumerate(bends, 1):
        yield from textwrap.wrap(
            bend_words(number, bend), _WIDTH, initial_indent="  ", subsequent_indent="     "
        )
    yield ""


def _flag_lines(measurement: CanalMeasurement) -> Iterator[str]:
    if not measurement.flags:
        yield "Flags: none"
    for flag in sorted_flags(measurement):
        yield from textwrap.wrap(
            f"{flag.severity.value.upper()} {flag.code}: {flag.text}", _WIDTH, subsequent_indent="    "
        )
    yield ""


def _reading_lines(measurement: CanalMeasurement) -> Iterator[str]:
    readings = definition_readings(measurement)
    if readings:
        yield "How the definitions are read"
    for name, reading in readings.items():
        label = QUANTITY_DEFINITIONS[name].label
        yield from textwrap.wrap(reading, _WIDTH, initial_indent=f"  {label:<24}", subsequent_indent=" " * 26)
    if readings:
        yield ""


def _csv_rows(result: Result, measurement: CanalMeasurement, image_sha256: str) -> Iterator[Row]:
    canal = str(result.tracing.name)
    for name, quantity in measurement.quantities.items():
        codes = "; ".join(flag.code for flag in flags_on(name, measurement))
        yield (canal, name, QUANTITY_DEFINITIONS[name].label, *_cells(quantity), codes, _reading(quantity))
    for number, bend in enumerate(measurement.bends, 1):
        yield from _bend_rows(canal, number, bend)
    yield _word_row(canal, "canal_form", "Canal form", measurement.canal_form)
    yield _word_row(canal, "schneider_class", "Schneider class", measurement.schneider_class)
    yield _word_row(canal, "shape", "Fitted shape", measurement.shape)
    yield _word_row(canal, "structure", "Traced structure", result.tracing.structure.value)
    yield from _landmark_rows(canal, "orifice", result.tracing.anchors_rc[0])
    yield from _landmark_rows(canal, "foramen", result.tracing.anchors_rc[-1])
    yield _scale_row(canal, result.calibration)
    if image_sha256:
        yield _word_row(canal, "image_sha256", "Image, SHA-256", image_sha256)
    for flag in sorted_flags(measurement):
        yield _word_row(canal, "flag", flag.severity.value, flag.code, reading=flag.text)
    yield _word_row(canal, "caution", "Caution", "", reading=MEASURING_CAUTION)


def _bend_rows(canal: str, number: int, bend: Bend) -> Iterator[Row]:
    parts = {
        "angle": bend.angle,
        "radius": bend.radius,
        "schneider_angle": bend.schneider_angle,
        "start_from_foramen": bend.start_from_foramen,
        "end_from_foramen": bend.end_from_foramen,
    }
    for part, quantity in parts.items():
        label = f"Bend {number}, {part.replace('_', ' ')}"
        yield (canal, f"bend_{number}_{part}", label, *_cells(quantity), "", _reading(quantity))
    yield _word_row(canal, f"bend_{number}_direction", f"Bend {number}, direction", bend.direction)


def _landmark_rows(canal: str, name: str, point_rc: PointRC) -> Iterator[Row]:
    """Give a click as x, y, the order that people and other programs see."""
    for axis, value in (("x", point_rc[1]), ("y", point_rc[0])):
        label = f"Clicked {name}, {axis}"
        yield (canal, f"{name}_{axis}", label, f"{value:.3f}", "", "", "px", "", "")


def _scale_row(canal: str, calibration: Calibration) -> Row:
    scale, uncertainty = calibration.mm_per_pixel, calibration.standard_uncertainty
    cells = ("", "", "", "mm/px")
    if scale is not None and uncertainty is not None:
        spread = COVERAGE_95 * uncertainty
        cells = (f"{scale:.7f}", f"{scale - spread:.7f}", f"{scale + spread:.7f}", "mm/px")
    codes = "; ".join(calibration.flags)
    return (canal, "mm_per_pixel", "Scale", *cells, codes, calibration.origin.value)


def _word_row(canal: str, name: str, label: str, value: str, *, reading: str = "") -> Row:
    return (canal, name, label, value, "", "", "", "", reading)


def _cells(quantity: Quantity | None) -> Row:
    if quantity is None:
        return ("", "", "", "")
    return (*(f"{x:.6g}" for x in (quantity.value, quantity.lower, quantity.upper)), quantity.unit)


def _reading(quantity: Quantity | None) -> str:
    return "" if quantity is None else quantity.reading
