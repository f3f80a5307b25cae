"""One file for each act at the bench.

``read_gauge``
    What a recording or a card of readings shows.
``live_reading``
    The same while the recording grows: marks at once, findings as they can be had.
``judge_set``
    Verdicts, next actions and report of an engine's set.
``match``
    The best match of a job's set, with what the fitter allows.
``match_chosen``
    A match that was chosen as part of the story, and how far it has come.
``workshop``
    The acts of a workshop on its record, and what its screens ask of it.
``sitting``
    Several tests of one injector taken together.
``studies``
    Studies of fitters: planned, read in an order drawn by lot, told.
``causes``, ``cause_evidence``
    What is likely to be wrong, from all that a job's record says; what closed jobs teach.
``ports``
    What the acts need of the world.
"""

from nozzlewright.workflow.judge_set import (
    InjectorEvidence,
    JudgedSet,
    SetEvidence,
    SittingEvidence,
    asked_by,
    judge_tested_set,
    judge_the_set,
)
from nozzlewright.workflow.read_gauge import Evidence, read_gauge
from nozzlewright.workflow.workshop import NewTest, RigState, SheetRow, Workshop

__all__ = [
    "Evidence",
    "InjectorEvidence",
    "JudgedSet",
    "NewTest",
    "RigState",
    "SetEvidence",
    "SheetRow",
    "SittingEvidence",
    "Workshop",
    "asked_by",
    "judge_tested_set",
    "judge_the_set",
    "read_gauge",
]
