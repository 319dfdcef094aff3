"""Landmarks of a batch of canals: what every construction needs, read off the fitted chains.

Symbols: A orifice, B start of the curve, E its end, C foramen; a the straight coronal part, b the straight apical part.
Everything is in the plane x = column direction, y = row direction; lengths in millimetres where a scale is known.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from curvometer.canal_model import CanalSamples

FloatArray = NDArray[np.float64]


class ArcLandmarks(NamedTuple):
    """One arc of m canals.

    Attributes
    ----------
    start, end
        (m, 2) where it begins and ends, within the canal.
    tangent
        (m, 2) direction at its start.
    start_from_foramen, end_from_foramen
        (m,) distances along the canal.
    turning_deg
        (m,) signed turning; positive is clockwise on the image, a bend to the right for one who walks apically.
    radius
        (m,) radius, positive.
    """

    start: FloatArray
    end: FloatArray
    tangent: FloatArray
    start_from_foramen: FloatArray
    end_from_foramen: FloatArray
    turning_deg: FloatArray
    radius: FloatArray


class CanalLandmarks(NamedTuple):
    """Landmarks of m canals.

    Attributes
    ----------
    orifice, foramen
        (m, 2).
    axis
        (m, 2) direction of the coronal straight part; of the tangent at the orifice when there is none.
    apical
        (m, 2) direction at the foramen.
    length
        (m,) along the canal.
    arcs
        The bends, coronal first.
    """

    orifice: FloatArray
    foramen: FloatArray
    axis: FloatArray
    apical: FloatArray
    length: FloatArray
    arcs: tuple[ArcLandmarks, ...]


def canal_landmarks(canals: CanalSamples) -> CanalLandmarks:
    """Read the landmarks of every canal of a batch."""
    limits = canals.piece_limits()
    points, psi = canals.chains.at(limits)
    scale = canals.scale
    points = points * scale[:, None, None]
    arcs = []
    for i in canals.shape.arcs:
        kappa = canals.chains.kappas[:, i]
        length = limits[:, i + 1] - limits[:, i]
        arcs.append(
            ArcLandmarks(
                start=points[:, i],
                end=points[:, i + 1],
                tangent=_direction(psi[:, i]),
                start_from_foramen=(limits[:, -1] - limits[:, i]) * scale,
                end_from_foramen=(limits[:, -1] - limits[:, i + 1]) * scale,
                turning_deg=np.degrees(kappa * length),
                radius=scale / np.maximum(np.abs(kappa), 1e-9),
            )
        )
    return CanalLandmarks(
        orifice=points[:, 0],
        foramen=points[:, -1],
        axis=_direction(psi[:, 0]),
        apical=_direction(psi[:, -1]),
        length=(limits[:, -1] - limits[:, 0]) * scale,
        arcs=tuple(arcs),
    )


def canal_points(canals: CanalSamples, *, count: int) -> FloatArray:
    """(m, count, 2) points at equal distances from orifice to foramen."""
    share = np.linspace(0.0, 1.0, count)
    s = canals.orifice_s[:, None] + (canals.foramen_s - canals.orifice_s)[:, None] * share
    points, _ = canals.chains.at(s)
    return np.asarray(points * canals.scale[:, None, None])


def _direction(psi: FloatArray) -> FloatArray:
    return np.stack([np.cos(psi), np.sin(psi)], axis=-1)
