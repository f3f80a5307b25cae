"""The whole budget of a measured value: what its uncertainty is made of, and what would mend it.

The table follows JCGM 100:2008, annex H: each cause with its standard uncertainty in the unit of
the result. Causes are independent of each other by construction (a cause that two values share is
one cause), so that the squares add up and each has a share of the variance.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from nozzlewright.bench import BenchConditions, Gauge, GaugeFindings, ReadingStudies, SeatHold
from nozzlewright.measurement import Cause, Measured, NotMeasured, Quantity, decimals_for
from nozzlewright.measurement.coverage import coverage_factor, effective_degrees_of_freedom
from nozzlewright.physics import EN837_CLASSES
from nozzlewright.report.wording import (
    READING_RULE,
    TradeUnit,
    ValueText,
    number,
    trade_unit,
    value_text,
    width_text,
    with_unit,
)
from nozzlewright.said import Figure, Said, figure, in_bar, joined, say

WORTH_MENDING = 0.1
"""Share of the variance below which mending a cause is not worth a word: u falls by 5 %."""
MOST_ADVICE = 3
LEVEL = "95 %"
"""Coverage of the intervals that are stated."""
SMALL_SHARE = 0.005
"""Share of the variance below which a cause goes into a heap with its like, in a picture."""
THERMOMETER_K = 0.5
"""Standard uncertainty of an oil temperature taken at the rig, [K]; common practice, no source."""


@dataclass(frozen=True)
class BudgetRow:
    """One cause in a budget."""

    cause: str
    """In words."""
    scope: str
    """Within what it is one and the same; empty: everywhere."""
    source: str
    """Where it comes from, in words."""
    law: str
    """How its error is spread: even within a bound, or normal."""
    contribution: float
    """Size of its standard uncertainty in the result, in the unit of the budget."""
    text: str
    """The same with its unit."""
    relative: float | None
    """Contribution over the value, [1]; None for a value near zero."""
    share: float
    """Of the variance, [1]; the shares add up to one."""
    shared_with: tuple[str, ...] = ()
    """Other results in which it is the same error."""
    degrees_of_freedom: float = math.inf
    """Infinite: taken as large."""


@dataclass(frozen=True)
class Budget:
    """What the uncertainty of one value is made of."""

    name: str
    """Of the value, in words."""
    value: ValueText
    unit: TradeUnit
    rows: tuple[BudgetRow, ...]
    """The largest first."""
    standard_uncertainty: float
    """Combined, in `unit`."""
    standard_text: str
    coverage_factor: float | None
    """Half of the 95 % interval over u; None where the interval is stated by its two ends."""
    degrees_of_freedom: float
    """Effective; infinite: taken as large."""
    coverage: str
    """How u becomes the interval, in a sentence."""
    freedom: str
    """What is known of the degrees of freedom, in a sentence."""
    improve: tuple[str, ...] = ()
    """What would make the uncertainty smaller, and by how much."""


# -- values that have one --------------------------------------------------------------------------


@dataclass(frozen=True)
class NamedValue:
    """A measured value of a test under the name by which a budget is asked for."""

    key: str
    name: Said
    measured: Measured


def named_values(findings: GaugeFindings) -> tuple[NamedValue, ...]:
    """Return the values of a test that can have a budget, measured or not."""
    hold, seat = findings.hold, findings.seat_hold

    def of_hold(name: str) -> Measured:
        found: Measured = hold if isinstance(hold, NotMeasured) else getattr(hold, name)
        return found

    return (
        NamedValue("opening", say("Opening pressure"), findings.opening_pressure),
        NamedValue("closing", say("Closing pressure"), findings.closing_pressure),
        NamedValue(
            "second-opening", say("Second opening pressure"), findings.second_opening_pressure
        ),
        NamedValue("drop-shown", say("Drop time as shown"), of_hold("drop_time_as_shown")),
        NamedValue(
            "drop-reference",
            say("Drop time at reference conditions"),
            of_hold("drop_time_at_reference"),
        ),
        NamedValue("clearance", say("Effective hydraulic clearance"), of_hold("guide_clearance")),
        NamedValue(
            "seat-margin",
            say("Seat held below the opening by"),
            seat.margin_below_opening if isinstance(seat, SeatHold) else seat,
        ),
    )


VALUE_KEYS: tuple[str, ...] = (
    "opening", "closing", "second-opening", "drop-shown", "drop-reference", "clearance",
    "seat-margin",
)  # fmt: skip
"""Keys of :func:`named_values`, in its order."""


def budgets_of(
    findings: GaugeFindings, conditions: BenchConditions | None = None
) -> tuple[tuple[str, Budget], ...]:
    """Return the budgets of all that a test has measured, by key.

    Parameters
    ----------
    findings : GaugeFindings
        Of the test
    conditions : BenchConditions, optional
        Under which it was read; they tell what to improve
    """
    values = named_values(findings)
    measured = [(one.name, one.measured) for one in values if isinstance(one.measured, Quantity)]
    return tuple(
        (
            one.key,
            budget_of(
                one.measured,
                name=one.name,
                others=[(name, value) for name, value in measured if name != one.name],
                conditions=conditions,
            ),
        )
        for one in values
        if isinstance(one.measured, Quantity)
    )


# -- the table -------------------------------------------------------------------------------------


def budget_of(
    quantity: Quantity,
    *,
    name: str = say("Value"),
    others: Sequence[tuple[str, Quantity]] = (),
    conditions: BenchConditions | None = None,
    degrees_of_freedom: Mapping[Cause, float] | None = None,
    unit: TradeUnit | None = None,
) -> Budget:
    """Return the budget of a measured value.

    Parameters
    ----------
    quantity : Quantity
        With its uncertainty split by cause
    name : str
        What it is, in words
    others : sequence of (str, Quantity)
        Other results, by name: a cause says in which of them it is the same error
    conditions : BenchConditions, optional
        Of the test; they tell what to improve
    degrees_of_freedom : mapping, optional
        Of the causes that rest on few readings and are not widened for it already; with them the
        interval is widened as a whole (Welch and Satterthwaite; JCGM 100:2008, G.4.1)
    unit : TradeUnit, optional
        Of the table; None: the trade's for the quantity's

    Examples
    --------
    >>> opening = Quantity(175e5, "Pa", {Cause("gauge level"): 3e4, Cause("repeatability"): 4e4})
    >>> budget = budget_of(opening)
    >>> [(row.cause, round(row.contribution, 2), round(row.share, 2)) for row in budget.rows]
    [('repeatability', 0.4, 0.64), ('gauge level', 0.3, 0.36)]
    """
    known = degrees_of_freedom or {}
    freedom = effective_degrees_of_freedom(quantity, known)
    if known and math.isfinite(freedom) and quantity.interval is None:
        factor: float | None = coverage_factor(max(freedom, 1.0))
        half = (factor or 0.0) * quantity.standard_uncertainty
        quantity = replace(quantity, interval=(quantity.value - half, quantity.value + half))
    else:
        factor = None if quantity.interval is not None else _factor(quantity)
    unit = unit or trade_unit(quantity.unit)
    variance = quantity.standard_uncertainty**2
    value = unit.value(quantity.value)
    combined = unit.width(quantity.standard_uncertainty)
    rows = tuple(
        BudgetRow(
            cause=cause.name,
            scope=cause.scope,
            source=_source_of(cause),
            law=_BOUND if cause.rectangular else _NORMAL,
            contribution=unit.width(part),
            text=width_text(unit.width(part), unit),
            relative=unit.width(part) / abs(value) if abs(value) > combined else None,
            share=part**2 / variance,
            shared_with=tuple(
                other for other, measured in others if measured.contributions.get(cause, 0.0)
            ),
            degrees_of_freedom=known.get(cause, cause.degrees or math.inf),
        )
        for cause, part in quantity.budget
    )
    return Budget(
        name=name,
        value=value_text(quantity, unit),
        unit=unit,
        rows=rows,
        standard_uncertainty=combined,
        standard_text=width_text(combined, unit),
        coverage_factor=factor,
        degrees_of_freedom=freedom,
        coverage=_coverage_words(quantity, factor, freedom),
        freedom=_freedom_words(freedom, [row.degrees_of_freedom for row in rows]),
        improve=what_to_improve(quantity, conditions),
    )


_DIGEST = re.compile(r"[0-9a-f]{32,}")
"""Evidence in a workshop's record goes by its digest, which tells a reader nothing."""
_BOUND = say("even within a bound")
_NORMAL = say("normal")


