"""The canvas follows the session: placing, scale bar, lines, marks and words; logic on a viewer without a window."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from napari.components import ViewerModel
from napari.layers import Image

from curvometer import Calibration, CanalName, Radiograph, load_radiograph
from curvometer_napari.case import Display, ScaleObject
from curvometer_napari.layers import ENHANCED_TEXT, LINE_PX, Canvas
from curvometer_napari.naming import DASHED, STYLES
from curvometer_napari.placing import Placing, placing
from curvometer_napari.strokes import rgba

if TYPE_CHECKING:
    from conftest import Bench, Sample, WindowlessSession

NAMES = [
    "radiograph",
    "local contrast (display only)",
    "file of known length",
    "canals",
    "path to the pointer",
    "construction",
    "anchors",
    "words",
]


@pytest.fixture
def bench(make_bench: Callable[..., Bench]) -> Bench:
    made = make_bench()
    made.session.set_radiograph(made.sample.radiograph, source="lower_molar.dcm")
    made.session.settle()
    return made


# --- placing ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("turns", "mirrored"), list(product(range(4), [False, True])))
def test_placing_turns_clockwise_after_mirroring(turns: int, mirrored: bool) -> None:
    """By hand: a step to the right points down, left, up after 1, 2, 3 turns; mirrored, it begins leftwards."""
    display = Display(quarter_turns=turns, mirrored=mirrored)
    there = placing(Calibration(), display)
    right = [(0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0)][(turns + (2 if mirrored else 0)) % 4]
    down = [(1.0, 0.0), (0.0, -1.0), (-1.0, 0.0), (0.0, 1.0)][turns]
    np.testing.assert_allclose(there.world(np.array([0.0, 1.0])), right, atol=1e-12)
    np.testing.assert_allclose(there.world(np.array([1.0, 0.0])), down, atol=1e-12)
    np.testing.assert_allclose(there.pixels(there.world(np.array([3.0, 7.0]))), [3.0, 7.0])


def test_placing_is_in_mm_only_at_the_tooth() -> None:
    spacing = {"spacing_rc_mm": (0.03, 0.02), "aspect_ratio": 1.5}
    assert placing(Calibration(**spacing, at_tooth=True), Display()) == Placing(
        scale_rc=(0.03, 0.02), unit="mm"
    )
    assert placing(Calibration(**spacing), Display()) == Placing(scale_rc=(1.5, 1.0), unit="pixel")


# --- the image -------------------------------------------------------------------------------------------


def test_all_layers_are_there_with_the_image_and_none_comes_later(bench: Bench) -> None:
    assert [layer.name for layer in bench.viewer.layers] == NAMES
    bench.trace()
    bench.session.emphasise("schneider_angle")
    assert [layer.name for layer in bench.viewer.layers] == NAMES


def test_stored_pixels_are_shown_and_image_is_active_for_panning(bench: Bench) -> None:
    image = bench.canvas.image_layer
    assert image is not None
    assert image.data.dtype == bench.sample.radiograph.pixels.dtype
    assert np.shares_memory(image.data, bench.sample.radiograph.pixels)
    assert bench.viewer.layers.selection.active is image
    assert image.mode == "pan_zoom"
    window = bench.sample.radiograph.window
    assert window is not None
    assert tuple(image.contrast_limits) == (window.black, window.white)


def test_every_layer_has_the_same_scale_units_and_turn_whatever_is_done(bench: Bench) -> None:
    bench.trace()
    for display in (Display(), Display(quarter_turns=1), Display(quarter_turns=3, mirrored=True)):
        bench.session.show(display, "show")
        placed = {
            (tuple(layer.scale), tuple(map(str, layer.units)), layer.affine.affine_matrix.tobytes())
            for layer in bench.viewer.layers
        }
        assert len(placed) == 1
        assert next(iter(placed))[:2] == ((0.02, 0.02), ("millimeter", "millimeter"))


@pytest.mark.parametrize(("turns", "mirrored"), list(product(range(4), [False, True])))
def test_clicks_come_back_to_the_same_pixel_however_it_is_turned(
    bench: Bench, turns: int, mirrored: bool
) -> None:
    bench.session.show(Display(quarter_turns=turns, mirrored=mirrored), "show")
    world = bench.canvas.to_world((618.3, 694.9))
    np.testing.assert_allclose(bench.canvas.to_rc(world), (618.3, 694.9), atol=1e-6)
    line = bench.layer("canals")
    np.testing.assert_allclose(line.world_to_data(world), (618.3, 694.9), atol=1e-6)


def test_calibrating_does_not_move_what_is_seen(bench: Bench) -> None:
    camera = bench.viewer.scene.camera
    camera.zoom *= 1.7
    camera.center = (0.0, *bench.canvas.to_world((700.0, 500.0)))
    zoom, centre, unit = bench.canvas.zoom, bench.canvas.centre_rc, bench.layer("canals").scale
    clicks = ((300.0, 300.0), (700.0, 310.0), (1100.0, 330.0))
    item = ScaleObject(clicks_rc=clicks, length_mm=28.0)
    bench.session.do(replace(bench.session.case, scale_objects=(item,)), "scale")
    assert tuple(bench.layer("canals").scale) != tuple(unit)
    assert bench.canvas.zoom == pytest.approx(zoom)
    np.testing.assert_allclose(bench.canvas.centre_rc, centre, atol=1e-6)
    bench.session.undo()
    assert bench.canvas.zoom == pytest.approx(zoom)


def test_another_image_replaces_the_layers(bench: Bench, sample: Callable[[str], Sample]) -> None:
    bench.trace()
    bench.session.set_radiograph(sample("straight_canine").radiograph)
    assert [layer.name for layer in bench.viewer.layers] == NAMES
    assert bench.canvas.image_layer is not None
    assert bench.canvas.image_layer.data.shape == sample("straight_canine").radiograph.shape
    assert len(bench.visible("canals")) == 0


def test_an_image_of_the_reader_is_adopted_when_it_is_inserted(
    bench: Bench, sample: Callable[[str], Sample]
) -> None:
    other = sample("straight_canine")
    layer = Image(
        other.radiograph.pixels,
        name="straight_canine",
        metadata={"curvometer": {"radiograph": other.radiograph, "source": "straight_canine.dcm"}},
    )
    bench.viewer.layers.append(layer)
    assert bench.canvas.image_layer is layer
    assert bench.session.radiograph is other.radiograph
    assert bench.session.source == "straight_canine.dcm"
    assert bench.viewer.layers.index(layer) == 0
    assert len(bench.viewer.layers) == len(NAMES)


def test_an_image_of_another_reader_is_opened_from_its_file(
    bench: Bench, sample: Callable[[str], Sample]
) -> None:
    path = sample("straight_canine").path.with_suffix(".png")
    colour = np.zeros((20, 30, 3), dtype=np.uint8)
    from napari.layers._source import layer_source  # noqa: PLC0415 - what napari's own reader does

    with layer_source(path=str(path)):
        layer = Image(colour, rgb=True)
    bench.viewer.layers.append(layer)
    bench.session.settle()
    assert bench.session.source == str(path)
    assert layer not in bench.viewer.layers
    assert [one.name for one in bench.viewer.layers] == NAMES


def test_a_layer_without_a_file_is_left_alone(bench: Bench) -> None:
    bench.viewer.add_image(np.zeros((10, 10)))
    assert bench.session.radiograph is bench.sample.radiograph
    assert len(bench.viewer.layers) == len(NAMES) + 1


def test_a_layer_of_the_session_comes_back_when_it_is_deleted(bench: Bench) -> None:
    bench.viewer.layers.remove(bench.layer("canals"))
    bench.trace()
    assert [layer.name for layer in bench.viewer.layers] == NAMES
    assert len(bench.visible("canals")) > 30
    assert bench.viewer.layers.selection.active is bench.canvas.image_layer


def test_a_window_that_closes_may_take_all_layers(bench: Bench) -> None:
    bench.viewer.layers.clear()
    assert len(bench.viewer.layers) == 0
    bench.trace()
    assert len(bench.viewer.layers) == 0
    assert bench.canvas.image_layer is None
    bench.session.set_radiograph(bench.sample.radiograph)
    assert [layer.name for layer in bench.viewer.layers] == NAMES


def test_the_viewer_looks_once_when_all_layers_are_placed(bench: Bench) -> None:
    """Each look goes through the extents of all layers: eight of them were most of the time that a turn took."""
    looks, slices = list[object](), list[object]()
    bench.viewer.dims.events.current_step.connect(slices.append)
    old = ViewerModel._on_layers_change

    def look(self: ViewerModel) -> None:
        looks.append(self)
        old(self)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ViewerModel, "_on_layers_change", look)
        bench.session.show(Display(quarter_turns=1), "rotate")
    assert len(looks) == 1
    assert not slices
    height, width = bench.sample.radiograph.shape
    spread = np.ptp(np.array(bench.viewer.layers.extent.world), axis=0)
    np.testing.assert_allclose(spread, 0.02 * np.array([width - 1.0, height - 1.0]))


def test_pieces_that_are_not_in_use_cover_nothing(bench: Bench) -> None:
    """A renderer fills what is transparent, too: only the one piece that holds the extent has a length."""
    for name in ("file of known length", "canals", "path to the pointer", "construction"):
        lengths = np.hypot(*bench.layer(name).data[:, 1].T)
        assert np.count_nonzero(lengths) == 1
        assert (bench.layer(name).edge_color[:, 3] == 0.0).all()
    bench.trace()
    layer = bench.layer("canals")
    assert np.count_nonzero(np.hypot(*layer.data[:, 1].T)) <= len(bench.visible("canals")) + 1


# --- display ---------------------------------------------------------------------------------------------


def test_window_and_inversion_are_the_displays(bench: Bench) -> None:
    bench.session.show(Display(window=(100.0, 900.0), inverted=True), "show")
    image = bench.canvas.image_layer
    assert image is not None
    assert tuple(image.contrast_limits) == (100.0, 900.0)
    assert image.colormap.name == "gray_r"


def test_raised_contrast_is_a_copy_for_looking_and_says_so(bench: Bench) -> None:
    before = bench.sample.radiograph.pixels.copy()
    bench.session.show(Display(enhanced=True), "enhance")
    bench.session.settle()
    copy, text = bench.layer("local contrast (display only)"), bench.viewer.canvas.overlays.text
    assert copy.visible
    assert copy.data.std() > 30.0
    assert text.visible
    assert text.text == ENHANCED_TEXT
    np.testing.assert_array_equal(bench.sample.radiograph.pixels, before)
    bench.session.undo()
    assert not copy.visible
    assert not text.visible


# --- lines -----------------------------------------------------------------------------------------------


def test_line_lies_on_the_canal_and_keeps_its_width_on_the_screen(bench: Bench) -> None:
    bench.trace()
    pieces, truth = bench.visible("canals"), np.array(bench.sample.truth["centreline"])[:, ::-1]
    for start in pieces[::10, 0]:
        assert np.hypot(*(truth - start).T).min() < 8.0
    for factor in (1.0, 3.0, 0.25):
        bench.canvas.zoom_by(factor)
        assert bench.layer("canals").edge_width * bench.canvas.zoom == pytest.approx(LINE_PX, rel=0.09)


def test_small_changes_of_zoom_draw_nothing(bench: Bench) -> None:
    bench.trace()
    drawn: list[Any] = []
    bench.layer("canals").events.set_data.connect(drawn.append)
    bench.canvas.zoom_by(1.03)
    assert not drawn
    bench.canvas.zoom_by(1.2)
    assert drawn


def test_selected_canal_is_strong_others_are_dim_and_each_has_its_style(bench: Bench) -> None:
    bench.trace(CanalName.MB)
    session = bench.session
    session.start_tracing(CanalName.MB2)
    session.click((bench.sample.orifice_rc[0], bench.sample.orifice_rc[1] + 60.0))
    session.click((bench.sample.foramen_rc[0], bench.sample.foramen_rc[1] + 60.0))
    session.accept()
    session.settle()
    colours = bench.layer("canals").edge_color
    for name, strong in ((CanalName.MB, False), (CanalName.MB2, True)):
        rgb = np.array(rgba(STYLES[name].colour)[:3])
        alphas = colours[(np.abs(colours[:, :3] - rgb).max(axis=1) < 1e-3) & (colours[:, 3] > 0), 3]
        assert len(alphas)
        assert (alphas == 1.0).all() is np.True_ if strong else (alphas < 0.6).all()
    assert STYLES[CanalName.MB2].dashes == DASHED
    session.select(CanalName.MB)
    assert colours is not bench.layer("canals").edge_color or (colours[:, 3] > 0).any()


def test_legs_by_hand_are_dotted(bench: Bench) -> None:
    """Dots of 2 in 8 screen pixels: a quarter of the leg is seen, of the traced leg all."""
    session, (row, col) = bench.session, bench.sample.orifice_rc
    session.start_tracing(CanalName.MB)
    session.click((row, col))
    session.choose(session.tool, hand=True)
    session.click((row + 300.0, col - 40.0))
    pieces = bench.visible("canals")
    seen = np.hypot(*pieces[:, 1].T).sum()
    assert seen == pytest.approx(0.25 * np.hypot(300.0, 40.0), rel=0.06)


def test_drawing_again_what_did_not_change_costs_nothing(bench: Bench) -> None:
    bench.trace()
    drawn: list[Any] = []
    for name in NAMES[2:]:
        bench.layer(name).events.set_data.connect(drawn.append)
    bench.session.case_changed.emit()
    bench.session.results_changed.emit()
    assert not drawn


def test_live_path_is_drawn_and_taken_away(bench: Bench) -> None:
    bench.session.start_tracing(CanalName.MB)
    bench.session.click(bench.sample.orifice_rc)
    path = bench.session.live_path_rc(bench.sample.foramen_rc)
    bench.canvas.show_live(path)
    pieces = bench.visible("path to the pointer")
    np.testing.assert_allclose(pieces[0, 0], path[0])
    np.testing.assert_allclose(pieces[-1].sum(axis=0), path[-1])
    bench.canvas.show_live(np.empty((0, 2)))
    assert len(bench.visible("path to the pointer")) == 0


def test_live_path_is_written_in_place(bench: Bench) -> None:
    """Setting the data would make napari look at the extent of all layers: the same arrays must stay."""
    bench.session.start_tracing(CanalName.MB)
    bench.session.click(bench.sample.orifice_rc)
    layer = bench.layer("path to the pointer")
    held, extents = layer.data, []
    layer.events.extent.connect(extents.append)
    for end in ((900.0, 640.0), (1000.0, 650.0)):
        bench.canvas.show_live(bench.session.live_path_rc(end))
    assert layer.data is held
    assert not extents


def test_no_line_widens_what_fit_view_shows(bench: Bench) -> None:
    bench.trace()
    bench.session.emphasise("pruett_radius")
    extent = bench.layer("construction").extent.data
    np.testing.assert_allclose(extent, [[0.0, 0.0], np.array(bench.sample.radiograph.shape) - 1.0])


# --- marks and words -------------------------------------------------------------------------------------


def test_anchors_have_symbols_of_their_own_and_the_code_stands_at_the_orifice(bench: Bench) -> None:
    bench.trace()
    session = bench.session
    anchors = bench.layer("anchors")
    assert [str(symbol) for symbol in anchors.symbol] == ["disc", "triangle_down"]
    np.testing.assert_allclose(anchors.data, [bench.sample.orifice_rc, bench.sample.foramen_rc])
    assert (anchors.face_color[:, 3] == 0.0).all()  # hollow: the place itself stays visible
    words = bench.layer("words")
    assert set(words.text.values) == {"MB"}
    assert np.hypot(*(words.data[-1] - bench.sample.orifice_rc)) * bench.canvas.zoom < 60.0
    low, high = anchors.canvas_size_limits
    assert low < high < 30
    session.undo()
    assert [str(symbol) for symbol in bench.layer("anchors").symbol] == ["disc", "triangle_down"]


def test_emphasised_measure_is_drawn_with_the_cores_text(bench: Bench) -> None:
    bench.trace()
    result = bench.session.result(CanalName.MB)
    assert result is not None
    assert result.measurement is not None
    bench.session.emphasise("schneider_angle")
    assert len(bench.visible("construction")) > 20
    assert f"Schneider angle {result.measurement.schneider_angle}" in set(bench.layer("words").text.values)
    bench.session.emphasise(None)
    assert len(bench.visible("construction")) == 0
    assert set(bench.layer("words").text.values) == {"MB"}


def test_label_stays_in_the_view(bench: Bench) -> None:
    bench.trace()
    camera = bench.viewer.scene.camera
    bench.canvas.zoom_by(3.0)
    camera.center = (0.0, *bench.canvas.to_world((1100.0, 300.0)))
    bench.session.emphasise("schneider_angle")
    words = bench.layer("words")
    world = words.data_to_world(words.data[list(words.text.values).index("MB") - 1])
    gap = np.abs(np.array(world) - np.array(camera.center[-2:])) * camera.zoom
    assert (gap <= np.array(bench.viewer.canvas.size) / 2.0).all()


def test_words_do_not_cover_each_other(bench: Bench) -> None:
    row, col = bench.sample.orifice_rc
    for name, shift in ((CanalName.MB, 0.0), (CanalName.ML, 6.0)):
        bench.session.start_tracing(name)
        bench.session.click((row, col + shift))
        bench.session.click((row + 400.0, col - 50.0 + shift))
        bench.session.accept()
        bench.session.settle()
    words = bench.layer("words")
    texts = list(words.text.values)
    places = [words.data[len(texts) - 1 - texts[::-1].index(name)] for name in ("MB", "ML")]
    assert np.hypot(*(places[0] - places[1])) * bench.canvas.zoom > 14.0


def test_cursor_of_the_plot_marks_the_place(bench: Bench) -> None:
    bench.trace()
    bench.session.point_at(0.0)
    places = bench.visible("construction")[:, 0]
    assert np.hypot(*(places - bench.sample.foramen_rc).T).max() < 60.0


# --- what lies under the pointer -------------------------------------------------------------------------


def test_anchor_and_leg_under_a_place(bench: Bench) -> None:
    bench.trace()
    orifice, foramen = np.array(bench.sample.orifice_rc), np.array(bench.sample.foramen_rc)
    near = 6.0 / bench.canvas.zoom
    assert bench.canvas.anchor_at(tuple(orifice + near)) == (CanalName.MB, 0)
    assert bench.canvas.anchor_at(tuple(foramen - near)) == (CanalName.MB, 1)
    assert bench.canvas.anchor_at(tuple(foramen + 5.0 * near)) is None
    middle = bench.session.line_rc(CanalName.MB)[60]
    assert bench.canvas.leg_at(tuple(middle)) == (CanalName.MB, 0)
    assert bench.canvas.leg_at((50.0, 50.0)) is None


def test_reach_is_measured_on_the_screen(bench: Bench) -> None:
    bench.trace()
    beside = np.array(bench.sample.orifice_rc) + np.array([0.0, 9.0 / bench.canvas.zoom])
    assert bench.canvas.anchor_at(tuple(beside)) is not None
    bench.canvas.zoom_by(3.0)
    assert bench.canvas.anchor_at(tuple(beside)) is None


def test_square_drawing_of_oblong_pixels(session: WindowlessSession) -> None:
    """Rows 1.5 times as far apart as columns: the world shows them so, in pixels of the column's size."""
    pixels = np.random.default_rng(1).integers(0, 4000, (200, 300)).astype(np.uint16)
    viewer = ViewerModel()
    canvas = Canvas(viewer, session)
    session.set_radiograph(_oblong(pixels))
    assert tuple(viewer.layers["canals"].scale) == (1.5, 1.0)
    assert canvas.aspect_ratio == 1.5
    canvas.close()


