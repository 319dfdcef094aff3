"""A report as a plain dictionary, the form of the command line's JSON."""

from __future__ import annotations

from typing import Any

from curvometer.agreement.compare import AgreementReport, Comparison, PairAgreement
from curvometer.agreement.differences import LimitsOfAgreement
from curvometer.agreement.estimate import Estimate
from curvometer.agreement.icc import ICC_NAMES
from curvometer.agreement.words import plain_reading

Plain = dict[str, Any]


def agreement_to_plain(report: AgreementReport) -> Plain:
    """Tell a report by the published names; null where a statistic is not defined, with the reason in `notes`.

    Parameters
    ----------
    report
        From `examiner_agreement`.

    Returns
    -------
    dict
        The statistics of `AgreementReport.main` at the top: ``icc_1_1`` to ``icc_3_k``, ``dahlberg``, ``bland_altman``
        (``bias``, ``lower``, ``upper``), ``lin_ccc``, ``kappa``, ``weighted_kappa``, each ``{"value", "lower", "upper"}``.
        Those of two raters are null where there are more: each pair then stands in ``pairs``.
    """
    return {
        **_comparison(report.main),
        "weights": report.weights.value,
        "unit": report.unit,
        "occasion": report.occasion,
        "within_raters": [_comparison(each) for each in report.within],
        "angle_parts": _parts(report),
        "reading": plain_reading(report),
        "notes": [*report.notes, *report.main.notes],
    }


def _comparison(comparison: Comparison) -> Plain:
    correlations = comparison.correlations
    return {
        "compared": "raters" if comparison.rater is None else "occasions",
        "rater": comparison.rater,
        "columns": list(comparison.columns),
        "subjects": comparison.subjects,
        "left_out": list(comparison.left_out),
        **{
            name: _estimate(None if correlations is None else getattr(correlations, name))
            for name in ICC_NAMES
        },
        "sem": _estimate(comparison.sem),
        "sem_consistency": _estimate(comparison.sem_consistency),
        "minimal_detectable_change": _estimate(comparison.minimal_detectable_change),
        "fleiss_kappa": _estimate(comparison.fleiss),
        **_of_two(comparison),
        "dahlberg": _estimate(comparison.dahlberg),
        "pairs": [_pair(pair) for pair in comparison.pairs],
        "notes": list(comparison.notes),
    }


def _of_two(comparison: Comparison) -> Plain:
    """Statistics that only two columns have."""
    if len(comparison.columns) == 2 and comparison.pairs:
        pair = _pair(comparison.pairs[0])
        return {name: pair[name] for name in _PAIRWISE}
    return dict.fromkeys(_PAIRWISE)


_PAIRWISE = ("bland_altman", "proportional_bias", "lin_ccc", "kappa", "weighted_kappa")


def _pair(pair: PairAgreement) -> Plain:
    limits = pair.limits
    growing = None if limits is None else limits.proportional_bias
    return {
        "first": pair.first,
        "second": pair.second,
        "subjects": pair.subjects,
        "bland_altman": None if limits is None else _limits(limits),
        "proportional_bias": None
        if growing is None
        else {"slope": _estimate(growing.slope), "p_value": growing.p_value},
        "dahlberg": _estimate(pair.dahlberg),
        "lin_ccc": _estimate(None if pair.concordance is None else pair.concordance.concordance),
        "kappa": _estimate(pair.kappa),
        "weighted_kappa": _estimate(pair.weighted_kappa),
    }


def _limits(limits: LimitsOfAgreement) -> Plain:
    return {
        "bias": _estimate(limits.bias),
        "lower": _estimate(limits.lower),
        "upper": _estimate(limits.upper),
        "sd": limits.sd,
        "rule": f"{limits.rule.value} SD",
    }


def _parts(report: AgreementReport) -> Plain | None:
    parts = report.parts
    if parts is None:
        return None
    return {
        "shares": parts.shares,
        "root_mean_square_deg": parts.root_mean_square_deg,
        "comparisons": parts.comparisons,
    }


def _estimate(estimate: Estimate | None) -> Plain | None:
    if estimate is None:
        return None
    return {"value": estimate.value, "lower": estimate.lower, "upper": estimate.upper}
