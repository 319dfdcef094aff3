"""The built-in recommenders of instrument sequences: by the decision table, and by hand files only.

Pure functions: a request in, a plan or reasons out. They import what `curvometer` exports and nothing else, as any other
recommender must.
"""

from curvometer_sequences.by_table import recommend_by_table
from curvometer_sequences.hand_files import recommend_hand_files

__all__ = ["recommend_by_table", "recommend_hand_files"]
