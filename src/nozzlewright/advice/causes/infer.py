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

from nozzlewright.advice.causes.model import CauseModel, Place
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

MOST_CELLS = 1 << 19
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
    bits = {1 << index: len(axis.end) for index, axis in enumerate(axes)}
    left = {bit: set(axis.proposals) for bit, axis in zip(bits, axes, strict=True)}
    mine = dict.fromkeys(sorted({cause for causes in left.values() for cause in causes}), 0)
    for bit, causes in left.items():
        for cause in causes:
            mine[cause] |= bit
    last = dict.fromkeys(mine, 0)
    """Findings of which a cause is the only one left."""
    for bit, causes in left.items():
        if len(causes) == 1:
            last[next(iter(causes))] |= bit

    @cache
    def cells(findings: int) -> int:
        return math.prod(levels for bit, levels in bits.items() if bit & findings)

    stands: tuple[int, ...] = ()
    turns, most, standing = [], 1, 0
    while mine:
        _, now, cause = min(
            (cells((standing | own) & ~last[cause]), cells(standing | own), cause)
            for cause, own in mine.items()
        )
        most = max(most, now)
        own, done = mine.pop(cause), last[cause]
        opens = tuple(index for index in range(len(axes)) if own & ~standing & 1 << index)
        closes = tuple(index for index in range(len(axes)) if done & 1 << index)
        turn = _Turn(cause, opens, (*stands, *opens), closes)
        turns.append(turn)
        for bit, causes in left.items():
            if bit & own:
                causes.discard(cause)
                if len(causes) == 1:
                    last[next(iter(causes))] |= bit
        standing = (standing | own) & ~done
        stands = tuple(index for index in turn.open if index not in closes)
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
    total, reached = _forward(axes, turns, present, absent)
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
        weight = _over(present[:, turn.cause], with_it)
        if with_it is backward:
            with_it = backward.copy()
        with_it *= weight
        joint[:, turn.cause] = np.einsum(
            "bi,bi->b", before.reshape(count, -1), with_it.reshape(count, -1)
        )
        backward = backward * _over(absent[:, turn.cause], backward)
        backward += with_it
        for index in reversed(turn.opens):
            leak = axes[index].leak
            shaped = leak.reshape(count, *[1] * (backward.ndim - 2), leak.shape[1])
            backward = (backward * shaped).sum(-1)
    return total, joint


def _over(weights: Floats, array: Floats) -> Floats:
    return weights.reshape(len(weights), *[1] * (array.ndim - 1))


def _forward(
    axes: Sequence[_Axis], turns: Sequence[_Turn], present: Floats, absent: Floats
) -> tuple[Floats, list[Floats]]:
    """Return P(findings | background), and the array as it stands before each cause's turn."""
    import numpy as np

    forward = np.ones(len(present))
    reached = []
    for turn in turns:
        for index in turn.opens:
            leak = axes[index].leak
            forward = forward[..., None] * leak.reshape(
                len(leak), *[1] * (forward.ndim - 1), leak.shape[1]
            )
        reached.append(forward)
        before = forward
        forward = forward * _over(absent[:, turn.cause], forward)
        if present[:, turn.cause].any():
            with_it = before
            for place, index in enumerate(turn.open, start=1):
                if turn.cause in axes[index].proposals:
                    with_it = _raise(with_it, place, axes[index].proposals[turn.cause])
            forward += with_it * _over(present[:, turn.cause], with_it)
        for index in sorted(turn.closes, key=turn.open.index, reverse=True):
            forward = np.tensordot(forward, axes[index].end, axes=(turn.open.index(index) + 1, 0))
    return forward, reached


