"""Bring the outputs in the README up to date: ``python docs/refresh_readme.py``.

Runs the README's own command and Python lines, puts what they print between the marks, and draws its picture
anew. A test fails when the README tells other numbers than the program.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parent)]

from examples import ROOT, example_folder, run_command, run_python  # noqa: E402

README = ROOT / "README.md"
CUT_BEFORE = "How the definitions are read"
"""The rest of the output is long and the same for every canal."""
TRUE_VALUES = """\
import json
with open("sample_images/truth.json", encoding="utf-8") as file:
    true = json.load(file)["lower_molar"]["measures"]
print("Schneider angle {schneider_angle:.1f} deg, Pruett angle {pruett_angle:.1f} deg,"
      " radius {pruett_radius:.2f} mm,"
      " curve from {curve_start_from_foramen:.2f} to {curve_end_from_foramen:.2f} mm before the foramen,"
      " canal length {canal_length:.2f} mm.".format_map(true))
"""


def main() -> None:
    """Write the README anew, and its picture."""
    README.write_text(refreshed(README.read_text(encoding="utf-8")), encoding="utf-8")
    from draw_images import lower_molar_overlay  # noqa: PLC0415 - a test refreshes the text only

    lower_molar_overlay()


def refreshed(text: str) -> str:
    """Give the README's text with today's outputs."""
    with example_folder() as folder:
        output = run_command(first_command(text), folder).split(CUT_BEFORE)[0].rstrip()
        printed = run_python(python_lines(text), folder)
        true = run_python(TRUE_VALUES, folder)
    text = _between(text, "output", f"```text\n{output}\n...\n```")
    text = _between(text, "truth", f"```text\n{true}\n```")
    return re.sub(r"(print\(measurement\.schneider_angle\)  # ).*", lambda found: found[1] + printed, text)


def first_command(text: str) -> str:
    """The command whose output stands below it."""
    found = re.search(r"^curvometer measure .*$", text, flags=re.MULTILINE)
    assert found, "the README has no curvometer command"
    return found[0]


def python_lines(text: str) -> str:
    """The lines of Python."""
    found = re.search(r"```python\n(.*?)```", text, flags=re.DOTALL)
    assert found, "the README has no Python lines"
    return found[1]


def _between(text: str, name: str, content: str) -> str:
    begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
    before, rest = text.split(begin)
    return f"{before}{begin}\n{content}\n{end}{rest.split(end)[1]}"


if __name__ == "__main__":
    main()
