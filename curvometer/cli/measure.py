"""``curvometer measure``: one canal, on an image or as points, to numbers, a picture and a record."""

from __future__ import annotations

import json
from argparse import Namespace
from pathlib import Path
from typing import NamedTuple

from curvometer.calibration import Calibration, calibrate_from_mm_per_pixel
from curvometer.centreline import Centreline
from curvometer.cli.arguments import UsageError
from curvometer.cli.table import measurement_text
from curvometer.cli.trace_file import TraceFile, TraceFileError, read_trace
from curvometer.measurement import CanalMeasurement, Severity
from curvometer.radiograph import CurvometerError, Radiograph
from curvometer.saving import check_outputs

CLICK_SD_PX = 3.0
LENGTH_TOLERANCE_MM = 0.5


class MeasuredCase(NamedTuple):
    """What one call measured: the image (None with points only), its scale, the tracing and the measures."""

    radiograph: Radiograph | None
    calibration: Calibration
    centreline: Centreline
    measurement: CanalMeasurement


def run(arguments: Namespace) -> int:
    """Measure, write what was asked for, print."""
    _check_usage(arguments)
    outputs = [Path(path) for path in (arguments.overlay, arguments.record) if path is not None]
    inputs = [Path(path) for path in (arguments.image, arguments.trace) if path is not None]
    check_outputs(outputs, inputs=inputs, overwrite=arguments.overwrite)
    case = _measured(arguments)
    # Files first: the reader of the text may go away (`| head`), the files must be there all the same.
    written = _write_files(case, arguments)
    print(_json_text(case) if arguments.json else _table_text(case, arguments, written))
    return exit_code(case.measurement)


def exit_code(measurement: CanalMeasurement) -> int:
    """Tell by the exit code whether the result may be trusted."""
    return 3 if any(flag.severity is Severity.DO_NOT_TRUST for flag in measurement.flags) else 0


def write_overlay(case: MeasuredCase, path: str, *, overwrite: bool) -> None:
    """Draw the measured canal on its image."""
    from curvometer.overlay import draw_overlay, write_png  # noqa: PLC0415

    assert case.radiograph is not None
    picture = draw_overlay(case.radiograph, case.centreline, case.measurement, case.calibration)
    write_png(picture, path, overwrite=overwrite)


def _check_usage(arguments: Namespace) -> None:
    """Refuse combinations that make no sense, before any file is touched."""
    if arguments.trace is None:
        _check_clicks(arguments)
    else:
        _check_trace_options(arguments)
    if len(arguments.known_length) != len(arguments.along):
        raise UsageError(
            f"--known-length stands {len(arguments.known_length)} time(s) and --along {len(arguments.along)}:"
            " give each object both, its length and the positions along it"
        )
    if arguments.known_length and arguments.mm_per_pixel is not None:
        raise UsageError("--known-length and --mm-per-pixel are two scales: give only one of them")
    if arguments.length_tolerance is not None and not arguments.known_length:
        raise UsageError("--length-tolerance belongs to --known-length: give that, or leave it out")
    if arguments.tooth is not None:
        _check_tooth(arguments)
    if arguments.overlay is not None and not arguments.overlay.lower().endswith(".png"):
        raise UsageError(f"the overlay is a PNG picture: let the name {arguments.overlay} end in .png")


def _check_tooth(arguments: Namespace) -> None:
    from curvometer.difficulty import check_tooth  # noqa: PLC0415

    check_tooth(arguments.tooth)
    if arguments.record is None:
        raise UsageError("--tooth is kept in a record: give --record OUT.json as well, or leave it out")


def _check_clicks(arguments: Namespace) -> None:
    if arguments.image is None:
        raise UsageError("nothing to measure: give an image, or points with --trace")
    for name in ("orifice", "foramen"):
        if getattr(arguments, name) is None:
            raise UsageError(
                f"--{name} is missing: give its position as X,Y in pixels, or points with --trace"
            )
    if arguments.orifice == arguments.foramen:
        raise UsageError("--orifice and --foramen are the same position: give both ends of the canal")


def _check_trace_options(arguments: Namespace) -> None:
    for name in ("orifice", "foramen", "via", "structure"):
        if getattr(arguments, name):
            raise UsageError(f"--{name} and --trace exclude each other: the trace already holds the canal")
    if arguments.overlay is not None and arguments.image is None:
        raise UsageError("--overlay needs the image to draw on: give IMAGE as well")
    if arguments.inverted and arguments.image is None:
        raise UsageError("--inverted belongs to an image: give IMAGE as well, or leave it out")


def _measured(arguments: Namespace) -> MeasuredCase:
    trace = None if arguments.trace is None else read_trace(arguments.trace)
    radiograph = None if arguments.image is None else _load(arguments)
    if radiograph is not None:
        _check_positions(arguments, trace, radiograph)
    calibration = _calibration(arguments, trace, radiograph)
    if trace is None:
        assert radiograph is not None
        centreline = _traced(arguments, radiograph, calibration)
    else:
        centreline = _with_click_sd(trace.centreline, arguments.click_sd)
    return MeasuredCase(
        radiograph=radiograph,
        calibration=calibration,
        centreline=centreline,
        measurement=_measurement(centreline, calibration),
    )


def _measurement(centreline: Centreline, calibration: Calibration) -> CanalMeasurement:
    from curvometer.measurement import measure_canal  # noqa: PLC0415

    return measure_canal(centreline, calibration)


def _load(arguments: Namespace) -> Radiograph:
    from curvometer.loading import load_radiograph  # noqa: PLC0415

    return load_radiograph(arguments.image, inverted=arguments.inverted)


