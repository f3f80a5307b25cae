"""A verdict, with everything that it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from nozzlewright.bench import Condition, DecisionRule, SetInjector
from nozzlewright.measurement import Measured, Quantity


class BenchTest(StrEnum):
    """The five bench tests of ISO 8984-1:1993, and the inspection of the parts."""

    OPENING = "nozzle opening pressure"
    CHATTER = "chatter"
    SPRAY = "spray pattern"
    SEAT = "seat leakage"
    BACK_LEAKAGE = "back-leakage"
    INSPECTION = "inspection"


class Outcome(StrEnum):
    """What a test came to."""

    PASS = "pass"  # noqa: S105 - the verdict, not a password
    FAIL = "fail"
    TOO_CLOSE = "too close to tell"
    NOT_DONE = "not done"
    WITHHELD = "withheld"
    """The rig was out: neither a pass nor a fail, whatever the number."""
    NOT_ASKED = "not asked"
    """The sheet asks nothing of this test."""


class Direction(StrEnum):
    """On which side of its limits a value lies or seems to lie."""

    LOW = "low"
    HIGH = "high"
    WITHIN = "within"


class LeakPath(StrEnum):
    """Where oil may go while a pressure is held."""

    RIG = "rig"
    FACE = "pressure face or outside joint"
    SEAT = "needle seat"
    GUIDE = "needle guide"


@dataclass(frozen=True)
class Verdict:
    """One test of one injector against the sheet."""

    test: BenchTest
    outcome: Outcome
    limit: str
    """What is asked, in words, with the sheet's own unit as printed."""
    reasons: tuple[str, ...]
    """Why, in words for the fitter; the first says it in one sentence."""
    rule: DecisionRule | None = None
    """None where no measured number decides."""
    measured: Measured | None = None
    lower: float | None = None
    """Lower limit in the unit of `measured`."""
    upper: float | None = None
    direction: Direction = Direction.WITHIN
    probability_of_conformity: float | None = None
    """Probability that the true value lies within the limits (JCGM 106:2012, 7.3)."""
    cannot_judge: str = ""
    """Where rig and gauge cannot judge this limit at all: why, and what gauge would."""
    leak_paths: tuple[LeakPath, ...] = ()
    """Back-leakage that is or seems too fast: paths that the evidence has not ruled out."""


class InjectorOutcome(StrEnum):
    """What is to become of an injector."""

    FIT = "fit"
    ADJUST = "adjust"
    REWORK = "rework"
    EXCHANGE = "exchange"
    UNFINISHED = "unfinished"


@dataclass(frozen=True)
class InjectorVerdict:
    """All tests of one injector in one sitting."""

    injector: SetInjector
    as_left: bool
    """Whether this is about the injector as left; else as found."""
    verdicts: tuple[Verdict, ...]
    """One for each bench test, in the order of :class:`BenchTest`."""
    outcome: InjectorOutcome
    reasons: tuple[str, ...]
    condition: Condition = Condition.USED
    """Whose opening band was applied."""

    def of(self, test: BenchTest) -> Verdict:
        """Return the verdict on one test."""
        return next(verdict for verdict in self.verdicts if verdict.test is test)


@dataclass(frozen=True)
class OddOneOut:
    """The injector that stands farthest from the others."""

    cylinder: int
    distance: Quantity
    """Its opening pressure less the mean of the others, [Pa]."""
    text: str


@dataclass(frozen=True)
class SetVerdict:
    """The set as a whole."""

    injectors: tuple[InjectorVerdict, ...]
    """The latest sitting of each injector, in cylinder order."""
    as_found: tuple[InjectorVerdict, ...]
    """The sitting as found of each injector that has one."""
    spread: Measured
    """Largest opening pressure less the smallest, [Pa]."""
    spread_outcome: Outcome
    spread_limit_pa: float | None
    spread_reasons: tuple[str, ...]
    spread_probability: float | None
    mean: Measured
    """Mean opening pressure of the set, [Pa]."""
    odd_one_out: OddOneOut | None
    reasons: tuple[str, ...]
    condition: Condition = Condition.USED
    """Band that applies to the parts as left."""
