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
from nozzlewright.simulator.practice import (
    CASES,
    DECISIONS,
    FAULTS,
    PracticeCase,
    PracticeScore,
    ScorePart,
    draw_case,
    practice_sheet,
    score,
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
from nozzlewright.simulator.worked import (
    HeldKey,
    Looks,
    Move,
    Noted,
    Parts,
    ScriptedHand,
    Seen,
    SprayForm,
    WorkedBench,
    WorkedSession,
    work_through,
)

__all__ = [
    "CASES",
    "DECISIONS",
    "FAULTS",
    "KINDS",
    "Act",
    "BenchSetup",
    "BleedStrokes",
    "DemoSet",
    "DrawnSession",
    "FastStrokes",
    "HardStrokes",
    "HeldKey",
    "HoldAt",
    "Idle",
    "InjectorModel",
    "Looks",
    "Move",
    "Noted",
    "OilModel",
    "Parts",
    "PracticeCase",
    "PracticeScore",
    "Release",
    "RigModel",
    "ScorePart",
    "Script",
    "ScriptedHand",
    "SeatHold",
    "Seen",
    "SensorModel",
    "SimulatedSession",
    "SlowStrokes",
    "SprayForm",
    "Strokes",
    "WorkedBench",
    "WorkedSession",
    "demo_set",
    "draw_case",
    "practice_sheet",
    "random_session",
    "score",
    "simulate",
    "work_through",
]
