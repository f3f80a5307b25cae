"""One file for each act at the bench.

``read_gauge``
    What a recording or a card of readings shows.
``judge_set``
    Verdicts, next actions and report of an engine's set.
"""

from nozzlewright.workflow.judge_set import (
    InjectorEvidence,
    JudgedSet,
    SetEvidence,
    SittingEvidence,
    asked_by,
    judge_the_set,
)
from nozzlewright.workflow.read_gauge import Evidence, read_gauge

__all__ = [
    "Evidence",
    "InjectorEvidence",
    "JudgedSet",
    "SetEvidence",
    "SittingEvidence",
    "asked_by",
    "judge_the_set",
    "read_gauge",
]
