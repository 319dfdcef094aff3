"""A PNG, TIFF, JPEG or BMP picture to a `Radiograph`."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from curvometer.loading.colour import grey_of_colour
from curvometer.loading.display import percentile_window
from curvometer.loading.source import MAX_PIXELS, ImageFile, Refusal
from curvometer.radiograph import CurvometerError, Radiograph, StatedSpacing

if TYPE_CHECKING:
    from PIL.Image import Image

_ORIENTATION = 0x0112  # EXIF and TIFF tag 274
_PHOTOMETRIC, _BITS_PER_SAMPLE = 262, 258  # TIFF 6.0
_CUT = "is cut short or damaged; copy or export the picture again"
_MODES_OF_COLOUR = frozenset({"RGB", "RGBA", "RGBX", "P", "PA", "LA", "La", "RGBa"})


def read_picture(file: ImageFile, *, inverted: bool = False) -> Radiograph:
    """Read a picture; see `curvometer.loading.load_radiograph`.

    Raises
    ------
    Refusal
        When the file is no single, whole, grey picture.
    """
    from PIL import Image  # noqa: PLC0415 - slow to import

    with _strict_pillow():
        try:
            with Image.open(BytesIO(file.data), formats=("PNG", "TIFF", "JPEG", "BMP")) as image:
                return _radiograph(image, file, inverted=inverted)
        except CurvometerError:
            raise  # the pixels are no radiograph: already told in words
        except Image.DecompressionBombError:
            raise Refusal(_TOO_LARGE) from None
        except (OSError, SyntaxError, ValueError, IndexError, KeyError, EOFError):
            raise Refusal(_CUT) from None


_TOO_LARGE = (
    f"has more than the {MAX_PIXELS // 10**6} million pixels that are read; export the single radiograph at"
    " its own size"
)


@contextmanager
def _strict_pillow() -> Iterator[None]:
    """Another package in the same process may have told Pillow to fill cut pictures with grey: not here."""
    from PIL import ImageFile as PillowFile  # noqa: PLC0415

    before = PillowFile.LOAD_TRUNCATED_IMAGES
    PillowFile.LOAD_TRUNCATED_IMAGES = False
    try:
        yield
    finally:
        PillowFile.LOAD_TRUNCATED_IMAGES = before


def _radiograph(image: Image, file: ImageFile, *, inverted: bool) -> Radiograph:
    _check_before_decoding(image, file.data)
    tags = getattr(image, "tag_v2", {})
    negative = tags.get(_PHOTOMETRIC) == 0  # TIFF WhiteIsZero; Pillow turns 8 bits, but not more
    stored_orientation = tags.get(_ORIENTATION, 1)
    bits = _bits_stored(image, file.data)
    pitch, aspect = _stated_pitch(image), _stated_aspect(image)
    image.load()
    pixels, notes = _grey_pixels(image, file.data)
    if inverted != (negative and image.mode != "L"):
        pixels = _turned(pixels, bits)
    pixels, transposed, turned = _upright(pixels, image)
    if transposed or (stored_orientation in (5, 6, 7, 8) and image.format == "TIFF"):
        pitch, aspect = (pitch[::-1] if pitch else None), 1.0 / aspect
    if turned or stored_orientation not in (0, 1):
        notes = (*notes, "The picture's orientation mark was applied.")
    return Radiograph(
        pixels=pixels,
        bits_stored=bits,
        spacing=StatedSpacing(png_pitch_mm=pitch, pixel_aspect_ratio=aspect),
        window=percentile_window(pixels),
        file_format=str(image.format),
        sha256=file.sha256,
        inverted_on_load=inverted != negative,
        notes=notes,
    )


def _check_before_decoding(image: Image, data: bytes) -> None:
    if image.width * image.height > MAX_PIXELS:
        raise Refusal(_TOO_LARGE)
    if getattr(image, "is_animated", False) or getattr(image, "n_frames", 1) > 1:
        raise Refusal("holds several pictures; a single radiograph is needed: export one picture by itself")
    if image.format == "MPO":
        raise Refusal("holds several pictures; a single radiograph is needed: save it as a plain JPEG or PNG")
    if image.format == "JPEG" and data.rfind(b"\xff\xd9") < data.rfind(b"\xff\xda"):
        raise Refusal(_CUT)
    if image.format == "PNG" and b"IEND" not in data[-4096:]:
        raise Refusal(_CUT)
    if image.mode == "1":
        raise Refusal("has only black and white; 8 bits of grey or more are needed: export a grey picture")


def _grey_pixels(image: Image, data: bytes) -> tuple[NDArray[np.generic], tuple[str, ...]]:
    """Return the one grey channel as uint8, uint16, int16 or float32, in native byte order."""
    notes: tuple[str, ...] = ()
    if image.mode in _MODES_OF_COLOUR:
        return _grey_of_channels(image, data)
    if image.mode not in ("L", "F", "I") and not image.mode.startswith("I;16"):
        raise Refusal(f"is a {image.mode} colour picture; a radiograph is grey: export it as a grey picture")
    pixels = np.asarray(image)
    pixels = np.array(pixels, dtype=pixels.dtype.newbyteorder("="))
    if image.mode == "F":
        if not np.isfinite(pixels).all():
            raise Refusal("holds pixels that are not finite numbers; export it as a grey picture of 16 bits")
    elif image.mode == "I":
        pixels = _narrowed(pixels)
    if "transparency" in image.info:
        notes = ("The picture's transparency was ignored.",)
    return pixels, notes


def _grey_of_channels(image: Image, data: bytes) -> tuple[NDArray[np.generic], tuple[str, ...]]:
    colour = np.asarray(image.convert("RGBA"))
    grey, notes = grey_of_colour(colour[..., :3])
    if colour[..., 3].min() < 255:
        notes = (*notes, "The picture's transparency was ignored.")
    if _bits_per_channel(image, data) > 8:
        notes = (*notes, "The picture has 16 bits in colour channels; 8 of them were read: save it as grey.")
    return grey, notes


def _narrowed(pixels: NDArray[np.generic]) -> NDArray[np.generic]:
    low, high = int(pixels.min()), int(pixels.max())
    if low >= 0 and high <= 65535:
        return pixels.astype(np.uint16)
    if low >= -32768 and high <= 32767:
        return pixels.astype(np.int16)
    raise Refusal("stores grey values of 32 bits; 8 to 16 are needed: export it as a grey picture of 16 bits")


def _bits_per_channel(image: Image, data: bytes) -> int:
    """Bits per sample as stored: TIFF tag, or byte 24 of a PNG; Pillow's modes hide them."""
    tagged = getattr(image, "tag_v2", {}).get(_BITS_PER_SAMPLE)
    if tagged:
        return int(max(tagged)) if isinstance(tagged, tuple) else int(tagged)
    return data[24] if image.format == "PNG" else 8


