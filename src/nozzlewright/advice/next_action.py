"""What to do next with an injector, and why."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from nozzlewright.measurement import Measured


class ActionKind(StrEnum):
    """What sort of work the next action is."""

    FIT = "fit"
    CHANGE_SHIM = "change shim"
    TURN_SCREW = "turn screw"
    CLEAN_AND_RETEST = "clean and retest"
    CHECK_RIG = "check the rig"
    CHECK_FACES = "check the pressure faces"
    TEST = "test"
    RENEW_PAIR = "exchange the pair"
    RENEW_PART = "renew a part"
    RETEST_BETTER_GAUGE = "retest with a better gauge"


@dataclass(frozen=True)
class NextAction:
    """One thing to do."""

    cylinder: int
    kind: ActionKind
    do: str
    """The instruction, in the imperative, with numbers and units."""
    why: str
    caution: str = ""
    """The usual caution where the step can hurt."""
    shim_change_m: float | None = None
    screw_turns: float | None = None
    predicted_opening: Measured | None = None
    """Opening pressure to be expected afterwards, [Pa]."""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Advice:
    """Next actions of one injector, the first one first, and the test that would tell most."""

    cylinder: int
    actions: tuple[NextAction, ...]
    next_test: str
    """Which test next would tell most, where it is unclear; else empty."""
