"""Where the fitted canal lies on the image, and how its curvature runs along it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from curvometer.canal_model import CanalModel, CanalSamples, percentiles
from curvometer.measurement.quantity import CurvatureProfile, FittedLandmarks

FloatArray = NDArray[np.float64]

INTERVAL = (2.5, 97.5)
"""Levels of the 95 % interval, per cent."""

PROFILE_POINTS = 81


def fitted_landmarks(
    model: CanalModel, best: CanalSamples, spacing_rc: tuple[float, float]
) -> FittedLandmarks:
    """Landmarks of the best shape on the image, (row, col) in pixels."""
    limits = best.piece_limits()
    dense = np.linspace(float(best.orifice_s[0]), float(best.foramen_s[0]), 300)

    def on_image(s: FloatArray) -> FloatArray:
        points, _ = best.chains.at(s[None])
        return np.asarray((points[0] + model.data.first)[:, ::-1] / np.array(spacing_rc))

    marks = on_image(limits[0])
    arcs = best.shape.arcs
    axis_end = limits[0, 1] if best.shape.pieces[0] == "s" else 0.2 * limits[0, -1]
    start, psi = best.chains.at(np.zeros((1, 1)))
    forward = start[0] + axis_end * np.array([[np.cos(psi[0, 0]), np.sin(psi[0, 0])]])
    axis = (np.vstack([start[0], forward]) + model.data.first)[:, ::-1] / np.array(spacing_rc)
    return FittedLandmarks(
        orifice_rc=marks[0],
        foramen_rc=marks[-1],
        curve_start_rc=marks[arcs[0]] if arcs else None,
        curve_end_rc=marks[arcs[-1] + 1] if arcs else None,
        axis_rc=axis,
        line_rc=on_image(dense),
        arcs=tuple(_circle(model, best, i, spacing_rc) for i in arcs),
    )


def _circle(
    model: CanalModel, best: CanalSamples, piece: int, spacing_rc: tuple[float, float]
) -> tuple[float, float, float]:
    """Centre (row, col) and radius of an arc, in pixels; the radius counts column pixels."""
    point, psi = best.chains.at(best.piece_limits()[:, piece : piece + 1])
    radius = 1.0 / float(best.chains.kappas[0, piece])
    angle = float(psi[0, 0])
    centre = point[0, 0] + radius * np.array([-np.sin(angle), np.cos(angle)]) + model.data.first
    return (float(centre[1] / spacing_rc[0]), float(centre[0] / spacing_rc[1]), abs(radius) / spacing_rc[1])


def curvature_profile(best: CanalSamples, drawn: list[CanalSamples], unit: str) -> CurvatureProfile:
    """Signed curvature along the canal: the mean of the drawn canals and their 95 % band.

    The sign follows the image: positive bends to the right for one who walks from orifice to foramen. A single canal of arcs
    jumps; the mean over all canals that the trace allows shows how well each jump is located.
    """
    share = np.linspace(0.0, 1.0, PROFILE_POINTS)
    rows = np.concatenate([_curvature_at(batch, share) for batch in drawn])
    lower, upper = percentiles(rows, INTERVAL)
    length = float(best.foramen_s[0] - best.orifice_s[0])
    return CurvatureProfile(
        from_foramen=share * length,
        curvature=rows.mean(axis=0)[::-1],
        lower=lower[::-1],
        upper=upper[::-1],
        unit=unit,
    )


def _curvature_at(batch: CanalSamples, share: FloatArray) -> FloatArray:
    s = batch.orifice_s[:, None] + (batch.foramen_s - batch.orifice_s)[:, None] * share
    nodes = batch.chains.nodes_s
    piece = np.zeros(s.shape, dtype=np.intp)
    for j in range(1, nodes.shape[1]):
        piece += s >= nodes[:, j : j + 1]
    return np.asarray(batch.chains.kappas[np.arange(len(s))[:, None], piece] / batch.scale[:, None])
