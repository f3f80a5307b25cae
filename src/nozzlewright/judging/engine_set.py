r"""The set as a whole: spread, mean, the odd one out.

The level of the gauge is common to all readings of one sitting and cancels in their differences,
so a spread is known far better than any one pressure.

A spread is the largest of many differences, hence lifted by the scatter of the readings: a set of
truly equal injectors shows one. Two bounds that need no assumption on how the true pressures lie
serve here. With true pressures :math:`\theta`, readings :math:`x = \theta + e` and
:math:`u_{ij} = u(x_i - x_j)`:

* the two that truly stand farthest apart, a and b, show :math:`x_a - x_b \le limit - 1.645\,u_{ab}`
  in at most 5 % of cases where they lie beyond the limit: where every pair does, the spread is
  proved to be within it. Upwards the interval ends at
  :math:`\max_{ij} (|x_i - x_j| + 1.96\,u_{ij})`;
* with :math:`c` the 95 % point of :math:`\max_{ij} |e_i - e_j| / u_{ij}`, no pair of a set within
  the limit shows :math:`|x_i - x_j| \ge limit + c\,u_{ij}` in more than 5 % of cases: one pair that
  does proves the spread too large. Each pair is weighed by its own :math:`u_{ij}`, so one poor
  reading hides nothing that the others prove. It is Bonferroni's share-out of the 5 % among the
  pairs, less what the pairs have in common. Downwards the interval ends likewise, with the 97.5 %
  point.

The errors :math:`e` for c, and the probability of conformity, are drawn with the causes
that the readings share (JCGM 101:2008), with a fixed start so that the same set gives the same
answer.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import combinations
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from nozzlewright.bench import DecisionRule, EngineSet, SettingSheet
from nozzlewright.judging.decision_rule import CONFIDENCE, INTERVAL_FACTOR
from nozzlewright.judging.injector import judge_injector
from nozzlewright.judging.verdict import InjectorVerdict, OddOneOut, Outcome, SetVerdict
from nozzlewright.judging.wording import about, bar, listed, percent, stated
from nozzlewright.measurement import (
    Caution,
    Measured,
    NotMeasured,
    Quantity,
    difference,
    draws_of,
    linear_combination,
    mean_of,
)
from nozzlewright.said import say

DRAWS = 20_000
"""Trials; the 95 % point of a spread then moves by about 1 % of its size (JCGM 101:2008, 7.2)."""
START = 8984
"""Start of the random numbers: any number would do, a fixed one repeats."""


def judge_set(engine_set: EngineSet, sheet: SettingSheet) -> SetVerdict:
    """Return the verdicts on all injectors of a set and on the set as a whole.

    Parameters
    ----------
    engine_set : EngineSet
        Injectors with their findings
    sheet : SettingSheet
        What is asked of each and of the set

    Returns
    -------
    SetVerdict
        The latest sitting of each injector, its sitting as found, spread, mean, odd one out
    """
    latest = tuple(
        judge_injector(injector, sheet, engine_set.condition, as_left=injector.as_left is not None)
        for injector in engine_set.injectors
    )
    as_found = tuple(
        judge_injector(injector, sheet, engine_set.condition, as_left=False)
        for injector in engine_set.injectors
        if injector.as_found is not None
    )
    openings = opening_pressures(latest)
    missing = [v.injector.cylinder for v in latest if v.injector.cylinder not in openings]
    known = {cylinder: opening.widened for cylinder, opening in openings.items()}
    readings = tuple(known.values())
    noise = _noise(readings)
    pairs = _pairs(readings, noise)
    spread = _spread(readings, pairs, missing)
    outcome, probability, reasons = _judge_spread(spread, readings, noise, pairs, missing, sheet)
    odd = odd_one_out(known)
    mean: Measured = NotMeasured(say("no opening pressure of the set was measured"))
    if openings:
        mean = mean_of(list(openings.values()), method=say("mean of the set"))
    return SetVerdict(
        injectors=latest,
        as_found=as_found,
        spread=spread,
        spread_outcome=outcome,
        spread_limit_pa=sheet.spread_pa,
        spread_reasons=reasons,
        spread_probability=probability,
        mean=mean,
        odd_one_out=odd,
        reasons=_set_reasons(latest, outcome, reasons, odd),
        condition=engine_set.condition,
    )


def opening_pressures(verdicts: tuple[InjectorVerdict, ...]) -> dict[int, Quantity]:
    """Return the opening pressure of each injector that has one, by cylinder, [Pa]."""
    pressures = {}
    for verdict in verdicts:
        injector = verdict.injector
        sitting = injector.as_left if verdict.as_left else injector.as_found
        if sitting is None or sitting.gauge is None:
            continue
        if isinstance(sitting.gauge.opening_pressure, Quantity):
            pressures[injector.cylinder] = sitting.gauge.opening_pressure
    return pressures


@dataclass(frozen=True)
class _Pairs:
    """The readings two by two."""

    apart: NDArray[np.float64]
    """By how much the two of each pair differ, [Pa]."""
    uncertainty: NDArray[np.float64]
    """Standard uncertainty of each difference, [Pa]."""
    by_chance: NDArray[np.float64]
    """Largest difference by chance over its uncertainty, in each draw, [1]."""

    def factor(self, probability: float) -> float:
        """Return the quantile of the largest difference by chance over its uncertainty, [1]."""
        return float(np.quantile(self.by_chance, probability))


def _spread(readings: tuple[Quantity, ...], pairs: _Pairs, missing: list[int]) -> Measured:
    """Return the largest opening pressure less the smallest, [Pa].

    The contributions are those of the difference of the two extremes; the interval holds the
    true spread with at least 95 %, by the two bounds of this module.
    """
    if len(readings) < 2:
        return NotMeasured(
            say("a spread needs the opening pressure of two injectors at least"),
            say("measure the opening pressure of every injector of the set"),
        )
    largest = max(readings, key=lambda quantity: quantity.value)
    smallest = min(readings, key=lambda quantity: quantity.value)
    apart = difference(largest, smallest, method=say("largest less smallest opening pressure"))
    at_least = float(np.max(pairs.apart - pairs.factor(0.975) * pairs.uncertainty))
    at_most = float(np.max(pairs.apart + INTERVAL_FACTOR * pairs.uncertainty))
    # The gauge's level cancels, so that it is unknown does not matter here.
    cautions = tuple(one for one in apart.cautions if one.name != "gauge unknown")
    if missing:
        cylinders = listed([str(cylinder) for cylinder in missing])
        text = say(
            "cylinder {cylinders} not measured; the spread of the whole set may be larger",
            cylinders=cylinders,
        )
        cautions += (Caution(say("incomplete set"), text),)
    return Quantity(
        value=apart.value,
        unit="Pa",
        contributions=apart.contributions,
        method=apart.method,
        cautions=cautions,
        interval=(max(0.0, at_least), at_most),
    )


def _pairs(readings: tuple[Quantity, ...], noise: NDArray[np.float64]) -> _Pairs:
    pairs = [difference(a, b) for a, b in combinations(readings, 2)]
    uncertainty = np.array([pair.standard_uncertainty for pair in pairs])
    largest = np.zeros(noise.shape[1])
    for (a, b), u in zip(combinations(noise, 2), uncertainty, strict=True):
        if u > 0.0:
            apart = a - b
            np.abs(apart, out=apart)
            apart /= u
            np.maximum(largest, apart, out=largest)
    return _Pairs(np.array([abs(pair.value) for pair in pairs]), uncertainty, largest)


def odd_one_out(openings: dict[int, Quantity]) -> OddOneOut | None:
    """Return the injector that stands apart from the others, or None.

    It must be apart by more than the readings' uncertainty can explain (5 %, shared among as
    many injectors as were looked at; Bonferroni), and by more than the others differ among
    themselves: the ordinary scatter of a set has no odd one.
    """
    if len(openings) < 3:
        return None
    apart: dict[int, Quantity] = {}
    for cylinder, quantity in openings.items():
        others = [other for one, other in openings.items() if one != cylinder]
        share = -1.0 / len(others)
        apart[cylinder] = linear_combination(
            [(1.0, quantity), *((share, other) for other in others)],
            unit="Pa",
            method=say("opening pressure less the mean of the others"),
        )
    cylinder = max(apart, key=lambda one: abs(apart[one].value))
    distance = apart[cylinder]
    values = [quantity.value for one, quantity in openings.items() if one != cylinder]
    factor = NormalDist().inv_cdf(1.0 - 0.5 * (1.0 - CONFIDENCE) / len(openings))
    if abs(distance.value) <= factor * distance.standard_uncertainty:
        return None
    if abs(distance.value) <= max(values) - min(values):
        return None
    size = stated(Quantity(abs(distance.value), "Pa", distance.contributions))
    range_ = about(max(values) - min(values))
    if distance.value > 0.0:
        text = say(
            "Cylinder {cylinder} opens {size} above the mean of the others, which differ by "
            "{range} among themselves.",
            cylinder=cylinder,
            size=size,
            range=range_,
        )
    else:
        text = say(
            "Cylinder {cylinder} opens {size} below the mean of the others, which differ by "
            "{range} among themselves.",
            cylinder=cylinder,
            size=size,
            range=range_,
        )
    return OddOneOut(cylinder, distance, text)


def _judge_spread(
    spread: Measured,
    readings: tuple[Quantity, ...],
    noise: NDArray[np.float64],
    pairs: _Pairs,
    missing: list[int],
    sheet: SettingSheet,
) -> tuple[Outcome, float | None, tuple[str, ...]]:
    limit = sheet.spread_pa
    if isinstance(spread, NotMeasured):
        outcome = Outcome.NOT_ASKED if limit is None else Outcome.NOT_DONE
        return (
            outcome,
            None,
            (say("The spread was not measured, because {reason}.", reason=spread.reason),),
        )
    if limit is None:
        return Outcome.NOT_ASKED, None, (
            say(
                "The spread is {spread}; the setting sheet gives no limit for it.",
                spread=stated(spread),
            ),
        )  # fmt: skip
    values = np.array([reading.value for reading in readings])
    probability = float(np.mean(np.ptp(values[:, np.newaxis] + noise, axis=0) <= limit))
    proof = pairs.factor(CONFIDENCE) * pairs.uncertainty
    too_wide = bool(np.any((pairs.apart > limit) & (pairs.apart - limit >= proof)))
    outcome = _spread_outcome(spread, probability, limit, sheet.rule, too_wide=too_wide)
    reasons = [
        say(
            "The spread is {spread} against {limit}; probability of conformity {chance}.",
            spread=stated(spread, upper=limit),
            limit=bar(limit),
            chance=percent(probability),
        )
    ]
    if outcome is Outcome.TOO_CLOSE:
        reasons.append(say("The scatter of the readings alone could carry it across the limit."))
    if missing and outcome is not Outcome.FAIL:
        outcome = Outcome.NOT_DONE
        cylinders = listed([str(cylinder) for cylinder in missing])
        reasons.append(
            say(
                "Without cylinder {cylinders} the set is not complete: the spread can only grow.",
                cylinders=cylinders,
            )
        )
    return outcome, probability, tuple(reasons)


def _spread_outcome(
    spread: Quantity, probability: float, limit: float, rule: DecisionRule, *, too_wide: bool
) -> Outcome:
    if rule is DecisionRule.SIMPLE:
        return Outcome.PASS if spread.value <= limit else Outcome.FAIL
    if probability >= CONFIDENCE:
        return Outcome.PASS
    if too_wide:
        return Outcome.FAIL
    return Outcome.TOO_CLOSE


def _noise(readings: tuple[Quantity, ...]) -> NDArray[np.float64]:
    """Return draws of the readings' errors, shape (readings, DRAWS), [Pa].

    What the readings share is the same in each draw.
    """
    if not readings:
        return np.zeros((0, DRAWS))
    drawn = np.stack(draws_of(readings, DRAWS, np.random.default_rng(START)))
    values = np.array([[reading.value] for reading in readings])
    return np.asarray(drawn - values, dtype=np.float64)


def _set_reasons(
    latest: tuple[InjectorVerdict, ...],
    spread_outcome: Outcome,
    spread_reasons: tuple[str, ...],
    odd: OddOneOut | None,
) -> tuple[str, ...]:
    counted = Counter(verdict.outcome for verdict in latest)
    told = [
        say("{number} {outcome}", number=number, outcome=outcome)
        for outcome, number in counted.items()
    ]
    reasons: list[str] = []
    if latest:
        reasons.append(
            say("Of {total} injectors: {outcomes}.", total=len(latest), outcomes=listed(told))
        )
    if spread_outcome is not Outcome.NOT_ASKED or spread_reasons:
        reasons.append(spread_reasons[0])
    if odd is not None:
        reasons.append(odd.text)
    return tuple(reasons)
