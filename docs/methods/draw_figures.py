"""Draw the pictures of the method pages: ``python docs/methods/draw_figures.py [folder]``.

Every number in a picture is computed by the function that the page describes, so a picture cannot disagree
with the program. The output is the same from run to run (no dates, fixed identifiers).
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from curvometer import curvature as cv
from curvometer import geometry as g

mpl.use("Agg")
mpl.rcParams.update(
    {
        "svg.hashsalt": "curvometer",
        "font.size": 11,
        "font.family": "DejaVu Sans",
        "mathtext.fontset": "dejavusans",
        "lines.solid_capstyle": "round",
    }
)

CANAL, DENTINE, FIRST, SECOND, THIRD, GREY = "#222222", "#e9e2d3", "#0072b2", "#d55e00", "#009e73", "#777777"
AXIS = np.array([1.0, 0.0])
Array = np.ndarray


def lay(*pieces: tuple[float, float], step: float = 0.01) -> tuple[Array, list[Array]]:
    """Points and joints of straight pieces and arcs, each (length in mm, turning in degrees)."""
    place, heading, points, joints = np.zeros(2), 0.0, [np.zeros((1, 2))], [np.zeros(2)]
    for length, turning in pieces:
        t = np.linspace(0.0, 1.0, max(int(length / step), 2))[1:]
        turn = np.radians(turning)
        chord = length * t * np.sinc(turn * t / 2.0 / np.pi)
        mean = heading + turn * t / 2.0
        new = place + chord[:, None] * np.column_stack([np.cos(mean), np.sin(mean)])
        points.append(new)
        place, heading = new[-1], heading + turn
        joints.append(place)
    return np.concatenate(points), joints


def at(u: float, v: float) -> Array:
    """Position or shift: u down the page, v to the right, mm."""
    return np.array([u, v])


def unit(angle_deg: float) -> Array:
    """Direction at an angle from the coronal axis."""
    return np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])


def sheet(count: int = 1, *, width: float = 4.6, height: float = 5.6) -> tuple[Figure, list[Axes]]:
    """A figure with panels in which the canal runs down the page."""
    figure = Figure(figsize=(width, height), layout="constrained")
    axes = figure.subplots(1, count, squeeze=False)[0]
    for ax in axes:
        ax.set_aspect("equal")
        ax.invert_yaxis()
        ax.axis("off")
        ax.margins(0.08)
    return figure, list(axes)


def line(ax: Axes, *points: Array, color: str = GREY, style: str = "-", width: float = 1.8) -> None:
    """A straight line through points given as (u, v); u runs down the page, v to the right."""
    path = np.array(points)
    ax.plot(path[:, 1], path[:, 0], color=color, linestyle=style, linewidth=width, zorder=3)


def canal(ax: Axes, points: Array) -> None:
    """The canal in its dentine."""
    ax.plot(points[:, 1], points[:, 0], color=DENTINE, linewidth=30, zorder=0, clip_on=False)
    ax.plot(points[:, 1], points[:, 0], color=CANAL, linewidth=3.2, zorder=2)


def mark(
    ax: Axes, point: Array, text: str, *, shift: tuple[float, float] = (0.0, -0.55), color: str = CANAL
) -> None:
    """A landmark with its letter; the shift is (u, v) in mm."""
    ax.plot(
        point[1],
        point[0],
        "o",
        color="white",
        markeredgecolor=color,
        markersize=7,
        markeredgewidth=1.8,
        zorder=5,
    )
    label(ax, point + shift, text, color=color)


def label(ax: Axes, point: Array, text: str, *, color: str = CANAL, align: str = "center") -> None:
    """Text on a light ground at (u, v)."""
    box = {"boxstyle": "round,pad=0.12", "facecolor": "white", "edgecolor": "none", "alpha": 0.75}
    ax.text(point[1], point[0], text, color=color, ha=align, va="center", zorder=6, bbox=box)


def angle(
    ax: Axes,
    corner: Array,
    start: float,
    end: float,
    radius: float,
    text: str,
    color: str,
    *,
    beside: str = "left",
) -> None:
    """Mark the angle between two directions in degrees, with its text beside its beginning or outside."""
    turn = np.linspace(start, end, 60)
    path = corner + radius * np.column_stack([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
    ax.plot(path[:, 1], path[:, 0], color=color, linewidth=1.8, zorder=4)
    if beside == "outside":
        label(ax, corner + (radius + 0.55) * unit(0.5 * (start + end)), text, color=color)
    elif beside == "left":
        label(ax, path[0] + at(0.0, -0.25), text, color=color, align="right")
    else:
        label(ax, path[0] + at(-0.35, 0.3), text, color=color, align="left")


def circle(ax: Axes, centre: Array, radius: float, color: str) -> None:
    """A circle drawn thin."""
    ax.add_patch(
        Circle((centre[1], centre[0]), radius, fill=False, edgecolor=color, linewidth=1.2, linestyle=":")
    )
    ax.plot(centre[1], centre[0], "+", color=color, markersize=9, zorder=5)


def schneider() -> Figure:
    """Line 1 along the coronal canal, line 2 from B to C."""
    figure, (ax,) = sheet()
    points, (a, b, _, c) = lay((8.0, 0.0), (7.0 * np.radians(50.0), 50.0), (1.5, 0.0))
    found = float(cv.schneider_angle(AXIS, b, c))
    canal(ax, points)
    line(ax, a, b + 5.5 * AXIS, color=FIRST)
    line(ax, b, c, color=SECOND)
    angle(ax, b, 0.0, found, 4.0, f"$S$ = {found:.1f}°", CANAL)
    label(ax, a + at(3.0, 1.5), "coronal axis", color=FIRST)
    mark(ax, a, "A  canal orifice", shift=(-0.7, 0.0))
    mark(ax, b, "B  start of the curve", shift=(-0.1, 2.6))
    mark(ax, c, "C  apical foramen", shift=(0.8, -0.4))
    return figure


def weine() -> Figure:
    """Tangents at both ends."""
    figure, (ax,) = sheet()
    points, (a, b, end, c) = lay((8.0, 0.0), (7.0 * np.radians(50.0), 50.0), (1.5, 0.0))
    crossing = g.intersect_lines(a, AXIS, c, unit(50.0))
    found = float(cv.weine_angle(AXIS, c - crossing))
    schneider_deg = float(cv.schneider_angle(AXIS, b, c))
    canal(ax, points)
    line(ax, a, crossing + 4.6 * AXIS, color=FIRST)
    line(ax, crossing - 1.5 * unit(50.0), c + 0.6 * unit(50.0), color=SECOND)
    line(ax, b, c, color=GREY, style=":")
    angle(ax, crossing, 0.0, found, 2.2, f"$W$ = {found:.0f}°", CANAL)
    label(ax, a + at(2.6, 2.2), "line of the\ncoronal part", color=FIRST)
    label(ax, end + at(-0.7, 2.6), "line of the\napical part", color=SECOND)
    label(ax, b + at(0.9, 2.6), f"Schneider's line,\n$S$ = {schneider_deg:.1f}°", color=GREY)
    mark(ax, a, "A", shift=(-0.7, 0.0))
    mark(ax, c, "C", shift=(0.8, 0.3))
    return figure


def long_axis() -> Figure:
    """Best-fit lines of the coronal part and of the last millimetres."""
    figure, (ax,) = sheet()
    points, (a, b, c) = lay((8.0, 0.0), (8.0 * np.radians(55.0), 55.0))
    part = points[g.arc_length(points) >= g.arc_length(points)[-1] - 3.0]
    way, middle = g.line_direction(part), part.mean(axis=0)
    found = float(cv.long_axis_angle(AXIS, points, apical_mm=3.0))
    crossing = g.intersect_lines(a, AXIS, middle, way)
    canal(ax, points)
    ax.plot(
        points[points[:, 0] <= 8.0, 1], points[points[:, 0] <= 8.0, 0], color=FIRST, linewidth=3.2, zorder=3
    )
    ax.plot(part[:, 1], part[:, 0], color=SECOND, linewidth=3.2, zorder=3)
    line(ax, a, crossing + 4.8 * AXIS, color=FIRST, style="--")
    line(ax, crossing, c + 0.8 * way, color=SECOND, style="--")
    angle(ax, crossing, 0.0, found, 2.6, f"{found:.1f}°", CANAL)
    label(ax, b + at(-3.0, 2.0), "coronal part", color=FIRST)
    label(ax, middle + at(-1.6, 1.2), "last 3 mm", color=SECOND)
    mark(ax, a, "A", shift=(-0.7, 0.0))
    mark(ax, c, "C", shift=(0.8, 0.2))
    return figure


def luiten() -> Figure:
    """Four points, two short lines."""
    figure, (ax,) = sheet()
    points, _ = lay((8.0, 0.0), (8.0 * np.radians(55.0), 55.0))
    a, below, short, c = cv.luiten_points(points)
    found = float(cv.luiten_angle(a, below, short, c))
    way = (c - short) / np.hypot(*(c - short))
    crossing = g.intersect_lines(a, AXIS, c, way)
    canal(ax, points)
    line(ax, a, crossing + 4.4 * AXIS, color=FIRST, style="--")
    line(ax, crossing, c, color=SECOND, style="--")
    line(ax, a, below, color=FIRST, width=4.0)
    line(ax, short, c, color=SECOND, width=4.0)
    angle(ax, crossing, 0.0, found, 2.2, f"{found:.1f}°", CANAL)
    mark(ax, a, "A", shift=(-0.7, 0.0))
    mark(ax, below, "A′  2 mm below", shift=(0.0, 2.5), color=FIRST)
    mark(ax, short, "C′  1 mm short", shift=(-0.7, 2.1), color=SECOND)
    mark(ax, c, "C", shift=(0.8, 0.2))
    return figure


def canal_access() -> Figure:
    """The triangle ABC with the height x and its foot."""
    figure, (ax,) = sheet()
    points, (a, b, _, c) = lay((8.0, 0.0), (6.0 * np.radians(65.0), 65.0), (1.0, 0.0))
    caa = float(cv.canal_access_angle(a, b, c))
    y = float(cv.curvature_distance(a, b, c))
    foot = a + y * (c - a) / np.hypot(*(c - a))
    canal(ax, points)
    line(ax, a, b + 4.0 * AXIS, color=FIRST)
    line(ax, a, c, color=SECOND)
    line(ax, b, c, color=GREY, style=":")
    line(ax, b, foot, color=THIRD, width=2.4)
    angle(ax, a, 0.0, caa, 3.0, f"CAA = {caa:.1f}°", CANAL)
    schneider_deg = float(cv.schneider_angle(AXIS, b, c))
    angle(ax, b, 0.0, schneider_deg, 2.2, f"$S$ = {schneider_deg:.1f}°", GREY)
    label(ax, foot + at(-0.15, 1.65), f"$x$ = {cv.curvature_height(a, b, c):.2f} mm", color=THIRD)
    label(ax, 0.62 * foot + at(-0.3, 1.7), f"$y$ = {y:.2f} mm", color=SECOND)
    mark(ax, a, "A", shift=(-0.7, 0.0))
    mark(ax, b, "B", shift=(0.0, -0.8))
    mark(ax, c, "C", shift=(0.8, 0.2))
    return figure


def pruett() -> Figure:
    """Two straight lines, the points where the canal leaves them, the circle."""
    figure, (ax,) = sheet(width=5.4)
    points, (a, b, end, c) = lay((6.0, 0.0), (5.0 * np.radians(60.0), 60.0), (3.5, 0.0))
    way = unit(60.0)
    crossing = g.intersect_lines(b, AXIS, end, way)
    radius, found = float(cv.pruett_radius(b, AXIS, end, way)), float(cv.pruett_angle(AXIS, way))
    centre = b + at(0.0, radius)
    canal(ax, points)
    line(ax, a, crossing + 2.6 * AXIS, color=FIRST)
    line(ax, crossing - 1.2 * way, c, color=SECOND)
    circle(ax, centre, radius, THIRD)
    line(ax, b, centre, end, color=THIRD, style="--", width=1.3)
    angle(ax, centre, -90.0, -90.0 + found, 1.0, f"{found:.0f}°", THIRD, beside="outside")
    angle(ax, crossing, 0.0, found, 1.6, f"{found:.0f}°", CANAL)
    label(ax, b + at(-0.5, 2.9), f"$R$ = {radius:.1f} mm", color=THIRD)
    label(ax, 0.5 * (b + crossing) + at(0.0, -0.7), "$T_1$", color=FIRST)
    label(ax, 0.5 * (end + crossing) + at(0.75, 0.0), "$T_2$", color=SECOND)
    mark(ax, b, "1", shift=(-0.3, -0.8), color=FIRST)
    mark(ax, end, "2", shift=(0.9, 0.0), color=SECOND)
    mark(ax, crossing, "V", shift=(0.5, -0.8), color=GREY)
    return figure


def schaefer() -> Figure:
    """The circle that touches the axis in B and goes through C, beside the bend's own."""
    figure, (ax,) = sheet(width=5.2)
    points, (a, b, _, c) = lay((6.0, 0.0), (4.0 * np.radians(60.0), 60.0), (3.0, 0.0))
    found, radius = float(cv.schneider_angle(AXIS, b, c)), float(cv.chord_radius(AXIS, b, c))
    canal(ax, points)
    line(ax, a, b + 4.5 * AXIS, color=FIRST)
    line(ax, b, c, color=SECOND)
    circle(ax, b + at(0.0, radius), radius, THIRD)
    circle(ax, b + at(0.0, 4.0), 4.0, GREY)
    line(ax, b, b + at(0.0, radius), color=THIRD, style="--", width=1.3)
    angle(ax, b, 0.0, found, 2.6, f"$S$ = {found:.1f}°", CANAL)
    label(ax, b + at(0.6, 3.0), f"$r$ = {radius:.2f} mm", color=THIRD)
    label(ax, b + at(-1.9, 3.9), "the bend's own\ncircle, $R$ = 4 mm", color=GREY)
    label(ax, 0.5 * (b + c) + at(-0.3, 0.7), "BC", color=SECOND)
    mark(ax, b, "B", shift=(0.0, -0.8))
    mark(ax, c, "C", shift=(0.8, 0.2))
    ax.set_xlim(-3.4, 11.5)
    return figure


