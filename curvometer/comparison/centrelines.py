"""A tracing against a reference: every number that tells how two centrelines differ."""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike

from curvometer.comparison.distances import OneWayDistances, frechet_distance, one_way
from curvometer.comparison.offsets import (
    Departure,
    EndDifference,
    OffsetProfile,
    bend_side,
    departures,
    end_difference,
    offset_profile,
)
from curvometer.comparison.polylines import STEP_MM, ComparisonError, Curve, Scale, curve_of, scale_of
from curvometer.geometry import distance

LIMIT_MM = 0.30
"""Distance from which two lines are said to part; in a teacher's scheme, full marks for 95 of 100 places lie below it (common
practice, no source)."""
SHORT_MM = 0.5
"""An end that is off by more than this along the canal is told in words (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class CentrelineComparison:
    """How a traced centreline differs from a reference.

    Attributes
    ----------
    mean_mm
        Mean distance: half of the mean over the tracing's length to the reference, half of the mean over the reference's
        length to the tracing.
    percentile95_mm
        95th percentile of the distance, the larger of the two ways.
    hausdorff_mm
        The largest distance, the larger of the two ways. The exact value is at most half of `step_mm` more.
    frechet_mm, frechet_error_mm
        The shortest leash of two who walk both lines without turning back. The exact value is at most `frechet_error_mm`
        less and never more; mostly the error is 0.
    traced_to_reference, reference_to_traced
        The distances one way.
    orifice, foramen
        The tracing's ends against the reference's.
    traced_length_mm, reference_length_mm
        Lengths of both.
    covered_from_mm, covered_to_mm
        Between these distances from its orifice, along the reference, the tracing runs along it: they are the places of
        the reference nearest to the tracing's ends.
    profile
        The distance beside the reference along it.
    departures
        Stretches where that is beyond `limit_mm`.
    bend_side
        Side to which the reference bends, ``"left"`` or ``"right"`` for one who walks from the orifice to the foramen; None
        where it is straight or bends both ways.
    was_reversed
        The tracing ran from the foramen to the orifice. It was turned round for all of the above.
    limit_mm
        As asked for.
    step_mm
        Distance between the places that were compared.
    """

    mean_mm: float
    percentile95_mm: float
    hausdorff_mm: float
    frechet_mm: float
    frechet_error_mm: float
    traced_to_reference: OneWayDistances
    reference_to_traced: OneWayDistances
    orifice: EndDifference
    foramen: EndDifference
    traced_length_mm: float
    reference_length_mm: float
    covered_from_mm: float
    covered_to_mm: float
    profile: OffsetProfile
    departures: tuple[Departure, ...]
    bend_side: str | None
    was_reversed: bool
    limit_mm: float
    step_mm: float

    @property
    def length_difference_mm(self) -> float:
        """Length of the tracing less that of the reference."""
        return self.traced_length_mm - self.reference_length_mm

    @property
    def coverage(self) -> float:
        """Part of the reference's length along which the tracing runs, 0 to 1."""
        return min(max(0.0, self.covered_to_mm - self.covered_from_mm) / self.reference_length_mm, 1.0)

    @property
    def numbers(self) -> dict[str, float]:
        """What is compared with the experts' spread: by name, in mm, 0 for no difference, never negative."""
        return {
            "mean_mm": self.mean_mm,
            "percentile95_mm": self.percentile95_mm,
            "hausdorff_mm": self.hausdorff_mm,
            "frechet_mm": self.frechet_mm,
            "orifice_along_mm": abs(self.orifice.along_mm),
            "orifice_across_mm": abs(self.orifice.across_mm),
            "foramen_along_mm": abs(self.foramen.along_mm),
            "foramen_across_mm": abs(self.foramen.across_mm),
            "length_difference_mm": abs(self.length_difference_mm),
        }

    @property
    def remarks(self) -> tuple[str, ...]:
        """What a teacher would say first, a sentence each; empty for a tracing that keeps to the reference."""
        return (*_about_course(self), *_about_ends(self), *map(_about_departure, self.departures))


