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
SHAPLEY_1953 = Reference(
    key="shapley-1953",
    citation="Shapley LS. A value for n-person games. In: Contributions to the Theory of Games II."
    " Princeton University Press; 1953:307-317",
    how_read=HowRead.MEMORY,
    note="The division of a difference into parts that does not depend on their order.",
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
WAHBA_1983 = Reference(
    key="wahba-1983",
    citation="Wahba G. Bayesian confidence intervals for the cross-validated smoothing spline."
    " J R Stat Soc B 1983;45:133-150",
    how_read=HowRead.MEMORY,
    note="The posterior variance of a smoothing spline covers its bias on average along the curve.",
)

# --- Instruments and mechanics -----------------------------------------------------------------------------

ISO_3630_1 = Reference(
    key="iso-3630-1",
    citation="ISO 3630-1, Dentistry - Endodontic instruments - Part 1: General requirements",
    how_read=HowRead.MEMORY,
    note="Sizes, colours, lengths, tolerances, least torque and greatest bending moment of K-files. Of the draft of"
    " 2026 only the page of contents was read (five classes of taper). Check the edition in force.",
)
KIM_2014 = Reference(
    key="kim-2014",
    citation="Kim et al. Measured diameters of rotary files. Restor Dent Endod 2014;39:7",
    how_read=HowRead.ABSTRACT,
    note="Five of six groups of size 25, taper .04 and .06, differed from their nominal diameters.",
)
BAHIA_BUONO_2005 = Reference(
    key="bahia-buono-2005",
    citation="Bahia MGA, Buono VTL, 2005: strain of an instrument in a bend from the radius of the outer wall",
    how_read=HowRead.MEMORY,
    note="D / (2R - D).",
)
CHEUNG_DARVELL_2007 = Reference(
    key="cheung-darvell-2007",
    citation="Cheung GSP, Darvell BW. Int Endod J 2007, doi 10.1111/j.1365-2591.2007.01257.x",
    how_read=HowRead.ABSTRACT,
    note="Strain against cycles to fracture is a straight line on double logarithmic paper; 286 files of four"
    " designs in water. Exponent -0.40 read, -0.56 from memory.",
)
HULSMANN_2019 = Reference(
    key="hulsmann-2019",
    citation="Hülsmann M, Donnermeyer D, Schäfer E. Int Endod J 2019;52:1427",
    how_read=HowRead.ABSTRACT,
    note="Scatter of fatigue tests: SD up to 30 % within a laboratory, a factor of about 123 between the lowest and"
    " the highest value published for one path-finding instrument, temperature about 500 %.",
)
TEST_METHODS_2020 = Reference(
    key="fatigue-test-methods-2020",
    citation="One instrument in several fatigue test devices, J Endod, about 2020; authors and pages not recorded",
    how_read=HowRead.ABSTRACT,
    note="Five mean times, 44 to 130 s, read. Speed (300 rpm), canal (86 degrees, 6 mm) and file are from memory.",
)
MINER_1945 = Reference(
    key="miner-1945",
    citation="Miner MA. Cumulative damage in fatigue. J Appl Mech 1945;12:A159-A164",
    how_read=HowRead.MEMORY,
    note="Shares of life are added.",
)
KITCHENS_2007 = Reference(
    key="kitchens-2007",
    citation="Kitchens GG et al. J Endod 2007;33:52",
    how_read=HowRead.ABSTRACT,
    note="350 and 600 rpm, size 25: rotations to fracture do not depend on speed; .06 fails before .04; more angle,"
    " fewer rotations.",
)
LOPES_2013 = Reference(
    key="lopes-2013",
    citation="Lopes HP et al., 2013: place of the curve along the canal and fatigue",
    how_read=HowRead.ABSTRACT,
    note="The same curve costs more life in the middle of the canal than near the apex.",
)
SHEN_2011 = Reference(
    key="shen-2011",
    citation="Shen Y et al., 2011: fatigue of instruments of heat-treated alloy",
    how_read=HowRead.ABSTRACT,
    note="Heat-treated over conventional alloy 3 to 8 times as many cycles, size 25, taper .04.",
)
COLD_FATIGUE_2017 = Reference(
    key="cold-fatigue-2017",
    citation="PMID 28476464, 2017: fatigue life at -20 and +20 degrees Celsius",
    how_read=HowRead.ABSTRACT,
    note="274 to 854 % more life in the cold.",
)
USED_FILES_2021 = Reference(
    key="used-files-2021",
    citation="J Health Sci Med 2021;4:176: fatigue of instruments after clinical use",
    how_read=HowRead.ABSTRACT,
    note="After one lower molar with three canals the life that remains is lower.",
)
OHRI_TORSION = Reference(
    key="ohri-torsional-fatigue",
    citation="Ohri, Chien, Peters: torsional fatigue of rotary instruments; year and pages not recorded",
    how_read=HowRead.ABSTRACT,
    note="192 to 841 cycles at 90 % of the torsional strength.",
)
BARDSLEY_2011 = Reference(
    key="bardsley-2011",
    citation="Bardsley S et al. J Endod 2011: speed, torque and apical force",
    how_read=HowRead.ABSTRACT,
    note="From 200 to 400 rpm torque falls by 32 % and force by 48 %; no further gain at 600.",
)
OWN_STRAIN_LIFE = Reference(
    key="own-strain-life",
    citation="The strain-life line (0.79 / strain) squared, its range, a third of it as design life, and the limits"
    " 25 and 50 % are this program's own defaults",
    how_read=HowRead.COMMON_PRACTICE,
    note="Anchor from memory: about 250 cycles at 5 % strain.",
)
BEAM_THEORY = Reference(
    key="beam-theory",
    citation="Euler's column, bending and torsion of slender rods, as in any textbook of strength of materials",
    how_read=HowRead.DERIVED,
    note="Formulas derived in the documentation; elastic moduli and strengths are from memory.",
)

# --- How difficult a case is -------------------------------------------------------------------------------

AAE_2022 = Reference(
    key="aae-2022",
    citation="American Association of Endodontists. AAE Endodontic Case Difficulty Assessment Form and"
    " Guidelines. Chicago: AAE; 2022",
    how_read=HowRead.SOURCE,
    note="First page of the form read: the three levels and how factors add up (one or two moderate factors:"
    " moderate; three, or one high: high). The easiest limits (below 10 degrees, apex below 1 mm) were read in"
    " a summary of the form, the other limits are from memory.",
)
AAE_2010 = Reference(
    key="aae-2010",
    citation="American Association of Endodontists. AAE Endodontic Case Difficulty Assessment Form and"
    " Guidelines. Chicago: AAE; 2010 (first in 2005)",
    how_read=HowRead.MEMORY,
    note="The older wording: minimal, moderate, high difficulty, with the same limits of curvature.",
)
RCS_2001 = Reference(
    key="rcs-2001",
    citation="Clinical Effectiveness Committee, Faculty of Dental Surgery, The Royal College of Surgeons of"
    " England. Restorative Dentistry: Index of Treatment Need. Complexity Assessment. London; 2001",
    how_read=HowRead.MEMORY,
    note="Introduction read: three codes, the highest counts, a modifying factor raises by one and modifying"
    " factors do not add up. The table of root canal treatment (15 and 40 degrees) is from memory.",
)
LONG_2022 = Reference(
    key="long-2022",
    citation="Long R, Dutta A, Thomas MB, Vianna ME. Case complexity of root canal treatments accepted for"
    " training in a secondary care setting assessed by three complexity grading systems. Int Endod J"
    " 2022;55 (doi 10.1111/iej.13815)",
    how_read=HowRead.ABSTRACT,
    note="200 accepted cases: highest level in 99.5 % by the American form, 65.5 % by the English index,"
    " 55.5 % by the English commissioning standard. The wording of the title is from memory.",
)
MB_CURVATURE_2024 = Reference(
    key="mb-curvature-2024",
    citation="Assessment of mesiobuccal root canal curvature in maxillary molars of Egyptian population:"
    " a standardized CBCT-based radiographic protocol. Ain Shams Dent J, 192 scans",
    how_read=HowRead.ABSTRACT,
    note="Uses Schneider's angle with the American form and calls 10 to 30 degrees moderate: 69.3 and 66.7 %"
    " of the canals.",
)
IEJ_2025_RADIUS = Reference(
    key="iej-2025-radius",
    citation="Comparison of curvature severity between sagittal and coronal planes of mesial canals in permanent"
    " mandibular first molars. Int Endod J 2025 (doi 10.1111/iej.70072)",
    how_read=HowRead.ABSTRACT,
    note="400 canals: a radius added to the criteria generally moves cases to a harder class; 30 degrees and"
    " more counted as severe.",
)
HAUG_2023 = Reference(
    key="haug-2023",
    citation="Haug SR, Siukosaari P, Furuholm J, Brundin M. An evaluation of case difficulty, operator abilities,"
    " when and how to refer. Nor Tannlegeforen Tid 2023",
    how_read=HowRead.ABSTRACT,
    note="Headlines: tooth and dental practitioner are both placed in categories A to D; refer early.",
)
COMPOSITE_RULE = Reference(
    key="curvometer-composite",
    citation="curvometer's own composite of angle, radius, S-shape, visibility and place of the curve",
    how_read=HowRead.COMMON_PRACTICE,
    note="Not published anywhere: limits of the American form and of Estrela put together, the hardest counts.",
)
OPERATOR_RULE = Reference(
    key="operator-category",
    citation="Which difficulty suits which operator: student, general, enhanced skills, specialist",
    how_read=HowRead.COMMON_PRACTICE,
    note="The American form says in words whom each level may challenge; the table is common practice.",
)
READING_ERROR = Reference(
    key="reading-error",
    citation="An angle read by hand is good to about 5 degrees, a radius to about 1 mm",
    how_read=HowRead.COMMON_PRACTICE,
    note="Used only for a number that is typed in without its interval.",
)

# --- Instrument sequences ------------------------------------------------------------------------------------

AJINA_2022 = Reference(
    key="ajina-2022",
    citation="Ajina et al. Glide path preparation: review of 32 studies. Eur Endod J 2022",
    how_read=HowRead.ABSTRACT,
    note="A glide path is a smooth tunnel from orifice to terminus, at least a loose size 10; made by a motor the"
    " anatomy is kept as well or better than by hand.",
)
HA_PARK_2012 = Reference(
    key="ha-park-2012",
    citation="Ha, Park. Restor Dent Endod 2012;37:215",
    how_read=HowRead.ABSTRACT,
    note="Torque and screw-in of the next instrument fall as the glide path grows from size 13 to 20.",
)
PLOTINO_2020 = Reference(
    key="plotino-2020",
    citation="Plotino et al., 2020: review of glide path and preflaring",
    how_read=HowRead.ABSTRACT,
    note="Preflaring before the length is fixed makes the length more accurate; the terms are not agreed upon.",
)
MARTIN_2003 = Reference(
    key="martin-2003",
    citation="Martín et al. Int Endod J 2003;36:262",
    how_read=HowRead.ABSTRACT,
    note="22 fractures in 240 canals, all in canals above 30 degrees; more at 350 than at 250 rpm.",
)
IQBAL_2006 = Reference(
    key="iqbal-2006",
    citation="Iqbal MK, Kohli MR, Kim JS. J Endod 2006",
    how_read=HowRead.ABSTRACT,
    note="4865 cases: 0.25 % of hand and 1.68 % of rotary instruments separated, most in the apical third.",
)
SEQUENCE_PRACTICE = Reference(
    key="sequence-practice",
    citation="Safety rules for rotary instruments of small sizes: hand file first, hand file between, small taper in"
    " sharp curves, distance of a preflare from the curve, single use",
    how_read=HowRead.COMMON_PRACTICE,
    note="No study fixes these limits; they are the cautious reading of what is taught.",
)
SEQUENCE_TABLE = Reference(
    key="sequence-table",
    citation="curvometer's own decision table of instrument sequences, rows R01 to R18",
    how_read=HowRead.COMMON_PRACTICE,
    note="A proposal, checked for contradictions, not for clinical outcome. Rows R05 and R07 are common practice too.",
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
        SHAPLEY_1953,
        DICOM_PS3_3_10_7,
        KARIMAKI_1991,
        WAHBA_1983,
        ISO_3630_1,
        KIM_2014,
        BAHIA_BUONO_2005,
        CHEUNG_DARVELL_2007,
        HULSMANN_2019,
        TEST_METHODS_2020,
        MINER_1945,
        KITCHENS_2007,
        LOPES_2013,
        SHEN_2011,
        COLD_FATIGUE_2017,
        USED_FILES_2021,
        OHRI_TORSION,
        BARDSLEY_2011,
        OWN_STRAIN_LIFE,
        BEAM_THEORY,
        AAE_2022,
        AAE_2010,
        RCS_2001,
        LONG_2022,
        MB_CURVATURE_2024,
        IEJ_2025_RADIUS,
        HAUG_2023,
        COMPOSITE_RULE,
        OPERATOR_RULE,
        READING_ERROR,
        AJINA_2022,
        HA_PARK_2012,
        PLOTINO_2020,
        MARTIN_2003,
        IQBAL_2006,
        SEQUENCE_PRACTICE,
        SEQUENCE_TABLE,
    )
}
"""Every reference of this module by its key."""
