"""Simulated radiographs for napari's sample menu: the project's own files where they are, else simulated on the spot."""

from __future__ import annotations

from pathlib import Path

from curvometer import CanalShape, PhantomOptions, Radiograph, Structure, load_radiograph, simulate_radiograph
from curvometer_napari.reader import LayerData, image_layer

FOLDER = Path(__file__).parents[2] / "sample_images"
"""Of the source tree; an installed package has none."""

MM_PER_PIXEL = 0.025

SHAPES = {
    "lower_molar": CanalShape.straight_arc(straight_mm=5.2, radius_mm=8.0, angle_deg=42.0, tail_mm=0.8),
    "upper_molar": CanalShape.straight_arc(straight_mm=5.5, radius_mm=9.0, angle_deg=33.0),
    "s_shaped_premolar": CanalShape.s_curve(
        straight_mm=4.0, radius1_mm=8.0, angle1_deg=30.0, middle_mm=0.5, radius2_mm=7.0, angle2_deg=32.0
    ),
    "straight_canine": CanalShape.straight(length_mm=16.5),
    "file_in_canal": CanalShape.straight_arc(straight_mm=5.0, radius_mm=7.5, angle_deg=45.0, tail_mm=0.5),
}
"""The canals of the files of the same names."""

OPTIONS = {
    "lower_molar": PhantomOptions(mm_per_pixel=MM_PER_PIXEL, second_canal=False, seed=461),
    "upper_molar": PhantomOptions(mm_per_pixel=MM_PER_PIXEL, tooth="upper_molar", seed=162),
    "s_shaped_premolar": PhantomOptions(mm_per_pixel=MM_PER_PIXEL, tooth="lower_premolar", seed=454),
    "straight_canine": PhantomOptions(mm_per_pixel=MM_PER_PIXEL, tooth="canine", seed=131),
    "file_in_canal": PhantomOptions(mm_per_pixel=MM_PER_PIXEL, structure=Structure.INSTRUMENT, seed=361),
}


def lower_molar() -> list[LayerData]:
    """Lower molar, curved mesial canal."""
    return _sample("lower_molar")


def upper_molar() -> list[LayerData]:
    """Upper molar, mesiobuccal canal."""
    return _sample("upper_molar")


def s_shaped_premolar() -> list[LayerData]:
    """Lower premolar, S-shaped canal."""
    return _sample("s_shaped_premolar")


def straight_canine() -> list[LayerData]:
    """Upper canine, straight canal."""
    return _sample("straight_canine")


def file_in_canal() -> list[LayerData]:
    """Lower molar with a file in the canal."""
    return _sample("file_in_canal")


def simulated(name: str) -> Radiograph:
    """Simulate a sample anew: the same canal and chance each time, so the same pixels."""
    return simulate_radiograph(SHAPES[name], OPTIONS[name]).radiograph


def _sample(name: str) -> list[LayerData]:
    path = FOLDER / f"{name}.dcm"
    if path.is_file():
        return [image_layer(load_radiograph(path), name=name, source=str(path))]
    return [image_layer(simulated(name), name=name, source="")]
