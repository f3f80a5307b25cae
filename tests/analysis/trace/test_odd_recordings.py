"""Whatever a recording holds, the reading ends in findings and never in a traceback."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from nozzlewright.analysis import read_trace
from nozzlewright.bench import (
    BenchConditions,
    BlankPlug,
    Chatter,
    DropWindow,
    Fluid,
    Gauge,
    GaugeFindings,
    Hold,
    NozzleGeometry,
    Rig,
    SeatHold,
)
from nozzlewright.capture import Recording
from nozzlewright.measurement import NotMeasured, Quantity

BAR = 1e5
FULL = BenchConditions(
    sitting="one sitting",
    fluid=Fluid("oil", ((293.15, 4.0e-6), (313.15, 2.6e-6))),
    oil_temperature=Quantity(295.0, "K"),
    gauge=Gauge(range_pa=400 * BAR, accuracy_class=0.6, time_constant_s=0.001),
    rig=Rig(volume_m3=Quantity(30e-6, "m^3")),
    blank_plug=BlankPlug(volume_m3=Quantity(27e-6, "m^3")),
    geometry=NozzleGeometry(
        guide_diameter_m=6e-3, seat_diameter_m=2.6e-3, guide_length_m=20e-3, two_spring=True
    ),
    window=DropWindow(150 * BAR, 100 * BAR, 313.15),
    opening_target_pa=180 * BAR,
    seat_margin_pa=20 * BAR,
)
CONDITIONS = [None, BenchConditions(window=DropWindow(150 * BAR, 100 * BAR)), FULL]


def recording(time_s, pressure_pa):
    return Recording(np.asarray(time_s), np.asarray(pressure_pa), "made up", "0" * 64)


def assert_whole(found):
    """Every part of the findings is a value with a finite uncertainty, or says why it is none."""
    assert isinstance(found, GaugeFindings)
    parts = [
        (found, ("opening_pressure", "closing_pressure", "second_opening_pressure")),
        (found.hold, ("drop_time_as_shown", "drop_time_at_reference", "decay_rate",
                      "leakage_conductance", "rig_conductance", "guide_clearance", "settling")),
        (found.seat_hold, ("start_pressure", "mean_pressure", "fall", "duration")),
        (found.chatter, ("openings_per_stroke", "rate", "regularity")),
    ]  # fmt: skip
    for whole, names in parts:
        if isinstance(whole, NotMeasured):
            assert whole.reason
            continue
        assert isinstance(whole, GaugeFindings | Hold | SeatHold | Chatter)
        for name in names:
            value = getattr(whole, name)
            if isinstance(value, NotMeasured):
                assert value.reason, name
            else:
                assert np.isfinite(value.value), name
                assert np.isfinite(value.standard_uncertainty), name
                low, high = value.coverage_interval
                assert low <= value.value <= high, name
    assert sum(one.openings for one in found.strokes) == len(found.openings)


def tried(time_s, pressure_pa):
    for conditions in CONDITIONS:
        assert_whole(read_trace(recording(time_s, pressure_pa), conditions))


rates = st.sampled_from([3.0, 10.0, 97.0, 1000.0, 7000.0])
sizes = st.integers(1, 700)


def pressures(size):
    wild = st.floats(-1e12, 1e12, allow_nan=False, width=64)
    usual = st.floats(-5e5, 5e7, width=64)
    return st.one_of(
        hnp.arrays(np.float64, size, elements=usual, fill=st.just(0.0)),
        hnp.arrays(np.float64, size, elements=usual),
        hnp.arrays(np.float64, size, elements=wild),
    )


few = settings(max_examples=120, suppress_health_check=list(HealthCheck))


@few
@given(data=st.data(), size=sizes, rate=rates)
def test_any_numbers_at_even_times_are_read(data, size, rate):
    tried(np.arange(size) / rate, data.draw(pressures(size)))


@few
@given(data=st.data(), size=sizes)
def test_any_numbers_at_uneven_times_are_read(data, size):
    step = data.draw(
        hnp.arrays(np.float64, size, elements=st.floats(1e-5, 30.0), fill=st.just(0.01))
    )
    tried(np.cumsum(step) + data.draw(st.floats(-1e6, 1e9)), data.draw(pressures(size)))


pieces = st.lists(
    st.tuples(
        st.sampled_from(["rest", "rise", "fall", "leak", "saw", "zero", "jump"]),
        st.floats(0.002, 3.0),
        st.floats(0.0, 400.0),
    ),
    min_size=1,
    max_size=14,
)


def drawn_trace(parts, rate, noise_bar, number):
    """Pieces of what a bench does, put together as no bench would."""
    now, out = 0.0, []
    for kind, seconds, level in parts:
        x = np.linspace(0.0, 1.0, max(int(seconds * rate), 1), endpoint=False)
        if kind == "zero":
            now = 0.0
        end = {"rest": now, "leak": 0.7 * now, "fall": 0.3 * now}.get(kind, level)
        if kind == "jump":
            now = level
        part = now + (end - now) * x
        if kind == "saw":
            part = part - 0.2 * part * ((40.0 * x * seconds) % 1.0)
        now = end
        out.append(part)
    bar = np.concatenate(out)
    return bar + noise_bar * np.random.default_rng(number).standard_normal(bar.size)


@settings(max_examples=150, suppress_health_check=list(HealthCheck))
@given(
    parts=pieces, rate=st.sampled_from([10.0, 200.0, 1000.0, 3000.0]),
    noise_bar=st.sampled_from([0.0, 0.05, 3.0]), number=st.integers(0, 99),
)  # fmt: skip
def test_pieces_of_bench_work_in_any_order_are_read(parts, rate, noise_bar, number):
    bar = drawn_trace(parts, rate, noise_bar, number)
    tried(np.arange(bar.size) / rate, bar * BAR)


@settings(max_examples=40, suppress_health_check=list(HealthCheck))
@given(parts=pieces, number=st.integers(0, 99))
def test_any_blank_plug_recording_is_read(parts, number):
    bar = drawn_trace(parts, 200.0, 0.05, number)
    blank = recording(np.arange(bar.size) / 200.0, bar * BAR)
    time_s = np.arange(0.0, 20.0, 0.005)
    good = recording(time_s, 170 * BAR * np.exp(-time_s / 25.0))
    assert_whole(read_trace(good, FULL, blank))


@pytest.mark.parametrize("size", [1, 2, 3, 4, 7, 8, 9, 16])
def test_a_very_short_recording_is_read(size):
    for rate in (5.0, 1000.0, 50e3):
        tried(np.arange(size) / rate, np.linspace(0.0, 180 * BAR, size))


@pytest.mark.parametrize("level", [0.0, -3 * BAR, 150 * BAR, 1e-9, 1e15])
def test_a_constant_recording_shows_nothing_and_says_so(level):
    time_s = np.arange(0.0, 5.0, 1e-3)
    for conditions in CONDITIONS:
        found = read_trace(recording(time_s, np.full(time_s.size, level)), conditions)
        assert_whole(found)
        assert "no change of pressure" in found.opening_pressure.reason
        assert not found.hold


def test_noise_alone_gives_no_opening_and_no_hold():
    time_s = np.arange(0.0, 10.0, 1e-3)
    for sigma_bar in (0.01, 0.3, 5.0):
        bar = sigma_bar * np.random.default_rng(1).standard_normal(time_s.size)
        found = read_trace(recording(time_s, bar * BAR), FULL)
        assert_whole(found)
        assert found.openings == ()
        assert not found.opening_pressure
        assert not found.hold


@pytest.mark.parametrize("scale", [1e-6, 1e-3, 1e3])
def test_a_session_in_a_wrong_unit_is_read_without_a_traceback(rival, scale):
    chance = np.random.default_rng(2)
    session = rival.draw_session(chance, opening_bar=180.0)
    tried(session.time_s, session.shown_bar * BAR * scale)


def test_a_session_upside_down_or_backwards_is_read(rival):
    session = rival.draw_session(np.random.default_rng(3), opening_bar=180.0)
    tried(session.time_s, -session.shown_bar * BAR)
    tried(session.time_s, session.shown_bar[::-1] * BAR)
    tried(session.time_s, (session.shown_bar - 200.0) * BAR)


def test_every_cut_of_a_session_is_read(rival):
    session = rival.draw_session(np.random.default_rng(4), opening_bar=180.0)
    chance = np.random.default_rng(5)
    for _ in range(25):
        a, b = np.sort(chance.integers(0, session.time_s.size, 2))
        if b > a:
            tried(session.time_s[a:b], session.shown_bar[a:b] * BAR)


def test_reading_alters_neither_the_recording_nor_what_is_read_next(rival):
    session = rival.draw_session(np.random.default_rng(6), opening_bar=180.0)
    one = session.recording()
    before = one.pressure_pa.copy()
    first, again = read_trace(one, FULL), read_trace(one, FULL)
    assert np.array_equal(one.pressure_pa, before)
    assert one.history == ()
    assert first == again
