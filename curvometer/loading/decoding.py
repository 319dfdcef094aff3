"""Running a decoder: in this process, or in one of its own when it may abort on a damaged stream."""

from __future__ import annotations

import os
import subprocess
import sys
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from curvometer.loading.source import Refusal

if TYPE_CHECKING:
    from pydicom.dataset import Dataset

ABORTING = frozenset({"gdcm"})
"""Decoders that were seen to abort the process on a damaged stream (random changes to a good file)."""
TIMEOUT_S = 120.0
"""Longest that a decoder of its own process may take; a radiograph takes about half a second."""
_SCRIPT = Path(__file__).with_name("isolated_decoder.py")


def run_decoder(dataset: Dataset, decoder: str) -> NDArray[np.generic]:
    """Decode the only frame of a data set that holds checked values.

    Parameters
    ----------
    dataset
        pydicom data set with pixel attributes, pixel data and the transfer syntax.
    decoder
        pydicom's name of the plug-in; empty for uncompressed data.

    Returns
    -------
    numpy.ndarray
        (rows, columns) or (rows, columns, samples), native byte order.

    Raises
    ------
    Refusal
        When the decoder fails in its own process, or the array has another size than declared. In this
        process a decoder may raise anything.
    """
    from pydicom.pixels.utils import pixel_array  # noqa: PLC0415

    if decoder in ABORTING:
        pixels = _in_own_process(dataset, decoder)
    else:
        pixels = pixel_array(dataset, index=0, decoding_plugin=decoder)
    declared = (dataset.Rows, dataset.Columns)
    if pixels.shape not in (declared, (*declared, 3)) or pixels.dtype.kind not in "iu":
        raise Refusal("holds another picture than it declares; copy or export the file again")
    return np.ascontiguousarray(pixels, dtype=pixels.dtype.newbyteorder("="))


def _in_own_process(dataset: Dataset, decoder: str) -> NDArray[np.generic]:
    from pydicom import dcmwrite  # noqa: PLC0415

    stream = BytesIO()
    dcmwrite(stream, dataset, enforce_file_format=False)
    # -P: without the script's folder on the path, where module names could hide others.
    command = [sys.executable, "-P", str(_SCRIPT), decoder]
    done = subprocess.run(  # noqa: S603 - our own interpreter and script
        command,
        input=stream.getvalue(),
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        timeout=TIMEOUT_S,
        check=False,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONWARNINGS": "ignore"},
        creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
    )
    if done.returncode != 0:
        raise Refusal("holds a damaged compressed picture; copy or export the file again")
    return np.asarray(np.load(BytesIO(done.stdout), allow_pickle=False))
