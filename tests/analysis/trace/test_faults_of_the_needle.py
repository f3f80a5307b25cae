"""Weeping, drift, sticking, trapped air: named where they are, and only there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from nozzlewright.analysis import read_trace
from nozzlewright.bench import BenchConditions, Gauge

BAR = 1e5
NEEDLE_FAULTS = {"weeping needle", "drift", "sticking needle", "trapped air"}


def rng(*numbers: int) -> np.random.Generator:
    return np.random.default_rng(numbers)


def names(found):
    return {one.name for one in found.cautions}


def strokes(rival, number, acts=None, **changes):
    bench = rival.draw_bench(rng(29, number), **changes)
    chance = rng(31, number)
    acts = acts or (
        rival.idle(),
        rival.slow(5, chance.uniform(100.0, 400.0)),
        rival.fast(5, chance.uniform(1500.0, 3000.0)),
        rival.idle(),
    )
    return rival.play(bench, rival.RivalGauge(), acts, chance)


def test_a_weeping_needle_is_named_and_gives_no_opening_pressure(rival):
    for number in range(8):
        session = strokes(
            rival, number, acts=(rival.idle(), rival.slow(6, 300.0), rival.idle()),
            weep_mm3_per_s_bar=400.0, decay_s=15.0,
        )  # fmt: skip
        assert session.lift_time_s.size == 0
        found = read_trace(session.recording())
        assert "weeping needle" in names(found), f"number {number}"
        assert "weeps without a distinct pop" in found.opening_pressure.reason


@pytest.mark.parametrize("per_opening", [-0.003, 0.003])
def test_a_steady_drift_from_pop_to_pop_is_named_with_its_direction(rival, per_opening):
    for number in range(6):
        session = strokes(
            rival, number, acts=(rival.idle(), rival.slow(8, 250.0), rival.idle()),
            drift_share=per_opening, friction_bar=0.2,
        )  # fmt: skip
        lifts = session.lift_offs_bar("slow")
        if lifts.size < 6:
            continue
        drift = [one for one in read_trace(session.recording()).cautions if one.name == "drift"]
        assert len(drift) == 1, f"number {number}"
        assert ("rises" if per_opening > 0 else "falls") in drift[0].text


def test_a_sticking_needle_is_named(rival):
    for number in range(8):
        session = strokes(
            rival, number, acts=(rival.idle(), rival.slow(8, 250.0), rival.idle()),
            sticking_bar=12.0,
        )  # fmt: skip
        if session.lift_offs_bar("slow").size < 6:
            continue
        found = read_trace(session.recording())
        assert "sticking needle" in names(found), f"number {number}"
        assert "sticking needle" in {one.name for one in found.opening_pressure.cautions}


def test_a_sticking_needle_makes_the_opening_pressure_less_certain(rival):
    sound = read_trace(strokes(rival, 1).recording()).opening_pressure
    sticking = read_trace(strokes(rival, 1, sticking_bar=12.0).recording()).opening_pressure
    assert sticking.standard_uncertainty > 3.0 * sound.standard_uncertainty


def test_air_in_the_line_is_named(rival):
    for number in range(5):
        chance = rng(37, number)
        bench = rival.draw_bench(chance, opening_bar=chance.uniform(150.0, 250.0))
        bench = replace(bench, air_mm3=0.03 * bench.volume_mm3)
        acts = (rival.idle(), *(rival.hold(120.0, 3.0, pushes=1),) * 3, rival.slow(4, 250.0))
        found = read_trace(rival.play(bench, rival.RivalGauge(), acts, chance).recording())
        assert "trapped air" in names(found), f"number {number}"


def test_a_bled_line_is_not_said_to_hold_air(rival):
    for number in range(5):
        chance = rng(37, number)
        bench = rival.draw_bench(chance, opening_bar=chance.uniform(150.0, 250.0))
        acts = (rival.idle(), *(rival.hold(120.0, 3.0, pushes=1),) * 3, rival.slow(4, 250.0))
        found = read_trace(rival.play(bench, rival.RivalGauge(), acts, chance).recording())
        assert "trapped air" not in names(found), f"number {number}"


def test_sound_injectors_are_hardly_ever_accused(rival):
    accused = []
    for number in range(120):
        found = read_trace(strokes(rival, number).recording())
        accused += [(number, name) for name in names(found) & NEEDLE_FAULTS]
    assert len(accused) <= 3, f"of 120 sound sessions these were accused: {accused}"


def test_nothing_is_said_of_the_gauge_that_is_sound_either(rival):
    accused = []
    for number in range(40):
        session = strokes(rival, number, ringing_share=0.0)
        found = read_trace(session.recording(), BenchConditions(gauge=Gauge(time_constant_s=3e-4)))
        accused += [(number, name) for name in names(found) - NEEDLE_FAULTS]
    assert accused == []
