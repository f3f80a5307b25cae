"""The fluid model's shape against n-dodecane in CoolProp.

Equation of state of Lemmon and Huber (2004), viscosity of Huber, Laesecke and Perkins (2004).
n-dodecane is thinner and softer than test fluid: what is compared is how properties *change*.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from CoolProp import CoolProp

from nozzlewright.physics import (
    GAS_OIL_MODULUS_PRESSURE_SLOPE,
    GAS_OIL_MODULUS_TEMPERATURE_SLOPE,
    GAS_OIL_PRESSURE_VISCOSITY,
    adiabatic_ratio,
    adiabatic_temperature_rise,
    barus_factor,
    cooling_pressure_loss,
    d341_constants,
    d341_viscosity,
    density_at,
    fit_d341,
    isothermal_bulk_modulus,
    roelands_factor,
    sound_speed,
)


def near(expected, rel=1e-6, abs=0.0):  # noqa: A002
    """Return an approximate value without pytest's absolute 1e-12, which swallows small SI."""
    return pytest.approx(expected, rel=rel, abs=abs)


ATM = 101_325.0


def _of(name: str, celsius: float, bar: float) -> float:
    return CoolProp.PropsSI(name, "T", celsius + 273.15, "P", bar * 1e5, "n-Dodecane")


def _modulus(celsius: float, bar: float) -> float:
    return 1.0 / _of("isothermal_compressibility", celsius, bar)


def _nu(celsius: float) -> float:
    return _of("V", celsius, ATM / 1e5) / _of("D", celsius, ATM / 1e5)


@pytest.mark.parametrize(
    ("celsius", "bar", "rho", "mu", "c", "modulus"),
    [
        (10, 1, 756.869, 1.81464, 1342.62, 1110.65),
        (20, 150, 759.465, 1.78419, 1386.88, 1205.54),
        (40, 300, 755.576, 1.48586, 1393.29, 1232.19),
        (60, 1, 719.863, 0.800208, 1146.63, 789.814),
    ],
)
def test_the_oracle_is_the_one_that_the_constants_were_taken_from(
    celsius, bar, rho, mu, c, modulus
):
    """LIB: CoolProp 8.0.0; a change here means that the constants want a second look."""
    assert _of("D", celsius, bar) == near(rho, rel=2e-5)
    assert _of("V", celsius, bar) * 1e3 == near(mu, rel=2e-5)
    assert _of("A", celsius, bar) == near(c, rel=2e-5)
    assert _modulus(celsius, bar) / 1e6 == near(modulus, rel=2e-5)


@pytest.mark.parametrize("celsius", [0, 10, 20, 30, 40, 50])
@pytest.mark.parametrize("bar", [1, 50, 150, 300])
def test_stiffness_follows_temperature_and_pressure(celsius, bar):
    """LIB: the plane with typical slopes, tied to one point, within 1.5 %."""
    plane = isothermal_bulk_modulus(
        bar * 1e5,
        celsius + 273.15,
        _modulus(20, 1),
        293.15,
        GAS_OIL_MODULUS_PRESSURE_SLOPE.value,
        GAS_OIL_MODULUS_TEMPERATURE_SLOPE.value,
    )
    assert plane == near(_modulus(celsius, bar), rel=0.015)


def test_typical_slopes_of_stiffness_hold_for_n_dodecane():
    per_pressure = (_modulus(20, 300) - _modulus(20, 1)) / 299e5
    per_kelvin = (_modulus(40, 1) - _modulus(10, 1)) / 30
    slope, change = GAS_OIL_MODULUS_PRESSURE_SLOPE, GAS_OIL_MODULUS_TEMPERATURE_SLOPE
    assert abs(per_pressure - slope.value) < slope.standard_uncertainty
    assert abs(per_kelvin - change.value) < change.standard_uncertainty


@pytest.mark.parametrize("celsius", [10, 20, 40, 60])
def test_the_fluid_thickens_with_pressure_as_barus_and_roelands_say(celsius):
    thicker = _of("V", celsius, 151) / _of("V", celsius, 1)
    alpha = GAS_OIL_PRESSURE_VISCOSITY
    low = barus_factor(150e5, alpha.value - alpha.standard_uncertainty)
    high = barus_factor(150e5, alpha.value + alpha.standard_uncertainty)
    assert low < thicker < high
    own = math.log(thicker) / 150e5
    half_way = _of("V", celsius, 76) / _of("V", celsius, 1)
    assert barus_factor(75e5, own) == near(half_way, rel=4e-3)
    mu = _of("V", celsius, 1)
    assert roelands_factor(75e5, mu, own) == near(half_way, rel=6e-3)


