"""Weights on a piston as a reference, and how well their pressure is known."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from nozzlewright.analysis.dead_weight import (
    DeadWeightTester,
    local_gravity,
    reference_pressure,
)
from nozzlewright.measurement import Cause, Quantity, covariance, exact
from nozzlewright.report.budget import budget_of

G0 = 9.80665
BAR = 1e5


def known(value, u, unit, cause="stated"):
    return Quantity(value, unit, {Cause(cause, "tester 1"): u})


def stand(**changes):
    plain = {
        "area": known(1e-5, 1e-9, "m^2", "area of the piston"),
        "gravity": exact(G0, "m/s^2"),
        "air_density": exact(0.0, "kg/m^3"),
        "weights_density": exact(7900.0, "kg/m^3"),
    }
    return DeadWeightTester(**{**plain, **changes})


def test_twenty_kilograms_on_a_tenth_of_a_square_centimetre():
    """DEF: kgf/cm2 = 98 066.5 Pa, so 200 of it = 196.133 bar exactly."""
    found = reference_pressure(stand(), 20.0)

    assert found.value / BAR == pytest.approx(196.133, rel=1e-12)


@pytest.mark.parametrize(
    ("latitude", "gravity"),
    [
        pytest.param(0.0, 9.7803267715, id="GRS80, equator"),
        pytest.param(45.0, 9.806199203, id="GRS80, 45 degrees"),
        pytest.param(90.0, 9.8321863685, id="GRS80, pole"),
        pytest.param(-45.0, 9.806199203, id="GRS80, 45 degrees south"),
    ],
)
def test_normal_gravity(latitude, gravity):
    """PUB: Moritz, Geodetic Reference System 1980 (from memory)."""
    assert local_gravity(latitude).value == pytest.approx(gravity, abs=2e-9)


def test_gravity_at_the_equator_is_a_quarter_of_a_hundredth_less_and_less_on_a_mountain():
    assert local_gravity(0.0).value / G0 - 1.0 == pytest.approx(-0.0027, abs=5e-5)
    assert local_gravity(47.0, 1000.0).value == pytest.approx(
        local_gravity(47.0).value - 3.086e-3, abs=1e-9
    )
    with pytest.raises(ValueError, match="latitude"):
        local_gravity(91.0)


def test_the_air_bears_a_share_of_the_weights():
    """DEF: 1.2 / 7900 = 0.0152 %."""
    in_air = reference_pressure(stand(air_density=exact(1.2, "kg/m^3")), 20.0).value

    assert in_air / reference_pressure(stand(), 20.0).value - 1.0 == pytest.approx(
        -0.00015190, abs=1e-8
    )


def test_a_column_of_oil_counts():
    # rho g h = 830 * 9.80665 * 0.25
    higher = stand(head=exact(0.25, "m"), fluid_density=830.0)
    assert reference_pressure(higher, 20.0).value - 196.133 * BAR == pytest.approx(
        830 * G0 * 0.25, abs=1e-3
    )


@given(
    st.floats(0.5, 60.0),
    st.floats(1e-6, 1e-3),
    st.floats(1e-6, 1e-3),
    st.floats(1e-5, 0.01),
    st.floats(0.1, 5.0),
)
def test_the_budget_is_that_of_another_library(mass, area_u, mass_u, head_u, warm_u):
    """ALT: the uncertainties package, first order, on the formula written out."""
    expansion = 22e-6
    found = reference_pressure(
        stand(
            area=known(1e-5, area_u * 1e-5, "m^2", "area"),
            gravity=known(9.81, 1e-4, "m/s^2", "gravity"),
            weights_relative_u=mass_u,
            air_density=known(1.2, 0.05, "kg/m^3", "air"),
            weights_density=known(7900.0, 70.0, "kg/m^3", "steel"),
            temperature=known(296.15, warm_u, "K", "warm"),
            expansion_per_k=expansion,
            head=known(0.1, head_u, "m", "head"),
            fluid_density=830.0,
        ),
        mass,
    )
    m, area = ufloat(mass, mass * mass_u), ufloat(1e-5, area_u * 1e-5)
    g, air, steel = ufloat(9.81, 1e-4), ufloat(1.2, 0.05), ufloat(7900.0, 70.0)
    t, h = ufloat(296.15, warm_u), ufloat(0.1, head_u)
    p = m * g * (1 - air / steel) / (area * (1 + expansion * (t - 293.15))) + 830.0 * g * h

    assert found.value == pytest.approx(p.nominal_value, rel=1e-9)
    assert found.standard_uncertainty == pytest.approx(p.std_dev, rel=2e-4)


def test_the_errors_of_piston_and_gravity_are_one_for_all_weights():
    one = stand(weights_relative_u=1e-5, gravity=local_gravity(52.0))
    low, high = reference_pressure(one, 5.0), reference_pressure(one, 30.0)
    together = covariance(low, high) / (low.standard_uncertainty * high.standard_uncertainty)

    assert together == pytest.approx(1.0, abs=1e-6)


def test_the_budget_names_what_matters_most():
    found = reference_pressure(stand(gravity=local_gravity(52.0), weights_relative_u=1e-5), 20.0)
    budget = budget_of(found)

    assert [row.cause for row in budget.rows][:2] == ["area of the piston", "local gravity"]
    assert math.fsum(row.share for row in budget.rows) == pytest.approx(1.0)
