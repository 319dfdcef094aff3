"""How a word of the command line becomes a number, a position or a name."""

from __future__ import annotations

import argparse
import re

PointRC = tuple[float, float]

_COMMAS = re.compile(r"\s*,\s*")


class UsageError(Exception):
    """The command line itself is wrong; its text is one sentence."""


def point(text: str) -> PointRC:
    """Read ``X,Y`` as a (row, col) position."""
    parts = _COMMAS.split(text.strip())
    if len(parts) != 2:
        raise argparse.ArgumentTypeError(f"{text!r} is not a position; give X,Y in pixels, like 412,96")
    x, y = (finite(part) for part in parts)
    return (y, x)


def path(text: str) -> list[PointRC]:
    """Read ``"X,Y X,Y ..."`` as (row, col) positions."""
    points = [point(word) for word in _COMMAS.sub(",", text.strip()).split()]
    if len(points) < 2:
        raise argparse.ArgumentTypeError(
            f'{text!r} has {len(points)} position(s); give at least two along it, like "410,80 418,330"'
        )
    return points


def finite(text: str) -> float:
    """Read a finite number."""
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e9:  # also catches NaN; no image is a billion pixels wide
        raise argparse.ArgumentTypeError(f"{text!r} is not a usable number; give one like 21.0")
    return value


def positive(text: str) -> float:
    """Read a number above zero."""
    value = finite(text)
    if value <= 0.0:
        raise argparse.ArgumentTypeError(f"{text} must be above 0")
    return value


def not_negative(text: str) -> float:
    """Read a number of zero or more."""
    value = finite(text)
    if value < 0.0:
        raise argparse.ArgumentTypeError(f"{text} must not be below 0")
    return value


def interval(text: str) -> tuple[float, float]:
    """Read ``LO,HI`` as the two ends of an interval."""
    parts = _COMMAS.split(text.strip())
    if len(parts) != 2:
        raise argparse.ArgumentTypeError(f"{text!r} is not an interval; give LO,HI like 27.5,33")
    low, high = (not_negative(part) for part in parts)
    if low > high:
        raise argparse.ArgumentTypeError(f"{text!r} runs backwards; give the smaller end first")
    return (low, high)


def visibility(text: str) -> str:
    """Read how well the canal can be seen; other commands say "visible" for clear."""
    return "clear" if text == "visible" else text


def explored(text: str) -> tuple[int, float]:
    """Read ``SIZE:MM`` as a hand size and the depth it reached."""
    size, _, depth = text.partition(":")
    if not re.fullmatch(r"\d{1,3}", size) or not depth:
        raise argparse.ArgumentTypeError(f"{text!r} is no explored depth; give SIZE:MM like 8:17.5")
    return int(size), not_negative(depth)


def whole(text: str) -> int:
    """Read a whole number of zero or more."""
    if not re.fullmatch(r"\d{1,9}", text):
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number; give one like 7")
    return int(text)


def counting(text: str) -> int:
    """Read a whole number from 1 to 1000."""
    if not 1 <= (number := whole(text)) <= 1000:
        raise argparse.ArgumentTypeError(f"{text} must be from 1 to 1000")
    return number


def file_name(text: str) -> str:
    """Read a file name without folder."""
    if not re.fullmatch(r"[\w][\w.-]{0,99}", text):
        raise argparse.ArgumentTypeError(f"{text!r} is not a plain name; use letters, digits, - and _")
    return text
