"""From easy to hard: graded sets of simulated films, and a practice run that follows the student's own error.

Two ladders are climbed apart. One is the curve: more degrees, smaller radius, at its end an S. The other is the film: less
contrast, narrower canal, more noise, a second canal over the first. Errors of angle, radius and curve move a student on the
first, errors of the line on the second, so that the next image exercises what went wrong.

References
----------
The step rule is the weighted up-down method: Kaernbach C. Simple adaptive testing with the weighted up-down method. Percept
Psychophys 1991;49:227-229 (from memory). One step harder after a success and ``p / (1 - p)`` steps easier after a failure
settle where successes have the chance ``p``; here p = 0.75 gives one up, three down. That it is used on two ladders at once,
and what counts as a success, are own rules.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.exercise_file import ExerciseFile, ImageRow, Order
from curvometer.assessment.films import FILM_STEPS, FilmOrder, make_film, secret_seed
from curvometer.assessment.hand_out import HandOut
from curvometer.assessment.key import ImageKey
from curvometer.assessment.making import assemble, prepare_film
from curvometer.assessment.marks import ImageMark
from curvometer.assessment.sheet import ImageSheet, Purpose
from curvometer.bibliography import HowRead, Reference

KAERNBACH_1991 = Reference(
    key="kaernbach-1991",
    citation=(
        "Kaernbach C. Simple adaptive testing with the weighted up-down method. Percept Psychophys 1991;49:227-229"
    ),
    how_read=HowRead.MEMORY,
    note="Equation 1: steps up and down in the ratio of the wanted chances.",
)

STEP_HARDER, STEP_EASIER = 1, 3
SUCCESS_SHARE = 0.75
"""Share of the points of a group of items from which on it counts as a success (own rule)."""
CURVE_ITEMS = ("curve", "angle", "radius")
LINE_ITEMS = ("mean_distance", "far_distance", "hausdorff", "frechet", "ends")


@dataclass(frozen=True, kw_only=True)
class CurveStep:
    """How hard a curve is.

    Attributes
    ----------
    angle_deg, radius_mm
        Ranges from which it is drawn.
    second_angle_deg
        Range of a second, opposite bend; None: a single one.
    """

    angle_deg: tuple[float, float]
    radius_mm: tuple[float, float]
    second_angle_deg: tuple[float, float] | None = None


CURVE_STEPS: tuple[CurveStep, ...] = (
    CurveStep(angle_deg=(8, 15), radius_mm=(12, 16)),
    CurveStep(angle_deg=(12, 20), radius_mm=(10, 14)),
    CurveStep(angle_deg=(18, 26), radius_mm=(8, 12)),
    CurveStep(angle_deg=(22, 32), radius_mm=(6.5, 10)),
    CurveStep(angle_deg=(28, 40), radius_mm=(5, 8)),
    CurveStep(angle_deg=(35, 50), radius_mm=(4, 6.5)),
    CurveStep(angle_deg=(45, 60), radius_mm=(3, 5)),
    CurveStep(angle_deg=(20, 30), radius_mm=(6, 8), second_angle_deg=(20, 30)),
)
"""Curves from easy to hard (own scale, no source); their number counts from 1."""

LEVELS: dict[str, tuple[int, int]] = {"easy": (1, 3), "middle": (3, 6), "hard": (6, 8), "mixed": (1, 8)}
"""Lowest and highest step of a set, on both ladders."""


@dataclass(frozen=True, kw_only=True)
class PracticeLevel:
    """A place on both ladders.

    Attributes
    ----------
    curve, film
        Steps from 1, the easiest, to 8.

    Raises
    ------
    AssessmentError
        When there is no such step.
    """

    curve: int = 1
    film: int = 1

    def __post_init__(self) -> None:
        for name, steps in (("curve", CURVE_STEPS), ("film", FILM_STEPS)):
            if not 1 <= getattr(self, name) <= len(steps):
                raise AssessmentError(
                    f"the {name} step is {getattr(self, name)}: there are 1 to {len(steps)}"
                )


@dataclass(frozen=True, kw_only=True)
class PracticeResult:
    """How a student did at a level."""

    level: PracticeLevel
    mark: ImageMark


def next_level(history: Sequence[PracticeResult], *, start: PracticeLevel | None = None) -> PracticeLevel:
    """Choose the level of the next practice image.

    Parameters
    ----------
    history
        What was done so far, the oldest first; only the last result counts, for it holds the level that all
        before it led to.
    start
        Where to begin; the easiest when None.

    Returns
    -------
    PracticeLevel
        Each ladder one step up after a success, three down after a failure (see the module), within its ends;
        unchanged where nothing of its kind was marked.
    """
    if not history:
        return start or PracticeLevel()
    last = history[-1]
    return PracticeLevel(
        curve=_moved(last.level.curve, last.mark, CURVE_ITEMS, len(CURVE_STEPS)),
        film=_moved(last.level.film, last.mark, LINE_ITEMS, len(FILM_STEPS)),
    )


def graded_orders(
    count: int,
    *,
    level: str = "mixed",
    angle_deg: float | None = None,
    radius_mm: float | None = None,
    kind: str | None = None,
    known_object: str = "wire",
    rng: random.Random | None = None,
) -> tuple[FilmOrder, ...]:
    """Choose a set of films that rises from easy to hard.

    Parameters
    ----------
    count
        How many.
    level
        A name of `LEVELS`.
    angle_deg, radius_mm, kind
        The same in every film, instead of what its step says.
    known_object
        What lies in each film to calibrate by.
    rng
        Source of the draws; one that nobody can guess when None.

    Raises
    ------
    AssessmentError
        When the level is unknown or a value cannot be.
    """
    if level not in LEVELS:
        raise AssessmentError(f"the level is {level!r}: write one of {', '.join(LEVELS)}")
    low, high = LEVELS[level]
    steps = [low + round((high - low) * number / max(count - 1, 1)) for number in range(count)]
    given = {"angle_deg": angle_deg, "radius_mm": radius_mm}
    return tuple(
        film_order(
            PracticeLevel(curve=step, film=step), rng=rng, kind=kind, known_object=known_object,
            fixed={name: value for name, value in given.items() if value is not None},
        )
        for step in steps
    )  # fmt: skip


def film_order(
    level: PracticeLevel,
    *,
    rng: random.Random | None = None,
    kind: str | None = None,
    known_object: str = "wire",
    fixed: dict[str, float] | None = None,
) -> FilmOrder:
    """Draw angle and radius of a level's film, to whole degrees and half millimetres.

    Raises
    ------
    AssessmentError
        When a fixed value or a name cannot be.
    """
    rng = rng or random.SystemRandom()
    fixed = fixed or {}
    step = CURVE_STEPS[level.curve - 1]
    values = {
        "angle_deg": float(round(rng.uniform(*step.angle_deg))),
        "radius_mm": round(2.0 * rng.uniform(*step.radius_mm)) / 2.0,
    } | fixed
    if step.second_angle_deg is not None and not fixed and kind is None:
        values["second_angle_deg"] = float(round(rng.uniform(*step.second_angle_deg)))
    try:
        return FilmOrder(**values, film=level.film, kind=kind, known_object=known_object)  # type: ignore[arg-type]
    except ValueError as error:
        raise AssessmentError(f"such a film cannot be simulated: {error}") from error


def practice_image(level: PracticeLevel, seed: int | None = None) -> tuple[ImageSheet, bytes, ImageKey]:
    """Simulate a practice image: its sheet, its PNG and its answers.

    Parameters
    ----------
    level
        From `next_level`.
    seed
        The same seed gives the same image; one that nobody can guess when None.
    """
    exercise = practice_exercise(level, seed)
    (image,) = exercise.sheet.images
    assert exercise.key is not None
    return image, exercise.images[image.id], exercise.key.images[0]


def practice_exercise(level: PracticeLevel, seed: int | None = None, *, number: int = 1) -> HandOut:
    """Simulate a practice exercise of one image, to be worked on and marked as any other.

    Parameters
    ----------
    level
        From `next_level`.
    seed
        The same seed gives the same image; one that nobody can guess when None.
    number
        Of the image in the run, for its title.
    """
    seed = secret_seed() if seed is None else seed
    order = film_order(level, rng=random.Random(seed))  # noqa: S311 - practice, and the answers are in it
    row = ImageRow(phantom=order)
    film = make_film(order, seed)
    exercise = ExerciseFile(
        name=f"practice-{number}",
        title=f"Practice {number}: curve {level.curve} of {len(CURVE_STEPS)}, film {level.film} of {len(FILM_STEPS)}",
        purpose=Purpose.PRACTICE,
        order=Order.AS_WRITTEN,
        images=[row],
    )
    return assemble(exercise, [prepare_film(film, row)])[0]


def _moved(step: int, mark: ImageMark, codes: tuple[str, ...], steps: int) -> int:
    items = [item for item in mark.items if item.code in codes]
    out_of = sum(item.out_of for item in items)
    if not out_of:
        return step
    success = sum(item.points for item in items) >= SUCCESS_SHARE * out_of
    return min(step + STEP_HARDER, steps) if success else max(step - STEP_EASIER, 1)
