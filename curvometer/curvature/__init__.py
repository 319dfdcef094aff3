"""The published measures of canal curvature, one function each, named for their authors or construction.

Landmarks and points are in millimetres, in a plane whose two axes have the same scale; which axis comes
first does not matter. Angles are deflections in degrees: 0 is straight, and nothing is folded at 90. A
function that takes landmarks broadcasts over leading axes: orifice, start and foramen may be ``(2,)`` or
``(m, 2)``, and hundreds of sampled canals are measured in one call. A function that takes points takes ``(n,
2)`` or ``(m, n, 2)``, from the canal orifice to the apical foramen.

Symbols: A canal orifice, B start of the curve (where the canal leaves the coronal axis), C apical foramen, S
Schneider's angle, R radius of the bend, theta its angle, a and b the straight parts before and behind it.

Where a paper can be read in two ways, the reading is an argument or a function's name. The derivations, with
pictures, are in the documentation, one page per method.

`curvometer.curvature.angles`
    Schneider, Weine, long axis, Luiten, canal access angle with height and distance.
`curvometer.curvature.radii`
    Pruett, Schäfer, Backman, Estrela, the tightest place.
`curvometer.curvature.form`
    Turning along the whole canal, the forms I, J, C, S, and the published classes.
"""

from __future__ import annotations

from curvometer.curvature.angles import (
    canal_access_angle,
    coronal_axis,
    curvature_distance,
    curvature_height,
    long_axis_angle,
    luiten_angle,
    luiten_points,
    maximum_curvature_height,
    schneider_angle,
    schneider_angle_of_arc,
    secondary_schneider_angle,
    weine_angle,
    weine_angle_from_chords,
)
from curvometer.curvature.form import (
    CanalForm,
    EstrelaClass,
    SchneiderClass,
    canal_form,
    canal_length,
    estrela_class,
    mean_curvature,
    net_turning,
    schneider_class,
    total_turning,
)
from curvometer.curvature.landmarks import CanalTooShortError, DegenerateLandmarksError, PointsError
from curvometer.curvature.radii import (
    TANGENT_MISMATCH_LIMIT,
    TightestPlace,
    chord_curve_length,
    chord_radius,
    minimum_radius,
    pruett_angle,
    pruett_radius,
    pruett_radius_from_points,
    pruett_tangent_lengths,
    radius_quotient,
    tangent_mismatch,
    three_point_landmarks,
    three_point_radius,
)

__all__ = [
    "TANGENT_MISMATCH_LIMIT",
    "CanalForm",
    "CanalTooShortError",
    "DegenerateLandmarksError",
    "EstrelaClass",
    "PointsError",
    "SchneiderClass",
    "TightestPlace",
    "canal_access_angle",
    "canal_form",
    "canal_length",
    "chord_curve_length",
    "chord_radius",
    "coronal_axis",
    "curvature_distance",
    "curvature_height",
    "estrela_class",
    "long_axis_angle",
    "luiten_angle",
    "luiten_points",
    "maximum_curvature_height",
    "mean_curvature",
    "minimum_radius",
    "net_turning",
    "pruett_angle",
    "pruett_radius",
    "pruett_radius_from_points",
    "pruett_tangent_lengths",
    "radius_quotient",
    "schneider_angle",
    "schneider_angle_of_arc",
    "schneider_class",
    "secondary_schneider_angle",
    "tangent_mismatch",
    "three_point_landmarks",
    "three_point_radius",
    "total_turning",
    "weine_angle",
    "weine_angle_from_chords",
]
