"""The spring at the setting: its rate, the room that it has, and whether it has set."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.advice import change_to, learn, shim_effect
from nozzlewright.advice.setting import spring_warnings
from nozzlewright.advice.setting_spring import (
    after_other_spring,
    least_room_of,
    pressed_together,
    rate_of,
    rates_doubt,
    room_left,
    shortfall_of,
    solid_length_of,
)
from nozzlewright.bench import Adjustment, HolderSpring, MeasuredSpring, NozzleGeometry
from nozzlewright.measurement import Cause, NotMeasured, Quantity
from nozzlewright.physics import lifting_area

BAR = 1e5
# The printed verification sheet of a general spring calculator by EN 13906-1, ends squared and
# ground: d 5, De 39.60, D 34.6 mm, 9.5 active of 11.5 coils, L0 105.8 mm; R 16.181 N/mm,
# F1 280 N at L1 88.5 mm, sum of the least gaps 12.3 mm (1.5 times, for a spring that works).
PRINTED = HolderSpring(
    free_length_m=105.8e-3,
    free_length_half_m=0.05e-3,
    wire_diameter_m=5e-3,
    coil_diameter_m=34.6e-3,
    active_coils=9.5,
    total_coils=11.5,
)
NOZZLE = NozzleGeometry(guide_diameter_m=6e-3, seat_diameter_m=2.6e-3)
HOLDER = HolderSpring(
    free_length_m=50e-3,
    free_length_half_m=0.3e-3,
    wire_diameter_m=4e-3,
    coil_diameter_m=11e-3,
    active_coils=8.25,
    total_coils=10.25,
    solid_length_m=41e-3,
    needle_lift_m=0.25e-3,
)


def effect(bar_per_mm=100.0, u=0.0):
    return Quantity(bar_per_mm * 1e8, "Pa/m", {Cause("shim effect"): u * 1e8})


def measured(length_mm, u_mm=0.01, load_n=0.0):
    return MeasuredSpring(Quantity(length_mm / 1e3, "m", {Cause("caliper"): u_mm / 1e3}), load_n)


def pressure(bar, u=0.0):
    return Quantity(bar * BAR, "Pa", {Cause("reading"): u * BAR})


# --- printed numbers ------------------------------------------------------------------------------


def test_the_printed_spring_has_its_printed_rate_gap_and_length(bench):
    sheet = bench.sheet(spring=PRINTED, geometry=NozzleGeometry())
    rate = rate_of(sheet)

    # The sheet reckons with 81.5 GPa, this project with 79.5 GPa for any spring steel.
    assert rate.value * 81.5 / 79.5 / 1e3 == pytest.approx(16.181, abs=1e-3)
    assert abs(rate.value / 1e3 - 16.181) < 2.0 * rate.standard_uncertainty / 1e3
    assert least_room_of(PRINTED) * 1e3 == pytest.approx(12.3, rel=0.006)
    assert solid_length_of(PRINTED) * 1e3 == pytest.approx(57.5)


def test_the_printed_load_and_length_give_the_printed_rate(bench):
    spring = replace(PRINTED, load_n=280.0, loaded_length_m=88.5e-3)

    found = rate_of(bench.sheet(spring=spring, geometry=NozzleGeometry()))

    assert found.value / 1e3 == pytest.approx(16.181, rel=2e-3)


def test_the_room_of_the_printed_spring_is_its_printed_length_less_the_solid_one(bench):
    # Under 280 N it stands at 88.5 mm and is solid at 57.5 mm: 31.0 mm are left.
    geometry = replace(NOZZLE, spring_rate_n_per_m=16.181e3)
    sheet = bench.sheet(spring=PRINTED, geometry=geometry)
    opening = Quantity(280.0 / float(lifting_area(6e-3, 2.6e-3)), "Pa")

    found = room_left(sheet, opening)

    assert found.room.value * 1e3 == pytest.approx(88.5 - 57.5, abs=0.01)
    assert found.enough


def test_solid_length_follows_from_active_coils_where_that_is_all():
    assert solid_length_of(replace(PRINTED, total_coils=None)) == pytest.approx(57.5e-3)
    assert solid_length_of(HolderSpring(active_coils=9.5)) is None


# --- the prior ------------------------------------------------------------------------------------


def test_wire_and_coils_give_the_effect_of_a_shim_where_no_rate_is_printed(bench):
    sheet = bench.sheet(adjustment=Adjustment(), geometry=NOZZLE, spring=HOLDER)
    stated = replace(NOZZLE, spring_rate_n_per_m=rate_of(sheet).value)

    found = shim_effect(sheet)
    by_rate = shim_effect(bench.sheet(adjustment=Adjustment(), geometry=stated))

    assert found.value == pytest.approx(by_rate.value)
    assert found.standard_uncertainty > by_rate.standard_uncertainty
    assert learn(sheet).prior.known


def test_a_printed_effect_goes_before_the_spring(bench):
    sheet = bench.sheet(adjustment=Adjustment(effect()), geometry=NOZZLE, spring=HOLDER)

    assert shim_effect(sheet).value == effect().value


def test_without_rate_or_what_it_follows_from_it_is_asked_for(bench):
    missing = rate_of(bench.sheet(geometry=NOZZLE, spring=HolderSpring(free_length_m=0.05)))

    assert isinstance(missing, NotMeasured)
    assert missing.remedy


# --- coil bound -----------------------------------------------------------------------------------


def warnings(sheet, bar, spring=None, by=None):
    return list(spring_warnings(sheet, pressure(bar), by or effect(), spring))


def test_a_spring_that_would_be_solid_is_called_out(bench):
    # 100 bar/mm: 900 bar press it together by 9 mm, all that there is between 50 and 41 mm.
    sheet = bench.sheet(spring=replace(HOLDER, active_coils=None), geometry=NozzleGeometry())

    (told,) = warnings(sheet, 900.0)

    assert "solid, 0.25 mm too soon" in told
    assert "full lift" in told


def test_less_than_the_least_gap_is_coil_bound_before_it_is_solid(bench):
    # At 500 bar: 50 - 5 - 0.25 - 41 = 3.75 mm; EN 13906-1 asks for 1.5 x 3.67 = 5.51 mm.
    sheet = bench.sheet(spring=HOLDER, geometry=NozzleGeometry())

    (told,) = warnings(sheet, 500.0)

    assert "Coil bound" in told
    assert "5.51 mm" in told
    assert warnings(sheet, 300.0) == []


def test_a_measured_length_takes_the_place_of_the_printed_one(bench):
    sheet = bench.sheet(
        spring=replace(HOLDER, least_free_length_m=40e-3), geometry=NozzleGeometry()
    )

    assert warnings(sheet, 300.0, measured(50.0)) == []
    assert "Coil bound" in warnings(sheet, 300.0, measured(49.5))[0]


def test_without_the_lift_the_shut_needle_is_reckoned_with_and_that_is_said(bench):
    sheet = bench.sheet(spring=replace(HOLDER, needle_lift_m=None), geometry=NozzleGeometry())

    assert "begins to lift" in warnings(sheet, 500.0)[0]


def test_a_holder_with_two_springs_has_no_room_to_be_told(bench):
    sheet = bench.sheet(spring=HOLDER, geometry=NozzleGeometry(two_spring=True))

    assert room_left(sheet, pressure(900.0), effect()) is None
    assert shortfall_of(sheet, measured(30.0)) is None


def test_a_screw_without_its_pitch_tells_nothing_of_the_length(bench):
    sheet = bench.sheet(spring=HOLDER, geometry=NozzleGeometry())
    turn = Quantity(90 * BAR, "Pa")

    assert warnings(sheet, 900.0, by=turn) == []
    pitched = bench.sheet(
        spring=HOLDER, geometry=NozzleGeometry(), adjustment=Adjustment(screw_pitch_m=1e-3)
    )
    assert "solid" in warnings(pitched, 900.0, by=turn)[0]


LENGTHS = st.floats(42.0, 60.0)
PRESSURES = st.floats(50.0, 400.0)


@given(PRESSURES, st.floats(60.0, 200.0), st.sampled_from([None, 0.1, 0.4]))
def test_coil_bound_is_never_warned_of_with_clearance_without_end(bench, bar, rise, lift_mm):
    lift = None if lift_mm is None else lift_mm / 1e3
    endless = replace(HOLDER, free_length_m=10.0, needle_lift_m=lift)
    sheet = bench.sheet(spring=endless, geometry=NozzleGeometry())

    assert warnings(sheet, bar, by=effect(rise)) == []


@given(LENGTHS, LENGTHS, PRESSURES)
def test_a_longer_spring_never_has_less_room(bench, a_mm, b_mm, bar):
    sheet = bench.sheet(spring=HOLDER, geometry=NozzleGeometry())
    short, long = (
        room_left(sheet, pressure(bar), effect(), measured(one)) for one in sorted((a_mm, b_mm))
    )

    assert long.room.value >= short.room.value
    assert long.enough or not short.enough


@given(LENGTHS, PRESSURES, PRESSURES)
def test_more_pressure_never_leaves_more_room(bench, length_mm, a_bar, b_bar):
    sheet = bench.sheet(spring=HOLDER, geometry=NozzleGeometry())
    less, more = (
        room_left(sheet, pressure(one), effect(), measured(length_mm))
        for one in sorted((a_bar, b_bar))
    )

    assert more.room.value <= less.room.value


@given(PRESSURES)
def test_force_over_rate_and_the_effect_say_the_same_of_a_stiff_holder(bench, bar):
    """ALT: b = k/A, so p/b = p A/k."""
    sheet = bench.sheet(spring=HOLDER, geometry=NOZZLE)
    by_effect = rate_of(sheet).value / float(lifting_area(6e-3, 2.6e-3))

    by_rate = pressed_together(pressure(bar), None, sheet)
    by_shim = pressed_together(
        pressure(bar),
        Quantity(by_effect, "Pa/m"),
        bench.sheet(spring=HOLDER, geometry=NozzleGeometry()),
    )

    assert by_rate.value == pytest.approx(by_shim.value)


# --- a spring that has set ------------------------------------------------------------------------


def test_a_spring_shorter_than_the_sheet_allows_has_set_and_what_it_costs_is_said(bench):
    sheet = bench.sheet(spring=HOLDER, geometry=NOZZLE)  # 50.0 ± 0.3 mm

    told, *_room = warnings(sheet, 200.0, measured(49.5))

    assert "has set" in told
    assert "0.20 mm less than the least of the sheet (49.70 mm)" in told
    # 0.2 mm at 100 bar/mm are 20 bar.
    assert "about 20 bar" in told


def test_what_lies_within_the_doubt_of_the_reading_is_to_be_measured_again(bench):
    sheet = bench.sheet(spring=HOLDER, geometry=NOZZLE)

    (told,) = warnings(sheet, 200.0, measured(49.68, u_mm=0.03))

    assert "measure it once more" in told
    assert warnings(sheet, 200.0, measured(49.72, u_mm=0.03)) == []


def test_the_least_length_of_the_sheet_goes_before_its_tolerance(bench):
    sheet = bench.sheet(spring=replace(HOLDER, least_free_length_m=49.4e-3), geometry=NOZZLE)

    assert shortfall_of(sheet, measured(49.5)).chance < 0.01
    assert shortfall_of(sheet, measured(49.3)).chance > 0.99


def test_under_the_test_load_the_length_of_the_sheet_is_taken(bench):
    spring = replace(HOLDER, load_n=460.0, loaded_length_m=48e-3)
    sheet = bench.sheet(spring=spring, geometry=NOZZLE)

    found = shortfall_of(sheet, measured(47.5, load_n=460.0))

    assert found.least_m == pytest.approx(47.7e-3)
    assert found.short.value == pytest.approx(0.2e-3)
    # Another load: the rate (460 N for 2 mm) leads there. 230 N press it by 1 mm.
    other = shortfall_of(sheet, measured(48.6, load_n=230.0))
    assert other.least_m == pytest.approx(48.7e-3)
    assert other.short.standard_uncertainty > found.short.standard_uncertainty


def test_without_a_figure_on_the_sheet_nothing_is_said(bench):
    assert warnings(bench.sheet(), 200.0, measured(30.0)) == []
    bare = bench.sheet(spring=HolderSpring(wire_diameter_m=4e-3), geometry=NOZZLE)
    assert shortfall_of(bare, measured(30.0)) is None


def test_the_adviser_says_it_at_the_change(bench):
    sheet = bench.sheet(spring=HOLDER, adjustment=Adjustment(effect()))

    found, without = (
        change_to(
            186 * BAR, bench.opening(176.0), sheet.opening_new, sheet, learn(sheet),
            shim_now_m=1.3e-3, spring=one,
        )
        for one in (measured(49.0), None)
    )  # fmt: skip

    assert any("has set" in warning for warning in found.warnings)
    assert found.best == without.best  # the shim itself is chosen as before


# --- another spring -------------------------------------------------------------------------------


@given(LENGTHS, LENGTHS, st.floats(60.0, 200.0), PRESSURES)
def test_a_spring_that_is_shorter_never_raises_the_pressure_foretold(was_mm, now_mm, rise, bar):
    found = after_other_spring(pressure(bar), effect(rise), measured(was_mm), measured(now_mm))

    if now_mm <= was_mm:
        assert found.value <= bar * BAR
    shorter = after_other_spring(
        pressure(bar), effect(rise), measured(was_mm), measured(now_mm - 0.1)
    )
    assert shorter.value < found.value


def test_rates_that_differ_are_doubt_and_a_load_near_the_opening_takes_it_away():
    # 5 % either way in the rate, anywhere in between: 200 bar x 0.05 / sqrt(3) for each.
    free = after_other_spring(pressure(200.0), effect(), measured(50.0), measured(50.1))
    loaded = after_other_spring(
        pressure(200.0), effect(), measured(48.0, load_n=460.0), measured(48.1, load_n=460.0), 230e3
    )

    assert [free.value, loaded.value] == pytest.approx([210 * BAR, 210 * BAR])
    assert free.standard_uncertainty / BAR == pytest.approx(8.29, abs=0.02)
    assert loaded.standard_uncertainty / BAR == pytest.approx(1.41, abs=0.02)  # lengths alone


def test_springs_measured_in_two_ways_are_not_compared():
    found = after_other_spring(
        pressure(200.0), effect(), measured(50.0), measured(48.0, load_n=460.0)
    )

    assert isinstance(found, NotMeasured)


@given(st.floats(0.0, 1000.0))
def test_the_doubt_by_rates_is_least_at_the_load_of_the_opening(load_n):
    at_opening = 460.0

    assert rates_doubt(200e5, 100e8, load_n, 230e3) >= rates_doubt(200e5, 100e8, at_opening, 230e3)
