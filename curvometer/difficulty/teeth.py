"""Tooth numbers by ISO 3950 and the canals that a tooth can have."""

from __future__ import annotations

from curvometer.radiograph import CurvometerError

_UPPER_MOLAR = ("MB", "MB2", "DB", "P")
_LOWER_MOLAR = ("MB", "MM", "ML", "DB", "DL", "D")
_LOWER_FRONT = ("single", "B", "L")
_UPPER_PREMOLAR = ("single", "B", "P", "MB", "DB")
_LOWER_PREMOLAR = ("single", "B", "L", "MB", "DB")

_UPPER = {
    1: ("single",),
    2: ("single",),
    3: ("single",),
    4: _UPPER_PREMOLAR,
    5: _UPPER_PREMOLAR,
    6: _UPPER_MOLAR,
    7: ("single", "B", *_UPPER_MOLAR),
    8: ("single", "B", *_UPPER_MOLAR),
}
_LOWER = {
    1: _LOWER_FRONT,
    2: _LOWER_FRONT,
    3: _LOWER_FRONT,
    4: _LOWER_PREMOLAR,
    5: _LOWER_PREMOLAR,
    6: _LOWER_MOLAR,
    7: ("single", "B", "L", *_LOWER_MOLAR),
    8: ("single", "B", "L", *_LOWER_MOLAR),
}
"""Canals with their usual variants (Vertucci and Haddix, Tooth morphology; from memory)."""

POSITIONS = ("anterior", "premolar", "first-molar", "second-or-third-molar")


def check_tooth(tooth: int) -> None:
    """Refuse a number that is no tooth in ISO 3950.

    Raises
    ------
    CurvometerError
        When the number is neither a permanent tooth (11 to 48) nor a primary one (51 to 85).
    """
    quadrant, place = divmod(tooth, 10)
    last = 8 if 1 <= quadrant <= 4 else 5 if 5 <= quadrant <= 8 else 0
    if not 1 <= place <= last:
        raise CurvometerError(
            f"{tooth} is no tooth number (ISO 3950): give quadrant and place, like 16 or 46"
        )


def is_primary(tooth: int) -> bool:
    """Whether the number is a primary tooth's, 51 to 85."""
    return tooth >= 51


def canals_of_tooth(tooth: int) -> tuple[str, ...]:
    """Codes of the canals that a permanent tooth can have; empty for a primary tooth.

    Raises
    ------
    CurvometerError
        When the number is no tooth.
    """
    check_tooth(tooth)
    if is_primary(tooth):
        return ()
    return (_UPPER if tooth < 30 else _LOWER)[tooth % 10]


def check_canal(tooth: int, canal: str) -> None:
    """Refuse a canal that the tooth cannot have.

    Raises
    ------
    CurvometerError
        When the code does not belong to the tooth.
    """
    known = canals_of_tooth(tooth)
    if known and canal not in known:
        raise CurvometerError(
            f"tooth {tooth} has no canal {canal!r}: give one of {', '.join(known)}, or correct the tooth"
        )


def position_of(tooth: int) -> str:
    """Place in the arch: one of `POSITIONS`."""
    place = tooth % 10
    if is_primary(tooth):
        return "anterior" if place <= 3 else "first-molar"
    if place <= 3:
        return "anterior"
    return "premolar" if place <= 5 else "first-molar" if place == 6 else "second-or-third-molar"
