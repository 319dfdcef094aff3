"""What goes wrong with exercises, keys, rubrics and submissions."""

from __future__ import annotations

from curvometer.radiograph import CurvometerError


class AssessmentError(CurvometerError):
    """An exercise, a key, a rubric or a submission that cannot be used; one sentence."""
