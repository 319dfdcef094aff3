"""What is asked of a student on an image, in words; markup where it says so."""

from __future__ import annotations

from collections.abc import Callable

from curvometer import ImageSheet, KnownLength, Task
from curvometer_napari.exercise_run import ExerciseRun, asked_now, still_to_do, unfinished
from curvometer_napari.panel.looks import html

NO_BREAK = "\u00a0"
OPERATORS = {
    "student": "a student",
    "general": "a general dentist",
    "enhanced": "a dentist with enhanced skills",
    "specialist": "a specialist",
}


def progress_words(run: ExerciseRun) -> str:
    """Tell which image is open, and how many are done."""
    count, left = len(run.works), len(unfinished(run))
    if count == 1:
        return f"{run.sheet.title}."
    done = "all done" if not left else f"{count - left} of {count} done"
    return f"{run.sheet.title}: image {run.at + 1} of {count}, {done}."


def asked_words(run: ExerciseRun, step_back: Callable[[str], str]) -> str:
    """Tell the canal, and what is missing on the open image, as markup."""
    image = run.image
    canal = "the canal" if str(image.canal) == "single" else f"canal {image.canal}"
    to_do = still_to_do(run)
    left = f"Still to do: {html(to_do)}." if to_do else "Nothing is missing on this image."
    return f"<b>Tooth {image.tooth}, {canal}.</b> {left}{_length_words(run, step_back)}"


def _length_words(run: ExerciseRun, step_back: Callable[[str], str]) -> str:
    known = run.image.known_length
    if Task.CALIBRATE not in asked_now(run.image, run.work) or known is None:
        return ""
    return f"<br>{step_back(html(length_words(known)))}"


def length_words(known: KnownLength) -> str:
    """Tell by what to calibrate; the length is never broken over two lines."""
    length = f"{known.length_mm:g} mm ± {known.tolerance_mm:g}".replace(" ", NO_BREAK)
    return f"Calibrate on {known.what}: {length}."


def case_words(image: ImageSheet) -> str:
    """Tell what is stated about the case, as markup; empty when nothing is that a task needs."""
    scenario = image.scenario
    parts = [html(scenario.text)] if scenario.text else []
    if Task.GRADE in image.tasks or Task.PLAN in image.tasks:
        parts.append(f"Who would treat: {OPERATORS[scenario.operator]}.")
        parts.append(f"Canal and chamber: {scenario.visibility.replace('-', ' ')}.")
        parts += [
            f"{name.replace('_', ' ').capitalize()}: {_fact(value)}."
            for name, value in scenario.facts.items()
        ]
    if Task.PLAN in image.tasks:
        parts += _exploration(image)
    return " ".join(parts)


def _exploration(image: ImageSheet) -> list[str]:
    scenario = image.scenario
    parts = []
    if scenario.working_length_mm is not None:
        parts.append(f"Working length {scenario.working_length_mm:g} mm.")
    if scenario.reached_size:
        parts.append(f"A hand file of size {scenario.reached_size:02d} reached it.")
    else:
        parts.append("No hand file reached it.")
    if scenario.blocked:
        parts.append("Something blocks the canal.")
    if scenario.apex_opening_mm is not None:
        parts.append(f"The apex is open {scenario.apex_opening_mm:g} mm wide.")
    return parts


def _fact(value: str | bool | float) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else f"{value:g}"
