"""Seat leakage: a tip watched while a pressure below the opening pressure is held.

A grade is evidence only together with the hold in which it was given. The needle is pressed on
its seat by what is left of the spring load, thus in proportion to the margin below the opening
pressure: a tip that stays dry far below it says little, and a drop closer to it than asked says
little as well.
"""

from __future__ import annotations

from dataclasses import replace

from nozzlewright.bench import SeatDemand, SeatHold, SettingSheet, TestSitting, TipGrade
from nozzlewright.judging.decision_rule import GUARD_FACTOR
from nozzlewright.judging.evidence import mentions, outside_leak, tip_grades
from nozzlewright.judging.verdict import BenchTest, Direction, Outcome, Verdict
from nozzlewright.judging.wording import about, bar, listed, seconds, stated
from nozzlewright.measurement import Measured, NotMeasured, Quantity
from nozzlewright.said import Said, say

LONGEST_HOLD = 2.0
"""A drop seen in a hold of more than this many times the time asked may have formed after it;
common practice, no source."""

TENTHS = 1
"""Decimals of time and pressure of a hold, in s and bar: no grade of a tip turns on less."""


def held_at(demand: SeatDemand) -> Said:
    """Return at which pressure the seat is to be held, in words."""
    if demand.margin_pa is not None:
        return say("{margin} below the opening pressure", margin=bar(demand.margin_pa))
    return say("at {pressure}", pressure=bar(demand.fixed_pa or 0.0))


def limit_text(demand: SeatDemand) -> Said:
    """Return what is asked of the seat, in words."""
    return say(
        "{tip} for {time}, {held} (as printed: {printed})",
        tip=say("tip damp allowed, no drop") if demand.damp_allowed else say("tip dry"),
        time=seconds(demand.seconds),
        held=held_at(demand),
        printed=demand.printed.text,
    )


def judge_seat(sitting: TestSitting, sheet: SettingSheet) -> Verdict:
    """Return the verdict on the needle seat."""
    demand = sheet.seat
    if demand is None:
        reasons = (say("The setting sheet asks nothing of the seat."),)
        return Verdict(BenchTest.SEAT, Outcome.NOT_ASKED, "", reasons)
    verdict = Verdict(BenchTest.SEAT, Outcome.NOT_DONE, limit_text(demand), ())
    grades = tip_grades(sitting)
    hold: SeatHold | NotMeasured = NotMeasured(say("there is neither a recording nor a card"))
    if sitting.gauge is not None:
        hold = sitting.gauge.seat_hold
    if isinstance(hold, NotMeasured):
        if not grades:
            why = say(
                "The seat was not tested: no tip was graded, and no hold: {reason}.",
                reason=hold.reason,
            )
            return replace(verdict, reasons=(why,))
        why = say(
            "The tip was graded {grade}, but the hold in which it was so is not on record "
            "({reason}): neither its pressure nor its time is known.",
            grade=grades[0],
            reason=hold.reason,
        )
        return replace(verdict, outcome=Outcome.TOO_CLOSE, measured=hold, reasons=(why,))
    if not grades:
        why = say(
            "The pressure was held for {time}, but nobody wrote down whether the tip stayed dry.",
            time=_words(hold.duration),
        )
        return replace(verdict, reasons=(why,))
    return _judge_hold(verdict, sitting, hold, demand, grades)


def _judge_hold(
    verdict: Verdict,
    sitting: TestSitting,
    hold: SeatHold,
    demand: SeatDemand,
    grades: tuple[TipGrade, ...],
) -> Verdict:
    worst = grades[0]
    tight = worst is TipGrade.DRY or (worst is TipGrade.DAMP and demand.damp_allowed)
    reasons = [
        say(
            "The tip was graded {grade} in a hold of {time}, {held}.",
            grade=worst,
            time=_words(hold.duration),
            held=_held(hold),
        )
    ]
    if len(grades) > 1:
        reasons.append(
            say(
                "It is graded {grades} in different places; the worst counts.",
                grades=listed(grades),
            )
        )
    doubts = _doubts_of_a_pass(hold, demand) if tight else _doubts_of_a_fail(hold, demand)
    leak = outside_leak(sitting)
    if not tight and leak:
        doubts.append(
            say(
                "Oil was seen outside as well ({leak}); it may have run down to the tip. Dry all, "
                "and watch again.",
                leak=leak,
            )
        )
    outcome = Outcome.PASS if tight else Outcome.FAIL
    if doubts:
        outcome = Outcome.TOO_CLOSE
    return replace(
        verdict,
        outcome=outcome,
        direction=Direction.WITHIN if tight else Direction.HIGH,
        measured=hold.margin_below_opening if demand.margin_pa is not None else hold.mean_pressure,
        reasons=(*reasons, *doubts),
    )


