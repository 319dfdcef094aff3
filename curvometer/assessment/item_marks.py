"""Points for each item of the rubric, each with its reason in words that a student can learn from."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from curvometer.assessment import line_words
from curvometer.assessment.expectations import ImageExpectation
from curvometer.assessment.faults import IMAGE_FAULTS
from curvometer.assessment.findings import Findings
from curvometer.assessment.marks import ItemMark
from curvometer.assessment.rubric import ITEM_UNITS, Item, Rubric, RubricItem
from curvometer.assessment.submission import Answer

UNIT_WORDS = {"percent": "%", "mm": "mm", "deg": "degrees"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Work:
    """One answer with everything that marks it."""

    expected: ImageExpectation
    rubric: Rubric
    answer: Answer
    found: Findings


@dataclass(frozen=True, kw_only=True)
class _Judged:
    share: float
    found: str
    reason: str


def mark_items(work: Work) -> tuple[ItemMark, ...]:
    """Mark every item that is asked on the image."""
    whole = _whole_image(work)
    return tuple(_mark(work, row, whole) for row in work.expected.rows)


def nothing_done(expected: ImageExpectation) -> tuple[ItemMark, ...]:
    """Marks of an image without an answer."""
    judged = _Judged(share=0.0, found="nothing", reason="There is no answer to this image.")
    return tuple(_item_mark(row, judged) for row in expected.rows)


def _mark(work: Work, row: RubricItem, whole: _Judged | None) -> ItemMark:
    if row.item is Item.IMAGE and not work.found.wrong_file:
        return _item_mark(row, _image(work))
    if whole is not None:
        return _item_mark(row, whole)
    if row.item in ITEM_UNITS:
        return _item_mark(row, _by_limits(work, row))
    return _item_mark(row, _JUDGES[row.item](work))


def _item_mark(row: RubricItem, judged: _Judged) -> ItemMark:
    points = row.points * judged.share
    return ItemMark(
        code=row.item.value,
        title=row.title,
        points=points,
        out_of=row.points,
        found=judged.found,
        reason=judged.reason,
    )


# --- the image as a whole


def _whole_image(work: Work) -> _Judged | None:
    """What decides all items at once: another image, or a wrong judgement of whether it can be used."""
    if work.found.wrong_file:
        return _Judged(share=0.0, found="another image", reason=other_image_words(work.found))
    if not work.expected.key.acceptable:
        if work.answer.accepted is False:
            return _rejected(bool(set(work.answer.reasons) & set(work.expected.key.reasons)))
        reason = f"This image must not be measured: {_faults(work.expected.key.reasons)}."
        return _Judged(share=0.0, found="used" if work.answer.accepted else "not judged", reason=reason)
    if work.answer.accepted is False:
        return _Judged(
            share=0.0, found="rejected", reason="The image can be used; what you rejected earns nothing here."
        )
    return None


def _rejected(with_reason: bool) -> _Judged:
    """A right rejection earns what else is asked on the image; half of it where no reason is right, which may be a guess."""
    if with_reason:
        return _Judged(
            share=1.0,
            found="rejected",
            reason="You rejected an image that must not be measured: nothing more is asked of it.",
        )
    return _Judged(
        share=0.5,
        found="rejected",
        reason="You rejected it rightly, but not for what is wrong with it: half.",
    )


def _image(work: Work) -> _Judged:
    answer, key = work.answer, work.expected.key
    if answer.accepted is None:
        return _Judged(
            share=0.0,
            found="not judged",
            reason="You did not say whether the image can be used; look at that first.",
        )
    if key.acceptable:
        if answer.accepted:
            return _Judged(share=1.0, found="accepted", reason="The image can be used, as you said.")
        told = f" You named: {_faults(answer.reasons)}." if answer.reasons else ""
        return _Judged(share=0.0, found="rejected", reason=f"The image can be used.{told}")
    if answer.accepted:
        return _Judged(
            share=0.0, found="accepted", reason=f"The image cannot be used: {_faults(key.reasons)}."
        )
    return _reasons(set(answer.reasons), set(key.reasons))


def _reasons(named: set[str], right: set[str]) -> _Judged:
    missed, wrong = sorted(right - named), sorted(named - right)
    if not missed and not wrong:
        return _Judged(
            share=1.0, found="rejected, all reasons", reason=f"Rightly rejected: {_faults(right)}."
        )
    told = [f"You missed: {_faults(missed)}."] if missed else []
    told += [f"This is not wrong with it: {_faults(wrong)}."] if wrong else []
    some = bool(named & right)
    return _Judged(
        share=0.5 if some else 0.0,
        found="rejected, some reasons" if some else "rejected, no right reason",
        reason=" ".join(["Rightly rejected.", *told]),
    )


def _faults(codes: list[str] | set[str]) -> str:
    return "; ".join(IMAGE_FAULTS.get(code, code) for code in sorted(codes)) or "no reason is stated"


def other_image_words(found: Findings) -> str:
    """Which image was worked on instead."""
    where = (
        "an image that is not in this exercise"
        if found.other_image == "unknown"
        else f"image {found.other_image}"
    )
    if found.wrong_file:
        return f"The answer was made on {where}: answer this image on its own."
    return f"The line lies in the canal of {where}: open the right image and trace it there."


# --- items with limits


def _by_limits(work: Work, row: RubricItem) -> _Judged:
    missing = _missing(work, row.item)
    if missing is not None:
        return missing
    error, band = work.found.error(row.item), work.expected.bands[row.item]
    share = band.share(error, work.rubric.scoring)
    unit = UNIT_WORDS[ITEM_UNITS[row.item]]
    wider = f"; {band.widened_by}" if band.widened_by else ""
    told = line_words.found(row.item, work.found, error, unit, limits=(band.full, band.half))
    limits = f"all points up to {band.full:.2g} {unit}, half up to {band.half:.2g} {unit}{wider}"
    reason = line_words.reason(row.item, work.found, work.expected, share)
    return _Judged(share=share, found=f"{told} ({limits})", reason=reason)


def _missing(work: Work, item: Item) -> _Judged | None:
    """Why an item cannot be compared at all."""
    if item is Item.CALIBRATION:
        return _NO_SCALE if work.found.scale_ratio is None else None
    return _untraced(work) or _not_this_canal(work.found) or _without_bend(work.found, item)


_NO_SCALE = _Judged(
    share=0.0,
    found="no scale",
    reason="You set no scale: without one there is no length and no radius.",
)


def _untraced(work: Work) -> _Judged | None:
    if work.answer.canal is None:
        return _Judged(share=0.0, found="no tracing", reason="You traced no canal on this image.")
    if work.found.compared is None:
        reason = f"The tracing cannot be measured: {work.found.refusal}."
        return _Judged(share=0.0, found="no canal", reason=reason)
    return None


def _not_this_canal(found: Findings) -> _Judged | None:
    if not found.elsewhere or found.compared is None:
        return None
    distance = f"{found.compared.lines.mean_mm:.1f} mm from the reference on average"
    chance = "The line is not in this canal, so what it measures says nothing about it."
    return _Judged(
        share=0.0, found=distance, reason=other_image_words(found) if found.other_image else chance
    )


def _without_bend(found: Findings, item: Item) -> _Judged | None:
    if found.was_reversed and item in (Item.CURVE, Item.ENDS):
        return _Judged(
            share=0.0,
            found="from the foramen to the orifice",
            reason="You traced from the foramen to the orifice, so start and end are exchanged; begin at the orifice.",
        )
    if not math.isfinite(found.error(item)):
        return _Judged(share=0.0, found="no bend", reason="Your line is straight where the canal bends.")
    return None


# --- grade and plan


def _grade(work: Work) -> _Judged:
    expected, proposed = work.expected.expected_class, work.answer.grade
    if proposed is None or expected is None:
        return _Judged(share=0.0, found="no class", reason="You gave no class.")
    right = " or ".join(expected.classes)
    if proposed.grade.strip().lower() not in [name.lower() for name in expected.classes]:
        return _Judged(
            share=0.0,
            found=proposed.grade,
            reason=f"The class is {right}; it is decided by {expected.words}.",
        )
    named = frozenset(proposed.factors)
    if not expected.deciding or any(
        deciding <= named <= deciding | expected.raising for deciding in expected.deciding
    ):
        return _Judged(share=1.0, found=proposed.grade, reason="Class and deciding factors are right.")
    told = "You named no deciding factor" if not named else f"You named {_codes(named)}"
    return _Judged(
        share=0.5,
        found=proposed.grade,
        reason=f"The class is right. {told}; it is decided by {expected.words}.",
    )


def _codes(codes: frozenset[str]) -> str:
    return ", ".join(code.replace("_", " ").replace("-", " ") for code in sorted(codes))


def _plan(work: Work) -> _Judged:
    proposed, expected = work.answer.plan, work.expected
    if proposed is None:
        return _Judged(share=0.0, found="no plan", reason="You proposed no plan and no referral.")
    if work.found.plan.violations:
        return _Judged(
            share=0.0,
            found=f"{proposed.advice}; breaks a safety rule",
            reason=" ".join(_sentence(text) for text in work.found.plan.violations[:3]),
        )
    if proposed.advice not in expected.advices:
        right = " or ".join(expected.advices)
        why = (
            ""
            if expected.expected_class is None
            else f", with class {' or '.join(expected.expected_class.classes)}"
        )
        who = expected.sheet.scenario.operator
        return _Judged(
            share=0.0, found=proposed.advice, reason=f"For the operator ({who}) the decision is {right}{why}."
        )
    wants_steps = proposed.advice == "treat" and expected.sheet.scenario.working_length_mm is not None
    if wants_steps and not proposed.steps:
        return _Judged(
            share=0.0,
            found="treat, no steps",
            reason="To treat is right; without a step there is no plan to check.",
        )
    return _Judged(
        share=1.0, found=proposed.advice, reason="The decision is right and no safety rule is broken."
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:].rstrip(".") + "."


_JUDGES: dict[Item, Callable[[Work], _Judged]] = {Item.GRADE: _grade, Item.PLAN: _plan}
