"""The steps of the job at one injector, in the trade's order.

A setting sheet may leave out a step or add one of its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class StepKind(StrEnum):
    """What a step asks of the fitter."""

    TEST = "test"
    """Pressure on the injector: a gauge recorded or read by hand."""
    DO = "do"
    """Work that is done or not."""
    LOOK = "look"
    """Inspection: findings on the parts."""
    SLIDE = "slide"
    """The needle slides by its own weight, or sticks."""
    TORQUE = "torque"
    SETTING = "setting"
    """Shim or screw is changed."""
    MATCH = "match"
    """The set as a whole."""
    SECOND = "second"
    """Another person looks."""


@dataclass(frozen=True)
class Step:
    """One step of the job."""

    key: str
    """Short name, used in records and addresses."""
    title: str
    kind: StepKind
    under_pressure: bool = False
    """Whether a jet or mist can hurt here."""
    opens: bool = False
    """Whether the injector is taken apart here."""
    text: str = ""
    """What to do, where the sheet added the step; else empty."""


AS_FOUND = Step("as-found", "As-found test", StepKind.TEST, under_pressure=True)
WASH = Step("wash", "Wash outside", StepKind.DO)
STRIP = Step("strip", "Strip from the top", StepKind.DO, opens=True)
CLEAN = Step("clean", "Clean with brass", StepKind.DO)
INSPECT = Step("inspect", "Inspect the parts", StepKind.LOOK)
SLIDE = Step("slide", "Slide test", StepKind.SLIDE)
FLUSH = Step("flush", "Flush", StepKind.DO)
ASSEMBLE = Step("assemble", "Assemble", StepKind.DO)
TORQUE = Step("torque", "Tighten to torque", StepKind.TORQUE)
BLEED = Step("bleed", "Bleed", StepKind.DO, under_pressure=True)
SET = Step("set", "Set the opening pressure", StepKind.SETTING, under_pressure=True, opens=True)
REREAD = Step("re-read", "Read again after locking", StepKind.TEST, under_pressure=True)
SEAT = Step("seat", "Seat tightness", StepKind.TEST, under_pressure=True)
BACK_LEAKAGE = Step("back-leakage", "Back-leakage", StepKind.TEST, under_pressure=True)
SPRAY = Step("spray", "Spray", StepKind.TEST, under_pressure=True)
CHATTER = Step("chatter", "Chatter", StepKind.TEST, under_pressure=True)
MATCH = Step("match", "Match the set", StepKind.MATCH)
SECOND = Step("second", "Second person", StepKind.SECOND, under_pressure=True)

TRADE_ORDER = (
    AS_FOUND,
    WASH,
    STRIP,
    CLEAN,
    INSPECT,
    SLIDE,
    FLUSH,
    ASSEMBLE,
    TORQUE,
    BLEED,
    SET,
    REREAD,
    SEAT,
    BACK_LEAKAGE,
    SPRAY,
    CHATTER,
    MATCH,
    SECOND,
)
"""The order in which the trade works; common practice."""


@dataclass(frozen=True)
class AddedStep:
    """A step that a sheet adds."""

    key: str
    title: str
    after: str
    """Key of the step that it follows."""
    text: str = ""


@dataclass(frozen=True)
class StepPlan:
    """What a sheet changes in the order of the trade."""

    left_out: frozenset[str] = frozenset()
    added: tuple[AddedStep, ...] = ()


def steps_of(plan: StepPlan) -> tuple[Step, ...]:
    """Return the steps of a job, those left out taken away and those added in their place.

    >>> plan = StepPlan(frozenset({"flush"}), (AddedStep("soak", "Soak", "strip"),))
    >>> [step.key for step in steps_of(plan)][2:6]
    ['strip', 'soak', 'clean', 'inspect']

    Raises
    ------
    ValueError
        If a step is left out or followed that does not exist, or a key is taken twice.
    """
    known = {step.key for step in TRADE_ORDER}
    unknown = sorted(plan.left_out - known)
    if unknown:
        raise ValueError(f"there is no step {listed(unknown)} to leave out")
    steps = [step for step in TRADE_ORDER if step.key not in plan.left_out]
    for added in plan.added:
        keys = [step.key for step in steps]
        if added.key in known or added.key in keys:
            raise ValueError(f"there is a step '{added.key}' already")
        if added.after not in keys:
            raise ValueError(f"there is no step '{added.after}' for '{added.key}' to follow")
        step = Step(added.key, added.title, StepKind.DO, text=added.text)
        steps.insert(keys.index(added.after) + 1, step)
    return tuple(steps)


def listed(keys: Iterable[str]) -> str:
    """Return keys in quotes, with commas."""
    return ", ".join(f"'{key}'" for key in keys)
