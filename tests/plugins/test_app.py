"""The window as a program: what is shown, what is hidden, what a dropped file does, how it ends."""

from __future__ import annotations

import gc
import json
import logging
import os
import subprocess
import sys

import napari
import pytest
from qtpy.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from qtpy.QtGui import QDragEnterEvent, QDropEvent
from qtpy.QtWidgets import QApplication, QDockWidget, QMenu, QWidget

from curvometer_napari import app
from curvometer_napari.reader import read_radiographs


@pytest.fixture
def window(make_napari_viewer, monkeypatch, state_folder):  # noqa: ARG001 - set before the panel looks
    """A viewer and its panel as `run_app` makes them."""
    monkeypatch.setattr(napari, "Viewer", make_napari_viewer)
    viewer, panel = app.make_window()
    yield viewer, panel
    panel.shut()


def drop(widget, *paths):
    """Let files fall on a widget; whether it, or what watches it, took them."""
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    how = (Qt.DropAction.CopyAction, data, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier)
    # Qt brings a drop to the widget that took the drag before it.
    QApplication.sendEvent(widget, QDragEnterEvent(QPoint(5, 5), *how))
    event = QDropEvent(QPointF(5, 5), *how)
    event.ignore()
    QApplication.sendEvent(widget, event)
    return event.isAccepted()


def drop_targets(panel):
    return [widget for widget in panel.window().findChildren(QWidget) if widget.acceptDrops()]


def named_dock(panel, name):
    (dock,) = [dock for dock in panel.window().findChildren(QDockWidget) if dock.objectName() == name]
    return dock


def test_the_window_is_the_image_and_the_panel(window):
    viewer, panel = window
    assert viewer.title == "curvometer"
    assert not named_dock(panel, app.DOCK).isHidden()
    for name in app.NAPARI_DOCKS:
        assert named_dock(panel, name).isHidden()


def test_the_window_menu_brings_the_hidden_docks_back(window):
    _, panel = window
    texts = [action for menu in panel.window().findChildren(QMenu) for action in menu.actions()]
    for name in app.NAPARI_DOCKS:
        (action,) = [action for action in texts if action.text().replace("&", "").lower() == name]
        action.trigger()
        assert not named_dock(panel, name).isHidden()


def test_it_fits_a_laptop_screen(window):
    _, panel = window
    least = panel.window().minimumSizeHint()
    assert least.width() <= 1366
    assert least.height() <= 768 - 80, "a task bar and the window's frame need some rows"


def test_a_file_dropped_on_the_image_is_opened_in_the_background(window, sample, qtbot):
    _, panel = window
    known = sample("straight_canine")
    (on_image,) = [widget for widget in drop_targets(panel) if type(widget).__name__ == "QtViewer"]
    assert drop(on_image, known.path)
    qtbot.waitUntil(lambda: panel.session.radiograph is not None, timeout=20_000)
    assert panel.session.radiograph.sha256 == known.radiograph.sha256
    assert panel.session.source == str(known.path)


def test_a_dropped_file_that_is_no_image_is_told_in_the_panel(window, tmp_path, qtbot):
    _, panel = window
    path = tmp_path / "letter.txt"
    path.write_text("Dear colleague")
    assert drop(drop_targets(panel)[0], path)
    qtbot.waitUntil(lambda: "letter.txt" in panel.message.words.text().lower(), timeout=20_000)
    assert panel.session.radiograph is None


def test_several_dropped_files_are_refused_in_one_sentence(window, tmp_path):
    _, panel = window
    told = []
    panel.session.told.connect(told.append)
    assert drop(drop_targets(panel)[0], tmp_path / "a.png", tmp_path / "b.png")
    assert told == [app.ONE_AT_A_TIME]
    assert not panel.session.worker.busy


def test_what_is_dropped_and_is_no_file_passes(window):
    _, panel = window
    assert not drop(panel.window())


def test_a_bad_file_opened_by_the_menu_is_told_in_the_panel(window, tmp_path):
    _, panel = window
    path = tmp_path / "bad.dcm"
    path.write_bytes(b"no image")
    read_radiographs(str(path))
    assert panel.message.words.text().lower().startswith("bad.dcm ")


def test_the_menu_opens_every_ending_with_our_reader(window, sample):
    viewer, _ = window
    (layer, *_) = viewer.open(sample("straight_canine").path, plugin=None)  # as File > Open does
    assert layer.source.reader_plugin == "curvometer"


def test_warming_up_meets_no_error(caplog):
    try:
        with caplog.at_level(logging.DEBUG, logger="curvometer_napari"):
            for part in (*app.BEFORE_IMAGE, *app.AFTER_IMAGE):
                part()
        assert caplog.records == []
        assert gc.get_freeze_count() > 10_000, "what stays to the end is no longer searched for garbage"
    finally:
        gc.unfreeze()  # the other tests want their viewers collected


