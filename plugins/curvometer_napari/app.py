"""The viewer as a program: one window with the panel docked, its own settings, its own log.

What can wait until the window is painted waits: the image is read in the background, and what the first click would have
to load is loaded by then.
"""

from __future__ import annotations

import gc
import logging
import os
import signal
from collections.abc import Callable
from importlib import import_module
from logging.handlers import RotatingFileHandler
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import NDArray
from qtpy.QtCore import QEvent, QObject, QTimer
from qtpy.QtGui import QDropEvent
from qtpy.QtWidgets import QDockWidget, QWidget

from curvometer import (
    CurvometerError,
    LiveTracer,
    Radiograph,
    calibrate_from_mm_per_pixel,
    measure_canal,
    trace_centreline,
)
from curvometer_napari.autosave import state_folder

if TYPE_CHECKING:
    from curvometer_napari.panel import CurvometerPanel
    from curvometer_napari.session import Session

TITLE = "curvometer"
DOCK = "Root-canal curvature (curvometer)"
"""The name by which napari's own menu entry finds the panel, to show and hide it instead of making a second one."""

NAPARI_DOCKS = ("layer list", "layer controls")
"""Not needed for measuring; a laptop's screen needs the room. The Window menu shows them again."""

READ_BY_US = ("dcm", "dicom", "ima", "png", "tif", "tiff", "jpg", "jpeg", "bmp", "handout.zip")
ONE_AT_A_TIME = "One radiograph is opened at a time: drop a single file."
LOG_BYTES, LOG_FILES = 1_000_000, 3

log = logging.getLogger("curvometer_napari")


def run_app(image: str | None = None) -> int:
    """Open the viewer with an image, and come back when its window is closed.

    Parameters
    ----------
    image
        Path of a radiograph; the window opens empty when None.
    """
    _begin_log()
    # Its own settings: what is arranged here must not change a napari that is used for other work.
    os.environ.setdefault("NAPARI_CONFIG", str(state_folder() / "viewer_settings.yaml"))
    import napari  # noqa: PLC0415 - reads its settings' place when imported

    # Ctrl-C in the terminal ends the program; Qt's loop would not let Python see it. Nothing is lost: every step is kept.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    viewer, panel = make_window()
    session = panel.session
    after_first_paint(panel.window(), lambda: begin_work(session, image))
    viewer.show()
    panel.window().showMaximized()
    napari.run()
    session.close()  # the panel itself is gone with its window
    return 0


def make_window() -> tuple[Any, CurvometerPanel]:
    """Make the viewer, not shown yet, with the panel docked and files dropped on it going to the session."""
    import napari  # noqa: PLC0415

    from curvometer_napari.panel import CurvometerPanel  # noqa: PLC0415

    _arrange_settings()
    viewer = napari.Viewer(title=TITLE, show=False, show_welcome_screen=False)
    panel = CurvometerPanel(napari_viewer=viewer)
    viewer.window.add_dock_widget(panel, name=DOCK, area="right", add_vertical_stretch=False)
    arrange_window(panel.window())
    _log_surprises()
    Drops(panel.window(), panel.session)
    return viewer, panel


def arrange_window(window: QWidget) -> None:
    """Hide the docks of napari that a measurement does not need."""
    for dock in window.findChildren(QDockWidget):
        if dock.objectName() in NAPARI_DOCKS:
            dock.hide()


def _log_surprises() -> None:
    """Send the traceback of an exception anywhere in the window, which napari shows in a corner, to the log too."""
    from napari.utils.notifications import notification_manager  # noqa: PLC0415

    notification_manager.notification_ready.connect(_log_surprise)


def _log_surprise(notification: Any) -> None:
    exception = getattr(notification, "exception", None)
    if exception is not None:
        log.error("unexpected", exc_info=exception)


def begin_work(session: Session, image: str | None) -> None:
    """Load what an image needs, open the image, and load what the first click needs: one after the other, in the background.

    An image that comes before its libraries would let the window wait for them, and they for each other.
    """
    for part in BEFORE_IMAGE:
        _ask(session, part)
    if image is not None:
        session.open_image(image)
    for part in AFTER_IMAGE:
        _ask(session, part)


def _ask(session: Session, part: Callable[[], None]) -> None:
    session.worker.ask(f"warm up: {part.__name__}", part, lambda _: None, lambda _: None)


def load_libraries() -> None:
    """Import what napari imports when the first layer is made and when the first one is turned."""
    for name in ("pandas", "pint", "scipy.linalg", "napari.layers"):
        import_module(name)


