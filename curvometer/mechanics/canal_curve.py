"""How sharply the canal bends at each place: what an instrument in it feels.

Symbols
-------
``x``
    Distance from the apical foramen along the canal, mm; positions are told to clinicians so.
``kappa``
    Curvature, 1/mm, the inverse of the radius; 0 where the canal is straight. Only its size counts here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from curvometer.measurement import Bend, CanalMeasurement, Quantity
from curvometer.radiograph import CurvometerError

FloatArray = NDArray[np.float64]


class MechanicsError(CurvometerError):
    """A strain, a budget or a load that cannot be told."""


@dataclass(frozen=True, kw_only=True, eq=False)
class CanalCurve:
    """Curvature along a canal, piecewise linear; two equal positions make a jump, as between a straight part and an arc.

    Attributes
    ----------
    from_foramen_mm
        (n,) positions x, never falling, n at least 2.
    curvature_per_mm
        (n,) kappa; its sign is dropped.
    lower_per_mm, upper_per_mm
        (n,) 95 % band of kappa; kappa itself where none is known.

    Raises
    ------
    MechanicsError
        If the arrays do not fit together or hold something else than finite numbers.
    """

    from_foramen_mm: FloatArray
    curvature_per_mm: FloatArray
    lower_per_mm: FloatArray | None = None
    upper_per_mm: FloatArray | None = None

    def __post_init__(self) -> None:
        positions = np.array(self.from_foramen_mm, dtype=float)
        curvature = _like(positions, self.curvature_per_mm, "curvature_per_mm")
        if positions.ndim != 1 or len(positions) < 2 or not np.all(np.isfinite(positions)):
            raise MechanicsError(
                "The curvature of a canal needs at least two finite positions from the foramen; measure the canal again."
            )
        if np.any(np.diff(positions) < 0.0) or positions[-1] <= positions[0]:
            raise MechanicsError(
                "Positions along a canal must grow from the foramen to the orifice; sort them and their curvatures."
            )
        lower = (
            curvature if self.lower_per_mm is None else _like(positions, self.lower_per_mm, "lower_per_mm")
        )
        upper = (
            curvature if self.upper_per_mm is None else _like(positions, self.upper_per_mm, "upper_per_mm")
        )
        # A band that holds 0 says that the canal may be straight there.
        least = np.where(lower * upper > 0.0, np.minimum(np.abs(lower), np.abs(upper)), 0.0)
        most = np.maximum(np.abs(lower), np.abs(upper))
        size = np.abs(curvature)
        for name, value in (
            ("from_foramen_mm", positions),
            ("curvature_per_mm", size),
            ("lower_per_mm", np.minimum(least, size)),
            ("upper_per_mm", np.maximum(most, size)),
        ):
            value.setflags(write=False)
            object.__setattr__(self, name, value)

    @property
    def length_mm(self) -> float:
        """Distance of the last position from the foramen."""
        return float(self.from_foramen_mm[-1])

    @cached_property
    def bands_per_mm(self) -> FloatArray:
        """(3, n) curvature, its lower and its upper end."""
        return np.array([self.curvature_per_mm, self.lower_per_mm, self.upper_per_mm], dtype=float)

    @property
    def minimum_radius_mm(self) -> float | None:
        """Smallest radius anywhere; None in a straight canal."""
        sharpest = float(self.curvature_per_mm.max())
        return 1.0 / sharpest if sharpest > 0.0 else None


def curve_of_arcs(
    arcs: Sequence[tuple[float, float, float]],
    *,
    canal_length_mm: float,
    radii_between_mm: Sequence[tuple[float, float]] | None = None,
) -> CanalCurve:
    """A canal of circular arcs, straight between them.

    Parameters
    ----------
    arcs
        (start_from_foramen_mm, end_from_foramen_mm, radius_mm) of each; an arc starts on the side of the orifice, so its
        start is farther from the foramen than its end.
    canal_length_mm
        From the foramen to the orifice.
    radii_between_mm
        95 % interval of each radius, smaller one first; the greater one may be infinite.

    Returns
    -------
    CanalCurve

    Raises
    ------
    MechanicsError
        If an arc has no length, lies outside the canal, overlaps another, or has no positive radius.
    """
    length = positive_number(canal_length_mm, "length of the canal", "mm")
    between = [(r, r) for *_, r in arcs] if radii_between_mm is None else list(radii_between_mm)
    if len(between) != len(arcs):
        raise MechanicsError(
            f"There are {len(arcs)} arcs and {len(between)} intervals; give one interval for each arc."
        )
    rows = [(0.0, 0.0, 0.0, 0.0)]
    for (start, end, radius), (least, most) in sorted(
        zip(arcs, between, strict=True), key=lambda row: row[0][1]
    ):
        r, low = (positive_number(value, "radius of an arc", "mm") for value in (radius, least))
        # An interval may reach to the straight line, whose radius is infinite.
        high = most if most == math.inf else positive_number(most, "radius of an arc", "mm")
        if not -1e-6 <= end < start <= length + 1e-6:
            raise MechanicsError(
                f"An arc from {start:g} to {end:g} mm from the foramen does not fit in a canal of {length:g} mm;"
                " its start must be farther from the foramen than its end, both inside the canal."
            )
        bent = (1.0 / r, 1.0 / high, 1.0 / low)
        rows += [(end, 0.0, 0.0, 0.0), (end, *bent), (start, *bent), (start, 0.0, 0.0, 0.0)]
    rows.append((length, 0.0, 0.0, 0.0))
    for before, after in pairwise(rows):
        if after[0] < before[0] - 1e-6:
            raise MechanicsError("Two arcs of one canal overlap; an arc must end before the next one starts.")
    x, kappa, lower, upper = np.array(rows).T
    return CanalCurve(
        from_foramen_mm=np.maximum.accumulate(np.clip(x, 0.0, length)),
        curvature_per_mm=kappa,
        lower_per_mm=lower,
        upper_per_mm=upper,
    )


def curve_of_one_arc(
    *,
    angle_deg: float,
    radius_mm: float,
    end_from_foramen_mm: float | None = None,
    start_from_foramen_mm: float | None = None,
    canal_length_mm: float | None = None,
) -> CanalCurve:
    """A canal with one arc, for a what-if; give either end of the arc.

    Parameters
    ----------
    angle_deg
        Central angle of the arc, as Pruett's; for Schneider's see `central_angle_at_most_deg`. 0 is a straight canal.
    radius_mm
        Of the arc.
    end_from_foramen_mm
        Length of the straight apical part below the arc.
    start_from_foramen_mm
        Where the curve starts, seen from the orifice.
    canal_length_mm
        From the foramen to the orifice; when not given, the canal ends with its arc.

    Returns
    -------
    CanalCurve

    Raises
    ------
    MechanicsError
        If both or neither end is given, a number is impossible, or the arc is longer than its place.
    """
    radius = positive_number(radius_mm, "radius of the curve", "mm")
    if not 0.0 <= angle_deg <= 180.0:
        raise MechanicsError(
            f"An angle of {angle_deg!r} degrees is not possible; give one from 0 to 180 degrees."
        )
    arc = radius * math.radians(angle_deg)  # L = R theta
    if (end_from_foramen_mm is None) == (start_from_foramen_mm is None):
        raise MechanicsError(
            "Say where the curve starts or where it ends, in mm from the foramen: one of the two."
        )
    end = (start_from_foramen_mm or 0.0) - arc if end_from_foramen_mm is None else end_from_foramen_mm
    if not end >= -1e-6:
        raise MechanicsError(
            f"A curve of {angle_deg:g} degrees with a radius of {radius:g} mm is {arc:.2f} mm long and would end"
            f" {abs(end):.2f} mm beyond the foramen; give a smaller angle or radius, or an earlier start."
        )
    end = max(0.0, end)
    length = max(end + arc, 1e-3) if canal_length_mm is None else canal_length_mm
    arcs = [(end + arc, end, radius)] if arc > 0.0 else []
    return curve_of_arcs(arcs, canal_length_mm=length)


def curve_of_measurement(measurement: CanalMeasurement, *, shape: str = "arcs") -> CanalCurve:
    """The curve of a measured canal.

    Parameters
    ----------
    measurement
        Measured with a scale.
    shape
        ``"arcs"``: the fitted arcs with the intervals of their radii, the reading that `minimum_radius` has.
        ``"profile"``: the mean curvature over all canals that the trace allows, with its band; where a bend's place is
        uncertain this mean is lower than the bend's own curvature.

    Returns
    -------
    CanalCurve

    Raises
    ------
    MechanicsError
        If the canal was measured without a scale: without millimetres there is no strain.
    """
    profile = measurement.profile
    if profile.unit != "1/mm" or measurement.canal_length is None:
        raise MechanicsError(
            "The canal was measured without a scale, so there is no radius in mm and no strain; set the scale with a file"
            " of known length and measure again."
        )
    if shape == "profile":
        return CanalCurve(
            from_foramen_mm=profile.from_foramen,
            curvature_per_mm=profile.curvature,
            lower_per_mm=profile.lower,
            upper_per_mm=profile.upper,
        )
    if shape != "arcs":
        raise MechanicsError(f"There is no shape {shape!r}; use 'arcs' or 'profile'.")
    placed = [_placed(bend) for bend in measurement.bends]
    ends = [max((start for (start, _, _), _ in placed), default=0.0), measurement.canal_length.value]
    return curve_of_arcs(
        [arc for arc, _ in placed],
        canal_length_mm=max(ends),
        radii_between_mm=[between for _, between in placed],
    )


def central_angle_at_most_deg(schneider_angle_deg: float) -> float:
    """Greatest central angle that fits a Schneider angle, degrees.

    An arc that ends at the foramen is seen by Schneider under the angle between tangent and chord, half its central
    angle; with a straight part below the arc the two come closer. So theta <= 2 S (derived).
    """
    return 2.0 * schneider_angle_deg


def _placed(bend: Bend) -> tuple[tuple[float, float, float], tuple[float, float]]:
    start, end, radius = (
        _known(quantity) for quantity in (bend.start_from_foramen, bend.end_from_foramen, bend.radius)
    )
    return (start.value, max(0.0, end.value), radius.value), (radius.lower, radius.upper)


def _known(quantity: Quantity | None) -> Quantity:
    if quantity is None:
        raise MechanicsError(
            "A bend of this canal has no radius or place in mm; set the scale with a file of known length and measure again."
        )
    return quantity


def _like(positions: FloatArray, values: FloatArray, name: str) -> FloatArray:
    found = np.array(values, dtype=float)
    if found.shape != positions.shape or not np.all(np.isfinite(found)):
        raise MechanicsError(
            f"{name} must hold one finite number for each of the {positions.size} positions; measure the canal again."
        )
    return found


def positive_number(value: float, what: str, unit: str) -> float:
    """The value, or an error that names it."""
    if not (isinstance(value, int | float | np.number) and math.isfinite(value) and value > 0.0):
        raise MechanicsError(
            f"The {what} must be a positive number of {unit}, found {value!r}; measure or type it again."
        )
    return float(value)
