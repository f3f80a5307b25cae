"""Opening pressure, chatter, spray and inspection of one sitting against the sheet."""

from __future__ import annotations

from dataclasses import replace

from nozzlewright.bench import (
    Chatter,
    ChatterDemand,
    ChatterGrade,
    Condition,
    DecisionRule,
    SettingSheet,
    Severity,
    SprayGrade,
    TestSitting,
)
from nozzlewright.judging.decision_rule import Decision, decide
from nozzlewright.judging.evidence import hedged
from nozzlewright.judging.gauge_choice import gauge_that_would_do
from nozzlewright.judging.verdict import BenchTest, Direction, Outcome, Verdict
from nozzlewright.judging.wording import about, bar, not_measured, percent, plain, stated
from nozzlewright.measurement import NotMeasured, Quantity
from nozzlewright.said import Said, say

FEWEST_IN_CHATTER = 2.0
"""Openings in one stroke that are chatter, by the word's meaning, [1]."""
_PARTS = {Condition.NEW: say("new parts"), Condition.USED: say("used parts")}


def judge_opening(sitting: TestSitting, sheet: SettingSheet, condition: Condition) -> Verdict:
    """Return the verdict on the opening pressure, against the band for new or for used parts."""
    band = sheet.opening_band(condition)
    if band is None:
        reasons = (
            say(
                "The setting sheet gives no opening pressure for {parts}.", parts=_PARTS[condition]
            ),
        )
        return Verdict(BenchTest.OPENING, Outcome.NOT_ASKED, "", reasons)
    limit = say(
        "{lower} to {upper}, {parts} (as printed: {printed})",
        lower=bar(band.lower_pa),
        upper=bar(band.upper_pa),
        parts=_PARTS[condition],
        printed=band.printed.text,
    )
    verdict = Verdict(
        BenchTest.OPENING,
        Outcome.NOT_DONE,
        limit,
        (),
        lower=band.lower_pa,
        upper=band.upper_pa,
    )
    if sitting.gauge is None:
        why = say("The opening pressure was not tested: there is neither a recording nor a card.")
        return replace(verdict, reasons=(why,))
    measured = sitting.gauge.opening_pressure
    if isinstance(measured, NotMeasured):
        return replace(
            verdict,
            measured=measured,
            reasons=not_measured(say("The opening pressure"), measured),
        )
    decision = decide(measured, band.lower_pa, band.upper_pa, sheet.rule)
    outcome, doubt = hedged(decision.outcome, measured, sheet.rule)
    first = say(
        "It opens at {value}, {place}; probability of conformity {chance}.",
        value=stated(measured, lower=band.lower_pa, upper=band.upper_pa),
        place=_place(measured, band.lower_pa, band.upper_pa),
        chance=percent(decision.probability_of_conformity),
    )
    told: list[str] = [first]
    if doubt:
        told.append(doubt)
    cannot = ""
    if decision.outcome is Outcome.TOO_CLOSE:
        cannot = gauge_that_would_do(measured, band.lower_pa, band.upper_pa)
        told.append(
            say("With this uncertainty no reading could prove the band.")
            if cannot
            else say("A limit lies within the uncertainty of the reading.")
        )
    return replace(
        verdict,
        outcome=outcome,
        rule=sheet.rule,
        measured=measured,
        direction=decision.direction,
        probability_of_conformity=decision.probability_of_conformity,
        reasons=tuple(told),
        cannot_judge=cannot,
    )


def _place(measured: Quantity, lower: float, upper: float) -> Said:
    if measured.value < lower:
        return say("{by} under the band", by=about(lower - measured.value))
    if measured.value > upper:
        return say("{by} over the band", by=about(measured.value - upper))
    nearest = min(measured.value - lower, upper - measured.value)
    return say("{by} inside the nearer limit", by=about(nearest))


