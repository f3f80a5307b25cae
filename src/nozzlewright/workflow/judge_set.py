"""One act: judge an engine's set against its setting sheet, and say what to do next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

from nozzlewright.advice import Advice, SettingMeans, advise_set, learn
from nozzlewright.bench import (
    BenchConditions,
    Condition,
    EngineSet,
    FitterObservations,
    MeasuredSpring,
    NozzleGeometry,
    SetInjector,
    SettingSheet,
    TestSitting,
)
from nozzlewright.capture import Recording
from nozzlewright.judging import RigVerdict, SetVerdict, judge_set
from nozzlewright.report import (
    FittingSheet,
    SetInShort,
    SetReport,
    fitting_sheet,
    set_in_short,
    set_report,
)
from nozzlewright.workflow.read_gauge import Evidence, RigLeaks, read_gauge
from nozzlewright.workflow.rig_day import FolderChecks
from nozzlewright.workflow.setting_record import changes_of_set


@dataclass(frozen=True)
class SittingEvidence:
    """What one test of one injector left behind."""

    evidence: Evidence | None
    """None where only the fitter's eye and ear were at work."""
    conditions: BenchConditions
    """The bench's, with what was particular to this test."""
    seen: FitterObservations
    shim_mm: float | None = None
    spring: MeasuredSpring | None = None
    """Its spring as it was measured, where it was."""
    blank: Recording | None = None
    """Hold with the blank plug in the injector's place."""
    reference: Recording | None = None
    """Test of the reference nozzle in the check of the rig."""
    zero: Recording | None = None
    """The gauge at rest without pressure in that check."""


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
    rig: RigVerdict | None = None
    """Whether the rig of the tests was fit for use; None where nobody knows."""

    @cached_property
    def report(self) -> SetReport:
        """What the report says: worded when it is asked for, since acts at the bench do not."""
        return set_report(
            self.engine_set,
            self.sheet,
            self.verdict,
            self.advice,
            self.conditions,
            self.made_on,
            self.rig,
        )

    @cached_property
    def in_short(self) -> SetInShort:
        """What of the report a screen shows side by side."""
        return set_in_short(self.engine_set, self.sheet, self.verdict)

    @cached_property
    def fitting(self) -> FittingSheet:
        """What of the report goes to whoever fits the set."""
        return fitting_sheet(self.engine_set, self.sheet, self.verdict, self.advice)


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
    checks, day = FolderChecks(leaks), _day_of(handed_in.booked, made_on)
    for injector in handed_in.injectors:
        tell(f"reading injector {injector.cylinder}")
        injectors.append(
            SetInjector(
                cylinder=injector.cylinder,
                identity=injector.identity,
                as_found=_tested(injector.as_found, sheet, Condition.USED, leaks, checks, day),
                as_left=_tested(injector.as_left, sheet, condition, leaks, checks, day),
            )
        )
    tell("judging the set")
    engine_set = replace(handed_in.booked, injectors=tuple(injectors))
    return judge_tested_set(
        engine_set, sheet, handed_in.conditions, made_on, rig=_rig_of(handed_in, checks, day)
    )


def _day_of(booked: EngineSet, made_on: date) -> str:
    """Return the day of the set, where it is a date; else that of the report."""
    try:
        return date.fromisoformat(booked.date).isoformat()
    except ValueError:
        return made_on.isoformat()


def _rig_of(handed_in: SetEvidence, checks: FolderChecks, day: str) -> RigVerdict | None:
    """Return the verdict on the rig of the last test that was recorded or read."""
    sittings = [
        sitting
        for injector in handed_in.injectors
        for sitting in (injector.as_found, injector.as_left)
        if sitting is not None and sitting.evidence is not None
    ]
    return _rig_in(sittings[-1], checks, day) if sittings else None


def _rig_in(sitting: SittingEvidence, checks: FolderChecks, day: str) -> RigVerdict:
    return checks.of(sitting.conditions, day, sitting.blank, sitting.reference, sitting.zero)


def judge_tested_set(
    engine_set: EngineSet,
    sheet: SettingSheet,
    conditions: BenchConditions,
    made_on: date,
    setting: SettingMeans | None = None,
    rig: RigVerdict | None = None,
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
    setting : SettingMeans, optional
        What is known of the effect of shim or screw, and which shims there are; None: what the
        sheet says, and what the changes within the set itself show
    rig : RigVerdict, optional
        Whether the rig of the tests was fit for use
    """
    verdict = judge_set(engine_set, sheet)
    asked = asked_by(sheet, conditions, engine_set.condition)
    setting = setting or SettingMeans(learn(sheet, changes_of_set(engine_set)))
    advice = advise_set(verdict, sheet, setting)
    return JudgedSet(engine_set, sheet, asked, made_on, verdict, advice, rig)


def _tested(
    sitting: SittingEvidence | None,
    sheet: SettingSheet,
    condition: Condition,
    leaks: RigLeaks,
    checks: FolderChecks,
    day: str,
) -> TestSitting | None:
    if sitting is None:
        return None
    gauge = None
    objections: tuple[str, ...] = ()
    if sitting.evidence is not None:
        conditions = asked_by(sheet, sitting.conditions, condition)
        gauge = read_gauge(sitting.evidence, conditions, leaks.of(sitting.blank, conditions))
        objections = _rig_in(sitting, checks, day).objections
    return TestSitting(
        gauge=gauge,
        seen=sitting.seen,
        shim_mm=sitting.shim_mm,
        spring=sitting.spring,
        rig_objections=objections,
    )


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
