"""`curvometer app`: every refusal is one line, before any window; the plugin is asked for by name only."""

from __future__ import annotations

import subprocess
import sys
from types import SimpleNamespace

import pytest

from curvometer.cli import app, main


@pytest.fixture
def plugin(monkeypatch):
    """Everything that the viewer needs is there; the plugin only notes how it was called."""
    called = []
    monkeypatch.setattr(app, "find_spec", lambda name: name)
    monkeypatch.setattr(app, "version", lambda _: "6.11.3")
    monkeypatch.setattr(
        app, "import_module", lambda _: SimpleNamespace(run_app=lambda image: called.append(image) or 0)
    )
    monkeypatch.setenv("DISPLAY", ":9")
    return called


def refused(capsys, *words):
    """The one line on stderr, and that nothing else happened."""
    assert main(["app", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    return err


def test_the_image_is_handed_to_the_plugin(plugin, tmp_path):
    image = tmp_path / "tooth.png"
    image.write_bytes(b"whatever: the window tells what it is")
    assert main(["app", str(image)]) == 0
    assert main(["app"]) == 0
    assert plugin == [str(image), None]


def test_an_image_that_is_not_there_is_refused_before_the_window(plugin, capsys, tmp_path):
    assert "nothing.dcm does not exist: check the path" in refused(capsys, str(tmp_path / "nothing.dcm"))
    assert "is a folder: give one image file" in refused(capsys, str(tmp_path))
    assert plugin == []


def test_an_image_that_may_not_be_read_is_refused(plugin, capsys, tmp_path, monkeypatch):
    image = tmp_path / "locked.png"
    image.write_bytes(b"x")

    def locked(path, *_):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(app.Path, "open", locked)
    assert "locked.png: Permission denied" in refused(capsys, str(image))
    assert plugin == []


@pytest.mark.parametrize(
    "missing", [["napari"], ["qtpy", "superqt"], ["PySide6", "PyQt6"], ["curvometer_napari"]]
)
def test_without_its_packages_it_says_what_to_install(plugin, capsys, monkeypatch, missing):
    monkeypatch.setattr(app, "find_spec", lambda name: None if name in missing else name)
    assert "python -m pip install 'curvometer[viewer]'" in refused(capsys)
    assert plugin == []


def test_another_binding_than_pyside_will_do(plugin, monkeypatch):
    def none(_):
        raise app.PackageNotFoundError

    monkeypatch.setattr(app, "find_spec", lambda name: None if name == "PySide6" else name)
    monkeypatch.setattr(app, "version", none)
    assert main(["app"]) == 0
    assert plugin == [None]


@pytest.mark.parametrize(("python", "code"), [((3, 11, 7), 2), ((3, 12, 1), 0)])
def test_the_binding_that_ends_python_is_refused_where_it_does(plugin, capsys, monkeypatch, python, code):
    """PySide6 6.12.0 takes references of None, which Python counts up to 3.11 only."""
    monkeypatch.setattr(app, "version", lambda _: "6.12.0")
    monkeypatch.setattr(app.sys, "version_info", python)
    assert main(["app"]) == code
    assert ("PySide6!=6.12.0" in capsys.readouterr().err) == (code == 2)
    assert len(plugin) == (code == 0)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="others always have a screen")
def test_without_a_screen_it_says_so(plugin, capsys, monkeypatch):
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    assert "needs a screen" in refused(capsys)
    assert plugin == []


@pytest.mark.usefixtures("plugin")
def test_a_missing_system_library_is_named(capsys, monkeypatch):
    def no_library(_):
        raise ImportError("libEGL.so.1: cannot open shared object file")

    monkeypatch.setattr(app, "import_module", no_library)
    line = refused(capsys)
    assert "libEGL.so.1" in line
    assert "./run app" in line


def test_neither_the_help_nor_the_command_itself_loads_the_viewer():
    code = (
        "import sys; from curvometer.cli import app, arguments;"
        "print(*[m for m in sys.modules if m.split('.')[0] in ('napari', 'qtpy', 'PySide6', 'curvometer_napari', 'numpy')])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []
