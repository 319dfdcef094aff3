"""``curvometer exercise``: make what students are handed, and what the teacher keeps."""

from __future__ import annotations

import json
from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from curvometer.cli.argument_kinds import UsageError

if TYPE_CHECKING:
    from curvometer.assessment import ExerciseKey, HandOut, Submission

_ZIP = b"PK\x03\x04"


def run(arguments: Namespace) -> int:
    """Do what the action says."""
    actions = {"new": _new, "add": _add, "build": _build, "show": _show}
    return actions[arguments.action](arguments)


def _new(arguments: Namespace) -> int:
    from curvometer.assessment.curriculum import graded_orders  # noqa: PLC0415
    from curvometer.assessment.exercise_text import begin_exercise  # noqa: PLC0415

    folder = Path(arguments.folder)
    if folder.is_dir() and any(folder.iterdir()):
        raise UsageError(f"the folder {folder} is not empty: give a new one")
    name = arguments.name or folder.resolve().name
    films = graded_orders(
        arguments.phantoms or 0,
        level=arguments.level,
        angle_deg=arguments.angle,
        radius_mm=arguments.radius,
        kind=arguments.kind,
        known_object=arguments.known_object,
    )
    path = begin_exercise(
        folder,
        name=name,
        title=arguments.title or name,
        purpose="practice" if arguments.practice else "marked",
        criteria=arguments.criteria,
        films=films,
    )
    print(path)
    following = "build" if films else "add"
    print(f"Look through it, then: curvometer exercise {following} {folder}{'' if films else ' IMAGE ...'}")
    return 0


def _add(arguments: Namespace) -> int:
    from curvometer.assessment.exercise_text import add_image  # noqa: PLC0415

    path = add_image(
        arguments.folder,
        arguments.image,
        references=_references(arguments.reference),
        tooth=arguments.tooth,
        canal=arguments.canal,
        inverted=arguments.inverted,
        known_length=_known_length(arguments),
        mm_per_pixel=arguments.mm_per_pixel,
        faults=arguments.reject,
    )
    print(path)
    return 0


def _references(words: list[str]) -> dict[str, Path]:
    found: dict[str, Path] = {}
    for word in words:
        expert, equals, record = word.partition("=")
        if not (expert and equals and record):
            raise UsageError(
                f"--reference {word!r} is not EXPERT=RECORD; write one like ab=references/36_ab.json"
            )
        if expert in found:
            raise UsageError(f"--reference names {expert!r} twice: give each expert one record")
        found[expert] = Path(record)
    return found


def _known_length(arguments: Namespace) -> tuple[str, float] | None:
    if arguments.known_length is None:
        if arguments.object is not None:
            raise UsageError("--object needs --known-length: give its length in mm")
        return None
    return arguments.object or "the file in the canal, stop to tip", arguments.known_length


def _build(arguments: Namespace) -> int:
    from curvometer.assessment.making import write_exercise  # noqa: PLC0415
    from curvometer.cli.progress import with_progress  # noqa: PLC0415

    hand_out, key = write_exercise(
        arguments.folder,
        overwrite=arguments.overwrite,
        watch=lambda rows: with_progress(rows, "making the images"),
    )
    print(f"{hand_out}   for the students")
    print(f"{key}   keep it: it holds the answers")
    return 0


def _show(arguments: Namespace) -> int:
    found = _load(Path(arguments.file))
    told = _told(found)
    if arguments.json:
        print(json.dumps(told))
        return 0
    for name, value in told.items():
        if name != "images":
            print(f"{name:<12}{value}")
    for image in told["images"]:
        print()
        print("  ".join(f"{value}" for value in (image.pop("id"), *image.pop("line"))))
        for name, value in image.items():
            print(f"    {name:<14}{value}")
    return 0


def _load(path: Path) -> HandOut | ExerciseKey | Submission:
    from curvometer.assessment.files import load_key_or_submission  # noqa: PLC0415
    from curvometer.assessment.hand_out import open_hand_out  # noqa: PLC0415

    with path.open("rb") as stream:
        is_archive = stream.read(4) == _ZIP
    return open_hand_out(path) if is_archive else load_key_or_submission(path)


def _told(found: HandOut | ExerciseKey | Submission) -> dict[str, Any]:
    from curvometer.assessment import ExerciseKey, HandOut  # noqa: PLC0415
    from curvometer.cli.exercise_words import words_of_hand_out, words_of_key, words_of_submission  # noqa: PLC0415

    if isinstance(found, HandOut):
        return words_of_hand_out(found)
    return words_of_key(found) if isinstance(found, ExerciseKey) else words_of_submission(found)
