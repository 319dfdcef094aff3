"""Polarity and display window of a DICOM image: Modality LUT, VOI LUT or window, photometric interpretation.

Measuring needs of all this one bit only: whether a greater stored value is brighter. The rest is for the eye.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from curvometer.loading.dicom_header import Header
from curvometer.loading.dicom_pixels import PixelFormat
from curvometer.radiograph import DisplayWindow

if TYPE_CHECKING:
    from pydicom.dataset import Dataset

FloatArray = NDArray[np.float64]
_NO_WINDOW = "The file's display window is unusable; the grey values were stretched instead."


@dataclass(frozen=True, kw_only=True)
class GreyScale:
    """How stored values are shown.

    Attributes
    ----------
    inverted
        True when a greater stored value is darker on the screen.
    edges
        Two stored values, shown as black and white in whichever order; None when the file has no usable
        window.
    notes
        What had to be decided.
    """

    inverted: bool
    edges: tuple[float, float] | None
    notes: tuple[str, ...] = ()

    def window(self, total: int) -> DisplayWindow | None:
        """Window in units of the turned pixels, ``total - stored`` where `inverted`."""
        if self.edges is None:
            return None
        first, second = ((total - e if self.inverted else e) for e in self.edges)
        return DisplayWindow(black=min(first, second), white=max(first, second))


@dataclass(frozen=True, kw_only=True)
class _Table:
    """A look-up table: `values[0]` belongs to input `first`; beyond either end, the end's value."""

    first: int
    values: FloatArray

    def __call__(self, inputs: FloatArray) -> FloatArray:
        index = np.clip(np.rint(inputs).astype(np.int64) - self.first, 0, len(self.values) - 1)
        return np.asarray(self.values[index])


def read_grey_scale(header: Header, form: PixelFormat) -> GreyScale:
    """Work out polarity and window.

    References
    ----------
    DICOM PS3.3 C.11.1 (Modality LUT), C.11.2 (VOI LUT; window functions C.11.2.1.2 and C.11.2.1.3),
    C.7.6.3.1.2 (MONOCHROME1: the least value is white). PixelIntensityRelationshipSign says how the beam
    became a value, never how it is shown (C.8.11.3.1.2): it can only raise a doubt.
    """
    notes: list[str] = []
    levels = np.arange(form.stored_range[0], form.stored_range[1] + 1, dtype=np.float64)
    modality = _modality_values(header, form, levels, notes)
    table = _lut(header, "VOILUTSequence", first_signed=bool(modality.min() < 0))
    falling = bool(modality[-1] < modality[0])
    if table is not None:
        shown = table(modality)
        falling = bool(shown[-1] < shown[0])
        edges = _table_edges(levels, shown)
        notes.append("The file's display curve is approximated by a straight window.")
    else:
        edges = _window_edges(header, levels, modality, notes)
    inverted = falling != (form.photometric == "MONOCHROME1")
    notes += _doubts(header, form, inverted=inverted)
    return GreyScale(inverted=inverted, edges=edges, notes=tuple(notes))


def _modality_values(header: Header, form: PixelFormat, levels: FloatArray, notes: list[str]) -> FloatArray:
    table = _lut(header, "ModalityLUTSequence", first_signed=form.signed)
    if table is not None:
        return table(levels)
    slope = header.numbers("RescaleSlope")[:1] or (1.0,)
    intercept = header.numbers("RescaleIntercept")[:1] or (0.0,)
    if slope[0] == 0.0 or abs(slope[0]) > 1e9 or abs(intercept[0]) > 1e12:
        notes.append("The file's rescale slope is unusable and was ignored.")
        return levels
    return levels * slope[0] + intercept[0]


