"""The background thread: newest first, nothing told after it was dropped, and failures become sentences."""

from __future__ import annotations

import logging
import threading
from dataclasses import replace

import numpy as np
import pytest

from curvometer import CanalName, Radiograph, TraceFlag, TracingError, calibrate_from_mm_per_pixel
from curvometer_napari.case import Tracing
from curvometer_napari.solving import UNEXPECTED, Worker, solve

SCALE = calibrate_from_mm_per_pixel(0.03)


@pytest.fixture
def worker():
    made = Worker(lambda say: say())
    yield made
    made.close()


def wait(worker, seconds=10.0):
    done = threading.Event()
    for _ in range(int(seconds / 0.01)):
        if not worker.busy:
            return
        done.wait(0.01)
    raise AssertionError("the background thread is still busy")


def test_an_outcome_is_told(worker):
    told = []
    worker.ask("a", lambda: 7, told.append, told.append)
    wait(worker)
    assert told == [7]


def test_of_many_that_wait_only_the_newest_runs(worker):
    gate, ran, told = threading.Event(), [], []
    worker.ask("block", gate.wait, lambda _: None, told.append)
    for n in range(50):
        worker.ask("a", lambda n=n: ran.append(n) or n, told.append, told.append)
    gate.set()
    wait(worker)
    assert ran == told == [49]


def test_one_that_runs_is_told_though_a_newer_waits(worker):
    """Else numbers would stand still as long as an anchor is dragged."""
    gate, started, told = threading.Event(), threading.Event(), []

    def slow():
        started.set()
        gate.wait()
        return "old"

    worker.ask("a", slow, told.append, told.append)
    started.wait()
    worker.ask("a", lambda: "new", told.append, told.append)
    gate.set()
    wait(worker)
    assert told == ["old", "new"]


def test_what_was_dropped_is_not_told(worker):
    gate, started, told = threading.Event(), threading.Event(), []

    def slow():
        started.set()
        gate.wait()

    worker.ask("a", slow, told.append, told.append)
    started.wait()
    worker.ask("a", lambda: 1, told.append, told.append)
    worker.drop("a")
    gate.set()
    wait(worker)
    assert told == []
    worker.ask("a", lambda: 2, told.append, told.append)
    wait(worker)
    assert told == [2]


def test_bad_input_is_told_in_its_own_words(worker):
    told = []

    def refuse():
        raise TracingError("click on the canal")

    worker.ask("a", refuse, told.append, told.append)
    wait(worker)
    assert told == ["click on the canal"]


def test_the_unexpected_is_logged_and_told_in_one_sentence(worker, caplog):
    told = []
    with caplog.at_level(logging.ERROR, logger="curvometer_napari"):
        worker.ask("a", lambda: 1 / 0, told.append, told.append)
        wait(worker)
    assert told == [UNEXPECTED]
    assert "ZeroDivisionError" in caplog.text


def test_closing_leaves_nothing_waiting():
    worker, gate, started = Worker(lambda say: say()), threading.Event(), threading.Event()

    def slow():
        started.set()
        gate.wait()

    worker.ask("a", slow, lambda _: None, lambda _: None)
    started.wait()
    worker.ask("b", lambda: 1, lambda _: None, lambda _: None)
    gate.set()
    worker.close()
    assert not worker.busy


class TestSolve:
    radiograph = Radiograph(pixels=np.full((200, 200), 7.0))
    tracing = Tracing(name=CanalName.D, anchors_rc=((20.0, 100.0), (180.0, 100.0)))

    def test_one_click_has_no_outcome_and_no_complaint(self):
        result = solve(self.radiograph, SCALE, replace(self.tracing, anchors_rc=((1.0, 2.0),)))
        assert (result.centreline, result.measurement, result.problem) == (None, None, "")

    def test_an_even_grey_is_a_sentence(self):
        result = solve(self.radiograph, SCALE, self.tracing)
        assert "even grey" in result.problem
        assert result.measurement is None

    def test_by_hand_even_there_a_line_is_measured_and_flagged(self):
        result = solve(self.radiograph, SCALE, replace(self.tracing, hand_legs=frozenset({0})))
        assert result.problem == ""
        assert result.centreline.flags == (TraceFlag.BY_HAND,)
        assert result.measurement.schneider_angle.value == pytest.approx(0.0, abs=0.5)
