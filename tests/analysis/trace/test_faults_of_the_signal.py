"""Drop-outs, spikes, clipping, hum, jitter, steps, slow gauges: recognised, named, survived."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from nozzlewright.analysis import read_trace
from nozzlewright.bench import BenchConditions, DropWindow, Gauge

BAR = 1e5
CONDITIONS = BenchConditions(window=DropWindow(150 * BAR, 100 * BAR))


def rng(*numbers: int) -> np.random.Generator:
    return np.random.default_rng(numbers)


def names(found):
    return {one.name for one in found.cautions}


def session_of(rival, number=0, **gauge):
    bench = rival.RivalBench(opening_bar=180.0, decay_s=22.0, friction_bar=0.2)
    acts = (
        rival.idle(), rival.bleed(2), rival.slow(5, 250.0), rival.fast(5, 1500.0),
        rival.hold(165.0, 20.0), rival.release(), rival.idle(),
    )  # fmt: skip
    return rival.play(
        bench, rival.RivalGauge(**{"noise_bar": 0.05, **gauge}), acts, rng(41, number)
    )


def assert_right(session, found, *, opening_bar=0.6, drop=0.005):
    """What a fitter leans on is right in spite of the fault."""
    true = session.lift_offs_bar("slow").mean()
    assert found.opening_pressure.value / BAR == pytest.approx(true, abs=opening_bar)
    took = session.time_of_fall_s(session.holds[0], 150.0, 100.0)
    assert found.hold.drop_time_as_shown.value == pytest.approx(took, rel=drop)


# Drop-outs


def lost(rng_, session, count=12, length_s=0.02, *, between=None):
    """Return a mask of samples in short losses of signal, off the openings."""
    mask = np.zeros(session.time_s.size, dtype=bool)
    low, high = between or (session.holds[0].start_s + 1.0, session.holds[0].end_s - 1.0)
    for start in rng_.uniform(low, high, count):
        mask |= (session.time_s >= start) & (session.time_s < start + length_s)
    return mask


def test_gaps_where_samples_were_lost_are_named_and_nothing_is_filled_in(rival):
    session = session_of(rival)
    kept = ~lost(rng(1), session)
    found = read_trace(
        rival.as_recording(session.time_s[kept], session.shown_bar[kept]), CONDITIONS
    )
    assert "drop-out" in names(found)
    assert_right(session, found)
    assert [one.openings for one in found.strokes if one.openings] == [
        n for n in session.counts("slow", "fast") if n
    ]


def test_a_signal_that_falls_to_nothing_and_returns_is_a_drop_out(rival):
    session = session_of(rival)
    bar = np.where(lost(rng(2), session), 0.0, session.shown_bar)
    found = read_trace(rival.as_recording(session.time_s, bar), CONDITIONS)
    assert "drop-out" in names(found)
    assert any("nothing is filled in" in line for line in found.history)
    assert_right(session, found)
    assert len(found.openings) == session.lift_time_s.size


def test_a_signal_that_stands_frozen_is_a_drop_out(rival):
    session = session_of(rival)
    bar = session.shown_bar.copy()
    mask = np.flatnonzero(lost(rng(3), session, length_s=0.06))
    for index in mask:
        bar[index] = bar[index - 1]
    found = read_trace(rival.as_recording(session.time_s, bar), CONDITIONS)
    assert "drop-out" in names(found)
    assert_right(session, found)


def test_a_drop_out_among_openings_invents_none(rival):
    session = session_of(rival)
    fast = [one for one in session.strokes if one.kind == "fast"]
    mask = lost(rng(4), session, 6, 0.015, between=(fast[0].start_s, fast[-1].end_s))
    for bar in (np.where(mask, 0.0, session.shown_bar), None):
        recording = (
            rival.as_recording(session.time_s[~mask], session.shown_bar[~mask])
            if bar is None
            else rival.as_recording(session.time_s, bar)
        )
        found = read_trace(recording, CONDITIONS)
        assert len(found.openings) <= session.lift_time_s.size
        assert len(found.openings) >= session.lift_time_s.size - 7


def test_lone_spikes_are_left_out_and_named(rival):
    session = session_of(rival)
    bar = session.shown_bar.copy()
    at = rng(5).choice(np.flatnonzero(bar > 60.0), 12, replace=False)
    calm = np.min(np.abs(at[:, None] / 1000.0 - session.lift_time_s), axis=1) > 0.05
    at = at[calm]
    bar[at] += 90.0
    found = read_trace(rival.as_recording(session.time_s, bar), CONDITIONS)
    assert "spikes" in names(found)
    assert len(found.openings) == session.lift_time_s.size
    assert_right(session, found)


# Clipping


def test_a_clipped_recording_gives_no_opening_pressure(rival):
    session = session_of(rival, range_bar=174.0)
    found = read_trace(session.recording(), CONDITIONS)
    assert "clipping" in names(found)
    assert "cut off at 174.0 bar" in found.opening_pressure.reason
    assert "larger range" in found.opening_pressure.remedy
    took = session.time_of_fall_s(session.holds[0], 150.0, 100.0)
    assert found.hold.drop_time_as_shown.value == pytest.approx(took, rel=0.005)


def test_clipping_above_the_slow_openings_leaves_their_value(rival):
    session = session_of(rival)
    bar = session.shown_bar.copy()
    # One stray peak far above the openings is cut off.
    peak = slice(700, 760)
    bar[peak] = np.minimum(np.linspace(0.0, 300.0, 60), 210.0)
    found = read_trace(rival.as_recording(session.time_s, bar), CONDITIONS)
    true = session.lift_offs_bar("slow").mean()
    if found.opening_pressure:
        assert found.opening_pressure.value / BAR == pytest.approx(true, abs=0.6)


def test_a_recording_that_is_not_cut_off_is_not_said_to_be(rival):
    for number in range(10):
        assert "clipping" not in names(read_trace(session_of(rival, number).recording()))


# Mains hum


@pytest.mark.parametrize("hum_hz", [49.8, 50.0, 60.0, 60.1])
@pytest.mark.parametrize("hum_bar", [0.3, 1.0, 2.0])
@pytest.mark.parametrize("rate_hz", [500.0, 1000.0, 5000.0])
def test_mains_hum_is_named_and_taken_off(rival, rate_hz, hum_bar, hum_hz):
    session = session_of(rival, rate_hz=rate_hz, hum_bar=hum_bar, hum_hz=hum_hz)
    found = read_trace(session.recording(), CONDITIONS)
    hum = [one for one in found.cautions if one.name == "mains hum"]
    assert len(hum) == 1
    assert f"{hum_bar:.2f} bar at {hum_hz:.1f} Hz" in hum[0].text
    assert any("mains hum" in line and "taken off" in line for line in found.history)
    assert_right(session, found)


def test_without_hum_none_is_taken_off(rival):
    for number in range(12):
        session = session_of(rival, number, noise_bar=[0.02, 0.1, 0.5][number % 3])
        found = read_trace(session.recording())
        assert "mains hum" not in names(found)
        assert not any("hum" in line for line in found.history)


# Sampling


def test_jitter_is_named_and_does_no_harm(rival):
    session = session_of(rival, jitter_share=0.2)
    found = read_trace(session.recording(), CONDITIONS)
    assert "jitter" in names(found)
    assert_right(session, found)
    assert len(found.openings) == session.lift_time_s.size


def test_coarse_steps_are_named_and_widen_the_uncertainty(rival):
    fine = read_trace(session_of(rival).recording(), CONDITIONS)
    session = session_of(rival, bits=8, noise_bar=0.01)
    found = read_trace(session.recording(), CONDITIONS)
    assert "coarse steps" in names(found)
    assert "coarse steps" not in names(fine)
    true = session.lift_offs_bar("slow").mean()
    step = 400.0 / 2**8
    assert found.opening_pressure.value / BAR == pytest.approx(true, abs=step)
    assert found.opening_pressure.standard_uncertainty > fine.opening_pressure.standard_uncertainty
    assert len(found.openings) == session.lift_time_s.size


def test_chatter_is_not_judged_where_sampling_is_too_slow_for_it(rival):
    bench = rival.RivalBench(volume_mm3=8e3, closing_share=0.85, nozzle_mm3_per_s=60e3)
    acts = (rival.idle(), rival.slow(4, 120.0), rival.fast(5, 1500.0), rival.idle())
    slow = rival.play(bench, rival.RivalGauge(rate_hz=250.0), acts, rng(6))
    found = read_trace(slow.recording())
    assert not found.chatter
    assert "slow" in found.chatter.reason
    assert found.chatter.remedy
    quick = rival.play(bench, rival.RivalGauge(rate_hz=5000.0), acts, rng(6))
    chatter = read_trace(quick.recording()).chatter
    assert chatter.openings_per_stroke.value == pytest.approx(np.mean(quick.counts("fast")))


def test_chatter_gives_openings_per_stroke_rate_and_regularity(rival):
    session = session_of(rival, rate_hz=5000.0)
    chatter = read_trace(session.recording(), CONDITIONS).chatter
    assert chatter.openings_per_stroke.value == pytest.approx(np.mean(session.counts("fast")))
    gaps = np.concatenate([
        np.diff(session.lift_time_s[
            (session.lift_time_s >= one.start_s) & (session.lift_time_s < one.end_s + 0.02)
        ])
        for one in session.strokes if one.kind == "fast"
    ])  # fmt: skip
    assert chatter.rate.value == pytest.approx(1.0 / np.median(gaps), rel=0.02)
    assert chatter.regularity.value == pytest.approx(np.std(gaps) / np.mean(gaps), abs=0.05)


def test_without_fast_strokes_there_is_no_chatter_to_judge(rival):
    acts = (rival.idle(), rival.slow(4, 200.0), rival.idle())
    session = rival.play(rival.RivalBench(), rival.RivalGauge(), acts, rng(7))
    assert "no fast strokes" in read_trace(session.recording()).chatter.reason


# Slow gauges


@pytest.mark.parametrize("rate_hz", [10.0, 20.0])
def test_a_gauge_of_ten_readings_a_second_is_named_and_claims_no_more_than_it_can(rival, rate_hz):
    inside, tried = 0, 0
    for number in range(10):
        session = session_of(rival, number, rate_hz=rate_hz, bits=None, lag_s=0.0)
        found = read_trace(session.recording(), CONDITIONS)
        assert "slow gauge" in names(found)
        assert not found.chatter
        took = session.time_of_fall_s(session.holds[0], 150.0, 100.0)
        assert found.hold.drop_time_as_shown.value == pytest.approx(took, rel=0.01)
        if found.opening_pressure:
            tried += 1
            low, high = found.opening_pressure.coverage_interval
            inside += low / BAR <= session.lift_offs_bar("slow").mean() <= high / BAR
            assert found.opening_pressure.standard_uncertainty > 0.3 * BAR
    assert inside >= 0.8 * tried


@pytest.mark.parametrize("stated", [True, False])
@pytest.mark.parametrize("rate_hz", [200.0, 1000.0])
def test_the_lag_of_a_gauge_is_undone_stated_or_not(rival, rate_hz, stated):
    lag_s = 0.016
    gauge = Gauge(time_constant_s=lag_s if stated else None)
    inside, tried = 0, 0
    for number in range(8):
        chance = rng(43, number)
        bench = rival.draw_bench(chance, ringing_share=0.0)
        # Slow enough that one opening is over before the next: the lag smears quicker ones.
        acts = (rival.idle(), rival.slow(5, 100.0), rival.idle())
        session = rival.play(bench, rival.RivalGauge(rate_hz=rate_hz, lag_s=lag_s), acts, chance)
        opening = read_trace(session.recording(), BenchConditions(gauge=gauge)).opening_pressure
        if not opening:
            continue
        tried += 1
        true = session.lift_offs_bar("slow").mean()
        assert opening.value / BAR == pytest.approx(true, abs=max(2.0, 0.015 * true))
        low, high = opening.coverage_interval
        inside += low / BAR <= true <= high / BAR
    assert tried >= 6
    assert inside >= 0.75 * tried


def test_a_lagging_gauge_is_named(rival):
    session = session_of(rival, lag_s=0.016)
    known = replace(CONDITIONS, gauge=Gauge(time_constant_s=0.016))
    for conditions in (CONDITIONS, known):
        found = read_trace(session.recording(), conditions)
        assert "slow gauge" in names(found)
        took = session.time_of_fall_s(session.holds[0], 150.0, 100.0)
        assert found.hold.drop_time_as_shown.value == pytest.approx(took, rel=0.005)
