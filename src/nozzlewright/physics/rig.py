"""How much the rig gives: trapped oil and elastic walls."""

from __future__ import annotations

import numpy as np

from nozzlewright.physics._arguments import F, require_not_negative, require_positive
from nozzlewright.physics._elastic import (
    STEEL_POISSON_RATIO,
    STEEL_YOUNGS_MODULUS_PA,
    bore_growth_per_pa,
)


def rig_compliance(volume_m3: float, modulus_pa: F, wall_compliance_m3_per_pa: float = 0.0) -> F:
    r"""Volume that must leave the rig for each Pa of pressure lost.

    .. math:: C = V/B + C_w

    Parameters
    ----------
    volume_m3 : float
        Oil trapped, [m^3]
    modulus_pa : float or ndarray
        Isothermal bulk modulus of the oil at the pressure in question, [Pa]
    wall_compliance_m3_per_pa : float
        Give of pipe and gauge, the oil apart, :math:`C_w`, [m^3/Pa]

    Returns
    -------
    float or ndarray
        Compliance, [m^3/Pa]

    Raises
    ------
    ValueError
        If volume or modulus is not positive, or the wall compliance is negative.

    Notes
    -----
    The pipe wall adds about 2 % of the oil's share, a Bourdon tube perhaps tens of per cent
    (common practice, no source): measure C by letting in a known volume.

    References
    ----------
    .. [1] Definition of the bulk modulus (derived).
    """
    require_positive(volume_m3=volume_m3, modulus_pa=modulus_pa)
    require_not_negative(wall_compliance_m3_per_pa=wall_compliance_m3_per_pa)
    return volume_m3 / modulus_pa + wall_compliance_m3_per_pa


def pipe_wall_compliance(
    inner_diameter_m: float,
    outer_diameter_m: float,
    youngs_modulus_pa: float = STEEL_YOUNGS_MODULUS_PA,
    poisson_ratio: float = STEEL_POISSON_RATIO,
) -> float:
    r"""Relative growth of a pipe's volume with pressure, thick wall, free ends.

    .. math:: \frac{1}{V}\frac{dV}{dp} = \frac{2}{E}
              \left(\frac{d_o^2 + d_i^2}{d_o^2 - d_i^2} + \nu\right)

    Parameters
    ----------
    inner_diameter_m, outer_diameter_m : float
        Diameters of the pipe, [m]
    youngs_modulus_pa : float
        Young's modulus of the wall; steel by default, [Pa]
    poisson_ratio : float
        Poisson's ratio of the wall, [1]

    Returns
    -------
    float
        Compliance for each volume of oil in the pipe, [1/Pa]

    Raises
    ------
    ValueError
        If the outer diameter is not above the inner one.

    References
    ----------
    .. [1] Lame's thick cylinder; any textbook of strength of materials.

    Examples
    --------
    >>> f"{pipe_wall_compliance(2e-3, 6e-3):.3e}"
    '1.476e-11'
    """
    return 4.0 * bore_growth_per_pa(inner_diameter_m, outer_diameter_m, youngs_modulus_pa,
                              poisson_ratio) / inner_diameter_m  # fmt: skip


def volume_let_in(
    volume_m3: float,
    pressure_from_pa: F,
    pressure_to_pa: F,
    modulus_at_zero_pa: float,
    pressure_slope: float,
) -> F:
    r"""Volume that must be forced in to raise the pressure of trapped oil, rigid walls.

    .. math:: \Delta V = \frac{V}{B'}\ln\frac{B_0 + B'p_2}{B_0 + B'p_1}

    Parameters
    ----------
    volume_m3 : float
        Room that the oil fills, [m^3]
    pressure_from_pa, pressure_to_pa : float or ndarray
        Gauge pressure before and after, [Pa]
    modulus_at_zero_pa : float
        Isothermal bulk modulus at zero gauge pressure, [Pa]
    pressure_slope : float
        Increase of the modulus with pressure, [1]

    Returns
    -------
    float or ndarray
        Volume at the working pressure, [m^3]

    Raises
    ------
    ValueError
        If volume, modulus or slope is not positive.

    References
    ----------
    .. [1] Integral of C dp with a linear modulus (derived).
    """
    require_positive(volume_m3=volume_m3, modulus_at_zero_pa=modulus_at_zero_pa,
                     pressure_slope=pressure_slope)  # fmt: skip
    rise = pressure_slope * (pressure_to_pa - pressure_from_pa)
    result: F = (
        volume_m3
        / pressure_slope
        * np.log1p(rise / (modulus_at_zero_pa + pressure_slope * pressure_from_pa))
    )
    return result
