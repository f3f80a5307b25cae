"""Practice: every hidden fault can be found with the trade's tests, and is worth its points."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace

import numpy as np
import pytest

from nozzlewright.bench import (
    ChatterGrade,
    Condition,
    FitterObservations,
    GaugeFindings,
    SetInjector,
    TestSitting,
    TipGrade,
    TipWatch,
)
from nozzlewright.capture import Recording
from nozzlewright.errors import InputFault
from nozzlewright.judging import (
    BenchTest,
    Direction,
    InjectorOutcome,
    InjectorVerdict,
    LeakPath,
    Outcome,
    judge_injector,
)
from nozzlewright.measurement import Quantity
from nozzlewright.said import from_data, speak
from nozzlewright.simulator import (
    CASES,
    DECISIONS,
    FAULTS,
    BleedStrokes,
    FastStrokes,
    HoldAt,
    Idle,
    PracticeCase,
    Release,
    SeatHold,
    Seen,
    SlowStrokes,
    SprayForm,
    draw_case,
    score,
    work_through,
)
from nozzlewright.simulator.worked import Parts
from nozzlewright.workflow import asked_by, read_gauge

BAR = 1e5
OPENING = (
    Idle(1.0),
    BleedStrokes(4, 70.0, volume_m3=0.7e-6),
    Idle(0.8),
    SlowStrokes(5, 20.0, volume_m3=0.35e-6, push_share=0.7),
)
PLUG = (Idle(1.0), HoldAt(170e5, 45.0, strokes_per_min=40.0), Release(2.0))


@dataclass
class Sitting:
    case: PracticeCase
    seen: dict[str, Seen]
    findings: GaugeFindings
    verdict: InjectorVerdict
    parts: Parts

    @property
    def opening_pa(self) -> float | None:
        measured = self.findings.opening_pressure
        return measured.value if isinstance(measured, Quantity) else None


def recorded(session, name):
    digest = hashlib.sha256(session.pressure_pa.tobytes()).hexdigest()
    return Recording(session.time_s, session.pressure_pa, name, digest)


def hold_of(case):
    lasts = min(1.7 * case.values["drop_as_shown_s"] + 6.0, 75.0)
    return HoldAt(165e5, lasts, strokes_per_min=30.0, volume_m3=0.5e-6)


def read(case, session, plug):
    seen = {type(act).__name__: one for act, one in session.seen}
    conditions = asked_by(case.sheet, case.conditions, Condition.USED)
    seat, drop = seen["SeatHold"], seen["HoldAt"]
    conditions = replace(
        conditions,
        seat_watch=TipWatch(grade=seat.tip, outside_leak=seat.outside_leak),
        drop_watch=TipWatch(grade=drop.tip, outside_leak=drop.outside_leak),
    )
    blank = None if plug is None else recorded(plug, "plug")
    return seen, read_gauge(recorded(session, "worked"), conditions, blank)


def sitting_of(name, *, bleed=False, mend=False, start=5):
    """A person checks the rig, tests as found, strips, and has it all judged."""
    rng = np.random.default_rng(start)
    case = draw_case(np.random.default_rng([start, 1]), CASES[name], name)
    bench = case.bench
    bench.mount_plug()
    plug = work_through(bench, PLUG, rng)
    if mend:
        bench.mend_rig()
        plug = work_through(bench, PLUG, rng)
    bench.mount_injector()
    if bleed:
        work_through(bench, (BleedStrokes(30, 80.0, union_slack=True), Release(1.5)), rng)
    rest = (
        Idle(0.8),
        FastStrokes(5, 80.0),
        Idle(0.8),
        SeatHold(18e5, 11.0, strokes_per_min=40.0, volume_m3=0.5e-6),
        Idle(0.5),
        hold_of(case),
        Release(2.0),
    )
    session = work_through(bench, (*OPENING, *rest), rng)
    seen, findings = read(case, session, plug)
    parts = bench.strip()
    brisk = seen["FastStrokes"]
    observed = FitterObservations(
        spray=brisk.spray.grade, chatter=brisk.chatter, seat=seen["SeatHold"].tip
    )
    verdict = judge_injector(
        SetInjector(1, "invented", TestSitting(findings, observed), None),
        case.sheet,
        Condition.USED,
        as_left=False,
    )
    return Sitting(case, seen, findings, verdict, parts)


@pytest.fixture(scope="module")
def bench_work(compiled_bench):
    """Each case worked once, with what its story asks for."""
    done = {}

    def of(name):
        if name not in done:
            done[name] = sitting_of(
                name, bleed=name == "air in the rig", mend=name == "leaking rig"
            )
        return done[name]

    return of


# -- the cases ----------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_a_case_that_is_worked_well_is_judged_as_it_is_due(bench_work, name):
    one = bench_work(name)
    assert one.verdict.outcome is InjectorOutcome(one.case.decision_due), one.verdict.reasons


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_the_gauge_tells_the_true_opening_and_the_true_drop(bench_work, name):
    one = bench_work(name)
    if name == "worn seat":  # it weeps: there is no opening
        assert one.opening_pa is None
    elif name == "sticking needle":  # there is no one opening
        assert one.opening_pa == pytest.approx(one.case.values["opening_pressure_pa"], abs=5 * BAR)
    else:
        low, high = one.findings.opening_pressure.coverage_interval
        assert low <= one.case.values["opening_pressure_pa"] <= high
    measured = one.findings.hold.drop_time_at_reference
    low, high = measured.coverage_interval
    assert low <= one.case.values["drop_at_reference_s"] <= high


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_found_as_it_is_a_case_brings_every_point(bench_work, name):
    one = bench_work(name)
    result = score(one.case, one.case.decision_due, one.case.fault, one.opening_pa, 25.0)
    assert result.points == result.most == 100, [part.reason for part in result.parts]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "direction"), [("low opening", Direction.LOW), ("high opening", Direction.HIGH)]
)
def test_a_wrong_setting_shows_in_the_opening_alone(bench_work, name, direction):
    verdict = bench_work(name).verdict
    assert verdict.of(BenchTest.OPENING).outcome is Outcome.FAIL
    assert verdict.of(BenchTest.OPENING).direction is direction
    others = {one.outcome for one in verdict.verdicts if one.test is not BenchTest.OPENING}
    assert Outcome.FAIL not in others


@pytest.mark.slow
def test_a_leaking_seat_shows_a_drop_and_cleaned_it_is_dry(bench_work):
    one = bench_work("leaking seat")
    assert one.seen["SeatHold"].tip is TipGrade.DROP
    assert one.verdict.of(BenchTest.SEAT).outcome is Outcome.FAIL

    case = draw_case(np.random.default_rng([5, 1]), 1, "leaking seat")
    case.bench.clean()
    rng = np.random.default_rng(6)
    session = work_through(case.bench, (*OPENING, SeatHold(18e5, 11.0, volume_m3=0.5e-6)), rng)
    assert session.seen[-1][1].tip is TipGrade.DRY


@pytest.mark.slow
def test_a_worn_guide_shows_in_the_fall_with_tip_and_rig_ruled_out(bench_work):
    verdict = bench_work("worn guide").verdict.of(BenchTest.BACK_LEAKAGE)
    assert verdict.outcome is Outcome.FAIL
    assert verdict.leak_paths == (LeakPath.GUIDE,)


@pytest.mark.slow
def test_cold_oil_lets_a_worn_guide_pass_as_shown(bench_work):
    one = bench_work("cold oil flatters a worn guide")
    demand = one.case.sheet.back_leakage
    assert one.findings.hold.drop_time_as_shown.coverage_interval[0] > demand.at_least_s
    assert one.verdict.of(BenchTest.BACK_LEAKAGE).outcome is Outcome.FAIL


@pytest.mark.slow
def test_a_sticking_needle_scatters_chatters_weakly_and_does_not_slide(bench_work):
    one = bench_work("sticking needle")
    assert any("sticking" in caution.name for caution in one.findings.opening_pressure.cautions)
    assert one.seen["FastStrokes"].chatter is ChatterGrade.WEAK
    assert not one.parts.needle_slides
    assert bench_work("good injector").parts.needle_slides


@pytest.mark.slow
def test_a_blocked_hole_and_a_worn_seat_show_in_the_spray(bench_work):
    assert bench_work("blocked hole").seen["FastStrokes"].spray is SprayForm.MISSING_JET
    worn = bench_work("worn seat")
    assert worn.seen["FastStrokes"].spray is SprayForm.DRIBBLE
    assert worn.seen["FastStrokes"].chatter is ChatterGrade.NONE


@pytest.mark.slow
def test_a_leaking_rig_looks_like_a_worn_guide_until_the_plug_tells(compiled_bench):
    case = draw_case(np.random.default_rng([5, 1]), 3, "leaking rig")
    rng = np.random.default_rng(5)
    case.bench.mount_plug()
    plug = work_through(case.bench, PLUG, rng)
    case.bench.mount_injector()
    session = work_through(
        case.bench, (*OPENING, Idle(0.5), SeatHold(18e5, 11.0), hold_of(case), Release(2.0)), rng
    )
    least = case.sheet.back_leakage.at_least_s
    _, blind = read(case, session, None)
    assert blind.hold.drop_time_at_reference.value < least
    _, with_plug = read(case, session, plug)
    low, high = with_plug.hold.drop_time_at_reference.coverage_interval
    assert least < low < case.values["drop_at_reference_s"] < high
    assert with_plug.hold.rig_conductance.value > with_plug.hold.leakage_conductance.value


@pytest.mark.slow
def test_air_makes_the_lever_soft_and_the_fall_slow_until_it_is_bled(bench_work):
    soft = draw_case(np.random.default_rng([5, 1]), 3, "air in the rig").bench
    firm = draw_case(np.random.default_rng([5, 1]), 1, "good injector").bench
    for bench in (soft, firm):
        bench.advance(1.0, 1.0)
    assert soft.true_pressure_pa < 5 * BAR < 150 * BAR < firm.true_pressure_pa

    before, after = sitting_of("air in the rig"), bench_work("air in the rig")
    shown = [one.findings.hold.drop_time_as_shown.value for one in (before, after)]
    assert shown[0] > 1.05 * shown[1]
    names = [{one.name for one in sitting.findings.hold.cautions} for sitting in (before, after)]
    assert "trapped air" in names[0] - names[1]
    truly = after.case.values["drop_as_shown_s"]
    assert shown[1] == pytest.approx(truly, rel=0.06)


# -- drawing ------------------------------------------------------------------------------------


def test_one_source_of_chance_gives_one_case():
    first, again = (draw_case(np.random.default_rng(3), 2) for _ in range(2))
    assert first.truth() == again.truth()
    assert first.bench.advance(0.1, 0.2)[1] == pytest.approx(again.bench.advance(0.1, 0.2)[1])
    drawn = [draw_case(np.random.default_rng(n), 2) for n in range(5)]
    assert len({one.values["drop_at_reference_s"] for one in drawn}) == 5


@pytest.mark.parametrize("level", [1, 2, 3])
def test_a_level_draws_its_own_cases_and_sound_ones(level):
    names = {draw_case(np.random.default_rng(n), level).name for n in range(40)}
    assert names == {one for one, at in CASES.items() if at == level} | {"good injector"}


@pytest.mark.parametrize("name", CASES)
def test_what_is_told_beforehand_gives_nothing_away_and_belongs_to_no_engine(name):
    case = draw_case(np.random.default_rng(9), CASES[name], name)
    told = case.story + case.sheet.title + case.sheet.injector
    if case.fault != "no fault":
        assert case.fault not in told
    assert name not in told
    assert case.sheet.invented
    assert case.fault in FAULTS
    assert case.decision_due in DECISIONS
    assert {str(one) for one in InjectorOutcome} > set(DECISIONS)
    json.dumps(case.truth(), allow_nan=False)


def test_a_level_or_case_that_does_not_exist_is_refused():
    with pytest.raises(InputFault, match="level 4"):
        draw_case(np.random.default_rng(1), 4)
    with pytest.raises(InputFault, match="haunted"):
        draw_case(np.random.default_rng(1), 1, "haunted")


# -- points -------------------------------------------------------------------------------------


def case_of(name="low opening", *, plug=True, hurry=False):
    case = draw_case(np.random.default_rng(4), CASES[name], name)
    rng = np.random.default_rng(4)
    if plug:
        case.bench.mount_plug()
        work_through(case.bench, (HoldAt(170e5, 12.0), *(() if hurry else (Release(1.5),))), rng)
        case.bench.mount_injector()
    work_through(case.bench, (*OPENING, Release(1.5)), rng)
    return case


def part(result, name):
    return next(one for one in result.parts if one.name == name)


def points(case, **other):
    right = {
        "decided": case.decision_due,
        "named_fault": case.fault,
        "opening_said_pa": case.values["opening_pressure_pa"],
        "minutes": 20.0,
    }
    return score(case, **(right | other))


@pytest.mark.parametrize("name", CASES)
def test_a_wrong_decision_and_a_wrong_fault_bring_fewer_points(name):
    case = draw_case(np.random.default_rng(4), CASES[name], name)
    best = points(case).points
    for decided in DECISIONS:
        if decided != case.decision_due:
            wrong = points(case, decided=decided)
            assert wrong.points <= best - 30
            assert case.decision_due in part(wrong, "decision").reason
    for named in FAULTS:
        if named != case.fault:
            assert points(case, named_fault=named).points == best - 25


def test_a_bad_injector_that_is_fitted_is_the_worst_decision():
    case = case_of()
    fitted, exchanged = points(case, decided="fit"), points(case, decided="exchange")
    assert part(fitted, "decision").points == 0 < part(exchanged, "decision").points


def test_the_opening_counts_within_its_tolerance():
    case = case_of()
    true = case.values["opening_pressure_pa"]
    got = [
        part(points(case, opening_said_pa=true + off * BAR), "opening pressure").points
        for off in (0.0, 2.9, -2.9, 4.0, -7.0)
    ]
    assert got == [15, 15, 15, 7, 0]
    assert part(points(case, opening_said_pa=None), "opening pressure").points == 0


def test_a_leak_judged_without_a_look_at_the_rig_costs_points():
    careful, careless = (part(points(case_of(plug=p)), "order of work") for p in (True, False))
    assert careful.points == 20
    assert careless.points == 15
    assert "blank plug" in careless.reason


def test_a_line_undone_under_pressure_costs_points_and_is_told_why():
    hurried = part(points(case_of(hurry=True)), "order of work")
    assert hurried.points == 15
    assert "skin" in hurried.reason


def test_what_was_changed_before_it_was_tested_as_found_costs_points():
    case = draw_case(np.random.default_rng(4), 1, "low opening")
    case.bench.clean()
    work_through(case.bench, OPENING, np.random.default_rng(4))
    assert "before it had opened" in part(points(case), "order of work").reason


def test_time_is_noted_and_not_scored():
    case = case_of()
    slow, quick = points(case, minutes=90.0), points(case, minutes=5.0)
    assert slow.points == quick.points
    assert (slow.minutes, quick.minutes) == (90.0, 5.0)


def test_a_score_is_plain_data_with_the_truth_beside_what_was_said():
    result = points(case_of(), decided="fit")
    data = json.loads(json.dumps(result.as_data(), allow_nan=False))
    assert data["points"] == result.points < data["most"] == 100
    assert (data["decided"], data["truth"]["decision_due"]) == ("fit", "adjust")
    assert [from_data(one["reason"]) for one in data["parts"]] == [p.reason for p in result.parts]
    assert from_data(data["truth"]["why"]) in from_data(data["parts"][0]["reason"])


def test_the_reasons_can_be_said_in_another_language_and_unit():
    result = points(case_of(), opening_said_pa=150e5)
    reason = part(result, "opening pressure").reason
    swapped = {reason.template: "true {true}, read {said}"}
    assert speak(reason, lambda text: swapped.get(text, text), "psi").endswith("read 2176 psi")


def test_words_that_nobody_knows_are_refused_together():
    with pytest.raises(InputFault) as refused:
        points(case_of(plug=False), decided="bin it", named_fault="gremlins")
    assert len(refused.value.faults) == 2
