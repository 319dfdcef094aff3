"""Examiner statistics: what must hold for any ratings, gaps and bad ratings, the parts of an angle, words, picture."""

from __future__ import annotations

import itertools
import json
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from curvometer.agreement import (
    AGREEMENT_REFERENCES,
    ICC_NAMES,
    AgreementError,
    AngleLandmarks,
    Estimate,
    KappaWeights,
    Rating,
    agreement_svg,
    agreement_to_plain,
    cohen_kappa,
    dahlberg_error,
    divide_angle_difference,
    divide_disagreement,
    examiner_agreement,
    fleiss_kappa,
    grade_table,
    intraclass_correlations,
    limits_of_agreement,
    lin_concordance,
    mean_squares,
    minimal_detectable_change,
    plain_reading,
    proportional_bias,
    rating_sheet,
    standard_errors_of_measurement,
    weighted_kappa,
)
from curvometer.agreement import quantiles as q
from curvometer.agreement.words import CONCORDANCE_WORDS, ICC_WORDS, KAPPA_WORDS, word_for
from curvometer.bibliography import HowRead

tables = st.tuples(st.integers(3, 8), st.integers(2, 4)).flatmap(
    lambda shape: arrays(np.float64, shape, elements=st.integers(0, 400).map(lambda x: x / 10.0))
)
counts = arrays(np.int64, (3, 3), elements=st.integers(0, 20))
quick = settings(max_examples=60, deadline=None)


def sheet(rows, raters=("A", "B"), occasion="1", **options):
    listed = [
        Rating(subject=f"s{i}", rater=rater, occasion=occasion, value=value, place=f"line {i}")
        for i, row in enumerate(rows)
        for rater, value in zip(raters, row, strict=True)
    ]
    return rating_sheet(listed, **options)


def values_of(estimate):
    return (estimate.value, estimate.lower, estimate.upper)


# --- Quantiles --------------------------------------------------------------------------------------------


@quick
@given(st.floats(0.001, 0.999), st.floats(0.5, 3000.0), st.floats(0.5, 3000.0))
def test_quantiles_are_those_of_a_statistics_library(p, df1, df2):
    stats = pytest.importorskip("scipy.stats")
    assert q.f_quantile(p, df1, df2) == pytest.approx(stats.f.ppf(p, df1, df2), rel=1e-8)
    assert q.t_quantile(p, df1) == pytest.approx(stats.t.ppf(p, df1), rel=1e-7, abs=1e-7)
    assert q.chi2_quantile(p, df1) == pytest.approx(stats.chi2.ppf(p, df1), rel=1e-8)
    assert q.t_probability(2.5, df1) == pytest.approx(2 * stats.t.sf(2.5, df1), rel=1e-8)
    assert q.f_probability(p, df1, df2) == pytest.approx(stats.f.sf(p, df1, df2), rel=1e-7, abs=1e-12)


def test_ends_of_the_distributions():
    assert q.t_quantile(0.5, 7) == 0.0
    assert q.normal_quantile(0.975) == pytest.approx(1.959963984540054)
    assert (q.f_probability(0.0, 2, 3), q.f_probability(float("inf"), 2, 3)) == (1.0, 0.0)
    assert q.t_probability(float("inf"), 3) == 0.0


# --- What holds for all ratings ---------------------------------------------------------------------------


@quick
@given(tables, st.floats(-1e4, 1e4), st.floats(0.01, 100.0))
def test_correlations_do_not_depend_on_zero_and_unit(table, shift, scale):
    assume(mean_squares(table).between > 0.5)
    assume(mean_squares(table).error > 0.5)
    before, after = intraclass_correlations(table), intraclass_correlations(table * scale + shift)
    for name in ICC_NAMES:
        one, other = getattr(before, name), getattr(after, name)
        assert (one is None) == (other is None)
        if one is not None and one.lower is not None and other.lower is not None:
            assert values_of(other) == pytest.approx(values_of(one), rel=1e-4, abs=1e-5)
        elif one is not None:
            assert other.value == pytest.approx(one.value, rel=1e-5, abs=1e-6)
    for ours, theirs in zip(
        standard_errors_of_measurement(table * scale + shift),
        standard_errors_of_measurement(table),
        strict=True,
    ):
        assert ours.value == pytest.approx(scale * theirs.value, rel=1e-5)


