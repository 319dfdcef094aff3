"""The printed grades: a row per criteria set, then what decided, what is missing, the suggestion and the cautions."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterator, Sequence

from curvometer.difficulty import (
    GRADING_CAUTIONS,
    DifficultyGrade,
    MissingFact,
    ReferralSuggestion,
    disagreement,
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
        told = f"{grade.criteria.title}: {grade.best_case} at best, {grade.worst_case} at worst."
        text = " ".join([told, *_raising(grade)])
        yield from textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="    ")


def _raising(grade: DifficultyGrade) -> Iterator[str]:
    """Facts that alone would raise the grade, by the class that they could make, the hardest first."""
    for name in reversed(grade.criteria.classes):
        facts = [fact for fact in grade.missing if fact.worst == name != grade.best_case]
        if facts:
            yield f"To {name} alone: {'; '.join(_fact(fact) for fact in facts)}."
    others = [fact for fact in grade.missing if fact.worst == grade.best_case]
    if others:
        yield f"No other grade alone: {'; '.join(_fact(fact) for fact in others)}."


def _fact(fact: MissingFact) -> str:
    return f"{fact.what} ({fact.reason})" if fact.reason.startswith("not measured") else fact.what


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
        source = grade.criteria.source
        text = (
            f"{grade.criteria.name}: {source.citation} ({source.how_read.value})."
            f" Rule: {grade.criteria.rule.words}.{_limits(grade)}"
        )
        yield from textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="    ")


def _limits(grade: DifficultyGrade) -> str:
    """Limits of the essential measures and how each was read: a form that was read may have limits that were not."""
    read = [
        f"{limit.value:g} ({limit.how_read.value})"
        for criterion in grade.criteria.criteria
        if criterion.essential
        for limit in criterion.limits
    ]
    return f" Limits: {', '.join(read)}." if read else ""
