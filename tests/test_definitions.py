"""What a person is told about a quantity: one row for each, with a source that says how it was read."""

from __future__ import annotations

import pytest

from curvometer import QUANTITY_DEFINITIONS, QUANTITY_NAMES
from curvometer.bibliography import HowRead


def test_every_quantity_has_a_row_in_the_order_of_the_names():
    assert tuple(QUANTITY_DEFINITIONS) == tuple(QUANTITY_NAMES)


@pytest.mark.parametrize("row", QUANTITY_DEFINITIONS.values(), ids=str)
def test_a_row_is_whole_sentences_with_a_source(row):
    assert QUANTITY_DEFINITIONS[row.name] is row
    assert row.label[0].isupper()
    assert all(text[0].isupper() and text.endswith(".") for text in (row.definition, *row.caveats))
    assert row.source.citation
    assert row.source.how_read in HowRead


def test_labels_are_told_apart():
    labels = [row.label for row in QUANTITY_DEFINITIONS.values()]
    assert len(set(labels)) == len(labels)


def test_what_needs_one_bend_says_so():
    assert any("two opposite bends" in text for text in QUANTITY_DEFINITIONS["schneider_angle"].caveats)
