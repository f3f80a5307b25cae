"""The rig itself against what its card demands: fit for use, to be watched, or out.

There are no built-in limits. Where the card states none, the item is not judged, and what is
common practice is said. An item is *out* where its value lies beyond its limit, *fit* where that
it lies within is proved at 95 %, and to be *watched* between the two. That is stricter on the rig
than on an injector, on purpose: a verdict that is withheld can be had tomorrow, a wrong one has
gone to the engine.

The reference nozzle is read as the gauge shows it. An error of the gauge's level moves it as it
moves every test, so it is what the check is for, and no part of its uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from enum import StrEnum

from nozzlewright.bench import BenchConditions, DecisionRule, RigCheck
from nozzlewright.judging.decision_rule import decide
from nozzlewright.judging.verdict import Outcome
from nozzlewright.judging.wording import bar, listed, not_measured, seconds, stated
from nozzlewright.measurement import (
    Cause,
    Measured,
    NotMeasured,
    Quantity,
    celsius,
    difference,
    propagate,
)
from nozzlewright.measurement.control_chart import (
    SOURCE,
    USUAL_BASELINE,
    ControlChart,
    RunRule,
    Trend,
    charted,
    control_chart,
    trend,
)
from nozzlewright.physics.fluid import (
    GAS_OIL_MODULUS,
    GAS_OIL_MODULUS_PRESSURE_SLOPE,
    GAS_OIL_MODULUS_TEMPERATURE_SLOPE,
    GAS_OIL_REFERENCE_TEMPERATURE_K,
    isothermal_bulk_modulus,
)
from nozzlewright.said import Said, figure, in_bar, joined, say, word

SOON_DAYS = 0.0
"""How long before a date it is named, where the card does not say, [d]."""
_TYPICAL_K = 293.15
_GAUGE = "gauge"
"""With which the names of a gauge's own causes begin."""
_READING = ("gauge resolution",)
_FITTER = "fitter"
"""With which the names of what a fitter adds, the same in many checks, begin."""


class Fitness(StrEnum):
    """What a check comes to."""

    FIT = "fit for use"
    WATCH = "watch"
    OUT = "out"
    UNCHECKED = "not checked"


class RigItem(StrEnum):
    """What is looked at."""

    BLANK = "leak of the rig"
    TEMPERATURE = "oil temperature"
    ZERO = "zero of the gauge"
    COMPLIANCE = "compliance"
    OPENING = "opening pressure of the reference nozzle"
    DROP = "drop time of the reference nozzle"
    GAUGE = "calibration of the gauge"
    PROBE = "temperature probe"
    OIL = "age of the oil"
    FILTER = "age of the filter"


CHARTED = (RigItem.OPENING, RigItem.DROP, RigItem.BLANK, RigItem.ZERO)
"""Items of which a control chart is kept."""


@dataclass(frozen=True)
class PastCheck:
    """An earlier check, with what stood on the rig then."""

    check: RigCheck
    marks: Mapping[str, str]
    """From :func:`marks_of` the card of that day."""


@dataclass(frozen=True)
class RigChart:
    """Control chart of one item since the last change of what bears on it."""

    item: RigItem
    days: tuple[str, ...]
    """Day of each point, ISO 8601."""
    chart: ControlChart | NotMeasured
    trend: Trend | NotMeasured
    tolerance: tuple[float | None, float | None] = (None, None)
    """Limits of the card, where there are any, [unit]."""
    begun: str = ""
    """Why it begins where it does, in words; empty where it goes back to the first check."""

    @property
    def reaches_on(self) -> date | None:
        """Day on which the trend may already reach its limit; None where it is not clear."""
        if isinstance(self.trend, NotMeasured) or self.trend.days_earliest is None:
            return None
        last = date.fromisoformat(self.days[-1])
        days = min(self.trend.days_earliest, (date.max - last).days - 1)
        return last + timedelta(days=math.floor(days))


@dataclass(frozen=True)
class ItemVerdict:
    """One item of the check."""

    item: RigItem
    fitness: Fitness
    reasons: tuple[str, ...]
    """Why; the first says it in one sentence."""
    measured: Measured | None = None
    limit: str = ""
    """What the card demands, in words; empty where it demands nothing."""
    due: date | None = None
    """Last day on which it holds, of what has one."""


