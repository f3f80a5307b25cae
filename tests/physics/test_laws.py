"""What must hold whatever the numbers are."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from nozzlewright import physics as ph


def near(expected, rel=1e-6, abs=0.0):  # noqa: A002
    """Return an approximate value without pytest's absolute 1e-12, which swallows small SI."""
    return pytest.approx(expected, rel=rel, abs=abs)


AT = 98_066.5

pressures = st.floats(5e5, 400e5)
gaps = st.floats(0.3e-6, 8e-6)
viscosities = st.floats(1e-3, 10e-3)
diameters = st.floats(3e-3, 10e-3)
lengths = st.floats(8e-3, 30e-3)
eccentricities = st.floats(0.0, 1.0)
alphas = st.floats(0.0, 25e-9)
growths = st.floats(0.0, 8e-14)
temperatures = st.floats(273.15, 353.15)
more = st.floats(1.001, 3.0)
oils = st.tuples(st.floats(2.0e-6, 8.0e-6), st.floats(0.45, 0.8))
"""Viscosity at 20 C and the share of it that is left at 60 C."""


def _line(oil):
    nu, share = oil
    return ph.d341_constants(293.15, nu, 333.15, nu * share)


# Viscosity


@given(oils, temperatures, st.floats(0.5, 40.0))
def test_warmer_oil_is_thinner(oil, temperature, warmer):
    A, B = _line(oil)
    assume(temperature + warmer < 370.0)
    assert ph.d341_viscosity(temperature + warmer, A, B) < ph.d341_viscosity(temperature, A, B)


@given(oils)
def test_a_viscosity_line_goes_through_its_points(oil):
    nu, share = oil
    A, B = _line(oil)
    assert ph.d341_viscosity(293.15, A, B) == near(nu, rel=1e-11)
    assert ph.d341_viscosity(333.15, A, B) == near(nu * share, rel=1e-11)


@given(oils)
def test_the_order_of_the_viscosity_points_does_not_matter(oil):
    nu, share = oil
    turned = ph.d341_constants(333.15, nu * share, 293.15, nu)
    assert turned == near(_line(oil), rel=1e-9)


@given(oils, st.lists(temperatures, min_size=2, max_size=8, unique_by=lambda t: round(t)))
def test_points_on_a_line_give_that_line_back(oil, measured_at):
    A, B = _line(oil)
    T = np.array(measured_at)
    fit = ph.fit_d341(T, ph.d341_viscosity(T, A, B))
    assert near(A, rel=1e-6) == fit.A
    assert near(B, rel=1e-6) == fit.B
    assert fit.relative_misfit < 1e-9


def test_two_points_fit_as_they_are_joined():
    fit = ph.fit_d341([293.15, 313.15], [4.0e-6, 2.6e-6])
    assert near(ph.d341_constants(293.15, 4.0e-6, 313.15, 2.6e-6)) == (fit.A, fit.B)
    assert fit.relative_misfit == 0.0


def test_the_misfit_of_a_viscosity_line_is_the_scatter_that_was_put_in():
    rng = np.random.default_rng(3)
    T = np.linspace(283.15, 333.15, 400)
    A, B = ph.d341_constants(293.15, 4.0e-6, 313.15, 2.6e-6)
    noisy = ph.d341_viscosity(T, A, B) * (1.0 + 0.01 * rng.standard_normal(T.size))
    fit = ph.fit_d341(T, noisy)
    assert fit.relative_misfit == near(0.01, rel=0.1)
    assert near(B, rel=0.02) == fit.B


@given(st.floats(1e5, 400e5), st.floats(2e-3, 8e-3), st.floats(5e-9, 16e-9))
def test_roelands_thickens_less_than_barus_and_both_thicken(pressure, viscosity, alpha):
    assert ph.roelands_index(viscosity, alpha) < 1.0
    barus = ph.barus_factor(pressure, alpha)
    roelands = ph.roelands_factor(pressure, viscosity, alpha)
    assert 1.0 < roelands < barus


