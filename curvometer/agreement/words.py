"""The statistics in plain words, for a teacher who reads no tables."""

from __future__ import annotations

from curvometer.agreement.compare import AgreementReport, Comparison, PairAgreement
from curvometer.agreement.estimate import Estimate
from curvometer.agreement.icc import IntraclassCorrelations

ICC_WORDS = ((0.5, "poor"), (0.75, "moderate"), (0.9, "good"), (float("inf"), "excellent"))
"""Koo and Li 2016."""
KAPPA_WORDS = (
    (0.0, "poor"),
    (0.205, "slight"),
    (0.405, "fair"),
    (0.605, "moderate"),
    (0.805, "substantial"),
    (float("inf"), "almost perfect"),
)
"""Landis and Koch 1977; their bands are written to two digits."""
CONCORDANCE_WORDS = (
    (0.9, "poor"),
    (0.95, "moderate"),
    (0.99, "substantial"),
    (float("inf"), "almost perfect"),
)
"""McBride 2005."""
PART_WORDS = {
    "curve_start": "from where the curve is said to start",
    "axis": "from how the coronal axis is laid",
    "foramen": "from where the foramen is set",
}
SMALL_SHARE = 0.05
"""Parts below this are not worth a word."""
OFFSET_WORTH_TELLING = 0.05
"""By how much ICC(3,1) must exceed ICC(2,1) before a constant offset is blamed."""


def word_for(value: float, words: tuple[tuple[float, str], ...]) -> str:
    """Give the word whose band holds the value; a limit belongs to the band above it."""
    return next(word for limit, word in words if value < limit)


def plain_reading(report: AgreementReport) -> list[str]:
    """Give what the statistics mean, one sentence each, most important first.

    Parameters
    ----------
    report
        From `examiner_agreement`.

    Returns
    -------
    list of str
        Whole sentences.
    """
    told = _difference(report)
    told += _read(report.main, report.unit)
    for comparison in report.within if report.between is not None else ():
        told += _repeats(comparison, report.unit)
    return told


def _difference(report: AgreementReport) -> list[str]:
    """Tell the largest usual difference, and the parts that make it."""
    main = report.main
    mdc = main.minimal_detectable_change
    if mdc is None:
        return []
    who = "Examiners differ" if main.rater is None else f"{main.rater} differs from occasion to occasion"
    sentence = f"{who} by up to {_amount(mdc.value, report.unit)}"
    return [
        f"{sentence}{_parts(report, mdc.value)} (95 of 100 differences between two readings of one subject)."
    ]


def _parts(report: AgreementReport, whole: float) -> str:
    if report.parts is None:
        return ""
    told = [
        f"{share * whole:.1f} {'come ' if place == 0 else ''}{PART_WORDS[name]}"
        for place, (name, share) in enumerate(report.parts.shares.items())
        if share >= SMALL_SHARE
    ]
    return f", of which {_listed(told)}"


def _read(comparison: Comparison, unit: str) -> list[str]:
    told = []
    if comparison.correlations is not None:
        told += _correlation(comparison.correlations, comparison)
    if comparison.fleiss is not None and len(comparison.columns) > 2 and comparison.sem is None:
        told.append(
            f"Fleiss' kappa {comparison.fleiss.told()}: {_kappa_word(comparison.fleiss)} agreement on grades."
        )
    for pair in comparison.pairs:
        told += _pair(pair, unit, alone=len(comparison.pairs) == 1)
    return told


def _correlation(correlations: IntraclassCorrelations, comparison: Comparison) -> list[str]:
    two, three = correlations.icc_2_1, correlations.icc_3_1
    if two is None:
        return []
    others = "any other examiner's" if comparison.rater is None else "the next occasion's"
    told = [
        f"ICC(2,1) {two.told()}: {_span(two)} agreement, if one reading stands for {others}.",
    ]
    if comparison.rater is None and three is not None and three.value - two.value >= OFFSET_WORTH_TELLING:
        told.append(
            f"Part of it is a constant offset between examiners: without it the correlation would be {three.value:.2f}"
            " (ICC(3,1)). They should agree on the construction, then trace again."
        )
    return told


def _pair(pair: PairAgreement, unit: str, *, alone: bool) -> list[str]:
    told = []
    if pair.limits is not None:
        told += _bias(pair, pair.limits.bias, unit, alone=alone)
        growing = pair.limits.proportional_bias
        if growing is not None and growing.p_value < 0.05:
            told.append(
                f"Their difference {'grows' if growing.slope.value > 0 else 'falls'} with the size of the value by"
                f" {abs(growing.slope.value):.2f} per unit (p = {growing.p_value:.3f}), so one limit for all is too simple."
            )
    elif pair.kappa is not None:  # numbers that could be grades too are read as numbers
        best = pair.kappa if pair.weighted_kappa is None else pair.weighted_kappa
        name = "kappa" if pair.weighted_kappa is None else "weighted kappa"
        told.append(
            f"{pair.first} and {pair.second}, {name} {best.told()}: {_kappa_word(best)} agreement on grades."
        )
    return told


def _bias(pair: PairAgreement, bias: Estimate, unit: str, *, alone: bool) -> list[str]:
    sure = bias.lower is not None and bias.upper is not None and (bias.lower > 0.0 or bias.upper < 0.0)
    if not sure:
        return [f"No constant difference between {pair.first} and {pair.second} is shown."] if alone else []
    more = "more" if bias.value > 0.0 else "less"
    return [f"{pair.first} reads {_amount(abs(bias.value), unit)} {more} than {pair.second} on average."]


def _repeats(comparison: Comparison, unit: str) -> list[str]:
    mdc = comparison.minimal_detectable_change
    if mdc is not None:
        return [f"{comparison.rater} repeats to within {_amount(mdc.value, unit)} (95 of 100 differences)."]
    kappas = [pair.kappa for pair in comparison.pairs if pair.kappa is not None]
    return [
        f"{comparison.rater} repeats grades with kappa {kappa.told()}: {_kappa_word(kappa)}."
        for kappa in kappas
    ]


def _span(estimate: Estimate) -> str:
    """The word for the value, and those for the ends of its interval where they differ."""
    word = word_for(estimate.value, ICC_WORDS)
    if estimate.lower is None or estimate.upper is None:
        return word
    low, high = word_for(estimate.lower, ICC_WORDS), word_for(estimate.upper, ICC_WORDS)
    return word if low == high else f"{word} (the interval allows {low} to {high})"


def _kappa_word(kappa: Estimate) -> str:
    return word_for(kappa.value, KAPPA_WORDS)


def _amount(value: float, unit: str) -> str:
    digits = 1 if unit in ("", "degrees") or value >= 10.0 else 2
    return f"{value:.{digits}f}{unit and ' ' + unit}"


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
