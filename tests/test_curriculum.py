"""Graded films and the practice run: harder upwards, and the next image follows the student's own error."""

from __future__ import annotations

import itertools
import random

import numpy as np
import pytest

from curvometer import (
    ImageMark,
    PracticeLevel,
    PracticeResult,
    Purpose,
    next_level,
    practice_exercise,
    practice_image,
)
from curvometer.assessment import AssessmentError, ItemMark
from curvometer.assessment.curriculum import (
    CURVE_ITEMS,
    CURVE_STEPS,
    LEVELS,
    LINE_ITEMS,
    SUCCESS_SHARE,
    film_order,
    graded_orders,
)
from curvometer.assessment.films import FILM_STEPS
from curvometer.assessment.rubric import ITEM_UNITS, Item
from curvometer.phantom import NOISE_LEVELS

pytestmark = pytest.mark.usefixtures("coarse_films")


def mark(*, curve=None, line=None):
    """A mark with a share of the points for the items of the curve and of the line; None: not marked."""
    items = []
    for codes, share in ((CURVE_ITEMS, curve), (LINE_ITEMS, line)):
        if share is not None:
            items += [
                ItemMark(code=code, title=code, points=10.0 * share, out_of=10.0, found="", reason="")
                for code in codes
            ]
    return ImageMark(image="image-01", items=tuple(items))


def after(level, **shares):
    return next_level([PracticeResult(level=level, mark=mark(**shares))])


def test_films_get_harder_step_by_step():
    for before, step in itertools.pairwise(FILM_STEPS):
        assert step.contrast > before.contrast, "a wider window is flatter"
        assert step.canal_width_mm < before.canal_width_mm
        assert step.blur_mm > before.blur_mm
        assert step.bone_texture > before.bone_texture
        assert NOISE_LEVELS[step.noise][0] <= NOISE_LEVELS[before.noise][0], "no more quanta"
        assert step.overlap >= before.overlap
        assert step.closed <= before.closed


def test_curves_get_sharper_step_by_step_and_end_in_an_s():
    singles = [step for step in CURVE_STEPS if step.second_angle_deg is None]
    for before, step in itertools.pairwise(singles):
        assert np.mean(step.angle_deg) > np.mean(before.angle_deg)
        assert np.mean(step.radius_mm) < np.mean(before.radius_mm)
    assert CURVE_STEPS[-1].second_angle_deg is not None
    assert CURVE_STEPS[:-1] == tuple(singles)


def test_every_item_with_a_number_moves_one_ladder():
    """Calibration apart, each limit of the rubric is either the curve's or the line's."""
    numbered = {item.value for item in ITEM_UNITS} - {Item.CALIBRATION.value}
    assert set(CURVE_ITEMS) | set(LINE_ITEMS) == numbered
    assert not set(CURVE_ITEMS) & set(LINE_ITEMS)


def test_practice_begins_where_one_says():
    assert next_level([]) == PracticeLevel(curve=1, film=1)
    assert next_level([], start=PracticeLevel(curve=3, film=5)) == PracticeLevel(curve=3, film=5)


def test_one_harder_after_a_success_three_easier_after_a_failure():
    level = PracticeLevel(curve=5, film=5)
    assert after(level, curve=1.0, line=1.0) == PracticeLevel(curve=6, film=6)
    assert after(level, curve=0.0, line=0.0) == PracticeLevel(curve=2, film=2)
    assert after(level, curve=SUCCESS_SHARE, line=SUCCESS_SHARE - 0.01) == PracticeLevel(curve=6, film=2)


def test_the_error_decides_which_ladder_moves():
    level = PracticeLevel(curve=5, film=5)
    assert after(level, curve=0.2, line=1.0) == PracticeLevel(curve=2, film=6)
    assert after(level, curve=1.0, line=0.2) == PracticeLevel(curve=6, film=2)
    assert after(level, line=1.0) == PracticeLevel(curve=5, film=6), "what was not marked does not move"
    assert after(level) == level


