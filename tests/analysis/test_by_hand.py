"""A card of readings by eye and stopwatch."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from nozzlewright.analysis.by_hand import read_hand
from nozzlewright.bench import (
    BenchConditions,
    BlankPlug,
    DropWindow,
    Fluid,
    Gauge,
    NozzleGeometry,
    Rig,
    TipGrade,
    TipWatch,
)
from nozzlewright.capture import HandReadings, TimedDrop, WatchedHold
from nozzlewright.measurement import Cause, NotMeasured, Quantity, covariance
from nozzlewright.physics import drop_time, isothermal_bulk_modulus

BAR = 1e5


def card(**changes) -> HandReadings:
    plain = HandReadings(
        source="card 1",
        digest="0" * 64,
        opening_pa=tuple(x * BAR for x in (176, 175, 177, 176)),
        closing_pa=tuple(x * BAR for x in (142, 141, 143)),
        drops=(TimedDrop(150 * BAR, 100 * BAR, 26.0),),
        seat_hold=WatchedHold(156 * BAR, 154 * BAR, 10.0),
        openings_per_stroke=(4, 5, 4),
        reading_resolution_pa=1.0 * BAR,
        reaction_time_s=0.2,
    )
    return replace(plain, **changes)


def bench(**changes) -> BenchConditions:
    u = Cause("stated", "this bench")
    plain = BenchConditions(
        sitting="Monday",
        fluid=Fluid("invented oil", ((293.15, 4.0e-6), (313.15, 2.6e-6)), 0.01),
        oil_temperature=Quantity(293.15, "K", {Cause("temperature", "Monday"): 1.0}),
        gauge=Gauge(range_pa=400 * BAR, accuracy_class=1.0),
        rig=Rig("rig", Quantity(20e-6, "m^3", {u: 2e-7}), Quantity(1.2e-15, "m^3/Pa", {u: 1e-16})),
        geometry=NozzleGeometry(guide_diameter_m=6e-3, guide_length_m=20e-3),
        window=DropWindow(150 * BAR, 100 * BAR, 313.15),
        drop_watch=TipWatch(TipGrade.DRY),
    )
    return replace(plain, **changes)


def names(cautions) -> set[str]:
    return {one.name for one in cautions}


def test_the_opening_pressure_is_the_mean_with_gauge_eye_and_repeatability():
    opening = read_hand(card(), bench()).opening_pressure
    assert opening.value == pytest.approx(176 * BAR)
    by_cause = {one.name: part for one, part in opening.contributions.items()}
    assert by_cause["gauge level"] == pytest.approx(230940, rel=1e-4)
    # s 0.816 bar over four pops, widened by Student's t: 3.182/1.960 (JCGM 100:2008, G.3.2).
    assert by_cause["repeatability of the opening"] == pytest.approx(
        0.8165 * BAR / 2 * 3.182 / 1.960, rel=1e-3
    )
    assert 0.0 < by_cause["reading by eye"] < 1.0 * BAR / math.sqrt(3)


def test_the_eye_limits_pops_that_all_read_alike():
    same = read_hand(card(opening_pa=(175 * BAR,) * 5), bench(gauge=Gauge())).opening_pressure
    assert same.standard_uncertainty == pytest.approx(BAR / math.sqrt(3), rel=1e-6)


def test_a_single_pop_says_so():
    opening = read_hand(card(opening_pa=(175 * BAR,)), bench()).opening_pressure
    assert "single reading" in names(opening.cautions)
    three = read_hand(card(), bench()).opening_pressure
    assert opening.standard_uncertainty > three.standard_uncertainty


def test_a_card_covers_the_true_opening_in_95_of_100():
    rng = np.random.default_rng(5)
    hits = 0
    for _ in range(400):
        true = rng.uniform(170, 180) * BAR
        gauge = rng.uniform(-2, 2) * BAR
        pops = true + gauge + 0.6 * BAR * rng.standard_normal(rng.integers(2, 7))
        read = tuple(np.round(pops / (2 * BAR)) * 2 * BAR)
        conditions = bench(gauge=Gauge(range_pa=200 * BAR, accuracy_class=1.0))
        low, high = read_hand(card(opening_pa=read), conditions).opening_pressure.coverage_interval
        hits += low <= true <= high
    # Rectangular gauge errors never exceed 2 bar, so that 1.96 u covers more than 95 %.
    assert hits / 400 >= 0.92


def test_pops_that_creep_up_are_called_a_drift_and_wild_ones_a_sticking_needle():
    creeping = tuple((170 + 3 * k) * BAR for k in range(6))
    assert "drift" in names(read_hand(card(opening_pa=creeping), bench()).cautions)
    wild = tuple(x * BAR for x in (165, 182, 171, 179, 168))
    assert "sticking needle" in names(read_hand(card(opening_pa=wild), bench()).cautions)
    assert not names(read_hand(card(), bench()).cautions)


def test_a_timed_drop_is_brought_to_reference_by_the_same_physics_as_a_trace():
    conditions = bench()

    def compliance(celsius):
        return lambda p: (
            20e-6 / isothermal_bulk_modulus(p, celsius + 273.15, 1.30e9, 293.15, 10.9, -6.8e6)
            + 1.2e-15
        )

    at_20 = drop_time(150 * BAR, 100 * BAR, 2.5e-16, compliance(20.0), 12e-9, 1.5e-8)
    # 3.99 and 2.60 mm2/s, densities 825 exp(-8.5e-4 (t - 15)).
    thinner = 4.0 / 2.6 * math.exp(8.5e-4 * 20.0)
    at_40 = drop_time(150 * BAR, 100 * BAR, 2.5e-16 * thinner, compliance(40.0), 12e-9, 1.5e-8)
    hold = read_hand(card(drops=(TimedDrop(150 * BAR, 100 * BAR, at_20),)), conditions).hold
    assert hold.drop_time_as_shown.value == pytest.approx(at_20, rel=1e-6)
    assert hold.drop_time_at_reference.value == pytest.approx(at_40, rel=0.01)
    low, high = hold.drop_time_at_reference.coverage_interval
    assert low < at_40 < high


def test_reaction_and_reading_widen_a_timed_drop():
    quick = read_hand(card(drops=(TimedDrop(150 * BAR, 100 * BAR, 4.0),)), bench()).hold
    own = quick.drop_time_as_shown.contributions[Cause("stopwatch and reading", "card 1, hold")]
    tau = 4.0 / math.log(1.5)
    eye = BAR / math.sqrt(3)
    by_hand = math.hypot(0.2, tau * eye / (150 * BAR), tau * eye / (100 * BAR))
    assert abs(own) == pytest.approx(by_hand, rel=0.02)


def test_repeated_drops_count_as_one_mean():
    drops = tuple(TimedDrop(150 * BAR, 100 * BAR, s) for s in (25.0, 26.0, 27.0))
    hold = read_hand(card(drops=drops), bench()).hold
    assert hold.drop_time_as_shown.value == pytest.approx(26.0, rel=1e-6)
    assert "3 fall(s)" in hold.drop_time_as_shown.method


def test_a_drop_between_other_pressures_is_brought_to_the_window_and_says_so():
    hold = read_hand(card(drops=(TimedDrop(150 * BAR, 120 * BAR, 14.0),)), bench()).hold
    assert "hold cut short" in names(hold.drop_time_as_shown.cautions)
    assert hold.drop_time_as_shown.value == pytest.approx(14.0 * math.log(1.5) / math.log(1.25),
                                                          rel=0.08)  # fmt: skip
    far = read_hand(card(drops=(TimedDrop(150 * BAR, 145 * BAR, 2.0),)), bench()).hold
    assert isinstance(far.drop_time_as_shown, NotMeasured)
    assert isinstance(far.drop_time_at_reference, NotMeasured)


def test_a_stopwatch_cannot_tell_heat_and_the_value_says_so():
    hold = read_hand(card(), bench()).hold
    assert "compression heat" in names(hold.drop_time_at_reference.cautions)
    assert isinstance(hold.settling, NotMeasured)


def test_the_blank_plug_timed_by_stopwatch_is_taken_off():
    plug = BlankPlug(
        drop_time_s=120.0,
        drop_from_pa=150 * BAR,
        drop_to_pa=100 * BAR,
        compliance_ratio=Quantity(0.75, "1", {Cause("ratio", "rig"): 0.02}),
    )
    alone = read_hand(card(), bench()).hold.drop_time_at_reference
    off = read_hand(card(), bench(blank_plug=plug)).hold
    share = 0.75 * 26.0 / 120.0
    assert alone.value / off.drop_time_at_reference.value == pytest.approx(1.0 - share, rel=0.02)
    assert "rig leak not known" not in names(off.cautions)
    assert off.rig_conductance.value > 0.0


def test_the_clearance_follows_from_a_stopwatch_too():
    clearance = read_hand(card(), bench()).hold.guide_clearance
    low, high = clearance.interval
    assert 1e-6 < low < clearance.value < high < 8e-6


def test_the_seat_hold_keeps_its_two_readings_and_the_margin_forgets_the_gauge():
    seat = read_hand(card(), bench()).seat_hold
    assert seat.fall.value == pytest.approx(2 * BAR)
    assert seat.margin_below_opening.value == pytest.approx(20 * BAR)
    level = Cause("gauge level", "Monday", rectangular=True)
    assert level in seat.start_pressure.contributions
    assert level not in seat.margin_below_opening.contributions
    unread = read_hand(card(seat_hold=WatchedHold(156 * BAR, None, 10.0)), bench()).seat_hold
    assert isinstance(unread.fall, NotMeasured)


def test_counted_openings_are_chatter_without_a_rate():
    chatter = read_hand(card(), bench()).chatter
    assert chatter.openings_per_stroke.value == pytest.approx(13 / 3)
    assert isinstance(chatter.rate, NotMeasured)


def test_an_empty_card_measures_nothing_and_says_what_to_do():
    empty = HandReadings("card 2", "0" * 64)
    found = read_hand(empty)
    for value in (found.opening_pressure, found.closing_pressure, found.hold, found.seat_hold,
                  found.chatter, found.second_opening_pressure):  # fmt: skip
        assert isinstance(value, NotMeasured)
        assert value.reason
        assert value.remedy


def test_the_gauges_level_moves_a_decay_rate_as_two_shifted_readings_do():
    """Both readings high by 2.31 bar (class 1 of 400 bar): ln of a smaller ratio, over 26 s."""
    rate = read_hand(card(), bench()).hold.decay_rate
    (level,) = (part for cause, part in rate.contributions.items() if cause.name == "gauge level")
    shift = 4.0 / math.sqrt(3.0)
    moved = (math.log((150.0 + shift) / (100.0 + shift)) - math.log(1.5)) / 26.0

    assert level == pytest.approx(moved, rel=0.05)
    assert abs(level) < 0.03 * rate.value


def test_mean_and_fall_of_a_seat_hold_share_two_readings_that_cancel():
    """Of a and b alike and independent, (a + b)/2 and a - b are not correlated."""
    seat = read_hand(card(), bench(gauge=Gauge())).seat_hold
    product = seat.mean_pressure.standard_uncertainty * seat.fall.standard_uncertainty

    assert product > 0.0
    assert covariance(seat.mean_pressure, seat.fall) == pytest.approx(0.0, abs=1e-9 * product)
