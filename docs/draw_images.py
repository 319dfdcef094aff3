"""Draw the pictures of the pages: ``python docs/draw_images.py [name ...]``.

Every line in them is measured by the program on the sample images, so draw them again when the tracer
changes; ``refresh_readme.py`` does so for the picture of the README.
"""

from __future__ import annotations

import contextlib
import io
import json
import sys
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np

DOCS = Path(__file__).resolve().parent
sys.path.insert(0, str(DOCS.parent))

from matplotlib.axes import Axes  # noqa: E402
from matplotlib.figure import Figure  # noqa: E402

from curvometer import (  # noqa: E402
    Answer,
    CanalMeasurement,
    Centreline,
    CentrelineComparison,
    PracticeLevel,
    ProposedGrade,
    ProposedPlan,
    Radiograph,
    calibrate_from_file,
    calibrate_from_mm_per_pixel,
    canal_entry,
    centreline_from_points,
    compare_centrelines,
    display_pixels,
    expect,
    feedback_picture,
    load_radiograph,
    measure_canal,
    new_record,
    practice_exercise,
    trace_centreline,
)
from curvometer.cli import main as curvometer  # noqa: E402
from curvometer.overlay import write_png  # noqa: E402

IMAGES, SAMPLES = DOCS / "images", DOCS.parent / "sample_images"
BLUE, ORANGE, YELLOW, GREEN = "#56b4e9", "#e69f00", "#f0e442", "#009e73"
FILE_CLICKS_XY = ((814, 191), (768, 453), (722, 714), (699, 845), (680, 976), (702, 1107), (763, 1218))

mpl.use("Agg")
mpl.rcParams.update({"font.size": 11, "font.family": "DejaVu Sans", "savefig.facecolor": "white"})


def lower_molar_overlay() -> None:
    """Draw the README's picture by the README's own command."""
    orifice, foramen = clicks("lower_molar")
    words = ["measure", str(SAMPLES / "lower_molar.dcm"), "--orifice", orifice, "--foramen", foramen]
    with contextlib.redirect_stdout(io.StringIO()):
        code = curvometer([*words, "--overlay", str(IMAGES / "lower_molar_overlay.png"), "--overwrite"])
    if code not in (0, 3):
        raise SystemExit(f"the overlay could not be drawn (exit code {code})")


def lower_molar_clicks() -> None:
    """The whole film with the two clicks."""
    truth = truths()["lower_molar"]
    figure, axes = film(load_radiograph(SAMPLES / "lower_molar.dcm"), width=5.2)
    for name, side in (("orifice", 1), ("foramen", 1)):
        mark(axes, truth[name], name, dx=140 * side)
    save(figure, "lower_molar_clicks")


def file_clicks() -> None:
    """The film with a file in the canal, clicked along."""
    figure, axes = film(load_radiograph(SAMPLES / "file_in_canal.dcm"), width=5.2)
    x, y = zip(*FILE_CLICKS_XY, strict=True)
    axes.plot(x, y, "o", mfc="none", mec=ORANGE, ms=9, mew=2)
    for number, (column, row) in enumerate(FILE_CLICKS_XY, 1):
        axes.annotate(
            str(number), (column, row), (10, -4), textcoords="offset points", color=ORANGE, weight="bold"
        )
    save(figure, "file_clicks")


