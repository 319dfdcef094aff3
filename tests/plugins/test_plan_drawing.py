"""The drawing of a plan: what it computes, what it tells in words, and that it can be read in both themes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from qtpy.QtCore import QPoint, Qt
from qtpy.QtGui import QColor, QPalette

from curvometer import CaseContext, Exploration, SequencePlan, ask_recommenders, what_if_request
from curvometer.instruments.iso import ISO_SIZES, colour_of_size
from curvometer.mechanics import largest_strain
from curvometer_napari.panel.looks import line_height
from curvometer_napari.panel.plan_drawing import ROW, SIZE_COLOURS, PlanDrawing, bent_parts, strain_of
from curvometer_sequences import recommend_by_table

GROUNDS = {"dark": ("#262930", "#f0f1f2"), "light": ("#efebe9", "#1e1e21")}


def request_of(angle=40.0, *, length=20.0, second=0.0):
    """Radius 6 mm from 6 mm above the foramen: the bend goes on for 6 mm times the angle in radians."""
    curve = {"radius_mm": 6.0, "curve_start_from_foramen_mm": 6.0} if angle else {}
    return what_if_request(
        angle_deg=angle,
        second_angle_deg=second,
        exploration=Exploration(working_length_mm=length, reached_size=8),
        context=CaseContext(tooth=46, canal="MB"),
        **curve,
    )


REQUEST = request_of()
PLAN = ask_recommenders(REQUEST, recommenders={"table": recommend_by_table}).plans[0]


@pytest.fixture
def drawing(qtbot) -> PlanDrawing:
    made = PlanDrawing()
    qtbot.addWidget(made)
    made.show_plan(PLAN, REQUEST, selected=1)
    made.resize(360, made.sizeHint().height())
    made.show()
    return made


def test_the_bend_is_shaded_where_it_is():
    """It starts 20 - 6 = 14 mm deep and is 6 * radians(40) = 4.19 mm long."""
    ((start, end),) = bent_parts(REQUEST)
    assert start == pytest.approx(14.0)
    assert end == pytest.approx(14.0 + 6.0 * math.radians(40.0))
    assert bent_parts(request_of(0.0)) == []
    assert bent_parts(replace(REQUEST, curve=None, scale_known=False)) == []


def test_two_bends_are_two_parts_or_touch():
    """The second one ends where the first begins: 6 * radians(20) = 2.09 mm above it."""
    parts = bent_parts(request_of(second=20.0))
    assert parts[0][0] == pytest.approx(14.0 - 6.0 * math.radians(20.0))
    assert parts[-1][1] == pytest.approx(14.0 + 6.0 * math.radians(40.0))


def test_strain_along_the_canal_has_its_top_where_the_core_has_it():
    for step in PLAN.steps:
        strain = strain_of(step, REQUEST)
        top = largest_strain(step.instrument, REQUEST.curve, tip_from_foramen_mm=20.0 - step.to_mm)
        assert strain.percent.max() == pytest.approx(top.percent)
        assert strain.depth_mm[np.argmax(strain.percent)] == pytest.approx(20.0 - top.at_from_foramen_mm)
        assert np.all(strain.lower <= strain.percent)
        assert np.all(strain.percent <= strain.upper)


def test_no_strain_is_made_up():
    step = PLAN.steps[0]
    assert strain_of(step, replace(REQUEST, curve=None, scale_known=False)) is None
    assert strain_of(replace(step, to_mm=2.0), REQUEST) is None  # above the orifice, 9 mm deep


def test_the_readout_tells_number_place_and_range(drawing):
    """By hand: rotary 10/.02 at length, 6 mm from its tip 0.22 mm thick: 0.22 / 12 = 1.8 %, 14 mm deep."""
    assert PLAN.steps[1].instrument.name == "rotary 10/.02"
    assert drawing.readout() == "Step 2: at most 1.8 % (1.8 to 1.8), 14.0 mm deep"
    assert "Rotary 10/.02 to 20.0 mm = WL" in drawing.accessibleDescription()
    assert "share of the design life" in drawing.accessibleDescription()


def test_a_straight_canal_strains_nothing(drawing):
    request = request_of(0.0)
    drawing.show_plan(PLAN, request, selected=0)
    assert drawing.readout() == "Step 1: not strained by bending"


def test_rows_are_chosen_by_mouse_and_keys(drawing, qtbot):
    line = line_height(drawing)
    chosen = []
    drawing.chosen.connect(chosen.append)
    place = QPoint(20, round(1.3 * line + 3.5 * ROW * line))
    qtbot.mouseClick(drawing, Qt.MouseButton.LeftButton, pos=place)
    qtbot.keyClick(drawing, Qt.Key.Key_Down)
    qtbot.keyClick(drawing, Qt.Key.Key_Up)
    drawing.show_plan(PLAN, REQUEST, selected=0)
    qtbot.keyClick(drawing, Qt.Key.Key_Up)
    qtbot.mouseClick(drawing, Qt.MouseButton.LeftButton, pos=QPoint(20, drawing.height() - 5))
    assert chosen == [3, 2, 0, 0]


@pytest.mark.parametrize("theme", GROUNDS)
def test_hand_and_motor_differ_without_colour(drawing, theme):
    """A bar by hand is hollow, one by motor is filled: seen at the middle of each bar, above the bend."""
    ground, text = map(QColor, GROUNDS[theme])
    palette = drawing.palette()
    palette.setColor(QPalette.ColorRole.Window, ground)
    palette.setColor(QPalette.ColorRole.WindowText, text)
    drawing.setPalette(palette)
    drawing.show_plan(PLAN, REQUEST, selected=6, done=2, now=2)
    picture, line = drawing.grab().toImage(), line_height(drawing)
    x = round(drawing._across(PLAN, REQUEST).place(5.0))
    for number, step in enumerate(PLAN.steps):
        y = round(1.3 * line + number * ROW * line + 0.7 * line)
        differs = abs(picture.pixelColor(x, y).lightness() - ground.lightness()) > 60
        assert differs == step.is_rotary, number


def test_every_handle_has_its_colour():
    named = {colour for size in ISO_SIZES if (colour := colour_of_size(size)) is not None}
    assert named == set(SIZE_COLOURS)


def test_it_grows_with_the_plan_and_keeps_a_number_that_is_out_of_it(drawing):
    before = drawing.sizeHint().height()
    short = SequencePlan(recommender="t", rule="t", steps=PLAN.steps[:2], ends_with="")
    drawing.show_plan(short, REQUEST, selected=6)
    assert drawing.selected == 1
    assert drawing.sizeHint().height() < before
