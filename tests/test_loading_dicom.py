"""DICOM files through the loader: pydicom's test files, polarity, lossless codecs, grey scale, sizes."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pydicom
import pydicom.data
import pytest
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    JPEG2000Lossless,
    JPEGLSLossless,
    RLELossless,
)

from curvometer.loading import LoadError, display_pixels, load_radiograph
from curvometer.radiograph import Radiograph


def ramp(bits: int = 12, shape: tuple[int, int] = (40, 50), seed: int = 1) -> np.ndarray:
    """Random values over the whole range of `bits`, with both ends of the range present."""
    dtype = np.uint8 if bits <= 8 else np.uint16
    values = np.random.default_rng(seed).integers(0, 2**bits, shape).astype(dtype)
    values[0, 0], values[0, 1] = 0, 2**bits - 1
    return values


def dataset(pixels: np.ndarray, *, bits: int = 12, **attributes: object) -> Dataset:
    """A minimal image: no SOP class, no UIDs, no type-2 attributes, as files from the field come."""
    ds = Dataset()
    ds.file_meta = FileMetaDataset()
    ds.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds.Modality = "IO"
    ds.SamplesPerPixel = 1
    ds.PhotometricInterpretation = "MONOCHROME2"
    ds.Rows, ds.Columns = pixels.shape[:2]
    ds.BitsAllocated = 8 * pixels.dtype.itemsize
    ds.BitsStored, ds.HighBit = bits, bits - 1
    ds.PixelRepresentation = int(pixels.dtype.kind == "i")
    ds.add_new("PixelData", "OB" if pixels.dtype.itemsize == 1 else "OW", pixels.tobytes())
    for name, value in attributes.items():
        setattr(ds, name, value)
    return ds


def save(ds: Dataset, path: Path, syntax: str = ExplicitVRLittleEndian) -> Path:
    ds.file_meta.TransferSyntaxUID = syntax
    ds.preamble = b"\0" * 128
    pydicom.dcmwrite(path, ds, enforce_file_format=False)
    return path


def test_files_of_pydicom_load_or_are_refused_in_one_sentence() -> None:
    """Every file of pydicom and pydicom-data gives a valid radiograph, or `LoadError`, and nothing else."""
    folders = [Path(pydicom.data.__file__).parent]
    spec = importlib.util.find_spec("data_store")
    assert spec is not None
    assert spec.submodule_search_locations
    folders += [Path(place) for place in spec.submodule_search_locations]
    files = [p for folder in folders for p in sorted(folder.rglob("*")) if p.is_file()]
    files = [p for p in files if p.suffix not in (".py", ".pyc", ".json", ".md", ".txt")]
    loaded = 0
    for path in files:
        try:
            radiograph = load_radiograph(path)
        except LoadError as error:
            text = str(error)
            assert text.startswith(path.name), text
            assert "\n" not in text
            assert len(text) < 250, text
        else:
            loaded += 1
            assert isinstance(radiograph, Radiograph)
            assert radiograph.pixels.dtype in (np.uint8, np.uint16, np.int16)
            assert display_pixels(radiograph).shape == radiograph.shape
    assert len(files) > 230
    assert loaded >= 80


LOADS = {  # file: (shape, bits stored, turned)
    "CT_small.dcm": ((128, 128), 16, False),
    "MR_small.dcm": ((64, 64), 16, False),
    "MR_small_bigendian.dcm": ((64, 64), 16, False),
    "MR_small_implicit.dcm": ((64, 64), 16, False),
    "MR_small_RLE.dcm": ((64, 64), 16, False),
    "MR_small_jp2klossless.dcm": ((64, 64), 16, False),
    "MR_small_jpeg_ls_lossless.dcm": ((64, 64), 16, False),
    "MR_small_padded.dcm": ((64, 64), 16, False),
    "image_dfl.dcm": ((512, 512), 8, False),
    "JPEG-LL.dcm": ((1024, 256), 16, False),
    "JPGLosslessP14SV1_1s_1f_8b.dcm": ((768, 1024), 8, False),
    "JPEGLSNearLossless_08.dcm": ((45, 10), 8, False),
    "J2K_pixelrep_mismatch.dcm": ((512, 512), 13, False),
    "693_UNCR.dcm": ((512, 512), 14, False),
    "vlut_04.dcm": ((512, 512), 8, False),
    "mlut_18.dcm": ((512, 512), 12, False),
    "bad_sequence.dcm": ((512, 512), 12, False),
    "RG1_UNCR.dcm": ((1955, 1841), 15, True),
    "RG3_UNCR.dcm": ((1760, 1760), 10, True),
    "dicomdirtests/77654033/CR1/6154": ((16, 16), 12, True),
}
REFUSED = {
    "SC_rgb_jpeg_dcmtk.dcm": "colour",
    "examples_rgb_color.dcm": "colour",
    "examples_palette.dcm": "PALETTE COLOR",
    "examples_ybr_color.dcm": "30 frames",
    "emri_small.dcm": "10 frames",
    "eCT_Supplemental.dcm": "2 frames",
    "rtdose_1frame.dcm": "32 bits",
    "liver_1frame.dcm": "1 bits",
    "rtplan.dcm": "without an image",
    "no_meta.dcm": "not an image",
    "MR_truncated.dcm": "cut short",
    "emri_small_jpeg_2k_lossless_too_short.dcm": "cut short",
    "JPEG2000-embedded-sequence-delimiter.dcm": "must agree",
    "badVR.dcm": "number of frames",
    "nested_priv_SQ.dcm": "no rows",
    "crayons.icc": "not an image",
}


@pytest.mark.parametrize("name", LOADS)
def test_notable_file_loads(name: str) -> None:
    radiograph = load_radiograph(_pydicom_file(name))
    assert (radiograph.shape, radiograph.bits_stored, radiograph.inverted_on_load) == LOADS[name]
    assert radiograph.file_format == "DICOM"
    assert len(radiograph.sha256) == 64


@pytest.mark.parametrize("name", REFUSED)
def test_notable_file_is_refused(name: str) -> None:
    with pytest.raises(LoadError, match=REFUSED[name]):
        load_radiograph(_pydicom_file(name))


@pytest.mark.skipif(importlib.util.find_spec("libjpeg") is not None, reason="the decoder is installed")
@pytest.mark.parametrize("name", ["JPGExtended.dcm", "JPEG-lossy.dcm"])
def test_lossy_jpeg_of_12_bits_names_the_package_that_reads_it(name: str) -> None:
    with pytest.raises(LoadError, match="pylibjpeg-libjpeg"):
        load_radiograph(_pydicom_file(name))


@pytest.mark.parametrize("stem", ["RG1", "RG3", "MR2", "693"])
def test_lossless_jpeg_2000_equals_the_uncompressed_twin(stem: str) -> None:
    plain = load_radiograph(_pydicom_file(f"{stem}_UNCR.dcm"))
    packed = load_radiograph(_pydicom_file(f"{stem}_J2KR.dcm"))
    np.testing.assert_array_equal(plain.pixels, packed.pixels)


def _pydicom_file(name: str) -> str:
    path = pydicom.data.get_testdata_file(name, download=False)
    assert isinstance(path, str), f"{name} is not among pydicom's files"
    return path


@pytest.mark.parametrize(
    "syntax",
    [
        ExplicitVRLittleEndian,
        ImplicitVRLittleEndian,
        DeflatedExplicitVRLittleEndian,
        RLELossless,
        JPEGLSLossless,
        JPEG2000Lossless,
    ],
)
@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_every_lossless_syntax_is_bit_exact(tmp_path: Path, syntax: str, bits: int) -> None:
    pixels = ramp(bits)
    ds = dataset(pixels, bits=bits)
    if syntax in (RLELossless, JPEGLSLossless, JPEG2000Lossless):
        ds["PixelData"].VR = "OW" if bits > 8 else "OB"
        ds.SOPInstanceUID = ds.SOPClassUID = "1.2.3"
        ds.compress(syntax, generate_instance_uid=False)
    radiograph = load_radiograph(save(ds, tmp_path / "image.dcm", syntax))
    np.testing.assert_array_equal(radiograph.pixels, pixels)
    assert radiograph.pixels.dtype == pixels.dtype
    assert radiograph.bits_stored == bits


@pytest.mark.parametrize("bits", [8, 12])
def test_jpeg_lossless_is_bit_exact(tmp_path: Path, bits: int) -> None:
    """Process 14, selection value 1, coded here: one table of five-bit codes."""
    pixels = ramp(bits, (16, 24))
    ds = dataset(pixels, bits=bits)
    _put_frame(ds, jpeg_lossless(pixels, bits))
    path = save(ds, tmp_path / "image.dcm", "1.2.840.10008.1.2.4.70")
    np.testing.assert_array_equal(load_radiograph(path).pixels, pixels)


def jpeg_lossless(pixels: np.ndarray, bits: int) -> bytes:
    """Encode by ISO 10918-1 annex H: the first sample guessed by half the range, a first column by the one
    above, the others by their left neighbour; difference categories 0 to 16, each with its own five-bit code.
    """
    values = pixels.astype(int)
    stream: list[str] = []
    for row, col in np.ndindex(pixels.shape):
        above = values[row - 1, 0] if row else 2 ** (bits - 1)
        guess = values[row, col - 1] if col else above
        difference = int(values[row, col] - guess)
        category = abs(difference).bit_length()
        stream.append(f"{category:05b}")
        if category:
            code = difference if difference > 0 else difference + 2**category - 1
            stream.append(f"{code:0{category}b}")
    packed = "".join(stream)
    packed += "1" * (-len(packed) % 8)
    body = bytes(int(packed[i : i + 8], 2) for i in range(0, len(packed), 8)).replace(b"\xff", b"\xff\0")
    counts = bytes([0, 0, 0, 0, 17, *[0] * 11])
    table = b"\xff\xc4" + (2 + 1 + 16 + 17).to_bytes(2, "big") + b"\0" + counts + bytes(range(17))
    size = bits.to_bytes(1, "big") + pixels.shape[0].to_bytes(2, "big") + pixels.shape[1].to_bytes(2, "big")
    frame = b"\xff\xc3\x00\x0b" + size + b"\x01\x01\x11\x00"
    return b"\xff\xd8" + frame + table + b"\xff\xda\x00\x08\x01\x01\x00\x01\x00\x00" + body + b"\xff\xd9"


def _put_frame(ds: Dataset, frame: bytes) -> None:
    ds.PixelData = encapsulate([frame + b"\0" * (len(frame) % 2)])
    ds["PixelData"].VR = "OB"
    ds["PixelData"].is_undefined_length = True


def test_frame_in_many_fragments_and_without_transfer_syntax(tmp_path: Path) -> None:
    """The compression is then told from the stream itself; the offset table is not trusted."""
    pixels = ramp(12, (16, 24))
    ds = dataset(pixels)
    frame = jpeg_lossless(pixels, 12)
    frame += b"\0" * (len(frame) % 2)
    ds.PixelData = encapsulate([frame], fragments_per_frame=5)
    ds["PixelData"].is_undefined_length = True
    path = save(ds, tmp_path / "image.dcm", "1.2.840.10008.1.2.4.57")
    np.testing.assert_array_equal(load_radiograph(path).pixels, pixels)
    data = path.read_bytes().replace(b"1.2.840.10008.1.2.4.57", b"\0" * 22)
    path.write_bytes(data)
    np.testing.assert_array_equal(load_radiograph(path).pixels, pixels)


@pytest.mark.parametrize("bits", [8, 12])
def test_big_endian_is_bit_exact(tmp_path: Path, bits: int) -> None:
    pixels = ramp(bits)
    ds = dataset(pixels.astype(pixels.dtype.newbyteorder(">")), bits=bits)
    path = save(ds, tmp_path / "image.dcm", ExplicitVRBigEndian)
    radiograph = load_radiograph(path)
    np.testing.assert_array_equal(radiograph.pixels, pixels)
    assert radiograph.pixels.dtype.isnative


@pytest.mark.parametrize("implicit", [True, False])
def test_file_without_preamble_and_meta_header(tmp_path: Path, implicit: bool) -> None:
    pixels = ramp()
    path = save(
        dataset(pixels),
        tmp_path / "image.dcm",
        ImplicitVRLittleEndian if implicit else ExplicitVRLittleEndian,
    )
    data = path.read_bytes()
    path.write_bytes(data[data.find(b"\x08\x00\x60\x00") :])  # Modality is the first element
    np.testing.assert_array_equal(load_radiograph(tmp_path / "image.dcm").pixels, pixels)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.int16])
def test_monochrome_twins_have_equal_pixels(tmp_path: Path, dtype: type) -> None:
    """MONOCHROME1 stores max + min - value of the stored range: 255 - v, 4095 - v, -1 - v."""
    bits = 8 if dtype is np.uint8 else 12
    bright = ramp(bits).astype(dtype)
    if dtype is np.int16:
        bright = (bright.astype(int) - 2048).astype(dtype)
    total = {np.uint8: 255, np.uint16: 4095, np.int16: -1}[dtype]
    negative = (total - bright.astype(int)).astype(dtype)
    two = load_radiograph(save(dataset(bright, bits=bits), tmp_path / "two.dcm"))
    window = {"WindowCenter": "1000.5", "WindowWidth": "801"}
    one = dataset(negative, bits=bits, PhotometricInterpretation="MONOCHROME1", **window)
    turned = load_radiograph(save(one, tmp_path / "one.dcm"))
    np.testing.assert_array_equal(two.pixels, bright)
    np.testing.assert_array_equal(turned.pixels, bright)
    assert turned.pixels.dtype == dtype
    assert (two.inverted_on_load, turned.inverted_on_load) == (False, True)


def test_monochrome_twins_look_alike(tmp_path: Path) -> None:
    """Window 1000.5 / 801 shows 600..1400 (C.11.2.1.2.1: c - 0.5 -+ (w - 1) / 2), the twin's 4095 less."""
    bright = ramp()
    two = dataset(bright, WindowCenter="1000.5", WindowWidth="801")
    one = dataset(
        4095 - bright, PhotometricInterpretation="MONOCHROME1", WindowCenter="3095.5", WindowWidth="801"
    )
    first = load_radiograph(save(two, tmp_path / "two.dcm"))
    second = load_radiograph(save(one, tmp_path / "one.dcm"))
    assert first.window is not None
    assert second.window is not None
    assert (first.window.black, first.window.white) == (600.0, 1400.0)
    assert (second.window.black, second.window.white) == (600.0, 1400.0)
    np.testing.assert_array_equal(display_pixels(first), display_pixels(second))


