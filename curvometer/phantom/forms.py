"""Forms of teeth: sizes of crowns, roots, pulp chambers and where the canals lie in them.

The tooth frame has its origin in the middle of the cemento-enamel junction: ``x`` to the side (positive =
distal), ``t`` along the tooth's axis (positive = apical), ``z`` along the beam (negative = buccal).
Millimetres. The sizes are rounded averages of tooth-anatomy textbooks (common practice, no single source);
every phantom varies them.
"""

from __future__ import annotations

from dataclasses import dataclass

from curvometer.phantom.shape import CanalShape

Profile = tuple[tuple[float, float], ...]
"""(height above the cemento-enamel junction, value) pairs."""


@dataclass(frozen=True, kw_only=True)
class CanalForm:
    """One canal of a root.

    Attributes
    ----------
    depth_mm
        Position along the beam, from the root's middle.
    offset_mm
        Distance beside the root's first canal at the orifice; it closes to nothing towards the apex.
    width_share
        Width as a share of the first canal's.
    """

    depth_mm: float = 0.0
    offset_mm: float = 0.0
    width_share: float = 1.0


@dataclass(frozen=True, kw_only=True)
class RootForm:
    """One root: where its first canal starts, how it leans, how thick it is.

    Attributes
    ----------
    orifice_x_mm, depth_mm
        Place of the orifice beside the tooth's axis, and of the root along the beam.
    lean_deg
        Angle of the canal's coronal axis against the tooth's axis, positive towards +x.
    bend
        +1 when the canal's first bend goes towards +x, else -1.
    half_width_mm, half_depth_mm
        Half of the root's width and depth at the level of the orifice.
    apical_half_width_mm
        Half-width where the apex begins to round.
    canals
        The canals; the first is the one that a chosen shape replaces.
    shape
        Shape when none is chosen.
    """

    orifice_x_mm: float = 0.0
    depth_mm: float = 0.0
    lean_deg: float = 0.0
    bend: int = 1
    half_width_mm: float
    half_depth_mm: float
    apical_half_width_mm: float = 0.85
    canals: tuple[CanalForm, ...] = (CanalForm(),)
    shape: CanalShape


@dataclass(frozen=True, kw_only=True)
class CrownForm:
    """A crown as a solid: side walls by height, an occlusal surface with cusps, an enamel cap.

    Attributes
    ----------
    half_width, half_depth
        Side walls by height above the cemento-enamel junction.
    base_mm
        Height of the occlusal surface without cusps.
    cusps
        (x, z, height, spread) of each.
    ridge_slope
        How steeply an incisal edge falls to both sides of the tip (canines).
    enamel_side_mm, enamel_top_mm
        Greatest thickness of the enamel at the side and at the top.
    """

    half_width: Profile
    half_depth: Profile
    base_mm: float
    cusps: tuple[tuple[float, float, float, float], ...] = ()
    ridge_slope: float = 0.0
    enamel_side_mm: float = 1.1
    enamel_top_mm: float = 1.6

    @property
    def height_mm(self) -> float:
        """Height of the crown over the cemento-enamel junction."""
        return self.half_width[-1][0]


@dataclass(frozen=True, kw_only=True)
class ChamberForm:
    """The pulp chamber of a tooth with several roots, or the widened canal of a tooth with one.

    Attributes
    ----------
    half_width_mm, half_depth_mm
        Half of its size.
    height_mm
        From the floor (the level of the orifices) to the roof.
    horns_x_mm, horn_mm
        Where the pulp horns stand, and how high.
    """

    half_width_mm: float
    half_depth_mm: float
    height_mm: float
    horns_x_mm: tuple[float, ...] = ()
    horn_mm: float = 1.2


@dataclass(frozen=True, kw_only=True)
class ToothForm:
    """A tooth: crown, pulp chamber, roots (the first holds the canal of the chosen shape).

    Attributes
    ----------
    orifice_t_mm
        Level of the orifices, apically of the cemento-enamel junction.
    furcation_t_mm
        Level of the furcation; None for one root.
    furcation_power
        How abruptly the trunk ends there: large for a furcation seen straight through (lower molars), 1 for
        one that lies behind a root (upper molars).
    upper
        Usual jaw.
    neighbours
        Forms of the neighbours on the -x and +x side.
    """

    crown: CrownForm
    chamber: ChamberForm
    roots: tuple[RootForm, ...]
    orifice_t_mm: float
    furcation_t_mm: float | None = None
    furcation_power: float = 3.0
    upper: bool = False
    neighbours: tuple[str, str]