def compare_centrelines(
    traced_rc: ArrayLike,
    reference_rc: ArrayLike,
    *,
    mm_per_pixel: Scale,
    limit_mm: float = LIMIT_MM,
    step_mm: float = STEP_MM,
) -> CentrelineComparison:
    """Compare a traced centreline with a reference.

    Parameters
    ----------
    traced_rc
        (n, 2) points (row, col) in pixels, from the orifice to the foramen. The other way round is noticed.
    reference_rc
        (m, 2) the same of the reference, orifice first.
    mm_per_pixel
        The scale, one number or (per row, per column); 1 for lines in millimetres.
    limit_mm
        Distance beyond which the lines are said to part.
    step_mm
        Distance between the places that are compared. Lines of more than 50 mm are compared in 999 steps.

    Returns
    -------
    CentrelineComparison
        Distances go from places of one line to the other *line*, not to its points, so how densely the points were set does
        not matter.

    Raises
    ------
    ComparisonError
        When a line has fewer than two different points or a coordinate that is not finite, or an option is not positive.

    References
    ----------
    `curvometer.comparison.sources.ALT_GODAU_1995` for the Fréchet distance; definitions and proofs in docs/comparison.md.
    """
    for name, value in (("limit_mm", limit_mm), ("step_mm", step_mm)):
        if not 0.0 < value < float("inf"):
            raise ComparisonError(f"{name} is {value!r}; it needs a positive number of millimetres")
    scale = scale_of(mm_per_pixel)
    traced = curve_of(traced_rc, scale, "traced line", step_mm)
    reference = curve_of(reference_rc, scale, "reference line", step_mm)
    was_reversed = runs_the_other_way(traced, reference)
    return _compare(traced.reversed() if was_reversed else traced, reference, limit_mm, was_reversed)


def runs_the_other_way(traced: Curve, reference: Curve) -> bool:
    """Whether the ends of two lines lie nearer to each other once one line is turned round."""
    ends = reference.at[[0, -1]]
    straight = distance(traced.at[[0, -1]], ends).sum()
    return bool(distance(traced.at[[-1, 0]], ends).sum() < straight)


def _compare(traced: Curve, reference: Curve, limit_mm: float, was_reversed: bool) -> CentrelineComparison:
    on_reference, to_reference = reference.nearest(traced.at)
    on_traced, to_traced = traced.nearest(reference.at)
    there, back = one_way(to_reference), one_way(to_traced)
    hausdorff = max(there.largest_mm, back.largest_mm)
    leash = frechet_distance(traced, reference, on_reference, hausdorff)
    covered = (float(on_reference[0]), float(on_reference[-1]))
    profile = offset_profile(traced, reference, (on_traced, to_traced), covered)
    side = bend_side(reference)
    return CentrelineComparison(
        mean_mm=0.5 * (there.mean_mm + back.mean_mm),
        percentile95_mm=max(there.percentile95_mm, back.percentile95_mm),
        hausdorff_mm=hausdorff,
        frechet_mm=leash.upper,
        frechet_error_mm=leash.upper - leash.lower,
        traced_to_reference=there,
        reference_to_traced=back,
        orifice=end_difference(reference, traced.at[0], (covered[0], float(to_reference[0])), foramen=False),
        foramen=end_difference(reference, traced.at[-1], (covered[1], float(to_reference[-1])), foramen=True),
        traced_length_mm=traced.length,
        reference_length_mm=reference.length,
        covered_from_mm=covered[0],
        covered_to_mm=covered[1],
        profile=profile,
        departures=departures(profile, limit_mm, side),
        bend_side=side,
        was_reversed=was_reversed,
        limit_mm=limit_mm,
        step_mm=max(traced.step, reference.step),
    )


def _about_course(found: CentrelineComparison) -> list[str]:
    said = []
    if found.was_reversed:
        said.append("The tracing runs from the foramen to the orifice; it was turned round to be compared.")
    if found.coverage == 0.0:
        said.append("The tracing does not run along the reference: check that it is the same canal.")
    return said


def _about_ends(found: CentrelineComparison) -> list[str]:
    said = []
    for name, end in (("orifice", found.orifice), ("foramen", found.foramen)):
        if abs(end.along_mm) > SHORT_MM:
            way = "goes beyond" if end.along_mm > 0.0 else "stops short of"
            said.append(f"The tracing {way} the reference's {name} by {abs(end.along_mm):.1f} mm.")
    return said


def _about_departure(part: Departure) -> str:
    where = f"{part.start_from_foramen_mm:.1f} to {part.end_from_foramen_mm:.1f} mm from the foramen"
    side = part.side if part.side.endswith("bend") else f"{part.side} seen towards the foramen"
    return f"From {where} the tracing lies up to {part.largest_mm:.2f} mm off, on the {side}."