@dataclass(frozen=True)
class RigVerdict:
    """The rig as a whole."""

    fitness: Fitness
    items: tuple[ItemVerdict, ...]
    """In the order of :class:`RigItem`."""
    reasons: tuple[str, ...]
    charts: Mapping[RigItem, RigChart] = field(default_factory=dict)

    def of(self, item: RigItem) -> ItemVerdict:
        """Return the verdict on one item."""
        return next(one for one in self.items if one.item is item)

    @property
    def objections(self) -> tuple[str, ...]:
        """Why no verdict on a fall of pressure can rest on this rig; empty where one can."""
        return tuple(
            say("{item}: {reason}", item=one.item, reason=one.reasons[0])
            for one in self.items
            if one.fitness is Fitness.OUT
        )


def judge_rig(
    check: RigCheck, conditions: BenchConditions, past: Sequence[PastCheck] = ()
) -> RigVerdict:
    """Return whether the rig is fit for use, and why.

    Parameters
    ----------
    check : RigCheck
        What the check showed
    conditions : BenchConditions
        The rig's card on that day: what it demands
    past : sequence of PastCheck
        Earlier checks of the same rig, the oldest first

    Returns
    -------
    RigVerdict
        *Out* where any item is; else *not checked* where something that the card demands was not
        looked at, or it demands nothing; else *watch* or *fit*
    """
    charts = {item: _chart(item, check, conditions, past) for item in CHARTED}
    on = date.fromisoformat(check.made_on)
    judged = {
        RigItem.BLANK: _blank(check, conditions),
        RigItem.TEMPERATURE: _temperature(check, conditions),
        RigItem.ZERO: _zero(check, conditions),
        RigItem.COMPLIANCE: _compliance(check, conditions),
        RigItem.OPENING: _opening(check, conditions),
        RigItem.DROP: _drop(check, conditions),
        RigItem.GAUGE: _calibration(
            RigItem.GAUGE, conditions.gauge.next_calibration_on, conditions, on
        ),
        RigItem.PROBE: _probe(check, conditions, on),
        RigItem.OIL: _oil(conditions, on),
        RigItem.FILTER: _filter(conditions, on),
    }
    items = tuple(_watched(judged[item], charts.get(item), conditions) for item in RigItem)
    fitness, reasons = _together(items)
    return RigVerdict(fitness, items, reasons, charts)


def check_too_old(made_on: date, on: date, most: float | None) -> tuple[str, ...]:
    """Return why no verdict on a fall can rest on a check that is too old; empty where one can.

    Parameters
    ----------
    made_on, on : datetime.date
        Day of the check; day of the test
    most : float, optional
        Greatest age by the card, [d]; None: it demands nothing
    """
    age = (on - made_on).days
    if most is None or age <= most:
        return ()
    return (
        say(
            "check of the rig: It was made on {day}, {count} days before the test, and the card "
            "allows {most}.",
            day=made_on.isoformat(),
            count=age,
            most=figure(most, "g"),
        ),
    )


def _together(items: Sequence[ItemVerdict]) -> tuple[Fitness, tuple[str, ...]]:
    out, watch, missing, fit = (
        [
            one
            for one in items
            if one.fitness is fitness and (fitness is not Fitness.UNCHECKED or one.limit)
        ]
        for fitness in (Fitness.OUT, Fitness.WATCH, Fitness.UNCHECKED, Fitness.FIT)
    )
    for fitness, which in (
        (Fitness.OUT, out),
        (Fitness.UNCHECKED, [one for one in missing if one.limit]),
        (Fitness.WATCH, watch),
    ):
        if which:
            return fitness, tuple(
                say("{item:capital}: {reason}", item=one.item, reason=one.reasons[0])
                for one in which
            )
    if not fit:
        return Fitness.UNCHECKED, (
            say("The rig's card states no limits, so nothing of the rig is judged."),
        )
    return Fitness.FIT, (
        say(
            "Within the limits of its card: {items}.", items=listed([word(one.item) for one in fit])
        ),
    )


# --- the items ------------------------------------------------------------------------------------


