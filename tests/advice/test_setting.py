"""Shim or screw: which, how much, and what to expect."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.advice import (
    SeenChange,
    SeenShift,
    change_to,
    learn,
    reading_after,
    screw_effect,
    shim_effect,
    shims_to_be_had,
)
from nozzlewright.bench import Adjustment, DecisionRule, NozzleGeometry, ShimDrawer
from nozzlewright.measurement import Cause, Quantity

BAR = 1e5
BAR_PER_MM = 1e8


def effect(bar_per_mm, u=0.0):
    return Quantity(bar_per_mm * BAR_PER_MM, "Pa/m", {Cause("shim effect"): u * BAR_PER_MM})


def change(
    bench, opening_bar, target_bar=186.0, *, shim_mm=None, sheet=None, knowledge=None, **more
):
    sheet = sheet or bench.sheet()
    return change_to(
        target_bar * BAR,
        bench.opening(opening_bar),
        sheet.opening_new,
        sheet,
        knowledge or learn(sheet),
        shim_now_m=None if shim_mm is None else shim_mm / 1e3,
        **more,
    )


def wide(bench, **changes):
    """A sheet whose band is far wider than what is in doubt, simple rule."""
    return bench.sheet(
        opening_new=bench.band(166.0, 206.0, 186.0), rule=DecisionRule.SIMPLE, **changes
    )


# Shim effects printed in workshop manuals (makers withheld), as bar for a step in mm.
PRINTED_EFFECTS = [
    pytest.param(0.05, 5.0, id="5-cylinder car manual 1984: 0.05 mm does 5 bar"),
    pytest.param(0.1, 10.0, id="small industrial engine manual: 0.1 mm does 10 bar"),
    pytest.param(0.04, 4.8, id="car 2-litre manual: 0.04 mm does 4.8 bar"),
    pytest.param(0.1, 19.0, id="4-cylinder industrial manual: 0.1 mm does 19 bar"),
    pytest.param(0.005, 0.95, id="car manual: 0.005 mm does 0.95 bar"),
]


@pytest.mark.parametrize(("step_mm", "step_bar"), PRINTED_EFFECTS)
def test_a_shim_of_the_printed_step_does_the_printed_change(bench, step_mm, step_bar):
    sheet = bench.sheet(
        adjustment=Adjustment(effect(step_bar / step_mm)),
        opening_new=bench.band(186.0 - 0.3 * step_bar, 186.0 + 0.3 * step_bar),
        rule=DecisionRule.SIMPLE,
    )

    found = change(bench, 186.0 - step_bar, sheet=sheet)

    assert found.shim_change_m == pytest.approx(step_mm * 1e-3)
    assert found.predicted.value == pytest.approx(186 * BAR)
    assert not any("outside the usual" in warning for warning in found.warnings)


def test_an_effect_per_whole_millimetre_that_only_makes_sense_per_tenth_is_called_out(bench):
    # TM 10-4320-309-14, section 5-3, prints such an effect.
    sheet = bench.sheet(adjustment=Adjustment(effect(10.0)))

    found = change(bench, 180.0, sheet=sheet)

    assert any("outside the usual 60 to 200 bar/mm" in warning for warning in found.warnings)


def test_the_effect_follows_from_spring_and_diameters_where_none_is_printed(bench):
    # Force balance: 200 N/mm on 6 mm guide and 2.6 mm seat does 8.709 bar for 0.1 mm.
    geometry = NozzleGeometry(
        guide_diameter_m=6e-3, seat_diameter_m=2.6e-3, spring_rate_n_per_m=200e3
    )
    sheet = bench.sheet(adjustment=Adjustment(), geometry=geometry)

    found = shim_effect(sheet)

    assert found.value * 1e-4 / BAR == pytest.approx(8.709, abs=5e-4)
    assert found.standard_uncertainty > 0.0


def test_one_turn_of_a_screw_does_its_pitch_times_the_effect_of_a_shim(bench):
    # The same spring with an M10 x 1 screw: 87.09 bar for a turn.
    geometry = NozzleGeometry(
        guide_diameter_m=6e-3, seat_diameter_m=2.6e-3, spring_rate_n_per_m=200e3
    )
    sheet = bench.sheet(adjustment=Adjustment(screw_pitch_m=1e-3), geometry=geometry)

    assert screw_effect(sheet).value / BAR == pytest.approx(87.09, abs=5e-3)
    found = change(bench, 186.0 - 43.545, sheet=replace(sheet, rule=DecisionRule.SIMPLE))
    assert found.screw_turns == pytest.approx(0.5, abs=0.015)
    assert "clockwise" in found.do
    assert "lock nut" in found.do


def test_a_shim_is_chosen_among_those_that_exist(bench):
    found = change(bench, 171.3, shim_mm=1.4)

    assert found.shim_change_m == pytest.approx(0.15e-3)
    assert "1.55 mm" in found.do
    assert "in place of 1.40 mm" in found.do
    assert found.predicted.value == pytest.approx((171.3 + 15.0) * BAR)


def test_without_the_shim_now_fitted_the_change_is_told_and_a_measurement_asked_for(bench):
    found = change(bench, 171.3)

    assert found.shim_change_m == pytest.approx(0.15e-3)
    assert any("measure it first" in warning for warning in found.warnings)


def test_the_prediction_holds_reading_effect_shift_and_new_assembly(bench):
    sheet = bench.sheet()
    settled = replace(sheet, adjustment=replace(sheet.adjustment, reassembly_pa=4.0 * BAR))
    plain, wider = (
        change(bench, 171.0, shim_mm=1.4, sheet=one).predicted for one in (sheet, settled)
    )
    known = learn(sheet)
    by = 0.15e-3 * known.effect_of("").standard_uncertainty
    reading = bench.opening(171.0).standard_uncertainty

    # Half-normal priors of scale s have a mean square of s^2: 1.5 bar, and 4 bar where stated.
    for predicted, scatter in ((plain, 1.5), (wider, 4.0)):
        assert predicted.standard_uncertainty == pytest.approx(
            (reading**2 + by**2 + (1.0 * BAR) ** 2 + (scatter * BAR) ** 2) ** 0.5, rel=0.02
        )


def test_what_the_same_gauge_will_show_lacks_its_level(bench):
    sheet = bench.sheet()
    opening = bench.opening(171.0, level_bar=3.0)
    found = change_to(186.0 * BAR, opening, sheet.opening_new, sheet, learn(sheet))
    shown = found.best.shown.standard_uncertainty

    # Without the level, and with the chance of one more reading.
    assert shown**2 == pytest.approx(
        found.predicted.standard_uncertainty**2 - (3.0 * BAR) ** 2 + (0.1 * BAR) ** 2, rel=1e-6
    )
    after = reading_after(opening, found.shim_change_m, learn(sheet))
    assert after.value == pytest.approx(found.best.shown.value)


def test_a_prediction_that_may_leave_the_band_is_said(bench):
    found = change(bench, 150.0, shim_mm=1.4)

    assert any("reaches outside the band" in warning for warning in found.warnings)


def test_a_target_that_no_shim_reaches_points_to_the_spring(bench):
    found = change(bench, 100.0, shim_mm=1.4)

    assert found.out_of_reach
    assert any("spring" in warning for warning in found.warnings)


# --- the drawer ---------------------------------------------------------------------------------


def test_shims_are_stacked_only_where_the_sheet_allows_it(bench):
    drawer = ShimDrawer({1000: 3, 1500: 2, 50: 4})
    alone = change(bench, 176.0, shim_mm=1.0, drawer=drawer)
    sheet = bench.sheet(adjustment=replace(bench.sheet().adjustment, shim_stack_allowed=True))
    stacked = change(bench, 176.0, shim_mm=1.0, drawer=drawer, sheet=sheet)

    assert alone.shim_change_m == 0.0
    assert "Keep the shim of 1.00 mm" in alone.do
    assert stacked.best.shims_m == (1.0e-3, 0.05e-3, 0.05e-3)
    assert "1.00 + 0.05 + 0.05 mm" in stacked.do


@given(
    st.dictionaries(st.integers(2, 60).map(lambda n: n * 50), st.integers(0, 3), min_size=1,
                    max_size=10),
    st.integers(20, 40),
    st.floats(160.0, 210.0),
    st.booleans(),
)  # fmt: skip
def test_no_more_is_taken_than_the_drawer_holds(bench, counts, now, opening_bar, stack):
    sheet = bench.sheet(adjustment=replace(bench.sheet().adjustment, shim_stack_allowed=stack))
    now_um = now * 50
    found = change(bench, opening_bar, shim_mm=now_um / 1e3, sheet=sheet, drawer=ShimDrawer(counts))
    for choice in (found.best, *found.others):
        used = [round(size * 1e6) for size in choice.shims_m]
        assert stack or len(used) == 1
        assert choice.amount == pytest.approx(sum(used) * 1e-6 - now_um * 1e-6, abs=1e-9)
        if choice.amount == 0.0:
            continue
        for size in set(used):
            own = 1 if stack and size == now_um else 0
            assert used.count(size) <= counts.get(size, 0) + own
    if not found.out_of_reach:  # there, nearness to the target decides more than a slim chance
        assert found.best.chance >= max((one.chance for one in found.others), default=0.0) - 0.12


def test_a_size_that_has_run_out_is_named_where_it_would_be_better(bench):
    drawer = ShimDrawer({1500: 0, 1550: 0, 1600: 2, 1300: 5})
    found = change(bench, 171.3, shim_mm=1.4, drawer=drawer)

    assert any("The drawer lacks 1.5" in warning for warning in found.warnings)
    assert found.best.shims_m in {(1.4e-3,), (1.6e-3,)}


def test_without_a_drawer_the_sizes_of_the_sheet_are_endless(bench):
    assert shims_to_be_had(bench.sheet(), None).counts[1550] is None
    assert shims_to_be_had(bench.sheet(), ShimDrawer({900: 1})).sizes_m == (0.9e-3,)


# --- the choice ---------------------------------------------------------------------------------


@given(
    opening_bar=st.floats(120.0, 165.0) | st.floats(207.0, 250.0),
    bar_per_mm=st.floats(60.0, 200.0),
)
def test_in_a_wide_band_the_shim_nearest_to_the_target_is_chosen(bench, opening_bar, bar_per_mm):
    hundredths = tuple(one * 1e-5 for one in range(50, 300))
    sheet = wide(bench, adjustment=Adjustment(effect(bar_per_mm), hundredths))

    found = change(bench, opening_bar, shim_mm=1.5, sheet=sheet)

    # A doubtful effect asks for a little less than the whole way; half a step besides.
    away = abs(found.predicted.value - 186e5)
    assert away <= 0.06 * abs(opening_bar - 186.0) * BAR + 0.56e-5 * bar_per_mm * BAR_PER_MM
    assert (found.shim_change_m > 0.0) == (opening_bar < 186.0)


def test_the_chance_is_that_of_the_normal_by_counting(bench):
    import numpy as np

    sheet = bench.sheet()
    found = change(bench, 171.3, shim_mm=1.4, sheet=sheet)
    shown = found.best.shown
    draws = np.random.default_rng(1).normal(shown.value, shown.standard_uncertainty, 200_000)
    low, high = found.zone_pa
    assert found.best.chance == pytest.approx(np.mean((low < draws) & (draws < high)), abs=0.005)
    assert sheet.opening_new.lower_pa < low < high < sheet.opening_new.upper_pa


def test_no_other_shim_has_a_better_prospect(bench):
    # Where the target is the middle, the best is the one whose chance is largest.
    sheet = bench.sheet(opening_new=bench.band(178.0, 194.0))
    found = change(bench, 165.0, shim_mm=1.4, sheet=sheet)
    for size in sheet.adjustment.shim_sizes_m:
        drawer = ShimDrawer({round(size * 1e6): 1})
        alone = change(bench, 165.0, shim_mm=1.4, sheet=sheet, drawer=drawer)
        assert alone.best.chance <= found.best.chance + 0.05


def test_what_lies_where_it_should_is_left(bench):
    found = change(bench, 184.0, shim_mm=1.4)

    assert found.shim_change_m == 0.0
    assert found.best.chance == 1.0
    assert "Keep the shim of 1.40 mm" in found.do


def test_a_new_spring_is_set_higher_by_what_it_will_settle(bench):
    sheet = wide(bench, adjustment=Adjustment(effect(100.0)))
    shifts = [
        SeenShift(f"{n}", bench.opening(200.0, name=f"{n}a"), bench.opening(196.0, name=f"{n}b"))
        for n in range(20)
    ]
    known = learn(sheet, settlings=shifts, new_springs=["mine"])
    old = change(bench, 150.0, sheet=sheet, knowledge=known, identity="other")
    new = change(bench, 150.0, sheet=sheet, knowledge=known, identity="mine")

    assert (new.best.shown.value - old.best.shown.value) / BAR == pytest.approx(4.0, abs=0.8)
    assert "new spring settles" in new.do


def test_a_screw_is_aimed_for_the_lock_nut(bench):
    sheet = wide(bench, adjustment=Adjustment(screw_pa_per_turn=Quantity(80e5, "Pa", {})))
    nuts = [
        SeenShift(f"{n}", bench.opening(200.0, name=f"{n}a"), bench.opening(203.0, name=f"{n}b"))
        for n in range(20)
    ]
    found = change(bench, 160.0, sheet=sheet, knowledge=learn(sheet, lock_nuts=nuts))

    assert "With the lock nut still slack it should show 18" in found.do


def test_an_effect_well_known_gives_a_better_chance_than_one_from_the_sheet(bench):
    sheet = bench.sheet()
    seen = [
        SeenChange(f"i{n}", 0.1e-3, bench.opening(180.0, name=f"{n}b"),
                   bench.opening(180.0 + 11.0 + 0.2 * (n % 3 - 1), name=f"{n}a"), f"{n}")
        for n in range(20)
    ]  # fmt: skip
    cold = change(bench, 165.0, shim_mm=1.4, sheet=sheet)
    warm = change(bench, 165.0, shim_mm=1.4, sheet=sheet, knowledge=learn(sheet, seen))

    assert warm.best.chance > cold.best.chance + 0.1
    assert "20 changes on 20 injectors" in warm.why


def test_an_injector_with_a_change_set_aside_is_warned_of(bench):
    sheet = bench.sheet()
    seen = [
        SeenChange(f"i{n}", 0.1e-3, bench.opening(180.0, name=f"{n}b"),
                   bench.opening(190.0 + 0.3 * (n % 3), name=f"{n}a"), f"{n}")
        for n in range(12)
    ]  # fmt: skip
    odd = SeenChange("odd", 0.1e-3, bench.opening(180.0, name="ob"),
                     bench.opening(215.0, name="oa"), "odd one")  # fmt: skip
    found = change(
        bench, 165.0, shim_mm=1.4, sheet=sheet, knowledge=learn(sheet, [*seen, odd]), identity="odd"
    )
    assert any("not learned from" in warning for warning in found.warnings)


def test_nothing_known_of_the_setting_is_a_trial_step_with_an_honest_interval(bench):
    found = change(bench, 171.0, sheet=bench.sheet(adjustment=Adjustment()))

    assert found.trial
    assert "trial step" in found.why
    low, high = found.effect.coverage_interval
    assert low < 75.0 * BAR_PER_MM
    assert high > 185.0 * BAR_PER_MM


def test_so_much_thinner_that_the_spring_is_slack_is_warned_of(bench):
    sheet = wide(bench, adjustment=Adjustment(effect(100.0)))
    found = change(bench, 210.0, sheet=sheet)
    assert not any("slack" in warning for warning in found.warnings)
    low = bench.sheet(opening_new=bench.band(-80.0, -20.0), adjustment=Adjustment(effect(100.0)))
    assert any(
        "leave the spring slack" in one
        for one in change(bench, 90.0, target_bar=-50.0, sheet=low).warnings
    )


@given(st.floats(-18.0, 18.0), st.sampled_from([0.02, 0.025, 0.05]), st.floats(70.0, 190.0))
def test_until_a_change_was_seen_the_shim_is_the_one_nearest_to_the_target(
    bench, away_bar, step_mm, bar_per_mm
):
    """The doubt of an effect that only the sheet gives is no reason to stop short."""
    sizes = [round(1.0 + step_mm * step, 3) for step in range(40)]
    sheet = bench.sheet(
        adjustment=Adjustment(effect(bar_per_mm, 8.0), shim_sizes_m=tuple(s / 1e3 for s in sizes)),
        opening_new=bench.band(181.5, 190.5, 186.0),
        rule=DecisionRule.SIMPLE,
    )
    found = change(bench, 186.0 - away_bar, sheet=sheet, shim_mm=sizes[20])

    if found.best.amount:
        wanted = away_bar / bar_per_mm
        offs = [abs(size - sizes[20] - wanted) for size in sizes if size != sizes[20]]
        assert abs(found.best.amount * 1e3 - wanted) <= min(offs) + 1e-6