def test_inverted_turns_the_polarity_once(tmp_path: Path) -> None:
    pixels = ramp()
    path = save(dataset(pixels), tmp_path / "two.dcm")
    np.testing.assert_array_equal(load_radiograph(path, inverted=True).pixels, 4095 - pixels)
    path = save(dataset(pixels, PhotometricInterpretation="MONOCHROME1"), tmp_path / "one.dcm")
    radiograph = load_radiograph(path, inverted=True)
    np.testing.assert_array_equal(radiograph.pixels, pixels)
    assert not radiograph.inverted_on_load


def test_negative_rescale_slope_is_a_negative(tmp_path: Path) -> None:
    """Shown value = 4095 - stored, so a bright tooth is stored dark; the window is 600..1400 as shown."""
    pixels = ramp()
    ds = dataset(pixels, RescaleSlope="-1", RescaleIntercept="4095", WindowCenter="1000.5", WindowWidth="801")
    radiograph = load_radiograph(save(ds, tmp_path / "slope.dcm"))
    np.testing.assert_array_equal(radiograph.pixels, 4095 - pixels)
    assert radiograph.window is not None
    assert (radiograph.window.black, radiograph.window.white) == pytest.approx((600.0, 1400.0))


def test_window_is_given_in_stored_values(tmp_path: Path) -> None:
    """Modality = 2 * stored - 1000: window 0..2000 is stored 500..1500; pixels are never rescaled."""
    pixels = ramp()
    ds = dataset(pixels, RescaleSlope="2", RescaleIntercept="-1000", WindowCenter="1000", WindowWidth="2000")
    ds.VOILUTFunction = "LINEAR_EXACT"
    radiograph = load_radiograph(save(ds, tmp_path / "slope.dcm"))
    np.testing.assert_array_equal(radiograph.pixels, pixels)
    assert radiograph.window is not None
    assert (radiograph.window.black, radiograph.window.white) == pytest.approx((500.0, 1500.0))