def radius_quotient() -> Figure:
    """One angle, two radii."""
    figure, axes = sheet(2, width=6.0, height=5.2)
    for ax, radius in zip(axes, (3.0, 12.0), strict=True):
        bend = radius * np.radians(40.0)
        points, (a, b, c) = lay((14.0 - bend, 0.0), (bend, 40.0))
        found = float(cv.schneider_angle(AXIS, b, c))
        canal(ax, points)
        line(ax, a, b + 4.0 * AXIS, color=FIRST)
        line(ax, b, c, color=SECOND)
        mark(ax, b, "B", shift=(0.0, -0.9))
        mark(ax, c, "C", shift=(0.8, 0.0))
        quotient = float(cv.radius_quotient(found, radius))
        text = f"$S$ = {found:.0f}°, $R$ = {radius:.0f} mm\n$RQ$ = {quotient:.1f}°/mm"
        label(ax, np.array([-1.4, 1.2]), text)
        ax.set_xlim(-2.5, 5.0)
        ax.set_ylim(15.0, -2.4)
    return figure


def three_point() -> Figure:
    """Two 6-mm chords, their bisectors, centre, circumradius and apothem."""
    figure, (ax,) = sheet(width=5.6)
    points, _ = lay((4.0, 0.0), (7.0 * np.radians(80.0), 80.0))
    p, q, r = cv.three_point_landmarks(points)
    centre = g.circle_through(p, q, r).centre
    radius = float(cv.three_point_radius(points))
    apothem = float(cv.three_point_radius(points, reading="apothem"))
    canal(ax, points)
    line(ax, p, q, color=FIRST, width=2.4)
    line(ax, q, r, color=SECOND, width=2.4)
    for end, color in ((0.5 * (p + q), FIRST), (0.5 * (q + r), SECOND)):
        line(ax, end, centre, color=color, style="--", width=1.3)
    line(ax, p, centre, color=THIRD, width=1.6)
    circle(ax, centre, radius, GREY)
    label(ax, 0.45 * p + 0.55 * centre + at(0.5, 0.3), f"$r$ = {radius:.2f} mm", color=THIRD)
    label(ax, 0.5 * (0.5 * (q + r) + centre) + at(-0.5, 0.0), f"$h$ = {apothem:.2f} mm", color=SECOND)
    label(ax, 0.5 * (q + r) + at(0.6, -1.6), "6 mm", color=SECOND)
    label(ax, 0.5 * (p + q) + at(0.9, -0.6), "6 mm", color=FIRST)
    mark(ax, p, "C", shift=(0.8, 0.3))
    mark(ax, q, "", color=FIRST)
    mark(ax, r, "", color=SECOND)
    return figure


