"""States as a shape and a word: outcomes, and what a job waits for."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from nozzlewright.edge.web.texts import N_, _
from nozzlewright.judging import InjectorOutcome, Outcome

OUTCOMES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        InjectorOutcome.FIT.value: ("pass", N_("fit")),
        InjectorOutcome.ADJUST.value: ("fail", N_("to adjust")),
        InjectorOutcome.REWORK.value: ("fail", N_("to rework")),
        InjectorOutcome.EXCHANGE.value: ("fail", N_("to exchange")),
        InjectorOutcome.UNFINISHED.value: ("not-done", N_("unfinished")),
    }
)
"""What is to become of an injector: shape and word."""

TEST_OUTCOMES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        Outcome.PASS.value: ("pass", N_("pass")),
        Outcome.FAIL.value: ("fail", N_("fail")),
        Outcome.TOO_CLOSE.value: ("unclear", N_("too close to tell")),
        Outcome.NOT_DONE.value: ("not-done", N_("not done")),
        Outcome.WITHHELD.value: ("unclear", N_("withheld")),
        Outcome.NOT_ASKED.value: ("open", N_("not asked")),
    }
)
"""What a test came to: shape and word."""

WAITS: Mapping[str, str] = MappingProxyType(
    {
        "setting sheet": N_("waits for its setting sheet"),
        "tags": N_("waits for tags"),
        "fitter at the bench": N_("on the bench"),
        "fitter": N_("waits for the fitter"),
        "second person": N_("waits for a second person"),
        "hand-over": N_("waits for the hand-over"),
        "running check": N_("waits for word from the engine"),
    }
)
"""What a job waits for, by the key that the record has for it."""


def outcome(value: str) -> tuple[str, str]:
    """Return shape and word of an injector's outcome, in the language of this screen."""
    shape, word = OUTCOMES[value]
    return shape, _(word)


def test_outcome(value: str) -> tuple[str, str]:
    """Return shape and word of a test's outcome, in the language of this screen."""
    shape, word = TEST_OUTCOMES[value]
    return shape, _(word)


def waits(key: str) -> str:
    """Return what a job waits for, in the language of this screen; empty for nothing."""
    return _(WAITS[key]) if key else ""
