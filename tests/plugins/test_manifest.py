"""The manifest is valid and everything it names is there; the plugin stays within what it may import."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections import Counter
from importlib import import_module
from importlib.metadata import entry_points
from pathlib import Path

import pytest
import yaml
from npe2 import PluginManifest

import curvometer
import curvometer_napari

FOLDER = Path(curvometer_napari.__file__).parent
MANIFEST = FOLDER / "napari.yaml"
MODULES = sorted(path for path in FOLDER.rglob("*.py"))

# fmt: off
WITHOUT_WINDOW = (
    "case", "history", "naming", "solving", "session", "steps", "constructions", "export", "autosave", "placing",
    "strokes", "scene", "kept_steps", "exercise_run", "exercise_keeping", "exercise_desk", "plan_rows",
    "review_desk",
)
WITHOUT_QT = (
    *WITHOUT_WINDOW, "layers", "pointer", "drawn", "keys", "reader", "writer", "samples", "reference_lines",
    "reference_desk",
)
# fmt: on


def contributions():
    return PluginManifest.from_file(MANIFEST).contributions


def imported(path):
    """(module, name) pairs that a file imports anywhere, also inside functions; name is None for whole modules."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, None) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from ((node.module or "", alias.name) for alias in node.names)


def test_npe2_finds_the_manifest_valid():
    words = [sys.executable, "-m", "npe2", "validate", "--imports", str(MANIFEST)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_package_announces_its_manifest():
    (found,) = [point for point in entry_points(group="napari.manifest") if point.name == "curvometer"]
    assert found.value == "curvometer_napari:napari.yaml"
    assert PluginManifest.from_file(MANIFEST).name == "curvometer"


@pytest.mark.parametrize("command", contributions().commands, ids=lambda command: command.id)
def test_every_command_has_its_function(command):
    module, name = command.python_name.split(":")
    assert callable(getattr(import_module(module), name))
    assert command.id.startswith("curvometer.")


def test_every_command_is_offered_somewhere_once():
    found = contributions()
    offered = [*found.readers, *found.writers, *found.widgets, *found.sample_data]
    assert Counter(item.command for item in offered) == Counter(command.id for command in found.commands)
    assert [item.command for item in found.menus["napari/layers/measure"]] == ["curvometer.panel"]


def test_menu_of_napari_finds_the_docked_panel():
    """napari's menu entry looks for a dock "widget (plugin)"; under another name it would open a second panel."""
    from curvometer_napari.app import DOCK  # noqa: PLC0415

    manifest = PluginManifest.from_file(MANIFEST)
    assert f"{manifest.contributions.widgets[0].display_name} ({manifest.display_name})" == DOCK


def test_the_manifest_claims_the_endings_that_the_window_opens_itself():
    from curvometer_napari.app import READ_BY_US  # noqa: PLC0415

    patterns = contributions().readers[0].filename_patterns
    assert patterns == [f"*.{ending}" for ending in READ_BY_US]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(FOLDER)))
def test_only_exported_names_of_the_core_are_imported(path):
    """import-linter sees modules, not names: this is its contract for `curvometer_napari`."""
    for module, name in imported(path):
        assert not module.startswith("curvometer."), f"{module} is inside the core"
        assert module != "curvometer" or name in curvometer.__all__, f"{name} is not exported"


@pytest.mark.parametrize("name", WITHOUT_QT)
def test_parts_that_know_no_window_import_none(name):
    """Fresh, as another test may have loaded Qt; what these load in turn counts, too."""
    banned = ["qtpy", "PySide6", "PyQt6", *(["napari"] if name in WITHOUT_WINDOW else [])]
    code = f"import sys, curvometer_napari.{name}; print(*[m for m in {banned} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(FOLDER)))
def test_qt_is_reached_through_qtpy_only(path):
    assert not [
        module for module, _ in imported(path) if module.split(".")[0] in ("PySide6", "PyQt6", "PyQt5")
    ]


def test_the_manifest_is_plain_yaml():
    assert yaml.safe_load(MANIFEST.read_text(encoding="utf-8"))["name"] == "curvometer"
