"""One act: read what a gauge showed, recorded or by eye."""

from __future__ import annotations

from dataclasses import replace

from nozzlewright.analysis import RigLeak, read_hand, read_trace, rig_leak
from nozzlewright.bench import (
    BenchConditions,
    GaugeFindings,
    NozzleGeometry,
    ReadingStudies,
    TipWatch,
)
from nozzlewright.capture import HandReadings, Recording
from nozzlewright.measurement import NotMeasured

Evidence = Recording | HandReadings
"""What a test left behind: a recording, or a card of readings."""


def read_gauge(
    evidence: Evidence,
    conditions: BenchConditions,
    blank: Recording | RigLeak | NotMeasured | None = None,
) -> GaugeFindings:
    """Return what the evidence shows, recorded and hand readings alike.

    Parameters
    ----------
    evidence : Recording or HandReadings
        What a test left behind
    conditions : BenchConditions
        What it cannot know
    blank : Recording, RigLeak or NotMeasured, optional
        Hold with the blank plug in the injector's place, or what it says of the rig
    """
    if isinstance(evidence, Recording):
        return read_trace(evidence, conditions, blank)
    return read_hand(
        evidence, conditions, rig_leak(blank, conditions) if isinstance(blank, Recording) else blank
    )


_KEPT = 31
"""Leaks that are kept beside the newest: a rig has one for each day."""


class RigLeaks:
    """The rig's own leak, fitted once for all tests that share plug recording and rig."""

    def __init__(self) -> None:
        self._found: list[tuple[Recording, BenchConditions, RigLeak | NotMeasured | None]] = []

    def of(
        self, blank: Recording | None, conditions: BenchConditions
    ) -> RigLeak | NotMeasured | None:
        """Return what a blank-plug recording says of the rig; None where there is none."""
        if blank is None:
            return None
        rig = of_the_rig(conditions)
        for recording, known, leak in self._found:
            if recording is blank and known == rig:
                return leak
        leak = rig_leak(blank, rig)
        self._found = [*self._found[-_KEPT:], (blank, rig, leak)]
        return leak


def of_the_rig(conditions: BenchConditions) -> BenchConditions:
    """Return the conditions without all that is one injector's."""
    return replace(
        conditions,
        geometry=NozzleGeometry(),
        window=None,
        opening_target_pa=None,
        seat_margin_pa=None,
        seat_hold_s=None,
        seat_watch=TipWatch(),
        drop_watch=TipWatch(),
        studies=ReadingStudies(),
    )