@pytest.mark.parametrize(
    ("attributes", "note"),
    [
        ({"WindowCenter": "100", "WindowWidth": "0"}, "unusable"),
        ({"WindowCenter": "100", "WindowWidth": "-5"}, "unusable"),
        ({"WindowCenter": "100", "WindowWidth": "50", "VOILUTFunction": "MAGIC"}, "unusable"),
        ({"WindowCenter": "90000", "WindowWidth": "50"}, "misses"),
        ({"WindowCenter": ["2000", "100"], "WindowWidth": ["4000", "10"]}, "2 display windows"),
        ({"RescaleSlope": "0", "RescaleIntercept": "0"}, "rescale slope"),
        ({"PresentationLUTShape": "INVERSE"}, "contradicts itself"),
        ({"PixelIntensityRelationshipSign": 1}, "tooth looks dark"),
        ({"PixelSpacing": ["0.000", "0.000"]}, "PixelSpacing"),
        ({"ImagerPixelSpacing": ["-0.02", "0.02"]}, "ImagerPixelSpacing"),
        ({"PixelSpacing": ["0.02", "0.02"], "PixelSpacingCalibrationType": "GUESS"}, "unknown"),
        ({"HighBit": 15}, "highest bit"),
        ({"LossyImageCompression": "01"}, None),
    ],
)
def test_odd_attribute_becomes_a_note(
    tmp_path: Path, attributes: dict[str, object], note: str | None
) -> None:
    radiograph = load_radiograph(save(dataset(ramp(), **attributes), tmp_path / "image.dcm"))
    assert (note is None and not radiograph.notes) or any(note in text for text in radiograph.notes if note)
    np.testing.assert_array_equal(radiograph.pixels, ramp())
    shown = display_pixels(radiograph)
    assert shown.min() == 0
    assert shown.max() == 255