def make_one_of_each() -> None:
    """Make one layer of each kind: all that is slow only once. They belong to no viewer, so no window need wait."""
    from curvometer_napari.drawn import Lines, Marks, Words  # noqa: PLC0415
    from curvometer_napari.strokes import Mark, Word  # noqa: PLC0415

    place, step = (20.0, 40.0), np.array([1.0, 0.0])
    layer = import_module("napari.layers").Image(_drawn_canal())
    layer.affine = np.eye(3)
    Lines("lines", room=8, corner_rc=place)
    Marks("marks", size_px=10.0).draw([Mark(place_rc=place, symbol="disc", colour="#ffffff")], zoom=1.0)
    word = Word(place_rc=place, text="MB", colour="#ffffff")
    Words("words").draw([word], down_rc=step, right_rc=step[::-1])


def trace_once() -> None:
    """Trace and measure a small drawn canal."""
    radiograph = Radiograph(pixels=_drawn_canal(), bits_stored=8)
    scale, ends = calibrate_from_mm_per_pixel(0.05), [(20.0, 40.0), (140.0, 52.0)]
    try:
        LiveTracer(radiograph, calibration=scale).anchor(ends[0])
        measure_canal(trace_centreline(radiograph, ends, calibration=scale), scale)
    except CurvometerError:
        log.debug("the drawn canal was refused", exc_info=True)


def freeze() -> None:
    """Let what is loaded by now stay to the end.

    Napari searches all objects for garbage whenever a layer is removed: without these it has little to search.
    """
    gc.freeze()


BEFORE_IMAGE = (load_libraries, make_one_of_each)
AFTER_IMAGE = (trace_once, freeze)


class Drops(QObject):
    """Files dropped anywhere on the window are opened by the session, in the background, as radiographs.

    napari's own way would read them in the window's thread and ask which reader to take. It still gets everything else.
    """

    def __init__(self, window: QWidget, session: Session) -> None:
        super().__init__(window)
        self._session = session
        for widget in (window, *window.findChildren(QWidget)):
            if widget.acceptDrops():
                widget.installEventFilter(self)

    def eventFilter(self, _watched: QObject, event: QEvent) -> bool:  # noqa: N802 - Qt's name
        """Take a drop of files; let everything else pass."""
        if event.type() != QEvent.Type.Drop:
            return False
        # PySide hands the event over as what it is; the type says so for every binding.
        drop = cast(QDropEvent, event)
        paths = [url.toLocalFile() for url in drop.mimeData().urls() if url.isLocalFile()]
        if not paths:
            return False
        drop.acceptProposedAction()
        if len(paths) > 1:
            self._session.told.emit(ONE_AT_A_TIME)
        else:
            self._session.open_image(paths[0])
        return True


class _FirstPaint(QObject):
    """Calls once, when a window has been painted."""

    def __init__(self, window: QWidget, then: Callable[[], object]) -> None:
        super().__init__(window)
        self._then: Callable[[], object] | None = then
        window.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802 - Qt's name
        if event.type() == QEvent.Type.Paint and self._then is not None:
            # Behind the painting of all parts of the window, which is under way now.
            QTimer.singleShot(0, self._then)
            self._then = None
            watched.removeEventFilter(self)
        return False


def after_first_paint(window: QWidget, then: Callable[[], object]) -> None:
    """Call a function once, soon after the window has been painted for the first time."""
    _FirstPaint(window, then)


def _arrange_settings() -> None:
    from napari.settings import get_settings  # noqa: PLC0415

    settings = get_settings()
    # Nothing is lost by closing, so closing asks nothing; and File > Open asks nobody which reader to take.
    wanted = {f"*.{ending}": TITLE for ending in READ_BY_US}
    if settings.plugins.extension2reader != wanted:
        settings.plugins.extension2reader = wanted
    if settings.application.confirm_close_window:
        settings.application.confirm_close_window = False


def _begin_log() -> None:
    """Log to a file in the state folder; a folder that cannot be written must not keep the window from opening."""
    folder = state_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handler = RotatingFileHandler(
            folder / "curvometer.log", maxBytes=LOG_BYTES, backupCount=LOG_FILES, encoding="utf-8", delay=True
        )
    except OSError:
        log.warning("no log can be kept in %s", folder, exc_info=True)
        return
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    log.propagate = False
    log.info("started, process %d", os.getpid())


def _drawn_canal() -> NDArray[np.uint8]:
    """Draw a bright root with a dark, slightly bent line in it, 160 x 96."""
    rows, cols = np.mgrid[0:160, 0:96]
    away = cols - (40.0 + 12.0 * (np.maximum(rows - 80.0, 0.0) / 60.0) ** 2)
    root, canal = np.exp(-((away / 22.0) ** 2)), np.exp(-((away / 4.0) ** 2))
    grey: NDArray[np.uint8] = (60.0 + 140.0 * root - 90.0 * canal).astype(np.uint8)
    return grey
