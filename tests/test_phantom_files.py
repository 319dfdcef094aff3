"""Phantoms as files, and the sample images."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pydicom
import pytest
from PIL import Image

from curvometer.phantom import (
    SAMPLE_CASES,
    CanalShape,
    PhantomOptions,
    build_sample_images,
    simulate_radiograph,
    true_measures,
    write_phantom,
)
from curvometer.radiograph import CurvometerError

SAMPLES = Path(__file__).parent.parent / "sample_images"
SHAPE = CanalShape.straight_arc(straight_mm=5.0, radius_mm=8.0, angle_deg=35.0)
SMALL = PhantomOptions(field_mm=(15.0, 8.0), centre_on_canal=True, mm_per_pixel=0.05, neighbours=False)


@pytest.mark.parametrize("compression", ["none", "deflate", "jpeg-ls"])
@pytest.mark.parametrize(
    ("bits", "photometric"),
    [(8, "MONOCHROME2"), (12, "MONOCHROME1"), (12, "MONOCHROME2"), (16, "MONOCHROME2")],
)
def test_dicom_holds_the_same_pixels(tmp_path, bits, photometric, compression):
    phantom = simulate_radiograph(SHAPE, replace(SMALL, bits=bits, photometric=photometric))
    paths = write_phantom(phantom, tmp_path, name="case", compression=compression)
    dataset = pydicom.dcmread(paths["dicom"])
    stored = dataset.pixel_array.astype(int)
    if photometric == "MONOCHROME1":
        stored = 2**bits - 1 - stored
    assert (stored == phantom.radiograph.pixels).all()
    assert dataset.PhotometricInterpretation == photometric
    assert dataset.PresentationLUTShape == ("INVERSE" if photometric == "MONOCHROME1" else "IDENTITY")
    assert dataset.BitsStored == bits
    assert dataset.Modality == "IO"


def test_an_odd_number_of_bytes_is_padded(tmp_path):
    phantom = simulate_radiograph(SHAPE, replace(SMALL, bits=8, field_mm=None, image_shape=(301, 161)))
    dataset = pydicom.dcmread(write_phantom(phantom, tmp_path, name="odd")["dicom"])
    assert dataset.pixel_array.shape == (301, 161)


def test_header_states_the_size_as_asked(tmp_path):
    """0.05 mm at the tooth, magnification 1.05: 0.0525 mm at the detector (PS3.3 section 10.7.1)."""
    phantom = simulate_radiograph(SHAPE, SMALL)
    read = {}
    for kind in ("fiducial", "imager", "magnified", "pixel", "none"):
        read[kind] = pydicom.dcmread(write_phantom(phantom, tmp_path, name=kind, spacing=kind)["dicom"])
    assert read["fiducial"].PixelSpacing == [0.05, 0.05]
    assert read["fiducial"].PixelSpacingCalibrationType == "FIDUCIAL"
    assert len(read["fiducial"].PixelSpacingCalibrationDescription) <= 64
    assert read["fiducial"].ImagerPixelSpacing == [0.0525, 0.0525]
    assert "PixelSpacing" not in read["imager"]
    assert read["magnified"].EstimatedRadiographicMagnificationFactor == 1.05
    assert read["pixel"].PixelSpacing == [0.0525, 0.0525]
    assert "ImagerPixelSpacing" not in read["pixel"]
    assert "PixelSpacingCalibrationType" not in read["pixel"]
    assert "PixelSpacing" not in read["none"]
    assert "ImagerPixelSpacing" not in read["none"]


@pytest.mark.parametrize(("bits", "png_bits", "shift"), [(8, None, 0), (12, None, 4), (12, 8, -4)])
def test_png_holds_the_grey_values_and_the_pitch(tmp_path, bits, png_bits, shift):
    phantom = simulate_radiograph(SHAPE, replace(SMALL, bits=bits))
    path = write_phantom(phantom, tmp_path, name="case", png_bits=png_bits)["png"]
    with Image.open(path) as image:
        pixels = np.asarray(image).astype(int)
        dpi = image.info["dpi"]
    expected = phantom.radiograph.pixels.astype(int)
    assert (pixels == (expected << shift if shift >= 0 else expected >> -shift)).all()
    assert 25.4 / dpi[0] == pytest.approx(0.0525, rel=1e-3)  # pHYs counts whole pixels per metre


def test_truth_file_is_x_then_y(tmp_path):
    phantom = simulate_radiograph(SHAPE, SMALL)
    record = json.loads(write_phantom(phantom, tmp_path, name="case")["truth"].read_text(encoding="utf-8"))
    row, col = phantom.truth.foramen_rc
    assert record["foramen"] == pytest.approx([col, row], abs=1e-3)
    assert record["centreline"][0] == record["orifice"]
    assert record["centreline"][-1] == record["foramen"]
    assert record["measures"]["schneider_angle"] == pytest.approx(
        17.5, abs=1e-6
    )  # half the arc's angle, no tail


def test_wrong_requests_are_refused_in_a_sentence(tmp_path):
    phantom = simulate_radiograph(SHAPE, SMALL)
    with pytest.raises(CurvometerError, match="does not exist"):
        write_phantom(phantom, tmp_path / "nowhere", name="x")
    with pytest.raises(CurvometerError, match="spacing"):
        write_phantom(phantom, tmp_path, name="x", spacing="guessed")
    with pytest.raises(CurvometerError, match="compression"):
        write_phantom(phantom, tmp_path, name="x", compression="zip")
    with pytest.raises(CurvometerError, match="no sample case"):
        build_sample_images(tmp_path, only="x")
    assert list(tmp_path.iterdir()) == []


@pytest.fixture(scope="module")
def sample_truth():
    return json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))


def test_every_sample_has_its_files_and_its_row(sample_truth):
    readme = (SAMPLES / "README.md").read_text(encoding="utf-8")
    assert set(sample_truth) == set(SAMPLE_CASES)
    assert len(sample_truth) >= 8
    for name in sample_truth:
        assert f"`{name}`" in readme
        assert (SAMPLES / f"{name}.dcm").is_file()
        assert (SAMPLES / f"{name}.png").is_file()
    assert sum(path.stat().st_size for path in SAMPLES.iterdir() if path.is_file()) < 25e6


@pytest.mark.parametrize("name", list(SAMPLE_CASES))
def test_sample_truth_agrees_with_files_and_shape(name, sample_truth):
    case, truth = SAMPLE_CASES[name], sample_truth[name]
    dataset = pydicom.dcmread(SAMPLES / f"{name}.dcm", stop_before_pixels=True)
    with Image.open(SAMPLES / f"{name}.png") as image:
        assert image.size == (dataset.Columns, dataset.Rows)
    for x, y in (truth["orifice"], truth["foramen"], *truth["centreline"]):
        assert 0 < x < dataset.Columns - 1
        assert 0 < y < dataset.Rows - 1
    line = np.array(truth["centreline"])
    length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum() * truth["mm_per_pixel"]
    assert length == pytest.approx(truth["measures"]["canal_length"], rel=1e-3)
    expected = true_measures(case.shape)
    assert truth["measures"]["schneider_angle"] == pytest.approx(expected["schneider_angle"], abs=1e-5)
    if case.spacing == "fiducial":
        assert [float(v) for v in dataset.PixelSpacing] == pytest.approx([truth["mm_per_pixel"]] * 2)
    for known in truth["known_lengths"]:
        path = np.array(known["path"])
        drawn = np.linalg.norm(np.diff(path, axis=0), axis=1).sum() * truth["mm_per_pixel"]
        assert drawn == pytest.approx(known["length_mm"], rel=2e-3)


def test_samples_on_disk_are_what_the_script_builds(tmp_path, sample_truth):
    """One case is built again: same truth, and the same pixels but for the rounding of another processor."""
    built = build_sample_images(tmp_path, only="low_contrast_premolar")
    assert built["low_contrast_premolar"] == sample_truth["low_contrast_premolar"]
    with Image.open(tmp_path / "low_contrast_premolar.png") as new:
        fresh = np.asarray(new).astype(int)
    with Image.open(SAMPLES / "low_contrast_premolar.png") as old:
        kept = np.asarray(old).astype(int)
    assert np.abs(fresh - kept).mean() < 0.5


def test_samples_mix_what_headers_state():
    assert {case.spacing for case in SAMPLE_CASES.values()} >= {"fiducial", "imager", "none"}