def _held_against(
    item: RigItem,
    measured: Measured,
    limit: str,
    lower: float | None,
    upper: float | None,
    shown: Measured | None = None,
    middle: float = 0.0,
) -> ItemVerdict:
    """Return the verdict on a measured item with limits; it is shown as it was, before a middle."""
    given = measured if shown is None else shown
    if isinstance(measured, NotMeasured):
        return ItemVerdict(item, Fitness.UNCHECKED, _sentences(measured), given, limit)
    beyond = (lower is not None and measured.value < lower) or (
        upper is not None and measured.value > upper
    )
    proved = decide(measured, lower, upper, DecisionRule.GUARDED).outcome is Outcome.PASS
    text = stated(
        given if isinstance(given, Quantity) else measured,
        lower=None if lower is None else lower + middle,
        upper=None if upper is None else upper + middle,
    )
    if beyond:
        reason = say("{value} is beyond what the card allows ({limit}).", value=text, limit=limit)
        return ItemVerdict(item, Fitness.OUT, (reason,), given, limit)
    if proved:
        reason = say("{value} is within what the card allows ({limit}).", value=text, limit=limit)
        return ItemVerdict(item, Fitness.FIT, (reason,), given, limit)
    reason = say(
        "{value} is within what the card allows ({limit}), but by less than its uncertainty.",
        value=text,
        limit=limit,
    )
    return ItemVerdict(item, Fitness.WATCH, (reason,), given, limit)


def _sentences(missing: NotMeasured) -> tuple[str, ...]:
    return not_measured(say("It"), missing)


def _no_limit(item: RigItem, measured: Measured | None, practice: Said) -> ItemVerdict:
    """Return that an item is not judged, with what is common practice."""
    if isinstance(measured, Quantity):
        reason = say(
            "{value}; the card states no limit, so it is not judged.", value=stated(measured)
        )
    elif isinstance(measured, NotMeasured):
        return ItemVerdict(item, Fitness.UNCHECKED, (*_sentences(measured), practice), measured)
    else:
        reason = say("The card states no limit, so it is not judged.")
    return ItemVerdict(item, Fitness.UNCHECKED, (reason, practice), measured)


def blank_fall(check: RigCheck, conditions: BenchConditions) -> Measured:
    r"""Return how far the rig with its plug falls as the card asks for it, [Pa].

    .. math:: p_0 (1 - e^{-kt})

    with the decay rate k of the hold; from 150 bar in a minute where the card asks for nothing.
    """
    rate, limits = check.blank_decay_rate, conditions.rig.limits
    if isinstance(rate, NotMeasured):
        return rate
    start = limits.blank_fall_from_pa or 150e5
    time = limits.blank_fall_s or 60.0
    return propagate(
        lambda k: start * -math.expm1(-k * time),
        rate,
        unit="Pa",
        method=say("from the hold with the blank plug"),
    )


def _blank(check: RigCheck, conditions: BenchConditions) -> ItemVerdict:
    limits = conditions.rig.limits
    fall = blank_fall(check, conditions)
    if limits.blank_fall_pa is None or limits.blank_fall_s is None:
        return _no_limit(
            RigItem.BLANK,
            fall,
            say(
                "Common practice, no source: with the plug in, a sound rig loses no more than some "
                "{few} in a minute from {start}.",
                few=in_bar(3e5, ".0f"),
                start=in_bar(150e5, ".0f"),
            ),
        )
    limit = say(
        "at most {fall} in {time} from {start}",
        fall=bar(limits.blank_fall_pa),
        time=seconds(limits.blank_fall_s),
        start=bar(limits.blank_fall_from_pa or 0.0),
    )
    return _held_against(RigItem.BLANK, fall, limit, None, limits.blank_fall_pa)


def _temperature(check: RigCheck, conditions: BenchConditions) -> ItemVerdict:
    limits, oil = conditions.rig.limits, check.oil_temperature
    low, high = limits.temperature_from_k, limits.temperature_to_k
    asked = low is not None or high is not None
    limit: str = ""
    if low is not None and high is not None:
        limit = say("from {low} to {high} °C", low=_degrees(low), high=_degrees(high))
    elif low is not None:
        limit = say("at least {low} °C", low=_degrees(low))
    elif high is not None:
        limit = say("at most {high} °C", high=_degrees(high))
    if isinstance(oil, NotMeasured):
        if not asked and not _looked_at(check):
            return ItemVerdict(RigItem.TEMPERATURE, Fitness.UNCHECKED, _sentences(oil), oil)
        reason = say(
            "The oil temperature is not known, and the time of a fall hangs on it more than on "
            "anything else."
        )
        return ItemVerdict(RigItem.TEMPERATURE, Fitness.OUT, (reason,), oil, limit)
    shown = stated(
        replace(oil, value=celsius(oil.value), unit="°C", interval=None),
        1,
        lower=None if low is None else celsius(low),
        upper=None if high is None else celsius(high),
    )
    if not asked:
        reason = say("{value}; the card states no limit, so it is not judged.", value=shown)
        return ItemVerdict(RigItem.TEMPERATURE, Fitness.UNCHECKED, (reason,), oil)
    verdict = _held_against(RigItem.TEMPERATURE, oil, limit, low, high)
    if verdict.fitness is Fitness.OUT:
        says = say("{value} is beyond what the card allows ({limit}).", value=shown, limit=limit)
    elif verdict.fitness is Fitness.FIT:
        says = say("{value} is within what the card allows ({limit}).", value=shown, limit=limit)
    else:
        says = say(
            "{value} is so near to the limit ({limit}) that it may be beyond it.",
            value=shown,
            limit=limit,
        )
    return replace(verdict, reasons=(says,))


