"""Why a periapical radiograph may not be used to measure a canal: codes and their words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from curvometer.assessment.errors import AssessmentError
from curvometer.bibliography import HowRead, Reference

QUALITY_SOURCE = Reference(
    key="periapical-quality",
    citation=(
        "University clinic manual: the apex and at least 3 mm of bone beyond it are visible; teaching notes: whole"
        " tooth, open contacts, no unexposed part"
    ),
    how_read=HowRead.SECONDARY,
    note="elongation and foreshortening from teaching notes; overlap and contrast: common practice, no source",
)

IMAGE_FAULTS: Mapping[str, str] = MappingProxyType(
    {
        "apex-cut-off": "the apex of the root is not on the image",
        "bone-cut-off": "less than 3 mm of bone is seen beyond the apex",
        "crown-cut-off": "the crown is not on the image",
        "unexposed-part": "a part of the image was not exposed",
        "contacts-overlap": "the tooth's contacts are not open",
        "foreshortened": "the tooth is foreshortened",
        "elongated": "the tooth is elongated",
        "root-overlap": "another root or canal lies over the curve",
        "metal-overlap": "a filling, crown or instrument lies over the curve",
        "canal-not-followable": "the canal cannot be followed from orifice to foramen",
        "too-dark": "the image is too dark to tell the canal's walls",
        "too-light": "the image is too light to tell the canal's walls",
        "flat": "the image has too little contrast to tell the canal's walls",
        "blurred": "the image is blurred",
        "noisy": "the image is too noisy to tell the canal's walls",
    }
)
"""Codes of what makes an image unusable, each with its words (see `QUALITY_SOURCE`)."""


def check_faults(codes: Iterable[str]) -> None:
    """Refuse a code that is none of `IMAGE_FAULTS`.

    Raises
    ------
    AssessmentError
        When a code is unknown.
    """
    for code in codes:
        if code not in IMAGE_FAULTS:
            known = ", ".join(IMAGE_FAULTS)
            raise AssessmentError(f"{code!r} is no reason to reject an image: write one of {known}")
