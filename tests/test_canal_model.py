"""The fitted shape: chains of straight parts and arcs, the fit to noise-free and noisy points, the drawn canals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from published.curvature_tables import lay

from curvometer import Centreline, CurvometerError
from curvometer.canal_model import ArcChains, CanalShape, best_canal, draw_canals, fit_canal
from curvometer.canal_model.bundle import bundle, walk
from curvometer.canal_model.data import MOST_POINTS, traced_points
from curvometer.canal_model.percentiles import median, percentiles
from curvometer.canal_model.shapes import ONE_BEND, STRAIGHT, TWO_BENDS
from curvometer.centreline import Observations

MM = (0.02, 0.02)
PIECES = {
    "s": [(12.0, 0.0)],
    "a": [(12.0, 50.0)],
    "sa": [(8.0, 0.0), (5.0, -40.0)],
    "as": [(6.0, 35.0), (5.0, 0.0)],
    "sas": [(6.0, 0.0), (4.0, 45.0), (3.0, 0.0)],
    "aa": [(6.0, 30.0), (6.0, -40.0)],
    "saa": [(5.0, 0.0), (4.0, 30.0), (5.0, -45.0)],
    "aas": [(5.0, 30.0), (4.0, -45.0), (4.0, 0.0)],
    "saas": [(4.0, 0.0), (4.0, -40.0), (4.0, 30.0), (3.0, 0.0)],
    "sasa": [(4.0, 0.0), (4.0, 40.0), (2.0, 0.0), (4.0, -35.0)],
    "sasas": [(4.0, 0.0), (3.0, 40.0), (2.0, 0.0), (3.0, -35.0), (2.5, 0.0)],
}
"""(length in mm, turning in degrees) of a canal of each shape that is fitted."""


def points_of(pieces, *, step_mm=0.05, spacing_mm=MM):
    """Down the image: along becomes the row, across the column."""
    return lay(pieces, step_mm)[0] / np.array(spacing_mm) + [50.0, 400.0]


def trace(points_rc, *, sd_mm=0.01, correlation_mm=0.0, **more):
    return Centreline(
        points_rc=points_rc,
        position_sd_px=np.full(len(points_rc), sd_mm / MM[1]),
        correlation_px=correlation_mm / MM[1],
        **more,
    )


def chains(**changes):
    usual = {
        "origin": np.array([[1.0, 2.0]]),
        "heading": np.array([0.3]),
        "lengths": np.array([[2.0, 3.0, 9.0]]),
        "kappas": np.array([[0.0, 0.25, 0.0]]),
    }
    return ArcChains(**(usual | changes))


class TestChains:
    def test_the_pieces_follow_each_other_with_common_tangents(self):
        """Straight 2, arc of radius 4 and length 3, straight: the joints of the table's own construction."""
        points, psi = chains().at(np.array([[0.0, 2.0, 5.0, 7.0]]))
        _, joints = lay([(2.0, 0.0), (3.0, np.degrees(0.75)), (2.0, 0.0)], 1.0)
        turn = np.array([[np.cos(0.3), -np.sin(0.3)], [np.sin(0.3), np.cos(0.3)]])
        assert points[0] == pytest.approx(np.array(joints) @ turn.T + [1.0, 2.0], abs=1e-12)
        assert psi[0] == pytest.approx([0.3, 0.3, 1.05, 1.05], abs=1e-12)

    def test_the_direction_is_the_slope_of_the_points(self):
        s = np.linspace(-1.0, 8.0, 4001)[None]
        points, psi = chains().at(s)
        step = np.diff(points[0], axis=0)
        middle = 0.5 * (psi[0, 1:] + psi[0, :-1])
        assert np.arctan2(step[:, 1], step[:, 0]) == pytest.approx(
            middle, abs=1e-4
        )  # the step over a joint bends on its second half
        assert np.hypot(*step.T) == pytest.approx(np.diff(s[0]), rel=1e-6)

    def test_the_first_piece_goes_on_before_the_beginning_and_the_last_for_ever(self):
        points, _ = chains().at(np.array([[-2.0, -1.0, 0.0, 50.0, 51.0, 52.0]]))
        first, last = np.diff(points[0, :3], axis=0), np.diff(points[0, 3:], axis=0)
        assert first[0] == pytest.approx(first[1], abs=1e-12)
        assert last[0] == pytest.approx(last[1], abs=1e-12)

    def test_many_at_once_are_the_same_as_one_by_one(self):
        rng = np.random.default_rng(1)
        many = ArcChains(
            origin=rng.normal(size=(5, 2)),
            heading=rng.normal(size=5),
            lengths=rng.uniform(1.0, 4.0, (5, 3)),
            kappas=rng.normal(0.0, 0.2, (5, 3)),
        )
        s = rng.uniform(0.0, 10.0, (5, 7))
        points, psi = many.at(s)
        for i in range(5):
            one = ArcChains(
                origin=many.origin[[i]],
                heading=many.heading[[i]],
                lengths=many.lengths[[i]],
                kappas=many.kappas[[i]],
            )
            alone, direction = one.at(s[[i]])
            assert points[i] == pytest.approx(alone[0], abs=1e-12)
            assert psi[i] == pytest.approx(direction[0], abs=1e-12)