def _factor(quantity: Quantity) -> float | None:
    u = quantity.standard_uncertainty
    return _half(quantity) / u if u > 0.0 else None


def _half(quantity: Quantity) -> float:
    low, high = quantity.coverage_interval
    return 0.5 * (high - low)


def _coverage_words(quantity: Quantity, factor: float | None, freedom: float) -> Said:
    if not quantity.contributions:
        return say("The value is taken as known.")
    if factor is None:
        return say(
            "The {level} interval is reckoned by itself, as the model bends: it is not a multiple "
            "of the standard uncertainty.",
            level=LEVEL,
        )
    if math.isfinite(freedom) and factor > 1.97:
        return say(
            "The {level} interval is {factor} times the standard uncertainty, Student's factor for "
            "{freedom} degrees of freedom.",
            level=LEVEL,
            factor=figure(factor, ".2f"),
            freedom=_count_of(freedom, whole=math.isinf(quantity.degrees_of_freedom)),
        )
    if factor < 1.95:
        return say(
            "The {level} interval is {factor} times the standard uncertainty: the largest cause is "
            "even within a bound, and nothing lies beyond it.",
            level=LEVEL,
            factor=figure(factor, ".2f"),
        )
    return say(
        "The {level} interval is {factor} times the standard uncertainty.",
        level=LEVEL,
        factor=figure(factor, ".2f"),
    )


