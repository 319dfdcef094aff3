"""How well two clicks find a canal, and how well its bend is then known, on simulated radiographs.

Two renderers that share no code: `curvometer.phantom` (a tooth in space) and `plain_pictures` (drawn from distances).

What is simulated of the user: two clicks, on the true orifice and foramen, each wrong by 3 px SD in row and column. Where
that does not suffice (mean distance over 0.03 mm, or anywhere over 0.12 mm), one waypoint: the user looks at the drawn line,
sees where it is farthest from the canal, and clicks on the canal beside that place, wrong by 3 px SD again. At an end
the place is a bit inside: at least 0.5 mm from either click, because a click on top of another says nothing new.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any

import cv2
import numpy as np
from benchmarks.plain_pictures import draw_plain_picture, random_plain_case

from curvometer import calibrate_from_mm_per_pixel, measure_canal, trace_centreline
from curvometer.geometry import distance_to_polyline
from curvometer.phantom import random_case, simulate_radiograph

CLICK_SD_PX = 3.0
MEAN_LIMIT_MM, LARGEST_LIMIT_MM = 0.03, 0.12
LONGEST_ARC_MM = 14.0
WAYPOINT_FROM_CLICK_MM = 0.5
NOISE_LEVELS = ("low", "middle", "high")
STRUCTURES = ("canal", "canal", "instrument")
Row = dict[str, Any]


def run_accuracy(phantoms: int, plain: int, *, processes: int = 2) -> list[Row]:
    """Trace and measure every case; one row each."""
    jobs = [("phantom", i) for i in range(phantoms)] + [("plain", i) for i in range(plain)]
    # Fresh processes: one forked from a program whose libraries run threads can hang.
    context = get_context("spawn")
    with ProcessPoolExecutor(
        processes, mp_context=context, initializer=cv2.setNumThreads, initargs=(1,)
    ) as pool:
        return list(pool.map(_case, jobs, chunksize=4))


def _case(job: tuple[str, int]) -> Row:
    renderer, i = job
    noise, structure = NOISE_LEVELS[i % 3], STRUCTURES[(i // 3) % 3]
    row: Row = {"renderer": renderer, "noise": noise, "structure": structure, "overlap": False}
    radiograph, truth = (_phantom if renderer == "phantom" else _plain)(i, noise, structure, row)
    return row | _measured(radiograph, truth, structure, np.random.default_rng(1_000_000 + i))


def _bend(rng: np.random.Generator) -> tuple[float, float]:
    """Angle 5 to 75 degrees and radius 2 to 20 mm, each drawn evenly; arcs over 14 mm fit no root and are drawn again."""
    while True:
        angle, radius = rng.uniform(5.0, 75.0), rng.uniform(2.0, 20.0)
        if math.radians(angle) * radius <= LONGEST_ARC_MM:
            return float(angle), float(radius)


def _phantom(i: int, noise: str, structure: str, row: Row) -> tuple[Any, Row]:
    rng = np.random.default_rng(50_000 + i)
    angle, radius = _bend(rng)
    shape, options = random_case(
        rng, angle_deg=angle, radius_mm=radius, noise_level=noise, structure=structure
    )
    # Every seventh picture shows a second canal partly over the first, where such roots have one.
    row["overlap"] = structure == "canal" and i % 7 == 6 and "molar" in options.tooth
    phantom = simulate_radiograph(shape, dataclasses.replace(options, second_canal=row["overlap"]))
    truth = phantom.truth
    measures = {name: truth.measures[name] for name in ("schneider_angle", "pruett_angle", "pruett_radius")}
    return phantom.radiograph, measures | {"line": truth.centreline_rc, "mm": truth.mm_per_pixel}


def _plain(i: int, noise: str, structure: str, _row: Row) -> tuple[Any, Row]:
    rng = np.random.default_rng(90_000 + i)
    angle, radius = _bend(rng)
    segments, options = random_plain_case(
        rng, angle_deg=angle, radius_mm=radius, noise_level=noise, structure=structure
    )
    radiograph, truth = draw_plain_picture(rng, segments=segments, options=options)
    measures = {
        "schneider_angle": truth.schneider_deg,
        "pruett_angle": truth.angle_deg,
        "pruett_radius": truth.radius_mm,
    }
    return radiograph, measures | {"line": truth.centreline_rc, "mm": truth.mm_per_pixel}


def _measured(radiograph: Any, truth: Row, structure: str, rng: np.random.Generator) -> Row:
    line, mm = truth["line"], truth["mm"]
    last = np.array(radiograph.shape) - 1.0
    clicks = [np.clip(line[end] + rng.normal(0.0, CLICK_SD_PX, 2), 0.0, last) for end in (0, -1)]
    calibration = calibrate_from_mm_per_pixel(mm)
    trace = trace_centreline(radiograph, clicks, structure=structure, calibration=calibration)
    away = _distances(trace.points_rc, line, mm)
    found = mended = _good(away)
    measurement = accepted = measure_canal(trace, calibration)
    if not found:
        again = _with_waypoint(radiograph, clicks, truth, structure, trace.points_rc, away, rng)
        mended, accepted = _good(_distances(again.points_rc, line, mm)), measure_canal(again, calibration)
    result: Row = {
        "mean": float(away.mean()),
        "largest": float(away.max()),
        "two_clicks": found,
        "waypoint": mended,
        "told": _told(measurement),
        "accepted": None if _told(accepted) else accepted.schneider_angle,
        "pixel": mm,
        "angle": truth["pruett_angle"],
        "arc": math.radians(truth["pruett_angle"]) * truth["pruett_radius"],
    }
    for name in ("schneider_angle", "pruett_angle", "pruett_radius"):
        quantity = getattr(measurement, name)
        result[name] = (
            None if quantity is None else (quantity.value, quantity.lower, quantity.upper, truth[name])
        )
    if result["accepted"] is not None:
        result["accepted"] = result["accepted"].value - truth["schneider_angle"]
    return result


def _told(measurement: Any) -> bool:
    return any(flag.severity == "do not trust" for flag in measurement.flags)


def _with_waypoint(
    radiograph: Any,
    clicks: list[Any],
    truth: Row,
    structure: str,
    points: Any,
    away: Any,
    rng: np.random.Generator,
) -> Any:
    """The trace with one more click on the canal, beside the place where the drawn line is farthest off."""
    line, mm = truth["line"], truth["mm"]
    from_click = np.min([np.hypot(*(points - click).T) for click in clicks], axis=0) * mm
    inner = from_click >= WAYPOINT_FROM_CLICK_MM
    worst = points[inner][int(np.argmax(away[inner]))]
    nearest = line[int(np.argmin(np.hypot(*(line - worst).T)))] + rng.normal(0.0, CLICK_SD_PX, 2)
    nearest = np.clip(nearest, 0.0, np.array(radiograph.shape) - 1.0)
    return trace_centreline(
        radiograph,
        [clicks[0], nearest, clicks[1]],
        structure=structure,
        calibration=calibrate_from_mm_per_pixel(mm),
    )


def _distances(points: Any, line: Any, mm: float) -> Any:
    """Distance in mm of points from the true line, which goes on straight beyond its ends.

    A click beyond the foramen is an error of the click along the canal, not of the trace across it; the intervals carry it.
    """
    more = np.arange(1.0, 40.0)[:, None] * 0.025 / mm
    step = max(2, round(0.1 / mm / float(np.hypot(*(line[1] - line[0])) + 1e-9)))
    start, end = line[0] - line[min(step, len(line) - 1)], line[-1] - line[-1 - min(step, len(line) - 1)]
    start, end = start / np.hypot(*start), end / np.hypot(*end)
    longer = np.vstack([(line[0] + start * more)[::-1], line, line[-1] + end * more])
    moved = np.concatenate([[True], np.hypot(*np.diff(longer, axis=0).T) > 0.0])
    return distance_to_polyline(points, longer[moved]) * mm


def _good(away: Any) -> bool:
    return bool(away.mean() <= MEAN_LIMIT_MM and away.max() <= LARGEST_LIMIT_MM)


GROUPS: tuple[tuple[str, Callable[[Row], bool]], ...] = (
    ("phantoms", lambda r: r["renderer"] == "phantom" and not r["overlap"]),
    ("plain pictures", lambda r: r["renderer"] == "plain"),
    ("both renderers", lambda r: not r["overlap"]),
    ("two lower noise levels", lambda r: not r["overlap"] and r["noise"] != "high"),
    ("noise low", lambda r: not r["overlap"] and r["noise"] == "low"),
    ("noise middle", lambda r: not r["overlap"] and r["noise"] == "middle"),
    ("noise high", lambda r: not r["overlap"] and r["noise"] == "high"),
    ("canal", lambda r: not r["overlap"] and r["structure"] == "canal"),
    ("instrument", lambda r: r["structure"] == "instrument"),
    ("arc below 1 mm", lambda r: not r["overlap"] and r["arc"] < 1.0),
    ("arc 1 to 2.5 mm", lambda r: not r["overlap"] and 1.0 <= r["arc"] < 2.5),
    ("arc 2.5 mm and more", lambda r: not r["overlap"] and r["arc"] >= 2.5),
    ("arc 4 mm and 30 deg or more", lambda r: not r["overlap"] and r["arc"] >= 4.0 and r["angle"] >= 30.0),
    ("pixels 20 to 40 um", lambda r: not r["overlap"] and r["pixel"] < 0.04),
    ("pixels 40 to 60 um", lambda r: not r["overlap"] and r["pixel"] >= 0.04),
    ("second canal over it", lambda r: r["overlap"]),
)


def accuracy_table(rows: list[Row]) -> str:
    """Markdown table by group."""
    head = (
        "| group | n | two clicks | + one waypoint | mean distance mm | Schneider bias | SD | SD with waypoints |"
        " radius off, median |"
        " interval holds: Schneider | arc angle | radius |"
    )
    lines = [head, "|---|" + "---|" * 11]
    for name, belongs in GROUPS:
        group = [row for row in rows if belongs(row)]
        if group:
            lines.append(_line(name, group))
    return "\n".join(lines) + "\n"


def _line(name: str, group: list[Row]) -> str:
    error = errors(group, "schneider_angle")
    radius = [abs(q[0] / q[3] - 1.0) for q in _quantities(group, "pruett_radius")]
    cells = [
        name,
        str(len(group)),
        f"{share(group, 'two_clicks'):.1%}",
        f"{share(group, 'waypoint'):.1%}",
        f"{np.median([row['mean'] for row in group]):.3f}",
        f"{np.mean(error):+.2f}°",
        f"{np.std(error):.2f}°",
        f"{np.std(accepted(group)):.2f}°",
        f"{np.median(radius):.1%}",
        *(f"{coverage(group, q):.1%}" for q in ("schneider_angle", "pruett_angle", "pruett_radius")),
    ]
    return "| " + " | ".join(cells) + " |"


def share(group: Iterable[Row], name: str) -> float:
    """Share of rows in which `name` holds."""
    return float(np.mean([row[name] for row in group]))


def errors(group: Iterable[Row], name: str) -> Any:
    """Value less truth, over the traces that no flag says not to trust."""
    return np.array([q[0] - q[3] for q in _quantities(group, name)])


def accepted(group: Iterable[Row]) -> Any:
    """Errors of Schneider's angle when a waypoint was set wherever two clicks did not suffice."""
    return np.array([row["accepted"] for row in group if row["accepted"] is not None])


