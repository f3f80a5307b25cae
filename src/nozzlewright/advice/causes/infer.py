"""What is likely to be wrong, given what was seen: exact.

For findings of a noisy-OR (or noisy-MAX) gate the joint probability can be summed over all 2^n
combinations of causes without writing them down, since causes act by themselves. Heckerman's
Quickscore [1]_ does it by a signed sum over the subsets of positive findings; with many findings
its terms cancel to nothing in floating point. Here the same sum is made of positive terms only:
causes are taken one after the other, and for each subset of the positive findings the probability
is kept that just these have been brought about so far (forward), or that the rest will be
(backward). It costs causes times 2^(positive findings), like Quickscore, and cancels nothing. A
finding takes part only from the first to the last of its causes; these are taken in an order that
keeps few findings open at a time.

Usual findings, and those with one possible cause, cost nothing more than a factor.

References
----------
.. [1] D. Heckerman, A tractable inference algorithm for diagnosing multiple diseases,
   Proc. 5th Conf. on Uncertainty in Artificial Intelligence, 1989, 174-181
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from typing import TYPE_CHECKING

from nozzlewright.advice.causes.model import CauseModel
from nozzlewright.errors import Fault, InputFault
from nozzlewright.said import say

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

Evidence = Mapping[str, Sequence[float]]
"""Observation to the likelihood of each of its states: one 1 and noughts where the state is known;
other numbers are Pearl's virtual evidence, such as a verdict's probability of conformity. Only
their ratios count; all alike say nothing."""

MENTIONED = 0.5
"""Share of the symptoms a cause brings about that a customer who writes anything mentions; an
estimate, common practice, no source."""
MOST_CELLS = 1 << 18
"""Most subsets (of findings, in all backgrounds) for which the sum is made."""


@dataclass(frozen=True)
class Posterior:
    """What the evidence makes of the model."""

    causes: Mapping[str, float]
    """Probability that each cause is present."""
    backgrounds: Mapping[str, float]
    probability: float
    """Of the evidence under the model; with virtual evidence up to the scale of its weights."""


def known(model: CauseModel, observation: str, state: str) -> tuple[float, ...]:
    """Return the evidence that an observation is in a state.

    Raises
    ------
    KeyError
        If there is no such observation or state.
    """
    one = model.by_observation[observation]
    place = one.state(state)
    return tuple(float(index == place) for index in range(len(one.states)))


def checked(model: CauseModel, evidence: Evidence) -> dict[str, Floats]:
    """Return the evidence that says something, each scaled to at most 1, in the model's order.

    Raises
    ------
    InputFault
        If it names what there is not, or its weights are none.
    """
    import numpy as np

    faults = []
    unknown = sorted(set(evidence) - set(model.by_observation))
    faults += [
        Fault(
            say("there is no observation '{key}'", key=key),
            say("evidence"),
            say("Name one of the model's observations"),
        )
        for key in unknown
    ]
    says: dict[str, Floats] = {}
    for one in model.observations:  # so that the order of the evidence cannot matter
        if one.key not in evidence:
            continue
        weights = np.asarray(evidence[one.key], dtype=float)
        if (
            weights.shape != (len(one.states),)
            or not np.isfinite(weights).all()
            or (weights < 0.0).any()
            or not weights.any()
        ):
            faults.append(
                Fault(
                    say("the weights of '{key}' are none", key=one.key),
                    say("evidence"),
                    say("Give {count} numbers, none below 0 and not all 0", count=len(one.states)),
                )
            )
            continue
        weights = weights / weights.max()
        if (weights != 1.0).any():
            says[one.key] = weights
    if faults:
        raise InputFault(faults)
    return says


@dataclass(frozen=True)
class _Axis:
    """One finding in the array of subsets: levels that its causes can bring it to."""

    leak: Floats
    """Shape (backgrounds, levels)."""
    proposals: Mapping[int, Floats]
    """Cause to its chance of each level, shape (levels,)."""
    end: Floats
    """Weight of each level once all causes have had their turn, shape (levels,)."""


def _axis(leak: Floats, proposals: Mapping[int, Floats], weights: Floats) -> _Axis:
    import numpy as np

    hits = np.flatnonzero(weights)
    if len(hits) > 1:
        return _Axis(leak, proposals, weights)
    # One state is certain: two levels do, "below it" and "at it"; above it must not be.
    level = int(hits[0])

    def folded(chances: Floats) -> Floats:
        return np.stack([chances[..., :level].sum(-1), chances[..., level]], axis=-1)

    return _Axis(
        folded(leak), {i: folded(c) for i, c in proposals.items()}, np.array([0.0, weights[level]])
    )


def _raise(array: Floats, place: int, chances: Floats) -> Floats:
    """Return the forward array after a cause has proposed its level on one axis."""
    import numpy as np

    shape, levels = array.shape, len(chances)
    shaped = array.reshape(math.prod(shape[:place]), levels, -1)
    out = np.empty_like(shaped)
    if levels == 2:
        below, at = chances
        np.multiply(shaped[:, 0], below, out=out[:, 0])
        np.multiply(shaped[:, 1], below + at, out=out[:, 1])
        out[:, 1] += at * shaped[:, 0]
        return out.reshape(shape)
    upto, lower = np.cumsum(chances), np.cumsum(shaped, axis=1)
    for level in range(levels):
        out[:, level] = shaped[:, level] * upto[level]
        if level:
            out[:, level] += lower[:, level - 1] * chances[level]
    return out.reshape(shape)


def _lower(array: Floats, place: int, chances: Floats) -> Floats:
    """Return the backward array before a cause proposes its level on one axis."""
    import numpy as np

    shape, levels = array.shape, len(chances)
    shaped = array.reshape(math.prod(shape[:place]), levels, -1)
    out = np.empty_like(shaped)
    upto = np.cumsum(chances)
    for level in range(levels):
        np.multiply(shaped[:, level], upto[level], out=out[:, level])
        for higher in range(level + 1, levels):
            out[:, level] += shaped[:, higher] * chances[higher]
    return out.reshape(shape)


@dataclass(frozen=True)
class _Turn:
    """One cause's turn: which findings open before it, stand open in it, and close after it."""

    cause: int
    opens: tuple[int, ...]
    open: tuple[int, ...]
    """In the order of the array's axes; those that open now come last."""
    closes: tuple[int, ...]


