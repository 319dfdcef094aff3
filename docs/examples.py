"""Run the examples of the documentation, so that what is shown is what the program does today.

They run in a temporary folder that holds nothing but a way to ``sample_images``; an example may leave files
there for the next one. Nothing here needs Sphinx.
"""

from __future__ import annotations

import contextlib
import io
import os
import shlex
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from curvometer.cli import main

ROOT = Path(__file__).resolve().parents[1]
COLUMNS = "100"


class ExampleError(RuntimeError):
    """An example of the documentation does not work."""


@contextlib.contextmanager
def example_folder() -> Iterator[Path]:
    """Make the folder in which examples run; it is gone afterwards."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "sample_images").symlink_to(ROOT / "sample_images")
        yield folder


def run_command(line: str, folder: Path) -> str:
    """Run one ``curvometer ...`` line and give what it prints.

    Raises
    ------
    ExampleError
        When it is another program's line, or ends with another exit code than 0 or 3.
    """
    program, *words = shlex.split(line.replace("\\\n", " "))
    if program != "curvometer":
        raise ExampleError(f"{line!r} is no curvometer command")
    with _inside(folder) as printed:
        try:
            code = main(words)
        except SystemExit as stop:  # --help and --version leave so
            code = stop.code
    if code not in (None, 0, 3):
        raise ExampleError(f"{line!r} ended with {code}: {printed.getvalue()}")
    return printed.getvalue().rstrip()


def run_python(code: str, folder: Path, names: dict[str, Any] | None = None) -> str:
    """Run Python lines and give what they print; `names` carries variables from one example to the next."""
    with _inside(folder) as printed:
        exec(compile(code, "<example>", "exec"), {} if names is None else names)
    return printed.getvalue().rstrip()


@contextlib.contextmanager
def _inside(folder: Path) -> Iterator[io.StringIO]:
    before, columns = Path.cwd(), os.environ.get("COLUMNS")
    os.chdir(folder)
    os.environ["COLUMNS"] = COLUMNS
    printed = io.StringIO()
    try:
        with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(printed):
            yield printed
    finally:
        os.chdir(before)
        if columns is None:
            del os.environ["COLUMNS"]
        else:
            os.environ["COLUMNS"] = columns
