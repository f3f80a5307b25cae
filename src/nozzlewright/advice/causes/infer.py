"""What is likely to be wrong, given what was seen: exact.

For findings of a noisy-OR (or noisy-MAX) gate the joint probability can be summed over all 2^n
combinations of causes without writing them down, since causes act by themselves. Heckerman's
Quickscore [1]_ does it by a signed sum over the subsets of positive findings; with many findings
its terms cancel to nothing in floating point. Here the same sum is made of positive terms only:
causes are taken one after the other, and for each subset of the positive findings the probability
is kept that just these have been brought about so far (forward), or that the rest will be
(backward). It costs causes times 2^(positive findings), like Quickscore, and cancels nothing.

Usual findings, and those with one possible cause, cost nothing more than a factor.

References
----------
.. [1] D. Heckerman, A tractable inference algorithm for diagnosing multiple diseases,
   Proc. 5th Conf. on Uncertainty in Artificial Intelligence, 1989, 174-181
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
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

MOST_CELLS = 1 << 17
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


def _raise(array: Floats, before: int, chances: Floats) -> Floats:
    """Return the forward array after a cause has proposed its level on one axis."""
    import numpy as np

    levels = len(chances)
    shaped = array.reshape(before, levels, -1)
    out = np.empty_like(shaped)
    if levels == 2:
        below, at = chances
        np.multiply(shaped[:, 0], below, out=out[:, 0])
        np.multiply(shaped[:, 1], below + at, out=out[:, 1])
        out[:, 1] += at * shaped[:, 0]
        return out.reshape(-1)
    upto, lower = np.cumsum(chances), np.cumsum(shaped, axis=1)
    for level in range(levels):
        out[:, level] = shaped[:, level] * upto[level]
        if level:
            out[:, level] += lower[:, level - 1] * chances[level]
    return out.reshape(-1)


def _lower(array: Floats, before: int, chances: Floats) -> Floats:
    """Return the backward array before a cause proposes its level on one axis."""
    import numpy as np

    levels = len(chances)
    shaped = array.reshape(before, levels, -1)
    out = np.empty_like(shaped)
    if levels == 2:
        below, at = chances
        np.multiply(shaped[:, 0], below, out=out[:, 0])
        out[:, 0] += at * shaped[:, 1]
        np.multiply(shaped[:, 1], below + at, out=out[:, 1])
        return out.reshape(-1)
    upto = np.cumsum(chances)
    for level in range(levels):
        out[:, level] = shaped[:, level] * upto[level]
        for higher in range(level + 1, levels):
            out[:, level] += shaped[:, higher] * chances[higher]
    return out.reshape(-1)


def infer(model: CauseModel, evidence: Evidence) -> Posterior:
    """Return the probability of each cause, given the evidence.

    Parameters
    ----------
    model : CauseModel
        Causes and what they let be seen
    evidence : mapping
        Observation to the likelihood of each of its states

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
    count = len(model.backgrounds)
    present, absent = priors.copy(), 1.0 - priors
    constant = np.array([one.prior for one in model.backgrounds])
    axes: list[_Axis] = []
    for key, weights in checked(model, evidence).items():
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
    shape = [len(axis.end) for axis in axes]
    cells = count * int(np.prod(shape, dtype=float))
    if cells > MOST_CELLS:
        raise InputFault(
            Fault(
                say("{count} unusual findings at once are too many to weigh", count=len(axes)),
                say("evidence"),
                say("Leave out what is least certain"),
            )
        )
    # By how many cells the array must be cut before each axis.
    before = [count * int(np.prod(shape[:place], dtype=int)) for place in range(len(axes))]
    forward = np.ones(count)
    end = np.ones(count)
    for axis in axes:
        forward = (forward.reshape(count, -1, 1) * axis.leak[:, None, :]).reshape(-1)
        end = (end.reshape(count, -1, 1) * axis.end).reshape(-1)
    linked = sorted({cause for axis in axes for cause in axis.proposals})

    def weighed(array: Floats, weights: Floats) -> Floats:
        return np.asarray((array.reshape(count, -1) * weights[:, None]).reshape(-1))

    forwards = []
    for cause in linked:
        forwards.append(forward)
        with_it = forward
        for axis, cut in zip(axes, before, strict=True):
            if cause in axis.proposals:
                with_it = _raise(with_it, cut, axis.proposals[cause])
        forward = weighed(forward, absent[:, cause]) + weighed(with_it, present[:, cause])
    backward = end
    joint = np.zeros_like(priors)
    for cause, reached in zip(reversed(linked), reversed(forwards), strict=True):
        with_it = backward
        for axis, cut in zip(axes, before, strict=True):
            if cause in axis.proposals:
                with_it = _lower(with_it, cut, axis.proposals[cause])
        joint[:, cause] = present[:, cause] * (reached * with_it).reshape(count, -1).sum(1)
        backward = weighed(backward, absent[:, cause]) + weighed(with_it, present[:, cause])
    total = (forward * end).reshape(count, -1).sum(1)
    both = present + absent
    alone = [cause for cause in range(len(model.causes)) if cause not in set(linked)]
    for cause in alone:
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