def _turns(axes: Sequence[_Axis]) -> tuple[list[_Turn], int]:
    """Return the causes in an order that keeps few findings open, and the most cells at a time."""
    left = {index: set(axis.proposals) for index, axis in enumerate(axes)}
    waiting = {cause for causes in left.values() for cause in causes}
    stands: tuple[int, ...] = ()
    turns, most = [], 1

    def cells(findings: Iterable[int]) -> int:
        return math.prod(len(axes[index].end) for index in findings)

    while waiting:
        best: tuple[tuple[int, int, int], _Turn] | None = None
        for cause in sorted(waiting):
            mine = [index for index, causes in left.items() if cause in causes]
            opens = tuple(index for index in mine if index not in stands)
            closes = tuple(index for index in mine if left[index] == {cause})
            now = (*stands, *opens)
            after = [index for index in now if index not in closes]
            worth = (cells(after), cells(now), cause)
            if best is None or worth < best[0]:
                best = (worth, _Turn(cause, opens, now, closes))
        assert best is not None  # noqa: S101  (somebody is waiting)
        turn = best[1]
        turns.append(turn)
        most = max(most, cells(turn.open))
        waiting.discard(turn.cause)
        for causes in left.values():
            causes.discard(turn.cause)
        stands = tuple(index for index in turn.open if index not in turn.closes)
    return turns, most


