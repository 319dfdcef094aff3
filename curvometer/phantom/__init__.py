"""Simulated periapical radiographs of canals whose shape is exactly known: tests, sample images, teaching."""

from curvometer.phantom.cases import NOISE_LEVELS, random_case
from curvometer.phantom.files import truth_record, write_phantom
from curvometer.phantom.measures import true_measures
from curvometer.phantom.options import Calcification, PhantomOptions
from curvometer.phantom.samples import SAMPLE_CASES, SampleCase, build_sample_images
from curvometer.phantom.shape import CanalShape
from curvometer.phantom.simulation import simulate_radiograph
from curvometer.phantom.truth import KnownLength, Phantom, PhantomTruth

__all__ = [
    "NOISE_LEVELS",
    "SAMPLE_CASES",
    "Calcification",
    "CanalShape",
    "KnownLength",
    "Phantom",
    "PhantomOptions",
    "PhantomTruth",
    "SampleCase",
    "build_sample_images",
    "random_case",
    "simulate_radiograph",
    "true_measures",
    "truth_record",
    "write_phantom",
]