def _degrees(kelvins: float) -> str:
    return figure(celsius(kelvins), ".1f")


def _looked_at(check: RigCheck) -> bool:
    """Return whether anything was measured in a check, the temperature apart."""
    return any(
        isinstance(one, Quantity)
        for one in (
            check.zero,
            check.blank_decay_rate,
            check.compliance,
            check.reference_opening,
            check.reference_drop,
        )
    )


def _zero(check: RigCheck, conditions: BenchConditions) -> ItemVerdict:
    most = conditions.rig.limits.zero_pa
    if most is None:
        return _no_limit(
            RigItem.ZERO,
            check.zero,
            say("Common practice, no source: without pressure the pointer stands on its pin or "
                "within the width of the zero mark."),
        )  # fmt: skip
    limit = say("within ± {most}", most=bar(most))
    return _held_against(RigItem.ZERO, check.zero, limit, -most, most)


def _compliance(check: RigCheck, conditions: BenchConditions) -> ItemVerdict:
    share = conditions.rig.limits.compliance_relative
    expected = expected_compliance(conditions, check.compliance_pressure_pa)
    found = check.compliance
    if share is None or expected is None:
        practice = say(
            "Common practice, no source: it is measured when the rig is new, and again after each "
            "change of pipe, gauge or plug."
        )
        reason = (
            say(
                "{value}; the card states neither a limit nor what it should be.",
                value=softness(found),
            )
            if isinstance(found, Quantity)
            else _sentences(found)[0]
        )
        return ItemVerdict(RigItem.COMPLIANCE, Fitness.UNCHECKED, (reason, practice), found)
    limit = say(
        "within {share} of {expected}",
        share=_percent(share, ".3g"),
        expected=softness(expected),
    )
    if isinstance(found, NotMeasured):
        # Not measured anew on most days: that by itself is no gap in the day's check.
        return ItemVerdict(RigItem.COMPLIANCE, Fitness.UNCHECKED, _sentences(found), found)
    ratio = propagate(
        lambda a, b: a / b - 1.0, found, expected, unit="1", method=say("against the card")
    )
    verdict = _held_against(RigItem.COMPLIANCE, ratio, limit, -share, share)
    text = say(
        "{value} is {percent} from that of the card ({limit}).",
        value=softness(found),
        percent=_percent(ratio.value, "+.1f"),
        limit=limit,
    )
    reasons: tuple[str, ...] = (text,)
    if verdict.fitness is Fitness.OUT and ratio.value > 0.0:
        reasons += (say("Air in the line makes a rig soft: bleed it and measure again."),)
    if verdict.fitness is Fitness.WATCH:
        reasons += (say("By less than its uncertainty within the limit."),)
    return replace(verdict, reasons=reasons, measured=found)


def _percent(share: float, spec: str) -> Said:
    return say("{number} %", number=figure(100.0 * share, spec))


def softness(compliance: Quantity) -> Said:
    """Return a compliance in words.

    >>> softness(Quantity(2.2e-14, "m^3/Pa", {Cause("cylinder"): 0.05e-14}))
    '2.20 ± 0.10 mm³/bar'
    """
    return say(
        "{value} ± {half} mm³/bar",
        value=figure(compliance.value * 1e14, ".2f"),
        half=figure(1.96 * compliance.standard_uncertainty * 1e14, ".2f"),
    )