def _summed(
    model: CauseModel, axes: Sequence[_Axis], present: Floats, absent: Floats
) -> tuple[Floats, Floats]:
    """Return P(findings | background), and P(findings, cause | background) of linked causes.

    Returns
    -------
    total : ndarray of shape (backgrounds,)
    joint : ndarray of shape (backgrounds, causes)
        Noughts for causes that no finding is linked to
    """
    import numpy as np

    count = len(model.backgrounds)
    turns, most = _turns(axes)
    if count * most > MOST_CELLS:
        raise InputFault(
            Fault(
                say("{count} unusual findings at once are too many to weigh", count=len(axes)),
                say("evidence"),
                say("Leave out what is least certain"),
            )
        )

    def over(weights: Floats, array: Floats) -> Floats:
        return weights.reshape(count, *[1] * (array.ndim - 1))

    forward = np.ones(count)
    reached = []
    for turn in turns:
        for index in turn.opens:
            leak = axes[index].leak
            forward = forward[..., None] * leak.reshape(
                count, *[1] * (forward.ndim - 1), leak.shape[1]
            )
        reached.append(forward)
        with_it = forward
        for place, index in enumerate(turn.open, start=1):
            if turn.cause in axes[index].proposals:
                with_it = _raise(with_it, place, axes[index].proposals[turn.cause])
        forward = forward * over(absent[:, turn.cause], forward)
        with_it *= over(present[:, turn.cause], with_it)
        forward += with_it
        for index in sorted(turn.closes, key=turn.open.index, reverse=True):
            forward = np.tensordot(forward, axes[index].end, axes=(turn.open.index(index) + 1, 0))
    backward = np.ones(count)
    joint = np.zeros((count, len(model.causes)))
    for turn, before in zip(reversed(turns), reversed(reached), strict=True):
        for index in sorted(turn.closes, key=turn.open.index):
            place = turn.open.index(index) + 1
            backward = np.expand_dims(backward, place)
            backward = backward * axes[index].end.reshape(-1, *[1] * (backward.ndim - place - 1))
        with_it = backward
        for place, index in enumerate(turn.open, start=1):
            if turn.cause in axes[index].proposals:
                with_it = _lower(with_it, place, axes[index].proposals[turn.cause])
        weight = over(present[:, turn.cause], with_it)
        if with_it is backward:
            with_it = backward.copy()
        with_it *= weight
        joint[:, turn.cause] = np.einsum(
            "bi,bi->b", before.reshape(count, -1), with_it.reshape(count, -1)
        )
        backward = backward * over(absent[:, turn.cause], backward)
        backward += with_it
        for index in reversed(turn.opens):
            leak = axes[index].leak
            shaped = leak.reshape(count, *[1] * (backward.ndim - 2), leak.shape[1])
            backward = (backward * shaped).sum(-1)
    return forward, joint


def infer(model: CauseModel, evidence: Evidence, silent: Collection[str] = ()) -> Posterior:
    """Return the probability of each cause, given the evidence.

    Parameters
    ----------
    model : CauseModel
        Causes and what they let be seen
    evidence : mapping
        Observation to the likelihood of each of its states
    silent : collection of str
        Symptoms of which nothing was said by somebody who said others: each cause's symptom would
        have been mentioned with probability `MENTIONED`, so that silence speaks a little against it

    Returns
    -------
    Posterior
        Exact: the sum over all combinations of causes

    Raises
    ------
    InputFault
        If the evidence names what there is not, contradicts the model, or there are more unusual
        findings than can be summed over.

    Examples
    --------
    Fever, with cold, flu and malaria for causes and nothing else (S. Russell and P. Norvig,
    Artificial Intelligence, 3rd ed., figure 14.10): P(no fever | all three) = 0.6 0.2 0.1 = 0.012.

    >>> from nozzlewright.advice.causes.model import *
    >>> fever = Observation("fever", "", Sort.SYMPTOM, (("no", ""), ("yes", "")), (1.0, 0.0), 1.0)
    >>> causes = tuple(Cause(k, k, Place.ENGINE, 0.5) for k in ("cold", "flu", "malaria"))
    >>> links = tuple(Link(c.key, "fever", {"yes": p}, (), Confidence.PRINTED)
    ...               for c, p in zip(causes, (0.4, 0.8, 0.9)))
    >>> alone = infer(CauseModel(causes, (fever,), links), {"fever": (1.0, 0.0)})
    >>> [round(alone.causes[k] / (1 - alone.causes[k]), 3) for k in ("cold", "flu", "malaria")]
    [0.6, 0.2, 0.1]
    """
    import numpy as np

    priors = model.priors
    present, absent = priors.copy(), 1.0 - priors
    constant = np.array([one.prior for one in model.backgrounds])
    axes: list[_Axis] = []
    says = checked(model, evidence)
    for key in _unsaid(model, says, silent):
        constant = constant * _not_mentioned(model.leaks(key))
        for cause, chances in model.proposals(key).items():
            present[:, cause] *= _not_mentioned(chances)
    for key, weights in says.items():
        leak, proposals = model.leaks(key), model.proposals(key)
        if not weights[1:].any():
            constant = constant * leak[:, 0]
            for cause, chances in proposals.items():
                present[:, cause] *= chances[0]
        elif not proposals:
            constant = constant * (leak @ weights)
        elif len(proposals) == 1:
            ((cause, chances),) = proposals.items()
            with_it = np.diff(np.cumsum(leak, axis=1) * np.cumsum(chances), axis=1, prepend=0.0)
            present[:, cause] *= with_it @ weights
            absent[:, cause] *= leak @ weights
        else:
            axes.append(_axis(leak, proposals, weights))
    total, joint = _summed(model, axes, present, absent)
    linked = {cause for axis in axes for cause in axis.proposals}
    both = present + absent
    for cause in set(range(len(model.causes))) - linked:
        constant = constant * both[:, cause]
        joint[:, cause] = total * present[:, cause] / both[:, cause]
    mass = constant * total
    probability = float(mass.sum())
    if not probability > 0.0:
        raise InputFault(
            Fault(
                say("what was seen cannot be, as the model has it"),
                say("evidence"),
                say("Check what was noted"),
            )
        )
    shares = (constant[:, None] * joint).sum(0) / probability
    return Posterior(
        causes={c.key: float(min(p, 1.0)) for c, p in zip(model.causes, shares, strict=True)},
        backgrounds={
            b.key: float(m / probability) for b, m in zip(model.backgrounds, mass, strict=True)
        },
        probability=probability,
    )


