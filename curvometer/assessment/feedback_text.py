"""Marks of one image as sentences, for a student's sheet and for practice."""

from __future__ import annotations

from curvometer.assessment.marks import ImageMark

MOST_REASONS = 6


def feedback_words(mark: ImageMark) -> tuple[str, ...]:
    """Tell a student what was found, the weightiest first.

    Parameters
    ----------
    mark
        Of one image.

    Returns
    -------
    tuple of str
        The points; what limits them; why each item lost points, each reason once.
    """
    told = [f"{number(mark.points)} of {number(mark.out_of)} points."]
    if mark.cap_reason:
        told.append(mark.cap_reason)
    lost = sorted(
        (item for item in mark.items if item.points < item.out_of), key=lambda item: item.points - item.out_of
    )
    reasons = dict.fromkeys(item.reason for item in lost)
    told += list(reasons)[:MOST_REASONS]
    return tuple(told) if lost or mark.cap_reason else (*told, "Nothing to correct.")


def number(points: float) -> str:
    """Points with a digit behind the point where there is something to tell."""
    return f"{points:.1f}".removesuffix(".0")
