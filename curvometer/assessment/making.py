"""From a teacher's folder to two files: the hand-out for the students, the key for the teacher."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from curvometer.assessment.errors import AssessmentError
from curvometer.assessment.exercise_file import ExerciseFile, ImageRow, Order, load_exercise_file
from curvometer.assessment.files import document_bytes
from curvometer.assessment.films import Film, make_film, secret_seed
from curvometer.assessment.hand_out import HandOut, hand_out_bytes
from curvometer.assessment.key import ExerciseKey, ImageKey, Reference
from curvometer.assessment.pictures import check_not_public, plain_png
from curvometer.assessment.sheet import (
    FORMAT_VERSION,
    ExerciseSheet,
    ImageSheet,
    KnownLength,
    Purpose,
    Scenario,
    Task,
)
from curvometer.loading import load_radiograph
from curvometer.phantom.forms import TOOTH_FORMS
from curvometer.radiograph import Radiograph
from curvometer.record import CanalEntry, CanalName, CaseRecord, canal_entry, load_record
from curvometer.record.storage import new_record
from curvometer.saving import check_outputs, save_bytes

TRUTH = "truth"
"""Name of the one expert who knows a simulated canal."""
HAND_OUT_SUFFIX, KEY_SUFFIX = ".handout.zip", ".key.json"
_EVERY_TRUTH_POINT = 5  # truth comes every 0.02 mm; every 0.1 mm leaves a chord 0.6 um off an arc of 2 mm
_TRUTH_SD_PX = 0.01
_CUT_SHORT_MM = 1.5
_STATED_TO_MM = 0.5  # to which a working length is read off a ruler (common practice, no source)

Watch = Callable[[Sequence[ImageRow]], Iterable[ImageRow]]


@dataclass(frozen=True, kw_only=True)
class PreparedImage:
    """One image and its answers before it has a name in the exercise.

    Attributes
    ----------
    png
        What is handed out.
    tooth, canal, tasks, known_length, mm_per_pixel, scenario
        For the sheet; see `ImageSheet`.
    answers
        Fields of `ImageKey` but its name.
    """

    png: bytes
    tooth: int
    canal: CanalName
    tasks: tuple[Task, ...]
    known_length: KnownLength | None
    mm_per_pixel: float | None
    scenario: Scenario
    answers: Mapping[str, Any]


def write_exercise(
    folder: str | Path, *, overwrite: bool = False, watch: Watch = lambda rows: rows
) -> tuple[Path, Path]:
    """Build an exercise from a folder with an ``exercise.toml``.

    Parameters
    ----------
    folder
        With the file, the images and the records that it names; both results are written there.
    overwrite
        Whether a hand-out and a key that exist may be replaced.
    watch
        Wraps the walk over the images, to show progress.

    Returns
    -------
    hand_out, key
        Paths of ``NAME.handout.zip`` and ``NAME.key.json``.

    Raises
    ------
    AssessmentError
        When the file, an image or a reference is not usable.
    SavingError
        When a result exists and `overwrite` is false, or cannot be written.
    """
    folder = Path(folder)
    exercise = load_exercise_file(folder)
    outputs = folder / f"{exercise.name}{HAND_OUT_SUFFIX}", folder / f"{exercise.name}{KEY_SUFFIX}"
    check_outputs(outputs, overwrite=overwrite)
    rubric = _rubric_text(folder, exercise)
    prepared = [prepare(row, folder, purpose=exercise.purpose) for row in watch(exercise.images)]
    hand_out, key = assemble(exercise, prepared, rubric=rubric)
    save_bytes(document_bytes(key), outputs[1], overwrite=overwrite)
    save_bytes(hand_out_bytes(hand_out), outputs[0], overwrite=overwrite)
    return outputs


def assemble(
    exercise: ExerciseFile, prepared: list[PreparedImage], *, rubric: str = ""
) -> tuple[HandOut, ExerciseKey]:
    """Put images into their order, name them by it, and part what is handed out from what is kept.

    Raises
    ------
    AssessmentError
        When an image is there twice.
    """
    order = list(prepared)
    if exercise.order is Order.SHUFFLED or (exercise.order is None and exercise.purpose is Purpose.MARKED):
        secrets.SystemRandom().shuffle(order)
    hashes = [hashlib.sha256(image.png).hexdigest() for image in order]
    if len(set(hashes)) < len(hashes):
        raise AssessmentError(f"two images of {exercise.name} are the same to the pixel: keep one of them")
    ids = [f"image-{number:0{max(2, len(str(len(order))))}d}" for number in range(1, len(order) + 1)]
    created = dt.datetime.now(dt.UTC).replace(microsecond=0)
    sheet = ExerciseSheet(
        format="curvometer-exercise",
        format_version=FORMAT_VERSION,
        exercise=exercise.name,
        title=exercise.title or exercise.name,
        created=created,
        purpose=exercise.purpose,
        criteria=exercise.criteria,
        images=[_image_sheet(*row) for row in zip(ids, hashes, order, strict=True)],
    )
    key = ExerciseKey(
        format="curvometer-key",
        format_version=FORMAT_VERSION,
        exercise=exercise.name,
        edition=sheet.edition,
        created=created,
        images=[ImageKey(id=name, **image.answers) for name, image in zip(ids, order, strict=True)],
        rubric=rubric,
    )
    images = {name: image.png for name, image in zip(ids, order, strict=True)}
    shown = key if exercise.purpose is Purpose.PRACTICE else None
    return HandOut(sheet=sheet, images=images, key=shown), key


def prepare(row: ImageRow, folder: Path, *, purpose: Purpose) -> PreparedImage:
    """Make or load one image with its answers.

    Raises
    ------
    AssessmentError
        When the image or one of its references is not usable.
    """
    if row.phantom is not None:
        return prepare_film(make_film(row.phantom, secret_seed()), row)
    return _prepare_file(row, folder, purpose)


def prepare_film(film: Film, row: ImageRow) -> PreparedImage:
    """Turn a simulated film into an image with its truth as the one reference."""
    fault = film.made_from["fault"]
    radiograph = film.phantom.radiograph
    if fault == "apex-cut-off":
        radiograph = _without_apex(film)
    scenario = row.scenario
    if film.text and not scenario.text:
        scenario = scenario.model_copy(update={"text": film.text})
    if scenario.working_length_mm is None:
        scenario = scenario.model_copy(update={"working_length_mm": _working_length_mm(film)})
    return PreparedImage(
        png=plain_png(radiograph),
        tooth=film.tooth,
        canal=CanalName(film.canal),
        tasks=_tasks(row, film.known_length, scenario),
        known_length=film.known_length,
        mm_per_pixel=None,
        scenario=scenario,
        answers={
            "acceptable": fault is None,
            "reasons": [] if fault is None else [fault],
            "references": [] if fault else [truth_reference(film)],
            "grade": row.grade,
            "advice": row.advice,
            "made_from": film.made_from,
        },
    )


def truth_reference(film: Film) -> Reference:
    """Measure a simulated canal's own line."""
    from curvometer.calibration import calibrate_from_mm_per_pixel  # noqa: PLC0415
    from curvometer.measurement import measure_canal  # noqa: PLC0415
    from curvometer.tracing import centreline_from_points  # noqa: PLC0415

    truth = film.phantom.truth
    last = len(truth.centreline_rc) - 1
    points = truth.centreline_rc[[*range(0, last, _EVERY_TRUTH_POINT), last]]
    line = centreline_from_points(
        points, structure=film.phantom.options.structure, position_sd_px=_TRUTH_SD_PX
    )
    calibration = calibrate_from_mm_per_pixel(truth.mm_per_pixel)
    canal = canal_entry(line, measure_canal(line, calibration), name=film.canal)
    record = new_record(radiograph=None, calibration=calibration, canals=[canal])
    return Reference(expert=TRUTH, exact=True, calibration=record.calibration, canal=canal)


def _prepare_file(row: ImageRow, folder: Path, purpose: Purpose) -> PreparedImage:
    assert row.file is not None and row.tooth is not None and row.canal is not None  # noqa: PT018 - one condition
    path = _inside(folder, row.file)
    radiograph = load_radiograph(path, inverted=row.inverted)
    try:
        if purpose is Purpose.MARKED:
            check_not_public(radiograph)
        png = plain_png(radiograph)
    except AssessmentError as error:
        raise AssessmentError(f"the image {row.file} cannot be used: {error}") from error
    hashes = {radiograph.sha256, hashlib.sha256(png).hexdigest()}
    references = [
        read_reference(
            expert, _inside(folder, name), canal=row.canal, image_hashes=hashes, shape=radiograph.shape
        )
        for expert, name in row.references.items()
    ]
    return PreparedImage(
        png=png,
        tooth=row.tooth,
        canal=row.canal,
        tasks=_tasks(row, row.known_length, row.scenario),
        known_length=row.known_length,
        mm_per_pixel=row.mm_per_pixel,
        scenario=row.scenario,
        answers={
            "acceptable": row.acceptable,
            "reasons": list(row.reasons),
            "references": references,
            "grade": row.grade,
            "advice": row.advice,
        },
    )


def read_reference(
    expert: str, path: Path, *, canal: CanalName, image_hashes: set[str], shape: tuple[int, int]
) -> Reference:
    """Take an expert's tracing out of a record.

    Parameters
    ----------
    expert
        Name or pseudonym.
    path
        The record.
    canal
        Which canal of it.
    image_hashes
        Of the film, and of the same film as it is handed out.
    shape
        Rows and columns of the film.

    Raises
    ------
    AssessmentError
        When the record is of another image, lacks the canal or a scale at the tooth.
    """
    record = load_record(path)
    if record.image is None:
        raise AssessmentError(
            f"{path} does not say which image was traced: measure on the image, not from a trace"
        )
    if record.image.sha256 not in image_hashes or (record.image.rows, record.image.columns) != shape:
        raise AssessmentError(f"{path} was traced on another image: give the record of this one")
    if record.calibration.mm_per_pixel is None:
        raise AssessmentError(f"{path} has no scale at the tooth: measure again with a known length")
    return Reference(expert=expert, calibration=record.calibration, canal=_canal(record, canal, path))