def _unsaid(model: CauseModel, says: Mapping[str, Floats], silent: Collection[str]) -> list[str]:
    """Return the symptoms whose silence counts, in the model's order."""
    return [one.key for one in model.observations if one.key in silent and one.key not in says]


def _not_mentioned(chances: Floats) -> Floats:
    """Return the probability that nothing unusual was mentioned."""
    import numpy as np

    return np.asarray(1.0 - MENTIONED * (1.0 - chances[..., 0]))


# --- what to look at next ---------------------------------------------------------------------

LEADING, FAULTS_AT_ONCE = 8, 3
"""Causes that an observation shall tell apart, and how many of the likeliest ones may be present
together where the worth of an observation is reckoned."""
LEADS, CONSIDERED = 0.08, 14
"""Probability from which a cause leads (two do always); causes that are considered at all."""


@cache
def _members(count: int) -> NDArray[np.bool_]:
    """Return which of the causes each combination holds, shape (combinations, causes)."""
    import numpy as np

    sets = [s for size in range(FAULTS_AT_ONCE + 1) for s in combinations(range(count), size)]
    member = np.zeros((len(sets), count), dtype=bool)
    for row, chosen in enumerate(sets):
        member[row, list(chosen)] = True
    member.setflags(write=False)
    return member


def gains(
    model: CauseModel,
    evidence: Evidence,
    posterior: Posterior,
    candidates: Iterable[str],
    silent: Collection[str] = (),
) -> dict[str, float]:
    r"""Return by how much each observation would tell the leading causes apart, [bit].

    The mutual information :math:`I(C; O) = H(O) - \sum_c P(c) H(O \mid c)` of what would be seen
    and of which of the leading causes (up to eight) are present.

    Parameters
    ----------
    model, evidence, posterior, silent
        As of :func:`infer`
    candidates : iterable of str
        Observations that could be made

    Returns
    -------
    dict
        For each candidate, [bit]

    Notes
    -----
    Not exact, unlike :func:`infer`: summed over the combinations of up to three of the fourteen
    likeliest causes; of the others each is as likely as the evidence leaves it, by itself.
    """
    import numpy as np

    ranked = sorted(posterior.causes, key=lambda key: (-posterior.causes[key], key))
    place = {cause.key: index for index, cause in enumerate(model.causes)}
    taken = [place[key] for key in ranked[:CONSIDERED]]
    others = {place[key]: posterior.causes[key] for key in ranked[CONSIDERED:]}
    column = {cause: index for index, cause in enumerate(taken)}
    member = _members(len(taken))
    priors = model.priors[:, taken]
    odds = np.log(priors) - np.log1p(-priors)
    behind = np.array([one.prior for one in model.backgrounds])
    weight = np.exp((np.log(behind) + np.log1p(-priors).sum(1))[:, None] + odds @ member.T)

    def states_of(key: str, rest: Mapping[int, float]) -> Floats:
        """Return P(state | background, set), shape (backgrounds, sets, states)."""
        leak = np.cumsum(model.leaks(key), axis=1)
        upto = np.ones((len(member), leak.shape[1]))
        for cause, chances in model.proposals(key).items():
            reach = np.cumsum(chances)
            if cause in column:
                upto[member[:, column[cause]]] *= reach
            else:
                leak = leak * (1.0 - rest[cause] + rest[cause] * reach)
        both = leak[:, None, :] * upto
        both[..., 1:] -= both[..., :-1].copy()
        return both

    before = {cause: float(behind @ model.priors[:, cause]) for cause in others}
    says = checked(model, evidence)
    for key in _unsaid(model, says, silent):
        for cause, chances in model.proposals(key).items():
            if cause in column:
                weight[:, member[:, column[cause]]] *= float(_not_mentioned(chances))
        weight = weight * _not_mentioned(model.leaks(key))[:, None]
    for key, weights in says.items():
        weight = weight * (states_of(key, before) @ weights)
    weight = weight / weight.sum()
    leading = sum(posterior.causes[key] >= LEADS for key in ranked[:LEADING])
    leading = max(leading, min(2, len(taken)))
    lead = member[:, :leading] @ (1 << np.arange(leading))
    groups, which = np.unique(lead, return_inverse=True)
    gather = (which[None, :] == np.arange(len(groups))[:, None]).astype(float)
    found = {}
    for key in candidates:
        joint = gather @ (weight[:, :, None] * states_of(key, others)).sum(0)  # (groups, states)
        alone = joint.sum(1, keepdims=True) * joint.sum(0, keepdims=True)
        hit = joint > 0.0
        found[key] = max(float((joint[hit] * np.log2(joint[hit] / alone[hit])).sum()), 0.0)
    return found


