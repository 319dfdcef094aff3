"""Two images of one tooth laid on each other by marks outside the canal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from curvometer.comparison.polylines import ComparisonError, Scale, scale_of
from curvometer.geometry import FloatArray


@dataclass(frozen=True, kw_only=True)
class Registration:
    """How the image after lies on the image before: turned, moved, enlarged.

    Attributes
    ----------
    turn
        (2, 2) and `shift` (2,): a point after, in mm, is ``turn @ point + shift`` on the image before.
    scale
        Its enlargement.
    residual_mm
        Root of the mean squared distance of the marks afterwards; None for two marks, which always fit.
    """

    turn: FloatArray
    shift: FloatArray
    scale: float
    residual_mm: float | None

    def on_before(self, points_mm: ArrayLike) -> FloatArray:
        """Points (n, 2) of the image after, in mm, where they lie on the image before."""
        return np.asarray(points_mm, dtype=float) @ self.turn.T + self.shift


def register_on_marks(
    after_rc: ArrayLike, before_rc: ArrayLike, *, mm_per_pixel_after: Scale, mm_per_pixel_before: Scale
) -> Registration:
    """Lay the image after on the image before by marks outside the canal, such as edges of crown and restoration.

    Parameters
    ----------
    after_rc, before_rc
        (n, 2) the same marks (row, col) in pixels on both images, n at least 2, better 4.
    mm_per_pixel_after, mm_per_pixel_before
        The scales, one number or (per row, per column).

    Returns
    -------
    Registration
        The turn, shift and enlargement with the least squared distances.

    Raises
    ------
    ComparisonError
        When the marks do not pair, are fewer than two, coincide, or are not finite.

    Notes
    -----
    With marks as complex numbers z, from their means, the least squares of a z - w is a = sum(conj(z) w) / sum(conj(z) z);
    its modulus is the enlargement, its argument the turn.
    """
    after = _marks(after_rc, mm_per_pixel_after, "image after")
    before = _marks(before_rc, mm_per_pixel_before, "image before")
    if len(after) != len(before):
        raise ComparisonError(
            f"there are {len(after)} marks after and {len(before)} before: give the same marks, in the same order"
        )
    z, w = (np.asarray(marks[:, 0] + 1j * marks[:, 1]) for marks in (after, before))
    from_mean = z - z.mean()
    factor = np.sum(np.conj(from_mean) * (w - w.mean())) / np.sum(np.abs(from_mean) ** 2)
    if abs(factor) < 1e-9:
        raise ComparisonError(
            "the marks before lie nowhere near those after, however turned: check their order"
        )
    shift = w.mean() - factor * z.mean()
    residual = float(np.sqrt(np.mean(np.abs(factor * z + shift - w) ** 2)))
    return Registration(
        turn=np.array([[factor.real, -factor.imag], [factor.imag, factor.real]]),
        shift=np.array([shift.real, shift.imag]),
        scale=float(abs(factor)),
        residual_mm=residual if len(after) > 2 else None,
    )


def _marks(points_rc: ArrayLike, mm_per_pixel: Scale, name: str) -> FloatArray:
    marks = np.asarray(points_rc, dtype=float)
    if marks.ndim != 2 or marks.shape[1] != 2 or len(marks) < 2 or not np.isfinite(marks).all():
        raise ComparisonError(
            f"the {name} needs at least two marks of two finite coordinates, found shape {marks.shape}: mark the same"
            " edges of the crown on both images"
        )
    if float(np.ptp(marks, axis=0).max()) == 0.0:
        raise ComparisonError(f"all marks of the {name} are the same: give marks that lie apart")
    return np.asarray(marks * scale_of(mm_per_pixel))
