"""Typical values for test fluid against what is printed of diesel fuel and calibration fluid."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from nozzlewright.physics import (
    GAS_OIL_D341_SLOPE,
    GAS_OIL_DENSITY_15C,
    GAS_OIL_EXPANSION,
    GAS_OIL_HEAT_CAPACITY,
    GAS_OIL_MODULUS,
    GAS_OIL_MODULUS_PRESSURE_SLOPE,
    GAS_OIL_MODULUS_TEMPERATURE_SLOPE,
    adiabatic_ratio,
    d341_constants,
    d341_constants_from_slope,
    d341_viscosity,
    density_at,
    isothermal_bulk_modulus,
    sound_speed,
)


def near(expected, rel=1e-6, abs=0.0):  # noqa: A002
    """Return an approximate value without pytest's absolute 1e-12, which swallows small SI."""
    return pytest.approx(expected, rel=rel, abs=abs)


LB_PER_GALLON = 0.45359237 / 3.785411784e-3
PSI = 6894.757293168361


def _spe11118() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    path = Path(__file__).parent / "spe11118_diesel_density.csv"
    head, *rows = csv.reader(path.read_text(encoding="utf-8").splitlines())
    table = np.array(rows, dtype=float)
    kelvin = (table[:, 0] - 32.0) / 1.8 + 273.15
    return kelvin, np.array(head[1:], dtype=float) * PSI, table[:, 1:] * LB_PER_GALLON


def test_density_of_diesel_falls_as_spe_11118_prints():
    """PUB: SPE 11118 (1982), first column, 38 to 177 C; the typical expansion fits to 1.5 %."""
    kelvin, _, density = _spe11118()
    at_15 = density[0, 0] / density_at(float(kelvin[0]), 1.0, GAS_OIL_EXPANSION.value)
    ours = density_at(kelvin[:2], float(at_15), GAS_OIL_EXPANSION.value)
    np.testing.assert_allclose(ours, density[:2, 0], rtol=5e-3)
    slope = -np.log(density[1, 0] / density[0, 0]) / (kelvin[1] - kelvin[0])
    assert slope == near(GAS_OIL_EXPANSION.value, rel=0.10)


def test_stiffness_of_diesel_is_near_that_of_spe_11118():
    """PUB: SPE 11118 (1982), first step of pressure (1 to 207 bar) at 38 C.

    Its stiffness is 10 % higher and rises with pressure twice as fast as that of other liquids;
    the typical value must own up to that in its uncertainty.
    """
    kelvin, pascal, density = _spe11118()
    printed = (pascal[1] - pascal[0]) / np.log(density[:, 1] / density[:, 0])
    ours = isothermal_bulk_modulus(
        float(pascal[:2].mean()),
        float(kelvin[0]),
        GAS_OIL_MODULUS.value,
        293.15,
        GAS_OIL_MODULUS_PRESSURE_SLOPE.value,
        GAS_OIL_MODULUS_TEMPERATURE_SLOPE.value,
    )
    assert abs(ours - printed[0]) < 2 * GAS_OIL_MODULUS.standard_uncertainty
    assert ours == near(printed[0], rel=0.11)
    assert np.all(np.diff(printed) < 0.0)  # softer when warm, as ours


def test_typical_properties_agree_with_each_other():
    """ALT: sound speed of gas oil, 1360-1380 m/s at 20 C (from memory), from the constants."""
    rho = density_at(293.15, GAS_OIL_DENSITY_15C.value, GAS_OIL_EXPANSION.value)
    ratio = adiabatic_ratio(
        293.15, GAS_OIL_EXPANSION.value, GAS_OIL_MODULUS.value, rho, GAS_OIL_HEAT_CAPACITY.value
    )
    speed = sound_speed(ratio * GAS_OIL_MODULUS.value, rho)
    assert ratio == near(1.21, abs=0.02)
    assert 1350.0 < speed < 1400.0


