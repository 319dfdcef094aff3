"""Lines of known shape, in mm, for the tests of comparisons."""

from __future__ import annotations

import numpy as np


def canal(*, straight=8.0, radius=6.0, angle_deg=45.0, apical=0.0, offset=0.0, count=400):
    """Down along +row, then an arc to +col, then straight, in mm; `offset` draws it parallel, positive to the left.

    The left of one who walks towards +row on the image is +col.
    """
    theta = np.radians(angle_deg)
    s = np.linspace(0.0, straight + radius * theta + apical, count)
    # The places where the pieces meet are points of the line, so that its arc is one.
    s = np.union1d(s, [straight, straight + radius * theta])
    phi = np.clip((s - straight) / radius, 0.0, theta)
    beyond = np.maximum(s - straight - radius * theta, 0.0)
    row = np.minimum(s, straight) + radius * np.sin(phi) + beyond * np.cos(phi)
    col = radius * (1.0 - np.cos(phi)) + beyond * np.sin(phi)
    return np.column_stack([row - offset * np.sin(phi), col + offset * np.cos(phi)])


def wavy(seed, *, size=0.3, **shape):
    """A canal as an unsteady hand draws it: smooth waves of up to `size` mm beside it."""
    rng = np.random.default_rng(seed)
    line = canal(**shape)
    share = np.linspace(0.0, 1.0, len(line))
    wave = sum(
        rng.normal(0.0, size / k) * np.sin(np.pi * k * share + rng.uniform(0.0, 6.3)) for k in (1, 2, 3)
    )
    course = np.gradient(line, axis=0)
    normal = np.column_stack([-course[:, 1], course[:, 0]]) / np.hypot(*course.T)[:, None]
    return line + normal * np.asarray(wave)[:, None]
