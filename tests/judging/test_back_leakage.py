"""A fall that is too fast is not yet a worn guide."""

from __future__ import annotations

from dataclasses import replace

import pytest

from nozzlewright.bench import (
    BackLeakageDemand,
    Condition,
    DecisionRule,
    DropWindow,
    LeakOffDemand,
    TipGrade,
    TipWatch,
)
from nozzlewright.judging import InjectorOutcome, LeakPath, Outcome, judge_injector
from nozzlewright.judging.back_leakage import judge_back_leakage
from nozzlewright.measurement import NotMeasured, Quantity


def verdict(bench, sheet=None, **changes):
    return judge_back_leakage(bench.sitting(**changes), sheet or bench.sheet())


def becomes(bench, sheet=None, **changes):
    sitting = bench.sitting(**changes)
    return judge_injector(
        bench.injector(1, sitting), sheet or bench.sheet(), Condition.USED, as_left=False
    ).outcome


def without_reference(bench, **limits):
    window = DropWindow(150e5, 100e5)
    return bench.sheet(
        back_leakage=BackLeakageDemand(window, bench.PRINTED, **(limits or {"at_least_s": 6.0}))
    )


def test_a_slow_fall_at_reference_passes_and_a_fast_one_fails(bench):
    assert verdict(bench, hold=bench.hold(20.0)).outcome is Outcome.PASS
    assert verdict(bench, hold=bench.hold(3.0)).outcome is Outcome.FAIL
    assert verdict(bench, hold=bench.hold(6.2)).outcome is Outcome.TOO_CLOSE


def test_the_pair_is_condemned_only_with_rig_measured_tip_dry_and_nothing_outside(bench):
    fast = bench.hold(3.0)

    proved = verdict(bench, hold=fast)
    assert proved.leak_paths == (LeakPath.GUIDE,)
    assert becomes(bench, hold=fast) is InjectorOutcome.EXCHANGE


@pytest.mark.parametrize("tip", [None, TipGrade.DAMP, TipGrade.DROP])
def test_a_tip_that_was_not_dry_leaves_the_seat_under_suspicion(bench, tip):
    fast = bench.hold(3.0)

    assert LeakPath.SEAT in verdict(bench, hold=fast, tip=tip).leak_paths
    assert becomes(bench, hold=fast, tip=tip) is not InjectorOutcome.EXCHANGE


def test_oil_outside_points_to_a_face_before_the_guide(bench):
    fast = bench.hold(3.0)

    leak = verdict(bench, hold=fast, outside="nozzle nut wet")
    assert leak.leak_paths[0] is LeakPath.FACE
    assert becomes(bench, hold=fast, outside="nozzle nut wet") is InjectorOutcome.REWORK


def test_a_rig_that_was_never_plugged_may_be_what_leaks(bench):
    fast = bench.hold(3.0, rig_known=False)

    leak = verdict(bench, hold=fast)
    assert leak.outcome is Outcome.TOO_CLOSE
    assert leak.leak_paths[0] is LeakPath.RIG
    assert becomes(bench, hold=fast) is InjectorOutcome.UNFINISHED


def test_a_rig_leak_taken_off_without_a_known_volume_counts_as_measured(bench):
    # The leakage in volume needs the rig's volume; the time does not.
    fast = bench.hold(3.0, rig_known=False, rig_leak_taken_off=True)

    assert verdict(bench, hold=fast).leak_paths == (LeakPath.GUIDE,)


def test_what_was_seen_while_the_drop_was_timed_counts_beside_the_seat_hold(bench):
    dripped = bench.hold(3.0, tip=TipWatch(TipGrade.DROP))
    dry = bench.hold(3.0, tip=TipWatch(TipGrade.DRY))
    outside = bench.hold(3.0, tip=TipWatch(TipGrade.DRY, outside_leak="the nut"))

    assert LeakPath.SEAT in verdict(bench, hold=dripped, tip=TipGrade.DRY).leak_paths
    assert verdict(bench, hold=dry, tip=None).leak_paths == (LeakPath.GUIDE,)
    assert LeakPath.FACE in verdict(bench, hold=outside).leak_paths
    assert "a joint or face (the nut)" in verdict(bench, hold=outside).reasons[-1]


