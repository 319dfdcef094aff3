"""A class whose errors are known: every student makes one kind of slip of known size, the rest of the work is right.

Canals are straight a, arc (R, theta), straight b in closed form (`marked_exercise.Canal`), so no image is simulated and every
slip has the size that it says. For the tests, `./run bench` and the documentation.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple

import numpy as np
from marked_exercise import (
    PIXEL_MM,
    UNSAFE_STEPS,
    Canal,
    exercise,
    image_sheet,
    perfect_answer,
    reference,
    right_grade,
    scale_entry,
)

from curvometer import Centreline, calibrate_from_mm_per_pixel, measure_canal
from curvometer.assessment import Answer, ErrorKind, ProposedGrade, ProposedPlan, Submission, new_submission
from curvometer.assessment.expectations import Expectations, expect
from curvometer.assessment.files import save_key, save_submission
from curvometer.assessment.hand_out import HandOut, hand_out_bytes
from curvometer.assessment.key import ExerciseKey, ImageKey
from curvometer.assessment.sheet import ExerciseSheet
from curvometer.centreline import TracedBy
from curvometer.geometry import arc_length, resample
from curvometer.record import canal_entry
from curvometer.record.models import CanalEntry

HANDED_IN = dt.datetime(2026, 2, 2, 8, 0, tzinfo=dt.UTC)


class Slip(StrEnum):
    """What a simulated student does wrong on every image."""

    CLEAN = "nothing"
    NOT_DONE = "opens no image"
    REJECTS = "rejects usable images"
    SWAPPED = "exchanges the images"
    REVERSED = "traces from foramen to orifice"
    SCALE = "calibrates with a wrong length"
    SHORT = "stops short"
    BEYOND = "goes beyond the foramen"
    LATE = "begins below the orifice"
    CURVE_START = "starts the curve elsewhere"
    BESIDE = "leaves the canal"
    SHAKY = "has an unsteady hand"
    ANGLE = "draws every curve too sharp"
    GRADE = "gives the wrong class"
    ADVICE = "refers what can be treated, or the reverse"
    UNSAFE = "plans against a safety rule"


EXPECTED = {
    Slip.NOT_DONE: ErrorKind.NOT_DONE,
    Slip.REJECTS: ErrorKind.IMAGE_MISJUDGED,
    Slip.SWAPPED: ErrorKind.WRONG_IMAGE,
    Slip.REVERSED: ErrorKind.REVERSED,
    Slip.SCALE: ErrorKind.SCALE,
    Slip.SHORT: ErrorKind.STOPPED_SHORT,
    Slip.BEYOND: ErrorKind.BEYOND,
    Slip.LATE: ErrorKind.WRONG_ORIFICE,
    Slip.CURVE_START: ErrorKind.CURVE_START,
    Slip.BESIDE: ErrorKind.LEFT_THE_CANAL,
    Slip.SHAKY: ErrorKind.SHAKY,
    Slip.ANGLE: ErrorKind.ANGLE,
    Slip.GRADE: ErrorKind.GRADE,
    Slip.ADVICE: ErrorKind.ADVICE,
    Slip.UNSAFE: ErrorKind.UNSAFE_PLAN,
}
"""The kind of error by which marking has to name each slip; a clean student has none."""

SIZES = {
    Slip.SCALE: 0.15,  # share of the length
    Slip.SHORT: 1.5,  # mm
    Slip.BEYOND: 1.5,
    Slip.LATE: 2.0,
    Slip.CURVE_START: 2.0,
    Slip.BESIDE: 1.0,
    Slip.SHAKY: 0.3,
    Slip.ANGLE: 6.5,  # degrees of the arc; Schneider's angle changes by half of it and more
}
"""How far off a slip is where nothing else is asked for; unmistakable, not gross."""


@dataclass(frozen=True, kw_only=True)
class SimulatedClass:
    """An exercise with its key, the submissions, and which slip each student makes."""

    sheet: ExerciseSheet
    key: ExerciseKey
    canals: dict[str, Canal]
    submissions: tuple[Submission, ...]
    slips: dict[str, Slip]


def simulated_class(
    students: int = 32,
    images: int = 4,
    *,
    slips: Sequence[Slip] = tuple(Slip),
    experts: int = 0,
    seed: int = 1,
    name: str = "curves",
    occasion: int = 1,
    only: Sequence[int] | None = None,
) -> SimulatedClass:
    """Make an exercise and a class.

    Parameters
    ----------
    students, images
        How many. Students take the slips in turn.
    slips
        Which slips there are.
    experts
        0: the exact line is the reference; else so many experts of a steady hand (0.05 mm).
    seed
        The same seed, the same class.
    name, occasion
        Of the exercise.
    only
        Numbers of the students to make, to make a large class in parts; all when None.
    """
    rng = np.random.default_rng(seed)
    canals = {f"f{i:02d}": _canal(rng) for i in range(1, images + 1)}
    sheet, key = _exercise(canals, experts, rng, name)
    expectations = expect(sheet, key)
    chosen = {f"S{i:03d}": slips[i % len(slips)] for i in range(students)}
    handed_in = tuple(
        submission_with(expectations, canals, student, slip, seed=seed * 1000 + i, occasion=occasion)
        for i, (student, slip) in enumerate(chosen.items())
        if only is None or i in only
    )
    return SimulatedClass(sheet=sheet, key=key, canals=canals, submissions=handed_in, slips=chosen)


def _canal(rng: np.random.Generator) -> Canal:
    """A canal like a molar's: 10 to 16 mm with one marked bend, none so slight that its start cannot be told."""
    return Canal(
        a=float(rng.uniform(4.5, 7.0)),
        radius=float(rng.uniform(5.0, 9.0)),
        angle=float(rng.uniform(40.0, 65.0)),
        b=float(rng.uniform(0.8, 1.6)),
        at_rc=(float(rng.uniform(120.0, 300.0)), float(rng.uniform(300.0, 1200.0))),
    )


