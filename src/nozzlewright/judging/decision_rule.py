r"""How a measured value is held against its limits.

The measured value stands for a distribution of what the true value may be: normal, with the
value as its median; where the quantity states a lopsided 95 % interval, each half has the width
of its own side; where the uncertainty rests on few readings, it is widened by Student's factor.
The *probability of conformity* is the share of it that lies within the limits (JCGM 106:2012, 7.3
and 7.4).

guarded
    ISO 14253-1:2017 with its default of 95 %. *Pass* where conformity is proved: the probability
    of conformity is 95 % or more. *Fail* where it is disproved: with 95 % or more the true value
    lies below the lower limit, or above the upper one. Otherwise *too close to tell*. For one
    limit, or for a band that is wide against the uncertainty, this is the guard band of 1.645 u
    on either side of each limit.
simple
    Simple acceptance (JCGM 106:2012, 8.2): the measured value decides, as if it were true.

A fail is tied to one side on purpose. With a gauge that is hopeless for the band, the true value
is "not within" at any reading, though nobody could say on which side; that is no proof of a
faulty part.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from nozzlewright.bench import DecisionRule
from nozzlewright.judging.verdict import Direction, Outcome
from nozzlewright.measurement import Quantity

CONFIDENCE = 0.95
"""What counts as proved (ISO 14253-1:2017, default)."""
GUARD_FACTOR = 1.6448536269514722
"""One-sided 95 % point of the normal distribution, [1]: guard band over u."""
INTERVAL_FACTOR = 1.959963984540054
"""Two-sided 95 % point of the normal distribution, [1]."""


@dataclass(frozen=True)
class Decision:
    """What a rule makes of a measured value and its limits."""

    outcome: Outcome
    """Pass, fail or too close to tell."""
    direction: Direction
    """Side of the limits on which the measured value lies."""
    probability_of_conformity: float
    rule: DecisionRule


def probability_below(measured: Quantity, limit: float) -> float:
    """Return the probability that the true value is less than a limit, [1].

    A value that is known exactly and lies on the limit is not below it: limits belong to what
    they allow.

    >>> round(probability_below(Quantity(1.0, "s", {}, interval=(0.5, 3.0)), 0.5), 3)
    0.025
    """
    median, left, right = _halves(measured)
    width = left if limit < median else right
    if width == 0.0:
        return 1.0 if median < limit else 0.0
    return 0.5 * math.erfc((median - limit) / (width * math.sqrt(2.0)))


def probability_above(measured: Quantity, limit: float) -> float:
    """Return the probability that the true value is more than a limit, [1]."""
    median, left, right = _halves(measured)
    width = left if limit < median else right
    if width == 0.0:
        return 1.0 if median > limit else 0.0
    return 0.5 * math.erfc((limit - median) / (width * math.sqrt(2.0)))


def probability_of_conformity(
    measured: Quantity, lower: float | None, upper: float | None
) -> float:
    r"""Return the probability that the true value lies within its limits.

    .. math:: p_c = 1 - \Phi\left(\frac{L - y}{u}\right) - \Phi\left(\frac{y - U}{u}\right)

    Parameters
    ----------
    measured : Quantity
        Value with its uncertainty, [unit]
    lower, upper : float or None
        Limits, each None where there is none, [unit]

    Returns
    -------
    float
        Probability, [1]

    References
    ----------
    .. [1] JCGM 106:2012, 7.3 (one limit) and 7.4 (two limits).

    Examples
    --------
    >>> from nozzlewright.measurement import Cause
    >>> reading = Quantity(177.0, "bar", {Cause("gauge level"): 2.517})
    >>> round(probability_of_conformity(reading, 175.0, 183.0), 3)
    0.778
    """
    below = 0.0 if lower is None else probability_below(measured, lower)
    above = 0.0 if upper is None else probability_above(measured, upper)
    return max(0.0, 1.0 - below - above)


def decide(
    measured: Quantity, lower: float | None, upper: float | None, rule: DecisionRule
) -> Decision:
    """Return pass, fail or too close to tell for a measured value.

    Parameters
    ----------
    measured : Quantity
        Value with its uncertainty, [unit]
    lower, upper : float or None
        Limits, at least one of them, [unit]
    rule : DecisionRule
        Guarded (ISO 14253-1) or simple acceptance

    Raises
    ------
    ValueError
        If there is no limit, or the lower one lies above the upper one.
    """
    if lower is None and upper is None:
        raise ValueError("a decision needs at least one limit")
    if lower is not None and upper is not None and lower > upper:
        raise ValueError(f"the lower limit {lower:g} lies above the upper limit {upper:g}")
    direction = Direction.WITHIN
    if lower is not None and measured.value < lower:
        direction = Direction.LOW
    elif upper is not None and measured.value > upper:
        direction = Direction.HIGH
    conforming = probability_of_conformity(measured, lower, upper)
    if rule is DecisionRule.SIMPLE:
        outcome = Outcome.PASS if direction is Direction.WITHIN else Outcome.FAIL
    elif conforming >= CONFIDENCE:
        outcome = Outcome.PASS
    elif (lower is not None and probability_below(measured, lower) >= CONFIDENCE) or (
        upper is not None and probability_above(measured, upper) >= CONFIDENCE
    ):
        outcome = Outcome.FAIL
    else:
        outcome = Outcome.TOO_CLOSE
    return Decision(outcome, direction, conforming, rule)


def acceptance_zone(
    standard_uncertainty: float, lower: float | None, upper: float | None, rule: DecisionRule
) -> tuple[float | None, float | None] | None:
    """Return between which measured values a pass is given; None where there is no such value.

    Parameters
    ----------
    standard_uncertainty : float
        Of the measured value, taken as the same at all values, [unit]
    lower, upper : float or None
        Limits, [unit]
    rule : DecisionRule
        Rule that decides

    Returns
    -------
    tuple of (float or None, float or None), or None
        Acceptance limits (JCGM 106:2012, 8.3.2); a side without a limit is None, [unit]

    Examples
    --------
    >>> guarded = acceptance_zone(2.517, 175.0, None, DecisionRule.GUARDED)
    >>> f"{guarded[0]:.2f}"
    '179.14'
    >>> acceptance_zone(2.517, 175.0, 183.0, DecisionRule.GUARDED) is None
    True
    """
    if rule is DecisionRule.SIMPLE or standard_uncertainty == 0.0:
        return lower, upper
    guard = GUARD_FACTOR * standard_uncertainty
    if lower is None or upper is None:
        return (
            None if lower is None else lower + guard,
            None if upper is None else upper - guard,
        )
    middle = 0.5 * (lower + upper)
    if standard_uncertainty > largest_uncertainty(lower, upper):
        return None

    def outside(value: float) -> float:
        scale = standard_uncertainty * math.sqrt(2.0)
        return 0.5 * (math.erfc((value - lower) / scale) + math.erfc((upper - value) / scale))

    # The zone lies symmetric in the band and its edge between the plain guard band and the
    # middle; halving finds it to the last digit that matters.
    low, high = min(lower + guard, middle), middle
    for _ in range(60):
        between = 0.5 * (low + high)
        if outside(between) > 1.0 - CONFIDENCE:
            low = between
        else:
            high = between
    return high, lower + upper - high


def largest_uncertainty(lower: float, upper: float) -> float:
    """Return the largest standard uncertainty with which mid-band is still a pass, [unit].

    >>> f"{largest_uncertainty(175.0, 183.0):.2f}"
    '2.04'
    """
    return 0.5 * (upper - lower) / INTERVAL_FACTOR


def _halves(measured: Quantity) -> tuple[float, float, float]:
    """Return median and the standard deviation of each half of the distribution."""
    if measured.interval is None:
        u = measured.standard_uncertainty * measured.student_factor
        return measured.value, u, u
    low, high = measured.interval
    median = measured.value
    if not low <= median <= high:
        median = 0.5 * (low + high)
    return median, (median - low) / INTERVAL_FACTOR, (high - median) / INTERVAL_FACTOR