def _count_of(freedom: float, *, whole: bool) -> Figure:
    """Return degrees of freedom as they were used: cut off, or interpolated."""
    return figure(math.floor(freedom), "d") if whole else figure(max(freedom, 1.0), ".1f")


def _freedom_words(freedom: float, of_causes: Sequence[float]) -> Said:
    if math.isfinite(freedom) and min(of_causes) <= 1.0:
        return say(
            "Effective degrees of freedom: {freedom} (a cause known with one degree by Cochran, "
            "the others by Welch and Satterthwaite).",
            freedom=figure(freedom, ".1f"),
        )
    if math.isfinite(freedom):
        return say(
            "Effective degrees of freedom: {freedom} (Welch and Satterthwaite).",
            freedom=figure(freedom, ".1f"),
        )
    return say(
        "Degrees of freedom are taken as large; what rests on few readings is widened by Student's "
        "factor already."
    )


# -- where a cause comes from, and how it is made smaller -----------------------------------------

_KNOWN: Mapping[str, tuple[Said, Said]] = {
    "gauge level": (
        say("the gauge's certificate or class"),
        say("Have the gauge calibrated, or take a better one."),
    ),
    "gauge certificate, offset": (
        say("scatter of the certificate's points about its curve"),
        say("Calibrate at more points, up and down."),
    ),
    "gauge certificate, slope": (
        say("scatter of the certificate's points about its curve"),
        say("Calibrate at more points, up to the pressures that are read."),
    ),
    "gauge certificate, bend": (
        say("scatter of the certificate's points about its curve"),
        say("Calibrate at more points, up to the pressures that are read."),
    ),
    "gauge hysteresis": (
        say("the gauge shows one thing going up and another going down"),
        say("Take a gauge with less friction; tap a dial lightly before it is read."),
    ),
    "turn of the gauge": (
        say("what the gauge holds back of a fall, as the pressure turned at its beginning"),
        say("Take a gauge with less friction; tap a dial lightly before it is read."),
    ),
    "gauge drift": (
        say("the gauge's yearly drift since its last calibration"),
        say("Have the gauge calibrated anew."),
    ),
    "gauge resolution": (
        say("smallest step that the gauge shows"),
        say("Take a gauge with finer steps."),
    ),
    "reading by eye": (
        say("what an eye can tell between two lines of the dial"),
        say("Take a dial with finer lines, or record with a pressure transmitter."),
    ),
    "stopwatch and reading": (
        say("hand on the stopwatch and eye on the dial"),
        say("Record the hold, or time it again: the mean of four is half as uncertain."),
    ),
    "stopwatch": (say("hand on the stopwatch"), say("Record the hold.")),
    "repeatability of the opening": (
        say("scatter from pop to pop, by Student's factor"),
        say("Make more slow strokes: four times as many halve it."),
    ),
    "repeatability of the closing": (
        say("scatter from pop to pop, by Student's factor"),
        say("Make more slow strokes: four times as many halve it."),
    ),
    "repeatability of a reading": (
        say("scatter of one fitter's readings of one injector, by the study of fitters"),
        say("Read it more often: four times as many halve it."),
    ),
    "fitter": (
        say("how far fitters differ on all injectors alike, by the study of fitters"),
        say(
            "Agree on how it is read; let three fitters or more take part in the next study, as "
            "few tell little. In differences of one fitter's readings it cancels."
        ),
    ),
    "fitters of the study": (
        say("what all fitters of the study may read too high, or too low, together"),
        say(
            "Let three fitters or more take part in the next study, as few tell little. Between "
            "readings of those who took part it cancels."
        ),
    ),
    "fitter with injector": (
        say("how fitters differ on one injector more than on another, by the study of fitters"),
        say("Let a second fitter read it too."),
    ),
    "shape of the fall": (
        say("how pressure opens the gap, and air in the oil"),
        say("Record the hold."),
    ),
    "sampling of the fall": (
        say("readings per second while the needle falls"),
        say("Record more readings per second."),
    ),
    "lag of the gauge": (
        say("how well the gauge's lag is known"),
        say("Pump more slowly, or state the gauge's time constant."),
    ),
    "start of the fall": (
        say("where in the trace the needle lifts"),
        say("Pump more slowly."),
    ),
    "slow gauge": (
        say("openings that a slow gauge cannot part"),
        say("Take a gauge that is read a hundred times a second or more."),
    ),
    "noise and steps": (
        say("noise of the trace where the window begins and ends"),
        say("Keep the lever still; screen the gauge's lead."),
    ),
    "decay fit": (
        say("scatter of the hold about its curve"),
        say("Hold longer, and touch nothing."),
    ),
    "scatter about the line": (
        say("scatter of the hold about its curve"),
        say("Hold longer, and touch nothing."),
    ),
    "heat before the hold": (
        say("the oil cools after it was pumped up"),
        say("Wait some seconds at pressure before the fall is timed."),
    ),
    "blank-plug hold": (
        say("how well the rig's own leak is known"),
        say("Hold longer with the blank plug."),
    ),
    "temperature": (
        say("thermometer, and oil that is not as warm as where it is taken"),
        say("Take the oil temperature at the rig, just before the hold."),
    ),
    "viscosity ratio": (
        say("how the fluid thins, from its data sheet"),
        say("Test nearer to the temperature of the sheet, or have the viscosity measured."),
    ),
    "viscosity slope": (
        say("how oils thin in general: one viscosity is known"),
        say("State a second viscosity of the fluid."),
    ),
    "fluid density": (say("data sheet of the fluid"), say("Measure it with a hydrometer.")),
    "fluid stiffness": (
        say("data sheet of the fluid"),
        say("Measure the rig's compliance: it has the fluid's stiffness in it."),
    ),
    "bulk modulus": (
        say("typical of gas oil"),
        say("State the fluid's stiffness, or measure the rig's compliance."),
    ),
    "bulk modulus slope": (
        say("typical of gas oil"),
        say("Measure the rig's compliance at the pressure of the test."),
    ),
    "bulk modulus and temperature": (
        say("typical of gas oil"),
        say("Measure the rig's compliance at the temperature of the test."),
    ),
    "fluid pressure-viscosity": (
        say("as stated for the fluid"),
        say("Have it measured; it seldom matters."),
    ),
    "pressure viscosity": (
        say("typical of gas oil"),
        say("State it for the fluid; it seldom matters."),
    ),
    "density": (say("typical of gas oil"), say("State the density of the fluid.")),
    "expansion": (say("typical of gas oil"), say("Test nearer to the temperature of the sheet.")),
    "rig volume": (
        say("bores and lengths, or as stated"),
        say("Measure the rig's compliance with a syringe."),
    ),
    "wall compliance": (
        say("pipe and gauge, as stated"),
        say("Measure the rig's compliance with a syringe."),
    ),
    "walls of the rig": (
        say("assumed: the give of pipe and gauge is not known"),
        say("Measure the rig's compliance with a syringe."),
    ),
    "rig compliance": (
        say("the measurement of the rig's compliance"),
        say("Measure it again, at more pressures."),
    ),
    "blank-plug compliance ratio": (
        say("as stated for the blank plug"),
        say("Measure the compliance with the plug too."),
    ),
    "blank-plug volume": (
        say("bores and lengths with the plug"),
        say("Measure the compliance with the plug too."),
    ),
    "plug ratio": (
        say("assumed: the compliance with the plug is not known"),
        say("State the volume with the plug."),
    ),
    "eccentricity": (
        say("where in the bore the needle lies: nobody can see it"),
        say("Nothing at the bench: a time tells a gap only this well."),
    ),
    "growth of the gap": (
        say("how far pressure opens the gap"),
        say("State the outer diameter of the nozzle body."),
    ),
    "area of the piston": (
        say("certificate of the dead-weight tester"),
        say("Have the piston calibrated against a better standard."),
    ),
    "weights": (
        say("certificate of the weights"),
        say("Have the weights weighed anew."),
    ),
    "local gravity": (
        say("where the workshop stands"),
        say("Ask the survey office for gravity at the place."),
    ),
    "density of the air": (say("weather and height"), say("It hardly matters.")),
    "density of the weights": (say("what the weights are made of"), say("It hardly matters.")),
    "temperature of the piston": (
        say("thermometer at the piston"),
        say("Let the tester stand in the room overnight."),
    ),
    "head of oil": (
        say("height of the piston's foot above the gauge"),
        say("Set piston and gauge level with each other."),
    ),
    "growth of the piston's area": (
        say("certificate of the dead-weight tester"),
        say("Have the piston calibrated up to its highest pressure."),
    ),
    "counted by ear": (say("openings counted by ear"), say("Record the strokes.")),
}
"""Where a cause comes from, and what makes it smaller."""