@quick
@given(tables, st.randoms(use_true_random=False))
def test_correlations_do_not_depend_on_the_order_of_raters_or_subjects(table, chance):
    assume(mean_squares(table).between > 0.5)
    columns = chance.sample(range(table.shape[1]), table.shape[1])
    rows = chance.sample(range(table.shape[0]), table.shape[0])
    before, after = intraclass_correlations(table), intraclass_correlations(table[rows][:, columns])
    for name in ICC_NAMES:
        a, b = getattr(before, name), getattr(after, name)
        assert (a is None) == (b is None)
        assert a is None or a.value == pytest.approx(b.value, rel=1e-9, abs=1e-9)


@quick
@given(tables)
def test_every_interval_holds_its_value(table):
    assume(mean_squares(table).between > 0.5)
    found = intraclass_correlations(table)
    for name in ICC_NAMES:
        estimate = getattr(found, name)
        if estimate is not None and estimate.lower is not None:
            assert estimate.lower <= estimate.value + 1e-9
            assert estimate.value <= estimate.upper + 1e-9


@quick
@given(tables)
def test_the_error_of_icc_2_1_is_dahlbergs(table):
    """WMS = EMS + (JMS - EMS) / n, and total variance * (1 - ICC(2,1)) is the same: docs/agreement.md."""
    s = mean_squares(table)
    assume(s.between > 0.5)
    assert s.within == pytest.approx(s.error + (s.judges - s.error) / s.subjects, rel=1e-9, abs=1e-12)
    total = (s.between + (s.raters - 1) * s.error) / s.raters + (s.judges - s.error) / s.subjects
    icc = intraclass_correlations(table).icc_2_1
    if icc is not None:
        assert total * (1.0 - icc.value) == pytest.approx(s.within, rel=1e-6, abs=1e-9)
    if s.raters == 2:
        assert dahlberg_error(table[:, 0], table[:, 1]).value == pytest.approx(
            s.within**0.5, rel=1e-9, abs=1e-9
        )


@quick
@given(tables)
def test_exchanging_two_raters_turns_signs_only(table):
    a, b = table[:, 0], table[:, 1]
    assume(np.ptp(a) > 0.5)
    assume(np.ptp(b) > 0.5)
    one, other = limits_of_agreement(a, b), limits_of_agreement(b, a)
    assert one.bias.value == pytest.approx(-other.bias.value, abs=1e-9)
    assert one.lower.value == pytest.approx(-other.upper.value, abs=1e-9)
    assert one.lower.lower == pytest.approx(-other.upper.upper, abs=1e-9)
    assert dahlberg_error(a, b) == dahlberg_error(b, a)
    assert lin_concordance(a, b).concordance.value == pytest.approx(
        lin_concordance(b, a).concordance.value, abs=1e-12
    )
    assert abs(lin_concordance(a, b).concordance.value) <= abs(lin_concordance(a, b).correlation) + 1e-12


@quick
@given(arrays(np.float64, 6, elements=st.floats(-1e3, 1e3)), st.integers(2, 4))
def test_raters_who_say_the_same_agree_perfectly(values, raters):
    assume(np.ptp(values) > 1e-3)
    table = np.column_stack([values] * raters)
    found = intraclass_correlations(table)
    assert [values_of(getattr(found, name)) for name in ICC_NAMES] == [(1.0, 1.0, 1.0)] * 6
    assert [each.value for each in standard_errors_of_measurement(table)] == [0.0, 0.0]
    assert values_of(limits_of_agreement(values, values).upper) == (0.0, 0.0, 0.0)
    assert dahlberg_error(values, values) == Estimate(value=0.0)
    assert lin_concordance(values, values).concordance.value == pytest.approx(1.0)


