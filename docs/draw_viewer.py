"""Photographs of the viewer at work, for the documentation and for whoever wants to look at every step.

Run under a screen, a virtual one will do:

    xvfb-run -a -s "-screen 0 1920x1200x24" .venv/bin/python docs/draw_viewer.py [--all FOLDER]

Without ``--all`` the pictures of the documentation are made anew; with it, every step at two sizes and in both themes goes
into a folder.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

_OWN = Path(tempfile.mkdtemp(prefix="curvometer_pictures_"))
os.environ["NAPARI_CONFIG"] = str(_OWN / "settings.yaml")  # before napari reads its own
os.environ["CURVOMETER_STATE_DIR"] = str(_OWN / "state")

import numpy as np  # noqa: E402
from PIL import Image  # noqa: E402
from qtpy.QtWidgets import QApplication, QWidget  # noqa: E402

from curvometer import CanalName, Operator, Structure  # noqa: E402
from curvometer_napari.app import make_window  # noqa: E402
from curvometer_napari.stated import CanalFound  # noqa: E402

DOCS = Path(__file__).parent
SAMPLES = DOCS.parent / "sample_images"
SIZES = {"laptop": (1366, 768), "desk": (1920, 1080)}
KEPT = "scale,tracing,measured,construction,grade,two_canals,plan,chair,hand"
KEPT_LIGHT = "construction"
"""Steps whose picture stands in the documentation: from a laptop in the dark theme, from a desk in the light one."""


class Work:
    """A window with somebody at work in it."""

    def __init__(self, size: tuple[int, int], theme: str) -> None:
        self.viewer, self.panel = make_window()
        self.viewer.theme = theme
        self.session = self.panel.session
        self.window = self.panel.window()
        self.viewer.show()
        self.window.showNormal()
        self.window.resize(*size)
        self.settle()

    def settle(self, least_s: float = 0.6) -> None:
        """Let the window do all it has to."""
        until = time.monotonic() + least_s
        while time.monotonic() < until or self.session.busy:
            QApplication.processEvents()
            time.sleep(0.005)
        for _ in range(5):  # what the background told last
            QApplication.processEvents()

    def bring(self, box: QWidget) -> None:
        """Scroll a box to the top of the panel."""
        self.settle()
        self.panel.area.verticalScrollBar().setValue(box.y())

    def photograph(self, path: Path) -> None:
        """Save the whole window."""
        self.settle()
        picture = self.viewer.screenshot(canvas_only=False, flash=False)
        Image.fromarray(np.asarray(picture)[..., :3]).save(path, optimize=True)


def steps(work: Work) -> Iterator[str]:
    """Do the job from an empty window on; each name is a moment worth a picture."""
    session, truth = work.session, json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))
    yield "empty"
    session.open_image(SAMPLES / "lower_molar.dcm")
    work.settle()
    yield "opened"
    orifice, foramen = (tuple(truth["lower_molar"][end][::-1]) for end in ("orifice", "foramen"))
    session.start_tracing(CanalName.ML)
    session.click(orifice)
    work.settle()
    work.panel.canvas.show_live(session.live_path_rc((orifice[0] + 0.75 * (foramen[0] - orifice[0]), 640.0)))
    yield "tracing"
    session.click(foramen)
    work.settle()
    session.accept()
    yield "measured"
    session.emphasise("schneider_angle")
    yield "construction"
    session.emphasise(None)
    session.point_at(3.0)
    yield "cursor"
    session.point_at(None)
    stated = session.case.stated.with_facts(tooth=36, operator=Operator.GENERAL, visibility="clear")
    session.do(replace(session.case, stated=stated), "stating facts")
    work.bring(work.panel.grade)
    yield "grade"
    session.start_tracing(CanalName.D)
    for click in DISTAL_CLICKS_RC:
        session.click(click)
    work.settle()
    session.accept()
    yield "two_canals"
    yield from _chair(work)
    yield from _scale(work, truth["file_in_canal"])
    yield from _by_hand(work, truth["calcified_molar"])


def _chair(work: Work) -> Iterator[str]:
    """State what hand files found, plan, begin, and carry out the first step."""
    session, box = work.session, work.panel.sequence
    session.select(CanalName.ML)
    found = CanalFound(working_length_mm=21.0, reached_size=8)
    stated = session.case.stated.with_facts(tooth=36).with_found(CanalName.ML, found)
    session.do(replace(session.case, stated=stated), "state what was found")
    work.settle()
    box.plan.click()
    work.settle()
    work.panel.area.verticalScrollBar().setValue(box.y() + box.content.y() + box.view.y())
    yield "plan"
    box.begin.click()
    box.chair.reached.click()
    work.settle()
    work.panel.area.verticalScrollBar().setValue(box.y())
    yield "chair"


def _scale(work: Work, truth: dict[str, Any]) -> Iterator[str]:
    session = work.session
    session.open_image(SAMPLES / "file_in_canal.dcm")
    work.settle()
    session.start_scale()
    for x, y in FILE_CLICKS_XY:
        session.click((float(y), float(x)))
    yield "scale"
    session.length_mm = 21.14
    session.accept()
    session.start_tracing(CanalName.D, Structure.INSTRUMENT)
    for x, y in (truth["orifice"], truth["foramen"]):
        session.click((y, x))
    work.settle()
    session.accept()
    yield "instrument"


DISTAL_CLICKS_RC = ((640.0, 935.0), (1190.0, 968.0))
"""The canal of the distal root beside, clicked by eye."""
FILE_CLICKS_XY = ((814, 191), (768, 453), (722, 714), (699, 845), (680, 976), (702, 1107), (763, 1218))
"""Along the file of the sample image, from stop to tip, as in the README."""


def _by_hand(work: Work, truth: dict[str, Any]) -> Iterator[str]:
    session = work.session
    session.open_image(SAMPLES / "calcified_molar.dcm")
    work.settle()
    orifice, foramen = (np.array(truth[end][::-1]) for end in ("orifice", "foramen"))
    session.start_tracing(CanalName.MB)
    session.click(tuple(orifice))
    session.choose(session.tool, hand=True)
    session.click(tuple(orifice + 0.3 * (foramen - orifice)))
    session.choose(session.tool)
    session.click(tuple(foramen))
    work.settle()
    session.accept()
    yield "hand"


def main() -> None:
    """Make the pictures; each window has a process of its own, as each user has."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--all", metavar="FOLDER", help="every step, two sizes, two themes")
    parser.add_argument(
        "--one", nargs=4, metavar=("FOLDER", "SIZE", "THEME", "STEPS"), help="for this script's own use"
    )
    options = parser.parse_args()
    if options.one:
        _photograph(*options.one)
        return
    folder = options.all or str(DOCS / "images")
    Path(folder).mkdir(parents=True, exist_ok=True)
    jobs = [
        (folder, size, theme, "all" if options.all else wanted)
        for size, theme, wanted in (
            ("laptop", "dark", KEPT),
            ("laptop", "light", ""),
            ("desk", "dark", ""),
            ("desk", "light", KEPT_LIGHT),
        )
        if options.all or wanted
    ]
    for job in jobs:
        subprocess.run([sys.executable, __file__, "--one", *job], check=True)


def _photograph(folder: str, size: str, theme: str, wanted: str) -> None:
    work = Work(SIZES[size], theme)
    for step in steps(work):
        if wanted == "all" or step in wanted.split(","):
            work.photograph(Path(folder) / f"viewer_{step}_{size}_{theme}.png")
    work.session.close()
    os._exit(0)  # nothing is left to be kept, and a virtual screen may be gone before the window is


if __name__ == "__main__":
    main()
