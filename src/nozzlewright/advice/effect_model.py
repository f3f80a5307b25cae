r"""The linear model of the changes of one kind of injector.

For change j of injector i, thickness (or turns) :math:`x_j` added:

.. math::

    d_j = b_i x_j + m + (a_j - a_{j-1}) + e_j, \qquad
    b_i \sim N(\beta, \sigma^2), \quad a \sim N(0, \tau^2 / 2)

:math:`\beta` is the effect of the kind, known beforehand as the sheet or the geometry of spring
and needle has it; :math:`\sigma` is how far the injectors of a kind differ, so that each lends
strength to the others and keeps its own effect; m is what opening and closing does by itself;
:math:`\tau` is the scatter from one assembly (or tightening of the lock nut) to the next. An
assembly's own chance a stays until it is opened again, so a pressure that came out high tends to
come back with the next change. The errors e are those of the two readings by their causes: the
gauge's level, common to a sitting, cancels; a reading that ends one change and begins the next is
in both; what is common to many injectors (a gauge between two days) is estimated along.

Given :math:`\sigma` and :math:`\tau`, all is one Gaussian linear update. The two themselves are
integrated over a grid, by their marginal likelihood times half-normal priors. No iteration, no
chance: the same changes give the same answer in any order.

References
----------
.. [1] A. Gelman and others, Bayesian Data Analysis, 3rd ed. (2013), 5.4 to 5.5 (normal model with
   groups; the grid over its spread) and 14.1 to 14.2 (linear regression), from memory.
.. [2] C. R. Henderson, Best linear unbiased estimation and prediction under a selection model,
   Biometrics 31 (1975) 423 (the shrunken effect of a group), from memory.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from nozzlewright.advice.effect_prior import BAR, BAR_PER_MM, EffectPrior
from nozzlewright.measurement import Cause, Quantity

Floats = NDArray[np.float64]

SMALL_PART_PA = 0.05 * BAR
"""A part of an error smaller than this is taken as the reading's own, [Pa]."""
MOST_COMMON_CAUSES = 40
"""Errors common to several injectors that are estimated along, the largest first."""
_COARSE_SPREAD = np.array([0.0, 0.25, 0.5, 0.8, 1.2, 1.7, 2.4, 3.4])
_COARSE_SCATTER = np.array([0.05, 0.2, 0.4, 0.6, 0.85, 1.15, 1.6, 2.2, 3.0, 4.0])
_FINE = 9


@dataclass(frozen=True)
class SeenChange:
    """One change of a setting, with the opening pressure read before and after it."""

    injector: str
    """Identity."""
    amount: float
    """Shim thickness added, [m]; or turns of the screw inwards, [1]."""
    before: Quantity
    """[Pa]."""
    after: Quantity
    """[Pa]."""
    name: str = ""
    """Which it is, in words: job and cylinder."""
    by_screw: bool = False
    """Whether the amount is turns of a screw."""


@dataclass(frozen=True)
class SeenShift:
    """A move of the opening pressure without a change of the setting."""

    injector: str
    before: Quantity
    """With the lock nut slack; or of a new spring at its first pops, [Pa]."""
    after: Quantity
    """With the lock nut tight; or when the spring has settled, [Pa]."""


@dataclass(frozen=True)
class Variances:
    """Spread and scatter, where they are taken as known."""

    spread: float
    """Standard deviation of the effects of the injectors of a kind, [Pa/m] or [Pa]."""
    scatter_pa: float
    """Standard deviation from one assembly to the next, [Pa]."""


@dataclass(frozen=True)
class _Block:
    """The changes of one injector."""

    amount: Floats
    """Shape (k,), in scaled units."""
    rise: Floats
    """Shape (k,), [bar]."""
    covariance: Floats
    """Errors of the readings, shape (k, k), [bar^2]."""
    chain: Floats
    """Chance of the assemblies in units of tau squared, shape (k, k)."""
    design: Floats
    """Columns effect, shift and the common errors, shape (k, p)."""
    index: tuple[int, ...]
    """Places of its changes among all."""
    last: Quantity | None
    """Reading with which the last change ended."""


