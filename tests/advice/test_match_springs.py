"""Springs that change places in a match: what they do, and how sure that is."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nozzlewright.advice import Springs, match_set
from nozzlewright.advice.match_model import Search
from nozzlewright.advice.match_words import bench_steps, proof_words
from nozzlewright.advice.matching import WORTH_PA, _searched
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


# --- every plan tried, springs and shims together ------------------------------------------------

SIZES_UM = (1280, 1300, 1310, 1340)


@st.composite
def small_spring_sets(draw):
    cylinders = draw(st.integers(2, 3))
    lengths = st.integers(31180, 31220)
    return (
        [draw(st.integers(1730, 1850)) / 10.0 for _ in range(cylinders)],
        [draw(st.sampled_from(SIZES_UM)) for _ in range(cylinders)],
        {size: draw(st.sampled_from([0, 0, 1, None])) for size in SIZES_UM},
        {c: draw(lengths) for c in range(1, cylinders + 1) if draw(st.booleans())},
        dict.fromkeys(draw(st.lists(lengths, max_size=2, unique=True)), 1),
    )


def every_plan(pressures, shims, counts, fitted, shelf):
    """Return the best (outside, spread in bar) by work, from the words of the trade alone.

    Who is opened gets a shim and a spring, one of them another; what comes out may go elsewhere;
    one opened is left in band where anything brings it in, unless not all can be.
    """
    sizes = sorted({size for size, count in counts.items() if count != 0} | {*shims})
    lengths = sorted({*shelf, *fitted.values()})
    best = {}
    for in_band_only in (True, False):
        best = {}
        choices = []
        for cylinder, (bar, shim) in enumerate(zip(pressures, shims, strict=True), 1):
            own = fitted.get(cylinder)
            others = [one for one in lengths if one != own] if own is not None else []
            ways = [
                (size, length, bar + (size - shim + (length or 0) - (own or 0)) * 0.1)
                for size in sizes
                for length in [own, *others]
                if (size, length) != (shim, own)
            ]
            inside = [way for way in ways if 175.0 <= round(way[2], 6) <= 183.0]
            choices.append([(shim, own, bar), *((in_band_only and inside) or ways)])
        for plan in product(*choices):
            left = dict(counts)
            there = Counter(shelf) + Counter(fitted.values())
            work = 0
            for cylinder, ((size, length, _), shim) in enumerate(zip(plan, shims, strict=True), 1):
                work += (size, length) != (shim, fitted.get(cylinder))
                for which, by in ((size, -1), (shim, +1)):
                    if left.get(which, 0) is not None:
                        left[which] = left.get(which, 0) + by
                if length is not None:
                    there[length] -= 1
            if any(count is not None and count < 0 for count in left.values()):
                continue
            if any(count < 0 for count in there.values()):
                continue
            after = [one[2] for one in plan]
            outside = sum(not 175.0 <= round(one, 6) <= 183.0 for one in after)
            one = (outside, max(after) - min(after))
            best[work] = min(best.get(work, (99, 999.0)), one)
        if not min(best.values())[0]:
            break
    return best


def solved(pressures, shims, counts, fitted, shelf):
    return match_set(
        {c: Quantity(bar * BAR, "Pa") for c, bar in enumerate(pressures, 1)},
        BAND,
        EFFECT,
        {c: one * 1e-6 for c, one in enumerate(shims, 1)},
        ShimDrawer(counts),
        springs=Springs(fitted, shelf),
    )


@settings(max_examples=80, deadline=None)
@given(small_spring_sets())
def test_no_plan_with_springs_is_better_by_more_than_it_says(small):
    matching, best = solved(*small), every_plan(*small)

    assert matching.proven
    for work in range(len(small[0]) + 1):
        theirs = min(found for touched, found in best.items() if touched <= work)
        ours = min((len(p.outside), p.spread_pa) for p in matching.front if p.work <= work)
        assert ours[0] == theirs[0]
        assert theirs[1] - 1e-4 <= ours[1] / BAR <= theirs[1] + WORTH_PA / BAR + 1e-4
    for plan in matching.front:
        there = min(found for touched, found in best.items() if touched <= plan.work)
        assert plan.spread_pa - plan.gap_pa <= there[1] * BAR + 2


@settings(max_examples=60, deadline=None)
@given(small_spring_sets())
def test_searched_to_the_end_no_plan_with_springs_is_better_at_all(small):
    case, best = solved(*small).case, every_plan(*small)
    options, _ = _searched(case)
    found = [(one.work, one.outside, one.spread_pa) for one in Search(options.model).steps()]

    for work in range(len(small[0]) + 1):
        theirs = min(found for touched, found in best.items() if touched <= work)
        ours = min((outside, spread) for touched, outside, spread in found if touched <= work)
        assert ours[0] == theirs[0]
        assert ours[1] / BAR == pytest.approx(theirs[1], abs=1e-4)


@settings(max_examples=60, deadline=None)
@given(small_spring_sets(), st.integers(31180, 31220))
def test_one_more_spring_never_worsens_a_match(small, length):
    *rest, shelf = small
    fuller = {**shelf, length: shelf.get(length, 0) + 1}
    poor, rich = solved(*small), solved(*rest, fuller)

    for plan in poor.front:
        best = min((len(p.outside), p.spread_pa) for p in rich.front if p.work <= plan.work)
        assert best[0] <= len(plan.outside)
        if best[0] == len(plan.outside):
            assert best[1] <= plan.spread_pa + WORTH_PA + 4.0


def test_twelve_cylinders_with_springs_are_solved_to_proof():
    rng = np.random.default_rng(3)
    small = (
        [float(one) for one in rng.normal(179, 4, 12).round(2)],
        [int(one) for one in rng.choice(range(1120, 1260, 20), 12)],
        {1000 + 20 * step: int(rng.integers(0, 3)) for step in range(20)},
        {c: int(one) for c, one in enumerate(rng.normal(31200, 40, 12), 1)},
        {int(one): 1 for one in rng.normal(31200, 40, 8)},
    )
    matching = solved(*small)

    assert matching.proven
    assert not matching.front[-1].outside
    assert all(plan.gap_pa <= WORTH_PA for plan in matching.front)
    near = [plan for plan in matching.front if plan.gap_pa > 2]
    assert near
    assert all("more even by more than 0" in proof_words(plan) for plan in near)
