from __future__ import annotations

import ast
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

import nozzlewright.workflow
from nozzlewright.bench import (
    Adjustment,
    AsPrinted,
    BackLeakageDemand,
    BenchConditions,
    ChatterGrade,
    Condition,
    DropWindow,
    EngineSet,
    FitterObservations,
    Gauge,
    NozzleGeometry,
    OpeningBand,
    SeatDemand,
    SettingSheet,
    SprayDemand,
    SprayGrade,
    TipGrade,
    TipWatch,
)
from nozzlewright.capture import HandReadings, Recording, TimedDrop, WatchedHold
from nozzlewright.judging import BenchTest, InjectorOutcome, Outcome
from nozzlewright.measurement import NotMeasured, Quantity
from nozzlewright.simulator import random_session
from nozzlewright.workflow import (
    InjectorEvidence,
    SetEvidence,
    SittingEvidence,
    asked_by,
    judge_the_set,
    read_gauge,
)
from nozzlewright.workflow.read_gauge import RigLeaks

BAR = 1e5
PRINTED = AsPrinted("invented")
SHEET = SettingSheet(
    title="Invented sheet",
    injector="invented",
    source="invented",
    invented=True,
    opening_new=OpeningBand(185 * BAR, 191 * BAR, 188 * BAR, PRINTED),
    opening_used=OpeningBand(175 * BAR, 185 * BAR, 180 * BAR, PRINTED),
    seat=SeatDemand(10.0, True, PRINTED, margin_pa=20 * BAR, tolerance_pa=3 * BAR),
    back_leakage=BackLeakageDemand(DropWindow(150 * BAR, 100 * BAR), PRINTED, at_least_s=6.0),
    chatter=None,
    spray=SprayDemand(PRINTED),
    spread_pa=5 * BAR,
    adjustment=Adjustment(Quantity(100e8, "Pa/m"), shim_sizes_m=(1.0e-3, 1.05e-3, 1.1e-3)),
    geometry=NozzleGeometry(guide_diameter_m=6e-3),
    torques=(),
    washer="",
)
CONDITIONS = BenchConditions(
    sitting="invented", gauge=Gauge(range_pa=250 * BAR, accuracy_class=0.25)
)


def card(opening_bar: float, drop_s: float = 20.0, name: str = "card") -> HandReadings:
    return HandReadings(
        source=name,
        digest="0" * 64,
        opening_pa=(opening_bar * BAR,) * 4,
        drops=(TimedDrop(150 * BAR, 100 * BAR, drop_s),),
        seat_hold=WatchedHold((opening_bar - 20) * BAR, (opening_bar - 25) * BAR, 11.0),
        reading_resolution_pa=0.25 * BAR,
    )


def seen(**changes) -> FitterObservations:
    told = FitterObservations(
        spray=SprayGrade.GOOD,
        chatter=ChatterGrade.CLEAR,
        seat=TipGrade.DRY,
        seat_watch=TipWatch(TipGrade.DRY),
        needle_slide=True,
    )
    return replace(told, **changes)


def bench_test(opening_bar: float, **changes) -> SittingEvidence:
    """One test by card, the tip watched and dry in both holds."""
    dry = TipWatch(TipGrade.DRY)
    conditions = replace(CONDITIONS, seat_watch=dry, drop_watch=dry)
    evidence = card(opening_bar, changes.pop("drop_s", 20.0))
    return SittingEvidence(evidence, conditions, seen(), **changes)


def handed_in(*injectors: InjectorEvidence, condition: Condition = Condition.USED) -> SetEvidence:
    booked = EngineSet(
        title="Invented set",
        engine="invented",
        customer="",
        workshop="",
        fitter="",
        date="2026-01-20",
        condition=condition,
        invented=True,
        symptoms="",
        injectors=(),
    )
    return SetEvidence(booked, CONDITIONS, injectors)


def judged(*injectors: InjectorEvidence, condition: Condition = Condition.USED):
    return judge_the_set(handed_in(*injectors, condition=condition), SHEET, date(2026, 1, 20))


