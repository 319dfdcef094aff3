"""Waiting until the panel has nothing under way, and tracing a sample's canal in it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from curvometer import CanalName

if TYPE_CHECKING:
    from curvometer_napari.panel import CurvometerPanel


def settle(qtbot: Any, panel: CurvometerPanel) -> None:
    """Wait until the threads are idle, and what they told has been handled and has started nothing new."""
    for _ in range(2):
        qtbot.waitUntil(lambda: not panel.session.busy, timeout=60_000)
        qtbot.wait(20)


def trace(qtbot: Any, panel: CurvometerPanel, one: Any, name: CanalName = CanalName.MB) -> None:
    """Trace the canal of the sample that is open, from its two ends, and accept it."""
    panel.session.start_tracing(name)
    panel.session.click(one.orifice_rc)
    panel.session.click(one.foramen_rc)
    settle(qtbot, panel)
    panel.session.accept()
    settle(qtbot, panel)
