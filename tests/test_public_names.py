"""The names that scripts, the viewer and notebooks may rely on."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import curvometer

FLOW = ("load_radiograph", "calibrate_from_known_length", "trace_centreline", "measure_canal")
HEAVY = ("numpy", "scipy", "cv2", "skimage", "pydicom", "PIL", "pydantic", "matplotlib", "rich")


def modules_after(statement: str) -> set[str]:
    """Top-level modules that a fresh interpreter has loaded after a statement."""
    code = f"import sys; {statement}; print(' '.join(sorted({{m.split('.')[0] for m in sys.modules}})))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    return set(done.stdout.split())


@pytest.mark.parametrize("name", curvometer.__all__)
def test_every_public_name_can_be_had(name):
    found = getattr(curvometer, name)
    if name.isupper():  # a table: plain data, documented where it is made
        assert found
        return
    assert found.__name__ == name
    assert found.__doc__
    assert found.__module__.startswith("curvometer.")


def test_public_names_are_sorted_and_unique():
    """Tables, then classes, then functions, each by the alphabet, as the linter has them."""
    order = sorted(
        set(curvometer.__all__), key=lambda name: (not name.isupper(), not name[0].isupper(), name)
    )
    assert list(curvometer.__all__) == order


def test_every_name_with_a_home_is_public_and_the_other_way_round():
    assert set(curvometer._HOME_OF) == set(curvometer.__all__)


@pytest.mark.parametrize("name", FLOW)
def test_the_names_of_the_flow_exist(name):
    assert name in curvometer.__all__
    assert callable(getattr(curvometer, name))


def test_import_loads_nothing_heavy():
    assert not modules_after("import curvometer") & set(HEAVY)


def test_a_name_loads_what_it_needs_and_no_more():
    loaded = modules_after("from curvometer import measure_canal, centreline_from_points")
    assert "numpy" in loaded
    assert not loaded & {"scipy", "skimage", "pydicom", "PIL", "matplotlib", "pydantic"}


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'measure_tooth'"):
        curvometer.measure_tooth  # noqa: B018 - the look-up is the test


def test_dir_tells_the_public_names_before_they_are_used():
    assert set(curvometer.__all__) <= set(dir(curvometer))


def test_every_error_of_bad_input_is_of_one_type():
    for name in ("LoadError", "TracingError"):
        assert issubclass(getattr(curvometer, name), curvometer.CurvometerError)
    assert issubclass(curvometer.CurvometerError, ValueError)


def test_the_version_is_the_distributions():
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))[
        "project"
    ]
    assert curvometer.__version__ == project["version"]
