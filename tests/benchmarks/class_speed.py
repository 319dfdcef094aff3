"""A class whose slips are known: which the report names; and how long a normal course takes, 300 students with 20 images."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path

import psutil

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from simulated_class import EXPECTED, Slip, grown, simulated_class, write_class

from curvometer.assessment import save_submission
from curvometer.assessment.expectations import expect
from curvometer.assessment.marking import mark_submission

STUDENTS, IMAGES = 300, 20
MEASURED = 24
"""Students whose tracings are measured with intervals, as the viewer does: that takes longer than marking them."""
SECONDS, MEGABYTES = 60.0, 1024.0
SEED = 4
CLEANLY = 3
"""Of so many students one errs: most of a class works well, and what is wrong takes longest to explain."""


def run_class(students: int = STUDENTS, images: int = IMAGES) -> tuple[str, list[tuple[str, float, bool]]]:
    """Markdown table, and the goals with what was found."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        megabytes_read = _write(folder, students, images)
        before = _processor_seconds()
        seconds, peak, first, pages = _timed(folder)
        processor = _processor_seconds() - before
    rows = [
        (
            f"{students} submissions of {images} images",
            f"{megabytes_read:.0f} MB",
            "read from disk, checked, every number recomputed",
        ),
        ("`curvometer class`, all tables, pages and reports", f"{seconds:.1f} s", f"goal: {SECONDS:.0f} s"),
        ("of that until the last submission is marked", f"{first:.1f} s", "one process for each core"),
        (
            "processor time of all processes",
            f"{processor:.0f} s",
            "on an idle machine with two cores, half of it and a little",
        ),
        ("memory of all processes together, at most", f"{peak:.0f} MB", f"goal: {MEGABYTES:.0f} MB"),
        ("written", f"{pages:.0f} MB", "tables, pages, sheets, reports"),
    ]
    table = "| what | found | note |\n|---|---|---|\n" + "".join(f"| {a} | {b} | {c} |\n" for a, b, c in rows)
    return table, [
        (f"a class of {students} x {images} within {SECONDS:.0f} s", seconds, seconds < SECONDS),
        ("its memory below 1 GB (MB)", peak, peak < MEGABYTES),
    ]


def run_errors(images: int = 6) -> tuple[str, list[tuple[str, float, bool]]]:
    """Markdown table of slips against the kinds that were named, and the goals with what was found."""
    known = simulated_class(len(Slip), images, seed=SEED + 1)
    expectations = expect(known.sheet, known.key)
    rows, right, beside = [], 0, 0
    for submission in known.submissions:
        slip, mark = known.slips[submission.student], mark_submission(expectations, submission)
        named = Counter(kind for image in mark.images for kind in image.errors)
        clean = sum(not image.errors for image in mark.images)
        wanted = EXPECTED.get(slip)
        hit = clean if wanted is None else named[wanted]
        others = ", ".join(f"{kind.value} ({count})" for kind, count in named.items() if kind is not wanted)
        rows.append(
            f"| {slip.value} | {wanted.value if wanted else 'none'} | {hit} | {others} | {mark.percent:.0f} % |\n"
        )
        right += hit
        beside += sum(count for kind, count in named.items() if kind is not wanted)
    table = (
        f"| what the student does on {images} images | kind that has to be named | named on | named besides | marks |\n"
        "|---|---|---|---|---|\n"
    )
    share = 100.0 * right / (len(Slip) * images)
    return table + "".join(rows), [
        ("simulated slips that are named (%)", share, share >= 95.0),
        (
            "kinds named besides, of 100 images (%)",
            100.0 * beside / (len(Slip) * images),
            beside <= 0.05 * len(Slip) * images,
        ),
    ]


def _write(folder: Path, students: int, images: int) -> float:
    """Write a class whose measured part is `MEASURED`; the others' tracings are larger or smaller than one of theirs."""
    measured = min(students, MEASURED)
    slips = [slip if i % CLEANLY == 0 else Slip.CLEAN for i, slip in enumerate(list(Slip) * CLEANLY)]
    simulated = simulated_class(measured, images, slips=slips, seed=SEED)
    files = write_class(simulated, folder)
    for i in range(measured, students):
        factor = 1.0 + 0.0004 * (i // measured) * (-1.0) ** i
        each = grown(simulated.submissions[i % measured], f"S{i:03d}", simulated.sheet, factor)
        save_submission(each, files.folder / f"{each.student}.json")
    return sum(path.stat().st_size for path in files.folder.iterdir()) / 1e6


def _timed(folder: Path) -> tuple[float, float, float, float]:
    """Seconds, peak memory of the process and all that it started, seconds until the tables begin, MB written."""
    out = folder / "report"
    words = ["class", str(folder / "submissions"), "--key", str(folder / "curves.key.json")]
    words += ["--exercise", str(folder / "curves.handout.zip"), "--out", str(out)]
    code = f"from curvometer.cli import main; raise SystemExit(main({words!r}))"
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    begin = time.perf_counter()
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.DEVNULL, env=environment
    ) as process:
        found: dict[str, float] = {"peak": 0.0, "marked": 0.0}
        watcher = threading.Thread(target=_watch, args=(process, out, begin, found))
        watcher.start()
        code_found = process.wait()
        seconds = time.perf_counter() - begin
        watcher.join()
    if code_found:
        raise SystemExit(f"curvometer class ended with {code_found}")
    written = sum(path.stat().st_size for path in out.rglob("*") if path.is_file()) / 1e6
    return seconds, found["peak"], found["marked"], written


def _processor_seconds() -> float:
    """Of everything that this process has started and that has ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _watch(process: subprocess.Popen[bytes], out: Path, begin: float, found: dict[str, float]) -> None:
    """Add up the memory of the process and its children twenty times a second; pages that they share count in each."""
    try:
        parent = psutil.Process(process.pid)
        while process.poll() is None:
            family = [parent, *parent.children(recursive=True)]
            found["peak"] = max(found["peak"], sum(_memory(each) for each in family) / 2**20)
            if not found["marked"] and (out / "students.csv").exists():
                found["marked"] = time.perf_counter() - begin
            time.sleep(0.05)
    except psutil.NoSuchProcess:
        return


def _memory(process: psutil.Process) -> int:
    try:
        return int(process.memory_info().rss)
    except psutil.NoSuchProcess:
        return 0


if __name__ == "__main__":
    print(run_errors()[0], run_class(*(int(word) for word in sys.argv[1:]))[0], sep="\n")
