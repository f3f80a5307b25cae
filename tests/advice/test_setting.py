"""Shim or screw: which, how much, and what to expect."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.advice import change_to, nearest_shims, screw_effect, shim_effect
from nozzlewright.bench import Adjustment, NozzleGeometry
from nozzlewright.measurement import Cause, NotMeasured, Quantity

BAR = 1e5
BAR_PER_MM = 1e8


def effect(bar_per_mm, u=0.0):
    return Quantity(bar_per_mm * BAR_PER_MM, "Pa/m", {Cause("shim effect"): u * BAR_PER_MM})


def change(bench, opening_bar, target_bar=186.0, *, shim_mm=None, sheet=None, **more):
    sheet = sheet or bench.sheet()
    return change_to(
        target_bar * BAR,
        bench.opening(opening_bar),
        sheet.opening_new,
        sheet,
        shim_now_m=None if shim_mm is None else shim_mm / 1e3,
        **more,
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
    sheet = bench.sheet(adjustment=Adjustment(effect(step_bar / step_mm)))

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
    found = change(bench, 186.0 - 43.545, sheet=sheet)
    assert found.screw_turns == pytest.approx(0.5, abs=1e-3)
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


def test_the_prediction_holds_reading_effect_and_new_assembly(bench):
    sheet = bench.sheet()
    settled = replace(sheet, adjustment=replace(sheet.adjustment, reassembly_pa=0.5 * BAR))
    plain, wider = (
        change(bench, 171.0, shim_mm=1.4, sheet=one).predicted for one in (sheet, settled)
    )

    reading = bench.opening(171.0).standard_uncertainty
    assert plain.standard_uncertainty**2 == pytest.approx(
        reading**2 + (plain.value - 171.0 * BAR) ** 2 * 0.08**2, rel=1e-6
    )
    assert wider.standard_uncertainty**2 == pytest.approx(
        plain.standard_uncertainty**2 + (0.5 * BAR) ** 2
    )


def test_a_prediction_that_may_leave_the_band_is_said(bench):
    found = change(bench, 150.0, shim_mm=1.4)

    assert any("reaches outside the band" in warning for warning in found.warnings)


def test_a_target_that_no_shim_reaches_points_to_the_spring(bench):
    found = change(bench, 100.0, shim_mm=1.4)

    assert found.out_of_reach
    assert any("spring" in warning for warning in found.warnings)


def test_shims_are_stacked_only_where_the_sheet_allows_it():
    sizes = [1.0e-3, 1.5e-3, 0.05e-3]

    assert nearest_shims(1.06e-3, sizes, stack=False) == (1.0e-3,)
    assert nearest_shims(1.06e-3, sizes, stack=True) == (1.0e-3, 0.05e-3)


@given(
    st.lists(st.integers(1, 300), min_size=1, max_size=12, unique=True),
    st.integers(1, 400),
    st.booleans(),
)
def test_no_other_shim_comes_nearer(hundredths, wanted, stack):
    sizes = [one * 1e-5 for one in hundredths]
    chosen = nearest_shims(wanted * 1e-5, sizes, stack=stack)

    miss = abs(sum(chosen) - wanted * 1e-5)
    assert set(chosen) <= set(sizes)
    assert all(miss <= abs(one - wanted * 1e-5) + 1e-6 for one in sizes)


@given(opening_bar=st.floats(120.0, 230.0), bar_per_mm=st.floats(60.0, 200.0))
def test_the_change_is_thicker_for_more_pressure_and_lands_within_half_a_step(
    bench, opening_bar, bar_per_mm
):
    hundredths = tuple(one * 1e-5 for one in range(50, 300))
    sheet = bench.sheet(adjustment=Adjustment(effect(bar_per_mm), hundredths))

    found = change(bench, opening_bar, shim_mm=1.5, sheet=sheet)

    # Half a step, and the micrometre to which two shims count as equally near.
    assert abs(found.predicted.value - 186e5) <= 0.56e-5 * bar_per_mm * BAR_PER_MM
    if found.shim_change_m > 0.6e-5:
        assert opening_bar < 186.0
    if found.shim_change_m < -0.6e-5:
        assert opening_bar > 186.0


def test_nothing_known_of_the_setting_is_said_and_not_guessed(bench):
    missing = change(bench, 171.0, sheet=bench.sheet(adjustment=Adjustment()))

    assert isinstance(missing, NotMeasured)
