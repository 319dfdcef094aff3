"""Tables of the documentation that are read off the program, so that they cannot disagree with it.

Each function returns Markdown; the directive ``made-table`` puts it on a page, and a test compares it with
the code. Nothing here needs Sphinx.
"""

from __future__ import annotations

import ast
import importlib
import pkgutil
from pathlib import Path

import curvometer
from curvometer.assessment.curriculum import CURVE_STEPS
from curvometer.assessment.faults import IMAGE_FAULTS
from curvometer.assessment.films import FILM_STEPS
from curvometer.assessment.item_marks import UNIT_WORDS
from curvometer.assessment.rubric import ITEM_UNITS, RubricItem
from curvometer.assessment.rubric_file import DEFAULT_RUBRIC
from curvometer.bibliography import REFERENCES, Reference
from curvometer.calibration import file_statement
from curvometer.cli.table import LABELS
from curvometer.measurement import FLAG_TABLE, QUANTITY_NAMES
from curvometer.measurement.flags import LENGTHS
from curvometer.measurement.measures import READINGS
from curvometer.measurement.words import meanings
from curvometer_napari.keys import help_rows

METHOD_PAGES = {
    "schneider_angle": "schneider",
    "weine_angle": "weine",
    "long_axis_angle": "long_axis",
    "canal_access_angle": "canal_access",
    "curvature_height": "canal_access",
    "curvature_distance": "canal_access",
    "pruett_angle": "pruett",
    "pruett_radius": "pruett",
    "chord_radius": "schaefer",
    "three_point_radius": "three_point",
    "radius_quotient": "radius_quotient",
    "minimum_radius": "minimum_radius",
    "minimum_radius_from_foramen": "minimum_radius",
    "total_turning": "turning",
    "net_turning": "turning",
}
"""The page that derives a measure; the rest (canal length, start and end of the curve) comes from the fit."""


def flag_table() -> str:
    """Every flag of the program: code, severity, sentence, and what it bears on."""
    rows = [
        (f"`{code}`", str(rule.severity), rule.text, _concerns(rule.concerns))
        for code, rule in FLAG_TABLE.items()
    ]
    return _table(("code", "severity", "what it says", "bears on"), rows)


def key_table() -> str:
    """Every key of the viewer and what it does."""
    return _table(("key", "does"), [(f"`{keys}`", does) for keys, does in help_rows()])


def measure_table() -> str:
    """Every measure in the order of the output: name in JSON, words, reading, page."""
    words = meanings(dict.fromkeys(QUANTITY_NAMES, object()))  # type: ignore[arg-type] # only asked whether None
    rows = []
    for name in QUANTITY_NAMES:
        page = METHOD_PAGES.get(name)
        link = f"[derivation](methods/{page}.md)" if page else "[fit](fitted_shape.md)"
        rows.append((f"{LABELS[name].strip()}<br>`{name}`", words[name], READINGS[name], link))
    return _table(("measure", "in a few words", "reading", "page"), rows)


def uncertainty_table() -> str:
    """The uncertainties that no image file states and the program assumes, with their reasons."""
    found = {
        name: value
        for name, value in vars(file_statement).items()
        if isinstance(value, file_statement.AssumedUncertainty)
    }
    rows = [
        (f"`{name}`", f"{100 * value.relative:g} %", _sentence(value.reference))
        for name, value in found.items()
    ]
    return _table(("name", "relative standard uncertainty", "why"), rows)


def reference_list() -> str:
    """Every source that the code cites, with how it was read."""
    return "\n".join(
        f"- `{source.key}`: {source.citation}. **{_capital(str(source.how_read))}.** {source.note}".rstrip()
        for source in all_references()
    )


def constants(*modules: str) -> str:
    """Every number that stands by name at the top of some modules, with its docstring."""
    rows = []
    for module in modules:
        rows += [
            (f"`{name}`", f"`{value}`", text, f"`{module}`") for name, value, text in _constants_of(module)
        ]
    return _table(("name", "value", "what it is", "module"), rows)