def _source_of(cause: Cause) -> Said:
    known = _KNOWN.get(str(cause.name))
    source = known[0] if known else say("as stated")
    if not cause.scope:
        return say("{source}; the same everywhere", source=source)
    if _DIGEST.search(cause.scope):
        return say("{source}; of this test alone", source=source)
    return say("{source}; the same for {scope}", source=source, scope=cause.scope)


def what_to_improve(
    quantity: Quantity, conditions: BenchConditions | None = None
) -> tuple[Said, ...]:
    """Return what would make the uncertainty smaller, and what it would become.

    Parameters
    ----------
    quantity : Quantity
        With its uncertainty split by cause
    conditions : BenchConditions, optional
        Under which it was measured

    Notes
    -----
    Each sentence follows from the budget alone: a cause is halved or left out, or scaled by what
    the conditions say (class of the gauge, doubt of the temperature). First order.

    Examples
    --------
    >>> opening = Quantity(175e5, "Pa", {Cause("repeatability of the opening"): 4e4})
    >>> print(what_to_improve(opening)[0].replace("\N{NO-BREAK SPACE}", " "))
    Repeatability of the opening is all of it: now ± 0.78 bar. Make more slow strokes: four times as many halve it. Halved, it would be ± 0.39 bar.
    """  # noqa: E501 - a sentence of the doctest
    if not quantity.contributions:
        return ()
    said: list[Said] = []
    variance = quantity.standard_uncertainty**2
    for cause, part in quantity.budget[:MOST_ADVICE]:
        share = part**2 / variance
        if share < WORTH_MENDING:
            break
        said.append(_halved(quantity, cause, share, _remedy(cause, conditions), first=not said))
        special = _special(quantity, cause, conditions) if conditions is not None else None
        if special is not None:
            said.append(special)
    if conditions is not None:
        said += _give_measured(quantity, conditions)
        said += _study_wanted(quantity, conditions.studies)
    return tuple(said)


