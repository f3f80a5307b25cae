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

FEWEST_IN_CHATTER = 2.0
"""Openings in one stroke that are chatter, by the word's meaning, [1]."""


def judge_opening(sitting: TestSitting, sheet: SettingSheet, condition: Condition) -> Verdict:
    """Return the verdict on the opening pressure, against the band for new or for used parts."""
    band = sheet.opening_band(condition)
    if band is None:
        reasons = (f"The setting sheet gives no opening pressure for {condition} parts.",)
        return Verdict(BenchTest.OPENING, Outcome.NOT_ASKED, "", reasons)
    limit = (
        f"{bar(band.lower_pa)} to {bar(band.upper_pa)}, {condition} parts "
        f"(as printed: {band.printed.text})"
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
        why = "The opening pressure was not tested: there is neither a recording nor a card."
        return replace(verdict, reasons=(why,))
    measured = sitting.gauge.opening_pressure
    if isinstance(measured, NotMeasured):
        return replace(
            verdict, measured=measured, reasons=not_measured("The opening pressure", measured)
        )
    decision = decide(measured, band.lower_pa, band.upper_pa, sheet.rule)
    outcome, doubt = hedged(decision.outcome, measured, sheet.rule)
    first = (
        f"It opens at {stated(measured)}, {_place(measured, band.lower_pa, band.upper_pa)}; "
        f"probability of conformity {percent(decision.probability_of_conformity)}."
    )
    told = [first]
    if doubt:
        told.append(doubt)
    cannot = ""
    if decision.outcome is Outcome.TOO_CLOSE:
        cannot = gauge_that_would_do(measured, band.lower_pa, band.upper_pa)
        told.append(
            "With this uncertainty no reading could prove the band."
            if cannot
            else "A limit lies within the uncertainty of the reading."
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


def _place(measured: Quantity, lower: float, upper: float) -> str:
    if measured.value < lower:
        return f"{about(lower - measured.value)} under the band"
    if measured.value > upper:
        return f"{about(measured.value - upper)} over the band"
    nearest = min(measured.value - lower, upper - measured.value)
    return f"{about(nearest)} inside the nearer limit"


def judge_chatter(sitting: TestSitting, sheet: SettingSheet) -> Verdict:
    """Return the verdict on chatter, by the fitter's ear and by openings per stroke."""
    demand = sheet.chatter
    if demand is None:
        reasons = ("The setting sheet asks nothing of chatter.",)
        return Verdict(BenchTest.CHATTER, Outcome.NOT_ASKED, "", reasons)
    asked = "any chatter" if demand.weak_allowed else "clear chatter"
    if demand.minimum_openings_per_stroke is not None:
        asked += f", at least {plain(demand.minimum_openings_per_stroke)} openings per quick stroke"
    verdict = Verdict(
        BenchTest.CHATTER,
        Outcome.NOT_DONE,
        f"{asked} (as printed: {demand.printed.text})",
        (),
        lower=demand.minimum_openings_per_stroke,
    )
    heard = sitting.seen.chatter
    chatter: Chatter | NotMeasured = NotMeasured("there is neither a recording nor a card")
    if sitting.gauge is not None:
        chatter = sitting.gauge.chatter
    counted = chatter if isinstance(chatter, NotMeasured) else chatter.openings_per_stroke
    if heard is None and isinstance(counted, NotMeasured):
        why = (
            f"Chatter was not tested: nobody graded it, and it was not counted ({counted.reason})."
        )
        return replace(verdict, reasons=(why,))
    findings: list[tuple[Outcome, str]] = []
    decision: Decision | None = None
    if heard is not None:
        findings.append(_by_ear(heard, demand))
    if demand.minimum_openings_per_stroke is not None:
        if isinstance(counted, NotMeasured):
            why = f"The openings per stroke were not counted, because {counted.reason}."
            findings.append((Outcome.TOO_CLOSE, why))
        else:
            decision = decide(counted, demand.minimum_openings_per_stroke, None, sheet.rule)
            why = (
                f"{stated(counted)} openings per quick stroke; probability of conformity "
                f"{percent(decision.probability_of_conformity)}."
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
    enough = "enough for this sheet" if good else "not enough for this sheet"
    return (Outcome.PASS if good else Outcome.FAIL), f"The fitter heard: {heard}; {enough}."


def _by_count_alone(
    counted: Quantity, demand: ChatterDemand, rule: DecisionRule
) -> tuple[Outcome, str]:
    """Return what openings counted in a stroke say where nobody listened.

    Two openings in one stroke are chatter. One alone is no proof of a fault: some nozzles
    chatter only at higher or lower strokes.
    """
    text = f"{stated(counted)} openings per quick stroke were counted; nobody graded it by ear"
    chatters = decide(counted, FEWEST_IN_CHATTER, None, rule).outcome is Outcome.PASS
    if demand.weak_allowed and chatters:
        return Outcome.PASS, f"{text}, but any chatter is enough for this sheet."
    return Outcome.TOO_CLOSE, f"{text}, and the sheet asks for more than a count can tell."


def judge_spray(sitting: TestSitting, sheet: SettingSheet) -> Verdict:
    """Return the verdict on the spray pattern, by the fitter's eye."""
    demand, seen = sheet.spray, sitting.seen
    note = f" ({seen.spray_note})" if seen.spray_note else ""
    if demand is None:
        reasons = ("The setting sheet asks nothing of the spray.",)
        return Verdict(BenchTest.SPRAY, Outcome.NOT_ASKED, "", reasons)
    limit = f"as printed: {demand.printed.text}"
    if seen.spray is None:
        reasons = ("The spray was not graded.",)
        return Verdict(BenchTest.SPRAY, Outcome.NOT_DONE, limit, reasons)
    outcome = Outcome.PASS if seen.spray is SprayGrade.GOOD else Outcome.FAIL
    reasons = (f"The fitter saw: {seen.spray}{note}.",)
    return Verdict(BenchTest.SPRAY, outcome, limit, reasons)


def judge_inspection(sitting: TestSitting) -> Verdict:
    """Return the verdict on the parts as seen, needle slide test included.

    No sheet asks for it, so nothing written down is *not asked*; what was written down counts.
    """
    seen = sitting.seen
    bad = [one for one in seen.inspection if one.severity is not Severity.NOTE]
    bad.sort(key=lambda one: one.severity is not Severity.RENEW)
    reasons = [f"{one.part}: {one.seen} ({one.severity})." for one in bad]
    if seen.needle_slide is False:
        reasons.append("The wetted needle did not slide freely to its seat.")
    limit = "no part to rework or renew; the wetted needle slides to its seat by its own weight"
    if reasons:
        return Verdict(BenchTest.INSPECTION, Outcome.FAIL, limit, tuple(reasons))
    if not seen.inspection and seen.needle_slide is None:
        why = ("Nothing was written down of an inspection.",)
        return Verdict(BenchTest.INSPECTION, Outcome.NOT_ASKED, "", why)
    done = [f"{one.part}: {one.seen}." for one in seen.inspection]
    if seen.needle_slide:
        done.append("The wetted needle slid freely to its seat.")
    return Verdict(BenchTest.INSPECTION, Outcome.PASS, limit, tuple(done))
