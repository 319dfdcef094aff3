"""A canal of which a part cannot be seen: some legs follow the image, the others are drawn by hand."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import groupby, pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from curvometer.calibration import Calibration
from curvometer.centreline import Centreline, Observations, Structure, TracedBy, TraceFlag
from curvometer.radiograph import Radiograph
from curvometer.tracing.clicks import TracingError, check_clicks
from curvometer.tracing.trace import structure_of, trace_centreline

FloatArray = NDArray[np.floating[Any]]

STATION_PX = 4.0
"""Distance of the points that stand for a straight leg."""
UNSEEN_TURN_RAD = np.radians(15.0)
"""How far a canal may turn unseen between two clicks (own assumption, no source): a chord of length L then misses its arc by
the sagitta L * turn / 8, to first order."""
_OF_ONE_END = (TraceFlag.ORIFICE_NOT_VISIBLE, TraceFlag.FORAMEN_NOT_VISIBLE, TraceFlag.ENDS_SWAPPED)


def trace_partly_by_hand(
    radiograph: Radiograph,
    anchors_rc: Sequence[Sequence[float]] | FloatArray,
    *,
    hand_legs: Collection[int],
    structure: Structure | str = Structure.CANAL,
    calibration: Calibration | None = None,
    click_sd_px: float = 3.0,
) -> Centreline:
    """Trace a canal whose legs in `hand_legs` are straight lines between their clicks.

    A leg by hand weighs in the fit as much as its two clicks, however long it is; its error grows with its length.

    Parameters
    ----------
    radiograph, anchors_rc, structure, calibration, click_sd_px
        As for `trace_centreline`.
    hand_legs
        Numbers of the legs drawn by hand; leg i joins anchors i and i + 1.

    Returns
    -------
    Centreline
        With the flag ``drawn_by_hand`` when there is such a leg.

    Raises
    ------
    TracingError
        As for `trace_centreline`, and for a leg that does not exist.
    """
    anchors = check_clicks(radiograph, anchors_rc)
    by_hand = set(hand_legs)
    if not by_hand <= set(range(len(anchors) - 1)):
        raise TracingError(
            f"the legs drawn by hand are {sorted(by_hand)}; {len(anchors)} clicks have legs 0 to {len(anchors) - 2}:"
            " name only those"
        )
    parts: list[Centreline | FloatArray] = []
    for hand, legs in groupby(range(len(anchors) - 1), key=by_hand.__contains__):
        run = list(legs)
        clicks = anchors[run[0] : run[-1] + 2]
        parts.append(
            clicks
            if hand
            else trace_centreline(
                radiograph,
                clicks,
                structure=structure,
                calibration=calibration,
                click_sd_px=click_sd_px,
            )
        )
    if len(parts) == 1 and isinstance(parts[0], Centreline):
        return parts[0]
    return _joined(parts, anchors, structure_of(structure), click_sd_px)


def _joined(
    parts: list[Centreline | FloatArray], anchors: FloatArray, kind: Structure, click_sd_px: float
) -> Centreline:
    seen = [part for part in parts if isinstance(part, Centreline)]
    correlation = max((_observed(part).correlation_px for part in seen), default=STATION_PX)
    pieces = [
        _observed(part) if isinstance(part, Centreline) else _straight(part, click_sd_px, correlation)
        for part in parts
    ]
    lines = [part.points_rc for part in seen]
    widths = [part.width_px for part in seen if part.width_px is not None]
    points = np.vstack([p.points_rc for p in _drawn(parts, pieces)])
    sd = np.concatenate([p.sd_px for p in _drawn(parts, pieces)])
    return Centreline(
        points_rc=points,
        position_sd_px=sd,
        correlation_px=max((part.correlation_px for part in seen), default=STATION_PX),
        width_px=_width_along(points, lines, widths) if widths else None,
        observations=Observations(
            points_rc=np.vstack([p.points_rc for p in pieces]),
            sd_px=np.concatenate([p.sd_px for p in pieces]),
            correlation_px=correlation,
        ),
        click_sd_px=(click_sd_px, click_sd_px),
        structure=kind,
        traced_by=TracedBy.PATH if seen else TracedBy.HAND,
        anchors_rc=np.asarray(anchors, dtype=float),
        flags=_flags(parts),
    )


def _observed(part: Centreline) -> Observations:
    assert part.observations is not None  # every trace from an image has them
    return part.observations


def _straight(clicks: FloatArray, click_sd_px: float, correlation_px: float) -> Observations:
    """Points along straight legs, with errors so that a leg weighs as much as two clicks."""
    points, sds = [], []
    for start, end in pairwise(clicks):
        length = float(np.hypot(*(end - start)))
        count = max(2, int(length / STATION_PX) + 1)
        points.append(start + (end - start) * np.linspace(0.0, 1.0, count)[:, None])
        error = np.hypot(click_sd_px, length * UNSEEN_TURN_RAD / 8.0)
        weight = max(1.0, length / (2.0 * max(correlation_px, STATION_PX)))
        sds.append(np.full(count, error * np.sqrt(weight)))
    joined = [points[0], *(leg[1:] for leg in points[1:])]
    return Observations(
        points_rc=np.vstack(joined),
        sd_px=np.concatenate([sds[0], *(sd[1:] for sd in sds[1:])]),
        correlation_px=correlation_px,
    )


def _drawn(parts: list[Centreline | FloatArray], pieces: list[Observations]) -> list[Observations]:
    """What is shown: the smoothed line where it was traced; the straight legs without the ends they share with it."""
    shown = []
    for i, (part, piece) in enumerate(zip(parts, pieces, strict=True)):
        if isinstance(part, Centreline):
            assert part.position_sd_px is not None
            shown.append(
                Observations(points_rc=part.points_rc, sd_px=part.position_sd_px, correlation_px=0.0)
            )
            continue
        keep = slice(1 if i > 0 else 0, -1 if i < len(parts) - 1 else None)
        shown.append(
            Observations(points_rc=piece.points_rc[keep], sd_px=piece.sd_px[keep], correlation_px=0.0)
        )
    return shown


def _width_along(
    points: FloatArray, lines: Sequence[FloatArray], widths: Sequence[FloatArray]
) -> NDArray[np.float64]:
    """Width at each point: that of the nearest traced point."""
    at, width = np.vstack(lines), np.concatenate(widths)
    distance = np.hypot(*(points[:, None, :] - at[None, :, :]).transpose(2, 0, 1))
    return np.asarray(width[distance.argmin(axis=1)], dtype=float)


def _flags(parts: list[Centreline | FloatArray]) -> tuple[TraceFlag, ...]:
    """All that the traced parts noticed; what concerns an end only where that end is the canal's."""
    found: list[TraceFlag] = []
    for i, part in enumerate(parts):
        if not isinstance(part, Centreline):
            continue
        own_ends = {TraceFlag.ORIFICE_NOT_VISIBLE: i == 0, TraceFlag.FORAMEN_NOT_VISIBLE: i == len(parts) - 1}
        found += [f for f in part.flags if f not in _OF_ONE_END or own_ends.get(f, False)]
    return tuple(dict.fromkeys([*found, TraceFlag.BY_HAND]))
