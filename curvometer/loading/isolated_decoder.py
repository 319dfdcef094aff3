"""Decode one DICOM file from standard input to a .npy array on standard output, in a process of its own.

Run as a script by `curvometer.loading.decoding`, never imported: the JPEG Lossless decoder can abort the
whole process on a damaged stream (an uncaught C++ exception), which no ``try`` can stop. Here it takes only
itself down.
"""

from __future__ import annotations

import io
import sys
import warnings

MAX_ADDRESS_SPACE = 4 * 2**30
"""Bytes this process may use where the system can limit it."""


def main() -> None:
    """Read, decode by the plug-in named in the first argument, write."""
    import numpy as np  # noqa: PLC0415
    from pydicom import dcmread  # noqa: PLC0415
    from pydicom.pixels.utils import pixel_array  # noqa: PLC0415

    warnings.simplefilter("ignore")
    dataset = dcmread(io.BytesIO(sys.stdin.buffer.read()), force=True)
    pixels = pixel_array(dataset, index=0, decoding_plugin=sys.argv[1])
    np.save(sys.stdout.buffer, np.ascontiguousarray(pixels), allow_pickle=False)


def limit_memory() -> None:
    """Set the limit on address space; Windows has none."""
    try:
        import resource  # noqa: PLC0415

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))  # an abort leaves no file behind
        resource.setrlimit(resource.RLIMIT_AS, (MAX_ADDRESS_SPACE, MAX_ADDRESS_SPACE))
    except (ImportError, ValueError, OSError):
        return


if __name__ == "__main__":
    limit_memory()
    main()
