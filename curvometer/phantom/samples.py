"""The cases of ``sample_images``: a fictional teaching clinic's films, simulated, with their truth."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from curvometer.centreline import Structure
from curvometer.phantom.files import truth_record, write_phantom
from curvometer.phantom.options import Calcification, PhantomOptions
from curvometer.phantom.shape import CanalShape
from curvometer.phantom.simulation import simulate_radiograph
from curvometer.radiograph import CurvometerError


@dataclass(frozen=True, kw_only=True)
class SampleCase:
    """One film of the teaching set.

    Attributes
    ----------
    title
        What it shows, for the table of the README.
    shape, options
        What is simulated.
    spacing
        What its DICOM header states (`write_phantom`).
    tooth_iso3950
        Number of the tooth.
    """

    title: str
    shape: CanalShape
    options: PhantomOptions
    spacing: str
    tooth_iso3950: int


SAMPLE_CASES: dict[str, SampleCase] = {
    "lower_molar": SampleCase(
        title="Lower first molar, curved mesial root",
        shape=CanalShape.straight_arc(straight_mm=5.2, radius_mm=8.0, angle_deg=42.0, tail_mm=0.8),
        options=PhantomOptions(
            tooth="lower_molar",
            image_shape=(1300, 1700),
            mm_per_pixel=0.020,
            tilt_deg=4.0,
            second_canal=False,
            seed=461,
        ),
        spacing="fiducial",
        tooth_iso3950=36,
    ),
    "upper_molar": SampleCase(
        title="Upper first molar, mesiobuccal root; the palatal root overlaps and the sinus floor crosses",
        shape=CanalShape.straight_arc(straight_mm=5.5, radius_mm=9.0, angle_deg=33.0),
        options=PhantomOptions(
            tooth="upper_molar",
            image_shape=(1300, 1700),
            mm_per_pixel=0.020,
            tilt_deg=-3.0,
            canal_width_mm=(0.5, 0.26),
            seed=162,
        ),
        spacing="imager",
        tooth_iso3950=26,
    ),
    "upper_lateral_hook": SampleCase(
        title="Upper lateral incisor with an apical hook: a short arc of small radius near the foramen",
        shape=CanalShape.straight_arc(straight_mm=9.6, radius_mm=3.0, angle_deg=55.0, tail_mm=0.6),
        options=PhantomOptions(
            tooth="lateral_incisor",
            image_shape=(1600, 1200),
            mm_per_pixel=0.019,
            canal_width_mm=(0.65, 0.32),
            tilt_deg=3.0,
            photometric="MONOCHROME1",
            seed=123,
        ),
        spacing="fiducial",
        tooth_iso3950=22,
    ),
    "s_shaped_premolar": SampleCase(
        title="Lower second premolar with an S-shaped canal: two opposite bends",
        shape=CanalShape.s_curve(
            straight_mm=4.0, radius1_mm=8.0, angle1_deg=30.0, middle_mm=0.5, radius2_mm=7.0, angle2_deg=32.0
        ),
        options=PhantomOptions(
            tooth="lower_premolar",
            image_shape=(1400, 1100),
            mm_per_pixel=0.020,
            canal_width_mm=(0.6, 0.32),
            bits=16,
            mirrored=True,
            seed=454,
        ),
        spacing="magnified",
        tooth_iso3950=45,
    ),
    "straight_canine": SampleCase(
        title="Upper canine with a straight canal; a 10 mm steel wire lies beside the crown",
        shape=CanalShape.straight(length_mm=16.5),
        options=PhantomOptions(
            tooth="canine",
            image_shape=(1700, 1300),
            mm_per_pixel=0.020,
            canal_width_mm=(0.8, 0.35),
            tilt_deg=-6.0,
            calibration_object="wire",
            offset_mm=(-1.3, 0.0),
            seed=131,
        ),
        spacing="none",
        tooth_iso3950=23,
    ),
    "calcified_molar": SampleCase(
        title="Lower first molar, old patient: low pulp chamber, coronal half of the canal nearly closed",
        shape=CanalShape.straight_arc(straight_mm=6.0, radius_mm=12.0, angle_deg=24.0),
        options=PhantomOptions(
            tooth="lower_molar",
            image_shape=(1300, 1700),
            mm_per_pixel=0.020,
            canal_width_mm=(0.42, 0.24),
            calcification=Calcification(start_mm=0.8, end_mm=5.5, width_left=0.35),
            chamber_height=0.3,
            second_canal=False,
            mirrored=True,
            seed=361,
        ),
        spacing="fiducial",
        tooth_iso3950=46,
    ),
    "file_in_canal": SampleCase(
        title="Lower first molar with a size 15 file to the foramen; its stop stands at the cusp: the length"
        " from stop to tip gives the scale",
        shape=CanalShape.straight_arc(straight_mm=5.0, radius_mm=7.5, angle_deg=45.0, tail_mm=0.5),
        options=PhantomOptions(
            tooth="lower_molar",
            image_shape=(1300, 1700),
            mm_per_pixel=0.020,
            structure=Structure.INSTRUMENT,
            file_size=15,
            offset_mm=(0.9, 0.0),
            bits=8,
            seed=462,
        ),
        spacing="pixel",
        tooth_iso3950=36,
    ),
    "low_contrast_premolar": SampleCase(
        title="Upper first premolar, under-exposed and flat: low dose, more blur, faint ligament",
        shape=CanalShape.straight_arc(straight_mm=6.5, radius_mm=14.0, angle_deg=22.0),
        options=PhantomOptions(
            tooth="upper_premolar",
            image_shape=(1100, 800),
            mm_per_pixel=0.028,
            canal_width_mm=(0.45, 0.26),
            quanta_per_mm2=6.0e5,
            electronic_noise=0.004,
            blur_mm=0.065,
            contrast=1.8,
            ligament_contrast=0.5,
            lamina_contrast=0.5,
            bits=8,
            seed=141,
        ),
        spacing="imager",
        tooth_iso3950=24,
    ),
    "upper_incisor": SampleCase(
        title="Upper central incisor with a gentle curve and a wide canal; the easiest film of the set",
        shape=CanalShape.straight_arc(straight_mm=7.5, radius_mm=16.0, angle_deg=18.0),
        options=PhantomOptions(
            tooth="incisor",
            image_shape=(1700, 1300),
            mm_per_pixel=0.019,
            canal_width_mm=(0.9, 0.4),
            calibration_object="ball",
            offset_mm=(-1.6, 0.0),
            seed=111,
        ),
        spacing="pixel",
        tooth_iso3950=21,
    ),
    "two_canals_molar": SampleCase(
        title="Lower first molar, mesial root with two canals partly over each other: a trace can slip from one to the"
        " other, take a second view",
        shape=CanalShape.straight_arc(straight_mm=5.2, radius_mm=8.0, angle_deg=42.0, tail_mm=0.8),
        options=PhantomOptions(
            tooth="lower_molar", image_shape=(1300, 1700), mm_per_pixel=0.020, tilt_deg=4.0, seed=461
        ),
        spacing="fiducial",
        tooth_iso3950=36,
    ),
}


def build_sample_images(folder: str | Path, *, only: str | None = None) -> dict[str, dict[str, object]]:
    """Write every sample case as DICOM and PNG, and one ``truth.json`` for all.

    Parameters
    ----------
    folder
        An existing folder.
    only
        Name of a single case; ``truth.json`` is then not written.

    Returns
    -------
    dict
        The truth by case name, as in ``truth.json``.
    """
    if only is not None and only not in SAMPLE_CASES:
        raise CurvometerError(f"there is no sample case {only!r}; choose one of {', '.join(SAMPLE_CASES)}")
    truth: dict[str, dict[str, object]] = {}
    for number, (name, case) in enumerate(SAMPLE_CASES.items(), start=1):
        if only not in (None, name):
            continue
        phantom = simulate_radiograph(case.shape, case.options)
        patient = f"LM-{2040 + number}"
        write_phantom(
            phantom,
            folder,
            name=name,
            spacing=case.spacing,
            patient_id=patient,
            compression="none" if case.options.bits == 8 else "jpeg-ls",
            png_bits=8,
            with_truth=False,
        )
        truth[name] = {
            "title": case.title,
            "tooth_iso3950": case.tooth_iso3950,
            "spacing_in_dicom": case.spacing,
            **truth_record(phantom),
        }
    if only is None:
        text = json.dumps(truth, indent=1, allow_nan=False)
        (Path(folder) / "truth.json").write_text(text + "\n", encoding="utf-8")
    return truth
