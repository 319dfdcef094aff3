"""Sample radiographs, from the project's files or simulated where those are not."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from curvometer_napari import samples

NAMES = sorted(samples.SHAPES)


@pytest.mark.parametrize("name", NAMES)
def test_the_source_tree_gives_its_own_files(name, sample):
    ((pixels, options, kind),) = getattr(samples, name)()
    assert kind == "image"
    assert options["metadata"]["curvometer"]["source"].endswith(f"{name}.dcm")
    assert np.array_equal(pixels, sample(name).radiograph.pixels)


@pytest.mark.parametrize("name", NAMES)
def test_the_shapes_are_those_of_the_files(name, sample):
    """truth.json says None for the radius of a straight piece, `CanalShape` infinity."""
    truth = [
        (length, math.inf if radius is None else radius)
        for length, radius in sample(name).truth["segments_mm"]
    ]
    assert np.array(samples.SHAPES[name].segments) == pytest.approx(np.array(truth))


def test_an_installed_package_simulates(monkeypatch):
    monkeypatch.setattr(samples, "FOLDER", Path("/nowhere"))
    ((pixels, options, _),) = samples.straight_canine()
    assert min(pixels.shape) > 500
    assert options["metadata"]["curvometer"]["source"] == ""
    assert options["name"] == "straight_canine"
    again = samples.simulated("straight_canine")
    assert np.array_equal(again.pixels, pixels)


def test_napari_lists_and_opens_them(make_napari_viewer):
    viewer = make_napari_viewer()
    (layer,) = viewer.open_sample("curvometer", "lower_molar")
    assert layer.metadata["curvometer"]["radiograph"].shape == (1300, 1700)