def test_a_rig_said_to_be_unknown_is_unknown(bench):
    hold = bench.hold(3.0, cautions=(bench.caution("rig leak not known", "no blank plug"),))

    assert verdict(bench, hold=hold).outcome is Outcome.TOO_CLOSE
    assert LeakPath.RIG in verdict(bench, hold=hold).leak_paths


def test_an_unknown_rig_leak_can_only_make_a_good_fall_better(bench):
    assert verdict(bench, hold=bench.hold(20.0, rig_known=False)).outcome is Outcome.PASS


@pytest.mark.parametrize("drop_s", [0.5, 3.0, 20.0, 200.0])
def test_a_time_as_shown_never_decides_where_the_sheet_names_a_reference(bench, drop_s):
    shown = bench.hold(drop_s, at_reference=False)

    leak = verdict(bench, hold=shown)
    assert leak.outcome is Outcome.TOO_CLOSE
    assert any("oil temperature was not noted" in reason for reason in leak.reasons)


def test_a_sheet_without_a_reference_is_judged_by_the_time_as_shown(bench):
    sheet = without_reference(bench)

    assert verdict(bench, sheet, hold=bench.hold(20.0, at_reference=False)).outcome is Outcome.PASS


def test_a_fast_time_as_shown_fails_only_without_the_rigs_share(bench):
    sheet = without_reference(bench)
    leak = {"leakage_conductance": Quantity(1e-16, "m^3/(s Pa)")}
    little = bench.hold(3.0, at_reference=False, **leak)
    half = replace(little, rig_conductance=Quantity(2e-16, "m^3/(s Pa)"))

    assert verdict(bench, sheet, hold=little).outcome is Outcome.FAIL
    assert verdict(bench, sheet, hold=half).outcome is Outcome.TOO_CLOSE


def test_oil_that_cools_after_quick_pumping_does_not_condemn_a_guide(bench):
    sheet = without_reference(bench)
    warm = bench.hold(
        3.0,
        at_reference=False,
        leakage_conductance=Quantity(1e-16, "m^3/(s Pa)"),
        cautions=(bench.caution("compression heat", "9 bar are lost to cooling"),),
    )

    leak = verdict(bench, sheet, hold=warm)
    assert leak.outcome is Outcome.TOO_CLOSE
    assert any("9 bar are lost to cooling" in reason for reason in leak.reasons)


def test_air_in_the_rig_flatters_a_guide(bench):
    sheet = without_reference(bench)
    soft = bench.hold(
        20.0, at_reference=False, cautions=(bench.caution("trapped air", "bleed the line"),)
    )

    assert verdict(bench, sheet, hold=soft).outcome is Outcome.TOO_CLOSE


def test_a_repaired_recording_is_not_taken_for_air(bench):
    sheet = without_reference(bench)
    mended = bench.hold(
        20.0, at_reference=False, cautions=(bench.caution("repaired samples", "3 were mended"),)
    )

    assert verdict(bench, sheet, hold=mended).outcome is Outcome.PASS


def test_a_time_of_another_window_is_not_the_sheets(bench):
    assert verdict(bench, hold=bench.hold(20.0, window=(140.0, 100.0))).outcome is Outcome.TOO_CLOSE


def test_too_little_leakage_fails_where_the_sheet_sets_a_minimum(bench):
    sheet = without_reference(bench, at_least_s=6.0, at_most_s=60.0)

    tight = verdict(bench, sheet, hold=bench.hold(200.0, at_reference=False))
    assert tight.outcome is Outcome.FAIL
    assert tight.leak_paths == ()
    assert becomes(bench, sheet, hold=bench.hold(200.0)) is InjectorOutcome.REWORK


def test_a_minimum_is_not_proved_while_the_rig_may_leak(bench):
    sheet = without_reference(bench, at_most_s=60.0)
    fall = bench.hold(20.0, rig_known=False)

    assert verdict(bench, sheet, hold=fall).outcome is Outcome.TOO_CLOSE


def test_a_limit_for_a_stated_fluid_is_not_judged_on_another(bench):
    demand = replace(bench.sheet().back_leakage, reference_viscosity_m2_per_s=2.6e-6)

    assert verdict(bench, bench.sheet(back_leakage=demand)).outcome is Outcome.TOO_CLOSE


