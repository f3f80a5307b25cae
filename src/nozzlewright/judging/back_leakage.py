"""Back-leakage: whether the fall of pressure is within its limits, and whose leak it is.

A fall that is too fast has four possible paths: the rig, a pressure face or outside joint, the
needle seat, the guide. Pressure alone cannot tell them apart, so the guide is named only where
the other three are ruled out by evidence of their own.

Where the rig itself was out in its check, the verdict is withheld: what was measured stays shown,
and it neither passes nor fails.
"""

from __future__ import annotations

from dataclasses import replace

from nozzlewright.bench import (
    BackLeakageDemand,
    DecisionRule,
    Hold,
    LeakOffDemand,
    SeatHold,
    SettingSheet,
    TestSitting,
    TipGrade,
    TipWatch,
)
from nozzlewright.judging.decision_rule import decide
from nozzlewright.judging.evidence import hedged, mentions, outside_leak, tip_grades, watches
from nozzlewright.judging.verdict import BenchTest, Direction, LeakPath, Outcome, Verdict
from nozzlewright.judging.wording import (
    bar,
    listed,
    not_measured,
    percent,
    remedy,
    seconds,
    stated,
    with_unit,
)
from nozzlewright.measurement import Cause, Caution, Measured, NotMeasured, Quantity
from nozzlewright.said import Said, figure, joined, say

WINDOW_TOLERANCE = 0.005
"""How far a window may differ and still be the sheet's, as a share of its pressure, [1]."""
COUNT_STANDARD_UNCERTAINTY = 1.0 / 3.0**0.5
"""Of a count of drops: one may just have fallen or be about to, at either end; rectangular
± 1 drop, [drops]."""
_DROP_TIME = say("The drop time")


def judge_back_leakage(sitting: TestSitting, sheet: SettingSheet) -> Verdict:
    """Return the verdict on all that the sheet asks of back-leakage: drop time, drops counted."""
    verdicts = []
    if sheet.back_leakage is not None:
        verdicts.append(_judge_drop(sitting, sheet.back_leakage, sheet.rule))
    if sheet.leak_off is not None:
        verdicts.append(_judge_leak_off(sitting, sheet.leak_off, sheet.rule))
    if not verdicts:
        return Verdict(
            BenchTest.BACK_LEAKAGE,
            Outcome.NOT_ASKED,
            "",
            (say("The setting sheet asks nothing of back-leakage."),),
        )
    order = (Outcome.FAIL, Outcome.TOO_CLOSE, Outcome.NOT_DONE, Outcome.PASS)
    worst = min(verdicts, key=lambda verdict: order.index(verdict.outcome))
    others = tuple(reason for v in verdicts if v is not worst for reason in v.reasons)
    limits = joined("; ", [verdict.limit for verdict in verdicts])
    whole = replace(worst, limit=limits, reasons=(*worst.reasons, *others))
    return _withheld(whole, sitting.rig_objections)


def _withheld(verdict: Verdict, objections: tuple[str, ...]) -> Verdict:
    """Return the verdict as it stands on a rig that is out: the number stays, the verdict goes."""
    if not objections or verdict.outcome is Outcome.NOT_DONE:
        return verdict
    first = say("No verdict: the rig was out. {why:capital}", why=objections[0])
    return replace(
        verdict,
        outcome=Outcome.WITHHELD,
        probability_of_conformity=None,
        reasons=(first, *objections[1:], *verdict.reasons),
        leak_paths=(),
    )


def limit_text(demand: BackLeakageDemand) -> Said:
    """Return what is asked of the drop time, in words."""
    window = demand.window
    times = []
    if demand.at_least_s is not None:
        times.append(say("not under {time}", time=seconds(demand.at_least_s)))
    if demand.at_most_s is not None:
        times.append(say("not over {time}", time=seconds(demand.at_most_s)))
    asked = [
        say(
            "from {start} to {end} {times}",
            start=bar(window.from_pa),
            end=bar(window.to_pa),
            times=listed(times),
        )
    ]
    if window.reference_temperature_k is not None:
        celsius = figure(window.reference_temperature_k - 273.15, ".0f")
        asked.append(say("at {temperature} °C", temperature=celsius))
    if window.reference_compliance is not None:
        softness = figure(window.reference_compliance.value * 1e14, ".3g", "mm³/bar")
        asked.append(say("rig of {compliance}", compliance=with_unit(softness, "mm³/bar")))
    return say(
        "{asked} (as printed: {printed})", asked=joined(", ", asked), printed=demand.printed.text
    )