# -- what is asked ------------------------------------------------------------------------------


def test_the_sheet_s_window_margin_and_time_are_asked():
    asked = asked_by(SHEET, CONDITIONS, Condition.USED)

    assert asked.window == SHEET.back_leakage.window
    assert asked.seat_margin_pa == 20 * BAR
    assert asked.seat_hold_s == 10.0
    assert asked.opening_target_pa == 180 * BAR


def test_new_parts_are_asked_for_the_band_of_new_parts():
    assert asked_by(SHEET, CONDITIONS, Condition.NEW).opening_target_pa == 188 * BAR


def test_a_fixed_hold_pressure_is_a_margin_below_the_target():
    fixed = replace(SHEET, seat=SeatDemand(10.0, False, PRINTED, fixed_pa=165 * BAR))

    assert asked_by(fixed, CONDITIONS, Condition.USED).seat_margin_pa == pytest.approx(15 * BAR)


def test_what_the_sheet_is_silent_about_stays_as_the_conditions_state_it():
    silent = replace(SHEET, opening_used=None, seat=None, back_leakage=None)
    own = replace(
        CONDITIONS,
        window=DropWindow(120 * BAR, 80 * BAR),
        seat_margin_pa=14 * BAR,
        seat_hold_s=5.0,
        opening_target_pa=170 * BAR,
    )

    asked = asked_by(silent, own, Condition.USED)

    assert asked.window == own.window
    assert (asked.seat_margin_pa, asked.seat_hold_s) == (14 * BAR, 5.0)
    assert asked.opening_target_pa == 170 * BAR


def test_dimensions_of_the_sheet_are_filled_up_from_the_bench():
    own = replace(CONDITIONS, geometry=NozzleGeometry(guide_diameter_m=5e-3, guide_length_m=20e-3))

    geometry = asked_by(SHEET, own, Condition.USED).geometry

    assert geometry.guide_diameter_m == 6e-3
    assert geometry.guide_length_m == 20e-3


# -- the set ------------------------------------------------------------------------------------


def test_parts_as_found_are_judged_as_used_and_as_left_as_the_set_says():
    one = InjectorEvidence(1, "A", as_found=bench_test(180.0), as_left=bench_test(188.0))
    result = judged(one, condition=Condition.NEW)

    (found,), (left,) = result.verdict.as_found, result.verdict.injectors
    assert found.of(BenchTest.OPENING).outcome is Outcome.PASS
    assert left.of(BenchTest.OPENING).outcome is Outcome.PASS


def test_what_passed_as_used_does_not_pass_as_new():
    one = InjectorEvidence(1, "A", as_found=None, as_left=bench_test(180.0))

    (left,) = judged(one, condition=Condition.NEW).verdict.injectors

    assert left.of(BenchTest.OPENING).outcome is Outcome.FAIL


def test_a_set_that_is_sound_is_fit():
    pages = judged(*(InjectorEvidence(n, f"A{n}", bench_test(180.0), None) for n in (1, 2, 3)))

    outcomes = {one.outcome for one in pages.verdict.injectors}
    assert outcomes == {InjectorOutcome.FIT}
    assert pages.report.headline == "All 3 are fit for use."


def test_an_injector_that_was_not_tested_is_unfinished_and_told_to_be_tested():
    result = judged(InjectorEvidence(1, "A", None, None))

    (one,) = result.verdict.injectors
    assert one.outcome is InjectorOutcome.UNFINISHED
    assert "Test it before it is opened" in result.advice[0].actions[0].do


def test_a_test_by_eye_and_ear_alone_leaves_the_gauge_tests_not_done():
    watched = SittingEvidence(None, CONDITIONS, seen())

    (one,) = judged(InjectorEvidence(1, "A", watched, None)).verdict.injectors

    assert one.of(BenchTest.SPRAY).outcome is Outcome.PASS
    assert one.of(BenchTest.OPENING).outcome is Outcome.NOT_DONE
    assert one.of(BenchTest.BACK_LEAKAGE).outcome is Outcome.NOT_DONE
    assert one.outcome is InjectorOutcome.UNFINISHED