def _canal(record: CaseRecord, wanted: CanalName, path: Path) -> CanalEntry:
    found = [canal for canal in record.canals if canal.name == wanted]
    if not found and len(record.canals) == 1 and record.canals[0].name is None:
        found = record.canals  # measured by command, where canals have no name
    if len(found) != 1:
        told = ", ".join(str(canal.name) for canal in record.canals) or "none"
        raise AssessmentError(f"{path} has not one canal {wanted}, it has: {told}; trace {wanted} once")
    return found[0].model_copy(update={"name": wanted})


def _tasks(row: ImageRow, known_length: KnownLength | None, scenario: Scenario) -> tuple[Task, ...]:
    """Everything that is wanted, or that can be asked, in the order of the work."""
    if row.tasks is not None:
        return tuple(task for task in Task if task in row.tasks)
    impossible = set() if known_length is not None else {Task.CALIBRATE}
    if scenario.working_length_mm is None:
        impossible.add(Task.PLAN)
    return tuple(task for task in Task if task not in impossible)


def _image_sheet(name: str, sha256: str, image: PreparedImage) -> ImageSheet:
    return ImageSheet(
        id=name,
        file=f"{name}.png",
        sha256=sha256,
        tooth=image.tooth,
        canal=image.canal,
        tasks=list(image.tasks),
        known_length=image.known_length,
        mm_per_pixel=image.mm_per_pixel,
        scenario=image.scenario,
    )


def _working_length_mm(film: Film) -> float:
    """From the top of the crown to the foramen along the canal, as a clinician would state it: to half a millimetre."""
    form = TOOTH_FORMS[film.phantom.options.tooth]
    length = film.phantom.truth.shape.length_mm + form.orifice_t_mm + form.crown.height_mm
    return round(length / _STATED_TO_MM) * _STATED_TO_MM


def _without_apex(film: Film) -> Radiograph:
    """Cut the picture off before the foramen, on the side of the apex."""
    radiograph, truth = film.phantom.radiograph, film.phantom.truth
    short = round(_CUT_SHORT_MM / truth.mm_per_pixel)
    row = round(truth.foramen_rc[0])
    down = truth.foramen_rc[0] > truth.orifice_rc[0]
    kept = radiograph.pixels[: row - short] if down else radiograph.pixels[row + short :]
    return replace(radiograph, pixels=kept.copy(), sha256="")


def _rubric_text(folder: Path, exercise: ExerciseFile) -> str:
    if exercise.rubric is None:
        return ""
    from curvometer.assessment.rubric_file import load_rubric  # noqa: PLC0415 - only with a rubric of one's own

    path = _inside(folder, exercise.rubric)
    load_rubric(path)
    return path.read_text(encoding="utf-8-sig")


def _inside(folder: Path, name: str) -> Path:
    """Give a path below the folder; an exercise that is passed on must not read other places."""
    path = folder / name
    try:
        inside = path.resolve().is_relative_to(folder.resolve())
    except (OSError, ValueError, RuntimeError) as error:
        raise AssessmentError(
            f"{name!r:.80} cannot be the name of a file: correct it in exercise.toml"
        ) from error
    if not inside:
        raise AssessmentError(f"{name!r:.80} lies outside of the exercise's folder {folder}: copy it there")
    return path