def test_everything_but_the_pixels_may_be_missing(tmp_path: Path) -> None:
    pixels = ramp(16)
    ds = dataset(pixels, bits=16)
    for name in ("Modality", "PhotometricInterpretation", "BitsStored", "HighBit", "PixelRepresentation"):
        delattr(ds, name)
    del ds.SamplesPerPixel
    radiograph = load_radiograph(save(ds, tmp_path / "bare.dcm"))
    np.testing.assert_array_equal(radiograph.pixels, pixels)
    assert len(radiograph.notes) == 2


def test_voi_lut_can_turn_the_polarity(tmp_path: Path) -> None:
    """A falling VOI LUT shows small values bright, so the picture is a negative."""
    item = Dataset()
    item.add_new("LUTDescriptor", "US", [4096, 0, 12])
    item.add_new("LUTData", "OW", np.arange(4095, -1, -1, dtype="<u2").tobytes())
    pixels = ramp()
    radiograph = load_radiograph(save(dataset(pixels, VOILUTSequence=[item]), tmp_path / "lut.dcm"))
    np.testing.assert_array_equal(radiograph.pixels, 4095 - pixels)
    assert radiograph.window is not None
    # 1 % and 99 % of 4095: 40.95 and 4054.05, next levels inside
    assert (radiograph.window.black, radiograph.window.white) == (41.0, 4054.0)


