"""What the command line accepts, and how a word of it becomes a number or a position."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Sequence
from typing import Any, NoReturn

PointRC = tuple[float, float]

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
OPERATORS = ("student", "general", "enhanced", "specialist")
STATED_ANSWERS = {
    "visibility": ("clear", "narrowed", "not-visible"),
    "crown_axis": ("in-line", "moderate", "significant"),
    "root_form": ("usual", "unusual", "complex"),
    "resorption": ("none", "minimal", "extensive"),
    "previous_treatment": ("none", "access", "poor-filling", "short-filling", "full-filling", "complication"),
    "trauma": ("none", "moderate", "severe"),
    "curve_location": ("apical", "middle", "coronal"),
    "root_development": ("complete", "incomplete"),
}
STATED_HELP = {
    "visibility": "canal and chamber on the image; 'visible' is another word for clear",
    "crown_axis": "how far the crown's axis differs from the root's",
    "root_form": "unusual: taurodontism, microdontia; complex: C-shape, extra roots, canal that divides deep",
    "resorption": "minimal: at the apex only",
    "previous_treatment": "what was done before; complication: ledge, perforation, fragment, blocked canal",
    "trauma": "moderate: complicated fracture, subluxation; severe: root fracture, luxation, avulsion",
    "curve_location": "third of the canal in which the curve starts, when it is not measured",
    "root_development": "incomplete: the apex is not formed",
}
TOOTH_HELP = "tooth by ISO 3950, like 46; the record's own when it tells one, which none may contradict"
_POINT_OPTIONS = ("--orifice", "--foramen", "--via", "--along")
_COMMAS = re.compile(r"\s*,\s*")


class UsageError(Exception):
    """The command line itself is wrong; its text is one sentence."""


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


def point(text: str) -> PointRC:
    """Read ``X,Y`` as a (row, col) position."""
    parts = _COMMAS.split(text.strip())
    if len(parts) != 2:
        raise argparse.ArgumentTypeError(f"{text!r} is not a position; give X,Y in pixels, like 412,96")
    x, y = (finite(part) for part in parts)
    return (y, x)


def path(text: str) -> list[PointRC]:
    """Read ``"X,Y X,Y ..."`` as (row, col) positions."""
    points = [point(word) for word in _COMMAS.sub(",", text.strip()).split()]
    if len(points) < 2:
        raise argparse.ArgumentTypeError(
            f'{text!r} has {len(points)} position(s); give at least two along it, like "410,80 418,330"'
        )
    return points


def finite(text: str) -> float:
    """Read a finite number."""
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e9:  # also catches NaN; no image is a billion pixels wide
        raise argparse.ArgumentTypeError(f"{text!r} is not a usable number; give one like 21.0")
    return value


def positive(text: str) -> float:
    """Read a number above zero."""
    value = finite(text)
    if value <= 0.0:
        raise argparse.ArgumentTypeError(f"{text} must be above 0")
    return value


def not_negative(text: str) -> float:
    """Read a number of zero or more."""
    value = finite(text)
    if value < 0.0:
        raise argparse.ArgumentTypeError(f"{text} must not be below 0")
    return value


def interval(text: str) -> tuple[float, float]:
    """Read ``LO,HI`` as the two ends of an interval."""
    parts = _COMMAS.split(text.strip())
    if len(parts) != 2:
        raise argparse.ArgumentTypeError(f"{text!r} is not an interval; give LO,HI like 27.5,33")
    low, high = (not_negative(part) for part in parts)
    if low > high:
        raise argparse.ArgumentTypeError(f"{text!r} runs backwards; give the smaller end first")
    return (low, high)


def visibility(text: str) -> str:
    """Read how well the canal can be seen; other commands say "visible" for clear."""
    return "clear" if text == "visible" else text


def explored(text: str) -> tuple[int, float]:
    """Read ``SIZE:MM`` as a hand size and the depth it reached."""
    size, _, depth = text.partition(":")
    if not re.fullmatch(r"\d{1,3}", size) or not depth:
        raise argparse.ArgumentTypeError(f"{text!r} is no explored depth; give SIZE:MM like 8:17.5")
    return int(size), not_negative(depth)


def whole(text: str) -> int:
    """Read a whole number of zero or more."""
    if not re.fullmatch(r"\d{1,9}", text):
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number; give one like 7")
    return int(text)


def counting(text: str) -> int:
    """Read a whole number from 1 to 1000."""
    if not 1 <= (number := whole(text)) <= 1000:
        raise argparse.ArgumentTypeError(f"{text} must be from 1 to 1000")
    return number


def file_name(text: str) -> str:
    """Read a file name without folder."""
    if not re.fullmatch(r"[\w][\w.-]{0,99}", text):
        raise argparse.ArgumentTypeError(f"{text!r} is not a plain name; use letters, digits, - and _")
    return text


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


def _add_grade(grade: argparse.ArgumentParser) -> None:
    grade.add_argument("record", metavar="RECORD", nargs="?", help="a record that 'measure --record' saved")
    grade.add_argument("--canal", metavar="CODE", help="only this canal of the record, like MB")
    grade.add_argument(
        "--criteria", metavar="NAME", nargs="+", action="extend", default=[],
        help="criteria by name, or TOML files of your own; all current ones when left out",
    )  # fmt: skip
    what_if = grade.add_argument_group("without a record: a what-if with one bend")
    what_if.add_argument("--angle", type=not_negative, metavar="DEG", help="Schneider's angle")
    what_if.add_argument(
        "--central-angle", type=not_negative, metavar="DEG",
        help="instead of it the central angle of the arc, as 'plan --angle' takes it: Schneider's is derived from it,"
        " --radius and --curve-start-from-foramen",
    )  # fmt: skip
    what_if.add_argument(
        "--curve-start-from-foramen", type=positive, metavar="MM",
        help="where that arc starts, seen from the orifice",
    )  # fmt: skip
    what_if.add_argument(
        "--angle-interval", type=interval, metavar="LO,HI",
        help="95 %% interval of the angle that is given (Schneider's 5 degrees to each side)",
    )  # fmt: skip
    what_if.add_argument(
        "--radius", type=positive, metavar="MM", help="radius of the bend (1 mm to each side)"
    )
    _add_facts(grade)
    output = grade.add_argument_group("output")
    output.add_argument("--json", action="store_true", help="print one JSON object instead of the table")


def _add_facts(grade: argparse.ArgumentParser) -> None:
    facts = grade.add_argument_group("what you state; what is left out is listed as missing")
    facts.add_argument("--tooth", type=whole, metavar="NUMBER", help=TOOTH_HELP)
    facts.add_argument("--operator", choices=OPERATORS, help="who would treat: adds a suggestion")
    facts.add_argument("--s-shape", action="store_true", default=None, help="the canal is S-shaped")
    for name, answers in STATED_ANSWERS.items():
        convert = visibility if name == "visibility" else str
        option = f"--{name.replace('_', '-')}"
        facts.add_argument(option, type=convert, choices=answers, help=STATED_HELP[name])
    facts.add_argument("--apex-opening", type=not_negative, metavar="MM", help="opening of the apex")
    facts.add_argument("--inclination", type=not_negative, metavar="DEG", help="inclination of the tooth")
    facts.add_argument("--rotation", type=not_negative, metavar="DEG", help="rotation of the tooth")
    facts.add_argument("--tooth-length", type=positive, metavar="MM", help="length of the tooth")
    for name, text in (
        ("--negotiable", "the canal looks negotiable over its whole length"),
        ("--modifying-factors", "medical history or mouth opening make it harder"),
    ):
        facts.add_argument(name, action=argparse.BooleanOptionalAction, help=text)
    facts.add_argument(
        "--other-moderate", type=whole, metavar="N", help="further moderate factors of the form"
    )
    facts.add_argument("--other-high", type=whole, metavar="N", help="further high factors of the form")


def _add_plan(plan: argparse.ArgumentParser) -> None:
    plan.add_argument("record", metavar="RECORD", nargs="?", help="a record that 'measure --record' saved")
    plan.add_argument("--canal", metavar="CODE", help="the canal, like MB; of the record, or of --tooth")
    what_if = plan.add_argument_group("without a record: a what-if; numbers are taken as they are")
    what_if.add_argument(
        "--angle", type=not_negative, metavar="DEG",
        help="central angle of the arc, which is up to twice Schneider's; 0 is straight",
    )  # fmt: skip
    what_if.add_argument("--radius", type=positive, metavar="MM", help="its radius")
    what_if.add_argument(
        "--curve-start-from-foramen", type=positive, metavar="MM",
        help="where it starts, seen from the orifice",
    )  # fmt: skip
    what_if.add_argument(
        "--second-angle", type=not_negative, metavar="DEG", help="central angle of a second bend (0)"
    )
    what_if.add_argument("--s-shape", action="store_true", help="the two bends turn to opposite sides")
    what_if.add_argument("--canal-length", type=positive, metavar="MM", help="foramen to orifice")
    what_if.add_argument(
        "--angle-interval",
        type=interval,
        metavar="LO,HI",
        help="what the central angle may be: the safest row counts",
    )
    what_if.add_argument("--radius-interval", type=interval, metavar="LO,HI", help="the same for the radius")
    _add_chair(plan)
    output = plan.add_argument_group("shelf, recommenders, output")
    output.add_argument("--inventory", metavar="FILE.toml", help="the clinic's instruments (a default shelf)")
    output.add_argument(
        "--recommender", metavar="NAME", action="append", help="ask only this one; may be repeated"
    )
    output.add_argument(
        "--time-limit", type=positive, metavar="S", default=5.0, help="for each recommender (%(default)g s)"
    )
    output.add_argument("--json", action="store_true", help="print one JSON object instead of the list")


def _add_chair(plan: argparse.ArgumentParser) -> None:
    chair = plan.add_argument_group("what was found at the chair")
    chair.add_argument(
        "--working-length", type=positive, metavar="MM", help="from the reference point on the crown"
    )
    chair.add_argument(
        "--reached", type=whole, metavar="SIZE",
        help="largest hand file at working length: 0 for none, 6, 8, 10, 15, or 20 for 20 and more",
    )  # fmt: skip
    chair.add_argument("--loose", action="store_true", help="that file slides freely there")
    chair.add_argument(
        "--forced", action="store_true", help="it got there by force: counts as the next smaller"
    )
    chair.add_argument(
        "--explored", type=explored, metavar="SIZE:MM", action="append", default=[],
        help="depth that a hand file reached short of length; may be repeated",
    )  # fmt: skip
    chair.add_argument(
        "--visibility", type=visibility, choices=STATED_ANSWERS["visibility"],
        help="of the canal on the image; 'visible' is another word for clear (clear)",
    )  # fmt: skip
    chair.add_argument("--blocked", action="store_true", help="ledge, obstruction, old filling or fragment")
    chair.add_argument("--apex-opening", type=not_negative, metavar="MM", help="opening of the apex")
    chair.add_argument("--split", action="store_true", help="the canal divides suddenly, or joins deep")
    chair.add_argument("--primary-tooth", action="store_true", help="a milk tooth")
    chair.add_argument("--image-rejected", action="store_true", help="the radiograph was judged unusable")
    chair.add_argument("--tooth", type=whole, metavar="NUMBER", help=TOOTH_HELP)
    chair.add_argument("--operator", choices=OPERATORS, help="who would treat: the grade is held against it")


def _add_next(following: argparse.ArgumentParser) -> None:
    following.add_argument(
        "record",
        metavar="RECORD",
        nargs="?",
        help="begin the log from a record, with what was found at the chair",
    )
    following.add_argument(
        "--log", metavar="LOG.json", required=True, help="the log of this canal; begun if new"
    )
    following.add_argument("--plan", metavar="PLAN.json", help="begin it from what 'plan --json' printed")
    following.add_argument("--canal", metavar="CODE", help="the canal of the record, like MB")
    following.add_argument(
        "--did", metavar="WORDS",
        help='how the last step ended: "reached", "short 1.5", "binding", "deflected", "fractured", "lost 0.5";'
        ' "kept" for a length; "re-plan" where a new plan is asked for',
    )  # fmt: skip
    following.add_argument("--who", metavar="NAME", help="who did it, for the log")
    following.add_argument(
        "--recommender", metavar="NAME", help="whose plan to take; the first one when left out"
    )
    following.add_argument("--inventory", metavar="FILE.toml", help="the clinic's instruments, with a record")
    _add_chair(following)
    following.add_argument("--json", action="store_true", help="print one JSON object instead of the words")


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


_COMMANDS: tuple[tuple[str, str, Callable[[argparse.ArgumentParser], None]], ...] = (
    ("demo", "measure, grade and plan a sample image, draw it and say where the picture is", _add_demo),
    ("measure", "measure one canal on an image, or from points traced elsewhere", _add_measure),
    ("grade", "grade how difficult a measured canal is, by published criteria", _add_grade),
    ("plan", "plan which instruments may follow the bend, how deep and how fast", _add_plan),
    ("next", "tell the next step at the chair, and write down how the last one ended", _add_next),
    ("recommenders", "list the installed recommenders of instrument sequences", _add_recommenders),
    ("agree", "tell how well examiners agree, with each other and with themselves", _add_agree),
    ("app", "trace and measure by mouse in a window (needs curvometer[viewer])", _add_app),
    ("phantom", "simulate radiographs of a canal whose shape is known", _add_phantom),
    (
        "schema",
        "print the JSON Schema of what a command prints with --json, or of saved records",
        _add_schema,
    ),
)
"""Name, summary and options of each command, in the order of a clinician's work; each has a module of its name."""
