"""One engine's set of injectors, each with what was found and what was left."""

from __future__ import annotations

from dataclasses import dataclass

from nozzlewright.bench.findings import TestSitting
from nozzlewright.bench.sheet import Condition


@dataclass(frozen=True)
class SetInjector:
    """One injector of the set."""

    cylinder: int
    identity: str
    """Serial number or tag: it stays with the injector when it moves."""
    as_found: TestSitting | None
    as_left: TestSitting | None

    @property
    def latest(self) -> TestSitting | None:
        """The sitting that a verdict is about: as left where there is one, else as found."""
        return self.as_left or self.as_found


@dataclass(frozen=True)
class EngineSet:
    """What was booked in together, in cylinder order."""

    title: str
    engine: str
    customer: str
    workshop: str
    fitter: str
    date: str
    """ISO 8601."""
    condition: Condition
    """Whether the sheet's band for new or for used parts applies to the parts as left."""
    invented: bool
    symptoms: str
    injectors: tuple[SetInjector, ...]
