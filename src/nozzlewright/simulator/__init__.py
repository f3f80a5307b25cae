"""The pretend bench: recordings with known truth, from the physics of pump, line and needle.

It never sees the analysis, nor is seen by it.
"""

from nozzlewright.simulator.demo import DemoSet, demo_set
from nozzlewright.simulator.models import (
    BenchSetup,
    InjectorModel,
    OilModel,
    RigModel,
    SensorModel,
)
from nozzlewright.simulator.scenarios import KINDS, DrawnSession, random_session
from nozzlewright.simulator.script import (
    Act,
    BleedStrokes,
    FastStrokes,
    HardStrokes,
    HoldAt,
    Idle,
    Release,
    Script,
    SeatHold,
    SlowStrokes,
    Strokes,
)
from nozzlewright.simulator.session import SimulatedSession, simulate

__all__ = [
    "KINDS",
    "Act",
    "BenchSetup",
    "BleedStrokes",
    "DemoSet",
    "DrawnSession",
    "FastStrokes",
    "HardStrokes",
    "HoldAt",
    "Idle",
    "InjectorModel",
    "OilModel",
    "Release",
    "RigModel",
    "Script",
    "SeatHold",
    "SensorModel",
    "SimulatedSession",
    "SlowStrokes",
    "Strokes",
    "demo_set",
    "random_session",
    "simulate",
]
