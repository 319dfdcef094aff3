"""Loading: an image file to a `Radiograph`. The only reader of image files in the package.

What a file is, its bytes say, not its name. Everything that a file declares is checked before memory is spent
on it, so a damaged or hostile file ends in one sentence (`LoadError`), never in a traceback or a full memory.
"""

from __future__ import annotations

import os
import warnings

from curvometer.loading.display import display_pixels
from curvometer.loading.source import ImageFile, LoadError, Refusal, file_format, read_file
from curvometer.radiograph import CurvometerError, Radiograph

__all__ = ["ImageFile", "LoadError", "display_pixels", "load_radiograph", "radiograph_of"]


def load_radiograph(path: str | os.PathLike[str], *, inverted: bool = False) -> Radiograph:
    """Load one radiograph from a DICOM, PNG, TIFF, JPEG or BMP file.

    Parameters
    ----------
    path
        The file; its kind is told by its content.
    inverted
        True for a picture that was saved as a negative (the tooth dark): its polarity is turned.

    Returns
    -------
    Radiograph
        Stored pixel values, integers where the file has integers, bright = dense (MONOCHROME1 and
        white-is-zero are turned), upright (an EXIF orientation is applied once). Windows and look-up tables
        are for display only. No name, number, date or institution is read.

    Raises
    ------
    LoadError
        When the file is missing, damaged, cut short, too large, in colour, of several frames, or no image at
        all: one sentence that names the file and says what to do.

    References
    ----------
    Polarity and windows: DICOM PS3.3 C.7.6.3.1.2, C.11.1, C.11.2 (read in secondary sources).
    """
    return radiograph_of(read_file(path), inverted=inverted)


def radiograph_of(file: ImageFile, *, inverted: bool = False) -> Radiograph:
    """Turn the bytes of an image file that are already in memory into a radiograph; see `load_radiograph`."""
    kind = file_format(file.data)
    if kind is None:
        raise LoadError(
            f"{file.name} is not an image that is read here; DICOM, PNG, TIFF, JPEG or BMP is needed:"
            " export the radiograph as one of these"
        )
    with warnings.catch_warnings():
        # Libraries warn of many oddities that do no harm, some with values from the file: not for this user.
        warnings.simplefilter("ignore")
        return _guarded(file, kind, inverted=inverted)


def _guarded(file: ImageFile, kind: str, *, inverted: bool) -> Radiograph:
    from curvometer.loading.dicom import read_dicom  # noqa: PLC0415
    from curvometer.loading.pictures import read_picture  # noqa: PLC0415

    # `from None` throughout: what a library says of a file may quote a patient's name.
    try:
        return (
            read_dicom(file, inverted=inverted) if kind == "DICOM" else read_picture(file, inverted=inverted)
        )
    except Refusal as refusal:
        raise LoadError(f"{file.name} {refusal}") from None
    except CurvometerError as error:
        raise LoadError(f"{file.name}: {error}") from None
    except (KeyboardInterrupt, SystemExit):
        raise
    except MemoryError:
        raise LoadError(
            f"{file.name} needs more memory than there is: export the single radiograph"
        ) from None
    except BaseException:  # a decoder written in Rust panics outside Exception
        raise LoadError(f"{file.name} is a damaged {kind} file; copy or export it again") from None
