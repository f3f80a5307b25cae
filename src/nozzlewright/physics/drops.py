"""Drops from a leak-off: how large one is, and what flow a count of them means.

A drop falls when its weight is more than the surface can hold at the rim of the tip. Part of the
liquid stays behind; which part was measured by Harkins and Brown. A measured drop volume (a
hundred drops into a small measuring glass) is always better than a computed one.
"""

from __future__ import annotations

import numpy as np

from nozzlewright.physics._arguments import F, number_or_array, require_positive
from nozzlewright.physics.gauge import STANDARD_GRAVITY_M_S2

DROP_FRACTION = (1.000, -0.9121, -2.109, 13.38, -27.29, 27.53, -13.58, 2.593)
"""Coefficients of Lee, Chan and Pogaku's fit to Harkins and Brown's table, [1]."""
DROP_RATIO_RANGE = (0.3, 1.2)
"""Tip radius over the cube root of the drop volume, where the table was measured, [1]."""


def drop_fraction(tip_ratio: F) -> F:
    r"""Part of the ideal drop that falls.

    .. math:: f(x) = \sum_{i=0}^{7} c_i x^i, \quad x = r/V^{1/3}

    Parameters
    ----------
    tip_ratio : float or ndarray
        Radius of the wetted tip over the cube root of the drop volume :math:`x`, 0.3 to 1.2, [1]

    Returns
    -------
    float or ndarray
        Fraction :math:`f`, 0.59 to 0.74, [1]

    Raises
    ------
    ValueError
        If the ratio lies outside the table of Harkins and Brown.

    Notes
    -----
    Within 0.5 % of the table from 0.4 to 1.15, 1.2 % at its ends; so is the fit of Lando and
    Oakley, :math:`1/f = 2\pi(0.14782 + 0.27896 x - 0.166 x^2)`.

    References
    ----------
    .. [1] W. D. Harkins and F. E. Brown, J. Am. Chem. Soc. 41 (1919) 499 (table from memory).
    .. [2] B.-B. Lee, E.-S. Chan, P. Ravindra and T. A. Khan, Chem. Eng. Commun. 195 (2008) 889,
       which recommends the fit of Lee, Chan and Pogaku (coefficients from memory).
    .. [3] J. L. Lando and H. T. Oakley, J. Colloid Interface Sci. 25 (1967) 526 (from memory).

    Examples
    --------
    >>> round(drop_fraction(0.7), 3)
    0.608
    """
    ratio = np.asarray(tip_ratio, dtype=np.float64)
    low, high = DROP_RATIO_RANGE
    if not np.all((ratio >= low) & (ratio <= high)):
        raise ValueError(
            f"tip radius over cube root of the drop must lie from {low} to {high}, not {tip_ratio}"
        )
    result: F = number_or_array(np.polynomial.polynomial.polyval(ratio, DROP_FRACTION))
    return result


def drop_volume(tip_radius_m: F, surface_tension_n_m: F, density_kg_m3: F) -> F:
    r"""Volume of a drop that falls slowly from a tip.

    .. math:: V = \frac{2\pi r\gamma}{\rho g} f\!\left(r/V^{1/3}\right)

    Parameters
    ----------
    tip_radius_m : float or ndarray
        Radius of the rim that is wet :math:`r`: the outer one for oil, which wets steel, [m]
    surface_tension_n_m : float or ndarray
        Surface tension :math:`\gamma`, [N/m]
    density_kg_m3 : float or ndarray
        Density of the liquid :math:`\rho`, [kg/m^3]

    Returns
    -------
    float or ndarray
        Volume, [m^3]

    Raises
    ------
    ValueError
        If an argument is not positive, or the tip is too narrow or too wide for the table of
        Harkins and Brown.

    Notes
    -----
    For a clean, level tip and drops that take some seconds each; Tate's law alone
    (:math:`f = 1`) gives a drop half as large again.

    References
    ----------
    .. [1] T. Tate, Phil. Mag. 27 (1864) 176, with :func:`drop_fraction`.

    Examples
    --------
    Gas oil from a pipe of 4 mm outside:

    >>> f"{drop_volume(2e-3, 0.028, 830.0) * 1e9:.1f} mm3"
    '26.5 mm3'
    """
    require_positive(tip_radius_m=tip_radius_m, surface_tension_n_m=surface_tension_n_m,
                     density_kg_m3=density_kg_m3)  # fmt: skip
    bond = np.asarray(
        density_kg_m3 * STANDARD_GRAVITY_M_S2 * np.square(tip_radius_m) / surface_tension_n_m
    )
    low, high = (np.full(bond.shape, end) for end in DROP_RATIO_RANGE)
    if not np.all((bond >= _bond(low)) & (bond <= _bond(high))):
        raise ValueError(
            f"a tip of {np.asarray(tip_radius_m)} m is too narrow or too wide for the table of "
            "Harkins and Brown"
        )
    for _ in range(50):  # the bond number rises with the ratio
        middle = 0.5 * (low + high)
        above = _bond(middle) > bond
        high = np.where(above, middle, high)
        low = np.where(above, low, middle)
    result: F = number_or_array((tip_radius_m / (0.5 * (low + high))) ** 3)
    return result


def _bond(ratio: np.ndarray) -> np.ndarray:
    fraction = np.polynomial.polynomial.polyval(ratio, DROP_FRACTION)
    return np.asarray(2.0 * np.pi * ratio**3 * fraction)


def flow_from_drops(drops: F, time_s: F, drop_volume_m3: F) -> F:
    r"""Flow that a count of drops means.

    .. math:: Q = N V/t

    Parameters
    ----------
    drops : float or ndarray
        Drops counted :math:`N`, the one that started the watch left out, [1]
    time_s : float or ndarray
        Time :math:`t`, [s]
    drop_volume_m3 : float or ndarray
        Volume of one drop, [m^3]

    Returns
    -------
    float or ndarray
        Flow, [m^3/s]

    Raises
    ------
    ValueError
        If time or volume is not positive.

    References
    ----------
    .. [1] Definition.
    """
    require_positive(time_s=time_s, drop_volume_m3=drop_volume_m3)
    return drops * drop_volume_m3 / time_s
