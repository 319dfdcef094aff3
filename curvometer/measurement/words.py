"""A few plain words for each quantity, for the printed table."""

from __future__ import annotations

from curvometer.measurement.quantity import Quantity

_WORDS = {
    "schneider_angle": "bend as classes and difficulty forms use it",
    "weine_angle": "direction at the foramen against the orifice",
    "long_axis_angle": "last 3 mm against the coronal axis",
    "canal_access_angle": "foramen seen from the orifice, off the axis",
    "curvature_height": "how far the canal bulges from the line orifice-foramen",
    "curvature_distance": "where along that line it bulges",
    "pruett_angle": "how far an instrument is bent round",
    "pruett_radius": "how sharply: smaller is sharper",
    "chord_radius": "circle through curve start and foramen",
    "three_point_radius": "average over the last 12 mm",
    "radius_quotient": "angle over radius: larger is harder",
    "minimum_radius": "the sharpest place",
    "minimum_radius_from_foramen": "where that is, from the foramen",
    "total_turning": "all bends added",
    "net_turning": "opposite bends subtracted",
    "canal_length": "orifice to foramen, in the image plane",
    "curve_start_from_foramen": "where the bend begins, from the foramen",
    "curve_end_from_foramen": "where the bend ends, from the foramen",
}


def meanings(quantities: dict[str, Quantity | None]) -> dict[str, str]:
    """Words for every quantity that has a value."""
    return {name: _WORDS[name] for name, quantity in quantities.items() if quantity is not None}
