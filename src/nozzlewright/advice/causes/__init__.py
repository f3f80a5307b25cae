"""The cause finder: what is likely to be wrong, why, and what to look at next.

``model``
    Causes, observations and how one shows the other.
``table``
    The fault table of the trade, every row with its source.
``infer``
    Exact probabilities; what an observation would tell.
``rank``
    Ranked causes with reasons, the next observation, what cannot be told apart.
``words``
    A customer's words understood as symptoms.
``learn``
    What closed jobs teach, version by version.
"""

from nozzlewright.advice.causes.infer import (
    Evidence,
    Posterior,
    by_place,
    gains,
    infer,
    known,
    weights_of,
)
from nozzlewright.advice.causes.learn import (
    Change,
    ClosedCase,
    Counts,
    compare,
    count,
    counts_from,
    held_out,
    with_counts,
)
from nozzlewright.advice.causes.model import (
    Background,
    Cause,
    CauseModel,
    Confidence,
    Link,
    Needs,
    Observation,
    Place,
    Sort,
)
from nozzlewright.advice.causes.rank import (
    Alike,
    Decider,
    Likelihood,
    Next,
    RankedCause,
    Ranking,
    Reason,
    Standing,
    model_priors,
    rank,
    seen_words,
    times_words,
)
from nozzlewright.advice.causes.table import NO_YES, SOURCES, published
from nozzlewright.advice.causes.words import ReadText, Understood, read_spray, read_symptoms

__all__ = [
    "NO_YES",
    "SOURCES",
    "Alike",
    "Background",
    "Cause",
    "CauseModel",
    "Change",
    "ClosedCase",
    "Confidence",
    "Counts",
    "Decider",
    "Evidence",
    "Likelihood",
    "Link",
    "Needs",
    "Next",
    "Observation",
    "Place",
    "Posterior",
    "RankedCause",
    "Ranking",
    "ReadText",
    "Reason",
    "Sort",
    "Standing",
    "Understood",
    "by_place",
    "compare",
    "count",
    "counts_from",
    "gains",
    "held_out",
    "infer",
    "known",
    "model_priors",
    "published",
    "rank",
    "read_spray",
    "read_symptoms",
    "seen_words",
    "times_words",
    "weights_of",
    "with_counts",
]
