"""One act: judge an engine's set against its setting sheet, and say what to do next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

from nozzlewright.advice import Advice, advise_set
from nozzlewright.bench import (
    BenchConditions,
    Condition,
    EngineSet,
    FitterObservations,
    NozzleGeometry,
    SetInjector,
    SettingSheet,
    TestSitting,
)
from nozzlewright.capture import Recording
from nozzlewright.judging import SetVerdict, judge_set
from nozzlewright.report import SetReport, set_report
from nozzlewright.workflow.read_gauge import Evidence, RigLeaks, read_gauge


@dataclass(frozen=True)
class SittingEvidence:
    """What one test of one injector left behind."""

    evidence: Evidence | None
    """None where only the fitter's eye and ear were at work."""
    conditions: BenchConditions
    """The bench's, with what was particular to this test."""
    seen: FitterObservations
    shim_mm: float | None = None
    blank: Recording | None = None
    """Hold with the blank plug in the injector's place."""


@dataclass(frozen=True)
class InjectorEvidence:
    """One injector of the set."""

    cylinder: int
    identity: str
    as_found: SittingEvidence | None
    as_left: SittingEvidence | None


@dataclass(frozen=True)
class SetEvidence:
    """A set as it was handed in: everything but what follows from it."""

    booked: EngineSet
    """Engine, customer, symptoms and the rest that was noted; its injectors are yet to be read."""
    conditions: BenchConditions
    """Of the bench on that day."""
    injectors: tuple[InjectorEvidence, ...]


@dataclass(frozen=True)
class JudgedSet:
    """A set with all that follows from its evidence."""

    engine_set: EngineSet
    sheet: SettingSheet
    conditions: BenchConditions
    made_on: date
    verdict: SetVerdict
    advice: tuple[Advice, ...]

    @cached_property
    def report(self) -> SetReport:
        """What the report says: worded when it is asked for, since acts at the bench do not."""
        return set_report(
            self.engine_set, self.sheet, self.verdict, self.advice, self.conditions, self.made_on
        )


def judge_the_set(
    handed_in: SetEvidence,
    sheet: SettingSheet,
    made_on: date,
    tell: Callable[[str], None] = lambda _: None,
) -> JudgedSet:
    """Return verdicts, next actions and report of a set.

    Parameters
    ----------
    handed_in : SetEvidence
        Recordings, readings and observations
    sheet : SettingSheet
        What is asked
    made_on : datetime.date
        Date of the report
    tell : callable
        Is told what is being done, for a person who waits
    """
    condition = handed_in.booked.condition
    injectors, leaks = [], RigLeaks()
    for injector in handed_in.injectors:
        tell(f"reading injector {injector.cylinder}")
        injectors.append(
            SetInjector(
                cylinder=injector.cylinder,
                identity=injector.identity,
                as_found=_tested(injector.as_found, sheet, Condition.USED, leaks),
                as_left=_tested(injector.as_left, sheet, condition, leaks),
            )
        )
    tell("judging the set")
    engine_set = replace(handed_in.booked, injectors=tuple(injectors))
    return judge_tested_set(engine_set, sheet, handed_in.conditions, made_on)


def judge_tested_set(
    engine_set: EngineSet, sheet: SettingSheet, conditions: BenchConditions, made_on: date
) -> JudgedSet:
    """Return verdicts, next actions and report of a set whose evidence has been read.

    Parameters
    ----------
    engine_set : EngineSet
        Injectors with their findings
    sheet : SettingSheet
        What is asked
    conditions : BenchConditions
        Of the bench on that day
    made_on : datetime.date
        Date of the report
    """
    verdict = judge_set(engine_set, sheet)
    asked = asked_by(sheet, conditions, engine_set.condition)
    return JudgedSet(engine_set, sheet, asked, made_on, verdict, advise_set(verdict, sheet))


def _tested(
    sitting: SittingEvidence | None,
    sheet: SettingSheet,
    condition: Condition,
    leaks: RigLeaks,
) -> TestSitting | None:
    if sitting is None:
        return None
    gauge = None
    if sitting.evidence is not None:
        conditions = asked_by(sheet, sitting.conditions, condition)
        gauge = read_gauge(sitting.evidence, conditions, leaks.of(sitting.blank, conditions))
    return TestSitting(gauge=gauge, seen=sitting.seen, shim_mm=sitting.shim_mm)


def asked_by(
    sheet: SettingSheet, conditions: BenchConditions, condition: Condition
) -> BenchConditions:
    """Return the bench conditions with window, margin and dimensions as the sheet has them.

    What the sheet is silent about stays as the conditions state it.
    """
    band = sheet.opening_band(condition)
    target = band.target_pa if band is not None else conditions.opening_target_pa
    margin, seconds = conditions.seat_margin_pa, conditions.seat_hold_s
    if sheet.seat is not None:
        seconds = sheet.seat.seconds
        if sheet.seat.margin_pa is not None:
            margin = sheet.seat.margin_pa
        elif sheet.seat.fixed_pa is not None and target is not None:
            margin = target - sheet.seat.fixed_pa
    return replace(
        conditions,
        window=sheet.back_leakage.window if sheet.back_leakage else conditions.window,
        opening_target_pa=target,
        seat_margin_pa=margin,
        seat_hold_s=seconds,
        geometry=_joined(sheet.geometry, conditions.geometry),
    )


def _joined(first: NozzleGeometry, second: NozzleGeometry) -> NozzleGeometry:
    """Return the dimensions of the first, filled up from the second."""
    return NozzleGeometry(
        guide_diameter_m=first.guide_diameter_m or second.guide_diameter_m,
        seat_diameter_m=first.seat_diameter_m or second.seat_diameter_m,
        guide_length_m=first.guide_length_m or second.guide_length_m,
        body_diameter_m=first.body_diameter_m or second.body_diameter_m,
        spring_rate_n_per_m=first.spring_rate_n_per_m or second.spring_rate_n_per_m,
        two_spring=first.two_spring or second.two_spring,
    )
