"""Raw evidence, never altered: recordings and hand readings, each with digest and origin."""

from nozzlewright.capture.hand_reading import HandReadings, TimedDrop, WatchedHold
from nozzlewright.capture.recording import Recording

__all__ = ["HandReadings", "Recording", "TimedDrop", "WatchedHold"]