def judge_chatter(sitting: TestSitting, sheet: SettingSheet) -> Verdict:
    """Return the verdict on chatter, by the fitter's ear and by openings per stroke."""
    demand = sheet.chatter
    if demand is None:
        reasons = (say("The setting sheet asks nothing of chatter."),)
        return Verdict(BenchTest.CHATTER, Outcome.NOT_ASKED, "", reasons)
    asked = say("any chatter") if demand.weak_allowed else say("clear chatter")
    if demand.minimum_openings_per_stroke is not None:
        asked = say(
            "{asked}, at least {count} openings per quick stroke",
            asked=asked,
            count=plain(demand.minimum_openings_per_stroke),
        )
    verdict = Verdict(
        BenchTest.CHATTER,
        Outcome.NOT_DONE,
        say("{asked} (as printed: {printed})", asked=asked, printed=demand.printed.text),
        (),
        lower=demand.minimum_openings_per_stroke,
    )
    heard = sitting.seen.chatter
    chatter: Chatter | NotMeasured = NotMeasured(say("there is neither a recording nor a card"))
    if sitting.gauge is not None:
        chatter = sitting.gauge.chatter
    counted = chatter if isinstance(chatter, NotMeasured) else chatter.openings_per_stroke
    if heard is None and isinstance(counted, NotMeasured):
        why = say(
            "Chatter was not tested: nobody graded it, and it was not counted ({reason}).",
            reason=counted.reason,
        )
        return replace(verdict, reasons=(why,))
    findings: list[tuple[Outcome, str]] = []
    decision: Decision | None = None
    if heard is not None:
        findings.append(_by_ear(heard, demand))
    if demand.minimum_openings_per_stroke is not None:
        if isinstance(counted, NotMeasured):
            why = say(
                "The openings per stroke were not counted, because {reason}.",
                reason=counted.reason,
            )
            findings.append((Outcome.TOO_CLOSE, why))
        else:
            decision = decide(counted, demand.minimum_openings_per_stroke, None, sheet.rule)
            why = say(
                "{count} openings per quick stroke; probability of conformity {chance}.",
                count=stated(counted, lower=demand.minimum_openings_per_stroke),
                chance=percent(decision.probability_of_conformity),
            )
            findings.append((decision.outcome, why))
    elif heard is None and isinstance(counted, Quantity):
        findings.append(_by_count_alone(counted, demand, sheet.rule))
    order = (Outcome.FAIL, Outcome.TOO_CLOSE, Outcome.PASS)
    findings.sort(key=lambda finding: order.index(finding[0]))
    outcome = findings[0][0]
    return replace(
        verdict,
        outcome=outcome,
        rule=decision.rule if decision else None,
        measured=counted,
        direction=Direction.LOW if outcome is Outcome.FAIL else Direction.WITHIN,
        probability_of_conformity=decision.probability_of_conformity if decision else None,
        reasons=tuple(text for _, text in findings),
    )


def _by_ear(heard: ChatterGrade, demand: ChatterDemand) -> tuple[Outcome, str]:
    good = heard is ChatterGrade.CLEAR or (heard is ChatterGrade.WEAK and demand.weak_allowed)
    if good:
        return Outcome.PASS, say("The fitter heard: {heard}; enough for this sheet.", heard=heard)
    return Outcome.FAIL, say("The fitter heard: {heard}; not enough for this sheet.", heard=heard)


def _by_count_alone(
    counted: Quantity, demand: ChatterDemand, rule: DecisionRule
) -> tuple[Outcome, str]:
    """Return what openings counted in a stroke say where nobody listened.

    Two openings in one stroke are chatter. One alone is no proof of a fault: some nozzles
    chatter only at higher or lower strokes.
    """
    text = say(
        "{count} openings per quick stroke were counted; nobody graded it by ear",
        count=stated(counted),
    )
    chatters = decide(counted, FEWEST_IN_CHATTER, None, rule).outcome is Outcome.PASS
    if demand.weak_allowed and chatters:
        return Outcome.PASS, say("{text}, but any chatter is enough for this sheet.", text=text)
    return Outcome.TOO_CLOSE, say(
        "{text}, and the sheet asks for more than a count can tell.", text=text
    )


def judge_spray(sitting: TestSitting, sheet: SettingSheet) -> Verdict:
    """Return the verdict on the spray pattern, by the fitter's eye."""
    demand, seen = sheet.spray, sitting.seen
    if demand is None:
        reasons = (say("The setting sheet asks nothing of the spray."),)
        return Verdict(BenchTest.SPRAY, Outcome.NOT_ASKED, "", reasons)
    limit = say("as printed: {printed}", printed=demand.printed.text)
    if seen.spray is None:
        reasons = (say("The spray was not graded."),)
        return Verdict(BenchTest.SPRAY, Outcome.NOT_DONE, limit, reasons)
    outcome = Outcome.PASS if seen.spray is SprayGrade.GOOD else Outcome.FAIL
    saw = say("The fitter saw: {spray}.", spray=seen.spray)
    if seen.spray_note:
        saw = say("The fitter saw: {spray} ({note}).", spray=seen.spray, note=seen.spray_note)
    return Verdict(BenchTest.SPRAY, outcome, limit, (saw,))


def judge_inspection(sitting: TestSitting) -> Verdict:
    """Return the verdict on the parts as seen, needle slide test included.

    No sheet asks for it, so nothing written down is *not asked*; what was written down counts.
    """
    seen = sitting.seen
    bad = [one for one in seen.inspection if one.severity is not Severity.NOTE]
    bad.sort(key=lambda one: one.severity is not Severity.RENEW)
    reasons = [
        say("{part}: {seen} ({asks}).", part=one.part, seen=one.seen, asks=one.severity)
        for one in bad
    ]
    if seen.needle_slide is False:
        reasons.append(say("The wetted needle did not slide freely to its seat."))
    limit = say(
        "no part to rework or renew; the wetted needle slides to its seat by its own weight"
    )
    if reasons:
        return Verdict(BenchTest.INSPECTION, Outcome.FAIL, limit, tuple(reasons))
    if not seen.inspection and seen.needle_slide is None:
        why = (say("Nothing was written down of an inspection."),)
        return Verdict(BenchTest.INSPECTION, Outcome.NOT_ASKED, "", why)
    done = [say("{part}: {seen}.", part=one.part, seen=one.seen) for one in seen.inspection]
    if seen.needle_slide:
        done.append(say("The wetted needle slid freely to its seat."))
    return Verdict(BenchTest.INSPECTION, Outcome.PASS, limit, tuple(done))
