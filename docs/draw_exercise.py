"""Photographs of an exercise in the viewer, for the documentation and for whoever wants to look at every step.

Run under a screen, a virtual one will do:

    xvfb-run -a -s "-screen 0 1920x1200x24" .venv/bin/python docs/draw_exercise.py [--all FOLDER]

Without ``--all`` the pictures of the documentation are made anew; with it, every step goes into a folder, in both themes.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from draw_viewer import DOCS, SIZES, Work

from curvometer import (
    HandOut,
    PracticeLevel,
    ProposedGrade,
    ProposedPlan,
    Purpose,
    StepEntry,
    practice_exercise,
)

SEED, LEVEL = 11, PracticeLevel(curve=4, film=2)
"""Of the film that is practised on: the same picture each time."""
WIRE_RC = ((1126.0, 266.0), (1089.0, 647.0))
"""Ends of the steel wire on that film, clicked by eye."""
KEPT = ("plan", "feedback")
GRADE = ProposedGrade(grade="moderate", factors=["curvature"])
PLAN = ProposedPlan(
    advice="treat",
    steps=[
        StepEntry(kind="hand", size=10, taper=0.02, to_mm=21.0),
        StepEntry(kind="rotary", size=25, taper=0.04, to_mm=21.0, speed_rpm=300.0, seconds=4.0),
        StepEntry(kind="hand", size=15, taper=0.02, to_mm=21.0),
    ],
)


def steps(work: Work) -> Iterator[str]:
    """Work through an image that is to be marked, then check the same one in practice."""
    practice = practice_exercise(LEVEL, SEED)
    sheet = practice.sheet.model_copy(update={"purpose": Purpose.MARKED, "title": "First curves"})
    yield from _student(work, HandOut(sheet=sheet, images=practice.images), practice)
    yield from _practice(work, practice)


def _student(work: Work, marked: HandOut, practice: HandOut) -> Iterator[str]:
    corner = work.panel.exercise
    corner._made_desk().start(marked)
    work.settle(1.5)
    desk, box = corner.desk, corner.box
    yield "opened"
    box.judgement.reject.click()
    yield "rejected"
    box.judgement.use.click()
    box.judgement.unfold(False)
    _trace(work, practice)
    desk.grade(GRADE)
    work.panel.area.verticalScrollBar().setValue(0)
    box.grade.unfold(True)
    yield "grade"
    box.grade.unfold(False)
    box.plan.unfold(True)
    desk.plan(PLAN)
    desk.name("s-07", 1)
    yield "plan"


def _practice(work: Work, practice: HandOut) -> Iterator[str]:
    corner = work.panel.exercise
    corner.desk.start(practice)
    work.settle(1.5)
    corner.desk.judge(True)
    _trace(work, practice, astray_px=9.0)
    corner.desk.grade(ProposedGrade(grade="low", factors=["curvature"]))
    corner.desk.plan(PLAN)
    for form in corner.box.forms:
        form.unfold(False)
    work.panel.area.verticalScrollBar().setValue(0)
    corner.desk.check()
    work.settle(2.0)
    yield "feedback"


def _trace(work: Work, practice: HandOut, astray_px: float = 0.0) -> None:
    """Trace from the truth's own ends; astray, the foramen is clicked too high."""
    session, image = work.session, practice.key.images[0]
    line = image.references[0].canal.to_centreline().points_rc
    session.start_scale()
    for end_rc in WIRE_RC:
        session.click(end_rc)
    session.accept()
    session.start_tracing(practice.sheet.images[0].canal)
    session.click(tuple(line[0]))
    end = line[-1 - round(3 * astray_px)] if astray_px else line[-1]
    session.click(tuple(end))
    work.settle()
    session.accept()
    work.settle()


def main() -> None:
    """Make the pictures; each window has a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--all", metavar="FOLDER", help="every step, both themes")
    parser.add_argument(
        "--one", nargs=3, metavar=("FOLDER", "THEME", "STEPS"), help="for this script's own use"
    )
    options = parser.parse_args()
    if options.one:
        _photograph(*options.one)
        return
    folder = options.all or str(DOCS / "images")
    Path(folder).mkdir(parents=True, exist_ok=True)
    wanted = "all" if options.all else ",".join(KEPT)
    for theme in ("dark", "light") if options.all else ("dark",):
        subprocess.run([sys.executable, __file__, "--one", folder, theme, wanted], check=True)


def _photograph(folder: str, theme: str, wanted: str) -> None:
    work = Work(SIZES["laptop"], theme)
    for step in steps(work):
        if wanted == "all" or step in wanted.split(","):
            work.photograph(Path(folder) / f"exercise_{step}_laptop_{theme}.png")
    work.session.close()
    os._exit(0)  # nothing is left to be kept, and a virtual screen may be gone before the window is


if __name__ == "__main__":
    main()
