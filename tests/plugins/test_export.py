"""A result as text and as CSV."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from curvometer import (
    MEASURING_CAUTION,
    QUANTITY_DEFINITIONS,
    QUANTITY_NAMES,
    Calibration,
    CanalName,
    Quantity,
    calibrate_from_file,
    flags_on,
    load_radiograph,
    sorted_flags,
)
from curvometer.measurement.flags import flag
from curvometer_napari.case import Tracing
from curvometer_napari.export import (
    COLUMNS,
    canal_title,
    numbers,
    result_text,
    results_csv,
)
from curvometer_napari.solving import Result, solve

SAMPLE = Path(__file__).parents[2] / "sample_images" / "lower_molar.dcm"
SHA256 = "0123456789abcdef" * 4


@pytest.fixture(scope="module")
def result() -> Result:
    """The first sample, traced from its true ends."""
    radiograph = load_radiograph(SAMPLE)
    tracing = Tracing(
        name=CanalName.MB2, anchors_rc=((618.308, 694.914), (1190.46, 685.733)), accepted=True
    )  # truth.json: orifice 694.914, 618.308; foramen 685.733, 1190.46 as x, y
    return solve(radiograph, calibrate_from_file(radiograph), tracing)


def rows(result: Result) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(results_csv([result], image_sha256=SHA256))))


def row(result: Result, quantity: str) -> dict[str, str]:
    (found,) = [r for r in rows(result) if r["quantity"] == quantity]
    return found


@pytest.mark.parametrize(
    ("quantity", "words"),
    [
        (Quantity(value=31.44, lower=29.76, upper=33.0, unit="deg"), ("31.4°", "29.8 to 33.0")),
        (Quantity(value=8.216, lower=7.75, upper=8.71, unit="mm"), ("8.22 mm", "7.75 to 8.71")),
        (Quantity(value=2.85, lower=2.63, upper=3.07, unit="deg/mm"), ("2.85 °/mm", "2.63 to 3.07")),
    ],
)
def test_numbers_are_rounded_for_reading(quantity, words):
    assert numbers(quantity) == words


def test_text_names_canal_image_scale_caution_and_every_quantity(result):
    text = result_text(result, image_sha256=SHA256)
    assert "MB2, second mesiobuccal" in text
    assert "0123456789abcdef" in text
    assert "0.02000 mm per pixel" in text
    assert "DICOM PixelSpacing, FIDUCIAL" in " ".join(text.split())
    assert all(QUANTITY_DEFINITIONS[name].label in text for name in QUANTITY_NAMES)
    assert all(flag.text.split()[0] in text for flag in result.measurement.flags)
    assert "not a diagnostic device" in text


def test_text_is_aligned_and_narrow(result):
    lines = result_text(result).splitlines()
    assert max(map(len, lines)) <= 110
    head = next(line for line in lines if line.startswith("Measure "))
    column = head.index("95 % interval")
    table = lines[lines.index(head) + 2 : lines.index(head) + 2 + len(QUANTITY_NAMES)]
    assert all(line[column - 1] == " " and line[column] != " " for line in table)


def test_absent_quantities_are_told_with_their_reason(result):
    line = next(
        line for line in result_text(result).splitlines() if line.startswith("Radius by three points")
    )
    assert "not given" in line
    assert "canal_too_short" in line


def test_a_problem_is_told_in_place_of_numbers(result):
    failed = Result(tracing=result.tracing, calibration=result.calibration, problem="Click further apart.")
    assert "Click further apart." in result_text(failed)
    assert results_csv([failed]).splitlines() == [",".join(COLUMNS)]


def test_csv_has_a_row_per_quantity_with_the_core_s_numbers(result):
    for name, quantity in result.measurement.quantities.items():
        found = row(result, name)
        assert found["canal"] == "MB2"
        assert found["label"] == QUANTITY_DEFINITIONS[name].label
        if quantity is None:
            assert found["value"] == found["lower"] == found["upper"] == found["unit"] == ""
        else:
            assert float(found["value"]) == pytest.approx(quantity.value, rel=1e-5)
            assert float(found["lower"]) == pytest.approx(quantity.lower, rel=1e-5, abs=1e-9)
            assert float(found["upper"]) == pytest.approx(quantity.upper, rel=1e-5)
            assert found["unit"] == quantity.unit
            assert found["reading"] == quantity.reading


def test_csv_is_rectangular_and_has_scale_and_caution(result):
    text = results_csv([result, result], image_sha256=SHA256)
    assert {len(line) for line in csv.reader(io.StringIO(text))} == {len(COLUMNS)}
    scale = row(result, "mm_per_pixel")
    assert float(scale["value"]) == pytest.approx(0.02)
    # 1.96 x 0.02 x 1.57 % either side
    assert float(scale["upper"]) - float(scale["lower"]) == pytest.approx(2 * 1.96 * 0.02 * 0.016, rel=0.03)
    assert row(result, "caution")["reading"] == MEASURING_CAUTION
    assert row(result, "image_sha256")["value"] == SHA256


def test_csv_gives_positions_as_x_and_y(result):
    assert float(row(result, "orifice_x")["value"]) == pytest.approx(694.914)
    assert float(row(result, "orifice_y")["value"]) == pytest.approx(618.308)
    assert float(row(result, "foramen_y")["value"]) == pytest.approx(1190.46)


def test_no_scale_leaves_its_cells_empty(result):
    bare = replace(result, calibration=Calibration())
    assert row(bare, "mm_per_pixel")["value"] == ""
    assert "No scale" in result_text(bare)


def test_flags_that_name_a_quantity_come_before_general_ones(result):
    measurement = replace(
        result.measurement, flags=tuple(map(flag, ("near_border", "two_bends", "short_arc")))
    )
    assert [f.code for f in flags_on("schneider_angle", measurement)] == ["two_bends", "near_border"]
    assert [f.code for f in flags_on("curvature_height", measurement)] == ["near_border"]


def test_the_gravest_flag_is_told_first(result):
    codes = ("straight", "near_border", "too_few_points")
    measurement = replace(result.measurement, flags=tuple(map(flag, codes)))
    assert [f.code for f in sorted_flags(measurement)] == ["too_few_points", "near_border", "straight"]
    lines = result_text(replace(result, measurement=measurement)).splitlines()
    assert any(line.startswith("DO NOT TRUST too_few_points") for line in lines)


def test_neither_form_holds_a_file_name(result):
    everything = result_text(result, image_sha256=SHA256) + results_csv([result], image_sha256=SHA256)
    assert ".dcm" not in everything
    assert "lower_molar" not in everything


def test_a_single_canal_needs_no_code(result):
    single: Any = replace(result, tracing=replace(result.tracing, name=CanalName.SINGLE))
    assert canal_title(single) == "single canal"
