"""A session without a window, sample images with their truth, and a viewer with the panel in it."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import queue
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from panel_at_rest import settle

from curvometer import CanalName, Radiograph, load_radiograph
from curvometer_napari import solving
from curvometer_napari.session import Session

if TYPE_CHECKING:
    from curvometer_napari.panel import CurvometerPanel

# Before napari reads them: nobody's settings or tracings are touched by a test.
_OWN = tempfile.mkdtemp(prefix="curvometer_test_")
os.environ["NAPARI_CONFIG"] = str(Path(_OWN) / "settings.yaml")
os.environ["CURVOMETER_STATE_DIR"] = str(Path(_OWN) / "state")

SAMPLES = Path(__file__).parents[2] / "sample_images"


@dataclass(frozen=True, kw_only=True)
class Sample:
    """A simulated radiograph and the truth about it.

    Attributes
    ----------
    path, radiograph
        The DICOM file, and what `load_radiograph` makes of it.
    truth
        Its entry of truth.json, as it is.
    orifice_rc, foramen_rc
        (row, col); truth.json has x, y.
    """

    path: Path
    radiograph: Radiograph
    truth: dict[str, Any]
    orifice_rc: tuple[float, float]
    foramen_rc: tuple[float, float]


@dataclass(kw_only=True)
class PanelViewer:
    """A napari viewer with the panel docked."""

    viewer: Any
    panel: CurvometerPanel
    settle: Callable[[], None]
    """Let Qt work until nothing is under way."""

    @property
    def session(self) -> Session:
        """The panel's session."""
        return self.panel.session


class WindowlessSession(Session):
    """A session whose background outcomes are told in the test's own thread, in `settle`."""

    def __init__(self) -> None:
        self._outcomes: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        super().__init__(deliver=self._outcomes.put)

    def trace(self, one: Sample, name: CanalName = CanalName.MB) -> None:
        """Open a sample and trace its canal from its two ends."""
        self.set_radiograph(one.radiograph, source=str(one.path))
        self.start_tracing(name)
        self.click(one.orifice_rc)
        self.click(one.foramen_rc)
        self.settle()

    def settle(self) -> None:
        """Wait until all jobs are done and told."""
        self._wait(lambda: self.busy)

    def settle_measuring(self) -> None:
        """Wait for all jobs but the recommenders' own."""
        self._wait(lambda: self.worker.busy)

    def _wait(self, busy: Callable[[], bool], seconds: float = 30.0) -> None:
        until = time.monotonic() + seconds
        while busy() or not self._outcomes.empty():
            assert time.monotonic() < until, "the session did not come to rest"
            try:
                self._outcomes.get(timeout=0.01)()
            except queue.Empty:
                continue


@pytest.fixture
def state_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder for what is kept between two runs."""
    monkeypatch.setenv("CURVOMETER_STATE_DIR", str(tmp_path / "state"))
    return tmp_path / "state"


@pytest.fixture
def session() -> Iterator[WindowlessSession]:
    """A session that knows no window; `session.settle()` waits for its thread."""
    made = WindowlessSession()
    yield made
    made.close()


_SOLVED: dict[tuple[str, str], Any] = {}


@pytest.fixture
def solve_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each canal is solved once for all tests that ask for this: measuring takes a second."""

    def solved(radiograph: Any, calibration: Any, tracing: Any) -> Any:
        key = (radiograph.sha256, repr((calibration, tracing)))
        if key not in _SOLVED:
            _SOLVED[key] = solving.solve(radiograph, calibration, tracing)
        return _SOLVED[key]

    monkeypatch.setattr("curvometer_napari.session.solve", solved)


@pytest.fixture
def sample() -> Callable[[str], Sample]:
    """Load a sample image by its name in sample_images/truth.json."""
    return load_sample


@cache
def load_sample(name: str) -> Sample:
    """Load a sample image with its truth, once: nothing in it can be written to."""
    truth = json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))[name]
    path = SAMPLES / f"{name}.dcm"
    return Sample(
        path=path,
        radiograph=load_radiograph(path),
        truth=truth,
        orifice_rc=_rc(truth["orifice"]),
        foramen_rc=_rc(truth["foramen"]),
    )


@dataclass(kw_only=True)
class Bench:
    """A session drawn on a viewer without a window."""

    viewer: Any
    session: WindowlessSession
    canvas: Any
    sample: Sample

    def layer(self, name: str) -> Any:
        """One of the canvas's layers."""
        return self.viewer.layers[name]

    def trace(self, name: CanalName = CanalName.MB) -> None:
        """Trace the sample's canal from its two ends."""
        self.session.start_tracing(name)
        self.session.click(self.sample.orifice_rc)
        self.session.click(self.sample.foramen_rc)
        self.session.accept()
        self.session.settle()

    def visible(self, name: str) -> np.ndarray:
        """(m, 2, 2) pieces of a layer that are not transparent."""
        layer = self.layer(name)
        return np.asarray(layer.data[layer.edge_color[:, 3] > 0.0])


@pytest.fixture
def make_bench(session: WindowlessSession, sample: Callable[[str], Sample]) -> Iterator[Callable[..., Bench]]:
    """Draw a sample's session on a viewer's model; keywords go to the canvas, like defer=."""
    from napari.components import ViewerModel  # noqa: PLC0415 - pure tests need no napari

    from curvometer_napari.layers import Canvas  # noqa: PLC0415

    made: list[Bench] = []

    def make(name: str = "lower_molar", **options: Any) -> Bench:
        viewer = ViewerModel()
        canvas = Canvas(viewer, session, **options)
        made.append(Bench(viewer=viewer, session=session, canvas=canvas, sample=sample(name)))
        return made[-1]

    yield make
    for one in made:
        one.canvas.close()


