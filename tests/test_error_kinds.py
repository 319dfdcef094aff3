"""Classes of students who each make one known error: every kind is found and named, and clean work names none.

The sizes of the errors are those that the names say (`marked_exercise`); each student also trembles a little, as hands do.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from marked_exercise import (
    CANALS,
    PIXEL_MM,
    UNSAFE_STEPS,
    Canal,
    aside,
    known_exercise,
    noisy,
    perfect_answer,
    scale_entry,
    sha_of,
    unmeasured_entry,
)

from curvometer.assessment.marking import mark_answer
from curvometer.assessment.marks import ErrorKind
from curvometer.assessment.sheet import Task
from curvometer.assessment.submission import ProposedGrade, ProposedPlan

STUDENTS = 4
TREMOR_MM = 0.03


@pytest.fixture(scope="module")
def asked():
    return known_exercise()


def kinds_of(asked, work):
    """How often each kind is named in a class, and its number of answers; `work` is the same for all, or of canal and seed."""
    found, count = Counter(), 0
    for name, canal in zip(asked.images, CANALS, strict=True):
        for seed in range(STUDENTS):
            changes = work(canal, seed) if callable(work) else work
            mark = mark_answer(asked, name, perfect_answer(asked, name, canal, **changes))
            found.update(mark.errors)
            count += 1
    return found, count


def line(change):
    """Draw a changed canal with a trembling hand."""
    return lambda canal, seed: {"canal": unmeasured_entry(noisy(change(canal), TREMOR_MM, seed))}


def cut(canal, short_mm):
    dense = canal.points_rc(400)
    share = 1.0 - short_mm / (canal.a + canal.arc_mm + canal.b)
    return dense[: round(400 * share) : 12]


def prolonged(canal, beyond_mm):
    dense = canal.points_rc(40)
    ahead = (dense[-1] - dense[-2]) / np.hypot(*(dense[-1] - dense[-2]))
    steps = np.arange(0.4, beyond_mm + 1e-6, 0.4) / PIXEL_MM
    return np.vstack([dense[::2], dense[-1] + steps[:, None] * ahead])


def bent_earlier(canal, by_mm):
    """The same length and turning, the curve starts earlier and is gentler."""
    arc = canal.arc_mm + by_mm
    earlier = Canal(
        a=canal.a - by_mm,
        radius=arc / np.radians(canal.angle),
        angle=canal.angle,
        b=canal.b,
        at_rc=canal.at_rc,
    )
    return earlier.points_rc(30)


def bent_more(canal, by_deg):
    more = canal.angle + by_deg
    bent = Canal(a=canal.a, radius=canal.arc_mm / np.radians(more), angle=more, b=canal.b, at_rc=canal.at_rc)
    return bent.points_rc(30)


def neighbour(canal):
    return CANALS[(CANALS.index(canal) + 1) % len(CANALS)].points_rc(30)


def late(canal):
    dense = canal.points_rc(400)
    return dense[round(400 * 2.0 / (canal.a + canal.arc_mm + canal.b)) :: 12]


ONE_ERROR = {
    ErrorKind.STOPPED_SHORT: line(lambda canal: cut(canal, 1.5)),
    ErrorKind.BEYOND: line(lambda canal: prolonged(canal, 1.6)),
    ErrorKind.WRONG_ORIFICE: line(late),
    ErrorKind.LEFT_THE_CANAL: line(lambda canal: aside(canal.points_rc(30), 0.4)),
    ErrorKind.REVERSED: line(lambda canal: canal.points_rc(30)[::-1]),
    ErrorKind.WRONG_IMAGE: line(neighbour),
    ErrorKind.CURVE_START: line(lambda canal: bent_earlier(canal, 2.0)),
    ErrorKind.ANGLE: line(lambda canal: bent_more(canal, 9.0)),
    ErrorKind.SHAKY: lambda canal, seed: {"canal": unmeasured_entry(noisy(canal.points_rc(14), 0.3, seed))},
    ErrorKind.SCALE: {"calibration": scale_entry(PIXEL_MM * 25.0 / 21.0)},
    ErrorKind.IMAGE_MISJUDGED: {"accepted": False, "reasons": ["blurred"]},
    ErrorKind.GRADE: {"grade": ProposedGrade(grade="minimal")},
    ErrorKind.ADVICE: {"plan": ProposedPlan(advice="treat")},
    ErrorKind.UNSAFE_PLAN: {"plan": ProposedPlan(advice="refer", steps=list(UNSAFE_STEPS))},
    ErrorKind.NOT_DONE: {"canal": None},
}


@pytest.mark.parametrize("kind", ONE_ERROR, ids=lambda kind: kind.name.lower())
def test_a_class_with_one_error_is_named_for_it(asked, kind):
    found, count = kinds_of(asked, ONE_ERROR[kind])
    assert found.most_common(1)[0][0] is kind
    assert found[kind] >= 0.8 * count
    others = sum(found.values()) - found[kind]
    assert others <= 0.5 * count  # what follows from it is mostly not named beside it


def test_a_clean_class_is_named_nothing(asked):
    found, _ = kinds_of(asked, line(lambda canal: canal.points_rc(30)))
    assert found == {}


def test_every_kind_but_the_radius_alone_has_its_class():
    """The radius follows from the curve's start and the angle; alone it is off only by chance."""
    assert set(ErrorKind) - set(ONE_ERROR) == {ErrorKind.RADIUS}


def test_a_radius_alone():
    """A tail that is 1 mm longer with the same start and angle: 5 mm of radius become 4."""
    canal = Canal(a=6.0, radius=5.0, angle=57.3, b=1.0)
    asked = known_exercise([canal], tasks=[Task.TRACE], rubric='[[items]]\nitem = "radius"\npoints = 1\n')
    other = Canal(a=6.0, radius=4.0, angle=57.3, b=2.0)
    mark = mark_answer(
        asked, "f1", perfect_answer(asked, "f1", canal, canal=unmeasured_entry(other.points_rc(60)))
    )
    assert mark.errors == (ErrorKind.RADIUS,)


def test_another_file_is_named_and_nothing_else(asked):
    found, count = kinds_of(asked, {"sha256": sha_of("elsewhere")})
    assert found == {ErrorKind.WRONG_IMAGE: count}


def test_no_class_is_not_a_wrong_one(asked):
    found, count = kinds_of(asked, {"grade": None})
    assert found == {ErrorKind.NOT_DONE: count}


def test_what_was_left_out_is_named_once(asked):
    found, count = kinds_of(asked, {"grade": None, "canal": None})
    assert found[ErrorKind.NOT_DONE] == count