@dataclass(frozen=True)
class _Stack:
    """The blocks of one size, one behind the other."""

    amount: Floats
    """Shape (m, k)."""
    rise: Floats
    covariance: Floats
    """Shape (m, k, k)."""
    chain: Floats
    design: Floats
    """Shape (m, k, p)."""
    index: NDArray[np.int64]
    """Shape (m, k)."""


@dataclass(frozen=True)
class Fit:
    """Posterior on the grid of spread and scatter."""

    spread: Floats
    """Shape (g,), scaled."""
    scatter: Floats
    """Shape (g,), [bar]."""
    weight: Floats
    """Shape (g,), sums to 1."""
    mean: Floats
    """Of effect, shift and the common errors, shape (g, p)."""
    covariance: Floats
    """Shape (g, p, p)."""


class Model:
    """The linear model of one kind's changes, in bar and mm (or turns)."""

    def __init__(
        self,
        prior: EffectPrior,
        changes: Sequence[SeenChange],
        parts: Sequence[Mapping[Cause, float]] | None = None,
    ) -> None:
        self.prior = prior
        self.scale = BAR if prior.by_screw else BAR_PER_MM
        """One scaled unit of effect, [Pa/m] or [Pa]."""
        self.unit = self.scale / BAR
        """Scaled amount for one amount."""
        self.effect = prior.effect.value / self.scale
        self.effect_doubt = max(prior.effect.standard_uncertainty / self.scale, 1e-6 * self.effect)
        self.spread_scale = prior.spread_scale * abs(self.effect)
        self.scatter_scale = prior.scatter_scale_pa / BAR
        self.changes = tuple(changes)
        self._parts = [parts_of(change) for change in changes] if parts is None else parts
        self.blocks = self._blocks()
        self.size = 2 + self.common
        self.prior_mean = np.zeros(self.size)
        self.prior_mean[0] = self.effect
        precision = np.ones(self.size)
        precision[0] = self.effect_doubt**-2
        precision[1] = (prior.shift_doubt_pa / BAR) ** -2
        self.prior_precision = np.diag(precision)
        self._by_size = self._stacked()

    def _blocks(self) -> dict[str, _Block]:
        parts = self._parts
        places: dict[str, list[int]] = defaultdict(list)
        for place, change in enumerate(self.changes):
            places[change.injector].append(place)
        wide = self._wide(parts)
        self.common = len(wide)
        blocks = {}
        for injector, unordered in places.items():
            own = _in_order(unordered, self.changes)
            amount = np.array([self.changes[at].amount * self.unit for at in own])
            rise = np.array(
                [(self.changes[at].after.value - self.changes[at].before.value) / BAR for at in own]
            )
            design = np.zeros((len(own), 2 + len(wide)))
            design[:, 0], design[:, 1] = amount, 1.0
            covariance = np.zeros((len(own), len(own)))
            rows: dict[Cause, dict[int, float]] = {}
            for row, at in enumerate(own):
                for cause, part in parts[at].items():
                    if cause in wide:
                        design[row, 2 + wide[cause]] = part
                    else:
                        rows.setdefault(cause, {})[row] = part
            for column in rows.values():
                for row, part in column.items():
                    for other, its in column.items():
                        covariance[row, other] += part * its
            chain = np.eye(len(own))
            for row in range(1, len(own)):
                if _follows(self.changes[own[row - 1]], self.changes[own[row]]):
                    chain[row, row - 1] = chain[row - 1, row] = -0.5
            last = self.changes[own[-1]].after
            blocks[injector] = _Block(amount, rise, covariance, chain, design, tuple(own), last)
        return blocks

    def _wide(self, parts: Sequence[Mapping[Cause, float]]) -> dict[Cause, int]:
        """Return the causes that reach across injectors, numbered."""
        across: dict[Cause, set[str]] = defaultdict(set)
        weight: dict[Cause, float] = defaultdict(float)
        for change, own in zip(self.changes, parts, strict=True):
            for cause, part in own.items():
                if abs(part) * BAR >= SMALL_PART_PA:
                    across[cause].add(change.injector)
                    weight[cause] += part * part
        found = [cause for cause, injectors in across.items() if len(injectors) > 1]
        found.sort(key=lambda cause: (-weight[cause], cause))
        return {cause: number for number, cause in enumerate(found[:MOST_COMMON_CAUSES])}

    def _stacked(self) -> list[_Stack]:
        sizes: dict[int, list[_Block]] = defaultdict(list)
        for injector in sorted(self.blocks):
            block = self.blocks[injector]
            sizes[len(block.index)].append(block)
        return [
            _Stack(
                np.array([one.amount for one in same]),
                np.array([one.rise for one in same]),
                np.array([one.covariance for one in same]),
                np.array([one.chain for one in same]),
                np.array([one.design for one in same]),
                np.array([one.index for one in same]),
            )
            for _, same in sorted(sizes.items())
        ]

    def fit(self, variances: Variances | None = None) -> Fit:
        """Return the posterior; over the grid, or for known spread and scatter."""
        if variances is not None:
            spread = np.array([variances.spread / self.scale])
            return self._at(
                spread, np.array([variances.scatter_pa / BAR], dtype=np.float64), np.zeros(1)
            )
        spreads = _COARSE_SPREAD * self.spread_scale
        scatters = _COARSE_SCATTER * self.scatter_scale
        if not self.changes:
            return self._over(spreads, scatters)
        coarse = self._over(spreads, scatters)
        return self._over(
            _finer(coarse.spread, coarse.weight, spreads),
            _finer(coarse.scatter, coarse.weight, scatters),
        )

    def _over(self, spreads: Floats, scatters: Floats) -> Fit:
        """Return the posterior over the grid of two rows of values."""
        of_spread = half_normal(spreads, self.spread_scale) + np.log(_widths(spreads))
        of_scatter = half_normal(scatters, self.scatter_scale) + np.log(_widths(scatters))
        spread, scatter = np.meshgrid(spreads, scatters, indexing="ij")
        log_prior = of_spread[:, None] + of_scatter[None, :]
        return self._at(spread.ravel(), scatter.ravel(), log_prior.ravel())

    def _at(self, spread: Floats, scatter: Floats, log_prior: Floats) -> Fit:
        points, size = spread.size, self.size
        precision = np.broadcast_to(self.prior_precision, (points, size, size)).copy()
        pull = np.broadcast_to(self.prior_precision @ self.prior_mean, (points, size)).copy()
        square = np.zeros(points)
        logdet = np.zeros(points)
        for same in self._by_size:
            amount, rise, design = same.amount, same.rise, same.design
            covariance, chain = same.covariance, same.chain
            many, k = amount.shape
            spread_of = amount[:, :, None] * amount[:, None, :]
            if k == 1:
                variance = (
                    covariance[:, 0, 0]
                    + np.square(spread)[:, None] * spread_of[:, 0, 0]
                    + np.square(scatter)[:, None]
                )  # (g, m)
                weighted = design[None, :, 0, :] / variance[:, :, None]
                flat = design[:, 0, :]
                precision += np.matmul(weighted.transpose(0, 2, 1), flat)
                pull += weighted.transpose(0, 2, 1) @ rise[:, 0]
                square += (np.square(rise[:, 0]) / variance).sum(axis=1)
                logdet += np.log(variance).sum(axis=1)
                continue
            whole = (
                covariance
                + np.square(spread)[:, None, None, None] * spread_of
                + np.square(scatter)[:, None, None, None] * chain
            )  # (g, m, k, k)
            inverse, logs = _inverse(whole)
            logdet += logs.sum(axis=1)
            turned = np.matmul(inverse, design)  # (g, m, k, p)
            flat_turned = turned.reshape(points, many * k, size).transpose(0, 2, 1)
            precision += np.matmul(flat_turned, design.reshape(many * k, size))
            pull += flat_turned @ rise.ravel()
            square += np.einsum("mk,gmkl,ml->g", rise, inverse, rise)
        posterior = np.linalg.inv(precision)
        mean = np.einsum("gpq,gq->gp", posterior, pull)
        fit = square - np.einsum("gp,gp->g", mean, pull)
        log_likelihood = -0.5 * (logdet + np.linalg.slogdet(precision)[1] + fit)
        log_weight = log_prior + log_likelihood
        weight = np.exp(log_weight - log_weight.max())
        inverse_of = np.asarray(posterior, dtype=np.float64)
        return Fit(spread, scatter, weight / weight.sum(), mean, inverse_of)

    def state(
        self, fit: Fit, injector: str, opening: Quantity | None
    ) -> tuple[Floats, Floats, float]:
        """Return mean and covariance of (effect of the kind, shift, own effect, own next shift).

        Returns
        -------
        mean : ndarray of shape (4,)
        covariance : ndarray of shape (4, 4)
        scatter : float
            Root mean square of tau, [bar]
        """
        points, size = fit.weight.size, self.size
        spread2, scatter2 = np.square(fit.spread), np.square(fit.scatter)
        rows = np.zeros((points, 4, size))
        rows[:, 0, 0] = rows[:, 2, 0] = 1.0
        rows[:, 1, 1] = rows[:, 3, 1] = 1.0
        offset = np.zeros((points, 4))
        own = np.zeros((points, 4, 4))
        own[:, 2, 2], own[:, 3, 3] = spread2, scatter2
        block = self.blocks.get(injector)
        if block is not None:
            k = block.amount.size
            inverse = np.linalg.inv(
                block.covariance
                + spread2[:, None, None] * np.outer(block.amount, block.amount)
                + scatter2[:, None, None] * block.chain
            )
            towards = np.zeros((points, 2, k))
            towards[:, 0, :] = spread2[:, None] * block.amount
            if opening is not None and block.last is not None and _is_same(opening, block.last):
                towards[:, 1, -1] = -0.5 * scatter2
            share = np.matmul(towards, inverse)  # (g, 2, k)
            rows[:, 2:, :] -= np.matmul(share, block.design)
            offset[:, 2:] = share @ block.rise
            own[:, 2:, 2:] -= np.matmul(share, towards.transpose(0, 2, 1))
        means = np.einsum("gap,gp->ga", rows, fit.mean) + offset
        covariances = rows @ fit.covariance @ rows.transpose(0, 2, 1) + own
        mean = fit.weight @ means
        away = means - mean
        covariance = np.einsum("g,gab->ab", fit.weight, covariances) + np.einsum(
            "g,ga,gb->ab", fit.weight, away, away
        )
        return mean, covariance, math.sqrt(float(fit.weight @ scatter2))

    def distances(self, fit: Fit) -> Floats:
        """Return how far each change lies from what all the others foretell, [sd], signed.

        With K the covariance of all rises, the error of foretelling rise j from the rest is
        :math:`[K^{-1} r]_j / [K^{-1}]_{jj}`, its variance :math:`1 / [K^{-1}]_{jj}`; spread and
        scatter are taken at their posterior mean.
        """
        spread2 = float(fit.weight @ np.square(fit.spread))
        scatter2 = float(fit.weight @ np.square(fit.scatter))
        found = np.zeros(len(self.changes))
        precision, pull = self.prior_precision.copy(), np.zeros(self.size)
        inverses = []
        for same in self._by_size:
            spread_of = same.amount[:, :, None] * same.amount[:, None, :]
            inverse = np.linalg.inv(same.covariance + scatter2 * same.chain + spread2 * spread_of)
            rest = same.rise - same.design @ self.prior_mean
            precision += np.einsum("mkp,mkl,mlq->pq", same.design, inverse, same.design)
            pull += np.einsum("mkp,mkl,ml->p", same.design, inverse, rest)
            inverses.append(inverse)
        posterior = np.linalg.inv(precision)
        mean = self.prior_mean + posterior @ pull
        for same, inverse in zip(self._by_size, inverses, strict=True):
            rest = same.rise - same.design @ mean
            turned = inverse @ same.design
            diagonal = np.einsum("mkk->mk", inverse) - np.einsum(
                "mkp,pq,mkq->mk", turned, posterior, turned
            )
            pulled = np.einsum("mkl,ml->mk", inverse, rest)
            found[same.index] = pulled / np.sqrt(np.maximum(diagonal, 1e-12))
        return found