def _judge_drop(sitting: TestSitting, demand: BackLeakageDemand, rule: DecisionRule) -> Verdict:
    verdict = Verdict(
        BenchTest.BACK_LEAKAGE,
        Outcome.NOT_DONE,
        limit_text(demand),
        (),
        lower=demand.at_least_s,
        upper=demand.at_most_s,
    )
    if sitting.gauge is None:
        why = say("The drop was not timed: there is neither a recording nor a card of readings.")
        return replace(verdict, reasons=(why,))
    hold = sitting.gauge.hold
    if isinstance(hold, NotMeasured):
        return replace(verdict, measured=hold, reasons=not_measured(_DROP_TIME, hold))
    at_reference = hold.drop_time_at_reference
    if isinstance(at_reference, Quantity):
        return _decide_drop(verdict, sitting, hold, at_reference, demand, rule)
    as_shown = hold.drop_time_as_shown
    if isinstance(as_shown, NotMeasured):
        return replace(verdict, measured=as_shown, reasons=not_measured(_DROP_TIME, as_shown))
    if not _names_reference(demand):
        return _decide_drop(verdict, sitting, hold, as_shown, demand, rule, injector_alone=False)
    guess = decide(as_shown, demand.at_least_s, demand.at_most_s, rule)
    first = say(
        "The drop took {time} as the gauge showed it, but the limit holds at reference conditions, "
        "and the time there was not measured, because {reason}.",
        time=stated(as_shown),
        reason=at_reference.reason,
    )
    why = say(
        "Cold oil and a large rig make the fall slow, warm oil and a small one make it fast; as "
        "shown it neither passes nor fails."
    )
    reasons = (first, why, *remedy(at_reference))
    return replace(
        verdict,
        outcome=Outcome.TOO_CLOSE,
        measured=as_shown,
        direction=guess.direction,
        reasons=reasons,
        leak_paths=_open_paths(sitting, hold) if guess.direction is Direction.LOW else (),
    )


def _names_reference(demand: BackLeakageDemand) -> bool:
    window = demand.window
    return (
        window.reference_temperature_k is not None
        or window.reference_compliance is not None
        or demand.reference_viscosity_m2_per_s is not None
    )


def _decide_drop(
    verdict: Verdict,
    sitting: TestSitting,
    hold: Hold,
    measured: Quantity,
    demand: BackLeakageDemand,
    rule: DecisionRule,
    *,
    injector_alone: bool = True,
) -> Verdict:
    decision = decide(measured, demand.at_least_s, demand.at_most_s, rule)
    outcome = decision.outcome
    outcome, doubt = hedged(outcome, measured, rule)
    doubts = [doubt] if doubt else []
    for objection in _objections(
        outcome, decision.direction, hold, measured, demand, rule,
        injector_alone=injector_alone,
        of_the_gauge=sitting.gauge.cautions if sitting.gauge is not None else (),
    ):  # fmt: skip
        outcome = Outcome.TOO_CLOSE
        doubts.append(objection)
    too_fast = decision.direction is Direction.LOW
    paths = _open_paths(sitting, hold) if too_fast else ()
    took = stated(measured, lower=demand.at_least_s, upper=demand.at_most_s)
    chance = percent(decision.probability_of_conformity)
    if injector_alone:
        first = say(
            "The drop of the injector alone took {time}; probability of conformity {chance}.",
            time=took,
            chance=chance,
        )
    else:
        first = say(
            "The drop as the gauge showed it took {time}; probability of conformity {chance}.",
            time=took,
            chance=chance,
        )
    reasons = [first, *doubts]
    if too_fast:
        reasons.append(_whose_leak(paths, sitting, hold))
    elif decision.direction is Direction.HIGH:
        reasons.append(
            say(
                "Too little leakage: the needle may be tight in its guide (lacquer, a bent or "
                "crossed pair), or the oil colder than stated. It starves the guide of oil."
            )
        )
    elif outcome is Outcome.TOO_CLOSE and not doubts:
        reasons.append(say("The limit lies within the uncertainty of the time."))
    return replace(
        verdict,
        outcome=outcome,
        measured=measured,
        rule=rule,
        direction=decision.direction,
        probability_of_conformity=decision.probability_of_conformity,
        reasons=tuple(reasons),
        leak_paths=paths,
    )