def weights_of(
    model: CauseModel, observation: str, likelihoods: Sequence[float]
) -> dict[str, float]:
    """Return by how much one observation by itself multiplies the odds of each cause.

    The likelihood of what was seen with the cause present, over that with it absent, all other
    causes as likely as before anything was seen.

    Parameters
    ----------
    model : CauseModel
        Causes and what they let be seen
    observation : str
        Its key
    likelihoods : sequence of float
        Of each state

    Returns
    -------
    dict
        Likelihood ratio of each cause; 1 says nothing
    """
    import numpy as np

    priors, given = model.priors, np.asarray(likelihoods, dtype=float)
    proposals = model.proposals(observation)
    places = list(proposals)
    upto = np.cumsum(model.leaks(observation), axis=1)[:, None, :]  # (backgrounds, 1, states)
    if places:
        reach = np.cumsum(np.array([proposals[place] for place in places]), axis=1)
        factors = 1.0 - priors[:, places, None] * (1.0 - reach)
        upto = upto * factors.prod(axis=1, keepdims=True)

    def likelihood(cumulated: Floats) -> Floats:
        states = cumulated.copy()
        states[..., 1:] -= cumulated[..., :-1]
        return np.asarray(states @ given)

    count = len(model.causes)
    with_it = np.repeat(likelihood(upto), count, axis=1)
    without = with_it.copy()
    if places:
        without[:, places] = likelihood(upto / factors)
        with_it[:, places] = likelihood(upto / factors * reach)
    behind = np.array([one.prior for one in model.backgrounds])[:, None]
    share = behind * priors
    rest = behind - share
    top = (share * with_it).sum(0) / share.sum(0)
    bottom = (rest * without).sum(0) / rest.sum(0)
    with np.errstate(divide="ignore"):
        ratios = top / bottom
    return {cause.key: float(ratio) for cause, ratio in zip(model.causes, ratios, strict=True)}
