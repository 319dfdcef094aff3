"""What ``curvometer exercise``, ``mark`` and ``class`` accept."""

from __future__ import annotations

import argparse

from curvometer.cli.argument_kinds import counting, not_negative, positive, whole
from curvometer.cli.arguments import TOOTH_KINDS

DIFFICULTIES = ("easy", "middle", "hard")
CANALS = ("single", "MB", "MB2", "MM", "ML", "DB", "DL", "D", "P", "B", "L")
KNOWN_OBJECTS = ("wire", "ball", "file", "none")


def add_exercise(exercise: argparse.ArgumentParser) -> None:
    """Add the four things that can be done with an exercise."""
    actions = exercise.add_subparsers(
        dest="action", required=True, metavar="ACTION", title="actions", prog=exercise.prog
    )
    for name, summary, add_options in (
        ("new", "begin an exercise: a folder with exercise.toml, and simulated images if wanted", _add_new),
        ("add", "add an image of one's own with the tracings of one or several experts", _add_add),
        ("build", "make the hand-out for the students and the key for the teacher", _add_build),
        ("show", "tell what a hand-out, a key or a submission holds", _add_show),
    ):
        add_options(actions.add_parser(name, help=summary, description=summary, allow_abbrev=False))


def _add_new(new: argparse.ArgumentParser) -> None:
    new.add_argument("folder", metavar="FOLDER", help="a new or an empty folder")
    new.add_argument("--name", metavar="NAME", help="for file names and tables (the folder's name)")
    new.add_argument("--title", metavar="TEXT", help="for people (the name)")
    new.add_argument(
        "--practice", action="store_true", help="with feedback at once: the hand-out then holds the answers"
    )
    new.add_argument(
        "--criteria", metavar="NAME", default="aae-2022", help="criteria set to grade by (%(default)s)"
    )
    images = new.add_argument_group("simulated images, made when the exercise is built")
    images.add_argument(
        "--phantoms", type=counting, metavar="N", help="how many; none when left out: add your own"
    )
    images.add_argument(
        "--level", choices=(*DIFFICULTIES, "mixed"), default="mixed",
        help="of curve and film; mixed rises from easy to hard (%(default)s)",
    )  # fmt: skip
    images.add_argument("--angle", type=not_negative, metavar="DEG", help="the same angle in each image")
    images.add_argument("--radius", type=positive, metavar="MM", help="the same radius in each image")
    images.add_argument("--kind", choices=TOOTH_KINDS, help="the same tooth in each image")
    images.add_argument(
        "--known-object", choices=KNOWN_OBJECTS, default="wire",
        help="what lies in the image to calibrate by (%(default)s)",
    )  # fmt: skip


def _add_add(add: argparse.ArgumentParser) -> None:
    add.add_argument("folder", metavar="FOLDER", help="the exercise's folder")
    add.add_argument("image", metavar="IMAGE", help="DICOM, PNG, TIFF, JPEG or BMP file")
    add.add_argument("--tooth", type=whole, metavar="NUMBER", required=True, help="by ISO 3950, like 46")
    add.add_argument("--canal", choices=CANALS, required=True, help="the canal to trace")
    add.add_argument(
        "--reference", metavar="EXPERT=RECORD", action="append", default=[],
        help="an expert's tracing: a record that the viewer or 'measure --record' saved; repeat for several experts",
    )  # fmt: skip
    add.add_argument(
        "--inverted", action="store_true", help="the picture is a negative: dense parts are dark"
    )
    add.add_argument(
        "--known-length", type=positive, metavar="MM", help="of the object in the image to calibrate by"
    )
    add.add_argument(
        "--mm-per-pixel", type=positive, metavar="MM", help="or the scale itself, which the student is told"
    )
    add.add_argument("--object", metavar="WORDS", help="what that is (file, stop to tip)")
    add.add_argument(
        "--reject", metavar="FAULT", nargs="+", default=[],
        help="the image must not be measured, for these reasons, like apex-cut-off",
    )  # fmt: skip


def _add_build(build: argparse.ArgumentParser) -> None:
    build.add_argument("folder", metavar="FOLDER", help="the exercise's folder")
    build.add_argument("--overwrite", action="store_true", help="replace a hand-out and a key that exist")


def _add_show(show: argparse.ArgumentParser) -> None:
    show.add_argument("file", metavar="FILE", help="a hand-out, a key or a submission")
    show.add_argument("--json", action="store_true", help="print one JSON object instead of the text")


def add_mark(mark: argparse.ArgumentParser) -> None:
    """Add the options of ``mark``."""
    mark.add_argument("submission", metavar="SUBMISSION", help="the file that the student saved")
    mark.add_argument("--key", metavar="KEY", required=True, help="the exercise's key, NAME.key.json")
    mark.add_argument(
        "--exercise", metavar="HANDOUT", required=True, help="what was handed out, NAME.handout.zip"
    )
    mark.add_argument("--rubric", metavar="FILE.toml", help="a rubric instead of the key's own")
    output = mark.add_argument_group("output")
    output.add_argument("--json", action="store_true", help="print one JSON object instead of the text")
    output.add_argument("--pictures", metavar="FOLDER", help="draw both tracings of each image")
    output.add_argument("--overwrite", action="store_true", help="replace pictures that exist")


def add_class(course: argparse.ArgumentParser) -> None:
    """Add the options of ``class``."""
    course.set_defaults(module="course")  # `class` is no name for a Python module
    course.add_argument(
        "folder", metavar="FOLDER", help="the students' submissions; folders in it are read, too"
    )
    course.add_argument(
        "--key", metavar="KEY", action="append", required=True, help="an exercise's key; repeat for several"
    )
    course.add_argument(
        "--exercise", metavar="HANDOUT", action="append", required=True,
        help="what was handed out; repeat for several",
    )  # fmt: skip
    course.add_argument("--out", metavar="FOLDER", required=True, help="for tables and reports; made if new")
    course.add_argument(
        "--roster",
        metavar="FILE.csv",
        help="who should have handed in: one pseudonym a line, or a column 'student'",
    )
    course.add_argument("--rubric", metavar="FILE.toml", help="a rubric instead of the key's own")
    course.add_argument("--json", action="store_true", help="print one JSON object instead of the text")
    course.add_argument("--overwrite", action="store_true", help="replace tables and reports that exist")