def _window_edges(
    header: Header, levels: FloatArray, modality: FloatArray, notes: list[str]
) -> tuple[float, float] | None:
    centres, widths = header.numbers("WindowCenter"), header.numbers("WindowWidth")
    if not centres or not widths:
        if "WindowCenter" in header.dataset or "WindowWidth" in header.dataset:
            notes.append(_NO_WINDOW)
        return None
    if len(centres) > 1:
        notes.append(f"The file offers {len(centres)} display windows; the first is used.")
    centre, width = centres[0], widths[0]
    function = header.text("VOILUTFunction") or "LINEAR"
    if function == "LINEAR" and width >= 1.0:
        centre, width = centre - 0.5, width - 1.0  # C.11.2.1.2.1
        width = max(width, 1e-3)
    elif function not in ("LINEAR_EXACT", "SIGMOID") or not width > 0.0:
        notes.append(_NO_WINDOW)
        return None
    # C.11.2.1.3.1: the sigmoid's tangent at its centre is the straight window of the same width.
    low, high = centre - width / 2.0, centre + width / 2.0
    return _stored(low, levels, modality), _stored(high, levels, modality)


def _stored(value: float, levels: FloatArray, modality: FloatArray) -> float:
    """Find the stored value that the modality transform takes to `value`; straight on beyond the ends."""
    if modality[0] == modality[-1]:
        return value
    slope = (modality[-1] - modality[0]) / (levels[-1] - levels[0])
    if not min(modality[0], modality[-1]) <= value <= max(modality[0], modality[-1]):
        return float(levels[0] + (value - modality[0]) / slope)
    order = slice(None) if slope > 0 else slice(None, None, -1)
    return float(np.interp(value, np.maximum.accumulate(modality[order]), levels[order]))


def _table_edges(levels: FloatArray, shown: FloatArray) -> tuple[float, float] | None:
    """Find stored values between which a display curve rises from 1 % to 99 % of its range."""
    low, high = float(shown.min()), float(shown.max())
    if not high > low:
        return None
    inside = np.flatnonzero((shown > low + 0.01 * (high - low)) & (shown < low + 0.99 * (high - low)))
    if inside.size < 2:
        return None
    return float(levels[inside[0]]), float(levels[inside[-1]])


def _doubts(header: Header, form: PixelFormat, *, inverted: bool) -> list[str]:
    notes = []
    shape = header.text("PresentationLUTShape")
    if shape in ("IDENTITY", "INVERSE") and (shape == "INVERSE") != (form.photometric == "MONOCHROME1"):
        notes.append(
            f"The file contradicts itself ({form.photometric} with {shape}): if the tooth looks dark, load"
            " it inverted."
        )
    sign = header.integer("PixelIntensityRelationshipSign")
    # +1: less beam behind the tooth gives lower values (PS3.3 C.8.11.3.1.2), so dense is low unless turned.
    if sign in (1, -1) and (sign == 1) != inverted:
        notes.append(
            "By the file's own account dense parts are the darker ones: if the tooth looks dark, load it"
            " inverted."
        )
    return notes


def _lut(header: Header, keyword: str, *, first_signed: bool) -> _Table | None:
    """Read the first table of a LUT sequence (PS3.3 C.11.1.1.1: entries, first input, bits), if any."""
    item = header.sequence_item(keyword)
    if item is None:
        return None
    order = "<" if header.little_endian else ">"
    descriptor = _words(item, "LUTDescriptor", order)
    values = _words(item, "LUTData", order)
    if len(descriptor) < 3:
        return None
    entries, first = int(descriptor[0]) or 65536, int(descriptor[1])
    if len(values) * 2 == entries:  # eight-bit entries, two to a word
        values = np.frombuffer(values.astype("<u2").tobytes(), dtype=np.uint8)
    if len(values) < entries or entries < 2:
        return None
    return _Table(
        first=first - 65536 if first_signed and first > 32767 else first,
        values=values[:entries].astype(np.float64),
    )


def _words(item: Dataset, keyword: str, order: str) -> NDArray[np.uint16]:
    """16-bit words of an attribute, however pydicom holds it."""
    if keyword not in item:
        return np.empty(0, dtype=np.uint16)
    value = item.get_item(keyword).value
    if isinstance(value, bytes):
        return np.frombuffer(value[: len(value) // 2 * 2], dtype=f"{order}u2").astype(np.uint16)
    numbers = value if isinstance(value, list) or hasattr(value, "append") else [value]
    return (np.asarray([int(number) for number in numbers or []], dtype=np.int64) & 0xFFFF).astype(np.uint16)