@quick
@given(counts)
def test_kappa_is_symmetric_and_does_not_see_the_size_of_weights(table):
    rows, columns = table.sum(axis=1), table.sum(axis=0)
    assume(rows @ (1 - np.eye(3)) @ columns > 0)
    for weights in KappaWeights:
        one, other = weighted_kappa(table, weights=weights), weighted_kappa(table.T, weights=weights)
        assert one.value == pytest.approx(other.value, abs=1e-12)
        assert one.value <= 1.0
    steps = np.abs(np.subtract.outer(np.arange(3), np.arange(3)))
    assert weighted_kappa(table, weights=7.0 * steps).value == pytest.approx(
        weighted_kappa(table).value, abs=1e-12
    )
    assert cohen_kappa(np.diag([3, 4, 5])) == Estimate(value=1.0, lower=1.0, upper=1.0)


def test_kappas_beside_an_independent_program():
    metrics = pytest.importorskip("sklearn.metrics")
    chance = np.random.default_rng(5)
    a, b = chance.integers(0, 4, 60), chance.integers(0, 4, 60)
    b[:35] = a[:35]
    table = grade_table(list(a), list(b), grades=range(4))
    for weights in KappaWeights:
        name = None if weights is KappaWeights.NONE else weights.value
        theirs = metrics.cohen_kappa_score(a, b, weights=name)
        assert weighted_kappa(table, weights=weights).value == pytest.approx(theirs, abs=1e-12)


def test_fleiss_kappa_by_hand():
    """Grades aab, bbb, aba: P_i = 1/3, 1, 1/3, mean 5/9; p_a = 4/9: P_e = 41/81; (45 - 41) / (81 - 41) = 0.1."""
    assert fleiss_kappa(["aab", "bbb", "aba"]).value == pytest.approx(0.1)
    assert fleiss_kappa(["aaa", "bbb", "ccc", "aaa"]).value == pytest.approx(1.0)


def test_fleiss_interval_holds_the_truth_about_as_often_as_it_says():
    """Raters who repeat the truth with chance 0.7, else guess: agreement beyond chance 0.49 in two equal classes."""
    chance, held = np.random.default_rng(2), 0
    for _ in range(200):
        truth = chance.integers(0, 2, (40, 1))
        known = chance.random((40, 4)) < 0.7
        grades = np.where(known, truth, chance.integers(0, 2, (40, 4)))
        found = fleiss_kappa(grades.tolist())
        held += found.lower <= 0.49 <= found.upper
    assert 178 <= held <= 199


def test_icc_2_1_interval_holds_the_truth_about_as_often_as_it_says():
    """Subjects 5, raters 2, error 3: 25 / 38 = 0.658."""
    chance, held = np.random.default_rng(1), 0
    for _ in range(300):
        table = chance.normal(0, 5, (15, 1)) + chance.normal(0, 2, (1, 5)) + chance.normal(0, 3, (15, 5))
        found = intraclass_correlations(table).icc_2_1
        held += found.lower <= 25 / 38 <= found.upper
    assert 273 <= held <= 297


def test_raters_who_differ_by_a_constant_only():
    """EMS = 0: no error without offsets, and ICC(2,1) is BMS / (BMS + 2 JMS / n)."""
    found = intraclass_correlations([[1, 3], [5, 7], [9, 11]])
    assert values_of(found.icc_3_1) == (1.0, 1.0, 1.0)
    assert found.icc_2_1.value == pytest.approx(32 / (32 + 2 * 6 / 3))
    assert found.icc_2_1.lower < found.icc_2_1.value


def test_a_bias_that_grows_is_found():
    """Second = 0.9 first exactly: d = 0.1 a, mean 0.95 a."""
    a = np.arange(10.0, 30.0)
    found = proportional_bias(a, 0.9 * a)
    assert (found.slope.value, found.p_value) == (pytest.approx(0.1 / 0.95), 0.0)
    assert proportional_bias(a, a).p_value == 1.0
    assert proportional_bias([1.0, 2.0], [2.0, 1.0]) is None


def test_minimal_detectable_change():
    """1.96 * sqrt(2) * 2 = 5.5437."""
    found = minimal_detectable_change(Estimate(value=2.0, lower=1.0, upper=3.0))
    assert values_of(found) == pytest.approx((5.543717, 2.771859, 8.315576), abs=1e-6)


