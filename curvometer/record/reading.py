"""Reading a JSON file that somebody else had in hands: bounded, strict, and every refusal in one sentence."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from pydantic import ValidationError

from curvometer.radiograph import CurvometerError


@dataclass(frozen=True, kw_only=True)
class FileKind:
    """One kind of JSON file, in the words of its refusals.

    Attributes
    ----------
    noun
        What it is: ``"record"``.
    advice
        What to give instead of a wrong one: ``"give a record that curvometer saved"``.
    largest_bytes
        Far above any such file; keeps a wrong one from filling the memory.
    error
        The exception to raise.
    """

    noun: str
    advice: str
    largest_bytes: int
    error: type[CurvometerError]


def read_text(path: Path, kind: FileKind) -> str:
    """Read a whole file of bounded size as UTF-8.

    Raises
    ------
    CurvometerError
        Of the kind's class: when it cannot be read, is too large or no text.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(kind.largest_bytes + 1)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or type(error).__name__).lower()
        raise kind.error(f"the {kind.noun} {path} cannot be read ({reason}): check its name") from error
    if len(content) > kind.largest_bytes:
        size = kind.largest_bytes // 2**20
        raise kind.error(f"{path} is larger than any {kind.noun} ({size} MiB): {kind.advice}")
    return decoded(content, path, kind)


def decoded(content: bytes, path: Path, kind: FileKind) -> str:
    """Turn bytes into text; what is no UTF-8 is refused."""
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise kind.error(f"{path} is not a JSON text: {kind.advice}") from error


def parsed(text: str, path: Path, kind: FileKind) -> Any:
    """Parse JSON; NaN, infinity and endless nesting are refused."""
    try:
        return json.loads(text, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        raise kind.error(f"{path} is not valid JSON ({error}): {kind.advice}") from error


def first_fault(error: ValidationError) -> str:
    """Tell the first thing that is wrong, with its place, in a few words."""
    fault = error.errors(include_url=False)[0]
    place = ".".join(str(part) for part in fault["loc"]) or "the whole"
    told = fault["msg"].removeprefix("Value error, ")
    return f"at {place}: {told[:1].lower()}{told[1:]}"


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number")
