"""Reasons for the points of a tracing: what was done, which way, and what that did to the angle."""

from __future__ import annotations

from dataclasses import replace

from curvometer.assessment.comparing import Compared
from curvometer.assessment.expectations import ImageExpectation
from curvometer.assessment.findings import Findings
from curvometer.assessment.rubric import Item
from curvometer.comparison import AngleCauses, angle_causes
from curvometer.measurement import CanalMeasurement

TOLD_DEG = 0.5
"""A cause that changes the angle by less is not told."""
TOLD_MM = 0.5
"""An end or a start that is off by less is not told."""
LENGTH_SLIPS = ((21.0, 25.0), (25.0, 31.0), (21.0, 31.0), (25.0, 28.0), (28.0, 31.0), (21.0, 28.0))
"""Lengths of instruments that are taken for each other, mm."""
SLIP_WITHIN = 0.02
"""How near a ratio must be to one of them."""


def found(item: Item, findings: Findings, error: float, unit: str, *, limits: tuple[float, float]) -> str:
    """What was compared, in words; `limits` are those of all and of half of the points."""
    if item is Item.CALIBRATION and findings.scale_ratio is not None:
        if error < 0.05:
            return "scale as the reference's"
        way = "larger" if findings.scale_ratio >= 1.0 else "smaller"
        return f"scale {error:.1f} % {way} than the reference's"
    compared = findings.compared
    if compared is None:
        return ""
    if item is Item.ANGLE:
        return f"{compared.traced.angle_deg:.1f} degrees, the reference {compared.reference.angle_deg:.1f}"
    if item is Item.RADIUS:
        return f"curvature {error:.0f} % off the reference's{_radii(compared)}"
    names = {
        Item.MEAN_DISTANCE: "from the reference on average",
        Item.FAR_DISTANCE: "or less on 95 % of the line",
        Item.HAUSDORFF: "at the farthest place",
        Item.FRECHET: "between two who walk both lines side by side",
        Item.ENDS: "at the farther end",
        Item.CURVE: "at the start or the end of the curve",
    }
    return f"{told_beside(error, limits)} {unit} {names[item]}"


def told_beside(error: float, limits: tuple[float, float]) -> str:
    """A number with as many digits as tell on which side of each limit it lies: 0.152 beside a limit of 0.15."""
    for digits in (2, 3, 4):
        rounded = round(error, digits)
        if all((rounded <= limit) == (error <= limit) for limit in limits):
            return f"{error:.{digits}f}"
    return f"{error:.4f}"


def reason(item: Item, findings: Findings, expected: ImageExpectation, share: float) -> str:
    """Why these points, in a sentence that a student can learn from."""
    if item is Item.CALIBRATION:
        return "The scale is right." if share == 1.0 else scale_words(findings, expected)
    if findings.compared is None or share == 1.0:
        return _PRAISE[item]
    words = _REASONS.get(item, where_they_part)
    return words(findings.compared, expected)


_PRAISE = {
    Item.MEAN_DISTANCE: "Your line keeps to the canal.",
    Item.FAR_DISTANCE: "Nowhere does your line part from the canal.",
    Item.HAUSDORFF: "Nowhere does your line part from the canal.",
    Item.FRECHET: "Nowhere does your line part from the canal.",
    Item.ENDS: "Orifice and foramen are where they should be.",
    Item.CURVE: "The curve starts and ends where it should.",
    Item.ANGLE: "The angle is right.",
    Item.RADIUS: "The radius is right.",
}


def scale_words(findings: Findings, expected: ImageExpectation) -> str:
    """How a scale may have slipped."""
    ratio, known = findings.scale_ratio, expected.sheet.known_length
    if ratio is None:
        return "You set no scale."
    for one, other in LENGTH_SLIPS:
        for marked, taken in ((one, other), (other, one)):
            if abs(ratio * marked / taken - 1.0) < SLIP_WITHIN:
                return (
                    f"Every length comes out {_times(ratio)}: as if an instrument of {marked:g} mm were taken for one of"
                    f" {taken:g} mm; read the length before you calibrate."
                )
    if known is None:
        return f"Every length comes out {_times(ratio)}; mark the ends of the known length again."
    told = f"as if {known.what} were {known.length_mm * ratio:.1f} mm long instead of {known.length_mm:g}"
    return f"Every length comes out {_times(ratio)}: {told}; mark both of its ends exactly."


