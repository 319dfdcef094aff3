"""The feedback picture: both lines in their own colour and pattern, where they part, in words what was earned."""

from __future__ import annotations

import numpy as np
import pytest
from marked_exercise import (
    CANALS,
    EVERYTHING,
    SAFE_STEPS,
    Canal,
    aside,
    entry,
    exercise,
    image_sheet,
    known_exercise,
    perfect_answer,
    scale_entry,
    sha_of,
)

from curvometer import Radiograph, overlay
from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.expectations import expect
from curvometer.assessment.feedback import feedback_picture
from curvometer.assessment.feedback_text import MOST_REASONS, feedback_words
from curvometer.assessment.key import ImageKey
from curvometer.assessment.marking import mark_answer
from curvometer.assessment.marks import ImageMark, ItemMark
from curvometer.assessment.submission import Answer, ProposedPlan
from curvometer.overlay import ORANGE, SKY_BLUE, YELLOW

ONE = CANALS[0]


@pytest.fixture(scope="module")
def asked():
    return known_exercise(CANALS[:1])


@pytest.fixture
def film():
    pixels = np.full((1000, 900), 0.5, dtype=np.float32)
    return Radiograph(pixels=pixels, sha256=sha_of("f1"))


@pytest.fixture
def drawn(monkeypatch):
    """Every line that is drawn, as (colour, pattern, points), and every word."""
    seen = {"lines": [], "words": []}
    line, word, plain = overlay.Canvas.line, overlay.Canvas.word, overlay.Canvas.plain_word

    def see_line(self, points, colour, pattern, thickness):
        seen["lines"].append((colour, pattern, points))
        line(self, points, colour, pattern, thickness)

    def see_word(self, text, near, colour, *, side):
        seen["words"].append(text)
        word(self, text, near, colour, side=side)

    def see_plain(self, text, x, y):
        seen["words"].append(text)
        plain(self, text, x, y)

    monkeypatch.setattr(overlay.Canvas, "line", see_line)
    monkeypatch.setattr(overlay.Canvas, "word", see_word)
    monkeypatch.setattr(overlay.Canvas, "plain_word", see_plain)
    return seen


def test_both_lines_and_where_they_part(asked, film, drawn):
    answer = perfect_answer(asked, "f1", ONE, canal=entry(aside(ONE.points_rc(40), 0.6)))
    picture = feedback_picture(asked, "f1", answer, film)
    assert picture.dtype == np.uint8
    assert picture.ndim == 3
    kinds = {(colour, pattern) for colour, pattern, _ in drawn["lines"]}
    # Without colour: the reference is dashed and dotted, the student's solid and dash-dotted.
    assert {(YELLOW, "dashed"), (YELLOW, "dotted"), (SKY_BLUE, "solid"), (SKY_BLUE, "dash-dot")} <= kinds
    assert (ORANGE, "solid") in kinds
    words = drawn["words"]
    for told in ("you: curve start", "reference: curve start", "you: foramen", "reference: foramen"):
        assert told in words
    assert "you: 25.0 deg" in words
    assert "reference: 25.0 deg" in words
    assert any(word.endswith("mm apart") and word.startswith("0.6") for word in words)


def test_what_is_missing_at_the_foramen(asked, film, drawn):
    short = ONE.points_rc(400)[: round(400 * (1.0 - 2.0 / (ONE.a + ONE.arc_mm)))]
    feedback_picture(asked, "f1", perfect_answer(asked, "f1", ONE, canal=entry(short[::10])), film)
    (missing,) = [word for word in drawn["words"] if word.endswith("mm missing")]
    assert float(missing.split()[0]) == pytest.approx(2.0, abs=0.2)


def test_the_truth_parts_nowhere(asked, film, drawn):
    feedback_picture(asked, "f1", perfect_answer(asked, "f1", ONE), film)
    assert not [
        word for word in drawn["words"] if "apart" in word or "missing" in word or "part" in word.split()
    ]
    assert "Nothing to correct." in drawn["words"]


def test_every_sentence_fits(asked, film, drawn):
    answer = perfect_answer(
        asked,
        "f1",
        ONE,
        calibration=scale_entry(0.0238),
        canal=entry(aside(ONE.points_rc(40), 0.6)),
        grade=None,
    )
    picture = feedback_picture(asked, "f1", answer, film)
    for word in drawn["words"]:
        assert overlay.text_width(word) <= picture.shape[1]


def test_no_tracing_shows_the_reference_and_no_reference_the_image(asked, film, drawn):
    feedback_picture(asked, "f1", Answer(image="f1", sha256=sha_of("f1"), accepted=True), film)
    assert "reference: foramen" in drawn["words"]
    assert "you: foramen" not in drawn["words"]
    drawn["words"].clear()
    rejected = expect(
        *exercise(
            [image_sheet("f1", EVERYTHING)], [ImageKey(id="f1", acceptable=False, reasons=["apex-cut-off"])]
        )
    )
    answer = Answer(image="f1", sha256=sha_of("f1"), accepted=True, canal=entry(ONE.points_rc(20)))
    feedback_picture(rejected, "f1", answer, film)
    assert "no line is expected here" in drawn["words"]
    assert any("the apex of the root is not on the image" in word for word in drawn["words"])


def test_another_radiograph_is_refused(asked):
    other = Radiograph(pixels=np.zeros((50, 50), dtype=np.float32), sha256=sha_of("f2"))
    with pytest.raises(AssessmentError, match="open the one of the hand-out"):
        feedback_picture(asked, "f1", perfect_answer(asked, "f1", ONE), other)


def test_words_are_few_and_weightiest_first(asked):
    canal = Canal(a=3.0, radius=10.0, angle=50.0, at_rc=ONE.at_rc)
    plan = ProposedPlan(advice="treat", steps=list(SAFE_STEPS))
    answer = perfect_answer(
        asked,
        "f1",
        ONE,
        calibration=None,
        canal=entry(canal.points_rc(40)),
        grade=None,
        plan=plan,
        accepted=None,
    )
    mark = mark_answer(asked, "f1", answer)
    words = feedback_words(mark)
    assert len(words) <= 1 + MOST_REASONS
    assert words[0].endswith(" of 100 points.")
    assert words[1] == next(
        item.reason for item in mark.items if item.code == "mean_distance"
    )  # 20 points lost
    assert len(set(words)) == len(words)


def test_the_cap_is_told_second():
    item = ItemMark(code="angle", title="Angle", points=10.0, out_of=10.0, found="", reason="")
    mark = ImageMark(image="f1", items=(item,), cap=0.49, cap_reason="At most 49 %.")
    assert feedback_words(mark) == ("4.9 of 10 points.", "At most 49 %.")
