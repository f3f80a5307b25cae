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
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
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


class Needs(StrEnum):
    """What must be at hand for an observation: what it costs depends on how the injector lies."""

    NOTHING = "somebody to ask, or an engine at rest"
    RUNNING = "the engine, running"
    RIG = "the rig by itself"
    OUT = "the injectors out of the engine"
    MOUNTED = "the injector on the rig"
    APART = "the injector apart"


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
    """Whether oil stands under pressure at a tip, a union or a plug."""
    step: str = ""
    """Step of the job at which it is noted; empty: on the page of the causes itself."""
    mentioned: float = 0.0
    """Share of what is there that is told or noted unasked; 0: known only where somebody looked.
    Where others were told, silence speaks against it by this."""
    needs: Needs = Needs.NOTHING

    @property
    def named(self) -> bool:
        """Return whether a customer names it: plain to whoever runs the engine."""
        return self.sort is Sort.SYMPTOM and self.mentioned >= 0.5

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
class Columns:
    """All observations of a model in arrays: a column for each state, one after another.

    Probabilities are those of the state or a lower one, so that what causes propose multiplies.
    """

    of: Mapping[str, slice]
    """Columns of each observation, in the model's order."""
    first: NDArray[np.intp]
    """First column of each observation, shape (observations,)."""
    leak: Floats
    """Without any cause, shape (backgrounds, columns)."""
    reach: Floats
    """What each cause proposes; 1 where it is not linked, shape (causes, columns)."""

    def states(self, upto: Floats) -> Floats:
        """Return the probability of each state from those of it or a lower one."""
        import numpy as np

        found = np.diff(upto, axis=-1, prepend=0.0)
        found[..., self.first] = upto[..., self.first]
        return found


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
            _check(f"{one.key}, mentioned", (one.mentioned,))
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
    def place(self) -> dict[str, int]:
        """Return the place of each cause among the causes."""
        return {cause.key: index for index, cause in enumerate(self.causes)}

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
                [one.key, [key for key, _ in one.states], list(one.leak), one.mentioned]
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

    def without(self, causes: Collection[str]) -> CauseModel:
        """Return the model in which some causes cannot be; itself where they are none."""
        struck = frozenset(self.by_cause).intersection(causes)
        if not struck:
            return self
        if struck not in self._without:
            self._without[struck] = replace(
                self,
                causes=tuple(
                    replace(cause, prior=0.0) if cause.key in struck else cause
                    for cause in self.causes
                ),
            )
        return self._without[struck]

    @cached_property
    def _without(self) -> dict[frozenset[str], CauseModel]:
        return {}

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

    @cached_property
    def columns(self) -> Columns:
        """Return the observations in arrays."""
        import numpy as np

        ends = np.cumsum([len(one.states) for one in self.observations])
        first = np.concatenate(([0], ends[:-1])).astype(np.intp)
        of = {
            one.key: slice(int(begin), int(end))
            for one, begin, end in zip(self.observations, first, ends, strict=True)
        }
        leak = np.hstack([np.cumsum(self.leaks(key), axis=1) for key in of])
        reach = np.ones((len(self.causes), leak.shape[1]))
        for key, columns in of.items():
            for cause, chances in self.proposals(key).items():
                reach[cause, columns] = np.cumsum(chances)
        return Columns(of, first, leak, reach)

    @cached_property
    def alone(self) -> Floats:
        """Return P(state) where one cause alone is present, shape (causes, columns)."""
        import numpy as np

        leak = np.concatenate([np.cumsum(one.leak) for one in self.observations])
        return self.columns.states(leak * self.columns.reach)

    @cached_property
    def by_itself(self) -> tuple[Floats, Floats]:
        """Return P(state | cause present) and P(state | cause absent).

        All other causes are as likely as before anything was seen. Both of shape (causes, columns).
        """
        import numpy as np

        priors, columns = self.priors, self.columns
        factors = 1.0 - priors[:, :, None] * (1.0 - columns.reach)  # (backgrounds, causes, columns)
        without = columns.leak[:, None, :] * factors.prod(axis=1, keepdims=True) / factors
        behind = np.array([one.prior for one in self.backgrounds])[:, None]
        share = behind * priors
        rest = behind - share

        def over(weights: Floats, upto: Floats) -> Floats:
            # A cause that is never present is weighed as if it were.
            weights = np.where(weights.sum(0) > 0.0, weights, behind)
            shown = (weights[:, :, None] * columns.states(upto)).sum(0)
            return np.asarray(shown / weights.sum(0)[:, None])

        return over(share, without * columns.reach), over(rest, without)


def _check(name: str, chances: object) -> None:
    numbers = list(chances)  # type: ignore[call-overload]
    if any(not 0.0 <= number < 1.0 for number in numbers) or sum(numbers) >= 1.0:
        raise ValueError(f"the probabilities of {name} are none, or certain")
