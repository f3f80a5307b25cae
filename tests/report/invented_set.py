"""An invented set with made-up findings, put together by hand for the report's tests.

Nothing here was measured and nothing was analysed; the trace is drawn so that each mark of the
figure has something to stand on.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import numpy as np

from nozzlewright.advice.next_action import ActionKind, Advice, NextAction
from nozzlewright.advice.plan import advise_set
from nozzlewright.bench import (
    Adjustment,
    AsPrinted,
    BackLeakageDemand,
    BenchConditions,
    BlankPlug,
    Chatter,
    ChatterDemand,
    ChatterGrade,
    Condition,
    DecisionRule,
    DropWindow,
    EngineSet,
    FitterObservations,
    Fluid,
    Gauge,
    GaugeFindings,
    Hold,
    InspectionFinding,
    NozzleGeometry,
    Opening,
    OpeningBand,
    Rig,
    SeatDemand,
    SeatHold,
    SetInjector,
    SettingSheet,
    Severity,
    SprayDemand,
    SprayGrade,
    Stroke,
    StrokeKind,
    TestSitting,
    TipGrade,
    TipWatch,
    Torque,
)
from nozzlewright.capture import Recording
from nozzlewright.judging.engine_set import judge_set
from nozzlewright.judging.verdict import (
    BenchTest,
    Direction,
    InjectorOutcome,
    InjectorVerdict,
    OddOneOut,
    Outcome,
    SetVerdict,
    Verdict,
)
from nozzlewright.measurement import Cause, Caution, NotMeasured, Quantity
from nozzlewright.report import SetReport, set_report

MADE_ON = date(2025, 3, 14)
_BAR = 1e5
_LEVEL = Cause("gauge level", "sitting A")
_SETTLING = Caution(
    "compression heat", "the first 2.4 s fall faster than the leak; they are left out of the fit"
)


def opening_pressure(bar: float, *, level_bar: float = 1.2, repeat_bar: float = 0.25) -> Quantity:
    return Quantity(
        bar * _BAR,
        "Pa",
        {
            _LEVEL: level_bar * _BAR,
            Cause("repeatability", f"{bar}"): repeat_bar * _BAR,
            Cause("resolution"): 0.03 * _BAR,
        },
        method="mean of 5 slow strokes, corrected for noise and lag",
    )


def drop_time(seconds: float, *, reference: bool = False) -> Quantity:
    parts = {Cause("fit"): 0.004 * seconds, _LEVEL: 0.006 * seconds}
    if reference:
        parts |= {Cause("temperature"): 0.021 * seconds, Cause("viscosity ratio"): 0.02 * seconds}
    method = "converted to 40 °C and the reference rig" if reference else "from the fitted decay"
    return Quantity(seconds, "s", parts, method=method, cautions=(_SETTLING,))


def invented_recording(opening_bar: float = 175.0, drop_s: float = 9.4) -> Recording:
    """A drawn session: three fill strokes, a seat hold, five slow, five fast, a timed hold."""
    interval = 1e-3
    end = 58.0
    time_s = np.arange(0.0, end, interval)
    bar = np.zeros_like(time_s)
    for stroke in invented_strokes():
        within = (time_s >= stroke.start_s) & (time_s < stroke.end_s)
        part = (time_s[within] - stroke.start_s) / (stroke.end_s - stroke.start_s)
        if stroke.kind is StrokeKind.FILL:
            bar[within] = 45.0 * np.sin(np.pi * part)
        else:
            teeth = stroke.openings
            ramp = np.mod(part * teeth, 1.0)
            low = 0.0 if teeth == 1 else opening_bar - 38.0
            ramp = part / 0.88 if teeth == 1 else ramp
            bar[within] = low + (opening_bar - low) * ramp
            closed = part * teeth >= teeth - 0.12 if teeth == 1 else np.zeros_like(part, bool)
            bar[within] = np.where(closed, opening_bar - 34.0, bar[within])
            after = (time_s >= stroke.end_s) & (time_s < stroke.end_s + 0.7)
            bar[after] = (opening_bar - 34.0) * np.exp(-(time_s[after] - stroke.end_s) / 0.2)
    seat = (time_s >= 6.0) & (time_s < 16.0)
    bar[seat] = opening_bar - 20.0 - 0.12 * (time_s[seat] - 6.0)
    hold = (time_s >= 34.0) & (time_s < 54.0)
    rate = math.log(1.5) / drop_s
    elapsed = time_s[hold] - 34.0
    bar[hold] = 163.0 * np.exp(-rate * elapsed) + 1.8 * np.exp(-elapsed / 0.8) - 1.0
    noise = np.random.default_rng(5).normal(0.0, 0.25, time_s.size)
    return Recording(time_s, (np.maximum(bar, 0.0) + noise) * _BAR, "cylinder-1.csv", "3f9a" * 16)


def invented_strokes() -> tuple[Stroke, ...]:
    strokes = []
    for index in range(3):
        start = 1.0 + 1.2 * index
        strokes.append(Stroke(index, start, start + 0.8, StrokeKind.FILL, 60.0 * _BAR, 0))
    for index in range(5):
        start = 17.0 + 2.2 * index
        strokes.append(Stroke(3 + index, start, start + 1.4, StrokeKind.SLOW, 120.0 * _BAR, 1))
    for index in range(5):
        start = 28.2 + 1.0 * index
        strokes.append(Stroke(8 + index, start, start + 0.5, StrokeKind.FAST, 700.0 * _BAR, 6))
    return tuple(strokes)


def invented_openings(opening_bar: float) -> tuple[Opening, ...]:
    openings = []
    for stroke in invented_strokes():
        for tooth in range(stroke.openings):
            if stroke.openings == 1:
                time = stroke.start_s + 0.88 * (stroke.end_s - stroke.start_s)
                high, low = opening_bar, opening_bar - 34.0
            else:
                step = (stroke.end_s - stroke.start_s) / stroke.openings
                time = stroke.start_s + (tooth + 1) * step - 1e-3
                high, low = opening_bar - 0.2, opening_bar - 38.0
            openings.append(
                Opening(time, high * _BAR, low * _BAR, stroke.rise_rate_pa_per_s, stroke.index)
            )
    return tuple(openings)


def invented_findings(
    opening_bar: float = 175.0, drop_s: float = 9.4, *, grade: TipGrade = TipGrade.DRY
) -> GaugeFindings:
    rate = math.log(1.5) / drop_s
    fit_s = np.linspace(36.4, 54.0, 40)
    fit_pa = (163.0 * np.exp(-rate * (fit_s - 34.0)) - 1.0) * _BAR
    hold = Hold(
        34.0,
        54.0,
        163.8 * _BAR,
        float(fit_pa[-1]),
        window_from_pa=150.0 * _BAR,
        window_to_pa=100.0 * _BAR,
        drop_time_as_shown=drop_time(drop_s),
        drop_time_at_reference=drop_time(0.71 * drop_s, reference=True),
        decay_rate=Quantity(rate, "1/s", {Cause("fit"): 0.004 * rate}),
        leakage_conductance=Quantity(
            1.4e-15 / drop_s, "m^3/(s Pa)", {Cause("compliance"): 4e-17 / drop_s}
        ),
        rig_conductance=Quantity(9e-18, "m^3/(s Pa)", {Cause("fit"): 1e-18}),
        guide_clearance=Quantity(
            2.93e-6,
            "m",
            {Cause("eccentricity"): 0.3e-6},
            method="annulus flow over unknown eccentricity",
            interval=(2.1e-6, 3.2e-6),
        ),
        settling=Quantity(1.8e5, "Pa", {Cause("fit"): 0.2e5}),
        leak_path="guide or seat: the trace cannot tell; the tip stayed dry, so the guide",
        fit_time_s=tuple(fit_s),
        fit_pressure_pa=tuple(fit_pa),
        cautions=(_SETTLING,),
    )
    seat = SeatHold(
        6.0,
        16.0,
        start_pressure=opening_pressure(opening_bar - 20.0),
        mean_pressure=opening_pressure(opening_bar - 20.6),
        fall=Quantity(1.2e5, "Pa", {Cause("resolution"): 0.05e5}),
        duration=Quantity(10.0, "s", {Cause("resolution"): 0.01}),
        margin_below_opening=Quantity(20.0e5, "Pa", {Cause("repeatability"): 0.3e5}),
        watch=TipWatch(grade, leak_off_drops=2, leak_off_seconds=30.0),
    )
    return GaugeFindings(
        source="cylinder-1.csv",
        digest="3f9a" * 16,
        by_hand=False,
        opening_pressure=opening_pressure(opening_bar),
        closing_pressure=opening_pressure(opening_bar - 34.0, repeat_bar=0.6),
        second_opening_pressure=NotMeasured("the holder has one spring"),
        openings=invented_openings(opening_bar),
        strokes=invented_strokes(),
        hold=hold,
        seat_hold=seat,
        chatter=Chatter(
            Quantity(6.0, "1", {Cause("repeatability"): 0.3}),
            Quantity(12.1, "Hz", {Cause("repeatability"): 0.4}),
            Quantity(0.083, "1", {Cause("repeatability"): 0.02}),
        ),
        history=("read 58000 samples", "two repeated samples left out at 12.3 s"),
    )


def hand_findings() -> GaugeFindings:
    missing = NotMeasured("no hold was written down", "time the fall from 150 to 100 bar")
    return GaugeFindings(
        source="card-5.toml",
        digest="77ab" * 16,
        by_hand=True,
        opening_pressure=opening_pressure(176.0, level_bar=2.4, repeat_bar=0.8),
        closing_pressure=NotMeasured("nobody read it"),
        second_opening_pressure=NotMeasured("the holder has one spring"),
        hold=missing,
        seat_hold=NotMeasured("no seat hold was written down", "hold 20 bar below opening, 10 s"),
        chatter=NotMeasured("a card of hand readings cannot show it", "listen, or record"),
    )


def invented_sheet() -> SettingSheet:
    def band(low: float, high: float, target: float, text: str) -> OpeningBand:
        return OpeningBand(low * _BAR, high * _BAR, target * _BAR, AsPrinted(text, "p. 12"))

    return SettingSheet(
        title="Example sheet for a four-hole injector",
        injector="Four-hole nozzle in a low-spring holder, shim under the spring",
        source="Example service sheet, edition 2, p. 12 (invented)",
        invented=True,
        opening_new=band(175.0, 183.0, 180.0, "175-183 bar"),
        opening_used=band(170.0, 180.0, 175.0, "170-180 bar"),
        seat=SeatDemand(10.0, True, AsPrinted("20 bar below opening, 10 s, no drop"), 20.0 * _BAR),
        back_leakage=BackLeakageDemand(
            DropWindow(150.0 * _BAR, 100.0 * _BAR, 313.15),
            AsPrinted("150 to 100 bar in not less than 6 s at 40 °C", "p. 13"),
            at_least_s=6.0,
        ),
        chatter=ChatterDemand(True, 2.0, AsPrinted("must chatter")),
        spray=SprayDemand(AsPrinted("four even jets, no drips")),
        spread_pa=5.0 * _BAR,
        adjustment=Adjustment(shim_sizes_m=(1.0e-3, 1.05e-3, 1.1e-3)),
        geometry=NozzleGeometry(),
        torques=(
            Torque("nozzle retaining nut", 60.0, 80.0, AsPrinted("60-80 Nm", "p. 14")),
            Torque("clamp bolts", 27.0, 27.0, AsPrinted("27 Nm", "p. 14")),
        ),
        washer="copper, 2.0 mm, dished side to the injector",
        rule=DecisionRule.GUARDED,
        digest="c0ffee" * 10,
    )


def invented_conditions() -> BenchConditions:
    return BenchConditions(
        sitting="sitting A",
        fluid=Fluid("calibration fluid, ISO 4113"),
        oil_temperature=Quantity(295.35, "K", {Cause("thermometer"): 0.5}),
        gauge=Gauge(
            "G-07",
            range_pa=400.0 * _BAR,
            accuracy_class=0.6,
            resolution_pa=0.1 * _BAR,
            calibrated_on="2025-01-20",
        ),
        rig=Rig("R-2", compliance=Quantity(2.1e-14, "m^3/Pa", {Cause("compliance"): 4e-16})),
        blank_plug=BlankPlug("blank.csv"),
    )


def _verdicts(findings: GaugeFindings | None, seen: FitterObservations) -> tuple[Verdict, ...]:
    """Verdicts as somebody might have written them down; thresholds by hand."""
    verdicts = [_opening_verdict(findings)]
    if seen.chatter is None:
        verdicts.append(_plain(BenchTest.CHATTER, Outcome.NOT_DONE, "must chatter", "not heard"))
    else:
        bad = seen.chatter is ChatterGrade.NONE
        verdicts.append(
            _plain(
                BenchTest.CHATTER,
                Outcome.FAIL if bad else Outcome.PASS,
                "must chatter",
                f"heard: {seen.chatter}",
            )
        )
    spray = {None: Outcome.NOT_DONE, SprayGrade.GOOD: Outcome.PASS, SprayGrade.POOR: Outcome.FAIL}
    verdicts.append(
        _plain(
            BenchTest.SPRAY,
            spray[seen.spray],
            "four even jets, no drips",
            f"spray: {seen.spray or 'not judged'}",
        )
    )
    seat = Outcome.NOT_DONE
    if seen.seat is not None:
        seat = Outcome.FAIL if seen.seat is TipGrade.DROP else Outcome.PASS
    verdicts.append(
        _plain(
            BenchTest.SEAT,
            seat,
            "20 bar below opening, 10 s, no drop",
            f"tip: {seen.seat or 'not watched'}",
        )
    )
    verdicts.append(_drop_verdict(findings))
    worst = [finding.seen for finding in seen.inspection if finding.severity is Severity.RENEW]
    verdicts.append(
        _plain(
            BenchTest.INSPECTION,
            Outcome.FAIL if worst else Outcome.PASS,
            "no finding to renew",
            worst[0] if worst else "nothing to renew",
        )
    )
    return tuple(verdicts)


def _plain(test: BenchTest, outcome: Outcome, limit: str, reason: str) -> Verdict:
    return Verdict(test, outcome, limit, (reason,))


def _opening_verdict(findings: GaugeFindings | None) -> Verdict:
    limit = "170-180 bar (p. 12)"
    if findings is None or not isinstance(findings.opening_pressure, Quantity):
        return _plain(BenchTest.OPENING, Outcome.NOT_DONE, limit, "no opening pressure")
    bar = findings.opening_pressure.value / _BAR
    outcome, chance = Outcome.PASS, 0.994
    direction = Direction.WITHIN
    if bar < 168.0:
        outcome, chance, direction = Outcome.FAIL, 0.0007, Direction.LOW
    elif bar < 172.1:
        outcome, chance, direction = Outcome.TOO_CLOSE, 0.79, Direction.LOW
    return Verdict(
        BenchTest.OPENING,
        outcome,
        limit,
        (f"the opening pressure is {outcome} against its band",),
        rule=DecisionRule.GUARDED,
        measured=findings.opening_pressure,
        lower=170.0 * _BAR,
        upper=180.0 * _BAR,
        direction=direction,
        probability_of_conformity=chance,
        cannot_judge="a gauge of 250 bar, class 0.6, could tell"
        if outcome is Outcome.TOO_CLOSE
        else "",
    )


def _drop_verdict(findings: GaugeFindings | None) -> Verdict:
    limit = "150 to 100 bar in not less than 6 s at 40 °C (p. 13)"
    if findings is None or isinstance(findings.hold, NotMeasured):
        return _plain(BenchTest.BACK_LEAKAGE, Outcome.NOT_DONE, limit, "no hold was recorded")
    measured = findings.hold.drop_time_at_reference
    assert isinstance(measured, Quantity)
    outcome, chance = Outcome.PASS, 0.9993
    if measured.value < 5.7:
        outcome, chance = Outcome.FAIL, 0.002
    elif measured.value < 6.3:
        outcome, chance = Outcome.TOO_CLOSE, 0.72
    return Verdict(
        BenchTest.BACK_LEAKAGE,
        outcome,
        limit,
        (f"the drop time at reference conditions is {outcome} against its limit",),
        rule=DecisionRule.GUARDED,
        measured=measured,
        lower=6.0,
        probability_of_conformity=chance,
    )


def _sitting(
    findings: GaugeFindings | None,
    *,
    spray: SprayGrade | None = SprayGrade.GOOD,
    chatter: ChatterGrade | None = ChatterGrade.CLEAR,
    seat: TipGrade | None = TipGrade.DRY,
    inspection: tuple[InspectionFinding, ...] = (),
    note: str = "",
    shim_mm: float | None = None,
) -> TestSitting:
    seen = FitterObservations(
        spray=spray,
        chatter=chatter,
        seat=seat,
        needle_slide=True,
        inspection=inspection,
        note=note,
    )
    return TestSitting(findings, seen, shim_mm)


def invented_injectors() -> tuple[SetInjector, ...]:
    worn = (
        InspectionFinding("needle", "scored along the guide", Severity.RENEW),
        InspectionFinding("distance piece", "light burr, dressed", Severity.NOTE),
    )
    return (
        SetInjector(
            1,
            "SN 4471",
            _sitting(invented_findings(166.4, 10.9), shim_mm=1.05, note="carbon at the tip"),
            _sitting(invented_findings(175.2, 11.2), shim_mm=1.15),
        ),
        SetInjector(
            2,
            "SN 4472",
            _sitting(invented_findings(169.8, 12.5), spray=SprayGrade.POOR, shim_mm=1.10),
            _sitting(invented_findings(174.6, 12.8), shim_mm=1.15),
        ),
        SetInjector(3, "SN 4473", _sitting(invented_findings(171.3, 8.6), shim_mm=1.10), None),
        SetInjector(
            4,
            "SN 4474",
            _sitting(invented_findings(174.1, 5.2), inspection=worn, shim_mm=1.15),
            None,
        ),
        SetInjector(
            5,
            "SN 4475",
            _sitting(hand_findings(), spray=None, chatter=ChatterGrade.WEAK, seat=None),
            None,
        ),
        SetInjector(
            6,
            "SN 4476",
            _sitting(
                invented_findings(175.9, 10.1, grade=TipGrade.DROP),
                seat=TipGrade.DROP,
                shim_mm=1.20,
            ),
            None,
        ),
    )


def invented_engine_set() -> EngineSet:
    return EngineSet(
        title="Six injectors of the harbour launch",
        engine="Six-cylinder auxiliary, 4.0 l",
        customer="Example Boatyard",
        workshop="Example Workshop",
        fitter="A. Fitter",
        date="2025-03-14",
        condition=Condition.USED,
        invented=True,
        symptoms="Rough at idle, grey smoke when cold",
        injectors=invented_injectors(),
    )


_OUTCOMES = {
    1: (InjectorOutcome.FIT, "every test passed"),
    2: (InjectorOutcome.FIT, "every test passed"),
    3: (InjectorOutcome.ADJUST, "the opening pressure is too close to its lower limit to tell"),
    4: (InjectorOutcome.EXCHANGE, "the guide leaks and the needle is scored"),
    5: (InjectorOutcome.UNFINISHED, "spray, seat leakage and back-leakage were not done"),
    6: (InjectorOutcome.REWORK, "a drop formed at the tip"),
}


def invented_verdict(engine_set: EngineSet) -> SetVerdict:
    latest, found = [], []
    for injector in engine_set.injectors:
        outcome, why = _OUTCOMES.get(injector.cylinder, _OUTCOMES[1])
        if injector.as_found is not None:
            seen = injector.as_found
            early = InjectorOutcome.REWORK if injector.as_left else outcome
            found.append(
                InjectorVerdict(injector, False, _verdicts(seen.gauge, seen.seen), early, (why,))
            )
        last = injector.latest
        assert last is not None
        latest.append(
            InjectorVerdict(
                injector,
                injector.as_left is not None,
                _verdicts(last.gauge, last.seen),
                outcome,
                (why,),
            )
        )
    distance = Quantity(-3.9e5, "Pa", {Cause("repeatability", "set"): 0.3e5})
    return SetVerdict(
        injectors=tuple(latest),
        as_found=tuple(found),
        spread=Quantity(4.7e5, "Pa", {Cause("repeatability", "set"): 0.35e5}),
        spread_outcome=Outcome.TOO_CLOSE,
        spread_limit_pa=5.0e5,
        spread_reasons=("the spread lies just under its limit of 5 bar",),
        spread_probability=0.80,
        mean=opening_pressure(174.5),
        odd_one_out=OddOneOut(3, distance, "cylinder 3 lies 3.9 bar under the mean of the others"),
        reasons=("two of six can be fitted; the set is not finished",),
    )


def invented_advice() -> tuple[Advice, ...]:
    def one(cylinder: int, kind: ActionKind, do: str, why: str, **more: object) -> Advice:
        action = NextAction(cylinder, kind, do, why, **more)  # type: ignore[arg-type]
        return Advice(cylinder, (action,), "")

    fit = [one(n, ActionKind.FIT, "Fit with one new washer.", "every test passed") for n in (1, 2)]
    spray = "Hands behind the shield: the jet pierces skin."
    return (
        *fit,
        one(
            3,
            ActionKind.CHANGE_SHIM,
            "Put in a shim 0.05 mm thicker: 1.15 mm instead of 1.10 mm.",
            "raises the opening pressure by about 4 bar to its target of 175 bar",
            caution=spray,
            shim_change_m=5e-5,
            predicted_opening=opening_pressure(175.3),
            warnings=("The effect of a shim is taken from the sheet, not measured here.",),
        ),
        one(
            4,
            ActionKind.RENEW_PAIR,
            "Exchange needle and body as a pair.",
            "the drop time is under its limit with a dry tip, and the needle is scored",
        ),
        Advice(
            5,
            (
                NextAction(
                    5,
                    ActionKind.TEST,
                    "Hold 20 bar below opening for 10 s, tip wiped dry.",
                    "seat leakage was not done",
                    caution=spray,
                ),
                NextAction(
                    5,
                    ActionKind.TEST,
                    "Time the fall from 150 to 100 bar.",
                    "back-leakage was not done",
                ),
            ),
            "the seat hold: it decides between cleaning and exchange",
        ),
        one(
            6,
            ActionKind.CLEAN_AND_RETEST,
            "Clean the seat, flush, and test the seat again.",
            "a drop formed 20 bar below the opening pressure",
        ),
    )


def judged_report(**changes: object) -> SetReport:
    """The same set as judged and advised by the tool itself; `changes` replace fields of it."""
    engine_set = replace(invented_engine_set(), **changes)  # type: ignore[arg-type]
    sheet = invented_sheet()
    verdict = judge_set(engine_set, sheet)
    return set_report(
        engine_set, sheet, verdict, advise_set(verdict, sheet), invented_conditions(), MADE_ON
    )


def invented_report(**changes: object) -> SetReport:
    """The report of the set; `changes` replace fields of the engine set."""
    engine_set = replace(invented_engine_set(), **changes)  # type: ignore[arg-type]
    return set_report(
        engine_set,
        invented_sheet(),
        invented_verdict(engine_set),
        invented_advice(),
        invented_conditions(),
        MADE_ON,
    )
