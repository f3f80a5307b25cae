"""The rig itself is judged first: out, and no fall of pressure passes or fails."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nozzlewright.bench import (
    BackLeakageDemand,
    BenchConditions,
    DropWindow,
    Fluid,
    Gauge,
    LeakOffDemand,
    OilFilter,
    ReferenceNozzle,
    Rig,
    RigCheck,
    RigLimits,
    TemperatureProbe,
    TipWatch,
)
from nozzlewright.judging import (
    BenchTest,
    Fitness,
    Outcome,
    PastCheck,
    RigItem,
    judge_rig,
)
from nozzlewright.judging.back_leakage import judge_back_leakage
from nozzlewright.judging.rig import (
    blank_fall,
    check_too_old,
    drift_text,
    expected_compliance,
    marks_of,
)
from nozzlewright.measurement import Cause, NotMeasured, Quantity

BAR, MM3_PER_BAR = 1e5, 1e-14
LIMITS = RigLimits(
    blank_fall_pa=3 * BAR, blank_fall_s=60.0, blank_fall_from_pa=150 * BAR, zero_pa=1 * BAR,
    compliance_relative=0.10, temperature_from_k=288.15, temperature_to_k=303.15,
    oil_days=60.0, oil_hours=200.0, filter_days=60.0, remind_days=30.0, baseline=6,
)  # fmt: skip


def known(value, u, unit, name="own"):
    return Quantity(value, unit, {Cause(name): u})


NOZZLE = ReferenceNozzle(
    "N-0", "2026-01-01", known(181 * BAR, 0.2 * BAR, "Pa"), 3 * BAR,
    known(20.0, 0.3, "s"), 3.0, 150 * BAR, 100 * BAR, 313.15,
)  # fmt: skip


def card(**changes):
    rig = Rig(
        "R-1",
        compliance=known(2.2 * MM3_PER_BAR, 0.03 * MM3_PER_BAR, "m^3/Pa"),
        compliance_pressure_pa=125 * BAR,
        compliance_temperature_k=293.15,
        filter=OilFilter("paper", "2026-02-20"),
        probe=TemperatureProbe("T-1", 0.3, "2025-12-01", "2026-12-01"),
        reference=NOZZLE,
        limits=LIMITS,
    )
    whole = BenchConditions(
        gauge=Gauge("G-1", calibrated_on="2025-11-01", next_calibration_on="2026-11-01"),
        fluid=Fluid("oil", filled_on="2026-02-20", hours_used=20.0),
        oil_temperature=known(294.15, 0.4, "K"),
        rig=rig,
    )
    return replace(whole, **changes)


def with_rig(**changes):
    return card(rig=replace(card().rig, **changes))


def found(**changes):
    sound = RigCheck(
        made_on="2026-03-04",
        oil_temperature=known(294.15, 0.4, "K"),
        zero=known(0.1 * BAR, 0.1 * BAR, "Pa"),
        blank_decay_rate=known(1e-4, 1e-5, "1/s"),
        compliance=known(2.22 * MM3_PER_BAR, 0.03 * MM3_PER_BAR, "m^3/Pa"),
        compliance_pressure_pa=125 * BAR,
        reference_opening=known(181.3 * BAR, 0.2 * BAR, "Pa"),
        reference_drop=known(20.4, 0.4, "s"),
    )
    return replace(sound, **changes)


def test_a_rig_within_all_its_limits_is_fit():
    verdict = judge_rig(found(), card())
    assert verdict.fitness is Fitness.FIT
    assert {one.fitness for one in verdict.items} == {Fitness.FIT}
    assert verdict.objections == ()


@pytest.mark.parametrize(
    ("item", "check", "on"),
    [
        (RigItem.BLANK, {"blank_decay_rate": known(5e-4, 1e-5, "1/s")}, {}),
        (RigItem.ZERO, {"zero": known(-1.5 * BAR, 0.1 * BAR, "Pa")}, {}),
        (RigItem.TEMPERATURE, {"oil_temperature": known(284.0, 0.3, "K")}, {}),
        (RigItem.TEMPERATURE, {"oil_temperature": NotMeasured("not taken", "take it")}, {}),
        (RigItem.COMPLIANCE, {"compliance": known(2.6e-14, 0.03e-14, "m^3/Pa")}, {}),
        (RigItem.OPENING, {"reference_opening": known(176 * BAR, 0.2 * BAR, "Pa")}, {}),
        (RigItem.DROP, {"reference_drop": known(14.0, 0.3, "s")}, {}),
        (RigItem.GAUGE, {}, {"gauge": Gauge("G-1", next_calibration_on="2026-03-03")}),
        (RigItem.OIL, {}, {"fluid": Fluid("oil", filled_on="2026-01-02", hours_used=20.0)}),
        (RigItem.OIL, {}, {"fluid": Fluid("oil", filled_on="2026-02-20", hours_used=201.0)}),
        (RigItem.FILTER, {}, {"rig": replace(card().rig, filter=OilFilter("", "2025-12-31"))}),
        (
            RigItem.PROBE,
            {},
            {"rig": replace(card().rig, probe=TemperatureProbe("", 0.1, "", "2026-03-01"))},
        ),
    ],
)
def test_each_item_beyond_its_limit_puts_the_rig_out_by_name(item, check, on):
    verdict = judge_rig(found(**check), card(**on))
    assert verdict.fitness is Fitness.OUT
    assert [one.item for one in verdict.items if one.fitness is Fitness.OUT] == [item]
    assert len(verdict.objections) == 1
    assert verdict.objections[0].startswith(item.value)


def test_nothing_is_built_in_where_the_card_is_silent_nothing_is_judged_but_practice_said():
    silent = with_rig(limits=RigLimits(), reference=None, probe=None)
    silent = replace(silent, gauge=Gauge("G-1"))
    # A rig that leaks as no rig should, read against nothing.
    verdict = judge_rig(found(blank_decay_rate=known(0.1, 1e-3, "1/s")), silent)
    assert verdict.fitness is Fitness.UNCHECKED
    assert {one.fitness for one in verdict.items} == {Fitness.UNCHECKED}
    for item in (RigItem.BLANK, RigItem.ZERO, RigItem.OPENING, RigItem.DROP, RigItem.GAUGE,
                 RigItem.OIL, RigItem.FILTER, RigItem.COMPLIANCE):  # fmt: skip
        assert "Common practice, no source" in verdict.of(item).reasons[-1]
    assert verdict.objections == ()


def test_what_the_card_demands_and_nobody_looked_at_is_not_checked():
    verdict = judge_rig(found(blank_decay_rate=NotMeasured("no hold", "make one")), card())
    assert verdict.fitness is Fitness.UNCHECKED
    assert "no hold" in verdict.reasons[0]
    # A compliance need not be measured anew each day.
    daily = judge_rig(found(compliance=NotMeasured("not bled", "bleed")), card())
    assert daily.fitness is Fitness.FIT


def test_within_a_limit_by_less_than_its_uncertainty_is_watched():
    verdict = judge_rig(found(zero=known(0.9 * BAR, 0.2 * BAR, "Pa")), card())
    assert verdict.of(RigItem.ZERO).fitness is Fitness.WATCH
    assert verdict.fitness is Fitness.WATCH


def test_a_calibration_that_runs_out_soon_is_named_before():
    soon = card(gauge=Gauge("G-1", next_calibration_on="2026-03-20"))
    item = judge_rig(found(), soon).of(RigItem.GAUGE)
    assert item.fitness is Fitness.WATCH
    assert "in 16 days" in item.reasons[0]


@pytest.mark.parametrize("item", [RigItem.GAUGE, RigItem.PROBE])
@pytest.mark.parametrize(
    ("grace", "over", "fitness"),
    [
        (None, 0, Fitness.WATCH),
        (None, 1, Fitness.OUT),
        (0.0, 1, Fitness.OUT),
        (14.0, 1, Fitness.WATCH),
        (14.0, 14, Fitness.WATCH),
        (14.0, 15, Fitness.OUT),
    ],
)
def test_a_calibration_that_ran_out_withholds_unless_the_card_gives_it_some_days(
    item, grace, over, fitness
):
    due = (date(2026, 3, 4) - timedelta(days=over)).isoformat()
    limits = replace(LIMITS, calibration_grace_days=grace)
    late = with_rig(limits=limits)
    if item is RigItem.GAUGE:
        late = replace(late, gauge=Gauge("G-1", next_calibration_on=due))
    else:
        probe = TemperatureProbe("T-1", 0.3, "2025-12-01", due)
        late = with_rig(limits=limits, probe=probe)
    verdict = judge_rig(found(), late)

    assert verdict.of(item).fitness is fitness
    assert bool(verdict.objections) is (fitness is Fitness.OUT)
    if over:
        assert due in verdict.of(item).reasons[0]


@given(st.integers(1, 400), st.floats(0.0, 400.0), st.floats(0.0, 400.0))
def test_more_grace_never_withholds_more(over, one, more):
    due = (date(2026, 3, 4) - timedelta(days=over)).isoformat()

    def objections(grace):
        limits = replace(LIMITS, calibration_grace_days=grace)
        late = replace(with_rig(limits=limits), gauge=Gauge("G-1", next_calibration_on=due))
        return len(judge_rig(found(), late).objections)

    assert objections(max(one, more)) <= objections(min(one, more))


@pytest.mark.parametrize(
    ("most", "age", "withheld"),
    [(None, 400, False), (0.0, 0, False), (0.0, 1, True), (7.0, 7, False), (7.0, 8, True)],
)
def test_a_check_older_than_the_card_allows_withholds(most, age, withheld):
    made = date(2026, 3, 4)
    told = check_too_old(made, made + timedelta(days=age), most)

    assert bool(told) is withheld
    if withheld:
        assert "2026-03-04" in told[0]
        assert f"{age} days before the test" in told[0]


def test_a_temperature_better_than_its_probe_is_doubted():
    item = judge_rig(found(oil_temperature=known(294.15, 0.05, "K")), card()).of(RigItem.PROBE)
    assert item.fitness is Fitness.WATCH
    assert "better than the probe can tell" in item.reasons[0]


def test_an_error_of_the_gauges_level_is_what_the_reference_nozzle_finds():
    wide = Quantity(
        181.3 * BAR, "Pa", {Cause("gauge level", "S"): 2.3 * BAR, Cause("scatter"): 0.2 * BAR}
    )
    assert judge_rig(found(reference_opening=wide), card()).of(RigItem.OPENING).fitness is (
        Fitness.FIT
    )


def test_the_fall_with_the_plug_is_that_of_an_exponential():
    fall = blank_fall(found(blank_decay_rate=known(2e-3, 1e-4, "1/s")), card())
    assert fall.value == pytest.approx(150 * BAR * (1.0 - np.exp(-0.12)))
    assert fall.standard_uncertainty == pytest.approx(
        150 * BAR * 60.0 * np.exp(-0.12) * 1e-4, rel=1e-3
    )


def test_a_compliance_is_held_against_the_cards_at_the_same_pressure():
    """Oil is stiffer at 200 bar: 1.31 GPa + 10.9 p, n-dodecane's slope."""
    at_200 = expected_compliance(card(), 200 * BAR)
    ratio = (1.30e9 + 10.9 * 125 * BAR) / (1.30e9 + 10.9 * 200 * BAR - 6.8e6 * 1.0)
    assert at_200.value == pytest.approx(2.2e-14 * ratio, rel=1e-6)
    assert expected_compliance(with_rig(compliance=None), 200 * BAR) is None