_FROM_STUDY = frozenset(
    {"fitter", "fitters of the study", "fitter with injector", "repeatability of a reading"}
)


def _study_wanted(quantity: Quantity, studies: ReadingStudies) -> list[Said]:
    """Return what a study of fitters would tell of a reading by hand; nothing where one did."""
    names = {str(cause.name) for cause in quantity.contributions}
    if names & _FROM_STUDY:
        return []
    if {"reading by eye", "repeatability of the opening"} <= names:
        study = studies.opening
    elif "stopwatch and reading" in names:
        study = studies.drop
    else:
        return []
    if study is None:
        return [
            say(
                "What the fitter adds is not in it, and the scatter of a reading is assumed, or "
                "found in few repeats: a study of fitters tells both."
            )
        ]
    if isinstance(study, NotMeasured):
        return [
            say(
                "What the fitter adds is not in it, and the scatter of a reading is assumed, or "
                "found in few repeats: {reason}. To know both, {remedy}.",
                reason=study.reason,
                remedy=study.remedy,
            )
        ]
    return [
        say(
            "The study of fitters ({name}) was not there yet when it was read, or too far from "
            "what was read: what the fitter adds is not in it. A new reading within the reach of "
            "the study has it.",
            name=study.name,
        )
    ]


def _remedy(cause: Cause, conditions: BenchConditions | None) -> Said | None:
    if str(cause.name) == "gauge level" and conditions is not None and conditions.gauge.certificate:
        return say("Have the gauge calibrated against a better reference.")
    known = _KNOWN.get(str(cause.name))
    return known[1] if known else None