def tracing() -> None:
    """A trace with its error band, and its width and error along the canal."""
    radiograph, centreline, _ = measured("calcified_molar")
    mm = calibrate_from_file(radiograph).mm_per_pixel
    assert mm is not None
    assert centreline.position_sd_px is not None
    assert centreline.width_px is not None
    figure = Figure(figsize=(9.0, 6.6), layout="constrained")
    left, right = figure.subplots(1, 2, width_ratios=(1, 1.25))
    close_up(left, radiograph, centreline, narrow=0.3)
    points, sd = centreline.points_rc, centreline.position_sd_px
    tangent = np.gradient(points, axis=0)
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]]) / np.hypot(*tangent.T)[:, None]
    for sign in (-1, 1):
        edge = points + sign * 1.96 * sd[:, None] * normal
        left.plot(edge[:, 1], edge[:, 0], color=BLUE, lw=0.9)
    left.plot(points[:, 1], points[:, 0], color=ORANGE, lw=0.9)
    left.set_title("centreline (orange) and\n95 % band (blue)", fontsize=11)
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))]) * mm
    right.plot(s[-1] - s, centreline.width_px * mm, color="#0072b2", label="width of the canal")
    right.plot(s[-1] - s, sd * mm, color="#d55e00", label="standard error across it")
    right.set(xlabel="distance from the foramen [mm]", ylabel="mm", ylim=(0, None))
    right.invert_xaxis()
    right.legend(frameon=False)
    right.spines[["top", "right"]].set_visible(False)
    save(figure, "tracing")


def fitted_shape() -> None:
    """Two fitted shapes, each with the curvature along the canal."""
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    rows = figure.subplots(2, 2, width_ratios=(1, 1.7))
    for (left, right), name in zip(rows, ("upper_lateral_hook", "s_shaped_premolar"), strict=True):
        radiograph, centreline, measurement = measured(name)
        close_up(left, radiograph, centreline)
        marks = measurement.landmarks
        left.plot(marks.line_rc[:, 1], marks.line_rc[:, 0], color=BLUE, lw=1.4)
        ends = [point for point in (marks.curve_start_rc, marks.curve_end_rc) if point is not None]
        for row, column in ends:
            left.plot(column, row, "^", color=ORANGE, ms=8, mec="black")
        left.set_title(measurement.shape, fontsize=11)
        draw_profile(right, measurement, name)
    save(figure, "fitted_shape")


def draw_profile(axes: Axes, measurement: CanalMeasurement, name: str) -> None:
    profile = measurement.profile
    axes.fill_between(
        profile.from_foramen, profile.lower, profile.upper, color=BLUE, alpha=0.35, lw=0, label="95 %"
    )
    axes.plot(profile.from_foramen, profile.curvature, color="#0072b2", label="mean")
    s, kappa = true_curvature(truths()[name])
    # The truth counts a first bend as positive; the picture may be mirrored.
    agreement = np.interp(profile.from_foramen, s[::-1], kappa[::-1]) @ profile.curvature
    sign = 1.0 if agreement > 0.0 else -1.0
    axes.plot(s, sign * kappa, color="#d55e00", lw=1.2, ls="--", label="truth")
    axes.set(xlabel="distance from the foramen [mm]", ylabel="curvature [1/mm]")
    axes.invert_xaxis()
    axes.legend(frameon=False)
    axes.spines[["top", "right"]].set_visible(False)


def comparison() -> None:
    """A tracing that cuts a bend and stops short, beside its reference; both invented but for the film."""
    radiograph, centreline, _ = measured("upper_lateral_hook")
    mm = calibrate_from_file(radiograph).mm_per_pixel
    assert mm is not None
    reference = centreline.points_rc
    traced = cut_short(reference, mm, bend=0.72, depth_mm=0.5, short_mm=1.2)
    found = compare_centrelines(traced, reference, mm_per_pixel=mm)
    figure = Figure(figsize=(9.0, 5.6), layout="constrained")
    left, right = figure.subplots(1, 2, width_ratios=(1, 1.5))
    close_up(left, radiograph, centreline)
    for line, color, style, name in ((reference, BLUE, "-", "reference"), (traced, ORANGE, "--", "tracing")):
        left.plot(line[:, 1], line[:, 0], style, color=color, lw=1.6, label=name)
    left.legend(loc="upper left", fontsize=9, framealpha=0.8)
    draw_offsets(right, found)
    save(figure, "comparison")


