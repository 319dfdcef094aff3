"""Who said what about which canal when: ratings laid out as subjects by raters by occasions, gaps and all."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from curvometer.agreement.estimate import AgreementError

Value = float | str
LARGEST_CELLS = 4_000_000
"""Far above any course; keeps a wrong column from filling the memory."""


@dataclass(frozen=True, kw_only=True)
class Rating:
    """One value that one rater gave one subject on one occasion.

    Attributes
    ----------
    subject, rater, occasion
        Names; pseudonyms will do.
    value
        A number, a grade as text, or None where it is missing.
    place
        Where it stood, for complaints: ``"line 7"``.
    """

    subject: str
    rater: str
    occasion: str
    value: Value | None
    place: str


@dataclass(frozen=True, kw_only=True)
class RatingSheet:
    """All ratings of one study.

    Attributes
    ----------
    subjects, raters, occasions
        Names in the order in which they appeared.
    values
        (subjects, raters, occasions) of float, or of str for grades; None where nothing was said.
    grades
        The scale, in order where `ordered`; empty when the values are no grades. Whole numbers over at most ten steps
        are numbers and grades at once.
    ordered
        Whether the order of the grades is known, so that a disagreement has a size.
    """

    subjects: tuple[str, ...]
    raters: tuple[str, ...]
    occasions: tuple[str, ...]
    values: NDArray[np.object_]
    grades: tuple[Value, ...] = ()
    ordered: bool = False

    @property
    def numeric(self) -> bool:
        """Whether the values are numbers."""
        return not any(isinstance(value, str) for value in self.values.flat)


def rating_sheet(ratings: Iterable[Rating], *, grades: Sequence[str] = ()) -> RatingSheet:
    """Lay ratings out as a sheet.

    Parameters
    ----------
    ratings
        In any order.
    grades
        The scale in order, lowest first, when the values are grades and their order matters.

    Raises
    ------
    AgreementError
        When there are none, two have the same subject, rater and occasion, numbers and grades are mixed, a grade is not
        on the scale, or everything is missing.
    """
    listed = list(ratings)
    given = [rating for rating in listed if rating.value is not None]
    if not given:
        raise AgreementError("there are no values: give at least two subjects, rated twice each")
    subjects, raters, occasions = (
        tuple(dict.fromkeys(getattr(rating, name) for rating in listed))
        for name in ("subject", "rater", "occasion")
    )
    if len(subjects) * len(raters) * len(occasions) > LARGEST_CELLS:
        raise AgreementError(
            f"{len(subjects)} subjects, {len(raters)} raters and {len(occasions)} occasions are too many: check that"
            " the columns hold names and not values"
        )
    scale, ordered = _scale(given, grades)
    return RatingSheet(
        subjects=subjects,
        raters=raters,
        occasions=occasions,
        values=_laid_out(listed, subjects, raters, occasions, as_text=bool(grades)),
        grades=scale,
        ordered=ordered,
    )


def _laid_out(
    listed: list[Rating],
    subjects: tuple[str, ...],
    raters: tuple[str, ...],
    occasions: tuple[str, ...],
    *,
    as_text: bool,
) -> NDArray[np.object_]:
    places = [{name: i for i, name in enumerate(names)} for names in (subjects, raters, occasions)]
    values = np.full((len(subjects), len(raters), len(occasions)), None, dtype=object)
    seen: dict[tuple[int, int, int], str] = {}
    for rating in listed:
        cell = (places[0][rating.subject], places[1][rating.rater], places[2][rating.occasion])
        if cell in seen:
            raise AgreementError(
                f"{rating.place} repeats {seen[cell]}: subject {rating.subject!r}, rater {rating.rater!r}, occasion"
                f" {rating.occasion!r} stand there twice; remove one, or number the occasions"
            )
        seen[cell] = rating.place
        values[cell] = _grade_text(rating.value) if as_text and rating.value is not None else rating.value
    return values


def _scale(given: list[Rating], grades: Sequence[str]) -> tuple[tuple[Value, ...], bool]:
    """Give the scale of grades, and whether its order is known."""
    if grades:
        _check_grades(given, grades)
        return tuple(grades), True
    texts = [rating for rating in given if isinstance(rating.value, str)]
    if texts:
        if len(texts) < len(given):
            number = next(rating for rating in given if not isinstance(rating.value, str))
            raise AgreementError(
                f"{texts[0].place} has the text {texts[0].value!r} and {number.place} the number {number.value}:"
                " values must be all numbers or all grades; correct it, or name the scale with --grades"
            )
        return tuple(dict.fromkeys(str(rating.value) for rating in given)), False
    numbers = [float(rating.value) for rating in given if rating.value is not None]
    low, high = min(numbers), max(numbers)
    if high - low < 10.0 and all(number.is_integer() for number in numbers):
        return tuple(low + step for step in range(int(high - low) + 1)), True
    return (), False


def _check_grades(given: list[Rating], grades: Sequence[str]) -> None:
    if len(set(grades)) < len(grades) or len(grades) < 2:
        raise AgreementError(
            f"the scale {', '.join(grades)} needs two or more different grades: name each of them once"
        )
    for rating in given:
        if rating.value is not None and _grade_text(rating.value) not in grades:
            raise AgreementError(
                f"{rating.place} has the grade {_grade_text(rating.value)!r}, which is not on the scale"
                f" {', '.join(grades)}: correct it, or name the whole scale"
            )


def _grade_text(value: Value) -> str:
    return value if isinstance(value, str) else f"{value:g}"
