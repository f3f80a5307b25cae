"""Holds: the one that answers the sheet's window, and the one that tries the seat."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from nozzlewright.analysis import read_trace
from nozzlewright.bench import BenchConditions, DropWindow, Gauge, Hold, SeatHold, StrokeKind

BAR = 1e5
WINDOW = DropWindow(150 * BAR, 100 * BAR)
CONDITIONS = BenchConditions(
    window=WINDOW,
    seat_margin_pa=15 * BAR,
    gauge=Gauge(range_pa=400 * BAR, accuracy_class=0.1, time_constant_s=3e-4),
)


def whole_session(rival, number, order=("seat", "drop"), **changes):
    chance = np.random.default_rng([23, number])
    bench = rival.draw_bench(chance, opening_bar=chance.uniform(175.0, 280.0), **changes)
    bench = replace(bench, decay_s=float(np.clip(bench.decay_s, 8.0, 40.0)))
    acts = {
        "seat": rival.hold(bench.opening_bar - 15.0, 10.0),
        "drop": rival.hold(165.0, 0.6 * bench.decay_s + 3.0),
    }
    script = (
        rival.idle(), rival.bleed(2), rival.slow(4), rival.fast(4),
        *(acts[name] for name in order), rival.release(),
    )  # fmt: skip
    session = rival.play(bench, rival.RivalGauge(noise_bar=0.05), script, chance)
    return session, dict(zip(order, session.holds, strict=True))


@pytest.mark.parametrize("order", [("seat", "drop"), ("drop", "seat")])
@pytest.mark.parametrize("number", range(6))
def test_drop_and_seat_hold_are_found_in_either_order(rival, number, order):
    session, true = whole_session(rival, number, order)
    found = read_trace(session.recording(), CONDITIONS)
    for hold, name in ((found.hold, "drop"), (found.seat_hold, "seat")):
        assert hold, name
        assert hold.start_s == pytest.approx(true[name].start_s, abs=0.4), name
        assert hold.end_s == pytest.approx(true[name].end_s, abs=0.3), name


@pytest.mark.parametrize("number", range(8))
def test_the_drop_as_shown_takes_the_time_that_it_took(rival, number):
    session, true = whole_session(rival, number)
    shown = read_trace(session.recording(), CONDITIONS).hold.drop_time_as_shown
    took = session.time_of_fall_s(true["drop"], 150.0, 100.0)
    assert shown.value == pytest.approx(took, rel=0.005)
    assert shown.value == pytest.approx(took, abs=3.0 * shown.standard_uncertainty)


def test_the_seat_hold_tells_start_fall_and_margin(rival):
    for number in range(4):
        session, true = whole_session(rival, number, heat_share=0.0)
        seat = read_trace(session.recording(), CONDITIONS).seat_hold
        assert isinstance(seat, SeatHold)
        # A leaky one has lost some of it while the first tenths of a second pass.
        lost = 1.0 + 0.2 * true["seat"].start_bar / session.bench.decay_s
        start = seat.start_pressure.value / BAR
        assert start == pytest.approx(true["seat"].start_bar, abs=lost)
        fell = true["seat"].start_bar - true["seat"].end_bar
        assert seat.fall.value / BAR == pytest.approx(fell, abs=lost)
        assert seat.duration.value == pytest.approx(10.0, abs=0.6)
        margin = session.lift_offs_bar("slow").mean() - true["seat"].start_bar
        assert seat.margin_below_opening.value / BAR == pytest.approx(margin, abs=lost)


def test_the_margin_of_the_seat_hold_is_surer_than_the_gauge(rival):
    session, _ = whole_session(rival, 1)
    coarse = replace(CONDITIONS, gauge=Gauge(range_pa=400 * BAR, accuracy_class=1.6))
    found = read_trace(session.recording(), coarse)
    margin = found.seat_hold.margin_below_opening
    assert margin.standard_uncertainty < 0.3 * found.opening_pressure.standard_uncertainty


def test_only_idle_gives_no_value_and_no_guess(rival):
    session = rival.play(
        rival.RivalBench(), rival.RivalGauge(), (rival.idle(10.0),), np.random.default_rng(1)
    )
    found = read_trace(session.recording(), CONDITIONS)
    assert not found.opening_pressure
    assert not found.hold
    assert not found.seat_hold
    assert not found.chatter
    assert found.openings == ()


def test_only_a_hold_still_gives_the_drop_time(rival):
    acts = (rival.idle(), rival.hold(165.0, 25.0))
    session = rival.play(
        rival.RivalBench(decay_s=20.0), rival.RivalGauge(), acts, np.random.default_rng(2)
    )
    found = read_trace(session.recording(), CONDITIONS)
    assert not found.opening_pressure
    assert "no opening was found" in found.opening_pressure.reason
    took = session.time_of_fall_s(session.holds[0], 150.0, 100.0)
    assert isinstance(found.hold, Hold)
    assert found.hold.drop_time_as_shown.value == pytest.approx(took, rel=0.005)
    assert all(one.kind is StrokeKind.FILL for one in found.strokes)


def test_a_recording_that_starts_in_the_middle_of_a_hold_is_read(rival):
    acts = (rival.hold(165.0, 25.0), rival.release())
    session = rival.play(
        rival.RivalBench(decay_s=20.0), rival.RivalGauge(), acts, np.random.default_rng(3)
    )
    start = session.holds[0].start_s + 0.5
    late = session.time_s > start
    found = read_trace(
        rival.as_recording(session.time_s[late], session.shown_bar[late]), CONDITIONS
    )
    assert found.strokes == ()
    took = session.time_of_fall_s(session.holds[0], 150.0, 100.0)
    assert found.hold.drop_time_as_shown.value == pytest.approx(took, rel=0.005)


def test_only_a_release_is_neither_opening_nor_hold(rival):
    time_s = np.arange(0.0, 3.0, 1e-3)
    bar = 160.0 * np.exp(-np.clip(time_s - 0.5, 0.0, None) / 0.08)
    bar += 0.05 * np.random.default_rng(4).standard_normal(time_s.size)
    found = read_trace(rival.as_recording(time_s, bar), CONDITIONS)
    assert found.openings == ()
    assert not found.opening_pressure
    assert not found.hold


def test_a_recording_without_a_hold_says_so_and_what_to_do(rival):
    acts = (rival.idle(), rival.slow(4), rival.release())
    session = rival.play(rival.RivalBench(), rival.RivalGauge(), acts, np.random.default_rng(5))
    found = read_trace(session.recording(), CONDITIONS)
    assert found.opening_pressure
    assert not found.hold
    assert found.hold.remedy
    assert not found.seat_hold


def test_a_hold_that_misses_the_window_gives_no_drop_time(rival):
    acts = (rival.idle(), rival.slow(4), rival.hold(60.0, 8.0), rival.release())
    session = rival.play(rival.RivalBench(), rival.RivalGauge(), acts, np.random.default_rng(6))
    found = read_trace(session.recording(), CONDITIONS)
    if found.hold:
        assert not found.hold.drop_time_as_shown