def _exercise(
    canals: dict[str, Canal], experts: int, rng: np.random.Generator, name: str
) -> tuple[ExerciseSheet, ExerciseKey]:
    keys = []
    for image, canal in canals.items():
        if experts == 0:
            references = [reference(canal.points_rc())]
        else:
            references = [
                reference(steady_hand(canal.points_rc(), 0.05, rng), f"expert-{i}")
                for i in range(1, experts + 1)
            ]
        keys.append(ImageKey(id=image, references=references))
    sheet, key = exercise([image_sheet(image) for image in canals], keys)
    sheet = sheet.model_copy(update={"exercise": name, "title": f"Exercise {name}"})
    return sheet, key.model_copy(update={"exercise": name, "edition": sheet.edition})


def submission_with(
    expectations: Expectations,
    canals: dict[str, Canal],
    student: str,
    slip: Slip,
    *,
    size: float | None = None,
    seed: int = 0,
    occasion: int = 1,
    steadiness_mm: float = 0.02,
) -> Submission:
    """What one student hands in; `size` is the slip's, `SIZES` when None."""
    rng = np.random.default_rng(seed)
    size = SIZES.get(slip, 0.0) if size is None else size
    answers = []
    names = [] if slip is Slip.NOT_DONE else list(canals)
    for name in names:
        other = names[(names.index(name) + 1) % len(names)] if slip is Slip.SWAPPED else name
        answers.append(_answer(expectations, canals, name, other, slip, size, rng, steadiness_mm))
    return new_submission(
        expectations.sheet, student, answers, occasion, created=HANDED_IN + dt.timedelta(minutes=seed % 1000)
    )


def _answer(
    expectations: Expectations,
    canals: dict[str, Canal],
    name: str,
    traced: str,
    slip: Slip,
    size: float,
    rng: np.random.Generator,
    steadiness_mm: float,
) -> Answer:
    found_mm = PIXEL_MM * float(np.exp(rng.normal(0.0, 0.003)))
    if slip is Slip.SCALE:
        found_mm *= 1.0 + size
    line = _line(canals[traced], slip, size, rng, steadiness_mm)
    changes = {"canal": _entry(line, found_mm), "calibration": scale_entry(found_mm, 0.01)}
    expected = expectations.images[name]
    if slip is Slip.REJECTS:
        changes = {"accepted": False, "reasons": ["blurred"], "canal": None, "calibration": None}
        changes |= {"grade": None, "plan": None}
    if slip is Slip.GRADE:
        right = right_grade(expectations, name).grade
        changes["grade"] = ProposedGrade(grade="minimal" if right != "minimal" else "high")
    if slip is Slip.ADVICE:
        wrong = [word for word in ("treat", "refer") if word not in expected.advices]
        changes["plan"] = ProposedPlan(advice=wrong[0] if wrong else "treat", steps=[])
    if slip is Slip.UNSAFE:
        changes["plan"] = ProposedPlan(advice=expected.advices[0], steps=list(UNSAFE_STEPS))
    return perfect_answer(expectations, name, canals[name], **changes)


