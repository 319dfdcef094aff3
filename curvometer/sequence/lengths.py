"""How long a tooth usually is, to ask about a working length that looks mistyped."""

from __future__ import annotations

from curvometer.difficulty.teeth import is_primary

BELOW_MEAN_MM, ABOVE_MEAN_MM = 4.5, 5.0
"""A working length further from the mean is asked about (common practice, no source)."""

_UPPER_MEANS_MM = (22.5, 22.0, 26.5, 20.6, 21.5, 20.8, 20.0, 17.0)
_LOWER_MEANS_MM = (20.7, 21.1, 25.6, 21.6, 22.3, 21.0, 19.8, 18.5)
"""Mean lengths of the teeth 1 to 8 (Vertucci and Haddix, from memory)."""


def usual_length_mm(tooth: int) -> tuple[float, float] | None:
    """Shortest and longest usual working length of a permanent tooth (ISO 3950 number); None for a milk tooth."""
    if is_primary(tooth):
        return None
    mean = (_UPPER_MEANS_MM if tooth < 30 else _LOWER_MEANS_MM)[tooth % 10 - 1]  # lower from 31 on
    return mean - BELOW_MEAN_MM, mean + ABOVE_MEAN_MM


def length_remark(tooth: int | None, working_length_mm: float | None) -> str | None:
    """A sentence about a working length that is unusual for its tooth; None where there is nothing to ask."""
    usual = None if tooth is None else usual_length_mm(tooth)
    if usual is None or working_length_mm is None or usual[0] <= working_length_mm <= usual[1]:
        return None
    return (
        f"A working length of {working_length_mm:g} mm is unusual for tooth {tooth} ({usual[0]:.1f} to {usual[1]:.1f} mm):"
        " measure it again before any step."
    )
