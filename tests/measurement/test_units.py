"""Units as people write them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nozzlewright.errors import UnitFault
from nozzlewright.measurement import (
    PRESSURE_UNITS,
    celsius,
    kelvin,
    pressure_from_pa,
    pressure_to_pa,
    pressure_unit,
)


@given(st.floats(0.0, 1e4), st.sampled_from(sorted(PRESSURE_UNITS)))
def test_a_pressure_goes_to_si_and_back(value, unit):
    assert pressure_from_pa(pressure_to_pa(value, unit), unit) == pytest.approx(value, rel=1e-14)


@given(st.floats(-50.0, 200.0))
def test_a_temperature_goes_to_kelvin_and_back(value):
    assert celsius(kelvin(value)) == pytest.approx(value, abs=1e-10)


@pytest.mark.parametrize(
    ("spelling", "unit"),
    [
        ("bar", "bar"), ("BAR", "bar"), ("bar(g)", "bar"), (" psi ", "psi"), ("PSIG", "psi"),
        ("kg/cm²", "kgf/cm2"), ("kgf / cm2", "kgf/cm2"), ("kp/cm2", "kgf/cm2"), ("at", "at"),
        ("ATM", "atm"), ("MPa", "MPa"), ("mpa", "MPa"), ("kPa", "kPa"), ("KPA", "kPa"),
        ("Pa", "Pa"), ("mbar", "mbar"), ("hPa", "hPa"),
    ],
)  # fmt: skip
def test_a_unit_is_known_however_it_is_spelt(spelling, unit):
    assert pressure_unit(spelling) == unit


@pytest.mark.parametrize("spelling", ["kg", "", "barn", "ata", "Nm", "°C"])
def test_an_unknown_or_ambiguous_unit_is_refused_and_the_known_ones_are_named(spelling):
    with pytest.raises(UnitFault, match="use one of: Pa"):
        pressure_to_pa(1.0, spelling)


def test_the_two_atmospheres_are_told_apart():
    technical, standard = pressure_to_pa(175, "at"), pressure_to_pa(175, "atm")
    assert (standard - technical) / 1e5 == pytest.approx(5.70, abs=0.01)