def test_simple_acceptance_does_not_lift_the_doubt_about_the_rig(bench):
    sheet = bench.sheet(rule=DecisionRule.SIMPLE)

    assert verdict(bench, sheet, hold=bench.hold(3.0, rig_known=False)).outcome is Outcome.TOO_CLOSE


# --- drops counted at the leak-off -------------------------------------------------------------


def counting(bench, **limits):
    # TM 9-4310-397-14, p. 275: at 103 bar 3 to 10 drops in 30 s, a minimum as well as a maximum.
    limits = limits or {"at_least_drops": 3, "at_most_drops": 10}
    return bench.sheet(
        back_leakage=None,
        leak_off=LeakOffDemand(103e5, 30.0, bench.PRINTED, tolerance_pa=2e5, **limits),
    )


def at_103_bar(bench):
    return bench.seat_hold(76.0, opening_bar=179.0)


@pytest.mark.parametrize(
    ("drops", "expected"),
    [
        (6, Outcome.PASS),
        (10, Outcome.TOO_CLOSE),
        (3, Outcome.TOO_CLOSE),
        (20, Outcome.FAIL),
        (0, Outcome.FAIL),
    ],
)
def test_drops_at_the_leak_off_have_a_least_and_a_most(bench, drops, expected):
    leak = verdict(bench, counting(bench), drops=(drops, 30.0), seat_hold=at_103_bar(bench))

    assert leak.outcome is expected


def test_drops_counted_over_another_time_are_brought_to_the_sheets(bench):
    leak = verdict(bench, counting(bench), drops=(12, 60.0), seat_hold=at_103_bar(bench))

    assert leak.measured.value == pytest.approx(6.0)
    assert leak.outcome is Outcome.PASS


def test_drops_counted_at_another_or_no_known_pressure_prove_nothing(bench):
    elsewhere = verdict(bench, counting(bench), drops=(6, 30.0), seat_hold=bench.seat_hold(20.0))
    unknown = verdict(bench, counting(bench), drops=(6, 30.0), seat_hold=NotMeasured("no hold"))

    assert elsewhere.outcome is Outcome.TOO_CLOSE
    assert unknown.outcome is Outcome.TOO_CLOSE


@pytest.mark.parametrize(
    ("held_bar", "expected"), [(103.0, Outcome.PASS), (120.0, Outcome.TOO_CLOSE)]
)
def test_the_pressure_read_while_drops_were_counted_goes_before_that_of_the_seat_hold(
    bench, held_bar, expected
):
    sitting = bench.sitting(drops=(6, 30.0), seat_hold=NotMeasured("no hold"))
    read = replace(sitting, seen=replace(sitting.seen, leak_off_pa=held_bar * 1e5))

    assert judge_back_leakage(read, counting(bench)).outcome is expected


def test_drops_counted_while_the_fall_was_timed_are_judged(bench):
    tip = TipWatch(leak_off_drops=6, leak_off_seconds=30.0)
    sitting = bench.sitting(hold=bench.hold(tip=tip), seat_hold=at_103_bar(bench))

    assert judge_back_leakage(sitting, counting(bench)).outcome is Outcome.PASS


def test_many_drops_do_not_tell_guide_from_face(bench):
    leak = verdict(bench, counting(bench), drops=(40, 30.0), seat_hold=at_103_bar(bench))

    assert leak.leak_paths == (LeakPath.FACE, LeakPath.GUIDE)
    assert (
        becomes(bench, counting(bench), drops=(40, 30.0), seat_hold=at_103_bar(bench))
        is InjectorOutcome.REWORK
    )


def test_where_time_and_drops_are_asked_the_worse_counts(bench):
    sheet = replace(counting(bench), back_leakage=bench.sheet().back_leakage)

    assert verdict(bench, sheet).outcome is Outcome.NOT_DONE  # the drops were not counted
    assert (
        verdict(bench, sheet, drops=(6, 30.0), seat_hold=at_103_bar(bench)).outcome is Outcome.PASS
    )
    assert verdict(bench, sheet, hold=bench.hold(3.0)).outcome is Outcome.FAIL
