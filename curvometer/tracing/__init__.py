"""Radiograph + clicks -> `Centreline`; and the live tracer that a viewer drives."""

from curvometer.tracing.by_hand import trace_partly_by_hand
from curvometer.tracing.clicks import TracingError
from curvometer.tracing.live import LiveTracer
from curvometer.tracing.trace import centreline_from_points, trace_centreline

__all__ = ["LiveTracer", "TracingError", "centreline_from_points", "trace_centreline", "trace_partly_by_hand"]