class TestShapes:
    def test_words_and_counts(self):
        shape = CanalShape(pieces="sas")
        assert shape.words == "straight, arc, straight"
        assert shape.arcs == (1,)
        assert shape.parameter_count == 5  # offset, direction, two lengths, one curvature

    def test_parameters_become_a_chain(self):
        shape = CanalShape(pieces="saa")
        chain = shape.chains(np.array([[0.5, np.pi / 2, 3.0, 2.0, 0.1, -0.2]]))
        assert chain.origin[0] == pytest.approx([-0.5, 0.0], abs=1e-12)
        assert chain.nodes_s[0] == pytest.approx([0.0, 3.0, 5.0])
        assert chain.kappas[0] == pytest.approx([0.0, 0.1, -0.2])

    def test_every_fitted_shape_has_a_canal_here(self):
        assert {shape.pieces for shape in (STRAIGHT, *ONE_BEND, *TWO_BENDS)} == set(PIECES)


class TestShapesSideBySide:
    """All shapes at once, each with its own parameters, against n points."""

    @pytest.fixture
    def side_by_side(self):
        shapes = (STRAIGHT, *ONE_BEND, *TWO_BENDS)
        lanes, rng = bundle(shapes), np.random.default_rng(0)
        parameters = np.zeros(lanes.free.shape)
        parameters[:, :2] = rng.normal(0.0, 0.5, (len(shapes), 2))
        parameters[:, lanes.lengths] = rng.uniform(1.0, 3.0, (len(shapes), lanes.pieces - 1))
        parameters[:, lanes.curvatures] = rng.normal(0.0, 0.2, (len(shapes), lanes.pieces))
        feet = np.tile(np.linspace(-1.0, 14.0, 30), (len(shapes), 1))
        points = feet[0] + 0.3 + 1j * rng.normal(0.0, 1.0, 30)
        return shapes, lanes, parameters * lanes.free, feet, points

    def test_distances_are_those_of_each_shape_alone(self, side_by_side):
        shapes, lanes, parameters, feet, points = side_by_side
        found = walk(lanes, parameters, feet, points)
        for i, shape in enumerate(shapes):
            places, psi = shape.chains(parameters[i, lanes.free[i]][None]).at(feet[:1])
            away = (points - places[0, :, 0] - 1j * places[0, :, 1]) * np.exp(-1j * psi[0])
            assert found.along[i] == pytest.approx(away.real, abs=1e-12)
            assert found.across[i] == pytest.approx(away.imag, abs=1e-12)

    @pytest.mark.parametrize("parameter", range(11))
    @pytest.mark.parametrize("bent", [1.0, 1e-6, 0.0])
    def test_slopes_are_what_a_small_change_does(self, side_by_side, parameter, bent):
        """Central differences of 1e-6: right to about 1e-9 at distances of some 10; also for arcs next to straight."""
        _, lanes, parameters, feet, points = side_by_side
        parameters[:, lanes.curvatures] *= bent
        step = np.zeros(parameters.shape[1])
        step[parameter] = 1e-6
        more, less = (walk(lanes, parameters + way * step, feet, points).across for way in (1.0, -1.0))
        expected = (more - less) / 2e-6 * lanes.free[:, parameter, None]
        assert walk(lanes, parameters, feet, points).slope[:, parameter] == pytest.approx(expected, abs=1e-7)

    def test_a_parameter_that_the_points_leave_open_is_no_fit(self):
        """One point in the arc: its length and its curvature change the same distance and no other."""
        points = np.column_stack([np.linspace(0.0, 600.0, 12), np.full(12, 50.0)])
        points[-1, 1] += 3.0
        model = fit_canal(trace(points, sd_mm=0.005), MM)
        assert all(np.isfinite(fit.inverse_information).all() for fit in model.fits)
        curvature = [
            np.sqrt(fit.inverse_information[-1, -1]) for fit in model.fits if fit.shape.pieces == "sa"
        ]
        assert all(sd < 1e3 for sd in curvature)