# --- Bad ratings ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: intraclass_correlations([[5, 5], [5, 5]]), "all ratings are the same"),
        (lambda: intraclass_correlations([[1, float("nan")], [2, 3]]), "missing or not finite"),
        (lambda: intraclass_correlations([[1, 2]]), "needs at least 2"),
        (lambda: intraclass_correlations([[1], [2]]), "needs two raters"),
        (lambda: intraclass_correlations([1, 2]), "give a table"),
        (lambda: limits_of_agreement([1, 2], [1, 2, 3]), "one value per subject"),
        (lambda: lin_concordance([4, 4], [4, 4]), "all ratings are the same"),
        (lambda: cohen_kappa([[5, 0], [0, 0]]), "kappa is not defined"),
        (lambda: cohen_kappa([[5, 0, 1], [0, 0, 1]]), "as many rows as columns"),
        (lambda: cohen_kappa([[5, -1], [0, 0]]), "counts of 0 and more"),
        (lambda: weighted_kappa([[5, 1], [0, 2]], weights=[[1, 2], [2, 0]]), "0 on the diagonal"),
        (lambda: weighted_kappa([[5, 1], [0, 2]], weights=[[0]]), "weights have the shape"),
        (lambda: fleiss_kappa(["aa", "a"]), "same number of raters"),
        (lambda: fleiss_kappa(["aa", "aa"]), "kappa is not defined"),
        (lambda: grade_table("ab", "ac", grades="ab"), "not on the scale a, b"),
        (lambda: grade_table("ab", "a", grades="ab"), "2 and 1 grades"),
        (lambda: divide_disagreement([]), "nothing to divide"),
        (lambda: rating_sheet([]), "there are no values"),
        (lambda: sheet([[1.0, "x"], [2.0, 3.0]]), "all numbers or all grades"),
        (lambda: sheet([["a", "b"]], grades=("a", "a")), "name each of them once"),
        (lambda: sheet([["a", "b"]], grades=("a", "c")), "has the grade 'b'"),
        (lambda: sheet([[1.0, 2.0]], raters=("A", "A")), "stand there twice"),
        (
            lambda: examiner_agreement(sheet([[1.0], [2.0]], raters=("A",))),
            "only one rater (A) on one occasion",
        ),
        (lambda: examiner_agreement(sheet([[1.0, 2.0]])), "only one subject"),
        (lambda: examiner_agreement(sheet([[2.0, 2.0]] * 3)), "all values are the same"),
        (
            lambda: examiner_agreement(sheet([[1.0, None], [None, 2.0]])),
            "no two ratings of the same subjects",
        ),
        (lambda: examiner_agreement(sheet([[1.0, 2.0]] * 2), occasion="9"), "there is no occasion '9'"),
    ],
)
def test_bad_ratings_are_told_in_one_sentence(call, words):
    with pytest.raises(AgreementError) as told:
        call()
    assert words in str(told.value)
    assert "\n" not in str(told.value)


# --- All at once ------------------------------------------------------------------------------------------


def test_gaps_are_said_and_pairs_use_what_they_have():
    rows = [[10.0, 11.0, 12.0], [20.5, 21.0, None], [30.0, 33.0, 31.0], [41.0, 40.0, 44.0]]
    report = examiner_agreement(sheet(rows, raters="ABC"))
    assert (report.main.subjects, report.main.left_out) == (3, ("s1",))
    assert [pair.subjects for pair in report.main.pairs] == [4, 3, 3]
    assert any("1 of 4 subjects" in note and "(s1)" in note for note in report.main.notes)
    assert report.main.dahlberg.value == pytest.approx(
        mean_squares([rows[0], rows[2], rows[3]]).within ** 0.5
    )