def _gentle(length_mm: float, angle_deg: float, radius_mm: float) -> CanalShape:
    arc_mm = radius_mm * angle_deg * 0.017453292519943295
    return CanalShape.straight_arc(straight_mm=length_mm - arc_mm, radius_mm=radius_mm, angle_deg=angle_deg)


_MOLAR_SIDE: Profile = ((0.0, 4.5), (1.2, 4.85), (3.0, 5.35), (4.5, 5.55), (6.0, 5.35), (7.6, 4.6))
_LOWER_MOLAR_CROWN = CrownForm(
    half_width=_MOLAR_SIDE,
    half_depth=((0.0, 4.2), (1.5, 4.9), (3.5, 5.1), (5.5, 4.6), (7.6, 3.6)),
    base_mm=5.0,
    cusps=(
        (-2.9, -2.3, 1.9, 1.15),
        (0.9, -2.5, 1.8, 1.15),
        (3.9, -1.4, 1.5, 1.0),
        (-2.7, 2.4, 2.3, 1.2),
        (2.2, 2.4, 2.1, 1.25),
    ),
    enamel_side_mm=1.25,
    enamel_top_mm=1.7,
)
_UPPER_MOLAR_CROWN = CrownForm(
    half_width=((0.0, 4.1), (1.2, 4.5), (3.0, 5.0), (4.5, 5.2), (6.0, 5.0), (7.4, 4.3)),
    half_depth=((0.0, 4.8), (1.5, 5.4), (3.5, 5.5), (5.5, 5.0), (7.4, 4.0)),
    base_mm=4.9,
    cusps=((-2.4, -2.9, 2.1, 1.25), (2.1, -2.9, 1.9, 1.2), (-1.3, 2.4, 2.2, 1.4), (2.6, 2.9, 1.4, 1.0)),
    enamel_side_mm=1.2,
    enamel_top_mm=1.7,
)
_PREMOLAR_CROWN = CrownForm(
    half_width=((0.0, 2.45), (1.2, 2.75), (3.5, 3.4), (5.0, 3.5), (6.5, 3.1), (8.3, 2.3)),
    half_depth=((0.0, 3.6), (2.0, 4.1), (4.5, 4.2), (6.5, 3.6), (8.3, 2.6)),
    base_mm=5.4,
    cusps=((-0.1, -1.9, 2.8, 1.35), (0.1, 2.1, 1.7, 1.1)),
    enamel_side_mm=1.05,
    enamel_top_mm=1.6,
)
_CANINE_CROWN = CrownForm(
    half_width=((0.0, 2.7), (1.5, 3.0), (4.5, 3.7), (6.5, 3.9), (8.5, 3.4), (10.3, 2.6)),
    half_depth=((0.0, 3.6), (2.5, 3.7), (5.5, 2.8), (8.5, 1.6), (10.3, 0.9)),
    base_mm=10.1,
    ridge_slope=0.62,
    enamel_side_mm=0.9,
    enamel_top_mm=1.3,
)
_INCISOR_CROWN = CrownForm(
    half_width=((0.0, 3.05), (1.5, 3.3), (4.0, 3.85), (7.0, 4.2), (9.0, 4.25), (10.3, 4.0)),
    half_depth=((0.0, 3.1), (2.5, 3.0), (5.5, 2.0), (8.5, 1.1), (10.3, 0.6)),
    base_mm=10.2,
    ridge_slope=0.03,
    enamel_side_mm=0.85,
    enamel_top_mm=1.2,
)
_LATERAL_CROWN = CrownForm(
    half_width=((0.0, 2.25), (1.5, 2.5), (4.0, 3.0), (6.5, 3.3), (8.3, 3.3), (9.4, 2.9)),
    half_depth=((0.0, 2.8), (2.5, 2.7), (5.0, 1.9), (7.8, 1.0), (9.4, 0.6)),
    base_mm=9.3,
    ridge_slope=0.10,
    enamel_side_mm=0.8,
    enamel_top_mm=1.1,
)