def cut_short(
    reference: np.ndarray, mm: float, *, bend: float, depth_mm: float, short_mm: float
) -> np.ndarray:
    """A tracing that cuts the bend, which is at that share of the reference, and stops short of the foramen."""
    share = np.linspace(0.0, 1.0, len(reference))
    course = np.gradient(reference, axis=0)
    normal = np.column_stack([-course[:, 1], course[:, 0]]) / np.hypot(*course.T)[:, None]
    kept = share < 1.0 - short_mm / (mm * np.hypot(*np.diff(reference, axis=0).T).sum())
    inside = 1.0 if compare_centrelines(reference, reference, mm_per_pixel=mm).bend_side == "left" else -1.0
    off_mm = 0.05 * np.sin(9.0 * share) + depth_mm * np.exp(-(((share - bend) / 0.1) ** 2))
    return np.asarray((reference + inside * normal * off_mm[:, None] / mm)[kept])


def feedback() -> None:
    """What a student gets back: the truth of a simulated film, and an invented tracing of it."""
    exercise = practice_exercise(PracticeLevel(curve=5, film=2), seed=11)
    assert exercise.key is not None
    (image,), (right,) = exercise.sheet.images, exercise.key.images
    truth, film_seen = right.references[0], exercise.radiograph(image.id)
    mm = truth.calibration.mm_per_pixel
    assert mm is not None
    scale = calibrate_from_mm_per_pixel(mm)
    line = truth.canal.to_centreline().points_rc
    student = cut_short(line, mm, bend=0.8, depth_mm=0.3, short_mm=0.8)
    clicked = student[np.linspace(0, len(student) - 1, 25).round().astype(int)]
    traced = centreline_from_points(clicked)
    canal = canal_entry(traced, measure_canal(traced, scale), name=image.canal)
    found = new_record(radiograph=film_seen, calibration=scale, canals=[canal]).calibration
    answer = Answer(
        image=image.id,
        sha256=image.sha256,
        accepted=True,
        calibration=found,
        canal=canal,
        grade=ProposedGrade(grade="moderate", factors=["curvature", "position"]),
        plan=ProposedPlan(advice="refer"),
    )
    picture = feedback_picture(expect(exercise.sheet, exercise.key), image.id, answer, film_seen)
    write_png(picture, IMAGES / "feedback.png", overwrite=True)


def draw_offsets(axes: Axes, found: CentrelineComparison) -> None:
    profile, limit = found.profile, found.limit_mm
    axes.axhspan(-limit, limit, color=BLUE, alpha=0.25, lw=0)
    axes.plot(profile.from_foramen_mm, profile.offset_mm, color="#d55e00")
    for part in found.departures:
        axes.axvspan(part.start_from_foramen_mm, part.end_from_foramen_mm, color=YELLOW, alpha=0.45, lw=0)
        middle = 0.5 * (part.start_from_foramen_mm + part.end_from_foramen_mm)
        axes.text(
            middle,
            0.93,
            f"{part.side}\n{part.largest_mm:.2f} mm",
            ha="center",
            va="top",
            transform=axes.get_xaxis_transform(),
        )
    short = -found.foramen.along_mm
    axes.axvspan(0.0, short, color="0.85", lw=0)
    words = f"{short:.1f} mm\nnot traced"
    axes.text(short + 0.1, 0.07, words, ha="right", transform=axes.get_xaxis_transform())
    axes.set(xlabel="distance from the foramen [mm]", ylabel="tracing to the left of the reference [mm]")
    axes.set(xlim=(found.reference_length_mm, 0.0), ylim=(-0.8, 0.8))
    axes.spines[["top", "right"]].set_visible(False)


def phantoms() -> None:
    """All sample images on one sheet."""
    names = list(truths())
    rows = -(-len(names) // 4)
    figure = Figure(figsize=(10.5, 3.4 * rows), layout="constrained")
    for axes in (sheet := figure.subplots(rows, 4)).flat:
        axes.axis("off")
    for axes, name in zip(sheet.flat, names, strict=False):
        axes.imshow(
            display_pixels(load_radiograph(SAMPLES / f"{name}.dcm"))[::3, ::3], cmap="gray", vmin=0, vmax=255
        )
        axes.set_title(name, fontsize=11)
    save(figure, "phantoms", dpi=80)


def truths() -> dict[str, Any]:
    """What is known of the sample images."""
    found: dict[str, Any] = json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))
    return found