def infer(model: CauseModel, evidence: Evidence, silent: Collection[str] = ()) -> Posterior:
    """Return the probability of each cause, given the evidence.

    Parameters
    ----------
    model : CauseModel
        Causes and what they let be seen
    evidence : mapping
        Observation to the likelihood of each of its states
    silent : collection of str
        Observations of which nothing was said by somebody who said others: what each cause brings
        about would have been told with the probability `Observation.mentioned`, so that silence
        speaks a little against it

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

    parts = _parts(model, checked(model, evidence), silent)
    constant, present, absent, axes = parts.constant, parts.present, parts.absent, parts.axes
    total, joint = _summed(model, axes, present, absent)
    linked = {cause for axis in axes for cause in axis.proposals}
    both = present + absent
    for cause in set(range(len(model.causes))) - linked:
        constant = constant * both[:, cause]
        so = np.where(both[:, cause] > 0.0, both[:, cause], 1.0)  # a background that is ruled out
        joint[:, cause] = total * present[:, cause] / so
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


@dataclass(frozen=True)
class _Parts:
    """The evidence, sorted by what it costs."""

    constant: Floats
    """Prior of each background, times all that no sum is needed for, shape (backgrounds,)."""
    present: Floats
    absent: Floats
    """Weight of each cause being present and absent, shape (backgrounds, causes)."""
    axes: tuple[_Axis, ...]
    """Unusual findings with several possible causes."""


def _parts(model: CauseModel, says: Mapping[str, Floats], silent: Collection[str]) -> _Parts:
    import numpy as np

    priors = model.priors
    present, absent = priors.copy(), 1.0 - priors
    constant = np.array([one.prior for one in model.backgrounds])
    axes: list[_Axis] = []
    for key in _unsaid(model, says, silent):
        share = model.by_observation[key].mentioned
        constant = constant * _not_mentioned(model.leaks(key), share)
        for cause, chances in model.proposals(key).items():
            present[:, cause] *= _not_mentioned(chances, share)
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
    return _Parts(constant, present, absent, tuple(axes))


def by_place(
    model: CauseModel, evidence: Evidence, posterior: Posterior, silent: Collection[str] = ()
) -> dict[Place, float]:
    """Return the probability that at least one cause is present at each place.

    Whether it is the injector at all: a table may take many faults of an injector apart and one
    of the engine not, so that no single one of the many leads though together they do.

    Parameters
    ----------
    model, evidence, posterior, silent
        As of :func:`infer`

    Returns
    -------
    dict
        For each place that has causes; they may all be at fault at once

    Notes
    -----
    Exact: 1 - P(evidence, no cause at the place) / P(evidence).
    """
    parts = _parts(model, checked(model, evidence), silent)
    linked = {cause for axis in parts.axes for cause in axis.proposals}
    turns, _ = _turns(parts.axes)
    found = {}
    for place in Place:
        here = [index for index, cause in enumerate(model.causes) if cause.place is place]
        if not here:
            continue
        present = parts.present.copy()
        present[:, here] = 0.0
        mass = parts.constant * _forward(parts.axes, turns, present, parts.absent)[0]
        for cause in set(range(len(model.causes))) - linked:
            mass = mass * (present[:, cause] + parts.absent[:, cause])
        found[place] = float(min(max(1.0 - mass.sum() / posterior.probability, 0.0), 1.0))
    return found


def _unsaid(model: CauseModel, says: Mapping[str, Floats], silent: Collection[str]) -> list[str]:
    """Return the symptoms whose silence counts, in the model's order."""
    return [one.key for one in model.observations if one.key in silent and one.key not in says]


def _not_mentioned(chances: Floats, share: float) -> Floats:
    """Return the probability that nothing unusual was mentioned."""
    import numpy as np

    return np.asarray(1.0 - share * (1.0 - chances[..., 0]))


# --- what to look at next ---------------------------------------------------------------------

LEADING, FAULTS_AT_ONCE = 8, 3
"""Causes that an observation shall tell apart, and how many of the likeliest ones may be present
together where the worth of an observation is reckoned."""
LEADS, CONSIDERED = 0.08, 14
"""Probability from which a cause leads (two do always); causes that are considered at all."""