def test_a_compliance_from_the_volume_is_that_of_oil_and_walls_together():
    """20 cm3 at 150 bar and 21 C: 1.31 GPa + 10.9 p - 6.8 MPa/K; walls give besides."""
    rig = {"compliance": None, "volume_m3": known(20e-6, 2e-7, "m^3"),
           "wall_compliance": known(2e-15, 2e-16, "m^3/Pa")}  # fmt: skip
    expected = expected_compliance(with_rig(**rig), 150 * BAR)
    oil = 20e-6 / (1.30e9 + 10.9 * 150 * BAR - 6.8e6)

    assert expected.value == pytest.approx(oil + 2e-15, rel=1e-6, abs=0.0)


@pytest.mark.parametrize(
    ("mm3_per_bar", "told", "soft"), [(2.6, "+17.6", True), (1.8, "-18.6", False)]
)
def test_a_rig_too_soft_is_told_from_one_too_stiff(mm3_per_bar, told, soft):
    compliance = known(mm3_per_bar * MM3_PER_BAR, 0.03 * MM3_PER_BAR, "m^3/Pa")
    item = judge_rig(found(compliance=compliance), card()).of(RigItem.COMPLIANCE)

    assert item.fitness is Fitness.OUT
    assert told in item.reasons[0]
    assert any("bleed it" in reason for reason in item.reasons) is soft


