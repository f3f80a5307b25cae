"""What is true at the pretend bench, worked out by quadrature rather than by stepping."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from nozzlewright.simulator.models import (
    BenchSetup,
    InjectorModel,
    barus_factor,
    gauss_legendre,
)


def compliance(
    setup: BenchSetup,
    injector: InjectorModel | None,
    pressure_pa: float,
    temperature_k: float,
    *,
    air_share: float = 0.0,
) -> float:
    """Isothermal compliance of oil, air and walls with the pump valve shut, [m^3/Pa].

    Without an injector: with the blank plug.
    """
    rig = setup.rig
    volume = rig.volume_m3 + (injector.volume_m3 if injector else rig.plug_volume_m3)
    absolute = pressure_pa + 101325.0
    air = air_share * 101325.0 / absolute**2
    return volume * (1.0 / setup.oil.bulk_modulus(pressure_pa, temperature_k) + air) + (
        rig.wall_compliance
    )


def viscosity_ratio(setup: BenchSetup, temperature_k: float) -> float:
    """Viscosity at the reference temperature over that at another, [1]."""
    reference = setup.oil.dynamic_viscosity(setup.reference_temperature_k)
    return reference / setup.oil.dynamic_viscosity(temperature_k)


def injector_conductance(
    setup: BenchSetup, injector: InjectorModel, pressure_pa: float, temperature_k: float
) -> float:
    """Guide and seat leak over pressure, [m^3/(s Pa)]."""
    seat = injector.seat_leak_conductance * viscosity_ratio(setup, temperature_k)
    seat *= barus_factor(pressure_pa, setup.oil.pressure_viscosity)
    return seat + injector.guide_conductance(pressure_pa, setup.oil, temperature_k)


def rig_conductance(
    setup: BenchSetup, conductance: float, pressure_pa: float, temperature_k: float
) -> float:
    """Leak of the rig over pressure at a temperature, [m^3/(s Pa)]."""
    warmth = viscosity_ratio(setup, temperature_k)
    return conductance * warmth * barus_factor(pressure_pa, setup.oil.pressure_viscosity)


def drop_time(
    setup: BenchSetup,
    injector: InjectorModel,
    from_pa: float,
    to_pa: float,
    temperature_k: float,
    *,
    with_rig_leak: bool = False,
    reference_compliance: float | None = None,
) -> float:
    r"""Time in which the pressure falls at constant temperature and without air, [s].

    .. math:: t = \int_{p_2}^{p_1} \frac{C(p, T)}{Q(p, T)} dp

    by Gauss-Legendre quadrature over ln p. A reference compliance stands for the rig's own at
    all pressures.
    """
    nodes, weights = gauss_legendre(32)
    low, high = math.log(to_pa), math.log(from_pa)
    total = 0.0
    for node, weight in zip(nodes, weights, strict=True):
        p = math.exp(0.5 * (high - low) * (node + 1.0) + low)
        g = injector_conductance(setup, injector, p, temperature_k)
        if with_rig_leak:
            g += rig_conductance(setup, setup.rig.leak_conductance, p, temperature_k)
        c = reference_compliance
        if c is None:
            c = compliance(setup, injector, p, temperature_k)
        total += float(weight) * c / g
    return 0.5 * (high - low) * total


def leak_polynomial(conductance: Callable[[float], float], up_to_pa: float) -> np.ndarray:
    """Six coefficients of Q/p as a polynomial in p, through Chebyshev points up to a pressure."""
    p = 0.5 * up_to_pa * (1.0 - np.cos(np.pi * (np.arange(12) + 0.5) / 12))
    values = np.array([conductance(float(x)) for x in p])
    fitted = np.polynomial.Polynomial.fit(p, values, 5, domain=[0.0, up_to_pa])
    coefficients = np.zeros(6)
    plain = fitted.convert().coef
    coefficients[: len(plain)] = plain
    return coefficients
