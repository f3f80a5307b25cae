"""Openings: how many, in which stroke, at what pressure; and what is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from nozzlewright.analysis import read_trace
from nozzlewright.analysis.trace.openings import FALL_SHOWS_S
from nozzlewright.bench import BenchConditions, Gauge, NozzleGeometry, StrokeKind
from nozzlewright.simulator import (
    BenchSetup,
    BleedStrokes,
    FastStrokes,
    HardStrokes,
    Idle,
    InjectorModel,
    RigModel,
    SensorModel,
    SlowStrokes,
    simulate,
)

BAR = 1e5
RATES_HZ = [500, 1000, 2000, 5000, 20000]
NOISES_BAR = [0.02, 0.1, 0.3, 1.0]
SAMPLES_PER_OPENING = 6.0
"""Openings in quicker succession than this many samples are not asked to be counted."""


def rng(*numbers: int) -> np.random.Generator:
    return np.random.default_rng(numbers)


def working(strokes):
    return [one.openings for one in strokes if one.openings]


def strokes_only(rival, number, *, rate_hz=1000.0, noise_bar=0.1, quickest=3000.0, **changes):
    """Idle, bleed, slow and fast strokes on a rig drawn at random; no hold, so quickly read."""
    chance = rng(7, number)
    bench = rival.draw_bench(chance, **changes)
    if noise_bar >= 1.0:
        # Falls of less than some 20 bar drown in so much noise.
        bench = replace(bench, closing_share=min(bench.closing_share, 0.8))
    acts = (
        rival.idle(),
        rival.bleed(int(chance.integers(2, 5))),
        rival.slow(int(chance.integers(3, 7)), chance.uniform(80.0, 400.0)),
        rival.fast(int(chance.integers(5, 10)), chance.uniform(1500.0, quickest)),
        rival.idle(),
    )
    gauge = rival.RivalGauge(rate_hz=rate_hz, noise_bar=noise_bar)
    return rival.play(bench, gauge, acts, chance)


def countable(session) -> bool:
    """Whether the sampling parts the openings at all."""
    gaps = np.diff(session.lift_time_s)
    return gaps.size == 0 or gaps.min() * session.gauge.rate_hz > SAMPLES_PER_OPENING


@pytest.mark.parametrize("noise_bar", NOISES_BAR)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_every_opening_is_counted_in_its_stroke(rival, rate_hz, noise_bar):
    tried = 0
    for number in range(6):
        session = strokes_only(rival, number, rate_hz=rate_hz, noise_bar=noise_bar)
        if not countable(session):
            continue
        tried += 1
        found = read_trace(session.recording())
        assert session.counts("bleed", "slow", "fast") == [one.openings for one in found.strokes], (
            f"number {number}"
        )
    assert tried >= 3


@pytest.mark.parametrize("noise_bar", NOISES_BAR)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_set_value_is_that_of_the_slow_strokes(rival, rate_hz, noise_bar):
    for number in range(6):
        session = strokes_only(rival, number, rate_hz=rate_hz, noise_bar=noise_bar)
        opening = read_trace(session.recording()).opening_pressure
        true = session.lift_offs_bar("slow").mean() * BAR
        allowed = max(0.5 * BAR, 0.003 * true, 2.5 * opening.standard_uncertainty)
        assert opening.value == pytest.approx(true, abs=allowed), f"number {number}"


def test_stated_intervals_of_the_set_value_cover_the_truth(rival):
    # The gauge is true here, so what is stated is noise, sampling, lag and repeatability alone.
    covered = []
    for number in range(60):
        rate_hz = RATES_HZ[number % 4]
        session = strokes_only(rival, number, rate_hz=rate_hz, noise_bar=NOISES_BAR[number % 3])
        opening = read_trace(session.recording()).opening_pressure
        low, high = opening.coverage_interval
        # The needle lifts late by anything up to its friction: half of it on the average.
        true = (session.bench.opening_bar + 0.5 * session.bench.friction_bar) * BAR
        covered.append(low <= true <= high)
    assert np.mean(covered) >= 0.9, f"{np.mean(covered):.1%} of {len(covered)} intervals cover"


def test_slow_and_fast_strokes_are_told_apart(rival):
    for number in range(12):
        session = strokes_only(rival, number)
        found = read_trace(session.recording())
        true = [one.kind for one in session.strokes if one.openings]
        assert [str(one.kind) for one in found.strokes if one.openings] == true, f"number {number}"


def test_strokes_that_only_fill_the_line_are_no_fault(rival):
    session = strokes_only(rival, 3)
    found = read_trace(session.recording())
    bleeding = [one for one in found.strokes if one.kind is StrokeKind.FILL]
    assert len(bleeding) == sum(one.kind == "bleed" for one in session.strokes)
    assert found.cautions == ()
    assert {one.name for one in found.opening_pressure.cautions} == {"gauge unknown"}


def test_each_opening_carries_its_time_lift_off_and_closing(rival):
    session = strokes_only(rival, 5, rate_hz=5000.0, ringing_share=0.0)
    found = read_trace(session.recording())
    assert len(found.openings) == session.lift_time_s.size
    for one, time_s, lift, closing in zip(
        found.openings, session.lift_time_s, session.lift_bar, session.closing_bar, strict=True
    ):
        assert one.time_s == pytest.approx(time_s, abs=1e-3)
        fall = lift - closing
        # As the gauge showed it, a lag of some tenths of a millisecond behind a quick rise.
        behind = one.rise_rate_pa_per_s / BAR * 0.001
        assert one.lift_off_pa / BAR == pytest.approx(lift, abs=behind + 0.7)
        assert one.closing_pa / BAR == pytest.approx(closing, abs=0.05 * fall + 1.0)
        assert one.fall_pa == one.lift_off_pa - one.closing_pa
        stroke = session.strokes[one.stroke]
        assert stroke.start_s <= one.time_s <= stroke.end_s + 0.02


def misses(rival, rate_hz):
    """Return by how much lift-offs [s] and closing pressures [bar] are missed, opening by opening.

    The gauge is all but free of noise; whatever is missed on the average is a bias.
    """
    late_s, high_bar = [], []
    for number in range(8):
        session = strokes_only(rival, number, rate_hz=rate_hz, noise_bar=0.02)
        found = read_trace(session.recording()).openings
        assert len(found) == session.lift_time_s.size
        late_s += [one.time_s - true for one, true in zip(found, session.lift_time_s, strict=True)]
        high_bar += [
            one.closing_pa / BAR - true
            for one, true in zip(found, session.closing_bar, strict=True)
        ]
    return np.array(late_s), np.array(high_bar)


def test_an_opening_lies_before_its_fall_by_the_time_in_which_a_fall_shows(rival):
    # The rival's needle has no mass and its gauge no lag: there the fall shows at once.
    late_s, _ = misses(rival, 20000.0)
    assert late_s.mean() == pytest.approx(-FALL_SHOWS_S, abs=1e-4)


def test_a_slow_gauge_does_not_read_the_closing_pressure_too_high(rival):
    # Half a sample of a quick rise would be 1.5 bar.
    _, high_bar = misses(rival, 1000.0)
    assert high_bar.size > 300
    assert high_bar.mean() == pytest.approx(0.0, abs=0.35)


def test_the_closing_pressure_is_read_through_the_ringing_of_the_line(rival):
    for number in range(6):
        session = strokes_only(rival, number, rate_hz=5000.0)
        found = read_trace(session.recording())
        closing, lift = session.closing_bar.mean() * BAR, session.lift_bar.mean() * BAR
        assert found.closing_pressure.value == pytest.approx(closing, abs=0.1 * (lift - closing))


def test_a_release_is_no_opening(rival):
    acts = (rival.idle(), rival.slow(4), rival.release(), rival.slow(3), rival.release())
    session = rival.play(rival.RivalBench(), rival.RivalGauge(), acts, rng(1))
    found = read_trace(session.recording())
    assert working(found.strokes) == [n for n in session.counts("slow") if n]
    assert len(found.openings) == session.lift_time_s.size


@pytest.mark.parametrize("fall_bar", [2.0, 3.0, 5.0])
def test_what_the_valve_takes_as_it_is_shut_is_no_opening(rival, fall_bar):
    for number in range(4):
        chance = rng(11, number)
        acts = (rival.idle(), rival.slow(4), rival.hold(160.0, 8.0, shut_fall_bar=fall_bar))
        session = rival.play(rival.RivalBench(), rival.RivalGauge(), acts, chance)
        found = read_trace(session.recording())
        assert len(found.openings) == session.lift_time_s.size
        assert found.hold


@pytest.mark.parametrize("ringing_hz", [300.0, 600.0, 1500.0])
@pytest.mark.parametrize("rate_hz", [1000, 5000, 20000])
def test_a_ringing_line_is_not_counted(rival, rate_hz, ringing_hz):
    for number in range(4):
        session = strokes_only(
            rival, number, rate_hz=rate_hz, ringing_share=0.5, ringing_hz=ringing_hz,
            ringing_dies_s=0.004, quickest=2000.0,
        )  # fmt: skip
        if countable(session):
            found = read_trace(session.recording())
            assert working(found.strokes) == [n for n in session.counts("slow", "fast") if n]


def test_a_line_that_rings_clearly_is_named(rival):
    session = strokes_only(
        rival, 2, rate_hz=5000.0, ringing_share=0.5, ringing_hz=300.0, ringing_dies_s=0.008
    )
    assert "line ringing" in [one.name for one in read_trace(session.recording()).cautions]


TWO_SPRINGS = BenchConditions(
    geometry=NozzleGeometry(two_spring=True), gauge=Gauge(time_constant_s=3e-4)
)


def two_spring(rival, number, *extra):
    bench = rival.RivalBench(
        opening_bar=170.0, second_opening_bar=240.0, first_flow_share=0.05, closing_share=0.8
    )
    acts = (rival.idle(), rival.slow(4, 150.0), rival.fast(6, 900.0), *extra)
    return rival.play(bench, rival.RivalGauge(rate_hz=2000.0), acts, rng(13, number))


def test_a_second_opening_shows_only_in_hard_strokes(rival):
    session = two_spring(rival, 0)
    found = read_trace(session.recording(), TWO_SPRINGS)
    assert found.opening_pressure.value / BAR == pytest.approx(170.1, abs=0.5)
    assert "hard stroke" in found.second_opening_pressure.reason

    hard = two_spring(rival, 0, rival.Act("hard", count=4, flow_mm3_per_s=8000.0))
    found = read_trace(hard.recording(), TWO_SPRINGS)
    assert found.opening_pressure.value / BAR == pytest.approx(170.1, abs=0.6)
    assert found.second_opening_pressure.value / BAR == pytest.approx(240.0, rel=0.02)


def test_a_holder_with_one_spring_has_no_second_opening(rival):
    second = read_trace(strokes_only(rival, 0).recording()).second_opening_pressure
    assert "two springs" in second.reason


@pytest.mark.parametrize("rate_hz", [500, 1000, 5000, 20000])
def test_openings_at_the_pretend_bench_are_counted_at_any_rate(compiled_bench, rate_hz):
    script = (Idle(0.5), BleedStrokes(2), SlowStrokes(4), FastStrokes(5), Idle(0.5))
    for number in range(3):
        session = simulate(
            BenchSetup(RigModel(volume_m3=35e-6)), InjectorModel(),
            SensorModel(rate_hz=rate_hz, noise_pa=0.05 * BAR), script, rng(17, number),
        )  # fmt: skip
        found = read_trace(recorded(session))
        true = [one["distinct_openings"] for one in session.truth["strokes"]]
        assert working(found.strokes) == [n for n in true if n]


def recorded(session):
    from nozzlewright.capture import Recording

    kept = np.isfinite(session.pressure_pa)
    return Recording(session.time_s[kept], session.pressure_pa[kept], "pretend bench", "0" * 64)


def test_the_pretend_benchs_hard_strokes_show_the_second_opening(compiled_bench):
    injector = InjectorModel(
        second_opening_lift_m=0.045e-3, second_preload_n=120.0, second_spring_rate=150e3
    )
    script = (Idle(0.5), SlowStrokes(4), FastStrokes(4), HardStrokes(4, volume_m3=3e-6), Idle(0.5))
    session = simulate(BenchSetup(), injector, SensorModel(), script, rng(19))
    found = read_trace(recorded(session), TWO_SPRINGS)
    first = session.truth["opening_pressure_with_friction_pa"]
    assert found.opening_pressure.value == pytest.approx(first, abs=0.5 * BAR)
    second = found.second_opening_pressure
    if second:
        # It is a lower bound: the pressure at full lift depends on how hard the stroke was.
        assert second.value > 1.06 * first


def test_a_worse_gauge_gives_the_same_value_with_a_larger_uncertainty(rival):
    recording = strokes_only(rival, 4).recording()
    found = [
        read_trace(
            recording, BenchConditions(gauge=Gauge(range_pa=400 * BAR, accuracy_class=accuracy))
        ).opening_pressure
        for accuracy in (0.1, 0.6, 1.6)
    ]
    assert len({one.value for one in found}) == 1
    widths = [one.standard_uncertainty for one in found]
    assert widths == sorted(set(widths))
    # EN 837-1: class 1.6 of 400 bar allows 6.4 bar anywhere; rectangular, so over sqrt(3).
    assert widths[-1] == pytest.approx(6.4 * BAR / np.sqrt(3.0), rel=0.05)