def _objections(
    outcome: Outcome,
    direction: Direction,
    hold: Hold,
    measured: Quantity,
    demand: BackLeakageDemand,
    rule: DecisionRule,
    *,
    injector_alone: bool,
    of_the_gauge: tuple[Caution, ...],
) -> list[Said]:
    """Return why the number, taken alone, proves neither a pass nor a fail."""
    cautions: tuple[Caution, ...] = (*measured.cautions, *hold.cautions)
    if not injector_alone:
        cautions += of_the_gauge
    objections = []
    if not _same_window(hold, demand):
        objections.append(
            say(
                "The time is not known to be that of the sheet's window: name the same two "
                "pressures in the bench conditions or on the card."
            )
        )
    if demand.reference_viscosity_m2_per_s is not None:
        viscosity = figure(demand.reference_viscosity_m2_per_s * 1e6, ".3g")
        objections.append(
            say(
                "The sheet's limit holds for a fluid of {viscosity} mm²/s, while the time is for "
                "the fluid on the bench: use such a fluid and leave that line out of the sheet.",
                viscosity=viscosity,
            )
        )
    rig_known = _rig_known(hold)
    if outcome is Outcome.PASS:
        air = mentions(cautions, "air")
        if air is not None:
            objections.append(
                say("Air in the rig slows the fall and flatters the guide: {air}.", air=air.text)
            )
        if demand.at_most_s is not None and not rig_known:
            objections.append(
                say(
                    "The rig's own leak is not known; without it the injector alone would fall "
                    "more slowly, perhaps more slowly than allowed. Make a blank-plug recording."
                )
            )
    if outcome is Outcome.FAIL and direction is Direction.LOW:
        heat = mentions(cautions, "heat", "cooling", "settling")
        if heat is not None and not injector_alone:
            objections.append(
                say(
                    "Oil that cools after quick pumping falls in pressure without any leak: "
                    "{heat}.",
                    heat=heat.text,
                )
            )
        if not rig_known:
            objections.append(
                say(
                    "The rig's own leak is not known, and it may be what made the fall fast: make "
                    "a blank-plug recording."
                )
            )
        elif not injector_alone and not _fails_without_rig(hold, measured, demand, rule):
            objections.append(say("Without the rig's own share of the leak it would not fail."))
    return objections


def _same_window(hold: Hold, demand: BackLeakageDemand) -> bool:
    pairs = (
        (hold.window_from_pa, demand.window.from_pa),
        (hold.window_to_pa, demand.window.to_pa),
    )
    return all(
        have is not None and abs(have - asked) <= WINDOW_TOLERANCE * asked for have, asked in pairs
    )


def _fails_without_rig(
    hold: Hold, as_shown: Quantity, demand: BackLeakageDemand, rule: DecisionRule
) -> bool:
    """Return whether the time still fails when the rig's share of the leak is taken off it."""
    rig, injector = hold.rig_conductance, hold.leakage_conductance
    if isinstance(rig, NotMeasured) or isinstance(injector, NotMeasured):
        return False
    if injector.value <= 0.0:
        return False
    longer = (rig.value + injector.value) / injector.value
    alone = replace(
        as_shown,
        value=as_shown.value * longer,
        contributions={cause: part * longer for cause, part in as_shown.contributions.items()},
        interval=None
        if as_shown.interval is None
        else (as_shown.interval[0] * longer, as_shown.interval[1] * longer),
    )
    return decide(alone, demand.at_least_s, demand.at_most_s, rule).outcome is Outcome.FAIL


def _rig_known(hold: Hold) -> bool:
    """Return whether the rig's own leak was measured.

    As a leakage in volume it needs the rig's compliance; from a time it is taken off without.
    """
    if mentions(hold.cautions, "rig leak not known") is not None:
        return False
    return hold.rig_leak_taken_off or isinstance(hold.rig_conductance, Quantity)


def _open_paths(sitting: TestSitting, hold: Hold) -> tuple[LeakPath, ...]:
    """Return the leak paths that nothing rules out, those outside the pair first."""
    paths = []
    if not _rig_known(hold):
        paths.append(LeakPath.RIG)
    if _seen_outside(sitting, hold):
        paths.append(LeakPath.FACE)
    if not _stayed_dry(sitting, hold):
        paths.append(LeakPath.SEAT)
    return (*paths, LeakPath.GUIDE)


def _seen_outside(sitting: TestSitting, hold: Hold) -> str:
    return outside_leak(sitting) or hold.tip.outside_leak


def _stayed_dry(sitting: TestSitting, hold: Hold) -> bool:
    """Return whether the tip is known to have stayed dry, in the drop and in the seat hold."""
    graded = {*tip_grades(sitting), hold.tip.grade} - {None}
    return graded == {TipGrade.DRY}


def _whose_leak(paths: tuple[LeakPath, ...], sitting: TestSitting, hold: Hold) -> Said:
    if paths == (LeakPath.GUIDE,):
        return say(
            "The rig is measured, the tip stayed dry and nothing was seen to leak outside: the "
            "oil goes past the needle guide, or across a pressure face into the leak-off."
        )
    grades = tip_grades(sitting) or ((hold.tip.grade,) if hold.tip.grade else ())
    tip = say("tip {grade}", grade=grades[0]) if grades else say("nobody graded the tip")
    why = {
        LeakPath.RIG: say("the rig (its own leak is not measured)"),
        LeakPath.FACE: say("a joint or face ({where})", where=_seen_outside(sitting, hold)),
        LeakPath.SEAT: say("the seat ({tip})", tip=tip),
        LeakPath.GUIDE: say("the guide"),
    }
    return say(
        "Which leak it is cannot be told: {paths} remain.",
        paths=listed([why[path] for path in paths]),
    )


