"""How quick the program is, beside a yardstick of library calls on the same picture in the same run."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from skimage.filters import sato
from skimage.graph import route_through_array

from curvometer import LiveTracer, calibrate_from_mm_per_pixel, measure_canal, trace_centreline
from curvometer.geometry import distance_to_polyline
from curvometer.phantom import CanalShape, PhantomOptions, simulate_radiograph

SIGMAS_PX = (2, 3, 4, 6, 8)


def run_speed() -> tuple[str, list[tuple[str, float, bool]]]:
    """Markdown table, and the goals with what was found."""
    shape = CanalShape.straight_arc(straight_mm=8.0, radius_mm=8.0, angle_deg=35.0, tail_mm=1.5)
    options = PhantomOptions(image_shape=(1700, 1300), mm_per_pixel=0.024, second_canal=False)
    phantom = simulate_radiograph(shape, options)
    picture, truth = phantom.radiograph, phantom.truth
    calibration = calibrate_from_mm_per_pixel(truth.mm_per_pixel)
    clicks = [truth.orifice_rc, truth.foramen_rc]
    ours, trace = _timed(lambda: trace_centreline(picture, clicks, calibration=calibration), 15)
    theirs, path = _timed(lambda: _yardstick(picture.pixels, clicks), 3)
    prepare, tracer = _timed(lambda: LiveTracer(picture, calibration=calibration), 9)
    measuring, _ = _timed(lambda: measure_canal(trace, calibration), 15)
    live = _live(tracer, truth.centreline_rc)
    start = _start_up()
    off = [
        float(distance_to_polyline(p, truth.centreline_rc).mean() * truth.mm_per_pixel)
        for p in (trace.points_rc, path)
    ]
    peak = _peak_memory_mb()
    rows = [
        (
            "trace from two clicks to refined centreline",
            f"{ours:.1f} ms",
            f"mean distance to the truth {off[0]:.3f} mm",
        ),
        (
            "library calls: sato filter, route_through_array",
            f"{theirs:.0f} ms",
            f"mean distance {off[1]:.3f} mm",
        ),
        ("ratio", f"{theirs / ours:.0f}", "goal: at least 60"),
        ("live path, 95th percentile of mouse moves", f"{live:.1f} ms", "goal: 8 ms"),
        ("preparing the live tracer", f"{prepare:.1f} ms", "goal: 50 ms"),
        ("measuring with intervals", f"{measuring:.1f} ms", "goal: 30 ms"),
        ("peak memory, loading and tracing a 1300 x 1700 DICOM", f"{peak:.0f} MB", "goal: 400 MB"),
        ("`python -c 'import numpy'`", f"{start['numpy']:.0f} ms", ""),
        ("`curvometer --help`", f"{start['help']:.0f} ms", "goal: no slower than numpy"),
        ("`curvometer measure --trace`", f"{start['trace']:.0f} ms", "goal: at most twice numpy"),
    ]
    table = "| what | found | note |\n|---|---|---|\n" + "".join(f"| {a} | {b} | {c} |\n" for a, b, c in rows)
    found = [
        ("tracing at least 60 times the yardstick", theirs / ours, theirs / ours >= 60.0),
        ("tracing more accurate than the yardstick (mm)", off[0], off[0] < off[1]),
        ("live path within 8 ms", live, live <= 8.0),
        ("preparation below 50 ms", prepare, prepare < 50.0),
        ("measuring below 30 ms", measuring, measuring < 30.0),
        ("peak memory below 400 MB", peak, peak < 400.0),
        ("--help no slower than importing numpy (ms)", start["help"], start["help"] <= start["numpy"]),
        ("a saved trace within twice that (ms)", start["trace"], start["trace"] <= 2.0 * start["numpy"]),
    ]
    return table, found


def _timed(call: Callable[[], Any], repeats: int) -> tuple[float, Any]:
    """Median milliseconds after one call to warm up, and the result."""
    result = call()
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        result = call()
        times.append(time.perf_counter() - begin)
    return 1e3 * float(np.median(times)), result


def _yardstick(pixels: Any, clicks: list[Any]) -> Any:
    """The straightforward way with scikit-image, on the whole picture."""
    ridge = sato(pixels.astype(float), sigmas=SIGMAS_PX, black_ridges=True)
    cost = 0.08 + np.exp(-ridge / (0.35 * np.percentile(ridge, 99)))
    ends = [tuple(np.round(click).astype(int)) for click in clicks]
    return np.array(route_through_array(cost, ends[0], ends[1])[0], dtype=float)


def _live(tracer: LiveTracer, line: Any) -> float:
    rng = np.random.default_rng(5)
    tracer.anchor(line[0])
    times = []
    for pointer in np.repeat(line[20 :: max(1, len(line) // 60)], 3, axis=0):
        begin = time.perf_counter()
        tracer.path_to(pointer + rng.normal(0.0, 3.0, 2))
        times.append(time.perf_counter() - begin)
    return 1e3 * float(np.percentile(times, 95))


def _start_up() -> dict[str, float]:
    with tempfile.TemporaryDirectory() as folder:
        trace = Path(folder) / "trace.json"
        # Forty points by hand: straight, then an arc of 8 mm, each a fraction of a pixel off.
        off = np.random.default_rng(3).normal(0.0, 0.5, (40, 2))
        turn = np.maximum(np.linspace(0.0, 700.0, 40) - 350.0, 0.0) / 400.0
        down = np.minimum(np.linspace(0.0, 700.0, 40), 350.0) + 400.0 * np.sin(turn)
        points = np.round(
            np.column_stack([500.0 + 400.0 * (1.0 - np.cos(turn)), down]) + off + 20.0, 2
        ).tolist()
        trace.write_text(f'{{"points_xy": {points}, "mm_per_pixel": 0.02}}', encoding="utf-8")
        main = "from curvometer.cli import main; raise SystemExit(main({}))"
        return {
            "numpy": _best(["-c", "import numpy"]),
            "help": _best(["-c", main.format("['--help']")]),
            "trace": _best(["-c", main.format(f"['measure', '--trace', {str(trace)!r}]")]),
        }


def _best(arguments: list[str], repeats: int = 9) -> float:
    times = []
    # A normal installation keeps compiled files; a setting that forbids them would time the compiler.
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    for _ in range(repeats):
        begin = time.perf_counter()
        subprocess.run(
            [sys.executable, *arguments],
            check=False,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env=environment,
        )
        times.append(time.perf_counter() - begin)
    return 1e3 * min(times)


def _peak_memory_mb() -> float:
    """Peak memory of a fresh process that loads a sample film, traces and measures it."""
    sample = Path(__file__).parents[2] / "sample_images" / "lower_molar.dcm"
    code = (
        "import resource; from curvometer import *;"
        f"r = load_radiograph({str(sample)!r}); k = calibrate_from_file(r);"
        "c = trace_centreline(r, [(618.3, 694.9), (1190.5, 685.7)], calibration=k); measure_canal(c, k);"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    unit = 1024.0 * (1024.0 if sys.platform == "darwin" else 1.0)
    return float(done.stdout) / unit


if __name__ == "__main__":
    print(run_speed()[0], resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024, "MB in this process")