def parts_of(change: SeenChange) -> dict[Cause, float]:
    """Return the error of a rise by its causes, [bar]."""
    parts = {cause: part / BAR for cause, part in change.after.contributions.items()}
    for cause, part in change.before.contributions.items():
        left = parts.pop(cause, 0.0) - part / BAR
        if left != 0.0:
            parts[cause] = left
    return parts


def _is_same(a: Quantity, b: Quantity) -> bool:
    """Return whether two readings are one and the same."""
    return a.value == b.value and a.contributions == b.contributions


def _follows(before: SeenChange, after: SeenChange) -> bool:
    return _is_same(before.after, after.before)


def _in_order(places: Sequence[int], changes: Sequence[SeenChange]) -> list[int]:
    """Return the changes of an injector so that each that follows another stands behind it."""
    if len(places) == 1:
        return list(places)
    left = sorted(places, key=lambda at: order_of(changes[at]))
    ordered: list[int] = []
    while left:
        ends = [at for at in left if not any(_follows(changes[o], changes[at]) for o in left)]
        at: int | None = (ends or left)[0]
        while at is not None:
            ordered.append(at)
            left.remove(at)
            at = next((o for o in left if _follows(changes[ordered[-1]], changes[o])), None)
    return ordered


def order_of(change: SeenChange) -> tuple[str, str, float, float, float]:
    """Return what changes are sorted by, so that their order is always the same."""
    return (
        change.injector,
        change.name,
        change.amount,
        change.before.value,
        change.after.value,
    )


