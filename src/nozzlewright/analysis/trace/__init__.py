"""Gauge recordings: strokes, openings, holds and chatter, found and measured."""

from nozzlewright.analysis.trace.knowledge import RigLeak
from nozzlewright.analysis.trace.reading import read_trace, rig_leak

__all__ = ["RigLeak", "read_trace", "rig_leak"]