def minimum_radius() -> Figure:
    """A canal that sharpens towards its foramen: the tightest circle, and the curvature along the canal."""
    s = np.linspace(0.0, 6.0, 601)
    heading = 0.5 * 0.04 * s**2
    steps = np.column_stack([np.cos(heading), np.sin(heading)]) * 0.01
    bend = at(8.0, 0.0) + np.concatenate([np.zeros((1, 2)), np.cumsum(steps[:-1], axis=0)])
    points = np.concatenate([np.column_stack([np.linspace(0.0, 7.99, 800), np.zeros(800)]), bend])
    place = cv.minimum_radius(points, window_mm=1.0)
    figure = Figure(figsize=(8.4, 4.8), layout="constrained")
    left, right = figure.subplots(1, 2, width_ratios=(1.0, 1.5))
    left.set_aspect("equal")
    left.invert_yaxis()
    left.axis("off")
    canal(left, points)
    along = g.arc_length(points)
    middle = along[-1] - float(place.from_foramen_mm)
    trio = [g.point_at(points, middle + shift) for shift in (-1.0, 0.0, 1.0)]
    circle(left, g.circle_through(*trio).centre, float(place.radius_mm), THIRD)
    for point in trio:
        mark(left, point, "", color=THIRD)
    text = f"smallest radius {place.radius_mm:.1f} mm,\n{place.from_foramen_mm:.1f} mm from the foramen"
    label(left, trio[1] + at(-8.6, 4.6), text, color=THIRD)
    left.set_xlim(-1.5, 10.5)
    rng = np.random.default_rng(4)
    trace = g.resample(points, 420) + rng.normal(0.0, 0.02, (420, 2))
    smooth = g.smooth_curve(trace, position_sd=np.full(420, 0.02))
    away = smooth.s[-1] - smooth.s
    right.fill_between(away, smooth.curvature - 1.96 * smooth.curvature_sd,
                       smooth.curvature + 1.96 * smooth.curvature_sd, color=FIRST, alpha=0.2, linewidth=0,
                       label="95 % interval")  # fmt: skip
    right.plot(away, smooth.curvature, color=FIRST, label="from a trace with 0.02 mm error")
    truth = np.maximum(0.04 * (6.0 - np.linspace(0.0, 14.0, 400)), 0.0)
    right.plot(np.linspace(0.0, 14.0, 400), truth, color=CANAL, linestyle="--", label="truth")
    right.set_xlim(14.0, 0.0)
    right.set_xlabel("distance from the apical foramen, mm")
    right.set_ylabel("curvature, 1/mm")
    right.grid(alpha=0.3)
    right.spines[["top", "right"]].set_visible(False)
    right.legend(frameon=False, loc="upper left")
    return figure