@given(oils, temperatures)
def test_dynamic_viscosity_is_kinematic_times_density(oil, temperature):
    nu = ph.d341_viscosity(temperature, *_line(oil))
    rho = ph.density_at(temperature, 825.0, 8.5e-4)
    # 1 mm2/s at 1000 kg/m3 is 1 mPa s, by definition.
    assert ph.dynamic_viscosity(nu, rho) * 1e3 == near(nu * 1e6 * rho / 1e3)


# Guide leakage


@given(pressures, gaps, diameters, lengths, viscosities, eccentricities, growths, alphas)
def test_clearance_from_a_leak_is_the_clearance_that_leaked(p, gap, d, length, mu, e, k, alpha):
    leak = ph.guide_leakage(
        p, gap, d, length, mu, eccentricity=e, growth_m_per_pa=k, alpha_per_pa=alpha
    )
    back = ph.clearance_from_leakage(
        leak, p, d, length, mu, eccentricity=e, growth_m_per_pa=k, alpha_per_pa=alpha
    )
    # Where the growth outweighs the gap, the gap is a small difference of large terms.
    assert back == near(2.0 * gap, rel=1e-9)


@given(gaps, diameters, lengths, viscosities, eccentricities)
def test_clearance_from_a_conductance_is_the_clearance_that_conducted(gap, d, length, mu, e):
    conductance = ph.guide_conductance(gap, d, length, mu, e)
    back = ph.clearance_from_conductance(conductance, d, length, mu, e)
    assert back == near(2.0 * gap, rel=1e-12)


@given(pressures, gaps, diameters, lengths, viscosities, eccentricities, growths, alphas, more)
def test_more_gap_more_leak_and_thicker_oil_less(p, gap, d, length, mu, e, k, alpha, factor):
    def leak(**changed):
        arguments = {
            "pressure_pa": p, "radial_gap_m": gap, "diameter_m": d, "length_m": length,
            "viscosity_pa_s": mu, "eccentricity": e, "growth_m_per_pa": k, "alpha_per_pa": alpha,
        }  # fmt: skip
        return ph.guide_leakage(**(arguments | changed))

    base = leak()
    assert leak(radial_gap_m=gap * factor) > base
    assert leak(pressure_pa=p * factor) > base
    assert leak(growth_m_per_pa=k + 1e-14) > base
    assert leak(viscosity_pa_s=mu * factor) < base
    assert leak(length_m=length * factor) < base
    assert leak(alpha_per_pa=alpha + 1e-9) < base
    assert leak(eccentricity=1.0) >= base


@given(pressures, gaps, diameters, lengths, viscosities, eccentricities)
def test_a_rigid_gap_and_constant_viscosity_are_the_plain_formula(p, gap, d, length, mu, e):
    plain = ph.thin_gap_leakage(p, gap, d, length, mu, e)
    assert ph.guide_leakage(p, gap, d, length, mu, eccentricity=e) == near(plain)
    assert ph.elastic_gap_leakage(p, gap, 0.0, d, length, mu, e) == near(plain)


@given(pressures, gaps, diameters, lengths, viscosities, growths)
def test_an_elastic_gap_at_constant_viscosity_is_the_closed_form(p, gap, d, length, mu, k):
    closed = ph.elastic_gap_leakage(p, gap, k, d, length, mu)
    general = ph.guide_leakage(p, gap, d, length, mu, growth_m_per_pa=k)
    assert general == near(closed, rel=1e-12)


def test_twice_the_clearance_leaks_eight_times_as_much():
    one, two = (ph.thin_gap_leakage(1e7, h, 6e-3, 20e-3, 3e-3) for h in (1e-6, 2e-6))
    assert two / one == near(8.0)