def test_the_shim_in_the_advice_starts_from_the_shim_that_was_noted():
    low = InjectorEvidence(1, "A", bench_test(170.0, shim_mm=1.00), None)

    (advice,) = judged(low).advice

    (change,) = (one for one in advice.actions if one.shim_change_m is not None)
    assert change.shim_change_m == pytest.approx(0.10e-3)
    assert change.predicted_opening.value == pytest.approx(180 * BAR, rel=1e-3)


def test_a_person_who_waits_is_told_what_is_being_done():
    told: list[str] = []
    set_ = handed_in(*(InjectorEvidence(n, f"A{n}", bench_test(180.0), None) for n in (1, 2)))

    judge_the_set(set_, SHEET, date(2026, 1, 20), told.append)

    assert told == ["reading injector 1", "reading injector 2", "judging the set"]


def test_the_same_set_gives_the_same_report():
    injectors = [InjectorEvidence(n, f"A{n}", bench_test(178.0 + n), None) for n in (1, 2, 3)]

    assert judged(*injectors).report == judged(*injectors).report


# -- one gauge ----------------------------------------------------------------------------------


def test_recorded_and_hand_readings_give_findings_of_one_kind():
    drawn = random_session(np.random.default_rng(3), "sound")
    recording = _recording(drawn.session)

    by_gauge = read_gauge(recording, drawn.conditions)
    by_hand = read_gauge(card(180.0), CONDITIONS)

    assert type(by_gauge) is type(by_hand)
    assert (by_gauge.by_hand, by_hand.by_hand) == (False, True)
    assert by_gauge.source == "recording"


def test_the_plug_s_recording_makes_the_rig_s_own_leak_known():
    drawn = next(
        one
        for start in range(9)
        if (one := random_session(np.random.default_rng(start), "leaking rig")).blank is not None
    )
    recording, blank = _recording(drawn.session), _recording(drawn.blank)

    without = read_gauge(recording, drawn.conditions).hold
    known = read_gauge(recording, drawn.conditions, blank).hold

    assert isinstance(without.rig_conductance, NotMeasured)
    true = drawn.session.truth["rig_conductance_m3_per_s_pa"]
    assert known.rig_conductance.value == pytest.approx(true, rel=0.1)
    # With the rig's share taken off, the injector alone falls more slowly.
    assert known.drop_time_at_reference.value > without.drop_time_at_reference.value


def test_one_plug_recording_is_read_once_for_all_tests_at_a_rig_and_to_the_same_end():
    drawn = next(
        one
        for start in range(9)
        if (one := random_session(np.random.default_rng(start), "leaking rig")).blank is not None
    )
    recording, blank = _recording(drawn.session), _recording(drawn.blank)
    first = replace(drawn.conditions, opening_target_pa=180 * BAR, drop_watch=TipWatch())
    second = replace(
        first,
        opening_target_pa=188 * BAR,
        drop_watch=TipWatch(TipGrade.DRY),
        geometry=NozzleGeometry(guide_diameter_m=5e-3),
    )
    warmer = replace(first, oil_temperature=Quantity(320.0, "K"))
    leaks = RigLeaks()

    shared = leaks.of(blank, first)
    assert leaks.of(blank, second) is shared
    assert leaks.of(blank, warmer) is not shared
    assert leaks.of(None, first) is None
    for conditions in (first, second):
        assert read_gauge(recording, conditions, shared) == read_gauge(recording, conditions, blank)


def _recording(session):
    return Recording(session.time_s, session.pressure_pa, "recording", "0" * 64)


def test_no_act_opens_a_file_or_reads_a_clock():
    forbidden = {"open", "now", "today", "read_text", "read_bytes", "write_text", "default_rng"}
    for path in Path(nozzlewright.workflow.__file__).parent.glob("*.py"):
        called = {
            getattr(node.func, "attr", getattr(node.func, "id", ""))
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.Call)
        }
        assert not called & forbidden, path.name