def test_the_last_day_and_the_last_hour_still_hold():
    silent = replace(LIMITS, remind_days=None)

    def of(item, **changes):
        rig = replace(card().rig, limits=silent, **changes.pop("rig", {}))
        return judge_rig(found(), card(rig=rig, **changes)).of(item).fitness

    def gauge(day):
        return Gauge("G-1", next_calibration_on=day)

    assert of(RigItem.GAUGE, gauge=gauge("2026-03-03")) is Fitness.OUT
    assert of(RigItem.GAUGE, gauge=gauge("2026-03-04")) is Fitness.WATCH
    assert of(RigItem.GAUGE, gauge=gauge("2026-03-05")) is Fitness.FIT
    hours = {"filled_on": "2026-02-20"}
    assert of(RigItem.OIL, fluid=Fluid("oil", hours_used=200.0, **hours)) is Fitness.FIT
    assert of(RigItem.OIL, fluid=Fluid("oil", hours_used=200.1, **hours)) is Fitness.OUT


def test_the_zero_is_charted_against_the_cards_limits_to_either_side():
    assert judge_rig(found(), card()).charts[RigItem.ZERO].tolerance == (-BAR, BAR)
    assert judge_rig(found(), card()).charts[RigItem.BLANK].tolerance == (None, 3 * BAR)


