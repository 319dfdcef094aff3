"""Several experts' lines of one canal: their common line, and how far they themselves differ."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from curvometer.comparison.centrelines import (
    LIMIT_MM,
    CentrelineComparison,
    compare_centrelines,
    runs_the_other_way,
)
from curvometer.comparison.polylines import STEP_MM, ComparisonError, Scale, curve_of, scale_of
from curvometer.geometry import FloatArray, resample

CONSENSUS_POINTS = 400


@dataclass(frozen=True, kw_only=True)
class ExpertBand:
    """What several experts agree on, and how well.

    Attributes
    ----------
    consensus_rc
        (400, 2) the mean line, (row, col) in pixels, orifice first.
    spread
        For each number of `CentrelineComparison.numbers`, the largest that any expert has against the mean line of the
        others, or against that of all. Empty for a single expert: no spread is known.
    experts
        How many.
    reversed_experts
        Places in the list of those whose line ran the other way than the first one's; they were turned round.
    """

    consensus_rc: FloatArray
    spread: dict[str, float]
    experts: int
    reversed_experts: tuple[int, ...] = ()

    def beyond(self, comparison: CentrelineComparison) -> dict[str, float]:
        """How far each number of a comparison with the consensus lies outside the experts' own spread, mm; 0 within it."""
        return {
            name: max(0.0, value - self.spread.get(name, 0.0)) for name, value in comparison.numbers.items()
        }


def expert_band(
    references: Sequence[ArrayLike],
    *,
    mm_per_pixel: Scale,
    limit_mm: float = LIMIT_MM,
    step_mm: float = STEP_MM,
) -> ExpertBand:
    """Make one reference of several experts' lines, with the tolerance that their own differences ask for.

    Parameters
    ----------
    references
        One line per expert, each (n, 2) points (row, col) in pixels, orifice first; n may differ.
    mm_per_pixel, limit_mm, step_mm
        As for `compare_centrelines`.

    Returns
    -------
    ExpertBand
        No expert lies outside it, neither against the consensus nor against that of the others.

    Raises
    ------
    ComparisonError
        When there are no lines, or one cannot be compared.

    Notes
    -----
    The consensus is the mean at equal shares of the length. The expert nearest to all others (the medoid) was the
    alternative: of two or three experts, the usual number, it is an arbitrary one, with the whole tremor of that hand. The
    mean flattens a bend a little where experts put their points delta apart along an arc of radius R, by delta^2 / 8R:
    0.01 mm for 0.5 mm at R = 3 mm.
    """
    if not references:
        raise ComparisonError("no expert's line is given: give at least one, better three")
    scale = scale_of(mm_per_pixel)
    curves = [curve_of(line, scale, f"line of expert {i}") for i, line in enumerate(references, 1)]
    turned = tuple(i for i, curve in enumerate(curves) if runs_the_other_way(curve, curves[0]))
    lines = [(curve.reversed() if i in turned else curve).points / scale for i, curve in enumerate(curves)]
    shares = np.array([resample(line * scale, CONSENSUS_POINTS) / scale for line in lines])
    consensus = shares.mean(axis=0)
    views = [consensus] * len(lines)
    if len(lines) > 1:
        views += [np.delete(shares, i, axis=0).mean(axis=0) for i in range(len(lines))]
    seen = [
        compare_centrelines(
            lines[i % len(lines)], view, mm_per_pixel=mm_per_pixel, limit_mm=limit_mm, step_mm=step_mm
        ).numbers
        for i, view in enumerate(views)
    ]
    spread = {name: max(numbers[name] for numbers in seen) for name in seen[0]} if len(lines) > 1 else {}
    return ExpertBand(consensus_rc=consensus, spread=spread, experts=len(lines), reversed_experts=turned)
