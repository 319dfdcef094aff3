"""Teaching: exercises to hand out, submissions to mark against reference tracings, a class in one table.

Names are loaded when first asked for: the models bring pydantic, the pictures more.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOMES = {
    "curriculum": ("PracticeLevel", "PracticeResult", "next_level", "practice_exercise", "practice_image"),
    "exercise_file": ("ExerciseFile", "ImageRow", "load_exercise_file"),
    "expectations": ("Expectations", "expect"),
    "feedback": ("feedback_picture",),
    "feedback_text": ("feedback_words",),
    "marking": ("mark_answer", "mark_submission"),
    "errors": ("AssessmentError",),
    "faults": ("IMAGE_FAULTS",),
    "files": ("load_key", "load_submission", "new_submission", "save_key", "save_submission"),
    "hand_out": ("HandOut", "open_hand_out"),
    "key": ("ExerciseKey", "ImageKey", "Reference"),
    "marks": ("ErrorKind", "ImageMark", "ItemMark", "SheetMark"),
    "sheet": ("ExerciseSheet", "ImageSheet", "KnownLength", "Purpose", "Scenario", "Task"),
    "submission": ("Answer", "ProposedGrade", "ProposedPlan", "StepEntry", "Submission", "seal_of"),
}


def __getattr__(name: str) -> Any:
    for home, names in _HOMES.items():
        if name in names:
            return getattr(import_module(f"curvometer.assessment.{home}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