def test_a_leak_smaller_than_growth_alone_gives_means_no_clearance():
    k = ph.gap_growth_per_pa(6e-3, 14e-3)
    growth_alone = ph.guide_leakage(200e5, 0.0, 6e-3, 20e-3, 3e-3, growth_m_per_pa=k)
    tight = ph.clearance_from_leakage(
        0.5 * growth_alone, 200e5, 6e-3, 20e-3, 3e-3, growth_m_per_pa=k
    )
    assert tight == 0.0


def test_no_leak_means_no_clearance():
    assert ph.clearance_from_leakage(0.0, 200e5, 6e-3, 20e-3, 3e-3) == 0.0
    assert ph.clearance_from_conductance(0.0, 6e-3, 20e-3, 3e-3) == 0.0


@given(st.floats(8e-3, 30e-3), more)
def test_a_thicker_body_swells_less(outer, factor):
    assert ph.gap_growth_per_pa(6e-3, outer * factor) < ph.gap_growth_per_pa(6e-3, outer)


# Decay


@given(pressures, st.floats(0.05, 0.95), viscosities, more, gaps, alphas, growths)
def test_thicker_oil_gives_a_longer_drop_and_a_wider_gap_a_shorter_one(
    start, share, mu, factor, gap, alpha, growth
):
    def seconds(viscosity, radial_gap):
        return ph.drop_time(
            start,
            start * share,
            ph.guide_conductance(radial_gap, 6e-3, 20e-3, viscosity),
            lambda p: 20e-6 / (1.3e9 + 10.9 * p),
            alpha,
            growth / radial_gap,
        )

    base = seconds(mu, gap)
    assert base > 0.0
    assert seconds(mu * factor, gap) == near(base * factor, rel=1e-12)
    assert seconds(mu, gap * factor) < base


@given(pressures, st.floats(0.05, 0.95), st.floats(0.1, 500.0), alphas)
def test_barus_drop_time_and_pressure_are_each_others_inverse(start, share, tau, alpha):
    seconds = ph.drop_time_barus(start, start * share, tau, alpha)
    back = ph.pressure_barus(seconds, start, tau, alpha)
    assert back == near(start * share, rel=1e-9)
    assert seconds >= ph.drop_time_constant(start, start * share, tau) * (1 - 1e-12)


@given(pressures, st.floats(0.05, 0.95), st.floats(0.1, 500.0), alphas)
def test_general_drop_time_is_the_barus_form_at_constant_compliance(start, share, tau, alpha):
    general = ph.drop_time(start, start * share, 1.0 / tau, lambda p: np.ones_like(p), alpha)
    closed = ph.drop_time_barus(start, start * share, tau, alpha)
    assert general == near(closed, rel=1e-12)


@given(pressures, st.floats(0.05, 0.5), st.floats(1.1, 1.9), alphas, growths)
def test_drop_times_of_two_windows_add_up(start, share, middle, alpha, growth):
    def seconds(first, last):
        return ph.drop_time(
            first, last, 2e-16, lambda p: 20e-6 / (1.3e9 + 10.9 * p), alpha, growth / 2e-6
        )

    end, between = start * share, start * share * middle
    assert seconds(start, between) + seconds(between, end) == near(seconds(start, end), rel=1e-11)
    assert seconds(end, start) == near(-seconds(start, end), rel=1e-12)


@given(pressures, alphas, st.floats(0.0, 5e-8), st.floats(1.0, 2000.0))
def test_pressure_during_a_hold_falls_and_takes_its_time(start, alpha, growth, last):
    times = np.linspace(0.0, last, 20)

    def leakage(p):
        return 2e-16 * p * ph.leak_factor(p, alpha, growth)

    def compliance(p):
        return 20e-6 / (1.3e9 + 10.9 * p)

    held = ph.pressure_during_hold(times, start, leakage, compliance)
    assert held[0] == near(start, rel=1e-12)
    assert np.all(np.diff(held) < 0.0)
    taken = ph.drop_time(start, held[1:], 2e-16, compliance, alpha, growth)
    np.testing.assert_allclose(taken, times[1:], rtol=1e-8)


