"""Individuals chart with moving range, run rules, and a trend with the day on which it bites.

One value is taken at each check, so the chart is that of individuals: limits from the mean moving
range of a *baseline*, the first checks, kept apart from the points that are watched. A signal
says that something changed, not that the rig is out: limits of a chart are no tolerance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from nozzlewright.measurement.coverage import coverage_factor
from nozzlewright.measurement.quantity import Cause, Measured, NotMeasured, Quantity
from nozzlewright.said import say

_Array = NDArray[np.float64]

D2 = 1.128
"""Mean range of two normal values, over their sigma (NIST/SEMATECH e-Handbook, 6.3.2.1)."""
D4 = 3.267
"""Upper limit of a range of two over the mean range, 1 + 3 d3/d2 (likewise)."""
FEWEST_IN_BASELINE = 4
"""Three moving ranges: with fewer, limits are chance (common practice, no source)."""
USUAL_BASELINE = 10
"""Checks in the baseline where nobody set their number (common practice, no source; handbooks
ask for some 20 to 25 before limits are held to be firm)."""
FEWEST_FOR_TREND = 5
EWMA_WEIGHT, EWMA_SIGMAS = 0.2, 2.86
"""Weight of the last point (NIST/SEMATECH e-Handbook, 6.3.2.4: usually 0.2 to 0.3) and width of
the limits that goes with it for one false alarm in 370 points: J. M. Lucas, M. S. Saccucci,
Exponentially weighted moving average control schemes, Technometrics 32 (1990) 1, table 3, from
memory; the test finds it."""
TREND_LEVEL = 0.95


class RunRule(StrEnum):
    """What a row of points must do to be a signal, on one side of the centre."""

    BEYOND = "one point beyond three sigma"
    TWO_OF_THREE = "two of three beyond two sigma on one side"
    FOUR_OF_FIVE = "four of five beyond one sigma on one side"
    EIGHT = "eight in a row on one side of the centre"
    WEIGHTED_MEAN = "weighted mean of the last points beyond its own limits"


WESTERN_ELECTRIC = (
    RunRule.BEYOND,
    RunRule.TWO_OF_THREE,
    RunRule.FOUR_OF_FIVE,
    RunRule.EIGHT,
)
"""Western Electric Company, Statistical Quality Control Handbook, 1956: its four rules."""
DRIFT = (RunRule.WEIGHTED_MEAN,)
"""S. W. Roberts, Control chart tests based on geometric moving averages, Technometrics 1 (1959)
239. It stands for a row of six that rises or falls (Nelson 1984): beside the four rules above it
finds a drift of a twentieth of sigma a check after 17.2 checks and not 17.9, a step of one sigma
after 8.0 and not 9.1, with a false alarm in 85 checks and not in 76; the test finds so."""
SOURCE = {
    **dict.fromkeys(WESTERN_ELECTRIC, "Western Electric 1956"),
    RunRule.WEIGHTED_MEAN: "Roberts 1959",
}
"""Where each rule was published."""


@dataclass(frozen=True)
class Signal:
    """A rule that speaks at a point."""

    index: int
    """Of the point that completes it."""
    rule: RunRule


@dataclass(frozen=True)
class ChartPoint:
    """One value on the chart."""

    day: float
    """[d], from any beginning."""
    measured: Quantity


@dataclass(frozen=True)
class Trend:
    """A straight line through the points, and when it reaches a limit."""

    slope: Quantity
    """[unit/d]."""
    level: Quantity
    """On the last day, [unit]."""
    clear: bool
    """Whether the slope differs from zero at 95 %."""
    limit: float | None = None
    """The limit that it runs towards, [unit]; None: there is none on that side."""
    days_left: float | None = None
    """From the last point to the crossing, [d]; None where it is not clear or there is no limit."""
    days_earliest: float | None = None
    """Where the crossing may lie already, at 95 % on that side, [d]."""


@dataclass(frozen=True)
class ControlChart:
    """Individuals and moving range."""

    points: tuple[ChartPoint, ...]
    baseline: int
    """How many of the first points gave the limits."""
    centre: float
    sigma: float
    """Mean moving range over d2, [unit]."""
    moving_range: float
    """Mean of the baseline, [unit]."""
    signals: tuple[Signal, ...]
    """Of the watched points and of the baseline, in the order of the points."""
    range_signals: tuple[int, ...]
    """Points whose moving range is beyond its limit."""

    @property
    def limits(self) -> tuple[float, float]:
        """Lower and upper limit of the individuals, [unit]."""
        return self.centre - 3.0 * self.sigma, self.centre + 3.0 * self.sigma

    @property
    def range_limit(self) -> float:
        """Upper limit of the moving range, [unit]."""
        return D4 * self.moving_range

    @property
    def speaks_now(self) -> tuple[Signal, ...]:
        """Signals of the last point."""
        return tuple(one for one in self.signals if one.index == len(self.points) - 1)

    @property
    def beyond_doubt(self) -> bool:
        """Whether the last point lies beyond the limits by more than its own uncertainty."""
        last = self.points[-1].measured
        low, high = self.limits
        reach = 1.96 * last.standard_uncertainty
        return last.value + reach < low or last.value - reach > high


def moving_ranges(values: ArrayLike) -> _Array:
    """Return the differences of neighbours without their sign, shape (N - 1,)."""
    return np.abs(np.diff(np.asarray(values, dtype=np.float64)))


def run_signals(
    z: ArrayLike, rules: Sequence[RunRule] = WESTERN_ELECTRIC
) -> tuple[tuple[Signal, ...], _Array]:
    """Return which rules speak, and at which points.

    Parameters
    ----------
    z : array_like of shape (..., N)
        Distance from the centre in sigmas; several rows are looked at by themselves
    rules : sequence of RunRule
        Rules to apply

    Returns
    -------
    signals : tuple of Signal
        Of a single row, in the order of its points; empty for several rows
    first : ndarray of shape (...)
        Index of the first point at which any rule speaks; N where none does

    Notes
    -----
    The point at which a rule speaks must itself be one of those that it counts, so that a signal
    is not said again at a point that lies well.

    References
    ----------
    .. [1] Western Electric Company, Statistical Quality Control Handbook, 1956.
    .. [2] C. W. Champ, W. H. Woodall, Exact results for Shewhart control charts with supplementary
       runs rules, Technometrics 29 (1987) 393: false alarms once in 91.75 points on the average
       with all four, once in 370.4 with the first alone (figures from memory; the test finds
       them).

    Examples
    --------
    >>> [one.rule.name for one in run_signals([0.1, 2.3, -0.4, 2.2])[0]]
    ['TWO_OF_THREE']
    """
    rows = np.asarray(z, dtype=np.float64)
    speaks = {rule: _speaks(rule, rows) for rule in rules}
    n = rows.shape[-1]
    union = np.zeros(rows.shape, dtype=bool)
    for at in speaks.values():
        union |= at
    first = np.where(union.any(axis=-1), union.argmax(axis=-1), n) if n else np.zeros(())
    signals: tuple[Signal, ...] = ()
    if rows.ndim == 1:
        signals = tuple(
            Signal(index, rule) for index in range(n) for rule in rules if speaks[rule][index]
        )
    return signals, np.asarray(first)


_COUNTS = {
    RunRule.BEYOND: (1, 1, 3.0),
    RunRule.TWO_OF_THREE: (2, 3, 2.0),
    RunRule.FOUR_OF_FIVE: (4, 5, 1.0),
    RunRule.EIGHT: (8, 8, 0.0),
}
"""How many, of how many, beyond how many sigmas."""


def _speaks(rule: RunRule, z: _Array) -> NDArray[np.bool_]:
    if rule is RunRule.WEIGHTED_MEAN:
        averages, reach = ewma(z, 0.0, 1.0)
        return np.asarray((np.abs(averages) > reach) & (averages * z > 0.0))
    need, of, beyond = _COUNTS[rule]
    found = np.zeros(z.shape, dtype=bool)
    for side in (1.0, -1.0):
        outside = side * z > beyond
        found |= outside & (_sums(outside, of) >= need)
    return found


def _sums(which: NDArray[np.bool_], of: int) -> NDArray[np.int64]:
    """Return how many of the last so many are true, at each point."""
    total = np.cumsum(which, axis=-1, dtype=np.int64)
    before = np.zeros_like(total)
    before[..., of:] = total[..., :-of] if which.shape[-1] > of else before[..., of:]
    return np.asarray(total - before)


def control_chart(
    points: Sequence[ChartPoint],
    *,
    baseline: int = USUAL_BASELINE,
    rules: Sequence[RunRule] = WESTERN_ELECTRIC + DRIFT,
) -> ControlChart | NotMeasured:
    r"""Return the chart of individuals and moving ranges.

    .. math:: \bar x \pm 3\,\overline{MR}/d_2, \qquad MR \le D_4\,\overline{MR}

    Parameters
    ----------
    points : sequence of ChartPoint
        In the order of time, all since the last change of what bears on them
    baseline : int
        How many of the first points give centre and limits; fewer are taken where there are fewer
    rules : sequence of RunRule
        Rules that are applied to all points

    Returns
    -------
    ControlChart or NotMeasured
        The latter where there are too few points

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, Individuals control charts.
    """
    if len(points) < FEWEST_IN_BASELINE:
        return NotMeasured(
            say(
                "a chart needs {fewest} checks at least, and there are {count}",
                fewest=FEWEST_IN_BASELINE,
                count=len(points),
            ),
            say("go on checking"),
        )
    values = np.array([point.measured.value for point in points])
    first = min(max(baseline, FEWEST_IN_BASELINE), len(points))
    ranges = moving_ranges(values[:first])
    centre = float(values[:first].mean())
    grain = _grain(points[:first], ranges)
    mean_range = max(float(ranges.mean()), 0.5 * D2 * grain)
    sigma = mean_range / D2
    z = (values - centre) / sigma
    z[np.abs(values - centre) <= 0.5 * grain] = 0.0
    signals, _ = run_signals(z, rules)
    all_ranges = moving_ranges(values)
    beyond = tuple(int(at) + 1 for at in np.flatnonzero(all_ranges > D4 * mean_range))
    return ControlChart(tuple(points), first, centre, sigma, mean_range, signals, beyond)


def _grain(points: Sequence[ChartPoint], ranges: _Array) -> float:
    """Return the step of readings that are rounder than they scatter; 0 where they are not.

    Such are readings of which half or more repeat the one before. A value that lies between two
    marks is read now as one, now as the other, and scatters by up to half a step; the mark that
    is nearest to the centre is on neither side of it. Where all are one and the same, the step is
    that of which the stated uncertainty is the rounding's.
    """
    if np.count_nonzero(ranges) > 0.5 * ranges.size:
        return 0.0
    steps = np.diff(np.unique([point.measured.value for point in points]))
    if steps.size:
        return float(steps.min())
    u = max(point.measured.standard_uncertainty for point in points)
    return max(math.sqrt(12.0) * u, 1e-9 * abs(points[0].measured.value), 1e-300)


def ewma(
    values: ArrayLike,
    start: float,
    sigma: float,
    weight: float = EWMA_WEIGHT,
    sigmas: float = EWMA_SIGMAS,
) -> tuple[_Array, float]:
    r"""Return the exponentially weighted moving average and how far it may stray.

    .. math:: E_t = \lambda x_t + (1 - \lambda) E_{t-1}, \qquad
              E_0 \pm L \sigma \sqrt{\lambda/(2 - \lambda)}

    Parameters
    ----------
    values : array_like of shape (..., N)
        Individual values; several rows are averaged by themselves
    start, sigma : float
        Centre and standard deviation of the baseline
    weight : float
        :math:`\lambda`, above 0 and at most 1
    sigmas : float
        :math:`L`

    Returns
    -------
    averages : ndarray of shape (..., N)
        Without the start
    reach : float
        Half-width of its limits

    References
    ----------
    .. [1] S. W. Roberts, Control chart tests based on geometric moving averages, Technometrics 1
       (1959) 239; NIST/SEMATECH e-Handbook, 6.3.2.4.
    """
    averages = weight * np.asarray(values, dtype=np.float64)
    average: _Array | float = start
    for at in range(averages.shape[-1]):
        average = averages[..., at] = averages[..., at] + (1.0 - weight) * average
    return averages, sigmas * sigma * math.sqrt(weight / (2.0 - weight))


def trend(
    points: Sequence[ChartPoint], lower: float | None = None, upper: float | None = None
) -> Trend | NotMeasured:
    r"""Return the straight line through the points, and when it reaches a limit.

    Parameters
    ----------
    points : sequence of ChartPoint
        In the order of time, all since the last change
    lower, upper : float or None
        Limits, each None where there is none, [unit]

    Returns
    -------
    Trend or NotMeasured
        The latter where the points are too few or of one day

    Notes
    -----
    Least squares, weighted by :math:`1/(s^2 + u_i^2)` with s the scatter about the line beyond the
    stated uncertainties (Paule and Mandel's condition: the weighted squares come to the degrees of
    freedom), so that neither a poor point nor a lucky small u rules the line. What all points
    have in common, such as the level of one gauge, moves the line as a whole and is no part of
    the slope; each point's stated uncertainty is taken as its own, which is careful. The earliest
    crossing is that of the line's one-sided 95 % band (Student's t) with the limit, as in inverse
    prediction (Fieller).

    References
    ----------
    .. [1] R. C. Paule, J. Mandel, Consensus values and weighting factors, Journal of Research of
       the National Bureau of Standards 87 (1982) 377.
    .. [2] N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed. 1998, 1.3 and 3.2 (from
       memory).
    """
    if len(points) < FEWEST_FOR_TREND:
        return NotMeasured(
            say(
                "a trend needs {fewest} checks at least, and there are {count}",
                fewest=FEWEST_FOR_TREND,
                count=len(points),
            ),
            say("go on checking"),
        )
    day = np.array([point.day for point in points])
    value = np.array([point.measured.value for point in points])
    own = np.array([point.measured.standard_uncertainty for point in points])
    if float(np.ptp(day)) <= 0.0:
        return NotMeasured(say("all checks are of one moment"), say("go on checking"))
    since = day - day[-1]
    weights = _weights(since, value, own)
    level, slope, covariance = _line(since, value, weights)
    freedom = len(points) - 2
    t_two = coverage_factor(freedom, TREND_LEVEL)
    t_one = coverage_factor(freedom, 2.0 * TREND_LEVEL - 1.0)
    slope_u, level_u = math.sqrt(covariance[1, 1]), math.sqrt(covariance[0, 0])
    unit = points[0].measured.unit
    cause = Cause(say("scatter of the checks"))
    method = say("weighted line through the checks")
    clear = abs(slope) > t_two * slope_u
    limit = upper if slope > 0.0 else lower
    left = earliest = None
    if clear and limit is not None:
        left = max((limit - level) / slope, 0.0)
        earliest = _earliest(level, slope, covariance, limit, t_one, left)
    return Trend(
        slope=Quantity(slope, f"{unit}/d", {cause: slope_u}, method),
        level=Quantity(level, unit, {cause: level_u}, method),
        clear=clear,
        limit=limit,
        days_left=left,
        days_earliest=earliest,
    )


def _line(x: _Array, y: _Array, weights: _Array) -> tuple[float, float, _Array]:
    """Return height at x = 0, slope, and their covariance for weights 1/variance."""
    matrix = np.stack([np.ones_like(x), x], axis=1)
    normal = matrix.T @ (weights[:, None] * matrix)
    covariance: _Array = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    level, slope = covariance @ (matrix.T @ (weights * y))
    return float(level), float(slope), covariance


def _weights(x: _Array, y: _Array, own: _Array) -> _Array:
    """Return 1/(s^2 + u^2) with s such that the weighted squares come to the freedom."""
    freedom = x.size - 2
    floor = 1e-12 * max(float(np.ptp(y)), 1e-9 * float(np.abs(y).max(initial=0.0)), 1e-300)

    def excess(scatter: float) -> float:
        weights = 1.0 / (scatter**2 + own**2 + floor**2)
        level, slope, _ = _line(x, y, weights)
        return float(np.sum(weights * (y - level - slope * x) ** 2)) - freedom

    low, high = 0.0, float(np.ptp(y)) + floor
    if excess(low) > 0.0:
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if excess(middle) > 0.0 else (low, middle)
        scatter = high
    else:
        scatter = 0.0
    return np.asarray(1.0 / (scatter**2 + own**2 + floor**2))


def _earliest(
    level: float, slope: float, covariance: _Array, limit: float, t: float, left: float
) -> float:
    """Return when the band of the line reaches the limit, found by bisection."""
    towards = 1.0 if slope > 0.0 else -1.0

    def ahead(days: float) -> float:
        spread = covariance[0, 0] + 2.0 * days * covariance[0, 1] + days**2 * covariance[1, 1]
        edge = level + slope * days + towards * t * math.sqrt(max(float(spread), 0.0))
        return towards * (edge - limit)

    if ahead(0.0) >= 0.0:
        return 0.0
    low, high = 0.0, left
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if ahead(middle) >= 0.0 else (middle, high)
    return high


def charted(measured: Sequence[tuple[float, Measured]]) -> tuple[ChartPoint, ...]:
    """Return the points of those checks that gave a value."""
    return tuple(ChartPoint(day, value) for day, value in measured if isinstance(value, Quantity))
