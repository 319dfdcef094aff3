"""The panel beside the image: a box for each step of the work."""

from __future__ import annotations

from curvometer_napari.panel.box import StepBox
from curvometer_napari.panel.panel import CurvometerPanel

__all__ = ["CurvometerPanel", "StepBox"]