def test_a_hold_of_no_length_leaves_the_pressure():
    got = ph.pressure_during_hold([0.0, 0.0], 1e7, lambda p: p, lambda p: np.ones_like(p))
    assert list(got) == [1e7, 1e7]


@given(st.floats(1e-15, 5e-14), st.floats(1.0, 300.0), st.floats(0.5, 1.0), st.floats(1.0, 50.0))
def test_taking_the_rigs_leak_off_leaves_the_injectors(compliance, tau, ratio, tightness):
    """Rates add on the same volume; with the plug the volume is smaller."""
    injector = compliance / tau
    rig = injector / tightness
    with_injector = compliance / (injector + rig)
    with_plug = ratio * compliance / rig
    got = ph.injector_conductance(compliance, with_injector, ratio * compliance, with_plug)
    assert got == near(injector, rel=1e-9)


def test_a_leaky_rig_taken_off_without_compliances_is_a_fifth_off():
    """What a quick version does: 1/tau less 1/tau."""
    compliance, plug = 2.0e-14, 1.2e-14
    injector, rig = 2.0e-16, 0.8e-16
    tau_1, tau_0 = compliance / (injector + rig), plug / rig
    naive = compliance * (1 / tau_1 - 1 / tau_0)
    right = ph.injector_conductance(compliance, tau_1, plug, tau_0)
    assert right == near(injector, rel=1e-12)
    assert naive / injector < 0.8


def test_a_rig_that_does_not_leak_takes_nothing_off():
    assert ph.injector_conductance(2e-14, 100.0, 1e-14, math.inf) == near(2e-16)


@given(st.floats(1e-18, 1e-14), viscosities, viscosities)
def test_conductance_carried_to_another_viscosity_and_back_is_the_same(G, one, other):
    there = ph.conductance_at_viscosity(G, one, other)
    assert ph.conductance_at_viscosity(there, other, one) == near(G, rel=1e-12)
    assert (there < G) == (other > one)


# Fluid and rig


@given(st.floats(1.0e9, 1.8e9), st.floats(1e5, 400e5), st.floats(0.0, 0.05), more)
def test_free_air_softens_and_pressure_hides_it(oil, pressure, air, factor):
    soft = ph.modulus_with_free_air(oil, pressure, air)
    assert soft <= oil * (1 + 1e-15)
    assert ph.modulus_with_free_air(oil, pressure * factor, air) >= soft
    assert ph.modulus_with_free_air(oil, pressure, air + 0.001) < soft


@given(temperatures, st.floats(0.0, 400e5))
def test_colder_and_higher_pressed_oil_is_stiffer(temperature, pressure):
    def modulus(p, T):
        return ph.isothermal_bulk_modulus(p, T, 1.3e9, 293.15, 10.9, -6.8e6)

    assert modulus(0.0, 293.15) == 1.3e9
    assert modulus(pressure, temperature - 1.0) > modulus(pressure, temperature)
    assert modulus(pressure + 1e5, temperature) > modulus(pressure, temperature)


@given(st.floats(1e-6, 1e-4), st.floats(1e5, 100e5), st.floats(101e5, 400e5))
def test_volume_let_in_is_the_sum_of_its_small_parts(volume, low, high):
    whole = ph.volume_let_in(volume, low, high, 1.3e9, 10.9)
    edges = np.linspace(low, high, 2001)
    middle = 0.5 * (edges[1:] + edges[:-1])
    parts = np.sum(ph.rig_compliance(volume, 1.3e9 + 10.9 * middle) * np.diff(edges))
    assert whole == near(parts, rel=1e-7)


@given(st.floats(1.5, 5.0), st.floats(1.01, 3.0))
def test_a_thicker_pipe_gives_less(ratio, factor):
    thin = ph.pipe_wall_compliance(2e-3, 2e-3 * ratio)
    assert ph.pipe_wall_compliance(2e-3, 2e-3 * ratio * factor) < thin