def _halved(
    quantity: Quantity, cause: Cause, share: float, remedy: Said | None, *, first: bool
) -> Said:
    less = [_scaled(quantity, {cause: factor}) for factor in (1.0, 0.5, 0.0)]
    now, half, without = (_wide(one) for one in less)
    if len(quantity.contributions) == 1:
        opens = say("{cause:capital} is all of it: now {now}.", cause=cause.name, now=now)
        after = say("Halved, it would be {half}.", half=half)
    else:
        told = {"cause": cause.name, "share": figure(share, ".0%")}
        opens = (
            say("{cause:capital} makes {share} of the variance: now {now}.", now=now, **told)
            if first
            else say("{cause:capital} makes {share} of the variance.", **told)
        )
        after = say(
            "Halved, it would be {half}; without it, {without}.", half=half, without=without
        )
        halves = [_half(one) for one in less]
        few = quantity.interval is None and math.isfinite(quantity.degrees_of_freedom)
        if few and not halves[2] < halves[1] < halves[0]:
            # By Welch and Satterthwaite: less of what is well known leaves what is known poorly.
            after = say(
                "Smaller, it would hardly narrow the interval: what rests on few readings "
                "outweighs it."
            )
    return joined(" ", [opens, *([remedy] if remedy else []), after])


def _scaled(quantity: Quantity, factors: Mapping[Cause, float]) -> Quantity:
    """Return a quantity of which causes are so many times as large."""
    parts = {
        cause: part * factors.get(cause, 1.0) for cause, part in quantity.contributions.items()
    }
    # An interval that was stated does not follow from the causes: then u itself is said.
    return replace(quantity, contributions=parts)