def _doubts_of_a_pass(hold: SeatHold, demand: SeatDemand) -> list[Said]:
    doubts = []
    pressure = _against_demand(hold, demand)
    if isinstance(pressure, NotMeasured):
        doubts.append(_margin_not_known(pressure))
    elif pressure.value + GUARD_FACTOR * pressure.standard_uncertainty < -demand.tolerance_pa:
        doubts.append(
            say(
                "The hold was {by} easier on the seat than asked: hold nearer to the opening "
                "pressure.",
                by=about(-pressure.value),
            )
        )
    quick = mentions(hold.cautions, "quick fall")
    if quick is not None:
        doubts.append(say("The pressure did not stay up: {fall}.", fall=quick.text))
    if isinstance(hold.duration, NotMeasured):
        doubts.append(_time_not_known(hold.duration))
    elif hold.duration.value + GUARD_FACTOR * hold.duration.standard_uncertainty < demand.seconds:
        doubts.append(
            say("It was not held for the {time} that are asked.", time=seconds(demand.seconds))
        )
    return doubts


def _doubts_of_a_fail(hold: SeatHold, demand: SeatDemand) -> list[Said]:
    doubts = []
    pressure = _against_demand(hold, demand)
    if isinstance(pressure, NotMeasured):
        doubts.append(_margin_not_known(pressure))
    elif pressure.value - GUARD_FACTOR * pressure.standard_uncertainty > demand.tolerance_pa:
        doubts.append(
            say(
                "The hold was {by} harder on the seat than asked: hold farther below the opening "
                "pressure.",
                by=about(pressure.value),
            )
        )
    if isinstance(hold.duration, NotMeasured):
        doubts.append(_time_not_known(hold.duration))
    elif hold.duration.value > LONGEST_HOLD * demand.seconds:
        doubts.append(
            say(
                "The hold lasted far longer than the {time} that are asked; when the tip got wet "
                "was not noted.",
                time=seconds(demand.seconds),
            )
        )
    return doubts


def _margin_not_known(missing: NotMeasured) -> Said:
    return say("Whether it was held as asked is not known: {reason}.", reason=missing.reason)


def _time_not_known(missing: NotMeasured) -> Said:
    return say("How long it was held is not known: {reason}.", reason=missing.reason)


def _against_demand(hold: SeatHold, demand: SeatDemand) -> Measured:
    """Return by how much the hold was harder on the seat than asked (nearer to opening), [Pa]."""
    if demand.margin_pa is not None:
        margin = hold.margin_below_opening
        if isinstance(margin, NotMeasured):
            return margin
        return replace(margin, value=demand.margin_pa - margin.value, interval=None)
    pressure = hold.mean_pressure
    if isinstance(pressure, NotMeasured):
        return pressure
    return replace(pressure, value=pressure.value - (demand.fixed_pa or 0.0), interval=None)


def _held(hold: SeatHold) -> Said:
    margin, mean = hold.margin_below_opening, hold.mean_pressure
    if isinstance(margin, Quantity):
        return say("{margin} below the opening pressure", margin=stated(margin, TENTHS))
    if isinstance(mean, Quantity):
        return say("at {pressure}", pressure=stated(mean, TENTHS))
    return say("at a pressure not known ({reason})", reason=mean.reason)


def _words(measured: Measured) -> Said:
    if isinstance(measured, Quantity):
        return stated(measured, TENTHS)
    return say("a time not known")