def test_a_thin_pipe_gives_as_barlow_says():
    """ALT: thin wall, free ends: hoop strain twice, axial none from pressure but Poisson's."""
    d, wall = 10e-3, 10e-6
    thin = ph.pipe_wall_compliance(d, d + 2 * wall)
    assert thin == near(d / (wall * 2.1e11), rel=5e-3)


@given(st.floats(0.0, 5.0), st.floats(0.0, 1.0))
def test_elastic_walls_soften_the_fall_by_cooling(drop, share):
    rigid = ph.cooling_pressure_loss(drop, 8.5e-4, 1.4e9)
    assert ph.cooling_pressure_loss(drop, 8.5e-4, 1.4e9, share) == near(rigid * (1 - share))


# Needle and spring


needles = st.tuples(st.floats(3.5e-3, 8e-3), st.floats(0.2, 0.8)).map(
    lambda pair: (pair[0], pair[0] * pair[1])
)


@given(needles, pressures, st.floats(0, 20e5), st.floats(0, 100e5), st.floats(0, 20))
def test_the_spring_for_an_opening_pressure_opens_at_it(needle, opening, back, cylinder, friction):
    loads = {"back_pressure_pa": back, "cylinder_pressure_pa": cylinder, "friction_n": friction}
    force = ph.spring_force_for_opening(opening, *needle, **loads)
    assert ph.opening_pressure(force, *needle, **loads) == near(opening, rel=1e-9)


@given(needles, st.floats(100.0, 800.0), st.floats(0.1, 30.0))
def test_friction_opens_later_and_closes_later(needle, force, friction):
    guide, seat = needle
    assert ph.opening_pressure(force, guide, seat, friction_n=friction) > ph.opening_pressure(
        force, guide, seat
    )
    assert ph.closing_pressure(force, guide, friction_n=friction) < ph.closing_pressure(
        force, guide
    )


@given(needles, st.floats(100.0, 800.0))
def test_a_needle_closes_below_its_opening_pressure(needle, force):
    opening = ph.opening_pressure(force, *needle)
    closing = ph.closing_pressure(force, needle[0])
    assert closing < opening
    assert closing / opening == near(ph.closing_ratio(*needle), rel=1e-9)
    back = ph.seat_diameter_from_pressures(opening, closing, needle[0])
    assert back == near(needle[1], rel=1e-9)


def test_a_wider_seat_opens_later_and_closes_as_before():
    narrow, wide = (ph.opening_pressure(400.0, 6e-3, seat) for seat in (2.6e-3, 3.0e-3))
    assert wide > narrow
    assert ph.closing_pressure(400.0, 6e-3) == near(400.0 / ph.circle_area(6e-3))


def test_the_engine_opens_a_needle_below_its_bench_pressure():
    on_bench = ph.opening_pressure(400.0, 6e-3, 2.6e-3)
    assert ph.opening_pressure(400.0, 6e-3, 2.6e-3, cylinder_pressure_pa=60e5) < on_bench


@given(needles, st.floats(50e3, 400e3), st.floats(0.01e-3, 1.0e-3), st.floats(100.0, 600.0))
def test_a_shim_raises_the_opening_as_its_effect_says(needle, rate, shim, force):
    effect = ph.pressure_per_shim(rate, *needle)
    risen = ph.opening_pressure(force + rate * shim, *needle) - ph.opening_pressure(force, *needle)
    assert risen == near(effect * shim, rel=1e-8)
    assert ph.spring_rate_from_shim_effect(effect, *needle) == near(rate, rel=1e-12)
    assert ph.pressure_per_turn(rate, shim, *needle) == near(effect * shim, rel=1e-12)


@given(st.floats(0.0, 0.4e-3), st.floats(1.5e-3, 4e-3), st.floats(0.9, 1.7))
def test_an_edge_on_the_needle_leaves_more_room_than_one_on_the_seat(lift, diameter, angle):
    on_needle = ph.curtain_area(lift, diameter, angle)
    on_seat = ph.curtain_area(lift, diameter, angle, edge_on="seat")
    assert on_needle >= on_seat >= 0.0
    assert ph.curtain_area(lift + 1e-5, diameter, angle) > on_needle


