"""The fitted shape of a canal: straight, arc, straight; or opposite arcs. Landmarks and their covariance come from it."""

from curvometer.canal_model.chain import ArcChains
from curvometer.canal_model.data import TracedPoints
from curvometer.canal_model.fit import ShapeFit
from curvometer.canal_model.percentiles import median, percentiles
from curvometer.canal_model.samples import CanalSamples, best_canal, draw_canals
from curvometer.canal_model.selection import CanalModel, fit_canal, fit_canal_as
from curvometer.canal_model.shapes import CanalShape, shape_of, with_as_many_bends

__all__ = [
    "ArcChains",
    "CanalModel",
    "CanalSamples",
    "CanalShape",
    "ShapeFit",
    "TracedPoints",
    "best_canal",
    "draw_canals",
    "fit_canal",
    "fit_canal_as",
    "median",
    "percentiles",
    "shape_of",
    "with_as_many_bends",
]
