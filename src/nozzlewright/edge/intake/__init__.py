"""Readers of files that are handed in, each told apart by its own probe."""

from nozzlewright.edge.intake.conditions import blank_recording_path, read_conditions
from nozzlewright.edge.intake.recording import read_recording

__all__ = ["blank_recording_path", "read_conditions", "read_recording"]
