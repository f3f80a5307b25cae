"""Findings against a setting sheet, uncertainty included.

``decision_rule``
    Probability of conformity, guard bands, pass / fail / too close to tell.
``gauge_choice``
    Which gauge would do where the one at hand cannot judge.
``bench_tests``, ``seat``, ``back_leakage``
    One test each against what the sheet asks.
``rig``
    The rig itself against its card: fit for use, to be watched, or out.
``injector``, ``engine_set``
    What is to become of an injector; spread, mean and the odd one out of a set.
"""

from nozzlewright.judging.decision_rule import (
    CONFIDENCE,
    GUARD_FACTOR,
    Decision,
    acceptance_zone,
    decide,
    largest_uncertainty,
    probability_of_conformity,
)
from nozzlewright.judging.engine_set import judge_set
from nozzlewright.judging.gauge_choice import gauge_that_would_do
from nozzlewright.judging.injector import judge_injector
from nozzlewright.judging.rig import (
    Fitness,
    ItemVerdict,
    PastCheck,
    RigChart,
    RigItem,
    RigVerdict,
    judge_rig,
)
from nozzlewright.judging.verdict import (
    BenchTest,
    Direction,
    InjectorOutcome,
    InjectorVerdict,
    LeakPath,
    OddOneOut,
    Outcome,
    SetVerdict,
    Verdict,
)

__all__ = [
    "CONFIDENCE",
    "GUARD_FACTOR",
    "BenchTest",
    "Decision",
    "Direction",
    "Fitness",
    "InjectorOutcome",
    "InjectorVerdict",
    "ItemVerdict",
    "LeakPath",
    "OddOneOut",
    "Outcome",
    "PastCheck",
    "RigChart",
    "RigItem",
    "RigVerdict",
    "SetVerdict",
    "Verdict",
    "acceptance_zone",
    "decide",
    "gauge_that_would_do",
    "judge_injector",
    "judge_rig",
    "judge_set",
    "largest_uncertainty",
    "probability_of_conformity",
]
