"""Grey pictures saved in colour: three equal channels are one grey channel; anything else is refused."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from curvometer.loading.source import Refusal

GREY_WITHIN = 2
"""Channels of a grey picture differ by rounding only: at most this many levels (assumption)."""


def grey_of_colour(pixels: NDArray[np.generic]) -> tuple[NDArray[np.generic], tuple[str, ...]]:
    """Return the one grey channel of a (rows, columns, 3) image, noting any difference of channels.

    Raises
    ------
    Refusal
        When the channels differ: the picture is coloured.
    """
    red, green, blue = (pixels[..., channel].astype(np.int32) for channel in range(3))
    difference = max(int(np.abs(red - green).max()), int(np.abs(blue - green).max()))
    if difference > GREY_WITHIN:
        raise Refusal(
            "is a colour picture; a radiograph is grey: export the radiograph itself, without colour marks"
            " or tint"
        )
    note = f"The picture's colour channels differ by up to {difference} levels; the green one was taken."
    return np.ascontiguousarray(pixels[..., 1]), (note,) if difference else ()