TOOTH_FORMS: dict[str, ToothForm] = {
    "lower_molar": ToothForm(
        crown=_LOWER_MOLAR_CROWN,
        chamber=ChamberForm(half_width_mm=3.0, half_depth_mm=1.9, height_mm=2.6, horns_x_mm=(-2.3, 2.0)),
        roots=(
            RootForm(
                orifice_x_mm=-2.4,
                lean_deg=-10.0,
                bend=1,
                half_width_mm=1.95,
                half_depth_mm=3.7,
                canals=(CanalForm(depth_mm=-1.3), CanalForm(depth_mm=1.3, offset_mm=0.55, width_share=0.9)),
                shape=_gentle(11.5, 26.0, 11.0),
            ),
            RootForm(
                orifice_x_mm=2.35,
                lean_deg=8.0,
                bend=-1,
                half_width_mm=1.95,
                half_depth_mm=3.2,
                canals=(CanalForm(width_share=1.35),),
                shape=_gentle(11.0, 12.0, 18.0),
            ),
        ),
        orifice_t_mm=2.4,
        furcation_t_mm=3.7,
        neighbours=("lower_premolar", "lower_molar"),
    ),
    "upper_molar": ToothForm(
        crown=_UPPER_MOLAR_CROWN,
        chamber=ChamberForm(half_width_mm=2.7, half_depth_mm=2.2, height_mm=2.7, horns_x_mm=(-2.0, 1.8)),
        roots=(
            RootForm(
                orifice_x_mm=-2.15,
                depth_mm=-2.6,
                lean_deg=-9.0,
                bend=1,
                half_width_mm=1.75,
                half_depth_mm=2.4,
                canals=(CanalForm(), CanalForm(depth_mm=1.2, offset_mm=0.4, width_share=0.6)),
                shape=_gentle(11.0, 26.0, 10.0),
            ),
            RootForm(
                orifice_x_mm=2.1,
                depth_mm=-2.3,
                lean_deg=11.0,
                bend=-1,
                half_width_mm=1.45,
                half_depth_mm=1.6,
                apical_half_width_mm=0.7,
                shape=_gentle(10.4, 10.0, 18.0),
            ),
            RootForm(
                orifice_x_mm=0.3,
                depth_mm=3.0,
                lean_deg=2.0,
                bend=1,
                half_width_mm=2.7,
                half_depth_mm=1.7,
                apical_half_width_mm=1.0,
                canals=(CanalForm(width_share=1.3),),
                shape=_gentle(12.0, 6.0, 25.0),
            ),
        ),
        orifice_t_mm=2.3,
        furcation_t_mm=5.2,
        furcation_power=1.2,
        upper=True,
        neighbours=("upper_premolar", "upper_molar"),
    ),
    "lower_premolar": ToothForm(
        crown=_PREMOLAR_CROWN,
        chamber=ChamberForm(half_width_mm=0.65, half_depth_mm=1.4, height_mm=6.2),
        roots=(RootForm(half_width_mm=2.3, half_depth_mm=3.3, shape=_gentle(13.0, 9.0, 18.0)),),
        orifice_t_mm=2.2,
        neighbours=("canine", "lower_premolar"),
    ),
    "upper_premolar": ToothForm(
        crown=_PREMOLAR_CROWN,
        chamber=ChamberForm(half_width_mm=0.65, half_depth_mm=1.7, height_mm=6.0),
        roots=(
            RootForm(
                half_width_mm=2.25,
                half_depth_mm=3.9,
                canals=(CanalForm(depth_mm=-1.4), CanalForm(depth_mm=1.4, offset_mm=0.3, width_share=0.9)),
                shape=_gentle(12.5, 9.0, 18.0),
            ),
        ),
        orifice_t_mm=2.2,
        upper=True,
        neighbours=("canine", "upper_premolar"),
    ),
    "canine": ToothForm(
        crown=_CANINE_CROWN,
        chamber=ChamberForm(half_width_mm=0.75, half_depth_mm=1.2, height_mm=8.0),
        roots=(RootForm(half_width_mm=2.6, half_depth_mm=3.5, shape=_gentle(15.5, 8.0, 20.0)),),
        orifice_t_mm=2.0,
        upper=True,
        neighbours=("lateral_incisor", "upper_premolar"),
    ),
    "incisor": ToothForm(
        crown=_INCISOR_CROWN,
        chamber=ChamberForm(half_width_mm=1.05, half_depth_mm=0.85, height_mm=8.2),
        roots=(RootForm(half_width_mm=2.85, half_depth_mm=3.0, shape=_gentle(12.5, 5.0, 20.0)),),
        orifice_t_mm=2.0,
        upper=True,
        neighbours=("incisor", "lateral_incisor"),
    ),
    "lateral_incisor": ToothForm(
        crown=_LATERAL_CROWN,
        chamber=ChamberForm(half_width_mm=0.8, half_depth_mm=0.75, height_mm=7.4),
        roots=(RootForm(half_width_mm=2.1, half_depth_mm=2.7, shape=_gentle(12.5, 10.0, 15.0)),),
        orifice_t_mm=2.0,
        upper=True,
        neighbours=("incisor", "canine"),
    ),
}