def _inverse(whole: Floats) -> tuple[Floats, Floats]:
    """Return the inverses of many matrices, shape (..., k, k), and the logs of determinants."""
    if whole.shape[-1] > 2:
        return np.asarray(np.linalg.inv(whole)), np.asarray(np.linalg.slogdet(whole)[1])
    a, b, d = whole[..., 0, 0], whole[..., 0, 1], whole[..., 1, 1]
    determinant = a * d - b * b
    inverse = np.empty_like(whole)
    inverse[..., 0, 0], inverse[..., 1, 1] = d / determinant, a / determinant
    inverse[..., 0, 1] = inverse[..., 1, 0] = -b / determinant
    return inverse, np.log(determinant)


def half_normal(values: Floats, scale: float) -> Floats:
    """Return the logarithm of a half-normal density, up to a constant."""
    return -0.5 * np.square(values / scale)


def _widths(values: Floats) -> Floats:
    """Return how much of the axis each value of a grid stands for."""
    edges = np.concatenate(([values[0]], 0.5 * (values[1:] + values[:-1]), [values[-1]]))
    return np.maximum(np.diff(edges), 1e-12)


def _finer(of_point: Floats, weight: Floats, values: Floats) -> Floats:
    """Return a finer row of values, as far as the weight reaches."""
    mean = float(weight @ of_point)
    deviation = math.sqrt(max(float(weight @ np.square(of_point - mean)), 0.0))
    step = float(np.interp(mean, values[1:], np.diff(values)))
    reach = 3.0 * max(deviation, 0.35 * step)
    low, high = max(mean - reach, values[0]), min(mean + reach, values[-1])
    return np.linspace(low, high, _FINE)
