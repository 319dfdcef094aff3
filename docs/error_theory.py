"""Write ``error_theory_table.md``: how well an angle and a radius can be known at all.

Run from the project's folder: ``python docs/error_theory.py``. The formula is derived in ``accuracy.md``. The
simulation measures noisy points of canals whose shape is known, with the program's own fit.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from curvometer import CanalShape, calibrate_from_mm_per_pixel, centreline_from_points, measure_canal

TABLE = Path(__file__).with_name("error_theory_table.md")
CANALS = (
    (10, 10, 30),
    (8, 8, 45),
    (12, 4, 30),
    (9, 12, 20),
    (11, 5, 60),
    (12, 15, 10),
    (12, 8, 15),
    (10, 2, 45),
    (11, 2, 70),
)
POINTS, NOISE_MM, REPEATS, MM_PER_PIXEL = 30, 0.05, 100, 0.02


def main() -> None:
    """Compute every row and write the table."""
    header = (
        "$a$", "$R$", "$\\theta$", "arc", "Schneider", "by hand", "by hand, twice the errors",
        "fit: spread", "bias", "radius: median", "16 to 84 %",
    )  # fmt: skip
    rng = np.random.default_rng(2041)
    lines = [header, ("---",) * len(header), *(_row(rng, *canal) for canal in CANALS)]
    TABLE.write_text("\n".join(f"| {' | '.join(line)} |" for line in lines) + "\n", encoding="utf-8")


def by_hand_sd_deg(straight: float, radius: float, angle_deg: float, click: float, slide: float) -> float:
    """First-order standard deviation of Schneider's angle from three clicks; the canal ends on its arc."""
    chord = 2.0 * radius * math.sin(math.radians(angle_deg) / 2.0)
    variance = 2.0 * (click / straight) ** 2 + 2.0 * (click / chord) ** 2 + (slide / (2.0 * radius)) ** 2
    return math.degrees(math.sqrt(variance))


def _row(rng: np.random.Generator, straight: float, radius: float, angle_deg: float) -> tuple[str, ...]:
    angles, radii = _fitted(rng, straight, radius, angle_deg)
    low, middle, high = np.percentile(radii, [16, 50, 84]) / radius
    return (
        f"{straight}",
        f"{radius}",
        f"{angle_deg}°",
        f"{radius * math.radians(angle_deg):.1f}",
        f"{angle_deg / 2:.1f}°",
        f"{by_hand_sd_deg(straight, radius, angle_deg, 0.05, 0.25):.1f}°",
        f"{by_hand_sd_deg(straight, radius, angle_deg, 0.1, 0.5):.1f}°",
        # Half of the middle 68 %: a single fit that took another shape does not decide.
        f"{0.5 * float(np.diff(np.percentile(angles, [16, 84]))[0]):.2f}°",
        f"{np.median(angles) - angle_deg / 2:+.2f}°",
        f"{middle:.2f}",
        f"{low:.2f} to {high:.2f}",
    )


def _fitted(
    rng: np.random.Generator, straight: float, radius: float, angle_deg: float
) -> tuple[np.ndarray, np.ndarray]:
    shape = CanalShape.straight_arc(straight_mm=straight, radius_mm=radius, angle_deg=angle_deg)
    calibration = calibrate_from_mm_per_pixel(MM_PER_PIXEL)
    exact = shape.points_at(np.linspace(0.0, shape.length_mm, POINTS))
    angles, radii = [], []
    for _ in range(REPEATS):
        points = (exact + NOISE_MM * rng.standard_normal(exact.shape)) / MM_PER_PIXEL
        measured = measure_canal(
            centreline_from_points(points, position_sd_px=NOISE_MM / MM_PER_PIXEL), calibration
        )
        angles.append(measured.schneider_angle.value)
        radii.append(measured.pruett_radius.value if measured.pruett_radius else math.inf)
    return np.array(angles), np.array(radii)


if __name__ == "__main__":
    main()
