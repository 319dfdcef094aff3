"""Write a simulated radiograph as files: DICOM, PNG and the truth.

Everything that names a person, a place or a device is invented. This is the only part of the phantom that
touches file formats; the truth is written in ``x, y`` = column, row order, as everything that other programs
read.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from curvometer.phantom.truth import Phantom, PhantomTruth
from curvometer.radiograph import CurvometerError

if TYPE_CHECKING:
    from pydicom.dataset import Dataset

COMPRESSIONS = ("none", "deflate", "jpeg-ls")
SPACING_KINDS = ("fiducial", "imager", "magnified", "pixel", "none")
_INTRA_ORAL = "1.2.840.10008.5.1.4.1.1.1.3"  # Digital Intra-Oral X-Ray Image Storage, For Presentation
_TRUTH_STEP_MM = 0.1

# SNOMED CT codes of the jaws (context group 4016 of DICOM PS3.16) and tooth regions (context group 4017).
_JAW_UPPER = ("70925003", "Maxilla")
_JAW_LOWER = ("91609006", "Mandible")
_REGION_MODIFIERS: dict[str, tuple[str, str]] = {
    "incisor": ("699453001", "Central incisor region"),
    "lateral_incisor": ("699511000", "Lateral incisor region"),
    "canine": ("699510004", "Canine region"),
    "upper_premolar": ("699509009", "First premolar region"),
    "lower_premolar": ("699509009", "First premolar region"),
    "upper_molar": ("699507006", "First molar region"),
    "lower_molar": ("699507006", "First molar region"),
}


def write_phantom(
    phantom: Phantom,
    folder: str | Path,
    *,
    name: str,
    spacing: str = "fiducial",
    patient_id: str = "CV-0000",
    compression: str = "none",
    png_bits: int | None = None,
    with_truth: bool = True,
) -> dict[str, Path]:
    """Write a phantom as ``name.dcm``, ``name.png`` and ``name.truth.json``.

    Parameters
    ----------
    phantom
        What `simulate_radiograph` returned.
    folder
        An existing folder.
    name
        File name without suffix.
    spacing
        What the DICOM header states: ``"fiducial"`` (PixelSpacing in the plane of the tooth with type
        FIDUCIAL, ImagerPixelSpacing at the detector), ``"imager"`` (detector only), ``"magnified"`` (detector
        and EstimatedRadiographicMagnificationFactor), ``"pixel"`` (PixelSpacing alone: the detector's pitch
        without a word about it, as many files from the field), ``"none"``. The PNG's pHYs states the
        detector's pitch, except for ``"none"``.
    patient_id
        Invented identifier in the header.
    compression
        ``"none"`` (Explicit VR Little Endian), ``"deflate"`` or ``"jpeg-ls"`` (lossless).
    png_bits
        8 or 16; None takes 8 for an 8-bit phantom and 16 otherwise.
    with_truth
        Whether ``name.truth.json`` is written.

    Returns
    -------
    dict
        Paths by ``"dicom"``, ``"png"`` and ``"truth"``.

    Raises
    ------
    CurvometerError
        When the folder does not exist, or the spacing kind or the compression is unknown.
    """
    target = Path(folder)
    if not target.is_dir():
        raise CurvometerError(f"the folder {target} does not exist: create it first")
    if spacing not in SPACING_KINDS:
        raise CurvometerError(f"spacing is {spacing!r}; choose one of {', '.join(SPACING_KINDS)}")
    if compression not in COMPRESSIONS:
        raise CurvometerError(f"compression is {compression!r}; choose one of {', '.join(COMPRESSIONS)}")
    paths = {"dicom": target / f"{name}.dcm", "png": target / f"{name}.png"}
    dataset = _dataset(phantom, name=name, spacing=spacing, patient_id=patient_id)
    _compress(dataset, compression)
    dataset.save_as(paths["dicom"], enforce_file_format=True)
    _write_png(phantom, paths["png"], stated=spacing != "none", bits=png_bits)
    if with_truth:
        paths["truth"] = target / f"{name}.truth.json"
        text = json.dumps(truth_record(phantom), indent=1, allow_nan=False)
        paths["truth"].write_text(text + "\n", encoding="utf-8")
    return paths


def truth_record(phantom: Phantom) -> dict[str, Any]:
    """Give a phantom's truth as plain data for JSON; positions are ``[x, y]`` = [column, row] in pixels."""
    truth = phantom.truth
    every = max(1, round(_TRUTH_STEP_MM / max(float(truth.s_mm[1] - truth.s_mm[0]), 1e-6)))
    keep = np.unique(np.append(np.arange(0, len(truth.s_mm), every), len(truth.s_mm) - 1))
    return {
        "tooth": phantom.options.tooth,
        "structure": str(phantom.options.structure),
        "mm_per_pixel": truth.mm_per_pixel,
        "detector_pitch_mm": truth.mm_per_pixel * phantom.options.magnification,
        "orifice": _xy(truth.orifice_rc),
        "foramen": _xy(truth.foramen_rc),
        "apex": _xy(truth.apex_rc),
        "file_tip": None if truth.file_tip_rc is None else _xy(truth.file_tip_rc),
        "segments_mm": [[length, None if math.isinf(r) else r] for length, r in truth.shape.segments],
        "measures": _rounded(truth.measures),
        "measures_hold_in_picture": truth.plane_parallel,
        "known_lengths": _known(truth),
        "centreline": [_xy(p) for p in truth.centreline_rc[keep]],
        "canal_width_mm": [round(float(w), 4) for w in truth.width_mm[keep]],
    }


