"""Readers of files that are handed in, each told apart by its own probe."""

from nozzlewright.edge.intake.conditions import (
    blank_recording_path,
    check_recording_paths,
    read_conditions,
)
from nozzlewright.edge.intake.hand_card import read_hand_card
from nozzlewright.edge.intake.recording import read_recording
from nozzlewright.edge.intake.set_folder import InjectorFiles, SetFolder, SittingFiles, read_set
from nozzlewright.edge.intake.sheet import read_sheet

__all__ = [
    "InjectorFiles",
    "SetFolder",
    "SittingFiles",
    "blank_recording_path",
    "check_recording_paths",
    "read_conditions",
    "read_hand_card",
    "read_recording",
    "read_set",
    "read_sheet",
]
