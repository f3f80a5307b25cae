from __future__ import annotations

import pytest

from nozzlewright.bench import SeatDemand, TipGrade, TipWatch
from nozzlewright.judging import Outcome
from nozzlewright.judging.seat import judge_seat
from nozzlewright.measurement import NotMeasured


def outcome(bench, sheet=None, **changes):
    return judge_seat(bench.sitting(**changes), sheet or bench.sheet()).outcome


def demand(bench, *, damp_allowed=True, **changes):
    return bench.sheet(
        seat=SeatDemand(10.0, damp_allowed, bench.PRINTED, margin_pa=20e5, tolerance_pa=2e5)
    )


@pytest.mark.parametrize(
    ("grade", "damp_allowed", "expected"),
    [
        (TipGrade.DRY, False, Outcome.PASS),
        (TipGrade.DAMP, True, Outcome.PASS),
        (TipGrade.DAMP, False, Outcome.FAIL),
        (TipGrade.DROP, True, Outcome.FAIL),
    ],
)
def test_a_tip_is_judged_by_what_the_sheet_allows(bench, grade, damp_allowed, expected):
    sheet = demand(bench, damp_allowed=damp_allowed)

    assert outcome(bench, sheet, tip=grade) is expected


def test_a_grade_without_a_hold_on_record_proves_nothing(bench):
    missing = NotMeasured("no hold was found")

    assert outcome(bench, seat_hold=missing) is Outcome.TOO_CLOSE
    assert outcome(bench, seat_hold=missing, tip=TipGrade.DROP) is Outcome.TOO_CLOSE
    assert outcome(bench, seat_hold=missing, tip=None) is Outcome.NOT_DONE


def test_a_hold_that_nobody_watched_is_not_done(bench):
    assert outcome(bench, tip=None) is Outcome.NOT_DONE


def test_a_dry_tip_far_below_the_opening_pressure_says_little(bench):
    assert outcome(bench, seat_hold=bench.seat_hold(40.0)) is Outcome.TOO_CLOSE
    assert outcome(bench, seat_hold=bench.seat_hold(22.1)) is Outcome.PASS
    assert outcome(bench, seat_hold=bench.seat_hold(10.0)) is Outcome.PASS


def test_a_drop_nearer_to_the_opening_pressure_than_asked_says_little(bench):
    near = bench.seat_hold(10.0)
    far = bench.seat_hold(40.0)

    assert outcome(bench, seat_hold=near, tip=TipGrade.DROP) is Outcome.TOO_CLOSE
    assert outcome(bench, seat_hold=far, tip=TipGrade.DROP) is Outcome.FAIL


def test_a_hold_cut_short_is_no_pass_and_a_drop_in_it_is_a_fail(bench):
    short = bench.seat_hold(held_s=6.0)

    assert outcome(bench, seat_hold=short) is Outcome.TOO_CLOSE
    assert outcome(bench, seat_hold=short, tip=TipGrade.DROP) is Outcome.FAIL


def test_a_drop_in_a_hold_of_a_minute_may_have_come_after_the_time(bench):
    assert (
        outcome(bench, seat_hold=bench.seat_hold(held_s=60.0), tip=TipGrade.DROP)
        is Outcome.TOO_CLOSE
    )


def test_oil_running_down_from_the_nut_does_not_condemn_the_seat(bench):
    assert outcome(bench, tip=TipGrade.DROP, outside="nozzle nut wet") is Outcome.TOO_CLOSE


def test_the_worst_of_two_grades_counts(bench):
    held = bench.seat_hold(watch=TipWatch(TipGrade.DROP))

    verdict = judge_seat(bench.sitting(tip=TipGrade.DRY, seat_hold=held), bench.sheet())

    assert verdict.outcome is Outcome.FAIL
    assert any("the worst counts" in reason for reason in verdict.reasons)


def test_a_pressure_that_falls_quickly_is_no_hold_at_the_margin(bench):
    fell = bench.seat_hold(cautions=(bench.caution("quick fall", "it falls by 60 bar"),))

    assert outcome(bench, seat_hold=fell) is Outcome.TOO_CLOSE


def test_a_fixed_pressure_is_compared_with_the_pressure_held(bench):
    # The margin of an injector set low is then smaller, and that is what the sheet asks.
    sheet = bench.sheet(seat=SeatDemand(10.0, False, bench.PRINTED, fixed_pa=158e5))

    assert outcome(bench, sheet, seat_hold=bench.seat_hold(20.0)) is Outcome.PASS
    assert outcome(bench, sheet, seat_hold=bench.seat_hold(25.0)) is Outcome.TOO_CLOSE


def test_a_margin_that_cannot_be_told_proves_nothing(bench):
    lost = bench.seat_hold(
        margin_below_opening=NotMeasured("the opening pressure was not measured")
    )

    assert outcome(bench, seat_hold=lost) is Outcome.TOO_CLOSE
    assert outcome(bench, seat_hold=lost, tip=TipGrade.DROP) is Outcome.TOO_CLOSE


def test_the_hold_is_told_in_tenths_with_its_interval_widened_to_them(bench):
    hold = bench.seat_hold(margin_bar=19.14, held_s=11.821)
    verdict = judge_seat(bench.sitting(seat_hold=hold), bench.sheet())

    # 1.96 u is 0.098 s and 0.392 bar.
    assert "in a hold of 11.8 ± 0.1 s, 19.1 ± 0.4 bar below the opening" in verdict.reasons[0]