def test_within_and_between_raters():
    first, second = sheet([[10.0, 14.5], [20.0, 22.0], [30.0, 36.0]]), [[11.0], [19.5], [30.5]]
    listed = [
        Rating(subject=f"s{i}", rater=r, occasion="1", value=first.values[i, j, 0], place="x")
        for i in range(3)
        for j, r in enumerate("AB")
    ] + [
        Rating(subject=f"s{i}", rater="A", occasion="2", value=v[0], place="y") for i, v in enumerate(second)
    ]
    report = examiner_agreement(rating_sheet(listed))
    assert report.main.rater is None
    assert [each.rater for each in report.within] == ["A"]
    assert report.within[0].dahlberg.value == pytest.approx(((1 + 0.25 + 0.25) / 6) ** 0.5)
    assert any("B rated on one occasion only" in note for note in report.notes)
    alone = examiner_agreement(rating_sheet([each for each in listed if each.rater == "A"]))
    assert (alone.between, alone.main.rater) == (None, "A")
    assert plain_reading(alone)[0].startswith("A differs from occasion to occasion by up to")


def test_whole_numbers_over_few_steps_are_grades_too():
    report = examiner_agreement(sheet([[1.0, 1.0], [2.0, 3.0], [4.0, 4.0]]))
    assert report.main.pairs[0].weighted_kappa.value == pytest.approx(
        weighted_kappa(grade_table([1, 2, 4], [1, 3, 4], grades=[1, 2, 3, 4])).value
    )
    assert examiner_agreement(sheet([[1.5, 1.0], [2.0, 3.0], [4.0, 4.0]])).main.pairs[0].kappa is None


def test_grades_without_an_order_have_no_weighted_kappa():
    rows = [["a", "a"], ["b", "c"], ["c", "c"], ["b", "b"]]
    assert examiner_agreement(sheet(rows)).main.pairs[0].weighted_kappa is None
    ordered = examiner_agreement(sheet(rows, grades=("a", "b", "c"))).main.pairs[0]
    assert ordered.weighted_kappa.value > ordered.kappa.value


def test_the_plain_form_has_the_published_names_and_is_json():
    plain = agreement_to_plain(examiner_agreement(sheet([[10.0, 11.5], [20.0, 22.0], [30.0, 29.0]])))
    json.dumps(plain, allow_nan=False)
    for name in (*ICC_NAMES, "dahlberg", "lin_ccc"):
        assert set(plain[name]) == {"value", "lower", "upper"}
    for name in ("bias", "lower", "upper"):
        assert set(plain["bland_altman"][name]) == {"value", "lower", "upper"}
    assert plain["kappa"] is None
    assert plain["weighted_kappa"] is None


def test_too_many_raters_are_not_told_pair_by_pair():
    rows = np.random.default_rng(3).normal(30.0, 5.0, (4, 41)).tolist()
    report = examiner_agreement(sheet(rows, raters=tuple(f"r{i}" for i in range(41))))
    assert report.main.pairs == ()
    assert any("too many to be told pair by pair" in note for note in report.main.notes)


# --- Parts of an angle ------------------------------------------------------------------------------------


def landmarks(axis=(1.0, 0.0), start=(0.0, 0.0), foramen=(8.0, 4.0)):
    return AngleLandmarks(
        axis_rc=np.array(axis), curve_start_rc=np.array(start), foramen_rc=np.array(foramen)
    )


@quick
@given(st.lists(st.floats(-1.0, 1.0), min_size=6, max_size=6))
def test_parts_add_up_and_turn_with_the_tracers(x):
    first = landmarks()
    second = landmarks((1.0, x[0] / 5), (x[1], x[2] / 5), (8.0 + x[3], 4.0 + x[4]))
    parts = divide_angle_difference(first, second)
    assert sum(parts.values()) == pytest.approx(first.angle_deg - second.angle_deg, abs=1e-9)
    turned = divide_angle_difference(second, first)
    assert list(turned.values()) == pytest.approx([-part for part in parts.values()], abs=1e-9)


def test_a_part_that_alone_differs_has_it_all():
    """Start moved 2 along the axis: atan(4/8) = 26.57, atan(4/6) = 33.69 degrees."""
    parts = divide_angle_difference(landmarks(start=(2.0, 0.0)), landmarks())
    assert parts == pytest.approx({"axis": 0.0, "curve_start": 7.125016, "foramen": 0.0}, abs=1e-6)
    shares = divide_disagreement([(landmarks(start=(2.0, 0.0)), landmarks())])
    assert next(iter(shares.shares)) == "curve_start"
    assert shares.curve_start == pytest.approx(1.0)
    assert divide_disagreement([(landmarks(), landmarks())]) is None


