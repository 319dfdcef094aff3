"""The report's pictures as SVG, written without a plotting library; the pages and the printed report share them."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from curvometer.course.handed_in import FloatArray
from curvometer.course.numbers import BINS, OccasionResult, Spread

BLUE, ORANGE, INK, GREY, PALE = "#0072b2", "#d55e00", "#222222", "#777777", "#cfe3f0"
WIDTH = 560
_FONT = "font-family='sans-serif' font-size='12'"
SKETCH_HEIGHT, SKETCH_WIDEST, SKETCH_MARGIN = 240.0, 190.0, 8.0


def histogram_svg(bins: Sequence[int], spread: Spread) -> str:
    """Draw how many students earned 0 to 10 per cent and so on, with the median."""
    height, left, bottom, top = 265, 46, 40, 42
    highest = max(*bins, 1)
    across, up = (WIDTH - left - 10) / BINS, (height - bottom - top) / highest
    base = height - bottom
    at = left + spread.median / 100.0 * BINS * across
    drawn = [
        f"<rect x='{left + place * across + 2:.1f}' y='{base - count * up:.1f}' width='{across - 4:.1f}'"
        f" height='{count * up:.1f}' fill='{BLUE}'/>"
        for place, count in enumerate(bins)
    ]
    drawn.append(
        f"<path d='M{at:.1f} {base}V{top - 26}' stroke='{ORANGE}' stroke-width='2' stroke-dasharray='6 3'/>"
    )
    drawn += [
        _text(left + (place + 0.5) * across, base - count * up - 5, str(count), halo=True)
        for place, count in enumerate(bins)
        if count
    ]
    drawn += [_text(left + place * across, base + 16, str(place * 10)) for place in range(BINS)]
    drawn.append(_text(left + BINS * across, base + 16, "100"))
    drawn.append(f"<path d='M{left} {base}H{WIDTH - 10}' stroke='{INK}'/>")
    side = "end" if spread.median > 50.0 else "start"
    gap = -6 if side == "end" else 6
    drawn.append(_text(at + gap, top - 28, f"median {spread.median:.0f} %", anchor=side, fill=ORANGE))
    drawn.append(_text((left + WIDTH) / 2, height - 6, "per cent of the points"))
    drawn.append(_sideways(14, (top + base) / 2, "students"))
    told = f"Distribution of {spread.size} students: " + ", ".join(
        f"{count} from {10 * place} to {10 * place + 10} per cent"
        for place, count in enumerate(bins)
        if count
    )
    return _svg(WIDTH, height, told, drawn)


def progress_svg(occasions: Sequence[OccasionResult]) -> str:
    """Draw quartiles and extremes of each exercise and occasion, one below the other, in their order."""
    row, left, right, top = 34, 170, 60, 10
    height = top + row * len(occasions) + 40
    scale = (WIDTH - left - right) / 100.0
    base = top + row * len(occasions)
    drawn = [
        f"<path d='M{left + tick * scale:.1f} {top}V{base}' stroke='#dddddd'/>"
        + _text(left + tick * scale, base + 16, str(tick))
        for tick in range(0, 101, 20)
    ]
    for place, each in enumerate(occasions):
        drawn += _box(each, top + row * place + row / 2, left, scale)
    drawn.append(
        _text(left + 50 * scale, height - 6, "per cent: lowest, quartiles, highest; the dot is the mean")
    )
    told = "Progress: " + "; ".join(
        f"{each.exercise} occasion {each.occasion}, median {each.spread.median:.0f} per cent"
        for each in occasions
    )
    return _svg(WIDTH, height, told, drawn)


def _box(each: OccasionResult, y: float, left: float, scale: float) -> list[str]:
    spread = each.spread
    low, first, middle, third, high, mean = (
        left + value * scale
        for value in (
            spread.lowest,
            spread.quartile1,
            spread.median,
            spread.quartile3,
            spread.highest,
            spread.mean,
        )
    )
    again = "" if each.occasion == 1 else f", occasion {each.occasion}"
    longest = 25 - len(again)
    name = each.exercise if len(each.exercise) <= longest else f"{each.exercise[: longest - 1]}…"
    return [
        _text(left - 10, y + 4, name + again, anchor="end"),
        f"<path d='M{low:.1f} {y}H{high:.1f}M{low:.1f} {y - 5}v10M{high:.1f} {y - 5}v10' stroke='{INK}'/>",
        f"<rect x='{first:.1f}' y='{y - 9}' width='{max(third - first, 1.0):.1f}' height='18' fill='{PALE}' stroke='{BLUE}'/>",
        f"<path d='M{middle:.1f} {y - 9}v18' stroke='{BLUE}' stroke-width='3'/>",
        f"<circle cx='{mean:.1f}' cy='{y}' r='3.5' fill='{ORANGE}'/>",
        _text(WIDTH - 52, y + 4, f"n = {spread.size}", anchor="start", fill=GREY),
    ]


def sketch_svg(reference_rc: FloatArray | None, traced_rc: FloatArray | None, told: str) -> str:
    """Draw a tracing and its reference as the image shows them, to the same scale; a ring marks each orifice.

    Parameters
    ----------
    reference_rc, traced_rc
        (k, 2) pixels; None for what is not there.
    told
        What the picture shows, for those who do not see it.

    Returns
    -------
    str
        An SVG document; empty where there is no line at all.
    """
    lines = [line for line in (reference_rc, traced_rc) if line is not None]
    if not lines:
        return ""
    every = np.vstack(lines)
    low, size = every.min(axis=0), np.maximum(np.ptp(every, axis=0), 1.0)
    scale = min(SKETCH_HEIGHT / size[0], SKETCH_WIDEST / size[1])
    drawn = []
    if reference_rc is not None:
        drawn += _line((reference_rc - low) * scale + SKETCH_MARGIN, BLUE, "2.5", "")
    if traced_rc is not None:
        drawn += _line((traced_rc - low) * scale + SKETCH_MARGIN, ORANGE, "1.8", " stroke-dasharray='6 3'")
    rows, columns = size * scale + 2 * SKETCH_MARGIN
    return _svg(round(float(columns)), round(float(rows)), told, drawn)


def _line(points_rc: FloatArray, colour: str, width: str, dash: str) -> list[str]:
    path = " ".join(f"{x:.1f},{y:.1f}" for y, x in points_rc)
    y, x = points_rc[0]
    return [
        f"<polyline points='{path}' fill='none' stroke='{colour}' stroke-width='{width}'{dash}/>",
        f"<circle cx='{x:.1f}' cy='{y:.1f}' r='4' fill='none' stroke='{colour}'/>",
    ]


def _text(
    x: float, y: float, text: str, *, anchor: str = "middle", fill: str = INK, halo: bool = False
) -> str:
    around = " stroke='white' stroke-width='4' paint-order='stroke'" if halo else ""
    return f"<text x='{x:.1f}' y='{y:.1f}' text-anchor='{anchor}' fill='{fill}'{around}>{escape(text)}</text>"


def _sideways(x: float, y: float, text: str) -> str:
    return (
        f"<text transform='translate({x:.0f} {y:.0f}) rotate(-90)' text-anchor='middle'>{escape(text)}</text>"
    )


def _svg(width: int, height: int, told: str, drawn: Sequence[str]) -> str:
    return (
        f"<svg xmlns='http://www.w3.org/2000/svg' width='{width}' height='{height}' viewBox='0 0 {width} {height}'"
        f" role='img' {_FONT}><title>{escape(told)}</title>{''.join(drawn)}</svg>"
    )