# --- charts ---------------------------------------------------------------------------------------


def past(openings_bar, start=date(2026, 1, 5), every=4, on=None, **more):
    """Checks on earlier days; only the reference nozzle's opening differs."""
    marks = marks_of(on or card())
    return [
        PastCheck(
            found(
                made_on=date.fromordinal(start.toordinal() + every * n).isoformat(),
                reference_opening=known(value * BAR, 0.2 * BAR, "Pa"),
                **more,
            ),
            marks,
        )
        for n, value in enumerate(openings_bar)
    ]


STEADY = [181.1, 180.8, 181.2, 180.9, 181.0, 180.7, 181.1, 180.9, 181.2, 181.0]


def test_a_point_beyond_the_charts_limits_is_watched_though_the_card_allows_it():
    verdict = judge_rig(found(reference_opening=known(182.9 * BAR, 0.1 * BAR, "Pa")), card(),
                        past(STEADY))  # fmt: skip
    item = verdict.of(RigItem.OPENING)
    assert item.fitness is Fitness.WATCH
    assert any("Western Electric 1956" in reason for reason in item.reasons)
    steady = judge_rig(found(reference_opening=known(181.0 * BAR, 0.1 * BAR, "Pa")), card(),
                       past(STEADY))  # fmt: skip
    assert steady.of(RigItem.OPENING).fitness is Fitness.FIT


def test_a_drift_is_named_with_its_day_before_it_bites():
    falling = [181.0 - 0.12 * n for n in range(14)]
    verdict = judge_rig(found(reference_opening=known(179.3 * BAR, 0.1 * BAR, "Pa")), card(),
                        past(falling))  # fmt: skip
    chart = verdict.charts[RigItem.OPENING]
    # 0.12 bar in 4 days from 179.3 bar to 178 bar: some 43 days after 2026-03-04.
    assert date(2026, 3, 30) <= chart.reaches_on <= date(2026, 4, 20)
    words = drift_text(chart)
    assert chart.trend.slope.value == pytest.approx(-0.03 * BAR, rel=0.08)
    assert "It drifts down by 0.8" in words
    assert "the card's limit of 178 bar" in words
    assert words in verdict.of(RigItem.OPENING).reasons
    assert verdict.of(RigItem.OPENING).fitness is Fitness.WATCH