def _check_positions(arguments: Namespace, trace: TraceFile | None, radiograph: Radiograph) -> None:
    """Refuse a position beside the image: it was read off another picture, or x and y are exchanged."""
    rows, columns = radiograph.shape
    clicks = {"--orifice": [arguments.orifice], "--foramen": [arguments.foramen], "--via": arguments.via}
    clicks["--along"] = [point_rc for path_rc in arguments.along for point_rc in path_rc]
    if trace is not None:
        clicks = {"--along": clicks["--along"], "the trace": trace.centreline.points_rc.tolist()}
    for name, points_rc in clicks.items():
        for row, col in points_rc:
            if not radiograph.contains((row, col)):
                raise CurvometerError(
                    f"{name} has the position {col:g},{row:g} outside the image of {columns} x {rows} pixels"
                    " (X,Y = column,row): correct it"
                )


def _calibration(arguments: Namespace, trace: TraceFile | None, radiograph: Radiograph | None) -> Calibration:
    """Take the scale that was given; else the trace's; else the image file's; else none."""
    own = Calibration() if radiograph is None else _stated_by_file(radiograph)
    aspect_ratio = own.aspect_ratio
    if trace is not None:
        aspect_ratio = _agreed_aspect_ratio(trace, own, from_image=radiograph is not None)
        if trace.mm_per_pixel is not None and (arguments.known_length or arguments.mm_per_pixel is not None):
            raise TraceFileError(
                "the trace has its own mm_per_pixel: leave the other scale out, or remove it there"
            )
    if arguments.known_length:
        return _known_length(arguments, aspect_ratio)
    if arguments.mm_per_pixel is not None:
        return calibrate_from_mm_per_pixel(arguments.mm_per_pixel, aspect_ratio=aspect_ratio)
    if trace is not None and trace.mm_per_pixel is not None:
        return calibrate_from_mm_per_pixel(
            trace.mm_per_pixel,
            relative_standard_uncertainty=trace.relative_sd,
            aspect_ratio=aspect_ratio,
        )
    return own if radiograph is not None else Calibration(aspect_ratio=aspect_ratio)


def _stated_by_file(radiograph: Radiograph) -> Calibration:
    from curvometer.calibration import calibrate_from_file  # noqa: PLC0415

    return calibrate_from_file(radiograph)


def _agreed_aspect_ratio(trace: TraceFile, own: Calibration, *, from_image: bool) -> float:
    if trace.aspect_ratio is None:
        return own.aspect_ratio
    if from_image and abs(trace.aspect_ratio - own.aspect_ratio) > 1e-3 * own.aspect_ratio:
        raise TraceFileError(
            f"the trace says aspect_ratio {trace.aspect_ratio:g} and the image {own.aspect_ratio:g}:"
            " correct the trace"
        )
    return trace.aspect_ratio


def _known_length(arguments: Namespace, aspect_ratio: float) -> Calibration:
    from curvometer.calibration import calibrate_from_known_length, combine_calibrations  # noqa: PLC0415

    tolerance = arguments.length_tolerance
    objects = [
        calibrate_from_known_length(
            path_rc,
            length_mm=length_mm,
            length_tolerance_mm=LENGTH_TOLERANCE_MM if tolerance is None else tolerance,
            aspect_ratio=aspect_ratio,
        )
        for length_mm, path_rc in zip(arguments.known_length, arguments.along, strict=True)
    ]
    return objects[0] if len(objects) == 1 else combine_calibrations(objects)


def _traced(arguments: Namespace, radiograph: Radiograph, calibration: Calibration) -> Centreline:
    from curvometer.tracing import trace_centreline  # noqa: PLC0415

    return trace_centreline(
        radiograph,
        [arguments.orifice, *arguments.via, arguments.foramen],
        structure=arguments.structure or "canal",
        calibration=calibration,
        click_sd_px=CLICK_SD_PX if arguments.click_sd is None else arguments.click_sd,
    )


def _with_click_sd(centreline: Centreline, click_sd_px: float | None) -> Centreline:
    from dataclasses import replace  # noqa: PLC0415

    if click_sd_px is None:
        return centreline
    return replace(centreline, click_sd_px=(click_sd_px, click_sd_px))


def _write_files(case: MeasuredCase, arguments: Namespace) -> list[str]:
    if arguments.overlay is not None:
        write_overlay(case, arguments.overlay, overwrite=arguments.overwrite)
    if arguments.record is not None:
        _write_record(case, arguments.record, tooth=arguments.tooth, overwrite=arguments.overwrite)
    return [path for path in (arguments.overlay, arguments.record) if path is not None]


def _write_record(case: MeasuredCase, path: str, *, tooth: int | None, overwrite: bool) -> None:
    from curvometer.record import canal_entry, new_record, save_record  # noqa: PLC0415

    record = new_record(
        radiograph=case.radiograph,
        calibration=case.calibration,
        canals=[canal_entry(case.centreline, case.measurement)],
        tooth=tooth,
    )
    save_record(record, path, overwrite=overwrite)


def _json_text(case: MeasuredCase) -> str:
    from curvometer.record.plain import measure_output  # noqa: PLC0415

    output = measure_output(case.radiograph, case.calibration, case.centreline, case.measurement)
    return json.dumps(output, allow_nan=False)


def _table_text(case: MeasuredCase, arguments: Namespace, written: list[str]) -> str:
    source = arguments.image or arguments.trace
    text = measurement_text(
        case.measurement, case.calibration, case.centreline, case.radiograph, source=source
    )
    return "\n".join([text, *(f"Written: {path}" for path in written)])
