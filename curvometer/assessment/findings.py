"""Everything that is found about one answer before points are given: what marks and error kinds are read off."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from curvometer.assessment.comparing import (
    Compared,
    ReferenceLine,
    compare,
    runs_backwards,
    traced_canal,
    turned_round,
)
from curvometer.assessment.expectations import ImageExpectation
from curvometer.assessment.plan_marking import PlanFindings, check_proposal
from curvometer.assessment.rubric import Item
from curvometer.assessment.submission import Answer
from curvometer.centreline import Centreline
from curvometer.comparison import compare_centrelines
from curvometer.radiograph import CurvometerError

ELSEWHERE_MM = 1.0
"""Mean distance above which a tracing is not of this canal: some canal widths (common practice, no source). What it measures
is then right by chance only."""
FITS_MM, FITS_FAR_MM = 0.30, 0.60
"""Mean distance and 95th percentile up to which a tracing is taken for one of another image's canal: the limits for half of
the points."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Findings:
    """What was found about one answer.

    Attributes
    ----------
    other_image
        The image that was worked on instead; ``"unknown"`` when it is none of the exercise; empty when it is the right one.
    wrong_file
        The answer names another file than the sheet: nothing of it belongs to this image.
    scale_ratio
        The student's scale over the reference's; None without one.
    compared
        None without a tracing that could be measured.
    refusal
        Why the tracing could not be measured.
    was_reversed
        It ran from the foramen to the orifice; it is compared turned round.
    elsewhere
        It is not of this canal.
    plan
        What is wrong with the plan.
    """

    other_image: str = ""
    wrong_file: bool = False
    scale_ratio: float | None = None
    compared: Compared | None = None
    refusal: str = ""
    was_reversed: bool = False
    elsewhere: bool = False
    plan: PlanFindings = field(default_factory=PlanFindings)

    def error(self, item: Item) -> float:
        """Size of an item's error in its unit; infinite where nothing can be compared."""
        if item is Item.CALIBRATION:
            return math.inf if self.scale_ratio is None else 100.0 * abs(self.scale_ratio - 1.0)
        if self.compared is None or self.elsewhere or (self.was_reversed and item in (Item.CURVE, Item.ENDS)):
            return math.inf
        return self.compared.errors[item]

    @property
    def numbers(self) -> dict[str, float]:
        """What was compared, by names with units, for tables."""
        found: dict[str, float] = {}
        if self.scale_ratio is not None:
            found["scale_error_percent"] = 100.0 * (self.scale_ratio - 1.0)
        if self.compared is not None:
            found |= _numbers(self.compared)
        return {name: value for name, value in found.items() if math.isfinite(value)}


def find(images: Mapping[str, ImageExpectation], image_id: str, answer: Answer) -> Findings:
    """Compare an answer with what is expected.

    Parameters
    ----------
    images
        Every image of the exercise: a tracing may be one of another image.
    image_id, answer
        Which image, and the student's work on it.
    """
    expected = images[image_id]
    other = _other_file(images, expected, answer)
    if other:
        return Findings(other_image=other, wrong_file=True)
    plan = PlanFindings()
    if answer.plan is not None and expected.request is not None:
        plan = check_proposal(answer.plan, expected.request)
    ratio = _scale_ratio(expected, answer)
    if expected.line is None or answer.canal is None:
        return Findings(scale_ratio=ratio, plan=plan)
    centreline = answer.canal.to_centreline()
    try:
        backwards = runs_backwards(centreline.points_rc, expected.line)
        traced = traced_canal(
            turned_round(centreline) if backwards else centreline,
            expected.line.spacing_rc_mm,
            expected.line.shape,
        )
        compared = compare(expected.line, traced)
    except CurvometerError as error:
        return Findings(scale_ratio=ratio, plan=plan, refusal=str(error))
    elsewhere = compared.lines.mean_mm > max(ELSEWHERE_MM, _widest(expected))
    return Findings(
        scale_ratio=ratio,
        compared=compared,
        was_reversed=backwards,
        elsewhere=elsewhere,
        other_image=_other_canal(images, image_id, centreline) if elsewhere else "",
        plan=plan,
    )


def _other_file(images: Mapping[str, ImageExpectation], expected: ImageExpectation, answer: Answer) -> str:
    if answer.sha256 == expected.sheet.sha256:
        return ""
    same = [name for name, image in images.items() if image.sheet.sha256 == answer.sha256]
    return same[0] if same else "unknown"


def _widest(expected: ImageExpectation) -> float:
    band = expected.bands.get(Item.MEAN_DISTANCE)
    return 0.0 if band is None else 2.0 * band.full


def _scale_ratio(expected: ImageExpectation, answer: Answer) -> float | None:
    if expected.mm_per_pixel is None or answer.calibration is None or not answer.calibration.at_tooth:
        return None
    spacing = answer.calibration.spacing_xy_mm
    return None if spacing is None else math.sqrt(spacing[0] * spacing[1]) / expected.mm_per_pixel


def _other_canal(images: Mapping[str, ImageExpectation], image_id: str, centreline: Centreline) -> str:
    """Another image whose reference the tracing fits."""
    for name, image in images.items():
        if name != image_id and image.line is not None and _fits(image.line, centreline):
            return name
    return ""


def _fits(line: ReferenceLine, centreline: Centreline) -> bool:
    try:
        found = compare_centrelines(
            centreline.points_rc, line.points_rc, mm_per_pixel=line.spacing_rc_mm, step_mm=0.3
        )
    except CurvometerError:
        return False
    return bool(found.mean_mm <= FITS_MM and found.percentile95_mm <= FITS_FAR_MM)


def _numbers(compared: Compared) -> dict[str, float]:
    lines, traced = compared.lines, compared.traced
    found = {
        "mean_distance_mm": lines.mean_mm,
        "distance_95th_percentile_mm": lines.percentile95_mm,
        "hausdorff_mm": lines.hausdorff_mm,
        "frechet_mm": lines.frechet_mm,
        "orifice_beyond_mm": lines.orifice.along_mm,
        "foramen_beyond_mm": lines.foramen.along_mm,
        "unsteady_mm": compared.unsteady_mm,
        "angle_deg": traced.angle_deg,
        "angle_error_deg": compared.angle_difference_deg,
        "curvature_error_percent": compared.curvature_difference_percent,
    }
    for name, shift in (
        ("curve_start_shift_mm", compared.start_shift_mm),
        ("curve_end_shift_mm", compared.end_shift_mm),
    ):
        if shift is not None:
            found[name] = shift
    return found
