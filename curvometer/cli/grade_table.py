"""The printed grades: a row per criteria set, then what decided, what is missing, the suggestion and the cautions."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterator, Sequence

from curvometer.difficulty import (
    GRADING_CAUTIONS,
    DifficultyGrade,
    ReferralSuggestion,
    disagreement,
    missing_words,
    source_words,
)
from curvometer.measurement import MeasurementFlag, Severity

_MARKS = {Severity.NOTE: "note", Severity.CAUTION: "CAUTION", Severity.DO_NOT_TRUST: "DO NOT TRUST"}
_NARROWEST, _WIDEST = 72, 110
_FIRST = 36

Canal = tuple[str | None, Sequence[DifficultyGrade], ReferralSuggestion | None]


def grades_text(canals: Sequence[Canal], *, source: str, assumed: Sequence[str] = ()) -> str:
    """Tell the grades of all canals in words that a clinician reads.

    Parameters
    ----------
    canals
        Name, grades and suggestion of each canal.
    source
        The record's name, or the what-if in words.
    assumed
        What a what-if takes for granted, one sentence each.

    Returns
    -------
    str
        Several lines, no line break at the end.
    """
    width = min(max(shutil.get_terminal_size((100, 24)).columns, _NARROWEST), _WIDEST)
    lines: list[str] = []
    for name, grades, suggestion in canals:
        title = source if name is None else f"{source}, canal {name}"
        lines += [f"Difficulty: {title}", "", *_canal(grades, suggestion, width), ""]
    lines += textwrap.wrap(" ".join([*assumed, *GRADING_CAUTIONS]), width)
    return "\n".join(line.rstrip() for line in lines)


def _canal(
    grades: Sequence[DifficultyGrade], suggestion: ReferralSuggestion | None, width: int
) -> Iterator[str]:
    flags = {flag.code: flag for grade in grades for flag in grade.flags}
    stop = [code for code, flag in flags.items() if flag.severity is Severity.DO_NOT_TRUST]
    if stop:
        yield f"DO NOT TRUST these grades: {', '.join(stop)}, explained below."
        yield ""
    yield f"{'Criteria':<{_FIRST}}Grade"
    yield "-" * width
    for grade in grades:
        yield from _grade(grade, width)
    yield "-" * width
    if told := disagreement(grades):
        yield from textwrap.wrap(told, width)
    yield from _suggestion(suggestion, width)
    yield from _missing(grades, width)
    yield from _flags(list(flags.values()), width)
    yield from _sources(grades, width)


def _grade(grade: DifficultyGrade, width: int) -> Iterator[str]:
    indent = " " * _FIRST
    start = f"{grade.criteria.title:<{_FIRST}}"
    if grade.grade is None:
        yield from textwrap.wrap(grade.words, width, initial_indent=start, subsequent_indent=indent)
        return
    yield from textwrap.wrap(grade.words, width, initial_indent=start, subsequent_indent=indent)
    for text in (f"by {grade.deciding_factor}", grade.doubt):
        yield from textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent + "  ")


def _suggestion(suggestion: ReferralSuggestion | None, width: int) -> Iterator[str]:
    if suggestion is None:
        return
    yield ""
    yield from textwrap.wrap(str(suggestion), width)
    for reason in suggestion.reasons:
        yield from textwrap.wrap(reason, width, initial_indent="  - ", subsequent_indent="    ")


def _missing(grades: Sequence[DifficultyGrade], width: int) -> Iterator[str]:
    """What nobody said, per set, and what the grade would become."""
    lacking = [grade for grade in grades if grade.missing]
    if not lacking:
        return
    yield ""
    yield "Not known, and what the grade would become with it"
    for grade in lacking:
        yield from textwrap.wrap(missing_words(grade), width, initial_indent="  ", subsequent_indent="    ")


def _flags(flags: list[MeasurementFlag], width: int) -> Iterator[str]:
    if not flags:
        return
    order = list(reversed(Severity))
    yield ""
    yield "Flags of the measurement"
    for flag in sorted(flags, key=lambda flag: order.index(flag.severity)):
        text = f"{_MARKS[flag.severity]} {flag.code}: {flag.text}"
        yield from textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="      ")


def _sources(grades: Sequence[DifficultyGrade], width: int) -> Iterator[str]:
    yield ""
    yield "Sources"
    for grade in grades:
        yield from textwrap.wrap(source_words(grade), width, initial_indent="  ", subsequent_indent="    ")