def _oblong(pixels: np.ndarray) -> Radiograph:
    plain = Radiograph(pixels=pixels)
    return replace(plain, spacing=replace(plain.spacing, pixel_aspect_ratio=1.5))


# --- in a window -----------------------------------------------------------------------------------------


def bar_text(viewer: Any) -> str:
    drawn = viewer.window._qt_viewer.canvas._viewer_overlay_to_visual
    return str(drawn[viewer.canvas.overlays.scale_bar][0].node.text.text)


def test_scale_bar_is_in_pixels_before_and_in_mm_after_calibrating(
    make_napari_viewer: Callable[..., Any],
    session: WindowlessSession,
    sample: Callable[[str], Sample],
    qtbot: Any,
) -> None:
    def shows(unit: str) -> None:
        qtbot.waitUntil(lambda: bar_text(viewer).endswith(unit))  # napari takes units over when it draws

    viewer = make_napari_viewer(show=True)
    canvas = Canvas(viewer, session)
    path = sample("lower_molar").path.with_suffix(".png")
    session.set_radiograph(load_radiograph(path))
    shows(" pixel")
    item = ScaleObject(clicks_rc=((300.0, 300.0), (700.0, 310.0), (1100.0, 330.0)), length_mm=21.0)
    session.do(replace(session.case, scale_objects=(item,)), "scale")
    shows(" mm")
    session.show(Display(quarter_turns=1, mirrored=True), "turn")
    shows(" mm")
    session.undo()
    session.undo()
    shows(" pixel")
    canvas.close()


