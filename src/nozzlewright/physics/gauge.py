"""Pressure gauges and the standards that they are checked against."""

from __future__ import annotations

import numpy as np

from nozzlewright.physics._arguments import F, require_not_negative, require_positive

EN837_CLASSES = (0.1, 0.25, 0.6, 1.0, 1.6, 2.5, 4.0)
"""Accuracy classes of EN 837-1: permissible error in per cent of span."""
EN837_REFERENCE_TEMPERATURE_K = 293.15
"""Temperature at which the permissible error stands, [K]."""
EN837_TEMPERATURE_EFFECT_PER_K = 0.0004
"""Further error for each kelvin away from 20 C, as a share of span, [1/K] (from memory)."""

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard gravity, [m/s^2]; exact by definition."""


def en837_permissible_error(accuracy_class: float, span_pa: F) -> F:
    r"""Greatest error that a gauge of a class may have at 20 C.

    .. math:: \Delta p = \pm K/100\;p_{span}

    Parameters
    ----------
    accuracy_class : float
        Class :math:`K`, one of 0.1, 0.25, 0.6, 1, 1.6, 2.5, 4, [%]
    span_pa : float or ndarray
        Span of the scale, [Pa]

    Returns
    -------
    float or ndarray
        Half-width of the band, [Pa]

    Raises
    ------
    ValueError
        If the class is not one of the standard or the span is not positive.

    Notes
    -----
    Of *span*, not of the reading: class 1 on 0-400 bar is 4 bar anywhere on the dial.

    References
    ----------
    .. [1] EN 837-1:1996, Bourdon tube pressure gauges.

    Examples
    --------
    >>> en837_permissible_error(1.6, 400e5) / 1e5
    6.4
    """
    if not any(abs(accuracy_class - known) < 1e-9 for known in EN837_CLASSES):
        known = ", ".join(f"{k:g}" for k in EN837_CLASSES)
        raise ValueError(f"EN 837-1 knows the classes {known}, not {accuracy_class}")
    require_positive(span_pa=span_pa)
    return span_pa * (accuracy_class / 100.0)


def en837_temperature_effect(
    span_pa: float,
    temperature_k: F,
    reference_temperature_k: float = EN837_REFERENCE_TEMPERATURE_K,
) -> F:
    r"""Further error that a gauge may have away from its reference temperature.

    .. math:: \Delta p = \pm 0.04\,\%\,/\mathrm K\;|T - T_0|\;p_{span}

    Parameters
    ----------
    span_pa : float
        Span of the scale, [Pa]
    temperature_k : float or ndarray
        Temperature of the gauge, [K]
    reference_temperature_k : float
        Reference temperature, [K]

    Returns
    -------
    float or ndarray
        Half-width of the band, [Pa]

    References
    ----------
    .. [1] EN 837-1:1996 (coefficient from memory).
    """
    result: F = (
        EN837_TEMPERATURE_EFFECT_PER_K * span_pa * np.abs(temperature_k - reference_temperature_k)
    )
    return result


def normal_gravity(latitude_rad: F, height_m: float = 0.0) -> F:
    r"""Gravity at a latitude and height.

    .. math:: \gamma = 9.7803267715\frac{1 + 0.001931851353\sin^2\varphi}
              {\sqrt{1 - 0.0066943800229\sin^2\varphi}} - 3.086\cdot10^{-6} h

    Parameters
    ----------
    latitude_rad : float or ndarray
        Geodetic latitude, [rad]
    height_m : float
        Height above sea level, [m]

    Returns
    -------
    float or ndarray
        Gravity, [m/s^2]

    Notes
    -----
    Local anomalies stay below about 1e-4 of it.

    References
    ----------
    .. [1] H. Moritz, Geodetic Reference System 1980 (from memory); free-air gradient from memory.
    """
    sine_squared = np.sin(latitude_rad) ** 2
    at_sea: F = (
        9.7803267715
        * (1.0 + 0.001931851353 * sine_squared)
        / np.sqrt(1.0 - 0.0066943800229 * sine_squared)
    )
    return at_sea - 3.086e-6 * height_m


def dead_weight_pressure(
    mass_kg: F,
    piston_area_m2: float,
    *,
    gravity_m_s2: float = STANDARD_GRAVITY_M_S2,
    air_density_kg_m3: float = 1.2,
    mass_density_kg_m3: float = 7900.0,
    distortion_per_pa: float = 0.0,
    expansion_per_k: float = 0.0,
    temperature_k: float = 293.15,
    reference_temperature_k: float = 293.15,
    fluid_density_kg_m3: float = 0.0,
    head_m: float = 0.0,
) -> F:
    r"""Pressure of a dead-weight tester at the level of the gauge.

    .. math:: p = \frac{m g (1 - \rho_{air}/\rho_m)}{A_0(1 + \lambda p)[1 + a(T - T_0)]}
              + \rho_f g \Delta h

    Parameters
    ----------
    mass_kg : float or ndarray
        Mass of weights and piston, [kg]
    piston_area_m2 : float
        Effective area at zero pressure and reference temperature :math:`A_0`, [m^2]
    gravity_m_s2 : float
        Local gravity, [m/s^2]
    air_density_kg_m3 : float
        Density of the air; 0 leaves buoyancy out, [kg/m^3]
    mass_density_kg_m3 : float
        Density of the weights, [kg/m^3]
    distortion_per_pa : float
        Growth of the area with pressure :math:`\lambda`, [1/Pa]
    expansion_per_k : float
        Sum of the linear expansions of piston and cylinder :math:`a`, [1/K]
    temperature_k, reference_temperature_k : float
        Temperature of the piston and that of its certificate, [K]
    fluid_density_kg_m3 : float
        Density of the fluid in the line, [kg/m^3]
    head_m : float
        Height of the piston's foot above the gauge :math:`\Delta h`, [m]

    Returns
    -------
    float or ndarray
        Gauge pressure, [Pa]

    Raises
    ------
    ValueError
        If mass or area is not positive.

    References
    ----------
    .. [1] Balance of forces on the piston; common practice of pressure laboratories.
    """
    require_positive(mass_kg=mass_kg, piston_area_m2=piston_area_m2,
                     gravity_m_s2=gravity_m_s2, mass_density_kg_m3=mass_density_kg_m3)  # fmt: skip
    require_not_negative(air_density_kg_m3=air_density_kg_m3, distortion_per_pa=distortion_per_pa)
    warmed = piston_area_m2 * (1.0 + expansion_per_k * (temperature_k - reference_temperature_k))
    per_kg = gravity_m_s2 * (1.0 - air_density_kg_m3 / mass_density_kg_m3) / warmed
    plain = mass_kg * per_kg
    # p (1 + lambda p) = plain, in the form that does not cancel for small lambda.
    pressure: F = 2.0 * plain / (1.0 + np.sqrt(1.0 + 4.0 * distortion_per_pa * plain))
    return pressure + fluid_density_kg_m3 * gravity_m_s2 * head_m
