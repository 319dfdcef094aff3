"""Where the comparisons come from, and how each source was read."""

from __future__ import annotations

from curvometer.bibliography import SHAPLEY_1953, HowRead, Reference

ALT_GODAU_1995 = Reference(
    key="alt-godau-1995",
    citation="Alt H, Godau M. Computing the Fréchet distance between two polygonal curves."
    " Int J Comput Geom Appl 1995;5:75-91",
    how_read=HowRead.MEMORY,
    note="Definition. The limits used here are derived in docs/comparison.md.",
)
EITER_MANNILA_1994 = Reference(
    key="eiter-mannila-1994",
    citation="Eiter T, Mannila H. Computing discrete Fréchet distance. Technical Report CD-TR 94/64,"
    " Technische Universität Wien; 1994",
    how_read=HowRead.MEMORY,
    note="Recurrence, and its error below the longest piece; held against two independent programs.",
)
GAMBILL_1996 = Reference(
    key="gambill-1996",
    citation="Gambill JM, Alder M, del Rio CE. Comparison of nickel-titanium and stainless steel hand-file"
    " instrumentation using computed tomography. J Endod 1996;22:369-375",
    how_read=HowRead.SECONDARY,
    note="Both formulas read in a presentation that restates them; the citation is from memory. That the ratio is"
    " undefined where nothing was removed is derived.",
)
CALHOUN_MONTGOMERY_1988 = Reference(
    key="calhoun-montgomery-1988",
    citation="Calhoun G, Montgomery S. The effects of four instrumentation techniques on root canal shape."
    " J Endod 1988;14:273-277",
    how_read=HowRead.MEMORY,
)
FIDLER_2021 = Reference(
    key="fidler-2021",
    citation="Fidler A. Review of methods for the assessment of canal transportation. J Endod 2021;47:721",
    how_read=HowRead.ABSTRACT,
    note="74 methods; prefers the shift of the centre. That removed material is twice that shift is derived too.",
)
COMPARISON_REFERENCES = (
    ALT_GODAU_1995,
    EITER_MANNILA_1994,
    SHAPLEY_1953,
    GAMBILL_1996,
    CALHOUN_MONTGOMERY_1988,
    FIDLER_2021,
)
"""Every source of this package, for the bibliography."""
