"""`./run bench`: accuracy and speed on simulated radiographs and classes, and the viewer's speed; printed and kept in docs/."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.accuracy import accuracy_table, goals, run_accuracy
from benchmarks.class_speed import run_class, run_errors
from benchmarks.speed import run_speed
from benchmarks.viewer import run_viewer

DOCS = Path(__file__).parents[2] / "docs"


def main() -> int:
    """Run all, print the tables and the goals; 0 when every goal is met, 1 when some fall short."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--phantoms", type=int, default=300, help="simulated teeth (at least 200 for the record)"
    )
    parser.add_argument("--plain", type=int, default=150, help="plain pictures")
    parser.add_argument("--keep", action="store_true", help="write the tables to docs/")
    options = parser.parse_args()
    speed, speed_goals = run_speed()
    viewer, viewer_goals = run_viewer()
    course, course_goals = run_class()
    errors, errors_goals = run_errors()
    rows = run_accuracy(options.phantoms, options.plain)
    table, found = accuracy_table(rows), goals(rows)
    print(table, "", speed, "", viewer, "", course, "", errors, "", sep="\n")
    every = found + speed_goals + viewer_goals + course_goals + errors_goals
    verdict = _verdict(every)
    print(verdict)
    if options.keep:
        (DOCS / "accuracy_table.md").write_text(f"{table}\n{_verdict(found)}", encoding="utf-8")
        (DOCS / "speed_table.md").write_text(f"{speed}\n{_verdict(speed_goals)}", encoding="utf-8")
        (DOCS / "class_speed_table.md").write_text(f"{course}\n{_verdict(course_goals)}", encoding="utf-8")
        (DOCS / "class_errors_table.md").write_text(f"{errors}\n{_verdict(errors_goals)}", encoding="utf-8")
        if viewer_goals:
            (DOCS / "viewer_speed_table.md").write_text(
                f"{viewer}\n{_verdict(viewer_goals)}", encoding="utf-8"
            )
    return 0 if all(met for _, _, met in every) else 1


def _verdict(found: list[tuple[str, float, bool]]) -> str:
    lines = ["| goal | found | |", "|---|---|---|"]
    lines += [
        f"| {goal} | {value:.3g} | {'met' if met else '**falls short**'} |" for goal, value, met in found
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    raise SystemExit(main())
