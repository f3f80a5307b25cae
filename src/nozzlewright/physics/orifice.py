"""Flow through nozzle holes and the seat."""

from __future__ import annotations

import numpy as np

from nozzlewright.physics._arguments import F, require_not_negative, require_positive


def jet_velocity(pressure_drop_pa: F, density_kg_m3: float) -> F:
    r"""Velocity that a pressure gives without loss.

    .. math:: v = \sqrt{2\Delta p/\rho}

    Parameters
    ----------
    pressure_drop_pa : float or ndarray
        Pressure over the hole, [Pa]
    density_kg_m3 : float
        Density, [kg/m^3]

    Returns
    -------
    float or ndarray
        Velocity, [m/s]

    Raises
    ------
    ValueError
        If the pressure is negative or the density not positive.

    References
    ----------
    .. [1] Bernoulli.
    """
    require_not_negative(pressure_drop_pa=pressure_drop_pa)
    require_positive(density_kg_m3=density_kg_m3)
    velocity: F = np.sqrt(2.0 * pressure_drop_pa / density_kg_m3)
    return velocity


def hole_flow(
    discharge_coefficient: float, area_m2: float, pressure_drop_pa: F, density_kg_m3: float
) -> F:
    r"""Volume flow through the holes.

    .. math:: Q = C_d A\sqrt{2\Delta p/\rho}

    Parameters
    ----------
    discharge_coefficient : float
        :math:`C_d`, 0.6 to 0.8 (common practice, no source), [1]
    area_m2 : float
        Area of all holes together, [m^2]
    pressure_drop_pa : float or ndarray
        Pressure over the holes, [Pa]
    density_kg_m3 : float
        Density, [kg/m^3]

    Returns
    -------
    float or ndarray
        Volume flow, [m^3/s]

    Raises
    ------
    ValueError
        As :func:`jet_velocity`.

    References
    ----------
    .. [1] Bernoulli with a discharge coefficient.
    """
    return discharge_coefficient * area_m2 * jet_velocity(pressure_drop_pa, density_kg_m3)


def series_area(*effective_areas_m2: F) -> F:
    r"""Effective area of throttles one behind the other, such as seat and holes.

    .. math:: \frac{1}{A_e^2} = \sum_i\frac{1}{(C_d A)_i^2}

    Parameters
    ----------
    *effective_areas_m2 : float or ndarray
        Discharge coefficient times area of each, [m^2]

    Returns
    -------
    float or ndarray
        Effective area; 0 if one is closed, [m^2]

    Raises
    ------
    ValueError
        If there is none or one is negative.

    References
    ----------
    .. [1] Pressure losses add up; the kinetic energy between is lost (derived).
    """
    if not effective_areas_m2:
        raise ValueError("need at least one area")
    for area in effective_areas_m2:
        require_not_negative(effective_area_m2=area)
    # The smallest is factored out, so that a closed seat (0) needs no division by zero.
    smallest = np.minimum.reduce(np.broadcast_arrays(*effective_areas_m2))
    total = sum(
        np.divide(smallest, area, out=np.ones_like(smallest, dtype=float), where=smallest > 0.0)
        ** 2
        for area in effective_areas_m2
    )
    result: F = smallest / np.sqrt(total)
    return result


def cavitation_discharge_coefficient(
    contraction_coefficient: float,
    upstream_pressure_pa: F,
    downstream_pressure_pa: float,
    vapour_pressure_pa: float = 0.0,
) -> F:
    r"""Discharge coefficient of a cavitating hole with a sharp inlet.

    .. math:: C_d = C_c\sqrt{\frac{p_1 - p_v}{p_1 - p_2}}

    Parameters
    ----------
    contraction_coefficient : float
        Contraction at the inlet :math:`C_c`, about 0.61 to 0.62, [1]
    upstream_pressure_pa : float or ndarray
        Absolute pressure before the hole :math:`p_1`, [Pa]
    downstream_pressure_pa : float
        Absolute pressure behind it :math:`p_2`, [Pa]
    vapour_pressure_pa : float
        Absolute vapour pressure :math:`p_v`; nearly 0 for test fluid, [Pa]

    Returns
    -------
    float or ndarray
        Discharge coefficient; an upper bound, valid only while the hole cavitates, [1]

    Raises
    ------
    ValueError
        If the pressures do not fall from upstream over downstream to vapour.

    References
    ----------
    .. [1] W. H. Nurick, Journal of Fluids Engineering 98 (1976) 681 (from memory).
    """
    above = np.asarray(upstream_pressure_pa - downstream_pressure_pa)
    if not (np.all(above > 0.0) and vapour_pressure_pa <= downstream_pressure_pa):
        raise ValueError("pressures must fall from upstream over downstream to vapour pressure")
    result: F = contraction_coefficient * np.sqrt(
        (upstream_pressure_pa - vapour_pressure_pa)
        / (upstream_pressure_pa - downstream_pressure_pa)
    )
    return result
