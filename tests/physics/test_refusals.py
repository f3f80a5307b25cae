"""A formula outside its range says what is wrong, and never returns a number."""

from __future__ import annotations

import math

import numpy as np
import pytest

from nozzlewright import physics as ph

GUIDE = {"diameter_m": 6e-3, "length_m": 20e-3, "viscosity_pa_s": 3e-3}


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: ph.d341_constants(293.15, 4e-6, 293.15, 2.6e-6), "two temperatures"),
        (lambda: ph.d341_constants(293.15, 4.0, 313.15, 0.1e-6), "0.21 mm2/s"),
        (lambda: ph.d341_constants(-5.0, 4e-6, 313.15, 2.6e-6), "T1_k = -5.0"),
        (lambda: ph.d341_constants(293.15, math.nan, 313.15, 2.6e-6), "viscosity"),
        (lambda: ph.d341_constants_from_slope(293.15, 4e-6, -1.0), "B = -1.0"),
        (lambda: ph.d341_viscosity(1000.0, 9.525, 3.9308), "0.21 mm2/s"),
        (lambda: ph.d341_viscosity(1.0, 9.525, 3.9308), "2e7 mm2/s"),
        (lambda: ph.fit_d341([293.15], [4e-6]), "two temperatures or more"),
        (lambda: ph.fit_d341([293.15, 293.15], [4e-6, 4e-6]), "two temperatures or more"),
        (lambda: ph.fit_d341([293.15, 313.15], [4e-6]), "as many"),
        (lambda: ph.roelands_factor(1e7, 5e-5, 12e-9), "63 uPa s"),
        (lambda: ph.isothermal_bulk_modulus(0.0, 600.0, 1.3e9, 293.15, 10.9, -6.8e6), "modulus"),
        (lambda: ph.adiabatic_ratio(300.0, 1.0, 1e9, 800.0, 2000.0), "contradict"),
        (lambda: ph.modulus_with_free_air(1.3e9, 0.0, 0.01), "absolute_pressure_pa"),
        (lambda: ph.rig_compliance(20e-6, 1.3e9, -1e-15), "wall_compliance"),
        (lambda: ph.pipe_wall_compliance(6e-3, 2e-3), "above the bore"),
        (lambda: ph.volume_let_in(20e-6, 0.0, 1e7, 1.3e9, 0.0), "pressure_slope"),
        (lambda: ph.eccentricity_factor(1.2), "between 0 and 1"),
        (lambda: ph.eccentricity_factor(np.array([0.5, -0.1])), "between 0 and 1"),
        (lambda: ph.thin_gap_leakage(1e7, -1e-6, **GUIDE), "radial_gap_m"),
        (lambda: ph.guide_conductance(1e-6, 6e-3, 0.0, 3e-3), "length_m"),
        (lambda: ph.concentric_annulus_leakage(1e7, 0.0, 6e-3, 20e-3, 3e-3), "radial_gap_m"),
        (lambda: ph.gap_growth_per_pa(6e-3, 5e-3), "above the bore"),
        (lambda: ph.guide_leakage(1e7, 1e-6, **GUIDE, alpha_per_pa=-1e-9), "alpha_per_pa"),
        (lambda: ph.clearance_from_conductance(-1e-16, **GUIDE), "conductance"),
        (lambda: ph.clearance_from_leakage(math.inf, 1e7, **GUIDE), "leakage_m3_s"),
        (lambda: ph.clearance_from_leakage(1e-9, 0.0, **GUIDE), "pressure_pa"),
        (lambda: ph.drop_time_constant(1e7, 0.0, 70.0), "pressure_to_pa"),
        (lambda: ph.drop_time_barus(1e7, 5e6, -1.0, 0.0), "time_constant_s"),
        (lambda: ph.drop_time_stiffening(1e7, 5e6, 70.0, 0.0, 10.0), "modulus_at_zero_pa"),
        (lambda: ph.pressure_barus(1.0, 1e7, 70.0, -1e-9), "alpha_per_pa"),
        (lambda: ph.drop_time(1e7, 5e6, 0.0, np.ones_like), "conductance"),
        (lambda: ph.time_between(1e7, 5e6, np.zeros_like, np.ones_like), "leakage_m3_s"),
        (lambda: ph.time_between(1e7, 5e6, np.ones_like, np.zeros_like), "compliance"),
        (lambda: ph.pressure_during_hold([-1.0], 1e7, np.ones_like, np.ones_like), "time_s"),
        (lambda: ph.pressure_during_hold([2e7], 1e7, np.ones_like, np.ones_like), "to nothing"),
        (lambda: ph.injector_conductance(1e-14, 0.0, 1e-14, 50.0), "time constant"),
        (lambda: ph.conductance_at_viscosity(1e-16, 0.0, 1.0), "viscosity_pa_s"),
        (lambda: ph.lifting_area(2e-3, 3e-3), "wider than the seat"),
        (lambda: ph.opening_pressure(400.0, 6e-3, 2.6e-3, friction_n=-1.0), "friction_n"),
        (lambda: ph.closing_pressure(400.0, 0.0), "guide_diameter_m"),
        (lambda: ph.seat_diameter_from_pressures(1e7, 2e7, 6e-3), "between zero"),
        (lambda: ph.curtain_area(1e-4, 2e-3, 4.0), "between 0 and pi"),
        (lambda: ph.curtain_area(1e-4, 2e-3, 1.0, "tip"), "'tip'"),
        (lambda: ph.spring_rate(79e9, 0.0, 8e-3, 6.0), "wire_diameter_m"),
        (lambda: ph.jet_velocity(-1.0, 830.0), "pressure_drop_pa"),
        (lambda: ph.series_area(), "at least one"),
        (lambda: ph.series_area(1e-6, -1e-6), "effective_area"),
        (lambda: ph.cavitation_discharge_coefficient(0.61, 1e5, 2e5), "must fall"),
        (lambda: ph.open_time(1e-14, 175e5, 142e5, 40e-6, 35e-6), "nozzle_less_pump"),
        (lambda: ph.chatter_frequency(1e-14, 142e5, 175e5, 1e-6, 35e-6), "swing_pa"),
        (lambda: ph.needle_spring_frequency(2e5, 0.0), "moving_mass_kg"),
        (lambda: ph.en837_permissible_error(1.5, 400e5), "1.5"),
        (lambda: ph.en837_permissible_error(1.0, -1.0), "span_pa"),
        (lambda: ph.dead_weight_pressure(0.0, 1e-5), "mass_kg"),
        (lambda: ph.wrench_setting(50.0, 0.3, -0.3), "back to the hand"),
        (lambda: ph.tightening_torque(0.0, 1e3, 1e-2), "nut_factor"),
        (lambda: ph.flatness_from_bands(-1.0, 5e-7), "bands"),
        (lambda: ph.hiroyasu_arai_penetration(-1e-3, 3e-4, 1e7, 830.0, 1.2), "time_s"),
        (lambda: ph.naber_siebers_penetration(1e-3, 3e-4, 1e7, 830.0, 1.2, 0.0), "spray_angle"),
    ],
)  # fmt: skip
def test_a_formula_refuses_what_it_was_not_made_for(call, says):
    with pytest.raises(ValueError, match=says):
        call()


def test_all_faults_of_one_call_are_named_together():
    with pytest.raises(ValueError, match=r"diameter_m = -0\.006.*length_m = 0"):
        ph.guide_conductance(1e-6, -6e-3, 0.0, 3e-3)