def _wide(quantity: Quantity) -> Said:
    """Return half of the 95 % interval, or u where the interval is stated by itself."""
    unit = trade_unit(quantity.unit)
    if quantity.interval is not None:
        size = width_text(unit.width(quantity.standard_uncertainty), unit)
        return say("u = {size}", size=size or "0")
    half = unit.width(_half(quantity))
    if half <= 0.0:
        return say("nothing")
    name = "K" if unit.printed == "°C" else unit.printed
    places = decimals_for(half) if half < 100.0 else 1 - math.floor(math.log10(half))
    return say("±\N{NO-BREAK SPACE}{size}", size=with_unit(number(half, places, name), name))


def _special(quantity: Quantity, cause: Cause, conditions: BenchConditions) -> Said | None:
    """Return what one better piece of equipment would do, where the conditions tell it."""
    name = str(cause.name)
    if name == "gauge level":
        return _better_class(quantity, cause, conditions.gauge)
    if name == "temperature":
        return _temperature_taken(quantity, cause, conditions)
    return None


def _better_class(quantity: Quantity, cause: Cause, gauge: Gauge) -> Said | None:
    grade = gauge.accuracy_class
    if gauge.certificate or grade is None or gauge.range_pa is None:
        return None
    better = max((one for one in EN837_CLASSES if one < grade - 1e-9), default=None)
    if better is None:
        return None
    would = _wide(_scaled(quantity, {cause: better / grade}))
    return say(
        "A gauge of class {better} instead of {grade} on the same span of {span} would make it "
        "{would}.",
        better=figure(better, "g"),
        grade=figure(grade, "g"),
        span=in_bar(gauge.range_pa, ".0f"),
        would=would,
    )


def _temperature_taken(
    quantity: Quantity, cause: Cause, conditions: BenchConditions
) -> Said | None:
    taken = conditions.oil_temperature
    if taken is None:
        from nozzlewright.analysis.trace.knowledge import TYPICAL_TEMPERATURE_K

        factor = THERMOMETER_K / TYPICAL_TEMPERATURE_K[1]
        return say(
            "The oil temperature was not taken. Taken to {doubt} K, it would be {would}.",
            doubt=figure(THERMOMETER_K, "g"),
            would=_wide(_scaled(quantity, {cause: factor})),
        )
    if taken.standard_uncertainty <= THERMOMETER_K * 1.01:
        return None
    factor = THERMOMETER_K / taken.standard_uncertainty
    return say(
        "The oil temperature is known to {now} K. Known to {doubt} K, it would be {would}.",
        now=figure(taken.standard_uncertainty, ".2g"),
        doubt=figure(THERMOMETER_K, "g"),
        would=_wide(_scaled(quantity, {cause: factor})),
    )


_GIVE = frozenset({"rig volume", "wall compliance", "walls of the rig", "fluid stiffness",
                   "bulk modulus"})  # fmt: skip
"""Causes for which a measured compliance of the rig stands in."""


def _give_measured(quantity: Quantity, conditions: BenchConditions) -> list[Said]:
    """Return what a measured compliance would do for a time that hangs on the rig's give."""
    if conditions.rig.compliance is not None or quantity.unit != "s" or not quantity.value > 0.0:
        return []
    parts = {c: p for c, p in quantity.contributions.items() if str(c.name) in _GIVE}
    together = math.hypot(*parts.values(), 0.0)
    if together**2 < WORTH_MENDING * quantity.standard_uncertainty**2:
        return []
    relative = together / quantity.value
    rest = {c: p for c, p in quantity.contributions.items() if c not in parts}
    measured = replace(
        quantity,
        contributions={**rest, Cause(say("rig compliance"), conditions.rig.identity): together / 2},
    )
    return [
        say(
            "How far the rig gives is known to {relative} by volume, walls and oil. Measured with "
            "a syringe to {half}, the uncertainty would be {would}.",
            relative=figure(relative, ".1%"),
            half=figure(relative / 2.0, ".1%"),
            would=_wide(measured),
        )
    ]