def all_references() -> list[Reference]:
    """References of the bibliography and of the modules that keep their own, one per key."""
    found = dict(REFERENCES)
    for info in pkgutil.walk_packages(curvometer.__path__, "curvometer."):
        for value in vars(importlib.import_module(info.name)).values():
            reference = getattr(value, "reference", value)
            if isinstance(reference, Reference):
                found.setdefault(reference.key, reference)
    return list(found.values())


def image_fault_table() -> str:
    """Why an image may be rejected: code and words."""
    return _table(("code", "what is wrong"), [(f"`{code}`", words) for code, words in IMAGE_FAULTS.items()])


def curve_step_table() -> str:
    """Curves of the practice ladder, from easy to hard."""
    rows = [
        (str(number), _range(step.angle_deg), _range(step.radius_mm), _range(step.second_angle_deg))
        for number, step in enumerate(CURVE_STEPS, 1)
    ]
    return _table(("step", "angle of the arc, degrees", "radius, mm", "second, opposite arc, degrees"), rows)


def film_step_table() -> str:
    """Films of the practice ladder, from easy to hard."""
    rows = [
        (
            str(number),
            f"{step.contrast:.2f}",
            f"{step.canal_width_mm:.2f}",
            step.noise,
            f"{step.blur_mm:.3f}",
            "yes" if step.overlap else "no",
            "no" if step.closed == 1.0 else f"to {step.closed:.0%} of its width".replace("%", " %"),
        )
        for number, step in enumerate(FILM_STEPS, 1)
    ]
    header = (
        "step",
        "window over range",
        "canal width, mm",
        "noise",
        "blur, mm",
        "overlap",
        "partly calcified",
    )
    return _table(header, rows)


def rubric_table() -> str:
    """The default rubric: what each item is worth, and the largest errors for all and for half of the points."""
    rows = [(f"`{row.item}`", row.title, f"{row.points:g}", *_limits_of(row)) for row in DEFAULT_RUBRIC.items]
    whole = sum(row.points for row in DEFAULT_RUBRIC.items)
    return _table(
        ("item", "title", "points", "all up to", "half up to"),
        [*rows, ("", "together", f"{whole:g}", "", "")],
    )


def _limits_of(row: RubricItem) -> tuple[str, str]:
    if row.full is None or row.half is None:
        return "see below", "see below"
    unit = UNIT_WORDS[ITEM_UNITS[row.item]]
    return f"{row.full:g} {unit}", f"{row.half:g} {unit}"


def _range(limits: tuple[float, float] | None) -> str:
    return "none" if limits is None else f"{limits[0]:g} to {limits[1]:g}"


def _concerns(names: tuple[str, ...]) -> str:
    if not names:
        return "everything"
    lengths = ["every length and radius"] if set(LENGTHS) <= set(names) else []
    return ", ".join([*lengths, *(f"`{name}`" for name in names if not lengths or name not in LENGTHS)])


def _constants_of(module: str) -> list[tuple[str, str, str]]:
    source = Path(importlib.import_module(module).__file__ or "").read_text(encoding="utf-8")
    body = ast.parse(source).body
    found = []
    for statement, after in zip(body, [*body[1:], None], strict=True):
        if not isinstance(statement, ast.Assign) or not isinstance(
            statement.targets[0], ast.Name | ast.Tuple
        ):
            continue
        names = ast.unparse(statement.targets[0]).strip("()")
        value = ast.unparse(statement.value)
        if not names.replace(", ", "_").isupper() or names.startswith("_") or len(value) > 60:
            continue
        found.append((names, value, _docstring(after)))
    return found


def _docstring(statement: ast.stmt | None) -> str:
    if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
        return " ".join(str(statement.value.value).split())
    return ""


def _sentence(reference: Reference) -> str:
    return f"{reference.citation}. {reference.note}".strip()


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _table(header: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = [header, ("---",) * len(header), *rows]
    return "\n".join(f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in line)} |" for line in lines)
