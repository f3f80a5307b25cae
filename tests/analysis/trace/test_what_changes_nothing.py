"""Changes of a recording that must not change what is read from it."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from nozzlewright.analysis import read_trace
from nozzlewright.bench import BenchConditions, DropWindow, Gauge, StrokeKind

BAR = 1e5
CONDITIONS = BenchConditions(
    window=DropWindow(150 * BAR, 100 * BAR),
    seat_margin_pa=15 * BAR,
    gauge=Gauge(range_pa=400 * BAR, accuracy_class=0.6, time_constant_s=3e-4),
)


@pytest.fixture(scope="module", params=range(4))
def session(rival, request):
    chance = np.random.default_rng([53, request.param])
    bench = rival.draw_bench(
        chance, opening_bar=chance.uniform(175.0, 260.0), decay_s=chance.uniform(12.0, 25.0),
        ringing_share=0.0,
    )  # fmt: skip
    acts = rival.draw_acts(chance, bench, drop=rival.hold(165.0, 20.0))
    return rival.play(bench, rival.RivalGauge(rate_hz=5000.0, noise_bar=0.05), acts, chance)


@pytest.fixture(scope="module")
def plain(session, rival):
    return read_trace(session.recording(), CONDITIONS)


def read(rival, time_s, bar, conditions=CONDITIONS):
    return read_trace(rival.as_recording(time_s, bar), conditions)


def assert_same(found, plain, *, shift_s=0.0, opening=0.05, drop=1e-3, stretch=1.0):
    """Same counts and values; pressures to `opening` bar, the drop time to a share `drop`."""
    assert [one.openings for one in found.strokes] == [one.openings for one in plain.strokes]
    assert [one.kind for one in found.strokes] == [one.kind for one in plain.strokes]
    for one, other in zip(found.openings, plain.openings, strict=True):
        assert one.time_s == pytest.approx(other.time_s * stretch + shift_s, abs=3e-3 * stretch)
    value = plain.opening_pressure.value
    assert found.opening_pressure.value == pytest.approx(value, abs=opening * BAR)
    took = plain.hold.drop_time_as_shown.value * stretch
    assert found.hold.drop_time_as_shown.value == pytest.approx(took, rel=drop)
    assert bool(found.seat_hold) == bool(plain.seat_hold)
    if plain.seat_hold:
        start = plain.seat_hold.start_s * stretch + shift_s
        assert found.seat_hold.start_s == pytest.approx(start, abs=0.2 * stretch)


@pytest.mark.parametrize("shift_s", [-7.5, 1000.0, 1e6])
def test_another_start_of_the_clock(rival, session, plain, shift_s):
    found = read(rival, session.time_s + shift_s, session.shown_bar)
    assert_same(found, plain, shift_s=shift_s)
    uncertainty = plain.opening_pressure.standard_uncertainty
    assert found.opening_pressure.standard_uncertainty == pytest.approx(uncertainty, rel=0.02)


def test_idle_in_front_and_behind(rival, session, plain):
    step = 1.0 / session.gauge.rate_hz
    noise = session.gauge.noise_bar * np.random.default_rng(1).standard_normal(20000)
    bar = np.concatenate((noise, session.shown_bar, noise))
    found = read(rival, np.arange(bar.size) * step, bar)
    assert_same(found, plain, shift_s=noise.size * step - session.time_s[0])


def test_fewer_samples_a_second(rival, session, plain):
    found = read(rival, session.time_s[::5], session.shown_bar[::5])
    assert_same(found, plain, opening=0.3, drop=2e-3)


def test_means_of_five_samples(rival, session, plain):
    size = session.time_s.size // 5 * 5
    time_s = session.time_s[:size].reshape(-1, 5).mean(axis=1)
    found = read(rival, time_s, session.shown_bar[:size].reshape(-1, 5).mean(axis=1))
    assert_same(found, plain, opening=0.3, drop=2e-3)


def test_uneven_times_of_the_same_curve(rival, session, plain):
    chance = np.random.default_rng(2)
    every = np.arange(0, session.time_s.size - 5, 5)
    keep = every + chance.integers(0, 5, every.size)
    found = read(rival, session.time_s[keep], session.shown_bar[keep])
    assert len(found.openings) == len(plain.openings)
    value = plain.opening_pressure.value
    assert found.opening_pressure.value == pytest.approx(value, abs=0.4 * BAR)
    took = plain.hold.drop_time_as_shown.value
    assert found.hold.drop_time_as_shown.value == pytest.approx(took, rel=2e-3)


@pytest.mark.parametrize("scale", [0.8, 1.25])
def test_all_pressures_greater_or_smaller_in_one_ratio(rival, session, plain, scale):
    window = DropWindow(150 * BAR * scale, 100 * BAR * scale)
    conditions = replace(CONDITIONS, window=window, seat_margin_pa=15 * BAR * scale)
    found = read(rival, session.time_s, session.shown_bar * scale, conditions)
    assert [one.openings for one in found.strokes] == [one.openings for one in plain.strokes]
    value = plain.opening_pressure.value * scale
    assert found.opening_pressure.value == pytest.approx(value, rel=3e-4)
    took = plain.hold.drop_time_as_shown.value
    assert found.hold.drop_time_as_shown.value == pytest.approx(took, rel=1e-3)


def test_the_zero_of_the_gauge_moves_the_opening_pressure_and_nothing_else(rival, session, plain):
    found = read(rival, session.time_s, session.shown_bar + 1.5)
    assert [one.openings for one in found.strokes] == [one.openings for one in plain.strokes]
    moved = found.opening_pressure.value - plain.opening_pressure.value
    assert moved == pytest.approx(1.5 * BAR, abs=0.05 * BAR)


def test_a_hold_left_out_leaves_the_openings_as_they_are(rival, session, plain):
    before = session.time_s < session.holds[0].start_s - 1.5
    found = read(rival, session.time_s[before], session.shown_bar[before])
    assert not found.hold
    assert len(found.openings) == len(plain.openings)
    value = plain.opening_pressure.value
    assert found.opening_pressure.value == pytest.approx(value, abs=0.05 * BAR)


def test_the_two_halves_of_a_session_read_apart_hold_all_its_openings(rival, session, plain):
    fast = [one for one in plain.strokes if one.kind is StrokeKind.FAST]
    cut = session.time_s < fast[0].start_s - 0.1
    first = read(rival, session.time_s[cut], session.shown_bar[cut])
    second = read(rival, session.time_s[~cut], session.shown_bar[~cut])
    assert len(first.openings) + len(second.openings) == len(plain.openings)
    value = plain.opening_pressure.value
    assert first.opening_pressure.value == pytest.approx(value, abs=0.05 * BAR)


def test_more_noise_makes_no_value_more_certain(rival):
    widths = []
    for noise_bar in (0.02, 0.3, 1.2):
        bench = rival.RivalBench(opening_bar=180.0, decay_s=20.0)
        acts = (rival.idle(), rival.slow(5), rival.hold(165.0, 18.0), rival.idle())
        gauge = rival.RivalGauge(noise_bar=noise_bar)
        session = rival.play(bench, gauge, acts, np.random.default_rng(3))
        found = read_trace(session.recording(), CONDITIONS)
        widths.append(
            (
                found.opening_pressure.standard_uncertainty,
                found.hold.drop_time_as_shown.standard_uncertainty,
            )
        )
    for quiet, loud in itertools.pairwise(widths):
        assert loud[0] > 0.999 * quiet[0]
        assert loud[1] > quiet[1]
