"""PNG, TIFF, JPEG and BMP pictures through the loader, and the display grey values."""

from __future__ import annotations

import hashlib
import zlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst
from PIL import Image, ImageFile

from curvometer.loading import LoadError, display_pixels, load_radiograph
from curvometer.radiograph import CurvometerError, DisplayWindow, Radiograph


def grey(dtype: type = np.uint8, shape: tuple[int, int] = (30, 44)) -> np.ndarray:
    top = np.iinfo(dtype).max
    values = np.random.default_rng(3).integers(0, top + 1, shape).astype(dtype)
    values[0, 0], values[0, 1] = 0, top
    return values


@pytest.mark.parametrize("suffix", ["png", "tif", "bmp"])
def test_eight_bits_are_exact(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"image.{suffix}"
    Image.fromarray(grey()).save(path)
    radiograph = load_radiograph(path)
    np.testing.assert_array_equal(radiograph.pixels, grey())
    assert radiograph.pixels.dtype == np.uint8
    assert radiograph.bits_stored == 8
    assert radiograph.file_format == {"png": "PNG", "tif": "TIFF", "bmp": "BMP"}[suffix]
    assert radiograph.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_sixteen_bits_are_exact(tmp_path: Path, suffix: str) -> None:
    Image.fromarray(grey(np.uint16)).save(tmp_path / f"image.{suffix}")
    radiograph = load_radiograph(tmp_path / f"image.{suffix}")
    np.testing.assert_array_equal(radiograph.pixels, grey(np.uint16))
    assert radiograph.pixels.dtype == np.uint16
    assert radiograph.bits_stored == 16


@pytest.mark.parametrize("order", ["<", ">"])
def test_sixteen_bit_tiff_in_either_byte_order(tmp_path: Path, order: str) -> None:
    pixels = grey(np.uint16)
    (tmp_path / "image.tif").write_bytes(tiff(pixels, order=order))
    radiograph = load_radiograph(tmp_path / "image.tif")
    np.testing.assert_array_equal(radiograph.pixels, pixels)
    assert radiograph.pixels.dtype.isnative


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_white_is_zero_is_turned(tmp_path: Path, dtype: type) -> None:
    """TIFF 6.0, PhotometricInterpretation 0: the stored maximum is black, so bright = max - stored."""
    pixels = grey(dtype)
    (tmp_path / "image.tif").write_bytes(tiff(pixels, photometric=0))
    radiograph = load_radiograph(tmp_path / "image.tif")
    np.testing.assert_array_equal(radiograph.pixels, np.iinfo(dtype).max - pixels)
    assert radiograph.inverted_on_load
    np.testing.assert_array_equal(load_radiograph(tmp_path / "image.tif", inverted=True).pixels, pixels)


def tiff(pixels: np.ndarray, *, order: str = "<", photometric: int = 1, sample_format: int = 1) -> bytes:
    """The least TIFF 6.0 file: one strip, ten tags."""
    rows, columns = pixels.shape
    data = pixels.astype(pixels.dtype.newbyteorder(order)).tobytes()
    bits = 8 * pixels.dtype.itemsize
    tags = [
        (256, columns),
        (257, rows),
        (258, bits),
        (259, 1),
        (262, photometric),
        (273, 8 + 2 + 10 * 12 + 4),
        (277, 1),
        (278, rows),
        (279, len(data)),
        (339, sample_format),
    ]
    byteorder = "little" if order == "<" else "big"
    entry = b"".join(
        number.to_bytes(2, byteorder)
        + (4).to_bytes(2, byteorder)
        + (1).to_bytes(4, byteorder)
        + value.to_bytes(4, byteorder)
        for number, value in tags
    )
    head = (b"II*\0" if order == "<" else b"MM\0*") + (8).to_bytes(4, byteorder)
    return head + len(tags).to_bytes(2, byteorder) + entry + bytes(4) + data


def test_signed_and_float_tiff(tmp_path: Path) -> None:
    signed = (grey(np.uint16).astype(int) - 32768).astype(np.int16)
    (tmp_path / "signed.tif").write_bytes(tiff(signed, sample_format=2))
    radiograph = load_radiograph(tmp_path / "signed.tif")
    np.testing.assert_array_equal(radiograph.pixels, signed)
    values = np.linspace(-1.5, 7.25, 900, dtype=np.float32).reshape(30, 30)
    (tmp_path / "float.tif").write_bytes(tiff(values, sample_format=3))
    radiograph = load_radiograph(tmp_path / "float.tif")
    np.testing.assert_array_equal(radiograph.pixels, values)
    assert radiograph.bits_stored is None
    turned = load_radiograph(tmp_path / "float.tif", inverted=True).pixels
    np.testing.assert_allclose(turned, 5.75 - values, atol=1e-6)


def test_picture_saved_as_a_negative(tmp_path: Path) -> None:
    Image.fromarray(255 - grey()).save(tmp_path / "negative.png")
    radiograph = load_radiograph(tmp_path / "negative.png", inverted=True)
    np.testing.assert_array_equal(radiograph.pixels, grey())
    assert radiograph.inverted_on_load


def upright_and_stored(orientation: int) -> tuple[np.ndarray, np.ndarray]:
    """The upright picture, and how a camera stores it under an EXIF orientation.

    EXIF 2.3, tag 274 (from memory): where the stored first row and first column lie in the upright picture.
    """
    upright = np.arange(16 * 24, dtype=np.uint8).reshape(16, 24)
    first_row, first_column = {
        1: ("top", "left"),
        2: ("top", "right"),
        3: ("bottom", "right"),
        4: ("bottom", "left"),
        5: ("left", "top"),
        6: ("right", "top"),
        7: ("right", "bottom"),
        8: ("left", "bottom"),
    }[orientation]
    stored = upright
    if "right" in (first_row, first_column):
        stored = stored[:, ::-1]
    if "bottom" in (first_row, first_column):
        stored = stored[::-1]
    if first_row in ("left", "right"):
        stored = stored.T
    return upright, np.ascontiguousarray(stored)


@pytest.mark.parametrize("suffix", ["png", "jpg", "tif"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_applied_once(tmp_path: Path, orientation: int, suffix: str) -> None:
    upright, stored = upright_and_stored(orientation)
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / f"image.{suffix}"
    options = {"quality": 100, "subsampling": 0} if suffix == "jpg" else {}
    Image.fromarray(stored).save(path, exif=exif, dpi=(1000, 500), **options)
    radiograph = load_radiograph(path)
    assert radiograph.shape == upright.shape
    difference = np.abs(radiograph.pixels.astype(int) - upright)
    assert difference.max() <= (3 if suffix == "jpg" else 0)
    assert bool(radiograph.notes) == (orientation != 1)
    # 1000 dots per inch across the stored picture are 0.0254 mm; axes exchange places from 5 on.
    pitch = radiograph.spacing.png_pitch_mm
    expected = (0.0508, 0.0254) if orientation < 5 else (0.0254, 0.0508)
    assert pitch == pytest.approx(expected, rel=1e-3)


def test_unknown_orientation_is_ignored(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112] = 77
    Image.fromarray(grey()).save(tmp_path / "image.png", exif=exif)
    np.testing.assert_array_equal(load_radiograph(tmp_path / "image.png").pixels, grey())


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "LA", "P"])
def test_grey_in_colour_channels_is_grey(tmp_path: Path, mode: str) -> None:
    Image.fromarray(grey()).convert(mode).save(tmp_path / "image.png")
    radiograph = load_radiograph(tmp_path / "image.png")
    np.testing.assert_array_equal(radiograph.pixels, grey())
    assert radiograph.notes == ()


def test_transparency_and_slight_tint_are_noted(tmp_path: Path) -> None:
    image = Image.fromarray(grey()).convert("RGBA")
    image.putalpha(Image.fromarray(grey()))
    image.save(tmp_path / "alpha.png")
    assert any("transparency" in note for note in load_radiograph(tmp_path / "alpha.png").notes)
    colour = np.dstack([np.minimum(grey(), 250)] * 3)
    colour[..., 2] += 2
    Image.fromarray(colour).save(tmp_path / "tint.png")
    radiograph = load_radiograph(tmp_path / "tint.png")
    assert any("2 levels" in note for note in radiograph.notes)
    colour[5, 5, 2] += 1
    Image.fromarray(colour).save(tmp_path / "colour.png")
    with pytest.raises(LoadError, match="colour"):
        load_radiograph(tmp_path / "colour.png")


def test_kind_is_told_by_content_not_by_name(tmp_path: Path) -> None:
    Image.fromarray(grey()).save(tmp_path / "image.png")
    (tmp_path / "image.png").rename(tmp_path / "image.dcm")
    assert load_radiograph(tmp_path / "image.dcm").file_format == "PNG"
    assert load_radiograph(str(tmp_path / "image.dcm")).file_format == "PNG"


def test_stated_pitch_of_a_png(tmp_path: Path) -> None:
    """pHYs 33333 pixels per metre are 0.0300 mm."""
    Image.fromarray(grey()).save(tmp_path / "plain.png")
    assert load_radiograph(tmp_path / "plain.png").spacing.png_pitch_mm is None
    Image.fromarray(grey()).save(tmp_path / "pitch.png", dpi=(33333 * 0.0254, 33333 * 0.0254))
    pitch = load_radiograph(tmp_path / "pitch.png").spacing.png_pitch_mm
    assert pitch == pytest.approx((0.0300, 0.0300), rel=1e-4)


def test_png_aspect_without_a_unit(tmp_path: Path) -> None:
    """4 pixels per unit across, 3 down: a pixel is 1/4 wide and 1/3 high, so row / column spacing is 4/3."""
    data = b"".join(number.to_bytes(4, "big") for number in (4, 3)) + b"\0"
    chunk = b"pHYs" + data
    Image.fromarray(grey()).save(tmp_path / "aspect.png")
    png = (tmp_path / "aspect.png").read_bytes()
    chunk = (9).to_bytes(4, "big") + chunk + zlib.crc32(chunk).to_bytes(4, "big")
    (tmp_path / "aspect.png").write_bytes(png[:33] + chunk + png[33:])  # behind the header chunk
    spacing = load_radiograph(tmp_path / "aspect.png").spacing
    assert spacing.pixel_aspect_ratio == pytest.approx(4 / 3)
    assert spacing.png_pitch_mm is None


def test_truncated_picture_is_refused_even_if_pillow_was_told_to_fill_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    Image.fromarray(grey(shape=(200, 200))).save(tmp_path / "image.png")
    data = (tmp_path / "image.png").read_bytes()
    (tmp_path / "image.png").write_bytes(data[: len(data) // 2] + data[-12:])  # with its end chunk
    with pytest.raises(LoadError, match="cut short"):
        load_radiograph(tmp_path / "image.png")
    assert ImageFile.LOAD_TRUNCATED_IMAGES


def test_display_through_a_window() -> None:
    """(v - 100) / (355 - 100) * 255 = v - 100, clipped."""
    pixels = np.arange(0, 640, 10, dtype=np.uint16).reshape(8, 8)
    shown = display_pixels(Radiograph(pixels=pixels, window=DisplayWindow(black=100.0, white=355.0)))
    np.testing.assert_array_equal(shown, np.clip(pixels.astype(int) - 100, 0, 255))
    assert shown.dtype == np.uint8


@given(
    npst.arrays(
        dtype=st.sampled_from([np.uint8, np.uint16, np.int16, np.int32, np.float32]),
        shape=(9, 11),
        elements={"min_value": 0, "max_value": 120},
    )
)
def test_display_keeps_the_order_of_grey_values(pixels: np.ndarray) -> None:
    shown = display_pixels(Radiograph(pixels=pixels.copy()))
    order = np.argsort(pixels, axis=None, kind="stable")
    assert (np.diff(shown.ravel()[order].astype(int)) >= 0).all()


def test_display_of_float_pixels_that_are_not_numbers() -> None:
    pixels = np.full((9, 9), np.nan)
    assert display_pixels(Radiograph(pixels=pixels)).max() == 0


def test_load_error_is_an_error_of_the_package() -> None:
    assert issubclass(LoadError, CurvometerError)