def forms() -> Figure:
    """The forms I, J, C, S with total and net turning."""
    figure, axes = sheet(4, width=8.6, height=5.0)
    shapes = (
        ((13.0, 0.0), (1.0, 3.0)),
        ((9.0, 0.0), (5.0, 45.0)),
        ((14.0, 45.0),),
        ((4.0, 0.0), (5.0, 35.0), (4.5, -30.0)),
    )
    for ax, pieces in zip(axes, shapes, strict=True):
        points, joints = lay(*pieces)
        canal(ax, points)
        mark(ax, joints[0], "", color=CANAL)
        mark(ax, joints[-1], "", color=CANAL)
        total, net = float(cv.total_turning(points)), float(cv.net_turning(points))
        ax.set_title(f"form {cv.canal_form(points)}", fontweight="bold")
        label(ax, np.array([15.6, 1.8]), f"total turning {total:.0f}°\nnet turning {net:.0f}°")
        ax.set_xlim(-2.0, 6.5)
        ax.set_ylim(16.6, -0.9)
    return figure


def s_shaped() -> Figure:
    """Two Schneider angles on an S, and the reference line that hides the second."""
    figure, (ax,) = sheet(width=5.0, height=6.0)
    points, (a, b, inflection, c) = lay(
        (5.0, 0.0), (6.0 * np.radians(50.0), 50.0), (6.0 * np.radians(50.0), -50.0)
    )
    tangent = unit(50.0)
    first = float(cv.schneider_angle(AXIS, b, inflection))
    second = float(cv.secondary_schneider_angle(tangent, inflection, c))
    canal(ax, points)
    line(ax, a, b + 4.2 * AXIS, color=FIRST)
    line(ax, b, inflection, color=SECOND)
    line(ax, inflection, inflection + 4.6 * tangent, color=FIRST)
    line(ax, inflection, c, color=SECOND)
    angle(ax, b, 0.0, first, 3.2, f"$S_1$ = {first:.0f}°", CANAL)
    angle(ax, inflection, 50.0, 50.0 - second, 3.2, f"$S_2$ = {second:.0f}°", CANAL, beside="right")
    label(ax, inflection + 4.6 * tangent + at(0.35, 0.6), "tangent at I", color=FIRST)
    label(ax, a + at(2.2, 1.5), "coronal axis", color=FIRST)
    mark(ax, a, "A", shift=(-0.7, 0.0))
    mark(ax, b, "B", shift=(0.0, -0.9))
    mark(ax, inflection, "I", shift=(-0.2, 0.9))
    mark(ax, c, "C", shift=(0.8, 0.2))
    return figure


FIGURES: dict[str, Callable[[], Figure]] = {
    "schneider": schneider,
    "weine": weine,
    "long_axis": long_axis,
    "luiten": luiten,
    "canal_access": canal_access,
    "pruett": pruett,
    "schaefer": schaefer,
    "radius_quotient": radius_quotient,
    "three_point": three_point,
    "minimum_radius": minimum_radius,
    "forms": forms,
    "s_shaped": s_shaped,
}


def main(folder: Path, suffix: str = "svg") -> None:
    """Write every figure into the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, draw in FIGURES.items():
        metadata = {"Date": None} if suffix == "svg" else None
        draw().savefig(
            folder / f"{name}.{suffix}", metadata=metadata, dpi=80, bbox_inches="tight", pad_inches=0.1
        )


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "figures", *sys.argv[2:3])
