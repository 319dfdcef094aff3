"""What ``curvometer agree`` accepts."""

from __future__ import annotations

import argparse
import re


def add_agree(agree: argparse.ArgumentParser) -> None:
    """Add the options."""
    agree.add_argument(
        "ratings", metavar="RATINGS",
        help="a CSV with the columns subject,rater,occasion and one of value, grade, record; or a folder of records"
        " as RATER/SUBJECT.json or RATER/OCCASION/SUBJECT.json",
    )  # fmt: skip
    agree.add_argument(
        "--grades", type=scale, metavar="LO,..,HI", help="the scale of the grades in order, lowest first"
    )
    agree.add_argument(
        "--weights", choices=("none", "linear", "quadratic"), default="linear",
        help="of a disagreement over several grades, for weighted kappa (%(default)s)",
    )  # fmt: skip
    agree.add_argument(
        "--limits", choices=("1.96", "2"), default="1.96",
        help="standard deviations to a limit of agreement; 2 is the rule of 1986 (%(default)s)",
    )  # fmt: skip
    agree.add_argument(
        "--occasion", metavar="NAME", help="on which raters are compared (the first one in the file)"
    )
    agree.add_argument("--unit", metavar="WORD", default=None, help="of the values, like degrees")
    records = agree.add_argument_group("with records")
    records.add_argument(
        "--quantity", metavar="NAME", help="which measure of them, or canal_form (schneider_angle)"
    )
    records.add_argument("--canal", metavar="CODE", help="which canal, where a record holds several")
    output = agree.add_argument_group("output")
    output.add_argument("--json", action="store_true", help="print one JSON object instead of the text")
    output.add_argument(
        "--plot", metavar="OUT.svg", help="draw each pair: differences against means, or counts of grades"
    )
    output.add_argument("--overwrite", action="store_true", help="replace a picture that exists")


def scale(text: str) -> tuple[str, ...]:
    """Read ``low,moderate,high`` as a scale."""
    grades = tuple(re.split(r"\s*,\s*", text.strip()))
    if len(grades) < 2 or not all(grades) or len(set(grades)) < len(grades):
        raise argparse.ArgumentTypeError(
            f"{text!r} is no scale; give two or more different grades, lowest first, like low,moderate,high"
        )
    return grades
