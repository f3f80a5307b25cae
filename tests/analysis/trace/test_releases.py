"""Holds that end by a valve or by a pulled lead: what the valve lets off is not the injector's.

The pretend bench states the truth beside each recording; a leak's rate follows from it alone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from nozzlewright.analysis import read_trace
from nozzlewright.bench import Hold
from nozzlewright.capture import Recording
from nozzlewright.measurement import NotMeasured, Quantity
from nozzlewright.simulator import (
    FastStrokes,
    HoldAt,
    Idle,
    Release,
    SlowStrokes,
    WorkedBench,
    demo_bench,
    simulate,
    work_through,
)
from nozzlewright.simulator.demo import demo_conditions

BAR = 1e5
CONDITIONS = demo_conditions()
WINDOW = CONDITIONS.window
STROKES = (Idle(1.0), SlowStrokes(3))


def worked(seed, acts, then, rate_hz):
    """Return a recording by hand at the pretend bench, with pressure and time at its release."""
    setup, injector, sensor = demo_bench()
    rng = np.random.default_rng(seed)
    bench = WorkedBench(setup, injector, sensor, rng)
    before = work_through(bench, acts, rng)
    at_s, at_pa = bench.now_s, bench.true_pressure_pa
    after = work_through(bench, then, rng)
    time_s = np.concatenate((before.time_s, after.time_s))
    pressure_pa = np.concatenate((before.pressure_pa, after.pressure_pa))
    every = round(sensor.rate_hz / rate_hz)
    return time_s[::every], pressure_pa[::every], at_s, at_pa


def read(time_s, pressure_pa):
    sound = np.isfinite(pressure_pa)
    return read_trace(Recording(time_s[sound], pressure_pa[sound], "r", ""), CONDITIONS)


def drops(found):
    """Return the two times of the drop, or why there are none."""
    if not isinstance(found.hold, Hold):
        return found.hold, found.hold
    return found.hold.drop_time_as_shown, found.hold.drop_time_at_reference


@pytest.mark.parametrize("rate_hz", [1000, 100, 20, 10])
@pytest.mark.parametrize("wait_s", [0.01, 0.3, 1.0])
def test_a_release_right_after_pumping_up_is_no_drop(rate_hz, wait_s):
    acts = (*STROKES, HoldAt(165 * BAR, wait_s))
    time_s, pressure_pa, at_s, _ = worked([0, round(100 * wait_s)], acts, (Release(4.0),), rate_hz)
    for seen_s in (0.2, 0.3, 0.5, 1.2, 4.0):
        for drop in drops(read(*(x[time_s < at_s + seen_s] for x in (time_s, pressure_pa)))):
            assert isinstance(drop, NotMeasured)
            assert drop.reason
            assert drop.remedy


@pytest.mark.parametrize("rate_hz", [1000, 10])
@pytest.mark.parametrize(("from_bar", "wait_s"), [(165, 4.0), (165, 8.0), (140, 3.0), (140, 5.0)])
def test_a_release_in_the_middle_of_a_hold_gives_no_empty_figure(rate_hz, from_bar, wait_s):
    acts = (Idle(1.0), HoldAt(from_bar * BAR, wait_s))
    time_s, pressure_pa, at_s, at_pa = worked([0, 300], acts, (Release(4.0),), rate_hz)
    assert at_pa > WINDOW.to_pa + 10 * BAR  # released before the lower edge
    for seen_s in (-0.1, 0.1, 0.3, 1.2, 4.0):
        found = read(*(x[time_s < at_s + seen_s] for x in (time_s, pressure_pa)))
        for drop in drops(found):
            if isinstance(drop, Quantity):
                low, _ = drop.coverage_interval
                assert low > 0.0
        if isinstance(found.hold, Hold):
            assert found.hold.end_s < at_s + 0.3
            assert found.hold.end_pa > at_pa - 5 * BAR


def test_a_release_after_the_drop_leaves_it_as_it_was():
    acts = (*STROKES, HoldAt(165 * BAR, 40.0))
    time_s, pressure_pa, at_s, at_pa = worked([4, 1], acts, (Release(4.0),), 1000)
    assert at_pa < WINDOW.to_pa
    whole, held = (
        drops(read(*(x[time_s < at_s + seen_s] for x in (time_s, pressure_pa))))
        for seen_s in (4.0, 0.0)
    )
    for with_release, without in zip(whole, held, strict=True):
        assert with_release.value == pytest.approx(without.value, rel=0.01)


@pytest.mark.parametrize("hold_s", [4.0, 9.0])
def test_pressure_let_off_by_a_crack_of_the_valve_is_no_drop(hold_s):
    """The hand lets some off before it pumps up to the hold: some 90 bar in 2 s, and no leak."""
    setup, injector, sensor = demo_bench()
    slow_valve = replace(setup, rig=replace(setup.rig, release_area_m2=5e-9))
    script = (Idle(1.0), SlowStrokes(4), FastStrokes(4), HoldAt(165 * BAR, hold_s), Release(6.0))
    session = simulate(slow_valve, injector, sensor, script, np.random.default_rng(3))
    hold = session.truth["holds"][0]
    assert hold["end_pa"] > 133 * BAR  # it saw too little of the window
    for drop in drops(read(session.time_s, session.pressure_pa)):
        assert not isinstance(drop, Quantity) or drop.value > 10.0


@pytest.mark.parametrize("reads", [0.0, -2 * BAR, np.nan])
@pytest.mark.parametrize("rate_hz", [1000, 10])
def test_a_lead_pulled_in_the_middle_of_a_hold_ends_it(reads, rate_hz):
    acts = (*STROKES, HoldAt(165 * BAR, 6.0))
    time_s, pressure_pa, at_s, at_pa = worked([5, 1], acts, (Idle(4.0),), rate_hz)
    pulled = np.where(time_s < at_s, pressure_pa, reads)
    whole, held = read(time_s, pulled), read(*(x[time_s < at_s] for x in (time_s, pulled)))
    for with_pull, without in zip(drops(whole), drops(held), strict=True):
        assert isinstance(with_pull, Quantity) == isinstance(without, Quantity)
        if isinstance(with_pull, Quantity):
            assert with_pull.value == pytest.approx(without.value, rel=0.02)
    assert isinstance(whole.hold, Hold)
    assert whole.hold.end_s < at_s + 0.15
    assert whole.hold.end_pa > at_pa - 3 * BAR
