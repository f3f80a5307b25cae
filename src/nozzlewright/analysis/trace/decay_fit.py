r"""The law of a decay, fitted to all of it.

Trapped oil with compliance :math:`C(p)` leaks :math:`Q(p)`, and gives or takes heat:

.. math::

    C(p)\,\dot p &= -Q(p) + C(p_m)\,\dot u \\
    \dot u       &= \gamma\,\dot p - u/\vartheta

:math:`u` is the pressure that will still be lost as the oil cools to the temperature of the
metal (:math:`u = A` at the start of the hold), :math:`\vartheta` the time constant of the
cooling, and :math:`\gamma = (1 - B_T/B_S)` times the oil's share of the compliance: a fast fall
cools the oil, which makes it stiffer than in a slow one.

:math:`Q(p)/Q(p_m)` follows from Barus' viscosity and a gap that may grow with pressure,
:math:`C(p)/C(p_m)` from oil that is stiffer at higher pressure, the walls, and free air. What is
fitted is the *rate* :math:`r = Q(p_m)/(C(p_m)\,p_m)` in the middle of the decay, the relative
growth of the gap, the share of free air, and :math:`A`, with :math:`\vartheta` either on a grid
or free.

With :math:`\Theta(p) = \frac{1}{p_m}\int_p \frac{C(p')}{C(p_m)}\frac{Q(p_m)}{Q(p')}\,dp'` the
equation becomes :math:`\dot\Theta = r - \dot u\,Q(p_m)/(Q(p)\,p_m)`: a straight line in time
where there is no heat, and solved by a few rounds of putting the pressure back in where there
is.

Whether there is heat at all is weighed and not decided: the answers with and without it, and
for several time constants, are averaged by how well they explain the decay (Bayesian model
averaging; J. A. Hoeting et al., Statistical Science 14 (1999) 382, from memory). Heat that the
decay cannot tell from leakage thus widens the uncertainty of the leak.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from nozzlewright.analysis.trace import decay_kernel as kernel
from nozzlewright.physics import ATMOSPHERE_PA, leak_factor

FloatArray = NDArray[np.float64]


class Resolution(NamedTuple):
    """How finely a decay is followed."""

    bins: int
    """Means of samples at the most."""
    table: int
    """Places in the table of the law."""
    steps: int
    """Instants at which heat is followed."""


MOST_BINS = 120
"""Samples are averaged into at most so many bins of equal time."""
EARLY = 0.4
"""Length of the first bin over that of equal ones."""
FEWEST_BINS = 8
LOWEST_SHARE = 0.04
"""The fit stops where pressure is below this share of its start: a gauge's zero reigns there."""

SETTLING, SHARE, TIME = 4, 5, 6
"""Places of the heat's parameters behind those of the law."""

GROWTH_PER_PA = 1e-8
"""Scale of the relative growth of the gap, [1/Pa]."""
GROWTH_PRIOR = 1.2, 2.0
"""Mean and standard deviation before the decay is seen, in that scale: 0 for a leaking seat, 1 to
5 for guides of 4 to 1 um (Lame's cylinder)."""
AIR_SHARE = 1e-3
AIR_PRIOR = 3.0
"""Standard deviation of the share of free air before the decay is seen, in units of 1e-3."""
HEAT_PRIOR_SHARE = 0.1
"""Scale of the pressure that cooling may take, as a share of the starting pressure; pumping up at
one go and without loss of heat would give 0.15 to 0.2."""
HEAT_SHARE_PRIOR = 0.0, 0.2
"""Relative deviation of 1 - B_T/B_S from the law's: mean and standard deviation; it goes with the
square of the expansion."""
CREEP_SHARE_PRIOR = -1.0, 0.02
"""The same where something else settles than heat: no stiffening at all."""
COOLING_TIME_PRIOR = 4.0, 1.2
"""Median of the time constant of cooling [s], and standard deviation of its logarithm."""
COOLING_TIMES_S = (0.7, 1.5, 3.0, 6.0, 12.0, 25.0)
CREEP_TIMES_S = (1.5, 6.0, 20.0)
HEAT_PRIOR, CREEP_PRIOR = 0.4, 0.1
"""Probabilities, before the decay is seen, that heat or creep takes part in the fall."""
MISFIT, ODD_SHARE = 1.5, 2.0
"""Inflation, and heat share in standard deviations off, from which creep is considered beside
plain heat."""
STARTING_TIMES_S = (1.5, 5.0, 15.0)
"""Time constants from which the fit of a free one starts."""
HEAT_RANGE_S = 0.3, 40.0
SURE_GAIN = 25.0
"""Gain in chi-squared, inflated, beyond which heat is taken as plain."""
SURE_OF_TIME = 0.5
"""Standard uncertainty of the logarithm of the time constant below which it is taken as told."""
ROUGH_SHARE = 2e-3
"""Share of the pressure to which the first, rough fit goes."""
BOUNDS = (
    (-1.0, -2.0, -3.0, -10.0, -0.1, -1.1, math.log(HEAT_RANGE_S[0])),
    (3.0, 20.0, 12.0, 100.0, 10.0, 1.5, math.log(HEAT_RANGE_S[1])),
)
"""Of Theta, share lost, growth, air, settling over its scale, heat share, ln of cooling time."""
LEAST_COMPLIANCE = 0.05
"""Floor of the relative compliance while a fit tries shares of air below zero, [1]."""

