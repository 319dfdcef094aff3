"""From a tracing's anchors to its centreline and measurement, away from the window's thread."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from threading import Lock
from typing import TypeVar

from curvometer import (
    Calibration,
    CanalMeasurement,
    Centreline,
    CurvometerError,
    Radiograph,
    calibrate_from_file,
    calibrate_from_known_length,
    combine_calibrations,
    measure_canal,
    trace_centreline,
    trace_partly_by_hand,
)
from curvometer_napari.case import ScaleObject, Tracing

T = TypeVar("T")
Deliver = Callable[[Callable[[], None]], None]

FILE_CLICK_SD_PX = 1.0
"""Standard error of a click along a file, the core's own default for metal edges."""

log = logging.getLogger("curvometer_napari")


@dataclass(frozen=True, kw_only=True)
class Result:
    """What came out of a tracing; a sentence instead of a measurement when nothing could.

    Attributes
    ----------
    tracing
        What was solved.
    calibration
        The scale that was used.
    centreline, measurement
        None when `problem` says why not.
    problem
        One sentence, empty when all went well.
    """

    tracing: Tracing
    calibration: Calibration
    centreline: Centreline | None = None
    measurement: CanalMeasurement | None = None
    problem: str = ""


def scale_of(
    radiograph: Radiograph, objects: Sequence[ScaleObject], *, stated: Calibration | None = None
) -> Calibration:
    """Take the scale from the clicks along files of known length when there are any.

    Without any it is the stated one, and without that what the image file says.

    Raises
    ------
    CurvometerError
        When the clicks give no scale.
    """
    stated = stated or calibrate_from_file(radiograph)
    if not objects:
        return stated
    return combine_calibrations(
        [
            calibrate_from_known_length(
                item.clicks_rc,
                length_mm=item.length_mm,
                length_tolerance_mm=item.tolerance_mm,
                click_sd_px=FILE_CLICK_SD_PX,
                aspect_ratio=stated.aspect_ratio,
            )
            for item in objects
        ]
    )


def solve(radiograph: Radiograph, calibration: Calibration, tracing: Tracing) -> Result:
    """Trace and measure one canal; bad input becomes a sentence."""
    if len(tracing.anchors_rc) < 2:
        return Result(tracing=tracing, calibration=calibration)
    try:
        centreline = _traced(radiograph, calibration, tracing)
        measurement = measure_canal(centreline, calibration)
    except CurvometerError as error:
        return Result(tracing=tracing, calibration=calibration, problem=str(error))
    return Result(tracing=tracing, calibration=calibration, centreline=centreline, measurement=measurement)


def _traced(radiograph: Radiograph, calibration: Calibration, tracing: Tracing) -> Centreline:
    if tracing.hand_legs:
        return trace_partly_by_hand(
            radiograph,
            tracing.anchors_rc,
            hand_legs=sorted(tracing.hand_legs),
            structure=tracing.structure,
            calibration=calibration,
        )
    return trace_centreline(
        radiograph, tracing.anchors_rc, structure=tracing.structure, calibration=calibration
    )


class Worker:
    """One thread for what takes longer than a frame.

    Each key has a job that runs and at most one that waits: a newer one takes the place of the one that waits, so that
    numbers follow a dragged anchor however slow the machine is.

    Parameters
    ----------
    deliver
        Runs a function in the window's thread. Without a window, calling it where it is will do.
    name
        Of the thread.
    """

    def __init__(self, deliver: Deliver, *, name: str = "curvometer") -> None:
        self._deliver = deliver
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix=name)
        self._lock = Lock()
        self._waiting: dict[str, Callable[[], None]] = {}
        self._epoch: dict[str, int] = {}
        self._running = 0

    def ask(
        self, key: str, job: Callable[[], T], done: Callable[[T], None], failed: Callable[[str], None]
    ) -> None:
        """Run a job; `done` or `failed` follows in the window's thread, unless the key is dropped before."""
        epoch = self._epoch.setdefault(key, 0)

        def tell(say: Callable[[], None]) -> None:
            self._deliver(lambda: say() if self._epoch[key] == epoch else None)

        with self._lock:
            queued = key in self._waiting
            self._waiting[key] = lambda: _run(job, done, failed, tell)
        if not queued:
            self._pool.submit(self._run_waiting, key)

    def drop(self, key: str) -> None:
        """Forget a key's jobs: their outcome will not be told."""
        with self._lock:
            self._epoch[key] = self._epoch.get(key, 0) + 1
            if key in self._waiting:
                self._waiting[key] = lambda: None

    @property
    def busy(self) -> bool:
        """Whether a job waits or runs."""
        with self._lock:
            return bool(self._waiting) or self._running > 0

    def close(self, *, wait: bool = True) -> None:
        """Let nothing be told any more, and end the thread, with `wait` before this returns."""
        for key in list(self._epoch):
            self.drop(key)
        self._pool.shutdown(wait=wait, cancel_futures=True)
        with self._lock:
            self._waiting.clear()

    def _run_waiting(self, key: str) -> None:
        with self._lock:
            job = self._waiting.pop(key, lambda: None)
            self._running += 1
        try:
            job()
        finally:
            with self._lock:
                self._running -= 1


def _run(
    job: Callable[[], T],
    done: Callable[[T], None],
    failed: Callable[[str], None],
    tell: Callable[[Callable[[], None]], None],
) -> None:
    try:
        outcome = job()
    except CurvometerError as error:
        sentence = str(error)
        tell(lambda: failed(sentence))
    except Exception:
        log.exception("a background job failed")
        tell(lambda: failed(UNEXPECTED))
    else:
        tell(lambda: done(outcome))


UNEXPECTED = (
    "Something went wrong that should not; the log has the details. Your clicks are kept: save and reopen."
)