def expected_compliance(conditions: BenchConditions, at_pa: float | None) -> Quantity | None:
    """Return what the compliance should be by the card, at a pressure; None where it is silent."""
    rig = conditions.rig
    oil = conditions.oil_temperature
    kelvins = _TYPICAL_K if oil is None else oil.value
    fluid = conditions.fluid
    known = fluid.bulk_modulus_20c if fluid is not None else None
    modulus_20c = known or Quantity(
        GAS_OIL_MODULUS.value,
        "Pa",
        {Cause(say("fluid stiffness")): GAS_OIL_MODULUS.standard_uncertainty},
    )

    def modulus(b20: float, pressure_pa: float, warm: float) -> float:
        return float(
            isothermal_bulk_modulus(
                pressure_pa, warm, b20, GAS_OIL_REFERENCE_TEMPERATURE_K,
                GAS_OIL_MODULUS_PRESSURE_SLOPE.value, GAS_OIL_MODULUS_TEMPERATURE_SLOPE.value,
            )
        )  # fmt: skip

    if rig.compliance is not None:
        there = rig.compliance_pressure_pa
        if at_pa is None or there is None:
            return rig.compliance
        warm = rig.compliance_temperature_k or kelvins
        return propagate(
            lambda c, b: c * modulus(b, there, warm) / modulus(b, at_pa, kelvins),
            rig.compliance,
            modulus_20c,
            unit="m^3/Pa",
            method=say("the card's, brought to the pressure and temperature of the check"),
        )
    if rig.volume_m3 is None or at_pa is None:
        return None
    walls = rig.wall_compliance or Quantity(0.0, "m^3/Pa")
    return propagate(
        lambda v, w, b: v / modulus(b, at_pa, kelvins) + w,
        rig.volume_m3,
        walls,
        modulus_20c,
        unit="m^3/Pa",
        method=say("from the card's volume"),
    )


def as_shown(measured: Measured) -> Measured:
    """Return a value without the errors of the gauge's level: as the gauge shows it."""
    if isinstance(measured, NotMeasured):
        return measured
    kept = {
        cause: part
        for cause, part in measured.contributions.items()
        if not cause.name.startswith(_GAUGE) or cause.name in _READING
    }
    return replace(measured, contributions=kept, interval=None)


def as_charted(measured: Measured) -> Measured:
    """Return a value as the gauge shows it, without what its fitter adds.

    A chart tells by itself how far the checks scatter, whoever makes them; what is the same in many
    of them is no scatter of a point.
    """
    shown = as_shown(measured)
    if isinstance(shown, NotMeasured):
        return shown
    kept = {c: part for c, part in shown.contributions.items() if not c.name.startswith(_FITTER)}
    return replace(shown, contributions=kept)


def _opening(check: RigCheck, conditions: BenchConditions) -> ItemVerdict:
    nozzle = conditions.rig.reference
    found = as_shown(check.reference_opening)
    if nozzle is None or nozzle.opening is None or nozzle.opening_tolerance_pa is None:
        return _no_limit(
            RigItem.OPENING,
            found,
            say("Common practice, no source: a known-good nozzle is kept for it, and should open "
                "within some {few} of what it opened at before.", few=in_bar(2e5, ".0f")),
        )  # fmt: skip
    limit = say(
        "within {tolerance} of {expected}",
        tolerance=bar(nozzle.opening_tolerance_pa),
        expected=bar(nozzle.opening.value),
    )
    return _from_expected(
        RigItem.OPENING, found, nozzle.opening, nozzle.opening_tolerance_pa, limit
    )


def _drop(check: RigCheck, conditions: BenchConditions) -> ItemVerdict:
    nozzle = conditions.rig.reference
    found = as_shown(check.reference_drop)
    if nozzle is None or nozzle.drop_time is None or nozzle.drop_tolerance_s is None:
        return _no_limit(
            RigItem.DROP,
            found,
            say("Common practice, no source: the drop time of a known-good nozzle should come "
                "back within about a tenth."),
        )  # fmt: skip
    limit = say(
        "within {tolerance} of {expected}",
        tolerance=seconds(nozzle.drop_tolerance_s),
        expected=seconds(nozzle.drop_time.value),
    )
    return _from_expected(RigItem.DROP, found, nozzle.drop_time, nozzle.drop_tolerance_s, limit)


def _from_expected(
    item: RigItem, found: Measured, expected: Quantity, tolerance: float, limit: Said
) -> ItemVerdict:
    if isinstance(found, NotMeasured):
        return _held_against(item, found, limit, None, None)
    apart = difference(found, expected, method=say("against the reference nozzle's own value"))
    return _held_against(
        item, apart, limit, -tolerance, tolerance, shown=found, middle=expected.value
    )


