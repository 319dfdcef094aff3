"""One student at work on an exercise, as frozen values: what was done on each image, and what is still to do.

Every step is a function from a run to a new run. Nothing here knows a window, and nothing here is a measurement: a
tracing's answer is computed from its clicks when the submission is made, so it can never be older than they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from curvometer import (
    Answer,
    Calibration,
    CanalEntry,
    CurvometerError,
    ExerciseSheet,
    ImageSheet,
    ProposedGrade,
    ProposedPlan,
    Radiograph,
    Task,
    calibrate_from_mm_per_pixel,
    canal_entry,
    new_record,
)
from curvometer_napari.case import Case
from curvometer_napari.history import History
from curvometer_napari.solving import Result, scale_of, solve

TASK_WORDS = {
    Task.ACCEPT: "judge the image",
    Task.CALIBRATE: "calibrate",
    Task.TRACE: "trace",
    Task.GRADE: "grade",
    Task.PLAN: "plan",
}
"""What is asked, in a word or two."""


@dataclass(frozen=True, kw_only=True)
class ImageWork:
    """What was done on one image.

    Attributes
    ----------
    history
        Clicks along files and canals, every step of them.
    accepted
        Whether the image would be used; None: not said.
    reasons
        Why not, as codes of `curvometer.IMAGE_FAULTS`.
    grade, plan
        The student's own; None: not given.
    seconds
        How long the image was open; 0: never.
    """

    history: History = field(default_factory=History)
    accepted: bool | None = None
    reasons: tuple[str, ...] = ()
    grade: ProposedGrade | None = None
    plan: ProposedPlan | None = None
    seconds: float = 0.0

    @property
    def case(self) -> Case:
        """The clicks as they are now."""
        return self.history.case

    @property
    def begun(self) -> bool:
        """Whether there is anything to hand in; how the image is shown is not."""
        said = self.accepted is not None or self.grade is not None or self.plan is not None
        return said or bool(self.case.scale_objects or self.case.tracings)


@dataclass(frozen=True, kw_only=True)
class ExerciseRun:
    """A student's work on an exercise.

    Attributes
    ----------
    sheet
        What is asked.
    works
        One for each image of the sheet, in its order.
    at
        Index of the image that is open.
    student
        The pseudonym that the teacher gave; empty until it is typed.
    occasion
        1 for the first time.
    """

    sheet: ExerciseSheet
    works: tuple[ImageWork, ...]
    at: int = 0
    student: str = ""
    occasion: int = 1

    @property
    def image(self) -> ImageSheet:
        """What is asked on the image that is open."""
        return self.sheet.images[self.at]

    @property
    def work(self) -> ImageWork:
        """What was done on the image that is open."""
        return self.works[self.at]

    @property
    def begun(self) -> bool:
        """Whether anything was done on any image."""
        return any(work.begun for work in self.works)


def begin(sheet: ExerciseSheet) -> ExerciseRun:
    """Open an exercise at its first image."""
    return ExerciseRun(sheet=sheet, works=tuple(ImageWork() for _ in sheet.images))


def at_image(run: ExerciseRun, index: int) -> ExerciseRun:
    """Go to another image; beyond the ends is at the ends."""
    return replace(run, at=min(max(index, 0), len(run.works) - 1))


def with_work(run: ExerciseRun, work: ImageWork, *, at: int | None = None) -> ExerciseRun:
    """Put work in the place of what was done on an image, the open one when `at` is None."""
    place = run.at if at is None else at
    works = (*run.works[:place], work, *run.works[place + 1 :])
    return replace(run, works=works)


def with_steps(run: ExerciseRun, history: History, *, seconds: float) -> ExerciseRun:
    """Take over what was clicked on the open image, and for how much longer it was open."""
    return with_work(run, replace(run.work, history=history, seconds=run.work.seconds + seconds))


def judged(run: ExerciseRun, accepted: bool | None, reasons: tuple[str, ...] = ()) -> ExerciseRun:
    """Say whether the open image would be used; an image that is used has no faults that forbid it."""
    return with_work(run, replace(run.work, accepted=accepted, reasons=reasons if accepted is False else ()))


def graded(run: ExerciseRun, grade: ProposedGrade | None) -> ExerciseRun:
    """Give the open image's canal a class."""
    return with_work(run, replace(run.work, grade=grade))


def planned(run: ExerciseRun, plan: ProposedPlan | None) -> ExerciseRun:
    """Propose a plan for the open image's canal."""
    return with_work(run, replace(run.work, plan=plan))


def missing(run: ExerciseRun, index: int | None = None) -> tuple[Task, ...]:
    """Tell what is asked on an image and not done yet, the open one when `index` is None, in the order of the work."""
    place = run.at if index is None else index
    image, work = run.sheet.images[place], run.works[place]
    asked = asked_now(image, work)
    return tuple(task for task in asked if not _done(task, image, work))


