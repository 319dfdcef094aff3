"""A teacher's folder for tests: a small film of one's own with two experts' records, and films to simulate."""

from __future__ import annotations

import numpy as np
from PIL import Image

from curvometer import (
    calibrate_from_mm_per_pixel,
    canal_entry,
    centreline_from_points,
    load_radiograph,
    measure_canal,
    new_record,
    save_record,
)

SCALE_MM = 0.1
"""Coarse, so that pictures are small: 15 mm of canal are 150 pixels."""

OWN_FILM = """
[[images]]
file = "films/own.png"
tooth = 36
canal = "MB"
known_length = { what = "file, stop to tip", length_mm = 12.0 }
references = { %s }
"""
EASY_FILM = """
[[images]]
phantom = { angle_deg = 33, radius_mm = 7.5, kind = "lateral_incisor", film = 2, mm_per_pixel = 0.1 }
"""
BAD_FILM = """
[[images]]
phantom = { angle_deg = 20, radius_mm = 9, kind = "incisor", film = 2, mm_per_pixel = 0.1, fault = "apex-cut-off" }
"""


def arc_rc(*, angle_deg=40.0, radius_px=80.0, straight_px=60.0, start_rc=(15.31, 40.17)):
    """Points of a straight piece and an arc, a pixel apart: Schneider's angle is half of the arc's."""
    angle = np.radians(angle_deg)
    s = np.arange(0.0, straight_px + radius_px * angle, 1.0)
    t = np.clip((s - straight_px) / radius_px, 0.0, angle)
    down = np.minimum(s, straight_px) + radius_px * np.sin(t)
    aside = radius_px * (1.0 - np.cos(t))
    return np.column_stack([start_rc[0] + down, start_rc[1] + aside])


def write_picture(path, *, seed=1):
    rng = np.random.default_rng(seed)
    picture = np.add.outer(np.arange(170.0) * 90.0, np.arange(120.0) * 130.0) + rng.normal(
        0.0, 900.0, (170, 120)
    )
    Image.fromarray(np.clip(picture + 9000.0, 0, 65535).astype(np.uint16)).save(path, dpi=(600, 600))
    return path


def write_record(path, image, *, canal="MB", shift_px=0.0, mm_per_pixel=SCALE_MM):
    line = centreline_from_points(arc_rc() + shift_px, position_sd_px=0.1)
    scale = calibrate_from_mm_per_pixel(mm_per_pixel, relative_standard_uncertainty=0.01)
    entry = canal_entry(line, measure_canal(line, scale), name=canal)
    save_record(new_record(radiograph=load_radiograph(image), calibration=scale, canals=[entry]), path)
    return path


def write_folder(folder, *images, experts=("ab", "cd"), head='name = "curves-1"\n'):
    """Write a folder with ``exercise.toml``, ``films/own.png`` and a record of each expert."""
    (folder / "films").mkdir(parents=True)
    (folder / "references").mkdir()
    picture = write_picture(folder / "films" / "own.png")
    for number, expert in enumerate(experts):
        write_record(folder / "references" / f"own_{expert}.json", picture, shift_px=0.731 * number)
    named = ", ".join(f'{expert} = "references/own_{expert}.json"' for expert in experts)
    text = head + "".join(image % named if "%s" in image else image for image in images)
    (folder / "exercise.toml").write_text(text, encoding="utf-8")
    return folder