def test_colour_with_equal_channels_is_grey(tmp_path: Path) -> None:
    grey = ramp(8)
    ds = dataset(np.dstack([grey] * 3), bits=8, SamplesPerPixel=3, PhotometricInterpretation="RGB")
    ds.PlanarConfiguration = 0
    np.testing.assert_array_equal(load_radiograph(save(ds, tmp_path / "rgb.dcm")).pixels, grey)


def test_every_statement_of_size_is_kept_raw(tmp_path: Path) -> None:
    ds = dataset(ramp())
    ds.PixelSpacing, ds.ImagerPixelSpacing = ["0.019", "0.018"], ["0.020", "0.021"]
    ds.NominalScannedPixelSpacing, ds.PixelAspectRatio = ["0.03", "0.04"], ["3", "4"]
    ds.PixelSpacingCalibrationType = "FIDUCIAL"
    ds.EstimatedRadiographicMagnificationFactor = "1.05"
    ds.DistanceSourceToDetector, ds.DistanceSourceToPatient = "406", "386"
    spacing = load_radiograph(save(ds, tmp_path / "image.dcm")).spacing
    assert spacing.pixel_spacing_mm == (0.019, 0.018)
    assert spacing.imager_pixel_spacing_mm == (0.020, 0.021)
    assert spacing.nominal_scanned_spacing_mm == (0.03, 0.04)
    assert spacing.calibration_type == "FIDUCIAL"
    assert (spacing.magnification, spacing.source_to_detector_mm, spacing.source_to_patient_mm) == (
        1.05,
        406.0,
        386.0,
    )
    assert spacing.pixel_aspect_ratio == 0.75
    assert spacing.png_pitch_mm is None


def test_identity_is_neither_kept_nor_told(tmp_path: Path) -> None:
    """Invented identity in the usual places: neither radiograph nor refusal tells it."""
    secret = "Zzyzx"
    ds = dataset(ramp(), PatientName=f"{secret}^A", PatientID=secret, InstitutionName=secret, StudyID=secret)
    ds.add_new(0x00110010, "LO", secret)
    ds.ImageComments = secret
    assert secret not in repr(load_radiograph(save(ds, tmp_path / "whole.dcm")))
    ds.PixelData = ds.PixelData[:100]
    with pytest.raises(LoadError) as caught:
        load_radiograph(save(ds, tmp_path / "cut.dcm"))
    assert secret not in str(caught.value)
    assert caught.value.__cause__ is None
    assert caught.value.__suppress_context__


def test_pixels_cannot_be_written(tmp_path: Path) -> None:
    radiograph = load_radiograph(save(dataset(ramp()), tmp_path / "image.dcm"))
    with pytest.raises(ValueError, match="read-only"):
        radiograph.pixels[0, 0] = 1
