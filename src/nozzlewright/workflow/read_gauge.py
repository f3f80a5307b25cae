"""One act: read what a gauge showed, recorded or by eye."""

from __future__ import annotations

from nozzlewright.analysis import read_hand, read_trace, rig_leak
from nozzlewright.bench import BenchConditions, GaugeFindings
from nozzlewright.capture import HandReadings, Recording

Evidence = Recording | HandReadings
"""What a test left behind: a recording, or a card of readings."""


def read_gauge(
    evidence: Evidence, conditions: BenchConditions, blank: Recording | None = None
) -> GaugeFindings:
    """Return what the evidence shows, recorded and hand readings alike.

    Parameters
    ----------
    evidence : Recording or HandReadings
        What a test left behind
    conditions : BenchConditions
        What it cannot know
    blank : Recording, optional
        Hold with the blank plug in the injector's place
    """
    if isinstance(evidence, Recording):
        return read_trace(evidence, conditions, blank)
    return read_hand(evidence, conditions, rig_leak(blank, conditions))
