"""Write the table of docs/methods/noncircular.md: ``python docs/methods/noncircular_table.py``.

Eight curves that no arc fits are measured from noise-free points; the table says how far the fitted start of the
curve moves each value from the one that the curve's own start gives. A test compares the page with today's fit.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from curvometer import calibrate_from_mm_per_pixel, centreline_from_points, measure_canal

PAGE = Path(__file__).with_name("noncircular.md")
BEGIN, END = "<!-- table -->", "<!-- end of table -->"
PIXEL_MM, TURN = 0.02, np.radians(17.0)
COLUMNS = {
    "start of the curve, mm": "curve_start_from_foramen",
    "Schneider, °": "schneider_angle",
    "Weine, °": "weine_angle",
    "access angle, °": "canal_access_angle",
    "height, mm": "curvature_height",
    "distance, mm": "curvature_distance",
    "Pruett's radius, mm": "pruett_radius",
    "chord radius, mm": "chord_radius",
    "smallest radius, mm": "minimum_radius",
    "length, mm": "canal_length",
}
PRINTED = {
    "schneider_angle": "S",
    "weine_angle": "W",
    "canal_access_angle": "CAA",
    "curvature_height": "x_B",
    "curvature_distance": "y_A",
    "pruett_radius": "R_pruett",
    "chord_radius": "r_tc",
    "minimum_radius": "R_min",
    "canal_length": "L",
}


def tables() -> ModuleType:
    """The closed forms, which live with the tests."""
    path = Path(__file__).parents[2] / "tests" / "published" / "curvature_tables.py"
    spec = importlib.util.spec_from_file_location("curvature_tables", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules.setdefault("curvature_tables", module)
    spec.loader.exec_module(module)
    return module


def differences(case: Any) -> dict[str, float]:
    """Measured less exact, by measure; positive for a start means further from the foramen."""
    turn = np.array([[np.cos(TURN), np.sin(TURN)], [-np.sin(TURN), np.cos(TURN)]])
    points_rc = case.points(0.01) @ turn / PIXEL_MM + [900.0, 700.0]
    found = measure_canal(centreline_from_points(points_rc), calibrate_from_mm_per_pixel(PIXEL_MM))
    exact = {name: case.printed[column] for name, column in PRINTED.items()}
    exact["curve_start_from_foramen"] = case.printed["L"] - case.a
    return {name: getattr(found, name).value - exact[name] for name in COLUMNS.values()}


def name(case: Any) -> str:
    """The curve in words."""
    words = {
        "parab": "parabola, curvature {:g}/mm at its start, {:g} mm long on the axis",
        "logsp": "logarithmic spiral from {:g} mm, rate {:g}, {:g}°",
        "clothoid": "clothoid, {:g}/mm², {:g} mm long",
    }
    return words[case.kind].format(*case.parameters)


def table() -> str:
    """The whole table in Markdown."""
    lines = ["| curve | " + " | ".join(COLUMNS) + " |", "|---" * (len(COLUMNS) + 1) + "|"]
    for case in tables().CURVE_CASES:
        moved = " | ".join(_signed(value) for value in differences(case).values())
        lines.append(f"| {name(case)} | {moved} |")
    return "\n".join(lines)


def _signed(value: float) -> str:
    return "0.00" if abs(value) < 0.005 else f"{value:+.2f}"


def printed_rows() -> list[list[float]]:
    """The numbers that the page holds now."""
    rows = PAGE.read_text(encoding="utf-8").split(BEGIN)[1].split(END)[0].strip().splitlines()[2:]
    return [[float(cell) for cell in row.strip("| ").split("|")[1:]] for row in rows]


def main() -> None:
    """Put the table between the marks on the page."""
    head, rest = PAGE.read_text(encoding="utf-8").split(BEGIN)
    tail = rest.split(END)[1]
    PAGE.write_text(f"{head}{BEGIN}\n\n{table()}\n\n{END}{tail}", encoding="utf-8")


if __name__ == "__main__":
    main()
