"""An exercise whose truth is known in closed form, and students who err in one known way: for tests of marking.

Canals are straight a, arc (R, theta), straight b in millimetres (`published.curvature_tables`), laid on pixels of 0.02 mm, so
every error below has the size that its name says. No image is needed to mark.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from published.curvature_tables import lay

from curvometer import Centreline, calibrate_from_mm_per_pixel, measure_canal
from curvometer.assessment.expectations import Expectations, expect
from curvometer.assessment.key import ExerciseKey, ImageKey, Reference
from curvometer.assessment.sheet import ExerciseSheet, ImageSheet, KnownLength, Purpose, Scenario, Task
from curvometer.assessment.submission import Answer, ProposedGrade, ProposedPlan, StepEntry
from curvometer.record import canal_entry
from curvometer.record.models import CalibrationEntry, CentrelineEntry
from curvometer.record.plain import calibration_to_plain, centreline_to_plain

PIXEL_MM = 0.02
ORIFICE_RC = (200.0, 500.0)
MADE = dt.datetime(2026, 1, 5, tzinfo=dt.UTC)
SAFE_STEPS = (
    StepEntry(kind="hand", size=8, taper=0.02, to_mm=20.0),
    StepEntry(kind="hand", size=10, taper=0.02, to_mm=20.0),
)
UNSAFE_STEPS = (StepEntry(kind="rotary", size=25, taper=0.04, to_mm=20.0, speed_rpm=300.0, seconds=8.0),)
EVERYTHING = tuple(Task)


@dataclass(frozen=True, kw_only=True)
class Canal:
    """Straight a, arc (R, theta), straight b, all in mm and degrees, with its orifice on the image."""

    a: float = 6.0
    radius: float = 7.0
    angle: float = 50.0
    b: float = 0.0
    at_rc: tuple[float, float] = ORIFICE_RC

    @property
    def arc_mm(self) -> float:
        return self.radius * np.radians(self.angle)

    def points_rc(self, count: int = 200, *, a_shift: float = 0.0) -> np.ndarray:
        """Points at equal distances; `a_shift` starts the curve later by that much on a canal of the same length."""
        pieces = [(self.a + a_shift, 0.0), (self.arc_mm, self.angle), (max(self.b - a_shift, 0.0), 0.0)]
        dense, _ = lay(pieces, 0.01)
        at = np.linspace(0, len(dense) - 1, count).round().astype(int)
        return dense[at] / PIXEL_MM + self.at_rc  # u runs down the rows, v across the columns


CANALS = (
    Canal(),
    Canal(a=5.0, radius=10.0, angle=40.0, at_rc=(300.0, 800.0)),
    Canal(a=7.0, radius=5.0, angle=60.0, b=1.0, at_rc=(150.0, 300.0)),
)


def scale_entry(mm_per_pixel: float = PIXEL_MM, doubt: float = 0.0) -> CalibrationEntry:
    calibration = calibrate_from_mm_per_pixel(mm_per_pixel, relative_standard_uncertainty=doubt)
    return CalibrationEntry.model_validate(calibration_to_plain(calibration), strict=False)


def entry(points_rc: np.ndarray, mm_per_pixel: float = PIXEL_MM):
    line = Centreline(points_rc=points_rc)
    return canal_entry(line, measure_canal(line, calibrate_from_mm_per_pixel(mm_per_pixel)), name="MB")


@cache
def _template():
    return entry(CANALS[0].points_rc(30))


def unmeasured_entry(points_rc: np.ndarray):
    """A tracing beside which some other line's measurement stands: quick, and enough where only the marks count."""
    whole = _template()
    line = CentrelineEntry.model_validate(centreline_to_plain(Centreline(points_rc=points_rc)), strict=False)
    return whole.model_copy(update={"centreline": line})


def aside(points_rc: np.ndarray, offset_mm: float) -> np.ndarray:
    """The same line that much farther to the right."""
    return points_rc + np.array([0.0, offset_mm / PIXEL_MM])


def reference(points_rc: np.ndarray, expert: str = "truth", *, exact: bool | None = None) -> Reference:
    exact = expert == "truth" if exact is None else exact
    return Reference(expert=expert, exact=exact, calibration=scale_entry(), canal=entry(points_rc))


def sha_of(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()


def image_sheet(name: str, tasks: Sequence[Task] = EVERYTHING, **changes) -> ImageSheet:
    known = KnownLength(what="the steel wire", length_mm=10.0)
    values = {
        "id": name,
        "file": f"{name}.png",
        "sha256": sha_of(name),
        "tooth": 36,
        "canal": "MB",
        "tasks": list(tasks),
        "known_length": known,
        "scenario": Scenario(working_length_mm=20.0),
    }
    return ImageSheet.model_validate(values | changes, strict=False)


def exercise(
    images: Sequence[ImageSheet], keys: Sequence[ImageKey], rubric: str = ""
) -> tuple[ExerciseSheet, ExerciseKey]:
    sheet = ExerciseSheet(
        format="curvometer-exercise",
        format_version=1,
        exercise="curves",
        title="Curves",
        created=MADE,
        purpose=Purpose.MARKED,
        criteria="aae-2022",
        images=list(images),
    )
    key = ExerciseKey(
        format="curvometer-key",
        format_version=1,
        exercise="curves",
        edition=sheet.edition,
        created=MADE,
        images=list(keys),
        rubric=rubric,
    )
    return sheet, key


def known_exercise(
    canals: Sequence[Canal] = CANALS, tasks: Sequence[Task] = EVERYTHING, rubric: str = "", **changes
) -> Expectations:
    """One image for each canal, named f1, f2 ..., with the exact line for a reference."""
    names = [f"f{i}" for i in range(1, len(canals) + 1)]
    keys = [
        ImageKey(id=name, references=[reference(canal.points_rc())])
        for name, canal in zip(names, canals, strict=True)
    ]
    return expect(*exercise([image_sheet(name, tasks, **changes) for name in names], keys, rubric))


def experts_exercise(lines_rc: Sequence[np.ndarray], tasks: Sequence[Task] = (Task.TRACE,)) -> Expectations:
    """One image f1 with a reference of several experts."""
    references = [reference(line, f"expert-{i}") for i, line in enumerate(lines_rc, 1)]
    return expect(*exercise([image_sheet("f1", tasks)], [ImageKey(id="f1", references=references)]))


@cache
def _entry_of(truth: Canal):
    return entry(truth.points_rc())


def right_grade(expectations: Expectations, name: str) -> ProposedGrade:
    right = expectations.images[name].expected_class
    return ProposedGrade(grade=right.classes[0], factors=sorted(right.deciding[0]))


def perfect_answer(expectations: Expectations, name: str, truth: Canal, **changes) -> Answer:
    """What the truth itself would hand in; `changes` replace parts of it."""
    expected = expectations.images[name]
    values = {
        "image": name,
        "sha256": sha_of(name),
        "accepted": True,
        "calibration": scale_entry(),
        "canal": _entry_of(truth),
        "grade": right_grade(expectations, name) if expected.expected_class else None,
        "plan": ProposedPlan(advice=expected.advices[0], steps=list(SAFE_STEPS))
        if expected.advices
        else None,
    }
    return Answer(**(values | changes))


def noisy(points_rc: np.ndarray, error_mm: float, seed: int = 1) -> np.ndarray:
    """Independent errors of every point."""
    return points_rc + np.random.default_rng(seed).normal(0.0, 1.0, points_rc.shape) * error_mm / PIXEL_MM
