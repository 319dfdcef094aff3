"""A class: a folder of submissions to marks, oddities, tables, pages and a printable report.

Names are loaded when first asked for: marking brings numpy and pydantic.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOMES = {
    "handed_in": ("Course", "CourseExercise", "HandedIn"),
    "marking": ("mark_course",),
    "numbers": ("CourseNumbers", "course_numbers"),
    "oddities": ("Oddity", "OddityKind", "find_oddities"),
    "reading": ("read_roster", "submission_files"),
    "writing": ("ReportFiles", "check_report", "write_report"),
}


def __getattr__(name: str) -> Any:
    for home, names in _HOMES.items():
        if name in names:
            return getattr(import_module(f"curvometer.course.{home}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
