"""Gauges read live: instruments, the recording on disk, the bench that joins them.

``instrument_file``, ``instruments``
    What an instrument file says, and the instrument it describes.
``modbus``, ``line``, ``folder_watch``
    The kinds of instrument.
``recorder``
    Append-only recordings on disk.
``analyst``
    Reads recordings while they grow, in a process of its own.
``bench``
    One bench with one instrument.
"""

from nozzlewright.edge.intake.live.bench import (
    Batch,
    FinishedRecording,
    Link,
    LiveBench,
    LiveFindings,
    LiveStatus,
    finish_recording,
)
from nozzlewright.edge.intake.live.folder_watch import Dropped, FolderSpec, FolderWatch
from nozzlewright.edge.intake.live.instrument_file import InstrumentSpec, read_instrument
from nozzlewright.edge.intake.live.instruments import Instrument, open_instrument
from nozzlewright.edge.intake.live.line import LineInstrument, LineSpec
from nozzlewright.edge.intake.live.modbus import ModbusInstrument, ModbusSpec
from nozzlewright.edge.intake.live.recorder import (
    Recorder,
    Timing,
    UnfinishedRecording,
    unfinished_recordings,
)

__all__ = [
    "Batch",
    "Dropped",
    "FinishedRecording",
    "FolderSpec",
    "FolderWatch",
    "Instrument",
    "InstrumentSpec",
    "LineInstrument",
    "LineSpec",
    "Link",
    "LiveBench",
    "LiveFindings",
    "LiveStatus",
    "ModbusInstrument",
    "ModbusSpec",
    "Recorder",
    "Timing",
    "UnfinishedRecording",
    "finish_recording",
    "open_instrument",
    "read_instrument",
    "unfinished_recordings",
]
