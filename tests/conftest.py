"""Measured canals whose every number is known, for tests of what is printed, drawn and saved."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from curvometer.calibration import Calibration, CalibrationOrigin
from curvometer.centreline import Centreline, Structure, TracedBy, TraceFlag
from curvometer.measurement import (
    QUANTITY_NAMES,
    Bend,
    CanalMeasurement,
    CurvatureProfile,
    FittedLandmarks,
    MeasurementFlag,
    Quantity,
    Severity,
)
from curvometer.radiograph import Radiograph
from curvometer.record import canal_entry, new_record, save_record


@dataclass(frozen=True, kw_only=True)
class KnownCase:
    """One canal on one image, measured."""

    radiograph: Radiograph
    calibration: Calibration
    centreline: Centreline
    measurement: CanalMeasurement


def known_case(
    *,
    angles_deg: tuple[float, ...] = (40.0,),
    radius_px: float = 300.0,
    straight_px: float = 350.0,
    orifice_rc: tuple[float, float] = (150.0, 500.0),
    shape: tuple[int, int] = (900, 1000),
    mm_per_pixel: float | None = 0.02,
    aspect_ratio: float = 1.0,
    flags: tuple[MeasurementFlag, ...] = (),
) -> KnownCase:
    """Build a straight piece of `straight_px` downwards, then one arc of `radius_px` per angle.

    Derivation: after a straight piece along +row the first arc bends towards +col for a positive angle, which
    is to the left of somebody who walks from the orifice to the foramen on the image as people see it. Its
    Schneider angle is half of its arc angle (tangent and chord of a circle), its radius `radius_px` pixels.
    Values of measures other than these are placeholders: nothing here measures.
    """
    line, arcs = _line_and_arcs(angles_deg, radius_px, straight_px)
    line = (line + orifice_rc) / (aspect_ratio, 1.0)
    start = np.array([straight_px, 0.0]) + orifice_rc
    spacing = None if mm_per_pixel is None else (mm_per_pixel * aspect_ratio, mm_per_pixel)
    calibration = Calibration(
        spacing_rc_mm=spacing,
        aspect_ratio=aspect_ratio,
        relative_standard_uncertainty=0.0 if mm_per_pixel is None else 0.02,
        origin=CalibrationOrigin.NONE if mm_per_pixel is None else CalibrationOrigin.KNOWN_LENGTH,
        at_tooth=mm_per_pixel is not None,
    )
    curved = bool(angles_deg)
    landmarks = FittedLandmarks(
        orifice_rc=line[0],
        foramen_rc=line[-1],
        curve_start_rc=start / (aspect_ratio, 1.0) if curved else None,
        curve_end_rc=line[-1] if curved else None,
        axis_rc=np.array([line[0], start / (aspect_ratio, 1.0)]),
        line_rc=line,
        arcs=tuple((r + orifice_rc[0], c + orifice_rc[1], radius_px) for r, c in arcs),
    )
    noise = 0.4 * np.sin(np.arange(len(line)) / 3.0)[:, None]
    return KnownCase(
        radiograph=_picture(line, shape),
        calibration=calibration,
        centreline=Centreline(
            points_rc=line + noise * (0.0, 1.0),
            position_sd_px=np.full(len(line), 0.3),
            correlation_px=2.5,
            width_px=np.linspace(18.0, 9.0, len(line)),
            click_sd_px=(3.0, 2.5),
            structure=Structure.CANAL,
            traced_by=TracedBy.PATH,
            anchors_rc=line[[0, -1]],
            flags=(TraceFlag.FADED,),
        ),
        measurement=_measurement(angles_deg, radius_px, mm_per_pixel, landmarks, flags),
    )


def _line_and_arcs(
    angles_deg: tuple[float, ...], radius_px: float, straight_px: float
) -> tuple[np.ndarray, list[np.ndarray]]:
    pieces = [np.column_stack([np.linspace(0.0, straight_px, 120), np.zeros(120)])]
    place, heading, arcs = np.array([straight_px, 0.0]), 0.0, []
    for angle_deg in angles_deg:
        side = np.sign(angle_deg)
        centre = place + side * radius_px * np.array([-np.sin(heading), np.cos(heading)])
        turned = heading + np.radians(np.linspace(0.0, angle_deg, 120))
        arc = centre + side * radius_px * np.column_stack([np.sin(turned), -np.cos(turned)])
        pieces.append(arc[1:])
        arcs.append(centre)
        place, heading = arc[-1], turned[-1]
    return np.vstack(pieces), arcs


def _measurement(
    angles_deg: tuple[float, ...],
    radius_px: float,
    mm_per_pixel: float | None,
    landmarks: FittedLandmarks,
    flags: tuple[MeasurementFlag, ...],
) -> CanalMeasurement:
    def angle(value: float) -> Quantity:
        return Quantity(value=value, lower=value - 1.5, upper=value + 1.5, unit="deg")

    def length(value_px: float) -> Quantity | None:
        if mm_per_pixel is None:
            return None
        value = value_px * mm_per_pixel
        return Quantity(value=value, lower=0.9 * value, upper=1.1 * value, unit="mm", reading="circumradius")

    if mm_per_pixel is None:
        flags = (*flags, NO_SCALE)
    schneider = angle(abs(angles_deg[0]) / 2.0 if angles_deg else 0.4)
    in_degrees = {name: schneider for name in QUANTITY_NAMES if name.endswith(("angle", "turning"))}
    quantities = {name: length(radius_px) for name in QUANTITY_NAMES} | in_degrees
    bends = tuple(
        Bend(
            start_from_foramen=length(200.0),
            end_from_foramen=length(0.0),
            angle=angle(abs(a)),
            radius=length(radius_px),
            schneider_angle=angle(abs(a) / 2.0),
            direction="left" if a > 0 else "right",
        )
        for a in angles_deg
    )
    s = np.linspace(0.0, 10.0, 5)
    return CanalMeasurement(
        **quantities,
        canal_form={0: "I", 1: "J", 2: "S"}[len(angles_deg)],
        bends=bends,
        flags=flags,
        schneider_class="moderate",
        shape=", ".join(["straight", *["arc"] * len(angles_deg)]),
        landmarks=landmarks,
        profile=CurvatureProfile(
            from_foramen=s, curvature=0.1 * s, lower=0.1 * s - 0.01, upper=0.1 * s + 0.01, unit="1/mm"
        ),
        meanings={"schneider_angle": "how far the foramen lies off the canal's axis"},
    )


def _picture(line_rc: np.ndarray, shape: tuple[int, int]) -> Radiograph:
    """Draw a bright root with a dark canal: distance to the line decides the grey."""
    rows, cols = np.mgrid[0 : shape[0] : 4, 0 : shape[1] : 4]
    away = np.min(
        [np.hypot(rows - r, cols - c) for r, c in line_rc[::8]], axis=0
    )  # coarse: a background to draw on, not to measure on
    grey = 90.0 + 110.0 * np.exp(-((away / 90.0) ** 2)) - 90.0 * np.exp(-((away / 8.0) ** 2))
    full = np.kron(grey, np.ones((4, 4)))[: shape[0], : shape[1]]
    return Radiograph(
        pixels=full.astype(np.uint8), bits_stored=8, file_format="PNG", sha256="ab" * 32, notes=("simulated",)
    )


NO_SCALE = MeasurementFlag(
    code="no_scale",
    severity=Severity.CAUTION,
    text="No scale in the plane of the tooth, so no lengths or radii: give a file of known length.",
    concerns=tuple(n for n in QUANTITY_NAMES if not n.endswith(("angle", "turning"))),
)


@pytest.fixture
def make_known_case() -> Callable[..., KnownCase]:
    """Build measured canals with known numbers: see `known_case`."""
    return known_case


@pytest.fixture
def save(tmp_path: Path, make_known_case: Callable[..., KnownCase]) -> Callable[..., str]:
    """Save a record with one canal per (name, options): 40 degree arcs, Schneider 20.0, radius 6.00 mm."""

    def saved(
        *canals: tuple[str, dict[str, Any]], flags: tuple[MeasurementFlag, ...] = (), tooth: int | None = None
    ) -> str:
        entries = []
        for name, options in canals:
            case = make_known_case(**options)
            measurement = replace(case.measurement, flags=(*case.measurement.flags, *flags))
            entries.append(canal_entry(case.centreline, measurement, name=name))
        scale = make_known_case().calibration
        record = new_record(radiograph=None, calibration=scale, canals=entries, tooth=tooth)
        path = tmp_path / "record.json"
        save_record(record, path)
        return str(path)

    return saved