def _calibration(item: RigItem, due: str, conditions: BenchConditions, on: date) -> ItemVerdict:
    if not due:
        practice = say(
            "Common practice, no source: it is calibrated yearly, and after every knock."
        )
        reason = say("The card does not say when its calibration runs out.")
        return ItemVerdict(item, Fitness.UNCHECKED, (reason, practice))
    grace = conditions.rig.limits.calibration_grace_days or 0.0
    return _by_date(item, date.fromisoformat(due), conditions, on, grace)


def _by_date(
    item: RigItem, due: date, conditions: BenchConditions, on: date, grace: float = 0.0
) -> ItemVerdict:
    limit = say("until {day}", day=due.isoformat())
    left = (due - on).days
    remind = conditions.rig.limits.remind_days
    if 0 < -left <= grace:
        reason = say(
            "It ran out on {day}, and the card lets it be used for {count} days more.",
            day=due.isoformat(),
            count=figure(grace, "g"),
        )
        return ItemVerdict(item, Fitness.WATCH, (reason,), None, limit, due)
    if left < 0:
        reason = say("It ran out on {day}.", day=due.isoformat())
        return ItemVerdict(item, Fitness.OUT, (reason,), None, limit, due)
    if left <= (SOON_DAYS if remind is None else remind):
        reason = say("It runs out on {day}, in {count} days.", day=due.isoformat(), count=left)
        return ItemVerdict(item, Fitness.WATCH, (reason,), None, limit, due)
    reason = say("It holds until {day}.", day=due.isoformat())
    return ItemVerdict(item, Fitness.FIT, (reason,), None, limit, due)


def _probe(check: RigCheck, conditions: BenchConditions, on: date) -> ItemVerdict:
    probe = conditions.rig.probe
    if probe is None:
        reason = say("The card names no temperature probe.")
        return ItemVerdict(RigItem.PROBE, Fitness.UNCHECKED, (reason,))
    verdict = _calibration(RigItem.PROBE, probe.next_calibration_on, conditions, on)
    oil, known = check.oil_temperature, probe.standard_uncertainty_k
    if (
        isinstance(oil, Quantity)
        and known is not None
        and oil.standard_uncertainty < known
        and verdict.fitness is not Fitness.OUT
    ):
        reason = say(
            "The oil temperature is stated to ± {stated} K, better than the probe can tell "
            "(± {known} K, one standard uncertainty).",
            stated=figure(oil.standard_uncertainty, ".2g"),
            known=figure(known, ".2g"),
        )
        return replace(verdict, fitness=Fitness.WATCH, reasons=(reason, *verdict.reasons))
    return verdict


def _oil(conditions: BenchConditions, on: date) -> ItemVerdict:
    limits, fluid = conditions.rig.limits, conditions.fluid
    verdicts = []
    if limits.oil_days is not None:
        verdicts.append(
            _aged(RigItem.OIL, fluid.filled_on if fluid else "", limits.oil_days, conditions, on)
        )
    if limits.oil_hours is not None:
        limit = say("at most {hours} h", hours=figure(limits.oil_hours, "g"))
        hours = fluid.hours_used if fluid else None
        if hours is None:
            reason = say("The card does not say how long the oil has been in use.")
            verdicts.append(ItemVerdict(RigItem.OIL, Fitness.UNCHECKED, (reason,), None, limit))
        else:
            beyond = hours > limits.oil_hours
            reason = (
                say("It has been in use for {hours} h, and the card allows {most} h.",
                    hours=figure(hours, "g"), most=figure(limits.oil_hours, "g"))
            )  # fmt: skip
            fitness = Fitness.OUT if beyond else Fitness.FIT
            verdicts.append(ItemVerdict(RigItem.OIL, fitness, (reason,), None, limit))
    if not verdicts:
        return ItemVerdict(
            RigItem.OIL,
            Fitness.UNCHECKED,
            (
                say("The card states no limit, so it is not judged."),
                say("Common practice, no source: oil is changed monthly, and at once when it is "
                    "discoloured."),
            ),
        )  # fmt: skip
    order = (Fitness.OUT, Fitness.UNCHECKED, Fitness.WATCH, Fitness.FIT)
    due = next((one.due for one in verdicts if one.due is not None), None)
    return replace(min(verdicts, key=lambda one: order.index(one.fitness)), due=due)


