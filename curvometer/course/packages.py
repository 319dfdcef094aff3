"""Packages that only reports need."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

from curvometer.assessment.errors import AssessmentError

INSTALL = "python -m pip install 'curvometer[reports]'"


def needed(name: str) -> ModuleType:
    """Load a package.

    Raises
    ------
    AssessmentError
        When it is not installed.
    """
    try:
        return import_module(name)
    except ImportError as error:
        raise AssessmentError(
            f"the report of a class needs the package {name}: install it with {INSTALL}"
        ) from error
