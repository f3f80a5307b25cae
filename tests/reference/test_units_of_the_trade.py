"""Units against a general units library and against what is printed."""

from __future__ import annotations

import pint
import pytest

from nozzlewright.measurement import PRESSURE_UNITS, TIME_UNITS, pressure_from_pa, pressure_to_pa

UNITS = pint.UnitRegistry()
SPELT = {"kgf/cm2": "kgf/cm**2", "at": "technical_atmosphere"}


@pytest.mark.parametrize("unit", PRESSURE_UNITS)
def test_each_unit_of_pressure_is_that_of_the_library(unit):
    """LIB: pint, after NIST SP 811."""
    library = UNITS.Quantity(1.0, SPELT.get(unit, unit)).to("Pa").magnitude
    assert PRESSURE_UNITS[unit] == pytest.approx(library, rel=1e-14)


@pytest.mark.parametrize("unit", TIME_UNITS)
def test_each_unit_of_time_is_that_of_the_library(unit):
    """LIB: pint."""
    library = UNITS.Quantity(1.0, unit).to("s").magnitude
    assert TIME_UNITS[unit] == pytest.approx(library, rel=1e-14)


@pytest.mark.parametrize(
    ("value", "unit", "pascal"),
    [
        pytest.param(1, "at", 98_066.5, id="DEF: NIST SP 811 App. B, technical atmosphere"),
        pytest.param(1, "kgf/cm2", 98_066.5, id="DEF: NIST SP 811 App. B, kgf/cm2"),
        pytest.param(1, "atm", 101_325.0, id="DEF: NIST SP 811 App. B, standard atmosphere"),
        pytest.param(1, "psi", 6894.757293168361, id="DEF: pound, inch and standard gravity"),
    ],
)
def test_a_unit_is_what_its_definition_says(value, unit, pascal):
    assert pressure_to_pa(value, unit) == pytest.approx(pascal, rel=1e-15)


@pytest.mark.parametrize(
    ("value", "unit", "shown", "other", "tolerance"),
    [
        pytest.param(
            3000, "psi", 20.7, "MPa", 1e-3, id="PUB: ASTM D5275, 9.1: 20.7 MPa (3000 psi)"
        ),
        pytest.param(50, "psi", 0.35, "MPa", 2e-2, id="PUB: ASTM D5275: 0.35 MPa (50 psi)"),
        pytest.param(1, "atm", 1.033227, "at", 1e-6, id="DEF: atm over at"),
        pytest.param(1, "bar", 1.019716, "at", 1e-6, id="DEF: bar over at"),
        pytest.param(175, "at", 171.616, "bar", 3e-6, id="DEF: 175 at"),
        pytest.param(175, "atm", 177.319, "bar", 3e-6, id="DEF: 175 atm"),
        pytest.param(175, "bar", 178.450, "at", 3e-6, id="DEF: 175 bar in at"),
        pytest.param(175, "bar", 2538.16, "psi", 1e-6, id="DEF: 175 bar in psi"),
        pytest.param(2500, "psi", 172.369, "bar", 1e-6, id="DEF: 2500 psi"),
        pytest.param(20, "MPa", 203.943, "at", 2e-6, id="DEF: 20 MPa in at"),
    ],
)
def test_a_pressure_reads_the_same_in_another_unit(value, unit, shown, other, tolerance):
    assert pressure_from_pa(pressure_to_pa(value, unit), other) == pytest.approx(
        shown, rel=tolerance
    )
