r"""What closed jobs teach: counts on top of the published table, one version after the other.

A closed case is what was seen (states that were certain) and what it turned out to be. Each
probability of the table counts as if it had been seen in a few cases before (its weight); counts
are added to that: a Beta distribution for the probability of a cause, a Dirichlet distribution for
what a cause shows [1]_. What a cause itself has shown is not seen where the leak or a second cause
may have shown the same: its share is then reckoned under the model as it is, again and again until
it stands still (expectation maximisation [2]_). Where one cause was present and the usual state was
seen, the count is exact. A symptom of which nothing was said, where others were, counts as it is
weighed: most likely it was not there. Left out it would seem to come with the cause each time.

Not learned: which cause shows where at all (the structure), leaks and backgrounds. Jobs whose cause
nobody settled teach nothing, so priors learned are those of jobs that were settled.

References
----------
.. [1] D. J. Spiegelhalter, S. L. Lauritzen, Sequential updating of conditional probabilities on
   directed graphical structures, Networks 20, 1990, 579-605
.. [2] A. P. Dempster, N. M. Laird, D. B. Rubin, Maximum likelihood from incomplete data via the EM
   algorithm, J. Royal Statistical Society B 39, 1977, 1-38
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import log2
from typing import TYPE_CHECKING, Any

from nozzlewright.advice.causes.infer import Evidence, infer
from nozzlewright.advice.causes.model import CauseModel

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

PRIOR_WEIGHT, LINK_WEIGHT = 40.0, 8.0
"""Cases that the table's probability of a cause, and of what it shows, count for; a choice."""
ROUNDS, STILL = 20, 1e-4
FOLDS = 10


@dataclass(frozen=True)
class ClosedCase:
    """A job that told what it was."""

    evidence: Evidence
    causes: frozenset[str]
    """Keys of all causes that were present."""
    name: str = ""
    """Where it comes from, for a person."""
    silent: frozenset[str] = frozenset()
    """Symptoms of which nothing was said by somebody who said others."""


@dataclass(frozen=True)
class Counts:
    """What closed cases add to the table."""

    cases: int = 0
    causes: Mapping[str, float] = field(default_factory=dict)
    """Cases in which each cause was present."""
    links: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    """``cause observation`` to the number of times the cause showed each state."""

    def as_data(self) -> dict[str, Any]:
        """Return the counts as plain data."""
        return {
            "cases": self.cases,
            "causes": dict(self.causes),
            "links": {key: dict(states) for key, states in self.links.items()},
        }


def counts_from(data: Mapping[str, Any]) -> Counts:
    """Return the counts that :meth:`Counts.as_data` made plain."""
    return Counts(
        int(data.get("cases", 0)),
        {str(key): float(n) for key, n in data.get("causes", {}).items()},
        {
            str(key): {str(state): float(n) for state, n in states.items()}
            for key, states in data.get("links", {}).items()
        },
    )


def with_counts(model: CauseModel, counts: Counts, version: int) -> CauseModel:
    """Return the table with what was counted: means of the Beta and Dirichlet distributions.

    Parameters
    ----------
    model : CauseModel
        As published
    counts : Counts
        Of closed cases
    version : int
        Number that the learned model goes by

    Returns
    -------
    CauseModel
        Keys that the table does not have are left aside
    """
    causes = tuple(
        replace(
            cause,
            prior=(PRIOR_WEIGHT * cause.prior + counts.causes.get(cause.key, 0.0))
            / (PRIOR_WEIGHT + counts.cases),
        )
        for cause in model.causes
    )
    links = []
    for link in model.links:
        counted = counts.links.get(f"{link.cause} {link.observation}")
        if not counted:
            links.append(link)
            continue
        total = LINK_WEIGHT + sum(counted.values())
        links.append(
            replace(
                link,
                chances={
                    state: (LINK_WEIGHT * chance + counted.get(state, 0.0)) / total
                    for state, chance in link.chances.items()
                },
            )
        )
    return replace(model, causes=causes, links=tuple(links), version=version)


def count(model: CauseModel, cases: Sequence[ClosedCase]) -> Counts:
    """Return what closed cases add to the published table.

    Parameters
    ----------
    model : CauseModel
        As published
    cases : sequence of ClosedCase
        With what was seen and what it was

    Returns
    -------
    Counts
        Virtual evidence is left aside: only states that were certain are counted, and silence
    """
    causes: dict[str, float] = {}
    for case in cases:
        for cause in case.causes & set(model.by_cause):
            causes[cause] = causes.get(cause, 0.0) + 1.0
    counts = Counts(len(cases), causes)
    for _ in range(ROUNDS):
        now = with_counts(model, counts, 0)
        links: dict[str, dict[str, float]] = {}
        reckoned: _Reckoned = {}
        for case in cases:
            for name, states in _shown(now, case, reckoned):
                row = links.setdefault(name, {})
                for state, share in states.items():
                    row[state] = row.get(state, 0.0) + share
        moved = max(
            (
                abs(n - counts.links.get(name, {}).get(state, 0.0))
                for name, states in links.items()
                for state, n in states.items()
            ),
            default=0.0,
        )
        counts = Counts(len(cases), causes, links)
        if moved < STILL:
            break
    return counts


_Shares = list[tuple[str, dict[str, float]]]
_Seen = tuple[tuple[str, tuple[float, ...]], ...]
_Reckoned = dict[tuple[str, tuple[float, ...], tuple[str, ...], frozenset[str], _Seen], _Shares]


