"""Where a formula, a threshold or a plan comes from, and how that source was read.

A number in this package is worth what its source is worth, so every constant cites a `Reference`, and every
`Reference` says whether somebody read the source itself, its abstract, another text about it, or remembered
it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class HowRead(StrEnum):
    """How a source was read before it was relied on."""

    SOURCE = "source read"
    ABSTRACT = "abstract read"
    SECONDARY = "read in a secondary source"
    MEMORY = "from memory"
    DERIVED = "derived here"
    COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True, kw_only=True)
class Reference:
    """One source.

    Attributes
    ----------
    key
        Short key used in docs and JSON, for example ``"schneider-1971"``.
    citation
        Authors, year, journal or standard, pages.
    how_read
        How it was read before it was relied on.
    note
        What was taken from it, where that needs saying.
    """

    key: str
    citation: str
    how_read: HowRead
    note: str = ""


# --- How canals are measured -------------------------------------------------------------------------------

SCHNEIDER_1971 = Reference(
    key="schneider-1971",
    citation="Schneider SW. A comparison of canal preparations in straight and curved root canals."
    " Oral Surg Oral Med Oral Pathol 1971;32:271-275",
    how_read=HowRead.SECONDARY,
    note="First page read (29 single-rooted teeth). The construction and the classes (straight up to 5,"
    " moderate"
    " 10 to 20, severe 25 to 70 degrees) come from later papers and a textbook that restate them.",
)
WEINE_1982 = Reference(
    key="weine-1982",
    citation="Weine FS. Endodontic Therapy, 3rd edition. St. Louis: Mosby; 1982",
    how_read=HowRead.MEMORY,
    note="The construction is from memory. That trouble is to be expected above 30 degrees is cited on"
    " the first"
    " page of Günday 2005.",
)
CUNNINGHAM_SENIA_1992 = Reference(
    key="cunningham-senia-1992",
    citation="Cunningham CJ, Senia ES. A three-dimensional study of canal curvatures in the mesial roots of"
    " mandibular molars. J Endod 1992;18:294-300",
    how_read=HowRead.ABSTRACT,
    note="First page read: two views, secondary curvature in the opposite direction. How the secondary"
    " angle is"
    " drawn was not read; the reading used here is derived.",
)
BACKMAN_1992 = Reference(
    key="backman-1992",
    citation="Backman CA, Oswald RJ, Pitts DL. A radiographic comparison of two root canal instrumentation"
    " techniques. J Endod 1992;18:19-24",
    how_read=HowRead.MEMORY,
    note="Quotient of angle and radius. Which angle is not settled by what could be read.",
)
LUITEN_1995 = Reference(
    key="luiten-1995",
    citation="Luiten DJ, Morgan LA, Baumgartner JC, Marshall JG. A comparison of four instrumentation"
    " techniques"
    " on apical canal transportation. J Endod 1995;21:26-32",
    how_read=HowRead.MEMORY,
    note="Four points: orifice, 2 mm below it, 1 mm short of the foramen, foramen. Some reviews misprint"
    " the name.",
)
DOBO_NAGY_1995 = Reference(
    key="dobo-nagy-1995",
    citation="Dobó-Nagy C, Szabó J, Szabó J. A mathematically based classification of root canal curvatures"
    " on"
    " natural human teeth. J Endod 1995;21:557-560",
    how_read=HowRead.ABSTRACT,
    note="433 roots, seven points of the axis, fourth-degree polynomial, forms I, J, C, S. No numeric"
    " limits are"
    " given in the abstracts of 1995 and 2002 (Fogorv Sz 95:55-58).",
)
HANKINS_ELDEEB_1996 = Reference(
    key="hankins-eldeeb-1996",
    citation="Hankins PJ, ElDeeb ME. An evaluation of the canal master, balanced-force, and step-back"
    " techniques."
    " J Endod 1996;22:123-130",
    how_read=HowRead.MEMORY,
    note="Long-axis technique: angle between the long axes of the coronal and the apical part.",
)
PRUETT_1997 = Reference(
    key="pruett-1997",
    citation="Pruett JP, Clement DJ, Carnes DL. Cyclic fatigue testing of nickel-titanium endodontic"
    " instruments."
    " J Endod 1997;23:77-85",
    how_read=HowRead.ABSTRACT,
    note="Abstract: angle and abruptness together; guide tubes of 30, 45, 60 degrees and 2, 5 mm. The"
    " construction"
    " of the circle is from memory.",
)
SCHAEFER_2002 = Reference(
    key="schaefer-2002",
    citation="Schäfer E, Diez C, Hoppe W, Tepel J. Roentgenographic investigation of frequency and degree of"
    " canal"
    " curvatures in human permanent teeth. J Endod 2002;28:211-216",
    how_read=HowRead.ABSTRACT,
    note="Abstract: 1163 canals; angle, radius and length together. The formula r = BC / (2 sin S) is"
    " from memory.",
)
GUNDAY_2005 = Reference(
    key="gunday-2005",
    citation="Günday M, Sazak H, Garip Y. A comparative study of three different root canal curvature"
    " measurement"
    " techniques and measuring the canal access angle in curved canals. J Endod 2005;31:796-798",
    how_read=HowRead.ABSTRACT,
    note="Abstract and first page: Schneider, Weine and long-axis compared; canal access angle, curvature"
    " height x,"
    " curvature distance y. From where y is measured is from memory.",
)
SONNTAG_2006 = Reference(
    key="sonntag-2006",
    citation="Sonntag D, Stachniss-Carp S, Stachniss C, Stachniss V. Determination of root canal curvatures"
    " before"
    " and after canal preparation (part II): a method based on numeric calculus. Aust Endod J"
    " 2006;32:16-25",
    how_read=HowRead.ABSTRACT,
    note="Maximum and mean curvature, and the distance of the maximum from the apical foramen along the"
    " canal.",
)
ESTRELA_2008 = Reference(
    key="estrela-2008",
    citation="Estrela C, Bueno MR, Sousa-Neto MD, Pécora JD. Method for determination of root curvature"
    " radius using"
    " cone-beam computed tomography images. Braz Dent J 2008;19:114-118",
    how_read=HowRead.ABSTRACT,
    note="Abstract: circumcentre of three points. The 6 mm segments and the classes 4 and 8 mm are from"
    " memory.",
)
SADEGHI_PORYOUSEF_2009 = Reference(
    key="sadeghi-poryousef-2009",
    citation="Sadeghi S, Poryousef V. A novel approach in assessment of root canal curvature."
    " Iran Endod J 2009;4:131-134",
    how_read=HowRead.ABSTRACT,
    note="135 mesial canals of mandibular molars: Schneider angle 19 +- 6.99, canal access angle 8.04 +-"
    " 3.46.",
)
GIALAIN_2021 = Reference(
    key="gialain-2021",
    citation="Gialain IO, Yanaguizawa WH, Fontana CE, Caldeira CL, Cavalcanti MGP. Using point coordinates to"
    " measure"
    " root canal curvature in periapical radiograph and CBCT images using free software."
    " Annual meeting of the SBPqO 2021, abstract HA015",
    how_read=HowRead.ABSTRACT,
    note="Turning added up over points 1 mm apart: mean 56.72 degrees where Schneider's angle is 34.62.",
)
DICOM_PS3_3_10_7 = Reference(
    key="dicom-ps3.3-10.7",
    citation="DICOM PS3.3, section 10.7 Basic Pixel Spacing Calibration Macro, edition 2024d. NEMA",
    how_read=HowRead.SOURCE,
    note="Row spacing first; FIDUCIAL and GEOMETRY calibration.",
)

# --- Mathematics -------------------------------------------------------------------------------------------

KARIMAKI_1991 = Reference(
    key="karimaki-1991",
    citation="Karimäki V. Effective circle fitting for particle trajectories."
    " Nucl Instrum Methods Phys Res A 1991;305:187-191",
    how_read=HowRead.MEMORY,
    note="Circle by curvature, direction and offset, which stays regular when the circle becomes a line.",
)
EILERS_MARX_1996 = Reference(
    key="eilers-marx-1996",
    citation="Eilers PHC, Marx BD. Flexible smoothing with B-splines and penalties. Stat Sci 1996;11:89-121",
    how_read=HowRead.MEMORY,
    note="Smoothing spline with a difference penalty on B-spline coefficients.",
)
WAHBA_1983 = Reference(
    key="wahba-1983",
    citation="Wahba G. Bayesian confidence intervals for the cross-validated smoothing spline."
    " J R Stat Soc B 1983;45:133-150",
    how_read=HowRead.MEMORY,
    note="The posterior variance of a smoothing spline covers its bias on average along the curve.",
)

REFERENCES: dict[str, Reference] = {
    reference.key: reference
    for reference in (
        SCHNEIDER_1971,
        WEINE_1982,
        CUNNINGHAM_SENIA_1992,
        BACKMAN_1992,
        LUITEN_1995,
        DOBO_NAGY_1995,
        HANKINS_ELDEEB_1996,
        PRUETT_1997,
        SCHAEFER_2002,
        GUNDAY_2005,
        SONNTAG_2006,
        ESTRELA_2008,
        SADEGHI_PORYOUSEF_2009,
        GIALAIN_2021,
        DICOM_PS3_3_10_7,
        KARIMAKI_1991,
        EILERS_MARX_1996,
        WAHBA_1983,
    )
}
"""Every reference of this module by its key."""