# --- what to look at next ---------------------------------------------------------------------

LEADING, FAULTS_AT_ONCE = 8, 3
"""Causes that an observation shall tell apart, and how many of the likeliest ones may be present
together where the worth of an observation is reckoned."""
CONSIDERED = 14


def gains(
    model: CauseModel, evidence: Evidence, posterior: Posterior, candidates: Iterable[str]
) -> dict[str, float]:
    r"""Return by how much each observation would tell the leading causes apart, [bit].

    The mutual information :math:`I(C; O) = H(O) - \sum_c P(c) H(O \mid c)` of what would be seen
    and of which of the eight likeliest causes are present.

    Parameters
    ----------
    model, evidence, posterior
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
    sets = [s for size in range(FAULTS_AT_ONCE + 1) for s in combinations(range(len(taken)), size)]
    member = np.zeros((len(sets), len(taken)), dtype=bool)
    for row, chosen in enumerate(sets):
        member[row, list(chosen)] = True
    priors = model.priors[:, taken]
    odds = np.log(priors) - np.log1p(-priors)
    behind = np.array([one.prior for one in model.backgrounds])
    weight = np.exp((np.log(behind) + np.log1p(-priors).sum(1))[:, None] + odds @ member.T)

    def states_of(key: str, rest: Mapping[int, float]) -> Floats:
        """Return P(state | background, set), shape (backgrounds, sets, states)."""
        leak = np.cumsum(model.leaks(key), axis=1)
        upto = np.ones((len(sets), leak.shape[1]))
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
    for key, weights in checked(model, evidence).items():
        weight = weight * (states_of(key, before) @ weights)
    weight = weight / weight.sum()
    lead = member[:, :LEADING] @ (1 << np.arange(min(LEADING, len(taken))))
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
    proposals = {i: np.cumsum(c) for i, c in model.proposals(observation).items()}
    linked = {i: 1.0 - priors[:, i, None] * (1.0 - reach) for i, reach in proposals.items()}
    all_upto = np.cumsum(model.leaks(observation), axis=1)
    for factor in linked.values():
        all_upto = all_upto * factor
    behind = np.array([one.prior for one in model.backgrounds])
    found = {}

    def likelihood(upto: Floats, shares: Floats) -> float:
        states = np.diff(upto, axis=1, prepend=0.0)
        return float((shares / shares.sum()) @ (states @ given))

    for place, cause in enumerate(model.causes):
        share = behind * priors[:, place]
        rest = all_upto / linked[place] if place in linked else all_upto
        with_it = likelihood(rest * proposals[place] if place in linked else rest, share)
        without = likelihood(rest, behind - share)
        found[cause.key] = with_it / without if without > 0.0 else float("inf")
    return found