def _shown(model: CauseModel, case: ClosedCase, reckoned: _Reckoned) -> _Shares:
    """Return for each present cause and what was seen of it the share of each state it showed."""
    seen = _seen(model, case)
    told = {key for background in model.backgrounds for key in background.leak}
    of_background: _Seen = tuple(item for item in seen.items() if item[0] in told)
    found: _Shares = []
    for key, weights in seen.items():
        linked = tuple(sorted(case.causes & model.links_of[key].keys()))
        if not linked:
            continue
        behind = (case.causes, of_background) if key in told else (frozenset[str](), ())
        name = (key, weights, linked, *behind)
        if name not in reckoned:
            reckoned[name] = _shares(model, *name)
        found += reckoned[name]
    return found


def _seen(model: CauseModel, case: ClosedCase) -> dict[str, tuple[float, ...]]:
    """Return the weights of what is counted: states that were certain, and silence."""
    seen = {}
    for one in model.observations:
        weights = tuple(case.evidence.get(one.key, ()))
        if not weights and one.key in case.silent:
            seen[one.key] = (1.0, *(1.0 - one.mentioned for _ in one.states[1:]))
        elif len(weights) == len(one.states) and sum(weight > 0.0 for weight in weights) == 1:
            seen[one.key] = weights
    return seen


def _shares(
    model: CauseModel,
    key: str,
    weights: Sequence[float],
    linked: Sequence[str],
    causes: frozenset[str],
    told: _Seen,
) -> _Shares:
    import numpy as np

    one = model.by_observation[key]
    proposals, place = model.proposals(key), model.place
    leaks = np.cumsum(model.leaks(key), axis=1)
    behind = np.array([background.prior for background in model.backgrounds])
    if told:
        behind = _behind(model, causes, told)
    found: _Shares = []
    for cause in linked:
        mine = proposals[place[cause]]
        rest = leaks.copy()
        for other in linked:
            if other != cause:
                rest = rest * np.cumsum(proposals[place[other]])
        share = np.zeros_like(rest)
        for level, weight in enumerate(weights):
            # The highest proposal is seen: mine, or the rest's with mine below it.
            share[:, level] += weight * mine[level] * rest[:, level]
            step = np.diff(rest, axis=1, prepend=0.0)[:, level]
            share[:, :level] += weight * step[:, None] * mine[:level]
        total = share.sum(1)
        known = (total > 0.0) & (behind > 0.0)
        if known.any():
            mean = behind[known] @ (share[known] / total[known, None]) / behind[known].sum()
            states = {s: float(p) for (s, _), p in zip(one.states, mean, strict=True)}
            found.append((f"{cause} {key}", states))
    return found


def _behind(model: CauseModel, causes: frozenset[str], told: _Seen) -> NDArray[np.float64]:
    """Return P(background | the causes that were present, what a background shows by itself)."""
    import numpy as np

    there = np.array([cause.key in causes for cause in model.causes])
    weight = np.array([background.prior for background in model.backgrounds])
    weight = weight * np.where(there, model.priors, 1.0 - model.priors).prod(axis=1)
    for key, weights in told:
        upto = np.cumsum(model.leaks(key), axis=1)
        for cause, proposed in model.proposals(key).items():
            if there[cause]:
                upto = upto * np.cumsum(proposed)
        weight = weight * (np.diff(upto, axis=1, prepend=0.0) @ np.asarray(weights))
    total = float(weight.sum())
    return np.asarray(weight / total) if total > 0.0 else weight


@dataclass(frozen=True)
class Change:
    """How one closed case is ranked by two models."""

    case: ClosedCase
    before: int
    """Place of the cause that it was, from 1; of several the best placed."""
    after: int
    score_before: float
    """Log score: -log2 of the probability given to what was so, summed over all causes, those that
    were present and those that were not [bit]; less is better. A proper score: who says what he
    believes does best (Gneiting & Raftery, J. American Statistical Association 102, 2007)."""
    score_after: float


def place_of(model: CauseModel, case: ClosedCase) -> tuple[int, float]:
    """Return the place of what it was, from 1, and the log score, [bit]."""
    shares = infer(model, case.evidence, case.silent).causes
    order = sorted(shares, key=lambda key: (-shares[key], key))
    known = [key for key in case.causes if key in shares]
    if not known:
        return len(order) + 1, float("inf")
    so = (share if key in case.causes else 1.0 - share for key, share in shares.items())
    score = sum(-log2(max(share, 1e-12)) for share in so)
    return 1 + min(order.index(key) for key in known), score


def compare(
    before: CauseModel, after: CauseModel, cases: Iterable[ClosedCase]
) -> tuple[Change, ...]:
    """Return how two models rank the closed cases.

    A model ranks cases that it learned from better than new ones; :func:`held_out` does not.
    """
    changes = []
    for case in cases:
        place, score = place_of(before, case)
        place_after, score_after = place_of(after, case)
        changes.append(Change(case, place, place_after, score, score_after))
    return tuple(changes)


def held_out(model: CauseModel, cases: Sequence[ClosedCase]) -> tuple[Change, ...]:
    """Return how each case is ranked by the table and by what the *other* cases teach.

    The cases are left out one by one; where there are more than ten, in ten parts.
    """
    folds = min(len(cases), FOLDS)
    changes: list[Change] = []
    for fold in range(folds):
        out = list(cases[fold::folds])
        rest = [case for index, case in enumerate(cases) if index % folds != fold]
        changes += compare(model, with_counts(model, count(model, rest), 0), out)
    return tuple(changes)
