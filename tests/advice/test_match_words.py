"""A plan of matching in words."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nozzlewright.advice import Spare, match_set, purchase
from nozzlewright.advice.match_words import (
    bench_steps,
    choice_words,
    purchase_words,
    work_words,
)
from nozzlewright.bench import AsPrinted, OpeningBand, ShimDrawer
from nozzlewright.measurement import Cause, Quantity

BAR = 1e5
EFFECT = Quantity(100e8, "Pa/m")
BAND = OpeningBand(175 * BAR, 183 * BAR, 179 * BAR, AsPrinted("invented"))


def a_match(pressures_bar, shims_um, counts, **more):
    openings = {
        c: Quantity(one * BAR, "Pa", {Cause("repeatability", str(c)): 0.1 * BAR})
        for c, one in enumerate(pressures_bar, 1)
    }
    shims = {c: None if one is None else one * 1e-6 for c, one in enumerate(shims_um, 1)}
    effects = more.pop("effects", EFFECT)
    return match_set(openings, BAND, effects, shims, ShimDrawer(counts), **more)


def steps(matching):
    return [step.do for step in bench_steps(matching.advised)]


def test_a_shim_that_comes_out_goes_back_to_the_drawer():
    assert steps(a_match([174.0, 179.0], [1300, 1300], {1350: 1})) == [
        "Cylinder 1: 1.30 → 1.35 mm, expect 179.00 ± 0.20 bar. The 1.30 mm goes back to the drawer."
    ]


def test_the_giver_of_a_shim_comes_before_its_taker():
    matching = a_match([174.0, 184.0], [1300, 1350], {1300: 1})
    in_order = [step.cylinder for step in bench_steps(matching.front[-1])]
    words = [step.do for step in bench_steps(matching.front[-1])]

    assert in_order == [2, 1]
    assert "The 1.35 mm goes to cylinder 1." in words[0]
    assert "The 1.35 mm comes out of cylinder 2." in words[1]
    assert "The 1.30 mm goes back to the drawer." in words[1]


def test_a_ring_of_shims_is_said_to_need_both_open():
    matching = a_match([174.0, 184.0], [1300, 1350], {})
    first, second = bench_steps(matching.advised)

    assert first.together == second.together == (1, 2)
    assert "Cylinders 1 and 2 change shims in a ring" in first.do


def test_a_spare_goes_in_whole_and_a_screw_is_turned():
    spare = Spare("S-7", Quantity(179.4 * BAR, "Pa"))
    assert steps(a_match([160.0, 179.0], [1300, 1300], {}, spares=[spare])) == [
        "Cylinder 1: the spare S-7 goes in as a whole, as it was tested; expect 179.4 bar."
    ]
    screw = a_match([160.0, 179.0], [None, None], {}, effects=Quantity(76e5, "Pa"))
    assert "turn the screw 0.25 turn (90°) in (clockwise)" in steps(screw)[0]


def test_an_unmeasured_shim_is_to_be_measured_first():
    found = steps(a_match([174.0, 179.0], [None, 1300], {1300: 1}))

    assert "measure its shim, fit one 0.05 mm thicker" in found[0]


def test_every_step_that_opens_an_injector_has_its_caution():
    for matching in (
        a_match([174.0, 184.0], [1300, 1350], {}),
        a_match([160.0, 179.0], [None, None], {}, effects=Quantity(76e5, "Pa")),
    ):
        for step in bench_steps(matching.advised):
            assert "surgical emergency" in step.caution
            assert "back it off until the spring is free" in step.caution


def test_the_choice_says_whether_the_sheet_is_met():
    matching = a_match([174.0, 179.0, 180.0], [1300] * 3, {1350: 1}, spread_limit_pa=5e5)

    assert choice_words(matching.now) == "Spread 6.0 bar; outside the band: cylinder 1."
    assert choice_words(matching.advised) == (
        "All in band, spread 1.0 bar: within the 5 bar of the sheet."
    )
    assert (work_words(matching.now), work_words(matching.advised)) == (
        "as it is",
        "1 injector opened",
    )


def test_what_is_opened_anyway_is_told():
    matching = a_match([170.0, 179.0, 183.0], [1300] * 3, {1390: 1, 1260: 1}, open_anyway=[1])

    assert work_words(matching.now) == "1 injector opened, cylinder 1 anyway"
    assert work_words(matching.front[-1]) == "2 injectors opened, cylinder 1 anyway"


def test_a_purchase_is_told_with_what_it_gains():
    matching = a_match([174.0, 179.0, 179.2], [1300] * 3, {1330: 1})

    assert purchase_words(purchase(matching, range(1300, 1400, 10))) == (
        "One shim of 1.35 mm would bring the spread from 2.2 bar to 0.2 bar."
    )
    assert purchase_words(None).startswith("No single shim")


@given(st.data())
@settings(max_examples=80, deadline=None)
def test_following_the_steps_one_by_one_every_shim_is_there_when_it_is_needed(data):
    count = data.draw(st.integers(2, 5))
    pressures = [data.draw(st.integers(1700, 1880)) / 10 for _ in range(count)]
    shims = [data.draw(st.sampled_from(range(1280, 1380, 20))) for _ in range(count)]
    drawer = {size: data.draw(st.integers(0, 1)) for size in range(1280, 1380, 20)}
    for plan in a_match(pressures, shims, drawer).front:
        there = Counter(drawer)
        fitted = {c: Counter([shim]) for c, shim in enumerate(shims, 1)}
        open_together = set()
        for step in bench_steps(plan):
            new = next(one.shims_um for one in plan.changes if one.cylinder == step.cylinder)
            for cylinder in {step.cylinder, *step.together} - open_together:
                there += fitted[cylinder]  # its shims lie on the bench
            open_together |= set(step.together)
            for size in new:
                assert there[size] > 0
                there[size] -= 1
            fitted[step.cylinder] = Counter(new)
        assert sum(there.values()) == sum(drawer.values())
        assert step_pressures(plan, pressures, shims)


def step_pressures(plan, pressures, shims):
    return all(
        change.predicted.value / BAR
        == pytest.approx(pressure + (sum(change.shims_um) - shim) * 0.1)
        for change, pressure, shim in zip(plan.changes, pressures, shims, strict=True)
    )