def _known(truth: PhantomTruth) -> list[dict[str, Any]]:
    listed = []
    for known in truth.known_lengths:
        every = max(1, len(known.path_rc) // 40)
        keep = np.unique(np.append(np.arange(0, len(known.path_rc), every), len(known.path_rc) - 1))
        path = [_xy(p) for p in known.path_rc[keep]]
        listed.append({"name": known.name, "length_mm": round(known.length_mm, 6), "path": path})
    return listed


def _xy(point_rc: tuple[float, float] | NDArray[np.float64]) -> list[float]:
    return [round(float(point_rc[1]), 3), round(float(point_rc[0]), 3)]


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6)
    if isinstance(value, dict):
        return {k: _rounded(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_rounded(v) for v in value]
    return value


def _stored(phantom: Phantom) -> NDArray[np.generic]:
    """Give the values that the file stores: the negative for MONOCHROME1."""
    pixels = phantom.radiograph.pixels
    if phantom.options.photometric == "MONOCHROME2":
        return pixels
    return np.asarray((2**phantom.options.bits - 1) - pixels, dtype=pixels.dtype)


def _compress(dataset: Dataset, compression: str) -> None:
    from pydicom.uid import DeflatedExplicitVRLittleEndian, JPEGLSLossless  # noqa: PLC0415

    if compression == "deflate":
        dataset.file_meta.TransferSyntaxUID = DeflatedExplicitVRLittleEndian
    elif compression == "jpeg-ls":
        dataset.compress(JPEGLSLossless, generate_instance_uid=False)


def _png_pixels(phantom: Phantom, bits: int | None) -> NDArray[np.generic]:
    """Grey values spread over 8 or 16 bits, so that any viewer shows them."""
    pixels, stored = phantom.radiograph.pixels, phantom.options.bits
    if (bits or (8 if stored == 8 else 16)) == 8:
        return np.asarray(pixels.astype(np.uint32) >> (stored - 8), np.uint8)
    return np.asarray(pixels.astype(np.uint32) << (16 - stored), np.uint16)


def _write_png(phantom: Phantom, path: Path, *, stated: bool, bits: int | None) -> None:
    from PIL import Image  # noqa: PLC0415  (slow to import)
    from PIL.PngImagePlugin import PngInfo  # noqa: PLC0415

    info = PngInfo()
    info.add_text("Description", "Simulated radiograph; no real person")
    pitch = phantom.truth.mm_per_pixel * phantom.options.magnification
    options: dict[str, Any] = {"dpi": (25.4 / pitch, 25.4 / pitch)} if stated else {}
    Image.fromarray(_png_pixels(phantom, bits)).save(path, pnginfo=info, compress_level=9, **options)


def _dataset(phantom: Phantom, *, name: str, spacing: str, patient_id: str) -> Dataset:
    from pydicom.dataset import Dataset, FileMetaDataset  # noqa: PLC0415  (slow to import)
    from pydicom.uid import ExplicitVRLittleEndian, generate_uid  # noqa: PLC0415

    entropy = [name, patient_id, phantom.radiograph.sha256]
    dataset = Dataset()
    dataset.file_meta = FileMetaDataset()
    dataset.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    dataset.SOPClassUID = _INTRA_ORAL
    dataset.SOPInstanceUID = generate_uid(prefix=None, entropy_srcs=[*entropy, "image"])
    dataset.StudyInstanceUID = generate_uid(prefix=None, entropy_srcs=[*entropy, "study"])
    dataset.SeriesInstanceUID = generate_uid(prefix=None, entropy_srcs=[*entropy, "series"])
    dataset.file_meta.MediaStorageSOPClassUID = dataset.SOPClassUID
    dataset.file_meta.MediaStorageSOPInstanceUID = dataset.SOPInstanceUID
    _add_identity(dataset, name, patient_id)
    _add_anatomy(dataset, phantom)
    _add_pixels(dataset, phantom)
    _add_spacing(dataset, phantom, spacing)
    return dataset


def _add_identity(dataset: Dataset, name: str, patient_id: str) -> None:
    dataset.SpecificCharacterSet = "ISO_IR 192"
    dataset.PatientName = f"Phantom^{name.replace('_', ' ').title()}"
    dataset.PatientID = patient_id
    dataset.PatientBirthDate = "19800101"
    dataset.PatientSex = "O"
    dataset.StudyDate, dataset.StudyTime = "20300115", "090000"
    dataset.AccessionNumber, dataset.ReferringPhysicianName, dataset.StudyID = "", "", "1"
    dataset.InstitutionName = "Teaching Clinic of Lindmoor (invented)"
    dataset.Modality, dataset.SeriesNumber, dataset.InstanceNumber = "IO", 1, 1
    dataset.Manufacturer = "simulated"
    dataset.PresentationIntentType = "FOR PRESENTATION"
    dataset.ImageComments = "Simulated radiograph; no real person"


def _add_anatomy(dataset: Dataset, phantom: Phantom) -> None:
    from pydicom.dataset import Dataset as Item  # noqa: PLC0415

    def code(value: str, meaning: str) -> Item:
        item = Item()
        item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = value, "SCT", meaning
        return item

    form_upper = phantom.options.upper
    upper = (
        phantom.options.tooth not in ("lower_molar", "lower_premolar") if form_upper is None else form_upper
    )
    region = code(*(_JAW_UPPER if upper else _JAW_LOWER))
    region.AnatomicRegionModifierSequence = [code(*_REGION_MODIFIERS[phantom.options.tooth])]
    # x points distally and to the right unless mirrored: that is how the left side of the mouth is seen
    dataset.ImageLaterality = "R" if phantom.options.mirrored else "L"
    dataset.PatientOrientation = ["A" if phantom.options.mirrored else "P", "F"]
    dataset.AnatomicRegionSequence = [region]
    dataset.AcquisitionContextSequence = []
    dataset.PositionerType = "NONE"


def _add_pixels(dataset: Dataset, phantom: Phantom) -> None:
    stored = _stored(phantom)
    bits = phantom.options.bits
    negative = phantom.options.photometric == "MONOCHROME1"
    dataset.ImageType = ["ORIGINAL", "PRIMARY", ""]
    dataset.Rows, dataset.Columns = stored.shape
    dataset.SamplesPerPixel = 1
    dataset.PhotometricInterpretation = phantom.options.photometric
    dataset.BitsAllocated = 8 if bits == 8 else 16
    dataset.BitsStored, dataset.HighBit, dataset.PixelRepresentation = bits, bits - 1, 0
    dataset.BurnedInAnnotation, dataset.LossyImageCompression = "NO", "00"
    dataset.PixelIntensityRelationship = "LOG" if phantom.options.transform == "log" else "LIN"
    dataset.PixelIntensityRelationshipSign = 1 if negative else -1
    dataset.RescaleIntercept, dataset.RescaleSlope, dataset.RescaleType = "0", "1", "US"
    dataset.PresentationLUTShape = "INVERSE" if negative else "IDENTITY"
    dataset.WindowCenter, dataset.WindowWidth = str(2 ** (bits - 1)), str(2**bits)
    dataset.DetectorType = "DIRECT" if bits < 16 else "STORAGE"
    data = stored.tobytes()
    dataset.add_new("PixelData", "OB" if bits == 8 else "OW", data + b"\0" * (len(data) % 2))


def _add_spacing(dataset: Dataset, phantom: Phantom, spacing: str) -> None:
    """State the size as PS3.3 section 10.7.1 has it: row spacing first, at the tooth or at the detector."""
    at_tooth = f"{phantom.truth.mm_per_pixel:.7g}"
    at_detector = f"{phantom.truth.mm_per_pixel * phantom.options.magnification:.7g}"
    if spacing in ("fiducial", "imager", "magnified"):
        dataset.ImagerPixelSpacing = [at_detector, at_detector]
    if spacing == "magnified":
        dataset.EstimatedRadiographicMagnificationFactor = f"{phantom.options.magnification:.7g}"
    if spacing == "fiducial":
        dataset.PixelSpacing = [at_tooth, at_tooth]
        dataset.PixelSpacingCalibrationType = "FIDUCIAL"
        dataset.PixelSpacingCalibrationDescription = "Steel object of known length in the plane of the tooth"
    if spacing == "pixel":
        dataset.PixelSpacing = [at_detector, at_detector]
