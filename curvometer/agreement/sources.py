"""Where the examiner statistics and their readings come from, and how each source was read."""

from __future__ import annotations

from curvometer.bibliography import SHAPLEY_1953, HowRead, Reference

SHROUT_FLEISS_1979 = Reference(
    key="shrout-fleiss-1979",
    citation="Shrout PE, Fleiss JL. Intraclass correlations: uses in assessing rater reliability."
    " Psychol Bull 1979;86:420-428",
    how_read=HowRead.SECONDARY,
    note="Table 2 read in two public repositories that reproduce it; formulas and rounded results from memory,"
    " the formulas derived in docs/agreement.md and held against an independent program.",
)
BLAND_ALTMAN_1986 = Reference(
    key="bland-altman-1986",
    citation="Bland JM, Altman DG. Statistical methods for assessing agreement between two methods of clinical"
    " measurement. Lancet 1986;1:307-310",
    how_read=HowRead.SECONDARY,
    note="Table 1 read in two public repositories that reproduce it; printed limits (2 SD) from memory.",
)
BLAND_ALTMAN_1999 = Reference(
    key="bland-altman-1999",
    citation="Bland JM, Altman DG. Measuring agreement in method comparison studies."
    " Stat Methods Med Res 1999;8:135-160",
    how_read=HowRead.MEMORY,
    note="1.96 SD, and the standard error of a limit; derived in docs/agreement.md.",
)
DAHLBERG_1940 = Reference(
    key="dahlberg-1940",
    citation="Dahlberg G. Statistical Methods for Medical and Biological Students."
    " London: Allen and Unwin; 1940",
    how_read=HowRead.SECONDARY,
    note="Formula read in Galvão MCS et al., Dental Press J Orthod 2012.",
)
LIN_1989 = Reference(
    key="lin-1989",
    citation="Lin LI. A concordance correlation coefficient to evaluate reproducibility."
    " Biometrics 1989;45:255-268; corrected 2000;56:324-325",
    how_read=HowRead.MEMORY,
    note="Divisor n; standard error with the correction of 2000, held against a numerical derivation.",
)
COHEN_1960 = Reference(
    key="cohen-1960",
    citation="Cohen J. A coefficient of agreement for nominal scales. Educ Psychol Meas 1960;20:37-46",
    how_read=HowRead.MEMORY,
)
COHEN_1968 = Reference(
    key="cohen-1968",
    citation="Cohen J. Weighted kappa: nominal scale agreement with provision for scaled disagreement or"
    " partial credit. Psychol Bull 1968;70:213-220",
    how_read=HowRead.SECONDARY,
    note="Table 1: categories, weights and N read in a public vignette that reproduces it; the proportions from"
    " memory, they give the published kappas.",
)
FLEISS_1969 = Reference(
    key="fleiss-cohen-everitt-1969",
    citation="Fleiss JL, Cohen J, Everitt BS. Large sample standard errors of kappa and weighted kappa."
    " Psychol Bull 1969;72:323-327",
    how_read=HowRead.MEMORY,
    note="Held against a numerical derivation (delta method).",
)
FLEISS_1971 = Reference(
    key="fleiss-1971",
    citation="Fleiss JL. Measuring nominal scale agreement among many raters. Psychol Bull 1971;76:378-382",
    how_read=HowRead.MEMORY,
)
MAMMOGRAMS = Reference(
    key="altman-mammograms",
    citation="Two readers' grades of 85 mammograms, in: Altman DG. Practical Statistics for Medical Research."
    " London: Chapman and Hall; 1991, and the kappa entry of a statistics program's manual",
    how_read=HowRead.MEMORY,
    note="Table and printed kappas from memory; the long digits are derived.",
)
LANDIS_KOCH_1977 = Reference(
    key="landis-koch-1977",
    citation="Landis JR, Koch GG. The measurement of observer agreement for categorical data."
    " Biometrics 1977;33:159-174",
    how_read=HowRead.MEMORY,
    note="Words for kappa.",
)
KOO_LI_2016 = Reference(
    key="koo-li-2016",
    citation="Koo TK, Li MY. A guideline of selecting and reporting intraclass correlation coefficients for"
    " reliability research. J Chiropr Med 2016;15:155-163",
    how_read=HowRead.MEMORY,
    note="Words for the ICC.",
)
MCBRIDE_2005 = Reference(
    key="mcbride-2005",
    citation="McBride GB. A proposal for strength-of-agreement criteria for Lin's concordance correlation"
    " coefficient. NIWA Client Report HAM2005-062; 2005",
    how_read=HowRead.MEMORY,
    note="Words for the concordance.",
)
AGREEMENT_REFERENCES = (
    SHROUT_FLEISS_1979,
    BLAND_ALTMAN_1986,
    BLAND_ALTMAN_1999,
    DAHLBERG_1940,
    LIN_1989,
    COHEN_1960,
    COHEN_1968,
    FLEISS_1969,
    FLEISS_1971,
    MAMMOGRAMS,
    LANDIS_KOCH_1977,
    KOO_LI_2016,
    MCBRIDE_2005,
    SHAPLEY_1953,
)
"""Every source of this package, for the bibliography."""
