"""A submission to marks: every number is worked out anew from the student's own tracing and scale."""

from __future__ import annotations

from curvometer.assessment.error_kinds import error_kinds
from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.expectations import Expectations, ImageExpectation
from curvometer.assessment.findings import find
from curvometer.assessment.item_marks import Work, mark_items, nothing_done
from curvometer.assessment.marks import ErrorKind, ImageMark, SheetMark
from curvometer.assessment.remarks import stated_remark, submission_remarks
from curvometer.assessment.submission import Answer, Submission


def mark_submission(expectations: Expectations, submission: Submission) -> SheetMark:
    """Mark one student's submission.

    Parameters
    ----------
    expectations
        From `expect`, made once for the whole class.
    submission
        Of this exercise; one that was made on another edition is marked image by image where the image is still the same.

    Returns
    -------
    SheetMark
        Marks for every image of the exercise, and in sentences what is odd about the submission.

    Raises
    ------
    AssessmentError
        When the submission belongs to another exercise.
    """
    sheet = expectations.sheet
    if submission.exercise != sheet.exercise:
        raise AssessmentError(
            f"the submission of {submission.student} is one of exercise {submission.exercise}, not of {sheet.exercise}:"
            " mark it with that exercise's key"
        )
    answers = {answer.image: answer for answer in reversed(submission.answers)}  # the first one counts
    marked = [
        (_nothing_done(expected), "")
        if name not in answers
        else _marked(expectations, expected, answers[name])
        for name, expected in expectations.images.items()
    ]
    return SheetMark(
        student=submission.student,
        exercise=submission.exercise,
        occasion=submission.occasion,
        images=tuple(mark for mark, _ in marked),
        remarks=(
            *submission_remarks(expectations, submission),
            *(remark for _, remark in marked if remark),
        ),
    )


def mark_answer(expectations: Expectations, image_id: str, answer: Answer) -> ImageMark:
    """Mark the work on one image.

    Parameters
    ----------
    expectations
        From `expect`.
    image_id
        Name of the image.
    answer
        The student's work on it.

    Returns
    -------
    ImageMark
        Points with their reasons, kinds of error, and the numbers that were compared.

    Raises
    ------
    AssessmentError
        When the exercise has no such image.
    """
    expected = expectations.images.get(image_id)
    if expected is None:
        raise AssessmentError(
            f"the exercise {expectations.sheet.exercise} has no image {image_id!r}: it has"
            f" {', '.join(expectations.images)}"
        )
    return _marked(expectations, expected, answer)[0]


def _marked(expectations: Expectations, expected: ImageExpectation, answer: Answer) -> tuple[ImageMark, str]:
    """Marks of one image, and what is odd about the numbers that it states."""
    if _is_empty(answer):
        return _nothing_done(expected), ""
    found = find(expectations.images, expected.sheet.id, answer)
    work = Work(expected=expected, rubric=expectations.rubric, answer=answer, found=found)
    items = mark_items(work)
    unsafe = bool(found.plan.violations)
    percent = expectations.rubric.unsafe_plan_percent
    mark = ImageMark(
        image=expected.sheet.id,
        items=items,
        cap=percent / 100.0 if unsafe else 1.0,
        cap_reason=_cap_reason(percent, found.plan.rules) if unsafe else "",
        errors=error_kinds(work, items),
        numbers=tuple(found.numbers.items()),
    )
    return mark, stated_remark(answer, found)


def _nothing_done(expected: ImageExpectation) -> ImageMark:
    return ImageMark(image=expected.sheet.id, items=nothing_done(expected), errors=(ErrorKind.NOT_DONE,))


def _is_empty(answer: Answer) -> bool:
    parts = (answer.accepted, answer.calibration, answer.canal, answer.grade, answer.plan)
    return all(part is None for part in parts)


def _cap_reason(percent: float, rules: tuple[str, ...]) -> str:
    broken = "this rule is broken" if len(rules) == 1 else "these rules are broken"
    return f"At most {percent:g} % of this image's points, because {broken}: {' '.join(rules)}"