@pytest.mark.parametrize("count", [1, 2, 3, 64, 320])
def test_percentiles_are_those_of_numpy(count):
    values = np.random.default_rng(count).normal(size=(count, 4))
    for level, found in zip((2.5, 50.0, 97.5), percentiles(values, (2.5, 50.0, 97.5)), strict=True):
        assert found == pytest.approx(np.percentile(values, level, axis=0), rel=1e-12, abs=1e-14)
    assert median(values[:, 0]) == pytest.approx(np.median(values[:, 0]), rel=1e-12)


class TestPoints:
    def test_ends_are_kept_and_dense_traces_thinned(self):
        points = points_of(PIECES["sas"], step_mm=0.005)
        data = traced_points(trace(points), MM)
        assert len(points) > 2000
        assert len(data.s) <= MOST_POINTS + 2
        plane = points[:, ::-1] * 0.02
        assert data.points[-1] + data.first == pytest.approx(plane[-1], abs=1e-12)
        assert data.ends + data.first == pytest.approx(plane[[0, -1]], abs=1e-12)

    def test_points_that_share_their_errors_count_for_fewer(self):
        """120 mm-steps of 0.1: with a correlation length of 0.5 mm five neighbours are worth one point."""
        points = np.column_stack([np.linspace(0.0, 600.0, 121), np.full(121, 50.0)])
        alone = traced_points(trace(points, sd_mm=0.03), MM)
        shared = traced_points(trace(points, sd_mm=0.03, correlation_mm=0.5), MM)
        assert alone.effective == pytest.approx(121.0)
        assert shared.effective == pytest.approx(121.0 / 5.0)
        assert shared.variance == pytest.approx(5.0 * alone.variance)

    def test_pixels_become_a_square_plane(self):
        data = traced_points(trace(np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0]])), (0.03, 0.02))
        assert data.s == pytest.approx([0.0, 3.0, 5.0])

    def test_repeated_points_are_dropped(self):
        points = np.repeat(points_of(PIECES["sa"]), 3, axis=0)
        assert len(traced_points(trace(points), MM).s) == len(points) // 3


