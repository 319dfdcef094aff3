"""Radiographs as layers; a file that is none is one sentence and no dialog."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from napari.utils.notifications import ErrorNotification, notification_manager
from PIL import Image

from curvometer import Radiograph, load_radiograph
from curvometer_napari.reader import NOTHING_TO_ADD, get_reader, image_layer, read_radiographs, refusals


@pytest.fixture
def told():
    sentences = []
    refusals.told.connect(sentences.append)
    yield sentences
    refusals.told.disconnect(sentences.append)


@pytest.fixture
def shown():
    """Notifications that napari was given during the test."""
    before = len(notification_manager.records)
    return lambda: notification_manager.records[before:]


def picture(path: Path) -> Path:
    grey = np.add.outer(np.arange(60), np.arange(50)).astype(np.uint8)
    Image.fromarray(grey).save(path)
    return path


@pytest.mark.parametrize("ending", ["png", "tif", "tiff", "jpg", "jpeg", "bmp", "PNG"])
def test_pictures_are_read_as_the_core_reads_them(tmp_path, ending):
    path = str(picture(tmp_path / f"tooth.{ending}"))
    ((pixels, options, kind),) = get_reader(path)(path)
    mine = options["metadata"]["curvometer"]
    assert kind == "image"
    assert options["name"] == "tooth"
    assert mine["source"] == path
    assert isinstance(mine["radiograph"], Radiograph)
    assert pixels is mine["radiograph"].pixels
    assert mine["radiograph"].sha256 == load_radiograph(path).sha256


@pytest.mark.parametrize("ending", ["dcm", "dicom", "ima"])
def test_dicom_is_read_under_each_of_its_endings(tmp_path, sample, ending):
    known = sample("lower_molar")
    path = str(shutil.copy(known.path, tmp_path / f"tooth.{ending}"))
    ((pixels, _, _),) = get_reader(path)(path)
    assert np.array_equal(pixels, known.radiograph.pixels)


def test_grey_range_is_the_files_window_or_the_pixels_own():
    """Rows of 0, 10, ..., 590: every eighth row and column has 0 to 560, of which 0.5 and 99.5 % lie at the ends."""
    pixels = np.repeat(np.arange(60, dtype=np.uint16)[:, None] * 10, 50, axis=1)
    black, white = image_layer(Radiograph(pixels=pixels), name="", source="")[1]["contrast_limits"]
    assert 0 <= black < 30
    assert 530 < white <= 560
    flat = Radiograph(pixels=np.full((60, 50), 7, np.uint8))
    assert image_layer(flat, name="", source="")[1]["contrast_limits"] == (7.0, 8.0)


def test_a_folder_is_left_to_others(tmp_path):
    assert get_reader(str(tmp_path)) is None
    assert get_reader([]) is None


def test_a_bad_file_is_one_sentence_without_a_traceback(tmp_path, told, shown):
    path = tmp_path / "letter.png"
    path.write_text("Dear colleague")
    assert read_radiographs(str(path)) == NOTHING_TO_ADD
    (sentence,) = told
    assert sentence.startswith("letter.png ")
    (notification,) = shown()
    assert notification.message == sentence
    assert not isinstance(notification, ErrorNotification), "that kind has a button for the traceback"


def test_of_several_files_the_good_ones_are_read(tmp_path, told):
    bad = tmp_path / "bad.png"
    bad.write_bytes(b"")
    layers = read_radiographs([str(bad), picture(tmp_path / "good.png")])
    assert [options["name"] for _, options, _ in layers] == ["good"]
    assert len(told) == 1


def test_napari_opens_a_file_with_it(make_napari_viewer, tmp_path):
    viewer = make_napari_viewer()
    (layer,) = viewer.open(picture(tmp_path / "tooth.png"), plugin="curvometer")
    assert layer.metadata["curvometer"]["radiograph"].shape == (60, 50)


def test_napari_adds_nothing_for_a_bad_file_and_raises_nothing(make_napari_viewer, tmp_path, told):
    path = tmp_path / "bad.dcm"
    path.write_bytes(b"no image at all")
    viewer = make_napari_viewer()
    assert viewer.open(path, plugin="curvometer") == []
    assert len(told) == 1


def test_an_exercise_is_passed_on_to_the_panel(tmp_path, told, shown):
    """Without a panel it is told where to find one; it is never read as an image."""
    path = tmp_path / "Curves.HANDOUT.zip"
    path.write_bytes(b"")
    assert get_reader(str(path))(str(path)) == NOTHING_TO_ADD
    assert "open the panel first" in told[-1]
    assert len(shown()) == 1
    asked = []
    refusals.exercise_found.connect(asked.append)
    try:
        assert read_radiographs([str(path)]) == NOTHING_TO_ADD
    finally:
        refusals.exercise_found.disconnect(asked.append)
    assert asked == [str(path)]
    assert len(told) == 1
