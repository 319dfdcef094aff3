"""What is right to decide on an image: the class, treat or refer, and the request that a plan is checked against."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.key import ImageKey
from curvometer.assessment.sheet import ExerciseSheet, ImageSheet, Scenario, Task
from curvometer.difficulty import (
    Advice,
    CaseFacts,
    DifficultyGrade,
    Operator,
    grade_difficulty,
    suggest_referral,
)
from curvometer.measurement import CanalMeasurement
from curvometer.sequence import CaseContext, Exploration, PlanRequest, request_of_measurement


class ExpectedClass(NamedTuple):
    """The class that is right, and why.

    Attributes
    ----------
    classes
        Every class that an expert's measurement gives, or the one that the teacher states.
    deciding
        Codes of the factors that decide, one set for each expert; empty where the teacher's class is another one.
    raising
        Codes of all factors that make the case harder: naming them is not wrong.
    words
        For the reason.
    """

    classes: tuple[str, ...]
    deciding: tuple[frozenset[str], ...]
    raising: frozenset[str]
    words: str


def _facts(image: ImageSheet) -> CaseFacts:
    case = image.scenario
    stated = {
        "visibility": case.visibility,
        "apex_opening_mm": case.apex_opening_mm,
        "operator": Operator(case.operator),
        **case.facts,
    }
    try:
        return CaseFacts(tooth=image.tooth, canal=image.canal.value, **stated)  # type: ignore[arg-type]  # checked there
    except TypeError:
        known = ", ".join(name for name in CaseFacts.__dataclass_fields__ if name not in ("tooth", "canal"))
        raise AssessmentError(f"a fact of its scenario is unknown; known are {known}") from None


def graded(sheet: ExerciseSheet, image: ImageSheet, measurement: CanalMeasurement) -> DifficultyGrade | None:
    """Grade one expert's measurement; None where no decision is asked."""
    if Task.GRADE not in image.tasks and Task.PLAN not in image.tasks:
        return None
    return grade_difficulty(measurement, criteria=sheet.criteria, facts=_facts(image))


def expected_class(key: ImageKey, grades: Sequence[DifficultyGrade | None]) -> ExpectedClass:
    """The class that the teacher states, else every one that an expert's measurement gives.

    Raises
    ------
    AssessmentError
        When nobody gives one.
    """
    known = [grade for grade in grades if grade is not None and grade.grade is not None]
    classes = tuple(dict.fromkeys(str(grade.grade) for grade in known))
    if key.grade is not None:
        known = [grade for grade in known if grade.grade == key.grade]
        classes = (key.grade,)
    if not classes:
        raise AssessmentError(
            "its reference gives no class by the exercise's criteria; state grade in the exercise's file"
        )
    factors = [factor for grade in known for factor in grade.factors]
    return ExpectedClass(
        classes=classes,
        deciding=tuple(dict.fromkeys(frozenset(grade.deciding_codes) for grade in known)),
        raising=frozenset(factor.criterion.code for factor in factors if factor.counts and factor.level > 0),
        words=known[0].deciding_factor if known else "stated by the teacher",
    )


def right_advices(
    key: ImageKey, grades: Sequence[DifficultyGrade | None], scenario: Scenario
) -> tuple[str, ...]:
    """The decisions that are right; where a referral is only to be considered, both are."""
    if key.advice is not None:
        return (key.advice,)
    known = [grade for grade in grades if grade is not None]
    found = {suggest_referral([grade], operator=scenario.operator).advice for grade in known}
    if not found - {None}:
        return ("treat", "refer")
    both = found & {Advice.CONSIDER_REFERRAL, None}
    return tuple(
        word for word, advice in (("treat", Advice.TREAT), ("refer", Advice.REFER)) if both or advice in found
    )


def plan_request(image: ImageSheet, measurement: CanalMeasurement) -> PlanRequest:
    """The canal as the reference measures it, with the findings that the exercise states, on the default shelf.

    Raises
    ------
    CurvometerError
        When the scenario does not fit the canal.
    """
    case = image.scenario
    found = Exploration(
        working_length_mm=case.working_length_mm,
        reached_size=case.reached_size,
        visibility=case.visibility,
        blocked=case.blocked,
        apex_opening_mm=case.apex_opening_mm,
        operator=Operator(case.operator),
    )
    context = CaseContext(tooth=image.tooth, canal=image.canal.value)
    return request_of_measurement(measurement, found, context=context)
