"""``curvometer app``: the viewer, when the packages that it needs are there.

The core knows no viewer: this is the one place that asks for the plugin, by its name, when the command is called.
"""

from __future__ import annotations

import os
import sys
from argparse import Namespace
from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from pathlib import Path

from curvometer.cli.argument_kinds import UsageError

PLUGIN = "curvometer_napari.app"
NEEDED = ("curvometer_napari", "napari", "qtpy", "superqt", "psygnal", "platformdirs", "psutil")
INSTALL = "python -m pip install 'curvometer[viewer]'"
DAMAGING_BINDING = "6.12.0"
"""PySide6 of this version takes a reference of None at each call, which ends Python below 3.12 within minutes."""


def run(arguments: Namespace) -> int:
    """Open the viewer; whatever would keep it from opening is told before any window appears.

    Raises
    ------
    UsageError
        When the image is not there, or something that the viewer needs is missing.
    """
    if arguments.image is not None:
        _check_image(arguments.image)
    _check_packages()
    _check_screen()
    try:
        plugin = import_module(PLUGIN)
    except ImportError as error:
        # Qt's own parts are there but a system library of theirs is not: the text names it.
        raise UsageError(
            f"the viewer's packages cannot be loaded ({error}): install the missing library, or start with ./run app"
        ) from error
    code: int = plugin.run_app(arguments.image)
    return code


def _check_image(name: str) -> None:
    path = Path(name)
    if path.is_dir():
        raise UsageError(f"{name} is a folder: give one image file in it")
    if not path.exists():
        raise UsageError(f"{name} does not exist: check the path, or start without an image")
    with path.open("rb"):
        pass  # an `OSError` names the file and the reason


def _check_packages() -> None:
    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        raise UsageError(f"the viewer needs {' and '.join(missing[:2])}: install it with {INSTALL}")
    if not any(find_spec(binding) for binding in ("PySide6", "PyQt6")):
        raise UsageError(f"the viewer needs a Qt binding: install it with {INSTALL}")
    try:
        binding = version("PySide6")
    except PackageNotFoundError:
        return
    if binding == DAMAGING_BINDING and sys.version_info < (3, 12):
        raise UsageError(
            f"PySide6 {binding} ends Python {sys.version_info[0]}.{sys.version_info[1]} after some minutes:"
            f" replace it with python -m pip install 'PySide6!={binding}'"
        )


def _check_screen() -> None:
    """Qt would end the process without a word that a clinician understands."""
    on_screen = any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"))
    if sys.platform.startswith("linux") and not on_screen:
        raise UsageError("the viewer needs a screen and there is none: start it in a desktop session")