def test_a_drift_that_begins_after_quiet_weeks_is_not_named_too_late():
    """Quiet for eight checks, then 0.03 bar a day: 178 bar is reached 50 days after the last."""
    quiet = [181.0, 181.2, 180.8, 181.1, 180.9, 181.0, 181.1, 180.9]
    falling = [181.0 - 0.12 * n for n in range(1, 12)]
    verdict = judge_rig(
        found(reference_opening=known(179.56 * BAR, 0.1 * BAR, "Pa"), made_on="2026-03-22"),
        with_rig(limits=replace(LIMITS, baseline=8)),
        past(quiet + falling),
    )
    chart = verdict.charts[RigItem.OPENING]
    truth = date(2026, 3, 22).toordinal() + (179.56 - 178.0) / 0.03
    assert chart.reaches_on.toordinal() <= truth
    assert truth - chart.reaches_on.toordinal() < 15


def test_a_changed_gauge_or_nozzle_begins_a_new_chart_and_oil_only_where_it_bears():
    before = past(STEADY)
    for change in (
        {"gauge": Gauge("G-2", next_calibration_on="2026-11-01")},
        {"rig": replace(card().rig, reference=replace(NOZZLE, since="2026-03-01"))},
    ):
        chart = judge_rig(found(), card(**change), before).charts[RigItem.OPENING]
        assert len(chart.days) == 1
        assert isinstance(chart.chart, NotMeasured)
        assert chart.begun
    oil = card(fluid=Fluid("oil", batch="new", filled_on="2026-03-01"))
    charts = judge_rig(found(), oil, before).charts
    assert len(charts[RigItem.OPENING].days) == 11
    assert len(charts[RigItem.DROP].days) == 1
    assert charts[RigItem.DROP].begun == "Since the oil was changed."


def test_too_few_checks_make_no_chart_and_say_so():
    chart = judge_rig(found(), card(), past(STEADY[:2])).charts[RigItem.OPENING]
    assert "3" in chart.chart.reason
    assert drift_text(chart) == ""


# --- withheld -------------------------------------------------------------------------------------

_ORDER = {Outcome.PASS: 1}


@st.composite
def _checks(draw):
    def maybe(low, high, u, unit, per=1.0):
        value = draw(st.none() | st.floats(low, high))
        if value is None:
            return NotMeasured("not measured", "measure it")
        return known(value * per, u * per, unit)

    return RigCheck(
        made_on=draw(st.dates(date(2026, 2, 21), date(2026, 12, 31))).isoformat(),
        oil_temperature=maybe(275, 320, 0.3, "K"),
        zero=maybe(-3, 3, 0.1, "Pa", BAR),
        blank_decay_rate=maybe(-1e-4, 1e-2, 1e-5, "1/s"),
        compliance=maybe(1.5, 4.0, 0.03, "m^3/Pa", MM3_PER_BAR),
        compliance_pressure_pa=125 * BAR,
        reference_opening=maybe(170, 190, 0.2, "Pa", BAR),
        reference_drop=maybe(5, 40, 0.4, "s"),
    )


@settings(max_examples=150, deadline=None)
@given(check=_checks(), seconds=st.floats(0.5, 60.0))
def test_a_rig_that_is_out_never_lets_a_fall_pass_or_fail(bench, check, seconds):
    verdict = judge_rig(check, card())
    sitting = bench.sitting(hold=bench.hold(seconds))
    judged = judge_back_leakage(replace(sitting, rig_objections=verdict.objections), bench.sheet())
    if verdict.fitness is Fitness.OUT:
        assert judged.outcome is Outcome.WITHHELD
        assert judged.measured.value == pytest.approx(seconds)
        assert judged.reasons[0].startswith("No verdict: the rig was out.")
        assert judged.leak_paths == ()
    else:
        assert judged == judge_back_leakage(sitting, bench.sheet())


@settings(max_examples=150, deadline=None)
@given(
    check=_checks(), rate=st.floats(0.0, 1e-2), worse=st.floats(0.0, 1e-2),
    seconds=st.floats(0.5, 60.0),
)  # fmt: skip
def test_a_worse_leak_of_the_rig_never_makes_a_pass_of_what_was_none(
    bench, check, rate, worse, seconds
):
    def outcome(leak):
        verdict = judge_rig(replace(check, blank_decay_rate=known(leak, 1e-5, "1/s")), card())
        sitting = bench.sitting(hold=bench.hold(seconds))
        return judge_back_leakage(
            replace(sitting, rig_objections=verdict.objections), bench.sheet()
        ).outcome

    before, after = outcome(rate), outcome(rate + worse)
    assert _ORDER.get(after, 0) <= _ORDER.get(before, 0)
    if before is Outcome.WITHHELD:
        assert after is Outcome.WITHHELD


