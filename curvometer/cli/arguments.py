"""What the command line accepts."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Sequence
from typing import Any, NoReturn

from curvometer.cli.argument_kinds import (
    UsageError,
    counting,
    file_name,
    not_negative,
    path,
    point,
    positive,
    whole,
)
from curvometer.cli.chair_arguments import add_grade, add_next, add_plan

DESCRIPTION = """\
Measure the curvature of a root canal on a periapical radiograph, with 95 % intervals.
A planning and teaching aid, not a diagnostic device."""

EPILOG = """\
Positions are X,Y = column,row in pixels; 0,0 is the centre of the top left pixel.
Exit codes: 0 done; 2 usage or bad input; 3 measured, but a flag says do not trust it.
'curvometer COMMAND --help' tells about one command."""

TOOTH_KINDS = (
    "lower_molar",
    "upper_molar",
    "lower_premolar",
    "upper_premolar",
    "canine",
    "incisor",
    "lateral_incisor",
)
NOISE = ("low", "middle", "high")
_POINT_OPTIONS = ("--orifice", "--foramen", "--via", "--along")
_COMMAS = re.compile(r"\s*,\s*")


class _Parser(argparse.ArgumentParser):
    """A parser whose complaint is one line and comes back to the caller instead of ending the process."""

    def error(self, message: str) -> NoReturn:
        raise UsageError(f"{message.rstrip('.')} (see '{self.prog} --help')")


def parse(argv: Sequence[str]) -> argparse.Namespace:
    """Turn the command line into options; `command` names the module that runs it.

    Raises
    ------
    UsageError
        When a word is unknown, missing or not understood.
    """
    return _parser(argv).parse_args(_join_negative_points(argv))


def _join_negative_points(argv: Sequence[str]) -> list[str]:
    """Let ``--orifice -3,5`` reach the position's own check instead of looking like an unknown option."""
    joined: list[str] = []
    for word in argv:
        if joined and joined[-1] in _POINT_OPTIONS and re.match(r"-[\d.]", word):
            joined[-1] = f"{joined[-1]}={word}"
        else:
            joined.append(word)
    return joined


def _parser(argv: Sequence[str]) -> argparse.ArgumentParser:
    """Parser that knows what a command line needs: one command, or all of them."""
    parser = _Parser(
        prog="curvometer",
        description=DESCRIPTION,
        epilog=EPILOG,
        allow_abbrev=False,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action=_Version, help="print the version and exit")
    commands = parser.add_subparsers(
        dest="command", required=True, metavar="COMMAND", title="commands", prog=parser.prog
    )
    # Making a parser takes a while: where the first word names a command, the others are left out.
    named = [row for row in _COMMANDS if row[0] == argv[0]] if argv else []
    for name, summary, add_options in named or _COMMANDS:
        add_options(commands.add_parser(name, help=summary, description=summary, allow_abbrev=False))
    return parser


class _Version(argparse.Action):
    """Print the version; looking it up is slow, so only when asked."""

    def __init__(self, option_strings: Sequence[str], dest: str, **options: Any) -> None:
        super().__init__(option_strings, dest, nargs=0, default=argparse.SUPPRESS, **options)

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import PackageNotFoundError, version  # noqa: PLC0415

        try:
            print(f"curvometer {version('curvometer')}")
        except PackageNotFoundError:  # run from its sources
            print("curvometer, not installed")
        parser.exit()


def _add_demo(demo: argparse.ArgumentParser) -> None:
    demo.add_argument(
        "--output", metavar="DIR", default="demo_output", help="folder for picture and record (%(default)s)"
    )


def _add_measure(measure: argparse.ArgumentParser) -> None:
    measure.add_argument("image", metavar="IMAGE", nargs="?", help="DICOM, PNG, TIFF, JPEG or BMP file")
    tracing = measure.add_argument_group("tracing the canal")
    tracing.add_argument("--orifice", type=point, metavar="X,Y", help="the canal orifice")
    tracing.add_argument("--foramen", type=point, metavar="X,Y", help="the apical foramen")
    tracing.add_argument(
        "--via", type=point, metavar="X,Y", action="append", default=[],
        help="a point the path must pass, in order from the orifice; repeat as needed",
    )  # fmt: skip
    tracing.add_argument(
        "--structure", choices=("canal", "instrument"),
        help="canal: a dark line (the default); instrument: a bright file or filling in it",
    )  # fmt: skip
    tracing.add_argument(
        "--click-sd", type=not_negative, metavar="PX",
        help="standard uncertainty of a click (3 pixels; 0 with --trace)",
    )  # fmt: skip
    tracing.add_argument(
        "--inverted", action="store_true", help="the picture is a negative: dense parts are dark"
    )
    tracing.add_argument(
        "--trace", metavar="TRACE.json",
        help='points traced elsewhere: {"points_xy": [[x, y], ...], "mm_per_pixel": 0.02}',
    )  # fmt: skip
    _add_scale(measure)
    output = measure.add_argument_group("output")
    output.add_argument("--json", action="store_true", help="print one JSON object instead of the table")
    output.add_argument("--overlay", metavar="OUT.png", help="draw the measured canal on the image")
    output.add_argument("--record", metavar="OUT.json", help="save everything as a record")
    output.add_argument("--tooth", type=whole, metavar="NUMBER", help="its tooth by ISO 3950, like 46")
    output.add_argument("--overwrite", action="store_true", help="replace output files that exist")


