"""Bland and Altman's plot of one pair, drawn in SVG without a plotting library."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import numpy as np

from curvometer.agreement.compare import PairAgreement
from curvometer.agreement.differences import LimitsOfAgreement
from curvometer.agreement.estimate import Estimate, FloatArray

WIDTH, HEIGHT = 560, 360
LEFT, RIGHT, TOP, BOTTOM = 70, 120, 44, 52
BLUE, ORANGE, INK, GREY = "#0072b2", "#d55e00", "#222222", "#777777"


class _Axis:
    """A straight scale from values to positions on the page."""

    def __init__(self, values: Sequence[float], start: float, end: float) -> None:
        low, high = min(values), max(values)
        margin = 0.06 * (high - low) or max(abs(high), 1.0) * 0.1
        self.low, self.high, self.start, self.end = low - margin, high + margin, start, end

    def at(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def ticks(self) -> list[float]:
        """Give some five round numbers: steps of 1, 2 or 5 times a power of ten."""
        rough = (self.high - self.low) / 5.0
        power = 10.0 ** np.floor(np.log10(rough))
        step = float(power * next(m for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough))
        first, last = int(np.ceil(self.low / step)), int(np.floor(self.high / step))
        return [i * step for i in range(first, last + 1)]


def bland_altman_panel(
    pair: PairAgreement, values: FloatArray, limits: LimitsOfAgreement, *, title: str, unit: str
) -> str:
    """Draw differences against means, with bias, limits and their intervals.

    Parameters
    ----------
    pair
        Whose the values are.
    values
        (subjects, 2) numbers.
    limits
        Their limits of agreement.
    title, unit
        In words; escaped here.

    Returns
    -------
    str
        SVG elements in a field of `WIDTH` by `HEIGHT`.
    """
    means, differences = values.mean(axis=1), values[:, 0] - values[:, 1]
    x = _Axis([float(means.min()), float(means.max())], LEFT, WIDTH - RIGHT)
    y = _Axis(_heights(differences, limits), HEIGHT - BOTTOM, TOP)
    first, second = (short_name(name) for name in (pair.first, pair.second))
    in_unit = f", {escape(unit)}" if unit else ""
    middle = (LEFT + WIDTH - RIGHT) / 2
    return "".join(
        [
            panel_title(title),
            *_frame(x, y),
            *(
                _level(y, estimate, colour, word)
                for estimate, colour, word in (
                    (limits.bias, BLUE, "mean"),
                    (limits.lower, ORANGE, f"−{limits.rule.value} SD"),
                    (limits.upper, ORANGE, f"+{limits.rule.value} SD"),
                )
                if limits.sd > 0.0 or word == "mean"  # else all three lie on each other
            ),
            *(
                f"<circle cx='{x.at(float(m)):.1f}' cy='{y.at(float(d)):.1f}' r='3.2' fill='none' stroke='{INK}'/>"
                for m, d in zip(means, differences, strict=True)
            ),
            f"<text x='{middle}' y='{HEIGHT - 12}' text-anchor='middle'>mean of both{in_unit}</text>",
            f"<text transform='translate(16 {(TOP + HEIGHT - BOTTOM) / 2}) rotate(-90)' text-anchor='middle'>"
            f"{first} − {second}{in_unit}</text>",
        ]
    )


def _heights(differences: FloatArray, limits: LimitsOfAgreement) -> list[float]:
    """Everything that must fit: the dots, the limits and their intervals, and 0."""
    heights = [0.0, float(differences.min()), float(differences.max())]
    for estimate in (limits.bias, limits.lower, limits.upper):
        heights += [each for each in (estimate.value, estimate.lower, estimate.upper) if each is not None]
    return heights


def _frame(x: _Axis, y: _Axis) -> list[str]:
    bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
    drawn = [
        f"<path d='M{LEFT} {TOP}V{bottom}H{right}' fill='none' stroke='{INK}'/>",
        f"<path d='M{LEFT} {y.at(0.0):.1f}H{right}' stroke='{GREY}' stroke-dasharray='1 3'/>",
    ]
    for tick in x.ticks():
        drawn.append(f"<path d='M{x.at(tick):.1f} {bottom}v5' stroke='{INK}'/>")
        drawn.append(
            f"<text x='{x.at(tick):.1f}' y='{bottom + 18}' text-anchor='middle'>{_number(tick)}</text>"
        )
    for tick in y.ticks():
        drawn.append(f"<path d='M{LEFT} {y.at(tick):.1f}h-5' stroke='{INK}'/>")
        drawn.append(
            f"<text x='{LEFT - 8}' y='{y.at(tick) + 4:.1f}' text-anchor='end'>{_number(tick)}</text>"
        )
    return drawn


def _level(y: _Axis, estimate: Estimate, colour: str, word: str) -> str:
    """A line across with its interval as a band, and its value beside it."""
    right, height = WIDTH - RIGHT, y.at(estimate.value)
    band = ""
    if estimate.lower is not None and estimate.upper is not None:
        top, bottom = y.at(estimate.upper), y.at(estimate.lower)
        band = (
            f"<rect x='{LEFT}' y='{top:.1f}' width='{right - LEFT}' height='{bottom - top:.1f}' fill='{colour}'"
            " fill-opacity='0.12'/>"
        )
    dash = "" if word == "mean" else " stroke-dasharray='6 3'"
    return (
        f"{band}<path d='M{LEFT} {height:.1f}H{right}' stroke='{colour}'{dash}/>"
        f"<text x='{right + 6}' y='{height + 4:.1f}' fill='{colour}'>{word} {_number(estimate.value)}</text>"
    )


def _number(value: float) -> str:
    text = f"{value:.3g}" if abs(value) < 1000.0 else f"{value:.0f}"
    return "0" if text in ("-0", "0") else text.replace("-", "−")


def panel_title(title: str) -> str:
    """Put a title over a panel."""
    return f"<text x='{LEFT}' y='24' font-size='14' font-weight='bold'>{escape(title)}</text>"


def short_name(name: str, letters: int = 18) -> str:
    """Escape a name and cut it where it would run into other words."""
    return escape(name if len(name) <= letters else f"{name[: letters - 1]}…", quote=True)
