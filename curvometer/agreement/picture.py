"""The picture of an agreement report: a panel per pair of raters, then per rater with itself."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from curvometer.agreement.compare import AgreementReport, PairAgreement
from curvometer.agreement.drawing import (
    BLUE,
    HEIGHT,
    INK,
    LEFT,
    TOP,
    WIDTH,
    bland_altman_panel,
    panel_title,
    short_name,
)
from curvometer.agreement.estimate import AgreementError, Estimate

MOST_PANELS = 12
CELLS_LEFT = 150
SMALLEST_CELL, LARGEST_CELL = 22, 64
LETTER_PX = 7
"""Room that a letter of this size needs, about."""
_FONT = "font-family='sans-serif' font-size='12'"


def agreement_svg(report: AgreementReport) -> str:
    """Draw each pair: differences against means for numbers, a table of counts for grades.

    Parameters
    ----------
    report
        From `examiner_agreement`. Pairs of raters come first, then each rater with itself; `MOST_PANELS` are drawn.

    Returns
    -------
    str
        A whole SVG document.

    Raises
    ------
    AgreementError
        When there is no pair.
    """
    panels = [_panel(pair, title, report.unit) for pair, title in titled_pairs(report)][:MOST_PANELS]
    if not panels:
        raise AgreementError(
            "there is no pair to draw: two raters, or two occasions, need two subjects in common; leave out the plot"
        )
    placed, height = [], 0
    for panel, its_height in panels:
        placed.append(f"<g transform='translate(0 {height})'>{panel}</g>\n")
        height += its_height
    return (
        f"<svg xmlns='http://www.w3.org/2000/svg' width='{WIDTH}' height='{height}' viewBox='0 0 {WIDTH} {height}'"
        f" {_FONT} fill='{INK}'>\n<title>Examiner agreement, pair by pair</title>\n"
        f"<rect width='{WIDTH}' height='{height}' fill='white'/>\n{''.join(placed)}</svg>\n"
    )


def titled_pairs(report: AgreementReport) -> list[tuple[PairAgreement, str]]:
    """Give every pair of a report in the order of drawing, with its title."""
    comparisons = [*([] if report.between is None else [report.between]), *report.within]
    return [
        (pair, f"{_whose(comparison.rater)}{pair.first} against {pair.second}, {pair.subjects} subjects")
        for comparison in comparisons
        for pair in comparison.pairs
    ]


def _whose(rater: str | None) -> str:
    return "" if rater is None else f"{rater}, occasion "


def _panel(pair: PairAgreement, title: str, unit: str) -> tuple[str, int]:
    """Give a panel's elements and its height."""
    if pair.values is not None and pair.limits is not None:
        return bland_altman_panel(pair, pair.values, pair.limits, title=title, unit=unit), HEIGHT
    return _count_panel(pair, title)


def _count_panel(pair: PairAgreement, title: str) -> tuple[str, int]:
    """Draw how often each grade met each: the diagonal is agreement."""
    count = len(pair.grades)
    cell = min(LARGEST_CELL, max(SMALLEST_CELL, (WIDTH - CELLS_LEFT - 20) // max(count, 1)))
    top = TOP + 48
    first, second = (short_name(name) for name in (pair.first, pair.second))
    drawn = [
        panel_title(title),
        f"<text x='{LEFT}' y='44'>{escape(_in_words(pair))}</text>",
        f"<text x='{CELLS_LEFT + count * cell / 2}' y='{top - 24}' text-anchor='middle'>{second}</text>",
        f"<text transform='translate(20 {top + count * cell / 2}) rotate(-90)' text-anchor='middle'>{first}</text>",
        *_cells(pair, cell, top),
    ]
    for place, grade in enumerate(pair.grades):
        middle = (place + 0.5) * cell
        drawn.append(
            f"<text x='{CELLS_LEFT - 8}' y='{top + middle + 4:.0f}' text-anchor='end'>{short_name(str(grade), 14)}</text>"
        )
        above = short_name(str(grade), cell // LETTER_PX)
        drawn.append(f"<text x='{CELLS_LEFT + middle:.0f}' y='{top - 6}' text-anchor='middle'>{above}</text>")
    return "".join(drawn), top + count * cell + 24


def _cells(pair: PairAgreement, cell: int, top: int) -> Iterator[str]:
    counts = [] if pair.counts is None else pair.counts.tolist()
    most = max((value for row in counts for value in row), default=0)
    for i, row in enumerate(counts):
        for j, value in enumerate(row):
            x, y = CELLS_LEFT + j * cell, top + i * cell
            # The shade repeats the number; the diagonal has a frame, so that it is found without colour.
            shade = 0.65 * value / most if most else 0.0
            edge = f"stroke='{INK}' stroke-width='1.6'" if i == j else "stroke='#bbbbbb'"
            yield (
                f"<rect x='{x + 1}' y='{y + 1}' width='{cell - 2}' height='{cell - 2}' fill='{BLUE}'"
                f" fill-opacity='{shade:.2f}' {edge}/>"
                f"<text x='{x + cell / 2}' y='{y + cell / 2 + 4}' text-anchor='middle'>{value}</text>"
            )


def _in_words(pair: PairAgreement) -> str:
    if pair.counts is None:
        return ""
    told = [f"{int(pair.counts.trace())} of {pair.subjects} alike"]
    for name, kappa in (("kappa", pair.kappa), ("weighted kappa", pair.weighted_kappa)):
        if kappa is not None:
            told.append(f"{name} {_estimate(kappa)}")
    return "; ".join(told)


def _estimate(estimate: Estimate) -> str:
    if estimate.lower is None or estimate.upper is None:
        return f"{estimate.value:.2f}"
    return f"{estimate.value:.2f} ({estimate.lower:.2f} to {estimate.upper:.2f})"
