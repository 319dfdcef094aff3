"""The layers of an image come one in each turn of the window's loop, and whatever is done meanwhile is not lost."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pytest

from curvometer import Calibration
from curvometer_napari.case import Display
from curvometer_napari.layers import ENHANCED_TEXT
from curvometer_napari.placing import placing

if TYPE_CHECKING:
    from conftest import Bench, Sample

ENHANCED = "local contrast (display only)"
NAMES = [
    "radiograph",
    ENHANCED,
    "file of known length",
    "canals",
    "path to the pointer",
    "construction",
    "anchors",
    "words",
]


class Turns:
    """Stands for the window's loop: runs what was put off, one after the other, when the test says so."""

    def __init__(self) -> None:
        self.waiting: list[Callable[[], None]] = []

    def __call__(self, turn: Callable[[], None]) -> None:
        self.waiting.append(turn)

    def run(self, most: int = 1000) -> int:
        """Run what waits, and what is put off by that; how many that were."""
        count = 0
        while self.waiting and count < most:
            self.waiting.pop(0)()
            count += 1
        return count


@pytest.fixture
def slow(make_bench: Callable[..., Bench]) -> tuple[Bench, Turns]:
    """A canvas whose layers come in turns, with an image that has just been opened."""
    turns = Turns()
    made = make_bench(defer=turns)
    made.session.set_radiograph(made.sample.radiograph, source="lower_molar.dcm")
    return made, turns


def test_each_turn_adds_one_layer_at_most_and_the_image_comes_first(slow: tuple[Bench, Turns]) -> None:
    bench, turns = slow
    counts = [len(bench.viewer.layers)]
    while turns.run(1):
        assert len(turns.waiting) <= 1
        counts.append(len(bench.viewer.layers))
        if counts[-1] == 1:
            assert bench.viewer.layers[0] is bench.canvas.image_layer
    assert set(np.diff(counts)) <= {0, 1}
    assert [layer.name for layer in bench.viewer.layers] == NAMES
    assert [layer.name for layer in bench.viewer.layers if not layer.visible] == [ENHANCED]
    assert bench.viewer.layers.selection.active is bench.canvas.image_layer
    assert set(bench.viewer.layers.selection) == {bench.canvas.image_layer}
    text = bench.viewer.canvas.overlays.text
    assert (text.visible, text.opacity, text.box) == (False, 1.0, True)


@pytest.mark.parametrize("passed", [0, 1, 2, 5, 9, 14])
def test_work_done_while_layers_come_is_seen_and_can_be_undone(
    slow: tuple[Bench, Turns], passed: int
) -> None:
    bench, turns = slow
    turns.run(passed)
    bench.session.show(Display(quarter_turns=1), "rotate")
    bench.trace()
    bench.session.undo()
    bench.session.redo()
    turns.run()
    assert [layer.name for layer in bench.viewer.layers] == NAMES
    assert len(bench.visible("canals")) > 30
    assert len(bench.viewer.layers["anchors"].data) == 2
    placed = {layer.affine.affine_matrix.tobytes() for layer in bench.viewer.layers}
    assert placed == {placing(Calibration(), Display(quarter_turns=1)).affine.tobytes()}


@pytest.mark.parametrize("passed", [0, 1, 2, 5, 9, 14])
def test_another_image_while_layers_come(
    slow: tuple[Bench, Turns], sample: Callable[[str], Sample], passed: int
) -> None:
    bench, turns = slow
    turns.run(passed)
    other = sample("straight_canine").radiograph
    bench.session.set_radiograph(other)
    turns.run()
    assert [layer.name for layer in bench.viewer.layers] == NAMES
    assert np.shares_memory(bench.canvas.image_layer.data, other.pixels)  # type: ignore[union-attr]


@pytest.mark.parametrize("passed", [1, 5, 9])
def test_a_window_that_closes_while_layers_come_gets_no_more(slow: tuple[Bench, Turns], passed: int) -> None:
    bench, turns = slow
    turns.run(passed)
    bench.viewer.layers.clear()
    assert turns.run() <= 1
    assert len(bench.viewer.layers) == 0


def test_a_canvas_that_is_closed_adds_no_more(slow: tuple[Bench, Turns]) -> None:
    bench, turns = slow
    turns.run(5)
    there = list(bench.viewer.layers)
    bench.canvas.close()
    turns.run()
    assert list(bench.viewer.layers) == there


def test_lines_that_are_hidden_while_layers_come_stay_hidden(slow: tuple[Bench, Turns]) -> None:
    bench, turns = slow
    turns.run(5)
    bench.canvas.show_lines(False)
    turns.run()
    assert {layer.name for layer in bench.viewer.layers if layer.visible} == {"radiograph"}
    bench.canvas.show_lines(True)
    assert {layer.name for layer in bench.viewer.layers if not layer.visible} == {ENHANCED}


def test_letters_are_drawn_unseen_and_once(
    slow: tuple[Bench, Turns], sample: Callable[[str], Sample]
) -> None:
    bench, turns = slow
    text, seen = bench.viewer.canvas.overlays.text, set[str]()
    text.events.text.connect(
        lambda: seen.update(text.text) if (text.opacity, text.box) == (0.0, False) else None
    )
    first = turns.run()
    assert seen.issuperset("0123456789.mpixelMBSchneider±°")
    seen.clear()
    bench.session.set_radiograph(sample("straight_canine").radiograph)
    assert turns.run() < first // 2
    assert not seen


def test_raised_contrast_while_letters_are_drawn_says_so(slow: tuple[Bench, Turns]) -> None:
    bench, turns = slow
    turns.run(3)
    bench.session.show(Display(enhanced=True), "enhance")
    bench.session.settle()
    turns.run()
    text = bench.viewer.canvas.overlays.text
    assert (text.text, text.visible, text.opacity) == (ENHANCED_TEXT, True, 1.0)
    assert bench.viewer.layers[ENHANCED].data.std() > 30.0
