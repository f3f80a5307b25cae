"""Springs that change places in a match: what they do, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nozzlewright.advice import Springs, match_set
from nozzlewright.advice.match_words import bench_steps
from nozzlewright.bench import AsPrinted, OpeningBand, ShimDrawer
from nozzlewright.measurement import Cause, Quantity

BAR = 1e5
BAND = OpeningBand(175 * BAR, 183 * BAR, 179 * BAR, AsPrinted("invented"))
EFFECT = Quantity(100e8, "Pa/m")
"""10 bar for 0.1 mm."""


def matched(pressures_bar, springs, shims_um=1300):
    return match_set(
        {
            cylinder: Quantity(bar * BAR, "Pa", {Cause("repeatability", str(cylinder)): 0.1 * BAR})
            for cylinder, bar in enumerate(pressures_bar, 1)
        },
        BAND,
        EFFECT,
        dict.fromkeys(range(1, len(pressures_bar) + 1), shims_um * 1e-6),
        ShimDrawer(),
        springs=springs,
    )


def test_two_springs_that_change_places_make_an_uneven_set_even():
    # The longer one is in the higher injector: 0.025 mm are 2.5 bar, one goes up, the other down.
    springs = Springs({1: 31200, 2: 31225})

    plan = matched([176.5, 181.5], springs).front[-1]

    assert plan.spread_pa == pytest.approx(0.0, abs=2)
    assert {one.cylinder: one.spring_um for one in plan.acts} == {1: 31225, 2: 31200}


def test_the_rates_of_the_springs_are_doubt_beside_their_lengths():
    springs = Springs({1: 31200}, {31250: 1}, length_u_m=10e-6, rates_u_pa=3 * BAR)

    step = matched([174.0, 179.0], springs).advised.changes[0]

    assert step.spring_um == 31250
    # Two lengths of 10 um are 1.41 bar, two rates 4.24 bar, the reading 0.1 bar.
    assert step.predicted.standard_uncertainty / BAR == pytest.approx(
        math.hypot(0.1, math.sqrt(2.0) * 1.0, math.sqrt(2.0) * 3.0)
    )


@pytest.mark.parametrize(
    ("load_n", "words"), [(0.0, "free length"), (460.0, "test load"), (None, "test load")]
)
def test_how_the_springs_were_measured_is_said(load_n, words):
    springs = Springs({1: 31200}, {31250: 1}, load_n=load_n)

    (step,) = bench_steps(matched([174.0, 179.0], springs).advised)

    assert words in step.do
    assert "31.25 mm in place of that of 31.20 mm" in step.do


@settings(max_examples=40)
@given(
    st.lists(st.integers(1740, 1840), min_size=1, max_size=3),
    st.integers(31100, 31300),
    st.lists(st.integers(31000, 31400), min_size=1, max_size=4, unique=True),
)
def test_a_shorter_spring_never_raises_the_pressure_that_is_foretold(tenths, fitted, shelf):
    springs = Springs({1: fitted}, dict.fromkeys(shelf, 1))
    matching = matched([one / 10.0 for one in tenths], springs)

    for plan in matching.front:
        for step in plan.acts:
            if step.spring_um is None:
                continue
            was = matching.case.openings[step.cylinder].value
            assert (step.predicted.value - was) == pytest.approx(
                (step.spring_um - fitted) * 1e-6 * EFFECT.value, abs=2
            )
            if step.spring_um < fitted:
                assert step.predicted.value < was


@settings(max_examples=40)
@given(
    st.lists(st.integers(1740, 1840), min_size=2, max_size=3),
    st.lists(st.integers(31000, 31400), min_size=1, max_size=3, unique=True),
)
def test_springs_that_may_move_never_make_a_match_worse(tenths, shelf):
    pressures = [one / 10.0 for one in tenths]
    without = matched(pressures, None)

    with_them = matched(pressures, Springs({1: 31200}, dict.fromkeys(shelf, 1)))

    best, known = with_them.front[-1], without.front[-1]
    assert (len(best.outside), best.spread_pa) <= (len(known.outside), known.spread_pa + 2)


def test_more_doubt_of_the_rates_never_makes_a_plan_surer():
    springs = Springs({1: 31200}, {31250: 1})
    sure, unsure = (
        matched([174.0, 179.0], replace(springs, rates_u_pa=doubt)).advised.chances.in_band
        for doubt in (0.0, 5 * BAR)
    )

    assert unsure <= sure