def _filter(conditions: BenchConditions, on: date) -> ItemVerdict:
    days, known = conditions.rig.limits.filter_days, conditions.rig.filter
    if days is None:
        return ItemVerdict(
            RigItem.FILTER,
            Fitness.UNCHECKED,
            (
                say("The card states no limit, so it is not judged."),
                say("Common practice, no source: the filter is changed with the oil."),
            ),
        )
    return _aged(RigItem.FILTER, known.changed_on if known else "", days, conditions, on)


def _aged(
    item: RigItem, since: str, days: float, conditions: BenchConditions, on: date
) -> ItemVerdict:
    if not since:
        limit = say("at most {days} days", days=figure(days, "g"))
        reason = say("The card does not say how old it is.")
        return ItemVerdict(item, Fitness.UNCHECKED, (reason,), None, limit)
    begun = date.fromisoformat(since)
    due = begun + timedelta(days=min(math.floor(days), (date.max - begun).days))
    return _by_date(item, due, conditions, on)


# --- charts ---------------------------------------------------------------------------------------


def _value(item: RigItem, check: RigCheck, conditions: BenchConditions) -> Measured:
    if item is RigItem.BLANK:
        return as_charted(blank_fall(check, conditions))
    return as_charted(
        {
            RigItem.OPENING: check.reference_opening,
            RigItem.DROP: check.reference_drop,
            RigItem.ZERO: check.zero,
        }[item]
    )


GAUGE, NOZZLE, OIL, FILTER = "gauge", "reference nozzle", "oil", "filter"
_CHANGED = {
    GAUGE: say("Since the gauge was changed or calibrated."),
    NOZZLE: say("Since the reference nozzle or its values were changed."),
    OIL: say("Since the oil was changed."),
    FILTER: say("Since the filter was changed."),
}
_BEARS = {
    RigItem.OPENING: (GAUGE, NOZZLE),
    RigItem.DROP: (GAUGE, NOZZLE, OIL, FILTER),
    RigItem.BLANK: (GAUGE, OIL, FILTER),
    RigItem.ZERO: (GAUGE,),
}
"""What begins a new chart when it is changed."""


def marks_of(conditions: BenchConditions) -> dict[str, str]:
    """Return what tells gauge, oil, filter and reference nozzle from the ones before."""
    gauge, fluid, rig = conditions.gauge, conditions.fluid, conditions.rig
    marks: dict[str, tuple[str, ...]] = {GAUGE: (gauge.identity, gauge.calibrated_on)}
    if rig.reference is not None:
        marks[NOZZLE] = (rig.reference.identity, rig.reference.since)
    if fluid is not None:
        marks[OIL] = (fluid.name, fluid.batch, fluid.filled_on)
    if rig.filter is not None:
        marks[FILTER] = (rig.filter.kind, rig.filter.changed_on)
    return {name: "; ".join(parts) for name, parts in marks.items()}


def _tolerance(item: RigItem, conditions: BenchConditions) -> tuple[float | None, float | None]:
    limits, nozzle = conditions.rig.limits, conditions.rig.reference
    if item is RigItem.BLANK:
        return None, limits.blank_fall_pa
    if item is RigItem.ZERO:
        return (None, None) if limits.zero_pa is None else (-limits.zero_pa, limits.zero_pa)
    expected, reach = (None, None) if nozzle is None else (
        (nozzle.opening, nozzle.opening_tolerance_pa)
        if item is RigItem.OPENING
        else (nozzle.drop_time, nozzle.drop_tolerance_s)
    )  # fmt: skip
    if expected is None or reach is None:
        return None, None
    return expected.value - reach, expected.value + reach


def _chart(
    item: RigItem, check: RigCheck, conditions: BenchConditions, past: Sequence[PastCheck]
) -> RigChart:
    now = marks_of(conditions)
    kept, begun = [check], ""
    for one in reversed(past):
        changed = next((n for n in _BEARS[item] if one.marks.get(n, "") != now.get(n, "")), "")
        if changed:
            begun = _CHANGED[changed]
            break
        kept.insert(0, one.check)
    measured = [
        (float(date.fromisoformat(one.made_on).toordinal()), _value(item, one, conditions))
        for one in kept
    ]
    points = charted(measured)
    days = tuple(date.fromordinal(int(point.day)).isoformat() for point in points)
    tolerance = _tolerance(item, conditions)
    chart = control_chart(points, baseline=conditions.rig.limits.baseline or USUAL_BASELINE)
    lower, upper = tolerance
    if isinstance(chart, ControlChart):
        # Where the card is silent, the chart's own limits are what a trend runs towards.
        if lower is None and item is not RigItem.BLANK:
            lower = chart.limits[0]
        if upper is None:
            upper = chart.limits[1]
    run = trend(points, lower, upper)
    if isinstance(chart, ControlChart):
        run = _nearer(run, trend(points[chart.baseline - 1 :], lower, upper))
    return RigChart(item, days, chart, run, tolerance, begun)


