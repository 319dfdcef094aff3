"""The words about a measurement that the table on the command line, the viewer and its letter share."""

from __future__ import annotations

from dataclasses import replace

from curvometer import MEASURING_CAUTION, definition_readings, flags_on, form_words, sorted_flags
from curvometer.measurement import MeasurementFlag, Severity


def doubt(code, severity, *concerns):
    return MeasurementFlag(code=code, severity=severity, text=".", concerns=concerns)


def test_the_form_with_shape_and_class(make_known_case):
    measurement = replace(
        make_known_case().measurement, canal_form="J", shape="straight, arc", schneider_class="severe"
    )
    told = "J (curved near its end); straight, arc; Schneider class: severe"
    assert form_words(measurement) == told
    assert form_words(measurement, before_shape="fitted shape: ") == told.replace(
        "; s", "; fitted shape: s", 1
    )
    assert form_words(replace(measurement, schneider_class="")) == "J (curved near its end); straight, arc"


def test_only_ambiguous_definitions_have_a_reading(make_known_case):
    measurement = make_known_case().measurement
    angle = replace(measurement.schneider_angle, reading="acute")
    told = definition_readings(replace(measurement, schneider_angle=angle, pruett_angle=None))
    assert told["schneider_angle"] == "acute"
    assert "pruett_angle" not in told
    assert all(told.values())


def test_flags_by_gravity_and_by_what_they_concern(make_known_case):
    flags = (
        doubt("a", Severity.NOTE),
        doubt("b", Severity.CAUTION, "canal_length"),
        doubt("c", Severity.DO_NOT_TRUST, "pruett_angle"),
        doubt("d", Severity.CAUTION),
    )
    measurement = replace(make_known_case().measurement, flags=flags)
    assert [flag.code for flag in sorted_flags(measurement)] == ["c", "b", "d", "a"]
    assert [flag.code for flag in flags_on("canal_length", measurement)] == ["b", "a", "d"]


def test_the_caution_says_what_every_print_must_say():
    for words in ("One projection", "95 %", "not a diagnostic device"):
        assert words in MEASURING_CAUTION