def test_an_image_waits_for_what_it_needs_and_not_for_what_the_first_click_needs(
    session, sample, monkeypatch
):
    """Else the window would wait for libraries that another thread is loading."""
    order = []
    monkeypatch.setattr(app, "BEFORE_IMAGE", (lambda: order.append("libraries"),))
    monkeypatch.setattr(app, "AFTER_IMAGE", (lambda: order.append("tracing"),))
    # Two jobs of one name would be one.
    app.BEFORE_IMAGE[0].__name__, app.AFTER_IMAGE[0].__name__ = "before", "after"
    monkeypatch.setattr("curvometer_napari.session.load_radiograph", lambda _: order.append("image") or known)
    known = sample("straight_canine").radiograph
    app.begin_work(session, "tooth.dcm")
    session.settle()
    assert order == ["libraries", "image", "tracing"]
    assert session.radiograph is known


def test_after_the_warm_up_a_layer_imports_nothing_more():
    """In a process of its own: what the window's thread would have to import with the first image is loaded."""
    done = subprocess.run([sys.executable, "-c", NOTHING_MORE], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "set()\n"), done.stderr


NOTHING_MORE = """
import sys
from curvometer_napari import app
for part in app.BEFORE_IMAGE:
    part()
known = set(sys.modules)
import numpy as np
from napari.components import ViewerModel
from curvometer import Radiograph
from curvometer_napari.case import Display
from curvometer_napari.layers import Canvas
from curvometer_napari.session import Session
session = Session()
canvas = Canvas(ViewerModel(), session)
known |= {name for name in sys.modules if name.startswith("curvometer")}
session.set_radiograph(Radiograph(pixels=np.zeros((90, 70), np.uint8)))
session.show(Display(quarter_turns=1), "turn")
print({name for name in set(sys.modules) - known if "." not in name or name.startswith(("pandas.", "scipy."))})
session.close()
"""


def test_work_begins_once_after_the_first_paint(qtbot):
    widget, begun = QWidget(), []
    qtbot.addWidget(widget)
    app.after_first_paint(widget, lambda: begun.append(widget.isVisible()))
    qtbot.wait(20)
    assert begun == []
    with qtbot.waitExposed(widget):
        widget.show()
    qtbot.waitUntil(lambda: bool(begun), timeout=5_000)
    widget.update()
    qtbot.wait(50)
    assert begun == [True]


WHOLE = """
import sys
from qtpy.QtCore import QTimer
from curvometer_napari import app
begin = app.begin_work

def begin_and_close(session, image):
    begin(session, image)
    session.radiograph_changed.connect(lambda: print("opened", session.source, flush=True))
    # The panel's timer finds what an earlier window left; the window closes behind that.
    session.radiograph_changed.connect(lambda: QTimer.singleShot(300, close))

def close():
    from qtpy.QtWidgets import QApplication
    raising = sys.argv[2:] == ["raise"]
    QTimer.singleShot(200, lambda: [w.close() for w in QApplication.topLevelWidgets()])
    if raising:
        raise RuntimeError("a part of the window fails")

app.begin_work = begin_and_close
print("code", app.run_app(sys.argv[1]))
"""


def run_whole(tmp_path, image, *words):
    environment = {key: value for key, value in os.environ.items() if key != "NAPARI_CONFIG"}
    return subprocess.run(
        [sys.executable, "-c", WHOLE, str(image), *words],
        env=environment | {"CURVOMETER_STATE_DIR": str(tmp_path / "state")},
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


def test_the_whole_program_opens_an_image_and_ends_cleanly(tmp_path, sample):
    path = sample("straight_canine").path
    done = run_whole(tmp_path, path)
    assert (done.returncode, done.stdout.splitlines()) == (0, [f"opened {path}", "code 0"]), done.stderr
    assert "Traceback" not in done.stderr
    assert "started" in (tmp_path / "state" / "curvometer.log").read_text(encoding="utf-8")
    assert (tmp_path / "state" / "viewer_settings.yaml").exists(), "napari's own settings are left alone"


def test_an_unexpected_failure_is_in_the_log_and_ends_nothing(tmp_path, sample):
    done = run_whole(tmp_path, sample("straight_canine").path, "raise")
    assert done.stdout.endswith("code 0\n"), done.stderr
    text = (tmp_path / "state" / "curvometer.log").read_text(encoding="utf-8")
    assert "RuntimeError: a part of the window fails" in text


def test_a_state_folder_that_cannot_be_written_keeps_nothing_closed(tmp_path, monkeypatch, caplog):
    blocked = tmp_path / "a file"
    blocked.write_text(json.dumps({}))
    monkeypatch.setenv("CURVOMETER_STATE_DIR", str(blocked))
    with caplog.at_level(logging.WARNING, logger="curvometer_napari"):
        app._begin_log()
    assert [record.message for record in caplog.records] == [f"no log can be kept in {blocked}"]
