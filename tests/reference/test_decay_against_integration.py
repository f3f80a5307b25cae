"""Pressure decay against an independent integrator (scipy solve_ivp)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from nozzlewright.physics import (
    drop_time,
    drop_time_barus,
    drop_time_constant,
    drop_time_stiffening,
    guide_conductance,
    guide_leakage,
    leak_factor,
    modulus_with_free_air,
    pressure_barus,
    pressure_during_hold,
    time_between,
)


def near(expected, rel=1e-6, abs=0.0):  # noqa: A002
    """Return an approximate value without pytest's absolute 1e-12, which swallows small SI."""
    return pytest.approx(expected, rel=rel, abs=abs)


AT = 98_066.5
START, END = 150 * AT, 100 * AT
VOLUME, MODULUS, ALPHA = 20e-6, 1.4e9, 12e-9
CONDUCTANCE = guide_conductance(2e-6, 6e-3, 20e-3, 3.1e-3)
TAU = VOLUME / MODULUS / CONDUCTANCE


def _time_by_integration(leakage, compliance, start=START, end=END) -> float:
    def reaches_end(_t, y):
        return y[0] - end

    reaches_end.terminal = True
    solution = solve_ivp(
        lambda _t, y: [-leakage(y[0]) / compliance(y[0])],
        (0, 5000), [start], events=reaches_end, rtol=1e-11, atol=1e-3, method="DOP853",
    )  # fmt: skip
    return float(solution.t_events[0][0])


def _barus(p):
    return CONDUCTANCE * -np.expm1(-ALPHA * p) / ALPHA


def test_constant_viscosity_and_stiffness():
    exact = _time_by_integration(lambda p: CONDUCTANCE * p, lambda _p: VOLUME / MODULUS)
    assert drop_time_constant(START, END, TAU) == near(exact, rel=1e-8)
    assert drop_time_constant(START, END, TAU) == near(28.5784, rel=1e-5)


def test_fluid_that_thickens_with_pressure():
    exact = _time_by_integration(_barus, lambda _p: VOLUME / MODULUS)
    assert drop_time_barus(START, END, TAU, ALPHA) == near(exact, rel=1e-8)
    assert drop_time_barus(START, END, TAU, ALPHA) == near(30.7028, rel=1e-5)
    general = drop_time(START, END, CONDUCTANCE, lambda _p: VOLUME / MODULUS, ALPHA)
    assert general == near(exact, rel=1e-8)


def test_oil_that_stiffens_with_pressure():
    exact = _time_by_integration(lambda p: CONDUCTANCE * p, lambda p: VOLUME / (1.3e9 + 10.8 * p))
    tau = VOLUME / 1.3e9 / CONDUCTANCE
    assert drop_time_stiffening(START, END, tau, 1.3e9, 10.8) == near(exact, rel=1e-8)
    general = drop_time(START, END, CONDUCTANCE, lambda p: VOLUME / (1.3e9 + 10.8 * p))
    assert general == near(exact, rel=1e-8)
    assert general == near(27.9702, rel=1e-5)


def test_thickening_growing_gap_stiffening_and_air_together():
    growth = 3.5e-14 / 2e-6

    def compliance(p):
        oil = 1.25e9 + 10.9 * p
        return VOLUME / modulus_with_free_air(oil, p + 101_325.0, 0.01) + 2e-15

    exact = _time_by_integration(
        lambda p: CONDUCTANCE * p * leak_factor(float(p), ALPHA, growth),
        lambda p: compliance(float(p)),
    )
    assert drop_time(START, END, CONDUCTANCE, compliance, ALPHA, growth) == near(exact, rel=1e-8)


def test_leak_factor_is_the_leak_of_the_guide_over_its_low_pressure_limit():
    leak = guide_leakage(
        200e5, 2e-6, 6e-3, 20e-3, 3.1e-3, growth_m_per_pa=3.5e-14, alpha_per_pa=ALPHA
    )
    factor = leak_factor(200e5, ALPHA, 3.5e-14 / 2e-6)
    assert CONDUCTANCE * 200e5 * factor == near(leak, rel=1e-13)


def test_pressure_some_seconds_after_shut_off():
    exact = solve_ivp(
        lambda _t, y: [-_barus(y[0]) * MODULUS / VOLUME], (0, 6), [START],
        rtol=1e-11, atol=1e-3, method="DOP853",
    ).y[0, -1]  # fmt: skip
    assert pressure_barus(6.0, START, TAU, ALPHA) == near(exact, rel=1e-9)
    assert pressure_barus(6.0, START, TAU, ALPHA) / 1e5 == near(136.022, abs=5e-4)


def test_the_whole_hold_with_a_leaking_rig_beside_the_guide():
    times = np.linspace(0.0, 400.0, 41)

    def leakage(p):
        return _barus(p) + 0.3 * CONDUCTANCE * p

    def compliance(p):
        return VOLUME / (1.3e9 + 10.8 * p)

    solution = solve_ivp(
        lambda _t, y: [-leakage(y[0]) / compliance(y[0])], (0, 400), [START], t_eval=times,
        rtol=1e-12, atol=1e-8, method="DOP853",
    )  # fmt: skip
    got = pressure_during_hold(times, START, leakage, compliance)
    np.testing.assert_allclose(got, solution.y[0], rtol=1e-9)
    back = time_between(START, got[1:], leakage, compliance)
    np.testing.assert_allclose(back, times[1:], rtol=1e-9)


@pytest.mark.parametrize(
    ("volume_cm3", "clearance_um", "leak_mm3_s", "seconds_of_3_um"),
    [(10, 5.47, 7.0, 36), (20, 6.89, 14.0, 73), (40, 8.68, 28.0, 146), (60, 9.94, 42.0, 218)],
)
def test_regression_the_six_second_rule_means_another_clearance_on_each_rig(
    volume_cm3, clearance_um, leak_mm3_s, seconds_of_3_um
):
    """The rule is printed in TM 55-1930-209-14&P-9-4; what it means for a rig is worked out."""
    conductance = guide_conductance(0.5e-6 * clearance_um, 6e-3, 20e-3, 3.1e-3)
    compliance = volume_cm3 * 1e-6 / MODULUS
    assert drop_time_barus(START, END, compliance / conductance, ALPHA) == near(6.0, rel=3e-3)
    leak = guide_leakage(START, 0.5e-6 * clearance_um, 6e-3, 20e-3, 3.1e-3, alpha_per_pa=ALPHA)
    assert leak * 1e9 == near(leak_mm3_s, rel=6e-3)
    tight = guide_conductance(1.5e-6, 6e-3, 20e-3, 3.1e-3)
    assert drop_time_barus(START, END, compliance / tight, ALPHA) == near(
        seconds_of_3_um, rel=1.5e-2
    )
