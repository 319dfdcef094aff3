"""``curvometer agree``: how well examiners agree, from a table of ratings or from their records."""

from __future__ import annotations

import json
from argparse import Namespace
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from curvometer.agreement import (
    AgreementReport,
    KappaWeights,
    LimitRule,
    Rating,
    agreement_svg,
    agreement_to_plain,
    examiner_agreement,
    rating_sheet,
    read_rating_file,
)
from curvometer.agreement.picture import MOST_PANELS, titled_pairs
from curvometer.cli.agree_text import agreement_text
from curvometer.cli.arguments import UsageError
from curvometer.saving import check_outputs, save_bytes

RECORD_OPTIONS = ("quantity", "canal")


def run(arguments: Namespace) -> int:
    """Compare, draw, print.

    Raises
    ------
    UsageError
        When options do not fit what was given.
    """
    source = Path(arguments.ratings)
    if arguments.plot is not None:
        if Path(arguments.plot).suffix.lower() != ".svg":
            raise UsageError(f"--plot {arguments.plot} must end in .svg: give a name like agreement.svg")
        check_outputs([Path(arguments.plot)], inputs=[source], overwrite=arguments.overwrite)
    report = _report(arguments, source)
    if arguments.plot is not None:
        save_bytes(agreement_svg(report).encode(), arguments.plot, overwrite=arguments.overwrite)
        pairs = len(titled_pairs(report))
        if pairs > MOST_PANELS:
            note = f"The picture shows the first {MOST_PANELS} of {pairs} pairs."
            report = replace(report, notes=(*report.notes, note))
    if arguments.json:
        print(json.dumps(agreement_to_plain(report), allow_nan=False))
    else:
        print(agreement_text(report, source=source.name, picture=arguments.plot))
    return 0


def _report(arguments: Namespace, source: Path) -> AgreementReport:
    from curvometer.cli.agree_records import (  # noqa: PLC0415 - the record's models are slow to load
        recorded_ratings,
        rows_of_file,
        rows_of_folder,
    )

    if source.is_dir():
        rows = rows_of_folder(source)
    else:
        ratings = read_rating_file(source)
        if ratings.kind != "record":
            _refuse_record_options(arguments)
            return _compared(arguments, ratings.ratings(), unit=arguments.unit or "")
        rows = rows_of_file(ratings, source.parent)
    recorded = recorded_ratings(
        rows, quantity=arguments.quantity, canal=arguments.canal, occasion=arguments.occasion
    )
    report = _compared(arguments, recorded.ratings, unit=arguments.unit or recorded.unit)
    return replace(report, parts=recorded.parts, notes=(*recorded.notes, *report.notes))


def _refuse_record_options(arguments: Namespace) -> None:
    for name in RECORD_OPTIONS:
        if getattr(arguments, name) is not None:
            raise UsageError(
                f"--{name} belongs to records, and {arguments.ratings} holds values: leave it out"
            )


def _compared(arguments: Namespace, ratings: Sequence[Rating], *, unit: str) -> AgreementReport:
    grades, known = arguments.grades or (), ""
    if not grades:
        grades, known = _known_scale(ratings)
    report = examiner_agreement(
        rating_sheet(ratings, grades=grades),
        occasion=arguments.occasion,
        rule=LimitRule(arguments.limits),
        weights=KappaWeights(arguments.weights),
        unit=unit,
    )
    return replace(report, notes=(*report.notes, known)) if known else report


def _known_scale(ratings: Sequence[Rating]) -> tuple[tuple[str, ...], str]:
    """Give the order of grades that published criteria name, and say so; without one, how to give it."""
    given = {rating.value for rating in ratings if isinstance(rating.value, str)}
    if not given:
        return (), ""
    from curvometer.difficulty import PUBLISHED_CRITERIA  # noqa: PLC0415

    scales = {
        tuple(criteria.classes) for criteria in PUBLISHED_CRITERIA.values() if given <= set(criteria.classes)
    }
    orders = {tuple(grade for grade in scale if grade in given) for scale in scales}
    if len(orders) != 1:
        return (), (
            "The order of the grades is not known, so weighted kappa is not told: name the scale with --grades,"
            " lowest first."
        )
    scale = min(scales, key=lambda each: (len(each), each))
    return scale, f"The grades were ordered as the published criteria do: {', '.join(scale)}."