def _bits_stored(image: Image, data: bytes) -> int | None:
    if image.mode == "F":
        return None
    if image.mode == "I" or image.mode.startswith("I;16"):
        return min(16, max(8, _bits_per_channel(image, data)))
    return 8


def _turned(pixels: NDArray[np.generic], bits: int | None) -> NDArray[np.generic]:
    if pixels.dtype.kind == "f":
        return np.asarray(pixels.min() + pixels.max() - pixels)
    total = -1 if pixels.dtype.kind == "i" else 2 ** (bits or 8) - 1
    return np.asarray(np.subtract(total, pixels, dtype=np.int32).astype(pixels.dtype))


def _upright(pixels: NDArray[np.generic], image: Image) -> tuple[NDArray[np.generic], bool, bool]:
    """Apply the EXIF orientation that is still to be applied; return (pixels, axes exchanged, anything done).

    Read after decoding: Pillow turns a TIFF while it loads and then drops the tag, so it is applied once.
    """
    try:
        orientation = image.getexif().get(_ORIENTATION, 1)
    except Exception:  # a damaged EXIF block says nothing
        orientation = 1
    steps = {
        2: pixels[:, ::-1],
        3: pixels[::-1, ::-1],
        4: pixels[::-1],
        5: pixels.T,
        6: pixels[::-1].T,
        7: pixels[::-1, ::-1].T,
        8: pixels[:, ::-1].T,
    }
    done = orientation in steps
    return np.ascontiguousarray(steps.get(orientation, pixels)), done and orientation >= 5, done


def _stated_pitch(image: Image) -> tuple[float, float] | None:
    """Return (row, column) pitch in mm from the stated resolution; Pillow gives (x, y) in dots per inch."""
    dpi = image.info.get("dpi")
    if not isinstance(dpi, tuple) or len(dpi) != 2:
        return None
    across, down = (float(value) for value in dpi)
    if not (math.isfinite(across) and math.isfinite(down) and across > 0.0 and down > 0.0):
        return None
    return 25.4 / down, 25.4 / across


def _stated_aspect(image: Image) -> float:
    """Row over column spacing from a PNG's pHYs without a unit: pixels per unit across, then down."""
    aspect = image.info.get("aspect")
    if not isinstance(aspect, tuple) or len(aspect) != 2 or min(aspect) <= 0:
        return 1.0
    return float(aspect[0]) / float(aspect[1])
