"""Raw evidence, never altered: recordings and hand readings, each with digest and origin."""

from nozzlewright.capture.hand_reading import (
    CountedDrops,
    HandReadings,
    TimedDrop,
    WatchedHold,
)
from nozzlewright.capture.recording import Recording

__all__ = ["CountedDrops", "HandReadings", "Recording", "TimedDrop", "WatchedHold"]