@pytest.mark.parametrize("celsius", [25, 30, 40, 50])
def test_a_line_through_two_viscosities_gives_those_between(celsius):
    A, B = d341_constants(293.15, _nu(20), 333.15, _nu(60))
    assert d341_viscosity(celsius + 273.15, A, B) == near(_nu(celsius), rel=1.5e-3)
    assert near(3.8646, rel=1e-3) == B


def test_a_line_through_many_viscosities_fits_them_all():
    celsius = np.arange(10.0, 65.0, 5.0)
    nu = np.array([_nu(t) for t in celsius])
    fit = fit_d341(celsius + 273.15, nu)
    np.testing.assert_allclose(d341_viscosity(celsius + 273.15, fit.A, fit.B), nu, rtol=2.5e-3)
    assert 0.0 < fit.relative_misfit < 2.5e-3


@pytest.mark.parametrize("celsius", [0, 10, 30, 40, 60])
def test_density_falls_with_temperature(celsius):
    beta = _of("isobaric_expansion_coefficient", 25, ATM / 1e5)
    rho = density_at(celsius + 273.15, _of("D", 15, ATM / 1e5), beta)
    assert rho == near(_of("D", celsius, ATM / 1e5), rel=1.5e-3)


@pytest.mark.parametrize("bar", [1, 150, 300])
def test_sound_and_squeezing_differ_by_the_adiabatic_ratio(bar):
    ratio = adiabatic_ratio(
        293.15,
        _of("isobaric_expansion_coefficient", 20, bar),
        _modulus(20, bar),
        _of("D", 20, bar),
        _of("C", 20, bar),
    )
    adiabatic = _of("D", 20, bar) * _of("A", 20, bar) ** 2
    assert ratio * _modulus(20, bar) == near(adiabatic, rel=1e-6)
    assert sound_speed(adiabatic, _of("D", 20, bar)) == near(_of("A", 20, bar), rel=1e-12)


def test_pumping_up_fast_heats_the_oil_and_cooling_takes_the_pressure_back():
    """LIB: 1 to 200 bar from 20 C: + 3.30 K; then 163.8 bar at fixed volume, without a leak."""
    entropy = _of("S", 20, 1)
    hot = CoolProp.PropsSI("T", "P", 200e5, "S", entropy, "n-Dodecane")
    rise = adiabatic_temperature_rise(
        1e5,
        200e5,
        293.15,
        _of("isobaric_expansion_coefficient", 20, 100),
        _of("D", 20, 100),
        _of("C", 20, 100),
    )
    assert rise == near(hot - 293.15, rel=0.01)
    from_start = adiabatic_temperature_rise(
        1e5, 200e5, 293.15, _of("isobaric_expansion_coefficient", 20, 1), _of("D", 20, 1),
        _of("C", 20, 1),
    )  # fmt: skip
    assert 1.0 < from_start / (hot - 293.15) < 1.07

    density = CoolProp.PropsSI("D", "P", 200e5, "S", entropy, "n-Dodecane")
    cold = CoolProp.PropsSI("P", "T", 293.15, "D", density, "n-Dodecane")
    loss = cooling_pressure_loss(
        rise, _of("isobaric_expansion_coefficient", 21.6, 180), _modulus(21.6, 180)
    )
    assert loss == near(200e5 - cold, rel=0.02)
    assert cold / 1e5 == near(163.8, abs=0.1)


def test_viscosity_alone_does_not_carry_a_drop_time_from_cold_to_warm():
    """A cold fluid is stiffer too: what is left out is worth more than a tenth."""
    left_out = _modulus(40, 125) / _modulus(8, 125)
    ours = isothermal_bulk_modulus(
        125e5, 313.15, 1.3e9, 293.15, 10.9, -6.8e6
    ) / isothermal_bulk_modulus(125e5, 281.15, 1.3e9, 293.15, 10.9, -6.8e6)
    assert left_out == near(0.83, abs=0.01)
    assert ours == near(0.86, abs=0.01)
