"""Ratings out of records: one measure of one canal from each, and the landmarks that the angle follows from."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from curvometer.agreement import (
    AgreementError,
    AngleLandmarks,
    AngleParts,
    Rating,
    RatingFile,
    RatingRow,
    divide_disagreement,
)
from curvometer.cli.argument_kinds import UsageError
from curvometer.measurement import QUANTITY_NAMES, CanalMeasurement, FittedLandmarks
from curvometer.record import CanalEntry, CaseRecord, load_record

ANGLE = "schneider_angle"
FORM = "canal_form"
UNITS = {"deg": "degrees", "mm": "mm", "deg/mm": "degrees/mm"}


@dataclass(frozen=True, kw_only=True)
class RecordedRatings:
    """What records say.

    Attributes
    ----------
    ratings
        One per record.
    unit
        Of the quantity, in words.
    parts
        Where differences between raters' angles come from; None for other quantities, or when no two differ.
    notes
        What the records lack, in whole sentences.
    """

    ratings: list[Rating]
    unit: str
    parts: AngleParts | None
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Read:
    """One record of one canal, with where it stood."""

    row: RatingRow
    record: CaseRecord
    measurement: CanalMeasurement


def rows_of_folder(folder: Path) -> list[RatingRow]:
    """List the records of a folder: ``RATER/SUBJECT.json`` or ``RATER/OCCASION/SUBJECT.json``.

    Raises
    ------
    UsageError
        When there are none.
    """
    rows = []
    for path in sorted(folder.glob("*/*.json")) + sorted(folder.glob("*/*/*.json")):
        rater, *occasion, _ = path.relative_to(folder).parts
        rows.append(
            RatingRow(
                subject=path.stem,
                rater=rater,
                occasion=occasion[0] if occasion else "1",
                text=str(path),
                place=str(path.relative_to(folder)),
            )
        )
    if not rows:
        raise UsageError(
            f"{folder} holds no records as RATER/SUBJECT.json: make one folder per rater, or list the records in a CSV"
        )
    return rows


def rows_of_file(ratings: RatingFile, folder: Path) -> list[RatingRow]:
    """Take the names of records in a CSV from the folder that it lies in."""
    return [
        RatingRow(
            subject=row.subject,
            rater=row.rater,
            occasion=row.occasion,
            text=row.text and str(folder / row.text),
            place=row.place,
        )
        for row in ratings.rows
    ]


def recorded_ratings(
    rows: list[RatingRow], *, quantity: str | None, canal: str | None, occasion: str | None
) -> RecordedRatings:
    """Read the records.

    Parameters
    ----------
    rows
        Their `text` is a record's path; empty where it is missing.
    quantity
        A name of `QUANTITY_NAMES`, or ``"canal_form"``; Schneider's angle when None.
    canal
        Which canal of each record.
    occasion
        On which raters' angles are divided into parts; the first one when None.

    Raises
    ------
    UsageError
        When the quantity or canal is unknown.
    AgreementError
        When the records of one subject are of different images.
    RecordError
        When one cannot be read.
    """
    name = quantity or ANGLE
    if name not in (*QUANTITY_NAMES, FORM):
        raise UsageError(f"--quantity {name} is unknown: choose one of {', '.join((*QUANTITY_NAMES, FORM))}")
    read = [_loaded(row, canal) for row in rows if row.text]
    _check_images(read)
    by_place = {each.row.place: each.measurement for each in read}
    ratings = [_rating(row, by_place.get(row.place), name) for row in rows]
    units = {UNITS[q.unit] for q in (m.quantities.get(name) for m in by_place.values()) if q is not None}
    notes = [
        f"{rating.place}: the record has no {name}; it is left out."
        for rating in ratings
        if rating.value is None and rating.place in by_place
    ]
    parts = None
    if name == ANGLE:
        parts, told = _angle_parts(read, rows[0].occasion if occasion is None else occasion)
        notes += told
    return RecordedRatings(
        ratings=ratings, unit=units.pop() if units else "", parts=parts, notes=tuple(notes)
    )


def _loaded(row: RatingRow, canal: str | None) -> _Read:
    record = load_record(row.text)
    return _Read(row=row, record=record, measurement=_chosen(row, record, canal).to_measurement())


def _chosen(row: RatingRow, record: CaseRecord, canal: str | None) -> CanalEntry:
    names = [None if each.name is None else each.name.value for each in record.canals]
    found = [each for each, name in zip(record.canals, names, strict=True) if canal is None or name == canal]
    told = ", ".join(name or "one without a name" for name in names) or "none"
    if not found:
        raise UsageError(f"{row.place}: the record has no canal {canal or ''}; it holds {told}")
    if len(found) > 1:
        raise UsageError(f"{row.place}: the record holds several canals ({told}): choose one with --canal")
    return found[0]


def _check_images(read: list[_Read]) -> None:
    """Refuse tracings of one subject on different images: their difference would be the images'."""
    first: dict[str, _Read] = {}
    for each in read:
        if each.record.image is None or not each.record.image.sha256:
            continue
        known = first.setdefault(each.row.subject, each)
        if known.record.image is not None and known.record.image.sha256 != each.record.image.sha256:
            raise AgreementError(
                f"{each.row.place} and {known.row.place} are of different images, though both are subject"
                f" {each.row.subject!r}: correct the name, or trace the same image"
            )


def _rating(row: RatingRow, measurement: CanalMeasurement | None, name: str) -> Rating:
    value: float | str | None = None
    if measurement is not None:
        quantity = measurement.quantities.get(name)
        value = measurement.canal_form if name == FORM else None if quantity is None else quantity.value
    return Rating(subject=row.subject, rater=row.rater, occasion=row.occasion, value=value, place=row.place)


def _angle_parts(read: list[_Read], occasion: str) -> tuple[AngleParts | None, list[str]]:
    """Divide what raters' angles differ by; with one rater, what its occasions differ by."""
    one_rater = len({each.row.rater for each in read}) == 1
    compared = [each for each in read if one_rater or each.row.occasion == occasion]
    pairs, straight = [], 0
    for a, b in _pairs_by_subject(compared):
        first, second = _landmarks(a), _landmarks(b)
        if first is None or second is None:
            straight += 1
        else:
            pairs.append((first, second))
    notes = (
        [
            f"{straight} of {straight + len(pairs)} pairs of tracings are not divided into parts: somebody saw no curve"
            " there."
        ]
        if straight
        else []
    )
    return (divide_disagreement(pairs) if pairs else None), notes


def _pairs_by_subject(read: list[_Read]) -> Iterator[tuple[_Read, _Read]]:
    by_subject: dict[str, list[_Read]] = {}
    for each in read:
        by_subject.setdefault(each.row.subject, []).append(each)
    for tracings in by_subject.values():
        yield from itertools.combinations(tracings, 2)


def _landmarks(read: _Read) -> AngleLandmarks | None:
    """Landmarks in square pixels; None for a straight canal, which has no start of a curve."""
    marks: FittedLandmarks = read.measurement.landmarks
    if marks.curve_start_rc is None:
        return None
    square = np.array([read.record.calibration.aspect_ratio, 1.0])
    return AngleLandmarks(
        axis_rc=(marks.axis_rc[1] - marks.axis_rc[0]) * square,
        curve_start_rc=marks.curve_start_rc * square,
        foramen_rc=marks.foramen_rc * square,
    )
