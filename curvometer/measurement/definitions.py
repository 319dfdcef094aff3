"""What each quantity is, where it comes from, and what to mind: for a person who asks what a number means."""

from __future__ import annotations

from dataclasses import dataclass

from curvometer.bibliography import (
    ESTRELA_2008,
    GUNDAY_2005,
    HANKINS_ELDEEB_1996,
    PRUETT_1997,
    SADEGHI_PORYOUSEF_2009,
    SCHAEFER_2002,
    SCHNEIDER_1971,
    WEINE_1982,
    HowRead,
    Reference,
)

OWN = Reference(
    key="own-definition",
    citation="elementary geometry of the fitted line, no publication followed",
    how_read=HowRead.DERIVED,
)
_IN_PLANE = "Seen in one projection: the curve in space is at least as strong."
_OF_ARC = "Not reliable for a bend below 10 degrees or an arc below 2.5 mm."
_TWO_BENDS = "With two opposite bends one angle does not describe the canal."

CANAL_FORMS = {
    "I": "straight",
    "J": "curved near its end",
    "C": "curved along its length",
    "S": "curved twice",
}
"""The forms of a canal in words."""


@dataclass(frozen=True, kw_only=True)
class QuantityDefinition:
    """One quantity in words.

    Attributes
    ----------
    name, label
        As in the JSON, and as a person reads it.
    definition
        The construction, in a sentence.
    source
        The publication that it follows, and how that was read.
    caveats
        What to mind, a sentence each.
    """

    name: str
    label: str
    definition: str
    source: Reference
    caveats: tuple[str, ...] = ()


def _table(*rows: tuple[str, str, str, Reference, tuple[str, ...]]) -> dict[str, QuantityDefinition]:
    return {
        name: QuantityDefinition(name=name, label=label, definition=text, source=source, caveats=caveats)
        for name, label, text, source, caveats in rows
    }


QUANTITY_DEFINITIONS = _table(
    (
        "schneider_angle",
        "Schneider angle",
        "Angle between the long axis of the coronal part and the line from the start of the curve to the apical foramen.",
        SCHNEIDER_1971,
        (_TWO_BENDS, "About half the turning of a curve that runs to the foramen.", _IN_PLANE),
    ),
    (
        "weine_angle",
        "Weine angle",
        "Angle between the tangents at the canal orifice and at the apical foramen.",
        WEINE_1982,
        (_TWO_BENDS, _IN_PLANE),
    ),
    (
        "long_axis_angle",
        "Long-axis angle",
        "Angle between the coronal axis and the chord of the last 3 mm.",
        HANKINS_ELDEEB_1996,
        ("Needs a scale, for its 3 mm.", _IN_PLANE),
    ),
    (
        "canal_access_angle",
        "Canal access angle",
        "Angle between the coronal axis and the line from the orifice to the foramen.",
        GUNDAY_2005,
        (_IN_PLANE,),
    ),
    (
        "curvature_height",
        "Curvature height",
        "Distance of the start of the curve from the line between orifice and foramen.",
        GUNDAY_2005,
        (),
    ),
    (
        "curvature_distance",
        "Curvature distance",
        "Distance from the orifice to the foot of the curvature height, on the line between orifice and foramen.",
        GUNDAY_2005,
        (),
    ),
    (
        "pruett_angle",
        "Pruett angle",
        "Central angle of the arc between the two straight parts of the canal.",
        PRUETT_1997,
        (_TWO_BENDS, _IN_PLANE),
    ),
    (
        "pruett_radius",
        "Pruett radius",
        "Radius of the arc that joins the two straight parts of the canal.",
        PRUETT_1997,
        (_OF_ARC,),
    ),
    (
        "chord_radius",
        "Radius from chord",
        "Radius of the circle tangent to the coronal axis at the start of the curve and through the foramen.",
        SCHAEFER_2002,
        (_OF_ARC, "Larger than the bend's own radius when a straight part follows the bend."),
    ),
    (
        "three_point_radius",
        "Radius by three points",
        "Radius of the circle through the foramen and the ends of two segments of 6 mm along the canal.",
        ESTRELA_2008,
        ("An average over the last 12 mm, blind to a short hook.",),
    ),
    (
        "radius_quotient",
        "Radius quotient",
        "Schneider angle divided by the radius of the arc.",
        SADEGHI_PORYOUSEF_2009,
        (_OF_ARC,),
    ),
    (
        "minimum_radius",
        "Smallest radius",
        "Smallest radius among the fitted arcs.",
        OWN,
        (_OF_ARC,),
    ),
    (
        "minimum_radius_from_foramen",
        "Sharpest place",
        "Distance of the middle of the sharpest arc from the foramen, along the canal.",
        OWN,
        (),
    ),
    ("total_turning", "Total turning", "The turning of all bends added, whatever way they go.", OWN, ()),
    ("net_turning", "Net turning", "The turning of all bends, opposite ones subtracted.", OWN, (_TWO_BENDS,)),
    (
        "canal_length",
        "Canal length",
        "Length along the fitted line from the orifice to the foramen.",
        OWN,
        ("Foreshortened when the tooth is tilted: it is not the working length.",),
    ),
    (
        "curve_start_from_foramen",
        "Curve starts at",
        "Where the first bend begins, as distance from the foramen along the canal.",
        OWN,
        (),
    ),
    (
        "curve_end_from_foramen",
        "Curve ends at",
        "Where the last bend ends, as distance from the foramen along the canal.",
        OWN,
        (),
    ),
)
"""Every quantity of `QUANTITY_NAMES`, in that order."""