@pytest.mark.parametrize(
    ("low", "high", "grade"),
    [
        pytest.param(2.45, 2.75, "basic", id="PUB: KS R ISO 4113:2012, basic, 40 C"),
        pytest.param(2.50, 2.55, "closer value", id="PUB: KS R ISO 4113:2012, CV, 40 C"),
    ],
)
def test_the_band_of_calibration_fluid_spans_a_known_band_at_20_c(low, high, grade):
    thin, thick = (
        d341_viscosity(
            293.15, *d341_constants_from_slope(313.15, nu * 1e-6, GAS_OIL_D341_SLOPE.value)
        )
        for nu in (low, high)
    )
    # A band of 12 % at 40 C must not shrink at 20 C, nor more than double.
    assert high / low < thick / thin < (high / low) ** 1.5
    assert 3.6e-6 < thin < thick < 4.4e-6


@pytest.mark.parametrize(
    ("low", "high"),
    [
        pytest.param(820.0, 830.0, id="PUB: KS R ISO 4113:2012, basic, density at 15 C"),
        pytest.param(823.5, 826.5, id="PUB: KS R ISO 4113:2012, CV, density at 15 C"),
    ],
)
def test_typical_density_lies_in_the_band_of_calibration_fluid(low, high):
    assert low <= GAS_OIL_DENSITY_15C.value <= high
    assert GAS_OIL_DENSITY_15C.standard_uncertainty >= (830.0 - 820.0) / 12**0.5


@pytest.mark.parametrize(
    ("nu_20", "nu_40", "slope"),
    [
        pytest.param(3.0325, 2.0994, 3.7313, id="LIB: thermo 0.6.1, n-tetradecane"),
        pytest.param(3.6703, 2.5491, 3.3999, id="LIB: thermo 0.6.1, n-pentadecane"),
        pytest.param(4.4996, 2.9345, 3.7108, id="LIB: thermo 0.6.1, n-hexadecane"),
    ],
)
def test_the_typical_slope_of_viscosity_lies_at_the_upper_end_of_single_alkanes(
    nu_20, nu_40, slope
):
    _, B = d341_constants(293.15, nu_20 * 1e-6, 313.15, nu_40 * 1e-6)
    assert near(slope, rel=1e-4) == B
    assert abs(B - GAS_OIL_D341_SLOPE.value) < 2.6 * GAS_OIL_D341_SLOPE.standard_uncertainty


@pytest.mark.parametrize("nu", [0.3, 0.5, 1.0, 2.0])
def test_the_short_form_of_d341_is_near_the_old_long_form(nu):
    """ALT: ASTM D341, form with C to H (from memory)."""
    C, D = np.exp(-1.14883 - 2.65868 * nu), np.exp(-0.0038138 - 12.5645 * nu)
    E, F = np.exp(5.46491 - 37.6289 * nu), np.exp(13.0458 - 74.6851 * nu)
    G, H = np.exp(37.4619 - 192.643 * nu), np.exp(80.4945 - 400.468 * nu)
    old = nu + 0.7 + C - D + E - F + G - H
    A, _ = d341_constants_from_slope(300.0, nu * 1e-6, 1e-12)
    assert near(old, rel=5e-3) == 10.0 ** (10.0**A)


@pytest.mark.parametrize("nu", [0.5, 1.0, 2.0, 2.6, 10.0, 100.0])
def test_the_standards_own_inverse_is_near_the_refined_one(nu):
    """PUB: ASTM D341, equation for nu from Z; coefficients as pages quoting it print them."""
    Z = nu + 0.7 + np.exp(-1.47 - 1.84 * nu - 0.51 * nu**2)
    y = Z - 0.7
    printed = y - np.exp(-0.7487 - 3.295 * y + 0.6119 * y**2 - 0.3193 * y**3)
    A, B = d341_constants_from_slope(300.0, nu * 1e-6, 3.9)
    ours = d341_viscosity(300.0, A, B) * 1e6
    assert ours == near(nu, rel=1e-12)
    assert ours == near(printed, rel=2e-4)
