"""Agreement as a person reads it: what it means first, then the statistics, then what was left out."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from curvometer.agreement import (
    ICC_NAMES,
    AgreementReport,
    Comparison,
    Estimate,
    KappaWeights,
    PairAgreement,
    plain_reading,
)

WIDTH = 100
LABEL = 44
ICC_LABELS = {
    "icc_1_1": "ICC(1,1), one of changing raters",
    "icc_2_1": "ICC(2,1), one rater, offsets count",
    "icc_3_1": "ICC(3,1), one rater, offsets do not count",
    "icc_1_k": "ICC(1,{k}), mean of {k}",
    "icc_2_k": "ICC(2,{k}), mean of {k}",
    "icc_3_k": "ICC(3,{k}), mean of {k}",
}


def agreement_text(report: AgreementReport, *, source: str, picture: str | None) -> str:
    """Lay a report out as text.

    Parameters
    ----------
    report
        From `examiner_agreement`.
    source
        Name of what was read.
    picture
        Where a picture was saved.
    """
    lines = [f"Examiner agreement, {source}", ""]
    for sentence in plain_reading(report):
        lines += _wrapped(sentence)
    for comparison in (report.between, *report.within):
        if comparison is not None:
            lines += ["", *_comparison(comparison, report)]
    notes = [*report.notes, *report.main.notes]
    notes += [note for each in report.within if each is not report.main for note in each.notes]
    if notes:
        lines += ["", "What to know"]
        for note in notes:
            lines += _wrapped(note, "- ")
    if picture is not None:
        lines += ["", f"Picture: {picture}"]
    return "\n".join(lines)


def _wrapped(sentence: str, start: str = "") -> list[str]:
    return textwrap.wrap(
        sentence, WIDTH, initial_indent=start, subsequent_indent=" " * len(start), break_on_hyphens=False
    )


def _comparison(comparison: Comparison, report: AgreementReport) -> list[str]:
    names = ", ".join(comparison.columns)
    if comparison.rater is None:
        heading = f"Between raters {names}"
    else:
        heading = f"{comparison.rater} with itself, occasions {names}"
    lines = _wrapped(f"{heading}; {comparison.subjects} subjects; 95 % intervals in brackets")
    rows = [*_of_all(comparison, report.unit)]
    lines += [_row(label, text) for label, text in rows]
    for pair in comparison.pairs:
        lines.append(f"  {pair.first} - {pair.second}, {pair.subjects} subjects")
        lines += [_row(f"  {label}", text) for label, text in _of_pair(pair, report)]
    return lines


def _row(label: str, text: str) -> str:
    return f"  {label:<{LABEL}} {text}"


def _of_all(comparison: Comparison, unit: str) -> Iterator[tuple[str, str]]:
    correlations, k = comparison.correlations, len(comparison.columns)
    if correlations is not None:
        for name in ICC_NAMES:
            yield ICC_LABELS[name].format(k=k), _told(getattr(correlations, name), 3)
    for label, estimate in (
        ("SEM, offsets counted", comparison.sem),
        ("SEM, offsets taken out", comparison.sem_consistency),
        ("minimal detectable change", comparison.minimal_detectable_change),
        ("Dahlberg's error", comparison.dahlberg),
    ):
        if estimate is not None:
            yield label, _told(estimate, 2, unit)
    if comparison.fleiss is not None and comparison.sem is None:
        yield "Fleiss' kappa", _told(comparison.fleiss, 3)


def _of_pair(pair: PairAgreement, report: AgreementReport) -> Iterator[tuple[str, str]]:
    unit, limits = report.unit, pair.limits
    if limits is not None:
        yield "mean difference", _told(limits.bias, 2, unit)
        yield f"lower limit of agreement ({limits.rule.value} SD)", _told(limits.lower, 2, unit)
        yield f"upper limit of agreement ({limits.rule.value} SD)", _told(limits.upper, 2, unit)
        growing = limits.proportional_bias
        if growing is not None:
            yield (
                "growth of the difference with the mean",
                f"{_told(growing.slope, 3)}, p = {growing.p_value:.3f}",
            )
    # Numbers that could be grades too are read as numbers here; --json and --grades tell both.
    kappas = (pair.kappa, pair.weighted_kappa) if limits is None else (None, None)
    for label, estimate, digits in (
        ("Dahlberg's error", pair.dahlberg, 2),
        ("Lin's concordance", None if pair.concordance is None else pair.concordance.concordance, 3),
        ("Cohen's kappa", kappas[0], 3),
        (_weighted_label(report.weights), kappas[1], 3),
    ):
        if estimate is not None:
            yield label, _told(estimate, digits, unit if label.startswith("Dahlberg") else "")


def _weighted_label(weights: KappaWeights) -> str:
    return f"weighted kappa ({weights.value} weights)"


def _told(estimate: Estimate | None, digits: int, unit: str = "") -> str:
    return "not defined" if estimate is None else estimate.told(digits, unit)