@given(st.floats(20e3, 500e3), st.floats(10e-3, 60e-3), st.floats(0.0, 1000.0))
def test_length_and_load_of_a_spring_are_each_others_inverse(rate, free, load):
    length = ph.spring_length(rate, free, load)
    assert ph.spring_force(rate, free, length) == near(load, rel=1e-9, abs=1e-8)


@given(st.floats(2e-3, 5e-3), st.floats(4.0, 12.0), st.floats(2.0, 15.0))
def test_coils_and_rate_of_a_spring_are_each_others_inverse(wire, index, coils):
    rate = ph.spring_rate(79.5e9, wire, wire * index, coils)
    assert ph.active_coils_for_rate(rate, 79.5e9, wire, wire * index) == near(coils)


@given(st.floats(4.0, 20.0))
def test_both_curvature_factors_agree_within_two_per_cent(index):
    assert ph.wahl_factor(index) == near(ph.bergstraesser_factor(index), rel=0.02)


# Holes, chatter, gauge, torque, washer, flat


areas = st.floats(0.0, 2e-6)


@given(areas, areas)
def test_throttles_in_series_pass_less_than_the_narrower(one, other):
    both = ph.series_area(one, other)
    assert both <= min(one, other)
    assert both == near(ph.series_area(other, one))
    assert ph.series_area(one) == near(one)


def test_two_equal_throttles_pass_the_root_of_a_half():
    assert ph.series_area(1e-6, 1e-6) == near(1e-6 / math.sqrt(2.0))


def test_series_of_arrays_takes_each_pair():
    got = ph.series_area(np.array([0.0, 3.0]), np.array([1.0, 4.0]))
    np.testing.assert_allclose(got, [0.0, 2.4])


@given(st.floats(50e5, 300e5), st.floats(1e5, 40e5))
def test_back_pressure_lifts_the_coefficient_of_a_cavitating_hole(upstream, downstream):
    free = ph.cavitation_discharge_coefficient(0.61, upstream, 0.0)
    assert free == near(0.61)
    assert ph.cavitation_discharge_coefficient(0.61, upstream, downstream) > free
    hot = ph.cavitation_discharge_coefficient(0.61, upstream, downstream, 0.5 * downstream)
    assert hot < ph.cavitation_discharge_coefficient(0.61, upstream, downstream)


def test_a_cavitating_hole_passes_what_falls_to_vapour_pressure():
    """ALT: Bernoulli from upstream down to vapour pressure through the contracted jet."""
    upstream, downstream, vapour, area, density = 175e5, 5e5, 0.2e5, 0.06e-6, 830.0
    coefficient = ph.cavitation_discharge_coefficient(0.61, upstream, downstream, vapour)
    flow = ph.hole_flow(coefficient, area, upstream - downstream, density)
    assert flow == near(0.61 * area * ph.jet_velocity(upstream - vapour, density), rel=1e-12)


@given(st.floats(0.1e-6, 10e-6), st.floats(5e-15, 5e-14))
def test_chatter_repeats_charge_and_discharge(pump, compliance):
    nozzle, opening, closing = 30e-6, 175e5, 142e5
    f = ph.chatter_frequency(compliance, opening, closing, pump, nozzle)
    opened = ph.open_time(compliance, opening, closing, pump, nozzle)
    swept = compliance * (opening - closing)
    # In each period the pump delivers what the nozzle passes.
    assert pump / f == near(nozzle * opened, rel=1e-9)
    assert 1 / f == near(swept / pump + opened, rel=1e-9)