@pytest.fixture
def panel(
    qtbot: Any,
    state_folder: Path,  # noqa: ARG001 - set before the panel looks
) -> Iterator[CurvometerPanel]:
    """A panel without a viewer, as wide as in its dock."""
    from curvometer_napari.panel import CurvometerPanel  # noqa: PLC0415 - pure tests need no Qt

    made = CurvometerPanel(None, canvas=False)
    qtbot.addWidget(made)
    made.resize(380, 700)
    made.show()
    settle(qtbot, made)
    yield made
    made.shut()


@pytest.fixture
def make_panel_viewer(
    make_napari_viewer: Callable[..., Any],
    qtbot: Any,
    state_folder: Path,  # noqa: ARG001 - set before the panel looks
) -> Iterator[Callable[..., PanelViewer]]:
    """Make a viewer with the panel docked; keywords go to `make_napari_viewer`, like show=True."""
    from curvometer_napari.panel import CurvometerPanel  # noqa: PLC0415 - pure tests need no Qt

    made: list[PanelViewer] = []

    def make(**options: Any) -> PanelViewer:
        viewer = make_napari_viewer(**options)
        panel = CurvometerPanel(viewer)
        viewer.window.add_dock_widget(panel, name="curvometer", area="right")
        made.append(PanelViewer(viewer=viewer, panel=panel, settle=lambda: settle(qtbot, panel)))
        return made[-1]

    yield make
    for one in made:
        one.panel.shut()


@pytest.fixture
def panel_viewer(make_panel_viewer: Callable[..., PanelViewer]) -> PanelViewer:
    """A viewer, not shown, with the panel docked."""
    return make_panel_viewer()


@dataclass(kw_only=True)
class Exercise:
    """A hand-out on the disk, and the sample images in it."""

    path: Path
    samples: list[Sample]
    submission: Path | None = None


@pytest.fixture
def make_exercise(tmp_path: Path) -> Callable[..., Exercise]:
    """Make a hand-out of sample images; keywords go to `hand_out_of_samples`."""

    def make(*names: str, **options: Any) -> Exercise:
        samples = [load_sample(name) for name in names or ("lower_molar", "upper_molar")]
        path = tmp_path / f"curves-{len(samples)}.handout.zip"
        path.write_bytes(hand_out_of_samples(samples, **options))
        return Exercise(path=path, samples=samples)

    return make


@pytest.fixture
def key_of_samples() -> Callable[..., Any]:
    """Make the key of a sheet of samples, by their truth."""
    return _key


def hand_out_of_samples(samples: list[Sample], *, practice: bool = False, **changes: Any) -> bytes:
    """Put sample images into a hand-out: as PNG, each scaled by a wire of 10 mm, keyed by its own truth in practice."""
    from curvometer.assessment.hand_out import HandOut, hand_out_bytes  # noqa: PLC0415 - brings pydantic

    images = {f"image-{n}": one.path.with_suffix(".png").read_bytes() for n, one in enumerate(samples, 1)}
    sheet = _sheet(images, practice=practice, **changes)
    key = _key(sheet, samples) if practice else None
    return hand_out_bytes(HandOut(sheet=sheet, images=images, key=key))


def _sheet(
    images: dict[str, bytes], *, practice: bool, title: str = "Curves, first week", **changes: Any
) -> Any:
    from curvometer.assessment import sheet as sheets  # noqa: PLC0415

    case = sheets.Scenario(text="Pulpitis, no pain on biting.", working_length_mm=20.0)
    wire = sheets.KnownLength(what="the wire beside the tooth", length_mm=10.0, tolerance_mm=0.1)
    entries = [
        sheets.ImageSheet(
            id=name,
            file=f"{name}.png",
            sha256=hashlib.sha256(png).hexdigest(),
            tooth=46,
            canal=CanalName.MB,
            tasks=changes.get("tasks", list(sheets.Task)),
            known_length=wire,
            scenario=case,
        )
        for name, png in images.items()
    ]
    return sheets.ExerciseSheet(
        format="curvometer-exercise",
        format_version=1,
        exercise="curves",
        title=title,
        created=dt.datetime(2026, 3, 2, 9, 0, tzinfo=dt.UTC),
        purpose=sheets.Purpose.PRACTICE if practice else sheets.Purpose.MARKED,
        criteria="aae-2022",
        images=entries,
    )


def _key(sheet: Any, samples: list[Sample]) -> Any:
    """Answers by the truth: the canal's line at the scale that truth.json states."""
    from curvometer import (  # noqa: PLC0415
        calibrate_from_mm_per_pixel,
        canal_entry,
        centreline_from_points,
        measure_canal,
        new_record,
    )
    from curvometer.assessment import key as keys  # noqa: PLC0415

    images = []
    for entry, sample in zip(sheet.images, samples, strict=True):
        scale = calibrate_from_mm_per_pixel(sample.truth["mm_per_pixel"])
        line = centreline_from_points(np.array(sample.truth["centreline"], dtype=float)[:, ::-1])
        canal = canal_entry(line, measure_canal(line, scale), name=entry.canal)
        scale_entry = new_record(radiograph=None, calibration=scale, canals=[]).calibration
        reference = keys.Reference(expert="truth", exact=True, calibration=scale_entry, canal=canal)
        images.append(keys.ImageKey(id=entry.id, references=[reference]))
    return keys.ExerciseKey(
        format="curvometer-key",
        format_version=1,
        exercise=sheet.exercise,
        edition=sheet.edition,
        created=sheet.created,
        images=images,
    )


def _rc(point_xy: list[float]) -> tuple[float, float]:
    col, row = np.asarray(point_xy, dtype=float)
    return float(row), float(col)