def test_works_through_the_proxy_that_plugins_get(
    make_napari_viewer_proxy: Callable[..., Any], session: WindowlessSession, sample: Callable[[str], Sample]
) -> None:
    viewer = make_napari_viewer_proxy()
    canvas = Canvas(viewer, session)
    other = sample("straight_canine")
    viewer.add_image(
        other.radiograph.pixels, metadata={"curvometer": {"radiograph": other.radiograph, "source": "x"}}
    )
    assert session.radiograph is other.radiograph
    assert [layer.name for layer in viewer.layers] == NAMES
    session.show(Display(quarter_turns=1), "rotate")
    canvas.fit_view()
    canvas.close()


def test_live_path_costs_less_than_setting_the_layers_data(bench: Bench) -> None:
    """A ratio, not a time: writing in place against what napari does for new data of the same size."""
    bench.session.start_tracing(CanalName.MB)
    bench.session.click(bench.sample.orifice_rc)
    path, layer = bench.session.live_path_rc(bench.sample.foramen_rc), bench.layer("canals")
    data = np.array(layer.data)

    def cost(run: Callable[[], object]) -> float:
        times = []
        for _ in range(15):
            start = time.perf_counter()
            run()
            times.append(time.perf_counter() - start)
        return float(np.median(times))

    assert cost(lambda: bench.canvas.show_live(path)) < cost(lambda: setattr(layer, "data", data))
