"""Five bench tests and the inspection, and what becomes of an injector."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.bench import (
    ChatterDemand,
    ChatterGrade,
    Condition,
    DecisionRule,
    FitterObservations,
    NoResult,
    Severity,
    SprayGrade,
    TestSitting,
    TipGrade,
)
from nozzlewright.judging import (
    BenchTest,
    InjectorOutcome,
    Outcome,
    judge_injector,
)
from nozzlewright.judging.injector import BENCH_TESTS
from nozzlewright.measurement import NotMeasured


def judge(bench, sitting, sheet=None, *, condition=Condition.USED, as_left=True, before=None):
    pair = (before, sitting) if as_left else (sitting, None)
    return judge_injector(
        bench.injector(1, *pair), sheet or bench.sheet(), condition, as_left=as_left
    )


def outcome(bench, test, sitting, sheet=None, **more):
    return judge(bench, sitting, sheet, **more).of(test).outcome


def test_an_injector_that_passes_every_test_is_fitted(bench):
    verdict = judge(bench, bench.sitting())

    assert verdict.outcome is InjectorOutcome.FIT
    assert {v.test: v.outcome for v in verdict.verdicts} == {
        BenchTest.OPENING: Outcome.PASS,
        BenchTest.CHATTER: Outcome.PASS,
        BenchTest.SPRAY: Outcome.PASS,
        BenchTest.SEAT: Outcome.PASS,
        BenchTest.BACK_LEAKAGE: Outcome.PASS,
        BenchTest.INSPECTION: Outcome.NOT_ASKED,
    }


def test_every_verdict_gives_its_reason_and_every_measured_one_its_rule(bench):
    for verdict in judge(bench, bench.sitting()).verdicts:
        assert verdict.reasons
        assert all(reason.endswith((".", "…")) for reason in verdict.reasons)
        if verdict.probability_of_conformity is not None:
            assert verdict.rule is DecisionRule.GUARDED


def test_parts_as_found_are_held_against_the_band_for_used_parts(bench):
    # 179 bar lies in the band for used parts and below the one for new ones.
    sitting = bench.sitting(179.0)

    assert outcome(bench, BenchTest.OPENING, sitting, condition=Condition.NEW) is Outcome.FAIL
    as_found = judge(bench, sitting, condition=Condition.NEW, as_left=False)
    assert as_found.of(BenchTest.OPENING).outcome is Outcome.PASS
    assert as_found.condition is Condition.USED


def test_an_opening_pressure_alone_out_of_band_asks_for_setting_only(bench):
    verdict = judge(bench, bench.sitting(170.0))

    assert verdict.outcome is InjectorOutcome.ADJUST
    assert "170" in verdict.reasons[0]


def test_a_reading_near_its_limit_is_too_close_to_tell_and_leaves_the_injector_unfinished(bench):
    verdict = judge(bench, bench.sitting(175.2))

    assert verdict.of(BenchTest.OPENING).outcome is Outcome.TOO_CLOSE
    assert 0.05 < verdict.of(BenchTest.OPENING).probability_of_conformity < 0.95
    assert verdict.outcome is InjectorOutcome.UNFINISHED


def test_a_gauge_that_cannot_judge_the_band_is_told_and_what_gauge_would(bench):
    verdict = judge(bench, bench.sitting(179.0, level_bar=2.31)).of(BenchTest.OPENING)

    assert verdict.outcome is Outcome.TOO_CLOSE
    assert "EN 837-1" in verdict.cannot_judge


def test_a_gauge_of_which_nothing_is_known_proves_nothing(bench):
    sitting = bench.sitting(
        179.0, level_bar=0.0, cautions=(bench.caution("gauge unknown", "its class is not stated"),)
    )

    guarded = judge(bench, sitting).of(BenchTest.OPENING)
    simple = judge(bench, sitting, bench.sheet(rule=DecisionRule.SIMPLE)).of(BenchTest.OPENING)

    assert guarded.outcome is Outcome.TOO_CLOSE
    assert any("class is not stated" in reason for reason in guarded.reasons)
    assert simple.outcome is Outcome.PASS


@pytest.mark.parametrize(
    ("demand", "heard", "counted", "expected"),
    [
        (ChatterDemand(True, None, None), ChatterGrade.CLEAR, None, Outcome.PASS),
        (ChatterDemand(True, None, None), ChatterGrade.WEAK, None, Outcome.PASS),
        (ChatterDemand(False, None, None), ChatterGrade.WEAK, None, Outcome.FAIL),
        (ChatterDemand(True, None, None), ChatterGrade.NONE, None, Outcome.FAIL),
        (ChatterDemand(True, None, None), None, None, Outcome.NOT_DONE),
        (ChatterDemand(True, None, None), None, 8.0, Outcome.PASS),
        (ChatterDemand(False, None, None), None, 8.0, Outcome.TOO_CLOSE),
        (ChatterDemand(True, None, None), None, 1.0, Outcome.TOO_CLOSE),
        (ChatterDemand(True, 3.0, None), ChatterGrade.CLEAR, None, Outcome.TOO_CLOSE),
        (ChatterDemand(True, 3.0, None), ChatterGrade.CLEAR, 8.0, Outcome.PASS),
        (ChatterDemand(True, 3.0, None), ChatterGrade.CLEAR, 1.5, Outcome.FAIL),
        (ChatterDemand(True, 3.0, None), None, 3.1, Outcome.TOO_CLOSE),
    ],
)
def test_chatter_is_judged_by_ear_and_by_count(bench, demand, heard, counted, expected):
    sheet = bench.sheet(chatter=replace(demand, printed=bench.PRINTED))
    sitting = bench.sitting(chatter=heard, per_stroke=counted)

    assert outcome(bench, BenchTest.CHATTER, sitting, sheet) is expected


def test_a_poor_spray_fails_and_an_ungraded_one_is_not_done(bench):
    assert outcome(bench, BenchTest.SPRAY, bench.sitting(spray=SprayGrade.POOR)) is Outcome.FAIL
    assert outcome(bench, BenchTest.SPRAY, bench.sitting(spray=None)) is Outcome.NOT_DONE


def test_a_poor_spray_forbids_to_fit_even_where_the_sheet_is_silent(bench):
    verdict = judge(bench, bench.sitting(spray=SprayGrade.POOR), bench.sheet(spray=None))

    assert verdict.of(BenchTest.SPRAY).outcome is Outcome.NOT_ASKED
    assert verdict.outcome is InjectorOutcome.REWORK


def test_what_the_sheet_leaves_out_is_not_judged_and_that_is_said(bench):
    sheet = bench.silent_sheet(opening_used=bench.band(175.0, 183.0))

    verdict = judge(bench, bench.sitting(), sheet)

    assert verdict.outcome is InjectorOutcome.FIT
    assert any("seat leakage" in reason for reason in verdict.reasons)
    assert verdict.of(BenchTest.SEAT).outcome is Outcome.NOT_ASKED


def test_a_sheet_that_asks_nothing_fits_nothing(bench):
    assert judge(bench, bench.sitting(), bench.silent_sheet()).outcome is InjectorOutcome.UNFINISHED


def test_a_sitting_that_never_was_is_not_done_in_every_test(bench):
    verdict = judge_injector(bench.injector(), bench.sheet(), Condition.USED, as_left=True)

    assert {one.outcome for one in verdict.verdicts} == {Outcome.NOT_DONE}
    assert verdict.outcome is InjectorOutcome.UNFINISHED


def test_a_worn_part_of_the_pair_is_exchanged_and_another_part_is_rework(bench):
    needle = bench.sitting(inspection=(("needle", "step on the seat cone", Severity.RENEW),))
    spring = bench.sitting(inspection=(("spring", "rust-pitted", Severity.RENEW),))
    noted = bench.sitting(inspection=(("cap", "paint chipped", Severity.NOTE),))

    assert judge(bench, needle).outcome is InjectorOutcome.EXCHANGE
    assert judge(bench, spring).outcome is InjectorOutcome.REWORK
    assert judge(bench, noted).outcome is InjectorOutcome.FIT


def test_a_needle_that_does_not_slide_is_rework(bench):
    assert judge(bench, bench.sitting(needle_slide=False)).outcome is InjectorOutcome.REWORK
    assert outcome(bench, BenchTest.INSPECTION, bench.sitting(needle_slide=True)) is Outcome.PASS


def test_a_dripping_seat_is_cleaned_first_and_exchanged_when_cleaning_did_not_help(bench):
    dripping = bench.sitting(tip=TipGrade.DROP)

    assert judge(bench, dripping, as_left=False).outcome is InjectorOutcome.REWORK
    assert judge(bench, dripping).outcome is InjectorOutcome.REWORK
    assert judge(bench, dripping, before=dripping).outcome is InjectorOutcome.EXCHANGE


def test_a_spray_still_poor_after_the_work_condemns_the_pair(bench):
    poor = bench.sitting(spray=SprayGrade.POOR)

    assert judge(bench, poor, before=poor).outcome is InjectorOutcome.EXCHANGE
    assert judge(bench, poor, before=bench.sitting()).outcome is InjectorOutcome.REWORK


# --- a test not done is never a pass -----------------------------------------------------------

gone = NotMeasured("the file was empty")

LEFT_OUT = {
    BenchTest.OPENING: {"opening_bar": None},
    BenchTest.CHATTER: {"chatter": None},
    BenchTest.SPRAY: {"spray": None},
    BenchTest.SEAT: {"tip": None},
    BenchTest.BACK_LEAKAGE: {"hold": gone},
}


@pytest.mark.parametrize("test", LEFT_OUT, ids=str)
def test_a_test_not_done_is_not_done(bench, test):
    verdict = judge(bench, bench.sitting(**LEFT_OUT[test]))

    assert verdict.of(test).outcome is Outcome.NOT_DONE
    assert verdict.outcome is InjectorOutcome.UNFINISHED


@given(left_out=st.sets(st.sampled_from(list(LEFT_OUT)), min_size=1), as_left=st.booleans())
def test_nothing_left_out_is_ever_a_pass_and_nothing_left_out_is_ever_fitted(
    bench, left_out, as_left
):
    changes = {key: value for test in left_out for key, value in LEFT_OUT[test].items()}
    verdict = judge(bench, bench.sitting(**changes), as_left=as_left)

    for test in left_out:
        assert verdict.of(test).outcome in (Outcome.NOT_DONE, Outcome.TOO_CLOSE)
    assert verdict.outcome is not InjectorOutcome.FIT


def test_without_recording_or_card_no_measured_test_is_done(bench):
    sitting = replace(bench.sitting(), gauge=None)
    verdict = judge(bench, sitting)

    assert verdict.of(BenchTest.OPENING).outcome is Outcome.NOT_DONE
    assert verdict.of(BenchTest.BACK_LEAKAGE).outcome is Outcome.NOT_DONE
    assert verdict.of(BenchTest.SEAT).outcome is Outcome.TOO_CLOSE
    assert verdict.outcome is InjectorOutcome.UNFINISHED


@pytest.mark.parametrize("as_left", [False, True])
def test_an_injector_without_result_passes_nothing(bench, as_left):
    whole = bench.sitting()
    seized = replace(whole, seen=replace(whole.seen, no_result=NoResult.SEIZED))
    verdict = judge(bench, seized, as_left=as_left, before=seized)
    for test in BENCH_TESTS:
        one = verdict.of(test)
        assert one.outcome is Outcome.NOT_DONE
        assert one.reasons[0] == "No result: needle seized."
        assert one.probability_of_conformity is None
    assert verdict.outcome is InjectorOutcome.UNFINISHED
    assert verdict.reasons == ("It gives no result: needle seized.",)


def test_what_failed_stays_failed_where_there_is_no_result(bench):
    whole = bench.sitting()
    poor = replace(whole.seen, spray=SprayGrade.POOR, no_result="the holder is bent")
    verdict = judge(bench, replace(whole, seen=poor))
    assert verdict.of(BenchTest.SPRAY).outcome is Outcome.FAIL
    assert verdict.outcome is InjectorOutcome.REWORK
    assert "It gives no result: the holder is bent." in verdict.reasons


@pytest.mark.parametrize("slides", [True, False, None])
def test_the_slide_test_alone_is_no_test_as_left(bench, slides):
    """What was seen of the parts is no bench test in the sense of ISO 8984-1:1993."""
    looked = TestSitting(gauge=None, seen=FitterObservations(needle_slide=slides))
    verdict = judge(bench, looked, before=bench.sitting())
    assert verdict.outcome is InjectorOutcome.UNFINISHED
    assert verdict.reasons == ("As left it is not tested yet.",)
