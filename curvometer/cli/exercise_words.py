"""What a hand-out, a key or a submission holds, as plain values for ``curvometer exercise show``."""

from __future__ import annotations

from typing import Any

from curvometer.assessment.faults import IMAGE_FAULTS
from curvometer.assessment.hand_out import HandOut
from curvometer.assessment.key import ExerciseKey, ImageKey, Reference
from curvometer.assessment.sheet import ImageSheet, Task
from curvometer.assessment.submission import Answer, Submission

Plain = dict[str, Any]
_TASK_WORDS = {
    Task.ACCEPT: "accept or reject",
    Task.CALIBRATE: "calibrate",
    Task.TRACE: "trace",
    Task.GRADE: "grade",
    Task.PLAN: "plan",
}


def words_of_hand_out(hand_out: HandOut) -> Plain:
    """Tell what students get."""
    sheet = hand_out.sheet
    return {
        "what": "hand-out",
        "exercise": sheet.exercise,
        "title": sheet.title,
        "edition": sheet.edition,
        "purpose": str(sheet.purpose),
        "answers": "in this file, for practice" if hand_out.key else "not in this file",
        "criteria": sheet.criteria,
        "images": [_asked(image) for image in sheet.images],
    }


def words_of_key(key: ExerciseKey) -> Plain:
    """Tell the answers."""
    return {
        "what": "key (keep it from the students)",
        "exercise": key.exercise,
        "edition": key.edition,
        "rubric": "the teacher's own" if key.rubric else "the default one",
        "images": [_right(image) for image in key.images],
    }


def words_of_submission(submission: Submission) -> Plain:
    """Tell what a student handed in."""
    return {
        "what": "submission",
        "exercise": submission.exercise,
        "edition": submission.edition,
        "student": submission.student,
        "occasion": submission.occasion,
        "saved": submission.created.isoformat(timespec="seconds"),
        "since then": _since_then(submission),
        "images": [_done(answer) for answer in submission.answers],
    }


def _since_then(submission: Submission) -> str:
    if not submission.seal:
        return "unknown: it has no seal"
    return "changed: its seal does not fit" if submission.changed else "unchanged"


def _asked(image: ImageSheet) -> Plain:
    told: Plain = {"id": image.id, "line": [f"tooth {image.tooth}", f"canal {image.canal.value}"]}
    told["asked"] = ", ".join(_TASK_WORDS[task] for task in image.tasks)
    if image.known_length is not None:
        told["calibrate by"] = f"{image.known_length.what}: {image.known_length.length_mm:g} mm"
    if image.mm_per_pixel is not None:
        told["scale"] = f"{image.mm_per_pixel:g} mm per pixel"
    if image.scenario.text:
        told["case"] = image.scenario.text
    return told


def _right(image: ImageKey) -> Plain:
    told: Plain = {"id": image.id, "line": ["to be measured" if image.acceptable else "to be rejected"]}
    if image.reasons:
        told["because"] = "; ".join(IMAGE_FAULTS.get(code, code) for code in image.reasons)
    for reference in image.references:
        told[reference.expert] = _reading(reference)
    if image.grade:
        told["class"] = image.grade
    if image.advice:
        told["advice"] = image.advice
    return told


def _reading(reference: Reference) -> str:
    measured = reference.canal.measurement
    parts = [f"{reference.calibration.mm_per_pixel:.4g} mm per pixel"]
    for name, quantity in (
        ("Schneider angle", measured.schneider_angle),
        ("radius", measured.minimum_radius),
        ("length", measured.canal_length),
    ):
        if quantity is not None:
            parts.append(f"{name} {quantity.value:.1f} {quantity.unit}")
    return ", ".join(parts)


def _done(answer: Answer) -> Plain:
    parts = (
        ("judged", answer.accepted is not None),
        ("calibrated", answer.calibration is not None),
        ("traced", answer.canal is not None),
        ("graded", answer.grade is not None),
        ("planned", answer.plan is not None),
    )
    done = [word for word, there in parts if there]
    return {"id": answer.image, "line": [", ".join(done) or "nothing done"]}