class TestFit:
    @pytest.mark.parametrize("pieces", PIECES)
    def test_noise_free_points_give_their_own_shape_back(self, pieces):
        model = fit_canal(trace(points_of(PIECES[pieces]), sd_mm=0.002), MM)
        assert model.best.shape.pieces == pieces
        lengths = model.best.parameters[model.best.shape.length_slots]
        assert lengths == pytest.approx([length for length, _ in PIECES[pieces][:-1]], abs=0.02)
        kappas = model.best.parameters[model.best.shape.curvature_slots]
        # Rows grow along and columns across, so the plane (column, row) sees every turning mirrored.
        expected = [-np.radians(turning) / length for length, turning in PIECES[pieces] if turning]
        assert kappas == pytest.approx(expected, abs=1e-3)
        assert model.misfit_ratio < 0.1

    def test_weights_add_up_and_fall(self):
        points = points_of(PIECES["sas"], step_mm=0.5)
        points[:, 1] += np.random.default_rng(0).normal(0.0, 15.0, len(points))
        model = fit_canal(trace(points, sd_mm=0.3), MM)
        assert model.weights.sum() == pytest.approx(1.0)
        assert (np.diff(model.weights) <= 0.0).all()
        assert len(model.fits) == len(model.weights) > 1

    @pytest.mark.parametrize("pieces", ["sa", "sas", "saa"])
    def test_a_turned_picture_gives_the_same_fit(self, pieces):
        rng = np.random.default_rng(4)
        points = points_of(PIECES[pieces])
        points = points + rng.normal(0.0, 1.0, points.shape)
        turn = np.array([[np.cos(2.0), -np.sin(2.0)], [np.sin(2.0), np.cos(2.0)]])
        one, other = (fit_canal(trace(p, sd_mm=0.02), MM) for p in (points, points @ turn.T))
        assert other.best.shape == one.best.shape
        assert other.best.misfit == pytest.approx(one.best.misfit, rel=1e-4)
        curved = one.best.shape.curvature_slots
        assert other.best.parameters[curved] == pytest.approx(one.best.parameters[curved], rel=1e-3)

    def test_the_told_covariance_is_the_scatter_of_repeated_fits(self):
        """Straight 8, arc of 7 mm and 50 degrees; 140 independent points of 0.03 mm; 120 repetitions.

        Root mean square of (found - true) over the told standard error is 1 within 4 / sqrt(2 x 120) = 0.26 for each.
        """
        points, shape = lay([(8.0, 0.0), (7.0, 50.0)], 0.11)[0], CanalShape(pieces="sa")
        truth = np.array([0.0, np.pi / 2.0, 8.0, -np.radians(50.0) / 7.0])
        ratios = []
        for seed in range(120):
            noisy = points + np.random.default_rng(seed).normal(0.0, 0.03, points.shape)
            model = fit_canal(trace(noisy / 0.02, sd_mm=0.03), MM)
            (fit,) = [f for f in model.fits if f.shape == shape]
            sd = np.sqrt(np.diag(fit.inverse_information))
            ratios.append(
                (fit.parameters[1:] - truth[1:])[[0, 2]] / sd[[1, 3]]
            )  # direction, curvature: no beginning
        assert np.sqrt(np.mean(np.square(ratios), axis=0)) == pytest.approx([1.0, 1.0], abs=0.26)

    def test_residuals_larger_than_declared_widen_the_errors(self):
        points = points_of(PIECES["sa"])
        points[:, 1] += np.random.default_rng(0).normal(0.0, 3.0, len(points))
        model = fit_canal(trace(points, sd_mm=0.02), MM)
        assert model.variance_scale == pytest.approx(9.0, rel=0.4)
        assert fit_canal(trace(points, sd_mm=0.2), MM).variance_scale == 1.0

    def test_the_shape_is_fitted_to_what_was_seen_and_ends_where_the_line_ends(self):
        """The line is cut short of its bend; the observations know better."""
        seen = points_of(PIECES["sa"])
        line = np.linspace(seen[0], seen[-1], 50)
        observed = Observations(points_rc=seen[5:-5], sd_px=np.full(len(seen) - 10, 0.2), correlation_px=1.0)
        model = fit_canal(replace(trace(line), observations=observed), MM)
        assert model.best.shape.pieces == "sa"
        assert model.best.end_s - model.best.start_s == pytest.approx(13.0, abs=0.02)

    def test_parts_with_large_errors_count_for_little(self):
        points = points_of(PIECES["sa"])
        bad = slice(40, 80)
        points[bad, 1] += 15.0
        sd = np.full(len(points), 0.5)
        sd[bad] = 500.0
        model = fit_canal(replace(trace(points), position_sd_px=sd), MM)
        assert 1.0 / abs(model.best.parameters[-1]) == pytest.approx(5.0 / np.radians(40.0), rel=0.03)

    def test_two_different_points_are_no_canal(self):
        with pytest.raises(CurvometerError, match="whole canal"):
            fit_canal(trace(np.array([[0.0, 0.0], [0.0, 0.0], [90.0, 4.0]])), MM)