# -- as data and as text ---------------------------------------------------------------------------


def budget_as_data(budget: Budget) -> dict[str, Any]:
    """Return a budget as plain data for strict JSON, unrounded, in its trade unit."""
    return {
        "name": str(budget.name),
        "unit": budget.unit.plain,
        "standard_uncertainty": budget.standard_uncertainty,
        "coverage_factor": budget.coverage_factor,
        "effective_degrees_of_freedom": (
            budget.degrees_of_freedom if math.isfinite(budget.degrees_of_freedom) else None
        ),
        "causes": [
            {
                "cause": str(row.cause),
                "scope": str(row.scope),
                "source": str(row.source),
                "law": str(row.law),
                "standard_uncertainty": row.contribution,
                "relative": row.relative,
                "share_of_variance": row.share,
                "shared_with": [str(name) for name in row.shared_with],
            }
            for row in budget.rows
        ],
        "improve": [_flat(text) for text in budget.improve],
    }


def _flat(text: str) -> str:
    return str(text).replace("\N{NO-BREAK SPACE}", " ")


_CAUSE_WIDTH, _BAR_WIDTH, _LINE = 38, 20, 96


def budget_as_text(budget: Budget) -> str:
    """Return a budget as a table with bars for the terminal, 7-bit signs in the bars."""
    head = _flat(f"{budget.name}: {budget.value.text}, u = {budget.standard_text or '0'}")
    lines = [head]
    for row in budget.rows:
        bar = "#" * max(1, round(_BAR_WIDTH * row.share)) if row.share >= SMALL_SHARE else "."
        cells = f"  {_flat(row.cause):<{_CAUSE_WIDTH}} {_flat(row.text):>16} {row.share:>7.1%}  "
        lines.append(f"{cells}{bar}")
    lines += _wrapped(f"{budget.coverage} {budget.freedom}", "  ")
    for text in budget.improve:
        lines += _wrapped(f"- {text}", "  ")
    return "\n".join(lines)


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(_flat(text), _LINE, initial_indent=indent, subsequent_indent=indent + "  ")


def budgets_as_text(budgets: Sequence[tuple[str, Budget]]) -> str:
    """Return all budgets of a reading, one below the other."""
    if not budgets:
        return "Nothing was measured, so there is no budget."
    parts = ["What the uncertainty is made of"]
    parts += [budget_as_text(budget) for _, budget in budgets]
    return "\n\n".join([*parts, "\n".join(_wrapped(READING_RULE, ""))])


def heaped(budget: Budget, most: int) -> tuple[tuple[str, str, float, float], ...]:
    """Return the causes of a picture: (words, size, size over u, share), small ones in a heap.

    Parameters
    ----------
    budget : Budget
        Its rows are sorted already
    most : int
        Rows of the picture
    """
    rows = budget.rows
    if len(rows) <= 1:
        return tuple(_bar_of(row, budget) for row in rows)
    shown = [row for row in rows if row.share >= SMALL_SHARE][:most]
    left = rows[len(shown) :]
    if len(shown) == most and len(left) > 0:
        shown, left = shown[:-1], rows[len(shown) - 1 :]
    bars = [_bar_of(row, budget) for row in shown]
    if len(left) == 1:
        bars.append(_bar_of(left[0], budget))
    elif left:
        size = math.hypot(*(row.contribution for row in left))
        words = say("{count} smaller causes together", count=len(left))
        text = width_text(size, budget.unit)
        share = sum(row.share for row in left)
        bars.append((words, text, size / budget.standard_uncertainty, share))
    return tuple(bars)


def _bar_of(row: BudgetRow, budget: Budget) -> tuple[str, str, float, float]:
    return row.cause, row.text, row.contribution / budget.standard_uncertainty, row.share