def _nearer(whole: Trend | NotMeasured, since: Trend | NotMeasured) -> Trend | NotMeasured:
    """Return that of two trends which is clear and reaches its limit first.

    A drift that begins after the baseline is flattened by the quiet checks before it, and its day
    would be named too late; over all checks a slow one is seen that the few last ones do not show.
    """
    if isinstance(since, NotMeasured) or since.days_earliest is None:
        return whole
    if isinstance(whole, NotMeasured) or whole.days_earliest is None:
        return since
    return min(whole, since, key=lambda one: one.days_earliest or 0.0)


def _watched(
    verdict: ItemVerdict, chart: RigChart | None, conditions: BenchConditions
) -> ItemVerdict:
    """Return the verdict with what the chart says of the last point and of the trend."""
    if chart is None or isinstance(verdict.measured, NotMeasured):
        return verdict
    said: list[str] = []
    watch = False
    drift = drift_text(chart)
    if drift:
        said.append(drift)
        day, last = chart.reaches_on, date.fromisoformat(chart.days[-1])
        remind = conditions.rig.limits.remind_days
        watch = day is not None and remind is not None and (day - last).days <= remind
    if isinstance(chart.chart, ControlChart) and len(chart.days) > chart.chart.baseline:
        rules = [signal.rule for signal in chart.chart.speaks_now]
        if rules:
            said.append(rules_text(rules))
            watch = True
    if not said:
        return verdict
    if watch and verdict.fitness is Fitness.FIT:
        return replace(verdict, fitness=Fitness.WATCH, reasons=(*said, *verdict.reasons))
    return replace(verdict, reasons=(*verdict.reasons, *said))


def rules_text(rules: Sequence[RunRule]) -> Said:
    """Return what run rules say of the last point, each with where it was published."""
    spoken = [say("{rule} ({source})", rule=rule, source=SOURCE[rule]) for rule in rules]
    return say("The chart says that something changed: {rules}.", rules=joined("; ", spoken))


def drift_text(chart: RigChart) -> str:
    """Return the drift and the day on which it may reach its limit; empty where none is clear.

    Where the limit is one of the chart and none of the card, it says so.
    """
    run = chart.trend
    if isinstance(run, NotMeasured) or not run.clear or run.days_left is None:
        return ""
    day = chart.reaches_on
    if day is None or run.limit is None:
        return ""
    month = 30.0 * abs(run.slope.value)
    month_u = 1.96 * 30.0 * run.slope.standard_uncertainty
    unit_bar = run.level.unit == "Pa"
    size = in_bar(month, ".2g") if unit_bar else say("{time} s", time=figure(month, ".2g"))
    reach = in_bar(month_u, ".1g") if unit_bar else say("{time} s", time=figure(month_u, ".1g"))
    limit = bar(run.limit) if unit_bar else seconds(run.limit)
    own = run.limit in chart.tolerance
    whose = say("the card's limit of {limit}", limit=limit) if own else say(
        "the chart's own limit of {limit}", limit=limit
    )  # fmt: skip
    if run.days_left <= 0.0:
        return say(
            "It drifts by {size} a month (± {reach}) and has reached {whose}.",
            size=size, reach=reach, whose=whose,
        )  # fmt: skip
    days = min(run.days_left, (date.max - date.fromisoformat(chart.days[-1])).days - 1)
    likely = date.fromisoformat(chart.days[-1]) + timedelta(days=math.floor(days))
    if run.slope.value > 0.0:
        return say(
            "It drifts up by {size} a month (± {reach}): at that pace it reaches {whose} about "
            "{likely}, perhaps as early as {day}.",
            size=size, reach=reach, whose=whose, likely=likely.isoformat(), day=day.isoformat(),
        )  # fmt: skip
    return say(
        "It drifts down by {size} a month (± {reach}): at that pace it reaches {whose} about "
        "{likely}, perhaps as early as {day}.",
        size=size, reach=reach, whose=whose, likely=likely.isoformat(), day=day.isoformat(),
    )  # fmt: skip