def _line(
    canal: Canal, slip: Slip, size: float, rng: np.random.Generator, steadiness_mm: float
) -> np.ndarray:
    """(n, 2) pixels: some thirty points by hand, unevenly spaced as a person sets them."""
    if slip is Slip.CURVE_START and size > 0.0:
        points = later_curve(canal, size)
    elif slip is Slip.ANGLE:
        points = sharper(canal, size).points_rc()
    else:
        points = canal.points_rc()
    length = float(arc_length(points)[-1]) * PIXEL_MM
    if slip is Slip.SHORT:
        points = _cut(points, to_mm=length - size)
    elif slip is Slip.BEYOND:
        points = _cut(replace(canal, b=canal.b + size).points_rc(), to_mm=length + size)
    elif slip is Slip.LATE:
        points = _cut(points, from_mm=size)
    elif slip is Slip.BESIDE:
        points = points + _beside(points, size)
    # A hand that jumps by 0.3 mm sets its points farther apart, or the line would run backwards.
    points = _by_hand(points, rng, fewest=17 if slip is Slip.SHAKY else 26)
    points = steady_hand(points, steadiness_mm, rng)
    if slip is Slip.SHAKY:
        points = points + _across(points) * rng.normal(0.0, size / PIXEL_MM, (len(points), 1))
    return points[::-1] if slip is Slip.REVERSED else points


def sharper(canal: Canal, more_deg: float) -> Canal:
    """The same canal with its arc turned further at the same length."""
    angle = canal.angle + more_deg
    return replace(canal, angle=angle, radius=canal.arc_mm / np.radians(angle))


def later_curve(canal: Canal, shift_mm: float) -> np.ndarray:
    """(200, 2) pixels from the same orifice to the same foramen: straight on for longer, then one arc that still gets there.

    A circle that touches the axis at u0 and passes (u, v) has the radius ((u - u0)^2 + v^2) / 2 v and turns by
    2 atan(v / (u - u0)) until there.
    """
    u, v = (canal.points_rc()[-1] - canal.at_rc) * PIXEL_MM
    start = canal.a + shift_mm
    radius = ((u - start) ** 2 + v**2) / (2.0 * v)
    angle = 2.0 * np.degrees(np.arctan2(v, u - start))
    return Canal(a=start, radius=radius, angle=angle, at_rc=canal.at_rc).points_rc()


def _cut(points: np.ndarray, *, from_mm: float = 0.0, to_mm: float = np.inf) -> np.ndarray:
    at = arc_length(points) * PIXEL_MM
    places = np.linspace(from_mm, min(to_mm, float(at[-1])), len(points))
    return np.column_stack([np.interp(places, at, points[:, k]) for k in (0, 1)])


def _beside(points: np.ndarray, size_mm: float) -> np.ndarray:
    """A swerve to one side in the middle third, back in the canal at both ends."""
    u = np.linspace(0.0, 1.0, len(points))
    swerve = np.sin(np.pi * np.clip((u - 0.15) / 0.6, 0.0, 1.0)) ** 2
    return _across(points) * (swerve * size_mm / PIXEL_MM)[:, None]


def _across(points: np.ndarray) -> np.ndarray:
    ahead = np.gradient(points, axis=0)
    return np.column_stack([-ahead[:, 1], ahead[:, 0]]) / np.hypot(*ahead.T)[:, None]


