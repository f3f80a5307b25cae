"""What it most likely is, why, and what to look at next."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import log
from typing import TYPE_CHECKING

from nozzlewright.advice.causes.infer import (
    Evidence,
    Posterior,
    by_place,
    checked,
    gains,
    infer,
    weights_of,
)
from nozzlewright.advice.causes.model import Cause, CauseModel, Needs, Observation, Place
from nozzlewright.advice.cautions import JET, MANUAL, RUNNING, STRIP
from nozzlewright.said import Said, figure, joined, say

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SPEAKS = 1.5
"""Likelihood ratio from which an observation speaks for a cause, its inverse against it."""
ALIKE = log(2.0)
"""Two causes cannot be told apart while all evidence together favours neither by more."""
WORTH_A_LOOK, MOST_ALIKE = 0.05, 4
"""Probability from which a cause takes part in what cannot be told apart, and how many do at most
(the likeliest)."""
WORTH_BIT = 0.01
"""Information below which an observation is not proposed, [bit]."""
MOST_GROUPS = 2
SEPARATES = 0.25
"""Information from which an observation is said to decide between causes, [bit]; a hint that only
shifts the odds is no decision."""
DISMANTLE_MINUTES, ASSEMBLE_MINUTES, REMOVE_MINUTES, REFIT_MINUTES = 12.0, 15.0, 40.0, 40.0
"""Work before an observation can be made: strip, put together, take out of the engine, put back and
bleed; common practice, no source."""


class Standing(StrEnum):
    """How the injector lies: what an observation costs depends on it."""

    WHOLE = "whole on the bench"
    APART = "apart"
    AWAY = "back in the engine"


class Likelihood(StrEnum):
    """A probability in a word."""

    VERY_LIKELY = "very likely"
    LIKELY = "likely"
    POSSIBLE = "possible"
    UNLIKELY = "unlikely"


@dataclass(frozen=True)
class Reason:
    """One observation that speaks for a cause or against it."""

    observation: str
    seen: str
    """What was seen, in words."""
    factor: float
    """By how much it multiplies the odds of the cause, taken by itself."""
    words: str
    """The whole reason as a sentence."""


@dataclass(frozen=True)
class RankedCause:
    """A cause with its probability and what speaks for it and against it."""

    cause: Cause
    probability: float
    before: float
    """Its probability before anything was seen."""
    speaks_for: tuple[Reason, ...]
    speaks_against: tuple[Reason, ...]

    @property
    def likelihood(self) -> Likelihood:
        """Return the probability in a word."""
        if self.probability >= 0.75:
            return Likelihood.VERY_LIKELY
        if self.probability >= 0.4:
            return Likelihood.LIKELY
        return Likelihood.POSSIBLE if self.probability >= 0.1 else Likelihood.UNLIKELY


@dataclass(frozen=True)
class Next:
    """An observation that could be made next."""

    observation: Observation
    gain_bit: float
    """Information about the leading causes to be expected from it, [bit]."""
    minutes: float
    """Work, with what must be done before, [min]."""
    caution: str

    @property
    def bit_per_minute(self) -> float:
        """Return the information to be expected for the work."""
        return self.gain_bit / self.minutes


@dataclass(frozen=True)
class Decider:
    """An observation that parts one cause from those that look the same."""

    cause: Cause
    observation: Observation


@dataclass(frozen=True)
class Alike:
    """Causes that all evidence so far cannot tell apart, and what would."""

    causes: tuple[Cause, ...]
    deciders: tuple[Decider, ...]
    words: str


@dataclass(frozen=True)
class Ranking:
    """What it most likely is, and what to look at next."""

    causes: tuple[RankedCause, ...]
    """All causes of the model, the likeliest first."""
    next: tuple[Next, ...]
    """What tells most for each minute first."""
    alike: tuple[Alike, ...]
    backgrounds: tuple[tuple[str, float], ...]
    """What stands behind, in words, with its probability; the likeliest first."""
    version: int
    digest: str
    """Of the model with all its numbers, SHA-256."""
    places: tuple[tuple[Place, float], ...] = ()
    """Probability that at least one cause is present at each place; they do not add up to one."""


def rank(
    model: CauseModel,
    evidence: Evidence,
    standing: Standing = Standing.WHOLE,
    silent: Collection[str] = (),
    ruled_out: Collection[str] = (),
) -> Ranking:
    """Rank the causes, with reasons, and the observations that could be made next.

    Parameters
    ----------
    model : CauseModel
        Causes and what they let be seen
    evidence : mapping
        Observation to the likelihood of each of its states
    standing : Standing
        How the injector lies
    silent : collection of str
        Symptoms of which nothing was said by somebody who said others
    ruled_out : collection of str
        Causes that cannot be, such as a slipped adjuster where there is none

    Returns
    -------
    Ranking
        Does not depend on the order of the evidence

    Raises
    ------
    InputFault
        If the evidence names what there is not or contradicts the model.

    Examples
    --------
    >>> from nozzlewright.advice.causes import known, published, rank
    >>> model = published()
    >>> fast = {"drop": known(model, "drop", "fast"), "seat": known(model, "seat", "dry")}
    >>> ranking = rank(model, fast)
    >>> [str(one.cause.name) for one in ranking.causes[:3]]
    ['guide worn', 'pressure face leaks', 'the rig leaks']
    >>> str(ranking.causes[0].speaks_for[0].words)
    'Fall of pressure: too fast. It speaks for guide worn (×6).'
    """
    digest, model = model.digest, model.without(ruled_out)
    posterior = infer(model, evidence, silent)
    says = checked(model, evidence)
    order = sorted(model.causes, key=lambda cause: (-posterior.causes[cause.key], cause.key))
    by_key = {key: weights_of(model, key, list(weights)) for key, weights in says.items()}
    factors = {c.key: {key: row[c.key] for key, row in by_key.items()} for c in order}
    before = model_priors(model)
    seen = {key: seen_words(model.by_observation[key], evidence[key]) for key in says}
    ranked = tuple(
        _ranked(cause, posterior, before[cause.key], factors[cause.key], seen) for cause in order
    )
    open_keys = [one.key for one in model.observations if one.key not in says]
    worth = gains(model, evidence, posterior, open_keys, silent)
    coming = [
        Next(one, worth[one.key], *_work(one, standing))
        for one in (model.by_observation[key] for key in open_keys)
        if worth[one.key] >= WORTH_BIT
    ]
    coming.sort(key=lambda step: (-step.bit_per_minute, step.observation.key))
    shares: dict[str, float] = {}
    for one in model.backgrounds:
        shares[one.name] = shares.get(one.name, 0.0) + posterior.backgrounds[one.key]
    return Ranking(
        causes=ranked,
        next=tuple(coming),
        alike=_alike(model, ranked, factors, open_keys, standing),
        backgrounds=tuple(sorted(shares.items(), key=lambda item: (-item[1], item[0]))),
        version=model.version,
        digest=digest,
        places=tuple(by_place(model, evidence, posterior, silent).items()),
    )


def model_priors(model: CauseModel) -> dict[str, float]:
    """Return the probability of each cause before anything is seen, over all backgrounds."""
    import numpy as np

    shares = np.array([one.prior for one in model.backgrounds]) @ model.priors
    return {cause.key: float(share) for cause, share in zip(model.causes, shares, strict=True)}


def seen_words(observation: Observation, weights: Sequence[float]) -> Said:
    """Return what was seen, in words: a state, or the likeliest one.

    Its share is named where the weights are probabilities, that is, add up to one.
    """
    total = sum(weights)
    place = max(range(len(weights)), key=lambda index: weights[index])
    state = observation.states[place][1]
    if weights[place] == total and [key for key, _ in observation.states] == ["no", "yes"]:
        return (
            say("{what}", what=observation.name)
            if place
            else say("{what}: no", what=observation.name)
        )
    if weights[place] == total:
        return say("{what}: {state}", what=observation.name, state=state)
    tied = [i for i, weight in enumerate(weights) if weight == weights[place]]
    if len(tied) > 1:
        return (
            say("{what}: not {state}", what=observation.name, state=observation.states[0][1])
            if weights[0] == 0.0
            else say("{what}: unclear", what=observation.name)
        )
    if abs(total - 1.0) > 1e-6:  # likelihoods, no probabilities: of little weight
        return say("{what}: rather {state}", what=observation.name, state=state)
    return say(
        "{what}: probably {state} ({share})",
        what=observation.name,
        state=state,
        share=figure(weights[place] / total, ".0%"),
    )


def _ranked(
    cause: Cause,
    posterior: Posterior,
    before: float,
    factors: Mapping[str, float],
    all_seen: Mapping[str, str],
) -> RankedCause:
    for_it, against = [], []
    for key, factor in factors.items():
        seen = all_seen[key]
        if factor >= SPEAKS:
            words = say(
                "{seen:capital}. It speaks for {cause} (×{factor}).",
                seen=seen, cause=cause.name, factor=_times(factor),
            )  # fmt: skip
            for_it.append(Reason(key, seen, factor, words))
        elif factor <= 1.0 / SPEAKS:
            words = say(
                "{seen:capital}. It speaks against {cause} (÷{factor}).",
                seen=seen, cause=cause.name, factor=_times(1.0 / factor if factor else 1e9),
            )  # fmt: skip
            against.append(Reason(key, seen, factor, words))
    for_it.sort(key=lambda reason: (-reason.factor, reason.observation))
    against.sort(key=lambda reason: (reason.factor, reason.observation))
    return RankedCause(cause, posterior.causes[cause.key], before, tuple(for_it), tuple(against))


def _times(factor: float) -> str:
    if factor > 100.0:
        return say("over {most}", most=100)
    return figure(factor, ".1f" if factor < 3.0 else ".0f")


def times_words(factor: float) -> Said:
    """Return by how much an observation multiplies or divides the odds, in signs.

    >>> times_words(6.1), times_words(0.25)
    ('×6', '÷4')
    """
    if factor >= 1.0:
        return say("×{factor}", factor=_times(factor))
    return say("÷{factor}", factor=_times(1.0 / factor if factor else 1e9))


_BEFORE: Mapping[tuple[Needs, Standing], tuple[float, str]] = {
    (Needs.RUNNING, Standing.WHOLE): (REFIT_MINUTES, RUNNING),
    (Needs.RUNNING, Standing.APART): (ASSEMBLE_MINUTES + REFIT_MINUTES, RUNNING),
    (Needs.RUNNING, Standing.AWAY): (0.0, RUNNING),
    (Needs.OUT, Standing.AWAY): (REMOVE_MINUTES, MANUAL),
    (Needs.MOUNTED, Standing.APART): (ASSEMBLE_MINUTES, ""),
    (Needs.MOUNTED, Standing.AWAY): (REMOVE_MINUTES, MANUAL),
    (Needs.APART, Standing.WHOLE): (DISMANTLE_MINUTES, STRIP),
    (Needs.APART, Standing.AWAY): (REMOVE_MINUTES + DISMANTLE_MINUTES, STRIP),
}
"""Work before an observation, [min], and what can hurt in it: by what it needs, and how the
injector lies."""


def _work(one: Observation, standing: Standing) -> tuple[float, str]:
    """Return the work that an observation takes now, [min], and its caution."""
    minutes, caution = _BEFORE.get((one.needs, standing), (0.0, ""))
    return one.minutes + minutes, JET if one.jet else caution


def _alike(
    model: CauseModel,
    ranked: Sequence[RankedCause],
    factors: Mapping[str, Mapping[str, float]],
    open_keys: Iterable[str],
    standing: Standing,
) -> tuple[Alike, ...]:
    """Return groups of causes that the evidence so far favours alike, each with what decides."""
    left = [one.cause for one in ranked if one.probability >= WORTH_A_LOOK and one.speaks_for]
    candidates = [model.by_observation[key] for key in open_keys]
    groups = []
    while left:
        first, *others = left
        group = [
            first,
            *(
                other
                for other in others
                if sum(
                    abs(_log(factors[first.key][key]) - _log(factors[other.key][key]))
                    for key in factors[first.key]
                )
                <= ALIKE
            ),
        ]
        left = [cause for cause in left if cause not in group]
        group = group[:MOST_ALIKE]
        if len(group) > 1:
            deciders = _deciders(model, group, candidates, standing)
            groups.append(Alike(tuple(group), deciders, _alike_words(group, deciders)))
    return tuple(groups[:MOST_GROUPS])


def _log(factor: float) -> float:
    """Return the logarithm of a factor; of one that decides alone, a large one."""
    return log(min(max(factor, 1e-12), 1e12))


def _deciders(
    model: CauseModel,
    group: Sequence[Cause],
    candidates: Sequence[Observation],
    standing: Standing,
) -> tuple[Decider, ...]:
    """Return for each cause the observation that parts it best from the rest, per minute."""
    places = [model.causes.index(cause) for cause in group]
    worth = []
    for one in candidates:
        shown = model.alone[places][:, model.columns.of[one.key]]
        rest = (shown.sum(axis=0) - shown) / (len(group) - 1)
        bits = _divergence(shown, rest)
        # It decides about a cause only if it is this cause that shows there.
        bits[shown[:, 0] >= rest[:, 0]] = 0.0
        worth.append((one, bits, bits / _work(one, standing)[0]))
    found: list[Decider] = []
    for place, cause in enumerate(group):
        taken = {decider.observation.key for decider in found}
        best: tuple[float, Observation] | None = None
        for one, bits, rates in worth:
            if one.key in taken or bits[place] < SEPARATES:
                continue
            if best is None or rates[place] > best[0]:
                best = (float(rates[place]), one)
        if best is not None:
            found.append(Decider(cause, best[1]))
    return tuple(found)


def _divergence(first: NDArray[np.float64], second: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the Jensen-Shannon divergence of distributions, one in a row, [bit]."""
    import numpy as np

    middle = (first + second) / 2.0

    def bits(one: NDArray[np.float64]) -> NDArray[np.float64]:
        share = np.where(one > 0.0, one, 1.0)
        return np.asarray((one * np.log2(share / np.where(middle > 0.0, middle, 1.0))).sum(-1))

    return np.asarray((bits(first) + bits(second)) / 2.0)


def _alike_words(group: Sequence[Cause], deciders: Sequence[Decider]) -> Said:
    names = joined("; ", [cause.name for cause in group])
    if not deciders:
        return say("What was seen cannot tell these apart: {causes}.", causes=names)
    tests = joined(
        "; ",
        [
            say("{test} ({cause})", test=one.observation.name, cause=one.cause.name)
            for one in deciders
        ],
    )
    return say(
        "What was seen cannot tell these apart: {causes}. To decide: {tests}.",
        causes=names,
        tests=tests,
    )