def clicks(name: str) -> tuple[str, str]:
    """Orifice and foramen of a sample image as a person clicks them: whole pixels, as ``X,Y``."""
    truth = truths()[name]
    orifice, foramen = (",".join(f"{value:.0f}" for value in truth[end]) for end in ("orifice", "foramen"))
    return orifice, foramen


def measured(name: str) -> tuple[Radiograph, Centreline, CanalMeasurement]:
    """Trace and measure a sample image from its two clicks."""
    radiograph = load_radiograph(SAMPLES / f"{name}.dcm")
    calibration = calibrate_from_file(radiograph)
    anchors = [[float(value) for value in click.split(",")][::-1] for click in clicks(name)]
    centreline = trace_centreline(radiograph, anchors, calibration=calibration)
    return radiograph, centreline, measure_canal(centreline, calibration)


def true_curvature(truth: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    """Curvature as a staircase against the distance from the foramen."""
    lengths = np.array([length for length, _ in truth["segments_mm"]])
    kappas = np.array([0.0 if radius is None else 1.0 / radius for _, radius in truth["segments_mm"]])
    ends = np.cumsum(lengths)
    return np.column_stack([ends[-1] - ends + lengths, ends[-1] - ends]).ravel(), np.repeat(kappas, 2)


def film(radiograph: Radiograph, *, width: float) -> tuple[Figure, Axes]:
    """A whole film without any frame."""
    rows, columns = radiograph.shape
    figure = Figure(figsize=(width, width * rows / columns))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.imshow(display_pixels(radiograph), cmap="gray", vmin=0, vmax=255)
    axes.axis("off")
    return figure, axes


def close_up(axes: Axes, radiograph: Radiograph, centreline: Centreline, *, narrow: float = 0.45) -> None:
    """The neighbourhood of a canal, at least `narrow` times as wide as high."""
    low, high = centreline.points_rc.min(axis=0), centreline.points_rc.max(axis=0)
    margin = 0.08 * float((high - low).max())
    middle, half = 0.5 * (low + high), 0.5 * (high - low) + margin
    half[1] = max(half[1], narrow * half[0])
    axes.imshow(display_pixels(radiograph), cmap="gray", vmin=0, vmax=255)
    axes.set(xlim=(middle[1] - half[1], middle[1] + half[1]), ylim=(middle[0] + half[0], middle[0] - half[0]))
    axes.axis("off")


def mark(axes: Axes, point_xy: list[float], text: str, *, dx: float) -> None:
    """A ring around a place and its name with the position."""
    x, y = point_xy
    axes.plot(x, y, "o", mfc="none", mec=YELLOW, ms=13, mew=2)
    axes.annotate(
        f"{text} {x:.0f},{y:.0f}", (x, y), (x + dx, y), color=YELLOW, va="center", weight="bold",
        arrowprops={"arrowstyle": "-", "color": YELLOW, "shrinkB": 8},
        bbox={"facecolor": "black", "alpha": 0.55, "edgecolor": "none", "pad": 2},
    )  # fmt: skip


def save(figure: Figure, name: str, *, dpi: int = 110) -> None:
    """Write a PNG without any metadata, so that the same picture is the same file."""
    figure.savefig(IMAGES / f"{name}.png", dpi=dpi, metadata={"Software": None})


DRAWINGS = {
    drawing.__name__: drawing
    for drawing in (
        lower_molar_overlay,
        lower_molar_clicks,
        file_clicks,
        tracing,
        fitted_shape,
        comparison,
        feedback,
        phantoms,
    )
}

if __name__ == "__main__":
    for wanted in sys.argv[1:] or DRAWINGS:
        DRAWINGS[wanted]()