def _by_hand(points: np.ndarray, rng: np.random.Generator, fewest: int) -> np.ndarray:
    count = int(rng.integers(fewest, fewest + fewest // 2))
    dense = resample(points, 400)
    gaps = np.cumsum(rng.uniform(0.6, 1.4, count - 1))
    at = np.concatenate([[0.0], gaps / gaps[-1]]) * 399.0
    return np.column_stack([np.interp(at, np.arange(400.0), dense[:, k]) for k in (0, 1)])


def steady_hand(points: np.ndarray, error_mm: float, rng: np.random.Generator) -> np.ndarray:
    """Independent errors of every point."""
    return points + rng.normal(0.0, 1.0, points.shape) * error_mm / PIXEL_MM


def _entry(points_rc: np.ndarray, mm_per_pixel: float):
    line = Centreline(points_rc=points_rc, traced_by=TracedBy.POINTS, anchors_rc=points_rc)
    return canal_entry(line, measure_canal(line, calibrate_from_mm_per_pixel(mm_per_pixel)), name="MB")


def same_work(submission: Submission, student: str, sheet: ExerciseSheet) -> Submission:
    """The same answers under another name: copied to the pixel, and sealed anew."""
    return new_submission(sheet, student, submission.answers, submission.occasion, created=submission.created)


def grown(submission: Submission, student: str, sheet: ExerciseSheet, factor: float) -> Submission:
    """The same work under another name with every tracing larger by a factor, and the scale finer by as much.

    Angles and millimetres stay what they were, so nothing has to be measured again; no tracing is another's copy.
    """
    answers = [
        answer.model_copy(
            update={
                "canal": None if answer.canal is None else _grown_canal(answer.canal, factor),
                "calibration": None
                if answer.calibration is None or answer.calibration.mm_per_pixel is None
                else scale_entry(answer.calibration.mm_per_pixel / factor, 0.01),
            }
        )
        for answer in submission.answers
    ]
    return new_submission(sheet, student, answers, submission.occasion, created=submission.created)


def _grown_canal(canal: CanalEntry, factor: float) -> CanalEntry:
    x, y = canal.centreline.points_xy[0]

    def grow(at: tuple[float, float]) -> tuple[float, float]:
        return (x + factor * (at[0] - x), y + factor * (at[1] - y))

    line, marks = canal.centreline, canal.measurement.landmarks
    points = [grow(at) for at in line.points_xy]
    places = {
        name: at if at is None else grow(at)
        for name in ("orifice_xy", "curve_start_xy", "curve_end_xy", "foramen_xy")
        for at in (getattr(marks, name),)
    }
    arcs = [
        arc.model_copy(update={"centre_xy": grow(arc.centre_xy), "radius_px": arc.radius_px * factor})
        for arc in marks.arcs
    ]
    lines = {"axis_xy": tuple(map(grow, marks.axis_xy)), "line_xy": list(map(grow, marks.line_xy))}
    landmarks = marks.model_copy(update=places | lines | {"arcs": arcs})
    measured = canal.measurement.model_copy(update={"landmarks": landmarks})
    traced = line.model_copy(update={"points_xy": points, "anchors_xy": points})
    return canal.model_copy(update={"centreline": traced, "measurement": measured})


class ClassFiles(NamedTuple):
    """What a teacher has in hands."""

    folder: Path
    key: Path
    hand_out: Path


def write_class(simulated: SimulatedClass, folder: Path) -> ClassFiles:
    """Write a class as files: the submissions in a folder of their own, key and hand-out beside it."""
    files = write_exercise_files(simulated.sheet, simulated.key, folder)
    for submission in simulated.submissions:
        name = f"{submission.student}_{submission.exercise}_{submission.occasion}.json"
        save_submission(submission, files.folder / name)
    return files


def write_exercise_files(sheet: ExerciseSheet, key: ExerciseKey, folder: Path) -> ClassFiles:
    """Write key and hand-out; the "images" are the few bytes whose hash the sheet states, for marking opens none."""
    files = ClassFiles(
        folder / "submissions",
        folder / f"{sheet.exercise}.key.json",
        folder / f"{sheet.exercise}.handout.zip",
    )
    files.folder.mkdir(exist_ok=True)
    images = {image.id: image.id.encode() for image in sheet.images}
    files.hand_out.write_bytes(hand_out_bytes(HandOut(sheet=sheet, images=images)))
    save_key(key, files.key)
    return files
