"""The tables of canals of known shape for every test here: tests are no package and cannot import them."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


def load_tables() -> ModuleType:
    """Load `curvature_tables.py` from beside this file, once."""
    name = "curvature_tables"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Give a test each row of the table it asks for by the name of its argument."""
    tables = load_tables()
    if "arc_case" in metafunc.fixturenames:
        metafunc.parametrize("arc_case", tables.ARC_CASES, ids=lambda case: f"case{case.number}")
    if "s_case" in metafunc.fixturenames:
        metafunc.parametrize("s_case", tables.S_CASES, ids=lambda case: case.name)


@pytest.fixture
def tables() -> ModuleType:
    """The module with the tables."""
    return load_tables()