class TestHooks:
    """A straight canal that bends 10 degrees over its last 0.9 mm, seen with errors that share 0.5 mm."""

    @staticmethod
    def noisy(pieces, seed, *, sd_mm=0.03):
        rng = np.random.default_rng(seed)
        points = points_of(pieces, step_mm=0.1)
        kernel = np.exp(-0.5 * (np.arange(-8, 9) / 2.0) ** 2)  # area under its autocorrelation: 0.7 mm
        noise = np.convolve(rng.normal(size=len(points) + 16), kernel, "valid")
        points[:, 1] += noise / np.sqrt((kernel**2).sum()) * sd_mm / MM[1]
        seen = Observations(
            points_rc=points, sd_px=np.full(len(points), sd_mm / MM[1]), correlation_px=0.7 / MM[1]
        )
        return replace(trace(points), observations=seen)

    def test_more_intervals_reach_a_hook_that_the_noise_hides(self):
        """41 of 60 do; 26 without hooks among the fits, as the free fit takes the bend for a gentle arc or for none."""
        held = 0
        for seed in range(60):
            canals = draw_canals(
                fit_canal(self.noisy([(11.1, 0.0), (0.9, 10.0)], seed), MM),
                count=320,
                end_sd=(0.05, 0.05),
                scale_sd=0.0,
                inflation=1.6,
            )
            turning = np.concatenate(
                [np.abs(c.chains.kappas * np.diff(c.piece_limits(), axis=1)).max(axis=1) for c in canals]
            )
            held += bool(np.percentile(np.degrees(turning), 97.5) >= 10.0)
        assert held >= 36

    def test_hooks_share_the_weight_of_one_shape(self):
        """Three of them on a straight trace take together no more than the best alone would."""
        model = fit_canal(self.noisy([(12.0, 0.0)], 3, sd_mm=0.02), MM)
        hooks = [i for i, fit in enumerate(model.fits) if fit.handicap > 0.0 and fit.shape.pieces == "sa"]
        straight = next(i for i, fit in enumerate(model.fits) if fit.shape == STRAIGHT)
        assert len(hooks) >= 2
        # Two parameters more, at Akaike's price of 2 each; a hook gains at most a little on noise.
        gain = min(model.fits[i].misfit for i in hooks) - model.fits[straight].misfit
        expected = np.exp(-0.5 * (gain / model.variance_scale + 4.0))
        assert model.weights[hooks].sum() / model.weights[straight] == pytest.approx(expected, rel=0.05)

    def test_none_are_tried_on_a_canal_that_bends(self):
        model = fit_canal(self.noisy(PIECES["sas"], 0), MM)
        assert all(fit.handicap == 0.0 or fit.shape.pieces != "sa" for fit in model.fits)

    def test_none_are_tried_on_points_whose_error_nobody_knows(self):
        points = points_of([(12.0, 0.0)], step_mm=0.5)
        points[:, 1] += np.random.default_rng(5).normal(0.0, 1.0, len(points))
        model = fit_canal(Centreline(points_rc=points), MM)
        assert all(fit.handicap == 0.0 or fit.shape.pieces != "sa" for fit in model.fits)

    @pytest.mark.parametrize(("sd_mm", "least_mm", "most_mm"), [(0.003, 1.49, 1.53), (0.06, 2.4, 3.2)])
    def test_a_doubtful_hook_is_taken_for_a_blunter_one_and_a_clear_one_is_not(
        self, sd_mm, least_mm, most_mm
    ):
        """1.2 mm on a radius of 1.5 mm, sharper than any published. With a prior twice as wide it is 1.95 mm when in doubt."""
        points = points_of([(10.8, 0.0), (1.2, np.degrees(1.2 / 1.5))], step_mm=0.1)
        seen = Observations(
            points_rc=points, sd_px=np.full(len(points), sd_mm / MM[1]), correlation_px=0.5 / MM[1]
        )
        best = fit_canal(replace(trace(points), observations=seen), MM).best
        assert least_mm < 1.0 / abs(best.parameters[-1]) < most_mm


class TestDrawnCanals:
    @pytest.fixture(scope="class")
    @classmethod
    def model(cls):
        points = points_of(PIECES["sas"])
        points[:, 1] += np.random.default_rng(2).normal(0.0, 1.0, len(points))
        return fit_canal(trace(points, sd_mm=0.02), MM)

    def test_the_same_model_gives_the_same_canals(self, model):
        one, other = (draw_canals(model, count=100, end_sd=(0.05, 0.05), scale_sd=0.01) for _ in range(2))
        for a, b in zip(one, other, strict=True):
            assert np.array_equal(a.chains.kappas, b.chains.kappas)
            assert np.array_equal(a.scale, b.scale)

    def test_they_keep_to_their_shape(self, model):
        for canals in draw_canals(model, count=300, end_sd=(0.2, 0.2), scale_sd=0.0, inflation=2.0):
            limits = canals.piece_limits()
            assert (np.diff(limits, axis=1) >= 0.0).all()
            assert (canals.chains.lengths[:, :-1] >= 0.0).all()

    @pytest.mark.parametrize("count", [60, 200, 320, 500])
    def test_scale_and_ends_spread_as_told(self, model, count):
        """The 2.5th and 97.5th percentiles lie at 1.96 standard errors: within a tenth at any number of draws."""
        drawn = draw_canals(model, count=count, end_sd=(0.0, 0.1), scale_sd=0.02)
        best = best_canal(model)
        scale = np.log(np.concatenate([canals.scale for canals in drawn]))
        low, high = np.percentile(scale, [2.5, 97.5])
        assert [low, high] == pytest.approx([-1.96 * 0.02, 1.96 * 0.02], rel=0.12)
        foramen = drawn[0].foramen_s - best.foramen_s[0]
        assert np.std(foramen) == pytest.approx(0.1, rel=0.15)

    def test_no_bend_winds(self):
        """20 points on a straight line with large errors: canals with curls of a whole turn are none that it shows."""
        points = np.column_stack(
            [np.linspace(0.0, 600.0, 20), 300.0 + np.random.default_rng(13).normal(0.0, 1.5, 20)]
        )
        model = fit_canal(Centreline(points_rc=points), MM)
        for canals in draw_canals(model, count=300, end_sd=(0.0, 0.0), scale_sd=0.0):
            lengths = np.diff(canals.piece_limits(), axis=1)
            assert (np.abs(lengths * canals.chains.kappas) <= 2.0 * np.pi + 1e-9).all()
