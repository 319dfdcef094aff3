"""Images as they are handed out: plain PNG of upright grey pixels, with nothing else in the file."""

from __future__ import annotations

import hashlib
import io
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from curvometer.assessment.errors import AssessmentError
from curvometer.radiograph import Radiograph

_SQUARE = 1e-3


def plain_png(radiograph: Radiograph) -> bytes:
    """Write the pixels anew as PNG, 8 bits where they have no more, else 16; bright is dense.

    Header, comments, resolution, date and colour profile of the film stay behind. What is burned into the pixels cannot.

    Raises
    ------
    AssessmentError
        When the pixels are not square, which a plain PNG cannot say.
    """
    if abs(radiograph.spacing.pixel_aspect_ratio - 1.0) > _SQUARE:
        raise AssessmentError("its pixels are not square: export it with square pixels")
    from PIL import Image  # noqa: PLC0415 - slow to import

    target = io.BytesIO()
    Image.fromarray(_grey(radiograph)).save(
        target, "PNG", compress_level=6
    )  # 9 takes five times as long for 3 %
    return target.getvalue()


def fingerprint(radiograph: Radiograph) -> str:
    """SHA-256 of the upper 8 bits of every pixel, and of the picture's form: the same for any lossless copy."""
    grey = _grey(radiograph)
    upper = grey if grey.dtype == np.uint8 else np.asarray(grey >> 8, np.uint8)
    return hashlib.sha256(repr(upper.shape).encode() + upper.tobytes()).hexdigest()


def _grey(radiograph: Radiograph) -> NDArray[np.uint8] | NDArray[np.uint16]:
    pixels, bits = radiograph.pixels, radiograph.bits_stored
    if pixels.dtype == np.uint8:
        return np.asarray(pixels, np.uint8)
    if pixels.dtype == np.uint16 and bits is not None and int(pixels.max()) < 2**bits:
        if bits <= 8:
            return np.asarray(pixels.astype(np.uint32) << (8 - bits), np.uint8)
        return np.asarray(pixels.astype(np.uint32) << (16 - bits), np.uint16)
    low, high = float(pixels.min()), float(pixels.max())  # signed or fractional values: spread over 16 bits
    spread = (pixels.astype(np.float64) - low) * (65535.0 / max(high - low, 1e-12))
    return np.asarray(np.rint(spread), np.uint16)


PUBLIC_IMAGES: MappingProxyType[str, str] = MappingProxyType(
    {
        "55d670fd5acf188e4ee50d4f79972b593367d29674e398687fbe62843bc4bbb5": "lower_molar",
        "2ff8853c165a8e571e00466fce0da3127da601806f030f163121412c9ca198e8": "upper_molar",
        "141020b0a24bc5c577c2c5f784464b9a237318df2ab30073a847a8e8f692ed47": "upper_lateral_hook",
        "f51155873295d4215bd9d1c5e128a273dfb385d23851a1e09cd785c9754d6dff": "s_shaped_premolar",
        "4a17d3857784b88140b3676b74ea6bfe3410160efe8ba41d05a8e6dcc6f67bd1": "straight_canine",
        "1168c9389b814ae20245e7c9e647fd634deee7b07591c1bf4b5c7d35944a6abf": "calcified_molar",
        "72006da54f1fdd93e6bdb65bd8cabc020c3c3a4869c230648e70ce4933bf297a": "file_in_canal",
        "bcf9680bc8fbf59d1106a0e6248fb0d185f121561e4503d9232ba5835473109b": "low_contrast_premolar",
        "2b0e1655c501702745c550069dcaddc6f18a9d4684a52f69b2644878f23e8b4f": "upper_incisor",
        "ae7763cb02b83a0a8547ad70a1def8510da7bab48327184d375a42e9a7e97cea": "two_canals_molar",
    }
)
"""Fingerprints of the sample images, whose truth everybody can read, with their names."""


def check_not_public(radiograph: Radiograph) -> None:
    """Refuse a sample image.

    Raises
    ------
    AssessmentError
        When its truth is public.
    """
    name = PUBLIC_IMAGES.get(fingerprint(radiograph))
    if name is not None:
        raise AssessmentError(
            f"it is the sample image {name}, whose true curve is public: use it for practice, or simulate a new film"
        )