def _add_scale(measure: argparse.ArgumentParser) -> None:
    scale = measure.add_argument_group("length scale (else the image file's own)")
    scale.add_argument(
        "--known-length", type=positive, metavar="MM", action="append", default=[],
        help="stop-to-tip length of a file on the image; repeat with --along for more objects",
    )  # fmt: skip
    scale.add_argument(
        "--along", type=path, metavar='"X,Y X,Y ..."', action="append", default=[],
        help="positions along the image of that file, from stop to tip",
    )  # fmt: skip
    scale.add_argument(
        "--length-tolerance", type=not_negative, metavar="MM",
        help="how far a known length may be off (0.5)",
    )  # fmt: skip
    scale.add_argument(
        "--mm-per-pixel", type=positive, metavar="MM", help="the scale in the plane of the tooth"
    )


def _add_app(app: argparse.ArgumentParser) -> None:
    app.add_argument(
        "image", metavar="IMAGE", nargs="?", help="radiograph to open; drop one on the window later"
    )


def _add_recommenders(listing: argparse.ArgumentParser) -> None:
    listing.add_argument("--json", action="store_true", help="print one JSON object instead of the list")


def _add_phantom(phantom: argparse.ArgumentParser) -> None:
    phantom.add_argument("folder", metavar="DIR", help="an existing folder for the images and their truth")
    canal = phantom.add_argument_group("canal")
    for name, kind, metavar, default, text in (
        ("--angle", not_negative, "DEG", 35.0, "central angle of the arc"),
        ("--radius", positive, "MM", 7.0, "radius of the arc"),
        ("--straight", positive, "MM", 6.0, "length of the straight part before the arc"),
        (
            "--second-angle",
            positive,
            "DEG",
            None,
            "central angle of a second, opposite arc of that radius (S form)",
        ),
    ):
        shown = text if default is None else f"{text} (%(default)g)"
        canal.add_argument(name, type=kind, metavar=metavar, default=default, help=shown)
    # The names are those of `curvometer.phantom`, which is too slow to load for a help text; a test compares.
    canal.add_argument("--kind", choices=TOOTH_KINDS, default="lower_molar", help="the tooth (%(default)s)")
    canal.add_argument(
        "--structure", choices=("canal", "instrument"), default="canal",
        help="an empty canal, or one with a file in it (%(default)s)",
    )  # fmt: skip
    image = phantom.add_argument_group("image")
    image.add_argument(
        "--mm-per-pixel", type=positive, metavar="MM", default=0.025, help="scale at the tooth (%(default)g)"
    )
    image.add_argument("--noise", choices=NOISE, default="middle", help="amount of noise (%(default)s)")
    image.add_argument("--seed", type=whole, metavar="N", default=1, help="where chance starts (%(default)s)")
    image.add_argument("--count", type=counting, metavar="N", default=1, help="how many, one seed each (1)")
    output = phantom.add_argument_group("output")
    output.add_argument("--name", type=file_name, default="phantom", help="name of the files (%(default)s)")
    output.add_argument(
        "--format", choices=("both", "dicom", "png"), default="both", help="image files (both)"
    )
    output.add_argument("--overwrite", action="store_true", help="replace files that exist")


def _add_agree(agree: argparse.ArgumentParser) -> None:
    from curvometer.cli.agree_arguments import add_agree  # noqa: PLC0415 - only when this command is parsed

    add_agree(agree)


def _add_schema(schema: argparse.ArgumentParser) -> None:
    schema.add_argument(
        "document", nargs="?", choices=("measure", "record", "grade", "plan", "next", "agree"),
        help="what the command prints with --json, or a saved record; measure and record when left out",
    )  # fmt: skip


def _add_teaching(name: str) -> Callable[[argparse.ArgumentParser], None]:
    def add(command: argparse.ArgumentParser) -> None:
        from curvometer.cli import teaching_arguments  # noqa: PLC0415 - only when such a command is parsed

        getattr(teaching_arguments, f"add_{name}")(command)

    return add


_COMMANDS: tuple[tuple[str, str, Callable[[argparse.ArgumentParser], None]], ...] = (
    ("demo", "measure, grade and plan a sample image, draw it and say where the picture is", _add_demo),
    ("measure", "measure one canal on an image, or from points traced elsewhere", _add_measure),
    ("grade", "grade how difficult a measured canal is, by published criteria", add_grade),
    ("plan", "plan which instruments may follow the bend, how deep and how fast", add_plan),
    ("next", "tell the next step at the chair, and write down how the last one ended", add_next),
    ("recommenders", "list the installed recommenders of instrument sequences", _add_recommenders),
    ("agree", "tell how well examiners agree, with each other and with themselves", _add_agree),
    (
        "exercise",
        "make an exercise for students: images to hand out, answers to keep",
        _add_teaching("exercise"),
    ),
    ("mark", "mark one student's submission against the reference tracings", _add_teaching("mark")),
    ("class", "mark a folder of submissions: tables and reports of a class", _add_teaching("class")),
    ("app", "trace and measure by mouse in a window (needs curvometer[viewer])", _add_app),
    ("phantom", "simulate radiographs of a canal whose shape is known", _add_phantom),
    (
        "schema",
        "print the JSON Schema of what a command prints with --json, or of saved records",
        _add_schema,
    ),
)
"""Name, summary and options of each command, in the order of a clinician's work; each has a module of its name
or of the one that it sets."""