def asked_now(image: ImageSheet, work: ImageWork) -> tuple[Task, ...]:
    """Tell what is asked: on an image that the student rejects, nothing but the judgement."""
    tasks = tuple(task for task in Task if task in image.tasks)
    if Task.ACCEPT in tasks and work.accepted is False:
        return (Task.ACCEPT,)
    return tasks


def _done(task: Task, image: ImageSheet, work: ImageWork) -> bool:
    if task is Task.ACCEPT:
        return work.accepted is True or bool(work.reasons)
    if task is Task.CALIBRATE:
        return bool(work.case.scale_objects) or image.known_length is None
    if task is Task.TRACE:
        tracing = work.case.tracing(image.canal)
        return tracing is not None and tracing.accepted
    if task is Task.GRADE:
        return work.grade is not None
    return work.plan is not None


def still_to_do(run: ExerciseRun, index: int | None = None) -> str:
    """Tell what is missing on an image in words; empty when nothing is."""
    place = run.at if index is None else index
    image, work = run.sheet.images[place], run.works[place]
    return ", ".join(_to_do(task, image, work) for task in missing(run, place))


def _to_do(task: Task, image: ImageSheet, work: ImageWork) -> str:
    if task is Task.ACCEPT and work.accepted is False:
        return "tick why the image cannot be used"
    if task is not Task.TRACE:
        return TASK_WORDS[task]
    draft = work.case.draft
    if draft is not None:
        return f"finish {draft.name} with Enter"
    others = [str(tracing.name) for tracing in work.case.tracings]
    if others:
        return f"trace {image.canal} (what you traced is named {others[-1]}: rename it if it is the one)"
    return f"trace {image.canal}"


def unfinished(run: ExerciseRun) -> tuple[int, ...]:
    """Indices of the images on which something is missing."""
    return tuple(index for index in range(len(run.works)) if missing(run, index))


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What the clicks on one image gave.

    Attributes
    ----------
    calibration
        The scale; None where there is none.
    canal
        Outcome of the tracing that is asked; None where there is none.
    """

    calibration: Calibration | None = None
    canal: Result | None = None


def stated_scale(image: ImageSheet) -> Calibration | None:
    """The scale that the sheet states; None when it is to be found, or not known."""
    return None if image.mm_per_pixel is None else calibrate_from_mm_per_pixel(image.mm_per_pixel)


def outcome(radiograph: Radiograph, image: ImageSheet, case: Case) -> Outcome:
    """Compute what the clicks on an image give; takes some tenths of a second.

    Raises
    ------
    CurvometerError
        When the clicks along a file give no scale.
    """
    scale = scale_of(radiograph, case.scale_objects, stated=stated_scale(image))
    tracing = case.tracing(image.canal)
    result = solve(radiograph, scale, tracing) if tracing is not None and tracing.accepted else None
    return Outcome(calibration=scale, canal=result)


def answer(image: ImageSheet, work: ImageWork, found: Outcome) -> Answer:
    """Put the work on one image into the form of a submission.

    Raises
    ------
    UnmeasuredError
        When the tracing cannot be measured.
    """
    accept = Task.ACCEPT in image.tasks
    scale = found.calibration
    known = scale is not None and scale.at_tooth
    record = (
        new_record(radiograph=None, calibration=scale, canals=[]) if scale is not None and known else None
    )
    return Answer(
        image=image.id,
        sha256=image.sha256,
        accepted=work.accepted if accept else None,
        reasons=list(work.reasons) if accept else [],
        calibration=None if record is None else record.calibration,
        canal=_canal(image, found.canal),
        grade=work.grade if Task.GRADE in image.tasks else None,
        plan=work.plan if Task.PLAN in image.tasks else None,
        seconds=round(work.seconds, 1),
    )


def answers(run: ExerciseRun, found: Mapping[str, Outcome]) -> list[Answer]:
    """Put the work on all images that were begun into the form of a submission.

    Parameters
    ----------
    run
        The student's work.
    found
        `outcome` of each image that was begun, by its name.
    """
    pairs = zip(run.sheet.images, run.works, strict=True)
    return [answer(image, work, found[image.id]) for image, work in pairs if work.begun]


class UnmeasuredError(CurvometerError):
    """A tracing of an exercise that gives no measurement, with the reason."""


def _canal(image: ImageSheet, result: Result | None) -> CanalEntry | None:
    if result is None:
        return None
    if result.centreline is None or result.measurement is None:
        raise UnmeasuredError(
            f"the canal {image.canal} on image {image.id} is not measured: {result.problem}"
        )
    return canal_entry(result.centreline, result.measurement, name=image.canal)