@given(st.floats(0.5, 40.0), st.floats(0.0, 5e-12), st.floats(-0.5, 0.5))
def test_a_dead_weight_pressure_solves_its_own_balance(mass, distortion, head):
    area, density = 1e-5, 850.0
    p = ph.dead_weight_pressure(
        mass, area, distortion_per_pa=distortion, expansion_per_k=2.3e-5, temperature_k=297.15,
        fluid_density_kg_m3=density, head_m=head,
    )  # fmt: skip
    at_piston = p - density * 9.80665 * head
    weight = mass * 9.80665 * (1 - 1.2 / 7900)
    grown = area * (1 + distortion * at_piston) * (1 + 2.3e-5 * 4)
    assert at_piston * grown == near(weight, rel=1e-12)


def test_gravity_grows_from_equator_to_pole_and_falls_with_height():
    latitudes = np.radians([0.0, 30.0, 60.0, 90.0])
    assert np.all(np.diff(ph.normal_gravity(latitudes)) > 0.0)
    assert ph.normal_gravity(0.0) / ph.STANDARD_GRAVITY_M_S2 - 1 == near(-2.684e-3, 1e-3)
    assert ph.normal_gravity(0.8, 1000.0) < ph.normal_gravity(0.8)


@given(st.floats(10, 200), st.floats(0.2, 1.0), st.floats(-0.15, 0.3), st.floats(0, math.pi))
def test_a_wrench_set_for_a_torque_delivers_it(torque, length, extension, angle):
    assume(length + extension * math.cos(angle) > 0.02)
    setting = ph.wrench_setting(torque, length, extension, angle)
    assert ph.torque_delivered(setting, length, extension, angle) == near(torque)


@given(st.floats(0.1, 0.4), st.floats(100.0, 1e5), st.floats(5e-3, 30e-3))
def test_torque_and_preload_are_each_others_inverse(factor, preload, diameter):
    torque = ph.tightening_torque(factor, preload, diameter)
    assert ph.preload_from_torque(factor, torque, diameter) == near(preload)


@given(st.floats(0.0, 5e-3), st.floats(0.5e-3, 3e-3), st.floats(0.0, 5e-3))
def test_the_washer_for_a_protrusion_gives_it(protrusion, fitted, wanted):
    thickness = ph.washer_for_protrusion(protrusion, fitted, wanted)
    assert ph.protrusion_with_washer(protrusion, fitted, thickness) == near(wanted, abs=1e-12)


def test_a_thinner_washer_lets_the_nozzle_stand_out_further():
    assert ph.protrusion_with_washer(2.0e-3, 2.0e-3, 1.5e-3) > 2.0e-3


@given(st.floats(1e-4, 5e-3), st.floats(0.6, 40.0))
def test_a_spray_goes_on_and_denser_gas_holds_it(time, gas):
    def reach(seconds, density):
        return ph.naber_siebers_penetration(seconds, 0.28e-3, 175e5, 830.0, density, 0.2)

    assert reach(time * 1.5, gas) > reach(time, gas)
    assert reach(time, gas * 1.5) < reach(time, gas)
    assert ph.hiroyasu_arai_penetration(
        time * 1.5, 0.28e-3, 175e5, 830.0, gas
    ) > ph.hiroyasu_arai_penetration(time, 0.28e-3, 175e5, 830.0, gas)


@given(st.floats(2.0, 8.0), st.floats(1.0, 40.0))
def test_denser_gas_opens_the_cone(ratio, gas):
    for angle in (
        lambda density: ph.reitz_bracco_cone_angle(ratio, 830.0, density),
        lambda density: ph.hiroyasu_cone_angle(ratio, 0.28, 830.0, density),
        lambda density: ph.naber_siebers_angle(830.0, density),
    ):
        assert angle(gas * 1.2) > angle(gas)


@given(st.floats(100e5, 400e5))
def test_more_pressure_breaks_the_spray_finer(pressure):
    fluid = (3.75e-6, 0.027, 830.0, 20.0)
    assert ph.elkotb_sauter_diameter(2 * pressure, *fluid) < ph.elkotb_sauter_diameter(
        pressure, *fluid
    )