FINE = Resolution(bins=MOST_BINS, table=160, steps=240)
COARSE = Resolution(bins=60, table=80, steps=80)
"""For a glance."""
ROUGH_TOLERANCE, FINE_TOLERANCE = 1e-2, 1e-5
"""Relative gain in chi-squared below which a fit stops."""
MOST_STEPS = 120


@dataclass(frozen=True)
class DecayLaw:
    """How leakage and compliance depend on pressure, relative to those at one pressure."""

    middle_pa: float
    """Pressure p_m to which both are referred, [Pa]."""
    alpha_per_pa: float
    """Barus coefficient, [1/Pa]."""
    modulus_pa: float
    """Bulk modulus of the oil at the test's temperature and zero gauge pressure, [Pa]."""
    modulus_slope: float
    """Its rise with pressure, [1]."""
    wall_share: float
    """Share of the walls in the compliance at p_m, [1]."""
    heat_share: float
    """1 - B_T/B_S times the oil's share of the compliance, [1]."""

    def leakage(self, pressure: FloatArray, growth: float) -> FloatArray:
        """Return Q(p)/Q(p_m), growth in units of 1e-8/Pa."""
        if growth >= 0.0:
            factor = leak_factor(pressure, self.alpha_per_pa, growth * GROWTH_PER_PA)
        else:
            factor = cubic(self.leak_cubic(pressure), growth)
        return np.asarray(pressure * factor / (self.middle_pa * self._factor_at_middle(growth)))

    def compliance(self, pressure: FloatArray, air: float) -> FloatArray:
        """Return C(p)/C(p_m), the latter without air; air in units of 1e-3."""
        solid, gas = self.compliance_line(pressure)
        return np.maximum(solid + air * gas, LEAST_COMPLIANCE)

    def leak_cubic(self, pressure: FloatArray) -> FloatArray:
        """Return the coefficients of the leak factor as a cubic in growth, shape (4, N).

        The factor is the mean of (1 + g p')^3 exp(-alpha p'), thus exactly a cubic in g.
        """
        nodes = np.arange(4.0)
        values = np.array(
            [leak_factor(pressure, self.alpha_per_pa, g * GROWTH_PER_PA) for g in nodes]
        )
        return np.asarray(np.linalg.solve(np.vander(nodes, increasing=True), values))

    def compliance_line(self, pressure: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return C(p)/C(p_m) without air, and what each 1e-3 of air adds."""
        oil = (1.0 - self.wall_share) * (self.modulus_pa + self.modulus_slope * self.middle_pa)
        absolute = np.maximum(pressure, 0.0) + ATMOSPHERE_PA
        solid = oil / (self.modulus_pa + self.modulus_slope * pressure) + self.wall_share
        return solid, oil * AIR_SHARE * ATMOSPHERE_PA / absolute**2

    def _factor_at_middle(self, growth: float) -> float:
        return float(cubic(self._cubic_at_middle, growth)[0])

    @cached_property
    def _cubic_at_middle(self) -> FloatArray:
        return self.leak_cubic(np.array([self.middle_pa]))


def cubic(coefficients: FloatArray, growth: float) -> FloatArray:
    """Return the leak factor from its coefficients, never quite zero."""
    c0, c1, c2, c3 = coefficients
    return np.asarray(np.maximum(c0 + growth * (c1 + growth * (c2 + growth * c3)), 0.05))


@dataclass(frozen=True)
class Bins:
    """A decay averaged over short times; arrays of shape (B,)."""

    time_s: FloatArray
    pressure_pa: FloatArray
    sigma_pa: FloatArray
    """Standard deviation of each mean by the noise of the samples alone."""


@dataclass(frozen=True)
class DecayFit:
    """What a decay says of the leak, with what it leaves open."""

    law: DecayLaw
    rate: float
    """Q(p_m)/(C(p_m) p_m), [1/s]; heat taken off."""
    growth: float
    """Relative growth of the gap, [1e-8/Pa]."""
    air: float
    """Share of free air at zero gauge pressure, [1e-3]."""
    covariance: FloatArray
    """Of (rate, growth, air), shape (3, 3)."""
    air_uncertainty: float
    settling_pa: float
    """Pressure lost to cooling after the start; 0 where heat plays no part."""
    settling_uncertainty_pa: float
    heat_probability: float
    """Probability that heat takes part in the fall."""
    cooling_time_s: float
    """Time constant of the likeliest settling, [s]."""
    start_s: float
    end_s: float
    start_pa: float
    """Fitted pressure at the start of the fitted stretch."""
    end_pa: float
    scatter_pa: float
    """Standard deviation of the samples' means about the curve, [Pa]."""
    correlation_bins: float
    """How many neighbouring bins stray together; 1: each on its own."""
    bins: Bins
    curve_s: FloatArray
    curve_pa: FloatArray
    """The fitted curve, shape (steps,), heat included."""
    _shift: Callable[[DecayLaw, float], FloatArray]

    @property
    def values(self) -> FloatArray:
        """Rate, growth and air, shape (3,)."""
        return np.array([self.rate, self.growth, self.air])

    def shift(self, law: DecayLaw, offset_pa: float = 0.0) -> FloatArray:
        """Return how (rate, growth, air) move for another law, or another level of the gauge.

        Parameters
        ----------
        law : DecayLaw
            The other law, with the same p_m
        offset_pa : float
            By how much the pressure is higher than what was fitted, [Pa]

        Returns
        -------
        ndarray of shape (3,)
            One Gauss-Newton step from the fit
        """
        return self._shift(law, offset_pa)


def binned(
    time_s: FloatArray, pressure_pa: FloatArray, noise_pa: float, most: int = MOST_BINS
) -> Bins:
    """Average samples over times that grow along the decay; gaps simply leave bins out.

    Settling is quick at first, and so is the leak: the last bins are several times as long as
    the first.
    """
    share = np.linspace(0.0, 1.0, most + 1)
    edges = time_s[0] + (time_s[-1] - time_s[0]) * (EARLY * share + (1.0 - EARLY) * share**2)
    first = np.searchsorted(time_s, edges[:-1])
    first = np.unique(first[first < time_s.size])
    count = np.diff(np.append(first, time_s.size))
    mean_t = np.add.reduceat(time_s, first) / count
    mean_p = np.add.reduceat(pressure_pa, first) / count
    floor = 1e-7 * max(float(np.max(np.abs(pressure_pa))), 1.0)
    return Bins(mean_t, mean_p, np.maximum(noise_pa, floor) / np.sqrt(count))


class _Curve:
    """Pressure against time for one law; the table of Theta is kept while the law stays."""

    def __init__(self, law: DecayLaw, bins: Bins, resolution: Resolution) -> None:
        self.law, self.time = law, bins.time_s - bins.time_s[0]
        low, high = float(np.min(bins.pressure_pa)), float(np.max(bins.pressure_pa))
        self.table = np.geomspace(1.25 * high, max(0.5 * low, 1e-3 * high), resolution.table)
        self.grid = np.linspace(0.0, float(self.time[-1]), resolution.steps)
        self.log_table = np.log(self.table)
        self.leak = law.leak_cubic(self.table)
        self.leak_middle = law.leak_cubic(np.array([law.middle_pa]))[:, 0]
        self.solid, self.gas = law.compliance_line(self.table)

    def theta(self, growth: float, air: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return Theta, -dTheta/d ln p and Q(p_m)/(Q(p) p_m) along the table."""
        flow = self.table * cubic(self.leak, growth)
        per_flow = float(cubic(self.leak_middle, growth)) / flow
        pace = np.maximum(self.solid + air * self.gas, LEAST_COMPLIANCE) * per_flow * self.table
        steps = 0.5 * (pace[1:] + pace[:-1]) * -np.diff(self.log_table)
        return np.concatenate(([0.0], np.cumsum(steps))), pace, per_flow

    @property
    def tables(self) -> tuple[FloatArray, ...]:
        """What the kernel needs of the law."""
        law = (self.table, self.log_table, self.leak, self.leak_middle, self.solid, self.gas)
        return self.grid, *law

    def at(self, when: FloatArray, x: FloatArray, heat: _Heat | None) -> FloatArray:
        """Return pressure at increasing times since the start, [Pa].

        x : (Theta at the start, rate, growth, air)
        """
        out = np.empty(when.size)
        cooling_s, count = 1.0, kernel.NO_HEAT
        if heat is not None:
            x = np.concatenate((x[:SETTLING], [heat.settling_pa, heat.share_factor - 1.0]))
            cooling_s, count = heat.cooling_s, kernel.GIVEN_TIME
        kernel.compiled().curve(x, count, cooling_s, self.law.heat_share, when, *self.tables, out)
        return out


class _Heat(NamedTuple):
    """The heat in one answer."""

    settling_pa: float
    share_factor: float
    """What the law's heat share is to be multiplied with, [1]."""
    cooling_s: float


class _Kind(NamedTuple):
    """One way in which pressure settles beside the leak."""

    cooling_s: float
    """Time constant, or where the fit of a free one starts, [s]."""
    stiffens: bool
    """True: heat, so that a fast fall is stiffer; False: creep of seals and hoses, without that."""

    @property
    def share_prior(self) -> tuple[float, float]:
        return HEAT_SHARE_PRIOR if self.stiffens else CREEP_SHARE_PRIOR


@dataclass(frozen=True)
class _Answer:
    """One way to explain the decay, fitted: no heat, or heat of one time constant."""

    x: FloatArray
    """Theta at the start, rate, growth, air; with heat also settling, deviation of the heat share
    from the law's, and ln of the time constant if that is free."""
    kind: _Kind | None
    """None: nothing settles."""
    cost: float
    """Chi-squared with the priors'."""
    jacobian: FloatArray
    """Of the residuals with respect to the parameters over their scale."""
    residual: FloatArray
    """Of each bin in units of its noise, then of each prior."""

    @property
    def heat(self) -> _Heat | None:
        """Its heat."""
        return _heat_of(self.x, self.kind)


def _heat_of(x: FloatArray, kind: _Kind | None) -> _Heat | None:
    if kind is None:
        return None
    cooling_s = math.exp(float(x[TIME])) if x.size > TIME else kind.cooling_s
    return _Heat(float(x[SETTLING]), 1.0 + float(x[SHARE]), cooling_s)


class _Problem:
    """The least-squares problem of one decay."""

    def __init__(
        self,
        bins: Bins,
        law: DecayLaw,
        growth_prior: tuple[float, float],
        resolution: Resolution,
    ) -> None:
        self.bins, self.law = bins, law
        self.resolution = resolution
        self.curve = _Curve(law, bins, resolution)
        self.span = float(bins.time_s[-1] - bins.time_s[0])
        self.heat_scale = HEAT_PRIOR_SHARE * float(bins.pressure_pa[0])
        self.growth_mean, self.growth_sd = growth_prior
        # All parameters of order one: the rate as the share lost in the whole stretch.
        self.scale = np.array([1.0, 1.0 / self.span, 1.0, 1.0, self.heat_scale, 1.0, 1.0])

    def model(self, x: FloatArray, kind: _Kind | None, curve: _Curve | None = None) -> FloatArray:
        curve = curve or self.curve
        return curve.at(curve.time, x, _heat_of(x, kind))

    def priors(self, count: int, kind: _Kind | None) -> tuple[FloatArray, FloatArray]:
        """Return mean and standard deviation of the scaled parameters before the decay is seen."""
        share_mean, share_sd = kind.share_prior if kind is not None else (0.0, 1.0)
        mean = (0.0, 0.0, self.growth_mean, 0.0, 0.0, share_mean, math.log(COOLING_TIME_PRIOR[0]))
        sd = (math.inf, math.inf, self.growth_sd, AIR_PRIOR, 1.0, share_sd, COOLING_TIME_PRIOR[1])
        return np.array(mean[:count]), np.array(sd[:count])

    def leak_start(self, settled_s: float = 0.0) -> FloatArray:
        """Return a start for the leak from what comes after some time."""
        time, pressure = self.curve.time, self.bins.pressure_pa
        table, _, _ = self.curve.theta(self.growth_mean, 0.0)
        theta = np.interp(-np.log(pressure), -self.curve.log_table, table)
        late = time >= settled_s
        if np.count_nonzero(late) < 3 or np.ptp(time[late]) < 1e-6 * self.span:
            late = np.ones(time.size, dtype=np.bool_)  # a gap leaves next to nothing after it
        away = time[late] - time[late].mean()
        rate = float(away @ theta[late]) / float(away @ away)
        at_start = float(theta[late].mean() - rate * time[late].mean())
        return np.array([at_start, rate, self.growth_mean, 0.0])

    def settling_start(self, kind: _Kind) -> FloatArray:
        """Return a start: leak from what comes after settling, settling from what comes before."""
        leak = self.leak_start(min(1.5 * kind.cooling_s, 0.5 * self.span))
        table, _, _ = self.curve.theta(self.growth_mean, 0.0)
        without = float(np.exp(np.interp(leak[0], table, self.curve.log_table)))
        settling = max(float(self.bins.pressure_pa[0]) - without, 0.0)
        return np.append(leak, [settling, kind.share_prior[0]])

    def freed(self, *, stiffens: bool) -> _Answer:
        """Return the answer with settling whose time constant is fitted too."""
        tries = []
        for cooling in STARTING_TIMES_S:
            kind = _Kind(cooling, stiffens)
            start = np.append(self.settling_start(kind), math.log(cooling))
            tries.append(self._descend(start, kind, self._rough(), ROUGH_TOLERANCE))
        best = min(tries, key=lambda answer: answer.cost)
        return self._descend(best.x, best.kind, self.bins.sigma_pa, FINE_TOLERANCE)

    def _rough(self) -> FloatArray:
        return np.maximum(self.bins.sigma_pa, ROUGH_SHARE * float(self.bins.pressure_pa[0]))

    def solve(
        self, start: FloatArray, kind: _Kind | None, tolerance: float = FINE_TOLERANCE
    ) -> _Answer:
        """Return the least-squares answer, found first roughly, then in full.

        With the noise of thousands of samples a far start lets growth and air run off to bend
        the curve; weighed roughly, their priors hold them until rate and heat are about right.
        """
        start = self._descend(start, kind, self._rough(), ROUGH_TOLERANCE).x
        return self._descend(start, kind, self.bins.sigma_pa, tolerance)

    def _descend(
        self, start: FloatArray, kind: _Kind | None, sigma: FloatArray, tolerance: float
    ) -> _Answer:
        count = start.size
        scale = self.scale[:count]
        low, high = (np.array(side)[:count] for side in BOUNDS)
        mean, sd = self.priors(count, kind)
        scaled, residual, jacobian, _ = kernel.compiled().descend(
            start / scale, scale, low, high, mean, sd,
            kind.cooling_s if kind is not None else 1.0, self.law.heat_share,
            self.curve.time, self.bins.pressure_pa, sigma, *self.curve.tables,
            tolerance, MOST_STEPS,
        )  # fmt: skip
        # Nothing was known before of the first two parameters: their rows are empty.
        rows = np.delete(np.arange(residual.size), [sigma.size, sigma.size + 1])
        residual, jacobian = residual[rows], jacobian[rows]
        return _Answer(scaled * scale, kind, float(residual @ residual), jacobian, residual)


def fit_decay(
    time_s: FloatArray,
    pressure_pa: FloatArray,
    *,
    noise_pa: float,
    law_for: Callable[[float], DecayLaw],
    growth_prior: tuple[float, float] = GROWTH_PRIOR,
    thorough: bool = True,
) -> DecayFit | None:
    """Fit the law of a decay to a stretch with the pump shut off.

    Parameters
    ----------
    time_s, pressure_pa : ndarray of shape (N,)
        The stretch, gauge errors taken off, [s] and [Pa]
    noise_pa : float
        Standard deviation of one sample, steps of the gauge included, [Pa]
    law_for : callable
        Returns the law referred to a pressure in the middle of the decay
    growth_prior : (float, float)
        Mean and standard deviation of the growth of the gap before the decay is seen, [1e-8/Pa]
    thorough : bool
        False where no value will rest on the leak, so that it is enough to see whether something
        settles: then only two answers are weighed, no heat and heat of a fitted time constant

    Returns
    -------
    DecayFit or None
        None where there is too little to fit: fewer than eight samples, or no positive pressure
    """
    high = float(np.median(pressure_pa[: max(pressure_pa.size // 50, 3)]))
    keep = pressure_pa > LOWEST_SHARE * high
    if not keep.all():
        # Up to the first time it is really below, not single spikes of noise.
        below = np.flatnonzero(_smooth_minimum(pressure_pa) <= LOWEST_SHARE * high)
        stop = int(below[0]) if below.size else pressure_pa.size
        time_s, pressure_pa = time_s[:stop], pressure_pa[:stop]
    if high <= 0.0 or time_s.size < FEWEST_BINS:
        return None
    resolution = FINE if thorough else COARSE
    bins = binned(time_s, pressure_pa, noise_pa, resolution.bins)
    if bins.time_s.size < FEWEST_BINS or float(np.min(bins.pressure_pa)) <= 0.0:
        return None
    first, last = float(bins.pressure_pa[0]), float(bins.pressure_pa[-1])
    middle = math.sqrt(first * last)
    problem = _Problem(bins, law_for(middle), growth_prior, resolution)
    answers, inflation, correlation = _explained(problem) if thorough else _glanced(problem)
    return _combined(problem, answers, inflation, correlation)


def _smooth_minimum(pressure: FloatArray) -> FloatArray:
    from scipy.ndimage import uniform_filter1d

    width = max(1, min(pressure.size // 20, 201))
    return np.asarray(uniform_filter1d(pressure, width, mode="nearest"))


def _explained(problem: _Problem) -> tuple[list[tuple[float, _Answer]], float, float]:
    """Return the answers with their probabilities, and by how much the noise understates."""
    without = problem.solve(problem.leak_start(), None)
    freed = [problem.freed(stiffens=True)]
    inflation, correlation = _inflation(problem, min(without, *freed, key=_cost))
    if inflation > MISFIT or abs(freed[0].x[SHARE]) > ODD_SHARE * HEAT_SHARE_PRIOR[1]:
        # Not as heat would have it: something else may settle.
        freed.append(problem.freed(stiffens=False))
    best = min(without, *freed, key=_cost)
    inflation, correlation = _inflation(problem, best)
    told = [
        answer
        for answer in freed
        if answer.cost < without.cost - SURE_GAIN * inflation
        and math.sqrt(_covariance(answer, inflation)[TIME, TIME]) < SURE_OF_TIME
    ]
    if any(answer is best for answer in told):
        priors = [HEAT_PRIOR if one.kind and one.kind.stiffens else CREEP_PRIOR for one in told]
        return _weighed(problem, told, priors, inflation), inflation, correlation

    kinds = [_Kind(t, True) for t in COOLING_TIMES_S] + [_Kind(t, False) for t in CREEP_TIMES_S]
    kinds = [kind for kind in kinds if kind.cooling_s < 2.0 * problem.span]
    answers = [without, *(problem.solve(problem.settling_start(kind), kind) for kind in kinds)]
    inflation, correlation = _inflation(problem, min(answers, key=_cost))
    priors = [1.0 - HEAT_PRIOR - CREEP_PRIOR]
    priors += [HEAT_PRIOR / 6 if kind.stiffens else CREEP_PRIOR / 3 for kind in kinds]
    return _weighed(problem, answers, priors, inflation), inflation, correlation


def _glanced(problem: _Problem) -> tuple[list[tuple[float, _Answer]], float, float]:
    """Return the same from a quick look."""
    without = problem.solve(problem.leak_start(), None, ROUGH_TOLERANCE)
    kind = _Kind(STARTING_TIMES_S[1], stiffens=True)
    start = np.append(problem.settling_start(kind), math.log(kind.cooling_s))
    heated = problem.solve(start, kind, ROUGH_TOLERANCE)
    inflation, correlation = _inflation(problem, min(without, heated, key=_cost))
    priors = [1.0 - HEAT_PRIOR, HEAT_PRIOR]
    return _weighed(problem, [without, heated], priors, inflation), inflation, correlation


def _cost(answer: _Answer) -> float:
    return answer.cost


def _weighed(
    problem: _Problem, answers: list[_Answer], priors: list[float], inflation: float
) -> list[tuple[float, _Answer]]:
    """Return the answers with their probabilities, those of no weight left out."""
    logs = np.array(
        [
            math.log(prior) + _log_evidence(problem, answer, inflation)
            for prior, answer in zip(priors, answers, strict=True)
        ]
    )
    weights = np.exp(logs - logs.max())
    weights[weights < 1e-3 * weights.sum()] = 0.0
    weights = weights / weights.sum()
    return [(float(w), a) for w, a in zip(weights, answers, strict=True) if w > 0.0]


def _inflation(problem: _Problem, answer: _Answer) -> tuple[float, float]:
    """Return by what factor the variance of the fit exceeds that of independent noise.

    Scatter beyond the noise of the samples, times the number of neighbours that stray together
    (sum of the autocorrelation up to its first value below zero: initial positive sequence,
    C. J. Geyer, Statistical Science 7 (1992) 473, from memory).
    """
    residual, parameters = answer.residual[: problem.bins.time_s.size], answer.x.size
    n = residual.size
    freedom = max(n - parameters, 1)
    reduced = float(residual @ residual) / freedom
    centred = residual - residual.mean()
    power = float(centred @ centred)
    together = 1.0
    if power > 0.0:
        for lag in range(1, n // 3):
            rho = float(centred[:-lag] @ centred[lag:]) / power
            if rho <= 0.0:
                break
            together += 2.0 * rho
    # Few bins know their own scatter badly (Student's t in place of the normal).
    few = (freedom + 2.0) / freedom if freedom < 60 else 1.0
    return max(reduced * together, 1.0) * few, together


def _covariance(answer: _Answer, inflation: float) -> FloatArray:
    """Return the covariance of the scaled parameters: the data's part inflated, not the priors'."""
    singular, directions = _information(answer, inflation)
    root = directions.T / singular
    return np.asarray(root @ root.T)


def _information(answer: _Answer, inflation: float) -> tuple[FloatArray, FloatArray]:
    """Return singular values and directions of the weighed derivatives.

    Taken from the rows themselves: forming the normal equations would square their ratio.
    """
    rows = answer.residual.size - _prior_count(answer.x.size)
    data, prior = answer.jacobian[:rows], answer.jacobian[rows:]
    stacked = np.concatenate((data / math.sqrt(inflation), prior))
    _, singular, directions = np.linalg.svd(stacked, full_matrices=False)
    return np.maximum(singular, 1e-9 * max(float(singular[0]), 1e-9)), directions


def _prior_count(parameters: int) -> int:
    return parameters - 2


def _log_evidence(problem: _Problem, answer: _Answer, inflation: float) -> float:
    """Return the logarithm of the probability of the decay under this answer, up to a constant.

    Laplace's approximation; settling cannot be negative, which cuts its normal distribution.
    """
    from scipy.special import log_ndtr

    rows = answer.residual.size - _prior_count(answer.x.size)
    data, prior = answer.residual[:rows], answer.residual[rows:]
    cost = float(data @ data) / inflation + float(prior @ prior)
    singular, _ = _information(answer, inflation)
    log = -0.5 * cost - float(np.sum(np.log(singular)))
    if answer.kind is not None:
        covariance = _covariance(answer, inflation)
        log -= math.log(answer.kind.share_prior[1])
        spread = math.sqrt(max(covariance[SETTLING, SETTLING], 1e-300))
        log += math.log(2.0) + float(log_ndtr(answer.x[SETTLING] / problem.heat_scale / spread))
    return log


def _truncated(
    answer: _Answer, covariance: FloatArray, scale: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return mean, and covariance of the scaled parameters, settling known not to be negative."""
    if answer.kind is None:
        return answer.x, covariance
    from scipy.special import erfcx

    x = answer.x / scale
    spread = math.sqrt(covariance[SETTLING, SETTLING])
    cut = -float(x[SETTLING]) / spread
    if cut < -4.0:
        return answer.x, covariance
    mean, variance = 0.0, 0.0
    if cut < 30.0:
        # Mean and variance of a standard normal variable known to lie above the cut.
        above = math.sqrt(2.0 / math.pi) / float(erfcx(cut / math.sqrt(2.0)))
        mean = float(x[SETTLING]) + spread * above
        variance = spread**2 * max(1.0 + cut * above - above**2, 0.0)
    gain = covariance[:, SETTLING] / covariance[SETTLING, SETTLING]
    moved = x + gain * (mean - x[SETTLING])
    return moved * scale, covariance + np.outer(gain, gain) * (
        variance - covariance[SETTLING, SETTLING]
    )


def _combined(
    problem: _Problem, answers: list[tuple[float, _Answer]], inflation: float, correlation: float
) -> DecayFit:
    """Average the answers by their probabilities."""
    bins = problem.bins
    means, covariances, gains = [], [], []
    for _, answer in answers:
        scale = problem.scale[: answer.x.size]
        mean, cut = _truncated(answer, _covariance(answer, inflation), scale)
        means.append(mean)
        covariances.append(cut * np.outer(scale, scale))
        data = answer.jacobian[: bins.time_s.size]
        gains.append((scale[:, None] * (cut @ data.T) / inflation / bins.sigma_pa)[1:4])
    weights = np.array([w for w, _ in answers])
    law_means = np.array([m[1:4] for m in means])
    mean = weights @ law_means
    covariance3 = np.zeros((3, 3))
    for w, m, c in zip(weights, law_means, covariances, strict=True):
        covariance3 += w * (c[1:4, 1:4] + np.outer(m - mean, m - mean))

    settle = np.array([m[SETTLING] if m.size > SETTLING else 0.0 for m in means])
    settle_var = np.array(
        [c[SETTLING, SETTLING] if len(c) > SETTLING else 0.0 for c in covariances]
    )
    settling = float(weights @ settle)
    settling_var = float(weights @ (settle_var + (settle - settling) ** 2))
    heated = np.array([a.kind is not None for _, a in answers])

    likeliest = max(answers, key=lambda pair: pair[0])[1]
    best_curve = problem.curve.at(problem.curve.grid, likeliest.x, likeliest.heat)
    warm = [(w, a.heat) for w, a in answers if a.heat is not None]
    warmest = max(warm, key=lambda pair: pair[0])[1] if warm else None

    def shift(law: DecayLaw, offset_pa: float) -> FloatArray:
        moved = np.zeros(3)
        other = _Curve(law, bins, problem.resolution) if law != problem.law else problem.curve
        for weight, gain, (_, answer) in zip(weights, gains, answers, strict=True):
            old = problem.model(answer.x, answer.kind)
            new = problem.model(answer.x, answer.kind, other)
            moved += weight * (gain @ (old - new + offset_pa))
        return moved

    gap = likeliest.residual[: bins.time_s.size] * bins.sigma_pa
    return DecayFit(
        law=problem.law,
        rate=float(mean[0]),
        growth=float(mean[1]),
        air=float(mean[2]),
        covariance=covariance3,
        air_uncertainty=math.sqrt(max(float(covariance3[2, 2]), 0.0)),
        settling_pa=max(settling, 0.0),
        settling_uncertainty_pa=math.sqrt(max(settling_var, 0.0)),
        heat_probability=float(weights[heated].sum()) if heated.any() else 0.0,
        cooling_time_s=warmest.cooling_s if warmest is not None else 0.0,
        start_s=float(bins.time_s[0]),
        end_s=float(bins.time_s[-1]),
        start_pa=float(best_curve[0]),
        end_pa=float(best_curve[-1]),
        scatter_pa=float(np.sqrt(np.mean(gap**2))),
        correlation_bins=correlation,
        bins=bins,
        curve_s=problem.curve.grid + float(bins.time_s[0]),
        curve_pa=best_curve,
        _shift=shift,
    )