def _times(ratio: float) -> str:
    return f"{100.0 * abs(ratio - 1.0):.0f} % too {'long' if ratio > 1.0 else 'short'}"


def curve_words(compared: Compared, expected: ImageExpectation) -> str:
    """Where the curve was said to start or end, and what that did to the angle."""
    told = []
    for name, shift in (("start", compared.start_shift_mm), ("end", compared.end_shift_mm)):
        if shift is not None and abs(shift) >= TOLD_MM:
            way = "foramen" if shift > 0.0 else "orifice"
            told.append(f"You set the {name} of the curve {abs(shift):.1f} mm too far towards the {way}")
    causes = causes_of(compared, expected)
    if (
        told
        and causes is not None
        and abs(causes.curve_start_deg) >= TOLD_DEG
        and told[0].startswith("You set the start")
    ):
        told[0] += f"; that alone makes the angle {_degrees(causes.curve_start_deg)}"
        if abs(compared.angle_difference_deg) < 0.5 * abs(causes.curve_start_deg):
            told[0] += ", which the course of your line makes up for"
    return ". ".join(told) + "." if told else "The curve starts or ends elsewhere."


def angle_words(compared: Compared, expected: ImageExpectation) -> str:
    """By how much the angle is off, and why."""
    whole = f"Your angle is {_degrees(compared.angle_difference_deg)} than the reference's"
    causes = causes_of(compared, expected)
    if causes is None:
        return f"{whole}."
    parts = [
        (causes.curve_start_deg, "the start of the curve"),
        (causes.foramen_deg, "the foramen"),
        (causes.line_deg, "the course of the line"),
    ]
    told = [
        f"{words} makes it {_degrees(part)}"
        for part, words in sorted(parts, key=lambda p: -abs(p[0]))
        if abs(part) >= TOLD_DEG
    ]
    return f"{whole}: {', '.join(told)}." if told else f"{whole}."


def causes_of(compared: Compared, expected: ImageExpectation) -> AngleCauses | None:
    """What makes the angle differ; None where one of the lines is straight."""
    reference = expected.measurement
    if reference is None or reference.schneider_angle is None:
        return None
    row, column = compared.reference.spacing_rc_mm
    return angle_causes(_as_measured(compared, reference), reference, pixel_aspect=row / column)


def _as_measured(compared: Compared, reference: CanalMeasurement) -> CanalMeasurement:
    """The tracing's values in the form of a measurement; what the causes do not look at stays the reference's."""
    quantity = reference.schneider_angle
    angle = compared.traced.angle_deg
    return replace(
        reference,
        schneider_angle=None
        if quantity is None
        else replace(quantity, value=angle, lower=angle, upper=angle),
        landmarks=compared.traced.values.landmarks,
    )


def where_they_part(compared: Compared, _: ImageExpectation) -> str:
    """The weightiest departure, or the end that is off."""
    lines = compared.lines
    told = []
    for name, end in (("orifice", lines.orifice), ("foramen", lines.foramen)):
        if abs(end.along_mm) >= TOLD_MM:
            way = "goes beyond" if end.along_mm > 0.0 else "stops short of"
            told.append(f"Your line {way} the {name} by {abs(end.along_mm):.1f} mm.")
    if lines.departures:
        worst = max(lines.departures, key=lambda part: part.largest_mm)
        side = worst.side if worst.side.endswith("bend") else f"{worst.side} seen towards the foramen"
        told.append(
            f"From {worst.start_from_foramen_mm:.1f} to {worst.end_from_foramen_mm:.1f} mm from the foramen your line lies up"
            f" to {worst.largest_mm:.2f} mm off, on the {side}."
        )
    return " ".join(told) or "Your line lies a little beside the canal along its length."


def _radius_words(compared: Compared, _: ImageExpectation) -> str:
    way = "sharper" if compared.curvature_difference_percent > 0.0 else "gentler"
    return f"Your curve is {way} than the canal's{_radii(compared)}."


def _radii(compared: Compared) -> str:
    mine, its = compared.traced.curvature_per_mm, compared.reference.curvature_per_mm
    if mine <= 0.0 or its <= 0.0:
        return ""
    return f", radius {1.0 / mine:.1f} mm instead of {1.0 / its:.1f}"


def _degrees(value: float) -> str:
    return f"{abs(value):.1f} degrees {'larger' if value > 0.0 else 'smaller'}"


_REASONS = {Item.CURVE: curve_words, Item.ANGLE: angle_words, Item.RADIUS: _radius_words}