def test_the_ladders_have_ends():
    assert after(PracticeLevel(), curve=0.0, line=0.0) == PracticeLevel()
    top = PracticeLevel(curve=8, film=8)
    assert after(top, curve=1.0, line=1.0) == top


def test_a_run_settles_where_three_of_four_succeed():
    """Kaernbach 1991: S_up p = S_down (1 - p) with 1 up and 3 down gives p = 0.75.

    A student whose chance of success falls evenly from 1.15 to 0.1 over the eight steps has 0.75 between the third and the
    fourth step ((1.15 - 0.75) / 0.15 = 2.7 above the first); steps are whole and down-steps are cut off at 1, so the mean is
    held only to a step.
    """
    rng = random.Random(5)
    level, curve, successes = PracticeLevel(curve=8, film=1), [], []
    for _ in range(4000):
        success = rng.random() < 1.15 - 0.15 * (level.curve - 1)
        level = after(level, curve=float(success))
        curve.append(level.curve)
        successes.append(success)
    assert np.mean(successes[100:]) == pytest.approx(0.75, abs=0.08)
    assert np.mean(curve[100:]) == pytest.approx(3.7, abs=1.0)


@pytest.mark.parametrize("level", LEVELS)
def test_sets_rise_within_their_level(level):
    orders = graded_orders(6, level=level, rng=random.Random(1))
    low, high = LEVELS[level]
    films = [order.film for order in orders]
    assert films == sorted(films)
    assert (films[0], films[-1]) == (low, high)
    for order in orders:
        step = CURVE_STEPS[order.film - 1]
        assert step.angle_deg[0] - 0.5 <= order.angle_deg <= step.angle_deg[1] + 0.5
        assert step.radius_mm[0] - 0.25 <= order.radius_mm <= step.radius_mm[1] + 0.25


def test_what_a_teacher_fixes_is_kept():
    for order in graded_orders(4, angle_deg=30.0, radius_mm=7.0, kind="canine", known_object="ball"):
        assert (order.angle_deg, order.radius_mm, order.kind) == (30.0, 7.0, "canine")
        assert (order.known_object, order.second_angle_deg) == ("ball", None)


def test_impossible_wishes_are_told():
    with pytest.raises(
        AssessmentError, match="the level is 'gruesome': write one of easy, middle, hard, mixed"
    ):
        graded_orders(3, level="gruesome")
    with pytest.raises(AssessmentError, match="such a film cannot be simulated"):
        film_order(PracticeLevel(), fixed={"angle_deg": 120.0})
    with pytest.raises(AssessmentError, match="the film step is 9: there are 1 to 8"):
        PracticeLevel(film=9)


@pytest.mark.parametrize("number", range(1, 9))
def test_every_step_finds_a_tooth(number):
    """Twenty films of each step are drawn, not simulated: none is refused."""
    from curvometer.assessment import films  # noqa: PLC0415

    for seed in range(20):
        order = film_order(PracticeLevel(curve=number, film=number), rng=random.Random(seed))
        shape, options = films._drawn(order, np.random.default_rng([seed, 1]))
        assert options.tooth in films.TEETH
        assert 8.0 <= shape.length_mm <= 22.0


def test_a_practice_exercise_is_one_image_with_its_answers(monkeypatch):
    exercise = practice_exercise(PracticeLevel(curve=2, film=1), 11, number=4)
    assert (exercise.sheet.purpose, exercise.sheet.exercise) == (Purpose.PRACTICE, "practice-4")
    (image,) = exercise.sheet.images
    assert exercise.key is not None
    assert exercise.key.edition == exercise.sheet.edition
    assert exercise.radiograph(image.id).shape[0] > 500
    (reference,) = exercise.key.images[0].references
    assert reference.exact
    monkeypatch.setattr("curvometer.assessment.curriculum.practice_exercise", lambda *_: exercise)
    same, png, answers = practice_image(PracticeLevel(curve=2, film=1), 11)
    assert (same, png, answers) == (image, exercise.images[image.id], exercise.key.images[0])
