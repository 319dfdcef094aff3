"""What ``curvometer grade``, ``plan`` and ``next`` accept."""

from __future__ import annotations

import argparse

from curvometer.cli.argument_kinds import (
    explored,
    interval,
    not_negative,
    positive,
    visibility,
    whole,
)

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


def add_grade(grade: argparse.ArgumentParser) -> None:
    """Add the options."""
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


def add_plan(plan: argparse.ArgumentParser) -> None:
    """Add the options."""
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


def add_next(following: argparse.ArgumentParser) -> None:
    """Add the options."""
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