def coverage(group: Iterable[Row], name: str) -> float:
    """Share of intervals that hold the truth."""
    return float(np.mean([q[1] <= q[3] <= q[2] for q in _quantities(group, name)]))


def _quantities(group: Iterable[Row], name: str) -> list[tuple[float, float, float, float]]:
    return [row[name] for row in group if row[name] is not None and not row["told"]]


def goals(rows: list[Row]) -> list[tuple[str, float, bool]]:
    """Goals of the project, what was found, and whether it is met."""
    main = [row for row in rows if not row["overlap"]]
    lower = [row for row in main if row["noise"] != "high"]
    long_arcs = [row for row in main if row["arc"] >= 4.0 and row["angle"] >= 30.0]
    radius = float(np.median([abs(q[0] / q[3] - 1.0) for q in _quantities(long_arcs, "pruett_radius")]))
    bias, sd = (
        float(np.mean(errors(lower, "schneider_angle"))),
        float(np.std(errors(lower, "schneider_angle"))),
    )
    mended_sd = float(np.std(accepted(lower)))
    found = [
        ("two clicks suffice in at least 95 %", share(main, "two_clicks"), share(main, "two_clicks") >= 0.95),
        ("after one waypoint at least 99 %", share(main, "waypoint"), share(main, "waypoint") >= 0.99),
        ("Schneider bias at most 0.3 degrees", bias, abs(bias) <= 0.3),
        ("Schneider SD at most 1.0 degrees, from two clicks only", sd, sd <= 1.0),
        ("the same, with a waypoint where two clicks do not suffice", mended_sd, mended_sd <= 1.0),
        ("radius within 10 % in the median", radius, radius <= 0.1),
    ]
    for name in ("schneider_angle", "pruett_angle", "pruett_radius"):
        held = coverage(main, name)
        found.append((f"intervals of {name} hold the truth in 92 to 98 %", held, 0.92 <= held <= 0.98))
    return found