def _watch_of_the_fall(sitting: TestSitting) -> tuple[TipWatch, ...]:
    """Return what was seen while the fall was timed, where it was."""
    if sitting.gauge is None or not isinstance(sitting.gauge.hold, Hold):
        return ()
    return (sitting.gauge.hold.tip,)


def _judge_leak_off(sitting: TestSitting, demand: LeakOffDemand, rule: DecisionRule) -> Verdict:
    bounds = []
    if demand.at_least_drops is not None:
        bounds.append(say("at least {number}", number=demand.at_least_drops))
    if demand.at_most_drops is not None:
        bounds.append(say("at most {number}", number=demand.at_most_drops))
    limit = say(
        "leak-off at {pressure}: {bounds} drops in {time} (as printed: {printed})",
        pressure=bar(demand.pressure_pa),
        bounds=listed(bounds),
        time=seconds(demand.seconds),
        printed=demand.printed.text,
    )
    verdict = Verdict(BenchTest.BACK_LEAKAGE, Outcome.NOT_DONE, limit, ())
    watch = next(
        (
            one
            for one in (*watches(sitting), *_watch_of_the_fall(sitting))
            if one.leak_off_drops is not None and one.leak_off_seconds
        ),
        None,
    )
    if watch is None or watch.leak_off_drops is None or not watch.leak_off_seconds:
        why = say("The drops at the leak-off were not counted and timed.")
        return replace(verdict, reasons=(why,))
    scale = demand.seconds / watch.leak_off_seconds
    count = Quantity(
        watch.leak_off_drops * scale,
        "1",
        {Cause(say("counting drops"), "leak-off"): COUNT_STANDARD_UNCERTAINTY * scale},
        method=say(
            "{drops} drops in {time} s, brought to {asked} s",
            drops=watch.leak_off_drops,
            time=figure(watch.leak_off_seconds, "g"),
            asked=figure(demand.seconds, "g"),
        ),
    )
    lower = None if demand.at_least_drops is None else float(demand.at_least_drops)
    upper = None if demand.at_most_drops is None else float(demand.at_most_drops)
    decision = decide(count, lower, upper, rule)
    outcome = decision.outcome
    first = say(
        "{drops} drops in {time} are {count} in {asked}; probability of conformity {chance}.",
        drops=watch.leak_off_drops,
        time=seconds(watch.leak_off_seconds),
        count=stated(count, lower=lower, upper=upper),
        asked=seconds(demand.seconds),
        chance=percent(decision.probability_of_conformity),
    )
    reasons = [first]
    held = sitting.gauge.seat_hold if sitting.gauge is not None else None
    read_pa = sitting.seen.leak_off_pa
    pressure: Measured = (
        Quantity(read_pa, "Pa", {}, say("as read while they were counted"))
        if read_pa is not None
        else held.mean_pressure
        if isinstance(held, SeatHold)
        else NotMeasured(say("no hold was recorded with the count"))
    )
    if isinstance(pressure, NotMeasured):
        outcome = Outcome.TOO_CLOSE
        reasons.append(
            say(
                "At which pressure they were counted is not known: {reason}.",
                reason=pressure.reason,
            )
        )
    else:
        reach = demand.tolerance_pa + 1.96 * pressure.standard_uncertainty
        if abs(pressure.value - demand.pressure_pa) > reach:
            outcome = Outcome.TOO_CLOSE
            reasons.append(
                say(
                    "They were counted at {pressure}, not at {asked}.",
                    pressure=stated(pressure),
                    asked=bar(demand.pressure_pa),
                )
            )
    reasons.append(
        say(
            "A count of drops goes with the viscosity: it compares only at the sheet's oil and "
            "temperature."
        )
    )
    # Oil at the leak-off came through the holder, so rig and seat are out of it. A pressure face
    # that leaks inwards gives it too, and no reference conditions stand behind a count.
    paths = (LeakPath.FACE, LeakPath.GUIDE) if decision.direction is Direction.HIGH else ()
    return replace(
        verdict,
        outcome=outcome,
        rule=rule,
        measured=count,
        lower=lower,
        upper=upper,
        direction=decision.direction,
        probability_of_conformity=decision.probability_of_conformity,
        reasons=tuple(reasons),
        leak_paths=paths,
    )