@cache
def _sets(count: int) -> NDArray[np.intp]:
    """Return the causes of each combination, `count` for none, shape (combinations, at once)."""
    import numpy as np

    sets = [
        (*chosen, *[count] * (FAULTS_AT_ONCE - size))
        for size in range(FAULTS_AT_ONCE + 1)
        for chosen in combinations(range(count), size)
    ]
    found = np.array(sets, dtype=np.intp)
    found.setflags(write=False)
    return found


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

    columns = model.columns
    ranked = sorted(posterior.causes, key=lambda key: (-posterior.causes[key], key))
    place = {cause.key: index for index, cause in enumerate(model.causes)}
    taken = [place[key] for key in ranked[:CONSIDERED]]
    others = [place[key] for key in ranked[CONSIDERED:]]
    sets = _sets(len(taken))
    priors = model.priors[:, taken]
    with np.errstate(divide="ignore"):  # a cause that is never there
        odds = np.log(priors) - np.log1p(-priors)
    behind = np.array([one.prior for one in model.backgrounds])
    weight = np.exp(
        (np.log(behind) + np.log1p(-priors).sum(1))[:, None]
        + np.pad(odds, [(0, 0), (0, 1)])[:, sets].sum(2)
    )
    # Up to each state, by what the causes of each set propose: shape (sets, columns).
    reach = np.vstack([columns.reach[taken], np.ones(columns.reach.shape[1])])
    upto = reach[sets].prod(axis=1)

    def leak_with(rest: Floats) -> Floats:
        """Return the leak with the other causes in it, each as likely as it is."""
        factors = 1.0 - rest[:, None] * (1.0 - columns.reach[others])
        return np.asarray(columns.leak * factors.prod(axis=0))

    leak = leak_with(behind @ model.priors[:, others])
    says = checked(model, evidence)
    for key in _unsaid(model, says, silent):
        # Of the causes only those considered are taken as silent.
        here, share = columns.of[key], model.by_observation[key].mentioned
        weight *= _not_mentioned(reach[:, here], share)[sets].prod(axis=1)
        weight *= _not_mentioned(columns.leak[:, here], share)[:, None]
    for key, weights in says.items():
        # The sum over states of weight times probability, by parts: those are differences.
        steps = weights - np.append(weights[1:], 0.0)
        here = columns.of[key]
        weight *= np.maximum((leak[:, here] * steps) @ upto[:, here].T, 0.0)
    if not weight.sum() > 0.0:  # what was seen needs more than what is considered
        return dict.fromkeys(candidates, 0.0)
    weight = weight / weight.sum()
    leading = sum(posterior.causes[key] >= LEADS for key in ranked[:LEADING])
    leading = max(leading, min(2, len(taken)))
    lead = (1 << np.arange(len(taken) + 1) & (1 << leading) - 1)[sets].sum(1)
    order = np.argsort(lead, kind="stable")
    groups = np.flatnonzero(np.diff(lead[order], prepend=-1))
    leak = leak_with(np.array([posterior.causes[key] for key in ranked[CONSIDERED:]]))
    joint = columns.states(np.add.reduceat(((weight.T @ leak) * upto)[order], groups, axis=0))
    group = np.add.reduceat(weight.sum(0)[order], groups)
    alone = group[:, None] * joint.sum(0)
    hit = (joint > 0.0) & (alone > 0.0)
    ratio = np.where(hit, joint / np.where(hit, alone, 1.0), 1.0)
    bits = joint * np.log2(ratio)
    told = np.add.reduceat(bits.sum(0), columns.first)
    worth = dict(zip(columns.of, np.maximum(told, 0.0).tolist(), strict=True))
    return {key: worth[key] for key in candidates}


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

    given, here = np.asarray(likelihoods, dtype=float), model.columns.of[observation]
    present, absent = model.by_itself
    with np.errstate(divide="ignore"):
        ratios = (present[:, here] @ given) / (absent[:, here] @ given)
    return dict(zip(model.by_cause, ratios.tolist(), strict=True))
