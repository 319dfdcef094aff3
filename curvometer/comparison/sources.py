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
COMPARISON_REFERENCES = (ALT_GODAU_1995, EITER_MANNILA_1994, SHAPLEY_1953)
"""Every source of this package, for the bibliography."""
