"""A causal model: causes, what each of them lets be seen, and how likely.

Causes are present or not, each by itself; several may be present at once. What is seen (an
observation) takes one of a few states in a fixed order, the first of which is the usual one. Every
cause that is present proposes a state, the leak (whatever the model does not name) proposes one
too, and the highest is what is seen: the noisy-MAX gate, with two states the noisy-OR with leak
[1]_ [2]_. Behind the causes stands a background (:class:`Background`), one of a few, that makes
some of them likelier all at once: dirt in the fuel, an overhaul just before.

References
----------
.. [1] J. Pearl, Probabilistic Reasoning in Intelligent Systems, Morgan Kaufmann 1988, 4.3.2
.. [2] F. J. Diez, Parameter adjustment in Bayes networks: the generalized noisy OR-gate,
   Proc. 9th Conf. on Uncertainty in Artificial Intelligence, 1993, 99-105
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


class Place(StrEnum):
    """Where a cause sits."""

    INJECTOR = "injector"
    ENGINE = "engine"
    BENCH = "bench"


class Sort(StrEnum):
    """Where something is observed."""

    SYMPTOM = "at the engine"
    BENCH = "on the bench"
    PARTS = "on the parts"
    SET = "in the set"


class Confidence(StrEnum):
    """How a row of the table is known. Its number is an estimate in either case."""

    PRINTED = "printed"
    """The source says that this cause shows so."""
    PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Cause:
    """Something that may be wrong."""

    key: str
    name: str
    place: Place
    prior: float
    """Probability at an injector that is brought to the bench, before anything is seen."""
    remedy: str = ""


@dataclass(frozen=True)
class Observation:
    """Something that can be seen, measured or asked."""

    key: str
    name: str
    sort: Sort
    states: tuple[tuple[str, str], ...]
    """Key and words of each state; the first is the usual one, a later one outdoes an earlier."""
    leak: tuple[float, ...]
    """Probability of each state where no cause of the model is present."""
    minutes: float
    """Work that it takes, [min]; common practice."""
    how: str = ""
    """What to do to observe it."""
    jet: bool = False
    """Whether pressure stands on a nozzle."""
    step: str = ""
    """Step of the job at which it is noted; empty: on the page of the causes itself."""
    named: bool = False
    """Whether a customer names it unasked: a symptom that is plain to whoever runs the engine."""

    def state(self, key: str) -> int:
        """Return the place of a state.

        Raises
        ------
        KeyError
            If there is no such state.
        """
        for place, (name, _) in enumerate(self.states):
            if name == key:
                return place
        raise KeyError(f"'{self.key}' has no state '{key}'")


@dataclass(frozen=True)
class Link:
    """One row of the table: a cause shows so, this often."""

    cause: str
    observation: str
    chances: Mapping[str, float]
    """Probability of each unusual state when only this cause is at work, the leak aside."""
    sources: tuple[str, ...]
    confidence: Confidence


@dataclass(frozen=True)
class Background:
    """What stands behind several causes at once; exactly one of them is the case."""

    key: str
    name: str
    prior: float
    odds: Mapping[str, float] = field(default_factory=dict)
    """By how much it multiplies the prior odds of causes."""
    leak: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    """What it lets be seen by itself: observation, unusual state, probability."""


@dataclass(frozen=True)
class CauseModel:
    """Causes, observations and the links between them.

    Raises
    ------
    ValueError
        If a link names what there is not, or probabilities are none.
    """

    causes: tuple[Cause, ...]
    observations: tuple[Observation, ...]
    links: tuple[Link, ...]
    backgrounds: tuple[Background, ...] = (Background("usual", "nothing particular", 1.0),)
    sources: Mapping[str, str] = field(default_factory=dict)
    version: int = 0
    """0: as published with the program; above: learned from closed jobs."""

    def __post_init__(self) -> None:
        causes, observations = set(self.by_cause), set(self.by_observation)
        seen: set[tuple[str, str]] = set()
        for link in self.links:
            if link.cause not in causes or link.observation not in observations:
                raise ValueError(f"the link {link.cause} - {link.observation} leads nowhere")
            if (link.cause, link.observation) in seen:
                raise ValueError(f"the link {link.cause} - {link.observation} stands twice")
            seen.add((link.cause, link.observation))
            states = {key for key, _ in self.by_observation[link.observation].states[1:]}
            if not set(link.chances) <= states:
                raise ValueError(f"{link.cause} - {link.observation} names a state that is none")
            unknown = set(link.sources) - set(self.sources)
            if unknown:
                raise ValueError(f"{link.cause} - {link.observation}: no source {sorted(unknown)}")
            _check(f"{link.cause} - {link.observation}", link.chances.values())
        for cause in self.causes:
            _check(cause.key, (cause.prior,))
        for one in self.observations:
            if len(one.leak) != len(one.states) or abs(sum(one.leak) - 1.0) > 1e-9:
                raise ValueError(f"the leak of {one.key} is no distribution over its states")
            _check(one.key, one.leak[1:])
        if abs(sum(one.prior for one in self.backgrounds) - 1.0) > 1e-9:
            raise ValueError("the backgrounds do not add up to one")

    @cached_property
    def by_cause(self) -> dict[str, Cause]:
        """Return the causes by their key."""
        return {cause.key: cause for cause in self.causes}

    @cached_property
    def by_observation(self) -> dict[str, Observation]:
        """Return the observations by their key."""
        return {one.key: one for one in self.observations}

    @cached_property
    def links_of(self) -> dict[str, dict[str, Link]]:
        """Return the links by observation, then cause."""
        found: dict[str, dict[str, Link]] = {one.key: {} for one in self.observations}
        for link in self.links:
            found[link.observation][link.cause] = link
        return found

    @cached_property
    def digest(self) -> str:
        """Return the SHA-256 of all numbers: what a ranking was made with."""
        data = [
            self.version,
            [[cause.key, cause.prior] for cause in self.causes],
            [
                [one.key, [key for key, _ in one.states], list(one.leak)]
                for one in self.observations
            ],
            [[one.cause, one.observation, dict(one.chances)] for one in self.links],
            [
                [one.key, one.prior, dict(one.odds), {k: dict(v) for k, v in one.leak.items()}]
                for one in self.backgrounds
            ],
        ]
        text = json.dumps(data, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()

    # --- numbers ------------------------------------------------------------------------------

    @cached_property
    def priors(self) -> Floats:
        """Return P(cause | background), ndarray of shape (backgrounds, causes)."""
        import numpy as np

        plain = np.array([cause.prior for cause in self.causes])
        odds = np.array(
            [[one.odds.get(cause.key, 1.0) for cause in self.causes] for one in self.backgrounds]
        )
        raised = odds * plain
        return np.asarray(raised / (1.0 - plain + raised))

    def proposals(self, observation: str) -> dict[int, Floats]:
        """Return what each linked cause proposes by itself.

        Returns
        -------
        dict
            Place of the cause to the distribution over states, ndarray of shape (states,)
        """
        known = self._proposals.get(observation)
        if known is None:
            import numpy as np

            one = self.by_observation[observation]
            place = {cause.key: index for index, cause in enumerate(self.causes)}
            known = {}
            for key, link in self.links_of[observation].items():
                chances = np.zeros(len(one.states))
                for state, chance in link.chances.items():
                    chances[one.state(state)] = chance
                chances[0] = 1.0 - chances[1:].sum()
                known[place[key]] = chances
            self._proposals[observation] = known
        return known

    @cached_property
    def _proposals(self) -> dict[str, dict[int, Floats]]:
        return {}

    def alone(self, observation: str) -> Floats:
        """Return P(state) where one cause alone is present, shape (causes, states)."""
        known = self._alone.get(observation)
        if known is None:
            import numpy as np

            leak = np.array(self.by_observation[observation].leak)
            known = np.tile(leak, (len(self.causes), 1))
            for place, proposed in self.proposals(observation).items():
                known[place] = np.diff(np.cumsum(leak) * np.cumsum(proposed), prepend=0.0)
            self._alone[observation] = known
        return known

    @cached_property
    def _alone(self) -> dict[str, Floats]:
        return {}

    def leaks(self, observation: str) -> Floats:
        """Return what is seen without any cause, ndarray of shape (backgrounds, states)."""
        known = self._leaks.get(observation)
        if known is not None:
            return known
        import numpy as np

        one = self.by_observation[observation]
        rows = np.tile(np.array(one.leak), (len(self.backgrounds), 1))
        for row, background in zip(rows, self.backgrounds, strict=True):
            extra = background.leak.get(observation)
            if extra:
                proposed = np.zeros(len(one.states))
                for state, chance in extra.items():
                    proposed[one.state(state)] = chance
                proposed[0] = 1.0 - proposed[1:].sum()
                both = np.cumsum(row) * np.cumsum(proposed)
                row[:] = np.diff(both, prepend=0.0)
        self._leaks[observation] = rows
        return rows

    @cached_property
    def _leaks(self) -> dict[str, Floats]:
        return {}


def _check(name: str, chances: object) -> None:
    numbers = list(chances)  # type: ignore[call-overload]
    if any(not 0.0 <= number < 1.0 for number in numbers) or sum(numbers) >= 1.0:
        raise ValueError(f"the probabilities of {name} are none, or certain")