def test_the_reading_names_the_part():
    """Differences 3.5, -4, 4.5: D = sqrt(48.5 / 6) = 2.843, 1.96 sqrt(2) D = 7.88; the start makes all of it."""
    parts = divide_disagreement([(landmarks(start=(2.0, 0.0)), landmarks())])
    report = examiner_agreement(
        sheet([[24.0, 20.5], [30.0, 34.0], [44.0, 39.5]]), unit="degrees", parts=parts
    )
    told = plain_reading(report)[0]
    mdc = report.main.minimal_detectable_change.value
    assert mdc == pytest.approx(7.881, abs=1e-3)
    assert told.startswith(
        f"Examiners differ by up to {mdc:.1f} degrees, of which {mdc:.1f} come from where the curve"
    )


# --- Words and picture ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "words", "word"),
    [
        (0.49, ICC_WORDS, "poor"),
        (0.5, ICC_WORDS, "moderate"),
        (0.75, ICC_WORDS, "good"),
        (0.95, ICC_WORDS, "excellent"),
        (-0.1, KAPPA_WORDS, "poor"),
        (0.4, KAPPA_WORDS, "fair"),
        (0.41, KAPPA_WORDS, "moderate"),
        (0.61, KAPPA_WORDS, "substantial"),
        (0.97, CONCORDANCE_WORDS, "substantial"),
    ],
)
def test_words_for_numbers(value, words, word):
    assert word_for(value, words) == word


def test_the_picture_holds_every_subject_and_escapes_names():
    rows = [[10.0, 11.0], [20.5, 21.0], [30.0, 33.0]]
    report = examiner_agreement(sheet(rows, raters=("A<b>&", "B'\"")), unit="degrees")
    root = ET.fromstring(agreement_svg(report))
    names = [element.tag.rpartition("}")[2] for element in root.iter()]
    assert names.count("circle") == 3
    assert any("A<b>&" in (element.text or "") for element in root.iter())


def test_the_picture_of_grades_holds_the_table_of_counts():
    """By hand: 2 x (low, low), 1 x (low, high), 1 x (high, high): 3 of 4 on the diagonal."""
    rows = [["low", "low"], ["low", "low"], ["low", "high"], ["high", "high"]]
    report = examiner_agreement(sheet(rows, grades=("low", "high")))
    texts = [element.text for element in ET.fromstring(agreement_svg(report)).iter() if element.text]
    assert [text for text in texts if text.isdigit()] == ["2", "1", "0", "1"]
    assert any(text.startswith("3 of 4 alike; kappa ") for text in texts)


def test_the_picture_draws_each_rater_with_itself_after_the_pairs():
    listed = [
        Rating(
            subject=f"s{i}",
            rater=rater,
            occasion=occasion,
            value=float(10 * i + ord(rater) % 7 + j),
            place="",
        )
        for i in range(4)
        for rater in "AB"
        for j, occasion in enumerate(("first", "second"))
    ]
    texts = [e.text for e in ET.fromstring(agreement_svg(examiner_agreement(rating_sheet(listed)))).iter()]
    titles = [text for text in texts if text and text.endswith("4 subjects")]
    assert titles == [
        "A against B, 4 subjects",
        "A, occasion first against second, 4 subjects",
        "B, occasion first against second, 4 subjects",
    ]


def test_without_a_pair_there_is_no_picture():
    listed = [Rating(subject="s", rater="A", occasion=o, value=1.0, place="") for o in ("1", "2")]
    with pytest.raises(AgreementError):
        agreement_svg(examiner_agreement(rating_sheet(listed)))


def test_every_source_says_how_it_was_read():
    assert len({each.key for each in AGREEMENT_REFERENCES}) == len(AGREEMENT_REFERENCES)
    for one, other in itertools.combinations(AGREEMENT_REFERENCES, 2):
        assert one.citation != other.citation
    assert all(isinstance(each.how_read, HowRead) for each in AGREEMENT_REFERENCES)