def test_a_count_of_drops_is_withheld_too_and_what_was_not_done_stays_so(bench):
    objections = judge_rig(found(zero=known(9 * BAR, 0.1 * BAR, "Pa")), card()).objections
    sheet = bench.sheet(
        back_leakage=None,
        leak_off=LeakOffDemand(150 * BAR, 10.0, bench.PRINTED, at_least_drops=1,
                               at_most_drops=9, tolerance_pa=20 * BAR),
    )  # fmt: skip
    watch = TipWatch(leak_off_drops=5, leak_off_seconds=10.0)
    counted = bench.sitting(seat_hold=bench.seat_hold(watch=watch))
    assert judge_back_leakage(counted, sheet).outcome is Outcome.PASS
    out = judge_back_leakage(replace(counted, rig_objections=objections), sheet)
    assert out.outcome is Outcome.WITHHELD
    asked = bench.sheet(
        back_leakage=BackLeakageDemand(DropWindow(150e5, 100e5), bench.PRINTED, at_least_s=6.0)
    )
    undone = replace(bench.sitting(hold=NotMeasured("no hold")), rig_objections=objections)
    assert judge_back_leakage(undone, asked).outcome is Outcome.NOT_DONE


def test_an_injector_tested_on_a_rig_that_is_out_is_unfinished_not_condemned(bench):
    from nozzlewright.bench import Condition
    from nozzlewright.judging import InjectorOutcome, judge_injector

    objections = judge_rig(found(zero=known(9 * BAR, 0.1 * BAR, "Pa")), card()).objections
    fast = bench.sitting(hold=bench.hold(3.0))
    sound = judge_injector(bench.injector(1, fast), bench.sheet(), Condition.USED, as_left=False)
    assert sound.outcome is InjectorOutcome.EXCHANGE
    on_it = replace(fast, rig_objections=objections)
    held = judge_injector(bench.injector(1, on_it), bench.sheet(), Condition.USED, as_left=False)
    assert held.outcome is InjectorOutcome.UNFINISHED
    assert held.of(BenchTest.BACK_LEAKAGE).outcome is Outcome.WITHHELD
    assert any("the rig was out" in reason for reason in held.reasons)


def test_the_first_advice_on_a_rig_that_is_out_is_to_put_it_right(bench):
    from nozzlewright.advice import ActionKind, advise_set
    from nozzlewright.judging import judge_set

    objections = judge_rig(found(zero=known(9 * BAR, 0.1 * BAR, "Pa")), card()).objections
    tested = replace(bench.sitting(hold=bench.hold(3.0)), rig_objections=objections)
    verdict = judge_set(bench.engine_set(bench.injector(1, tested)), bench.sheet())
    (advice,) = advise_set(verdict, bench.sheet())
    assert advice.actions[0].kind is ActionKind.CHECK_RIG
    assert "the rig was out" in advice.actions[0].why


@pytest.mark.parametrize(
    ("item", "check", "limit"),
    [
        (RigItem.ZERO, {"zero": known(1.02 * BAR, 0.8 * BAR, "Pa")}, 1.0),
        (RigItem.TEMPERATURE, {"oil_temperature": known(288.13, 0.5, "K")}, 15.0),
        (RigItem.OPENING, {"reference_opening": known(177.96 * BAR, 1.0 * BAR, "Pa")}, 178.0),
        (RigItem.DROP, {"reference_drop": known(16.96, 0.9, "s")}, 17.0),
    ],
)
def test_a_number_that_is_out_is_never_rounded_back_to_its_limit(item, check, limit):
    verdict = judge_rig(found(**check), card()).of(item)

    assert verdict.fitness is Fitness.OUT
    told = float(verdict.reasons[0].partition(" ")[0])
    assert told != limit
